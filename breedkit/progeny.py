"""The progeny test: whether one plant is fixed, from what its selfed offspring show.

A plant that is fixed has offspring that all look alike. One that segregates shows none but
the class c, of share s_c among its offspring, with chance s_c^n among n of them: that is the
error of calling it fixed, and it says how many more it takes (`breedkit.enough`). If plants
may be mis-scored, at a rate e, a fixed plant's offspring look mixed too; how much so is a
binomial chance.

Under a model of inheritance each genotype that the plant can have has shares of its own, in
exact fractions from the cross engine, and a chance beforehand: its share among the plants of
the same look in the family. Bayes' rule gives the chance afterwards.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import bdtrc

from breedkit.cross import Population, grow
from breedkit.enough import CERTAINTY, MOST_OFFSPRING, Share, fraction, least, offspring, part
from breedkit.errors import ModelError, pick, quote
from breedkit.families import parse_family
from breedkit.genome import Genome
from breedkit.models import InheritanceModel, catalogue
from breedkit.results import Fact, Result, listing, percent, ratio_text, show

if TYPE_CHECKING:
    import pandas as pd

Counts = Mapping[str, int] | Sequence[int]  # or a Series of them


@dataclass(frozen=True)
class Kind:
    """One thing that the plant can be, by what its offspring show.

    Attributes
    ----------
    genotypes : those that it may have. shares : of each class among selfed offspring.
    before, after : its chance before and after the progeny was seen.
    """

    genotypes: tuple[str, ...]
    shares: tuple[Fraction, ...]
    before: Fraction
    after: float

    @property
    def fixed(self) -> bool:
        return max(self.shares) == 1


@dataclass(frozen=True, repr=False)
class ProgenyTest(Result):
    """What the selfed progeny of one plant says of it.

    Attributes
    ----------
    model, family : the model, and the family that the plant stands in.
    classes, counts : the offspring of each class.
    shows : the class of the plant itself; "" if that is not known.
    kinds : what it can be, the likeliest first.
    missed : the largest chance that a plant which segregates would show no offspring but
        those of the one class seen; 0 if it did show others.
    more : offspring still to grow until `missed` is at most 1 - certainty; 0 if none.
    slips : the chance that a fixed plant's offspring look as mixed, or more, by mis-scoring.
    """

    model: str
    family: str
    classes: tuple[str, ...]
    counts: tuple[int, ...]
    shows: str
    kinds: tuple[Kind, ...]
    missed: Fraction
    more: int
    slips: float
    certainty: Fraction
    scoring_error: Fraction

    @property
    def n(self) -> int:
        return sum(self.counts)

    @property
    def fixed(self) -> float:
        """The chance that the plant is fixed."""
        return sum(kind.after for kind in self.kinds if kind.fixed)

    @property
    def standing(self) -> str:
        """'fixed', 'segregating', 'cannot tell', 'cannot be' or 'nothing grown'."""
        sure = 1 - self.certainty
        mixed = sum(count > 0 for count in self.counts) > 1
        segregates = any(kind.after for kind in self.kinds if not kind.fixed)
        if not self.n:
            return "nothing grown"
        if self.slips <= sure:  # not fixed
            return "segregating" if segregates and (mixed or self.missed > sure) else "cannot be"
        if mixed or self.slips < 1 or self.missed > sure:
            return "cannot tell"
        return "fixed"

    @property
    def verdict(self) -> str:
        seen, holds = self._seen, f"if {show(self.model)} holds"
        match self.standing:
            case "nothing grown":
                return f"Cannot tell: no offspring was scored. {self._sow}".rstrip()
            case "cannot be":
                return f"None of the plants it could be has such offspring, {holds}: {seen}."
            case "segregating":
                return f"Segregating: {seen}. The likeliest ratio is {self._ratio(self.kinds[0])}."
            case "fixed" if not self.missed:
                return f"Fixed: such a plant always is, {holds}."
            case "fixed":
                return (
                    f"Taken as fixed: {seen}; a plant that segregates shows that with chance "
                    f"{percent(float(self.missed))} at most."
                )
        if self.slips < 1:
            return (
                f"Cannot tell: {seen}; by slips of scoring alone a fixed plant's offspring look "
                f"so with chance {percent(self.slips)}. Look at the odd ones again."
            )
        return (
            f"Cannot tell yet: {seen}; a plant that segregates may show that with chance "
            f"{percent(float(self.missed))}. {self._sow}"
        )

    def facts(self) -> list[Fact]:
        facts = []
        for kind in self.kinds:
            label = f"fixed, {self._ratio(kind)}" if kind.fixed else self._ratio(kind)
            before = percent(float(kind.before))
            facts.append(Fact(label, percent(min(kind.after, 1 - 1e-9)) if kind.after else "0 %",
                              f"{before} before; {_some(kind.genotypes)}"))  # fmt: skip
        if self.missed and self.n:
            facts.append(Fact("error of calling it fixed", percent(float(self.missed)),
                              f"with {offspring(self.n)}"))  # fmt: skip
        if self.more:
            facts.append(Fact("to be sure", f"{self.more:,} more", f"for {self._certainty}"))
        return facts

    @property
    def notes(self) -> tuple[str, ...]:  # type: ignore[override]
        look = f"{show(self.shows)} " if self.shows else ""
        slips = percent(float(self.scoring_error)) if self.scoring_error else "none"
        return (
            f"Before its offspring were seen, the plant is any {look}plant of the "
            f"{show(self.family)}, if {show(self.model)} holds. Offspring mis-scored: {slips}.",
        )

    def table(self) -> pd.DataFrame:
        """A row for each thing the plant can be: fixed, genotypes, shares, chances."""
        import pandas as pd

        columns: dict[str, object] = {
            "fixed": [kind.fixed for kind in self.kinds],
            "genotypes": [", ".join(kind.genotypes) for kind in self.kinds],
        }
        for i, name in enumerate(self.classes):
            columns[name] = [float(kind.shares[i]) for kind in self.kinds]
        columns["before"] = [float(kind.before) for kind in self.kinds]
        columns["chance"] = [kind.after for kind in self.kinds]
        return pd.DataFrame(columns)

    def _ratio(self, kind: Kind) -> str:
        """'3:1 red:orange', 'all red'."""
        named = [
            (show(c, longest=24), s) for c, s in zip(self.classes, kind.shares, strict=True) if s
        ]
        if len(named) == 1:
            return f"all {named[0][0]}"
        return f"{ratio_text([s for _, s in named])} {':'.join(c for c, _ in named)}"

    @property
    def _seen(self) -> str:
        """'3 red and 1 orange of 4 offspring', 'all of 10 offspring red'."""
        named = [(n, show(c)) for n, c in zip(self.counts, self.classes, strict=True) if n]
        if len(named) == 1:
            return f"all of {offspring(self.n)} {named[0][1]}"
        return f"{listing([f'{n:,} {c}' for n, c in named])} of {offspring(self.n)}"

    @property
    def _certainty(self) -> str:
        return f"{100 * float(self.certainty):.4g} %"

    @property
    def _sow(self) -> str:
        if not self.more:
            return ""
        word = "more offspring" if self.n else "offspring"
        return f"Grow {self.more:,} {word} to be {self._certainty} sure."


def progeny_test(
    counts: Counts | pd.Series,
    model: InheritanceModel | str | None = None,
    shows: str | None = None,
    family: str = "F2",
    certainty: Share = CERTAINTY,
    scoring_error: Share = 0,
) -> ProgenyTest:
    """Whether a plant is fixed, from the counts of its selfed offspring.

    Parameters
    ----------
    counts : {class: offspring}; or numbers in the order of the model's classes.
    model : how the trait is inherited, with the classes of `counts` (`model.called([...])`
        gives it your names); by default one dominant gene, of which the commoner class, or
        that of the plant, is the dominant.
    shows : the class of the plant itself, if it is known.
    family : where the plant stands: a short form such as 'F2', 'F3', 'BC1'.
    certainty : the chance from which one is sure.
    scoring_error : the share of offspring written down as another class.

    Raises
    ------
    ModelError, PedigreeError
        for classes, counts, shares or a family that make no sense.

    Examples
    --------
    >>> progeny_test({"red": 10}, shows="red").standing
    'cannot tell'
    >>> progeny_test({"red": 11}, shows="red").standing
    'fixed'
    """
    sure, slip = part(certainty, "certainty"), fraction(scoring_error, "scoring error")
    if not 0 <= slip <= Fraction(1, 2):
        raise ModelError(f"A scoring error lies from 0 to 0.5; {show(scoring_error)} does not.")
    named = _named(counts)
    if isinstance(model, str):
        model = catalogue()[pick(model, catalogue(), "model", ModelError)]
    if model is None:
        model = _one_gene(named, shows)
    if model.hiding or model.ailing:
        raise ModelError("A progeny test asks for a model whose classes all show and live.")
    row = _row(named, model.classes)
    look = "" if shows is None else pick(shows, model.classes, "class", ModelError)
    kinds = _after(_kinds(model, family, look), row, slip)
    missed, more = _unseen(kinds, row, sure)
    return ProgenyTest(
        model.name, family, model.classes, row, look, kinds, missed, more,
        _by_slips(kinds, row, slip), sure, slip,
    )  # fmt: skip


# --- inside -------------------------------------------------------------------------


def _after(kinds: Sequence[Kind], row: Sequence[int], slip: Fraction) -> tuple[Kind, ...]:
    """What the plant can be after its offspring were seen, the likeliest first."""
    others = max(len(row) - 1, 1)
    logs = np.array([
        math.log(kind.before)
        + _log_chance(row, [s * (1 - slip) + (1 - s) * slip / others for s in kind.shares])
        for kind in kinds
    ])  # fmt: skip
    after = np.zeros(len(kinds))
    if np.isfinite(logs).any():
        after = np.exp(logs - logs.max())
        after /= after.sum()
    order = np.argsort(-after, kind="stable")
    return tuple(replace(kinds[i], after=float(after[i])) for i in order)


def _log_chance(row: Sequence[int], shares: Sequence[Fraction]) -> float:
    """The log-likelihood of counts in the order in which they stand."""
    if any(n and not s for n, s in zip(row, shares, strict=True)):
        return -math.inf
    return sum(n * math.log(s) for n, s in zip(row, shares, strict=True) if n)


def _unseen(kinds: Sequence[Kind], row: Sequence[int], certainty: Fraction) -> tuple[Fraction, int]:
    """The largest chance that a segregating plant shows no class but the one seen, and how many
    more offspring make that small enough; 0 if several were seen."""
    n = sum(row)
    seen = [c for c, count in enumerate(row) if count] or range(len(row))
    same = max((kind.shares[c] for kind in kinds if not kind.fixed for c in seen), default=0)
    if n and len(seen) > 1 or not same:
        return Fraction(0), 0
    return Fraction(same) ** n, max(least(Fraction(same), 1 - certainty) - n, 0)


def _by_slips(kinds: Sequence[Kind], row: Sequence[int], slip: Fraction) -> float:
    """The chance that a fixed plant's offspring look as odd as these, or more, by slips."""
    n = sum(row)
    own = [row[kind.shares.index(Fraction(1))] for kind in kinds if kind.fixed]
    if not own:
        return 0.0
    odd = n - max(own)
    return float(bdtrc(odd - 1, n, float(slip))) if odd else 1.0


