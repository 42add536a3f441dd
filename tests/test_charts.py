"""Charts: what is drawn and labelled, not the pixels."""

import re
from colorsys import rgb_to_hls

import pandas as pd
import pytest
from matplotlib import pyplot as plt
from matplotlib.colors import to_hex, to_rgb
from matplotlib.figure import Figure

from breedkit import canvas, charts, colours

NASTY = ["<img src=x onerror=alert(1)>", "=cmd()", "$x_$", "🌶 אדום", "_hidden", "n" * 10_000]


def axes():
    figure = Figure(figsize=(6.4, 4), layout="constrained")
    return figure.add_subplot()


def frame() -> pd.DataFrame:
    return pd.DataFrame(
        {"red": [10, 0, 45, 0], "orange": [0, 9, 15, 0]},
        index=pd.Index(["Marl", "Tind", "27-F2", "28-x"], name="family"),
    )


def words(ax) -> list[str]:
    ax.figure.draw_without_rendering()
    labels = [*ax.get_xticklabels(), *ax.get_yticklabels(), *ax.texts]
    if ax.get_legend():
        labels += ax.get_legend().get_texts()
    return [t.get_text() for t in labels]


def test_counted_against_expected() -> None:
    given = axes()
    ax = charts.bars_against_expected(
        ["red", "orange"], [44, 20], [48, 16], marked=[False, True],
        title="One gene?", caption="64 plants.", alt="44 red, 20 orange.", ax=given,
    )  # fmt: skip
    assert ax is given
    bars = ax.patches
    assert [b.get_width() for b in bars] == [44, 20]
    assert [to_hex(b.get_facecolor()) for b in bars] == [colours.NAMED["red"],
                                                         colours.NAMED["orange"]]  # fmt: skip
    assert len({b.get_hatch() for b in bars}) == 2  # colour is not the only sign
    assert [line.get_xdata()[0] for line in ax.lines] == [48, 16]
    assert "44 counted, 48 expected" in words(ax)
    assert "20 counted, 16 expected ▲" in words(ax)  # the misfit is marked
    assert canvas.caption_of(ax) == "64 plants."
    assert canvas.alternative_text(ax) == "44 red, 20 orange."


def shown_at(ax, text: str):
    """Where a text stands on the picture, in pixels."""
    ax.figure.draw_without_rendering()
    [found] = [t for t in ax.texts if t.get_text() == text]
    return found.get_window_extent()


def test_words_beside_the_bars_are_never_cut() -> None:
    for counted, expected in (([6, 12], [13.5, 4.5]), ([1064, 4], [1033.5, 34.5])):
        for name in ("red", "a name of many words that takes several lines of text"):
            ax = charts.bars_against_expected([name, "b"], counted, expected, marked=[True, True])
            ends = [shown_at(ax, t.get_text()).x1 for t in ax.texts if "counted" in t.get_text()]
            assert len(ends) == 2 and max(ends) < ax.figure.bbox.x1
            plt.close(ax.figure)


def test_a_rival_ratio_is_a_second_line_with_a_name() -> None:
    ax = charts.bars_against_expected(
        ["purple", "white"], [44, 36], [46, 34], rival=[45, 35],
        expected_name="expected 3:1", rival_name="$9:7$", ax=axes(),
    )  # fmt: skip
    solid, dashed = ax.lines[:2], ax.lines[2:]
    assert [line.get_xdata()[0] for line in solid] == [46, 34]
    assert [line.get_xdata()[0] for line in dashed] == [45, 35]
    assert {line.get_linestyle() for line in solid} == {"-"}
    assert {line.get_linestyle() for line in dashed} == {"--"}
    assert dashed[0].get_linewidth() < solid[0].get_linewidth()
    boxes = [shown_at(ax, t.get_text()) for t in ax.texts]
    assert len(boxes) == 4 and "$9:7$" in words(ax)
    assert not any(a.overlaps(b) for i, a in enumerate(boxes) for b in boxes[:i])
    below = shown_at(ax, "$9:7$")
    assert below.y0 > ax.get_window_extent().y0  # above the axis


def test_a_chart_can_be_drawn_over_another() -> None:
    ax = axes()
    for plants in (20, 3, 400):
        charts.bars_against_expected(["a", "b"], [plants, 1], [plants, 1], ax=ax)
        ticks = ax.get_xticks()
        assert ticks[0] == 0 and plants * 0.7 <= ticks[-1] <= plants
        assert all(t == int(t) for t in ticks)


