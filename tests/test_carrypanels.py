"""The panel about single plants without a browser, and the picture of a family's odds."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from matplotlib.figure import Figure

import breedkit as bk
from breedkit import canvas, carriers, carrypanels, panels
from breedkit.controls import Panel
from breedkit.errors import ModelError
from breedkit.modelcharts import CHANCE

INVENTED = Path(bk.__file__).parent.parent / "sample_data" / "invented_season"
FAMILIES = pd.DataFrame(
    [("Ash", "", ""), ("Elm", "", ""), ("F1", "Ash", "Elm"), ("F2", "F1", "selfed")],
    columns=["family", "female", "male"],
)


@pytest.fixture(scope="module")
def season() -> bk.Season:
    return bk.load_season(INVENTED)


@pytest.fixture
def panel(season) -> Panel:
    return panels.what_it_carries(season)


def sown(**looks: str) -> bk.Season:
    """A season of two parents, F1 and F2; the looks of each family's plants, by their letters."""
    words = {"r": "red", "o": "orange", ".": ""}
    rows = [
        (f"{family}-{i}", family, words[letter])
        for family, letters in looks.items()
        for i, letter in enumerate(letters)
    ]
    plants = pd.DataFrame(rows, columns=["plant", "family", "colour"])
    return bk.load_season(plants=plants, families=FAMILIES)


def words(panel: Panel) -> str:
    """What is read below the picture and above it."""
    return " ".join(re.sub(r"<[^>]+>", " ", panel.said.value).split())


# --- the panel -----------------------------------------------------------------------


def test_it_begins_with_a_plant_of_the_f2(panel):
    assert [panel.controls[c].value for c in ("trait", "family", "plant")] == [
        "ripe colour", "F2", "F2-01",
    ]  # fmt: skip
    # Of the red plants of an F2 two in three are Aa: Mendel 1866
    assert "F2-01 is red; it carries orange unseen with chance 2 in 3 (67 %)." in words(panel)
    assert "score 11 offspring" in words(panel) and "with chance 4.2 % at most" in words(panel)
    assert "Plants of F2" in words(panel) and panel.said.value.count("<img alt=") == 1
    assert 'tabindex="0"' in panel.said.value


def test_one_move_is_one_answer_and_odds_are_worked_out_once(panel, season, monkeypatch):
    asked: list[dict] = []
    plain = panel.answer
    panel.answer = lambda **values: asked.append(values) or plain(**values)
    worked: list[str] = []
    real = carrypanels.plant_odds
    monkeypatch.setattr(
        carrypanels, "plant_odds", lambda s, trait: worked.append(trait) or real(s, trait)
    )
    panel.controls["plant"].value = "F2-46"
    assert "breeds true for it with chance 96 %" in words(panel) and not worked
    panel.controls["family"].value = "BC1P2"  # another family has other plants
    assert asked[-1]["plant"] == "BC1P2-01" and len(asked) == 2
    assert panel.controls["plant"].options[0] == ("BC1P2-01", "BC1P2-01")
    panel.controls["trait"].value = "fruit position"
    panel.controls["plant"].value = "BC1P2-02"
    assert len(asked) == 4 and worked == ["fruit position"]


def test_what_would_settle_it_hangs_on_the_plant(panel):
    said = {}
    for plant in ("F2-46", "F2-20", "F2-05", "F2-17"):
        panel.controls["plant"].value = plant
        said[plant] = words(panel)
    assert "Nothing more is needed: it breeds true with a chance of 95 %" in said["F2-46"]
    assert "Nothing more is needed: it does not breed true, with 95 %" in said["F2-20"]
    assert "Score the plant itself first" in said["F2-05"]
    assert "if single dominant gene holds" in said["F2-17"]


def test_where_no_model_fits_no_number_is_given(panel):
    panel.controls["trait"].value = "burn"
    assert words(panel).startswith("No model fits these scores well")
    assert "How many are enough, no model says here" in words(panel)
    assert "at most, if" not in words(panel)


def test_a_recessive_that_may_be_a_slip_is_looked_at_again():
    """No orange plant segregates under one dominant gene, so that no progeny test would help."""
    season = sown(Ash="rrr", Elm="ooo", F1="rrr", F2="rrro")
    told = carrypanels._all_alike(season, "colour", "orange")
    assert told is not None and told.n == 0 and told.model == "single dominant gene"
    odds = bk.plant_odds(season, "colour", "single dominant gene")
    one = replace(odds.plant("F2-3"), true=0.8)
    assert "every orange plant breeds true" in carrypanels._to_settle(one, told)


def test_tables_that_cannot_be_asked():
    bare = pd.DataFrame({"plant": ["a", "b"], "family": ["", ""], "colour": ["red", "red"]})
    assert "No plant of this table has a family" in words(
        panels.what_it_carries(bk.load_season(plants=bare))
    )
    unknown = panels.what_it_carries(bk.load_season(plants=bare.assign(family="mine")))
    assert "nothing was scored in a family whose parents are known" in words(unknown)
    numbers = pd.DataFrame({"plant": ["a", "b"], "family": ["F2", "F2"], "weight": ["1.5", "2.5"]})
    assert "No trait of this table has classes" in words(
        panels.what_it_carries(bk.load_season(plants=numbers))
    )
    counts = pd.DataFrame({"red": [30], "orange": [10]}, index=pd.Index(["F2"], name="family"))
    tallies = panels.what_it_carries(bk.load_counts(counts))
    assert "this season holds tallies" in words(tallies) and "<img" not in tallies.said.value


