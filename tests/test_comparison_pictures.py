"""The pictures of a comparison: what they say and draw, and what cannot be drawn."""

from pathlib import Path

import pandas as pd
import pytest
from matplotlib.colors import to_hex
from matplotlib.figure import Figure

import breedkit as bk
from breedkit import canvas
from breedkit.colours import GREY
from breedkit.comparison import Comparison
from breedkit.errors import ModelError
from breedkit.modelcharts import BAR, STRIP

SEASON = Path(__file__).parent.parent / "sample_data" / "invented_season"
CROSS = {
    "P1": ("", ""), "P2": ("", ""), "F1": ("P1", "P2"), "F2": ("F1", "selfed"),
    "BC": ("F1", "P2"), "F3": ("F2-1", "selfed"),
}  # fmt: skip
TRUE = {"P1": {"red": 5}, "P2": {"orange": 5}, "F1": {"red": 5}}


def axes():
    return Figure(figsize=(6.4, 5), layout="constrained").add_subplot()


def compare(families: dict[str, dict[str, int]], **asked) -> Comparison:
    """The comparison for an invented cross; a class called '' stands for a blank cell."""
    rows = []
    for family, counts in families.items():
        looks = [look for look, n in counts.items() for _ in range(n)]
        rows += [(f"{family}-{i}", family, look) for i, look in enumerate(looks, 1)]
    register = [(f, *CROSS[f]) for f in CROSS]
    season = bk.load_season(
        plants=pd.DataFrame(rows, columns=["plant", "family", "colour"]),
        families=pd.DataFrame(register, columns=["family", "female", "male"]),
    )
    return bk.compare_models(season, "colour", **asked)


@pytest.fixture(scope="module")
def invented() -> Comparison:
    return bk.compare_models(bk.load_season(SEASON), "ripe colour")


def bars(ax, height: float) -> list[float]:
    return [b.get_width() for b in ax.patches if b.get_height() == pytest.approx(height)]


def words(ax) -> list[str]:
    return [t.get_text() for t in (*ax.get_yticklabels(), *ax.texts)]


def test_the_weights_of_the_invented_season(invented) -> None:
    given = axes()
    ax = invented.plot(given)
    assert ax is given
    drawn = [b.get_width() for b in ax.patches]
    assert drawn[8 : 8 + 7] == [w.weight for w in invented.weights[:7]]
    assert sum(drawn[8:]) == pytest.approx(1)
    assert ax.figure.get_suptitle() == invented.headline
    slips = "Slips of scoring are allowed for, as many as the scores suggest."
    assert canvas.caption_of(ax) == f"252 plants in 13 families. {slips}"
    alt = canvas.alternative_text(ax)
    assert "single dominant gene 99.4 %; dominant inhibitor 0.5 %" in alt
    assert "4 others together under 0.1 %" in alt and "Cannot be told apart" not in alt


@pytest.mark.parametrize(
    ("rate", "says"),
    [(0.0, "Taken for granted: no plant is written down as another class."),
     (0.1, "Taken for granted: 10 % of the plants are written down as another class.")],
)  # fmt: skip
def test_what_is_assumed_of_the_scores_is_said(rate: float, says: str) -> None:
    found = compare({**TRUE, "F2": {"red": 30, "orange": 10}}, scoring_error=rate)
    assert canvas.caption_of(found.plot(axes())) == f"55 plants in 4 families. {says}"


