"""A season's scores: what was typed, and what is understood by it.

Everything in a `Season` follows from what was read (`AsTyped`), by one function,
`make_season`. Mending a spelling changes the trait list that was read and makes the
season anew, so there is nothing to keep in step. Saving writes what was understood
and, beside it, what was typed and where; reading that back gives the same season.

What is decided about odd entries stands in `breedkit.tables`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from breedkit.errors import Problem, TableError, fold, pick, quote
from breedkit.families import family_plans
from breedkit.naming import name_families, name_plants
from breedkit.reading import Finding, Sheet, guard, problem_frame
from breedkit.records import Column
from breedkit.register import REGISTER, bare_register, named_columns, read_families, trait_frame
from breedkit.results import Fact, Result, plants, show
from breedkit.roll import folded, once_each, say_formulas, say_no_family, without_sums
from breedkit.spelling import (
    NOT_SCORED,
    TOKENS,
    Trait,
    family_key,
    matcher,
    meanings,
    read_number,
    say_inferred,
    tidy,
    understand,
)

NO_FAMILY = "no family"
REMARKS = frozenset(
    {"note", "notes", "remark", "remarks", "comment", "comments", "observation", "observations",
     "bemerkung", "bemerkungen", "notiz", "notizen", "kommentar", "remarque", "remarques",
     "commentaire", "commentaires", "notas", "comentarios", "osservazioni", "opmerkingen"}
)  # fmt: skip
TYPED = " (typed)"  # a saved column of this ending keeps what was typed
TYPED_IN = "typed in"  # the saved column that keeps the file and row it was typed in
SHOWN = 8  # findings, families and traits that a display lists before it says "and … more"


@dataclass(frozen=True)
class AsTyped:
    """What was read.

    Where a saved table holds "red" beside the typed "Red ", "red" is what is understood, so
    that a cell put right in the saved table is heard.
    """

    plants: Sheet
    families: Sheet | None
    traits: tuple[Trait, ...]
    said: tuple[Finding, ...]


@dataclass(frozen=True, eq=False, repr=False)
class Season(Result):
    """A season's scores, as typed and as understood. Made by `load_season` or `load_counts`.

    Frames are handed out as copies. In `plants` and `typed` the index is the row of the
    spreadsheet, so that each understood cell can be laid beside what was typed.
    """

    _source: AsTyped
    _traits: tuple[Trait, ...]
    _headers: Mapping[str, str]  # name of a column of `plants` -> header as typed
    _cells: Mapping[str, Any]  # name -> all rows but last sums: Column, Categorical, numbers
    _once: np.ndarray  # places of the rows that count: no plant is there twice
    _families: pd.DataFrame
    _findings: tuple[Finding, ...]
    _tallies: Mapping[str, pd.DataFrame] = field(default_factory=dict)
    _joined: Mapping[str, np.ndarray] = field(default_factory=dict)  # trait -> places, for _once

    # --- what was understood ---

    @property
    def plants(self) -> pd.DataFrame:
        """One row a plant: plant, family, traits (categories or numbers), remarks.

        Not scored is missing (NaN). A plant typed twice is here once: its first row, with
        what only a later row says.
        """
        return self._frame(self._cells)

    def _frame(self, names: Iterable[str]) -> pd.DataFrame:
        """These columns of `plants`."""
        columns = {}
        for name in names:
            cells, rows = self._cells[name], self._places(name)
            part = cells.at(rows) if isinstance(cells, Column) else cells[rows]
            text = isinstance(part, Column)
            columns[name] = pd.array(part.texts(), dtype=str) if text else part
        return pd.DataFrame(columns, index=self._source.plants.rows[self._once])

    def _places(self, name: str) -> np.ndarray:
        """The rows that a column of `plants` is taken from, one a plant."""
        return self._joined.get(name, self._once)

    @property
    def families(self) -> pd.DataFrame:
        """The register: family, female, male, season, sown, note and columns of your own.

        Each family is there once; a parent taken as a founder has a row without parents.
        Without a register, the names of the families in `plants`.
        """
        names = self._families["family"].map(family_key)
        return self._families[(names != "") & ~names.duplicated()].copy()

    def names(self, of: str = "families") -> pd.DataFrame:
        """Generation and short name of each of the "families" or "plants" (`of`).

        Returns
        -------
        frame
            family, generation, parents, short name, pedigree; or plant, family, generation,
            short name. They follow from the register; rows added below do not change them.
        """
        of = pick(of, ("families", "plants"), "list of names", TableError)
        families, plants = self.families, self.plants
        plans = family_plans(families, self.family_names, plants)
        named = name_families(families, plans, self.family_names)
        return name_plants(plants, named) if of == "plants" else named

    @property
    def traits(self) -> pd.DataFrame:
        """One row a trait, with what was inferred filled in and named in `inferred`."""
        scored = {t.name for t in self._traits}
        listed = (t for t in self._source.traits if t.name not in scored)
        return trait_frame((*self._traits, *listed))

    @property
    def problems(self) -> pd.DataFrame:
        """What to look at: severity, source, row, rows, column, value, problem, allowed,
        suggestion. `row` is the first of `rows` rows, as the spreadsheet numbers it."""
        return problem_frame(self._findings)

    @property
    def typed(self) -> pd.DataFrame:
        """The plants table (or the tally) exactly as typed: all texts, every row."""
        sheet = self._source.plants
        return pd.DataFrame(
            {h: sheet.typed(h).texts() for h in sheet.columns}, sheet.rows, dtype=str
        )

    @property
    def trait_names(self) -> tuple[str, ...]:
        """The traits that are scored, in the order of their columns."""
        return tuple(t.name for t in self._traits)

    @property
    def family_names(self) -> tuple[str, ...]:
        """The families that have plants: in the order of the register, then the others."""
        if self._tallies:
            return tuple(self._families["family"])
        family = self._cells["family"]
        seen = np.bincount(family.codes[self._once], minlength=len(family.categories))
        return tuple(family.categories[seen > 0])

    def trait(self, name: str) -> Trait:
        """The trait that `name` means: its kind, classes, unit; TableError if there is none."""
        known = {t.name: t for t in self._traits}
        return known[self._pick(name, known, "is not a trait")]

    def _pick(self, word: str, known: Iterable[str], what: str, column: str | None = None) -> str:
        """The one of `known` that `word` means: as spelled, or but for case and accents."""
        by_fold = {fold(k): k for k in known}
        if word in by_fold.values():
            return word
        if isinstance(word, str) and fold(word) in by_fold:
            return by_fold[fold(word)]
        allowed = tuple(dict.fromkeys(tidy(k) for k in by_fold.values() if k.strip()))
        problem = Problem(self._source.plants.source, what, None, column, str(word), allowed)
        raise TableError(problem)

    def counts(self, trait: str) -> pd.DataFrame:
        """How many plants of each family are in each class.

        Parameters
        ----------
        trait : a trait of kind class or ordered.

        Returns
        -------
        frame
            Families that have plants × classes in declared order, a class that nobody
            saw being 0, and last "not scored". Each plant is counted once.

        Raises
        ------
        TableError
            if there is no such trait, or it has no classes.
        """
        known = self.trait(trait)
        if not known.has_classes:
            kind = "a count" if known.kind == "count" else "measured"
            advice = f"Use .values({quote(known.name)}), or declare it as kind 'class' in traits."
            raise self._refusal(f"is {kind} and has no classes", known.name, advice)
        if self._tallies:
            return self._tallies[known.name].copy()
        family, scores = self._cells["family"], self._cells[known.name]
        columns = [*known.classes, NOT_SCORED]
        wide = len(columns)
        codes = scores.codes[self._places(known.name)].astype(np.int64)
        place = codes % wide  # -1, not scored, comes last
        cells = family.codes[self._once].astype(np.int64) * wide + place
        table = np.bincount(cells, minlength=len(family.categories) * wide)
        every = pd.DataFrame(
            table.reshape(-1, wide),
            index=pd.Index(family.categories, name="family"),
            columns=pd.Index(columns, name=known.name),
        )
        return every.loc[list(self.family_names)]

    def values(self, trait: str) -> pd.DataFrame:
        """The numbers of a measured trait or a count.

        Returns
        -------
        frame
            plant, family, value: one row a plant, in the trait's own unit, NaN where it was
            not scored.

        Raises
        ------
        TableError
            if there is no such trait, or it has classes.
        """
        known = self.trait(trait)
        if known.has_classes:
            advice = f"Use .counts({quote(known.name)})."
            raise self._refusal("has classes, not numbers", known.name, advice)
        frame = self._frame(["plant", "family", known.name])
        return frame.rename(columns={known.name: "value"})

    def _refusal(self, what: str, column: str | None = None, advice: str = "") -> TableError:
        source = self._source.plants.source
        return TableError(Problem(source, what, column=column, advice=advice))

    # --- mending and saving ---

    def mend(self, trait: str, spellings: Mapping[str, str]) -> Season:
        """Say once what a spelling means; it holds in every row, and after saving.

        Parameters
        ----------
        trait : a trait, or "family".
        spellings : what was typed -> what it means: a class, a number, a family, or
            "?" for not scored.

        Returns
        -------
        Season
            A new one. What was typed stays in `.typed`.

        Raises
        ------
        TableError
            if nobody typed the spelling, or the meaning is not known.

        Examples: `season = season.mend("colour", {"orannge": "orange"})`
        """
        if self._tallies:
            raise self._refusal("is a tally: mend the table itself")
        if fold(trait) == "family":
            known = Trait("family", "class", tuple(self._cells["family"].categories))
        else:
            known = self.trait(trait)
        typed = self._source.plants.columns[self._headers[known.name]].coded()[0]
        key = matcher(typed, known.classes)
        others = [t for t in self._source.traits if fold(t.name) != fold(known.name)]
        listed = [t for t in self._source.traits if fold(t.name) == fold(known.name)]
        declared = listed[0] if listed else Trait(known.name)
        pairs = {key(a): (a, b) for a, b in declared.also_typed}
        for spelling, meaning in spellings.items():
            self._pick(spelling, typed, "was typed by nobody", known.name)
            if fold(meaning) in TOKENS:
                meaning = "?"
            elif known.has_classes:
                meaning = self._pick(meaning, known.classes, "is not a known class", known.name)
            elif read_number(meaning) is None:
                raise self._refusal(f"{quote(meaning)} is not a number", known.name)
            earlier = {k: (a, meaning) for k, (a, b) in pairs.items() if key(b) == key(spelling)}
            pairs |= earlier | {key(spelling): (tidy(spelling), meaning)}
        mended = replace(declared, also_typed=tuple(pairs.values()))
        return make_season(replace(self._source, traits=(*others, mended)))

    def save(self, folder: str | Path) -> None:
        """Write plants, families, traits and noticed.csv, which `load_season` reads back.

        Classes are written as `traits` spells them and numbers with a decimal point. Where
        something else was typed, a column beside it, such as "colour (typed)", keeps that.
        The column "typed in" keeps the file and row of your own spreadsheet, which problems
        go on naming, and noticed.csv what was odd when that was read.
        The files are UTF-8 with byte-order mark, so that any spreadsheet opens them, and a
        cell that a spreadsheet would run begins with an apostrophe, which reading takes off.

        Raises
        ------
        TableError
            if the season holds tallies, or the folder cannot be written.
        """
        if self._tallies:
            raise self._refusal("is a tally, not a table of plants: keep the table itself")
        folder = Path(folder)
        written = {self._headers[name]: self._written(name) for name in self._cells}
        as_typed = {header: self._source.plants.typed(header).texts() for header in written}
        for name, column in written.items():  # rows such as Total stay below the plants
            written[name] = np.concatenate([column, as_typed[name][len(column) :]])
        odd, sheet = self._source.said, self._source.families
        tables = {"plants": _beside(written, as_typed, self._source.plants), "traits": self.traits}
        if sheet is not None:
            odd = (*sheet.findings, *odd)
            headers = named_columns(sheet, REGISTER)
            as_typed = {header: sheet.typed(header).texts() for header in headers.values()}
            typed = self._families.iloc[: len(sheet.rows)]  # founders are found again on reading
            written = {headers.get(n, n): typed[n].to_numpy() for n in typed.columns}
            tables["families"] = _beside(written, as_typed, sheet)
        noticed = problem_frame((*self._source.plants.findings, *odd)).astype({"row": object})
        tables["noticed"] = noticed.fillna("").astype(str)
        try:
            folder.mkdir(parents=True, exist_ok=True)
            for name, table in tables.items():
                safe = table.map(guard).rename(columns=guard)
                safe.to_csv(folder / f"{name}.csv", index=False, encoding="utf-8-sig")
        except OSError as why:
            raise TableError(Problem(str(folder), f"cannot be written: {why.strerror}")) from why

    def _written(self, name: str) -> np.ndarray:
        """A column as a person would have typed it without a slip; every row."""
        cells = self._cells[name]
        if isinstance(cells, Column):
            return cells.texts()
        if isinstance(cells, pd.Categorical):
            names = ["" if c == NO_FAMILY and name == "family" else c for c in cells.categories]
            return np.array([*names, ""], dtype=object)[cells.codes]
        header = self._headers[name]
        words, codes = self._source.plants.columns[header].coded()
        meant = meanings(words, self.trait(name), header)
        texts = [text.strip().replace("−", "-").replace(",", ".") for text in meant]
        texts_of = np.array([*texts, ""], dtype=object)[codes[: len(cells)]]
        return np.where(np.isnan(cells), "", texts_of)

    # --- how it shows itself ---

    @property
    def verdict(self) -> str:
        """How much was read, and how many things there are to look at."""
        look = sum(f.severity != "note" for f in self._findings)
        families, traits, stray = len(self.family_names), len(self._traits), 0
        if self._tallies:
            scores = sum(int(t.to_numpy().sum()) for t in self._tallies.values())
            what = f"{scores:,} scores tallied"
        else:
            what = plants(len(self._once))
            stray = int((self._cells["family"][self._once] == NO_FAMILY).sum())
            families -= stray > 0
        return (
            f"{what} in {families} famil{'y' if families == 1 else 'ies'}, "
            + (f"{plants(stray)} without a family, " if stray else "")
            + f"{traits} trait{'' if traits == 1 else 's'}"
            + (f"; {look} thing{'' if look == 1 else 's'} to look at" if look else "")
        )

    def facts(self) -> list[Fact]:
        """The table, its families, and each trait with its kind and classes."""
        facts = [
            Fact("table", show(self._source.plants.source)),
            Fact("families", _some(self.family_names)),
        ]
        for trait in self._traits[:SHOWN]:
            if trait.has_classes:
                missing = int(self.counts(trait.name)[NOT_SCORED].sum())
                what = f"{trait.kind}: {_some(trait.classes)}"
            else:
                missing = int(np.isnan(self._cells[trait.name][self._places(trait.name)]).sum())
                what = f"{trait.kind}, in {show(trait.unit)}" if trait.unit else trait.kind
            facts.append(Fact(show(trait.name), what, f"{missing:,} not scored" * bool(missing)))
        if len(self._traits) > SHOWN:
            facts.append(Fact("more traits", str(len(self._traits) - SHOWN)))
        return facts

    @property
    def notes(self) -> tuple[str, ...]:  # type: ignore[override]
        """The first things to look at; `.problems` lists them all."""
        look = [f for f in self._findings if f.severity != "note"]
        said = [f"{f.problem}" + f" ({f.rows:,} rows)" * (f.rows > 1) for f in look[:SHOWN]]
        more = len(look) - len(said)
        return (*said, f"{more} more: see .problems") if more else tuple(said)


def _some(words: Sequence[str]) -> str:
    """The first of them, and how many more."""
    first = ", ".join(show(w) for w in words[:SHOWN])
    return first + (f" and {len(words) - SHOWN} more" if len(words) > SHOWN else "")


def _beside(
    written: Mapping[str, np.ndarray], typed: Mapping[str, np.ndarray], sheet: Sheet
) -> pd.DataFrame:
    """Columns, beside each what was typed where that is something else, and where it was."""
    columns: dict[str, np.ndarray] = {}
    for name, cells in written.items():
        columns[name] = cells
        if name in typed and (other := typed[name] != cells).any():
            columns[name + TYPED] = np.where(other, typed[name], "")
    if sheet.header(TYPED_IN) is None:  # nobody has a column of that name
        columns[TYPED_IN] = np.array([f"{sheet.source}, row {r}" for r in sheet.rows], object)
    return pd.DataFrame(columns, dtype=str)


# --- understanding ----------------------------------------------------------------


def make_season(source: AsTyped) -> Season:
    """Understand what was read."""
    declared = {fold(t.name): t for t in source.traits}
    headers = {n: c for n in ("plant", "family") if (c := source.plants.header(n)) is not None}
    sheet, sums = without_sums(source.plants, headers["plant"], headers["family"])
    register = source.families
    findings = [*sheet.findings, *(register.findings if register else ()), *source.said, *sums]
    family = understand(sheet, headers["family"], _family_trait(source, declared), growing=True)
    findings += family.findings
    findings += [f for name in ("plant", "family") for f in say_formulas(sheet, headers[name])]
    findings += say_no_family(sheet, headers["family"], family.values)
    plant = sheet.columns[headers["plant"]]
    cells: dict[str, Any] = {
        "plant": plant if plant.simple else plant.map(tidy),
        "family": _with_no_family(family.values),
    }
    traits = []
    for header, column in sheet.columns.items():
        if header in headers.values():
            continue
        trait = declared.get(fold(header))
        name = header if trait is None else trait.name
        headers[name], cells[name] = header, column
        if trait is not None or fold(header) not in REMARKS:
            meant = understand(sheet, header, trait or Trait(header))
            findings += meant.findings
            if meant.trait.kind:
                cells[name] = meant.values
                traits.append(meant.trait)
    findings += say_inferred(traits, sheet.source)
    for trait in declared.values():
        if fold(trait.name) != "family" and trait.name not in headers:
            what = "is in the traits table, but is no column of the plants table"
            findings.append(Finding("check", Problem(sheet.source, what, found=trait.name)))
    scores = {trait.name: cells[trait.name] for trait in traits}
    both = cells["plant"], cells["family"]
    once, joined, twice = once_each(sheet, headers["plant"], *both, scores)
    findings += twice
    if register is None:
        families = bare_register(n for n in cells["family"].categories if n != NO_FAMILY)
    else:

        def called(codes: set[str] | None) -> Iterable[tuple[str, str]]:
            some = once if codes is None else folded(cells["plant"]).isin(codes)
            rows = some if codes is None else np.flatnonzero(some)
            return zip(cells["plant"].at(rows).texts(), cells["family"][rows], strict=True)

        planted = [n for n in cells["family"].categories if n != NO_FAMILY]
        families, wrong = read_families(register, called, planted)
        findings += wrong
    findings.sort(key=lambda f: ("mend", "check", "note").index(f.severity))
    return Season(
        source, tuple(traits), headers, cells, once, families, tuple(findings), {}, joined
    )


def _family_trait(source: AsTyped, declared: Mapping[str, Trait]) -> Trait:
    """Families are understood like classes; the register declares them."""
    names: dict[str, str] = {}
    if source.families is not None:
        header = source.families.header("family") or ""
        for name in source.families.columns[header].texts():
            names.setdefault(family_key(name), tidy(name))
    names.pop("", None)
    classes = tuple(names.values())
    return replace(declared.get("family", Trait("family")), kind="class", classes=classes)


def _with_no_family(family: pd.Categorical) -> pd.Categorical:
    """Blank families as a family of their own, so that no plant leaves the counts."""
    if not (family.codes < 0).any():
        return family
    names = [*family.categories, NO_FAMILY]
    codes = np.where(family.codes < 0, len(names) - 1, family.codes)
    return pd.Categorical.from_codes(codes, categories=pd.Index(names, dtype=str))
