"""The trait list and the family register.

The trait list is a table of `Trait`s. Classes stand in order with | between them;
mended spellings stand as "orannge = orange | rd = red"; a backslash takes the
meaning from a | or = that belongs to a word. What breedkit inferred is named in
the column `inferred`, and inferred anew on reading, so it can be corrected there.

The family register says for each family which two parents it is from: founders
(rows without parents), families, or single plants by their code (or by family and
code: "F2 17", "F2-17"). `selfed` (self, itself, ⊗) stands for the other parent again,
`open` (OP, bees) for any pollen, on either side. Names of families match but for blanks and hyphens
between a letter and a digit: F 2, F-2 and f2 are one, F1-1 and F11 are two. A parent that
nobody knows is a plant of an earlier year if it is called like one of a family that has no
plants in the table ("F2-17"); else a founder, which gets a row; but not if it is nearly the
name of a family, looks like a plant's code, or has no plants while others have rows.

What contradicts itself between rows (`breedkit.descent`) is said with the rows that lead to
it. The first row of a family and its parents count, not the generation that its name or a
column `generation` says.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace

import pandas as pd

from breedkit.descent import Entry, Register, circles, is_generation, mistaken, unsown
from breedkit.errors import Problem, fold, quote
from breedkit.families import PARENT_WORDS, earlier_home, parent_word, read_register
from breedkit.headers import FOREIGN
from breedkit.reading import Finding, Sheet
from breedkit.results import listing
from breedkit.spelling import (
    KINDS,
    MOST,
    TOKENS,
    Trait,
    alike,
    family_key,
    matcher,
    tidy,
)

GENERATION = ("generation", "gen")  # a column of one's own, compared with the parents
SHOWN = 5  # families that a finding names
REGISTER = ("family", "female", "male", "season", "sown", "note")
TRAIT_LIST = ("trait", "kind", "unit", "classes", "wanted", "weight", "how scored", "scheme",
              "also typed", "inferred")  # fmt: skip


def named_columns(sheet: Sheet, names: Iterable[str]) -> dict[str, str]:
    """Name -> header as typed, for the columns that are there; columns of one's own last."""
    found = {n: c for n in names if (c := sheet.header(n)) is not None}
    return found | {c: c for c in sheet.columns if c not in found.values()}


# --- the trait list -------------------------------------------------------------


def read_traits(sheet: Sheet) -> tuple[tuple[Trait, ...], tuple[Finding, ...]]:
    """The traits of a trait list, and what is wrong with it."""
    columns = named_columns(sheet, TRAIT_LIST)
    findings: list[Finding] = list(sheet.findings)
    traits: dict[str, Trait] = {}
    texts = sheet.frame()
    for row, cells in zip(texts.index, texts.to_dict("records"), strict=True):
        cell = {name: cells[header] for name, header in columns.items()}
        own = tuple((n, v) for n, v in cell.items() if n not in TRAIT_LIST)
        name = tidy(cell["trait"])
        where = {"source": sheet.source, "row": int(row)}

        def fault(what: str, column: str, severity: str = "mend", **more: object) -> None:
            problem = Problem(what=what, column=columns[column], **where, **more)  # type: ignore[arg-type]  # noqa: B023
            findings.append(Finding(severity, problem))

        if not name or fold(name) in traits:
            what = "is listed twice; the first row counts" if name else "has no name"
            fault(what, "trait", found=name or None)
            continue
        inferred = {fold(w) for w in _split(cell.get("inferred", ""))}
        kind = "" if "kind" in inferred else fold(cell.get("kind", ""))
        if kind and kind not in KINDS:
            fault("is not a kind of trait", "kind", found=cell["kind"], allowed=KINDS)
            kind = ""
        classes = () if "classes" in inferred else _split(cell.get("classes", ""))
        key = matcher(classes)
        if len({key(c) for c in classes}) < len(classes):
            fault("names a class twice", "classes", found=cell["classes"])
            classes = tuple({key(c): c for c in reversed(classes)}.values())[::-1]
        if len(classes) == 1 and re.search(r"[,;/]", classes[0]):
            advice = "Write | between classes."
            fault("is a single class", "classes", "check", found=cell["classes"], advice=advice)
        pairs = []
        for pair in _split(cell.get("also typed", ""), keep=True):
            ways = tuple(_split(pair, "="))
            if len(ways) == 2:
                pairs.append((ways[0], ways[1]))
            else:
                advice = "Write: orannge = orange"
                fault("is not a spelling and a meaning", "also typed", found=pair, advice=advice)
        traits[fold(name)] = Trait(
            name, kind or ("class" if classes else ""), classes,
            unit=cell.get("unit", ""), wanted=cell.get("wanted", ""),
            weight=cell.get("weight", ""), how_scored=cell.get("how scored", ""),
            scheme=cell.get("scheme", ""), also_typed=tuple(pairs), own=own,
        )  # fmt: skip
    return tuple(traits.values()), tuple(findings)


