"""All drawing: plain frames and arrays in, one axes out. Knows no genetics.

Every function takes `ax` and returns the same `ax` (a new one if None was given).
It draws the title and the caption it is handed, and keeps the alternative text,
the words for those who cannot see the picture: `alternative_text(ax)`.

Colour is never the only sign: each class has its own hatching too, and its name
beside it. A class that is named after a colour is drawn in it (`colours`). Text of a
user is drawn as text: no mathematics, and an empty box for a character that the
font lacks. matplotlib is imported inside the functions, so that importing
breedkit stays light.
"""

from __future__ import annotations

import base64
import io
import textwrap
from collections.abc import Callable, Sequence
from contextvars import ContextVar
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np

from breedkit.colours import GREY, INK, PAPER, PLAIN, styles
from breedkit.results import ISOLATE, RELEASE, escape_attribute, plants, show

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_unseen: ContextVar[bool] = ContextVar("_unseen", default=False)

WIDTH = 6.4  # inches; small enough to be read on a phone
ROW_LETTERS = 24  # of a row's name on one line
MOST_CLASSES = 10  # that a bar is parted into: one for each hatching
LEGEND_LINE = 17  # points
_UNDRAWN = {"\n", ISOLATE, RELEASE}  # they steer the text; no glyph is looked for


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
    ax = ax or new_axes(WIDTH, _height(0.62 * len(classes) + 0.5, title, caption))
    spots = np.arange(len(classes))
    beyond = np.maximum(counted, expected if rival is None else np.maximum(expected, rival))
    points = [False] * len(classes) if marked is None else [bool(m) for m in marked]
    words = [_against(*row) for row in zip(counted, expected, points, strict=True)]
    for y, style in enumerate(styles(classes)):
        ax.barh(y, counted[y], height=0.62, **style)
        _write(ax, beyond[y], y, words[y], bold=points[y])
    _marks(ax, expected, linewidth=2.4)
    _name_rows(ax, spots, classes)
    top = max(1.0, *beyond)
    beside = _beside(ax, classes, words)
    ax.set_xlim(0, top / (1 - beside))
    ax.set_xlabel("plants")
    ax.set_xticks(_whole_ticks(top, 6 if beside < 0.45 else 3))
    _name_mark(ax, expected[0], 0, expected_name)
    if rival is not None:
        _marks(ax, rival, linewidth=1.5, linestyle=(0, (2.2, 1.2)))
        _name_mark(ax, rival[-1], len(classes) - 1, rival_name, below=True)
        ax.set_ylim(len(classes) - 0.2, -0.5)
    return _finish(ax, title, caption, alt, room=16)


