"""The drawing of a family tree: marks in rows, the earliest at the top, and lines to children.

Plain frames in, one axes out, as in `breedkit.charts`; knows no genetics. A line to the left
shoulder of a mark is drawn solid and signed ♀, one to the right shoulder dashed and signed ♂,
one to the middle is from a single parent and has its own sign. What is strong is drawn dark
and thick with its mark tinted; the one mark in focus is dark with white letters. So neither
sides nor emphasis hang on colour. Where marks stand is worked out by `breedkit.treelayout`.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from breedkit import canvas
from breedkit.colours import GREY, INK, PAPER
from breedkit.results import show
from breedkit.treelayout import Link, lay_out

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

PAGE_WIDTH, PAGE_HEIGHT = 7.4, 10.5  # inches that a page leaves for a picture
TITLE_AND_CAPTION = 1.6  # inches of them
WIDEST, NARROWEST = 1.3, 0.8  # of a mark
LINE, MOST_BETWEEN, LEAST_BETWEEN = 0.13, 0.5, 0.27  # a line of words; between rows; inches
NAME, SMALL = 8.5, 7.5  # points
TINT, TAG, QUIET, WASH = "#dbe6f1", "#f3ead9", "#8a8a8a", "#f6f6f4"
SIDES = {-1: ("♀", "solid"), 1: ("♂", (0, (3.2, 1.6)))}


def family_tree(
    marks: pd.DataFrame,
    links: pd.DataFrame,
    row_names: Sequence[str],
    *,
    title: str = "",
    caption: str = "",
    alt: str = "",
    ax: Axes | None = None,
) -> Axes:
    """A mark for each family, in its row, with lines from its parents.

    Parameters
    ----------
    marks : name, below (lines of small words), row (from 0), and true or false: strong,
        focus, tag (drawn with square corners, for those without parents).
    links : parent and child (places in `marks`), side (-1 left, 1 right, 0 middle), sign (for
        the middle) and strong.
    row_names : beside each row, such as a year; equal ones in a row are written once.
    """
    rows = [int(r) for r in marks["row"]]
    steps = [Link(*map(int, link)) for link in
             links[["parent", "child", "side"]].itertuples(index=False, name=None)]  # fmt: skip
    room = PAGE_WIDTH - 0.3
    names = [canvas.cut_to(show(name), 0.9, SMALL) for name in row_names]
    beside = canvas.inches(names, SMALL) + 0.18 if any(names) else 0.0
    layout = lay_out(rows, steps, (NARROWEST, WIDEST), room - beside)
    width = layout.width
    words = [_lines(name, below, width - 0.1) for name, below in
             zip(marks["name"], marks["below"], strict=True)]  # fmt: skip
    tall = [LINE * len(lines) + 0.13 for lines in words]
    y, between = _heights(rows, tall, len(row_names))
    whole = max(layout.whole + beside + 0.1, canvas.WIDTH - 0.3)
    if ax is None:
        body = y[-1][1] - y[0][0] + between - 0.6
        ax = canvas.new_axes(whole + 0.3, canvas.height_for(body, title, caption))
    shift = beside + (whole - beside - layout.whole) / 2
    x = [at + shift for at in layout.x]
    _bands(ax, names, y, between, whole)
    for link, way, (parent, child, side) in zip(
        links.itertuples(index=False), layout.ways, steps, strict=True
    ):
        passed = [(at + shift, y[rows[parent] + 1 + i]) for i, at in enumerate(way)]
        start = (x[parent], _middle(y[rows[parent]]) + tall[parent] / 2)
        end = (x[child] + width / 4 * side, _middle(y[rows[child]]) - tall[child] / 2)
        sign, style = SIDES.get(side, (str(link.sign), "solid"))
        _line(ax, start, passed, end, style, bool(link.strong))
        _sign(ax, end, sign, bool(link.strong))
    for at, height, lines, mark in zip(x, tall, words, marks.itertuples(index=False), strict=True):
        _mark(ax, (at, _middle(y[mark.row])), width, height, lines, mark)
    ax.set_xlim(0, whole)
    ax.set_ylim(y[-1][1] + 0.08, y[0][0] - 0.08)
    canvas.finish(ax, title, caption, alt)
    ax.set_axis_off()
    return ax


def _heights(
    rows: Sequence[int], tall: Sequence[float], n: int
) -> tuple[list[tuple[float, float]], float]:
    """Top and bottom of each row, as tall as its tallest mark, and the room between rows."""
    tallest = [max(t for r, t in zip(rows, tall, strict=True) if r == row) for row in range(n)]
    free = (PAGE_HEIGHT - TITLE_AND_CAPTION - sum(tallest)) / max(n - 1, 1)
    between = min(MOST_BETWEEN, max(LEAST_BETWEEN, free))
    tops = [sum(tallest[:r]) + r * between for r in range(n)]
    return [(top, top + t) for top, t in zip(tops, tallest, strict=True)], between


def _middle(span: tuple[float, float]) -> float:
    return sum(span) / 2


def _lines(name: str, below: Sequence[str], width: float) -> list[tuple[str, bool]]:
    """The words of a mark: its name in one or two bold lines, then the small ones."""
    name = show(name)
    bold = [name]
    if canvas.inches([name], NAME) > width:
        letters = max(4, int(len(name) * width / canvas.inches([name], NAME)))
        first, *rest = canvas.fill(name, letters).split("\n")
        bold = [first, " ".join(rest)] if rest else [first]
    return [
        *((canvas.cut_to(line, width, NAME), True) for line in bold),
        *((canvas.cut_to(show(line), width, SMALL), False) for line in below),
    ]


def _bands(
    ax: Axes, names: Sequence[str], y: Sequence[tuple[float, float]], between: float, whole: float
) -> None:
    """A pale band behind the rows of every second name, and the names at the left."""
    band = -1
    for r, (name, (top, bottom)) in enumerate(zip(names, y, strict=True)):
        new = r == 0 or name != names[r - 1]
        band += new
        if band % 2 == 0:
            ax.axhspan(top - between / 2, bottom + between / 2, color=WASH, zorder=0, linewidth=0)
        if new and name:
            ax.text(0.04, (top + bottom) / 2, name, fontsize=SMALL, color=GREY, va="center",
                    ha="left", parse_math=False)  # fmt: skip


def _line(
    ax: Axes,
    start: tuple[float, float],
    passed: Sequence[tuple[float, tuple[float, float]]],
    end: tuple[float, float],
    style: Any,
    strong: bool,
) -> None:
    """A line down that leaves and arrives upright, and passes rows beside their marks."""
    from matplotlib.patches import PathPatch
    from matplotlib.path import Path

    points, codes = [start], [Path.MOVETO]
    x, y = start
    for at, (top, bottom) in [*passed, (end[0], (end[1], end[1]))]:
        half = (y + top) / 2
        points += [(x, half), (at, half), (at, top), (at, bottom)]
        codes += [Path.CURVE4] * 3 + [Path.LINETO]
        x, y = at, bottom
    ax.add_patch(PathPatch(
        Path(points, codes), fill=False, linestyle=style, zorder=2 if strong else 1,
        edgecolor=INK if strong else QUIET, linewidth=2.0 if strong else 0.9,
    ))  # fmt: skip


def _sign(ax: Axes, port: tuple[float, float], sign: str, strong: bool) -> None:
    """♀, ♂ or another sign in a bead where a line arrives."""
    ax.annotate(
        canvas.drawable(show(sign)), port, xytext=(0, 5), va="center", ha="center",
        textcoords="offset points", fontsize=SMALL + 1, color=INK if strong else GREY,
        fontweight="bold" if strong else "normal", parse_math=False, in_layout=False, zorder=4,
        bbox={"boxstyle": "round,pad=0.12,rounding_size=0.5", "facecolor": PAPER,
              "edgecolor": INK if strong else QUIET, "linewidth": 0.9 if strong else 0.6},
    )  # fmt: skip


def _mark(
    ax: Axes,
    at: tuple[float, float],
    width: float,
    tall: float,
    words: list[tuple[str, bool]],
    mark: Any,
) -> None:
    """A box with its words, one line below the other."""
    from matplotlib.patches import FancyBboxPatch

    x, y = at
    fill = INK if mark.focus else TINT if mark.strong else TAG if mark.tag else PAPER
    corners = "square,pad=0" if mark.tag else "round,pad=0,rounding_size=0.09"
    ax.add_patch(FancyBboxPatch(
        (x - width / 2, y - tall / 2), width, tall, boxstyle=corners, facecolor=fill, zorder=3,
        edgecolor=INK if mark.strong else QUIET, linewidth=1.6 if mark.strong else 0.8,
    ))  # fmt: skip
    for i, (text, bold) in enumerate(words):
        ax.text(
            x, y + (i - (len(words) - 1) / 2) * LINE, text, ha="center", va="center_baseline",
            fontsize=NAME if bold else SMALL, fontweight="bold" if bold else "normal",
            color=PAPER if mark.focus else INK if bold else "#444444", parse_math=False, zorder=5,
        )  # fmt: skip
