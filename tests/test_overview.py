"""Looking around in a season: what is counted, and the plants behind it."""

from pathlib import Path

import pandas as pd
import pytest
from matplotlib.figure import Figure

import breedkit as bk
from breedkit import canvas
from breedkit.errors import TableError
from breedkit.overview import family_labels, first_choice, look_around

SEASON = Path(__file__).parent.parent / "sample_data" / "invented_season"


@pytest.fixture(scope="module")
def season() -> bk.Season:
    return bk.load_season(SEASON)


def axes():
    return Figure(figsize=(6.4, 6), layout="constrained").add_subplot()


def test_families_are_named_by_their_generation(season) -> None:
    labels = family_labels(season)
    assert labels["F2"] == "F2"
    assert labels["BC1P2"] == "BC1P2 (BC1 to P2)"
    assert labels["F3-06"] == "F3-06 (F2:3 from F2-06)"
    assert labels["volunteers"] == "volunteers"


def test_a_classed_trait_by_family(season) -> None:
    view = look_around(season, "ripe colour")
    counts = season.counts("ripe colour")
    assert view.kind == "shares"
    assert view.scored == counts[["red", "orange"]].to_numpy().sum()
    assert view.not_scored == counts["not scored"].sum()
    ax = view.plot(axes())
    assert "46 red, 15 orange (61 plants)" in canvas.alternative_text(ax)


def test_a_measured_trait_by_family(season) -> None:
    view = look_around(season, "fruit weight")
    values = season.values("fruit weight")["value"]
    assert view.kind == "points" and view.scored == values.notna().sum()
    assert view.not_scored == values.isna().sum()
    assert len(view.plot(axes()).collections) == view.frame["group"].nunique()
    assert view.axes[0] == "fruit weight, g"


def test_two_traits_against_each_other(season) -> None:
    discs = look_around(season, "ripe colour", "fruit position", family="F2")
    plants = season.plants.query("family == 'F2'")
    both = plants[["ripe colour", "fruit position"]].dropna()
    assert discs.kind == "discs" and discs.frame.to_numpy().sum() == len(both) == discs.scored
    assert discs.frame.loc["hanging", "red"] == len(
        both.query("`ripe colour` == 'red' and `fruit position` == 'hanging'")
    )
    assert look_around(season, "fruit weight", "fruit length").kind == "scatter"
    one, other = (
        look_around(season, *t)
        for t in (("fruit weight", "ripe colour"), ("ripe colour", "fruit weight"))
    )
    assert one.kind == other.kind == "points"
    pd.testing.assert_frame_equal(one.frame, other.frame)
    for view in (discs, one, look_around(season, "fruit weight", "fruit length")):
        assert canvas.alternative_text(view.plot(axes()))


def test_the_plants_behind_a_bar(season) -> None:
    orange = look_around(season, "ripe colour", family="F2", shown="orange").plants_behind
    assert len(orange) == 15 and set(orange["family"]) == {"F2"}
    missing = look_around(season, "ripe colour", shown="not scored").plants_behind
    assert len(missing) == season.counts("ripe colour")["not scored"].sum()
    assert "orannge" in set(missing["typed"])  # what was typed is beside what was understood


def test_of_two_traits_not_scored_means_either(season) -> None:
    view = look_around(season, "fruit weight", "burn", shown="not scored")
    both = season.plants[["fruit weight", "burn"]]
    missing = int(both.isna().any(axis=1).sum())
    assert missing > both["fruit weight"].isna().sum()  # else nothing is told apart
    assert view.not_scored == len(view.plants_behind) == missing
    words = f"{len(both) - missing} plants scored for both"
    assert words in view.verdict and words in canvas.caption_of(view.plot(axes()))
    assert list(view.plants_behind)[2:] == ["fruit weight", "typed", "burn"]


def test_tallies_have_no_plants_behind_them() -> None:
    season = bk.load_counts(
        pd.DataFrame({"family": ["F2", "F2"], "class": ["red", "orange"], "count": [9, 3]})
    )
    view = look_around(season, season.trait_names[0])
    assert view.scored == 12 and view.plants_behind.empty
    assert canvas.alternative_text(view.plot(axes()))


@pytest.mark.parametrize(
    "ask, says",
    [
        ({"trait": "colr"}, "is not a trait"),
        ({"trait": "ripe colour", "against": "nothing"}, "is not a trait"),
        ({"trait": "ripe colour", "family": "F7"}, "no family called"),
        ({"trait": "ripe colour", "shown": "orang"}, "Did you mean 'orange'"),
    ],
)
def test_what_cannot_be_shown(season, ask: dict, says: str) -> None:
    with pytest.raises(TableError, match=says):
        look_around(season, **ask)


def test_hostile_names_are_shown_as_text() -> None:
    nasty = "<img src=x onerror=alert(1)>"
    frame = pd.DataFrame(
        {"plant": ["=cmd()", "p2"], "family": [nasty, "F2"], nasty: ["$x_$", nasty]}
    )
    season = bk.load_season(plants=frame)
    view = look_around(season, nasty)
    assert "<img" not in view._repr_html_()
    assert canvas.html_picture(view.plot(axes())).count("<") == 1


