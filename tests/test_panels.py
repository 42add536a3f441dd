"""Panels without a browser: values set, answers read, one answer for each move."""

from datetime import UTC, datetime
from pathlib import Path

import pandas as pd
import pytest

import breedkit as bk
from breedkit import panels

SEASON = Path(__file__).parent.parent / "sample_data" / "invented_season"
NASTY = "<img src=x onerror=alert(1)>"


@pytest.fixture
def season() -> bk.Season:
    return bk.load_season(SEASON)


def picked(*paths: Path) -> tuple[dict, ...]:
    """What a file picker hands over."""
    return tuple(
        {
            "name": p.name, "type": "text/csv", "size": p.stat().st_size,
            "last_modified": datetime(2041, 9, 1, tzinfo=UTC),
            "content": memoryview(p.read_bytes()),
        }
        for p in paths
    )  # fmt: skip


def counting(panel: panels.Panel) -> list[dict]:
    """A list that grows by one with every answer the panel gives."""
    asked: list[dict] = []
    plain = panel.answer
    panel.answer = lambda **values: asked.append(values) or plain(**values)
    return asked


# --- is it one gene? -----------------------------------------------------------------


def test_one_gene_shows_verdict_picture_and_plants_needed(season) -> None:
    panel = panels.one_gene(season)
    assert panel.controls["family"].value == "F2"
    html = panel.said.value
    assert "Cannot tell yet: 3:1 and 13:3 both fit 46 red : 15 orange" in html
    assert "plants to tell 3:1 from 13:3" in html and "458 to 479 plants" in html
    assert html.count("<img alt=") == 1


def test_one_move_is_one_answer(season) -> None:
    panel = panels.one_gene(season)
    asked = counting(panel)
    panel.controls["family"].value = "F2-Oddley"
    assert len(asked) == 1 and "13 red : 7 orange" in panel.said.value
    panel.controls["trait"].value = "unripe colour"
    assert len(asked) == 2


def test_what_cannot_be_answered_is_said_in_the_panel(season) -> None:
    panel = panels.one_gene(season)
    panel.controls["family"].value = "volunteers"
    assert 'role="alert"' in panel.said.value and "not known" in panel.said.value
    panel.controls["family"].value = "F2"
    assert "alert" not in panel.said.value


# --- look around and mend ------------------------------------------------------------


def test_look_around_follows_its_controls(season) -> None:
    panel = panels.look_around(season)
    asked = counting(panel)
    assert "Ripe colour, all families" in panel.said.value
    panel.controls["trait"].value = "fruit weight"
    assert len(asked) == 1
    assert [v for _, v in panel.controls["shown"].options] == ["", "not scored"]
    panel.controls["against"].value = "burn"
    assert "Fruit weight against burn" in panel.said.value
    panel.controls["trait"].value = "burn"  # a trait is not shown against itself
    assert panel.controls["against"].value == "" and len(asked) == 3
    panel.controls["family"].value = "F2"
    panel.controls["shown"].value = "hot"
    assert "29 plants hot" in panel.said.value


def test_a_spelling_is_mended_once_for_all(season, tmp_path) -> None:
    looking = panels.look_around(season)
    mending = panels.mend_spelling(looking, tmp_path / "none")
    spelling, meaning = mending.controls["spelling"], mending.controls["meaning"]
    spelling.value = next(v for label, v in spelling.options if "orannge" in label)
    meaning.value = "orange"
    assert "Read <q>orannge</q> in ripe colour as <strong>orange</strong>" in mending.said.value
    before = season.counts("ripe colour")["orange"].sum()
    mending.children[2].click()
    assert looking.season.counts("ripe colour")["orange"].sum() == before + 3
    assert "orannge" not in " ".join(label for label, _ in spelling.options)
    assert "Mended" in mending.said.value
    assert not (tmp_path / "none").exists()  # the invented season is not written anywhere


def test_nothing_to_mend(tmp_path) -> None:
    frame = pd.DataFrame({"plant": ["a", "b"], "family": ["F2", "F2"], "colour": ["red", "blue"]})
    mending = panels.mend_spelling(panels.look_around(bk.load_season(plants=frame)), tmp_path)
    assert "No spelling needs mending" in mending.said.value
    mending.children[2].click()