def test_the_families_of_the_invented_season(invented) -> None:
    ax = invented.plot_families(ax=axes())
    drawn = ["P1", "P2", "F1", "F2", "BC1P1", "BC1P2", "F2-Oddley"]
    assert words(ax)[: len(drawn)] == drawn  # the F3 come from single plants
    assert bars(ax, BAR)[:7] == pytest.approx([1, 0, 1, 46 / 61, 1, 16 / 31, 13 / 20])
    one, two = invented.weights[:2]
    first = [one.expected[f][0] for f in drawn]
    second = [two.expected[f][0] for f in drawn]
    assert bars(ax, STRIP)[:7] == pytest.approx(first)
    assert bars(ax, STRIP)[14:21] == pytest.approx(second)
    assert bars(ax, STRIP)[3] == pytest.approx(3 / 4, abs=1e-3)  # one gene, Mendel 1866
    assert bars(ax, STRIP)[17] == pytest.approx(13 / 16, abs=0.01)  # 13:3, and few slips
    assert bars(ax, STRIP)[5] == pytest.approx(1 / 2, abs=1e-3)
    caption = canvas.caption_of(ax)
    assert "Strips above: expected with single dominant gene (99.4 %)" in caption
    assert "below with dominant inhibitor (0.5 %). The two part most in F2." in caption
    assert "Not drawn, as each from a single plant: F3-06, F3-11 and 4 others." in caption
    alt = canvas.alternative_text(ax)
    assert "F2: 46 red, 15 orange counted, 45.7 : 15.3 or 49.3 : 11.7 expected." in alt
    alone = invented.plot_families(rivals=1, ax=axes())
    assert len(bars(alone, STRIP)) == 14 and "below" not in canvas.caption_of(alone)


def test_the_second_model_is_one_that_expects_other_numbers() -> None:
    found = compare({**TRUE, "BC": {"red": 20, "orange": 20}})
    assert [w.name for w in found.inseparable] == ["single dominant gene", "dominant inhibitor"]
    ax = found.plot(axes())
    assert "cannot be told\napart here" in words(ax)
    apart = "Cannot be told apart here: single dominant gene and dominant inhibitor."
    assert apart in canvas.alternative_text(ax)
    ax = found.plot_families(ax=axes())
    other = next(w for w in found.weights if w.group != found.best.group)
    assert f"▲ expected with {other.name}" in words(ax)
    caption = canvas.caption_of(ax)
    assert "Expecting the same as the first: dominant inhibitor." in caption
    assert "Not drawn" not in caption


def test_two_models_that_hardly_part_are_said_to() -> None:
    found = compare({"F2": {"red": 30, "orange": 30}})
    assert "expect nearly the same" in canvas.caption_of(found.plot_families(ax=axes()))


def test_the_title_says_what_the_verdict_says(invented) -> None:
    supported = "Ripe colour: single dominant gene is supported"
    assert invented.headline == supported and invented.verdict.startswith(supported)
    two = compare({**TRUE, "BC": {"red": 20, "orange": 20}})
    assert two.headline.endswith("dominant inhibitor is supported, not separable here")
    assert "but they are not separable here" in two.verdict
    few = compare({"F2": {"red": 9, "orange": 3}})
    assert few.headline == "Colour: cannot tell yet" and "cannot tell yet" in few.verdict
    odd = compare({**TRUE, "BC": {"red": 20, "orange": 20}, "F2": {"red": 3, "orange": 60}})
    assert odd.headline == "Colour: none of these models fits" and "none of these" in odd.verdict
    title = odd.plot_families(ax=axes()).figure.get_suptitle()
    assert " ".join(title.split()) == f"{odd.headline}; the two likeliest of them"
    ax = odd.plot(axes())
    assert "Chance of a misfit as large as that of" in canvas.caption_of(ax)
    assert (
        to_hex(ax.patches[-1].get_facecolor())
        == GREY
        != to_hex(two.plot(axes()).patches[-2].get_facecolor())
    )


def test_one_plant_is_drawn() -> None:
    found = compare({"P1": {"red": 1}})
    assert bars(found.plot_families(ax=axes()), BAR) == [1]
    assert "1 plant in one family" in canvas.caption_of(found.plot(axes()))


def test_what_cannot_be_drawn_is_said(invented) -> None:
    nothing = compare({"F2": {"": 4}})
    for draw in (nothing.plot, nothing.plot_families):
        with pytest.raises(ModelError, match=r"no model to draw 'colour' with.\nColour: nothing"):
            draw()
    with pytest.raises(ModelError, match="One model or two are drawn beside the counts, not 3"):
        invented.plot_families(rivals=3)
    single = compare({"F2": {"": 4}, "F3": {"red": 9, "orange": 3}})
    assert single.plot(axes())
    with pytest.raises(ModelError, match="no family to draw 'colour' in.\nEach comes from a sin"):
        single.plot_families()
