"""Counts in classes as Poisson counts whose total is known, and sums over them.

Counts x with fixed total n are independent Poisson counts given their total:
P(x) = prod Pois(x_i; n p_i) / Pois(n; n). Every order in which outcomes can be called
"worse" is a sum over classes, T(x) = sum t_i(x_i), with each t_i convex:
G has t = 2 (x log(x/m) - x + m), Pearson t = (x - m)^2 / m, and the order by
probability t = -log Pois(x; m), with m = n p_i. `all_outcomes` makes both tables.

log Pois(x; m) = c(x) - (x log(x/m) - x + m), with c(x) from Stirling's series (the
idea is C. Loader's, 2000, from memory): differences of log-gamma would lose digits.

Lattice: with whole-number ratios Pearson's statistic is a whole number times a
constant, so E[exp(i a T); total = n] on a grid of angles, and a Fourier transform over
them, give its whole distribution for any number of classes. Inversion: for other
statistics the same transform is integrated up to a largest angle, with an error.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

Share = Fraction | int | float
Array = NDArray[Any]
Floats = NDArray[np.float64]

UNPROVED = 1e-10  # least error of an inversion
ALIASED = -37.0  # log of the mass a transform may put in the wrong place: 1e-16
LAST_ANGLE = 600.0  # the inversion stops here, in units of chi-square
MOST_CELLS = 2e8  # angles x frequencies x classes a transform may visit
TILTS = 0.45 * np.exp(-np.linspace(0, 4, 24))  # of Chernoff's bound
BLOCK = 1 << 13  # numbers handled at once: larger arrays cost more to get than to fill


@dataclass(frozen=True)
class Tail:
    """A tail probability. `error` is its estimated absolute error, 0 for a plain sum."""

    pvalue: float
    error: float = 0.0


# --- weights and statistics -------------------------------------------------


@dataclass(frozen=True)
class Outcomes:
    """Everything a tail sum needs: row i holds class i at counts 0..n."""

    n: int
    expected: Floats  # what the statistic compares with
    means: Floats  # of the Poisson weights: the same, unless a rival holds
    log_weights: Floats
    log_total: float  # log Pois(n; n)
    table: Array  # t_i(x)
    whole: bool  # the table holds whole numbers (Pearson's statistic, whole ratio)
    spread: float  # table values per unit of chi-square
    shift: float = 0.0  # a whole table sums to spread * (Pearson's statistic + n) - shift


def log_factors(n: int) -> tuple[Floats, Floats, list[float]]:
    """x = 0..n, c(x) = log(x^x e^-x / x!), and c as a list that may go on beyond n."""
    x, c, listed = _log_factors_up_to(1 << max(6, n.bit_length()))
    return x[: n + 1], c[: n + 1], listed


@lru_cache(maxsize=4)
def _log_factors_up_to(size: int) -> tuple[Floats, Floats, list[float]]:
    x = np.arange(size + 1.0)
    c = np.zeros(size + 1)
    for k in range(16):
        c[k] = math.log(k**k / math.factorial(k) * math.exp(-k))
    inv = 1 / x[16:] ** 2
    series = 1 / 12 - inv * (1 / 360 - inv * (1 / 1260 - inv * (1 / 1680 - inv / 1188)))
    c[16:] = -series / x[16:] - 0.5 * np.log(2 * math.pi * x[16:])
    return x, c, c.tolist()


def poisson(n: int, means: Floats) -> tuple[Floats, Floats]:
    """Deviances and log Poisson weights, each (means x 0..n)."""
    x, c, _ = log_factors(n)
    m = means[:, None]
    if not means.all():
        m = np.where(m == 0, 1.0, m)
    away = x - m
    ratio = away / m
    ratio[:, 0] = 0.0  # x = 0: the term is 0 * log(0) = 0
    deviance = x * np.log1p(ratio)
    deviance -= away
    if not means.all():
        deviance[means == 0] = np.where(x == 0, 0.0, np.inf)
    return deviance, c - deviance


def whole_ratio(shares: Sequence[Share]) -> tuple[int, ...] | None:
    """The shares as the smallest whole numbers, or None for a ratio without such."""
    exact = []
    for s in shares:
        f = Fraction(s)
        if isinstance(s, float):
            f = f.limit_denominator(100_000)
            if float(f) != s:
                return None
        exact.append(f)
    scale = math.lcm(*(f.denominator for f in exact))
    whole = [int(f.numerator) * (scale // f.denominator) for f in exact]
    common = math.gcd(*whole)
    return tuple(w // common for w in whole)


def all_outcomes(
    n: int,
    shares: Sequence[Share],
    order: str,
    rival: Sequence[Share] | None = None,
) -> Outcomes:
    """The statistic from `shares`, the weights from `rival` (or `shares`)."""
    expected = np.array([float(s) for s in shares])
    expected *= n / expected.sum()
    means = expected
    if rival is not None:
        means = np.array([float(s) for s in rival])
        means *= n / means.sum()
    deviance, log_weights = poisson(n, means)
    log_total = float(log_factors(n)[1][n])
    whole, spread, shift = False, 1.0, 0.0
    table: Array
    if order == "pearson":
        ratio = whole_ratio(shares)
        if ratio and n * n * math.lcm(*ratio) < 1 << 60:
            table, spread, shift = _whole_table(n, ratio)
            whole = True
        else:
            table = (np.arange(n + 1) - expected[:, None]) ** 2 / expected[:, None]
    elif order == "probability":
        table, spread = -log_weights, 0.5
    else:
        table = 2 * np.maximum(deviance, 0)
    return Outcomes(n, expected, means, log_weights, log_total, table, whole, spread, shift)


def _whole_table(n: int, ratio: Sequence[int]) -> tuple[Array, float, float]:
    """Pearson's statistic as whole numbers without common factor; its spread and shift.

    X2 + n = sum x_i^2 / (n p_i), so with c_i = lcm / part_i the sum of c_i x_i^2 is whole.
    Between outcomes it differs by multiples of `step`, and so does c_i x^2 - c x for any
    odd multiple c of the least c_i; the one that centres the table keeps numbers small.
    """
    common, total = math.lcm(*ratio), sum(ratio)
    factors = [common // part for part in ratio]
    least = min(factors)
    step = math.gcd(2 * least, *(f - least for f in factors))
    slope = least * (2 * round(n * common / (total * least)) + 1)
    x = np.arange(n + 1)
    table = (np.array(factors)[:, None] * (x * x) - slope * x) // step
    return table, n * common / (total * step), slope * n / step


# --- transforms -------------------------------------------------------------


def _reach(space: Outcomes) -> tuple[float, float]:
    """Range of the statistic that holds all but a negligible mass (Chernoff's bound)."""
    values = space.table / space.spread
    start = values.min(axis=1, keepdims=True)
    values = values - start
    kept = space.log_weights > ALIASED + space.log_total
    log_weights = np.where(kept, space.log_weights, -np.inf)
    bounds = [math.inf, 0.0]
    for side, tilts in ((0, TILTS), (1, (-0.05, -0.2, -1.0, -5.0))):
        for u in tilts:
            log_terms = log_weights + u * values
            peak = log_terms.max(axis=1)
            log_mean = float((peak + np.log(np.exp(log_terms - peak[:, None]).sum(axis=1))).sum())
            edge = (log_mean - space.log_total - ALIASED) / u
            bounds[side] = min(bounds[0], edge) if side == 0 else max(bounds[1], edge)
    base = float(start.sum())
    return (base + bounds[1]) * space.spread, (base + bounds[0]) * space.spread


def _fast_length(size: float) -> int:
    """Least even length of small prime factors, not below `size`: quick to transform."""
    good = (2**a * 3**b * 5**c for a in range(1, 40) for b in range(4) for c in range(3))
    return min(g for g in good if g >= size)


class _Transform:
    """E[exp(i a T); total = n] / P(total = n) for a set of angles a.

    Equal classes are transformed once and raised to their number. The total is
    picked by a discrete Fourier transform over counts, long enough that totals
    it confuses with n have no weight.
    """

    def __init__(self, space: Outcomes):
        self.space = space
        n = space.n
        total = poisson(2 * n + 200, np.array([float(n)]))[1][0] - space.log_total
        far = np.flatnonzero(total > ALIASED)
        self.length = _fast_length(max(far[-1] - n, n - far[0]) + 1)
        rows = np.column_stack([space.means, space.table[:, -1].astype(float)])
        _, first, number = np.unique(rows, axis=0, return_index=True, return_counts=True)
        self.groups: list[tuple[Array, Floats, int]] = []
        target = n
        for i, times in zip(first, number, strict=True):
            x = np.flatnonzero(space.log_weights[i] > ALIASED + space.log_total)
            low, high = int(x[0]), min(int(x[-1]) + 1, int(x[0]) + self.length)
            self.groups.append(
                (space.table[i, low:high], np.exp(space.log_weights[i, low:high]), int(times))
            )
            target -= low * int(times)
        turn = np.arange(self.length) * (target % self.length) % self.length
        self.pick = np.exp(2j * math.pi * turn / self.length) / self.length
        self.pick /= math.exp(space.log_total)

    def __call__(self, angles: Array, period: int = 0) -> Array:
        """Angles in radians; with a `period`, in steps of 2 pi / period, kept exact."""
        out = np.empty(len(angles), complex)
        roots = np.exp(2j * math.pi * np.arange(period) / period) if period else None
        block = max(1, BLOCK // self.length)
        for i in range(0, len(angles), block):
            part = angles[i : i + block, None]
            product: Array = np.ones(1)
            for values, weights, times in self.groups:
                if roots is not None:
                    waves = roots[part * (values % period) % period]
                else:
                    waves = np.exp(1j * part * values)
                factor = _power(np.fft.fft(waves * weights, self.length, axis=1), times)
                product = product * factor
            # Not `@`: several threads of BLAS get in each other's way on pieces this small.
            out[i : i + block] = np.einsum("ij,j->i", product, self.pick)
        return out


def _power(base: Array, times: int) -> Array:
    """base ** times by repeated squaring (numpy's complex power is slow)."""
    result = base.copy()
    for bit in f"{times:b}"[1:]:
        result *= result
        if bit == "1":
            result *= base
    return result


def lattice_tail(space: Outcomes, reached: int, most_cells: float = MOST_CELLS) -> Tail | None:
    """P(T >= reached) for a whole table; None if it would visit more than `most_cells`."""
    low, high = (math.floor(v) for v in _reach(space))
    if reached > high + 1:
        return Tail(0.0, math.exp(ALIASED))
    period = _fast_length(high - low + 2)
    transform = _Transform(space)
    if 0.5 * period * transform.length * len(transform.groups) > most_cells:
        return None
    waves = transform(np.arange(period // 2 + 1), period)
    # The transform has exp(+i a T), numpy's inverse expects exp(-i a T): conjugate.
    chances = np.roll(np.fft.irfft(waves.conj(), period), -(low % period))
    tail = float(chances[max(reached - low, 0) :].sum())
    return Tail(min(max(tail, 0.0), 1.0), 1e-14)


def inverted_tail(space: Outcomes, at: float, atom: float = 0.0) -> Tail:
    """P(T >= at) = 1/2 + atom/2 + 1/pi * integral of Im(exp(-i a at) E exp(i a T)) / a.

    The midpoint rule is exact but for the mass beyond one period of T; stopping at a
    largest angle is what costs digits. The error is the mass `atom` that sits at `at`
    itself, and twice the spread over the stopping points from an eighth of it on: the
    transform has peaks far out, so that the last ones may agree by chance. Nothing
    proves more than ten digits, so the error is never less than that.
    """
    low, high = _reach(space)
    if at > high:
        return Tail(0.0, math.exp(ALIASED))
    gain = atom / 2
    if space.whole:  # a lattice seen from afar: half a step below `at` stands for the atom
        at, gain = at - 0.5, 0.0
        atom = 0.4 / (space.spread * math.sqrt(2 * len(space.means) - 2))  # the mass of a step
    transform = _Transform(space)
    step = 2 * math.pi / (1.05 * max(high - low, at - low, 1.0))
    cells = transform.length * len(transform.groups)
    most = min(LAST_ANGLE / space.spread, MOST_CELLS / 10 / cells * step)
    angles = (np.arange(max(64, math.ceil(most / step))) + 0.5) * step
    terms = np.imag(np.exp(-1j * angles * at) * transform(angles)) / angles
    partial = 0.5 + np.cumsum(terms) * step / math.pi
    error = 2 * float(np.ptp(partial[len(partial) // 8 :])) + atom + UNPROVED
    return Tail(min(max(float(partial[-1]) + gain, 0.0), 1.0), error)
