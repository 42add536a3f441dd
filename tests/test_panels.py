"""Panels without a browser: values set, answers read, one answer for each move."""

from datetime import UTC, datetime
from pathlib import Path

import pandas as pd
import pytest

import breedkit as bk
from breedkit import panels
from breedkit.comparison import SUPPORTED
from breedkit.overview import Spelling, rows_typed, sound_meanings, spellings
from breedkit.weights import no_segregation

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


def press(panel: panels.Panel, button: str) -> None:
    (found,) = (c for c in panel.children if getattr(c, "description", "") == button)
    found.click()


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


@pytest.mark.parametrize(
    ("table", "says"),
    [
        ({"family": ["Mum"] * 2 + ["Dad"] * 2 + ["Kids"] * 8, "colour": ["red", "orange"] * 6},
         "are not known"),
        ({"family": ["F2"] * 48, "colour": [f"colour {i}" for i in range(12)] * 4}, "Cannot tell"),
        ({"family": ["F2"] * 4, "colour": [""] * 4}, "Cannot tell"),
        ({"family": ["F2"] * 4, "weight": ["1.5", "2.5", "3.5", "4.5"]}, "nothing to count"),
        ({"family": ["F2"] * 4}, "nothing to count"),
    ],
)  # fmt: skip
def test_ordinary_tables_that_cannot_be_judged_get_words(table: dict, says: str) -> None:
    frame = pd.DataFrame({"plant": range(len(table["family"]))} | table)
    season = bk.load_season(plants=frame)
    panel = panels.one_gene(season)
    assert says in panel.said.value
    # Where classes were scored, the counts are drawn all the same.
    assert panel.said.value.count("<img alt=") == any(table.get("colour", []))
    looking = panels.look_around(season)
    assert looking.said.value
    assert "No spelling needs mending" in panels.mend_spelling(looking).said.value


def test_a_table_without_traits_says_so() -> None:
    season = bk.load_season(plants=pd.DataFrame({"plant": ["1"], "family": ["F2"]}))
    assert "has no trait yet" in panels.look_around(season).said.value


def test_a_likely_slip_is_named_above_the_verdict() -> None:
    colours = ["red"] * 15 + ["rde"] + ["orange"] * 5
    frame = pd.DataFrame({"plant": range(21), "family": ["F2"] * 20 + [""], "colour": colours})
    season = bk.load_season(plants=frame)
    first, *_ = panels.one_gene(season).said.value.split("</p>")
    assert "Mend first, in the notebook season: rde (1 plant) may be a slip." in first
    mended = panels.one_gene(season.mend("colour", {"rde": "red"}))
    assert "Mend first" not in mended.said.value


def test_plants_without_a_family_are_no_family_to_ask_about() -> None:
    frame = pd.DataFrame({"plant": ["1", "2", "3"], "family": ["", "", "F2"], "c": ["x", "x", "y"]})
    panel = panels.one_gene(bk.load_season(plants=frame))
    assert [v for _, v in panel.controls["family"].options] == ["F2"]
    frame["family"] = ""
    panel = panels.one_gene(bk.load_season(plants=frame))
    assert "No plant of this table has a family" in panel.said.value


# --- which model? --------------------------------------------------------------------


def test_which_model_shows_verdict_pictures_facts_and_the_next_family(season) -> None:
    panel = panels.which_model(season)
    html = panel.said.value
    assert panel.controls["trait"].value == "ripe colour"
    assert "Ripe colour: single dominant gene is supported, 99.4 %. It rests on 252 plants" in html
    assert html.count("<img alt=") == 2
    assert "Weights: single dominant gene" in html and "the two likeliest of the models" in html
    assert "mis-scored plants" in html and "candidates tried" in html
    assert "What to grow next" in html and "no family is needed" in html


