"""Columns of words, and text taken apart in two ways that must agree."""

from __future__ import annotations

import csv
import io

import numpy as np
import pytest

from breedkit import records
from breedkit.records import Column, carefully, cut, join, piece_of_rows, plainly, take_apart

RNG = np.random.default_rng(20)
WORDS = ["", "a", "red", "12,5", "eightchr", "nine_char", "longer than sixteen bytes", "ü",
         "目が赤い", " x ", "'", "\u200b", "-3.5", "x" * 300]  # fmt: skip


def some_rows(rows: int, width: int, words: list[str] = WORDS) -> list[list[str]]:
    return [[words[k] for k in RNG.integers(0, len(words), width)] for _ in range(rows)]


def as_text(rows: list[list[str]], mark: str = ";", end: str = "\n") -> str:
    return "".join(mark.join(row) + end for row in rows)


def cells(piece: records.Piece) -> list[list[str]]:
    return [list(row) for row in zip(*(c.texts() for c in piece.columns), strict=True)]


@pytest.mark.parametrize("end", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", [";", ",", "\t"])
@pytest.mark.parametrize("width", [1, 2, 7])
def test_array_arithmetic_and_csv_module_agree(mark: str, end: str, width: int) -> None:
    words = [w for w in WORDS if mark not in w]
    for size in (1, 3, 200):
        rows = some_rows(size, width, words)
        rows[-1][0] = "end"  # a row of one blank cell is a blank line
        text = as_text(rows, mark, end)
        quick = plainly(text.encode(), mark, width)
        assert quick is not None
        assert cells(quick) == rows
        if width > 1:
            assert cells(carefully(text, mark, width)) == rows
        # without the last line end
        assert cells(plainly(text.rstrip("\r\n").encode(), mark, width)) == rows


def test_cells_that_mostly_differ_are_held_cell_by_cell() -> None:
    rows = [[f"K-{k:05d}", f"é{k}", "x" * 40 + str(k), "red"] for k in range(2000)]
    piece = plainly(as_text(rows).encode(), ";", 4)
    assert [c.words is None for c in piece.columns] == [True, True, False, False]
    assert cells(piece) == rows
    assert [c.kinds() for c in piece.columns] == [2000, 2000, 2000, 1]


@pytest.mark.parametrize(
    "text", ['a;"b"\n', "a;b;c\n", "a\n", "a;b\n\n", "a\rb;c\n", "a;b\0\n", "", "a;b\nc\nd;e;f\n"]
)
def test_a_piece_that_is_not_plain_is_left_to_the_csv_module(text: str) -> None:
    assert plainly(text.encode(), ";", 2) is None


@pytest.mark.parametrize("size", [16, 50, 1 << 20])
def test_pieces_end_between_records(size: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(records, "PIECE", size)
    rows = [["plain", "1"], ['a "quoted" word', "2"], ["over\ntwo lines;\n", "3"], ['5" tall', ""]]
    rows = [rows[k] for k in RNG.integers(0, 4, 300)]
    stream = io.StringIO()
    csv.writer(stream, delimiter=";", lineterminator="\n").writerows(rows)
    text = stream.getvalue().encode()
    assert b"".join(cut(io.BytesIO(text))) == text
    pieces = list(take_apart(cut(io.BytesIO(text)), ";", 2))
    assert [row for piece in pieces for row in cells(piece)] == rows
    assert sum(piece.rows for piece in pieces) == 300


def test_rows_of_any_length() -> None:
    piece = piece_of_rows([["a"], [], ["a", "b", "", " "], ["a", "b", "c", "d", ""]], 2)
    assert cells(piece) == [["a", "", "", ""], ["", "", "", ""], ["a", "b", "", " "],
                            ["a", "b", "c", "d"]]  # fmt: skip
    assert piece.long_rows == (3,)
    assert piece_of_rows([], 3) == records.Piece([], 0)


def test_columns_join_whatever_way_they_are_held() -> None:
    coded = Column.of(["a", "b", "a"])
    loose = Column(np.array([b"a", b"zz", b""]))
    wide = Column.of(["x" * 1000])
    for parts in ([coded, loose], [loose, coded], [loose, wide], [coded, wide, loose], [coded]):
        texts = [t for part in parts for t in part.texts()]
        assert list(join(parts).texts()) == texts
        words, codes = join(parts).coded()
        assert [words[c] for c in codes] == texts
        assert len(set(words)) == len(words)


def test_what_a_column_can_say() -> None:
    for texts in (["Ab", "", " ", "ab", "Ab"], ["Ab", "", "x", "ab", "Ab"]):
        for column in (Column.of(texts), Column(np.array([t.encode() for t in texts]))):
            assert list(column.texts()) == texts
            assert [column.text(k) for k in range(5)] == texts
            assert list(column.blank()) == [not t.strip() for t in texts]
            assert column.kinds() == len(set(texts))
            assert list(column.map(str.upper).texts()) == [t.upper() for t in texts]
            assert list(column.at(np.array([False, True] * 2 + [False])).texts()) == texts[1:4:2]
    assert list(Column(np.array([b"Ab", b"aB"])).lower().texts()) == ["ab", "ab"]
    assert Column(np.array([b"Ab"])).simple
    for odd in ("a b", "a_b", " a", "é", "a\tb"):
        assert not Column(np.array([odd.encode()])).simple


def test_text_that_is_not_utf8_is_refused() -> None:
    with pytest.raises(UnicodeDecodeError):
        list(take_apart([b"caf\xe9;1\n"], ";", 2))