def trait_frame(traits: Iterable[Trait]) -> pd.DataFrame:
    """The trait list of these traits, as `read_traits` reads it."""
    rows = [
        {
            "trait": t.name,
            "kind": t.kind,
            "unit": t.unit,
            "classes": " | ".join(map(_protect, t.classes)),
            "wanted": t.wanted,
            "weight": t.weight,
            "how scored": t.how_scored,
            "scheme": t.scheme,
            "also typed": " | ".join(f"{_protect(a)} = {_protect(b)}" for a, b in t.also_typed),
            "inferred": " | ".join(t.inferred),
            **dict(t.own),
        }
        for t in traits
    ]
    return pd.DataFrame(rows, columns=None if rows else list(TRAIT_LIST), dtype=str).fillna("")


def _split(text: str, mark: str = "|", keep: bool = False) -> tuple[str, ...]:
    """The words between marks; `keep` leaves the backslashes for another splitting."""
    words = re.findall(rf"(?:[^\\{mark}]|\\.|\\$)+", text, re.S)
    plain = words if keep else [re.sub(r"\\(.)", r"\1", w, flags=re.S) for w in words]
    return tuple(tidy(w) for w in plain if w.strip())


def _protect(word: str) -> str:
    return re.sub(r"([\\|=])", r"\\\1", word)


# --- the family register ----------------------------------------------------------


Plants = Callable[[set[str] | None], Iterable[tuple[str, str]]]