def test_the_assumed_slips_change_the_verdict(season) -> None:
    panel = panels.which_model(season)
    asked = counting(panel)
    slips = panel.controls["slips"]
    assert [value for _, value in slips.options] == ["", 0, 0.01, 0.02, 0.05, 0.1, 0.15, 0.2]
    slips.value = 0.1
    assert len(asked) == 1
    assert "cannot tell yet" in panel.said.value and "10 % of the plants are" in panel.said.value
    compared = bk.compare_models(season, "ripe colour", scoring_error=0.1)
    assert compared.verdict in panel.said.value
    assert compared.next_family(certainty=SUPPORTED).verdict in panel.said.value
    slips.value = 0.2
    assert "none of these fits" in panel.said.value
    assert "No family yet" in panel.said.value and "no family is needed" not in panel.said.value
    slips.value = ""
    assert "as many as the scores suggest" in panel.said.value


def test_every_rule_can_be_compared_where_there_are_few_classes(season) -> None:
    panel = panels.which_model(season)
    asked = counting(panel)
    panel.controls["every"].value = True
    assert len(asked) == 1
    every = dict.fromkeys([*bk.catalogue().values(), no_segregation(), *bk.every_rule(2)])
    compared = bk.compare_models(season, "ripe colour", list(every))
    assert compared.verdict in panel.said.value and "rule A" in panel.said.value
    counts = [f"colour {i}" for i in range(5)] * 4
    frame = pd.DataFrame({"plant": range(20), "family": "F2", "many": counts,
                          "few": ["a", "b"] * 10})  # fmt: skip
    panel = panels.which_model(bk.load_season(plants=frame))
    panel.controls["trait"].value = "few"
    panel.controls["every"].value = True
    panel.controls["trait"].value = "many"  # too many classes for every rule
    assert panel.controls["every"].value is False
    assert len(panel.controls["every"].options) == 1


@pytest.mark.parametrize(
    ("table", "says", "pictures"),
    [
        ({"colour": ["red"] * 3 + ["orange"]}, "cannot tell yet", 2),
        ({"colour": ["red"] * 4}, "no segregation", 2),
        ({"colour": [""] * 4}, "nothing was scored", 0),
        ({"colour": ["red", "orange"] * 2, "family": [""] * 4}, "nothing was scored", 1),
        ({"colour": [f"colour {i}" for i in range(12)]}, "no model in the catalogue", 1),
        ({"weight": ["1.5", "2.5"]}, "nothing to count", 0),
        ({"colour": [NASTY, NASTY, "=cmd()", "$x_$"]}, "cannot tell yet", 2),
    ],
)
def test_odd_tables_have_an_answer_of_words(table: dict, says: str, pictures: int) -> None:
    n = len(next(iter(table.values())))
    frame = pd.DataFrame({"plant": range(n), "family": ["F2"] * n} | table)
    html = panels.which_model(bk.load_season(plants=frame)).said.value
    assert says in html and html.count("<img alt=") == pictures
    assert NASTY not in html


def test_a_family_that_cannot_be_drawn_is_said(season) -> None:
    plants = pd.DataFrame({"plant": range(13), "family": ["F2"] + ["F3"] * 12,
                           "colour": [""] + ["red"] * 9 + ["orange"] * 3})  # fmt: skip
    plants["plant"] = ["F2-1", *map(str, range(12))]
    families = pd.DataFrame({"family": ["P1", "P2", "F1", "F2", "F3"],
                             "female": ["", "", "P1", "F1", "F2-1"],
                             "male": ["", "", "P2", "selfed", "selfed"]})  # fmt: skip
    html = panels.which_model(bk.load_season(plants=plants, families=families)).said.value
    assert html.count("<img alt=") == 1 and "Each comes from a single plant" in html


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
    press(mending, "Mend it everywhere")
    assert looking.season.counts("ripe colour")["orange"].sum() == before + 3
    assert "Mended: orannge read as orange, in 3 rows" in mending.said.value
    assert "orannge" not in " ".join(label for label, _ in spelling.options)
    assert "Mended" in mending.said.value
    assert not (tmp_path / "none").exists()  # the invented season is not written anywhere


def test_nothing_to_mend(tmp_path) -> None:
    frame = pd.DataFrame({"plant": ["a", "b"], "family": ["F2", "F2"], "colour": ["red", "blue"]})
    mending = panels.mend_spelling(panels.look_around(bk.load_season(plants=frame)), tmp_path)
    assert "No spelling needs mending" in mending.said.value
    press(mending, "Mend it everywhere")


