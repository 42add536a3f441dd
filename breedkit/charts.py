"""The drawings of scores: plain frames and arrays in, one axes out. Knows no genetics.

Every function takes `ax` and returns the same `ax` (a new one if None was given).
It draws the title and the caption it is handed, and keeps the alternative text, the
words for those who cannot see the picture; `breedkit.canvas` holds what drawings share.

Colour is never the only sign: each class has its own hatching too, and its name
beside it. A class that is named after a colour is drawn in it (`breedkit.colours`).
matplotlib is imported inside the functions, so that importing breedkit stays light.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from breedkit import canvas
from breedkit.colours import GREY, INK, PAPER, PLAIN, styles
from breedkit.results import plants, show

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

MOST_CLASSES = 10  # that a bar is parted into: one for each hatching


def bars_against_expected(
    classes: Sequence[str],
    counted: Sequence[float],
    expected: Sequence[float],
    *,
    rival: Sequence[float] | None = None,
    expected_name: str = "expected",
    rival_name: str = "",
    marked: Sequence[bool] | None = None,
    title: str = "",
    caption: str = "",
    alt: str = "",
    ax: Axes | None = None,
) -> Axes:
    """A bar for what was counted in each class, a line for what was expected.

    Parameters
    ----------
    classes, counted, expected : one entry a class; plants.
    rival : what a second ratio expects; a thinner, dashed line.
    expected_name, rival_name : the names of the two, such as 'expected 3:1' and '9:7',
        written above the first line and below the last dashed one.
    marked : classes whose misfit is to be pointed at.
    """
    classes = [show(c) for c in classes]
    ax = ax or canvas.new_axes(
        canvas.WIDTH, canvas.height_for(0.62 * len(classes) + 0.5, title, caption)
    )
    spots = np.arange(len(classes))
    beyond = np.maximum(counted, expected if rival is None else np.maximum(expected, rival))
    points = [False] * len(classes) if marked is None else [bool(m) for m in marked]
    words = [_against(*row) for row in zip(counted, expected, points, strict=True)]
    for y, style in enumerate(styles(classes)):
        ax.barh(y, counted[y], height=0.62, **style)
        canvas.write(ax, beyond[y], y, words[y], bold=points[y])
    _marks(ax, expected, linewidth=2.4)
    canvas.name_rows(ax, spots, classes)
    top = max(1.0, *beyond)
    beside = canvas.room_beside(ax, classes, canvas.inches(words, 9.5) + 0.14)
    ax.set_xlim(0, top / (1 - beside))
    ax.set_xlabel("plants")
    ax.set_xticks(canvas.whole_ticks(top, 6 if beside < 0.45 else 3))
    _name_mark(ax, expected[0], 0, expected_name)
    if rival is not None:
        _marks(ax, rival, linewidth=1.5, linestyle=(0, (2.2, 1.2)))
        _name_mark(ax, rival[-1], len(classes) - 1, rival_name, below=True)
        ax.set_ylim(len(classes) - 0.2, -0.5)
    return canvas.finish(ax, title, caption, alt, room=16)


def shares_by_group(
    counts: pd.DataFrame,
    *,
    labels: Sequence[str] | None = None,
    unit: str = "plants",
    title: str = "",
    caption: str = "",
    alt: str = "",
    ax: Axes | None = None,
) -> Axes:
    """A full-width bar for each group, parted by the shares of the classes.

    Of more than ten classes, the rarest are drawn as one, which the legend tells.

    Parameters
    ----------
    counts : groups x classes; plants. A group without plants is drawn as an empty frame.
    labels : names of the groups to show; by default the index.
    unit : what is counted, if not plants.
    """
    counts, looks = _gather_rare(counts)
    classes = [canvas.legend_name(show(c)) for c in counts.columns]
    columns, lines = canvas.legend_grid(classes)
    groups = [show(g, longest=40) for g in (labels if labels is not None else counts.index)]
    height = canvas.height_for(
        0.42 * len(groups) + 0.4 + lines * canvas.LEGEND_LINE / 72, title, caption
    )
    ax = ax or canvas.new_axes(canvas.WIDTH, height)
    spots = np.arange(len(groups))
    totals = counts.to_numpy(dtype=float).sum(axis=1)
    shares = counts.to_numpy(dtype=float) / np.maximum(totals, 1)[:, None]
    ax.barh(spots, np.ones(len(groups)), height=0.7, color="none", edgecolor=GREY, linewidth=0.8)
    left = np.zeros(len(groups))
    for j, style in enumerate(looks):
        ax.barh(spots, shares[:, j], left=left, height=0.7, label=classes[j], **style)
        for y, (start, part, n) in enumerate(
            zip(left, shares[:, j], counts.iloc[:, j], strict=True)
        ):
            if part >= 0.06:
                canvas.write_on(ax, start + part / 2, y, f"{int(n)}")
        left = left + shares[:, j]
    words = [plants(int(n)) if unit == "plants" else f"{int(n):,} {unit}" for n in totals]
    for y, text in enumerate(words):
        canvas.write(ax, 1.0, y, text)
    canvas.name_rows(ax, spots, groups)
    ax.set_xlim(0, 1 / (1 - canvas.room_beside(ax, groups, canvas.inches(words, 9.5) + 0.14)))
    ax.set_xticks([0, 0.25, 0.5, 0.75, 1], ["0", "1/4", "1/2", "3/4", "all"])
    ax.set_xlabel("share of the plants scored" if unit == "plants" else f"share of the {unit}")
    canvas.legend_above(ax, columns)
    return canvas.finish(ax, title, caption, alt, room=2 + canvas.LEGEND_LINE * lines)


def counts_of_two(
    table: pd.DataFrame,
    *,
    title: str = "",
    caption: str = "",
    alt: str = "",
    ax: Axes | None = None,
) -> Axes:
    """Two classed traits against each other: a disc for each pair, its area the plants."""
    rows, columns = [show(r) for r in table.index], [show(c) for c in table.columns]
    ax = ax or canvas.new_axes(canvas.WIDTH, 1.9 + 0.85 * len(rows))
    counts = table.to_numpy(dtype=float)
    most = max(counts.max(initial=0), 1)
    for (i, j), n in np.ndenumerate(counts):
        if n:
            ax.scatter(j, i, s=1500 * n / most, color="#cfd9e6", edgecolor=INK, linewidth=0.8)
        ax.text(j, i, f"{int(n)}", ha="center", va="center", fontsize=11, color=INK)
    canvas.name_rows(ax, np.arange(len(rows)), rows)
    ax.set_xlim(-0.6, len(columns) - 0.4)
    ax.set_ylim(len(rows) - 0.4, -0.6)
    canvas.name_columns(ax, np.arange(len(columns)), columns)
    canvas.name_axes(ax, str(table.columns.name or ""), str(table.index.name or ""))
    return canvas.finish(ax, title, caption, alt)


def points_by_group(
    groups: Sequence[str],
    values: Sequence[Sequence[float]],
    *,
    unit: str = "",
    title: str = "",
    caption: str = "",
    alt: str = "",
    ax: Axes | None = None,
) -> Axes:
    """A point for each plant, a row for each group, a bar at the group's middle value.

    Points of equal value stand in a small block around it, narrower than the step to
    the next value.

    Parameters
    ----------
    groups : names of the rows.
    values : the values of each row, without missing ones.
    unit : what the values are measured in.
    """
    from matplotlib.ticker import MaxNLocator

    ax = ax or canvas.new_axes(
        canvas.WIDTH, canvas.height_for(0.56 * len(groups) + 0.35, title, caption)
    )
    rows = [np.sort(np.asarray(row, dtype=float)) for row in values]
    every = np.unique(np.concatenate([*rows, []]))
    whole = bool((every == np.round(every)).all())
    step = float(np.diff(every).min()) if every.size > 1 else float(whole)
    dot = (float(np.ptp(every)) if every.size > 1 else step) / 80
    for y, data in enumerate(rows):
        if data.size == 0:
            continue
        aside, up = _spread(data, dot, step)
        ax.scatter(data + aside, y + up, s=18, color=PLAIN[0], edgecolor=PAPER, lw=0.5, zorder=3)
        middle = float(np.median(data))
        ax.plot([middle, middle], [y - 0.46, y + 0.46], color=INK, linewidth=2.2, zorder=2)
    if whole and every.size:
        ax.xaxis.set_major_locator(MaxNLocator("auto", integer=True, min_n_ticks=1))
        beyond = max(0.6, 0.04 * float(np.ptp(every)))
        ax.set_xlim(every[0] - beyond, every[-1] + beyond)
    names = [f"{show(g, longest=34)} ({len(v)})" for g, v in zip(groups, values, strict=True)]
    canvas.name_rows(ax, np.arange(len(groups)), names)
    ax.set_xlabel(canvas.drawable(show(unit, longest=40)), parse_math=False)
    ax.grid(axis="x", color="#dddddd", linewidth=0.7)
    ax.set_axisbelow(True)
    return canvas.finish(ax, title, caption, alt)


def scatter(
    x: Sequence[float],
    y: Sequence[float],
    *,
    names: tuple[str, str] = ("", ""),
    title: str = "",
    caption: str = "",
    alt: str = "",
    ax: Axes | None = None,
) -> Axes:
    """Two measured traits against each other, a point for each plant."""
    ax = ax or canvas.new_axes(canvas.WIDTH, 4.6)
    ax.scatter(x, y, s=22, color=PLAIN[0], alpha=0.65, linewidth=0)
    canvas.name_axes(ax, *names)
    ax.grid(color="#dddddd", linewidth=0.7)
    ax.tick_params(length=0)
    return canvas.finish(ax, title, caption, alt)


# --- small parts -------------------------------------------------------------


def _against(seen: float, hoped: float, point: bool) -> str:
    """'13 counted, 15 expected', with an arrow where it is far off."""
    text = f"{int(seen)} counted, {hoped:.1f}".removesuffix(".0") + " expected"
    return f"{text} {'▲' if seen > hoped else '▼'}" if point else text


def _marks(ax: Axes, places: Sequence[float], **line: Any) -> None:
    """An upright line across each row, with a pale rim that shows on dark bars."""
    from matplotlib.patheffects import withStroke

    rim = [withStroke(linewidth=line["linewidth"] + 1.6, foreground=PAPER)]
    for y, x in enumerate(places):
        ax.plot([x, x], [y - 0.42, y + 0.42], color=INK, zorder=4, path_effects=rim, **line)


def _name_mark(ax: Axes, x: float, row: int, name: str, below: bool = False) -> None:
    """The name of an upright line, above or below it."""
    side = 1 if below else -1
    ax.annotate(
        canvas.drawable(show(name)), (x, row + 0.44 * side), xytext=(0, -3 * side), ha="center",
        textcoords="offset points", va="top" if below else "bottom", fontsize=9.5, color=INK,
        parse_math=False,
    )  # fmt: skip


def _gather_rare(counts: pd.DataFrame) -> tuple[pd.DataFrame, list[dict[str, Any]]]:
    """At most ten classes, the rarest together as the last one, and their looks."""
    looks = styles([str(c) for c in counts.columns])
    if len(looks) <= MOST_CLASSES:
        return counts, looks
    order = np.argsort(-counts.to_numpy(dtype=float).sum(axis=0), kind="stable")
    kept, rare = np.sort(order[: MOST_CLASSES - 1]), order[MOST_CLASSES - 1 :]
    drawn = counts.iloc[:, kept].copy()
    looks = styles([str(c) for c in drawn.columns])
    drawn[f"others ({len(rare)} classes)"] = counts.iloc[:, rare].sum(axis=1)
    return drawn, [*looks, {"facecolor": PAPER, "edgecolor": INK, "linewidth": 0.8}]


def _spread(data: np.ndarray, dot: float, step: float) -> tuple[np.ndarray, np.ndarray]:
    """Small steps aside and up or down, the same on every run, so that no plant hides another.

    `data` is sorted. Points closer than a `dot` take different lanes of the row. Where
    equal values fill every lane they form columns, within 0.35 `step` of the value.
    """
    lanes = 0.085 * np.array([0, 1, -1, 2, -2, 3, -3, 4, -4])
    at = np.arange(data.size)
    apart = np.diff(data, prepend=-np.inf) > dot
    nth = at - np.maximum.accumulate(np.where(apart, at, 0))
    _, first, which, many = np.unique(
        data, return_index=True, return_inverse=True, return_counts=True
    )
    columns = (-(-many // lanes.size))[which]
    column = (at - first[which]) // lanes.size - (columns - 1) / 2
    return column * np.minimum(dot, 0.7 * step / columns), lanes[nth % lanes.size]
