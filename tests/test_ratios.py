"""Tests of one family and of several, against published counts and scipy.

Each published case has its source and its standing: "seen" where the printed page was
compared, "memory" where the printed value is from memory and was recomputed, "derived" where
nothing is printed and the number was computed here by the exact binomial or by enumeration.
"""

from __future__ import annotations

import math
from fractions import Fraction

import numpy as np
import pandas as pd
import pytest
from matplotlib.figure import Figure
from scipy.stats import chi2_contingency, chisquare, power_divergence

import breedkit
from breedkit import canvas
from breedkit.errors import ModelError, TableError
from breedkit.ratios import heterogeneity_test, ratio_test

HOSTILE = [
    "<img src=x onerror=alert(1)>",
    "=cmd()",
    "$x$",
    "\u202eevil",
    "🌶️ hot",
    "x" * 10_000,
    "a\nb",
    "'\"&",
]

# Mendel 1866; Bateson's translation in "Mendel's Principles of Heredity: A Defence" (1902),
# pp. 52-54 (counts and ratios seen); chi-square to three digits as in Fisher 1936 (memory).
MENDEL_F2 = {
    "seed form": (5474, 1850, 2.96, 0.263),
    "albumen colour": (6022, 2001, 3.01, 0.015),
    "seed coat and flower": (705, 224, 3.15, 0.391),
    "pod form": (882, 299, 2.95, 0.064),
    "unripe pod colour": (428, 152, 2.82, 0.451),
    "flower position": (651, 207, 3.14, 0.350),
    "stem length": (787, 277, 2.84, 0.607),
}

# counts, ratio, printed chi-square, half a unit of its last digit, printed chance or None.
PUBLISHED = {
    # Mendel 1866, F3 of seed characters, 1:2; Fisher 1936 Table V prints the sum (memory).
    "F3 seed form": ([193, 372], "1:2", 0.176, 5e-3, None),
    # Cardosa et al. 1993, Cucurbit Genet. Coop. Rep. 16:68-69, Table 1, backcross (seen).
    "squash backcross": ([90, 95], "1:1", 0.135, 5e-4, None),
    # Mendel 1866, 9:3:3:1 (seen); G and both chances recomputed.
    "peas, two traits": ([315, 101, 108, 32], "9:3:3:1", 0.470, 5e-4, 0.925),
    # Mendel 1866, progeny test of 529 plants (German text); Fisher 1936 Table V (memory).
    "peas, 9 classes": (
        [38, 35, 28, 30, 65, 68, 60, 67, 138],
        "1:1:1:1:2:2:2:2:4",
        2.811,
        5e-4,
        None,
    ),
    # MacArthur 1931, tomato tall/dwarf x cut/potato leaf, as in textbooks (memory).
    "tomato, two traits": ([926, 288, 293, 104], "9:3:3:1", 1.469, 5e-4, 0.69),
}


# --- published: one family --------------------------------------------------


@pytest.mark.parametrize("trait", MENDEL_F2)
def test_mendels_seven_traits(trait):
    dominant, recessive, printed_ratio, printed = MENDEL_F2[trait]
    test = ratio_test([dominant, recessive], "3:1")
    assert dominant / recessive == pytest.approx(printed_ratio, abs=5e-3)
    assert test.pearson.statistic == pytest.approx(printed, abs=5e-4)
    assert "is compatible with 3:1" in test.verdict


@pytest.mark.parametrize("case", PUBLISHED)
def test_published_chi_squares(case):
    counts, ratio, printed, half_unit, printed_chance = PUBLISHED[case]
    test = ratio_test(counts, ratio)
    assert test.pearson.statistic == pytest.approx(printed, abs=half_unit)
    if printed_chance is not None:
        assert test.pearson.pvalue == pytest.approx(printed_chance, abs=5e-3)


def test_f3_of_seed_characters_adds_up():
    # Mendel 1866, Bateson p. 55 (counts seen); the sum 0.5983 in Fisher 1936 Table V (memory).
    families = heterogeneity_test([[193, 372], [166, 353]], "1:2")
    assert families.total.statistic == pytest.approx(0.5983, abs=5e-5)
    assert pytest.approx(1.93, abs=5e-3) == 372 / 193
    assert pytest.approx(2.13, abs=5e-3) == 353 / 166


def test_a_printed_chi_square_that_is_wrong():
    # Cardosa et al. 1993 print 0.014 and P > 0.99 for this F2 (seen): the arithmetic beats it.
    test = ratio_test([283, 96], "3:1")
    assert test.pearson.statistic == pytest.approx(0.021987687, abs=5e-10)
    assert test.pearson.pvalue == pytest.approx(0.88211986, abs=5e-9)


