"""One family against every ratio that the catalogue allows in it.

`breedkit.candidates` lists the ratios, `breedkit.standing` holds the counts against each;
here they become a verdict. Only where nothing else fits, badly or but for a slip, is that
said, and always on what it rests: that the parents breed true, that all seed comes up
alike. If several ratios fit, the answer is "cannot tell yet": first the one that assumes
least, then its nearest rival, and how many plants of such a family would separate the two.
Where the family speaks for a plain ratio, but the parents or the F1 against it, a wrong
label is the first thing to look for.
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
    expected_ratios,
    slips,
)
from breedkit.errors import ModelError, PedigreeError, TableError, pick, quote
from breedkit.families import family_plans, is_bare_backcross
from breedkit.models import InheritanceModel, catalogue
from breedkit.pedigree import Plan, describe, founders_of, generation, single_parents, without_look
from breedkit.ratios import Separation, plants_to_separate
from breedkit.results import Fact, Result, chance, listing, plants, sentence, show
from breedkit.standing import BADLY, BUT_FOR, IF_WRONG, Candidate, candidate, likelihood, order

if TYPE_CHECKING:
    from breedkit.charts import Axes
    from breedkit.season import Season

CERTAINTY = 0.9  # chance to tell two ratios apart that plants are counted for
LISTED = 6  # ratios that a display lists


@dataclass(frozen=True, eq=False, repr=False)
class FamilyVerdict(Result):
    """What one family says about the inheritance of a trait.

    `candidates` are the ratios that the parents and the F1 do not speak against: what fits
    first, then what may fit, each part by what must be assumed and by likelihood.
    `contradicted` are those they do speak against; `suspicion` is one of these where a wrong
    label is likelier than what is left. `counts` are the plants in each class; `heard` is what the
    parents and the F1 show.
    """

    trait: str
    family: str
    generation: str
    counts: pd.Series = field(hash=False)
    not_scored: int
    candidates: tuple[Candidate, ...]
    contradicted: tuple[Candidate, ...]
    suspicion: Candidate | None
    heard: tuple[str, ...]
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
    def _has_models(self) -> bool:
        """Whether any model of the catalogue was tried, beside parents that are alike."""
        return any(ALIKE not in c.way.models for c in (*self.candidates, *self.contradicted))

    @property
    def rival(self) -> Candidate | None:
        """The next candidate that fits; if no other does, the first that fits badly."""
        badly = [c for c in self.doubtful if c.standing == BADLY and not c.way.further]
        return next(iter((*self.fitting[1:], *badly)), None) if self.best else None

    @property
    def pardon(self) -> Candidate | None:
        """A plainer ratio than the best that fits but for a slip's worth of plants."""
        if self.best is None:
            return None
        least = self.best.way.assumed
        slips_of = [c for c in self.doubtful if c.standing == BUT_FOR and not c.way.further]
        return next((c for c in slips_of if 0 < c.way.assumed < least), None)

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
            if self.n < 3:
                says = "too few to show whether it breeds true"
            mixed = "not alike: a slip, mixed seed, or a parent that does not breed true"
            return f"{self.where} has {seen}: {says if alike else mixed}."
        if self.suspicion is not None:
            return (
                f"Look at the labels first: {self.suspicion.ratio} would fit {seen}, but the "
                f"parents or the F1 do not look like it. Did the cross take? {self.where}."
            )
        if not self.fitting and not self.doubtful:
            if len(self.counts) == 1:
                missed = chance(0.75**self.n)
                return (
                    f"Cannot tell: {seen}, and no other class is known. A class of 1 in 4 would be "
                    f"missed with chance {missed}; {self.where}."
                )
            if not self._has_models:
                why = " with what its parents and F1 show" if self.heard else ""
                return f"Cannot tell: no model in the catalogue gives {seen}{why}; {self.where}."
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
        if self.pardon is not None:
            return (
                f"Cannot tell for sure from {seen}: {self.pardon.says}, and "
                f"{self.fitting[0].ratio} fits with {_genes(self.fitting[0].way)}; {self.where}."
            )
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
        near = sorted(others, key=likelihood, reverse=True)[:2]
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
        if not self.n or self.generation == "P" or not self.candidates:
            return ()
        tried = _ratios(len(self.candidates) + len(self.contradicted))
        notes = [
            "The figure beside a ratio is the chance of a misfit this large or larger, if the "
            f"ratio holds; it fits from {self.level:g} upwards and fits badly from {RULED_OUT:g}. "
            f"One true ratio in twenty does not fit, and a fit is no proof: {tried} tried.",
            "This looks at one family; what the other families show is not weighed, but for "
            "the parents and the F1.",
        ]
        if self.generation == "testcross":
            notes.append("The tester is taken to be recessive at every gene.")
        if any(c.standing == BUT_FOR for c in self.candidates):
            notes.append("Look at the odd plants again: one slip of scoring or labelling changes "
                         "the answer.")  # fmt: skip
        if any(c.way.further for c in self.doubtful):
            notes.append(
                "Some ratios hold only if a parent does not breed true, or if seed of one kind "
                "dies before it is scored (a lethal)."
            )
        if self.heard and (self.suspicion is not None or any(" : " in h for h in self.heard)):
            notes.append(
                f"Parents and F1 show: {'; '.join(self.heard)}. One slip in twenty is granted."
            )
        if self.best and len(self.best.models) > 1:
            others = len(self.best.models) - 3
            names = [*self.best.models[:3], *([f"{others} more"] if others > 0 else [])]
            notes.append(
                f"{sentence(listing(names))} expect the same of this family; it cannot tell "
                "them apart."
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
        likeliest = max(self.candidates, key=likelihood, default=None)
        chosen = self.best or next(iter(self.doubtful), likeliest)
        rival = self.fitting[1] if len(self.fitting) > 1 and ratio is None else None
        if ratio is not None:
            chosen = known[pick(ratio, known, "ratio among the candidates", ModelError)]
        if chosen is None or (ratio is None and not chosen.alive and not self._has_models):
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
        if self.pardon is not None:
            return f"{trait}: {self.pardon.says}"
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
    family : a family whose parents are in the register, or that is named 'F2', 'BC1(P2)' ...
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
        raise PedigreeError(_unknown_parents(family))
    plan = plans[family]
    scored = counts.drop(columns="not scored")
    own = scored.loc[family]
    tried = tuple(catalogue().values() if models is None else models)
    speaking = _speaking(plan, plans, scored)
    evidence = tuple((plans[f], _counted(scored.loc[f])) for f in speaking)
    ordered = season.trait(name).kind == "ordered"
    # With one class declared there is nothing that could segregate.
    ratios = expected_ratios(plan, _counted(own), tried, evidence, ordered) if len(own) > 1 else []
    found = [candidate(own, dict(pairs), way, level) for pairs, way in ratios]
    for parent in single_parents(plan) if ratios else ():
        if parent.look is not None:
            blank = without_look(plan, parent)
            more = expected_ratios(blank, _counted(own), tried, evidence, ordered)
            found += [
                replace(c, standing=IF_WRONG, doubt=parent.plant or "")
                for pairs, way in more
                if not way.further and pairs not in {known for known, _ in ratios}
                if (c := candidate(own, dict(pairs), way, level)).fits
            ]
    found.sort(key=order)
    agree = tuple(c for c in found if c.way.agrees)
    against = tuple(c for c in found if not c.way.agrees)
    return FamilyVerdict(
        name, family, describe(plan), own.copy(), int(counts.loc[family, "not scored"]),
        agree, against, _suspicion(plan, agree, against, evidence),
        tuple(f"{show(f)} {_seen(scored.loc[f])}" for f in speaking), level,
    )  # fmt: skip


def _suspicion(
    family: Plan, agree: Sequence[Candidate], against: Sequence[Candidate], evidence: Evidence
) -> Candidate | None:
    """A plain ratio that would fit, but for the looks of parents and F1: a label may be wrong.

    Only where nothing plain fits, and where the F1 is uniform: one that segregates tells of
    a parent that does not breed true.
    """
    if generation(family) == "F1" or any(c.alive and not c.way.further for c in agree):
        return None
    for plan, seen in evidence:
        counts = [n for _, n in seen]
        if generation(plan) == "F1" and sum(counts) - max(counts) > slips(sum(counts)):
            return None
    return next((c for c in against if c.fits and c.way.assumed and not c.way.further), None)


def _speaking(plan: Plan, plans: dict[str, Plan], scored: pd.DataFrame) -> list[str]:
    """The founders and the F1 of a family, as far as they were scored."""
    own = set(founders_of(plan))
    return [
        name
        for name, other in plans.items()
        if generation(other) in ("P", "F1")
        and set(founders_of(other)) <= own
        and other != plan
        and name in scored.index
        and scored.loc[name].sum()
    ]


def _unknown_parents(family: str) -> str:
    """What to do about a family whose parentage cannot be followed."""
    if is_bare_backcross(family):
        name = show(family)
        return (
            f"{quote(family)} is a backcross, but to which parent?\n"
            f"Name it {name}(P1) or {name}(P2), or give female and male in the table of families."
        )
    return (
        f"The parents of family {quote(family)} are not known.\n"
        "Give female and male in the table of families, without a fault there, or name it F2, "
        "BC1(P2) ..."
    )


def _seen(row: pd.Series) -> str:
    return " : ".join(f"{n} {show(c, longest=24)}" for c, n in row.items() if n)


def _counted(row: pd.Series) -> Counted:
    return tuple((str(c), int(n)) for c, n in row.items())


@lru_cache(maxsize=256)
def _separation(one: tuple[Fraction, ...], other: tuple[Fraction, ...], level: float) -> Separation:
    return plants_to_separate(list(one), list(other), CERTAINTY, level)


def _how(way: Way) -> str:
    """'1 gene: single dominant gene', with what is assumed further."""
    if ALIKE in way.models:
        return "no segregation"
    genes = _genes(way)
    lethal = all("lethal" in m for m in way.models)
    unless = "seed dies" if lethal else "a parent does not breed true"
    return f"{genes}: {_first(way)}" + (f", if {unless}" if way.further else "")


def _genes(way: Way) -> str:
    return f"{way.genes} gene{'' if way.genes == 1 else 's'}" if way.genes else "cytoplasm"


def _first(way: Way) -> str:
    """At most two models by name."""
    if len(way.models) <= 2:
        return listing(way.models, "or")
    return f"{way.models[0]} or {len(way.models) - 1} other models"


def _more(n: int) -> str:
    return f", and so do{'es' if n == 1 else ''} {n} more" if n > 0 else ""


def _ratios(n: int) -> str:
    return f"{n} ratio{' was' if n == 1 else 's were'}"
