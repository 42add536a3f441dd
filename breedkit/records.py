"""Columns of text held as their distinct words, and text files taken apart into them.

A `Column` is its distinct words and one small number a cell, so that whoever checks
a table looks at words, not at millions of cells. Where most cells differ (the codes
of the plants) it is the cells themselves, as bytes side by side.

A file is cut into pieces of whole records, and two pieces are worked on at a time.
A plain piece (no quotation marks, as many cells in each row as in the header) is
taken apart by array arithmetic: cells end where delimiters and line ends are, eight
bytes of a cell are one integer, and numbering the equal integers numbers the equal
words. Any other piece goes through the csv module. Both ways give the same cells.
"""

from __future__ import annotations

import csv
import io
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from functools import cached_property
from typing import BinaryIO, NamedTuple

import numpy as np
import pandas as pd

PIECE = 1 << 20  # bytes that are taken apart at a time
SAMPLE = 50_000  # cells that show whether most cells of a column differ
WIDEST = 32  # bytes of the longest cell of a column that is held cell by cell
_MASKS = np.array([(1 << 8 * k) - 1 for k in range(9)], dtype=np.uint64)


@dataclass(frozen=True, eq=False)
class Column:
    """One column of texts: coded (`words[cells]`), or cell by cell (`words` is None).

    Parameters
    ----------
    cells : the place of each cell's word; or each cell in UTF-8, padded with zero bytes.
    words : the distinct words, or None.
    """

    cells: np.ndarray
    words: tuple[str, ...] | None = None

    @classmethod
    def of(cls, texts: Iterable[str]) -> Column:
        """A coded column of these texts."""
        place: dict[str, int] = {}
        cells = [place.setdefault(text, len(place)) for text in texts]
        return cls(np.array(cells, dtype=_small(len(place))), tuple(place))

    def __len__(self) -> int:
        return len(self.cells)

    def coded(self) -> tuple[tuple[str, ...], np.ndarray]:
        """The distinct words, and for each cell the place of its word."""
        if self.words is not None:
            return self.words, self.cells
        codes = _numbered(self.cells)
        first = _first_of_each(codes)
        words = tuple(cell.decode() for cell in self.cells[first].tolist())
        return words, codes.astype(_small(len(words)))

    def kinds(self) -> int:
        """How many different cells there are."""
        if self.words is not None:
            return int((np.bincount(self.cells, minlength=1) > 0).sum())
        if self.cells.dtype.itemsize == 8:  # integers are sorted sooner than texts
            cells = np.sort(self.cells.view(np.uint64))
        else:
            cells = np.sort(self.cells)
        return int((cells[1:] != cells[:-1]).sum()) + bool(len(cells))

    def texts(self) -> np.ndarray:
        """Each cell as a string (an array of objects)."""
        if self.words is not None:
            return np.array([*self.words, ""], dtype=object)[self.cells]
        return np.array([cell.decode() for cell in self.cells.tolist()], dtype=object)

    def text(self, at: int) -> str:
        """One cell."""
        cell = self.cells[at]
        return cell.decode() if self.words is None else self.words[cell]

    def at(self, rows: np.ndarray | slice) -> Column:
        """The column of some of the rows."""
        return Column(self.cells[rows], self.words)

    def map(self, change: Callable[[str], str]) -> Column:
        """The column with each text changed."""
        words, cells = self.coded()
        changed = Column.of(map(change, words))
        return Column(changed.cells[cells], changed.words) if len(words) else self

    def blank(self) -> np.ndarray:
        """Which cells hold nothing that can be seen."""
        if self.words is None:
            return self.cells == b"" if self.simple else self.map(str.strip).blank()
        return np.array([not w.strip() for w in self.words] or [True])[self.cells]

    def isin(self, texts: set[str]) -> np.ndarray:
        """Which cells are one of these texts."""
        if self.words is None:
            return np.isin(self.cells, np.array([t.encode() for t in texts] or [b""]))
        return np.array([w in texts for w in self.words] or [False])[self.cells]

    def says(self) -> bool:
        """Whether any word can be seen."""
        if self.words is None:
            return not self.blank().all()
        return any(w.strip() for w in self.words)

    def any_begins(self, letter: bytes) -> bool:
        """Whether there is a cell that begins with this ASCII letter."""
        if self.words is not None:
            return any(w.startswith(letter.decode()) for w in self.words)
        return bool((self.cells.astype("S1") == letter).any())

    @cached_property
    def simple(self) -> bool:
        """Whether it is held cell by cell, in ASCII without any blank or underscore."""
        if self.words is not None:
            return False
        letters = self.cells.view(np.uint8)
        odd = (letters >= 128) | (letters == ord("_")) | ((letters <= 32) & (letters > 0))
        return not odd.any()

    def lower(self) -> Column:
        """A simple column in small letters."""
        letters = self.cells.view(np.uint8).copy()
        letters[(letters >= 65) & (letters <= 90)] += 32
        return Column(letters.view(self.cells.dtype))