def test_two_traits_exactly():
    # Mendel 1866 (seen); the exact chances by summing all 28,956,759 tables (derived).
    counts = [315, 101, 108, 32]
    test = ratio_test(counts, "9:3:3:1")
    assert (round(test.pearson.statistic, 4), round(test.pearson.pvalue, 4)) == (0.4700, 0.9254)
    assert (round(test.g.statistic, 4), round(test.g.pvalue, 4)) == (0.4754, 0.9243)
    by_g, by_pearson, by_probability = (
        ratio_test(counts, "9:3:3:1", order=order).exact
        for order in ("likelihood ratio", "pearson", "probability")
    )
    assert by_g.pvalue == pytest.approx(0.926132142676992, rel=0, abs=1e-12)
    assert by_pearson.pvalue == pytest.approx(0.92719147252, rel=0, abs=1e-11)
    assert by_probability.pvalue == pytest.approx(0.938222024615459, rel=0, abs=1e-12)
    assert by_g.statistic == test.g.statistic
    assert by_pearson.statistic == test.pearson.statistic


def test_27_classes():
    # Mendel 1866, trifactorial table; 15.3224 in Fisher 1936 Table V (memory).
    counts = [8, 14, 9, 11, 8, 10, 10, 7]
    counts += [22, 17, 25, 20, 15, 18, 19, 24, 14, 18, 20, 16, 45, 36, 38, 40, 49, 48, 78]
    test = ratio_test(counts, [1] * 8 + [2] * 12 + [4] * 6 + [8], order="pearson")
    assert test.n == 639
    assert test.pearson.statistic == pytest.approx(15.3224, abs=5e-5)
    assert test.pearson.pvalue == pytest.approx(0.95114984, abs=5e-9)
    assert test.exact.pvalue == pytest.approx(0.951575660979778, rel=0, abs=1e-12)


def test_complementary_genes_of_the_sweet_pea():
    # Bateson, Saunders & Punnett 1906, F2 of white x white (counts from memory; no printed
    # chi-square is claimed): 9:7 fits, neither 3:1 nor 1:1 does.
    fits = ratio_test([382, 269], "9:7")
    assert fits.pearson.statistic == pytest.approx(1.5607003, abs=5e-8)
    assert fits.pearson.pvalue == pytest.approx(0.21156272, abs=5e-9)
    assert "is compatible with 9:7" in fits.verdict
    for ratio, statistic, chance in (
        ("3:1", 92.485919, 6.7805503e-22),
        ("1:1", 19.614439, 9.4750418e-06),
    ):
        wrong = ratio_test([382, 269], ratio)
        assert wrong.pearson.statistic == pytest.approx(statistic, rel=1e-7)
        assert wrong.pearson.pvalue == pytest.approx(chance, rel=1e-7)
        assert f"does not fit {ratio}" in wrong.verdict


def test_duplicate_genes_of_shepherds_purse():
    # Shull 1914 (counts from memory, low confidence): 15:1 fits, neither 3:1 nor 63:1 does.
    for ratio, statistic, chance in (
        ("15:1", 0.030168698, 0.86210801),
        ("3:1", 511.94693, 2.3912254e-113),
        ("63:1", 373.49588, 3.2437102e-83),
    ):
        test = ratio_test([2540, 167], ratio)
        assert test.pearson.statistic == pytest.approx(statistic, rel=1e-7)
        assert test.pearson.pvalue == pytest.approx(chance, rel=1e-7)
        assert ("compatible" in test.verdict) == (ratio == "15:1")


def test_a_small_family():
    # No publication (derived): 12:8 against 3:1.
    test = ratio_test([12, 8], "3:1", order="probability")
    assert test.pearson.statistic == pytest.approx(2.4, rel=1e-14)
    assert test.pearson.pvalue == pytest.approx(0.12133525, abs=5e-9)
    assert test.exact.pvalue == pytest.approx(0.12612448, abs=5e-9)


# --- published: several families --------------------------------------------