def test_a_family_that_was_not_scored():
    season = sown(Ash="rr", Elm="oo", F1="rr", F2="..")
    panel = panels.what_it_carries(season)
    panel.controls["family"].value = "F2"
    assert "F2-0 was not scored; selfed, it can give red" in words(panel)


def test_plants_without_a_code_are_drawn_but_not_asked_for():
    rows = [("a", "Ash", "red"), ("e", "Elm", "orange"), ("f", "F1", "red"), ("1", "F2", "red")]
    rows += [("", "F2", "orange"), ("", "F2", "orange")]
    plants = pd.DataFrame(rows, columns=["plant", "family", "colour"])
    panel = panels.what_it_carries(bk.load_season(plants=plants, families=FAMILIES))
    panel.controls["family"].value = "F2"
    assert panel.controls["plant"].options == (("1", "1"),)
    assert "orange: no code and 1 more: breeds true" in panel.said.value
    alone = plants[(plants["family"] != "F2") | (plants["plant"] == "")]
    panel = panels.what_it_carries(bk.load_season(plants=alone, families=FAMILIES))
    panel.controls["family"].value = "F2"
    assert "No plant of F2 has a code in this table." in words(panel)


def test_hostile_names_are_text():
    bad = ["<img src=x onerror=alert(1)>", "=cmd()", "$x_$", "🌶 אדום", "W" * 10_000]
    rows = [(name, "F2", look) for name, look in zip(bad, ["red"] * 4 + ["orange"], strict=True)]
    rows += [("p", "Ash", "red"), ("q", "Elm", "orange"), ("f", "F1", "red")]
    plants = pd.DataFrame(rows, columns=["plant", "family", "<b>colour</b>"])
    panel = panels.what_it_carries(bk.load_season(plants=plants, families=FAMILIES))
    panel.controls["family"].value = "F2"
    for _, name in panel.controls["plant"].options:
        panel.controls["plant"].value = name
        said = panel.said.value
        assert "<img src" not in said and "<b>colour" not in said and "W" * 100 not in said
        assert said.count("<img alt=") == 1


def test_every_control_says_what_it_is_for(panel):
    for control in panel.controls.values():
        assert control.description and control.tooltip
    assert panel._repr_mimebundle_()["text/plain"].startswith("What does this plant carry?")


# --- the picture ---------------------------------------------------------------------


def drawn(odds, *asked):
    ax = odds.plot(*asked, ax=Figure(figsize=(6.4, 6)).add_subplot())
    ax.figure.draw_without_rendering()
    names = [t.get_text().replace("\n", " ") for t in ax.get_yticklabels()]
    widths = [b.get_width() for b in ax.patches if b.get_height() == pytest.approx(CHANCE)]
    return ax, names, np.reshape(widths, (2, -1)).T


def test_plants_alike_share_a_bar_and_bars_are_the_chances(season):
    odds = bk.plant_odds(season, "ripe colour", "single dominant gene")
    ax, names, bars = drawn(odds, "F2", "F2-17")
    assert bars.sum(axis=1) == pytest.approx(1)
    assert (np.diff(bars[:, 0]) <= 0).all()  # those that breed true on top
    at = names.index("red: F2-17 and 40 more")
    # 2 in 3 of the red plants of an F2 are Aa; a slip moves it by less than 1 in 100
    assert bars[at, 1] == pytest.approx(2 / 3, abs=0.01)
    # Bayes' rule by hand: 1/3 to 2/3 (3/4)^14
    fixed = (1 / 3) / (1 / 3 + 2 / 3 * 0.75**14)
    assert bars[names.index("red: F2-46"), 0] == pytest.approx(fixed, abs=0.01)
    bold = [t.get_text() for t in ax.get_yticklabels() if t.get_fontweight() == "bold"]
    assert [name.replace("\n", " ") for name in bold] == ["red: F2-17 and 40 more"]
    numbers = [int(t.get_text().split()[0]) for t in ax.texts if "plant" in t.get_text()]
    assert sum(numbers) == 66  # every plant stands in one bar


def test_the_words_of_the_picture_are_true(season):
    odds = bk.plant_odds(season, "ripe colour", "single dominant gene")
    ax, names, bars = drawn(odds, "F2")
    said = canvas.alternative_text(ax)
    for name, (true, _) in zip(names, bars, strict=True):
        assert f"{name}: breeds true {carriers._percent(true)}" in said
    assert "If single dominant gene holds." in canvas.caption_of(ax)
    assert not [t for t in ax.get_yticklabels() if t.get_fontweight() == "bold"]
    averaged = drawn(bk.plant_odds(season, "ripe colour"), "F2")[0]
    assert "Over all models, by weight." in canvas.caption_of(averaged)
    doubted = drawn(bk.plant_odds(season, "burn"), "F2")[0]
    assert "No model fits these scores well" in canvas.caption_of(doubted)


def test_of_many_bars_some_are_left_out_and_told(season, monkeypatch):
    monkeypatch.setattr(carriers, "MOST_BARS", 3)
    odds = bk.plant_odds(season, "ripe colour", "single dominant gene")
    ax, names, _ = drawn(odds, "F2", "F2-20")  # a bar of its own, kept though small
    assert len(names) == 3 and "red: F2-20" in names
    # 66 plants, without F2-20, the 41 red and the 14 orange that nobody sowed
    assert "In the table alone: 10 plants." in canvas.caption_of(ax)
    assert "In the table alone: 10 plants." in canvas.alternative_text(ax)


def test_a_family_or_plant_that_is_not_there(season):
    odds = bk.plant_odds(season, "ripe colour", "single dominant gene")
    with pytest.raises(ModelError, match="F9"):
        odds.plot("F9")
    with pytest.raises(ModelError, match="P1-01"):
        odds.plot("F2", "P1-01")
