"""Pictures to take away: a file whose title and alternative text travel along.

A screen reader, or whoever puts the picture on a page later, finds in the file itself what it
shows: as title and description in an SVG, as text chunks in a PNG. The same picture gives the
same file on every run, without a date.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from breedkit.canvas import alternative_text, caption_of, figure_of
from breedkit.errors import TableError, quote

if TYPE_CHECKING:
    from matplotlib.axes import Axes

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
    import matplotlib as mpl

    path = Path(path)
    if path.suffix.lower() not in FORMATS:
        raise TableError(f"A picture is saved as .svg or .png; {quote(path.name)} is neither.")
    figure = figure_of(ax)
    title = " ".join(figure.get_suptitle().split()) or caption_of(ax)
    said = {"Title": title, "Description": alternative_text(ax)}
    if path.suffix.lower() == ".svg":
        said |= {"Date": None}  # type: ignore[dict-item]
    try:
        with mpl.rc_context({"svg.hashsalt": "breedkit"}):
            figure.savefig(path, dpi=200, metadata=said)
    except OSError as why:
        raise TableError(f"{quote(path.name)} cannot be written: {why.strerror}.") from why
    return path
