"""Summing a product of small tables over all that they hang on, and what each then is.

Each table hangs on a few variables, and any of them may share some:

    total = sum over all variables of  product of all tables.

Variables are summed out one by one, always the one with fewest neighbours: the tables that
it is in become one over its neighbours, their sum. Backwards, last variable first, the
neighbours' joint chances are known, and

    P(n, neighbours) = P(neighbours) * product of the tables of n / their sum over n.

Both are exact, whatever loops there are. All tables have two leading axes that go along.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from typing import NamedTuple

import numpy as np

LETTERS = "abcdfghijklmnopqrstuvwxy"  # in einsum, of variables; z and e are the leading axes

Table = tuple[tuple[int, ...], np.ndarray]  # the variables, and (leading, leading, states of each)


class Step(NamedTuple):
    """One variable summed out: the tables it was in, and their `sum` over its neighbours."""

    variable: int
    near: tuple[int, ...]
    tables: list[Table]
    sum: np.ndarray


class Elimination:
    """All variables of some tables summed out.

    Attributes
    ----------
    log_total : the log of the total, along the two leading axes.
    """

    def __init__(self, tables: Sequence[Table]):
        self._steps: list[Step] = []
        self.log_total: np.ndarray = np.zeros((1, 1))
        tables = list(tables)
        left = {n for variables, _ in tables for n in variables}
        while left:
            around = {n: {g for v, _ in tables if n in v for g in v} for n in left}
            n = min(left, key=lambda variable: (len(around[variable]), variable))
            near = tuple(sorted(around[n] - {n}))
            touched = [t for t in tables if n in t[0]]
            step = Step(n, near, touched, _product(touched, near))
            self._steps.append(step)
            tables = [t for t in tables if n not in t[0]]
            left.remove(n)
            table, scale = scaled(log(step.sum))
            self.log_total = self.log_total + scale
            if near:
                tables.append((near, table))
            else:
                self.log_total = self.log_total + log(table)

    def joint(self, variables: tuple[int, ...]) -> np.ndarray:
        """Joint chances of variables that stand in one table together, in this order.

        Where the total is 0 they are all 0.
        """
        step = min(self._order[n] for n in variables)
        return _product([self._cliques[step]], variables)

    @cached_property
    def _order(self) -> dict[int, int]:
        return {step.variable: i for i, step in enumerate(self._steps)}

    @cached_property
    def _cliques(self) -> dict[int, Table]:
        """The joint chances of each variable and its neighbours, by number of its step."""
        found: dict[int, Table] = {}
        for i in range(len(self._steps) - 1, -1, -1):
            step = self._steps[i]
            known = np.ones((1, 1))
            if step.near:
                later = found[min(self._order[n] for n in step.near)]
                known = _product([later], step.near)
            weight = np.zeros(np.broadcast_shapes(known.shape, step.sum.shape))
            np.divide(known, step.sum, out=weight, where=step.sum > 0)
            both = (step.variable, *step.near)
            found[i] = (both, _product([*step.tables, (step.near, weight)], both))
        return found


def _product(tables: Sequence[Table], kept: tuple[int, ...]) -> np.ndarray:
    """The product of some tables, summed over all variables but the kept ones."""
    names = dict.fromkeys(n for variables, _ in tables for n in variables)
    letters = dict(zip(names, LETTERS, strict=False))
    terms = ["ze" + "".join(letters[n] for n in variables) for variables, _ in tables]
    out = "ze" + "".join(letters[n] for n in kept)
    return np.einsum(f"{','.join(terms)}->{out}", *(t for _, t in tables), optimize=len(tables) > 2)


def scaled(logs: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """exp(logs), 1 at its largest along all but the leading axes, and the log of the scale."""
    top = logs.max(axis=tuple(range(2, logs.ndim)), keepdims=True)
    top[~np.isfinite(top)] = 0
    return np.exp(logs - top), top.reshape(top.shape[:2])


def log(x: np.ndarray) -> np.ndarray:
    """The natural log; of 0 minus infinity, without a word."""
    with np.errstate(divide="ignore"):
        return np.log(x)
