"""How far the comparison can be trusted, tried out on seasons whose truth is known.

A season is drawn from one candidate: a rule, genotypes of the founders, a rate of
mis-scoring e. Genotypes come from the cross engine, scores from the genotypes, each
mis-scored with chance e. Then the comparison is asked, and its answer held against the
truth. Of many seasons,

    right      supported is the model that was drawn, alone or with others that expect
               the same numbers here
    wrong      supported is another model, and nothing in the answer says otherwise
    open       it cannot be told yet, or no model fits

are counts, so their shares have the standard error sqrt(s (1 - s) / seasons).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from breedkit.choices import choices_of
from breedkit.compare import compare_evidence
from breedkit.comparison import Comparison
from breedkit.errors import ModelError, pick
from breedkit.evidence import Evidence
from breedkit.families import parse_family
from breedkit.likelihood import Candidates, draw, mis_scoring
from breedkit.loci import parse_genotype
from breedkit.models import InheritanceModel, catalogue
from breedkit.results import Fact, Result, listing, percent, plants, show
from breedkit.weights import PRIOR_ERROR, model_prior, no_segregation

if TYPE_CHECKING:
    import pandas as pd

    from breedkit.canvas import Axes

MOST_SEASONS = 2000
OUTCOMES = ("right", "right, not separable", "cannot tell", "none fits", "wrong")


def outcome(compared: Comparison, truth: str) -> str:
    """One of `OUTCOMES`: how an answer stands to the name of the model that was drawn."""
    match compared.standing:
        case "supported":
            return "right" if compared.inseparable[0].name == truth else "wrong"
        case "not separable":
            named = [w.name for w in compared.inseparable]
            return "right, not separable" if truth in named else "wrong"
        case "none fits":
            return "none fits"
        case _:
            return "cannot tell"


@dataclass(frozen=True, eq=False, repr=False)
class Trial(Result):
    """What the comparison said of seasons drawn from one model.

    Attributes
    ----------
    model : the model that was drawn.
    families : plants scored in each family.
    error : rate of mis-scoring.
    counts : seasons by outcome, in the order of `OUTCOMES`.
    """

    model: str
    families: Mapping[str, int]
    error: float
    counts: tuple[int, ...]

    @property
    def seasons(self) -> int:
        return sum(self.counts)

    @property
    def n(self) -> int:
        """Plants of one season."""
        return sum(self.families.values())

    def share(self, outcome: str) -> float:
        """The share of seasons with an outcome."""
        return self.counts[OUTCOMES.index(outcome)] / self.seasons

    @property
    def verdict(self) -> str:
        by = dict(zip(OUTCOMES, self.counts, strict=True))
        right = by["right"] + by["right, not separable"]
        return (
            f"Of {self.seasons:,} seasons of {plants(self.n)} drawn from {self.model}, {right:,} "
            f"name it, {by['wrong']:,} name another model as supported, "
            f"{by['cannot tell'] + by['none fits']:,} leave it open."
        )

    def facts(self) -> list[Fact]:
        facts = [Fact("scored", listing(f"{n} {show(f)}" for f, n in self.families.items())),
                 Fact("mis-scored", percent(self.error), "of the plants, as drawn")]  # fmt: skip
        for name, count in zip(OUTCOMES, self.counts, strict=True):
            share = count / self.seasons
            spread = 100 * (share * (1 - share) / self.seasons) ** 0.5
            remark = f"{percent(share)}, give or take {spread:.1f}" if count else ""
            facts.append(Fact(name, f"{count:,}", remark))
        return facts

    def table(self) -> pd.DataFrame:
        """Seasons by outcome."""
        import pandas as pd

        return pd.DataFrame({"outcome": OUTCOMES, "seasons": self.counts})

    def plot(self, ax: Axes | None = None) -> Axes:
        """One bar, parted by outcome."""
        import pandas as pd

        counts = pd.DataFrame([self.counts], [self.model], list(OUTCOMES))
        return plot_outcomes(counts, "What the comparison says", ax=ax)


def try_out(
    model: InheritanceModel | str,
    families: Mapping[str, int],
    error: float = 0.02,
    seasons: int = 100,
    parents: Sequence[str] | None = None,
    seed: int = 0,
) -> Trial:
    """Draw seasons from a model, ask the comparison each time, and count its answers.

    Parameters
    ----------
    model : the truth: a model, or the name of one in the catalogue.
    families : plants scored in each family, by short form, such as {"P1": 5, "F1": 5, "F2": 40,
        "F3 from recessive F2": 20}, with the classes of the model.
    error : rate of mis-scoring, 0 to 0.5.
    seasons : how many to draw, up to 2,000; a hundred take a few seconds.
    parents : genotypes of P1, P2, ...; by default those of the model.
    seed : the same seed draws the same seasons.

    Raises
    ------
    ModelError
        for a name that is not in the catalogue, no plants, or numbers out of range.
    PedigreeError
        for a family that cannot be read.

    Examples
    --------
    >>> trial = try_out("single dominant gene", {"P1": 5, "P2": 5, "F1": 5, "F2": 60}, seasons=20)
    >>> trial.seasons
    20
    """
    named = catalogue()
    if isinstance(model, str):
        model = named[pick(model, list(named), "model", ModelError)]
    faults = []
    if not 1 <= seasons <= MOST_SEASONS:
        faults.append(f"1 to {MOST_SEASONS:,} seasons can be drawn, not {seasons}.")
    if not 0 <= error <= 0.5:
        faults.append(f"A scoring error lies from 0 to 0.5; {error} does not.")
    if not families or min(families.values()) < 0 or not sum(families.values()):
        faults.append("Say how many plants are scored in each family, such as {'F2': 40}.")
    if faults:
        raise ModelError("\n".join(faults))
    evidence = empty_season(families, model.classes)
    one = _candidate(model, model.parents if parents is None else tuple(parents), evidence)
    rng = np.random.default_rng(seed)
    found = [outcome(c, model.name) for c in answers(evidence, one, error, rng, seasons)]
    kept = {f: n for f, n in families.items() if n}
    return Trial(model.name, kept, error, tuple(found.count(o) for o in OUTCOMES))


def empty_season(families: Mapping[str, int], classes: Sequence[str]) -> Evidence:
    """The evidence of families of these sizes, before anything was scored."""
    sizes = {f: n for f, n in families.items() if n}
    plans = {f: parse_family(f) for f in sizes}
    counts = {f: (n, *[0] * (len(classes) - 1)) for f, n in sizes.items()}
    return Evidence.of(classes, plans, counts)


def answers(
    evidence: Evidence, one: Candidates, error: float, rng: np.random.Generator, seasons: int
) -> Iterator[Comparison]:
    """The comparison of each of many seasons drawn from one candidate."""
    mixing = mis_scoring([error], len(evidence.classes))
    drawn = draw(evidence, one, mixing, rng, seasons)
    for i in range(seasons):
        counts = {n: tuple(np.asarray(rows[i]).tolist()) for n, rows in drawn.counts.items()}
        yield compare_evidence(evidence.with_scores(counts, {}), "trait")


def drawn_truth(
    rng: np.random.Generator, models: Sequence[InheritanceModel], classes: int
) -> tuple[InheritanceModel, Candidates]:
    """A model and a candidate of it for two parents, drawn from the priors of the comparison."""
    prior = model_prior([(m,) for m in models])
    model = models[int(rng.choice(len(models), p=prior))]
    choices = choices_of(model, (False, False), classes, False)
    assert choices is not None
    chances = choices.each_prior / choices.each_prior.sum()
    return model, choices.candidates(rng.choice(len(chances), size=1, p=chances))


def drawn_error(rng: np.random.Generator) -> float:
    """A rate of mis-scoring drawn from its prior."""
    return float(rng.beta(*PRIOR_ERROR))


def named_models(classes: int) -> list[InheritanceModel]:
    """The models with a name that a trait with so many classes can follow."""
    every = (*catalogue().values(), no_segregation())
    return [m for m in every if len(m.classes) <= classes]


def _candidate(model: InheritanceModel, parents: Sequence[str], evidence: Evidence) -> Candidates:
    """A model with these genotypes for P1, P2, ..., its classes in their own order."""
    genome = model.rule.own_genome
    if len(parents) < len(evidence.founders):
        raise ModelError(f"Give {len(evidence.founders)} parents, not {len(parents)}.")
    number = {name: i for i, name in enumerate(f"P{i + 1}" for i in range(len(parents)))}
    states = [
        np.ravel_multi_index(genome.state_of(parse_genotype(parents[number[f]])), genome.shape)
        for f in evidence.founders
    ]
    return Candidates(genome, np.array([states]), model.rule.table(genome).reshape(1, -1))


def plot_outcomes(counts: pd.DataFrame, title: str, ax: Axes | None = None) -> Axes:
    """A bar for each row of seasons by outcome, a column each of `OUTCOMES`."""
    from breedkit import charts

    counts = counts.reindex(columns=list(OUTCOMES), fill_value=0)
    totals = counts.sum(axis=1)
    shares = counts["wrong"] / totals
    caption = (
        f"{int(totals.min()):,} seasons a bar at least, drawn from a known truth. Wrong, that is "
        f"another model said to be supported, are {percent(float(shares.min()))}"
        + (f" to {percent(float(shares.max()))}" if shares.max() > shares.min() else "")
        + " of a bar."
    )
    said = ". ".join(
        f"{show(name)}: {', '.join(f'{int(n):,} {o}' for o, n in row.items())}"
        for name, row in counts.iterrows()
    )
    return charts.shares_by_group(
        counts, unit="seasons", title=title, caption=caption, alt=f"{title}. {said}. {caption}",
        ax=ax,
    )  # fmt: skip
