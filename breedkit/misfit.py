"""How far counts are from what a ratio expects: Pearson's chi-square and G.

Both are sums over classes of something that is 0 where counted equals expected. In large
families they follow the chi-square distribution if the ratio holds, with one degree of
freedom less than there are classes that can occur. Over several families the figures add
up; what the pooled counts do not explain is heterogeneity between families.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaincc

from breedkit.counting import Ratio


@dataclass(frozen=True)
class Misfit:
    """One test: `statistic`, degrees of freedom `df`, `pvalue`, and its `error` if inexact."""

    statistic: float
    df: int
    pvalue: float
    error: float = 0.0


def chi_square_tail(statistic: float, df: int) -> float:
    """Chance that a chi-square with `df` degrees of freedom reaches `statistic`."""
    half = max(statistic, 0.0) / 2
    if df == 0:
        return 0.0 if half else 1.0
    if df == 1:
        return math.erfc(math.sqrt(half))
    if df == 2:
        return math.exp(-half)
    return float(gammaincc(df / 2, half))


def pearson_misfit(seen: Sequence[int], ratio: Ratio) -> Misfit:
    """Pearson's chi-square; without limit if a plant is where the ratio allows none."""
    n, statistic = sum(seen), 0.0
    for x, share in zip(seen, ratio.shares, strict=True):
        e = n * float(share)
        if share:
            statistic += (x - e) ** 2 / e if n else 0.0
        elif x:
            statistic = math.inf
    return Misfit(statistic, ratio.df, chi_square_tail(statistic, ratio.df))


def g_misfit(seen: Sequence[int], ratio: Ratio) -> Misfit:
    """G = 2 sum x log(x/e), summed as x log(x/e) - (x - e), so that nothing cancels."""
    n, statistic = sum(seen), 0.0
    for x, share in zip(seen, ratio.shares, strict=True):
        e = n * float(share)
        if not x:
            statistic += 2 * e
        elif share:
            statistic += 2 * max(x * math.log1p((x - e) / e) - (x - e), 0.0)
        else:
            statistic = math.inf
    return Misfit(statistic, ratio.df, chi_square_tail(statistic, ratio.df))


def chance_of(seen: Sequence[int], ratio: Ratio) -> float:
    """The multinomial chance of just these counts."""
    log = math.lgamma(sum(seen) + 1)
    for x, share in zip(seen, ratio.shares, strict=True):
        if x and not share:
            return 0.0
        log += x * math.log(share) - math.lgamma(x + 1) if x else 0.0
    return math.exp(log)


# --- several families -------------------------------------------------------


@dataclass(frozen=True)
class Partition:
    """A total misfit, the part seen in the pooled counts, and the part between families."""

    total: Misfit
    pooled: Misfit
    heterogeneity: Misfit


def partition(
    misfit: Callable[[Sequence[int], Ratio], Misfit], counts: NDArray[np.int64], ratio: Ratio
) -> Partition:
    """Total over the rows of `counts`, pooled, and their difference.

    If a plant is where the ratio allows none, total and pooled have no limit, and the
    contingency chi-square stands for the difference.
    """
    families = int(counts.any(axis=1).sum())
    pooled = misfit(counts.sum(axis=0).tolist(), ratio)
    statistic, df = sum(misfit(row, ratio).statistic for row in counts.tolist()), ratio.df
    total = Misfit(statistic, families * df, chi_square_tail(statistic, families * df))
    if statistic == math.inf:
        return Partition(total, pooled, contingency(counts))
    df *= max(families - 1, 0)
    rest = statistic - pooled.statistic if df else 0.0
    return Partition(total, pooled, Misfit(rest, df, chi_square_tail(rest, df)))


def contingency(counts: NDArray[np.int64]) -> Misfit:
    """Pearson's chi-square of families by classes, empty rows and columns left out."""
    table = counts[counts.any(axis=1)][:, counts.any(axis=0)]
    if min(table.shape) < 2:
        return Misfit(0.0, 0, 1.0)
    expected = np.outer(table.sum(axis=1), table.sum(axis=0)) / table.sum()
    statistic = float(((table - expected) ** 2 / expected).sum())
    df = (table.shape[0] - 1) * (table.shape[1] - 1)
    return Misfit(statistic, df, chi_square_tail(statistic, df))
