"""Exact chances of a misfit: tail sums of a multinomial, without enumerating it.

The p-value of counts is P(T >= T observed), with T one of the three sums over classes of
`breedkit.poisson`. Two classes: T falls to the mode and rises after it, so the tail is
two binomial tails, found by bisection.

Three or more: fix one class after the other. The least T the open classes can still
reach comes from convexity: sort all their increments and take the cheapest. Where that
already is too much, the whole rest belongs to the tail and has a known Poisson weight.
Only the few partial outcomes that remain go on; the last two classes are sorted by T,
cumulated and searched. All terms are positive, so small p-values keep their digits.

Where too many partial outcomes remain, Pearson's statistic is summed on its lattice and
the others are inverted numerically, with an error that is reported.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections import Counter
from collections.abc import Sequence
from operator import index

import numpy as np
from scipy.special import betainc

from breedkit.errors import ModelError
from breedkit.poisson import (
    BLOCK,
    MOST_CELLS,
    Array,
    Floats,
    Outcomes,
    Share,
    Tail,
    all_outcomes,
    inverted_tail,
    lattice_tail,
    log_factors,
    poisson,
    whole_ratio,
)

ORDERS = ("likelihood ratio", "pearson", "probability")

TIE = 1e-9  # relative: G or Pearson values nearer than this count as equal
LOG_TIE = 1e-11  # log probabilities nearer than this count as equal
NEGLIGIBLE = -42.0  # log of the mass left out, relative to what is computed: 6e-19
FAINT = -92.0  # log 1e-40: smaller p-values are no longer followed digit by digit
MOST_STATES = 3_000_000  # partial outcomes the nested sum may hold
FEW_STATES = 30_000  # up to here the nested sum is always quick
CELLS_PER_STATE = 40  # of a lattice, that take as long as one partial outcome


# --- the door ---------------------------------------------------------------


def exact_pvalue(
    observed: Sequence[int],
    shares: Sequence[Share],
    order: str = "likelihood ratio",
) -> Tail:
    """Chance of an outcome at least as far from the shares as the one observed.

    Parameters
    ----------
    observed : whole numbers, one a class.
    shares : expected shares in the same order; they need not add to 1. A class
        with share 0 cannot occur: seeing one there gives 0, else it is left out.
    order : what "far" means: "likelihood ratio" (G), "pearson" or "probability".

    Returns
    -------
    Tail : `.pvalue`, and `.error`: 0 for a plain sum, the rounding of the transform for a
        lattice (1e-14), an estimate for an inversion. Plain sums are right to about 13
        digits down to 1e-40, and below that to 1e-55 absolute.

    Raises
    ------
    ModelError : unknown order, or shares and counts that do not match.
    """
    if order not in ORDERS:
        raise ModelError(f"Unknown order {order!r}.\nKnown: {', '.join(ORDERS)}.")
    sizes = _sizes(shares, len(observed))
    try:
        counts = [index(x) for x in observed]
    except TypeError:
        raise ModelError("Counts must be whole numbers.") from None
    if min(counts) < 0:
        raise ModelError("Counts must be 0 or more.")
    if not all(sizes):
        if any(x for x, size in zip(counts, sizes, strict=True) if not size):
            return Tail(0.0)
        counts = [x for x, size in zip(counts, sizes, strict=True) if size]
        shares = [s for s, size in zip(shares, sizes, strict=True) if size]
        sizes = [size for size in sizes if size]
    n = sum(counts)
    if n == 0 or len(counts) == 1:
        return Tail(1.0)
    if len(counts) == 2:
        whole = whole_ratio(shares) if order == "pearson" else None
        p, q = sizes[0] / sum(sizes), sizes[1] / sum(sizes)
        return Tail(_two_classes(counts[0], n, p, q, order, whole))
    space = all_outcomes(n, shares, order)
    seen = np.arange(len(counts)), np.array(counts)
    at = space.table[seen].sum()
    reached = at
    if order == "probability":
        reached = at - LOG_TIE
    elif not space.whole:
        reached = at * (1 - TIE)
        if reached <= 0:
            return Tail(1.0)
    log_chance = float(space.log_weights[seen].sum()) - space.log_total
    tail = _tail(space, reached, max(log_chance, FAINT) + NEGLIGIBLE)
    if tail is None:
        # All the outcomes that only swap equal classes have this very statistic.
        atom = math.exp(min(log_chance + _log_swaps(counts, sizes), 0.0))
        tail = inverted_tail(space, float(at), atom)
    return tail


def tail_probability(
    critical: float,
    n: int,
    shares: Sequence[Share],
    rival: Sequence[Share],
) -> Tail:
    """Chance that Pearson's statistic against `shares` reaches `critical` if `rival` holds.

    Parameters
    ----------
    critical : positive critical value of the statistic.
    n : number of plants.
    shares : the shares that are tested; with a class of share 0 the statistic is
        without limit as soon as one plant falls there.
    rival : the shares that hold, in the same order.

    Returns
    -------
    Tail : `.pvalue` is the power of the test; right to about 1e-13.
    """
    sizes, rivals = _sizes(shares, len(shares)), _sizes(rival, len(shares))
    allowed = [i for i, size in enumerate(sizes) if size]
    inside = sum(rivals[i] for i in allowed)
    all_allowed = min(inside / sum(rivals), 1.0) ** n
    if n == 0 or inside == 0 or len(allowed) == 1:
        return Tail(1 - all_allowed)
    least = critical * (1 - TIE)
    if len(allowed) == 2:
        i, j = allowed
        p, q = sizes[i] / sum(sizes), sizes[j] / sum(sizes)
        half = math.sqrt(least * n * p * q)
        low, high = math.floor(n * p - half), math.ceil(n * p + half)
        found = Tail(_binomial(low, high, n, rivals[i] / inside, rivals[j] / inside))
    else:
        space = all_outcomes(
            n, [shares[i] for i in allowed], "pearson", [rivals[i] for i in allowed]
        )
        if space.whole:
            least = math.ceil((least + n) * space.spread - space.shift)
        found = _tail(space, least, NEGLIGIBLE) or inverted_tail(space, float(least))
    return Tail((1 - all_allowed) + all_allowed * found.pvalue, found.error)


def _sizes(shares: Sequence[Share], classes: int) -> list[float]:
    """The shares as floats, checked."""
    sizes = [float(s) for s in shares]
    if len(sizes) != classes:
        raise ModelError(f"There are {classes} classes, but {len(sizes)} shares.")
    if not (min(sizes, default=0.0) >= 0 and 0 < sum(sizes) < math.inf):
        raise ModelError("Shares must be 0 or more, and not all of them 0.")
    return sizes


def _log_swaps(counts: Sequence[int], sizes: Sequence[float]) -> float:
    """Log of the number of outcomes that differ only by swapping classes of equal share."""
    alike = Counter(sizes).values()
    same = Counter(zip(counts, sizes, strict=True)).values()
    return sum(math.lgamma(a + 1) for a in alike) - sum(math.lgamma(s + 1) for s in same)


# --- two classes ------------------------------------------------------------


def _two_classes(
    x: int, n: int, p: float, q: float, order: str, whole: Sequence[int] | None
) -> float:
    """P(T >= T(x)): the statistic falls to the mode and rises after it, so two tails."""
    if whole:  # Pearson's statistic orders by the distance from n p: exact in integers
        total, centre = sum(whole), n * whole[0]
        away = abs(x * total - centre)
        return _binomial((centre - away) // total, -((-centre - away) // total), n, p, q)
    mean, other = n * p, n * q
    factors = log_factors(n)[2]

    def misfit(y: int) -> float:
        away = y - mean
        if order == "pearson":
            return away * away
        deviance = y * math.log1p(away / mean) if y else 0.0
        if y < n:
            deviance += (n - y) * math.log1p(-away / other)
        return deviance if order == "likelihood ratio" else deviance - factors[y] - factors[n - y]

    low = min(int(mean), n - 1)
    mode = min(low, low + 1, key=misfit)
    reached = misfit(x) - LOG_TIE if order == "probability" else misfit(x) * (1 - TIE)
    if x < mode:
        return _binomial(x, mode + bisect_left(range(mode, n + 1), reached, key=misfit), n, p, q)
    return _binomial(mode - bisect_left(range(mode, -1, -1), reached, key=misfit), x, n, p, q)


def _binomial(low: int, high: int, n: int, p: float, q: float) -> float:
    """P(X <= low) + P(X >= high) for X binomial: n trials, chance p, q = 1 - p."""
    if low >= high:
        return 1.0
    tail = 0.0
    if low >= 0:
        tail = float(betainc(n - low, low + 1, q))
    if high <= n:
        tail += float(betainc(high, n - high + 1, p))
    return min(tail, 1.0)


def _tail(space: Outcomes, reached: float, floor: float) -> Tail | None:
    """Three or more classes, by the quicker exact route that is open; None if none is."""
    states = _guess_states(space, reached) if len(space.means) > 4 else 0.0
    found = None
    if space.whole and states > FEW_STATES:
        found = lattice_tail(space, int(reached), min(CELLS_PER_STATE * states, MOST_CELLS))
    if found is None and states <= MOST_STATES:
        found = _nested(space, reached, floor)
    if found is None and space.whole:
        found = lattice_tail(space, int(reached))
    return found


# --- nested tails -----------------------------------------------------------


def _least(table: Array) -> Array:
    """Least sum of the rows' convex statistics for every total from -1 ("never") to n."""
    n = table.shape[1] - 1
    steps = np.sort(np.diff(table, axis=1), axis=None, kind="stable")[:n]  # sorted runs
    never = np.array([1 << 61]) if table.dtype.kind == "i" else np.array([np.inf])
    start = table[:, :1].sum(axis=0)
    return np.concatenate([never, start, start + np.cumsum(steps)]).astype(table.dtype)


