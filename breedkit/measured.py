"""How much of the differences between F2 plants is inherited.

Plants of a parent that breeds true, and of the F1, are alike in genes, so that what they
differ in is weather, pot and ruler; the F2 has that and its genes besides. With V the sample
variances (n - 1),

    environmental  VE = mean of V(P1), V(P2), V(F1)         genetic   VG = V(F2) - VE
    additive       VA = 2 V(F2) - V(BC1(P1)) - V(BC1(P2))   the rest  VD = VG - VA

(Warner 1952, Agronomy Journal 44:427, from memory): VG / V(F2) is heritability in the broad
sense, VA / V(F2) in the narrow sense, the part that passes on whatever the mates. Genes are
taken to be unlinked and to add up between loci, and the environment to be the same for all.

Intervals: plants of each generation are drawn anew with replacement, 2,000 times in one array.
A drawn variance V* (times n / (n - 1), which it is too small by) misses V in the ratio in which
V misses the truth, so that V * V / V* spreads as the truth may. Of 5,000 such 95 % intervals for
a heritability of 1/2 and normal values, 94 to 95 % held with 10 plants a generation, 92 to 93 %
with 20, 94 % with 50; plain percentiles of V*: 89 to 93, 91 to 92, 93 to 94 %. Where values
are skewed (gamma, shape 4), about 90 % of either hold: try the log scale.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from breedkit.errors import FitError, ModelError, pick
from breedkit.generations import Generations, generations_of, scale_of
from breedkit.results import Fact, Result, listing, number, plants

if TYPE_CHECKING:
    import pandas as pd

    from breedkit.season import Season

UNIFORM = ("P1", "P2", "F1")
BACKCROSSES = ("BC1(P1)", "BC1(P2)")
REPLICATES = 2000
SEED = 1
MOST_CELLS = 4_000_000  # numbers drawn at once
LEAST_RATIO = 1e-6  # a drawn variance below this part of its own is taken as this part
FEWEST = 5  # plants below which a variance says next to nothing
UNEQUAL = 4.0  # largest over smallest variance of plants alike in genes, worth saying
WORDS = {
    "environmental": "weather, pot and ruler",
    "genetic": "differences between F2 plants by their genes",
    "additive": "the part that passes on whatever the mates",
    "dominance": "the rest: dominance, and genes acting on each other",
    "broad": "genetic part of the differences between F2 plants",
    "narrow": "additive part of the differences between F2 plants",
}
LABELS = {"broad": "heritability, broad sense", "narrow": "heritability, narrow sense"}


@dataclass(frozen=True, repr=False, eq=False)
class VarianceComponents(Result):
    """What the F2 plants' differences are made of. Made by `variance_components`.

    Attributes
    ----------
    generations : with the values (`breedkit.generations`). scale : "raw" or "log".
    environment : the roles whose variances give the environmental one.
    values : 'environmental', 'genetic', 'broad', and with both backcrosses 'additive',
        'dominance', 'narrow'; variances in the squared unit, heritabilities as shares. Not
        cut off: chance can make them negative.
    draws : of each of these, shape (replicates,), what it may truly be.
    """

    generations: Generations
    scale: str
    environment: tuple[str, ...]
    values: Mapping[str, float]
    draws: Mapping[str, np.ndarray]
    notes: tuple[str, ...]

    def interval(self, name: str = "broad", level: float = 0.95) -> pd.Series:
        """The 'low' and 'high' end for one of `values`; not cut off at 0 or 1."""
        import pandas as pd

        name = pick(name, self.values, "part", ModelError)
        low, high = ends(self.draws[name], level)
        return pd.Series({"low": low, "high": high})

    def table(self, level: float = 0.95) -> pd.DataFrame:
        """One row a part: estimate, low, high."""
        import pandas as pd

        rows = {k: {"estimate": v, **self.interval(k, level)} for k, v in self.values.items()}
        return pd.DataFrame.from_dict(rows, orient="index").rename_axis("part")

    @property
    def verdict(self) -> str:
        f2, share = self.generations.get("F2"), self.values["broad"]
        assert f2 is not None
        low, high = (_hundred(x) for x in self.interval("broad"))
        total = plants(self.generations.n)
        if share <= 0:
            head = (
                f"No inherited difference shows among your {f2.n:,} F2 plants: they differ no more "
                f"than plants alike in genes do. Up to {high} % could still be inherited; {total}."
            )
        else:
            head = (
                f"About {_hundred(share)} % of the differences between your {f2.n:,} F2 plants is "
                f"inherited, somewhere between {low} and {high}; {total}."
            )
            if self.interval("broad")["low"] <= 0:
                head += " That does not yet show that any of it is."
        if "narrow" not in self.values:
            return head
        narrow = self.values["narrow"]
        low, high = (_hundred(x) for x in self.interval("narrow"))
        if narrow <= 0:
            return (
                f"{head} The part that passes on whatever the mates comes out below zero: these "
                f"plants cannot tell it from nothing; it may be up to {high} %."
            )
        return (
            f"{head} The part that passes on whatever the mates is about {_hundred(narrow)} %, "
            f"between {low} and {high}."
        )

    def facts(self) -> list[Fact]:
        unit = f" {self.generations.unit}²" if self.generations.unit else ""
        if self.scale == "log":
            unit = ""
        facts = [
            Fact(f"variance of {self.generations.called(g.role)}",
                 f"{number(g.variance(self.scale))}{unit}", plants(g.n))
            for g in self.generations.all if g.n > 1
        ]  # fmt: skip
        for name, value in self.values.items():
            low, high = self.interval(name)
            own = "" if name in LABELS else unit
            facts.append(Fact(
                LABELS.get(name, f"{name} variance"),
                f"{number(value)}{own}",
                f"between {number(low)} and {number(high)}; {WORDS[name]}",
            ))  # fmt: skip
        return facts


def variance_components(
    season: Season,
    trait: str,
    scale: str = "raw",
    families: Iterable[str] | None = None,
    environment: Sequence[str] = UNIFORM,
) -> VarianceComponents:
    """How much of the differences between F2 plants is inherited, with an honest interval.

    Parameters
    ----------
    season : with an F2 and at least one of both parents and the F1; the part that passes on
        whatever the mates needs the backcrosses to both parents too.
    trait : measured or a count.
    scale : "raw", or "log" for natural logarithms.
    families : only these; needed where the season holds more than one cross.
    environment : of 'P1', 'P2', 'F1', those whose variances stand for the environment.

    Returns
    -------
    VarianceComponents

    Raises
    ------
    TableError
        for a trait that is not there or has classes.
    ModelError
        if the families are not of one cross of two parents, or a word is not known.
    FitError
        if there is no F2 of two plants or more, no two of its plants differ, or nothing tells
        what the environment does.
    """
    generations = generations_of(season, trait, families)
    scale = scale_of(scale, generations)
    asked = [environment] if isinstance(environment, str) else list(environment)
    asked = [pick(role, UNIFORM, "generation alike in genes", ModelError) for role in asked]
    sample = {g.role: g.on(scale) for g in generations.all if g.n > 1}
    if "F2" not in sample or np.ptp(sample["F2"]) == 0:
        raise FitError(
            "It takes an F2 of two or more plants that differ to see what is inherited.\n"
            "Score more F2 plants, or more finely."
        )
    there = [role for role in UNIFORM if role in asked and role in sample]
    used = tuple(r for r in there if len(sample[r]) >= FEWEST) or tuple(there)
    if not used:
        raise FitError(
            "Nothing tells what weather and pot do: no parent or F1 has two scored plants.\n"
            "Grow a few plants of a parent or the F1 beside the F2."
        )
    both = tuple(r for r in BACKCROSSES if r in sample) == BACKCROSSES
    needed = (*used, "F2", *(BACKCROSSES if both else ()))
    variances = {role: float(sample[role].var(ddof=1)) for role in needed}
    drawn = {role: likely_variances(sample[role], SEED + i) for i, role in enumerate(needed)}
    values = _parts(variances, used)
    draws = _parts(drawn, used)
    notes = _notes(generations, scale, values, sample, used, both)
    return VarianceComponents(generations, scale, used, values, draws, (*generations.notes, *notes))


def _parts(v: Mapping, used: Sequence[str]) -> dict:
    """The components from the variances, whether numbers or arrays of draws."""
    environmental = sum(v[role] for role in used) / len(used)
    genetic = v["F2"] - environmental
    found = {"environmental": environmental, "genetic": genetic, "broad": genetic / v["F2"]}
    if all(role in v for role in BACKCROSSES):
        additive = 2 * v["F2"] - v["BC1(P1)"] - v["BC1(P2)"]
        found |= {"additive": additive, "dominance": genetic - additive}
        found["narrow"] = additive / v["F2"]
    return found


def likely_variances(values: np.ndarray, seed: int, replicates: int = REPLICATES) -> np.ndarray:
    """What the variance behind a sample may truly be, shape (replicates,).

    Parameters
    ----------
    values : the sample, two or more; their order does not matter.
    seed : of the random numbers, so that a display is the same on every run.
    """
    values, n = np.sort(values), len(values)
    own = float(values.var(ddof=1))
    if own == 0:
        return np.zeros(replicates)
    rng = np.random.default_rng(seed)
    block = max(MOST_CELLS // n, 1)
    parts = [
        values[rng.integers(0, n, (min(block, replicates - start), n))].var(axis=1)
        for start in range(0, replicates, block)
    ]
    ratio = np.concatenate(parts) * (n / (n - 1)) ** 2 / own
    return own / np.maximum(ratio, LEAST_RATIO)


def ends(draws: np.ndarray, level: float) -> np.ndarray:
    """The two quantiles that leave 1 - `level` outside, half on either side."""
    if not 0 < level < 1:
        raise ModelError(f"A level lies between 0 and 1; {number(float(level))} does not.")
    # Of the draws themselves, since between a number and infinity nothing can be interpolated.
    return np.quantile(draws, [(1 - level) / 2, (1 + level) / 2], method="inverted_cdf")


def _hundred(share: float) -> str:
    """A share in per cent, in whole numbers from 0 to 100."""
    return f"{100 * min(max(share, 0), 1):.0f}"


def _notes(
    generations: Generations,
    scale: str,
    values: Mapping[str, float],
    sample: Mapping[str, np.ndarray],
    used: Sequence[str],
    both: bool,
) -> list[str]:
    notes = []
    missing = [role for role in UNIFORM if role not in used]
    if missing:
        notes.append(
            f"The environment is judged by {listing([generations.called(r) for r in used])} "
            f"alone, without {listing([generations.called(r) for r in missing])}."
        )
    if not both:
        notes.append(
            "Which part passes on whatever the mates would take backcrosses to both parents."
        )
    few = [role for role in (*used, "F2", *BACKCROSSES) if len(sample.get(role, ())) in (2, 3, 4)]
    if few:
        notes.append(
            f"{listing([generations.called(r) for r in few])}: fewer than {FEWEST} plants, too few "
            "to know how much they differ; do not lean on this answer."
        )
    spread = [float(sample[role].var(ddof=1)) for role in used]
    if min(spread) == 0:
        notes.append(
            "Plants of one generation alike in genes do not differ at all: perhaps scored too "
            "coarsely. Then the environment is made too small, and what is inherited too large."
        )
    elif max(spread) > UNEQUAL * min(spread):
        away = "log" if scale == "raw" else "raw"
        notes.append(
            "Parents and F1 differ much in spread, though within each all plants are alike in "
            f"genes; look at the {away} scale too."
        )
    for name, words in (
        ("genetic", "The F2 differs less than plants alike in genes"),
        ("additive", "The backcrosses differ more than the F2 allows for"),
        ("dominance", "The additive part comes out larger than the whole"),
    ):
        if values.get(name, 0) < -1e-9 * values["environmental"]:
            notes.append(
                f"{words}: the {name} variance comes out negative. That is chance, or a scale "
                "that does not suit; read it as next to nothing."
            )
    notes.append(
        "This holds for these plants in this season; heritability is not a fixed property of "
        "a trait."
    )
    return notes