def join(columns: Sequence[Column]) -> Column:
    """One below the other."""
    if any(c.words is None for c in columns):
        loose = [_loose(c) for c in columns]
        cells = [c.cells for c in loose if c is not None]
        if len(cells) == len(columns):
            whole = Column(np.concatenate(cells))
            # in a piece most cells may differ, but not in the whole column
            some = whole.at(slice(SAMPLE))
            if some.kinds() > 0.9 * len(some) or whole.kinds() > len(whole) // 2:
                return whole
            return Column(*whole.coded()[::-1])
    place: dict[str, int] = {}
    parts = []
    for words, codes in (c.coded() for c in columns):
        new = np.array([place.setdefault(w, len(place)) for w in words] or [0])
        parts.append(new.astype(_small(len(place)))[codes])
    return Column(np.concatenate(parts), tuple(place))


def _numbered(cells: np.ndarray) -> np.ndarray:
    """Equal numbers for equal cells, from 0 in order of appearance."""
    wide = -(-cells.dtype.itemsize // 8)
    eights = cells.astype(f"S{8 * wide}").view(np.uint64).reshape(-1, wide)
    codes = pd.factorize(eights[:, 0])[0]
    for k in range(1, wide):
        codes = _refine(codes, eights[:, k])
    return codes


def _refine(codes: np.ndarray, more: np.ndarray) -> np.ndarray:
    """Numbers from 0 that are equal where both `codes` and `more` are."""
    one, seen = pd.factorize(more)
    return pd.factorize(codes * len(seen) + one)[0]


def _first_of_each(codes: np.ndarray) -> np.ndarray:
    """Where each number is met first."""
    first = np.empty(codes.max(initial=-1) + 1, dtype=np.int64)
    first[codes[::-1]] = np.arange(len(codes))[::-1]
    return first


def _small(words: int) -> np.dtype:
    """The smallest type for the places of that many words."""
    return np.min_scalar_type(-max(words, 1))


def _loose(column: Column) -> Column | None:
    """The column cell by cell, if its cells are short enough for that."""
    if column.words is None:
        return column
    cells = [w.encode() for w in column.words] or [b""]
    if max(map(len, cells)) > WIDEST or any(b"\0" in c for c in cells):
        return None
    return Column(np.array(cells)[column.cells])


# --- a text file, piece by piece --------------------------------------------------


class Piece(NamedTuple):
    """Some rows of a table."""

    columns: list[Column]
    rows: int
    long_rows: tuple[int, ...] = ()  # rows (from 0 in the piece) with more cells than headers


def cut(file: BinaryIO) -> Iterator[bytes]:
    """Pieces of whole records: each ends with a line, outside quotation marks."""
    while piece := file.read(PIECE):
        lines = [piece, file.readline()]
        inside = sum(line.count(b'"') for line in lines) % 2
        while inside and (line := file.readline()):
            inside ^= line.count(b'"') % 2
            lines.append(line)
        yield b"".join(lines)


def take_apart(pieces: Iterable[bytes], mark: str, width: int) -> Iterator[Piece]:
    """Take pieces apart two at a time, in order, holding no more than three.

    Parameters
    ----------
    pieces : UTF-8 text, each of whole records.
    mark : the delimiter.
    width : cells in the header.

    Raises
    ------
    UnicodeDecodeError
        if it is not UTF-8.
    csv.Error
        if a quotation mark is never closed.
    """
    waiting: deque[Future[Piece]] = deque()
    with ThreadPoolExecutor(2) as pool:
        for piece in pieces:
            waiting.append(pool.submit(_one_piece, piece, mark, width))
            if len(waiting) > 2:
                yield waiting.popleft().result()
        while waiting:
            yield waiting.popleft().result()


def _one_piece(piece: bytes, mark: str, width: int) -> Piece:
    if not piece.isascii():
        piece.decode()  # raises if it is not UTF-8
    plain = plainly(piece, mark, width)
    return carefully(piece.decode(), mark, width) if plain is None else plain


def carefully(text: str, mark: str, width: int) -> Piece:
    """Rows by the csv module; csv.Error if a quotation mark is never closed."""
    last = "the end"  # a line of its own, unless it is inside quotation marks
    text += f"\n{last}" if text and not text.endswith(("\n", "\r")) else last
    *rows, end = csv.reader(io.StringIO(text, newline=""), delimiter=mark)
    if end != [last]:
        raise csv.Error("unexpected end of data")
    return piece_of_rows(rows, width)


def plainly(piece: bytes, mark: str, width: int) -> Piece | None:
    """Rows by array arithmetic; None if the piece is not plain."""
    if b"\r" in piece:
        piece = piece.replace(b"\r\n", b"\n")
    if not piece or any(odd in piece for odd in (b'"', b"\0", b"\r")):
        return None
    if not piece.endswith(b"\n"):
        piece += b"\n"
    letters = np.frombuffer(piece + b"\0" * 8, dtype=np.uint8)
    lines = letters == 10
    ends = np.flatnonzero(lines | (letters == ord(mark)))
    rows = int(np.count_nonzero(lines))
    if len(ends) != rows * width or not lines[ends[width - 1 :: width]].all():
        return None
    starts = np.zeros_like(ends)
    np.add(ends[:-1], 1, out=starts[1:])
    sizes = np.subtract(ends, starts, out=ends)
    # the eight bytes from each place of the text on, as one integer
    eight = np.ndarray((len(letters) - 7,), dtype="<u8", buffer=letters, strides=(1,))
    bits = eight[starts]
    bits &= _MASKS[np.minimum(sizes, 8)]
    heads = np.ascontiguousarray(bits.reshape(rows, width).T)
    start_of, size_of = starts.reshape(rows, width).T, sizes.reshape(rows, width).T
    columns = []
    for head, start, size, longest in zip(
        heads, start_of, size_of, size_of.max(axis=1).tolist(), strict=True
    ):
        codes, seen = pd.factorize(head)
        if longest <= 8 and _mostly_differ(len(seen), rows):
            columns.append(Column(head.view("S8").copy()))  # a view would keep all heads
            continue
        for at in range(8, longest, 8):  # a longer cell differs from all that end here
            longer = np.flatnonzero(size > at)
            more = eight[start[longer] + at] & _MASKS[np.minimum(size[longer] - at, 8)]
            codes[longer] = codes.max() + 1 + _refine(codes[longer], more)
        if longest > 8:
            used = np.bincount(codes) > 0
            codes = (np.cumsum(used) - 1)[codes]
            first = _first_of_each(codes)
            spans = zip(start[first].tolist(), size[first].tolist(), strict=True)
            words = tuple(piece[a : a + n].decode() for a, n in spans)
        else:
            words = tuple(word.decode() for word in seen.view("S8").tolist())
        columns.append(_tight(Column(codes.astype(_small(len(words))), words)))
    return Piece(columns, rows)


def _mostly_differ(kinds: int, rows: int) -> bool:
    """Whether a column is better held cell by cell."""
    return kinds > rows // 2 > 500


def _tight(column: Column) -> Column:
    """The column cell by cell, if most of its cells differ and all are short."""
    if column.words is None or not _mostly_differ(len(column.words), len(column)):
        return column
    return _loose(column) or column


def piece_of_rows(rows: Sequence[Sequence[str]], width: int) -> Piece:
    """Rows of any length, made as wide as the widest that says something."""
    said = [max((k + 1 for k, c in enumerate(row[width:]) if c.strip()), default=0) for row in rows]
    wide = width + max(said, default=0)
    padded = [[*row[:wide], *[""] * (wide - len(row))] for row in rows]
    columns = [Column.of(cells) for cells in zip(*padded, strict=True)] if rows else []
    return Piece(columns, len(rows), tuple(at for at, more in enumerate(said) if more))
