"""The drawn pedigree: what is drawn and said, tidied for a page; hostile names; bad questions."""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree

import matplotlib as mpl
import pandas as pd
import pytest
from matplotlib import pyplot as plt
from matplotlib.patches import FancyBboxPatch, PathPatch

import breedkit as bk
from breedkit import canvas
from breedkit.errors import PedigreeError, TableError
from breedkit.familytree import MOST_IN_A_ROW, MOST_MARKS, draw_pedigree, tree_of
from breedkit.treechart import PAGE_WIDTH

INVENTED = Path(bk.__file__).parent.parent / "sample_data" / "invented_season"
PAPER = (8.27, 11.0)  # what A4 and letter have in common, inches

# Invented: six founders and twelve years.
TWELVE_YEARS = """Velm\nOstrin\nTarrow\nPellock\nBrindle Hook\nQuavery
31-A,Velm,Ostrin,2031\n32-A,31-A,selfed,2032\n32-B,31-A,Velm,2032\n33-A,32-A-7,selfed,2033
33-B,32-B,Velm,2033\n33-C,Tarrow,Pellock,2033\n34-A,33-A,selfed,2034\n34-B,33-B,selfed,2034
34-C,33-C,33-A-2,2034\n35-A,34-A,selfed,2035\n35-B,34-B,34-C,2035\n36-A,35-B,selfed,2036
36-B,35-B,Brindle Hook,2036\n36-C,35-A,Brindle Hook,2036\n37-A,36-B-4,selfed,2037
37-B,36-C,36-A,2037\n38-A,37-A,selfed,2038\n38-B,37-B,Quavery,2038\n39-A,38-A,selfed,2039
39-B,38-B,selfed,2039\n39-C,38-B,selfed,2039\n39-D,38-B,selfed,2039\n39-E,38-B,selfed,2039
40-A,39-A,39-B,2040\n41-A,40-A,selfed,2041\n42-A,41-A,selfed,2042"""
THEIR_PLANTS = "32-A-7,32-A\n33-A-2,33-A\n36-B-4,36-B\n42-A-1,42-A"


def season(register: str, plants: str = "x1,none") -> bk.Season:
    rows = [(line.split(",") + [""] * 3)[:4] for line in register.splitlines()]
    families = pd.DataFrame(rows, columns=["family", "female", "male", "season"])
    there = pd.DataFrame([p.split(",") for p in plants.splitlines()], columns=["plant", "family"])
    return bk.load_season(plants=there.assign(colour="red"), families=families)


@pytest.fixture(scope="module")
def invented() -> bk.Season:
    return bk.load_season(INVENTED)


@pytest.fixture(scope="module")
def twelve() -> bk.Season:
    return season(TWELVE_YEARS, THEIR_PLANTS)


@pytest.fixture(autouse=True)
def closed():
    yield
    plt.close("all")


def words(ax) -> list[str]:
    return [t.get_text() for t in ax.texts]


def boxes(ax) -> list[FancyBboxPatch]:
    return [p for p in ax.patches if isinstance(p, FancyBboxPatch)]


def lines(ax) -> list[PathPatch]:
    return [p for p in ax.patches if isinstance(p, PathPatch)]


# --- what is drawn -------------------------------------------------------------------


def test_the_invented_season(invented):
    ax = draw_pedigree(invented, "F3-06")
    said = words(ax)
    for name in ("P1", "P2", "F1", "F2", "BC1P1", "BC1P2", "F3-06", "5 families", "F2-Oddley"):
        assert name in said
    assert "from F2-06" in said and "2041" in said and "2042" in said
    assert len(boxes(ax)) == 9 and len(lines(ax)) == 10
    # Female and male: a sign and a kind of line each, so not by colour.
    assert said.count("♀") == said.count("♂") == 3 and said.count("⊗") == 4
    dashed = [p for p in lines(ax) if p.get_linestyle() not in ("-", "solid")]
    assert len(dashed) == 3
    # The line of descent is thick: P1, P2 to F1, on to F2 and F3-06.
    assert sum(p.get_linewidth() > 1.5 for p in lines(ax)) == 4
    assert sum(b.get_linewidth() > 1.5 for b in boxes(ax)) == 5
    assert canvas.figure_of(ax).get_suptitle() == "Where F3-06 comes from"
    assert canvas.caption_of(ax) == (
        "Solid line, ♀: female parent; dashed, ♂: male parent; ⊗: selfed; "
        "thick: what F3-06 comes from. Not drawn: 1 family whose parents are not known."
    )
    alt = canvas.alternative_text(ax)
    assert "F1: female P1, male P2. F2: F1 selfed. F3-06: F2-06 of F2 selfed." in alt
    assert "Beside this line: BC1P1, BC1P2, F3-11" in alt


def test_the_picture_fits_a_page(twelve):
    for name in ("42-A", "42-A-1", "35-B", None):
        ax = draw_pedigree(twelve, name)
        wide, tall = canvas.figure_of(ax).get_size_inches()
        assert wide <= PAGE_WIDTH + 0.3 <= PAPER[0] and tall <= PAPER[1], name