def test_mendels_seven_traits_together():
    # Sum 2.1389, P 0.9518 and ratio 2.98 printed (seen); the parts recomputed.
    test = heterogeneity_test({k: v[:2] for k, v in MENDEL_F2.items()}, "3:1")
    assert test.total.statistic == pytest.approx(2.139, abs=5e-4)
    assert test.total.df == 7
    assert test.total.pvalue == pytest.approx(0.9518, abs=5e-5)
    assert test.counts.sum(axis=0).tolist() == [14949, 5010]
    assert test.pooled.statistic == pytest.approx(0.10957463, abs=5e-9)
    assert test.heterogeneity.statistic == pytest.approx(2.0292935, abs=5e-8)
    assert test.heterogeneity.df == 6
    assert test.heterogeneity.pvalue == pytest.approx(0.91698485, abs=5e-9)


def test_variation_between_plants():
    # Mendel 1866, ten plants of each of two experiments (Bateson p. 53, seen); the sum 12.487
    # on 20 degrees of freedom in Fisher 1936 Table V (memory).
    form = [45, 12, 27, 8, 24, 7, 19, 10, 32, 11, 26, 6, 88, 24, 22, 10, 28, 6, 25, 7]
    colour = [25, 11, 32, 7, 14, 5, 70, 27, 24, 13, 20, 6, 32, 13, 44, 9, 50, 14, 44, 18]
    tests = [
        heterogeneity_test(np.array(counts).reshape(10, 2), "3:1") for counts in (form, colour)
    ]
    assert sum(t.total.statistic for t in tests) == pytest.approx(12.487, abs=5e-4)
    assert [t.heterogeneity.df for t in tests] == [9, 9]
    recomputed = [(5.2970261, 0.83066362, 4.4663625), (7.1899819, 0.13668061, 7.0533013)]
    for test, parts in zip(tests, recomputed, strict=True):
        found = (test.total, test.pooled, test.heterogeneity)
        assert [m.statistic for m in found] == pytest.approx(list(parts), abs=5e-8)
    assert any("rough" in note for note in tests[1].notes)  # one plant gave 19 seeds


def test_five_testcross_series():
    # Mendel 1866, gametic series; 3.673 on 15 degrees of freedom, Fisher 1936 (memory).
    series = [
        [20, 23, 25, 22],
        [31, 26, 27, 26],
        [25, 19, 22, 21],
        [24, 25, 22, 27],
        [47, 40, 38, 41],
    ]
    test = heterogeneity_test(series, "1:1:1:1")
    assert test.total.statistic == pytest.approx(3.673, abs=5e-4)
    assert test.total.df == 15
    each = [0.57777778, 0.61818182, 0.86206897, 0.53061224, 1.0843373]
    assert [m.statistic for m in test.each] == pytest.approx(each, rel=1e-7)


def test_repeated_g_tests():
    # McDonald, Handbook of Biological Statistics, "Repeated G-tests" (counts seen; Guttman
    # et al. 1967; printed figures from memory).
    counts = [[168, 174], [132, 195], [167, 204], [162, 212], [143, 194], [153, 174]]
    test = heterogeneity_test(counts, "1:1", statistic="g")
    printed = ((test.total, 31.82, 6), (test.pooled, 25.07, 1), (test.heterogeneity, 6.75, 5))
    for part, statistic, df in printed:
        assert part.statistic == pytest.approx(statistic, abs=5e-3)
        assert part.df == df
    assert test.heterogeneity.pvalue == pytest.approx(0.23987399, abs=5e-9)
    each = [0.10526856, 12.21384, 3.6961684, 6.7045477, 7.7478346, 1.3495524]
    assert [m.statistic for m in test.each] == pytest.approx(each, rel=1e-7)


# --- against scipy ----------------------------------------------------------


def test_large_sample_figures_against_scipy():
    rng = np.random.default_rng(9)
    for ratio in ([3, 1], [1, 2, 1], [9, 3, 3, 1], [1, 4, 6, 4, 1], [12, 3, 1]):
        p = np.array(ratio) / sum(ratio)
        for n in (8, 80, 5000):
            counts = rng.multinomial(n, p)
            test = ratio_test(counts, ratio)
            pearson = chisquare(counts, n * p)
            g = power_divergence(counts, n * p, lambda_="log-likelihood")
            assert test.pearson.statistic == pytest.approx(pearson.statistic, rel=1e-12, abs=1e-12)
            assert test.pearson.pvalue == pytest.approx(pearson.pvalue, rel=1e-11)
            assert test.g.statistic == pytest.approx(g.statistic, rel=1e-8, abs=1e-11)
            assert test.g.pvalue == pytest.approx(g.pvalue, rel=1e-8)


