"""From a file, a workbook or a frame to a table of text, with what is odd about it.

Nothing is converted here. A cell stays the text that was typed ("001", "12,5",
"NA") and a row keeps the number the spreadsheet shows for it.

What is understood without asking: comma, semicolon or tab; UTF-8 with or without
byte-order mark, UTF-16, Windows-1252; a header below title lines, found by the
columns it must name (`breedkit.headers`); a file whose ending does not fit its content;
cells merged downwards. A leading apostrophe that keeps a spreadsheet from running a cell
(`guard`) is taken off again. Wholly blank rows and columns are left out.
"""

from __future__ import annotations

import csv
import io
import re
import warnings
import zipfile
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from pathlib import Path
from typing import Any, BinaryIO, NamedTuple

import numpy as np
import pandas as pd

from breedkit.errors import Problem, TableError, fold, quote
from breedkit.headers import HEADER_WITHIN, find_header, match, no_header, taken
from breedkit.records import Column, Piece, cut, join, piece_of_rows, take_apart

LONG_ROWS = 20  # rows with too many cells that are listed one by one
TEXT_ENDINGS = (".csv", ".tsv", ".txt")
BOOK_ENDINGS = (".xlsx", ".xlsm")
PROBLEM_COLUMNS = {
    "severity": "str", "source": "str", "row": "Int64", "rows": "int64", "column": "str",
    "value": "str", "problem": "str", "allowed": "str", "suggestion": "str",
}  # fmt: skip
_NOT_TABLES = {
    b"%PDF": "a PDF",
    b"\x89PNG": "a picture",
    b"\xff\xd8\xff": "a picture",
    b"GIF8": "a picture",
    b"\xd0\xcf\x11\xe0": "an old Excel workbook (.xls)",
    b"{\\rtf": "a word-processor document",
}
_RUNS = re.compile(r"'*\s*[=+\-@\t\r＝＋－＠]")
_PLAIN_NUMBER = re.compile(r"[+-]?[0-9]+([.,][0-9]+)?|-")


class Finding(NamedTuple):
    """A `Problem`, how much it matters, and how many rows of the table it concerns.

    `severity` is "mend" (not used or not counted until it is mended), "check" (used as
    typed, but worth a look) or "note" (said so that nothing happens in silence).
    """

    severity: str
    problem: Problem
    rows: int = 1


def problem_frame(findings: Iterable[Finding]) -> pd.DataFrame:
    """One row a finding: where, what was typed, what is wrong, what is allowed, what to do."""
    rows = [
        {
            "severity": f.severity,
            "source": f.problem.source,
            "row": f.problem.row,
            "rows": f.rows,
            "column": f.problem.column or "",
            "value": f.problem.found or "",
            "problem": f.problem.what,
            "allowed": " | ".join(f.problem.allowed),
            "suggestion": f.problem.suggestion,
        }
        for f in findings
    ]
    return pd.DataFrame(rows, columns=list(PROBLEM_COLUMNS)).astype(PROBLEM_COLUMNS)


@dataclass(frozen=True, eq=False)
class Sheet:
    """One table as it was typed.

    Parameters
    ----------
    source : how messages name the table.
    columns : header as typed -> the texts below it.
    rows : the number of each row in the spreadsheet.
    findings : what was odd on the way in.
    before : header -> what had been typed, for columns that were put right in a saved table.
    """

    source: str
    columns: dict[str, Column]
    rows: pd.Index
    findings: tuple[Finding, ...] = ()
    before: Mapping[str, Column] = field(default_factory=dict)

    def header(self, name: str) -> str | None:
        """The header that means `name`, as typed; None if there is none."""
        return match(self.columns, name)

    def typed(self, header: str) -> Column:
        """What was typed in a column, whatever stands there now."""
        return self.before.get(header, self.columns[header])

    def top(self, size: int) -> Sheet:
        """The first `size` rows."""
        columns, before = (
            {name: column.at(slice(size)) for name, column in some.items()}
            for some in (self.columns, self.before)
        )
        return replace(self, columns=columns, rows=self.rows[:size], before=before)

    def frame(self) -> pd.DataFrame:
        """What stands in the table, as strings; the index is the row in the spreadsheet."""
        texts = {name: column.texts() for name, column in self.columns.items()}
        return pd.DataFrame(texts, index=self.rows, dtype=str)