def test_no_word_leaves_its_box_and_no_two_boxes_touch(twelve):
    ax = draw_pedigree(twelve, "42-A")
    figure = canvas.figure_of(ax)
    figure.canvas.draw()
    drawn = [b.get_window_extent() for b in boxes(ax)]
    inside = [t for t in ax.texts if t.get_zorder() == 5]
    assert len(inside) > len(drawn)
    for text in inside:
        extent = text.get_window_extent()
        middle = (extent.x0 + extent.x1) / 2, (extent.y0 + extent.y1) / 2
        (box,) = [b for b in drawn if b.contains(*middle)]
        assert box.x0 <= extent.x0 and extent.x1 <= box.x1, text.get_text()
    assert not any(a.overlaps(b) for i, a in enumerate(drawn) for b in drawn[:i])
    assert {t.get_text() for t in inside} >= {"Velm", "Ostrin", "Brindle Hook", "42-A"}


def test_years_run_downward_and_the_female_stands_left(twelve):
    ax = draw_pedigree(twelve, "42-A")
    at = {t.get_text(): t.get_position() for t in ax.texts if t.get_zorder() == 5}
    years = [(t.get_position()[1], int(t.get_text())) for t in ax.texts if t.get_text().isdigit()]
    assert [year for _, year in sorted(years)] == sorted(year for _, year in years)
    for parent, child in (("Velm", "31-A"), ("31-A", "32-B"), ("39-A", "40-A"), ("40-A", "42-A")):
        assert at[parent][1] < at[child][1]
    for female, male in (("Velm", "Ostrin"), ("Tarrow", "Pellock"), ("36-C", "36-A")):
        assert at[female][0] < at[male][0]


def test_runs_of_selfings_are_one_mark(twelve):
    tree = tree_of(twelve, "42-A")
    assert not {"32-A", "34-A", "37-A", "38-A"} & set(tree.marks)
    assert (tree.marks["33-A"].times, tree.marks["39-A"].times) == (2, 3)
    # What was chosen, and what has other offspring, is never hidden in a run.
    assert "34-A" in tree_of(twelve, "34-A").marks and "41-A" not in tree.marks
    ax = draw_pedigree(twelve, "42-A")
    assert "⊗ 3" in words(ax) and "number of selfings in a row" in canvas.caption_of(ax)
    assert "39-A: 36-B-4 of 36-B selfed 3 times." in canvas.alternative_text(ax)
    assert "selfings in a row" not in canvas.caption_of(draw_pedigree(season("F2,F1,selfed")))


def test_sister_families_are_one_mark_unless_they_matter(twelve):
    tree = tree_of(twelve, "42-A")
    assert tree.marks["39-E"].sisters == ("39-C", "39-D", "39-E")
    assert "39-B" in tree.marks  # on the line
    chosen = tree_of(twelve, "39-D")
    assert not any(m.sisters for m in chosen.marks.values())


def test_no_line_is_thick_where_none_was_chosen(invented):
    ax = draw_pedigree(invented)
    assert all(p.get_linewidth() < 1.5 for p in lines(ax))
    assert canvas.figure_of(ax).get_suptitle() == "Who came from whom"
    assert "thick" not in canvas.caption_of(ax)
    assert "6 families from F3-06 to F3-54: F2 selfed." in canvas.alternative_text(ax)


def test_a_plant_is_named_in_its_family(invented):
    ax = draw_pedigree(invented, "bc1p2-03")
    assert "plant BC1P2-03" in words(ax)
    assert canvas.figure_of(ax).get_suptitle() == "Where BC1P2-03 comes from"


def test_families_that_only_a_short_form_names():
    plants = pd.DataFrame({"plant": list("abcd"), "family": ["F2", "F2", "BC1(P2)F2", "F2:5"]})
    short = bk.load_season(plants=plants.assign(colour="red"))
    tree = tree_of(short, "F2:5")
    assert tree.line == {"P1", "P2", "F1", "F2", "F2:5", *(n for n in tree.line if "F2:" in n)}
    assert {"P1", "P2", "F1", "BC1(P2)F2", "F2:5"} <= set(tree.marks)
    assert len({m.name for m in tree.marks.values() if m.way == "founder"}) == 2


def test_a_short_form_finds_its_parents_in_whatever_order_they_are_listed():
    plants = pd.DataFrame({"plant": list("abcd"), "family": ["F3", "F2", "F1", "P1"]})
    marks = tree_of(bk.load_season(plants=plants.assign(colour="red")), "F3").marks
    assert set(marks) == {"P1", "P2", "F1", "F3"} and marks["F3"].times == 2


def test_a_code_that_several_families_have_is_named_with_the_family():
    twice = season("F1,Velm,Ostrin\nF2,F1,selfed", "1,F1\n1,F2")
    assert tree_of(twice, "F2 1").plant == "F2 1"
    with pytest.raises(PedigreeError, match="called '1'"):
        tree_of(twice, "1")


