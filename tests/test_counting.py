"""Ratios and counts as people type them: read, matched, or refused with all that is wrong."""

from __future__ import annotations

import math
from decimal import Decimal
from fractions import Fraction

import numpy as np
import pandas as pd
import pytest

from breedkit.counting import read_families, read_family, read_ratio, read_rivals
from breedkit.errors import ModelError, TableError


@pytest.mark.parametrize(
    "typed, shares",
    [
        ("3:1", (Fraction(3, 4), Fraction(1, 4))),
        (" 9 : 3 :3: 1 ", (Fraction(9, 16), Fraction(3, 16), Fraction(3, 16), Fraction(1, 16))),
        ("0,5:1.5", (Fraction(1, 4), Fraction(3, 4))),
        ("1/4:3/4", (Fraction(1, 4), Fraction(3, 4))),
        ([0.25, 0.75], (Fraction(1, 4), Fraction(3, 4))),
        ([1 / 3, 2 / 3], (Fraction(1, 3), Fraction(2, 3))),
        (np.array([3, 1]), (Fraction(3, 4), Fraction(1, 4))),
        ([np.int64(3), np.float64(1)], (Fraction(3, 4), Fraction(1, 4))),
        (["3", Fraction(1)], (Fraction(3, 4), Fraction(1, 4))),
        ({"red": 3, "orange": 1}, (Fraction(3, 4), Fraction(1, 4))),
        (pd.Series({"red": 3, "orange": 1}), (Fraction(3, 4), Fraction(1, 4))),
        ("1:0", (Fraction(1), Fraction(0))),
    ],
)
def test_ratios_that_can_be_read(typed, shares):
    assert read_ratio(typed).shares == shares


def test_names_and_text():
    ratio = read_ratio({"red": 9, "orange": 3, "yellow": 0})
    assert ratio.names == ("red", "orange", "yellow")
    assert (ratio.text, ratio.df) == ("3:1:0", 1)


def test_shares_that_are_no_simple_fractions_stay_floats():
    ratio = read_ratio([math.pi, 1.0])
    assert sum(ratio.shares) == pytest.approx(1, rel=1e-15)
    assert ratio.text == "0.759:0.241"


@pytest.mark.parametrize(
    "typed, words",
    [
        ("9:-3", "has a part that is negative: '-3'"),
        ("9:−3", "has a part that is negative: '−3'"),
        ([3, -1], "has a part that is negative: '-1'"),
        ("0:0", "has no part above 0"),
        ([0.0, 0], "has no part above 0"),
        ("3", "'3' is not a ratio of two or more parts"),
        ("", "'' is not a ratio"),
        (None, "'None' is not a ratio"),
        (3, "'3' is not a ratio"),
        ([3], "is not a ratio"),
        ("3:one", "has a part that is not a number: 'one'"),
        ("3::1", "has a part that is not a number: ''"),
        ("1/0:1", "has a part that is divided by 0"),
        ("1e99999999:1", "has a part that is not a number"),
        ([math.nan, 1], "has a part that is not a number"),
        ([math.inf, 1], "has a part that is not a number"),
        ([True, 1], "has a part that is not a number"),
        ([None, 1], "has a part that is not a number"),
        ([[3, 1], [9, 7]], "has a part that is not a number"),
        ([1e300, 1e-300], "too far apart"),
        ([1] * 101, "101 parts is too long"),
        ({"red": 3, "Red ": 1}, "names class 'Red' twice"),
        ("<img onerror=x>:3", "'<img onerror=x>'"),
        ("9" * 10_000 + ":1", "has a part that is not a number"),
    ],
)
def test_ratios_that_cannot(typed, words):
    with pytest.raises(ModelError) as caught:
        read_ratio(typed)
    message = str(caught.value)
    assert words in message
    assert len(message.splitlines()[0]) < 90
    assert "such as 9:3:3:1" in message


def test_counts_are_matched_by_name_or_by_place():
    by_name, _ = read_family({"white": 16, "Purple ": 44}, {"purple": 3, "white": 1})
    assert (by_name.plants, by_name.names) == ((44, 16), ("purple", "white"))
    unseen, _ = read_family({"purple": 44}, {"purple": 3, "white": 1})
    assert unseen.plants == (44, 0)
    by_place, _ = read_family([44, 16], {"purple": 3, "white": 1})
    assert by_place.names == ("purple", "white")
    nameless, _ = read_family([44, 16], "3:1")
    assert nameless.names == ("class 1", "class 2")


