"""The drawings of models: what is drawn and labelled, not the pixels."""

import pandas as pd
import pytest
from matplotlib import pyplot as plt
from matplotlib.colors import to_hex
from matplotlib.figure import Figure

from breedkit import canvas, colours, modelcharts
from breedkit.modelcharts import BAR, STRIP, Line, lines_of_weights

NASTY = ["<img src=x onerror=alert(1)>", "=cmd()", "$x_$", "🌶 אדום", "_hidden", "n" * 10_000]
FAMILIES = ["P1", "F2", "BC1(P2)"]


def axes():
    return Figure(figsize=(6.4, 5), layout="constrained").add_subplot()


def counts() -> pd.DataFrame:
    return pd.DataFrame({"red": [8, 46, 16], "orange": [0, 15, 15]}, index=FAMILIES)


def expected(*red: float) -> pd.DataFrame:
    return pd.DataFrame({"red": red, "orange": [1 - r for r in red]}, index=FAMILIES)


def bars(ax, height: float) -> list:
    return [b for b in ax.patches if b.get_height() == pytest.approx(height)]


def words(ax) -> list[str]:
    ax.figure.draw_without_rendering()
    return [t.get_text() for t in (*ax.get_yticklabels(), *ax.texts)]


# --- weights -------------------------------------------------------------------------


def test_each_model_has_its_bar_and_its_percentage() -> None:
    given = axes()
    ax = modelcharts.weights_of_models(
        ["dominant", "lethal", "duplicate"], [0.9, 0.08, 0.02], [0, 1, 2],
        title="Ripe colour", caption="63 plants.", alt="dominant 90 %.", ax=given,
    )  # fmt: skip
    assert ax is given
    assert [b.get_width() for b in ax.patches] == [1, 1, 1, 0.9, 0.08, 0.02]  # tracks, weights
    assert words(ax) == ["dominant", "lethal", "duplicate", "90 %", "8.0 %", "2.0 %"]
    assert canvas.caption_of(ax) == "63 plants." and canvas.alternative_text(ax) == "dominant 90 %."
    assert not ax.lines  # no bracket


def test_models_that_cannot_be_told_apart_stand_together_in_a_bracket() -> None:
    ax = modelcharts.weights_of_models(
        ["one", "two", "like one", "like two", "own"], [0.4, 0.3, 0.2, 0.08, 0.02], [7, 3, 7, 3, 5],
        ax=axes(),
    )  # fmt: skip
    assert words(ax)[:5] == ["one", "like one", "two", "like two", "own"]
    assert [b.get_width() for b in ax.patches[5:]] == [0.4, 0.2, 0.3, 0.08, 0.02]
    reach = [tuple(round(y) for y in line.get_ydata()) for line in ax.lines]
    assert reach == [(0, 1), (2, 3)]
    assert words(ax).count("cannot be told\napart here") == 2
    for line in ax.lines:  # right of every percentage
        start = line.get_window_extent().x0
        assert all(t.get_window_extent().x1 < start for t in ax.texts if "%" in t.get_text())
    right = max(t.get_window_extent().x1 for t in ax.texts)
    assert right < ax.figure.bbox.x1


def test_of_many_models_the_least_likely_are_one_line() -> None:
    names = [f"m{i}" for i in range(12)]
    weights = [0.5, 0.2, 0.1] + [0.2 / 9] * 9
    lines = lines_of_weights(names, weights, range(12))
    assert [line.name for line in lines] == [*names[:7], "5 others together"]
    assert lines[-1].group is None and lines[-1].weight == pytest.approx(5 * 0.2 / 9)
    assert sum(line.weight for line in lines) == pytest.approx(1)
    assert len(lines_of_weights(names[:8], weights[:8], range(8))) == 8
    ax = modelcharts.weights_of_models(names, weights, range(12), ax=axes())
    assert to_hex(ax.patches[-1].get_facecolor()) == colours.GREY


@pytest.mark.parametrize(
    ("groups", "last"),
    [
        ([0] * 12, [Line("5 more of these together", 5 / 12, 0)]),
        ([0] * 9 + [1] * 3, [Line("3 more of these together", 3 / 12, 0),
                             Line("3 others together", 3 / 12, None)]),
        ([0] * 6 + [1] * 6, [Line("m6", 1 / 12, 1), Line("5 more of these together", 5 / 12, 1)]),
        ([0] * 7 + [1] * 5, [Line("5 others together", 5 / 12, None)]),
        ([0] * 7 + [0, 1, 1, 1, 2], [Line("2 more of these together", 2 / 12, 0),
                                     Line("4 others together", 4 / 12, None)]),
        ([0] * 11 + [1], [Line("5 more of these together", 5 / 12, 0), Line("m11", 1 / 12, 1)]),
    ],
)  # fmt: skip
def test_a_group_that_is_cut_keeps_its_bracket(groups: list[int], last: list[Line]) -> None:
    names = [f"m{i}" for i in range(12)]
    lines = lines_of_weights(names, [1 / 12] * 12, groups)
    assert len(lines) <= 8 and sum(line.weight for line in lines) == pytest.approx(1)
    for seen, right in zip(lines[-len(last) :], last, strict=True):
        assert seen[::2] == right[::2] and seen.weight == pytest.approx(right.weight)