def test_shares_by_group_say_the_plants() -> None:
    ax = charts.shares_by_group(frame(), ax=axes(), title="Colour", caption="By family.")
    widths = [b.get_width() for b in ax.patches]
    assert widths[:4] == [1, 1, 1, 1]  # the frames
    assert widths[4:] == [1, 0, 0.75, 0, 0, 1, 0.25, 0]
    assert {"10 plants", "60 plants", "0 plants", "45", "15"} <= set(words(ax))


def test_the_rarest_of_many_classes_are_drawn_as_one() -> None:
    rare = pd.DataFrame([[1] * 9 + [50 + i for i in range(9)]], index=["27-F2"],
                        columns=[f"class {i}" for i in range(18)])  # fmt: skip
    given = rare.copy()
    ax = charts.shares_by_group(rare, ax=axes())
    names = [t.get_text() for t in ax.get_legend().get_texts()]
    assert names == [*(f"class {i}" for i in range(9, 18)), "others (9 classes)"]
    assert {"50", "58", "495 plants"} <= {t.get_text() for t in ax.texts}
    assert ax.patches[-1].get_width() == pytest.approx(9 / given.to_numpy().sum())
    assert rare.equals(given)


@pytest.mark.parametrize("classes, groups", [(30, 3), (2, 40), (10, 1)])
def test_many_classes_or_groups_leave_the_words_apart(classes: int, groups: int) -> None:
    counts = pd.DataFrame(
        [[1 + (i * j) % 7 for j in range(classes)] for i in range(groups)],
        columns=[f"a class with a long name {j}" for j in range(classes)],
    )
    ax = charts.shares_by_group(counts, title="Ripe colour " * 9, caption="By family. " * 30)
    figure = ax.figure
    figure.draw_without_rendering()  # a warning about the layout would be an error
    boxes = [t.get_window_extent() for t in (*figure.texts, ax.xaxis.label)]
    boxes += [ax.get_legend().get_window_extent(), ax.get_window_extent()]
    assert len(boxes) == 5
    assert not any(a.overlaps(b) for i, a in enumerate(boxes) for b in boxes[:i])
    bar = ax.get_window_extent().height / figure.dpi / groups
    assert bar > 0.3  # inches a group
    plt.close(figure)


def test_two_traits_and_points() -> None:
    table = frame().iloc[:3]
    table.columns.name = "colour"
    ax = charts.counts_of_two(table, ax=axes())
    assert {"45", "15", "0"} <= set(words(ax)) and ax.get_xlabel() == "colour"
    ax = charts.points_by_group(["P1", "F2", "none"], [[3, 1, 2], [5, 5, 5, 5], []], ax=axes())
    assert [len(c.get_offsets()) for c in ax.collections] == [3, 4]
    spots = {tuple(p) for p in ax.collections[1].get_offsets().tolist()}
    assert len(spots) == 4  # equal plants stay visible side by side
    assert [line.get_xdata()[0] for line in ax.lines] == [2, 5]
    ax = charts.scatter([1, 2], [3, 4], names=("weight", "length"), ax=axes())
    assert (ax.get_xlabel(), ax.get_ylabel()) == ("weight", "length")


def test_equal_whole_numbers_are_spread_within_their_row() -> None:
    rows = [[3] * 400 + [4] * 5, [7] * 12, [5.0]]
    ax = charts.points_by_group(["27-F2", "Marl", "Tind"], rows, ax=axes())
    for y, (dots, row) in enumerate(zip(ax.collections, rows, strict=True)):
        x, up = dots.get_offsets().T
        assert abs(up - y).max() <= 0.36 and (abs(x - row) <= 0.351).all()
        assert len({*zip(x.tolist(), up.tolist(), strict=True)}) == len(row)
    ax.figure.draw_without_rendering()
    assert all(tick == int(tick) for tick in ax.get_xticks())
    ax = charts.points_by_group(["Marl"], [[5] * 300], ax=axes())  # no step to be seen
    ax.figure.draw_without_rendering()
    assert [tick for tick in ax.get_xticks() if 4.4 <= tick <= 5.6] == [5]
    ax = charts.points_by_group(["Marl"], [[2.0, 2.25, 2.5]], ax=axes())
    assert ax.collections[0].get_offsets()[:, 0].tolist() == [2.0, 2.25, 2.5]
    ax = charts.points_by_group(["Marl"], [[2.05] * 30], ax=axes())  # no step is known
    assert set(ax.collections[0].get_offsets()[:, 0].tolist()) == {2.05}
    assert not charts.points_by_group(["Marl"], [[]], ax=axes()).collections


