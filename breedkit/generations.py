"""The generations of one cross of two parents, with the numbers of a measured trait in each.

For one gene of which parent 1 is AA and parent 2 is aa, let a generation's plants carry A in
a share p of their copies and be Aa with chance h. With values m + d, m + h', m - d of the
three genotypes, the mean of the generation is

    m + (2p - 1) d + h h',

and sums over all genes keep that form, so the coefficients (2p - 1, h) are the same for every
number of genes of whatever size. Both are read off `breedkit.cross` as exact fractions; none
is typed. Unlinked genes of a plant drawn at random are independent within a generation, so
that for two of them the coefficients multiply (Mather & Jinks, Biometrical Genetics, 1971).

Only plants of which nothing was chosen stand for a generation: the offspring of single plants
that segregate, of plants of one look and of open pollination are left out, and that is said.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from breedkit.cross import Population, grow
from breedkit.errors import FitError, ModelError, pick, quote
from breedkit.families import family_plans
from breedkit.genome import Genome
from breedkit.pedigree import (
    Chosen,
    Cross,
    Founder,
    Intermating,
    Plan,
    Selfing,
    Sibmating,
    depth,
    founders_of,
    generation,
    recurrent_parent,
)
from breedkit.results import listing, number, plants, show

if TYPE_CHECKING:
    import pandas as pd

    from breedkit.season import Season

SCALES = ("raw", "log")
FAR = 6.0  # robust standard deviations from the median that make a value worth a second look
FEWEST_FOR_FAR = 6  # plants below which that says nothing
FAR_TIMES = 5.0  # a value this many times the next one is worth a second look too
FEWEST_FOR_TIMES = 3
AT_FLOOR = 0.1  # share of zeros from which a floor is pointed out
NAME = 30  # characters of a grower's own word


@dataclass(frozen=True, eq=False)
class Generation:
    """The scored plants of one generation.

    Attributes
    ----------
    role : 'P1', 'P2', 'F1', 'F2', 'BC1(P1)', 'BC1(P2)', 'F3', ... whatever the names are.
    families : of the season that belong to it.
    d, h : expected share of P1's alleles minus that of P2's; expected heterozygosity.
    values : in the trait's own unit, shape (plants,). codes : of the plants, alike.
    """

    role: str
    families: tuple[str, ...]
    d: Fraction
    h: Fraction
    values: np.ndarray
    codes: tuple[str, ...]

    @property
    def n(self) -> int:
        return len(self.values)

    @property
    def uniform(self) -> bool:
        """Whether all its plants have the same genotype, if the parents breed true."""
        return self.role in ("P1", "P2", "F1")

    def on(self, scale: str) -> np.ndarray:
        """The values as they are ("raw"), or their natural logarithms ("log")."""
        return np.log(self.values) if scale == "log" else self.values

    def mean(self, scale: str = "raw") -> float:
        return float(self.on(scale).mean())

    def variance(self, scale: str = "raw") -> float:
        """Of the sample, with n - 1; not a number for a single plant."""
        return float(self.on(scale).var(ddof=1)) if self.n > 1 else float("nan")


@dataclass(frozen=True, eq=False)
class Generations:
    """All generations of one cross that have scored plants, and what was noticed on the way.

    Attributes
    ----------
    trait, unit : name of the trait and its unit ('' if none is given).
    founders : names of parent 1 and parent 2; parent 1 is the mother of the first cross.
    all : the generations, parents first. notes : caveats in the grower's words.
    """

    trait: str
    unit: str
    founders: tuple[str, str]
    all: tuple[Generation, ...]
    notes: tuple[str, ...]

    @property
    def n(self) -> int:
        return sum(g.n for g in self.all)

    @property
    def allows_log(self) -> bool:
        return all((g.values > 0).all() for g in self.all)

    def get(self, role: str) -> Generation | None:
        return next((g for g in self.all if g.role == role), None)

    def called(self, role: str) -> str:
        """What a reader is shown: the parents' own names, and 'BC1 to Marl'."""
        for side, name in zip(("P1", "P2"), self.founders, strict=True):
            short = show(name, longest=NAME)
            if role == side:
                return short if short == side else f"{short} ({side})"
            if role.endswith(f"({side})"):
                return f"{role.removesuffix(f'({side})')} to {short}"
        return role