def test_contingency_against_scipy():
    table = [[20, 9, 3], [14, 12, 8], [30, 3, 2]]
    test = heterogeneity_test(table, "2:1:1")
    scipys = chi2_contingency(table, correction=False)
    assert test.contingency.statistic == pytest.approx(scipys.statistic, rel=1e-12)
    assert test.contingency.pvalue == pytest.approx(scipys.pvalue, rel=1e-12)
    # For G the contingency figure is total less pooled; for Pearson's it is another number.
    g = chi2_contingency(table, correction=False, lambda_="log-likelihood")
    assert test.g.heterogeneity.statistic == pytest.approx(g.statistic, rel=1e-12)
    assert abs(test.pearson.heterogeneity.statistic - test.contingency.statistic) > 0.01


def test_g_near_zero_does_not_cancel():
    # x log(x/e) summed plainly loses all digits here; to second order G is Pearson's.
    test = ratio_test([50_001, 49_999], "1:1")
    assert test.g.statistic == pytest.approx(test.pearson.statistic, rel=1e-9)


def test_williams_correction():
    # Sokal & Rohlf, Biometry (memory): q = 1 + (k^2 - 1) / (6 n (k - 1)), k classes.
    plain, corrected = (ratio_test([40, 11, 9, 4], "9:3:3:1", correction=c) for c in (False, True))
    q = 1 + (16 - 1) / (6 * 64 * 3)
    assert corrected.g.statistic == pytest.approx(plain.g.statistic / q, rel=1e-14)
    assert corrected.g.pvalue > plain.g.pvalue
    assert corrected.exact == plain.exact
    assert "Williams' correction" in repr(corrected)
    assert "Williams" not in repr(plain)


# --- laws -------------------------------------------------------------------


def test_relabelling_and_merging():
    test = ratio_test({"p": 40, "q": 11, "r": 9, "s": 4}, {"p": 9, "q": 3, "r": 3, "s": 1})
    turned = ratio_test({"s": 4, "q": 11, "p": 40, "r": 9}, {"r": 3, "s": 1, "q": 3, "p": 9})
    assert turned.exact.pvalue == pytest.approx(test.exact.pvalue, rel=1e-13)
    assert turned.pearson.statistic == pytest.approx(test.pearson.statistic, rel=1e-13)
    merged = ratio_test([51, 13], "12:4")
    assert merged.expected[0] == test.expected[:2].sum()
    assert merged.g.statistic <= test.g.statistic
    assert merged.pearson.statistic <= test.pearson.statistic


def test_residuals_and_expected():
    test = ratio_test([30, 14, 20], "1:1:2")
    assert test.expected.tolist() == [16, 16, 32]
    assert (test.residuals**2).sum() == pytest.approx(test.pearson.statistic, rel=1e-14)
    assert sum(test.shares) == 1
    with pytest.raises(ValueError):
        test.expected[0] = 3


def test_one_family_is_its_own_total():
    alone, among = ratio_test([13, 7], "3:1"), heterogeneity_test([[13, 7]], "3:1")
    assert among.total == among.pooled == alone.pearson
    assert among.heterogeneity.df == 0
    assert "none can differ" in among.verdict
    assert among.exact == alone.exact


def test_families_that_are_alike_and_that_are_not():
    alike = heterogeneity_test([[30, 10], [60, 20], [15, 5]], "3:1")
    assert alike.heterogeneity.statistic == pytest.approx(0, abs=1e-12)
    assert alike.verdict.startswith("No difference between the families was found")
    unlike = heterogeneity_test([[40, 0], [20, 20]], "3:1")
    assert unlike.verdict.startswith("The families differ from each other")
    assert "60:20 is compatible with 3:1" in unlike.verdict


def test_small_families_are_not_said_to_differ_for_certain():
    small = heterogeneity_test([[4, 0], [4, 0], [4, 0], [0, 4]], "3:1")
    assert small.heterogeneity.pvalue < 0.05
    assert small.rough
    assert small.verdict.startswith("The families may differ from each other")
    assert ": roughly 0.00" in small.verdict


# --- few plants, empty and forbidden classes --------------------------------


def test_no_plants():
    test = ratio_test([0, 0], "3:1")
    assert (test.n, test.exact.pvalue, test.pearson.statistic, test.g.statistic) == (0, 1, 0, 0)
    assert test.verdict == "No plants were scored, so nothing can be said about 3:1."
    assert test.residuals.tolist() == [0, 0]
    assert heterogeneity_test([[0, 0], [0, 0]], "3:1").verdict.startswith("No plants")


