"""Plants needed to tell ratios apart, against exact binomial sums."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from scipy.stats import binom, chi2

import breedkit
from breedkit.errors import ModelError
from breedkit.power import MOST_PLANTS, RUN, plants_to_separate, ratio_power

# Smallest n from which 60 numbers in a row have exact power 0.90, chi-square test at 0.05.
# Derived by the exact binomial; no publication.
NEEDED = [
    ("3:1", "9:7", 66),
    ("9:7", "3:1", 69),
    ("3:1", "13:3", 479),
    ("13:3", "3:1", 458),
    ("3:1", "15:1", 43),
    ("15:1", "3:1", 30),
    ("3:1", "2:1", 310),
    ("2:1", "3:1", 327),
    ("9:7", "1:1", 677),
    ("15:1", "63:1", 205),
]


def slow_power(p: float, q: float, n: int) -> float:
    """Two classes: sum the binomial over all counts that the test turns down."""
    x = np.arange(n + 1)
    turned_down = (x - n * p) ** 2 / (n * p * (1 - p)) >= chi2.isf(0.05, 1)
    return float(binom.pmf(x, n, q)[turned_down].sum())


@pytest.mark.parametrize("ratio, rival, n", NEEDED)
def test_plants_needed(ratio, rival, n):
    assert ratio_power(ratio, rival, power=0.9).n == n


@pytest.mark.parametrize("ratio, rival, n", NEEDED[:6])
def test_no_smaller_number_would_do(ratio, rival, n):
    p, q = (Fraction(int(a), int(a) + int(b)) for a, b in (r.split(":") for r in (ratio, rival)))
    enough = [slow_power(float(p), float(q), m) >= 0.9 for m in range(1, n + RUN)]
    assert all(enough[n - 1 :])
    assert not any(all(enough[m : m + RUN]) for m in range(n - 1))


def test_power_of_a_given_number():
    power = ratio_power("3:1", "9:7", n=20)
    assert power.power == pytest.approx(slow_power(0.75, 9 / 16, 20), abs=1e-13)
    assert power.false_alarm == pytest.approx(slow_power(0.75, 0.75, 20), abs=1e-13)
    assert "With 20 plants, the chance to turn down 3:1 if 9:7 holds is 0.541." in repr(power)


def test_mendels_ten_seedlings():
    # Fisher 1936, Ann. Sci. 1:115-137 (memory): with ten seedlings a heterozygote looks
    # constant with chance 0.0563, so 1/3 of constant plants look like 0.3709.
    missed = 1 - ratio_power("1:0", "3:1", n=10).power
    assert missed == pytest.approx(0.0563, abs=5e-5)
    apparent = Fraction(1, 3) + Fraction(2, 3) * Fraction(3, 4) ** 10
    assert apparent == Fraction(583337, 1572864)
    assert 1 / 3 + 2 / 3 * missed == pytest.approx(float(apparent), rel=1e-14)
    assert 1 / 3 + 2 / 3 * missed == pytest.approx(0.3709, abs=5e-5)


def test_several_classes():
    # With all classes but two merged the test changes; a simulation is the second route here.
    found = ratio_power("9:3:3:1", "9:3:4:0", power=0.9)
    rng = np.random.default_rng(5)
    p, q = np.array([9, 3, 3, 1]) / 16, np.array([9, 3, 4, 0]) / 16
    counts = rng.multinomial(found.n, q, size=100_000)
    statistic = ((counts - found.n * p) ** 2 / (found.n * p)).sum(axis=1)
    simulated = (statistic >= chi2.isf(0.05, 3)).mean()
    error = np.sqrt(found.power * (1 - found.power) / 100_000)
    assert abs(simulated - found.power) < 4 * error
    assert found.power >= 0.9
    assert ratio_power("9:3:3:1", "9:3:4:0", n=found.n - 1).power < 0.9


def test_many_classes():
    found = ratio_power([1, 4, 6, 4, 1], [1, 1, 1, 1, 1], power=0.9)
    assert ratio_power([1, 4, 6, 4, 1], [1, 1, 1, 1, 1], n=found.n - 1).power < 0.9
    assert found.power >= 0.9


def test_ratios_that_are_the_same():
    never = ratio_power("3:1", "6:2", power=0.9)
    assert never.n is None
    assert never.verdict == "Both ratios are 3:1: no number of plants will ever tell them apart."
    assert plants_to_separate("3:1", "3:1").words == "no number of plants"
    same = ratio_power("3:1", "6:2", n=40)
    assert same.power == same.false_alarm


def test_ratios_too_near_each_other():
    far = ratio_power("1000:1000", "1001:1000", power=0.9)
    assert far.n is None
    assert far.power is None
    assert f"More than {MOST_PLANTS:,} plants would be needed" in far.verdict
    assert plants_to_separate("1:1", "1001:1000").words == f"more than {MOST_PLANTS:,} plants"


def test_a_ratio_that_rules_out_a_class():
    # One plant of the forbidden class is enough: 1 - (3/4)^n >= 0.9 from n = 9 on.
    assert ratio_power("1:0", "3:1", power=0.9).n == 9
    assert ratio_power("1:1:0", "0:0:1", power=0.9).n == 1


def test_both_directions():
    both = plants_to_separate("3:1", "9:7")
    assert (both.first, both.second) == (66, 69)
    assert both.words == "66 to 69 plants"
    assert repr(both) == (
        "To tell 3:1 from 9:7 with chance 0.9 takes 66 to 69 plants.\n"
        "  Turn down 3:1  66 plants  if 9:7 holds\n"
        "  Turn down 9:7  69 plants  if 3:1 holds"
    )


def test_names_put_the_rival_in_order():
    named = ratio_power({"red": 3, "orange": 1}, {"orange": 7, "Red": 9}, n=30)
    assert named.power == ratio_power("3:1", "9:7", n=30).power


def test_no_plants():
    assert ratio_power("3:1", "9:7", n=0).power == 0


def test_bad_input():
    with pytest.raises(ModelError, match="either a number of plants"):
        ratio_power("3:1", "9:7")
    with pytest.raises(ModelError, match="either a number of plants"):
        ratio_power("3:1", "9:7", n=5, power=0.9)
    with pytest.raises(ModelError) as caught:
        ratio_power("3:1", "9:7", n=2.5, level=5)  # type: ignore[arg-type]
    assert "n is '2.5'" in str(caught.value)
    assert "level is '5'" in str(caught.value)
    for n in (-1, MOST_PLANTS + 1, True, "40", float("nan")):
        with pytest.raises(ModelError, match="whole number"):
            ratio_power("3:1", "9:7", n=n)  # type: ignore[arg-type]
    with pytest.raises(ModelError, match="3 parts in the rival, but 2 parts in the ratio"):
        ratio_power("3:1", "9:3:4", n=5)


def test_display_is_one_list_for_text_and_page():
    power = ratio_power("3:1", "9:7", power=0.9)
    assert repr(power) == (
        "66 plants are enough to turn down 3:1 with chance 0.9 if 9:7 holds.\n"
        "  Test         Pearson's chi-square of 3:1  turned down from 3.841 on (level 0.05)\n"
        "  Plants       66\n"
        "  Power        0.910                        if 9:7 holds\n"
        "  False alarm  0.045                        if 3:1 holds"
    )
    assert "<strong>66 plants are enough" in power._repr_html_()


def test_the_door():
    assert breedkit.ratio_power is ratio_power
