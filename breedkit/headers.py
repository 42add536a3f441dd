"""What a column is called: the row that names the columns, and the words it may use.

A column is known by its own name or by another of `HEADERS`. Where no column is called so,
a heading of `LOOSE` will do, and that is said: an ID or a label is the code of a plant, a
line or a cross is a family. No, nr and number may as well head a count, so they are codes
only in the first two columns; and a row a family with nothing but counts is a tally, not
plants. Headings in other languages (`FOREIGN`) are not read, but the repair is said.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from breedkit.errors import Problem, TableError, did_you_mean, fold, quote
from breedkit.results import listing

HEADER_WITHIN = 30  # rows among which the header is looked for
HEADERS = {  # what else a column may be called, besides its own name
    "plant": {"plants", "plant no", "plant no.", "plant nr", "plant number", "plant code",
              "plant id", "plant name"},
    "family": {"families", "family name"},
    "female": {"mother", "mum", "seed parent", "female parent"},
    "male": {"father", "dad", "pollen parent", "male parent"},
}  # fmt: skip
LOOSE = {  # what may be meant for it where no column is called so; the likeliest first
    "plant": ("id", "code", "label", "tag", "no", "nr", "number"),
    "family": ("line", "cross", "group", "generation"),
}
NUMBERS = ("no", "nr", "number")
MEANT = {"plant": "your plant codes", "family": "your families"}
FOREIGN = {  # the same in other languages: not read, but the repair is said
    "plant": {"pflanze", "pflanzen", "plante", "plantes", "planta", "plantas", "pianta", "piante"},
    "family": {"familie", "familien", "famille", "familles", "familia", "famiglia"},
    "female": {"mutter", "mere", "madre", "moeder"},
    "male": {"vater", "pere", "padre", "vader"},
}  # fmt: skip


def match(headers: Iterable[str], name: str, loose: bool = True) -> str | None:
    """The header that means `name`, as typed; None if there is none."""
    headers = list(headers)
    by_fold = {_plain(h): h for h in reversed(headers)}
    if name in by_fold:
        return by_fold[name]
    for header in headers:
        if _plain(header) in HEADERS.get(name, ()):
            return header
    front = {_plain(h) for h in headers[:2]}
    likely = (w for w in LOOSE.get(name, ()) if loose and w in by_fold)
    return next((by_fold[w] for w in likely if w in front or w not in NUMBERS), None)


def taken(headers: Sequence[str], keys: Iterable[str]) -> dict[str, str]:
    """Key -> the header that is only taken for it, since none is called so."""
    found = {k: h for k in keys if (h := match(headers, k)) is not None}
    return {k: h for k, h in found.items() if match(headers, k, loose=False) is None}


def _plain(header: str) -> str:
    """A heading as it is compared; an apostrophe before it only marks it as text."""
    return fold(header).removeprefix("'").rstrip(".:")


def find_header(rows: Sequence[Sequence[str]], keys: Sequence[str]) -> int | None:
    """The first row in which all the key columns are named, or at least meant."""
    for loose in (False, True):
        for at, row in enumerate(rows[:HEADER_WITHIN]):
            named = all(match(row, key, loose) is not None for key in keys)
            if named and not (loose and "plant" in keys and _tallied(row, rows[at + 1 :])):
                return at
    return None


def no_header(source: str, rows: Sequence[Sequence[str]], keys: Sequence[str]) -> TableError:
    """Says which columns are missing from the row that looks most like a header.

    It names most of them, be it in another language, and is the widest of those.
    """

    def foreign(row: Sequence[str], key: str) -> str | None:
        return next((c for c in row if _plain(c) in FOREIGN.get(key, ())), None)

    def likeness(row: Sequence[str]) -> tuple[int, int]:
        named = [k for k in keys if match(row, k) is not None or foreign(row, k)]
        return len(named), sum(bool(c.strip()) for c in row)

    best = max(rows[:HEADER_WITHIN], key=likeness, default=[])
    missing = [key for key in keys if match(best, key) is None]
    like = foreign(best, "plant") or did_you_mean("plant", best)
    likely = "plant" in keys and not (like and missing)
    if best and likely and _tallied(best, rows[rows.index(best) + 1 :]):
        what = "holds tallies, not a row for each plant"
        advice = "Type each plant: one row a plant is needed here (in Python: load_counts)."
        return TableError(Problem(source, what, advice=advice))
    typed = [c for c in best if c.strip()]
    others = [c for c in typed if c not in {match(best, k) for k in keys}]
    faults = []
    for key in missing:
        near = foreign(best, key) or did_you_mean(key, typed)
        hint = f" If {quote(near)} is meant, call the column '{key}'." if near else ""
        if not near and (worded := _worded(others, key)):
            hint = f" Rename the heading {quote(worded)} of {MEANT[key]} to '{key}'."
        found = f"Found: {listing([quote(c) for c in typed[:12]]) or 'nothing'}.{hint}"
        faults.append(Problem(source, f"has no column called '{key}'", advice=found))
    return TableError(faults)


def _worded(headers: Iterable[str], key: str) -> str | None:
    """The header that has a word for `key` in it, such as 'Seedling no.'."""
    words = set(LOOSE.get(key, ()))
    return next((h for h in headers if words & set(re.findall(r"\w+", fold(h)))), None)


def _tallied(header: Sequence[str], below: Sequence[Sequence[str]]) -> bool:
    """Whether a table says how many plants of a family are in a class."""
    family = match(header, "family")
    if family is None or {"class", "count"} <= {fold(c) for c in header}:
        return family is not None
    rows = [dict(zip(header, row, strict=False)) for row in below if any(row)]
    cells = [c for row in rows for name, c in row.items() if name.strip() and name != family]
    once = len({row.get(family) for row in rows}) == len(rows)
    return len(cells) > len(rows) and once and all(c.strip().isdecimal() for c in cells)
