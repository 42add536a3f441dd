"""What every answer shares: its layout, its wording, its rounding, its escaping.

An answer is a frozen dataclass that inherits `Result` and says three things:
`verdict`, one or two plain sentences; `facts()`, a list of (label, value,
remark) made once; and `notes`, the caveats. Text and HTML only lay these out,
the verdict first. A display is the same on every run and holds no address.

Words typed by a user are never trusted: `show` makes them one harmless line
of text, `escape` makes them harmless in HTML. Both fence right-to-left words off
from the numbers beside them, which would change places otherwise. Numbers are
rounded from their own uncertainty where they have one (`estimate`), else to
three digits.
"""

from __future__ import annotations

import html
import math
import re
import unicodedata
from collections.abc import Iterable, Sequence
from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    import pandas as pd

CELL = "text-align:left;vertical-align:top;padding:2px 14px 2px 0;line-height:1.4"
CAPTION = "text-align:left;padding:10px 0 4px;line-height:1.4"
LONGEST = 60  # characters of a user's own text that a message or a table cell shows
ISOLATE, RELEASE = "\u2068", "\u2069"  # first strong isolate, pop directional isolate
# The blocks of right-to-left scripts, their marks and presentation forms (Unicode, Bidi_Class).
_RTL = "\u0590-\u08ff\ufb1d-\ufdff\ufe70-\ufefc\U00010800-\U00010fff\U0001e800-\U0001efff"
_RTL_WORD = rf"[\w'’-]*[{_RTL}][{_RTL}\w'’-]*"
_RTL_RUN = re.compile(rf"(?<![\w'’-]){_RTL_WORD}(?: {_RTL_WORD})*")


class Fact(NamedTuple):
    """One line of an answer."""

    label: str
    value: str
    remark: str = ""


class Result:
    """Lays out an answer: `verdict`, `facts()` and `notes`, as text and as HTML."""

    notes: tuple[str, ...] = ()

    @property
    def verdict(self) -> str:
        raise AttributeError(f"{type(self).__name__} must say its verdict")

    def facts(self) -> list[Fact]:
        return []

    def __repr__(self) -> str:
        facts = [Fact(*(show(part, longest=None) for part in fact)) for fact in self.facts()]
        wide = max((len(f.label) for f in facts), default=0)
        long = max((len(f.value) for f in facts), default=0)
        rows = [f"  {f.label:<{wide}}  {f.value:<{long}}  {f.remark}".rstrip() for f in facts]
        notes = [f"Note: {show(note, longest=None)}" for note in self.notes]
        return "\n".join([show(self.verdict, longest=None), *rows, *notes])

    def _repr_html_(self) -> str:
        return self.to_html()

    def to_html(self, picture: str = "", notes: bool = True) -> str:
        """The answer as HTML, with a picture (an `<img>`) below the verdict if there is one."""
        rows = "".join(
            f'<tr><th scope="row" style="{CELL}">{escape(f.label)}</th>'
            f'<td style="{CELL}">{escape(f.value)}</td>'
            f'<td style="{CELL}">{escape(f.remark)}</td></tr>'
            for f in self.facts()
        )
        caveats = "".join(f"<li>{escape(note)}</li>" for note in self.notes) if notes else ""
        return (
            f"<div><p><strong>{escape(self.verdict)}</strong></p>{picture}"
            + (f"<table>{rows}</table>" if rows else "")
            + (f"<ul>{caveats}</ul>" if caveats else "")
            + "</div>"
        )


# --- text that a user typed -------------------------------------------------


def show(text: object, longest: int | None = LONGEST) -> str:
    """`text` on one line, cut to `longest`, without control and direction marks of its own.

    Words of a right-to-left script stand between isolates, so that the counts beside
    them stay where they are (Unicode Standard Annex 9).
    """
    return _RTL_RUN.sub(rf"{ISOLATE}\g<0>{RELEASE}", _one_line(text, longest))


def escape(text: object) -> str:
    """`text` for HTML. Never cut: cut a user's word with `show` before."""
    return _RTL_RUN.sub(r"<bdi>\g<0></bdi>", html.escape(_one_line(text, None), quote=True))


def escape_word(text: object, longest: int | None = LONGEST) -> str:
    """A word that a user typed, for HTML: cut, escaped, and kept to its own direction."""
    return f"<bdi>{html.escape(_one_line(text, longest), quote=True)}</bdi>"


def escape_attribute(text: object) -> str:
    """`text` for an HTML attribute such as `alt`, where no tag can stand."""
    return html.escape(show(text, longest=None), quote=True)