def test_open_pollination_and_one_family():
    ax = draw_pedigree(season("A,Velm,Ostrin\nB,A,open"), "B")
    assert "open" in words(ax) and "open: open pollination" in canvas.caption_of(ax)
    assert "B: A open-pollinated." in canvas.alternative_text(ax)
    assert len(boxes(draw_pedigree(season("F1,Velm,Ostrin"), "F1"))) == 3


def test_seasons_that_contradict_the_parents_do_not_turn_the_tree_over():
    tree = tree_of(season("A,Velm,Ostrin,2045\nB,A,selfed,2041\nC,B,Velm,next spring"))
    assert tree.rows["A"] < tree.rows["B"] < tree.rows["C"]
    assert tree.rows["Velm"] == 0


def test_a_large_register_shows_the_chosen_line_and_says_what_is_left_out():
    rows = ["Velm", "Ostrin", "N0,Velm,Ostrin"]
    for i in range(1, 60):  # a thicket, each family from the two before
        rows.append(f"N{i},N{i - 1},{'Velm' if i == 1 else f'N{i - 2}'}")
        rows.append(f"aside{i},N{i},Ostrin")
    large = season("\n".join(rows))
    tree = tree_of(large, "N59")
    marks = list(tree.rows.values())
    assert "N59" in tree.marks and len(marks) <= MOST_MARKS
    assert max(map(marks.count, marks)) <= MOST_IN_A_ROW
    ax = draw_pedigree(large, "N59")
    said = canvas.caption_of(ax)
    assert "does not come from are left out" in said and "Earlier ancestors are left out" in said
    assert "Drawn without their parents: N" in canvas.alternative_text(ax)
    whole = canvas.caption_of(draw_pedigree(large, "N4"))
    assert "does not come from are left out" in whole and "Earlier" not in whole
    with pytest.raises(PedigreeError, match="families are too many for one picture"):
        draw_pedigree(large)


def test_it_draws_where_it_is_told(invented):
    _, (left, right) = plt.subplots(1, 2, figsize=(13, 6))
    assert draw_pedigree(invented, "F2", ax=right) is right
    assert not left.patches and boxes(right)
    assert bk.ancestry(invented).of("F2").plot(left) is left


# --- hostile names, bad questions, files -----------------------------------------------

HOSTILE = (
    "<img onerror=alert(1)>", "=cmd()|x", "$x_$", "_hidden", "🌶️ fire", "שלום ירוק", "W" * 10_000
)  # fmt: skip


def test_hostile_names_are_text(tmp_path):
    one, two, *rest = HOSTILE
    rows, last = [one, two, f"F1,{one},{two}"], "F1"
    for i, name in enumerate(rest):
        rows.append(f"{name},{last},{one if i % 2 else 'selfed'},{2041 + i}")
        last = name
    ax = draw_pedigree(season("\n".join(rows)), "$x_$")
    assert "$x_$" in words(ax) and any(w.startswith("_hidden") for w in words(ax))
    assert not any(t.get_parse_math() for t in ax.texts)
    assert max(map(len, words(ax))) < 60
    text = bk.save_picture(ax, tmp_path / "tree.svg").read_text(encoding="utf-8")
    ElementTree.fromstring(text)
    assert "<img" not in text and "&lt;img onerror" in text
    assert "<img" not in canvas.html_picture(ax).replace("<img alt=", "", 1)


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("BC1P", "called 'BC1P'.\nDid you mean 'BC1P"),
        ("volunteers", "No family or plant with known parents is called 'volunteers'"),
    ],
)
def test_names_that_nobody_has(invented, name, said):
    with pytest.raises(PedigreeError) as error:
        draw_pedigree(invented, name)
    assert said in str(error.value)


def test_a_table_without_parents():
    alone = bk.load_season(plants=pd.DataFrame({"plant": ["a"], "family": ["x"], "c": ["red"]}))
    with pytest.raises(PedigreeError, match="No family of this table has parents"):
        draw_pedigree(alone)


@pytest.mark.parametrize("ending", ["svg", "png", "PNG"])
def test_a_saved_picture_carries_its_words(invented, tmp_path, ending):
    ax = draw_pedigree(invented, "F3-06")
    path = bk.save_picture(ax, tmp_path / f"tree.{ending}")
    first = path.read_bytes()
    kept = first.decode("utf-8", errors="ignore")
    assert "Where F3-06 comes from" in kept and "F2-06 of F2 selfed" in kept
    assert bk.save_picture(ax, path).read_bytes() == first  # without a date
    if ending == "svg":
        assert "<title>Where F3-06 comes from</title>\n <desc>" in kept and "dc:date" not in kept
    assert mpl.rcParams["svg.hashsalt"] is None


def test_pictures_that_cannot_be_saved(invented, tmp_path):
    ax = draw_pedigree(invented)
    with pytest.raises(TableError, match=r"'tree.bmp' is neither"):
        bk.save_picture(ax, tmp_path / "tree.bmp")
    with pytest.raises(TableError, match="cannot be written"):
        bk.save_picture(ax, tmp_path / "nowhere" / "tree.svg")
