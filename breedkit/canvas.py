"""The canvas of every picture: its axes, words, safety of text, and its HTML.

A drawing is made of three steps: `new_axes` of the height that its body and words need
(`height_for`), the drawing itself, and `finish`, which adds title, caption, alternative
text and the house's quiet frame. What drawings share stands here: names of rows and axes,
words beside a point, the legend.

Text of a user is drawn as text: no mathematics, and an empty box for a character that the
font lacks. Lengths are inches, sizes of letters points. matplotlib is imported inside the
functions, so that importing breedkit stays light.
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

from breedkit.colours import GREY, INK, PAPER
from breedkit.results import ISOLATE, RELEASE, escape_attribute, show

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.text import Text

_unseen: ContextVar[bool] = ContextVar("_unseen", default=False)

WIDTH = 6.4  # inches; small enough to be read on a phone
ROW_LETTERS = 24  # of a row's name on one line
LEGEND_LINE = 17  # points
_UNDRAWN = {"\n", ISOLATE, RELEASE}  # they steer the text; no glyph is looked for


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


def finish(ax: Axes, title: str, caption: str, alt: str, room: float = 0) -> Axes:
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


def height_for(body: float, title: str, caption: str) -> float:
    """Inches that a picture of the usual width needs for its body and all its words."""
    title, caption = _wrapped(title, caption, WIDTH)
    return body + 1.05 + 0.24 * (title.count("\n") + 1) + 0.16 * (caption.count("\n") + 1)


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


# --- words on it -------------------------------------------------------------


def name_rows(ax: Axes, spots: np.ndarray, names: Sequence[str]) -> None:
    """Rows from top to bottom, each with its name."""
    ax.set_yticks(spots, [fill(n, ROW_LETTERS) for n in names])
    _as_text(ax.get_yticklabels())
    ax.set_ylim(len(names) - 0.5, -0.5)
    ax.tick_params(axis="y", length=0)


def name_columns(ax: Axes, spots: np.ndarray, names: Sequence[str]) -> None:
    """Columns from left to right, each with its name below."""
    ax.set_xticks(spots, [fill(n, 14) for n in names])
    _as_text(ax.get_xticklabels())


def _as_text(labels: Sequence[Text]) -> None:
    for label in labels:
        label.set_parse_math(False)
        label.set_fontsize(10.5)


def name_axes(ax: Axes, x: str, y: str) -> None:
    """What the two axes show."""
    ax.set_xlabel(drawable(show(x, longest=40)), parse_math=False)
    ax.set_ylabel(drawable(show(y, longest=24)), parse_math=False)


def write(ax: Axes, x: float, y: float | np.integer, text: str, bold: bool = False) -> None:
    """Words to the right of a point."""
    ax.annotate(
        text, (x, y), xytext=(6, 0), textcoords="offset points", va="center", fontsize=9.5,
        color=INK, fontweight="bold" if bold else "normal", parse_math=False, in_layout=False,
    )  # fmt: skip


def write_on(ax: Axes, x: float, y: float, text: str) -> None:
    """A number on a bar of any colour and hatching."""
    ax.text(x, y, text, ha="center", va="center", fontsize=9.5, color=INK, parse_math=False,
            bbox={"boxstyle": "round,pad=0.18", "facecolor": PAPER, "edgecolor": "none",
                  "alpha": 0.88})  # fmt: skip


def room_beside(ax: Axes, rows: Sequence[str], needed: float) -> float:
    """The share of the axes' width that words of `needed` inches beside the bars take."""
    return min(needed / width_beside(ax, rows), 0.6)


def width_beside(ax: Axes, rows: Sequence[str]) -> float:
    """Inches from the names of the rows to the right edge."""
    names = inches([line for r in rows for line in fill(r, ROW_LETTERS).split("\n")], 10.5)
    return max(figure_of(ax).get_size_inches()[0] - names - 0.35, 0.1)


def whole_ticks(top: float, most: int) -> np.ndarray:
    """Round whole numbers from 0 to `top`, at most `most` steps."""
    from matplotlib.ticker import MaxNLocator

    ticks = np.asarray(MaxNLocator(nbins=most, integer=True).tick_values(0, top))
    return ticks[(ticks >= 0) & (ticks <= top)]


def legend_grid(classes: Sequence[str]) -> tuple[int, int]:
    """Columns and lines of the legend that these names need."""
    columns = max(1, min(4, len(classes), int(WIDTH / (inches(classes, 10) + 0.55))))
    return columns, -(-len(classes) // columns)


def legend_above(ax: Axes, columns: int) -> None:
    """The classes in rows above the bars, between them and the title."""
    legend = ax.legend(
        loc="lower left", bbox_to_anchor=(0, 1.0), ncols=columns, frameon=False,
        fontsize=10, borderaxespad=0.3, handlelength=1.6, columnspacing=1.2,
    )  # fmt: skip
    for text in legend.get_texts():
        text.set_parse_math(False)


def legend_name(name: str) -> str:
    """A short name; matplotlib hides one that begins with an underscore."""
    short = drawable(show(name, longest=30))
    return f" {short}" if short.startswith("_") else short


# --- the measure and safety of text ------------------------------------------


def inches(texts: Sequence[str], size: float) -> float:
    """The width of the widest text in bold letters of `size` points."""
    from matplotlib.font_manager import FontProperties
    from matplotlib.textpath import TextToPath

    bold, measure = FontProperties(size=size, weight="bold"), TextToPath()
    sizes = (measure.get_text_width_height_descent(drawable(t), bold, False) for t in texts)
    return max((width for width, _, _ in sizes), default=0) / 72


def cut_to(text: str, wide: float, size: float) -> str:
    """`text` in drawable letters of `size` points, cut to `wide` inches."""
    text = drawable(text)
    while len(text) > 1 and inches([text], size) > wide:
        text = text.removesuffix("…")[:-1] + "…"
    return text


def fill(text: str, columns: int) -> str:
    """`text` in drawable lines. A line's right-to-left words are fenced off anew."""
    lines = textwrap.wrap(text.replace(" %", "\u00a0%"), columns)  # '5 %' stays together
    return "\n".join(drawable(show(line, longest=None)) for line in lines)


def drawable(text: str) -> str:
    """`text` with an empty box for each character that the font lacks."""
    return "".join(c if ord(c) in _glyphs() or c in _UNDRAWN else "▯" for c in text)


def _wrapped(title: str, caption: str, width: float) -> tuple[str, str]:
    """Title and caption in lines that fit `width` inches."""
    columns = max(30, int(width * 13))
    return (
        fill(show(title, longest=160), int(columns * 0.7)),
        fill(show(caption, longest=600), columns),
    )


@lru_cache(maxsize=1)
def _glyphs() -> frozenset[int]:
    """The characters that the font can draw."""
    from matplotlib import font_manager

    return frozenset(font_manager.get_font(font_manager.findfont("DejaVu Sans")).get_charmap())
