"""Score tables: what was typed, what was understood, and what needs a look.

A `Season` is made of three tables. `plants` has one row a plant, `families` says
who came from whom, `traits` says what may be written. Only `plants` is needed:
without `traits` the kinds and classes are inferred, and said to be inferred.

Loading stops, with every fault at once, only where no season can be made: no such
file, not a table, no such sheet, no plant or family column, no plants. Everything else is a
line of `.problems` and the rest loads. Its severity is "mend" (not used until it
is mended), "check" (used as typed) or "note" (said so that nothing is silent).
One line stands for one spelling: `row` is its first row, `rows` how many there are.

What is decided here:

* Headers, classes, families and plants match regardless of case, blanks and
  accents (`errors.fold`); the case of genotypes (AA Aa aa) counts. Not scored: a
  blank, - – — ? na n/a n.a. "not scored", unless `traits` declares it as a class;
  "none" is a class like any other.
* Not scored, too, is what cannot be anything else: ?? and --- and any such repeat,
  "unknown", "not known", "no data", #N/A. Words that mean it as a rule but may be a class
  (missing, null, nan, dead, died, lost, x, not ripe, not seen) are classes, and listed; so
  is each inferred class that only one or two of fifteen plants or more are in.
* An unknown class, or a number that cannot be read, is not scored and listed.
  So is 1,234, which is either 1.234 or 1234; 12,5 is 12.5 and 1.234 is 1.234.
* A plant is known by its family and its code. Of a plant typed twice the first
  row counts; scores it lacks are taken from later rows if no score contradicts. A code
  used in two families is two plants; it is listed unless it is a mere number,
  because people number their plants anew in each family.
* Families also match but for blanks and hyphens between a letter and a digit: F 2, F-2
  and f2 are one family, F1-1 and F11 are two.
* A parent that nobody knows is taken as a founder where no founder has a row; see
  `breedkit.register`.
* Generations follow from the parents (`Season.names`). A typed one, in a family's name or in
  a column "generation" of the register, is compared with them and listed if it contradicts.
* A parent that was sown after the season of the cross (columns season, sown) is listed; if
  nobody noted when it was sown, its own parents are looked at.
* Plants of a family that is not in the register count in a family of that name;
  plants without a family count in "no family" and are listed; which family they are of
  is not guessed from the rows above. So each plant is in each count.
* A last row such as Total or Average, without a family, is listed and is not a plant.
* A mended spelling belongs to the trait ("also typed"), so new plants have it too.
* A saved season goes on naming the files and rows it was typed in (column "typed in").
* A tally with a wrong number stops loading: left out, it would change the ratio.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd

from breedkit.errors import Problem, TableError, fold, quote
from breedkit.reading import (
    BOOK_ENDINGS,
    PROBLEM_COLUMNS,
    TEXT_ENDINGS,
    Finding,
    Sheet,
    read_table,
    sheet_called,
    sheet_names,
)
from breedkit.records import Column
from breedkit.register import bare_register, read_traits
from breedkit.results import listing
from breedkit.season import TYPED, TYPED_IN, AsTyped, Season, make_season
from breedkit.spelling import NOT_SCORED, SUMS, TOKENS, Trait, matcher, read_number, squeeze, tidy

__all__ = ["Season", "load_counts", "load_season"]


def load_season(
    source: object = None,
    *,
    plants: object = None,
    families: object = None,
    traits: object = None,
) -> Season:
    """Load a season: plants, and if there are any a family register and a trait list.

    Parameters
    ----------
    source : a folder holding tables called plants, families and traits (CSV, TSV or XLSX),
        a workbook with sheets of these names (or one sheet such as "Plants 2042" each), or
        a single table of plants.
    plants, families, traits : single tables, as paths or frames; they go before `source`.

    Returns
    -------
    Season

    Raises
    ------
    TableError
        if no season can be made; it lists all that is in the way. What can be lived
        with is in `Season.problems`.

    Examples
    --------
    >>> season = load_season("sample_data/invented_season")
    >>> season.counts("ripe colour")
    """
    found, unread = ({}, ()) if source is None else _locate(source)
    given = {"plants": plants, "families": families, "traits": traits}
    found |= {name: table for name, table in given.items() if table is not None}
    if "plants" not in found:
        place = "load_season" if source is None else Path(str(source)).name
        raise TableError(
            Problem(
                place, "no table of plants", advice="It may be called plants.csv or plants.xlsx."
            )
        )
    keys = {"plants": ("plant", "family"), "families": ("family",), "traits": ("trait",)}
    noticed = found.pop("noticed", None)
    sheets: dict[str, Sheet] = {}
    faults: list[Problem] = []
    for name, table in found.items():
        try:
            read = read_table(table, keys[name], name)
            sheets[name] = _part(read)
            if name == "plants" and read.header(TYPED_IN) and noticed is not None:
                unread = (*unread, *_noticed(noticed))  # of the same season
        except TableError as error:
            faults += error.problems
    if "plants" in sheets and not len(sheets["plants"].rows):
        what = "has a header, but no plants below it"
        faults.append(Problem(sheets["plants"].source, what, advice="Type one row a plant."))
    if faults:
        raise TableError(faults)
    listed, said = read_traits(sheets["traits"]) if "traits" in sheets else ((), ())
    known = {(f.problem.what, f.problem.found) for f in unread}

    def new(found: Iterable[Finding]) -> tuple[Finding, ...]:
        return tuple(f for f in found if (f.problem.what, f.problem.found) not in known)

    tables = {name: replace(sheet, findings=new(sheet.findings)) for name, sheet in sheets.items()}
    odd = (*unread, *new(said))
    return make_season(AsTyped(tables["plants"], tables.get("families"), listed, odd))


def _locate(source: object) -> tuple[dict[str, object], tuple[Finding, ...]]:
    """Which table is where, and which sheets are not read."""
    if isinstance(source, pd.DataFrame):
        return {"plants": source}, ()
    path = Path(str(source))
    names = ("plants", "families", "traits")
    if path.suffix.lower() in BOOK_ENDINGS and path.is_file():
        titles = sheet_names(path)
        read = {n: t for n in names if (t := sheet_called(n, titles))}
        others = [quote(t) for t in titles if t not in read.values()]
        if len(titles) < 2 or not others:
            return dict.fromkeys({"plants": "", **read}, path), ()
        what = f"sheets that are not read: {listing(others)}"
        return dict.fromkeys({"plants": "", **read}, path), (
            Finding("note", Problem(path.name, what)),
        )
    if not path.is_dir():
        return {"plants": path}, ()
    found: dict[str, object] = {}
    twice = []
    for file in sorted(path.iterdir()):
        name = fold(file.stem)
        if name in (*names, "noticed") and file.suffix.lower() in (*TEXT_ENDINGS, *BOOK_ENDINGS):
            if name in found:
                what = f"is a second table called '{name}'"
                advice = "Move one of them away."
                twice.append(Problem(path.name, what, found=file.name, advice=advice))
            found[name] = file
    if twice:
        raise TableError(twice)
    return found, ()


def _part(sheet: Sheet) -> Sheet:
    """Part a saved table into what stands there now and what had been typed, and where."""
    sheet = _where_typed(sheet)
    by_fold = {fold(c): c for c in sheet.columns}
    beside = {
        by_fold[f.removesuffix(TYPED)]: c
        for f, c in by_fold.items()
        if f.endswith(TYPED) and f.removesuffix(TYPED) in by_fold
    }
    columns = {n: c for n, c in sheet.columns.items() if n not in beside.values()}
    before = {}
    for name, kept in beside.items():
        now, then = sheet.columns[name].texts(), sheet.columns[kept].texts()
        columns[name] = Column.of(np.where(now != "", now, then))
        before[name] = Column.of(np.where(then != "", then, now))
    return replace(sheet, columns=columns, before=before)


def _where_typed(sheet: Sheet) -> Sheet:
    """A saved table with the rows of the grower's own, if it says which they are.

    Where rows were added to it by hand or copied, the rows are those of the saved table.
    """
    header = sheet.header(TYPED_IN)
    if header is None:
        return sheet
    texts = sheet.columns[header].texts()
    places = [re.fullmatch(r"(.+), row ([0-9]{1,9})", text, re.S) for text in texts]
    if not any(places) or any(
        not p and text.strip() for p, text in zip(places, texts, strict=True)
    ):
        return sheet  # somebody's own column of that name
    columns = {name: column for name, column in sheet.columns.items() if name != header}
    kept = np.flatnonzero(~np.all([column.blank() for column in columns.values()], axis=0))
    columns = {name: column.at(kept) for name, column in columns.items()}
    sheet = replace(sheet, columns=columns, rows=sheet.rows[kept])
    found = [place for at in kept if (place := places[at]) is not None]
    rows = pd.Index([int(place[2]) for place in found], name="row")
    if len(found) < len(kept) or len({place[1] for place in found}) != 1 or not rows.is_unique:
        return sheet
    return replace(sheet, source=found[0][1], rows=rows)


def _noticed(table: object) -> list[Finding]:
    """What had been odd when a season was read that was saved since."""
    lines = read_table(table, ("severity", "problem"), "noticed").frame().to_dict("records")
    return [
        Finding(
            line["severity"] if line["severity"] in ("mend", "check") else "note",
            Problem(
                line["source"], line["problem"],
                int(line["row"]) if line["row"].isdecimal() else None,
                line["column"] or None, line["value"] or None,
                tuple(line["allowed"].split(" | ")) if line["allowed"] else (),
                line["suggestion"],
            ),
            int(line["rows"]) if line["rows"].isdecimal() else 1,
        )
        for line in (dict.fromkeys(PROBLEM_COLUMNS, "") | line for line in lines)
    ]  # fmt: skip


# --- tallies ----------------------------------------------------------------------


MOST_PLANTS = 1e9  # a count beyond this is a slip
_Cell = tuple[int, str, str, str, str, str]  # row, column, trait, family, class, count


def load_counts(source: object) -> Season:
    """Load tallies: how many plants of a family are in a class.

    Parameters
    ----------
    source : path or frame. Either a row a class, with columns family, class, count and
        if there are several traits trait (without it the trait is called "class"); or a
        row a family, with a column a class. Further columns of the first form are kept
        in `.typed`. Classes and families keep the order of the table.

    Returns
    -------
    Season
        It has counts, but no plants.

    Raises
    ------
    TableError
        if a count is not 0, 1, 2, … or a class is counted twice. Nothing is left out of
        a tally, because every ratio would change.
    """
    sheet = read_table(source, ("family",), "counts")
    header = {n: sheet.header(n) for n in ("family", "trait", "class", "count")}
    texts = sheet.frame()
    if header["class"] and header["count"]:
        cells = [
            (row, header["count"], line[header["trait"]] if header["trait"] else "class",
             line[header["family"]], line[header["class"]], line[header["count"]])
            for row, line in zip(texts.index, texts.to_dict("records"), strict=True)
        ]  # fmt: skip
    else:
        classes = [c for c in texts.columns if c != header["family"]]
        cells = [
            (row, c, "class", line[header["family"]], c, line[c])
            for row, line in zip(texts.index, texts.to_dict("records"), strict=True)
            for c in classes
        ]
    return _tallied(sheet, cells)


def _tallied(sheet: Sheet, cells: list[_Cell]) -> Season:
    """A season of tallies; TableError with every count that is none."""
    key = matcher(text for cell in cells for text in cell[2:5])
    faults: list[Problem] = []
    spelled: dict[tuple[str, str], str] = {}
    seen: dict[tuple[str, str, str], int] = {}
    numbers: dict[str, dict[str, dict[str, int]]] = {}
    for row, column, trait, family, word, typed in cells:
        value = read_number(typed)
        if value is None or not 0 <= value < MOST_PLANTS or value % 1:
            advice = "Write 0 if there was none." if not typed.strip() else ""
            faults.append(
                Problem(
                    sheet.source, "is not a count: counts are 0, 1, 2, …", row, column, typed,
                    advice=advice,
                )
            )  # fmt: skip
            continue
        trait, family, word = (
            spelled.setdefault((sort, alike), tidy(text))
            for sort, text, alike in (
                ("trait", trait, key(trait)),
                ("family", family, squeeze(key(family))),
                ("class", word, key(word)),
            )
        )
        word = NOT_SCORED if fold(word) in TOKENS else word
        if fold(word) in SUMS:
            what = "is a sum, not a class: leave it out of a tally"
            faults.append(Problem(sheet.source, what, row, column, word))
            continue
        if (trait, family, word) in seen:
            what = f"is counted for {quote(family)} in row {seen[trait, family, word]} already"
            faults.append(Problem(sheet.source, what, row, column, word, advice="Add them up."))
            continue
        seen[trait, family, word] = row
        numbers.setdefault(trait, {}).setdefault(word, {})[family] = int(value)
    if faults:
        raise TableError(faults)
    if not numbers:
        raise TableError(Problem(sheet.source, "holds no counts"))
    tallies, traits = {}, []
    for trait, by_class in numbers.items():
        classes = [c for c in by_class if c != NOT_SCORED]
        names = list(dict.fromkeys(f for t, f, _ in seen if t == trait))
        table = pd.DataFrame(
            [[by_class.get(c, {}).get(f, 0) for c in (*classes, NOT_SCORED)] for f in names],
            index=pd.Index(names, name="family"),
            columns=pd.Index([*classes, NOT_SCORED], name=trait),
        )
        tallies[trait] = table
        traits.append(Trait(trait, "class", tuple(classes)))
    families = bare_register(dict.fromkeys(f for _, f, _ in seen))
    source = AsTyped(sheet, None, tuple(traits), ())
    return Season(
        source, tuple(traits), {}, {}, np.zeros(0, dtype=np.int64), families,
        tuple(sheet.findings), tallies,
    )  # fmt: skip
