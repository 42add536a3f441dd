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

    Attributes
    ----------
    log_total : the log of the total, along the two leading axes.
    """

    def __init__(self, tables: Sequence[Table]):
        self._steps, self._order = _plan(tuple(variables for variables, _ in tables))
        self._tables = dict(enumerate(table for _, table in tables))
        self._sums: list[np.ndarray] = []
        scales = []
        for i, step in enumerate(self._steps, start=len(tables)):
            product = _einsum(step.sum, [self._tables[t] for t in step.tables])
            self._sums.append(product)
            top = product.max(axis=tuple(range(2, product.ndim)), keepdims=True)
            if step.later >= 0:
                self._tables[i] = ratio(product, top)
            scales.append(top.reshape(top.shape[:2]))
        self.log_total: np.ndarray = sum((log(scale) for scale in scales), np.zeros((1, 1)))

    def joint(self, variables: tuple[int, ...]) -> np.ndarray:
        """Joint chances of variables that stand in one table together, in this order.

        Where the total is 0 they are all 0.
        """
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