def _kinds(model: InheritanceModel, family: str, look: str) -> list[Kind]:
    """What a plant of a family and a look can be; genotypes with the same offspring together."""
    genome = Genome.of(model.parents, model.recombination, model.rule.alleles)
    table = model.rule.table(genome)
    names = [f"P{i}" for i in range(1, len(model.parents) + 1)]
    parents = dict(zip(names, model.parents, strict=True))

    def founder(name: str) -> Population:  # a tester is recessive in all, as the last parent
        return Population.of(genome, parents.get(name, model.parents[-1]), exact=True)

    def choose(population: Population, of: str) -> Population:
        wanted = pick(of, model.classes, "class", ModelError)
        return population.where(table == model.classes.index(wanted))

    def settle(population: Population) -> Population:
        return population.where(table >= 0)

    stand = grow(parse_family(family, names), founder, choose, settle)
    if look:
        if not stand.weights[table == model.classes.index(look)].any():
            raise ModelError(
                f"{quote(model.name)} gives no {quote(look)} plant in {quote(family)}."
            )
        stand = choose(stand, look)
    genotypes = [str(g) for g in genome.genotypes()]
    found: dict[tuple[Fraction, ...], dict[str, Fraction]] = {}
    for genotype, share in zip(genotypes, stand.shares.ravel(), strict=True):
        if share:
            selfed = settle(Population.of(genome, genotype, exact=True).selfed()).shares
            shares = tuple(Fraction(selfed[table == c].sum()) for c in range(len(model.classes)))
            own = found.setdefault(shares, {})
            own[genotype] = own.get(genotype, Fraction(0)) + share
    return [Kind(tuple(own), shares, sum(own.values(), Fraction(0)), 0.0)
            for shares, own in found.items()]  # fmt: skip