def _guess_states(space: Outcomes, reached: float) -> float:
    """Rough number of partial outcomes inside: volume of an ellipsoid, less symmetry."""
    shares = np.sort(space.expected)[:-2] / space.n
    d = len(shares)
    excess = (reached - float(_least(space.table)[-1])) / space.spread + 1
    log_volume = (
        0.5 * d * math.log(math.pi * space.n * max(excess, 1.0))
        - math.lgamma(d / 2 + 1)
        + 0.5 * (np.log(shares).sum() + math.log(max(1 - shares.sum(), 1e-9)))
    )
    alike = np.unique(shares, return_counts=True)[1]
    return math.exp(min(log_volume - sum(math.lgamma(a + 1) for a in alike), 300.0))


def _nested(space: Outcomes, reached: float, floor: float) -> Tail | None:
    """P(T >= reached); None if it would need too many partial outcomes.

    Left out: counts of a class with a chance below exp(floor), and partial outcomes
    with a chance so far below it that all of them together do not matter.
    """
    n = space.n
    rank = np.lexsort((space.means, space.expected))  # rare classes first, equal ones adjacent
    means, table = space.means[rank], space.table[rank]
    weights = np.exp(space.log_weights[rank])
    kept = [np.flatnonzero(row) for row in space.log_weights[rank] > floor + space.log_total]
    windows = [(int(x[0]), int(x[-1]) + 1) if len(x) else (0, 0) for x in kept]
    outer = len(means) - 2
    open_means = np.cumsum(means[::-1])[::-1][1 : outer + 1]
    rest = np.zeros((outer, n + 2))  # for every total from -1, which has no weight, to n
    rest[:, 1:] = np.exp(poisson(n, open_means)[1])
    faint = math.exp(floor + space.log_total) / MOST_STATES
    # A little slack: what is wrongly kept is judged exactly later on.
    bound = reached if space.whole else reached + 1e-9 * (abs(reached) + 1)

    left, stat, weight = np.array([n]), np.zeros(1, table.dtype), np.ones(1)
    tail = 0.0
    for j in range(outer):
        low, high = windows[j]
        least = _least(table[j + 1 :])
        span, step, chance = np.arange(low, high), table[j, low:high], weights[j, low:high]
        alive: list[tuple[Array, Array, Floats]] = [(left[:0], stat[:0], weight[:0])]
        size = 0
        block = max(1, BLOCK // max(high - low, 1))
        for i in range(0, len(left), block):
            place = left[i : i + block, None] + 1 - span  # below 0 is taken for 0, a total of -1
            value = stat[i : i + block, None] + step
            mass = weight[i : i + block, None] * chance
            chance_of_all = mass * rest[j].take(place, mode="clip")
            outside = value + least.take(place, mode="clip") >= bound
            tail += float((chance_of_all * outside).sum())
            inside = np.flatnonzero(~outside & (chance_of_all > faint))
            alive.append((place.take(inside) - 1, value.take(inside), mass.take(inside)))
            size += len(inside)
            if size > MOST_STATES:
                return None
        left, stat, weight = (np.concatenate(part) for part in zip(*alive, strict=True))
        if outer > 2 and j:
            left, stat, weight = _merge(left, stat, weight)
    tail += _last_two(table[-2:], weights[-2:], windows[-2:], left, stat, weight, reached)
    return Tail(min(tail / math.exp(space.log_total), 1.0))


def _merge(left: Array, stat: Array, weight: Floats) -> tuple[Array, Array, Floats]:
    """Partial outcomes with the same total and statistic are one, with their joint weight."""
    if len(left) < 2:
        return left, stat, weight
    rank = np.lexsort((stat, left))
    left, stat, weight = left[rank], stat[rank], weight[rank]
    gap = 0.0 if stat.dtype.kind == "i" else 1e-13 * float(np.abs(stat).max())
    first = np.flatnonzero(np.r_[True, (np.diff(left) != 0) | (np.diff(stat) > gap)])
    return left[first], stat[first], np.add.reduceat(weight, first)


def _last_two(
    table: Array,
    weights: Floats,
    windows: list[tuple[int, int]],
    left: Array,
    stat: Array,
    weight: Floats,
    reached: float,
) -> float:
    """For every number of plants left: sort the two classes' statistic once, then look up."""
    rank = np.argsort(left, kind="stable")
    weight, needed = weight[rank], reached - stat[rank]
    totals, starts = np.unique(left[rank], return_index=True)
    edges = [*starts.tolist(), len(left)]
    span = np.arange(*windows[0])
    step, chance = table[0, span], weights[0, span]
    partner = np.zeros(table.shape[1] + 1)  # from -1 to n: no weight outside its window
    first, last = windows[1]
    partner[first + 1 : last + 1] = weights[1, first:last]
    partner_step = np.append(table[1, :1], table[1])
    tail = 0.0
    block = max(1, BLOCK // max(len(span), 1))
    for i in range(0, len(totals), block):
        place = totals[i : i + block, None] + 1 - span
        value = step + partner_step.take(place, mode="clip")
        order = np.argsort(value, axis=1, kind="stable")  # quick: it falls, then it rises
        value = np.take_along_axis(value, order, axis=1)
        mass = np.take_along_axis(chance * partner.take(place, mode="clip"), order, axis=1)
        beyond = np.zeros((len(value), len(span) + 1))
        np.cumsum(mass[:, ::-1], axis=1, out=beyond[:, 1:])
        for j, (row, sums) in enumerate(zip(value, beyond, strict=True), start=i):
            part = slice(edges[j], edges[j + 1])
            tail += float(sums[len(span) - row.searchsorted(needed[part])] @ weight[part])
    return tail