def read_families(
    sheet: Sheet, plants: Plants, planted: Iterable[str] = ()
) -> tuple[pd.DataFrame, list[Finding]]:
    """The register, its names tidied and its parents looked up, and what is wrong with it.

    Parameters
    ----------
    sheet : the register as typed.
    plants : gives code and family of the plants whose folded codes are among those asked
        for, or of all if None is asked; for parents that are single plants.
    planted : the families that have plants, as the plants table spells them.

    Returns
    -------
    frame, findings
        A row for each row of the sheet, and below them one for each parent taken as a
        founder. A parent is spelled as the register or the plants table spells it; one
        that may be a slip stays as typed.
    """
    columns = named_columns(sheet, REGISTER)
    findings = _say_own_columns(sheet, columns)
    texts = sheet.frame()
    frame = pd.DataFrame(
        {n: texts[columns[n]] if n in columns else "" for n in
         (*REGISTER, *(c for c in columns if c not in REGISTER))},
        index=sheet.rows,
    )  # fmt: skip
    for name in ("family", "female", "male"):
        frame[name] = frame[name].map(tidy)

    def fault(
        row: int, column: str, what: str, advice: str = "", severity: str = "mend", rows: int = 1
    ) -> None:
        found = str(frame.at[row, column]) or None
        header = columns.get(column, column)
        problem = Problem(sheet.source, what, int(row), header, found, advice=advice)
        findings.append(Finding(severity, problem, rows))

    spelled: dict[str, str] = {}
    first: dict[str, int] = {}
    for row, name in frame["family"].items():
        key = family_key(name)
        if not name:
            fault(row, "family", "a row without a family name")
        elif key in spelled:
            sides = [frame.loc[at, ["female", "male"]].tolist() for at in (first[key], row)]
            if _alike(*sides):
                fault(row, "family", "is registered twice; the first row counts")
            else:
                what = "is registered twice, with other parents; the first row counts"
                says = f"Row {first[key]} says {_sides(*sides[0])}, row {row} {_sides(*sides[1])}."
                fault(row, "family", what, f"{says} Take the wrong row away.")
        else:
            spelled[key], first[key] = name, int(row)
    counted = set(first.values())
    wanted = {fold(p) for p in pd.concat([frame["female"], frame["male"]])}
    wanted = {w for w in wanted if family_key(w) not in spelled} - PARENT_WORDS.keys() - TOKENS
    single = _single_plants(wanted, plants)
    unknown: dict[str, list[tuple[int, str]]] = {}  # family key -> the cells that name it
    homes: dict[str, str] = {}  # plant -> family, of the plants that are parents
    stuck: list[tuple[int, str]] = []  # finding about a parent, family that counts on it
    for row in frame.index:
        own = frame.at[row, "family"] if int(row) in counted else ""
        for column in ("female", "male"):
            typed = frame.at[row, column]
            word, key = fold(typed), family_key(typed)
            if meaning := parent_word(typed, key in spelled):
                frame.at[row, column] = meaning
            elif key in spelled:
                frame.at[row, column] = spelled[key]
            elif len(single.get(word, ())) == 1:
                (code, family), = single[word]  # fmt: skip
                frame.at[row, column] = code
                homes[code] = spelled.get(family_key(family), family)
            elif word in single:
                stuck.append((len(findings), own))
                several = ", ".join(quote(f"{f} {typed}") for _, f in sorted(single[word])[:4])
                fault(row, column, "is a plant in several families", f"Write one of {several}.")
            elif word not in TOKENS:
                unknown.setdefault(key, []).append((int(row), column))
        blank = [fold(frame.at[row, c]) in TOKENS for c in ("female", "male")]
        if any(blank) and not all(blank):
            missing = ("female", "male")[blank.index(True)]
            advice = "Write the other parent, 'selfed' or 'open'."
            stuck.append((len(findings), own))
            fault(row, missing, "only one parent is given", advice, "check")
        elif all(frame.at[row, c] in ("selfed", "open") for c in ("female", "male")):
            stuck.append((len(findings), own))
            fault(row, "female", "stands where a parent is missing", "Write the parent.")
    names = {family_key(f): f for f in planted} | spelled
    codes = {code for code, _ in plants(None)} if unknown else set()
    bare = frame[["female", "male"]].map(fold).isin(TOKENS).all(axis=1) & (frame["family"] != "")
    founders: list[str] = []
    absent: dict[str, list[tuple[int, str]]] = {}  # family without plants -> cells with its plants
    words = {fold(name): name for name in spelled.values()}
    sown = {fold(name) for name in planted}
    for key, places in unknown.items():
        typed = str(frame.at[places[0]])
        family = earlier_home(typed, words, sown)
        if family and all(frame.at[row, "family"] != family for row, _ in places):
            absent.setdefault(family, []).extend(places)
            homes |= {str(frame.at[place]): family for place in places}
            continue
        what = "is neither a family nor a plant"
        advice = _doubt(str(frame.at[places[0]]), names, codes)
        if not advice and bare.any() and key not in names:  # founders have rows here
            what = "is neither in the register nor a plant; its family's parents are not known"
            advice = "Add a row for it; a founder has no parents."
        if advice:
            for row, column in places:
                own = frame.at[row, "family"] if row in counted else ""
                stuck.append((len(findings), own))
                fault(row, column, what, advice)
            continue
        what = "has no row in the register; taken as a founder"
        fault(*places[0], what, "If it has parents, add a row for it.", "check", len(places))
        founders.append(names.get(key, str(frame.at[places[0]])))
        names[key] = founders[-1]
        for place in places:
            frame.at[place] = founders[-1]
    register = _entries(frame, homes)
    _with_offspring(findings, stuck, register)
    for family, places in absent.items():
        what = f"is taken as a plant of {quote(family)} of another year: none of them is here"
        fault(*places[0], what, "", "note", len(places))
    own_column = next((c for c in columns if fold(c) in GENERATION), None)
    findings += _contradictions(sheet.source, frame, register, columns, own_column)
    if founders:  # numbered as if their rows had been typed below the others
        below = pd.RangeIndex(start := int(frame.index.max()) + 1, start + len(founders))
        more = pd.DataFrame("", index=below, columns=frame.columns, dtype=str)
        frame = pd.concat([frame, more.assign(family=founders)]).rename_axis(frame.index.name)
    return frame, findings


