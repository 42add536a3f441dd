"""What the words of a column mean: classes, numbers, not scored, slips."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest

from breedkit.reading import Sheet
from breedkit.records import Column
from breedkit.spelling import (
    MOST,
    TOKENS,
    Trait,
    Understood,
    matcher,
    read_number,
    understand,
    unit_of,
)


def column(*texts: str) -> Sheet:
    return Sheet("a.csv", {"x": Column.of(texts)}, pd.RangeIndex(2, len(texts) + 2))


def severities(findings: tuple) -> list[tuple[str, str, int, int]]:
    return [(f.severity, f.problem.found, f.problem.row, f.rows) for f in findings]


@pytest.mark.parametrize(
    "text, value",
    [
        ("12.5", 12.5), ("12,5", 12.5), ("101.5", 101.5), (" 7 ", 7), ("-3,5", -3.5), ("−2", -2),
        ("+4", 4), (".5", 0.5), (",5", 0.5), ("0,125", 0.125), ("1.234", 1.234),
        ("12,3456", 12.3456), ("1e3", 1000), ("2E-2", 0.02), ("5.", 5), ("007", 7),
        ("1234,567", 1234.567),
    ],
)  # fmt: skip
def test_numbers_with_point_or_comma(text: str, value: float) -> None:
    assert read_number(text) == value


@pytest.mark.parametrize(
    "text",
    ["1,234", "-12,345", "123,456", "1.234,5", "1,234.5", "1 234", "1'234", "12 g", "~3", "<5",
     "1/2", "3-4", "nan", "inf", "1_000", "１２", "٣", "", "-", "1e999", "=1+1",
     "2024-05-01", "0x1F"],
)  # fmt: skip
def test_what_is_no_clear_number_is_not_guessed_at(text: str) -> None:
    assert read_number(text) is None


def test_declared_classes_match_but_for_case_blanks_and_accents() -> None:
    sheet = column("Red ", "RED", "réd", "light_green", "Light  Green", "purpel", "-", "")
    meant = understand(sheet, "x", Trait("colour", "class", ("red", "light green", "purple")))
    assert list(meant.values.astype(object)) == (
        ["red"] * 3 + ["light green"] * 2 + [np.nan] * 3
    )  # fmt: skip
    (fault,) = meant.findings
    assert str(fault.problem) == (
        "a.csv, row 7, column 'x': 'purpel' is not a known class. "
        "Known: 'red', 'light green' and 'purple'. Did you mean 'purple'?"
    )
    assert len(str(fault.problem).split(". ")[0]) < 90


@pytest.mark.parametrize("token", [*sorted(TOKENS), "N/A", " ? ", "Not Scored", "\xa0"])
def test_every_way_to_write_not_scored(token: str) -> None:
    for trait in (Trait("x", "class", ("red",)), Trait("x"), Trait("x", "measured")):
        meant = understand(column("1", token), "x", trait)
        assert pd.isna(meant.values[1])
        assert not any(f.problem.found == token for f in meant.findings)


def test_a_declared_class_goes_before_not_scored() -> None:
    meant = understand(column("-", "+", "?"), "x", Trait("x", "class", ("+", "-")))
    assert list(meant.values.codes) == [1, 0, -1]
    assert list(understand(column("none", "hot"), "x", Trait("x")).values) == ["none", "hot"]


def test_ordered_classes_keep_their_order() -> None:
    meant = understand(
        column("hot", "none"), "x", Trait("burn", "ordered", ("none", "mild", "hot"))
    )
    assert meant.values.ordered
    assert list(meant.values.codes) == [2, 0]
    assert meant.trait.classes == ("none", "mild", "hot")


@pytest.mark.parametrize(
    "texts, kind",
    [
        (["1", "2", "3", ""], "count"),
        (["1.5", "2", "3"], "measured"),
        (["1,5", "2", "-"], "measured"),
        (["0", "1", "1"], "class"),
        (["1", "2", "1"], "class"),
        (["red", "white"], "class"),
        (["12.5", "13", "12 g", "11", "1,234"], "measured"),
        (["12", "13", "14", "15", "tiny"], "count"),
        (["1a", "1b", "1a"], "class"),
        (["", "-"], "class"),
        ([], "class"),
        ([f"a remark, number {k}" for k in range(40)], ""),
        (["2024-05-01", "2024-05-02", "2024-05-03"], ""),
    ],
)  # fmt: skip
def test_kinds_are_inferred(texts: list[str], kind: str) -> None:
    meant = understand(column(*texts), "x", Trait("x"))
    assert meant.trait.kind == kind
    assert ("kind" in meant.trait.inferred) == bool(kind)


@pytest.mark.parametrize(
    "header, unit",
    [
        ("Height cm", "cm"), ("Height (cm)", "cm"), ("height_cm", "cm"), ("Weight [g]", "g"),
        ("Weight, kg", "kg"), ("Length in mm", "mm"), ("Days to flower", "days"),
        ("Flowering (days)", "days"), ("height (m)", "m"), ("Height CM", "cm"),
        ("Height m", ""), ("seeds per 100 g", ""), ("Holidays", ""), ("colour (bed 3)", ""),
        ("Programme", ""), ("g", ""), ("day lily", ""),
    ],
)  # fmt: skip
def test_units_in_headers(header: str, unit: str) -> None:
    assert unit_of(header) == unit
    sheet = Sheet("a.csv", {header: Column.of(["3", "1", "2", "3"])}, pd.RangeIndex(2, 6))
    trait = understand(sheet, header, Trait(header)).trait
    assert (trait.kind, trait.unit) == (("measured", unit) if unit else ("count", ""))
    # what is declared goes before, and words are classes whatever the header
    assert understand(sheet, header, Trait(header, "count")).trait.unit == ""
    assert understand(sheet, header, Trait(header, "measured", unit="ell")).trait.unit == "ell"
    words = Sheet("a.csv", {header: Column.of(["short", "tall"])}, pd.RangeIndex(2, 4))
    assert understand(words, header, Trait(header)).trait.kind == "class"


def test_many_large_whole_numbers_are_measured() -> None:
    heights = [str(n) for n in range(80, 93)]
    for texts in (heights, [*heights, "?"]):
        assert understand(column(*texts), "x", Trait("x")).trait.kind == "measured"
    assert understand(column(*heights[:12]), "x", Trait("x")).trait.kind == "count"
    few = [str(n) for n in range(1, 30)]
    assert understand(column(*few), "x", Trait("x")).trait.kind == "count"


@pytest.mark.parametrize("texts", [["1", "2", "3"], ["1", "0", ""], ["1.5", "2"], ["-3", "4", "5"]])
def test_the_quick_way_to_a_kind_is_the_slow_way(texts: list[str]) -> None:
    quick = understand(column(*texts), "x", Trait("x")).trait.kind
    slow = understand(column(*texts, "?"), "x", Trait("x")).trait.kind  # a token is no number
    assert quick == slow


def test_inferred_classes_are_the_most_frequent_spelling_of_each() -> None:
    meant = understand(column("Red", "red", "red ", "white", "RED"), "x", Trait("x"))
    assert meant.trait.classes == ("red", "white")
    assert list(meant.values) == ["red", "red", "red", "white", "red"]
    assert understand(column("10", "9", "9"), "x", Trait("x")).trait.classes == ("9", "10")


def test_a_rare_spelling_near_a_frequent_one_is_pointed_out() -> None:
    sheet = column(*["orange"] * 9, "orannge", *["red"] * 8, "rde", "yellow")
    meant = understand(sheet, "x", Trait("x"))
    assert severities(meant.findings) == [
        ("check", "orannge", 11, 1), ("check", "rde", 20, 1), ("check", "yellow", 21, 1),
    ]  # fmt: skip
    assert list(meant.values)[9] == "orannge"  # counted as typed
    # frequent words are meant, however near, unless one has a letter more
    assert not understand(column(*["light"] * 9, *["right"] * 5), "x", Trait("x")).findings
    assert not understand(column(*["1"] * 9, "11"), "x", Trait("x", "class")).findings


def test_classes_of_one_or_two_plants_are_pointed_out() -> None:
    texts = [*["red"] * 9, *["white"] * 6, "Blue", "blue", "gold", *["pink"] * 3]
    findings = understand(column(*texts), "x", Trait("x")).findings
    assert severities(findings) == [("check", "blue", 17, 2), ("check", "gold", 19, 1)]
    assert [f.problem.what for f in findings] == [
        "has only 2 plants; counted as typed until mended",
        "has only 1 plant; counted as typed until mended",
    ]
    assert not understand(column(*["red"] * 13, "gold"), "x", Trait("x")).findings
    declared = Trait("x", "class", ("red", "white", "blue", "gold", "pink"))
    assert not understand(column(*texts), "x", declared).findings


@pytest.mark.parametrize("word", ["--", "???", "——", "Unknown", "not  known", "#N/A", "no data"])
def test_what_is_beyond_doubt_not_a_score(word: str) -> None:
    meant = understand(column("red", word, "red"), "x", Trait("x"))
    assert pd.isna(meant.values[1])
    assert meant.trait.classes == ("red",)
    assert understand(column(word), "x", Trait("x", "class", (word,))).values[0] == word


@pytest.mark.parametrize("word", ["Missing", "NULL", "dead", "died", "x", "not ripe", "NaN"])
def test_words_that_may_mean_not_scored_are_pointed_out(word: str) -> None:
    meant = understand(column(*["red"] * 5, *[word] * 4), "x", Trait("x"))
    assert list(meant.values)[5] == word
    assert severities(meant.findings) == [("check", word, 7, 4)]
    assert "'?'" in meant.findings[0].problem.suggestion


def test_a_great_many_odd_classes_are_summed_up() -> None:
    words = [f"w{k}q{k}" for k in range(MOST + 50)]
    findings = understand(column(*words, *words), "x", Trait("x", "class")).findings
    assert len(findings) == MOST + 1
    assert sum(f.rows for f in findings) == 2 * len(words)


def test_the_case_of_genotypes_is_kept() -> None:
    for words in (["AA", "Aa", "aa"], ["AB", "Ab", "aB", "ab"], ["RrPp", "rrpp", "RRPP"]):
        assert len(understand(column(*words), "x", Trait("x")).trait.classes) == len(words)
        declared = understand(column(*words), "x", Trait("x", "class", tuple(words)))
        assert list(declared.values) == words
    assert understand(column("red", "Red", "rEd", "RED"), "x", Trait("x")).trait.classes == ("red",)
    key = matcher(["Aa", "aa"])
    assert key("Aa ") != key("aa")


def test_mended_spellings() -> None:
    trait = Trait("x", "class", ("red", "orange"), also_typed=(("orannge", "orange"), ("xx", "?")))
    meant = understand(column("Orannge ", "xx", "red"), "x", trait)
    assert list(meant.values.codes) == [1, -1, 0]
    assert not meant.findings
    weight = Trait("w", "measured", also_typed=(("12 g", "12"),))
    assert list(understand(column("12 g", "3"), "x", weight).values) == [12, 3]


def test_advice_fits_what_was_typed() -> None:
    sheet = column("1,234", "12 g", "=A1", "2024-02-01", "01. Feb", "so-so")
    meant = understand(sheet, "x", Trait("x", "measured"))
    advice = [f.problem.suggestion for f in meant.findings]
    assert [a.split()[0:2] for a in advice[:5]] == [
        ["Write", "1.234"], ["Write", "12;"], ["It", "is"], ["Spreadsheets", "make"],
        ["Spreadsheets", "make"],
    ]  # fmt: skip
    assert advice[5] == ""
    assert np.isnan(meant.values).all()


@pytest.mark.parametrize(
    "typed, meant",
    [("6O", "60"), ("6o", "60"), ("6l", "61"), ("6I", "61"), ("1O5", "105"), ("1,O", "1,0"),
     ("2lO", "210")],
)  # fmt: skip
def test_a_letter_for_a_figure_is_no_unit(typed: str, meant: str) -> None:
    found = understand(column("7", typed), "x", Trait("x", "measured")).findings[0]
    assert found.problem.suggestion.startswith(f"Did you mean {meant}?")
    spaced = understand(column("7", "6 O"), "x", Trait("x", "measured")).findings[0]
    assert spaced.problem.suggestion == ""


def test_the_unit_of_the_header_may_stand_behind_a_number() -> None:
    header = "Height (cm)"

    def height(*texts: str, **declared: object) -> Understood:
        sheet = Sheet("a.csv", {header: Column.of(texts)}, pd.RangeIndex(2, len(texts) + 2))
        return understand(sheet, header, Trait(header, **declared))  # type: ignore[arg-type]

    meant = height("60 cm", "61CM", "62 cm.", "63", "12,5cm")
    assert list(meant.values) == [60, 61, 62, 63, 12.5] and not meant.findings
    assert (meant.trait.kind, meant.trait.unit) == ("measured", "cm")
    other = height("60 cm", "7 mm", "cm", "tall cm", kind="measured")
    assert severities(other.findings) == [
        ("mend", "7 mm", 3, 1), ("mend", "cm", 4, 1), ("mend", "tall cm", 5, 1)
    ]  # fmt: skip
    worded = height("60 cm", "61 cm", kind="class")
    assert list(worded.values) == ["60 cm", "61 cm"]  # a class is what was typed


def test_counts_are_whole_and_not_negative() -> None:
    meant = understand(column("3", "-1", "2.5", "0", "2.0"), "x", Trait("x", "count"))
    np.testing.assert_array_equal(meant.values, [3, np.nan, np.nan, 0, 2])
    assert severities(meant.findings) == [("mend", "-1", 3, 1), ("mend", "2.5", 4, 1)]


def test_a_point_beside_decimal_commas_is_pointed_out() -> None:
    meant = understand(column("12,5", "1.234", "101.5"), "x", Trait("x", "measured"))
    assert list(meant.values) == [12.5, 1.234, 101.5]
    assert severities(meant.findings) == [("check", "1.234", 3, 1)]


def test_the_quick_way_with_numbers_is_the_slow_way() -> None:
    texts = ["", "1", "2.50", "-3", "+.5", "4.", "1.234"]
    quick = understand(column(*texts), "x", Trait("x", "measured")).values
    slow = [read_number(t) for t in texts]
    np.testing.assert_array_equal(quick, [math.nan if v is None else v for v in slow])
    both = understand(column(*texts, "x"), "x", Trait("x", "measured")).values
    np.testing.assert_array_equal(quick, both[:-1])


def test_a_column_of_nonsense_is_not_a_thousand_lines() -> None:
    sheet = column(*(f"nonsense {k}" for k in range(1000)), "nonsense 0")
    meant = understand(sheet, "x", Trait("x", "class", ("red",)))
    assert len(meant.findings) == MOST + 1
    assert sum(f.rows for f in meant.findings) == 1001


@pytest.mark.parametrize(
    "dates", [("2042-05-01", "", "2042-05-03 00:00:00"), ("1.5.42", "?", "3.5.42"), ("3 May", "-")]
)
def test_a_column_of_dates_is_no_trait(dates: tuple[str, ...]) -> None:
    meant = understand(column(*dates), "x", Trait("x"))
    assert meant.trait.kind == "" and not len(meant.values)
    assert [(f.severity, f.problem.what) for f in meant.findings] == [
        ("note", "holds dates, not a trait")
    ]
    assert understand(column(*dates, "red"), "x", Trait("x")).trait.kind == "class"
    assert understand(column("", "?"), "x", Trait("x")).trait.kind == "class"


@pytest.mark.parametrize(
    "rare, often, said",
    [("longg", "long", True), ("yelow", "yellow", True), ("pale greeen", "pale green", True),
     ("light", "right", False), ("redd", "red", False), ("type 11", "type 1", False),
     ("grade iii", "grade ii", False), ("1200", "120", False), ("pale", "pale green", False)],
)  # fmt: skip
def test_two_spellings_that_are_both_frequent(rare: str, often: str, said: bool) -> None:
    meant = understand(column(*[rare] * 9, *[often] * 13), "x", Trait("x", "class"))
    expected = [("check", f"is spelt nearly like '{often}'; counted as typed", 9)] if said else []
    assert [(f.severity, f.problem.what, f.rows) for f in meant.findings] == expected
    assert sorted(meant.trait.classes) == sorted((rare, often))
