"""What choosing among F2 plants brings, and at least how many genes are at work.

If the chosen plants lie S above all F2 plants, their offspring are expected to lie above them by

    R = h² S            if the chosen plants mate at random among themselves (breeder's equation;
                        Lush 1937, from memory), h² = VA / V(F2)
    R = S (h² + H²) / 2 if each is selfed, H² = VG / V(F2): F2 plant and selfed family share
                        VA + VD / 2, which is 1/2 D + 1/8 H of Mather & Jinks (1971)

and selfing moves the mean by half of F2 minus F1 besides, since heterozygotes are halved.
The chosen plants' own S is partly luck of pot and weather; that is what h² < 1 takes off.

Effective factors (Castle 1921, Wright 1968, Lande 1981; all from memory) are

    n = (P1 - P2)² / (8 VG),   Var(n) = n² (4 Var(P1 - P2) / (P1 - P2)² + Var(VG) / VG²).

With k unlinked genes of equal effect a, all plus alleles in one parent and no dominance, parents
differ by 2 k a and VG = k a² / 2, so n = k. Unequal effects, plus alleles in both parents and
linkage each make the ratio smaller: n is a floor of the number of genes.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from breedkit.enough import Share, fraction
from breedkit.errors import FitError, ModelError, pick, quote
from breedkit.generations import NAME
from breedkit.measured import UNIFORM, VarianceComponents, ends, variance_components
from breedkit.results import Fact, Result, listing, number, percent, plants, show

if TYPE_CHECKING:
    import pandas as pd

    from breedkit.season import Season

SEED = 11
SURE = 0.95


@dataclass(frozen=True, repr=False, eq=False)
class EffectiveFactors(Result):
    """At least how many genes are at work. Made by `effective_factors`.

    Attributes
    ----------
    components : the variance components beneath. factors : n of Castle and Wright; not a
        number where the genetic variance is not above 0. corrected : the same with
        (P1 - P2)² less its own sampling variance. error : standard error of `factors`.
        difference : P1 minus P2. draws : of n, what it may truly be; infinite where VG <= 0.
    """

    components: VarianceComponents
    factors: float
    corrected: float
    error: float
    difference: float
    draws: np.ndarray
    notes: tuple[str, ...]

    def interval(self, level: float = SURE) -> pd.Series:
        """The 'low' and 'high' end; 'high' may be infinite."""
        import pandas as pd

        low, high = ends(self.draws, level)
        return pd.Series({"low": low, "high": high})

    @property
    def verdict(self) -> str:
        rests = plants(self.components.generations.n)
        low, high = self.interval()
        if self.factors != self.factors:
            return (
                "The number of genes cannot be judged: the F2 shows no more differences than "
                f"plants alike in genes do; {rests}."
            )
        upper = "has no upper end" if np.isinf(high) else f"goes up to {number(high, 2)}"
        return (
            f"About {number(self.factors, 2)} effective factors, a floor of the number of genes; "
            f"the range begins at {number(low, 2)} and {upper}; {rests}."
        )

    def facts(self) -> list[Fact]:
        low, high = self.interval()
        on_log = self.components.scale == "log"
        unit = "logarithms" if on_log else self.components.generations.unit
        return [
            Fact("effective factors", number(self.factors),
                 f"between {number(low)} and {number(high)}; a floor of the number of genes"),
            Fact("standard error", number(self.error), "rough where it is half of n or more"),
            Fact("less the parents' own luck", number(self.corrected),
                 "with the sampling variance of the parents' difference taken off"),
            Fact("P1 minus P2", number(self.difference), unit),
            Fact("genetic variance", number(self.components.values["genetic"]),
                 f"environment from {listing(self.components.environment)}"),
        ]  # fmt: skip


def effective_factors(
    season: Season,
    trait: str,
    scale: str = "raw",
    families: Iterable[str] | None = None,
    environment: Sequence[str] = UNIFORM,
) -> EffectiveFactors:
    """At least how many genes make the difference between two parents (Castle and Wright).

    Parameters
    ----------
    season : with both parents and an F2, each of two plants or more.
    trait, scale, families, environment : as for `breedkit.variance_components`.

    Returns
    -------
    EffectiveFactors

    Raises
    ------
    TableError, ModelError, FitError
        as `breedkit.variance_components`; FitError also if a parent has not two scored plants.
    """
    found = variance_components(season, trait, scale, families, environment)
    generations = found.generations
    parents = [generations.get(role) for role in ("P1", "P2")]
    one, two = (g if g is not None and g.n > 1 else None for g in parents)
    if one is None or two is None:
        raise FitError(
            "The number of genes takes two scored plants or more of each parent.\n"
            "Grow both parents beside the F2."
        )
    difference = one.mean(found.scale) - two.mean(found.scale)
    own = sum(g.variance(found.scale) / g.n for g in (one, two))
    genetic = found.values["genetic"]
    rng = np.random.default_rng(SEED)
    spread = difference + own**0.5 * rng.standard_normal(len(found.draws["genetic"]))
    with np.errstate(divide="ignore"):
        draws = np.where(
            found.draws["genetic"] > 0, spread**2 / (8 * found.draws["genetic"]), np.inf
        )
    factors = corrected = error = float("nan")
    if genetic > 0:
        factors = difference**2 / (8 * genetic)
        corrected = max(difference**2 - own, 0) / (8 * genetic)
        relative = _variance_of_genetic(found) / genetic**2
        # n² 4 Var / difference² written so that parents alike divide by nothing.
        error = (factors * 4 * own / (8 * genetic) + factors**2 * relative) ** 0.5
    notes = [
        *found.notes,
        "It is only a floor: genes of unequal effect, plus alleles in both parents and genes on "
        "one chromosome each make it smaller than the number of genes.",
        "Dominance moves it either way; look at the log scale if the F1 leans to a parent.",
    ]
    f2 = generations.get("F2")
    assert f2 is not None
    low, high = sorted((one.mean(), two.mean()))
    beyond = int(((f2.values < low) | (f2.values > high)).sum())
    if beyond:
        notes.append(
            f"{beyond:,} of {f2.n:,} F2 plants lie beyond the mean of a parent. If that is more "
            "than pot and weather, each parent brings plus alleles, and there are more genes."
        )
    return EffectiveFactors(
        found, float(factors), float(corrected), float(error), difference, draws, tuple(notes)
    )


def _variance_of_genetic(found: VarianceComponents) -> float:
    """Sampling variance of VG: 2 V² / (n - 1) of each variance in it, for normal values."""
    groups = {g.role: g for g in found.generations.all}
    weights = {role: 1 / len(found.environment) for role in found.environment} | {"F2": 1.0}
    return sum(
        w**2 * 2 * groups[role].variance(found.scale) ** 2 / (groups[role].n - 1)
        for role, w in weights.items()
    )


# --- selection --------------------------------------------------------------


@dataclass(frozen=True, repr=False, eq=False)
class SelectionResponse(Result):
    """What the offspring of chosen F2 plants are expected to be. Made by `selection_response`.

    Attributes
    ----------
    components : the variance components beneath. chosen : codes of the plants.
    mean, differential : of all F2 plants; of the chosen ones less that (S).
    intermated, selfed : expected mean of the offspring, by way of mating.
    draws : 'intermated' and 'selfed' -> shape (replicates,), what it may truly be.
    narrow : whether h² is known; else the broad sense stands in, and these are upper ends.
    """

    components: VarianceComponents
    chosen: tuple[str, ...]
    mean: float
    differential: float
    intermated: float
    selfed: float
    draws: dict[str, np.ndarray]
    narrow: bool
    notes: tuple[str, ...]

    def interval(self, mating: str = "selfed", level: float = SURE) -> pd.Series:
        """The 'low' and 'high' end of the offspring's expected mean."""
        import pandas as pd

        mating = pick(mating, self.draws, "way of mating", ModelError)
        low, high = ends(self.draws[mating], level)
        return pd.Series({"low": low, "high": high})

    @property
    def verdict(self) -> str:
        generations = self.components.generations
        f2 = generations.get("F2")
        assert f2 is not None
        unit = f" {generations.unit}" if generations.unit else ""
        low, high = self.interval("selfed")
        up = self.differential >= 0
        most = "" if self.narrow else "at most " if up else "at least "
        side = "above" if up else "below"
        lie = "lies" if len(self.chosen) == 1 else "lie"
        return (
            f"The {plants(len(self.chosen))} you keep of {f2.n:,} F2 plants {lie} "
            f"{number(abs(self.differential))}{unit} {side} their family's mean of "
            f"{number(self.mean)}. Selfed, their F3 is expected to be {most}{number(self.selfed)}"
            f"{unit}, between {number(low)} and {number(high)}; {plants(generations.n)}."
        )

    def facts(self) -> list[Fact]:
        unit = f" {self.components.generations.unit}" if self.components.generations.unit else ""
        f2 = self.components.generations.get("F2")
        assert f2 is not None
        facts = [
            Fact("kept", percent(len(self.chosen) / f2.n), _some(self.chosen)),
            Fact("mean of the F2", f"{number(self.mean)}{unit}", plants(f2.n)),
            Fact("chosen plants less that", f"{number(self.differential)}{unit}", "as scored"),
        ]
        for mating, value, words in (
            ("selfed", self.selfed, "each chosen plant selfed"),
            ("intermated", self.intermated, "chosen plants crossed among themselves"),
        ):
            low, high = self.interval(mating)
            facts.append(
                Fact(f"offspring, {mating}", f"{number(value)}{unit}",
                     f"between {number(low)} and {number(high)}; {words}")
            )  # fmt: skip
        return facts