def read_table(source: object, keys: Sequence[str], sheet: str) -> Sheet:
    """Read one table: a path or a frame.

    Parameters
    ----------
    source : path of a CSV, TSV or XLSX file, or a frame.
    keys : the columns by which the header row is recognised.
    sheet : the sheet to take from a workbook; near names and the only sheet will do too.

    Raises
    ------
    TableError
        if there is no such table in it.
    """
    read = _read(source, keys, sheet)
    said = [
        Finding("note", Problem(read.source, f"is taken as the column '{key}'", column=header))
        for key, header in taken(list(read.columns), keys).items()
    ]
    return replace(read, findings=(*read.findings, *said)) if said else read


def _read(source: object, keys: Sequence[str], sheet: str) -> Sheet:
    if isinstance(source, pd.DataFrame):
        return _from_frame(source, keys, sheet)
    path = Path(str(source))
    head = _read_head(path)
    findings = []
    if head.startswith(b"PK"):
        if path.suffix.lower() not in BOOK_ENDINGS:
            findings.append(_note(path.name, "is a workbook in spite of its ending; read as one"))
        return _unguarded(_from_book(path, keys, sheet, findings))
    if path.suffix.lower() in BOOK_ENDINGS:
        findings.append(_note(path.name, "is a text table in spite of its ending; read as one"))
    return _unguarded(_from_text(path, head, keys, findings))


def sheet_names(path: Path) -> list[str]:
    """The names of a workbook's sheets that hold something, none if it is no workbook."""
    return list(_pages(path)) if _read_head(path).startswith(b"PK") else []


def sheet_called(name: str, titles: Sequence[str]) -> str | None:
    """The title that means `name`: that very word, or the only one that has it in it."""
    near = [t for t in titles if re.search(rf"\b{name}\b", fold(t))]
    very = [t for t in near if fold(t) == name]
    return very[0] if very else near[0] if len(near) == 1 else None


def unguard(text: str) -> str:
    """Take off the apostrophe that `guard` put before a text that would run."""
    return text[1:] if text.startswith("'") and _RUNS.match(text) else text


def guard(text: str) -> str:
    """`text` so that no spreadsheet runs it: an apostrophe before = + - @ tab and return."""
    return f"'{text}" if _RUNS.match(text) and not _PLAIN_NUMBER.fullmatch(text) else text


# --- from pieces to a sheet -------------------------------------------------------


def _note(source: str, what: str, row: int | None = None) -> Finding:
    return Finding("note", Problem(source, what, row=row))


def _assemble(
    source: str, header: Sequence[str], at: int, pieces: Iterable[Piece], findings: list[Finding]
) -> Sheet:
    """Join the pieces of a table below the header in row `at`, and name its columns."""
    parts: list[list[Column]] = [[] for _ in header]
    size = 0
    long_rows: list[int] = []
    for columns, rows, too_long in pieces:
        while len(parts) < len(columns):  # a column not met before has been blank so far
            parts.append([_blanks(size)])
        for j, part in enumerate(parts):
            part.append(columns[j] if j < len(columns) else _blanks(rows))
        long_rows += [at + 1 + size + row for row in too_long]
        size += rows
    findings += _say_long_rows(source, long_rows, len(header))
    whole = [join(part) for part in parts]
    seen = [column.says() for column in whole]
    names = _name_columns(source, header, seen, at, findings)
    keep = np.zeros(size, dtype=bool)
    for j in sorted(names, key=lambda j: whole[j].words is None):  # the quick ones first
        if not keep.all():
            keep |= ~whole[j].blank()
    rows = pd.RangeIndex(at + 1, at + 1 + size, name="row")
    if keep.all():
        return Sheet(source, {n: whole[j] for j, n in names.items()}, rows, tuple(findings))
    kept = {n: whole[j].at(keep) for j, n in names.items()}
    return Sheet(source, kept, rows[keep], tuple(findings))


def _blanks(rows: int) -> Column:
    return Column(np.zeros(rows, dtype=np.int8), ("",))


def _unguarded(sheet: Sheet) -> Sheet:
    columns = {
        unguard(name): column.map(unguard) if column.any_begins(b"'") else column
        for name, column in sheet.columns.items()
    }
    return replace(sheet, columns=columns)


def _say_long_rows(source: str, rows: list[int], width: int) -> list[Finding]:
    advice = "Is there a comma or semicolon inside a cell? Put that cell in quotation marks."
    what = f"has more cells than the header, which has {width}"
    listed = [Problem(source, what, row=row, advice=advice) for row in rows[:LONG_ROWS]]
    faults = [Finding("mend", problem) for problem in listed]
    if (more := len(rows) - LONG_ROWS) > 0:
        problem = Problem(source, f"{more:,} more rows have more cells than the header")
        faults.append(Finding("mend", problem, more))
    return faults