def generations_of(
    season: Season, trait: str, families: Iterable[str] | None = None
) -> Generations:
    """The plants of a measured trait, by generation of the one cross they come from.

    Parameters
    ----------
    season : with a register, or families named like 'F2'.
    trait : measured or a count.
    families : only these; needed where the season holds crosses of more than two parents.

    Raises
    ------
    TableError
        for a trait that is not there or has classes.
    ModelError
        if there is no cross of two parents, or there are more parents than two.
    FitError
        if no plant was scored.
    """
    frame = season.values(trait)
    frame = frame.assign(family=frame["family"].astype(str))
    name, unit = season.trait(trait).name, season.trait(trait).unit or ""
    scored = frame[frame["value"].notna() & np.isfinite(frame["value"].astype(float))]
    if scored.empty:
        raise FitError(f"No plant has a number for {quote(show(name, longest=NAME))}.")
    known = tuple(dict.fromkeys(scored["family"]))
    if families is not None:
        wanted = [families] if isinstance(families, str) else list(families)
        known = tuple(dict.fromkeys(pick(f, known, "scored family", ModelError) for f in wanted))
    plans = family_plans(season.families, season.family_names, season.plants)
    random = {f: p for f in known if f in plans and (p := unchosen(plans[f])) is not None}
    founders = _two_parents(random)
    held: dict[tuple[str, Fraction, Fraction], list[str]] = {}
    for family, plan in random.items():
        if set(founders_of(plan)) <= set(founders):
            key = (_role(plan, founders), *coefficients(plan, founders))
            held.setdefault(key, []).append(family)
    numbers = {f: scored[scored["family"] == f] for g in held.values() for f in g}
    found = []
    for (role, d, h), members in held.items():
        values = np.concatenate([numbers[f]["value"].to_numpy(dtype=float) for f in members])
        codes = tuple(str(c) for f in members for c in numbers[f]["plant"])
        found.append(Generation(role, tuple(members), d, h, values, codes))
    found.sort(key=lambda g: (g.role not in ("P1", "P2"), not g.role.startswith("F"), g.role))
    left = [f for f in known if f not in numbers]
    result = Generations(name, unit, founders, tuple(found), ())
    counts = ["These are counts, treated here like measurements: where they are small, means hold "
              "better than intervals."] if season.trait(trait).kind == "count" else []  # fmt: skip
    notes = (
        *_left_out(left),
        *counts,
        *_missing(frame, numbers),
        *_far_off(result),
        *_floor(result),
    )
    return Generations(name, unit, founders, tuple(found), notes)


def unchosen(plan: Plan) -> Plan | None:
    """The plan without plants taken at random or from among equals; None if any was chosen.

    Of a founder or an F1 between founders every plant is alike, so that it matters to none of
    its offspring which plant was taken.
    """
    match plan:
        case Founder():
            return plan
        case Chosen(parent, look, plant):
            inner = unchosen(parent)
            anyone = look is None and plant is None
            return inner if inner is not None and (anyone or _alike(inner)) else None
        case Cross(female, male):
            one, other = unchosen(female), unchosen(male)
            return Cross(one, other) if one is not None and other is not None else None
        case Selfing(parent) | Sibmating(parent):
            inner = unchosen(parent)
            if inner is None or isinstance(inner, Founder):
                return inner  # a parent that breeds true, selfed, is itself
            return type(plan)(inner)
        case Intermating():
            return None


def _alike(plan: Plan) -> bool:
    """Whether all plants have one genotype, if the founders breed true."""
    if isinstance(plan, Cross):
        return isinstance(plan.female, Founder) and isinstance(plan.male, Founder)
    return isinstance(plan, Founder)


@cache
def coefficients(plan: Plan, founders: tuple[str, str]) -> tuple[Fraction, Fraction]:
    """Share of P1's alleles minus share of P2's, and heterozygosity, of a random plant."""
    genome = Genome.of(("AA", "aa"))
    pure = {
        name: Population.of(genome, genotype, exact=True)
        for name, genotype in zip(founders, ("AA", "aa"), strict=True)
    }
    grown = grow(plan, pure.__getitem__, lambda population, look: population)
    share = Fraction(grown.allele_share("A"))
    return 2 * share - 1, Fraction(grown.heterozygous("A"))


def scale_of(scale: str, generations: Generations) -> str:
    """The scale that is meant.

    Raises
    ------
    ModelError
        for one that is not known. FitError for logarithms of what is not above zero.
    """
    scale = pick(scale, SCALES, "scale", ModelError)
    if scale == "log" and not generations.allows_log:
        low = sum(int((g.values <= 0).sum()) for g in generations.all)
        raise FitError(
            f"The log scale needs values above 0; {plants(low)} {'has' if low == 1 else 'have'} "
            "0 or less.\nStay on the raw scale, or check these plants."
        )
    return scale