def bare_register(names: Iterable[str]) -> pd.DataFrame:
    """A register that knows the families, but no parents."""
    names = list(names)
    return pd.DataFrame(
        {n: names if n == "family" else [""] * len(names) for n in REGISTER}, dtype=str
    )


def _sides(female: str, male: str) -> str:
    """The parents of a row in words."""
    return f"{quote(female or '?')} by {quote(male or '?')}"


def _alike(one: list[str], other: list[str]) -> bool:
    """Whether two rows may name the same parents, as typed; a blank contradicts nothing."""

    def key(typed: str, mate: str) -> str:
        word = parent_word(typed, False)
        name = mate if word == "selfed" else word or typed
        return family_key(re.sub("[ .:/-]+", " ", fold(name)))

    pairs = zip(one, other, one[::-1], other[::-1], strict=True)
    return all({a, b} & TOKENS or key(a, c) == key(b, d) for a, b, c, d in pairs)


def _entries(frame: pd.DataFrame, homes: Mapping[str, str]) -> Register:
    """The rows that count: of each family the first."""
    entries: dict[str, Entry] = {}
    cells = frame[["family", "female", "male", "season", "sown"]].itertuples(name=None)
    keys = set()
    for row, family, *others in cells:
        if family and (key := family_key(family)) not in keys:
            keys.add(key)
            entries[family] = Entry(int(row), *others)
    return Register(entries, homes)


def _with_offspring(
    findings: list[Finding], stuck: list[tuple[int, str]], register: Register
) -> None:
    """Names in findings about a parent the families that cannot be followed because of it."""
    children: dict[str, list[str]] = {}
    for child in register.entries if stuck else ():
        for parent in register.parents(child):
            children.setdefault(register.home(parent), []).append(child)
    for at, family in stuck:
        found = {family}
        for name in (queue := [family]):
            more = [c for c in children.get(name, ()) if c not in found]
            found |= set(more)
            queue += more
        if len(queue) > 1:
            some = [quote(name) for name in queue[1 : SHOWN + 1]]
            some += [f"{len(queue) - 1 - SHOWN} more"] * (len(queue) - 1 > SHOWN)
            problem = findings[at].problem
            advice = f"{problem.suggestion} Behind it, not followed either: {listing(some)}."
            findings[at] = findings[at]._replace(problem=replace(problem, advice=advice.strip()))


