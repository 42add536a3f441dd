"""Chi-square tails and the two statistics, against scipy and by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import chi2, multinomial

from breedkit.counting import read_ratio
from breedkit.misfit import (
    chance_of,
    chi_square_tail,
    contingency,
    g_misfit,
    partition,
    pearson_misfit,
)


@pytest.mark.parametrize("df", [1, 2, 3, 8, 26])
def test_chi_square_tails_against_scipy(df):
    for statistic in (0.0, 1e-12, 0.47, 3.84, 30.0, 500.0):
        assert chi_square_tail(statistic, df) == pytest.approx(chi2.sf(statistic, df), rel=1e-12)
    assert chi_square_tail(math.inf, df) == 0


def test_without_a_degree_of_freedom_only_a_perfect_fit_will_do():
    assert chi_square_tail(0, 0) == 1
    assert chi_square_tail(0.1, 0) == 0


def test_by_hand():
    ratio = read_ratio("1:1")
    # (12 - 10)^2 / 10 + (8 - 10)^2 / 10 = 0.8; G = 2 (12 log 1.2 + 8 log 0.8).
    assert pearson_misfit([12, 8], ratio).statistic == pytest.approx(0.8, rel=1e-15)
    g = 2 * (12 * math.log(1.2) + 8 * math.log(0.8))
    assert g_misfit([12, 8], ratio).statistic == pytest.approx(g, rel=1e-14)
    assert g_misfit([20, 0], ratio).statistic == pytest.approx(40 * math.log(2), rel=1e-15)
    assert pearson_misfit([0, 0], ratio).statistic == g_misfit([0, 0], ratio).statistic == 0


def test_chance_of_just_these_counts_against_scipy():
    ratio = read_ratio("9:3:3:1")
    expected = multinomial.pmf([20, 9, 7, 4], 40, np.array([9, 3, 3, 1]) / 16)
    assert chance_of([20, 9, 7, 4], ratio) == pytest.approx(expected, rel=1e-11)
    assert chance_of([1, 1], read_ratio("1:0")) == 0
    assert chance_of([2, 0], read_ratio("1:0")) == 1


def test_empty_families_and_classes_have_no_say():
    counts = np.array([[10, 5, 0], [0, 0, 0], [7, 9, 0]])
    assert contingency(counts).df == 1
    parts = partition(pearson_misfit, counts, read_ratio("1:1:1"))
    assert (parts.total.df, parts.pooled.df, parts.heterogeneity.df) == (4, 2, 2)
    assert contingency(np.array([[3, 1]])).df == 0
