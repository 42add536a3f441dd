"""Speed of the likelihood and of the comparison, as ratios measured in the same run.

Peers: a Python loop over the plants of a register (messages from offspring to parent, one
small array at a time), and one scipy optimiser a candidate. Run it as a script; the exit code
tells whether the ratios stay above the floor reached so far. Wanted are 50 times the loop
for 500 plants over 5 generations and 2 ms with the plan; 150 times one optimiser a
candidate for all models over 8 families, mis-scoring fitted and integrated.
"""

import sys
import time
from collections.abc import Callable
from statistics import median

import numpy as np
from scipy.optimize import minimize_scalar

from breedkit.choices import choices_of
from breedkit.evidence import Evidence, Kind
from breedkit.families import parse_family
from breedkit.genome import Genome
from breedkit.likelihood import Candidates, expected_shares, log_likelihoods, mis_scoring
from breedkit.models import catalogue
from breedkit.pedigree import Chosen, Cross, Founder, Selfing
from breedkit.weights import error_grid, model_shares, weigh

GENERATIONS, LINES = 5, 100


def milliseconds(tasks: dict[str, Callable[[], object]], rounds: int) -> dict[str, float]:
    """Median time of each task, the tasks taking turns."""
    spent: dict[str, list[float]] = {name: [] for name in tasks}
    for _ in range(rounds):
        for name, task in tasks.items():
            start = time.perf_counter()
            task()
            spent[name].append(1000 * (time.perf_counter() - start))
    return {name: median(values) for name, values in spent.items()}


def lines_of_descent() -> Evidence:
    """100 lines of single plants from F2 to F6, every plant scored: 500 hidden plants."""
    rng = np.random.default_rng(1)
    f2 = Selfing(Cross(Founder("P1"), Founder("P2")))
    plans, plants = {"F2": f2}, {}
    counts = {"F2": [0, 0]}
    for line in range(LINES):
        family, name = f2, "F2"
        for generation in range(GENERATIONS):
            parent = Chosen(family, plant=f"{line}-{generation}")
            look = int(rng.random() < 0.4)
            plants[parent.plant] = "xy"[look]
            counts[name][look] += 1
            family, name = Selfing(parent), f"{line}-{generation}"
            plans[name], counts[name] = family, [0, 0]
    return Evidence.of(["x", "y"], plans, counts, plants)


def loop(evidence: Evidence, looks: np.ndarray, mixing: np.ndarray) -> float:
    """The same likelihood, plant by plant, for lines of descent by selfing."""
    selfing = np.array([[1, 0, 0], [0.25, 0.5, 0.25], [0, 0, 1]])
    first = np.array([0.25, 0.5, 0.25])
    messages = {n: np.ones(3) for n, node in enumerate(evidence.nodes) if node.kind == Kind.PLANT}
    total = 0.0
    for n in sorted(messages, reverse=True):
        here = messages[n] * mixing[looks, evidence.scores[n]]
        family = evidence.nodes[evidence.nodes[n].one]
        parent = evidence.nodes[family.one]
        if parent.kind == Kind.PLANT:
            messages[family.one] = messages[family.one] * (selfing @ here)
        else:
            total += np.log(first @ here)
    return float(total)


def eight_families() -> Evidence:
    rng = np.random.default_rng(3)
    names = ["P1", "P2", "F1", "F2", "BC1", "BC1(P2)", "F3", "BC1(P2)F2"]
    shares = [1, 0, 1, 0.75, 1, 0.5, 0.625, 0.375]
    counts = {
        f: (k := int(rng.binomial(40, s)), 40 - k) for f, s in zip(names, shares, strict=True)
    }
    plans = {f: parse_family(f) for f in names}
    classes = ["a", "b", "c", "d", "e"]
    return Evidence.of(classes, plans, {f: [*row, 0, 0, 0] for f, row in counts.items()})


def optimised(evidence: Evidence, most: int) -> tuple[float, int]:
    """Milliseconds of one scipy optimiser a candidate, over at most `most` of them."""
    counts = np.array(list(evidence.counts.values()), dtype=float)
    rows = []
    for model in catalogue().values():
        choices = choices_of(model, (False, False), len(evidence.classes), False)
        every = np.arange(np.prod(choices.sizes))
        if len(every):
            rows.append(expected_shares(evidence, choices.candidates(every))[:, 0])
    every = np.concatenate(rows)
    sample = every[np.random.default_rng(0).permutation(len(every))[:most]]
    k = counts.shape[1]

    def lack(e: float, shares: np.ndarray) -> float:
        mixed = (1 - e) * shares + e * (1 - shares) / (k - 1)
        return -float((counts * np.log(np.maximum(mixed, 1e-300))).sum())

    start = time.perf_counter()
    for shares in sample:
        minimize_scalar(lack, bounds=(0, 0.5), args=(shares,), method="bounded",
                        options={"xatol": 1e-10})  # fmt: skip
    spent = 1000 * (time.perf_counter() - start)
    return spent / len(sample) * len(every), len(every)


def main() -> int:
    evidence = lines_of_descent()
    model = catalogue()["single dominant gene"]
    genome = Genome.of(model.founders())
    names = [str(g) for g in genome.genotypes()]
    looks = model.rule.table(genome).ravel()
    founders = np.array([[names.index("AA"), names.index("aa")]])
    one, mixing = Candidates(genome, founders, looks[None]), mis_scoring([0.02], 2)
    assert (
        abs(log_likelihoods(evidence, one, mixing)[0, 0] - loop(evidence, looks, mixing[0])) < 1e-9
    )

    def planned() -> None:
        for kept in ("structure", "tallies", "looks"):
            evidence.__dict__.pop(kept, None)
        log_likelihoods(evidence, one, mixing)

    grid = mis_scoring(error_grid()[0], 2)

    a = milliseconds(
        {
            "run": lambda: log_likelihoods(evidence, one, mixing),
            "planned": planned,
            "loop": lambda: loop(evidence, looks, mixing[0]),
            "grid": lambda: log_likelihoods(evidence, one, grid),
        },
        rounds=31,
    )
    families = eight_families()
    rates, log_prior = error_grid()
    mixings = mis_scoring(rates, len(families.classes))
    models = tuple(catalogue().values())
    b = milliseconds(
        {"own": lambda: model_shares(weigh(families, models, mixings, log_prior, False)[0])},
        rounds=7,
    )
    scipy_ms, candidates = optimised(families, most=150)
    rows = [
        ("500 plants, times a loop over plants", a["run"], a["loop"] / a["run"], 2, 50),
        ("the same at 64 rates, times 64 loops", a["grid"], 64 * a["loop"] / a["grid"], 20, 50),
        ("the same with the plan, 2 ms over its time", a["planned"], 2 / a["planned"], 0.5, 1),
        (f"{candidates} candidates, times scipy", b["own"], scipy_ms / b["own"], 120, 150),
    ]
    for what, ms, ratio, floor, wanted in rows:
        print(f"{what:<46} {ms:9.3f} ms   ratio {ratio:8.2f}   floor {floor}   wanted {wanted}")
    return int(any(ratio < floor for _, _, ratio, floor, _ in rows))


if __name__ == "__main__":
    sys.exit(main())