def _named(counts: Counts) -> Mapping[str, int] | list[int]:
    """The counts by class, or in order where they have no names; whole numbers."""
    named = dict(counts.items()) if hasattr(counts, "items") else dict(enumerate(counts))
    wrong = [show(n, longest=20) for n in named.values() if not _is_count(n)]
    if wrong:
        raise ModelError(f"Counts are whole numbers from 0; {listing(wrong[:6])} cannot be.")
    if sum(named.values()) > MOST_OFFSPRING:
        raise ModelError(f"These are more than {MOST_OFFSPRING:,} offspring of one plant.")
    whole = {str(c): int(n) for c, n in named.items()}
    return whole if hasattr(counts, "items") else list(whole.values())


def _is_count(n: object) -> bool:
    whole = isinstance(n, int | float | np.integer) and float(n).is_integer()
    return whole and float(n) >= 0  # type: ignore[arg-type]


def _one_gene(named: Mapping[str, int] | list[int], shows: str | None) -> InheritanceModel:
    """One dominant gene in the words of the counts; the plant's own class is the dominant."""
    gene = catalogue()["single dominant gene"]
    if isinstance(named, list):
        return gene
    words = sorted(named, key=lambda c: -named[c])
    if shows is not None:
        own = pick(shows, words, "class", ModelError) if len(words) > 1 else shows
        words = list(dict.fromkeys([own, *words]))
    if len(words) > 2:
        raise ModelError(
            f"With {len(words)} classes say which model holds, such as 'recessive epistasis'."
        )
    words += [c for c in ("another", "yet another") if c not in words][: 2 - len(words)]
    return gene.called(words)


def _row(named: Mapping[str, int] | list[int], classes: tuple[str, ...]) -> tuple[int, ...]:
    """The counts in the order of the classes."""
    if isinstance(named, list):
        if len(named) != len(classes):
            words = listing([quote(c) for c in classes])
            raise ModelError(f"Give {len(classes)} counts, one for each class: {words}.")
        return tuple(named)
    row = dict.fromkeys(classes, 0)
    for word, n in named.items():
        row[pick(word, classes, "class", ModelError)] += n
    return tuple(row.values())


def _some(genotypes: Sequence[str]) -> str:
    more = f" and {len(genotypes) - 6} more" if len(genotypes) > 6 else ""
    return ", ".join(genotypes[:6]) + more