# --- families ------------------------------------------------------------------------


def test_counts_stand_between_what_two_models_expect() -> None:
    ax = modelcharts.families_of_two_models(
        counts(), [expected(1, 0.75, 0.5), expected(1, 0.5625, 0.25)],
        ["single dominant gene", "complementary genes"], caption="70 plants.", ax=axes(),
    )  # fmt: skip
    counted, strips = bars(ax, BAR), bars(ax, STRIP)
    assert [b.get_width() for b in counted] == pytest.approx([1, 46 / 61, 16 / 31, 0, 15 / 61,
                                                              15 / 31])  # fmt: skip
    assert [b.get_width() for b in strips[:6]] == [1, 0.75, 0.5, 0, 0.25, 0.5]
    assert [b.get_width() for b in strips[6:]] == [1, 0.5625, 0.25, 0, 0.4375, 0.75]
    for row, bar in enumerate(counted[:3]):  # first model above, second below
        assert strips[row].get_y() + STRIP < bar.get_y()
        assert strips[6 + row].get_y() > bar.get_y() + BAR
    assert {b.get_facecolor() for b in strips} == {b.get_facecolor() for b in counted}
    assert len({b.get_hatch() for b in strips}) == 2
    said = words(ax)
    assert {"8 plants", "61 plants", "31 plants", "46", *FAMILIES} <= set(said)
    assert "▼ expected with single dominant gene" in said
    assert "▲ expected with complementary genes" in said


def test_the_names_of_the_strips_touch_neither_strips_nor_axis() -> None:
    ax = modelcharts.families_of_two_models(
        counts(), [expected(1, 0.75, 0.5)] * 2, ["one", "two"], title="T"
    )
    ax.figure.draw_without_rendering()
    named = [t.get_window_extent() for t in ax.texts if "expected" in t.get_text()]
    drawn = [b.get_window_extent() for b in ax.patches]
    assert len(named) == 2 and not any(n.overlaps(b) for n in named for b in drawn)
    assert all(n.y0 > ax.get_window_extent().y0 for n in named)
    assert named[0].y1 < ax.get_legend().get_window_extent().y0
    plt.close(ax.figure)


def test_one_model_alone_has_one_strip() -> None:
    ax = modelcharts.families_of_two_models(
        counts(), [expected(1, 0.75, 0.5)], ["single dominant gene"], ax=axes()
    )
    assert len(bars(ax, STRIP)) == 6
    assert [t for t in words(ax) if "expected" in t] == ["▼ expected with single dominant gene"]


def test_a_class_that_was_never_counted_keeps_its_look_in_the_legend() -> None:
    seen = pd.DataFrame({"red": [5], "orange": [0]}, index=["F1"])
    hoped = pd.DataFrame({"red": [0.5], "orange": [0.5]}, index=["F1"])
    ax = modelcharts.families_of_two_models(seen, [hoped], ["m"], ax=axes())
    patches = ax.get_legend().get_patches()
    assert [to_hex(p.get_facecolor()) for p in patches] == [colours.NAMED["red"],
                                                            colours.NAMED["orange"]]  # fmt: skip


@pytest.mark.parametrize("families", [1, 14])
@pytest.mark.parametrize("classes", [1, 4])
def test_few_and_many_families_and_classes_leave_the_words_apart(families, classes) -> None:
    columns = [f"a class with a long name {j}" for j in range(classes)]
    rows = [f"family of a long name that goes on and on {i}" for i in range(families)]
    seen = pd.DataFrame(5, index=rows, columns=columns)
    hoped = seen / (5.0 * classes)
    ax = modelcharts.families_of_two_models(
        seen, [hoped, hoped], ["m" * 90, "two " * 30], title="Ripe colour " * 9,
        caption="By family. " * 30,
    )  # fmt: skip
    figure = ax.figure
    figure.draw_without_rendering()  # a warning about the layout would be an error
    boxes = [t.get_window_extent() for t in (*figure.texts, ax.xaxis.label)]
    boxes += [ax.get_legend().get_window_extent(), ax.get_window_extent()]
    assert len(boxes) == 5
    assert not any(a.overlaps(b) for i, a in enumerate(boxes) for b in boxes[:i])
    assert max(t.get_window_extent().x1 for t in ax.texts) < figure.bbox.x1
    names = [t.get_window_extent() for t in ax.get_yticklabels()]
    assert not any(a.overlaps(b) for i, a in enumerate(names) for b in names[:i])
    assert figure.get_size_inches()[1] < 12  # a page
    plt.close(figure)


@pytest.mark.parametrize("name", NASTY)
def test_a_users_text_is_drawn_as_text(name: str) -> None:
    ax = modelcharts.weights_of_models([name, "b", "c"], [0.5, 0.3, 0.2], [0, 0, 1], title=name,
                                       caption=name, ax=axes())  # fmt: skip
    html = canvas.html_picture(ax)  # draws it all; a warning would be an error
    assert html.count("<") == 1 and "onerror=alert(1)>" not in html
    seen = pd.DataFrame([[1, 2]], index=[name], columns=[name, "b"])
    ax = modelcharts.families_of_two_models(seen, [seen / 3, seen / 3], [name, name], ax=axes())
    assert canvas.html_picture(ax).count("<") == 1
    assert len(ax.get_legend().get_texts()) == 2
