"""Which ratios the inheritance models allow in one family, and on what assumptions.

For the family's own parentage the exact engine gives what each model expects: for every
pair of parents that breed true and differ in all genes of the model, and for every way to
name its classes after those of the trait. Parents that are alike expect one class. What is
assumed beyond that is kept apart as `further`: a parent of a one-gene cross that does not
breed true, or seed that dies (a lethal).

The parents and the F1 are asked too: each way of reaching a ratio carries the chance that
they look as different from what it expects as they do, or more, one slip of scoring in
twenty granted, and the chances of several families combined after Fisher (Statistical
Methods for Research Workers; from memory). A class that only a slip's worth of plants show
need not be a class of the model.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache
from math import log

import numpy as np
from scipy.special import gammaincc

from breedkit.errors import ModelError
from breedkit.loci import parse_genotype
from breedkit.models import InheritanceModel
from breedkit.multinomial import exact_pvalue
from breedkit.pedigree import TESTER, Chosen, Cross, Founder, Plan, Selfing, founders_of

SLIPS = 0.05  # share of mis-scored plants that is granted: our own choice
RULED_OUT = 0.01  # chance below which the looks of parents and F1 speak against: our own choice
MOST_CLASSES = 6  # every matching of more classes than that would take too long
ALIKE = "parents that are alike"

Counted = tuple[tuple[str, int], ...]  # (class, plants) in declared order
Shares = tuple[tuple[str, Fraction], ...]  # (class, share), only classes that can occur
Evidence = tuple[tuple[Plan, Counted], ...]  # what the parents and the F1 show


@dataclass(frozen=True)
class Way:
    """How a ratio can come about: the models, the fewest genes, what must be assumed.

    `assumed` counts genes and further assumptions; `further` is true if there are any of
    the latter. `support` is the chance of the looks of parents and F1.
    """

    models: tuple[str, ...]
    genes: int
    assumed: int
    further: bool
    support: float

    @property
    def agrees(self) -> bool:
        """Whether the parents and the F1 do not speak against it."""
        return self.support >= RULED_OUT

    def joined(self, other: Way) -> Way:
        """The same ratio reached in another way as well: the plainer one that agrees leads."""
        one, two = sorted((self, other), key=lambda w: (not w.agrees, w.assumed))
        if one.agrees != two.agrees:
            return one
        models = tuple(dict.fromkeys((*one.models, *two.models)))
        return replace(one, models=models, support=max(one.support, two.support))


def slips(n: int) -> int:
    """How many of n plants may be slips of scoring."""
    return max(1, int(SLIPS * n))


@lru_cache(maxsize=256)
def expected_ratios(
    plan: Plan,
    own: Counted,
    models: tuple[InheritanceModel, ...],
    evidence: Evidence,
    ordered: bool,
) -> list[tuple[Shares, Way]]:
    """Every ratio that the models allow in a family, with the plainest way to it.

    A ratio that needs further assumptions stands here once more if there is a plain way
    to it that the parents and the F1 speak against.

    Parameters
    ----------
    plan : the family's parentage.
    own : the plants counted in it, for every declared class.
    models : the models to try.
    evidence : parentage and counts of the founders and the F1.
    ordered : the classes have an order; graded models keep to it.
    """
    found: dict[tuple[Shares, bool], Way] = {}

    def add(shares: Shares, way: Way) -> None:
        key = (shares, way.further)
        found[key] = found[key].joined(way) if key in found else way

    declared = [c for c, _ in own]
    for look in declared:
        support = _support([({look: Fraction(1)}, seen) for _, seen in evidence], declared)
        add(((look, Fraction(1)),), Way((ALIKE,), 0, 0, False, support))
    names = [f for f in founders_of(plan) if f != TESTER]
    orders = {m: _matchings(declared, own, evidence, m, ordered) for m in models}
    for model in models if len(names) > 1 else ():
        for genotypes in itertools.product(model.founders(), repeat=len(names)):
            further = _further(model, genotypes)
            if further is None:
                continue
            parents = dict(zip(names, genotypes, strict=True))
            for order in orders[model]:
                named = model.called(order)
                try:
                    expected = [(_looks(named, p, parents, further), c) for p, c in evidence]
                    support = max(
                        _support(list(zip(looks, (c for _, c in expected), strict=True)), declared)
                        for looks in itertools.product(*(e for e, _ in expected))
                    )
                    outcomes = _outcomes(named, plan, parents, bool(further))
                except ModelError:  # a parent plant cannot look as it does under this model
                    continue
                # A cytoplasm is rarer than one gene: it counts like two.
                assumed = (model.genes or 2) + 2 * further
                way = Way((model.name,), model.genes, assumed, further > 0, support)
                for outcome in outcomes:
                    add(tuple((c, outcome[c]) for c in declared if outcome.get(c)), way)
    return [
        (shares, way)
        for (shares, further), way in found.items()
        if not (further and (shares, False) in found and found[shares, False].agrees)
    ]


def _further(model: InheritanceModel, genotypes: Sequence[str]) -> int | None:
    """How many further assumptions the parents need; None if a gene of the model lies idle."""
    if model.genes == 0:
        return 0 if len(set(genotypes)) > 1 else None
    parsed = [parse_genotype(g) for g in genotypes]
    for i in range(model.genes):
        if len({a for p in parsed for a in (p.female.groups[i], p.male.groups[i])}) < 2:
            return None
    return int(model.rule.lethal) + sum(p.female != p.male for p in parsed)


def _outcomes(
    model: InheritanceModel, plan: Plan, parents: Mapping[str, str], further: bool
) -> list[dict[str, Fraction]]:
    """What the family can be: where the F1 is not uniform, also the seed of one F1 plant."""
    found = model.outcomes(plan, parents)
    if further and isinstance(plan, Selfing) and isinstance(plan.parent, Cross):
        found += model.outcomes(Selfing(Chosen(plan.parent, plant="one plant")), parents)
    return found


def _looks(
    model: InheritanceModel, plan: Plan, parents: Mapping[str, str], further: int
) -> list[dict[str, Fraction]]:
    """What a family of the evidence can be; a founder may also stand there as its own seed."""
    found = [model.expected(plan, parents)]
    if further and isinstance(plan, Founder):
        found.append(model.expected(Selfing(plan), parents))
    return found


def _support(
    looks: Sequence[tuple[Mapping[str, Fraction], Counted]], declared: Sequence[str]
) -> float:
    """Chance that parents and F1 differ as much from what is expected, or more.

    The smaller of that of the family that fits worst and that of all combined, since one
    family that contradicts is not outweighed by others that have nothing to say.
    """
    slip = Fraction(SLIPS).limit_denominator(1000)
    chances = [
        _tail(
            tuple(n for _, n in seen),
            tuple((1 - slip) * expected.get(c, 0) + slip / len(declared) for c in declared),
        )
        for expected, seen in looks
    ]
    if not chances or min(chances) <= 0:
        return 0.0 if chances else 1.0
    return min(*chances, float(gammaincc(len(chances), -sum(map(log, chances)))))


@lru_cache(maxsize=4096)
def _tail(counts: tuple[int, ...], shares: tuple[Fraction, ...]) -> float:
    return exact_pvalue(counts, shares).pvalue


def _matchings(
    declared: Sequence[str],
    own: Counted,
    evidence: Evidence,
    model: InheritanceModel,
    ordered: bool,
) -> list[tuple[str, ...]]:
    """Every way to name a model's classes: all that more than a slip's worth of plants show,
    and some of the others."""
    totals = dict.fromkeys(declared, 0)
    must = set()
    for seen in (own, *(c for _, c in evidence)):
        n = sum(k for _, k in seen)
        must |= {c for c, k in seen if k > slips(n)}
        for c, k in seen:
            totals[c] += k
    known = sorted(declared, key=lambda c: -totals[c])[:MOST_CLASSES]
    spare = [c for c in declared if c in known and c not in must]
    wanted = len(model.classes) - len(must)
    if not 0 <= wanted <= len(spare) or len(model.classes) > MOST_CLASSES:
        return []
    found = []
    for more in itertools.combinations(spare, wanted):
        names = [c for c in declared if c in must or c in more]
        if ordered and model.graded:
            found += [tuple(names), tuple(reversed(names))]
        else:
            found += list(itertools.permutations(names))
    return found


def chance_without(counts: Sequence[int], shares: Sequence[Fraction]) -> tuple[int, float]:
    """Plants in classes of share 0, and the chance of such a misfit without them."""
    kept = [(n, s) for n, s in zip(counts, shares, strict=True) if s]
    odd = int(sum(counts) - sum(n for n, _ in kept))
    return odd, exact_pvalue([n for n, _ in kept], [s for _, s in kept]).pvalue


def is_slip(counts: Sequence[int], odd: int) -> bool:
    """Whether `odd` plants among these may be slips; in a small family none may."""
    n = int(np.sum(counts))
    return n >= 10 and 0 < odd <= slips(n)
