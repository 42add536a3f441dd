"""The panel about descent without a browser: values set, answers read, one answer a move."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

import breedkit as bk
from breedkit import panels
from breedkit.controls import Panel

INVENTED = Path(bk.__file__).parent.parent / "sample_data" / "invented_season"


@pytest.fixture
def panel() -> Panel:
    return panels.family_tree(bk.load_season(INVENTED))


def counting(panel: Panel) -> list[dict]:
    """A list that grows by one with every answer the panel gives."""
    asked: list[dict] = []
    plain = panel.answer
    panel.answer = lambda **values: asked.append(values) or plain(**values)
    return asked


def test_it_begins_with_the_line_nearest_to_breeding_true(panel):
    said = panel.said.value
    assert panel.controls["family"].value == "F3-06"
    assert "F3-06 (F2:3 from F2-06): P1 50 ± 9 % and P2 50 ± 9 %; 25 % still" in said
    assert said.count("<img alt=") == 1 and "F3-06: F2-06 of F2 selfed." in said
    assert "3 more selfings" in said and "F3-06 selfed on" in said


def test_one_move_is_one_answer(panel):
    asked = counting(panel)
    panel.controls["family"].value = "BC1P2"
    assert [a["family"] for a in asked] == ["BC1P2"]
    assert "P2 75 ± 5 % and P1 25 ± 5 %" in panel.said.value
    panel.controls["plant"].value = "BC1P2-03"
    assert len(asked) == 2
    assert "BC1P2-03, of family BC1P2" in panel.said.value
    assert "Where BC1P2-03 comes from" in panel.said.value
    panel.controls["pairs"].value = 20
    assert len(asked) == 3 and "20 chromosome pairs" in panel.said.value
    assert "P2 75 ± 4 %" in panel.said.value
    panel.controls["founders"].value = 0.0
    assert len(asked) == 4 and "75 % still heterozygous" in panel.said.value
    panel.controls["family"].value = "F1"  # another family has other plants
    assert asked[-1]["plant"] == "" and len(asked) == 5
    assert panel.controls["plant"].options[1] == ("F1-01", "F1-01")


@pytest.mark.parametrize(
    ("family", "said"),
    [
        ("P1", "P1: a founder, whose parents are not known."),
        ("volunteers", "The parents of family &#x27;volunteers&#x27; are not known."),
    ],
)
def test_what_has_no_parents(panel, family, said):
    panel.controls["family"].value = family
    assert said in panel.said.value and "selfed on" not in panel.said.value


def test_a_table_without_families_and_one_without_parents():
    plants = pd.DataFrame({"plant": ["a", "b"], "family": ["", ""], "colour": ["red", "red"]})
    alone = panels.family_tree(bk.load_season(plants=plants))
    assert "No family of this table has parents that can be followed" in alone.said.value
    unknown = panels.family_tree(bk.load_season(plants=plants.assign(family="mine")))
    assert 'role="alert"' in unknown.said.value and "<img" not in unknown.said.value


def test_a_register_too_large_for_a_picture_still_has_its_words():
    rows = [("A", "", ""), ("B", "", ""), *((f"F{i}x", "A", "B") for i in range(60))]
    rows += [(f"L{i}", f"F{i}x", "selfed") for i in range(60)]
    families = pd.DataFrame(rows, columns=["family", "female", "male"])
    plants = pd.DataFrame({"plant": ["a"], "family": ["L7"], "colour": ["red"]})
    panel = panels.family_tree(bk.load_season(plants=plants, families=families))
    assert "does not come from are left out" in panel.said.value
    panel.controls["family"].value = "A"  # a founder: its line is itself
    assert "A: a founder" in panel.said.value and "<img alt=" in panel.said.value


def test_hostile_names_are_text():
    bad = "<img src=x onerror=alert(1)>"
    families = pd.DataFrame(
        [
            (bad, "", ""),
            ("=cmd()", "", ""),
            ("$x$", bad, "=cmd()"),
            ("W" * 10_000, "$x$", "selfed"),
        ],
        columns=["family", "female", "male"],
    )
    plants = pd.DataFrame({"plant": [bad], "family": ["$x$"], "colour": ["red"]})
    panel = panels.family_tree(bk.load_season(plants=plants, families=families))
    for name in families["family"]:
        panel.controls["family"].value = name
        assert "<img src" not in panel.said.value and "W" * 100 not in panel.said.value
    panel.controls["family"].value = "$x$"
    panel.controls["plant"].value = bad
    assert "<img src" not in panel.said.value and "&lt;img src" in panel.said.value


def test_every_control_says_what_it_is_for(panel):
    for control in panel.controls.values():
        assert control.description and control.tooltip
    assert panel._repr_mimebundle_()["text/plain"].startswith("Where does this line come from?")
