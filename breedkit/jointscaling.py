"""Joint scaling: weighted least squares of generation means, and how far it may be trusted.

With n plants and variance s^2 a generation's mean y weighs w = n / s^2. The parameters b of
the expected means X b (columns: `design`) and the misfit are

    b = (X' W X)^-1 X' W y,    chi-square = sum of w (y - X b)^2

on as many degrees of freedom as there are generations beyond the parameters (Cavalli 1952,
from memory). Each variance comes from a few plants, so that a chi-square distribution calls
10 % of true models wrong at the 5 % level with 10 plants a generation; Welch's F instead keeps
to 5 %. Intervals of sums of means use Student's t with Satterthwaite's degrees of freedom.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import chdtrc, fdtrc, stdtr, stdtrit

from breedkit.errors import FitError, ModelError
from breedkit.generations import Generation, Generations
from breedkit.results import number

if TYPE_CHECKING:
    import pandas as pd

PARAMETERS = ("m", "[d]", "[h]", "[i]", "[j]", "[l]")
FEWEST_FOR_VARIANCE = 5  # plants below which a generation's own variance is no weight


@dataclass(frozen=True)
class Contrast:
    """A weighted sum of generation means, with its error and Satterthwaite's df."""

    value: float
    error: float
    df: float

    def interval(self, level: float = 0.95) -> pd.Series:
        """The 'low' and 'high' end of a confidence interval."""
        import pandas as pd

        wide = students_t(self.df, level) * self.error
        return pd.Series({"low": self.value - wide, "high": self.value + wide})

    @property
    def pvalue(self) -> float:
        """Chance of a value this far from 0 or farther, if it is truly 0."""
        return float(2 * stdtr(self.df, -abs(self.value) / self.error))


@dataclass(frozen=True, eq=False)
class JointFit:
    """One joint fit of the generation means.

    Attributes
    ----------
    parameters : name -> `Contrast`. covariance : of the parameters. fitted : the means.
    chi_square, df : of the misfit. pvalue : chance of a misfit this large or larger if the
        model holds, with the variances known only from these plants. large_sample : the same
        by the chi-square distribution. Both are not a number where df is 0.
    """

    parameters: Mapping[str, Contrast]
    covariance: np.ndarray
    fitted: np.ndarray
    chi_square: float
    df: int
    pvalue: float
    large_sample: float


def design(generations: tuple[Generation, ...], parameters: int) -> np.ndarray:
    """Coefficients of m, [d], [h] (and [i], [j], [l]), shape (generations, parameters)."""
    d = np.array([float(g.d) for g in generations])
    h = np.array([float(g.h) for g in generations])
    columns = (np.ones_like(d), d, h, d * d, d * h, h * h)
    return np.stack(columns[:parameters], axis=1)


def squared_errors(
    generations: tuple[Generation, ...], scale: str
) -> tuple[np.ndarray, tuple[str, ...]]:
    """Variance of each generation's mean, s^2 / n, and the roles that borrowed their s^2.

    A variance of 0 or from fewer than five plants would give a weight without limit or by
    luck; such generations take the common variance of their like (plants all of one genotype,
    or segregating), else of all.

    Raises
    ------
    FitError
        if no two plants of a generation differ.
    """
    own = np.array([g.variance(scale) for g in generations])
    n = np.array([g.n for g in generations])
    poor = (n < FEWEST_FOR_VARIANCE) | ~(own > 0)
    freedom = n - 1
    squares = np.where(n > 1, own, 0) * freedom
    uniform = np.array([g.uniform for g in generations])
    if not squares.sum() > 0:
        raise FitError(
            "Within each generation all plants are alike, so nothing tells chance from genes.\n"
            "Score more plants, or more finely."
        )
    for i in np.flatnonzero(poor):
        like = uniform == uniform[i]
        pool = like if squares[like].sum() > 0 else np.ones_like(like)
        own[i] = squares[pool].sum() / freedom[pool].sum()
    return own / n, tuple(g.role for g, p in zip(generations, poor, strict=True) if p)


def joint_fit(
    generations: tuple[Generation, ...], scale: str, squared: np.ndarray, parameters: int
) -> JointFit:
    """Weighted least squares of the generation means on the first `parameters` of m ... [l].

    Raises
    ------
    FitError
        if the generations do not tell the parameters apart.
    """
    x = design(generations, parameters)
    if np.linalg.matrix_rank(x) < parameters:
        raise FitError(
            "These generations do not tell addition from dominance.\n"
            "It takes three kinds, such as both parents and the F1 or F2."
        )
    y = np.array([g.mean(scale) for g in generations])
    root = 1 / np.sqrt(squared)
    q, r = np.linalg.qr(x * root[:, None])
    solve = np.linalg.solve(r, q.T) * root  # parameters as weighted sums of the means
    b = solve @ y
    freedom = np.array([max(g.n - 1, 1) for g in generations])
    terms = solve**2 * squared
    df = terms.sum(1) ** 2 / (terms**2 / freedom).sum(1)
    fitted = x @ b
    chi = float((((y - fitted) * root) ** 2).sum())
    left = len(generations) - parameters
    chi = chi if left else 0.0
    small = _welch_james(chi, left, 1 - (q**2).sum(1), freedom) if left else float("nan")
    return JointFit(
        {
            name: Contrast(float(v), float(e), float(f))
            for name, v, e, f in zip(PARAMETERS, b, np.sqrt(terms.sum(1)), df, strict=False)
        },
        (solve * squared) @ solve.T,
        fitted,
        chi,
        left,
        small,
        float(chdtrc(left, chi)) if left else float("nan"),
    )


def _welch_james(chi: float, df: int, free: np.ndarray, freedom: np.ndarray) -> float:
    """The chance of a chi-square this large or larger whose weights come from few plants.

    `free` is the part of each mean that the parameters leave over, 1 - leverage. With
    A = sum of free^2 / freedom, chi / (df + 2 A - 6 A / (df + 2)) is near to Fisher's F on
    df and df (df + 2) / 3 A degrees of freedom (Welch 1951; Johansen 1980, from memory).
    """
    a = float((free**2 / freedom).sum())
    return float(fdtrc(df, df * (df + 2) / (3 * a), chi / (df + 2 * a - 6 * a / (df + 2))))


def contrast(
    generations: Generations, weights: Mapping[str, float], scale: str, squared: np.ndarray
) -> Contrast:
    w = np.array([weights.get(g.role, 0) for g in generations.all], dtype=float)
    y = np.array([g.mean(scale) for g in generations.all])
    freedom = np.array([max(g.n - 1, 1) for g in generations.all])
    terms = w**2 * squared
    df = terms.sum() ** 2 / (terms**2 / freedom).sum()
    return Contrast(float(w @ y), float(np.sqrt(terms.sum())), float(df))


def students_t(df: float, level: float) -> float:
    """Student's t that leaves 1 - `level` outside, half on either side."""
    if not 0 < level < 1:
        raise ModelError(f"A level lies between 0 and 1; {number(float(level))} does not.")
    return float(stdtrit(df, (1 + level) / 2))
