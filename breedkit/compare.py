"""One family against every ratio that the catalogue allows in it.

For the family's own parentage the exact engine gives what each model expects,
for every pair of founders that differ in all genes of the model, and for every
way to match the classes seen (and declared ones that were not) to those of the
model. What the parents and the F1 of the register show rules some of that out.
Models that expect the same shares are one candidate: this family cannot tell
them apart.

A candidate fits if the chance of a misfit as large as the one seen, or larger,
is at least `level` (exact, in order of likelihood ratio). If several fit, the
answer is "cannot tell yet": the one with the fewest genes is named first, then
its nearest rival, and how many plants of such a family would separate the two.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from breedkit import charts
from breedkit.errors import ModelError, PedigreeError, TableError, pick, quote
from breedkit.loci import parse_genotype
from breedkit.models import InheritanceModel, catalogue
from breedkit.multinomial import exact_pvalue
from breedkit.pedigree import TESTER, Plan, describe, family_plans, founders_of, generation
from breedkit.ratios import RatioTest, Separation, plants_to_separate, ratio_test
from breedkit.results import Fact, Result, chance, listing, plants, ratio_text, sentence, show

if TYPE_CHECKING:
    from breedkit.charts import Axes
    from breedkit.tables import Season

CERTAINTY = 0.9  # chance to tell two ratios apart that plants are counted for
SLIPS = 0.05  # share of mis-scored plants granted to parents and F1: our own choice
RULED_OUT = 0.01  # chance below which their looks rule a model out: our own choice
MOST_CLASSES = 6  # every matching of more classes than that would take too long


@dataclass(frozen=True, eq=False)
class Candidate:
    """A ratio that at least one model expects of the family, and how the counts sit with it.

    `models` expect it, with at least `genes` genes; `assumed` counts what must be assumed.
    """

    classes: tuple[str, ...]
    shares: tuple[Fraction, ...]
    models: tuple[str, ...]
    genes: int
    assumed: int
    test: RatioTest
    fits: bool

    @property
    def ratio(self) -> str:
        """'3:1', or 'all red' where one class has every plant."""
        if 1 in self.shares:
            return f"all {show(self.classes[self.shares.index(Fraction(1))], longest=24)}"
        return ratio_text(self.shares)


@dataclass(frozen=True, eq=False, repr=False)
class FamilyVerdict(Result):
    """What one family says about the inheritance of a trait.

    `candidates` holds what fits first, each part by what must be assumed and then by
    likelihood; `counts` the plants in each class.
    """

    trait: str
    family: str
    generation: str
    counts: pd.Series = field(hash=False)
    not_scored: int
    candidates: tuple[Candidate, ...]
    level: float

    @property
    def n(self) -> int:
        return int(self.counts.sum())

    @property
    def fitting(self) -> tuple[Candidate, ...]:
        return tuple(c for c in self.candidates if c.fits)

    @property
    def best(self) -> Candidate | None:
        """What fits with the fewest genes; None if nothing does, or nothing was scored."""
        return self.fitting[0] if self.fitting and self.n else None

    @property
    def rival(self) -> Candidate | None:
        """The next candidate that fits; if no other does, the one that comes nearest."""
        if self.best is None or len(self.candidates) < 2:
            return None
        if len(self.fitting) > 1:
            return self.fitting[1]
        return max(self.candidates[1:], key=_likelihood)

    @property
    def separation(self) -> Separation | None:
        """How many plants tell the best candidate from its rival, 9 times in 10."""
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
        return " : ".join(
            f"{n} {show(c, longest=24)}" for c, n in self.counts.items() if n or c in named
        )

    @property
    def verdict(self) -> str:
        known = "" if self.generation == self.family else f"{self.generation}, "
        where = f"{show(self.family)} ({known}{plants(self.n)})"
        if not self.n:
            return f"Cannot tell: no plant of {where} is scored for {show(self.trait)}."
        if not self.candidates:
            return (
                f"Cannot tell: no model of the catalogue agrees with the classes of "
                f"{show(self.trait)} in {where}, its parents and F1 considered."
            )
        if self.best is None:
            return (
                f"None of these fits: {len(self.candidates)} ratios were tried on {self.seen} "
                f"in {where}."
            )
        if len(self.fitting) > 1:
            others = len(self.fitting) - 2
            more = f", and so do{'es' if others == 1 else ''} {others} more" if others else ""
            return (
                f"Cannot tell yet: {self.best.ratio} and {self.fitting[1].ratio} both fit "
                f"{self.seen}{more}; {where}."
            )
        return (
            f"{self.best.ratio} fits {self.seen}, and no other ratio of the catalogue does; "
            f"{where}."
        )

    def facts(self) -> list[Fact]:
        facts = []
        near = sorted(self.candidates[len(self.fitting) :], key=_likelihood, reverse=True)
        for c in [*self.fitting[:5], *near[:2]] if self.n else []:
            word = "fits" if c.fits else "does not fit"
            p = chance(c.test.exact.pvalue)
            facts.append(Fact(f"{c.ratio} {word}", p, f"{_genes(c.genes)}: {_some(c.models)}"))
        if self.separation is not None and self.best and self.rival:
            facts.append(
                Fact(
                    f"plants to tell {self.best.ratio} from {self.rival.ratio}",
                    self.separation.words,
                    "in 9 of 10 such families",
                )
            )
        if self.not_scored:
            facts.append(Fact("not scored", plants(self.not_scored), "do not count here"))
        return facts

    @property
    def notes(self) -> tuple[str, ...]:  # type: ignore[override]
        if not self.n or not self.candidates:
            return ()
        notes = [
            "The figure beside a ratio is the chance of a misfit this large or larger, if the "
            f"ratio holds; it fits from {self.level:g} upwards. A fit is no proof: "
            f"{len(self.candidates)} ratios were tried."
        ]
        notes.append(
            "This looks at one family; what the other families show is not weighed, but for "
            "the parents and the F1."
        )
        for c in self.candidates:
            odd = sum(n for n, share in zip(c.test.counts, c.shares, strict=True) if not share)
            if 0 < odd <= max(1, SLIPS * self.n):
                notes.append(
                    f"But for {plants(odd)}, {c.ratio} would fit too. Look at "
                    f"{'that plant' if odd == 1 else 'those plants'} again: one slip of scoring "
                    "or labelling changes the answer."
                )
        if self.best and len(self.best.models) > 1:
            notes.append(
                f"{listing(self.best.models)} expect the same of this family; it cannot "
                "tell them apart."
            )
        return tuple(notes)

    def table(self) -> pd.DataFrame:
        """Every candidate: ratio, genes, models, chance of such a misfit, fits."""
        return pd.DataFrame(
            {
                "ratio": [c.ratio for c in self.candidates],
                "genes": [c.genes for c in self.candidates],
                "models": [listing(c.models, "or") for c in self.candidates],
                "chance": [c.test.exact.pvalue for c in self.candidates],
                "fits": [c.fits for c in self.candidates],
            }
        )

    def plot(self, ax: Axes | None = None, ratio: str | None = None) -> Axes:
        """Counted against expected, under the best candidate or under `ratio`."""
        chosen = self.best or (max(self.candidates, key=_likelihood) if self.candidates else None)
        if ratio is not None:
            known = {c.ratio: c for c in self.candidates}
            chosen = known[pick(ratio, known, "ratio among the candidates", ModelError)]
        if chosen is None:
            raise ModelError(f"There is no ratio to draw {quote(self.trait)} against.")
        stage = "" if self.generation == self.family else f" ({self.generation})"
        caption = (
            f"{plants(self.n)} of {show(self.family)}{stage}. Lines: {chosen.ratio}. "
            f"Chance of a misfit this large or larger, if {chosen.ratio} holds: "
            f"{chance(chosen.test.exact.pvalue)}."
        )
        test = chosen.test
        return charts.bars_against_expected(
            test.classes, test.counts, test.expected.tolist(),
            marked=(np.abs(test.residuals) > 2).tolist(), title=self.headline, caption=caption,
            alt=f"{self.headline} Counted: {self.seen}. {caption}", ax=ax,
        )  # fmt: skip

    @property
    def headline(self) -> str:
        """The verdict in a few words, for a title."""
        trait = sentence(show(self.trait, longest=30))
        if self.best is None:
            return f"{trait}: none of these ratios fits" if self.n else f"{trait}: nothing scored"
        if len(self.fitting) > 1:
            return f"{trait}: cannot tell {self.best.ratio} from {self.fitting[1].ratio} yet"
        return f"{trait}: {self.best.ratio} fits, as with {listing(self.best.models[:1])}"


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
    evidence = _evidence(plan, plans, scored)
    chosen = tuple(catalogue().values() if models is None else models)
    candidates = []
    for pairs, (names, genes, assumed) in _expectations(
        plan, _counted(own), chosen, evidence
    ).items():
        share = dict(pairs)
        classes = tuple(c for c in own.index if c in share or own[c])
        if len(classes) == 1:  # all plants of one class: any other stands for "none of those"
            classes = tuple(c for c in own.index if c in classes or c == _other(own, classes[0]))
        shares = tuple(share.get(c, Fraction(0)) for c in classes)
        test = ratio_test(own[list(classes)].to_dict(), dict(zip(classes, shares, strict=True)))
        fits = test.exact.pvalue >= level
        candidates.append(Candidate(classes, shares, names, genes, assumed, test, fits))
    candidates.sort(key=lambda c: (not c.fits, c.assumed, -_likelihood(c), c.ratio))
    return FamilyVerdict(
        name,
        family,
        describe(plan),
        own.copy(),
        int(counts.loc[family, "not scored"]),
        tuple(candidates),
        level,
    )


Counted = tuple[tuple[str, int], ...]  # (class, plants) in declared order
Shares = tuple[tuple[str, Fraction], ...]  # (class, share), only classes that can occur


def _evidence(
    plan: Plan, plans: dict[str, Plan], scored: pd.DataFrame
) -> tuple[tuple[Plan, Counted], ...]:
    """What the founders and the F1 of a family show, as far as they were scored."""
    own = set(founders_of(plan))
    found = []
    for name, other in plans.items():
        speaks = generation(other) in ("P", "F1") and set(founders_of(other)) <= own
        if speaks and other != plan and name in scored.index and scored.loc[name].sum():
            found.append((other, _counted(scored.loc[name])))
    return tuple(found)


def _other(row: pd.Series, name: str) -> str:
    return next(str(c) for c in row.index if c != name)


def _counted(row: pd.Series) -> Counted:
    return tuple((str(c), int(n)) for c, n in row.items())


@lru_cache(maxsize=128)
def _expectations(
    plan: Plan,
    own: Counted,
    models: tuple[InheritanceModel, ...],
    evidence: tuple[tuple[Plan, Counted], ...],
) -> dict[Shares, tuple[tuple[str, ...], int, int]]:
    """The distinct shares that the models can give in a family: (names of the models, fewest
    genes, fewest assumptions)."""
    found: dict[Shares, tuple[tuple[str, ...], int, int]] = {}
    names = [f for f in founders_of(plan) if f != TESTER]
    declared = [c for c, _ in own]
    must = {c for c, n in own if n} | {c for _, seen in evidence for c, n in seen if n}
    for model in models:
        # A lethal assumes two things more: seed that dies, and a founder that breeds untrue.
        assumed = model.genes + 2 * model.rule.lethal
        orders = _matchings(declared, must, len(model.classes))
        for genotypes in itertools.product(model.founders(), repeat=len(names)):
            if len(names) > 1 and not _differ(model, genotypes):
                continue
            parents = dict(zip(names, genotypes, strict=True))
            for order in orders:
                named = model.called(order)
                try:
                    if not all(_allows(named.expected(p, parents), c) for p, c in evidence):
                        continue
                    outcomes = named.outcomes(plan, parents)
                except ModelError:  # a parent plant cannot look as it does under this model
                    continue
                for outcome in outcomes:
                    shares = tuple((c, outcome[c]) for c in declared if outcome.get(c))
                    known, genes, least = found.get(shares, ((), model.genes, assumed))
                    merged = known if model.name in known else (*known, model.name)
                    found[shares] = (merged, min(genes, model.genes), min(least, assumed))
    return found


def _matchings(declared: Sequence[str], must: set[str], size: int) -> list[tuple[str, ...]]:
    """Every way to name the `size` classes of a model: all that were seen, and some of the
    declared others."""
    spare = [c for c in declared if c not in must] if len(declared) <= MOST_CLASSES else []
    wanted = size - len(must)
    if size > MOST_CLASSES or not 0 <= wanted <= len(spare):
        return []
    sets = ([*must, *more] for more in itertools.combinations(spare, wanted))
    return [order for names in sets for order in itertools.permutations(sorted(names))]


def _allows(expected: Mapping[str, Fraction], seen: Counted) -> bool:
    """Whether the parents or the F1 may look as they do, slips of scoring granted."""
    k = len(expected)
    slip = Fraction(SLIPS)
    shares = {c: (1 - slip) * s + slip / k for c, s in expected.items()}
    counts = {c: n for c, n in seen if c in shares}
    return exact_pvalue(list(counts.values()), [shares[c] for c in counts]).pvalue >= RULED_OUT


def _differ(model: InheritanceModel, genotypes: Sequence[str]) -> bool:
    """Whether every gene of a model has more than one allele among the founders."""
    if model.genes == 0:
        return len(set(genotypes)) > 1
    parsed = [parse_genotype(g) for g in genotypes]
    return all(
        len({allele for p in parsed for allele in (p.female.groups[i], p.male.groups[i])}) > 1
        for i in range(model.genes)
    )


@lru_cache(maxsize=256)
def _separation(one: tuple[Fraction, ...], other: tuple[Fraction, ...], level: float) -> Separation:
    return plants_to_separate(list(one), list(other), CERTAINTY, level)


def _likelihood(candidate: Candidate) -> float:
    """Minus the G statistic: the larger, the likelier the counts."""
    return -candidate.test.g.statistic


def _some(models: Sequence[str]) -> str:
    """At most two models by name, the simplest first."""
    if len(models) <= 2:
        return listing(models, "or")
    return f"{models[0]} or {len(models) - 1} other models"


def _genes(n: int) -> str:
    return f"{n} gene{'' if n == 1 else 's'}" if n else "cytoplasm"