def _one_line(text: object, longest: int | None) -> str:
    line = " ".join(str(text).split())
    clean = "".join(c for c in line if unicodedata.category(c) not in ("Cc", "Cf", "Cs", "Co"))
    if longest is not None and len(clean) > longest:
        return clean[: longest - 1] + "…"
    return clean


def html_table(
    frame: pd.DataFrame, caption: str = "", index: bool = True, longest: int | None = LONGEST
) -> str:
    """A frame as a small accessible HTML table: everything escaped, numbers to the right.

    A cell is cut to `longest` characters; None shows the whole of it.
    """
    import pandas as pd

    def cell(value: object) -> object:
        if pd.isna(value):
            return ""
        return number(value) if isinstance(value, float) else value

    data = frame.reset_index() if index else frame
    numeric = [pd.api.types.is_numeric_dtype(data.iloc[:, j]) for j in range(data.shape[1])]
    head = "".join(
        f'<th scope="col" style="{CELL.replace("left", "right", 1) if right else CELL}">'
        f"{escape_word(c)}</th>"
        for c, right in zip(data.columns, numeric, strict=True)
    )
    body = "".join(
        "<tr>"
        + "".join(
            f'<td style="{CELL.replace("left", "right", 1) if right else CELL}">'
            f"{escape_word(cell(v), longest)}</td>"
            for v, right in zip(row, numeric, strict=True)
        )
        + "</tr>"
        for row in data.itertuples(index=False, name=None)
    )
    title = f'<caption style="{CAPTION}">{escape(caption)}</caption>' if caption else ""
    return (
        f'<table style="margin-bottom:14px">{title}'
        f"<thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"
    )


# --- wording ----------------------------------------------------------------


def listing(words: Iterable[str], link: str = "and") -> str:
    """'a', 'a and b', 'a, b and c'."""
    words = list(words)
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} {link} {words[-1]}"


def sentence(text: str) -> str:
    """`text` with a capital at the beginning."""
    return text[:1].upper() + text[1:]


def plants(n: int) -> str:
    """'1 plant', '20 plants', '1,064 plants'."""
    return f"{n:,} plant{'' if n == 1 else 's'}"


def number(x: float, digits: int = 3) -> str:
    """A number to `digits` significant digits, without exponent where readable."""
    if x != x:
        return "not defined"
    if math.isinf(x):
        return "without limit" if x > 0 else "minus without limit"
    if x == 0:
        return "0"
    size = math.floor(math.log10(abs(x)))
    if size >= 15 or size < -6:
        return f"{x:.{digits - 1}e}"
    rounded = round(x, max(digits - 1 - size, 0))
    return f"{rounded:,.{max(digits - 1 - size, 0)}f}"


def chance(p: float) -> str:
    """A probability: '0.925', '0.041', '0.00031', 'below 0.0001', '1.00'."""
    if p != p:
        return "not defined"
    if p < 1e-4:
        return "below 0.0001"
    if p > 0.9999:
        return "above 0.9999" if p < 1 else "1.00"
    return f"{p:.3f}" if p >= 0.01 else number(p, 2)


def percent(share: float) -> str:
    """'42 %', '3.1 %', '99.6 %', 'under 0.1 %', 'over 99.9 %'."""
    hundred = 100 * float(share)
    if 0 < hundred < 0.1:
        return "under 0.1 %"
    if 99.9 < hundred < 100:
        return "over 99.9 %"
    return f"{hundred:.0f} %" if hundred in (0, 100) or 10 <= hundred <= 99 else f"{hundred:.1f} %"


def estimate(value: float, error: float) -> str:
    """'12.3 ± 0.4': the error to two digits if it begins with 1, else one; the value alike."""
    if not (math.isfinite(value) and math.isfinite(error)) or error <= 0:
        return number(value)
    size = math.floor(math.log10(error))
    places = -size + (1 if round(error / 10**size, 1) < 2 else 0)
    shown = [round(v, places) for v in (value, error)]
    return " ± ".join(f"{v:,.{max(places, 0)}f}" for v in shown)


def ratio_text(shares: Sequence[Fraction | int | float]) -> str:
    """Shares as the trade writes them: '9:3:3:1'. Exact shares give whole numbers."""
    exact = [Fraction(s) for s in shares if not isinstance(s, float)]
    if len(exact) < len(shares):
        return ":".join(number(float(s)) for s in shares)
    scale = math.lcm(*(s.denominator for s in exact))
    whole = [int(s * scale) for s in exact]
    common = math.gcd(*whole) or 1
    return ":".join(str(w // common) for w in whole)