def test_the_suggestion_of_the_problem_comes_first(season, tmp_path) -> None:
    mending = panels.mend_spelling(panels.look_around(season), tmp_path)
    spelling, meaning = mending.controls["spelling"], mending.controls["meaning"]
    assert spelling.value == Spelling("ripe colour", "orannge", True)
    assert meaning.value == "orange" and "in 3 rows" in mending.said.value
    spelling.value = Spelling("ripe colour", "red", False)  # a class has no suggestion
    assert meaning.value == "" and "Choose what it means" in mending.said.value
    assert [v for _, v in meaning.options] == ["", "orange", "?"]


def test_nothing_is_mended_before_a_meaning_is_chosen(season, tmp_path) -> None:
    looking = panels.look_around(season)
    mending = panels.mend_spelling(looking, tmp_path)
    mending.controls["meaning"].value = ""
    press(mending, "Mend it everywhere")
    assert "Choose first what orannge means" in mending.said.value and looking.season is season
    mending.controls["meaning"].value = "orange"
    press(mending, "Mend it everywhere")
    mended = looking.season
    press(mending, "Mend it everywhere")  # a second press does not mend the next spelling
    assert "Choose first" in mending.said.value and looking.season is mended


def test_a_number_is_mended_in_the_table(tmp_path) -> None:
    frame = pd.DataFrame(
        {"plant": range(9), "family": ["F2"] * 9, "weight": ["1.5"] * 8 + ["1.x"]}
    )  # fmt: skip
    mending = panels.mend_spelling(panels.look_around(bk.load_season(plants=frame)), tmp_path)
    advice = "Type the number in your table and pick it again."
    assert advice in mending.said.value and "Choose what it means" not in mending.said.value
    press(mending, "Mend it everywhere")
    assert advice in mending.said.value and "Choose first" not in mending.said.value


def test_any_class_can_be_renamed_but_not_into_one_that_is_in_doubt(tmp_path) -> None:
    frame = pd.DataFrame(
        {
            "plant": range(18), "family": ["F2"] * 18,
            "fruit": ["round"] * 10 + ["ruond", "Round "] + ["long"] * 6,
        }
    )  # fmt: skip
    season = bk.load_season(plants=frame)
    assert [(s.typed, s.listed) for s in spellings(season)] == [
        ("ruond", True), ("round", False), ("long", False),
    ]  # fmt: skip
    long = Spelling("fruit", "long", False)
    assert sound_meanings(season, long) == ["round"]
    assert rows_typed(season, long) == 6
    assert rows_typed(season, Spelling("fruit", "round", False)) == 11
    looking = panels.look_around(season)
    mending = panels.mend_spelling(looking, tmp_path)
    mending.controls["spelling"].value = long
    mending.controls["meaning"].value = "round"
    press(mending, "Mend it everywhere")
    assert looking.season.counts("fruit").loc["F2", "round"] == 17


def test_a_family_that_is_not_in_the_register_can_be_mended(season, tmp_path) -> None:
    looking = panels.look_around(season)
    mending = panels.mend_spelling(looking, tmp_path)
    mending.controls["spelling"].value = Spelling("family", "volunteers", True)
    assert "volunteers" not in [v for _, v in mending.controls["meaning"].options]
    mending.controls["meaning"].value = "F2"
    assert "in 2 rows" in mending.said.value
    press(mending, "Mend it everywhere")
    assert "volunteers" not in looking.season.family_names


def test_a_mend_can_be_undone_also_in_the_kept_season(tmp_path) -> None:
    folder = tmp_path / "my_season"
    panels.keep_files(picked(*sorted(SEASON.glob("*.csv"))), folder)
    files = {p.name: p.read_bytes() for p in folder.glob("*.csv")}
    looking = panels.look_around(panels.season_at_hand(folder))
    mending = panels.mend_spelling(looking, folder)
    before = looking.season.counts("ripe colour")
    press(mending, "Undo the last mend")
    assert "no mend to undo" in mending.said.value
    press(mending, "Mend it everywhere")
    assert "kept in the folder my_season" in mending.said.value
    assert not panels.season_at_hand(folder).counts("ripe colour").equals(before)
    press(mending, "Undo the last mend")
    assert "Undone: orannge read as orange" in mending.said.value
    assert looking.season.counts("ripe colour").equals(before)
    assert {p.name: p.read_bytes() for p in folder.glob("*.csv")} == files


