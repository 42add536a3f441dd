"""How many offspring are enough: to the edge, and never rounded the wrong way."""

from fractions import Fraction as F
from math import log

import pytest
from scipy.stats import binom

import breedkit as bk
from breedkit.enough import progeny_needed
from breedkit.errors import ModelError


@pytest.mark.parametrize(
    ("share", "certainty", "n"),
    [
        # ln(0.05) / ln(3/4) = 10.41 and ln(0.01) / ln(3/4) = 16.01: common practice, no source
        ("1/4", 0.95, 11), ("1/4", 0.99, 17),
        ("1/2", 0.95, 5), ("1/2", 0.99, 7), ("3/4", 0.95, 3), ("1/16", 0.95, 47),
        ("1/16", "99 / 100", 72), (F(7, 16), 0.95, 6), ("1/64", 0.95, 191),
        # at the very edge: (1/2)^3 is 1/8, (3/4)^2 is 9/16, (9/10)^2 is 81/100
        ("1/2", 0.875, 3), ("1/2", "0.8750000000000001", 4), ("1/2", "0.8749999999999999", 3),
        ("1/4", "7/16", 2), ("1/10", 0.19, 2), ("1/10", "0.1900000000000000001", 3),
        ("1/3", F(3**40 - 2**40, 3**40), 40), ("1/3", F(3**40 - 2**40, 3**40) + F(1, 9**50), 41),
        (0.999, 0.5, 1), ("1/2", 0.5, 1), ("1/1000", 0.95, 2995),
    ],
)  # fmt: skip
def test_offspring_needed(share, certainty, n: int) -> None:
    certainty = certainty.replace(" ", "") if isinstance(certainty, str) else certainty
    assert progeny_needed(share, certainty).n == n


def test_the_number_is_the_smallest_that_is_enough() -> None:
    """Against the exact power, for many shares and certainties."""
    for denominator in range(2, 40):
        for numerator in (1, denominator // 2, denominator - 1):
            for nines in ("1/2", "9/10", "19/20", "99/100", "999/1000"):
                share, certainty = F(numerator, denominator), F(nines)
                found = progeny_needed(share, certainty)
                assert (1 - share) ** found.n <= 1 - certainty
                assert found.n == 1 or (1 - share) ** (found.n - 1) > 1 - certainty
                assert found.missed == (1 - share) ** found.n


def test_it_is_the_chance_of_none_in_a_binomial() -> None:
    found = progeny_needed(0.25, 0.95)
    assert float(found.missed) == pytest.approx(binom.pmf(0, 11, 0.25), rel=1e-12)
    assert found.n - 1 < log(0.05) / log(0.75) < found.n


@pytest.mark.parametrize(
    ("share", "certainty", "said"),
    [
        (0, 0.95, "share lies between 0 and 1; 0 does not"),
        ("1/4", 1, "certainty lies between 0 and 1; 1 does not"),
        (1.5, 0.95, "1.5 does not"), ("a quarter", 0.95, "'a quarter' is not"),
        ("1/0", 0.95, "'1/0' is not"), (1e-9, 0.95, "more than 100,000 offspring"),
        (float("nan"), 0.95, "'nan' is not"), ("x" * 10_000, 0.9, "a number such as 1/4"),
    ],
)  # fmt: skip
def test_what_cannot_be_asked(share, certainty, said: str) -> None:
    with pytest.raises(ModelError, match=said) as told:
        progeny_needed(share, certainty)
    assert len(str(told.value).splitlines()[0]) < 90


def test_display() -> None:
    found = bk.progeny_needed("1/4")
    assert repr(found).splitlines()[0] == (
        "11 offspring are enough: where 1 in 4 is of the kind, the chance to see none of it in 11 "
        "is 4.2 %."
    )
    assert "10 offspring" in repr(found) and "too few" in repr(found)
    assert "&lt;" not in found._repr_html_()


def test_shares_too_small_to_be_worked_out_are_refused_in_words() -> None:
    for asked in ((1e-17, 0.95), ("1/4", "0." + "9" * 400)):
        with pytest.raises(ModelError, match="more than 100,000 offspring"):
            progeny_needed(*asked)
