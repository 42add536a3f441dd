"""One family against every ratio that the catalogue allows in it.

`breedkit.candidates` lists the ratios; here the counts are held against each. The figure
is the exact chance of a misfit this large or larger, if the ratio holds, in order of
likelihood ratio. From `level` (0.05) upwards a ratio fits, from 0.01 it fits badly: one
true ratio in twenty does no better. A ratio that allows no plant of a class fits but for
the plants there, if these are no more than slips of scoring may be and the others fit.

Only where nothing else fits in any of these ways is it said so, and always on what it
rests: that the parents breed true, that all seed comes up alike. If several ratios fit,
the answer is "cannot tell yet": first the one that assumes least, then its nearest rival,
and how many plants of such a family would separate the two.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from breedkit import charts
from breedkit.candidates import (
    ALIKE,
    RULED_OUT,
    Counted,
    Evidence,
    Way,
    chance_without,
    expected_ratios,
    is_slip,
    slips,
)
from breedkit.errors import ModelError, PedigreeError, TableError, pick, quote
from breedkit.families import family_plans
from breedkit.models import InheritanceModel, catalogue
from breedkit.pedigree import Plan, describe, founders_of, generation, single_parents, without_look
from breedkit.ratios import RatioTest, Separation, plants_to_separate, ratio_test
from breedkit.results import Fact, Result, chance, listing, plants, ratio_text, sentence, show

if TYPE_CHECKING:
    from breedkit.charts import Axes
    from breedkit.season import Season

CERTAINTY = 0.9  # chance to tell two ratios apart that plants are counted for
LISTED = 6  # ratios that a display lists

FITS, BADLY, BUT_FOR, IF_WRONG, NOT = (
    "fits",
    "fits badly",
    "fits but for",
    "fits if",
    "does not fit",
)


@dataclass(frozen=True, eq=False)
class Candidate:
    """A ratio that the models allow in the family, and how the counts sit with it.

    `standing` is one of "fits", "fits badly", "fits but for" (`odd` plants), "fits if" (the
    parent plant `doubt` was written down wrongly) and "does not fit"; `chance` is that of a
    misfit this large or larger, without the odd plants. See `Way` for what is assumed.
    """

    classes: tuple[str, ...]
    shares: tuple[Fraction, ...]
    way: Way
    test: RatioTest
    standing: str
    chance: float
    odd: int = 0
    doubt: str = ""

    @property
    def alive(self) -> bool:
        return self.standing != NOT

    @property
    def fits(self) -> bool:
        return self.standing == FITS

    @property
    def ratio(self) -> str:
        """'3:1', 'all red', or '1:1 mid:white' where some class gets no plant."""
        named = [show(c, longest=24) for c, s in zip(self.classes, self.shares, strict=True) if s]
        if len(named) == 1:
            return f"all {named[0]}"
        text = ratio_text([s for s in self.shares if s])
        return text if len(named) == len(self.classes) else f"{text} {':'.join(named)}"

    @property
    def models(self) -> tuple[str, ...]:
        return self.way.models

    @property
    def genes(self) -> int:
        return self.way.genes

    @property
    def says(self) -> str:
        """'3:1 fits', 'all red fits but for 1 plant', ..."""
        if self.standing == BUT_FOR:
            return f"{self.ratio} fits but for {plants(self.odd)}"
        if self.standing == IF_WRONG:
            return f"{self.ratio} fits if {show(self.doubt)} was written down wrongly"
        return f"{self.ratio} {self.standing}"


@dataclass(frozen=True, eq=False, repr=False)
class FamilyVerdict(Result):
    """What one family says about the inheritance of a trait.

    `candidates` are the ratios that the parents and the F1 do not speak against: what fits
    first, then what may fit, each part by what must be assumed and by likelihood.
    `contradicted` are those they do speak against; `suspicion` is one of these where a wrong
    label is likelier than what is left. `counts` are the plants in each class.
    """

    trait: str
    family: str
    generation: str
    counts: pd.Series = field(hash=False)
    not_scored: int
    candidates: tuple[Candidate, ...]
    contradicted: tuple[Candidate, ...]
    suspicion: Candidate | None
    level: float

    @property
    def n(self) -> int:
        return int(self.counts.sum())

    @property
    def fitting(self) -> tuple[Candidate, ...]:
        """What fits, and assumes nothing further."""
        return tuple(c for c in self.candidates if c.fits and not c.way.further and self.n)

    @property
    def doubtful(self) -> tuple[Candidate, ...]:
        """What may fit: badly, but for a slip, or on a further assumption."""
        return tuple(c for c in self.candidates if c.alive and c not in self.fitting and self.n)

    @property
    def best(self) -> Candidate | None:
        """What fits and assumes least; None if nothing fits, or nothing was scored."""
        return next(iter(self.fitting), None)

    @property
    def rival(self) -> Candidate | None:
        """The next candidate that fits; if no other does, the likeliest of all others."""
        if self.best is None or len(self.candidates) < 2:
            return None
        if len(self.fitting) > 1:
            return self.fitting[1]
        plain = [c for c in self.candidates[1:] if not c.way.further] or self.candidates[1:]
        return max(plain, key=_likelihood)

    @property
    def separation(self) -> Separation | None:
        """How many plants tell the best candidate from its rival, about 9 times in 10."""
        if self.best is None or self.rival is None:
            return None
        classes = [c for c in self.counts.index if c in {*self.best.classes, *self.rival.classes}]
        one, other = (
            tuple(dict(zip(c.classes, c.shares, strict=True)).get(x, Fraction(0)) for x in classes)
            for c in (self.best, self.rival)
        )
        return _separation(one, other, self.level)

    @property
    def seen(self) -> str:
        """'13 red : 7 orange'."""
        named = self.best.classes if self.best else ()
        words = {
            c: quote(c) if str(c)[:1].isdigit() else show(c, longest=24) for c in self.counts.index
        }
        shown = [f"{n} {words[c]}" for c, n in self.counts.items() if n or c in named]
        return " : ".join(shown)

    @property
    def where(self) -> str:
        known = "" if self.generation == self.family else f"{self.generation}, "
        return f"{show(self.family)} ({known}{plants(self.n)})"

    @property
    def verdict(self) -> str:
        trait, seen = show(self.trait), self.seen
        if not self.n:
            return f"Cannot tell: no plant of {self.where} is scored for {trait}."
        if self.generation == "P":
            alike = int((self.counts > 0).sum()) == 1
            says = "all alike, as of a parent that breeds true"
            mixed = "not alike: a slip, mixed seed, or a parent that does not breed true"
            return f"{self.where} has {seen}: {says if alike else mixed}."
        if self.suspicion is not None:
            return (
                f"Look at the labels first: {self.suspicion.ratio} would fit {seen}, but the "
                f"parents or the F1 do not look like it. Did the cross take? {self.where}."
            )
        if not self.fitting and not self.doubtful:
            if len(self.candidates) <= len(self.counts):
                why = "gives such classes with these parents and this F1"
                return f"Cannot tell: no model in the catalogue {why}: {seen}; {self.where}."
            tried = _ratios(len(self.candidates))
            return f"None of these fits: {tried} tried on {seen}; {self.where}."
        if not self.fitting:
            if all(c.way.further for c in self.doubtful):
                says = listing([c.says for c in self.doubtful[:2]])
                return (
                    f"Nothing fits {seen} unless a parent does not breed true or seed dies; "
                    f"then {says}{_more(len(self.doubtful) - 2)}; {self.where}."
                )
            others = len(self.doubtful) - 1
            more = f", and {others} more may fit" if others else ""
            return f"Cannot tell for sure from {seen}: {self.doubtful[0].says}{more}; {self.where}."
        if len(self.fitting) > 1:
            one, two = self.fitting[:2]
            more = _more(len(self.fitting) - 2)
            return (
                f"Cannot tell yet: {one.ratio} and {two.ratio} both fit {seen}{more}; {self.where}."
            )
        plain = [c for c in self.doubtful if not c.way.further]
        if plain:
            return (
                f"{self.fitting[0].ratio} fits {seen}, but {plain[0].says}"
                f"{_more(len(plain) - 1)}; {self.where}."
            )
        return (
            f"{self.fitting[0].ratio} fits {seen}, and nothing else in the catalogue does if the "
            f"parents breed true and all seed comes up alike; {self.where}."
        )

    def facts(self) -> list[Fact]:
        alive = [*self.fitting, *self.doubtful]
        others = [c for c in self.candidates if not c.alive and not c.way.further]
        near = sorted(others, key=_likelihood, reverse=True)[:2]
        facts = [
            Fact(c.says, chance(c.chance), _how(c.way)) for c in [*alive[:LISTED], *near] if self.n
        ]
        if self.generation != "P" and self.separation and self.best and self.rival:
            facts.append(
                Fact(f"plants to tell {self.best.ratio} from {self.rival.ratio}",
                     f"{self.separation.words} in all", "enough in about 9 of 10 such families")
            )  # fmt: skip
        if self.suspicion is not None:
            facts.append(Fact(f"{self.suspicion.ratio} would fit", chance(self.suspicion.chance),
                              f"parents and F1 look so with chance "
                              f"{chance(self.suspicion.way.support)}"))  # fmt: skip
        if self.not_scored:
            facts.append(Fact("not scored", plants(self.not_scored), "do not count here"))
        return facts

    @property
    def notes(self) -> tuple[str, ...]:  # type: ignore[override]
        if not self.n or self.generation == "P":
            return ()
        tried = _ratios(len(self.candidates) + len(self.contradicted))
        notes = [
            "The figure beside a ratio is the chance of a misfit this large or larger, if the "
            f"ratio holds; it fits from {self.level:g} upwards and fits badly from {RULED_OUT:g}. "
            f"One true ratio in twenty does not fit, and a fit is no proof: {tried} tried.",
            "This looks at one family; what the other families show is not weighed, but for "
            "the parents and the F1.",
        ]
        if any(c.standing == BUT_FOR for c in self.candidates):
            notes.append("Look at the odd plants again: one slip of scoring or labelling changes "
                         "the answer.")  # fmt: skip
        if any(c.way.further for c in self.doubtful):
            notes.append(
                "Some ratios hold only if a parent does not breed true, or if seed of one kind "
                "dies before it is scored (a lethal)."
            )
        if self.best and len(self.best.models) > 1:
            notes.append(
                f"{sentence(listing(self.best.models[:3]))}"
                f"{_more(len(self.best.models) - 3)} expect the same of this family; it cannot "
                "tell them apart."
            )
        return tuple(notes)

    def table(self) -> pd.DataFrame:
        """Every candidate: ratio, genes, models, chance, standing, and whether it assumes more."""
        return pd.DataFrame(
            {
                "ratio": [c.ratio for c in self.candidates],
                "genes": [c.genes for c in self.candidates],
                "models": [listing(c.models, "or") for c in self.candidates],
                "chance": [c.chance for c in self.candidates],
                "standing": [c.standing for c in self.candidates],
                "further": [c.way.further for c in self.candidates],
            }
        )

    def plot(self, ax: Axes | None = None, ratio: str | None = None) -> Axes:
        """Counted against expected, under the best candidate and its rival, or under `ratio`."""
        known = {c.ratio: c for c in reversed((*self.candidates, *self.contradicted))}
        likeliest = max(self.candidates, key=_likelihood, default=None)
        chosen = self.best or next(iter(self.doubtful), likeliest)
        rival = self.fitting[1] if len(self.fitting) > 1 and ratio is None else None
        if ratio is not None:
            chosen = known[pick(ratio, known, "ratio among the candidates", ModelError)]
        if chosen is None:
            raise ModelError(f"There is no ratio to draw {quote(self.trait)} against.")
        test = chosen.test
        if rival is not None and rival.classes != chosen.classes:
            rival = None  # it speaks of other classes; the words name it
        stage = "" if self.generation == self.family else f" ({self.generation})"
        odds = [f"{c.ratio} {chance(c.chance)}" for c in (chosen, rival) if c is not None]
        caption = (
            f"{plants(self.n)} of {show(self.family)}{stage}. Chance of a misfit this large or "
            f"larger, if the ratio holds: {', '.join(odds)}."
        )
        return charts.bars_against_expected(
            test.classes, test.counts, test.expected.tolist(),
            rival=None if rival is None else rival.test.expected.tolist(),
            expected_name=f"expected {chosen.ratio}",
            rival_name="" if rival is None else rival.ratio,
            marked=(np.abs(test.residuals) > 2).tolist(), title=self.headline, caption=caption,
            alt=f"{self.headline}. Counted: {self.seen}. {caption}", ax=ax,
        )  # fmt: skip

    @property
    def headline(self) -> str:
        """The verdict in a few words, for a title."""
        trait = sentence(show(self.trait, longest=30))
        if not self.n:
            return f"{trait}: nothing scored"
        if self.suspicion is not None:
            return f"{trait}: look at the labels first"
        if len(self.fitting) > 1:
            one, two = self.fitting[:2]
            return f"{trait}: cannot tell {one.ratio} from {two.ratio} yet"
        if self.fitting:
            return f"{trait}: {self.fitting[0].ratio} fits, as with {_first(self.fitting[0].way)}"
        if self.doubtful:
            return f"{trait}: {self.doubtful[0].says}"
        return f"{trait}: none of these ratios fits"


def judge_family(
    season: Season,
    trait: str,
    family: str,
    models: Sequence[InheritanceModel] | None = None,
    level: float = 0.05,
) -> FamilyVerdict:
    """Which inheritance models fit the counts of one family.

    Parameters
    ----------
    season : the tables (`load_season`, `load_counts`).
    trait : a trait with classes.
    family : a family whose parents are in the register, or that is named 'F2', 'BC1' ...
    models : by default the whole catalogue.
    level : chance of a misfit below which a ratio is said not to fit.

    Raises
    ------
    TableError, PedigreeError
        if there is no such trait or family, or its parentage cannot be followed.
    """
    counts = season.counts(trait)
    family = pick(family, counts.index, "family", TableError)
    name = str(counts.columns.name)
    plans = family_plans(season.families, season.family_names, season.plants, name)
    if family not in plans:
        raise PedigreeError(
            f"The parents of family {quote(family)} are not known.\n"
            "Give female and male in the table of families, or name it F2, BC1 ..."
        )
    plan = plans[family]
    scored = counts.drop(columns="not scored")
    own = scored.loc[family]
    tried = tuple(catalogue().values() if models is None else models)
    evidence = _evidence(plan, plans, scored)
    ordered = season.trait(name).kind == "ordered"
    ratios = expected_ratios(plan, _counted(own), tried, evidence, ordered)
    found = [_candidate(own, dict(pairs), way, level) for pairs, way in ratios]
    for parent in single_parents(plan):
        if parent.look is not None:
            blank = without_look(plan, parent)
            more = expected_ratios(blank, _counted(own), tried, evidence, ordered)
            found += [
                replace(c, standing=IF_WRONG, doubt=parent.plant or "")
                for pairs, way in more
                if not way.further and pairs not in {known for known, _ in ratios}
                if (c := _candidate(own, dict(pairs), way, level)).fits
            ]
    found.sort(key=_order)
    agree = tuple(c for c in found if c.way.agrees)
    against = tuple(c for c in found if not c.way.agrees)
    return FamilyVerdict(
        name, family, describe(plan), own.copy(), int(counts.loc[family, "not scored"]),
        agree, against, _suspicion(plan, agree, against, evidence), level,
    )  # fmt: skip


def _order(candidate: Candidate) -> tuple[object, ...]:
    """What fits before what may fit, plain before further assumptions, simple before not."""
    c = candidate
    place = STANDINGS.index(c.standing)
    return (not c.alive, c.way.further, place, c.way.assumed, -_likelihood(c), c.ratio)


def _suspicion(
    family: Plan, agree: Sequence[Candidate], against: Sequence[Candidate], evidence: Evidence
) -> Candidate | None:
    """A plain ratio that would fit, but for the looks of parents and F1: a label may be wrong.

    Only where nothing plain fits, and where the F1 is uniform: one that segregates tells of
    a parent that does not breed true.
    """
    if generation(family) == "F1" or any(c.fits and not c.way.further for c in agree):
        return None
    for plan, seen in evidence:
        counts = [n for _, n in seen]
        if generation(plan) == "F1" and sum(counts) - max(counts) > slips(sum(counts)):
            return None
    return next((c for c in against if c.fits and c.way.assumed and not c.way.further), None)


STANDINGS = (FITS, BADLY, BUT_FOR, IF_WRONG, NOT)


def _candidate(own: pd.Series, share: dict[str, Fraction], way: Way, level: float) -> Candidate:
    """Hold the counts of a family against one ratio."""
    classes = [c for c in own.index if c in share or own[c]]
    if len(classes) == 1:  # any other class stands for "none of those"
        classes += [c for c in own.index if c not in classes][:1]
    classes = [c for c in own.index if c in classes]
    shares = tuple(share.get(c, Fraction(0)) for c in classes)
    counts = [int(own[c]) for c in classes]
    test = ratio_test(
        dict(zip(classes, counts, strict=True)), dict(zip(classes, shares, strict=True))
    )
    p = test.exact.pvalue
    standing = FITS if p >= level else BADLY if p >= RULED_OUT else NOT
    odd, rest = chance_without(counts, shares)
    if standing == NOT and is_slip(counts, odd) and rest >= level:
        return Candidate(tuple(classes), shares, way, test, BUT_FOR, rest, odd)
    return Candidate(tuple(classes), shares, way, test, standing, p)


def _evidence(plan: Plan, plans: dict[str, Plan], scored: pd.DataFrame) -> Evidence:
    """What the founders and the F1 of a family show, as far as they were scored."""
    own = set(founders_of(plan))
    found = []
    for name, other in plans.items():
        speaks = generation(other) in ("P", "F1") and set(founders_of(other)) <= own
        if speaks and other != plan and name in scored.index and scored.loc[name].sum():
            found.append((other, _counted(scored.loc[name])))
    return tuple(found)


def _counted(row: pd.Series) -> Counted:
    return tuple((str(c), int(n)) for c, n in row.items())


@lru_cache(maxsize=256)
def _separation(one: tuple[Fraction, ...], other: tuple[Fraction, ...], level: float) -> Separation:
    return plants_to_separate(list(one), list(other), CERTAINTY, level)


def _likelihood(candidate: Candidate) -> float:
    """Minus the G statistic: the larger, the likelier the counts."""
    return -candidate.test.g.statistic


def _how(way: Way) -> str:
    """'1 gene: single dominant gene', with what is assumed further."""
    if ALIKE in way.models:
        return "no segregation"
    genes = f"{way.genes} gene{'' if way.genes == 1 else 's'}" if way.genes else "cytoplasm"
    lethal = all("lethal" in m for m in way.models)
    unless = "seed dies" if lethal else "a parent does not breed true"
    return f"{genes}: {_first(way)}" + (f", if {unless}" if way.further else "")


def _first(way: Way) -> str:
    """At most two models by name."""
    if len(way.models) <= 2:
        return listing(way.models, "or")
    return f"{way.models[0]} or {len(way.models) - 1} other models"


def _more(n: int) -> str:
    return f", and so do{'es' if n == 1 else ''} {n} more" if n > 0 else ""


def _ratios(n: int) -> str:
    return f"{n} ratio{' was' if n == 1 else 's were'}"