def test_a_mend_never_writes_over_another_table_loaded_since(season, tmp_path) -> None:
    folder = tmp_path / "my_season"
    mending = panels.mend_spelling(panels.look_around(season), folder)
    own = tmp_path / "mine.csv"
    own.write_text("plant,family,colour\np1,F2,red\np2,F2,orange\n", encoding="utf-8")
    panels.keep_files(picked(own), folder)
    press(mending, "Mend it everywhere")
    assert "Mended" in mending.said.value and "It is not kept" in mending.said.value
    assert len(panels.season_at_hand(folder).plants) == 2


def test_all_plants_are_listed_in_a_box_that_scrolls(season) -> None:
    html = panels.look_around(season).said.value
    assert html.count("<tr>") == len(season.plants) + 1
    assert "overflow:auto" in html and 'tabindex="0"' in html
    assert ">nan<" not in html.lower()


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
    press(mending, "Mend it everywhere")
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
    press(panel, "Back to the invented season")
    assert "The invented season" in panel.said.value
    assert (tmp_path / "my_season_old2" / "plants.csv").exists()


def test_mends_hold_in_the_corrected_table(tmp_path) -> None:
    folder = tmp_path / "my_season"
    own = tmp_path / "mine.csv"
    colours = ["red"] * 15 + ["rde", "ornage", "orange", "orange", "orange", "orange", "orange"]
    lines = ["plant,family,colour"] + [f"{i},F2,{c}" for i, c in enumerate(colours)]
    own.write_text("\n".join([*lines, "90,F22,red", "91,F2,dead"]), encoding="utf-8")
    panel = panels.load_table(folder)
    panel.controls["picked"].value = picked(own)
    kept = panels.season_at_hand(folder)
    kept = kept.mend("colour", {"rde": "red", "ornage": "orange", "dead": "?"})
    kept.mend("family", {"F22": "F2"}).save(folder)
    # Corrected: ornage is put right, rde and F22 still stand there, and a plant more does.
    lines = [line.replace("ornage", "orange") for line in lines]
    own.write_text("\n".join([*lines, "90,F22,red", "91,F2,Dead", "92,F2,rde"]), encoding="utf-8")
    panel.controls["picked"].value = picked(own)
    said = "3 mends made before hold here too: rde read as red, dead read as not scored"
    assert said in panel.said.value and "F22 read as F2" in panel.said.value
    counts = panels.season_at_hand(folder).counts("colour")
    assert counts.loc["F2"].to_dict() == {"red": 18, "orange": 6, "not scored": 1}
    assert list(counts.index) == ["F2"]
    assert b"rde" in (folder / "as_loaded" / "mine.csv").read_bytes()
    # A class that is no longer there is no meaning; a season put aside first has no say.
    own.write_text("plant,family,colour\n1,F2,rde\n2,F2,yellow\n", encoding="utf-8")
    panel.controls["picked"].value = picked(own)
    assert "made before" not in panel.said.value
    assert set(panels.season_at_hand(folder).trait("colour").classes) == {"rde", "yellow"}
    press(panel, "Back to the invented season")
    own.write_text("\n".join([*lines, "90,F22,red"]), encoding="utf-8")
    panel.controls["picked"].value = picked(own)
    assert "made before" not in panel.said.value


def test_the_panel_names_the_folder_of_what_it_puts_aside(tmp_path) -> None:
    folder = tmp_path / "my_season"
    panel = panels.load_table(folder)
    press(panel, "Back to the invented season")
    assert "kept in the folder" not in panel.said.value  # there was nothing to put aside
    panel.controls["picked"].value = picked(*sorted(SEASON.glob("*.csv")))
    assert "loaded before" not in panel.said.value
    one = tmp_path / "mine.csv"
    one.write_text("plant,family,colour\np1,F2,red\np2,F2,orange\n", encoding="utf-8")
    panel.controls["picked"].value = picked(one)
    assert "What you had loaded before is kept in the folder my_season_old1" in panel.said.value
    bad = tmp_path / "photo.csv"
    bad.write_bytes(b"%PDF-1.7 \x00\x01")
    panel.controls["picked"].value = picked(bad)
    assert 'role="alert"' in panel.said.value
    assert "Your season is still what the other notebooks use" in panel.said.value
    assert "2 plants" in panel.said.value
    press(panel, "Back to the invented season")
    assert "is kept in the folder my_season_old2" in panel.said.value
    assert "The invented season is what" in panel.said.value


