"""One family against every ratio of the catalogue: verdicts, rivals, plants needed."""

from pathlib import Path

import pandas as pd
import pytest

import breedkit as bk
from breedkit.compare import judge_family
from breedkit.errors import BreedkitError, ModelError, PedigreeError, TableError
from breedkit.models import InheritanceModel, catalogue

SEASON = Path(__file__).parent.parent / "sample_data" / "invented_season"


def tally(**families: dict[str, int]) -> bk.Season:
    """A season of tallies: F2={"red": 13, "orange": 7}."""
    rows = [(f, c, n) for f, counts in families.items() for c, n in counts.items()]
    return bk.load_counts(pd.DataFrame(rows, columns=["family", "class", "count"]))


def judge(family: str = "F2", **families: dict[str, int]):
    season = tally(**families)
    return judge_family(season, season.trait_names[0], family)


def ratios(verdict, fits: bool = True) -> set[str]:
    return {c.ratio for c in verdict.candidates if c.fits == fits}


def test_thirteen_to_seven_cannot_tell() -> None:
    # 66 to 69 plants: exact power 0.90 (check 7.03, recomputed)
    found = judge(F1={"red": 6, "orange": 0}, F2={"red": 13, "orange": 7})
    assert found.verdict.startswith("Cannot tell yet: 3:1 and 9:7 both fit 13 red : 7 orange")
    assert "20 plants" in found.verdict
    assert {"3:1", "9:7"} <= ratios(found)
    assert (found.separation.first, found.separation.second) == (66, 69)
    assert "66 to 69 plants" in repr(found)


def test_many_plants_tell() -> None:
    # Mendel 1866, seed shape (seen): 5474 round, 1850 wrinkled
    found = judge(F1={"round": 20, "wrinkled": 0}, F2={"round": 5474, "wrinkled": 1850})
    assert ratios(found) == {"3:1"}
    assert found.best.models == ("single dominant gene",)
    assert found.verdict.startswith("3:1 fits 5474 round : 1850 wrinkled, and no other ratio")


def test_sweet_peas_are_two_complementary_genes() -> None:
    # Bateson, Saunders and Punnett 1906 (counts from memory): white x white gave a coloured F1
    found = judge(
        P1={"coloured": 0, "white": 5}, P2={"coloured": 0, "white": 5},
        F1={"coloured": 5, "white": 0}, F2={"coloured": 382, "white": 269},
    )  # fmt: skip
    assert ratios(found) == {"9:7"} and found.best.genes == 2


def test_shepherds_purse_is_two_duplicate_genes() -> None:
    # Shull 1914 (counts from memory, low confidence): 2540 triangular, 167 top-shaped
    found = judge(F2={"triangular": 2540, "top": 167})
    assert ratios(found) == {"15:1"} and found.best.models == ("duplicate genes",)


def test_the_dominant_class_is_the_one_the_f1_shows() -> None:
    free = judge(F2={"red": 33, "orange": 31})
    bound = judge(F1={"red": 10, "orange": 0}, F2={"red": 33, "orange": 31})
    assert {"9:7", "7:9"} <= ratios(free)
    assert "9:7" in ratios(bound) and "7:9" not in ratios(bound)


def test_one_slip_among_the_parents_does_not_rule_a_model_out() -> None:
    found = judge(F1={"red": 19, "orange": 1}, F2={"red": 300, "orange": 100})
    assert "3:1" in ratios(found)


def test_three_classes_and_a_declared_one_that_was_not_seen() -> None:
    found = judge(F2={"purple": 450, "green": 150, "white": 200})
    assert ratios(found) == {"9:3:4"}
    found = judge(F2={"purple": 30, "green": 10, "blue": 0})
    assert "3:1" in ratios(found)


def test_single_plant_families_are_judged_by_what_one_plant_can_give() -> None:
    season = bk.load_season(SEASON)
    found = judge_family(season, "ripe colour", "F3-06")  # from one red F2 plant
    assert "5:1" not in {c.ratio for c in found.candidates}
    assert {"3:1", "all red"} <= {c.ratio for c in found.candidates}
    model = catalogue()["single dominant gene"].called(["red", "orange"])
    plan = next(p for f, p in plans(season).items() if f == "F3-06")
    assert model.ratio(plan, {"P1": "AA", "P2": "aa"}) == "5:1"  # the average of such families
    assert [list(o.values()) for o in model.outcomes(plan, {"P1": "AA", "P2": "aa"})] == [
        [1, 0], [pytest.approx(0.75), pytest.approx(0.25)],
    ]  # fmt: skip