def shares_by_group(
    counts: pd.DataFrame,
    *,
    labels: Sequence[str] | None = None,
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
    """
    counts, looks = _gather_rare(counts)
    classes = [_legend_name(show(c)) for c in counts.columns]
    columns = max(1, min(4, len(classes), int(WIDTH / (_inches(classes, 10) + 0.55))))
    lines = -(-len(classes) // columns)
    groups = [show(g, longest=40) for g in (labels if labels is not None else counts.index)]
    height = _height(0.42 * len(groups) + 0.4 + lines * LEGEND_LINE / 72, title, caption)
    ax = ax or new_axes(WIDTH, height)
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
                _label_in(ax, start + part / 2, y, f"{int(n)}")
        left = left + shares[:, j]
    words = [plants(int(total)) for total in totals]
    for y, text in enumerate(words):
        _write(ax, 1.0, y, text)
    _name_rows(ax, spots, groups)
    ax.set_xlim(0, 1 / (1 - _beside(ax, groups, words)))
    ax.set_xticks([0, 0.25, 0.5, 0.75, 1], ["0", "1/4", "1/2", "3/4", "all"])
    ax.set_xlabel("share of the plants scored")
    _legend_above(ax, columns)
    return _finish(ax, title, caption, alt, room=2 + LEGEND_LINE * lines)


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
    ax = ax or new_axes(WIDTH, 1.9 + 0.85 * len(rows))
    counts = table.to_numpy(dtype=float)
    most = max(counts.max(initial=0), 1)
    for (i, j), n in np.ndenumerate(counts):
        if n:
            ax.scatter(j, i, s=1500 * n / most, color="#cfd9e6", edgecolor=INK, linewidth=0.8)
        ax.text(j, i, f"{int(n)}", ha="center", va="center", fontsize=11, color=INK)
    _name_rows(ax, np.arange(len(rows)), rows)
    ax.set_xlim(-0.6, len(columns) - 0.4)
    ax.set_ylim(len(rows) - 0.4, -0.6)
    _plain_labels(ax, "x", np.arange(len(columns)), columns)
    _axis_names(ax, str(table.columns.name or ""), str(table.index.name or ""))
    return _finish(ax, title, caption, alt)


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

    ax = ax or new_axes(WIDTH, _height(0.56 * len(groups) + 0.35, title, caption))
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
    _name_rows(ax, np.arange(len(groups)), names)
    ax.set_xlabel(_drawable(show(unit, longest=40)), parse_math=False)
    ax.grid(axis="x", color="#dddddd", linewidth=0.7)
    ax.set_axisbelow(True)
    return _finish(ax, title, caption, alt)


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
    ax = ax or new_axes(WIDTH, 4.6)
    ax.scatter(x, y, s=22, color=PLAIN[0], alpha=0.65, linewidth=0)
    _axis_names(ax, *names)
    ax.grid(color="#dddddd", linewidth=0.7)
    ax.tick_params(length=0)
    return _finish(ax, title, caption, alt)


# --- the picture as a whole --------------------------------------------------


def new_axes(width: float, height: float) -> Axes:
    """An empty axes, sized in inches.

    A notebook shows the figure below the cell by itself, unless it is being drawn
    for `html_of`: then nobody but the caller knows of it.
    """
    from matplotlib.layout_engine import ConstrainedLayoutEngine

    layout = ConstrainedLayoutEngine(w_pad=0.1, h_pad=0.1)
    if not _unseen.get():
        from matplotlib import pyplot as plt

        figure = plt.figure(figsize=(width, height), layout=layout)
    else:
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure

        figure = Figure(figsize=(width, height), layout=layout)
        FigureCanvasAgg(figure)
    figure.set_facecolor(PAPER)
    return figure.add_subplot()


def figure_of(ax: Axes) -> Figure:
    """The whole figure that an axes belongs to."""
    figure = ax.get_figure(root=True)
    assert figure is not None, "the axes was taken out of its figure"
    return figure


def alternative_text(ax: Axes) -> str:
    """What the picture says, in words."""
    return str(ax.get_label())


def caption_of(ax: Axes) -> str:
    """The caption below the picture, on one line."""
    figure = figure_of(ax)
    texts = [figure.get_supxlabel(), *(t.get_text() for t in ax.texts if t.get_gid() == "caption")]
    return " ".join(" ".join(texts).split())


def html_of(draw: Callable[[], Axes]) -> str:
    """What `draw()` draws, as one `<img>`; for panels."""
    token = _unseen.set(True)
    try:
        return html_picture(draw())
    finally:
        _unseen.reset(token)


def html_picture(ax: Axes) -> str:
    """The figure of `ax` as one `<img>` with its alternative text, sharp on any screen."""
    figure = figure_of(ax)
    stream = io.BytesIO()
    figure.savefig(stream, format="png", dpi=200)
    data = base64.b64encode(stream.getvalue()).decode("ascii")
    width, height = (round(96 * side) for side in figure.get_size_inches())
    return (
        f'<img alt="{escape_attribute(alternative_text(ax))}" width="{width}" height="{height}" '
        f'style="max-width:100%;height:auto" src="data:image/png;base64,{data}">'
    )


# --- small parts -------------------------------------------------------------


def _finish(ax: Axes, title: str, caption: str, alt: str, room: float = 0) -> Axes:
    """Title, caption and alternative text, and the house's quiet frame.

    `room` is what stands between the title and the axes, in points.
    """
    for side in ("top", "right", "left"):
        ax.spines[side].set_visible(False)
    ax.spines["bottom"].set_color(GREY)
    ax.tick_params(axis="x", colors=GREY, labelcolor=INK)
    figure = figure_of(ax)
    spoken = show(alt or caption or title, longest=None)
    title, caption = _wrapped(title, caption, figure.get_size_inches()[0])
    big: dict[str, Any] = {"fontsize": 13, "fontweight": "bold", "color": INK, "parse_math": False}
    small: dict[str, Any] = {"fontsize": 9.5, "color": GREY, "parse_math": False, "gid": "caption"}
    if len(figure.axes) == 1:  # title and caption may use the whole width
        if title:
            figure.suptitle(title, x=0.02, ha="left", **big)
        if caption:
            figure.supxlabel(caption, x=0.02, ha="left", **small)
        if room:
            ax.set_title(" ", fontsize=1, pad=room)
    else:
        ax.set_title(title, loc="left", pad=room + 4, **big)
        ax.annotate(
            caption, (0, 0), xycoords="axes fraction", xytext=(0, -46), ha="left", va="top",
            textcoords="offset points", annotation_clip=False, **small,
        )  # fmt: skip
    ax.set_label(spoken)
    return ax


def _against(seen: float, hoped: float, point: bool) -> str:
    """'13 counted, 15 expected', with an arrow where it is far off."""
    text = f"{int(seen)} counted, {hoped:.1f}".removesuffix(".0") + " expected"
    return f"{text} {'▲' if seen > hoped else '▼'}" if point else text


def _write(ax: Axes, x: float, y: float | np.integer, text: str, bold: bool = False) -> None:
    """Words to the right of a point."""
    ax.annotate(
        text, (x, y), xytext=(6, 0), textcoords="offset points", va="center", fontsize=9.5,
        color=INK, fontweight="bold" if bold else "normal", parse_math=False, in_layout=False,
    )  # fmt: skip


def _whole_ticks(top: float, most: int) -> np.ndarray:
    """Round whole numbers from 0 to `top`, at most `most` steps."""
    from matplotlib.ticker import MaxNLocator

    ticks = np.asarray(MaxNLocator(nbins=most, integer=True).tick_values(0, top))
    return ticks[(ticks >= 0) & (ticks <= top)]


def _beside(ax: Axes, rows: Sequence[str], words: Sequence[str]) -> float:
    """The share of the axes' width that the words beside the bars take."""
    names = _inches([line for r in rows for line in _fill(r, ROW_LETTERS).split("\n")], 10.5)
    wide = figure_of(ax).get_size_inches()[0] - names - 0.35
    return min((_inches(words, 9.5) + 0.14) / max(wide, 0.1), 0.6)


def _inches(texts: Sequence[str], size: float) -> float:
    """The width of the widest text in bold letters of `size` points."""
    from matplotlib.font_manager import FontProperties
    from matplotlib.textpath import TextToPath

    bold, measure = FontProperties(size=size, weight="bold"), TextToPath()
    sizes = (measure.get_text_width_height_descent(_drawable(t), bold, False) for t in texts)
    return max((width for width, _, _ in sizes), default=0) / 72


def _height(body: float, title: str, caption: str) -> float:
    """Inches that a picture of the usual width needs for its body and all its words."""
    title, caption = _wrapped(title, caption, WIDTH)
    return body + 1.05 + 0.24 * (title.count("\n") + 1) + 0.16 * (caption.count("\n") + 1)


def _wrapped(title: str, caption: str, width: float) -> tuple[str, str]:
    """Title and caption in lines that fit `width` inches."""
    columns = max(30, int(width * 13))
    return (
        _fill(show(title, longest=160), int(columns * 0.7)),
        _fill(show(caption, longest=600), columns),
    )


def _fill(text: str, columns: int) -> str:
    """`text` in drawable lines. A line's right-to-left words are fenced off anew."""
    lines = textwrap.wrap(text, columns)
    return "\n".join(_drawable(show(line, longest=None)) for line in lines)


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
        _drawable(show(name)), (x, row + 0.44 * side), xytext=(0, -3 * side), ha="center",
        textcoords="offset points", va="top" if below else "bottom", fontsize=9.5, color=INK,
        parse_math=False,
    )  # fmt: skip


