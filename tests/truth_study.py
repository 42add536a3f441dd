"""The truth study: thousands of drawn seasons, asked and counted.

Run as a script it writes `sample_data/truth_study.csv`, which the notebook
`how_far_to_trust_it` shows; `tests/test_truth_study.py` runs it anew and compares.

Each season has 3 to 8 plants of either parent, 3 to 10 of the F1, 10 to 80 of the F2 and,
each with chance one half, 10 to 40 of either backcross and of the F3. Four kinds of truth:

    in the catalogue      model, parents, slips: all from the stated priors
    15 % slips            the same with 15 of 100 plants written down as another class
    rule without a name   one of the rules of one or two genes that the catalogue lacks
    swapped labels        the counts of the F2 and of another family changed places

and, by model, seasons of 3 parents and F1 each, with 10, 40 or 80 plants in the F2 and half
as many in the backcross to P2, without slips, and with 2 and 5 % of them.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd

from breedkit.compare import compare_evidence
from breedkit.comparison import Comparison
from breedkit.everyrule import every_rule
from breedkit.likelihood import draw, mis_scoring
from breedkit.models import catalogue
from breedkit.trust import drawn_error, drawn_truth, empty_season, named_models, outcome, try_out
from breedkit.weights import ANOTHER

FILE = Path(__file__).parent.parent / "sample_data" / "truth_study.csv"
PRIOR, SLIPS, NAMELESS, SWAPPED = (
    "in the catalogue", "15 % slips", "rule without a name", "swapped labels",
)  # fmt: skip
SEASONS = {PRIOR: 2000, SLIPS: 500, NAMELESS: 500, SWAPPED: 500}
EACH = 30  # seasons of each model, size and rate of slips
SIZES, RATES = (10, 40, 80), (0.0, 0.02, 0.05)
CLASSES = "vwxyz"


def sizes(rng: np.random.Generator) -> dict[str, int]:
    """Plants scored in each family of a season."""
    found = {"P1": rng.integers(3, 9), "P2": rng.integers(3, 9), "F1": rng.integers(3, 11),
             "F2": rng.integers(10, 81)}  # fmt: skip
    for family in ("BC1", "BC1(P2)", "F3"):
        found[family] = rng.integers(10, 41) if rng.random() < 0.5 else 0
    return {family: int(n) for family, n in found.items()}


def seasons(kind: str, many: int) -> Iterator[tuple[Comparison, str, float]]:
    """Answers of the comparison, with the name of the truth and the rate of slips."""
    rng = np.random.default_rng(list(SEASONS).index(kind))
    for _ in range(many):
        k = int(rng.choice([2, 2, 3, 4]))
        models = named_models(k)
        if kind == NAMELESS:
            k = int(rng.choice([2, 2, 3]))
            models = [m for m in every_rule(k) if not m.reference]
        model, one = drawn_truth(rng, models, k)
        error = 0.15 if kind == SLIPS else drawn_error(rng)
        evidence = empty_season(sizes(rng), CLASSES[:k])
        drawn = draw(evidence, one, mis_scoring([error], k), rng, 1)
        counts = {node: rows[0] for node, rows in drawn.counts.items()}
        if kind == SWAPPED:
            f2 = evidence.families["F2"]
            other = int(rng.choice([node for node in counts if node != f2]))
            counts[f2], counts[other] = counts[other], counts[f2]
        scored = evidence.with_scores({n: tuple(c.tolist()) for n, c in counts.items()}, {})
        yield compare_evidence(scored, "trait"), model.name, error


def answers(kind: str, many: int) -> pd.DataFrame:
    """One row a season: outcome, weight of the answer, whether the interval holds the slips."""
    rows = []
    for compared, truth, error in seasons(kind, many):
        best, group = compared.best, compared.inseparable
        assert best is not None
        low, high = compared.error_interval
        said = outcome(compared, truth)
        if kind == NAMELESS and best.name == ANOTHER and said == "wrong":
            said = "right"  # all rules without a name are one line
        rows.append({
            "truth": kind, "outcome": said, "top is right": best.name == truth,
            "top": best.weight, "together": sum(w.weight for w in group),
            "among them": truth in [w.name for w in group],
            "slips": error, "slips held": low <= error <= high, "misfit": compared.misfit,
        })  # fmt: skip
    return pd.DataFrame(rows)


def by_model() -> pd.DataFrame:
    """Seasons of each model by outcome, size of the F2 and rate of slips."""
    rows = []
    for name in catalogue():
        for n in SIZES:
            for rate in RATES:
                families = {"P1": 3, "P2": 3, "F1": 3, "F2": n, "BC1(P2)": n // 2}
                trial = try_out(name, families, rate, EACH)
                for said, seasons in trial.table().itertuples(index=False):
                    rows.append((name, n, rate, said, seasons))
    return pd.DataFrame(rows, columns=["truth", "F2", "slips", "outcome", "seasons"])


def summary(frames: dict[str, pd.DataFrame], models: pd.DataFrame) -> pd.DataFrame:
    """The figures that the notebook shows: seasons by truth, F2, slips and outcome."""
    rows = [
        (kind, "10 to 80", "0.15" if kind == SLIPS else "prior", said, int(n))
        for kind, frame in frames.items()
        for said, n in frame["outcome"].value_counts().sort_index().items()
    ]
    kinds = pd.DataFrame(rows, columns=list(models.columns))
    return pd.concat([kinds, models.astype({"F2": str, "slips": str})], ignore_index=True)


def main() -> int:
    frames = {kind: answers(kind, many) for kind, many in SEASONS.items()}
    summary(frames, by_model()).to_csv(FILE, index=False)
    print(FILE)
    return 0


if __name__ == "__main__":
    sys.exit(main())
