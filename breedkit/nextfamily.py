"""The next family: which one would settle the open question, and at what size.

The models still alive each expect certain shares in a family that could be grown. Were it
grown with n plants, the counts would be drawn from one of these models, with the chance
that its weight gives it, and the weights would move by Bayes' rule. Over many such draws

    settled(n) = chance that afterwards one group of models has weight `certainty` or more
    bits(n)    = mean loss of entropy of the weights, in bits

Models that expect the same of all families at hand and of all that could be grown count as
one. Each model is represented by its likeliest candidate, at the mean rate of mis-scoring
for the season; draws are seeded, so that an answer is the same on every run.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import entr, xlogy

from breedkit.errors import ModelError
from breedkit.likelihood import mis_scoring
from breedkit.pedigree import Cross, Founder, Plan, Selfing
from breedkit.results import Fact, Result, number, percent, plants

if TYPE_CHECKING:
    import pandas as pd

    from breedkit.weights import ModelWeight

DRAWS = 4000
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
    """

    sizes: tuple[int, ...]
    options: tuple[Option, ...]
    certainty: float
    open_models: int
    leads: float
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
        if self.open_models == 0:
            return "Nothing was scored that could tell the models apart; begin with an F2."
        if self.leads >= self.certainty:
            return f"One model has weight {percent(self.leads)} already; no family is needed."
        if self.open_models == 1:
            return "No family of these parents would tell the models apart that are left."
        if self.best is None:
            return "None of the families that can be grown now would tell the models apart."
        enough = self.enough(self.best)
        if enough is None:
            most = self.sizes[-1]
            return (
                f"{self.best.name} tells most, but even {plants(most)} settle it in only "
                f"{percent(self.best.settled[-1])} of cases."
            )
        return f"Grow {self.best.name}: {plants(enough)} settle it in at least 8 of 10 cases."

    def facts(self) -> list[Fact]:
        facts = []
        for option in self.options:
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
    founders: Sequence[str],
    classes: Sequence[str],
    error: float,
    ordered: bool,
    sizes: Sequence[int],
    certainty: float,
) -> NextFamily:
    """Weigh every family that could be grown; see `Comparison.next_family`."""
    sizes = tuple(sorted({int(n) for n in sizes}))
    if not sizes or sizes[0] < 1:
        raise ModelError("A family has at least one plant; give sizes such as (10, 20, 40).")
    if not 0.5 <= certainty < 1:
        raise ModelError(f"A certainty lies from 0.5 up to 1; {certainty} does not.")
    alive, total = [], 0.0
    for weight in weights:
        alive.append(weight)
        total += weight.weight
        if total >= ALIVE:
            break
    if not alive:
        return NextFamily(sizes, (), certainty, 0, 0.0)
    prior = np.array([w.weight for w in alive]) / total
    mixing = mis_scoring([error], len(classes), ordered)[0]
    shares = {}
    for name, plan in plans_to_grow(founders).items():
        rows = [_shares(w, plan, classes, mixing) for w in alive]
        if all(row is not None for row in rows):
            shares[name] = np.array(rows)
    together = np.concatenate(
        [np.array([[w.group] for w in alive], dtype=float), *shares.values()], axis=1
    )
    _, parts = np.unique(together.round(9), axis=0, return_inverse=True)
    parts = parts.ravel()
    leads = float(np.bincount(parts, prior).max())
    found = NextFamily(sizes, (), certainty, int(parts.max()) + 1, leads)
    if leads >= certainty or found.open_models < 2:
        return found
    options = [_option(name, prior, row, parts, sizes, certainty) for name, row in shares.items()]
    telling = [o for o in options if o.bits[-1] >= LEAST_BITS]
    telling.sort(key=lambda o: (found.enough(o) or np.inf, -o.bits[0], o.name))
    return replace(found, options=tuple(telling))


def plans_to_grow(founders: Sequence[str]) -> dict[str, Plan]:
    """The families that two parents and their F1 allow, by name."""
    if len(founders) < 2:
        return {}
    one, other = (Founder(f) for f in founders[:2])
    f1 = Cross(one, other)
    f2 = Selfing(f1)
    return {
        "the F2 (F1 selfed)": f2,
        f"the backcross to {one.name}": Cross(f1, one),
        f"the backcross to {other.name}": Cross(f1, other),
        "an F3 from many F2 plants, one seed of each": Selfing(f2),
    }


def _shares(
    weight: ModelWeight, plan: Plan, classes: Sequence[str], mixing: np.ndarray
) -> np.ndarray | None:
    """What a model's likeliest candidate expects to be written down; None if it cannot be grown."""
    named = weight.model.called(weight.classes)
    try:
        shares: Mapping[str, float] = dict(
            zip(named.classes, named.shares(plan, dict(weight.founders)), strict=True)
        )
    except ModelError:
        return None
    return np.array([shares.get(c, 0.0) for c in classes]) @ mixing


def _option(
    name: str,
    prior: np.ndarray,
    shares: np.ndarray,
    groups: np.ndarray,
    sizes: Sequence[int],
    certainty: float,
) -> Option:
    """Draw the family many times from each model, and see where the weights go."""
    rng = np.random.default_rng(0)
    members = (groups[:, None] == np.unique(groups)).astype(float)
    before = float(entr(prior @ members).sum())
    truth = rng.choice(len(prior), size=DRAWS, p=prior)
    settled, bits = [], []
    for n in sizes:
        counts = rng.multinomial(n, shares[truth])
        logs = xlogy(counts[:, None, :], shares).sum(axis=2)
        logs -= logs.max(axis=1, keepdims=True)
        after = prior * np.exp(logs)
        after = after / after.sum(axis=1, keepdims=True) @ members
        settled.append(float((after.max(axis=1) >= certainty).mean()))
        bits.append(max(before - float(entr(after).sum(axis=1).mean()), 0.0) / np.log(2))
    return Option(name, tuple(settled), tuple(bits))