def _label_in(ax: Axes, x: float, y: float, text: str) -> None:
    """A number on a bar of any colour and hatching."""
    ax.text(x, y, text, ha="center", va="center", fontsize=9.5, color=INK, parse_math=False,
            bbox={"boxstyle": "round,pad=0.18", "facecolor": PAPER, "edgecolor": "none",
                  "alpha": 0.88})  # fmt: skip


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


def _legend_above(ax: Axes, columns: int) -> None:
    """The classes in rows above the bars, between them and the title."""
    legend = ax.legend(
        loc="lower left", bbox_to_anchor=(0, 1.0), ncols=columns, frameon=False,
        fontsize=10, borderaxespad=0.3, handlelength=1.6, columnspacing=1.2,
    )  # fmt: skip
    for text in legend.get_texts():
        text.set_parse_math(False)


def _legend_name(name: str) -> str:
    """A short name; matplotlib hides one that begins with an underscore."""
    short = _drawable(show(name, longest=30))
    return f" {short}" if short.startswith("_") else short


def _name_rows(ax: Axes, spots: np.ndarray, names: Sequence[str]) -> None:
    """Rows from top to bottom, each with its name."""
    _plain_labels(ax, "y", spots, [_fill(n, ROW_LETTERS) for n in names])
    ax.set_ylim(len(names) - 0.5, -0.5)
    ax.tick_params(axis="y", length=0)


def _plain_labels(ax: Axes, axis: str, spots: np.ndarray, names: Sequence[str]) -> None:
    if axis == "y":
        ax.set_yticks(spots, names)
    else:
        ax.set_xticks(spots, [_fill(n, 14) for n in names])
    for label in ax.get_yticklabels() if axis == "y" else ax.get_xticklabels():
        label.set_parse_math(False)
        label.set_fontsize(10.5)


def _axis_names(ax: Axes, x: str, y: str) -> None:
    ax.set_xlabel(_drawable(show(x, longest=40)), parse_math=False)
    ax.set_ylabel(_drawable(show(y, longest=24)), parse_math=False)


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


@lru_cache(maxsize=1)
def _glyphs() -> frozenset[int]:
    """The characters that the font can draw."""
    from matplotlib import font_manager

    return frozenset(font_manager.get_font(font_manager.findfont("DejaVu Sans")).get_charmap())


def _drawable(text: str) -> str:
    """`text` with an empty box for each character that the font lacks."""
    return "".join(c if ord(c) in _glyphs() or c in _UNDRAWN else "▯" for c in text)
