"""The drawings of models: their weights, what two of them expect, chances of single plants.

Plain frames and arrays in, one axes out, as in `breedkit.charts`; knows no genetics.
Models that expect the same numbers everywhere are joined by a bracket: no bar between
them means anything. What two models expect of a family is drawn as two thin strips, one
above and one below the bar of its counts, in the same colours: where the colours change at
one place all through, model and counts agree, and where the strips break at different
places, the two models part.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from breedkit import canvas
from breedkit.colours import GREY, INK, PLAIN, styles
from breedkit.results import percent, plants, show

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

MOST_LINES = 8
TOGETHER = "cannot be told\napart here"
TRACK = "#ececec"
BAR, STRIP, GAP = 0.44, 0.13, 0.025  # heights in a row of height 1
CHANCE = 0.66  # likewise


class Line(NamedTuple):
    """One bar of the weights: a model, or several together; `group` None is on its own."""

    name: str
    weight: float
    group: int | None


def weights_of_models(
    names: Sequence[str],
    weights: Sequence[float],
    groups: Sequence[int],
    *,
    fits: bool = True,
    title: str = "",
    caption: str = "",
    alt: str = "",
    ax: Axes | None = None,
) -> Axes:
    """A bar for each model, its length the weight; those of one group in a bracket.

    Of more than eight models, the least likely are drawn as one.

    Parameters
    ----------
    names, weights, groups : one entry a model; weights total 1, and models with the same
        group expect the same numbers everywhere.
    fits : whether the best of them fits; if not, all bars are grey.
    """
    lines = lines_of_weights([show(n) for n in names], weights, groups)
    labels = [line.name for line in lines]
    words = [percent(line.weight) for line in lines]
    ax = ax or canvas.new_axes(
        canvas.WIDTH, canvas.height_for(_rows_of(labels, 0.4), title, caption)
    )
    spots = np.arange(len(lines))
    ax.barh(spots, np.ones(len(lines)), height=0.56, color=TRACK)
    fills = [PLAIN[0] if fits and line.group is not None else GREY for line in lines]
    ax.barh(spots, [line.weight for line in lines], height=0.56, color=fills)
    for y, text in enumerate(words):
        canvas.write(ax, 1.0, y, text)
    canvas.name_rows(ax, spots, labels)
    room = canvas.inches(words, 9.5) + 0.2
    spans = _spans([line.group for line in lines])
    for first, last in spans:
        _bracket(ax, first, last, 72 * room)
    wide = canvas.inches(TOGETHER.split("\n"), 9.5) + 0.16 if spans else 0
    ax.set_xlim(0, 1 / (1 - canvas.room_beside(ax, labels, room + wide)))
    _scale(ax, ["0", "25 %", "50 %", "75 %", "100 %"],
           "weight: the chance that it is the right one, if one of these is")  # fmt: skip
    return canvas.finish(ax, title, caption, alt)


def families_of_two_models(
    counts: pd.DataFrame,
    expected: Sequence[pd.DataFrame],
    models: Sequence[str],
    *,
    title: str = "",
    caption: str = "",
    alt: str = "",
    ax: Axes | None = None,
) -> Axes:
    """A bar for each family, parted as counted, between what two models expect of it.

    Parameters
    ----------
    counts : families x classes; plants.
    expected : for each model families x classes; shares. One or two.
    models : their names.
    """
    classes = [canvas.legend_name(show(c)) for c in counts.columns]
    columns, lines = canvas.legend_grid(classes)
    legend = canvas.LEGEND_LINE * lines
    families = [show(f, longest=40) for f in counts.index]
    body = _rows_of(families, 0.56) + 0.5 + legend / 72
    ax = ax or canvas.new_axes(canvas.WIDTH, canvas.height_for(body, title, caption))
    spots = np.arange(len(families))
    totals = counts.to_numpy(dtype=float).sum(axis=1, keepdims=True)
    shares = counts.to_numpy(dtype=float) / np.maximum(totals, 1)
    looks = styles([str(c) for c in counts.columns])
    middles = _parted(ax, spots, shares, BAR, looks, classes)
    for (y, j), share in np.ndenumerate(shares):
        if share >= 0.06:
            canvas.write_on(ax, float(middles[y, j]), y, f"{int(counts.iloc[y, j])}")
    aside = BAR / 2 + GAP + STRIP / 2
    for frame, up in zip(expected, (-aside, aside), strict=False):
        _parted(ax, spots + up, frame.to_numpy(dtype=float), STRIP, looks)
    words = [plants(int(total)) for total in totals[:, 0]]
    for y, text in enumerate(words):
        canvas.write(ax, 1.0, y, text)
    canvas.name_rows(ax, spots, families)
    wide = canvas.width_beside(ax, families)
    for name, sign, side in zip(models, "▼▲", (-1, 1), strict=False):
        row = 0 if side < 0 else spots[-1]
        _name_strips(ax, row, f"{sign} expected with {show(name)}", side, wide)
    ax.set_ylim(len(families) - (0.2 if len(models) > 1 else 0.5), -0.8)
    ax.set_xlim(0, 1 / (1 - canvas.room_beside(ax, families, canvas.inches(words, 9.5) + 0.14)))
    _scale(ax, ["0", "1/4", "1/2", "3/4", "all"], "share of the plants scored")
    canvas.legend_above(ax, columns)
    return canvas.finish(ax, title, caption, alt, room=2 + legend)


def chances_of_plants(
    chances: pd.DataFrame,
    numbers: Sequence[int],
    *,
    marked: int | None = None,
    title: str = "",
    caption: str = "",
    alt: str = "",
    ax: Axes | None = None,
) -> Axes:
    """A bar for each plant, or for several alike, parted by the chances of what it can be.

    Parameters
    ----------
    chances : rows x what a plant can be; rows total 1.
    numbers : how many plants share each row's bar.
    marked : the row whose name and number are bold; None for none.
    """
    kinds = [canvas.legend_name(show(c)) for c in chances.columns]
    columns, lines = canvas.legend_grid(kinds)
    legend = canvas.LEGEND_LINE * lines
    names = [show(name, longest=48) for name in chances.index]
    body = _rows_of(names, 0.42) + 0.4 + legend / 72
    ax = ax or canvas.new_axes(canvas.WIDTH, canvas.height_for(body, title, caption))
    spots, shares = np.arange(len(names)), chances.to_numpy(dtype=float)
    middles = _parted(ax, spots, shares, CHANCE, styles([str(c) for c in chances.columns]), kinds)
    for (y, j), share in np.ndenumerate(shares):
        if share >= 0.12:
            canvas.write_on(ax, float(middles[y, j]), y, percent(min(share, 1 - 1e-9)))
    words = [plants(n) for n in numbers]
    for y, text in enumerate(words):
        canvas.write(ax, 1.0, y, text, bold=y == marked)
    canvas.name_rows(ax, spots, names)
    if marked is not None:
        ax.get_yticklabels()[marked].set_fontweight("bold")
    ax.set_xlim(0, 1 / (1 - canvas.room_beside(ax, names, canvas.inches(words, 9.5) + 0.14)))
    _scale(ax, ["0", "25 %", "50 %", "75 %", "100 %"], "chance")
    canvas.legend_above(ax, columns)
    return canvas.finish(ax, title, caption, alt, room=2 + legend)


def lines_of_weights(
    names: Sequence[str], weights: Sequence[float], groups: Sequence[int]
) -> list[Line]:
    """The lines that are drawn, at most eight: groups by their best model, then the rest.

    A group that is cut has a line for the rest of it.
    """
    best = {g: max(w for w, h in zip(weights, groups, strict=True) if h == g) for g in groups}
    order = sorted(range(len(names)), key=lambda i: (-best[groups[i]], groups[i], -weights[i]))
    every = [Line(names[i], float(weights[i]), groups[i]) for i in order]
    if len(every) <= MOST_LINES:
        return every
    kept = MOST_LINES - 1
    if every[kept - 1].group == every[kept].group != every[-1].group:
        kept -= 1
    last = every[kept - 1].group
    alike = [line for line in every[kept:] if line.group == last]
    others = [line for line in every[kept:] if line.group != last]
    return [*every[:kept], *_as_one(alike, "more of these", last), *_as_one(others, "others", None)]


def _as_one(lines: Sequence[Line], what: str, group: int | None) -> list[Line]:
    """Several lines as one; a single one stays as it is."""
    if len(lines) < 2:
        return list(lines)
    return [Line(f"{len(lines)} {what} together", sum(line.weight for line in lines), group)]


def _rows_of(labels: Sequence[str], row: float) -> float:
    """The height of rows, each `row` inches, or as much as the longest name needs."""
    tallest = max(canvas.fill(name, canvas.ROW_LETTERS).count("\n") + 1 for name in labels)
    return max(row, 0.18 * tallest + 0.08) * len(labels)


def _spans(groups: Sequence[int | None]) -> list[tuple[int, int]]:
    """First and last row of each group of several rows, which stand together."""
    places = {g: [y for y, h in enumerate(groups) if h == g] for g in groups if g is not None}
    return [(rows[0], rows[-1]) for rows in places.values() if len(rows) > 1]


def _bracket(ax: Axes, first: int, last: int, points: float) -> None:
    """A bracket around rows, `points` to the right of the full bars, with its words."""
    from matplotlib.markers import TICKLEFT
    from matplotlib.transforms import offset_copy

    beside = offset_copy(ax.transData, canvas.figure_of(ax), x=points, units="points")
    top, bottom = first - 0.3, last + 0.3
    ax.plot(
        [1, 1], [top, bottom], transform=beside, clip_on=False, color=INK, linewidth=1.3,
        marker=TICKLEFT, markersize=5, markeredgewidth=1.3,
    )  # fmt: skip
    ax.annotate(
        TOGETHER, (1, (top + bottom) / 2), xytext=(points + 6, 0), textcoords="offset points",
        va="center", fontsize=9.5, color=INK, in_layout=False,
    )  # fmt: skip


def _parted(
    ax: Axes,
    spots: np.ndarray,
    shares: np.ndarray,
    height: float,
    looks: Sequence[dict[str, Any]],
    names: Sequence[str] = (),
) -> np.ndarray:
    """Bars from 0 to 1, parted by shares; the middles of the parts, (bars, classes)."""
    ends = np.cumsum(shares, axis=1)
    for j, look in enumerate(looks):
        ax.barh(
            spots, shares[:, j], left=ends[:, j] - shares[:, j], height=height,
            label=names[j] if names else None, **look,
        )  # fmt: skip
    return ends - shares / 2


def _scale(ax: Axes, quarters: Sequence[str], name: str) -> None:
    """An axis from nothing to all, no longer than the bars."""
    ax.set_xticks([0, 0.25, 0.5, 0.75, 1], quarters)
    ax.set_xlabel(name, loc="left")
    ax.spines["bottom"].set_bounds(0, 1)


def _name_strips(ax: Axes, row: int | np.integer, text: str, side: int, wide: float) -> None:
    """Whose the strips are, above the first or below the last one, within `wide` inches."""
    edge = row + side * (BAR / 2 + GAP + STRIP)
    ax.annotate(
        canvas.cut_to(text, wide, 9.5), (0, edge), xytext=(0, -3 * side), fontsize=9.5, color=INK,
        textcoords="offset points", va="bottom" if side < 0 else "top", parse_math=False,
        in_layout=False,
    )  # fmt: skip
