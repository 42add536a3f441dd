"""Layout, wording, rounding and escaping that every answer shares."""

from dataclasses import dataclass
from fractions import Fraction as F

import pandas as pd
import pytest

from breedkit.results import (
    Fact,
    Result,
    chance,
    escape,
    escape_attribute,
    escape_word,
    estimate,
    html_table,
    listing,
    number,
    percent,
    plants,
    ratio_text,
    sentence,
    show,
)  # fmt: skip

NASTY = '<img src=x onerror="alert(1)">'


@dataclass(frozen=True, repr=False)
class Answer(Result):
    word: str
    notes: tuple[str, ...] = ()

    @property
    def verdict(self) -> str:
        return f"It is {self.word}."

    def facts(self) -> list[Fact]:
        return [Fact("word", self.word, "as typed"), Fact("longer label", "7")]


def test_text_and_html_say_the_same_in_the_same_order() -> None:
    answer = Answer("red", ("Look again.",))
    assert repr(answer).splitlines() == [
        "It is red.", "  word          red  as typed", "  longer label  7", "Note: Look again.",
    ]  # fmt: skip
    html = answer.to_html("<img>")
    places = [html.index(x) for x in ("It is red.", "<img>", "longer label", "Look again.")]
    assert places == sorted(places)
    assert answer._repr_html_() == answer.to_html() and "0x" not in repr(answer) + html
    assert "Look again" not in answer.to_html(notes=False)


def test_hostile_words_stay_words() -> None:
    answer = Answer(f"{NASTY}\n\x1b[31m\u202eevil", (f"a\n{NASTY}",))
    assert "<img" not in answer._repr_html_()
    assert len(repr(answer).splitlines()) == 4 and "\x1b" not in repr(answer)
    assert "\u202e" not in repr(answer)
    assert escape_word(NASTY).startswith("<bdi>&lt;img") and '"' not in escape(NASTY)
    frame = pd.DataFrame({NASTY: [NASTY, "=cmd()"], "n": [1.5, float("nan")]}, index=[NASTY, "b"])
    table = html_table(frame, NASTY)
    assert "<img" not in table and "1.50" in table and "nan" not in table
    assert 'scope="col"' in table and table == html_table(frame, NASTY)


SEEN = "16 אדום : 8 כתום כהה (24)"


def test_counts_keep_their_place_beside_right_to_left_words() -> None:
    # As Unicode Standard Annex 9 advises: each run in an isolate, the numbers outside it.
    fenced = "16 \u2068אדום\u2069 : 8 \u2068כתום כהה\u2069 (24)"
    assert show(SEEN) == show(show(SEEN)) == fenced
    html = "16 <bdi>אדום</bdi> : 8 <bdi>כתום כהה</bdi> (24)"
    assert escape(SEEN) == escape(show(SEEN)) == html
    assert escape_attribute(SEEN) == fenced and escape_word(show("אדום")) == "<bdi>אדום</bdi>"
    assert show("F2אדום, أحمر") == "\u2068F2אדום\u2069, \u2068أحمر\u2069"
    assert show("rot' - \u2068x\u2069") == "rot' - x"
    answer = Answer(SEEN, (SEEN,))
    assert repr(answer).count(fenced) == 3 and answer.to_html().count(html) == 3
    assert "<" not in escape('אדום<img title="כתום">').replace("<bdi>", "").replace("</bdi>", "")
    assert len(show("א" * 100)) == 60 + 2


def test_a_table_may_show_long_cells_whole() -> None:
    frame = pd.DataFrame({"suggestion": ["word " * 40]})
    assert "…" in html_table(frame)
    whole = html_table(frame, longest=None)
    assert "…" not in whole and whole.count("word") == 40
    assert "y" * 20 + "<" not in html_table(pd.DataFrame({"a": ["y" * 20]}), longest=10)


@pytest.mark.parametrize(
    "typed, shown",
    [
        ("a\n b\t c", "a b c"),
        ("x" * 100, "x" * 59 + "…"),
        ("$x$", "$x$"),
        ("אדום 🌶", "\u2068אדום\u2069 🌶"),
    ],
)
def test_show(typed: str, shown: str) -> None:
    assert show(typed) == shown


@pytest.mark.parametrize(
    "x, text",
    [
        (0, "0"), (7.0, "7.00"), (12345.6, "12,346"), (0.000123, "0.000123"), (1e-9, "1.00e-09"),
        (float("nan"), "not defined"), (float("inf"), "without limit"), (-2.345, "-2.35"),
        (1e20, "1.00e+20"),
    ],
)  # fmt: skip
def test_number(x: float, text: str) -> None:
    assert number(x) == text


@pytest.mark.parametrize(
    "p, text",
    [
        (0.9254, "0.925"), (0.0412, "0.041"), (0.00031, "0.00031"), (1e-7, "below 0.0001"),
        (0.99999, "above 0.9999"), (1.0, "1.00"), (float("nan"), "not defined"),
    ],
)  # fmt: skip
def test_chance(p: float, text: str) -> None:
    assert chance(p) == text


@pytest.mark.parametrize(
    "value, error, text",
    [
        (12.345, 0.18, "12.35 ± 0.18"), (12.345, 0.42, "12.3 ± 0.4"), (1234.5, 56, "1,230 ± 60"),
        (1.0, 0.0, "1.00"), (1.0, float("inf"), "1.00"),
    ],
)  # fmt: skip
def test_estimates_are_rounded_by_their_error(value: float, error: float, text: str) -> None:
    assert estimate(value, error) == text


def test_wording() -> None:
    assert [plants(n) for n in (0, 1, 1064)] == ["0 plants", "1 plant", "1,064 plants"]
    assert [listing("abc"[:n]) for n in range(4)] == ["", "a", "a and b", "a, b and c"]
    assert [percent(x) for x in (0, 0.0004, 0.031, 0.42)] == ["0 %", "under 0.1 %", "3.1 %", "42 %"]
    assert [percent(x) for x in (0.9963, 0.99999, 1)] == ["99.6 %", "over 99.9 %", "100 %"]
    assert ratio_text([F(9, 16), F(3, 16), F(4, 16)]) == "9:3:4"
    assert ratio_text([2, 2]) == "1:1" and ratio_text([0.5, 0.25]) == "0.500:0.250"
    assert ratio_text([F(1), F(0)]) == "1:0"
    assert sentence("ripe colour") == "Ripe colour" and sentence("") == ""
