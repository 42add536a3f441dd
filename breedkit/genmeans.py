"""What the means of the generations say of a measured trait: addition, dominance, and more.

A generation's mean is expected at m + x_d [d] + x_h [h], with coefficients read off the cross
engine (`breedkit.generations`): m lies midway between the parents, [d] is half of P1 minus P2,
[h] what the F1 has above m. `breedkit.jointscaling` fits them. Where genes act on each other in
pairs, [i], [j], [l] stand beside these, with coefficients x_d^2, x_d x_h, x_h^2 (Hayman 1958;
Mather & Jinks 1971). Mather's scaling tests (1949) ask the same of a few generations each, and
are 0 if genes each act on their own:

    A = 2 BC1(P1) - P1 - F1,   B = 2 BC1(P2) - P2 - F1,   C = 4 F2 - 2 F1 - P1 - P2.

Degree of dominance (potence) is (F1 - midparent) / (half the parents' difference), or
[h] / |[d]|: 0 midway, 1 like the higher parent. Heterosis is F1 - midparent, or F1 - the higher
parent; inbreeding depression F1 - F2. Sources are from memory; the fit is checked against a
general least-squares library.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from breedkit.generations import Generations, generations_of, scale_of
from breedkit.jointscaling import (
    FEWEST_FOR_VARIANCE,
    PARAMETERS,
    Contrast,
    JointFit,
    contrast,
    design,
    joint_fit,
    squared_errors,
    students_t,
)
from breedkit.results import Fact, Result, chance, estimate, listing, number, percent, plants

if TYPE_CHECKING:
    import pandas as pd

    from breedkit.season import Season

WORDS = {
    "m": "midway between the parents",
    "[d]": "half of P1 minus P2",
    "[h]": "dominance: the F1 above m",
    "[i]": "pairs of genes, additive with additive",
    "[j]": "pairs of genes, additive with dominance",
    "[l]": "pairs of genes, dominance with dominance",
}
SCALING = {
    "A": {"BC1(P1)": 2, "P1": -1, "F1": -1},
    "B": {"BC1(P2)": 2, "P2": -1, "F1": -1},
    "C": {"F2": 4, "F1": -2, "P1": -1, "P2": -1},
}
LEVEL = 0.05
FEW = 20  # plants below which the chi-square distribution is too hasty
UNEQUAL = 4.0  # largest over smallest variance of the uniform generations, worth saying


@dataclass(frozen=True, repr=False, eq=False)
class GenerationMeans(Result):
    """What the generation means of a trait say. Made by `generation_means`.

    Attributes
    ----------
    generations : with the values (`breedkit.generations`). scale : "raw" or "log".
    simple : the fit of m, [d], [h]. pairs : that with [i], [j], [l] too, or None.
    scaling : 'A', 'B', 'C' -> `Contrast`, of those that the generations allow.
    other : the simple fit on the other scale, or None where it cannot be made.
    squared_errors : variance of each generation's mean as used for its weight.
    """

    generations: Generations
    scale: str
    simple: JointFit
    pairs: JointFit | None
    scaling: Mapping[str, Contrast]
    other: JointFit | None
    squared_errors: np.ndarray
    notes: tuple[str, ...]

    @property
    def dominance(self) -> Contrast | None:
        """Degree of dominance; None if the parents' means hardly differ.

        From the means of parents and F1 where all are there, which holds whether or not genes
        each act on their own; else [h] / |[d]| of the simple fit. Its error is the first-order
        one of a ratio.
        """
        if {"P1", "P2", "F1"} <= {g.role for g in self.generations.all}:
            weights = [{"P1": 0.5, "P2": -0.5}, {"F1": 1.0, "P1": -0.5, "P2": -0.5}]
            d, h = (contrast(self.generations, w, self.scale, self.squared_errors)
                    for w in weights)  # fmt: skip
            roles = [g.role for g in self.generations.all]
            one, two = (self.squared_errors[roles.index(p)] for p in ("P1", "P2"))
            shared = (two - one) / 4
        else:
            d, h = (self.simple.parameters[p] for p in ("[d]", "[h]"))
            shared = float(self.simple.covariance[1, 2])
        if abs(d.value) <= students_t(d.df, 0.95) * d.error:
            return None
        ratio = h.value / abs(d.value)
        towards = 2 * ratio * np.copysign(1, d.value) * shared
        squared = h.error**2 + ratio**2 * d.error**2 - towards
        return Contrast(ratio, float(np.sqrt(max(squared, 0))) / abs(d.value), min(d.df, h.df))

    def heterosis(self) -> dict[str, Contrast]:
        """What the F1 has above the parents, and the F2 lost, in the trait's own unit.

        Returns
        -------
        dict
            'midparent', 'better parent' (the one with the higher mean) and 'inbreeding
            depression' (F1 minus F2), of those that the generations allow.
        """
        means = {g.role: g.mean() for g in self.generations.all}
        asked: dict[str, dict[str, float]] = {}
        if {"P1", "P2", "F1"} <= means.keys():
            best = "P1" if means["P1"] >= means["P2"] else "P2"
            asked["midparent"] = {"F1": 1, "P1": -0.5, "P2": -0.5}
            asked["better parent"] = {"F1": 1, best: -1}
        if {"F1", "F2"} <= means.keys():
            asked["inbreeding depression"] = {"F1": 1, "F2": -1}
        squared, _ = squared_errors(self.generations.all, "raw")
        return {k: contrast(self.generations, w, "raw", squared) for k, w in asked.items()}

    def table(self) -> pd.DataFrame:
        """One row a generation: plants, mean, its error, variance, coefficients, expected."""
        import pandas as pd

        rows = [
            {
                "generation": self.generations.called(g.role),
                "plants": g.n,
                "mean": g.mean(self.scale),
                "error": float(np.sqrt(squared)),
                "variance": g.variance(self.scale),
                "[d]": float(g.d),
                "[h]": float(g.h),
                "expected": fitted,
            }
            for g, squared, fitted in zip(
                self.generations.all, self.squared_errors, self.simple.fitted, strict=True
            )
        ]
        return pd.DataFrame(rows).set_index("generation")

    def parameters(self, level: float = 0.95) -> pd.DataFrame:
        """Estimate, error and interval of each parameter, of the simple fit and of pairs."""
        import pandas as pd

        rows = []
        for fit, name in ((self.simple, "simple"), (self.pairs, "with pairs of genes")):
            for parameter, c in fit.parameters.items() if fit else ():
                ends = c.interval(level)
                rows.append((name, parameter, c.value, c.error, ends["low"], ends["high"]))
        columns = ["fit", "parameter", "estimate", "error", "low", "high"]
        return pd.DataFrame(rows, columns=columns).set_index(["fit", "parameter"])

    @property
    def verdict(self) -> str:
        these = f"{plants(self.generations.n)} in {len(self.generations.all)} generations"
        fit = self.simple
        if fit.df == 0:
            head = f"The means of {these} cannot show whether genes each act on their own."
        elif fit.pvalue < LEVEL:
            head = (
                f"The means of {these} do not fit genes that each act on their own "
                f"(chance of a misfit this large or larger {chance(fit.pvalue)})."
            )
        else:
            head = f"The means of {these} agree with genes that each act on their own."
        return f"{head} {self._dominance_words()}"

    def _dominance_words(self) -> str:
        if self.dominance is None:
            return "The parents differ too little to tell which of them dominates."
        low, high = self.dominance.interval()
        said = f"degree of dominance {number(self.dominance.value, 2)}"
        said += f", between {number(low, 2)} and {number(high, 2)}"
        where = "higher" if self.dominance.value > 0 else "lower"
        near, far = sorted((abs(low), abs(high)))
        if low <= 0 <= high:
            return f"The F1 is not shown to lean to either parent ({said})."
        if near > 1:
            return f"The F1 goes beyond the {where} parent ({said})."
        if far < 1:
            return f"The F1 leans towards the {where} parent, part of the way ({said})."
        return f"The F1 leans towards the {where} parent, perhaps all the way ({said})."

    def facts(self) -> list[Fact]:
        unit = f" {self.generations.unit}" if self.generations.unit else ""
        if self.scale == "log":
            unit = " (log)"
        facts = [
            Fact(
                self.generations.called(g.role),
                f"{estimate(g.mean(self.scale), float(np.sqrt(squared)))}{unit}",
                f"{plants(g.n)}; expected {number(fitted)}",
            )
            for g, squared, fitted in zip(
                self.generations.all, self.squared_errors, self.simple.fitted, strict=True
            )
        ]
        facts += [Fact(k, estimate(c.value, c.error), WORDS[k])
                  for k, c in self.simple.parameters.items()]  # fmt: skip
        for fit, name in ((self.simple, "misfit"), (self.pairs, "misfit with pairs of genes")):
            if fit and fit.df:
                facts.append(Fact(name, f"chi-square {number(fit.chi_square)} on {fit.df} df",
                                  f"chance of this or more {chance(fit.pvalue)}"))  # fmt: skip
        if self.pairs:
            facts += [Fact(k, estimate(c.value, c.error), WORDS[k])
                      for k, c in self.pairs.parameters.items() if k in PARAMETERS[3:]]  # fmt: skip
        facts += [Fact(f"scaling test {k}", estimate(c.value, c.error),
                       f"0 if genes each act on their own; chance {chance(c.pvalue)}")
                  for k, c in self.scaling.items()]  # fmt: skip
        own = f" {self.generations.unit}" if self.generations.unit else ""
        return facts + [
            Fact(words, f"{estimate(c.value, c.error)}{own}", self._share(key, c.value))
            for key, words in (("midparent", "F1 above midparent"),
                               ("better parent", "F1 above the higher parent"),
                               ("inbreeding depression", "lost from F1 to F2"))
            if (c := self.heterosis().get(key))
        ]  # fmt: skip

    def _share(self, key: str, value: float) -> str:
        """A difference as a share of what it is held against: '3.4 % of it'."""
        means = {g.role: g.mean() for g in self.generations.all}
        parents = [means[p] for p in ("P1", "P2") if p in means]
        base = {
            "midparent": lambda: sum(parents) / 2,
            "better parent": lambda: max(parents),
            "inbreeding depression": lambda: means["F1"],
        }[key]()
        if base <= 0:
            return ""
        sign = "−" if value < 0 else ""
        return f"{sign}{percent(abs(value) / base)}"


def generation_means(
    season: Season, trait: str, scale: str = "raw", families: Iterable[str] | None = None
) -> GenerationMeans:
    """Whether a trait's generation means fit genes that each act on their own, and who dominates.

    Parameters
    ----------
    season : plants of one cross of two parents, in at least three kinds of generation.
    trait : measured or a count.
    scale : "raw", or "log" for natural logarithms.
    families : only these; needed where the season holds more than one cross.

    Returns
    -------
    GenerationMeans

    Raises
    ------
    TableError
        for a trait that is not there or has classes.
    ModelError
        if the families are not of one cross of two parents, or the scale is not known.
    FitError
        if the generations are too few, all plants alike, or logarithms impossible.
    """
    generations = generations_of(season, trait, families)
    scale = scale_of(scale, generations)
    squared, pooled = squared_errors(generations.all, scale)
    simple = joint_fit(generations.all, scale, squared, 3)
    pairs = None
    if len(generations.all) >= 6 and np.linalg.matrix_rank(design(generations.all, 6)) == 6:
        pairs = joint_fit(generations.all, scale, squared, 6)
    roles = {g.role for g in generations.all}
    scaling = {
        name: contrast(generations, weights, scale, squared)
        for name, weights in SCALING.items()
        if weights.keys() <= roles
    }
    other = None
    if generations.allows_log:
        away = "log" if scale == "raw" else "raw"
        other = joint_fit(generations.all, away, squared_errors(generations.all, away)[0], 3)
    found = GenerationMeans(generations, scale, simple, pairs, scaling, other, squared, ())
    notes = (*generations.notes, *_notes(found, pooled))
    return replace(found, notes=notes)


def _notes(found: GenerationMeans, pooled: tuple[str, ...]) -> list[str]:
    generations, notes = found.generations, []
    if pooled:
        named = listing([generations.called(role) for role in pooled])
        notes.append(
            f"{named}: fewer than {FEWEST_FOR_VARIANCE} plants, or all alike; the spread within "
            "the other generations stands in for their own."
        )
    small = min(g.n for g in generations.all)
    if small < FEW and found.simple.df:
        notes.append(
            f"The smallest generation has {plants(small)}; the chance of a misfit allows for so "
            f"few (by the chi-square distribution it would be {chance(found.simple.large_sample)})."
        )
    if not found.simple.df:
        notes.append("With three kinds of generation nothing is left to test the fit with.")
    away = "log" if found.scale == "raw" else "raw"
    if found.other and found.simple.df:
        here, there = found.simple.pvalue, found.other.pvalue
        if here < LEVEL <= there:
            say = f"On the {away} scale genes that each act on their own do fit"
        elif there < LEVEL <= here:
            say = f"On the {away} scale genes that each act on their own do not; this scale behaves"
        else:
            say = f"The {away} scale {'fits no better' if here < LEVEL else 'fits as well'}"
        notes.append(f"{say} (chance of a misfit this large or larger {chance(there)}).")
    spread = [g.variance(found.scale) for g in generations.all if g.uniform and g.n >= 5]
    if len(spread) > 1 and max(spread) > UNEQUAL * min(spread):
        notes.append(
            "Parents and F1 differ much in spread, though within each all plants are alike in "
            f"genes; the {away} scale may suit the trait better."
        )
    return notes
