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
from breedkit.results import ISOLATE, RELEASE, escape_attribute, show

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_unseen: ContextVar[bool] = ContextVar("_unseen", default=False)

WIDTH = 6.4  # inches; small enough to be read on a phone
ROW_LETTERS = 24  # of a row's name on one line
_UNDRAWN = {"\n", ISOLATE, RELEASE}  # they steer the text; no glyph is looked for


def bars_against_expected(
    classes: Sequence[str],
    counted: Sequence[float],
    expected: Sequence[float],
    *,
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
    marked : classes whose misfit is to be pointed at.
    """
    classes = [show(c) for c in classes]
    ax = ax or new_axes(WIDTH, 1.9 + 0.62 * len(classes))
    spots = np.arange(len(classes))
    for y, seen, hoped, style in zip(spots, counted, expected, styles(classes), strict=True):
        ax.barh(y, seen, height=0.62, **style)
        ax.plot([hoped, hoped], [y - 0.42, y + 0.42], color=INK, linewidth=2.4, zorder=4)
        point = marked is not None and marked[int(y)]
        _write(ax, max(seen, hoped), y, _against(seen, hoped, point), bold=bool(point))
    _name_rows(ax, spots, classes)
    top = max([1.0, *counted, *expected])
    ax.set_xlim(0, top / (1 - _beside(ax, classes, 2.15)))
    ax.set_xlabel("plants")
    ax.set_xticks(_whole_ticks(top))
    ax.annotate(
        "expected", (expected[0], -0.44), xytext=(0, 3), textcoords="offset points",
        ha="center", va="bottom", fontsize=9.5, color=INK,
    )  # fmt: skip
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

    Parameters
    ----------
    counts : groups x classes; plants. A group without plants is drawn as an empty frame.
    labels : names of the groups to show; by default the index.
    """
    classes = [show(c) for c in counts.columns]
    groups = [show(g, longest=40) for g in (labels if labels is not None else counts.index)]
    ax = ax or new_axes(WIDTH, 2.1 + 0.42 * len(groups))
    spots = np.arange(len(groups))
    totals = counts.to_numpy(dtype=float).sum(axis=1)
    shares = np.divide(
        counts.to_numpy(dtype=float), totals[:, None], where=totals[:, None] > 0,
        out=np.zeros(counts.shape),
    )  # fmt: skip
    ax.barh(spots, np.ones(len(groups)), height=0.7, color="none", edgecolor=GREY, linewidth=0.8)
    left = np.zeros(len(groups))
    for j, style in enumerate(styles(classes)):
        ax.barh(spots, shares[:, j], left=left, height=0.7, label=_legend_name(classes[j]), **style)
        for y, (start, part, n) in enumerate(
            zip(left, shares[:, j], counts.iloc[:, j], strict=True)
        ):
            if part >= 0.06:
                _label_in(ax, start + part / 2, y, f"{int(n)}")
        left = left + shares[:, j]
    for y, total in enumerate(totals):
        _write(ax, 1.0, y, f"{int(total):,} plant{'' if total == 1 else 's'}")
    _name_rows(ax, spots, groups)
    ax.set_xlim(0, 1 / (1 - _beside(ax, groups, 0.95)))
    ax.set_xticks([0, 0.25, 0.5, 0.75, 1], ["0", "1/4", "1/2", "3/4", "all"])
    ax.set_xlabel("share of the plants scored")
    _legend_above(ax, len(classes))
    return _finish(ax, title, caption, alt, room=2 + 17 * -(-len(classes) // 4))


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

    Parameters
    ----------
    groups : names of the rows.
    values : the values of each row, without missing ones.
    unit : what the values are measured in.
    """
    ax = ax or new_axes(WIDTH, 2.0 + 0.48 * len(groups))
    for y, row in enumerate(values):
        data = np.sort(np.asarray(row, dtype=float))
        if data.size == 0:
            continue
        ax.scatter(data, y + _spread(data), s=16, color=PLAIN[0], alpha=0.65, linewidth=0, zorder=3)
        middle = float(np.median(data))
        ax.plot([middle, middle], [y - 0.36, y + 0.36], color=INK, linewidth=2.2, zorder=4)
    names = [f"{show(g, longest=34)} ({len(v)})" for g, v in zip(groups, values, strict=True)]
    _name_rows(ax, np.arange(len(groups)), names)
    ax.set_xlabel(_drawable(show(unit, longest=40)), parse_math=False)
    ax.grid(axis="x", color="#dddddd", linewidth=0.7)
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
    columns = max(30, int(figure.get_size_inches()[0] * 13))
    title = textwrap.fill(_drawable(show(title, longest=160)), int(columns * 0.7))
    caption = textwrap.fill(_drawable(show(caption, longest=600)), columns)
    heading: dict[str, Any] = {
        "fontsize": 13,
        "fontweight": "bold",
        "color": INK,
        "parse_math": False,
    }
    small: dict[str, Any] = {"fontsize": 9.5, "color": GREY, "parse_math": False, "gid": "caption"}
    if len(figure.axes) == 1:  # title and caption may use the whole width
        if title:
            figure.suptitle(title, x=0.02, ha="left", **heading)
        if caption:
            figure.supxlabel(caption, x=0.02, ha="left", **small)
        if room:
            ax.set_title(" ", fontsize=1, pad=room)
    else:
        ax.set_title(title, loc="left", pad=room + 4, **heading)
        ax.annotate(
            caption,
            (0, 0),
            xycoords="axes fraction",
            xytext=(0, -46),
            ha="left",
            textcoords="offset points",
            va="top",
            annotation_clip=False,
            **small,
        )
    ax.set_label(show(alt or caption or title, longest=None))
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


def _whole_ticks(top: float) -> np.ndarray:
    """At most seven round whole numbers from 0 to `top`."""
    from matplotlib.ticker import MaxNLocator

    ticks = np.asarray(MaxNLocator(nbins=6, integer=True).tick_values(0, top))
    return ticks[(ticks >= 0) & (ticks <= top)]


def _beside(ax: Axes, rows: Sequence[str], inches: float) -> float:
    """The share of the axes' width that words of `inches` beside the bars take."""
    names = min(max((len(r) for r in rows), default=0), ROW_LETTERS) * 0.085
    wide = figure_of(ax).get_size_inches()[0] - names - 0.25
    return min(inches / max(wide, 0.1), 0.6)


def _label_in(ax: Axes, x: float, y: float, text: str) -> None:
    """A number on a bar of any colour and hatching."""
    ax.text(x, y, text, ha="center", va="center", fontsize=9.5, color=INK, parse_math=False,
            bbox={"boxstyle": "round,pad=0.18", "facecolor": PAPER, "edgecolor": "none",
                  "alpha": 0.88})  # fmt: skip


def _legend_above(ax: Axes, entries: int) -> None:
    """The classes in a row above the bars, between them and the title."""
    legend = ax.legend(
        loc="lower left", bbox_to_anchor=(0, 1.0), ncols=min(entries, 4), frameon=False,
        fontsize=10, borderaxespad=0.3, handlelength=1.6, columnspacing=1.2,
    )  # fmt: skip
    for text in legend.get_texts():
        text.set_parse_math(False)


def _legend_name(name: str) -> str:
    """A short name; matplotlib hides one that begins with an underscore."""
    short = _drawable(show(name, longest=24))
    return f" {short}" if short.startswith("_") else short


def _name_rows(ax: Axes, spots: np.ndarray, names: Sequence[str]) -> None:
    """Rows from top to bottom, each with its name."""
    _plain_labels(ax, "y", spots, [textwrap.fill(n, ROW_LETTERS) for n in names])
    ax.set_ylim(len(names) - 0.5, -0.5)
    ax.tick_params(axis="y", length=0)


def _plain_labels(ax: Axes, axis: str, spots: np.ndarray, names: Sequence[str]) -> None:
    if axis == "y":
        ax.set_yticks(spots, [_drawable(n) for n in names])
    else:
        ax.set_xticks(spots, [textwrap.fill(_drawable(n), 14) for n in names])
    for label in ax.get_yticklabels() if axis == "y" else ax.get_xticklabels():
        label.set_parse_math(False)
        label.set_fontsize(10.5)


def _axis_names(ax: Axes, x: str, y: str) -> None:
    ax.set_xlabel(_drawable(show(x, longest=40)), parse_math=False)
    ax.set_ylabel(_drawable(show(y, longest=24)), parse_math=False)


def _spread(data: np.ndarray) -> np.ndarray:
    """Small steps up and down, the same on every run, so that no plant hides another.

    `data` is sorted; a point moves away from the points closer than a hundredth of
    the range.
    """
    near = max((data[-1] - data[0]) / 60, 1e-12)
    steps = np.zeros(data.size)
    run = 0
    for i in range(1, data.size):
        run = run + 1 if data[i] - data[i - 1] < near else 0
        steps[i] = (run % 7) * (1 if run % 2 else -1)
    return steps * 0.05


@lru_cache(maxsize=1)
def _glyphs() -> frozenset[int]:
    """The characters that the font can draw."""
    from matplotlib import font_manager

    return frozenset(font_manager.get_font(font_manager.findfont("DejaVu Sans")).get_charmap())


def _drawable(text: str) -> str:
    """`text` with an empty box for each character that the font lacks."""
    return "".join(c if ord(c) in _glyphs() or c in _UNDRAWN else "▯" for c in text)
