"""Exact chances of a misfit, against brute force, published counts and scipy.

Reference chances of the larger tables were summed once over all outcomes, with weights from
a 40-digit recursion; where that is not possible (27 classes) the source is named.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from fractions import Fraction

import numpy as np
import pytest
from scipy.stats import binom, binomtest

from breedkit.errors import ModelError
from breedkit.multinomial import ORDERS, exact_pvalue, tail_probability
from breedkit.poisson import all_outcomes

MENDEL_27 = [
    *(8, 14, 9, 11, 8, 10, 10, 7),
    *(22, 17, 25, 20, 15, 18, 19, 24, 14, 18, 20, 16),
    *(45, 36, 38, 40, 49, 48),
    78,
]
RATIO_27 = [1] * 8 + [2] * 12 + [4] * 6 + [8]

# counts, ratio, then the chance by likelihood ratio, by Pearson and by probability.
SUMMED = [
    ((68, 32), (3, 1), 0.132360306404332, 0.132360306404332, 0.106975152842926),
    ((5474, 1850), (3, 1), 0.617624577291548, 0.617624577291548, 0.608155387364119),
    ((382, 269), (9, 7), 0.220764383136914, 0.220764383136914, 0.220764383136914),
    ((160, 270, 150), (1, 2, 1), 0.213509313561725, 0.211478443001856, 0.205555909318483),
    ((315, 101, 108, 32), (9, 3, 3, 1), 0.926132142676992, 0.92719147252001, 0.938222024615459),
]
# The same, but so far off that the digits of a small chance matter.
FAR_OFF = ((260, 140, 120, 36), (9, 3, 3, 1))
FAR_OFF_CHANCES = (4.565286040630e-05, 4.153871926316e-05, 3.713572680713e-05)


def outcomes(n: int, classes: int) -> Iterator[tuple[int, ...]]:
    """Every way to share n plants among the classes."""
    for cuts in itertools.combinations(range(n + classes - 1), classes - 1):
        edges = (-1, *cuts, n + classes - 1)
        yield tuple(b - a - 1 for a, b in itertools.pairwise(edges))


def slow_chance(outcome: Sequence[int], shares: Sequence[Fraction]) -> Fraction:
    """The multinomial chance of one outcome, as an exact fraction."""
    ways = math.factorial(sum(outcome))
    for x in outcome:
        ways //= math.factorial(x)
    return ways * math.prod(s**x for s, x in zip(shares, outcome, strict=True))


def slow_misfit(outcome: Sequence[int], shares: Sequence[Fraction], order: str) -> Fraction | float:
    n = sum(outcome)
    if order == "pearson":
        return sum((x - n * s) ** 2 / (n * s) for x, s in zip(outcome, shares, strict=True))
    if order == "probability":
        return -slow_chance(outcome, shares)
    return 2 * math.fsum(
        x * math.log(x / (n * s)) for x, s in zip(outcome, shares, strict=True) if x
    )


def slow_pvalue(observed: Sequence[int], ratio: Sequence[int], order: str) -> float:
    """The second route: every outcome, in exact fractions (G in floats)."""
    shares = [Fraction(r, sum(ratio)) for r in ratio]
    reached = slow_misfit(observed, shares, order)
    if order == "likelihood ratio":
        reached = reached * (1 - 1e-9) - 1e-13
    tail = [
        slow_chance(outcome, shares)
        for outcome in outcomes(sum(observed), len(observed))
        if slow_misfit(outcome, shares, order) >= reached
    ]
    return float(sum(tail, Fraction(0)))


def random_cases(seed: int, number: int) -> Iterator[tuple[list[int], list[int]]]:
    """Small families of 2 to 5 classes, good and bad fits, with ties among equal classes."""
    rng = np.random.default_rng(seed)
    largest = {2: 40, 3: 16, 4: 9, 5: 7}
    for i in range(number):
        classes = int(rng.integers(2, 6))
        n = int(rng.integers(1, largest[classes] + 1))
        ratio = rng.integers(1, 4 if i % 2 else 16, classes)
        observed = rng.multinomial(n, rng.dirichlet(np.ones(classes)))
        yield observed.tolist(), ratio.tolist()


# --- known answers ----------------------------------------------------------


@pytest.mark.parametrize("counts, ratio, by_g, by_pearson, by_probability", SUMMED)
def test_known_chances(counts, ratio, by_g, by_pearson, by_probability):
    for order, expected in zip(ORDERS, (by_g, by_pearson, by_probability), strict=True):
        tail = exact_pvalue(counts, ratio, order)
        assert tail.pvalue == pytest.approx(expected, rel=0, abs=1e-12)
        assert tail.error == 0


@pytest.mark.parametrize("order, expected", [*zip(ORDERS, FAR_OFF_CHANCES, strict=True)])
def test_small_chances_keep_their_digits(order, expected):
    assert exact_pvalue(*FAR_OFF, order).pvalue == pytest.approx(expected, rel=1e-12)


def test_27_classes_by_pearson():
    # Lattice, checked against 8 million simulated tables: 0.951577 +- 0.000076. Counts: Mendel
    # 1866, trifactorial table; which class has which count does not matter within equal shares.
    tail = exact_pvalue(MENDEL_27, RATIO_27, "pearson")
    assert tail.pvalue == pytest.approx(0.951575660979778, rel=0, abs=1e-12)
    assert tail.error <= 1e-12


@pytest.mark.parametrize(
    "order, expected", [("likelihood ratio", 0.9541757609), ("probability", 0.9613543548)]
)
def test_27_classes_by_inversion_show_their_error(order, expected):
    # The same transform with other cut-offs, in an independent program: ten digits, not proved.
    tail = exact_pvalue(MENDEL_27, RATIO_27, order)
    assert 0 < tail.error < 1e-9
    assert tail.pvalue == pytest.approx(expected, rel=0, abs=tail.error + 5e-11)


def test_9_classes():
    # Pearson: lattice in an independent program. The others: four digits, by inversion there.
    counts = (138, 60, 65, 67, 68, 38, 35, 28, 30)
    ratio = (4, 2, 2, 2, 2, 1, 1, 1, 1)
    pearson = exact_pvalue(counts, ratio, "pearson")
    assert pearson.pvalue == pytest.approx(0.94628708580738, rel=0, abs=1e-12)
    by_g = exact_pvalue(counts, ratio)
    assert by_g.pvalue == pytest.approx(0.9446, abs=5e-5)
    assert by_g.error == 0


# --- a second, slow route ---------------------------------------------------


def test_every_order_against_all_outcomes():
    for observed, ratio in random_cases(seed=1866, number=120):
        for order in ORDERS:
            tail = exact_pvalue(observed, ratio, order)
            assert tail.pvalue == pytest.approx(slow_pvalue(observed, ratio, order), rel=1e-12), (
                f"{observed} against {ratio}, {order}"
            )


@pytest.mark.parametrize("n", [1, 7, 60, 1000, 20_000])
@pytest.mark.parametrize("share", [Fraction(3, 4), Fraction(1, 2), Fraction(1, 64)])
def test_two_classes_against_scipy(n, share):
    for x in {0, n, round(n * share), min(round(n * share) + 3, n), n // 3}:
        ours = exact_pvalue([x, n - x], [share, 1 - share], "probability").pvalue
        theirs = binomtest(x, n, float(share)).pvalue
        if theirs > 1e-200:
            assert ours == pytest.approx(theirs, rel=1e-9)


@pytest.mark.parametrize("n", [20_000, 3000, 400])
def test_large_families_against_a_sum_over_one_class(n):
    # 1:2:1 with all plants as expected but for `away`: given the middle class, the outer two
    # are binomial, so P(T >= t) is one sum of binomial tails. Pearson's T is a quadratic.
    away = round(1.7 * math.sqrt(n / 4))
    observed = [n // 4 - away, n // 2, n - n // 2 - n // 4 + away]
    p = np.array([0.25, 0.5, 0.25])
    reached = ((np.array(observed) - n * p) ** 2 / (n * p)).sum() * (1 - 1e-9)
    middle = np.arange(n + 1)
    rest = n - middle
    room = reached - (middle - n / 2) ** 2 / (n / 2) - (rest - n / 2) ** 2 / (n / 2)
    half = np.sqrt(np.maximum(room, 0) * n / 8)  # (x - rest/2)^2 * 8/n is what is left of T
    low, high = np.floor(rest / 2 - half), np.ceil(rest / 2 + half)
    tails = binom.cdf(low, rest, 0.5) + binom.sf(high - 1, rest, 0.5)
    tails = np.where(room <= 0, 1.0, tails)
    slow = float((binom.pmf(middle, n, 0.5) * tails).sum())
    assert exact_pvalue(observed, [1, 2, 1], "pearson").pvalue == pytest.approx(slow, abs=1e-11)


@pytest.mark.parametrize("order", ORDERS)
def test_a_four_class_family_of_20000_plants(order):
    # Large families follow chi-square with 3 degrees of freedom; 1e-3 is what n = 20000 leaves.
    near = exact_pvalue([4958, 5042, 5000, 5000], [1, 1, 1, 1], order)
    assert near.pvalue == pytest.approx(0.8718, abs=1e-3)
    assert near.error == 0
    hopeless = exact_pvalue([20_000, 0, 0, 0], [1, 1, 1, 1], order)
    assert hopeless.pvalue < 1e-15


# --- laws -------------------------------------------------------------------


@pytest.mark.parametrize("order", ORDERS)
def test_relabelling_classes_changes_nothing(order):
    counts, ratio = [20, 9, 7, 4], [9, 3, 3, 1]
    first = exact_pvalue(counts, ratio, order).pvalue
    for rank in itertools.permutations(range(4)):
        again = exact_pvalue([counts[i] for i in rank], [ratio[i] for i in rank], order)
        assert again.pvalue == pytest.approx(first, rel=1e-12)


@pytest.mark.parametrize("order", ORDERS)
def test_the_best_outcome_has_chance_one(order):
    for ratio in ([3, 1], [1, 2, 1], [9, 3, 3, 1], [1, 4, 6, 4, 1]):
        assert exact_pvalue([2 * r for r in ratio], ratio, order).pvalue == pytest.approx(
            1, abs=1e-12
        )


@pytest.mark.parametrize("order", ORDERS)
def test_one_class_more_that_cannot_occur_changes_nothing(order):
    assert exact_pvalue([13, 7, 0], [3, 1, 0], order) == exact_pvalue([13, 7], [3, 1], order)


def test_fractions_whole_numbers_and_floats_agree():
    wholes = exact_pvalue([40, 11, 9, 4], [9, 3, 3, 1], "pearson").pvalue
    shares = [Fraction(r, 16) for r in (9, 3, 3, 1)]
    assert exact_pvalue([40, 11, 9, 4], shares, "pearson").pvalue == wholes
    floats = [float(s) for s in shares]
    assert exact_pvalue([40, 11, 9, 4], floats, "pearson").pvalue == wholes


def test_shares_that_are_no_simple_fractions():
    odd = [math.pi, math.e, math.sqrt(2)]
    near = [Fraction(s).limit_denominator(10**9) for s in odd]
    for order in ORDERS:
        assert exact_pvalue([9, 12, 3], odd, order).pvalue == pytest.approx(
            exact_pvalue([9, 12, 3], near, order).pvalue, abs=1e-7
        )


def test_pearson_ties_are_decided_in_whole_numbers():
    # 3:1 with 10 plants: 5:5 and 10:0 are both 2.5 from 7.5, a tie that floats may miss.
    assert exact_pvalue([5, 5], [3, 1], "pearson").pvalue == pytest.approx(
        float(binom.cdf(5, 10, 0.75) + binom.pmf(10, 10, 0.75)), rel=1e-13
    )
    # The same in three classes, where swapping equal classes ties.
    one, other = ([7, 3, 5], [5, 3, 7])
    assert exact_pvalue(one, [1, 2, 1], "pearson") == exact_pvalue(other, [1, 2, 1], "pearson")


def test_weights_of_all_outcomes_add_to_one():
    for n, ratio in ((1, [1, 1, 1]), (30, [9, 3, 3, 1]), (5000, [1, 2, 1])):
        space = all_outcomes(n, ratio, "pearson")
        total = np.exp(space.log_weights[0] - space.log_total)
        for row in space.log_weights[1:]:
            total = np.convolve(total, np.exp(row))[: n + 1]
        assert total[n] == pytest.approx(1, abs=1e-12)


# --- edges and bad input ----------------------------------------------------


@pytest.mark.parametrize("order", ORDERS)
def test_edges(order):
    assert exact_pvalue([0, 0], [3, 1], order).pvalue == 1
    assert exact_pvalue([4, 1], [1, 0], order).pvalue == 0
    assert exact_pvalue([4, 0], [1, 0], order).pvalue == 1
    assert exact_pvalue([0, 1], [3, 1], order).pvalue == 0.25
    assert exact_pvalue([1, 0], [3, 1], order).pvalue == 1


def test_bad_input():
    with pytest.raises(ModelError, match="3 classes, but 2 shares"):
        exact_pvalue([1, 2, 3], [3, 1])
    with pytest.raises(ModelError, match="0 or more"):
        exact_pvalue([1, -2], [3, 1])
    with pytest.raises(ModelError, match="whole numbers"):
        exact_pvalue([1.5, 2], [3, 1])  # type: ignore[list-item]
    for shares in ([3, -1], [0, 0], [1, math.nan], [1, math.inf]):
        with pytest.raises(ModelError, match="not all of them 0"):
            exact_pvalue([1, 2], shares)
    with pytest.raises(ModelError, match="Unknown order"):
        exact_pvalue([1, 2], [3, 1], "by size")
    with pytest.raises(ModelError, match="2 classes, but 3 shares"):
        tail_probability(3.84, 10, [3, 1], [1, 2, 1])


# --- power ------------------------------------------------------------------


def slow_tail(critical: float, n: int, ratio: Sequence[int], rival: Sequence[int]) -> float:
    shares = [Fraction(r, sum(ratio)) for r in ratio]
    truth = [Fraction(r, sum(rival)) for r in rival]
    return float(
        sum(
            slow_chance(outcome, truth)
            for outcome in outcomes(n, len(ratio))
            if slow_misfit(outcome, shares, "pearson") >= critical
        )
    )


@pytest.mark.parametrize(
    "n, ratio, rival",
    [
        (30, [3, 1], [9, 7]),
        (14, [1, 2, 1], [1, 1, 1]),
        (9, [9, 3, 3, 1], [9, 3, 4, 0]),
        (7, [1, 4, 6, 4, 1], [1, 1, 1, 1, 1]),
        (6, [1, 1, 1, 2, 1, 1], [3, 1, 1, 1, 1, 2]),
    ],
)
def test_power_against_all_outcomes(n, ratio, rival):
    for critical in (2.5, 3.841458820694124, 7.814727903251178):
        tail = tail_probability(critical, n, ratio, rival)
        assert tail.pvalue == pytest.approx(slow_tail(critical, n, ratio, rival), abs=1e-12)


def test_power_where_the_ratio_rules_out_a_class():
    # 1:1:0 against 1:1:2 with 3 plants: half fall in the third class.
    tail = tail_probability(100.0, 3, [1, 1, 0], [1, 1, 2])
    assert tail.pvalue == pytest.approx(1 - 0.5**3, rel=1e-14)
    assert tail_probability(1.0, 3, [1, 0], [3, 1]).pvalue == pytest.approx(1 - 0.75**3)
    assert tail_probability(1.0, 3, [1, 0], [0, 1]).pvalue == 1
    assert tail_probability(1.0, 0, [3, 1], [1, 1]).pvalue == 0


def test_a_critical_value_that_is_reached_counts():
    # 8:2 of 3:1 has Pearson (8 - 7.5)^2 / 1.875 = 2/15; only 7:3 is as near.
    tail = tail_probability(2 / 15, 10, [3, 1], [3, 1])
    assert tail.pvalue == pytest.approx(1, abs=1e-12)
    beyond = tail_probability(2 / 15 * 1.001, 10, [3, 1], [3, 1])
    assert beyond.pvalue == pytest.approx(1 - binom.pmf([7, 8], 10, 0.75).sum(), abs=1e-12)
