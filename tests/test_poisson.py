"""Weights, the lattice and the inversion against closed forms and the nested sums."""

from __future__ import annotations

import math
from fractions import Fraction

import numpy as np
import pytest
from scipy.stats import poisson as scipy_poisson

from breedkit.multinomial import exact_pvalue
from breedkit.poisson import (
    all_outcomes,
    inverted_tail,
    lattice_tail,
    log_factors,
    poisson,
    whole_ratio,
)


def misfit_reached(space, counts):
    return space.table[np.arange(len(counts)), counts].sum()


def test_log_factors_against_exact_integers():
    x, c, listed = log_factors(400)
    for k in (0, 1, 2, 15, 16, 17, 60, 140):
        exact = math.log(Fraction(k**k, math.factorial(k))) - k
        assert c[k] == pytest.approx(exact, rel=0, abs=4e-14)
        assert listed[k] == c[k]
    assert len(x) == len(c) == 401


def test_poisson_weights_against_scipy():
    means = np.array([0.3, 5.0, 120.0])
    _, log_weights = poisson(150, means)
    for row, mean in zip(log_weights, means, strict=True):
        assert row == pytest.approx(
            scipy_poisson.logpmf(np.arange(151), mean), rel=1e-11, abs=1e-11
        )


def test_a_mean_of_zero_allows_no_plant():
    _, log_weights = poisson(3, np.array([0.0, 1.0]))
    assert log_weights[0].tolist() == [0.0, -math.inf, -math.inf, -math.inf]


@pytest.mark.parametrize(
    "shares, whole",
    [
        ([Fraction(9, 16), Fraction(7, 16)], (9, 7)),
        ([0.25, 0.5, 0.25], (1, 2, 1)),
        ([1 / 3, 2 / 3], (1, 2)),
        ([18, 6, 6, 2], (9, 3, 3, 1)),
        ([math.pi, 1.0], None),
    ],
)
def test_whole_ratio(shares, whole):
    assert whole_ratio(shares) == whole


@pytest.mark.parametrize(
    "ratio", [(9, 3, 3, 1), (1, 1, 1), (1, 4, 6, 4, 1), (27, 9, 28), (1, 2, 1)]
)
def test_the_whole_table_is_pearsons_statistic(ratio):
    rng = np.random.default_rng(3)
    n = 50
    space = all_outcomes(n, ratio, "pearson")
    p = np.array(ratio) / sum(ratio)
    assert space.whole
    assert space.table.dtype == np.int64
    seen = set()
    for counts in rng.multinomial(n, p, size=200):
        value = int(misfit_reached(space, counts))
        pearson = ((counts - n * p) ** 2 / (n * p)).sum()
        assert (value + space.shift) / space.spread - n == pytest.approx(pearson, abs=1e-9)
        seen.add(value)
    assert math.gcd(*(v - min(seen) for v in seen)) == 1  # no finer than it needs to be


def test_lattice_agrees_with_nested_sums():
    rng = np.random.default_rng(7)
    for ratio in ((1, 2, 1), (9, 3, 3, 1), (1, 4, 6, 4, 1), (3, 6, 3, 1, 2, 1)):
        for n in (1, 6, 40, 90):
            counts = rng.multinomial(n, np.array(ratio) / sum(ratio))
            space = all_outcomes(n, ratio, "pearson")
            lattice = lattice_tail(space, int(misfit_reached(space, counts)))
            nested = exact_pvalue(counts.tolist(), ratio, "pearson")
            assert lattice.pvalue == pytest.approx(nested.pvalue, abs=1e-13)


def test_the_lattice_gives_up_where_it_is_too_fine():
    space = all_outcomes(50, (9, 3, 3, 1), "pearson")
    assert lattice_tail(space, 0, most_cells=10) is None


@pytest.mark.parametrize("order", ["likelihood ratio", "pearson", "probability"])
@pytest.mark.parametrize("ratio", [(1, 4, 6, 4, 1), (27, 9, 9, 9, 3, 3, 3, 1)])
def test_the_error_of_the_inversion_is_honest(order, ratio):
    rng = np.random.default_rng(11)
    for _ in range(4):
        counts = rng.multinomial(90, np.array(ratio) / sum(ratio))
        space = all_outcomes(90, ratio, order)
        inverted = inverted_tail(space, float(misfit_reached(space, counts)))
        exact = exact_pvalue(counts.tolist(), ratio, order)
        assert abs(inverted.pvalue - exact.pvalue) <= inverted.error
        assert inverted.error < 0.05
        if order == "pearson":  # half a step of the lattice brings it far closer than a step
            assert abs(inverted.pvalue - exact.pvalue) <= inverted.error / 10


def test_the_inversion_knows_what_is_out_of_reach():
    space = all_outcomes(100, (1, 1, 1, 1, 1), "likelihood ratio")
    tail = inverted_tail(space, 300.0)
    assert tail.pvalue == 0
    assert tail.error < 1e-15