def selection_response(
    season: Season,
    trait: str,
    chosen: Iterable[str] | None = None,
    share: Share | None = None,
    largest: bool = True,
    families: Iterable[str] | None = None,
) -> SelectionResponse:
    """What the offspring of chosen F2 plants are expected to be.

    Parameters
    ----------
    season : as for `breedkit.variance_components`.
    trait : measured or a count.
    chosen : codes of F2 plants to keep; or
    share : the part of the F2 plants to keep, such as 0.1 or "1/10", those with the largest values
        (at least one plant); with `largest` False, the smallest.
    families : only these; needed where the season holds more than one cross.

    Returns
    -------
    SelectionResponse

    Raises
    ------
    ModelError
        if neither or both of `chosen` and `share` are given, a plant is not a scored plant of
        the F2 or not the only one of its code, or the share is out of range.
    TableError, ModelError, FitError
        also as `breedkit.variance_components`.
    """
    if (chosen is None) == (share is None):
        raise ModelError("Give either the chosen plants or the share to keep, not both.")
    found = variance_components(season, trait, families=families)
    f2, f1 = (found.generations.get(role) for role in ("F2", "F1"))
    assert f2 is not None
    if share is not None:
        keep = fraction(share, "share to keep")
        if not 0 < keep <= 1:
            typed = show(share, longest=NAME)
            raise ModelError(f"A share to keep lies between 0 and 1; {typed} does not.")
        order = np.argsort(-f2.values if largest else f2.values, kind="stable")
        kept = np.sort(order[: max(round(keep * f2.n), 1)])
    else:
        wanted = [chosen] if isinstance(chosen, str) else list(chosen or ())
        codes = [pick(c, f2.codes, "scored F2 plant", ModelError) for c in wanted]
        if not codes:
            raise ModelError("No plant is chosen. Name the F2 plants you keep.")
        twice = [c for c in codes if f2.codes.count(c) > 1]
        if twice:
            raise ModelError(
                f"More than one F2 plant is called {quote(show(twice[0], longest=NAME))}.\n"
                "Give each plant a code of its own."
            )
        kept = np.array(sorted({f2.codes.index(c) for c in codes}))
    mean = f2.mean()
    differential = float(f2.values[kept].mean()) - mean
    narrow = "narrow" in found.values
    shift, error, notes = 0.0, 0.0, list(found.notes)
    if f1 is not None and f1.n > 1:
        shift = (mean - f1.mean()) / 2
        error = 0.5 * (f2.variance() / f2.n + f1.variance() / f1.n) ** 0.5
    else:
        notes.append("Without two scored F1 plants, what selfing itself takes off is left out.")
    if not narrow:
        notes.append(
            "Without both backcrosses the broad sense of heritability stands in: the offspring "
            "are expected to gain this much at most."
        )
    notes.append("The next season's weather moves parents and offspring alike; it is not in this.")
    luck = error * np.random.default_rng(SEED).standard_normal(len(found.draws["broad"]))
    values = _gains(found.values, differential, narrow)
    spread = _gains(found.draws, differential, narrow)
    return SelectionResponse(
        found,
        tuple(f2.codes[i] for i in kept),
        mean,
        differential,
        float(mean + values[0]),
        float(mean + shift + values[1]),
        {"intermated": mean + spread[0], "selfed": mean + shift + luck + spread[1]},
        narrow,
        tuple(notes),
    )


def response(heritability: float | np.ndarray, differential: float) -> float | np.ndarray:
    """The breeder's equation, R = h² S, with h² kept to 0 to 1."""
    return np.clip(heritability, 0, 1) * differential


def _gains(parts: Mapping, differential: float, narrow: bool) -> tuple:
    """Gain if the chosen plants are intermated, and if selfed; numbers or arrays."""
    broad = parts["broad"]
    low = parts["narrow"] if narrow else broad
    one, two = response(low, differential), response(broad, differential)
    return one, (one + two) / 2


def _some(codes: Sequence[str]) -> str:
    short = [show(c, longest=NAME) for c in codes[:8]]
    more = f" and {len(codes) - 8} more" if len(codes) > 8 else ""
    return f"{', '.join(short)}{more}"