@pytest.mark.parametrize(
    "counts, words",
    [
        ([1.5, 2], "'1.5' is not a whole number of plants"),
        ([-1, 2], "'-1' is negative"),
        ([None, 2], "is missing: write 0"),
        ([math.nan, 2], "is missing"),
        ([pd.NA, 2], "is missing"),
        ([math.inf, 2], "is not a whole number"),
        (["12", 2], "'12' is not a number of plants"),
        ([True, 2], "is not a number of plants"),
        ([[1, 2], 2], "is not a number of plants"),
        ("315:101", "are not a list of counts"),
        (None, "are not a list of counts"),
        (12, "are not a list of counts"),
        (pd.DataFrame({"a": [1], "b": [2]}), "table of several families"),
        (np.ones((2, 2)), "table of several families"),
        ({"red": 1, "RED": 2}, "names class 'RED' twice"),
        ([10**7, 1], "add to 10,000,001 plants"),
        ([Decimal("1.5"), 1], "is not a number of plants"),
    ],
)
def test_counts_that_cannot_be_read(counts, words):
    with pytest.raises(TableError) as caught:
        read_family(counts, "3:1")
    assert words in str(caught.value)
    assert len(str(caught.value).splitlines()[0]) < 90


def test_both_lengths_are_said():
    with pytest.raises(ModelError, match="There are 3 counts, but 2 parts in the ratio."):
        read_family([1, 2, 3], "3:1")


def test_a_misspelt_class_is_not_an_empty_one():
    with pytest.raises(ModelError) as caught:
        read_family({"purpel": 44, "white": 16}, {"purple": 3, "white": 1})
    message = str(caught.value)
    assert "no class 'purpel'. Did you mean 'purple'?" in message
    assert "'purple' and 'white'" in message


def test_everything_wrong_is_said_at_once():
    with pytest.raises(ModelError) as caught:
        read_family([1.5, -2], "3:x:-1")
    message = str(caught.value)
    assert message.startswith("4 things need mending:\n")
    for words in ("'x'", "'-1'", "'1.5'", "'-2'"):
        assert words in message
    with pytest.raises(ModelError) as caught:
        read_family({"purpel": 1.5, "white": 16}, {"purple": 3, "white": 1})
    assert str(caught.value).startswith("2 things need mending:\n")
    with pytest.raises(ModelError, match="There are 0 counts, but 2 parts"):
        read_family([], "3:1")


def test_families_from_every_form():
    rows = [[13, 7], [30, 10]]
    frame = pd.DataFrame(rows, columns=["red", "orange"], index=["F2-1", "F2-2"])
    named = {"F2-1": {"red": 13, "orange": 7}, "F2-2": {"orange": 10, "red": 30}}
    for table in (rows, tuple(rows), np.array(rows), frame, named):
        families, _ = read_families(table, {"red": 3, "orange": 1})
        assert [family.plants for family in families.values()] == [(13, 7), (30, 10)]
    assert list(read_families(frame, "3:1")[0]) == ["F2-1", "F2-2"]
    assert list(read_families(rows, "3:1")[0]) == ["family 1", "family 2"]


def test_families_that_cannot_be_read():
    twice = pd.DataFrame([[1, 2], [3, 4]], columns=["red", "orange"], index=["F2", "F2"])
    with pytest.raises(TableError, match="F2: is there twice"):
        read_families(twice, "3:1")
    for nothing in ([], {}, 5, None, "3:1"):
        with pytest.raises(TableError, match="holds no families"):
            read_families(nothing, "3:1")
    with pytest.raises(ModelError, match="not a ratio"):
        read_families([[1, 2]], "three to one")


def test_rivals():
    first, second = read_rivals({"red": 3, "orange": 1}, {"Orange": 7, "red": 9})
    assert second.shares == (Fraction(9, 16), Fraction(7, 16))
    assert second.names == first.names
    with pytest.raises(ModelError, match="no class 'yellow'"):
        read_rivals({"red": 3, "orange": 1}, {"red": 3, "yellow": 1})
