"""The next family: which one would settle the open question, and at what size.

The models still alive each expect certain shares in a family that could be grown. Were it
grown with n plants, the counts would be drawn from one of their candidates (a model with
genotypes of the founders), with the chance that its weight gives it, and the weights would
move by Bayes' rule. Over many such draws

    settled(n) = chance that afterwards one group of models has weight `certainty` or more
    bits(n)    = mean loss of entropy of the weights, in bits

Offspring of a single plant are a case apart for each genotype that it can have by its look,
P(counts) = sum over cases of P(case) P(counts | case). Models that expect the same of all
families at hand and of all that could be grown count as one. The likeliest candidates of a
model stand for it, at the mis-scoring that is expected for the season; draws are seeded, so
that an answer is the same on every run.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from scipy.special import entr

from breedkit.choices import tester_states
from breedkit.errors import ModelError
from breedkit.evidence import Evidence
from breedkit.likelihood import mixtures
from breedkit.pedigree import TESTER, Chosen, Cross, Founder, Plan, Selfing, single_parents
from breedkit.results import Fact, Result, number, percent, plants, sentence, show

if TYPE_CHECKING:
    import pandas as pd

    from breedkit.weights import ModelWeight

DRAWS = 1500
TESTCROSS = "the testcross"
MOST_CROSSES = 3  # crosses of founders for which families are weighed
MOST_PLANTS = 1000
LISTED = 8  # families that a display lists
EACH = 8  # plants of each F3 family where many are grown
MOST_MODELS = 24  # models followed; the others have next to no weight, or are too many to part
LEAST_BITS = 0.01  # a family that tells less, at its largest, tells nothing
ALIVE = 0.999  # the likeliest models up to this weight together are alive


@dataclass(frozen=True)
class Option:
    """A family that could be grown: chance to settle the question, and bits, by size."""

    name: str
    settled: tuple[float, ...]
    bits: tuple[float, ...]


@dataclass(frozen=True, eq=False, repr=False)
class NextFamily(Result):
    """What each family that could be grown would tell.

    Attributes
    ----------
    sizes : numbers of plants that were tried.
    options : the families, the most telling first.
    certainty : weight from which the question counts as settled.
    open_models : how many models, or groups that no family would part, are alive.
    leads : the weight of the likeliest of them.
    misfit : the family that fits worst, if no model fits.
    alone : whether nothing is left to part: one model, or models that no family here parts.
    """

    sizes: tuple[int, ...]
    options: tuple[Option, ...]
    certainty: float
    open_models: int
    leads: float
    misfit: str = ""
    alone: bool = True
    wanted: float = 0.8

    @property
    def best(self) -> Option | None:
        return self.options[0] if self.options else None

    def enough(self, option: Option) -> int | None:
        """The smallest size tried at which the question is settled in 8 of 10 cases."""
        return next(
            (n for n, p in zip(self.sizes, option.settled, strict=True) if p >= self.wanted), None
        )

    @property
    def verdict(self) -> str:
        if self.misfit:
            return (
                "No family yet: where no model fits, choosing among them tells nothing. "
                f"Look first at the labels and scores of {show(self.misfit)}."
            )
        if self.open_models == 0:
            return "Nothing was scored that could tell the models apart; begin with an F2."
        if self.open_models == 1 and not self.alone:
            return (
                "No family of these parents would tell the models apart that are left. Cross them "
                "with another variety."
            )
        if self.leads >= self.certainty:
            return f"What leads has weight {percent(self.leads)} already; no family is needed."
        if self.best is None:
            return "None of the families that can be grown now would tell the models apart."
        enough = self.enough(self.best)
        if enough is None:
            most = self.sizes[-1]
            return (
                f"{sentence(self.best.name)} tells most, but even {plants(most)} settle it in only "
                f"{percent(self.best.settled[-1])} of cases."
            )
        return f"Grow {self.best.name}: {plants(enough)} settle it in at least 8 of 10 cases."

    def facts(self) -> list[Fact]:
        facts = []
        for option in self.options[:LISTED]:
            enough = self.enough(option)
            words = (
                f"{plants(enough)} are enough" if enough else f"more than {plants(self.sizes[-1])}"
            )
            per_plant = option.bits[0] / self.sizes[0]
            facts.append(Fact(option.name, words, f"{number(per_plant, 2)} bits a plant at first"))
        return facts

    @property
    def notes(self) -> tuple[str, ...]:  # type: ignore[override]
        return (
            f"Settled means that one model, or models that cannot be told apart, reach a weight "
            f"of {percent(self.certainty)}; enough means in 8 of 10 cases.",
            "It is taken for granted that one of these models is right, and that slips of "
            "scoring are as frequent as so far.",
        )

    def table(self) -> pd.DataFrame:
        """Every family and size: chance to settle the question, bits in all and a plant."""
        import pandas as pd

        rows = [
            (o.name, n, p, b, b / n)
            for o in self.options
            for n, p, b in zip(self.sizes, o.settled, o.bits, strict=True)
        ]
        return pd.DataFrame(rows, columns=["family", "plants", "settled", "bits", "bits a plant"])


def next_family(
    weights: Sequence[ModelWeight],
    crosses: Sequence[tuple[str, str]],
    founders: Sequence[str],
    classes: Sequence[str],
    seen: Sequence[str],
    mixing: np.ndarray,
    sizes: Sequence[int],
    certainty: float,
    misfit: str = "",
) -> NextFamily:
    """Weigh every family that could be grown; see `Comparison.next_family`.

    `crosses` are pairs of founders, `seen` the classes that offspring showed.
    """
    sizes = _sizes(sizes, certainty)
    if misfit:
        return NextFamily(sizes, (), certainty, 0, 0.0, misfit)
    alive, total = [], 0.0
    for weight in weights:
        alive.append(weight)
        total += weight.weight
        if total >= ALIVE or len(alive) == MOST_MODELS:
            break
    if not alive or not total:
        return NextFamily(sizes, (), certainty, 0, 0.0)
    growing = families_to_grow(crosses, seen)
    expected = _expected(alive, growing, founders, classes, mixing)
    chances = np.concatenate([w.weight * w.chances for w in alive])  # the rest stays undecided
    owner = np.repeat(np.arange(len(alive)), [len(w.chances) for w in alive])
    families = {
        family: [each[i] for each in expected]
        for i, family in enumerate(growing)
        if all(each[i].possible for each in expected)
    }
    parts = _parts(alive, families, np.searchsorted(owner, np.arange(len(alive))))
    leads = float(np.bincount(parts[owner], chances).max())
    alone = len(alive) == 1
    found = NextFamily(sizes, (), certainty, int(parts.max()) + 1, leads, alone=alone)
    if leads >= certainty or found.open_models < 2 or not families:
        return found
    options = [
        _option(family, chances / total, each, parts[owner], sizes, certainty / total)
        for family, each in families.items()
    ]
    telling = [o for o in options if o.bits[-1] >= LEAST_BITS]

    def order(o: Option) -> tuple:
        # At the same size rather a cross of plants at hand than one that needs a tester.
        enough = found.enough(o)
        if enough:
            return 0, enough, o.name.startswith(TESTCROSS), -o.bits[0], o.name
        return 1, -o.settled[-1], -o.bits[-1], 0, o.name

    return replace(found, options=tuple(sorted(telling, key=order)))


def _sizes(sizes: Sequence[int], certainty: float) -> tuple[int, ...]:
    """The sizes, smallest first, once they and the certainty make sense."""
    try:
        whole = sorted({int(n) for n in sizes})
        sound = whole == sorted({float(n) for n in sizes}) and 0.5 <= float(certainty) < 1
    except (TypeError, ValueError):
        whole, sound = [], False
    if not sound or not whole or whole[0] < 1 or whole[-1] > MOST_PLANTS:
        if sound or not isinstance(certainty, float | int) or 0.5 <= certainty < 1:
            raise ModelError(
                f"Sizes are whole numbers of at least one plant, up to {MOST_PLANTS:,}, such as "
                "(10, 20, 40)."
            )
        raise ModelError(f"A certainty lies from 0.5 up to 1; {certainty} does not.")
    return tuple(whole)


def _parts(
    alive: Sequence[ModelWeight], families: Mapping[Family, Sequence[Expected]], first: np.ndarray
) -> np.ndarray:
    """The same number for models that no family parts, by their likeliest candidate, `first`."""
    marks = [[float(w.group)] for w in alive]
    for each in families.values():
        width = max(len(e.chances) for e in each)
        for mark, at in zip(marks, first, strict=True):
            mark.extend(each[at].mark(width))
    _, parts = np.unique(np.array(marks).round(9), axis=0, return_inverse=True)
    return parts.ravel()


class Family(NamedTuple):
    """A family that could be grown, or many of `each` plants from single plants."""

    name: str
    plan: Plan
    each: int | None = None


def families_to_grow(crosses: Sequence[tuple[str, str]], classes: Sequence[str]) -> list[Family]:
    """The families that parents, their F1 and plants of the F2 allow, cross by cross."""
    found = []
    for female, male in crosses[:MOST_CROSSES]:
        of = f" of {show(female)} x {show(male)}" if len(crosses) > 1 else ""
        one, other = Founder(female), Founder(male)
        f1 = Cross(one, other)
        f2 = Selfing(f1)
        found += [
            Family(f"the F2{of} (F1 selfed)", f2),
            Family(f"the backcross{of} to {show(female)}", Cross(f1, one)),
            Family(f"the backcross{of} to {show(male)}", Cross(f1, other)),
            Family(f"an F3{of} from many F2 plants, one seed each", Selfing(f2)),
            Family(f"{TESTCROSS}{of} (F1 by a plant recessive in all)", Cross(f1, Founder(TESTER))),
        ]
        if (male, female) not in crosses:
            found.append(Family(f"the cross the other way round, {show(male)} x {show(female)}",
                                Cross(other, one)))  # fmt: skip
        for look in classes:
            plant = Chosen(f2, look, f"a plant{of} that is {look}")
            words = f"{show(look)} F2 plant"
            found += [
                Family(f"an F3{of} from many {words}s, one seed each", Selfing(Chosen(f2, look))),
                Family(f"the offspring{of} of one {words}, selfed", Selfing(plant)),
                Family(f"F3 families{of} of {EACH}, each from one {words}", Selfing(plant), EACH),
            ]
    return found


class Expected(NamedTuple):
    """What one model expects of a family: cases by chance, and their shares of the classes."""

    chances: np.ndarray
    shares: np.ndarray

    @classmethod
    def of(cls, told: Sequence[tuple[np.ndarray, np.ndarray]]) -> Expected:
        """From cases and their shares, for each tester that may be; the same cases are one."""
        chances = np.concatenate([chances for chances, _ in told]) / len(told)
        shares = np.concatenate([shares for _, shares in told])
        rows, which = np.unique(shares.round(12), axis=0, return_inverse=True)
        total = np.bincount(which.ravel(), chances, len(rows))
        return cls(total[total > 0], rows[total > 0])

    @property
    def possible(self) -> bool:
        return bool(len(self.chances) and np.allclose(self.shares.sum(axis=1), 1))

    def mark(self, width: int) -> list[float]:
        """The same list for models that expect the same, filled up to `width` cases."""
        rows = np.concatenate([self.chances[:, None], self.shares], axis=1)
        filled = np.zeros((width, rows.shape[1]))
        filled[: len(rows)] = rows
        return filled.ravel().tolist()


def _expected(
    weights: Sequence[ModelWeight],
    growing: Sequence[Family],
    founders: Sequence[str],
    classes: Sequence[str],
    mixing: np.ndarray,
) -> list[list[Expected]]:
    """What each candidate expects of each family, model by model."""
    if not growing:
        return [[] for weight in weights for _ in weight.chances]
    plans = {family.name: family.plan for family in growing}
    parents = {str(p.plant): str(p.look) for plan in plans.values() for p in single_parents(plan)}
    counts = {name: [2] * len(classes) for name in plans}  # any: only the shares are read
    evidence = Evidence.of(classes, plans, counts, parents)
    row = {node: i for i, node in enumerate(evidence.counts)}
    found = []
    for weight in weights:
        testers = tester_states(weight.model, weight.candidates.genome)
        for i in range(len(weight.chances)):
            one = weight.candidates.part(slice(i, i + 1))
            known = dict(zip(founders, one.founders[0], strict=True))
            told = []
            for tester in testers if TESTER in evidence.founders else testers[:1]:
                states = np.array([[known.get(f, tester) for f in evidence.founders]])
                told.append(mixtures(evidence, replace(one, founders=states), mixing[None]))
            found.append([Expected.of([t[row[evidence.families[name]]] for t in told])
                          for name in plans])  # fmt: skip
    return found


def _option(
    family: Family,
    prior: np.ndarray,
    expected: Sequence[Expected],
    groups: np.ndarray,
    sizes: Sequence[int],
    certainty: float,
) -> Option:
    """Draw the family many times from each candidate, and see where the weights go."""
    width = max(len(e.chances) for e in expected)
    marks = [[g, *e.mark(width)] for g, e in zip(groups, expected, strict=True)]
    # Candidates of one group that expect the same here are one.
    _, first, which = np.unique(
        np.array(marks).round(12), axis=0, return_index=True, return_inverse=True
    )
    prior = np.bincount(which.ravel(), prior)
    expected, groups = [expected[i] for i in first], groups[first]
    rng = np.random.default_rng(0)
    members = (groups[:, None] == np.unique(groups)).astype(float)
    before = float(entr(prior @ members).sum())
    truth = rng.choice(len(prior), size=DRAWS, p=prior)
    chances = np.stack([np.pad(e.chances, (0, width - len(e.chances))) for e in expected])
    shares = np.stack(
        [np.pad(e.shares, ((0, width - len(e.shares)), (0, 0)), mode="edge") for e in expected]
    )  # (models, cases, classes)
    with np.errstate(divide="ignore"):
        log_chances, log_shares = np.log(chances), np.log(shares)
    settled, bits = [], []
    for n in sizes:
        grown = max(n // family.each, 1) if family.each else 1
        size = min(family.each or n, n)
        case = (rng.random((DRAWS, grown, 1)) > chances[truth].cumsum(axis=1)[:, None]).sum(axis=2)
        counts = rng.multinomial(size, shares[truth[:, None], case.clip(max=width - 1)])
        logs = np.zeros((DRAWS, len(prior)))
        for m in range(len(prior)):
            said = log_chances[m] + _log_chance(counts, log_shares[m])
            logs[:, m] = np.logaddexp.reduce(said, axis=2).sum(axis=1)
        logs -= logs.max(axis=1, keepdims=True)
        after = prior * np.exp(logs)
        after = after / after.sum(axis=1, keepdims=True) @ members
        settled.append(float((after.max(axis=1) >= certainty).mean()))
        bits.append(max(before - float(entr(after).sum(axis=1).mean()), 0.0) / np.log(2))
    return Option(family.name, tuple(settled), tuple(bits))


def _log_chance(counts: np.ndarray, log_shares: np.ndarray) -> np.ndarray:
    """(draws, families, classes) and (cases, classes): (draws, families, cases)."""
    finite = np.where(np.isfinite(log_shares), log_shares, 0.0)
    never = counts @ (~np.isfinite(log_shares)).T.astype(float) > 0
    return np.where(never, -np.inf, counts @ finite.T)