def test_problems_have_the_rows_and_the_name_of_the_growers_own_file(tmp_path) -> None:
    own = tmp_path / "my peppers.csv"
    lines = ["my peppers of 2041,,", ",,", "plant,family,fruit"]
    lines += [f"{i},F2,{'ruond' if i == 9 else 'round'}" for i in range(12)]
    own.write_text("\n".join(lines), encoding="utf-8")
    at = lines.index("9,F2,ruond") + 1
    folder = tmp_path / "my_season"
    panel = panels.load_table(folder)
    panel.controls["picked"].value = picked(own)
    assert "worth a look, in my peppers.csv (1)" in panel.said.value
    assert f"<bdi>{at}</bdi>" in panel.said.value and "1 row<" in panel.said.value
    assert "numbered as in your own file" in panel.said.value
    # Later, when the picked file is gone, the copy still knows its rows.
    again = panels.load_table(folder)
    assert "worth a look, in my peppers.csv (1)" in again.said.value
    assert f"<bdi>{at}</bdi>" in again.said.value


def test_no_message_shows_an_inside_name(tmp_path) -> None:
    one, two = tmp_path / "some.csv", tmp_path / "other.csv"
    for path in (one, two):
        path.write_text("plant,family\n1,F2\n", encoding="utf-8")
    panel = panels.load_table(tmp_path / "my_season")
    panel.controls["picked"].value = picked(one, two)
    assert "arriving" not in panel.said.value
    assert "your files: no table of plants" in panel.said.value
    assert "The invented season is still what the other notebooks use" in panel.said.value


def test_an_advice_is_shown_whole_and_a_long_word_is_cut() -> None:
    frame = pd.DataFrame(
        {"plant": range(9), "family": ["F2"] * 9, "fruits": ["1-2-2041", "x" * 300] + ["3"] * 7}
    )
    traits = pd.DataFrame({"trait": ["fruits"], "kind": ["count"]})
    html = panels.season_html(bk.load_season(plants=frame, traits=traits))
    assert "format the column as text, type again." in html
    assert "x" * 59 + "…" in html and "x" * 60 not in html


def test_columns_that_say_nothing_are_left_out(season) -> None:
    html = panels.season_html(season)
    assert "Not used until mended, in plants.csv" in html and ">source<" not in html
    assert "3 rows" in html
    check = html[html.index("worth a look") :]
    assert ">suggestion<" not in check  # nothing is suggested for 'volunteers'


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


def test_every_control_has_a_tooltip(season, tmp_path) -> None:
    looking = panels.look_around(season)
    for panel in (
        looking, panels.mend_spelling(looking), panels.one_gene(season),
        panels.load_table(tmp_path / "none"),
    ):  # fmt: skip
        for control in panel.children:
            if control is not panel.said:
                assert control.tooltip, control.description


def test_hostile_names_are_shown_as_text() -> None:
    frame = pd.DataFrame(
        {"plant": [NASTY, "=cmd()"], "family": ["F2", "F2"], NASTY: [NASTY, "$x_$"]}
    )
    season = bk.load_season(plants=frame)
    for panel in (panels.one_gene(season), panels.look_around(season)):
        assert "<img src" not in panel.said.value
    assert "<img src" not in panels.season_html(season)


def test_a_truth_is_tried_out() -> None:
    panel = panels.try_truth()
    asked = counting(panel)
    panel.controls["f3"].value = 20
    assert len(asked) == 1
    assert "Of 40 seasons of 95 plants drawn from single dominant gene" in panel.said.value
    assert "<img" in panel.said.value and "wrong" in panel.said.value