def _name_columns(
    source: str, header: Sequence[str], seen: list[bool], row: int, findings: list[Finding]
) -> dict[int, str]:
    """A name for each column that has a header or says something, each name once."""
    names: dict[int, str] = {}
    taken: set[str] = set()
    for j, says in enumerate(seen):
        name = " ".join(header[j].split()) if j < len(header) else ""
        if not name and not says:
            continue
        if not name:
            name = f"column {letters(j)}"
            if j < len(header):
                nameless = Problem(source, "cells below a blank header", row=row, column=name)
                findings.append(Finding("check", nameless))
        if fold(name) in taken:
            k = next(k for k in range(2, len(seen) + 3) if fold(f"{name} ({k})") not in taken)
            what = f"is a header used twice; this column is called {quote(f'{name} ({k})')}"
            twice = Problem(source, what, row=row, column=letters(j), found=name)
            findings.append(Finding("mend", twice))
            name = f"{name} ({k})"
        taken.add(fold(name))
        names[j] = name
    return names


def letters(j: int) -> str:
    """The letters a spreadsheet shows above column j (from 0): A, B, … Z, AA."""
    return (letters(j // 26 - 1) if j >= 26 else "") + chr(65 + j % 26)


# --- text files -------------------------------------------------------------------


def _read_head(path: Path) -> bytes:
    """The first bytes of a file that may be a table; TableError if it cannot be one."""
    try:
        with path.open("rb") as file:
            head = file.read(4096)
    except OSError as why:
        raise TableError(Problem(path.name, f"cannot be opened: {why.strerror}")) from why
    what = next((w for magic, w in _NOT_TABLES.items() if head.startswith(magic)), None)
    if not head.strip():
        what = "empty"
    elif what is None and not _sixteen(head) and not head.startswith(b"PK"):
        odd = sum(byte < 32 and byte not in b"\t\n\r\f\v\x1a" for byte in head)
        what = "not a text file" if odd > len(head) // 10 else None
    if what:
        advice = "Save the table as CSV or XLSX."
        raise TableError(Problem(path.name, f"is {what}", advice=advice))
    return head


def _sixteen(head: bytes) -> str | None:
    """The name of the UTF-16 encoding a file begins with, if it does."""
    if head.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "utf-16"
    even, odd = head[0::2].count(0), head[1::2].count(0)
    if odd > len(head) // 4 and even == 0:
        return "utf-16-le"
    return "utf-16-be" if even > len(head) // 4 and odd == 0 else None


def _from_text(path: Path, head: bytes, keys: Sequence[str], findings: list[Finding]) -> Sheet:
    wide = _sixteen(head)
    if wide is None:
        try:
            with path.open("rb") as file:
                return _from_bytes(path.name, file, keys, list(findings))
        except UnicodeDecodeError:
            said = "is not in UTF-8; read as Windows text: look at the accented letters"
            findings.append(_note(path.name, said))
    content = path.read_bytes()
    try:
        text = content.decode(wide or "cp1252", errors="replace" if wide else "strict")
    except UnicodeDecodeError:  # five bytes mean nothing in Windows-1252, but lose none
        text = content.decode("latin-1")
    return _from_bytes(path.name, io.BytesIO(text.encode()), keys, findings)


def _from_bytes(source: str, file: BinaryIO, keys: Sequence[str], findings: list[Finding]) -> Sheet:
    """Read UTF-8 text; UnicodeDecodeError if it is something else."""
    pieces = cut(file)
    text = next(pieces).decode("utf-8-sig")
    tops = {mark: _top(text, mark) for mark in ",;\t"}
    places = {mark: find_header(rows, keys) for mark, rows in tops.items()}
    found = {mark: at for mark, at in places.items() if at is not None}
    if not found:
        raise no_header(source, max(tops.values(), key=lambda t: max(map(len, t))), keys)
    mark = max(found, key=lambda m: (-found[m], len(tops[m][found[m]])))
    at, header = found[mark] + 1, tops[mark][found[mark]]
    if at > 1:
        findings.append(_note(source, f"has its header in row {at}", row=at))
    stream = io.StringIO(text, newline="")
    above = csv.reader(stream, delimiter=mark)
    for _ in range(at):
        next(above)
    below = (piece for group in ([stream.read().encode()], pieces) for piece in group)
    try:
        return _assemble(source, header, at, take_apart(below, mark, len(header)), findings)
    except csv.Error as why:
        advice = "Look for a cell that begins with a quotation mark, and take the mark away."
        problem = Problem(source, "a quotation mark is opened and never closed", advice=advice)
        raise TableError(problem) from why


def _top(text: str, mark: str) -> list[list[str]]:
    """The first rows of a text, or one empty row if they cannot be told apart."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=mark)
    try:
        return [row for row, _ in zip(reader, range(HEADER_WITHIN), strict=False)] or [[]]
    except csv.Error:
        return [[]]


# --- workbooks and frames ---------------------------------------------------------


def _pages(path: Path) -> dict[str, Any]:
    """The sheets of a workbook that hold something, or all if none does."""
    from openpyxl import load_workbook

    try:
        with warnings.catch_warnings(action="ignore"):  # about drop-downs and print settings
            pages = load_workbook(io.BytesIO(path.read_bytes())).worksheets
            said = [p for p in pages if p.max_row > 1 or p.max_column > 1 or p["A1"].value]
            return {page.title: page for page in said or pages}
    except (zipfile.BadZipFile, KeyError, ValueError, TypeError, OSError) as why:
        what = "cannot be read as an Excel workbook"
        raise TableError(Problem(path.name, what, advice="Save it again as XLSX or CSV.")) from why


def _from_book(path: Path, keys: Sequence[str], sheet: str, findings: list[Finding]) -> Sheet:
    pages = _pages(path)
    title = sheet_called(sheet, list(pages)) or (next(iter(pages)) if len(pages) == 1 else None)
    if title is None:
        raise TableError(Problem(path.name, f"has no sheet called '{sheet}'", allowed=tuple(pages)))
    page = pages[title]
    source = f"{path.name}, sheet {quote(title)}"
    if fold(title) != sheet:
        findings.append(_note(source, f"is read as the table of {sheet}"))
    rows = [[_cell_text(cell) for cell in row] for row in page.iter_rows()]
    for area in page.merged_cells.ranges:  # a cell merged downwards says the same in each row
        column, top = area.min_col - 1, area.min_row - 1
        value = rows[top][column]
        if area.max_row > area.min_row and value:
            for row in rows[top + 1 : area.max_row]:
                row[column] = value
            what = "is merged over several rows; read as if typed in each of them"
            merged = Problem(source, what, row=top + 1, column=letters(column), found=value)
            findings.append(Finding("note", merged, area.max_row - top))
    at = find_header(rows, keys)
    if at is None:
        raise no_header(source, rows, keys)
    if at:
        findings.append(_note(source, f"has its header in row {at + 1}", row=at + 1))
    below = piece_of_rows(rows[at + 1 :], len(rows[at]))
    return _assemble(source, rows[at], at + 1, [below], findings)


def _cell_text(cell: Any) -> str:
    """What a workbook's cell says: a formula as its text, 001 as 001, a date as 2024-05-01."""
    value = getattr(cell.value, "text", cell.value)
    code = str(cell.number_format)
    if type(value) is int and code and not code.strip("0"):
        return str(value).zfill(len(code))
    return _text(value)


def _text(value: Any) -> str:
    """A value from a workbook or a frame as somebody would have typed it."""
    if isinstance(value, str):
        return value
    if value is None or value is pd.NaT or value is pd.NA or value != value:
        return ""
    if isinstance(value, bool | np.bool_):
        return str(value).upper()
    if isinstance(value, float | np.floating):
        whole = float(value).is_integer() and abs(float(value)) < 1e15
        return str(int(value)) if whole else repr(float(value))
    if isinstance(value, datetime):
        midnight = (value.hour, value.minute, value.second) == (0, 0, 0)
        return value.date().isoformat() if midnight else value.isoformat(sep=" ")
    return value.isoformat() if isinstance(value, date) else str(value)


def _from_frame(frame: pd.DataFrame, keys: Sequence[str], name: str) -> Sheet:
    """A frame's rows are numbered as if it had been pasted into a spreadsheet."""
    source = f"the {name} frame"
    loose = frame.index.name is None  # what the index is called goes before a likeness
    missing = [key for key in keys if match(map(_text, frame.columns), key, loose) is None]
    named = frame.index.name is not None or not isinstance(frame.index, pd.RangeIndex)
    if len(missing) == 1 and named:
        frame = frame.rename_axis(missing[0]).reset_index()
    header = [_text(c) for c in frame.columns]
    top = [header, *frame.head(HEADER_WITHIN).map(_text).to_numpy().tolist()]
    at = find_header(top, keys)
    if at is None or any(match(header, key) is None for key in keys):
        raise no_header(source, top if at is None else [header], keys)
    columns = [Column.of(map(_text, frame.iloc[:, j])) for j in range(frame.shape[1])]
    return _assemble(source, header, 1, [Piece(columns, len(frame))], [])
