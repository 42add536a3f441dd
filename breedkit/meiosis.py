"""Meiosis as small matrices: how one generation acts on each linkage group.

A step maps the first axis of an array (states, rest) and puts it last: (rest,
new states). Steps for each group in turn make a generation, with the axes in
order again; their Kronecker product is never formed. With g(x, h) the number of
the two copies of allele h in genotype x, selfing one locus is

    S(x, y) = sum of g(x, h) g(x, h') / 4 over gametes h, h' that make y

(for two alleles the rows 1 0 0, 1/4 1/2 1/4, 0 0 1). In a linkage group every
new strand is copied from the two strands of one parent, changing over between
loci i and i+1 with the recombination fraction r_i (no interference). Which
strand is being copied is a Markov chain along the loci; `_sweep` sums it out
locus by locus, in any generation and either phase.

Exact steps count cases in whole numbers (dtype object); others are shares.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from fractions import Fraction
from functools import lru_cache

import numpy as np

from breedkit.genome import Group, Number

Step = np.ndarray | Callable[[np.ndarray], np.ndarray]


def run_steps(weights: np.ndarray, shape: Sequence[int], steps: Sequence[Step]) -> np.ndarray:
    """Apply to each axis of `weights` its own step; a step is a matrix or a function."""
    for n, step in zip(shape, steps, strict=True):
        columns = weights.reshape(n, -1)
        weights = columns.T @ step if isinstance(step, np.ndarray) else step(columns)
    return weights


def gamete_step(group: Group, exact: bool) -> Step:
    if group.linked:
        return lambda v: _sweep(v, group, 2, ((0, 1),), exact)
    return _as_shares(_copies(group), exact)


def selfing_step(group: Group, exact: bool) -> Step:
    if group.linked:
        return lambda v: _sweep(v, group, 2, ((0, 1), (0, 1)), exact)
    if group.cytoplasm:
        return _as_shares(np.eye(group.sizes[0], dtype=int), exact)
    return _as_shares(np.diagonal(_offspring(group)).T, exact)


def union_step(group: Group, exact: bool) -> Step:
    """(mother's gamete, father's gamete) -> state."""
    if group.linked:
        return lambda v: _interleave(v, group.sizes)
    return (_union(group)).astype(object if exact else float)


def pair_step(group: Group, exact: bool) -> Step:
    """(state of one sib, state of the other) -> state of the pair, locus by locus."""
    if group.linked:
        return lambda v: _interleave(v, tuple(k * k for k in group.sizes))
    return lambda v: v.T


def sib_step(group: Group, exact: bool) -> Step:
    """State of a pair -> state of a pair of its offspring."""
    if group.linked:
        return lambda v: _sweep(v, group, 4, ((0, 1), (2, 3), (0, 1), (2, 3)), exact)
    n = len(group.pairs)
    one = _offspring(group).reshape(n * n, n)
    return _as_shares((one[:, :, None] * one[:, None, :]).reshape(n * n, n * n), exact)


def first_sib_step(group: Group, exact: bool) -> Step:
    """State of a pair -> state of its first plant."""
    if group.linked:
        sizes = [k * k for k in group.sizes for _ in (0, 1)]
        odd = tuple(range(1, len(sizes), 2))
        return lambda v: v.reshape(*sizes, -1).sum(axis=odd).reshape(len(group.pairs), -1).T
    n = len(group.pairs)
    return np.eye(n, dtype=int).repeat(n, axis=0).astype(object if exact else float)


def _copies(group: Group) -> np.ndarray:
    """How many of the two copies in each state of a locus are each allele."""
    return (group.pairs[:, 0, :, None] == np.arange(group.sizes[0])).sum(axis=1)


def _union(group: Group) -> np.ndarray:
    """0/1 matrix (two gametes, state) of one locus or of the cytoplasm."""
    k = group.sizes[0]
    if group.cytoplasm:
        return np.eye(k, dtype=int).repeat(k, axis=0)
    both = np.sort(np.indices((k, k)).reshape(2, -1).T, axis=1)
    return (both[:, None, :] == group.pairs[None, :, 0, :]).all(axis=2).astype(int)


def _offspring(group: Group) -> np.ndarray:
    """Cases, of 4, in which two plants of one locus give each state: (mother, father, state)."""
    if group.cytoplasm:
        n = group.sizes[0]
        return np.eye(n, dtype=int)[:, None, :].repeat(n, axis=1)
    copies = _copies(group)
    union = _union(group).reshape(group.sizes[0], group.sizes[0], -1)
    return np.einsum("xh,yk,hks->xys", copies, copies, union)


def _as_shares(cases: np.ndarray, exact: bool) -> np.ndarray:
    """Whole numbers as they are if exact, else rows that total 1."""
    return cases.astype(object) if exact else cases / cases.sum(axis=1, keepdims=True)


def side_by_side(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    """Outer product of two arrays with the axes of each group next to each other."""
    n = one.ndim
    order = [i for pair in zip(range(n), range(n, 2 * n), strict=True) for i in pair]
    return np.multiply.outer(one, other).transpose(order)


def _interleave(v: np.ndarray, sizes: tuple[int, ...]) -> np.ndarray:
    """(one strand, other strand, rest) -> (rest, both strands locus by locus)."""
    m = len(sizes)
    order = [i for pair in zip(range(m), range(m, 2 * m), strict=True) for i in pair]
    apart = v.reshape(*sizes, *sizes, -1).transpose([*order, 2 * m])
    return apart.reshape(-1, apart.shape[-1]).T


def _sweep(
    v: np.ndarray, group: Group, strands: int, sources: tuple[tuple[int, int], ...], exact: bool
) -> np.ndarray:
    """New strands copied from old ones along a linkage group, locus by locus.

    `v` is (states of `strands` old strands, rest); each new strand j is copied from
    the two old ones in `sources[j]`. The array carried from locus to locus has the
    choices of strand (the bond) first, then the loci still to do, then those done.
    """
    moves = _sweep_matrices(group, strands, sources, exact)
    rest = v.shape[1]
    for move, k in zip(moves, group.sizes, strict=True):
        v = v.reshape(move.shape[0], -1).T @ move  # (others, new alleles x next bond)
        bond = move.shape[1] // k ** len(sources)
        v = v.reshape(-1, bond).T
    # The loci done stand last now, behind the rest.
    return v.reshape(rest, -1)


@lru_cache(maxsize=64)
def _sweep_matrices(
    group: Group, strands: int, sources: tuple[tuple[int, int], ...], exact: bool
) -> list[np.ndarray]:
    """For each locus the matrix (bond x old alleles, new alleles x next bond)."""
    bonds = list(itertools.product((0, 1), repeat=len(sources)))
    matrices = []
    for i, k in enumerate(group.sizes):
        copy = np.zeros((len(bonds), k**strands, k ** len(sources)), dtype=int)
        for old, alleles in enumerate(itertools.product(range(k), repeat=strands)):
            for b, bond in enumerate(bonds):
                new = [alleles[pair[side]] for pair, side in zip(sources, bond, strict=True)]
                copy[b, old, np.ravel_multi_index(new, [k] * len(sources))] = 1
        onward = _change_over(group, i, bonds, exact)
        move = (
            np.einsum("bxy,bc->bxyc", copy, onward)
            if not exact
            else (copy[:, :, :, None].astype(object) * onward[:, None, None, :])
        )
        if i == 0:
            move = move.sum(axis=0, keepdims=True)
            move = move if exact else move / len(bonds)
        matrices.append(move.reshape(move.shape[0] * k**strands, -1))
    return matrices


def _change_over(group: Group, i: int, bonds: list[tuple[int, ...]], exact: bool) -> np.ndarray:
    """Chance (cases, if exact) of each next bond after locus i; one column after the last."""
    if i == len(group.recombination):
        return np.ones((len(bonds), 1), dtype=object if exact else float)
    r = group.recombination[i]
    stay: Number
    change: Number
    if exact:
        share = r if isinstance(r, Fraction) else Fraction(str(r))
        stay, change = share.denominator - share.numerator, share.numerator
    else:
        stay, change = 1 - float(r), float(r)
    switches = np.array(
        [[sum(x != y for x, y in zip(b, c, strict=True)) for c in bonds] for b in bonds],
        dtype=object if exact else int,
    )
    return stay ** (len(bonds[0]) - switches) * change**switches