@pytest.mark.parametrize("counts", [[1, 0], [0, 1], [2, 0], [0, 2]])
def test_too_few_plants_to_tell(counts):
    test = ratio_test(counts, "3:1")
    assert test.too_few
    assert "too few plants to tell anything about 3:1" in test.verdict
    assert "compatible" not in test.verdict


def test_three_plants_can_speak_against_3_to_1():
    assert "does not fit" in ratio_test([0, 3], "3:1").verdict  # chance 1/64
    assert "compatible" in ratio_test([3, 0], "3:1").verdict
    assert ratio_test([5, 0], "1:1").too_few  # 2/32 is more than 0.05
    assert not ratio_test([6, 0], "1:1").too_few


def test_an_empty_class_is_not_a_forbidden_one():
    unseen = ratio_test({"red": 12, "orange": 0}, {"red": 3, "orange": 1})
    assert "No plant in class 'orange', where 3.00 were expected." in unseen.notes
    ruled_out = ratio_test({"red": 12, "orange": 0}, {"red": 1, "orange": 0})
    assert "The ratio rules out class 'orange', and no plant was seen there." in ruled_out.notes
    assert ruled_out.exact.pvalue == 1


def test_plants_in_a_forbidden_class():
    test = ratio_test([5, 3, 1], "1:1:0")
    assert test.exact.pvalue == test.pearson.pvalue == test.g.pvalue == 0
    assert test.pearson.statistic == test.g.statistic == test.residuals[2] == math.inf
    assert test.pearson.df == 1
    assert test.verdict == (
        "5:3:1 does not fit 1:1:0 (9 plants; 1 plant in a class that the ratio rules out)."
    )
    assert any("wrongly scored" in note for note in test.notes)
    families = heterogeneity_test([[5, 3, 1], [4, 4, 0]], "1:1:0")
    assert families.total.statistic == math.inf
    assert families.heterogeneity == families.contingency


def test_tiny_expectations_are_said():
    assert any("go by the exact one" in note for note in ratio_test([7, 1], "3:1").notes)
    assert not any("rough" in note for note in ratio_test([70, 30], "3:1").notes)


def test_a_fit_is_never_called_a_proof():
    test = ratio_test([13, 7], "3:1")
    assert "is compatible with 3:1 (20 plants; chance of a misfit this large or larger" in (
        test.verdict
    )
    also = {fact.label: fact.value for fact in test.facts()}["Also compatible"]
    assert "9:7" in also  # 13:7 does not tell 3:1 from 9:7
    assert "15:1" not in also
    for text in (repr(test), repr(ratio_test([40, 40], "3:1"))):
        assert "proved" not in text.lower()
        assert "probability that" not in text.lower()


def test_an_inexact_chance_says_so():
    rng = np.random.default_rng(2)
    ratio = [1] * 8 + [2] * 12 + [4] * 6 + [8]
    test = ratio_test(rng.multinomial(200, np.array(ratio) / 64), ratio)
    assert test.exact.error > 0
    assert (test.exact.error > 1e-9) == any("numerical integral" in n for n in test.notes)


# --- input ------------------------------------------------------------------


def test_the_same_family_in_every_form():
    expected = ratio_test([44, 16], "3:1").exact.pvalue
    named = {"purple": 44, "white": 16}
    for counts in ((44, 16), np.array([44, 16]), [44.0, 16.0], named, pd.Series(named)):
        for ratio in ("3:1", "6 : 2", "0,75:0.25", [3, 1], [0.75, 0.25], (Fraction(3, 4), 0.25)):
            assert ratio_test(counts, ratio).exact.pvalue == pytest.approx(expected, rel=1e-12)
    by_name = ratio_test({"White ": 16, "PURPLE": 44}, {"purple": 3, "white": 1})
    assert by_name.exact.pvalue == pytest.approx(expected, rel=1e-12)
    assert by_name.classes == ("purple", "white")
    assert by_name.counts == (44, 16)


def test_plants_not_scored_are_left_out_and_said():
    test = ratio_test(pd.Series({"red": 13, "orange": 7, "not scored": 3}), "3:1")
    assert test.n == 20
    assert "Left out because not scored: 3 plants." in test.notes
    frame = pd.DataFrame(
        {"red": [9, 4], "orange": [3, 4], "not scored": [0, 2]}, index=["F2-1", "F2-2"]
    )
    families = heterogeneity_test(frame, {"orange": 1, "red": 3})
    assert families.classes == ("orange", "red")
    assert families.counts.tolist() == [[3, 9], [4, 4]]
    assert families.families == ("F2-1", "F2-2")
    assert "Left out because not scored: 2 plants." in families.notes


