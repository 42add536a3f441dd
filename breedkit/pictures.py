"""Pictures to take away: a file whose title and alternative text travel along.

A screen reader, or whoever puts the picture on a page later, finds in the file itself what it
shows: as title and description in an SVG, as text chunks in a PNG. The same picture gives the
same file on every run, without a date.
"""

from __future__ import annotations

import html
import io
from pathlib import Path
from typing import TYPE_CHECKING

from breedkit.canvas import alternative_text, caption_of, figure_of
from breedkit.errors import TableError, quote

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

FORMATS = (".svg", ".png")


def save_picture(ax: Axes, path: str | Path) -> Path:
    """Save a picture as SVG or PNG, with its title, caption and alternative text inside.

    Parameters
    ----------
    ax : what a drawing of breedkit returns.
    path : the file; its ending says the format.

    Returns
    -------
    The path of the file.

    Raises
    ------
    TableError
        for another ending, or if the file cannot be written.
    """
    path = Path(path)
    if path.suffix.lower() not in FORMATS:
        raise TableError(f"A picture is saved as .svg or .png; {quote(path.name)} is neither.")
    figure, said = figure_of(ax), alternative_text(ax)
    title = " ".join(figure.get_suptitle().split()) or caption_of(ax)
    try:
        if path.suffix.lower() == ".png":
            figure.savefig(path, dpi=200, metadata={"Title": title, "Description": said})
        else:
            path.write_text(_as_svg(figure, title, said), encoding="utf-8")
    except OSError as why:
        raise TableError(f"{quote(path.name)} cannot be written: {why.strerror}.") from why
    return path


def _as_svg(figure: Figure, title: str, said: str) -> str:
    """The figure as SVG; beside the title stands what it shows, which matplotlib cannot write."""
    import matplotlib as mpl

    stream = io.StringIO()
    with mpl.rc_context({"svg.hashsalt": "breedkit"}):
        figure.savefig(stream, format="svg", metadata={"Title": title, "Date": None})
    return stream.getvalue().replace("</title>", f"</title>\n <desc>{html.escape(said)}</desc>", 1)