# --- load a table --------------------------------------------------------------------


def test_a_picked_season_is_kept_for_the_other_notebooks(tmp_path) -> None:
    folder = tmp_path / "my_season"
    panel = panels.load_table(folder)
    assert "The invented season is what the other notebooks use now" in panel.said.value
    picker = panel.controls["picked"]
    picker.value = picked(*sorted(SEASON.glob("*.csv")))
    assert "Your season is what the other notebooks use now" in panel.said.value
    assert "orannge" in panel.said.value and "Not used until mended" in panel.said.value
    kept = panels.season_at_hand(folder)
    pd.testing.assert_frame_equal(
        kept.counts("ripe colour"), bk.load_season(SEASON).counts("ripe colour")
    )
    original = (SEASON / "plants.csv").read_bytes()
    assert (folder / "as_loaded" / "plants.csv").read_bytes() == original
    # A mend is kept too.
    mending = panels.mend_spelling(panels.look_around(kept), folder)
    spelling = mending.controls["spelling"]
    spelling.value = next(v for label, v in spelling.options if "orannge" in label)
    mending.controls["meaning"].value = "orange"
    mending.children[2].click()
    mended = panels.season_at_hand(folder)
    assert mended.counts("ripe colour").loc["F3-20", "orange"] >= 8
    assert (folder / "as_loaded" / "plants.csv").read_bytes() == original


def test_what_was_kept_before_is_put_aside_not_lost(tmp_path) -> None:
    folder = tmp_path / "my_season"
    one = tmp_path / "mine.csv"
    one.write_text("plant,family,colour\np1,F2,red\np2,F2,orange\n", encoding="utf-8")
    panel = panels.load_table(folder)
    panel.controls["picked"].value = picked(one)
    assert "2 plants" in panel.said.value
    panel.controls["picked"].value = picked(*sorted(SEASON.glob("*.csv")))
    assert (tmp_path / "my_season_old1" / "as_loaded" / "mine.csv").exists()
    panel.children[1].click()  # back to the invented season
    assert "The invented season" in panel.said.value
    assert (tmp_path / "my_season_old2" / "plants.csv").exists()


def test_a_file_that_is_no_table_changes_nothing(tmp_path) -> None:
    folder = tmp_path / "my_season"
    bad = tmp_path / "photo.csv"
    bad.write_bytes(b"%PDF-1.7 \x00\x01")
    panel = panels.load_table(folder)
    panel.controls["picked"].value = picked(bad)
    assert 'role="alert"' in panel.said.value
    assert sorted(p.name for p in tmp_path.iterdir()) == ["photo.csv"]


@pytest.mark.parametrize("name", ["../../evil.csv", "/etc/evil.csv"])
def test_a_picked_name_cannot_leave_the_folder(name: str, tmp_path) -> None:
    content = memoryview(b"plant,family,c\n1,F2,x\n2,F2,y\n")
    folder = tmp_path / "deep" / "my_season"
    panels.keep_files(({"name": name, "content": content},), folder)
    assert [p.name for p in (folder / "as_loaded").iterdir()] == ["evil.csv"]
    assert sorted(p.name for p in tmp_path.iterdir()) == ["deep"]


# --- display -------------------------------------------------------------------------


def test_a_panel_says_what_it_is_where_no_widget_can_be(season) -> None:
    bundle = panels.one_gene(season)._repr_mimebundle_()
    assert bundle["text/plain"] == "Is it one gene?: run the notebook to use this panel."
    assert "application/vnd.jupyter.widget-view+json" in bundle


def test_hostile_names_are_shown_as_text() -> None:
    frame = pd.DataFrame(
        {"plant": [NASTY, "=cmd()"], "family": ["F2", "F2"], NASTY: [NASTY, "$x_$"]}
    )
    season = bk.load_season(plants=frame)
    for panel in (panels.one_gene(season), panels.look_around(season)):
        assert "<img src" not in panel.said.value
    assert "<img src" not in panels.season_html(season)