def test_classes_with_a_colour_of_their_own() -> None:
    assert colours.colour_named("Dark red") == colours.NAMED["dark red"]
    assert colours.colour_named("light green fruit") == colours.NAMED["light green"]
    assert colours.colour_named("tired") is None  # 'red' must be a word
    assert colours.colour_named("yellow with red stripes") == colours.NAMED["yellow"]
    assert colours.colour_named("lemon-yellow") == colours.NAMED["lemon yellow"]
    assert colours.colour_named("not red") is None and colours.colour_named("non-purple") is None
    twelve = colours.styles([f"class {i}" for i in range(12)])
    assert [s["facecolor"] for s in twelve][:8] == list(colours.PLAIN)
    assert len({(s["facecolor"], s["hatch"]) for s in twelve}) == 12


def test_one_class_without_a_colour_leaves_the_others_theirs() -> None:
    red, round_, green = colours.styles(["red", "round", "green"])
    assert red["facecolor"] == colours.NAMED["red"] and green["facecolor"] == colours.NAMED["green"]
    assert round_["hatch"] and colourfulness(round_["facecolor"]) < 0.25  # next to no colour
    classes = [*list(colours.NAMED)[:9], "odd", "even", "grey", "tan"]
    drawn = colours.styles(classes)
    for name, style in zip(classes, drawn, strict=True):
        if name in colours.NAMED:
            assert style["facecolor"] == colours.NAMED[name]
        else:
            assert style["facecolor"] in colours.NEUTRAL and style["hatch"]
    assert len({(s["facecolor"], s["hatch"]) for s in drawn}) == len(classes)


def test_two_classes_of_one_colour_share_the_hue_only() -> None:
    for name in ("red", "yellow", "white", "black"):
        striped, pure = colours.styles([f"{name} striped", name])
        assert pure["facecolor"] == colours.NAMED[name] != striped["facecolor"]
        assert pure["hatch"] != striped["hatch"]
        hues = [rgb_to_hls(*to_rgb(s["facecolor"]))[0] for s in (pure, striped)]
        assert hues[0] == pytest.approx(hues[1], abs=0.03)
        lights = [colours._lightness(s["facecolor"]) for s in (pure, striped)]
        assert abs(lights[0] - lights[1]) > 0.1


def colourfulness(colour: str) -> float:
    """How far red, green and blue lie from each other."""
    return max(to_rgb(colour)) - min(to_rgb(colour))


def test_every_line_of_right_to_left_words_is_fenced_off_by_itself() -> None:
    seen = "16 אדום : 8 כתום כהה מאוד, " * 8
    ax = charts.bars_against_expected(["אדום כהה"], [16], [8], title=seen, caption=seen, ax=axes())
    for text in (ax.figure.get_suptitle(), ax.figure.get_supxlabel()):
        assert len(text.split("\n")) > 1
        for line in text.split("\n"):
            assert line.count("\u2068") == line.count("\u2069") > 0
            outside = re.sub("\u2068.*?\u2069", "", line)
            assert set(outside) <= set("168:, …")
    assert {"16 counted, 8 expected", "\u2068אדום כהה\u2069"} <= set(words(ax))


@pytest.mark.parametrize("name", NASTY)
def test_a_users_text_is_drawn_as_text(name: str) -> None:
    ax = charts.bars_against_expected([name, "b"], [1, 2], [2, 1], title=name, caption=name,
                                      ax=axes())  # fmt: skip
    html = canvas.html_picture(ax)  # draws it all; a warning would be an error
    assert html.count("<") == 1 and "onerror=alert(1)>" not in html
    counts = pd.DataFrame([[1, 2]], index=[name], columns=[name, "b"])
    ax = charts.shares_by_group(counts, ax=axes(), title=name)
    canvas.html_picture(ax)
    assert len(ax.get_legend().get_texts()) == 2
    canvas.html_picture(charts.points_by_group([name], [[1.0, 2.0]], unit=name, ax=axes()))
    table = pd.DataFrame([[1, 2]], index=[name], columns=[name, "b"])
    canvas.html_picture(charts.counts_of_two(table, ax=axes()))


def test_a_new_axes_is_made_where_none_is_given() -> None:
    ax = charts.bars_against_expected(["a"], [1], [1])
    assert plt.get_fignums()
    plt.close(ax.figure)


def test_a_picture_for_a_panel_leaves_nothing_behind() -> None:
    html = canvas.html_of(lambda: charts.bars_against_expected(["a"], [1], [1], alt="one a"))
    assert html.startswith('<img alt="one a" width="614"') and not plt.get_fignums()