def _contradictions(
    source: str,
    frame: pd.DataFrame,
    register: Register,
    columns: Mapping[str, str],
    own: str | None,
) -> list[Finding]:
    """What contradicts itself between rows: circles, parents sown too late, generations."""
    findings: list[Finding] = []

    def say(severity: str, family: str, name: str, found: str, what: str, advice: str) -> None:
        row, header = register.entries[family].row, columns.get(name, name)
        problem = Problem(source, what, row, header, found, advice=advice)
        findings.append(Finding(severity, problem))

    for family, way in circles(register).items():
        say("mend", family, "family", family, "is among its own ancestors", way)
    for family, parent, way in unsown(register):
        column = "female" if register.entries[family].female == parent else "male"
        what = f"was not yet sown when {quote(family)} was crossed"
        say("check", family, column, parent, what, way)
    typed = {} if own is None else {
        name: tidy(frame.at[entry.row, own]) for name, entry in register.entries.items()
    }  # fmt: skip
    rows = [(name, e.female, e.male) for name, e in register.entries.items()]
    plans = read_register(rows, register.homes, skip_faults=True)
    for wrong in mistaken(register, plans, typed):
        name = "family" if wrong.in_name else str(own)
        found = wrong.family if wrong.in_name else typed[wrong.family]
        what = f"is typed, but its parents make it {wrong.makes}"
        advice = f"{wrong.way}. Mend the parents or what is typed."
        say("check", wrong.family, name, found, what, advice)
    for family, cell in typed.items():
        if fold(cell) not in TOKENS and not is_generation(cell):
            what = "is no generation that is known: not compared with the parents"
            say("note", family, str(own), cell, what, "")
    return findings


def _say_own_columns(sheet: Sheet, columns: dict[str, str]) -> list[Finding]:
    """Says which columns are not used, and which of them may be meant for one that is."""
    own = [c for c in columns if c not in REGISTER and fold(c) not in GENERATION]
    findings = []
    for header in own:
        meant = [n for n, words in FOREIGN.items() if fold(header) in words]
        meant += [n for n in REGISTER if n not in columns and alike(fold(header), n)]
        if meant:
            advice = f"Call the column {quote(meant[0])}."
            problem = Problem(sheet.source, "is not used", column=header, advice=advice)
            findings.append(Finding("check", problem))
            own = [c for c in own if c != header]
    if own:
        what = f"columns of your own, kept but not used: {listing(map(quote, own))}"
        findings.append(Finding("note", Problem(sheet.source, what)))
    return findings


def _doubt(name: str, families: dict[str, str], codes: set[str]) -> str:
    """Why an unknown parent may be no founder, as advice; empty if nothing says so."""
    key = family_key(name)
    if key in families:  # it has plants
        return ""
    known = {family_key(c): c for c in codes if len(codes) <= MOST} | families
    near = next((n for k, n in known.items() if _slip(key, k)), None)
    if near is not None:
        return f"Did you mean {quote(near)}? If not, add a row for it (a founder has no parents)."
    family, plant = re.fullmatch(r"(.*?)[\s.:/-]*(\d*)", fold(name), re.S).groups()  # type: ignore[union-attr]
    shapes = {re.sub(r"\d+", "0", family_key(c)) for c in codes}
    if plant and (family_key(family) in families or re.sub(r"\d+", "0", key) in shapes):
        return "No plant has this code: mend it. If it is a founder, add a row without parents."
    return ""


def _slip(a: str, b: str) -> bool:
    """Whether one name may be a slip for the other: their numbers and letters agree."""
    marks = re.compile(r"\d+|\b\w\b")
    return marks.findall(a) == marks.findall(b) and alike(a, b)


def _single_plants(wanted: set[str], plants: Plants) -> dict[str, set[tuple[str, str]]]:
    """Wanted word -> the plants (as a parent is written, family) that it may mean."""
    found: dict[str, set[tuple[str, str]]] = {}
    marks = re.compile(r"[ .:/-]+")
    tails = {w[mark.end() :] for w in wanted for mark in marks.finditer(w)}
    squeezed: dict[str, list[str]] = {}
    for word in wanted:
        squeezed.setdefault(family_key(marks.sub(" ", word)), []).append(word)
    asked = set(plants(wanted | tails)) if wanted else set()
    owners = Counter(fold(code) for code, _ in asked)
    for code, family in asked:
        if fold(code) in wanted:
            found.setdefault(fold(code), set()).add((code, family))
    for code, family in asked:
        written = code if owners[fold(code)] == 1 else f"{family} {code}"
        for word in squeezed.get(family_key(marks.sub(" ", f"{family} {code}")), ()):
            if fold(word) not in owners:  # the code of a plant goes before
                found.setdefault(word, set()).add((written, family))
    return found