@pytest.mark.parametrize(
    ("header", "unit", "axis"),
    [
        ("fruit weight", "g", "fruit weight, g"),
        ("Height cm", "cm", "Height cm"),
        ("Height (cm)", "cm", "Height (cm)"),
        ("length [mm] of fruit", "mm", "length [mm] of fruit"),
        ("Days to flower", "days", "Days to flower"),
        ("height_cm", "cm", "height_cm"),
        ("tallest stem", "m", "tallest stem, m"),
        ("sugar", "%", "sugar, %"),
        ("fruits", "", "fruits"),
    ],
)
def test_a_unit_is_said_once(header: str, unit: str, axis: str) -> None:
    plants = pd.DataFrame({"plant": range(3), "family": ["F2"] * 3, header: ["1.5", "2.5", "3"]})
    traits = pd.DataFrame({"trait": [header], "kind": ["measured"], "unit": [unit]})
    assert look_around(bk.load_season(plants=plants, traits=traits), header).axes[0] == axis


def test_long_names_of_families_are_told_apart_in_a_picture() -> None:
    long = "Tall Merrow times Little Brindle sown in the cold frame, "
    names = [f"{long}{end}" for end in ("north bed", "south bed")]
    frame = pd.DataFrame(
        {"plant": range(4), "family": names * 2, "c": ["x", "y", "x", "x"], "w": ["1.5"] * 4}
    )  # fmt: skip
    season = bk.load_season(plants=frame)
    drawn = list(look_around(season, "c").frame.index)
    assert [len(name) for name in drawn] == [34, 34]
    assert drawn[0].startswith("Tall Merrow") and drawn[0].endswith("north bed")
    assert drawn[1].endswith("south bed")
    assert set(look_around(season, "w").frame["group"]) == set(drawn)
    # Names that would look alike stay whole, so that no two families become one.
    frame["family"] = [long + "a" + long, long + "b" + long] * 2
    assert len(set(look_around(bk.load_season(plants=frame), "w").frame["group"])) == 2


# --- where to begin ------------------------------------------------------------------


def test_the_first_choice_is_an_f2_of_the_first_trait_scored_there(season) -> None:
    assert first_choice(season) == ("ripe colour", "F2")
    frame = pd.DataFrame(
        {
            "plant": range(8), "family": ["Mum"] * 4 + ["F2"] * 4,
            "leaf": ["pale", "dark"] * 2 + [""] * 4, "fruit": ["red", "orange"] * 4,
        }
    )  # fmt: skip
    assert first_choice(bk.load_season(plants=frame)) == ("fruit", "F2")


def test_a_family_of_known_parentage_goes_before_a_larger_one() -> None:
    plants = pd.DataFrame(
        {
            "plant": range(12), "family": ["Mum"] * 2 + ["Kids"] * 3 + ["found"] * 7,
            "colour": ["red", "red", "red", "orange", "red"] + ["red", "orange"] * 3 + ["red"],
        }
    )  # fmt: skip
    families = pd.DataFrame(
        {"family": ["Mum", "Kids"], "female": ["", "Mum"], "male": ["", "open"]}
    )
    assert first_choice(bk.load_season(plants=plants, families=families)) == ("colour", "Kids")
    assert first_choice(bk.load_season(plants=plants)) == ("colour", "found")


@pytest.mark.parametrize(
    ("table", "first"),
    [
        ({"plant": ["1"], "family": ["F2"], "weight": ["1.5"]}, ("", "F2")),
        ({"plant": ["1"], "family": ["F2"]}, ("", "F2")),
        ({"plant": ["1"], "family": ["F2"], "colour": [""]}, ("colour", "F2")),
    ],
)
def test_a_table_with_nothing_to_begin_with_is_no_error(table: dict, first: tuple) -> None:
    assert first_choice(bk.load_season(plants=pd.DataFrame(table))) == first


# --- numbers as one writes them ------------------------------------------------------


def test_counts_are_whole_and_the_median_is_named(season) -> None:
    view = look_around(season, "fruits per node", family="F2")
    (fact,) = view.facts()
    values = season.values("fruits per node").query("family == 'F2'")["value"].dropna()
    assert fact.value == f"median {values.median():g}"
    assert fact.remark.startswith(f"{values.min():.0f} to {values.max():.0f}, ")
    assert "the value of the middle plant" in view.notes[0]
    caption = canvas.caption_of(view.plot(axes()))
    assert "Fruits per node: 1 to 4." in caption and "median (middle plant)" in caption


def test_an_even_number_of_counts_can_have_half_a_fruit_in_the_middle() -> None:
    frame = pd.DataFrame({"plant": range(4), "family": ["F2"] * 4, "fruits": ["1", "2", "3", "9"]})
    (fact,) = look_around(bk.load_season(plants=frame), "fruits").facts()
    assert (fact.value, fact.remark) == ("median 2.5", "1 to 9, 4 plants")


def test_a_caption_gives_the_range_of_both_measured_traits(season) -> None:
    view = look_around(season, "fruit weight", "fruit length")
    weight, length = (f.value for f in view.facts())
    assert f"Fruit weight, g: {weight}. Fruit length, mm: {length}." in canvas.caption_of(
        view.plot(axes())
    )


def test_what_was_not_scored_is_said_in_words(season) -> None:
    missing = look_around(season, "ripe colour", shown="not scored").plants_behind
    assert set(missing["ripe colour"]) == {"not scored"}
    every = look_around(season, "fruits per node").plants_behind["fruits per node"]
    assert str(every.dtype) == "Int64" and every.isna().any()
