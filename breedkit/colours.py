"""The look of a class: the fruit's own colour, or a palette that claims none, and a hatching.

A class that is named after a colour is drawn in that colour, whatever stands beside
it: red fruit drawn blue would mislead. Classes of one colour ('red', 'red striped')
are shades of it. Beside them, a class without a colour in its name is a light grey
or tan; among themselves such classes get a palette that eyes of all kinds can tell
apart. Colour is never the only sign: hatchings repeat after the tenth class only.
The colours are our own choice, meant to resemble ripe fruit.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

import numpy as np

INK, PAPER, GREY = "#222222", "#ffffff", "#6b6b6b"
HATCHES = ("", "///", "...", "\\\\\\", "xx", "++", "oo", "---", "**", "||")
PLAIN = ("#35618f", "#e0a53f", "#7fb8ad", "#b4483f", "#c9b7d8", "#5f6b2e", "#d98cb3", "#8a8a8a")
NEUTRAL = ("#e2e2e2", "#d9cbb3", "#c9c9c9", "#efe4d2", "#b4b4b4", "#c4b08f")
NAMED = {
    "red": "#c8102e", "dark red": "#7d0a1e", "deep red": "#8f0d22", "light red": "#e8574f",
    "pale red": "#ee8078", "bright red": "#e01b24", "brick red": "#a63a2b", "maroon": "#6a1324",
    "burgundy": "#6d1a36", "scarlet": "#d9261c", "crimson": "#a80f38", "orange red": "#e4572a",
    "orange": "#f08a24", "dark orange": "#d96c0c", "deep orange": "#d96c0c",
    "light orange": "#f5a95b", "pale orange": "#f7b977", "yellow orange": "#f5ac30",
    "apricot": "#f4b06a", "amber": "#e69b1f", "peach": "#f6bd9a", "salmon": "#f08b74",
    "coral": "#f0725c", "yellow": "#f3d03e", "bright yellow": "#f9dc24", "dark yellow": "#d3a90f",
    "deep yellow": "#e2b81c", "light yellow": "#f6e58a", "pale yellow": "#f6eaa4",
    "lemon": "#f6e96b", "lemon yellow": "#f6e96b", "gold": "#d9a921", "golden": "#d9a921",
    "golden yellow": "#e8b923", "mustard": "#c49a1a", "green": "#4f8a3c", "dark green": "#275a2a",
    "deep green": "#2d6330", "light green": "#a9cf86", "pale green": "#c2dca8",
    "yellow green": "#b3c23f", "olive green": "#76802f", "blue green": "#3f8f80",
    "pink": "#e79ab4", "dark pink": "#cf5c86", "light pink": "#f1bccd", "pale pink": "#f4cbd7",
    "purple": "#5d2a6d", "dark purple": "#3a1747", "deep purple": "#421b50",
    "light purple": "#9a6bae", "pale purple": "#b795c5", "violet": "#8155ba", "lilac": "#bfa3d6",
    "lavender": "#c5b4e3", "mauve": "#b784a7", "magenta": "#b5307f", "black": "#2b2024",
    "brown": "#6f4326", "dark brown": "#472915", "light brown": "#a3764d", "red brown": "#7d3524",
    "chocolate": "#4f2c1c", "chocolate brown": "#4f2c1c", "mahogany": "#5e2418",
    "bronze": "#8f6a35", "tan": "#cdae82", "beige": "#e6d7b4", "white": "#fbf7ea",
    "cream": "#f6ebc8", "ivory": "#f8f1d8", "blue": "#3a62a7", "dark blue": "#1f3a6e",
    "light blue": "#8fb1dd", "grey": "#9a9a9a", "gray": "#9a9a9a",
}  # fmt: skip
# The first colour of a name; a longer name of a colour goes before a shorter one.
_LONGEST_FIRST = "|".join(sorted(NAMED, key=len, reverse=True))
_COLOUR = re.compile(rf"(?<!\bnot )(?<!\bnon )(?<!\bno )\b(?:{_LONGEST_FIRST})\b")


def styles(classes: Sequence[str]) -> list[dict[str, Any]]:
    """Colour and hatching of each class; the fruit's own colour where it has one.

    Of several classes with one colour, that with the shortest name has it pure, the
    others a shade of it. Beside colours, a class without one is a hatched grey or tan.
    """
    own = [colour_named(c) for c in classes]
    fills = list(PLAIN) if not any(own) else [n for n in NEUTRAL if not _like(n, own)] or [PAPER]
    order = sorted(range(len(own)), key=lambda i: own[i] is None)  # unhatched: a named one
    looks: dict[int, dict[str, Any]] = {}
    for nth, i in enumerate(order):
        named = own[i]
        alike = [j for j in order if own[j] == named]
        if named:
            alike.sort(key=lambda j: len(classes[j]))
        at = alike.index(i)
        fill = _shade(named, at) if named else fills[at % len(fills)]
        looks[i] = {
            "facecolor": fill,
            "edgecolor": INK,
            "hatch": HATCHES[nth and 1 + (nth - 1) % (len(HATCHES) - 1)],
            "hatchcolor": "#e8e8e8" if _lightness(fill) < 0.3 else INK,
            "linewidth": 0.8,
        }
    return [looks[i] for i in range(len(own))]


def _rgb(colour: str) -> np.ndarray:
    """Red, green and blue of a '#rrggbb', 0 to 1."""
    return np.array([int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)])


def _lightness(colour: str) -> float:
    """How light a '#rrggbb' is, 0 to 1, roughly as the eye sees it in grey."""
    return float(_rgb(colour) @ (0.3, 0.59, 0.11))


def _like(colour: str, others: Sequence[str | None]) -> bool:
    """Whether one of the others could be taken for this colour."""
    return any(np.abs(_rgb(colour) - _rgb(o)).sum() < 0.36 for o in others if o)


def _shade(colour: str, nth: int) -> str:
    """The same hue, `nth` steps lighter, or darker if it is light."""
    towards = np.ones(3) * (_lightness(colour) < 0.5)
    mixed = towards + (_rgb(colour) - towards) * 0.74**nth
    return "#" + "".join(f"{round(255 * part):02x}" for part in mixed)


def colour_named(name: str) -> str | None:
    """The colour a class is named after, or None: 'Dark red' and 'light green fruit' have one."""
    found = _COLOUR.search(" ".join(re.findall(r"[a-z]+", name.casefold())))
    return NAMED[found.group()] if found else None