def test_bad_choices():
    with pytest.raises(ModelError, match="no order called 'size'"):
        ratio_test([1, 2], "3:1", order="size")
    with pytest.raises(ModelError, match="no statistic called 'chi'"):
        heterogeneity_test([[1, 2]], "3:1", statistic="chi")


def test_faults_of_all_families_at_once():
    with pytest.raises(TableError) as caught:
        heterogeneity_test({"F2-1": [1, -2], "F2-2": [3.5, 1], "F2-3": [1, None]}, "3:1")
    assert len(caught.value.problems) == 3
    for words in ("F2-1", "negative", "F2-2", "not a whole number", "F2-3", "missing"):
        assert words in str(caught.value)
    with pytest.raises(ModelError, match="There are 3 counts in 'family 2', but 2 parts"):
        heterogeneity_test([[1, 2], [1, 2, 3]], "3:1")
    with pytest.raises(TableError, match="no families"):
        heterogeneity_test([], "3:1")


# --- display ----------------------------------------------------------------


def test_plot_draws_counted_and_expected():
    axes = ratio_test({"red": 40, "orange": 40}, {"red": 3, "orange": 1}).plot()
    assert [bar.get_width() for bar in axes.patches[:2]] == [40, 40]
    lines = [line.get_xdata()[0] for line in axes.lines[:2]]
    assert lines == [60, 20]
    assert "40:40 does not fit 3:1" in canvas.alternative_text(axes)
    assert canvas.caption_of(axes).startswith("40:40 does not fit 3:1")
    own = Figure().subplots()
    assert ratio_test([13, 7], "3:1").plot(ax=own) is own


def test_display_of_one_family():
    assert repr(ratio_test({"purple": 44, "white": 16}, "3:1")) == (
        "44:16 is compatible with 3:1 (60 plants; chance of a misfit this large or larger, if "
        "the ratio holds: 0.882).\n"
        "  purple                   44 plants     expected 45.0\n"
        "  white                    16 plants     expected 15.0\n"
        "  Chance of such a misfit  0.882         exact, ordered by G\n"
        "  Pearson chi-square       0.08889       1 degree of freedom, large-sample chance 0.766\n"
        "  G                        0.08762       1 degree of freedom, large-sample chance 0.767\n"
        "  Also compatible          2:1 and 13:3  among familiar ratios\n"
        "Note: Compatible is not shown to be right: other ratios may fit as well."
    )


def test_hostile_names_are_shown_as_text():
    counts = {name: i + 1 for i, name in enumerate(HOSTILE)}
    test = ratio_test(counts, dict.fromkeys(HOSTILE, 1))
    families = heterogeneity_test(pd.DataFrame([counts, counts], index=HOSTILE[:2]), [1] * 8)
    for result in (test, families):
        html, text = result._repr_html_(), repr(result)
        assert "<img" not in html
        assert "\u202e" not in html + text
        assert max(map(len, text.splitlines())) < 400
    assert test.classes == tuple(HOSTILE)  # nothing that was typed is lost


def test_many_classes_are_left_to_the_table():
    test = ratio_test([5] * 30, [1] * 30, order="pearson")
    assert len(test.facts()) < 6
    assert len(test.verdict) < 300
    assert test.table().shape == (30, 5)


def test_tables_are_copies():
    test = ratio_test([13, 7], "3:1")
    frame = test.table()
    frame.loc["class 1", "counted"] = 99
    assert test.table().loc["class 1", "counted"] == 13
    assert list(frame.columns) == ["counted", "share", "expected", "difference", "residual"]
    families = heterogeneity_test([[13, 7], [5, 1]], "3:1").table()
    assert list(families.columns) == ["class 1", "class 2", "pearson", "df", "chance"]
    assert families.index.tolist() == ["family 1", "family 2"]


def test_heterogeneity_says_which_figure_it_is():
    table = [[20, 9], [14, 12]]
    assert "total less pooled, of Pearson's" in heterogeneity_test(table, "3:1").notes[0]
    assert "total less pooled, of G" in heterogeneity_test(table, "3:1", "g").notes[0]
    labels = [fact.label for fact in heterogeneity_test(table, "3:1").facts()]
    assert labels[-4:] == ["Total", "Pooled", "Heterogeneity", "Contingency chi-square"]


def test_the_door():
    assert breedkit.ratio_test is ratio_test
    assert breedkit.heterogeneity_test is heterogeneity_test