def _two_parents(plans: dict[str, Plan]) -> tuple[str, str]:
    crosses = sorted((p for p in plans.values() if not isinstance(p, Founder)), key=depth)
    parents = list(dict.fromkeys(f for p in crosses for f in founders_of(p)))
    if len(parents) == 2:
        return parents[0], parents[1]
    if not parents:
        raise ModelError(
            "No scored family comes from a cross that can be followed.\n"
            "Give the families' parents in the register, or name them like 'F1', 'F2', 'BC1(P1)'."
        )
    named = listing([quote(show(p, longest=NAME)) for p in parents[:6]])
    more = " and more" if len(parents) > 6 else ""
    raise ModelError(
        f"One cross of two parents at a time; these families have {len(parents)}.\n"
        f"Parents: {named}{more}. Choose the families of one cross with families=[...]."
    )


def _role(plan: Plan, founders: tuple[str, str]) -> str:
    """'P1', 'F2', 'BC1(P2)F2': the generation, with which parent it is or goes back to."""
    if isinstance(plan, Founder):
        return f"P{founders.index(plan.name) + 1}"
    name, back = generation(plan), recurrent_parent(plan)
    if back is None:
        return name
    start, selfed, rest = name.partition("F")
    return f"{start}(P{founders.index(back) + 1}){selfed}{rest}"


def _left_out(families: Sequence[str]) -> list[str]:
    if not families:
        return []
    named = listing([show(f, longest=NAME) for f in families[:4]])
    more = f" and {len(families) - 4} more" if len(families) > 4 else ""
    return [
        f"Left out: {named}{more}. Not of this cross, parents unknown, open-pollinated, or from "
        "chosen plants, which do not stand for a whole generation."
    ]


def _missing(frame: pd.DataFrame, numbers: Iterable[str]) -> list[str]:
    count = int(frame.loc[frame["family"].isin(list(numbers)), "value"].isna().sum())
    return [f"{plants(count)} of these families not scored."] if count else []


def _far_off(generations: Generations) -> list[str]:
    """Values that look like a slip of the decimal point, or just far from the others."""
    notes = []
    for g in generations.all:
        far = _far(g.values)
        median = float(np.median(g.values))
        for i in far[:3]:
            rest = np.delete(g.values, far)
            moved = [x for x in (g.values[i] / 10, g.values[i] * 10)
                     if rest.min() <= 1.25 * x and x <= 1.25 * rest.max()]  # fmt: skip
            would = f"; {number(moved[0])} if the decimal point slipped" if moved else ""
            notes.append(
                f"{generations.called(g.role)}, plant {show(g.codes[i], longest=NAME)}: "
                f"{number(float(g.values[i]))} is far from the others (middle one "
                f"{number(median)}){would}. It is in the figures; look at it first."
            )
        if len(far) > 3:
            notes.append(
                f"{generations.called(g.role)}: {len(far)} of {plants(g.n)} are far from the "
                "others. Are all in the same unit?"
            )
    return notes


def _far(values: np.ndarray) -> np.ndarray:
    """Places of values far from the middle one, or five times beyond all others."""
    order = np.argsort(values, kind="stable")
    found = set()
    if len(values) >= FEWEST_FOR_FAR:
        off = np.abs(values - np.median(values))
        spread = 1.4826 * float(np.median(off))
        found |= set(np.flatnonzero(off > FAR * spread)) if spread > 0 else set()
    if len(values) >= FEWEST_FOR_TIMES:
        low, next_low, next_high, high = values[order[[0, 1, -2, -1]]]
        found |= {order[-1]} if high > FAR_TIMES * next_high > 0 else set()
        found |= {order[0]} if 0 < FAR_TIMES * low < next_low else set()
    return np.array(sorted(found), dtype=int)


def _floor(generations: Generations) -> list[str]:
    notes = []
    for g in generations.all:
        low = int((g.values == 0).sum())
        if low >= max(AT_FLOOR * g.n, 2) and low < g.n and (g.values >= 0).all():
            notes.append(
                f"{generations.called(g.role)}: {low} of {plants(g.n)} are at 0. Where values "
                "cannot go lower, means and variances say less than they seem to."
            )
    return notes
