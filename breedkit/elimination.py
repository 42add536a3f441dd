"""Summing a product of small tables over all that they hang on, and what each then is.

Each table hangs on a few variables, and any of them may share some:

    total = sum over all variables of  product of all tables.

Variables are summed out one by one, always the one with fewest neighbours: the tables that
it is in become one over its neighbours, their sum. Backwards, last variable first, the
neighbours' joint chances are known, and

    P(n, neighbours) = P(neighbours) * product of the tables of n / their sum over n.

Both are exact, whatever loops there are. The order hangs on the variables alone and is worked
out once. All tables have two leading axes that go along.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property, lru_cache
from typing import NamedTuple

import numpy as np

from breedkit.errors import ModelError

MOST_CELLS = 5_000_000  # numbers of one table, 8 bytes each
TOGETHER = 20_000_000  # numbers of one table for all that go along
LARGE = 20_000  # numbers in tables from which they are multiplied two by two
LETTERS = "abcdfghijklmnopqrstuvwxy"  # in einsum, of variables; z and e are the leading axes

Table = tuple[tuple[int, ...], np.ndarray]  # the variables, and (leading, leading, states of each)


class Step(NamedTuple):
    """One variable summed out, as einsum has it.

    `tables` says which are multiplied: those given, then the sums of the steps before. `sum`
    gives their sum over the neighbours, `clique` the joint chances of the variable and its
    neighbours from the tables and a weight over the neighbours; `near` takes the chances of the
    neighbours out of the clique of step `later`, the first of theirs.
    """

    variables: tuple[int, ...]
    tables: tuple[int, ...]
    sum: str
    clique: str
    later: int
    near: str


@lru_cache(maxsize=64)
def _plan(given: tuple[tuple[int, ...], ...]) -> tuple[tuple[Step, ...], dict[int, int]]:
    """The steps that sum tables over all their variables, and the step of each variable."""
    tables = dict(enumerate(given))
    left = {n for variables in given for n in variables}
    found: list[tuple[tuple[int, ...], tuple[int, ...], tuple[tuple[int, ...], ...]]] = []
    order: dict[int, int] = {}
    while left:
        around = {n: {g for v in tables.values() if n in v for g in v} for n in left}
        n = min(left, key=lambda variable: (len(around[variable]), variable))
        if len(around[n]) > len(LETTERS):
            raise _too_much()
        near = tuple(sorted(around[n] - {n}))
        touched = tuple(i for i, v in tables.items() if n in v)
        found.append(((n, *near), touched, tuple(tables.pop(i) for i in touched)))
        order[n] = len(order)
        left.remove(n)
        if near:
            tables[len(given) + order[n]] = near
    steps = []
    for both, touched, terms in found:
        near = both[1:]
        later = min((order[n] for n in near), default=-1)
        steps.append(Step(
            both, touched, _subscripts(terms, near), _subscripts((*terms, near), both), later,
            _subscripts((found[later][0],), near) if near else "",
        ))  # fmt: skip
    return tuple(steps), order


@lru_cache(maxsize=4096)
def _subscripts(terms: tuple[tuple[int, ...], ...], kept: tuple[int, ...]) -> str:
    """'zea,zeab->zeb': for einsum, tables over these variables, summed but for the kept ones."""
    names = dict.fromkeys(n for term in terms for n in term)
    letters = dict(zip(names, LETTERS, strict=False))
    sides = ["ze" + "".join(letters[n] for n in term) for term in (*terms, kept)]
    return f"{','.join(sides[:-1])}->{sides[-1]}"


class Elimination:
    """All variables of some tables summed out.

    Parameters
    ----------
    tables : over all variables together.
    back : keep what `joint` needs.

    Attributes
    ----------
    log_total : the log of the total, along the two leading axes.

    Raises
    ------
    ModelError
        if too many variables hang together.
    """

    def __init__(self, tables: Sequence[Table], back: bool = False):
        self._steps, self._order = _plan(tuple(variables for variables, _ in tables))
        cells = max(table.shape[-1] for _, table in tables) ** max(
            len(step.variables) for step in self._steps
        )
        if cells > MOST_CELLS:
            raise _too_much()
        leading = np.broadcast_shapes(*(table.shape[:2] for _, table in tables))
        self._axis = int(leading[1] >= leading[0])
        self._parts: list[Elimination] = []
        self.log_total: np.ndarray
        if leading[0] * leading[1] * cells > TOGETHER and max(leading) > 1:
            self._parts = [Elimination(half, back) for half in _halves(tables, self._axis)]
            self.log_total = np.concatenate([p.log_total for p in self._parts], self._axis)
        else:
            self.log_total = self._summed(tables, back)

    def _summed(self, tables: Sequence[Table], back: bool) -> np.ndarray:
        """Sum out one variable after another: the log of the total."""
        at_hand = dict(enumerate(table for _, table in tables))
        self._tables = at_hand.copy() if back else {}
        self._sums: list[np.ndarray] = []
        total = np.zeros((1, 1))
        for i, step in enumerate(self._steps, start=len(tables)):
            product = _einsum(step.sum, [at_hand.pop(t) for t in step.tables])
            top = product.max(axis=tuple(range(2, product.ndim)), keepdims=True)
            total = total + log(top.reshape(top.shape[:2]))
            if step.near:
                at_hand[i] = ratio(product, top)
            if back:
                self._sums.append(product)
                self._tables |= {i: at_hand[i]} if step.near else {}
        return total

    def joint(self, variables: tuple[int, ...]) -> np.ndarray:
        """Joint chances of variables that stand in one table together, in this order.

        Where the total is 0 they are all 0.
        """
        if self._parts:
            return np.concatenate([p.joint(variables) for p in self._parts], self._axis)
        at = min(self._order[n] for n in variables)
        return np.einsum(_subscripts((self._steps[at].variables,), variables), self._cliques[at])

    @cached_property
    def _cliques(self) -> dict[int, np.ndarray]:
        """The joint chances of each variable and its neighbours, by number of its step."""
        found: dict[int, np.ndarray] = {}
        for i in range(len(self._steps) - 1, -1, -1):
            step, whole = self._steps[i], self._sums[i]
            known = np.einsum(step.near, found[step.later]) if step.near else np.ones((1, 1))
            tables = [self._tables[t] for t in step.tables]
            found[i] = _einsum(step.clique, [*tables, ratio(known, whole)])
        return found


def _halves(tables: Sequence[Table], axis: int) -> list[list[Table]]:
    """The same tables for the first half along a leading axis, and for the second."""
    middle = max(table.shape[axis] for _, table in tables) // 2
    parts = [(slice(None),) * axis + (part,) for part in (slice(middle), slice(middle, None))]
    return [[(v, t if t.shape[axis] == 1 else t[part]) for v, t in tables] for part in parts]


def _too_much() -> ModelError:
    return ModelError(
        "So many plants are mated with each other that it is too much to follow.\n"
        "Ask for a model of fewer genes, or leave some of the mated plants out."
    )


def _einsum(subscripts: str, tables: Sequence[np.ndarray]) -> np.ndarray:
    """einsum; two by two where the tables are so large that planning it pays."""
    large = len(tables) > 2 and sum(table.size for table in tables) > LARGE
    return np.einsum(subscripts, *tables, optimize=large)


def ratio(part: np.ndarray, whole: np.ndarray) -> np.ndarray:
    """part / whole; 0 where the whole is 0, which can only be where the part is."""
    return part / (whole + (whole == 0))


def log(x: np.ndarray) -> np.ndarray:
    """The natural log; of 0 minus infinity, without a word."""
    with np.errstate(divide="ignore"):
        return np.log(x)