def plans(season: bk.Season):
    from breedkit.pedigree import family_plans

    return family_plans(season.families, season.family_names, season.plants, "ripe colour")


def test_a_family_that_cannot_segregate() -> None:
    found = judge("F1", P1={"a": 3, "b": 0}, P2={"a": 0, "b": 3}, F1={"a": 9, "b": 0})
    assert found.best.ratio == "all a"


def test_one_odd_plant_is_pointed_at() -> None:
    found = judge("F1", F1={"red": 11, "orange": 1}, F2={"red": 30, "orange": 10})
    assert any("But for 1 plant, all red would fit too" in n for n in found.notes)


def test_nothing_scored_and_nothing_fits() -> None:
    found = judge(F1={"a": 3, "b": 0}, F2={"a": 0, "b": 0})
    assert found.verdict.startswith("Cannot tell: no plant of F2")
    assert found.best is None and found.separation is None and not found.notes
    found = judge(F2={"a": 640, "b": 360})
    assert found.verdict.startswith("None of these fits")


def test_own_models_take_the_place_of_the_catalogue() -> None:
    season = tally(F2={"x": 10, "y": 3, "z": 3})
    own = InheritanceModel.from_rule({"A_B_": "x", "aabb": "x", "A_bb": "y", "aaB_": "z"})
    found = judge_family(season, season.trait_names[0], "F2", models=[own])
    assert "10:3:3" in ratios(found) and found.best.models == ("own rule",)


def test_order_of_families_and_classes_changes_nothing() -> None:
    one = judge(F1={"red": 9, "orange": 0}, F2={"red": 46, "orange": 15})
    other = judge(F2={"orange": 15, "red": 46}, F1={"orange": 0, "red": 9})
    flip = {"3:1": "1:3", "13:3": "3:13"}
    assert {flip[r] for r in ratios(one)} == ratios(other)


@pytest.mark.parametrize(
    "trait, family, error, says",
    [
        ("ripe color", "F2", TableError, "Did you mean 'ripe colour'"),
        ("ripe colour", "F9", TableError, "no family called 'F9'"),
        ("ripe colour", "volunteers", PedigreeError, "parents of family 'volunteers'"),
        ("fruit weight", "F2", TableError, "has no classes"),
    ],
)
def test_what_cannot_be_asked(trait: str, family: str, error: type, says: str) -> None:
    with pytest.raises(error, match=says) as caught:
        judge_family(bk.load_season(SEASON), trait, family)
    assert isinstance(caught.value, BreedkitError)


def test_the_chart_says_the_verdict() -> None:
    from matplotlib.figure import Figure

    from breedkit import charts

    found = judge(F1={"red": 6, "orange": 0}, F2={"red": 13, "orange": 7})
    ax = Figure(layout="constrained").add_subplot()
    assert found.plot(ax) is ax
    assert [b.get_width() for b in ax.patches] == [13, 7]
    assert [line.get_xdata()[0] for line in ax.lines] == [15, 5]
    alt = charts.alternative_text(ax)
    assert "cannot tell 3:1 from 9:7" in alt and "13 red : 7 orange" in alt
    assert "0.439" in charts.caption_of(ax)
    ax = Figure(layout="constrained").add_subplot()
    found.plot(ax, ratio="9:7")
    assert [line.get_xdata()[0] for line in ax.lines] == [11.25, 8.75]
    with pytest.raises(ModelError, match="no ratio among the candidates"):
        found.plot(ax, ratio="8:8")


def test_display_and_table() -> None:
    found = judge(F1={"red": 6, "orange": 0}, F2={"red": 13, "orange": 7})
    assert list(found.table()["ratio"][:2]) == ["3:1", "9:7"]
    nasty = "<img src=x onerror=alert(1)>"
    html = judge(F2={nasty: 13, "orange": 7})._repr_html_()
    assert "<img" not in html and "&lt;img" in html
