"""What the words in one column of a score table mean: classes, numbers, not scored.

A column comes as its distinct words and one small number a cell, so each word is
looked at once, however many plants it stands for. A word means what `Trait` says:
first a spelling that was mended ("also typed"), then a declared class, then one of
the ways to write "not scored", then (for counts and measured traits) a number.

A number has a decimal point or a decimal comma, and behind it the unit of the header,
if need be. 1,234 is not guessed at: it may be 1.234 or 1234. Where a trait is not
declared its kind is inferred: numbers with a decimal mark are measured, and so are
numbers below a header with a unit ("Height cm", "Days to flower") and whole ones of which
most are over 30 and more than 12 differ; other whole numbers are a count (two different
ones: classes), words are classes, and mostly different words are remarks. Inferred classes are
what was typed, most frequent first. A rare spelling close to a frequent one, a class
of one or two plants among fifteen or more, a frequent spelling with one letter more or
less than another, and a word that often means "not scored" are pointed out and counted as
typed.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from difflib import SequenceMatcher

import numpy as np
import pandas as pd

from breedkit.errors import Problem, fold, quote
from breedkit.reading import Finding, Sheet
from breedkit.results import listing

KINDS = ("class", "ordered", "count", "measured")
NOT_SCORED = "not scored"
TOKENS = frozenset(
    {"", "na", "n/a", "n.a.", "#n/a", "unknown", "not known", "no data", NOT_SCORED}
) | {mark * times for mark in "-–—?" for times in range(1, 11)}
DOUBTFUL = frozenset(  # words for "not scored" that may as well be a class
    {"missing", "null", "nan", "none seen", "not seen", "dead", "died", "lost", "x", "not ripe",
     "not yet ripe", "not yet", "tbd"}
)  # fmt: skip
SUMS = frozenset({"total", "totals", "sum", "sums", "summe", "gesamt", "somme", "suma", "totale"})
MEANS = frozenset({"average", "averages", "mean", "means", "mittelwert", "durchschnitt", "moyenne"})
UNITS = "mm|cm|µm|mg|g|kg|oz|lbs?|ml|days?|weeks?|hours?|inch|inches|feet|tage|wochen|jours"
MANY, LARGE = 12, 30  # whole numbers of more kinds, mostly larger, are measured
RARE, SCORED = 2, 15  # an inferred class of so few of at least so many plants is pointed out
MOST = 200  # findings of one sort for one column; the others are summed up in a line
NEAR = 0.8  # likeness from which one spelling may be a slip for another
_NUMBER = re.compile(r"[+-]?([0-9]+([.,][0-9]*)?|[.,][0-9]+)(e[+-]?[0-9]+)?", re.I)
_UNCLEAR = re.compile(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}")
_JOINTS = re.compile(r"(?<=[^\W\d_])[\s‐–-]+(?=\d)|(?<=\d)[\s‐–-]+(?=[^\W\d_])")
_FIGURES = str.maketrans("oOiIlL", "001111")  # letters typed for figures
_DATE = re.compile(
    r"\d{4}-\d\d?-\d\d?( .*)?|\d{1,2}[-./]\d{1,2}[-./](\d{2}|\d{4})"
    r"|\d{1,2}[-. ]+(jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec|mai|okt|dez)[a-z]*\.?"
    r"|(jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec|mai|okt|dez)[a-z]*[-. ]+\d{1,2}",
    re.I,
)


@dataclass(frozen=True)
class Trait:
    """What may be written in one column of `plants`.

    Parameters
    ----------
    name : as the traits table or the header spells it.
    kind : "class", "ordered" (classes in order), "count", "measured"; "" is inferred.
    classes : of the first two kinds, in order; none are inferred.
    unit, wanted, weight, how_scored, scheme : as typed in the traits table; `scheme`
        names the published list of codes that the classes are from.
    also_typed : pairs (spelling, meaning): spellings that were mended.
    inferred : which of "kind" and "classes" nobody declared.
    own : pairs (column, text): what stands in further columns of the traits table.
    """

    name: str
    kind: str = ""
    classes: tuple[str, ...] = ()
    unit: str = ""
    wanted: str = ""
    weight: str = ""
    how_scored: str = ""
    scheme: str = ""
    also_typed: tuple[tuple[str, str], ...] = ()
    inferred: tuple[str, ...] = ()
    own: tuple[tuple[str, str], ...] = ()

    @property
    def has_classes(self) -> bool:
        return self.kind in ("class", "ordered")


@dataclass(frozen=True)
class Understood:
    """A column and what it means: categories (not scored is missing) or floats (NaN)."""

    trait: Trait
    values: pd.Categorical | np.ndarray
    findings: tuple[Finding, ...]


def tidy(text: str) -> str:
    """`text` without surplus blanks."""
    return " ".join(text.split())


def read_number(text: str) -> float | None:
    """The number that `text` writes, with decimal point or comma; None if it is unclear."""
    plain = text.strip().replace("−", "-")
    if not _NUMBER.fullmatch(plain) or _UNCLEAR.fullmatch(plain):
        return None
    value = float(plain.replace(",", "."))
    return value if math.isfinite(value) else None


def unit_of(header: str) -> str:
    """The unit that a header names: 'Height cm', 'Height (cm)', 'Days to flower'; else ''."""
    ways = rf"[(\[] *({UNITS}|m|l|in|ft|d|%|°c) *\.?[)\]]$|(?<![\d ])[ ,/]+(?:in )?({UNITS})$"
    ways += r"|^(days|weeks|hours)\b"
    found = re.search(ways, tidy(header.replace("_", " ")), re.I)
    return next((unit for unit in found.groups() if unit), "").lower() if found else ""


def family_key(text: str) -> str:
    """What makes a family: F 2, F-2 and f2 are one, but F1-1 and F11 are two."""
    return squeeze(fold(text))


def squeeze(text: str) -> str:
    """`text` without blanks and hyphens between a letter and a digit."""
    return _JOINTS.sub("", text)


def matcher(texts: Iterable[str], declared: Iterable[str] = ()) -> Callable[[str], str]:
    """The function by which texts match: alike is what it makes equal.

    Case, blanks and accents do not matter, except where they carry the meaning: between
    declared classes that differ in nothing else, and in genotypes (AA Aa aa, AB aB).
    """
    meant, typed = _ways(declared), _ways(texts)
    exact = {f for f, ways in meant.items() if len(ways) > 1}
    exact |= {f for f, ways in typed.items() if f not in meant and any(map(_genotype, ways))}
    return lambda text: tidy(text) if fold(text) in exact else fold(text)


def _ways(texts: Iterable[str]) -> dict[str, set[str]]:
    """Folded text -> the ways it is written."""
    ways: dict[str, set[str]] = {}
    for text in texts:
        ways.setdefault(fold(text), set()).add(tidy(text))
    return ways


def _genotype(word: str) -> bool:
    """Whether the case of the letters seems meant: Aa, RrPp, or aB (letters in order)."""
    small = word.lower()
    if not word.isalpha() or len(word) > 20:
        return False
    if len(word) % 2 == 0 and small[::2] == small[1::2]:
        return True
    return sorted(small) == list(small) and word not in (small, word.upper(), word.capitalize())


def understand(sheet: Sheet, header: str, trait: Trait, growing: bool = False) -> Understood:
    """Find out what each word of a column means.

    Parameters
    ----------
    sheet, header : the table, and the column in it.
    trait : as declared; kind and classes are inferred where they are not.
    growing : the classes are families: they match as `squeeze` makes them, and a word that
        is none is one of its own, in order of appearance.

    Returns
    -------
    Understood
        A column of remarks or of dates comes back with the kind "" and no values.
    """
    words, codes = sheet.columns[header].coded()
    look = _Look(sheet, header, words, codes, np.bincount(codes, minlength=len(words)))
    texts = meanings(words, trait, header)
    if not trait.kind:
        dates = _all_dates(texts, look.sizes)
        kind = "" if dates else _infer_kind(texts, look.sizes, bool(unit_of(header)))
        if not kind:
            what = f"holds {'dates' if dates else 'remarks'}, not a trait"
            note = Problem(sheet.source, what, column=header)
            return Understood(trait, np.empty(0), (Finding("note", note),))
        trait = replace(trait, kind=kind, inferred=(*trait.inferred, "kind"))
    if trait.kind == "measured" and not trait.unit:
        trait = replace(trait, unit=unit_of(header))
    if trait.has_classes:
        return _understand_classes(meanings(words, trait, header), trait, look, growing)
    return _understand_numbers(texts, trait, look)


def meanings(words: Sequence[str], trait: Trait, header: str) -> list[str]:
    """The words, mended spellings replaced by what they mean, numbers without header's unit."""
    texts = list(words)
    if trait.also_typed:
        key = matcher(words, trait.classes)
        meant = {key(spelling): meaning for spelling, meaning in trait.also_typed}
        texts = [meant.get(key(w), w) for w in words]
    unit = "" if trait.has_classes else unit_of(header)
    if unit and unit in "".join(texts).lower():
        texts = [_without_unit(t, unit) for t in texts]
    return texts


def _without_unit(text: str, unit: str) -> str:
    """The number in `text` if that is a number and the unit, else `text`."""
    plain = text.strip().removesuffix(".")
    number = plain[: -len(unit)].rstrip()
    both = plain.lower().endswith(unit) and read_number(number) is not None
    return number if both else text


@dataclass(frozen=True, eq=False)
class _Look:
    """Where the words of a column stand, for messages."""

    sheet: Sheet
    header: str
    words: tuple[str, ...]
    codes: np.ndarray
    sizes: np.ndarray

    def row(self, word: int) -> int:
        """The first row of a word."""
        return int(self.sheet.rows[np.argmax(self.codes == word)])

    def find(
        self, severity: str, at: Iterable[int], what: str, allowed: tuple[str, ...] = (),
        advice: str | None = None,
    ) -> list[Finding]:  # fmt: skip
        """One finding for each of the words `at`, up to MOST of them."""
        at = [i for i in at if self.sizes[i]]
        found = []
        for i in at[:MOST]:
            how = _advice(self.words[i]) if advice is None else advice
            problem = Problem(
                self.sheet.source, what, self.row(i), self.header, self.words[i], allowed, how
            )
            found.append(Finding(severity, problem, int(self.sizes[i])))
        if len(at) > MOST:
            rest = at[MOST:]
            more = f"{len(rest):,} more entries: each {what}"
            problem = Problem(self.sheet.source, more, column=self.header)
            found.append(Finding(severity, problem, int(self.sizes[rest].sum())))
        return found


def _advice(text: str) -> str:
    """What to do about an entry that cannot be understood, if that can be seen from it."""
    plain = text.strip()
    if plain.startswith("="):
        return "It is a formula, which is not worked out here: paste its value instead."
    if _DATE.fullmatch(plain):
        return "Spreadsheets make dates of entries like 1-2: format the column as text, type again."
    if _UNCLEAR.fullmatch(plain):
        dot, joined = plain.replace(",", "."), plain.replace(",", "")
        return f"Write {dot} or {joined}: the comma can mean either."
    if plain[:1].isdecimal() and re.fullmatch(r"[0-9.,]+[oil]+[0-9.,oil]*", plain, re.I):
        figures = plain.translate(_FIGURES)
        return f"Did you mean {figures}? A letter (o, i or l) stands for a figure in it."
    number = re.match(r"[+-]?[0-9]+([.,][0-9]+)?(?=\s*(?!o$|i$)[^\W\d_%]{1,6}\.?$)", plain, re.I)
    if number:
        return f"Write {number[0]}; the unit belongs in the traits table."
    return ""


def _all_dates(texts: list[str], sizes: np.ndarray) -> bool:
    """Whether all that was scored is dates; looks no further than the first that is none."""
    scored = (t for t, n in zip(texts, sizes.tolist(), strict=True) if n and fold(t) not in TOKENS)
    first = next(scored, None)
    return first is not None and all(_DATE.fullmatch(t.strip()) for t in (first, *scored))


def _infer_kind(texts: list[str], sizes: np.ndarray, unit: bool) -> str:
    """A kind for undeclared words; "" for remarks. Looks at each word once.

    `unit` says that the header names one.
    """
    plain = _read_plain_numbers([t for t, n in zip(texts, sizes.tolist(), strict=True) if n])
    if plain is not None and not np.isnan(plain).all():  # the same answer, sooner
        if any("." in t for t, n in zip(texts, sizes.tolist(), strict=True) if n):
            return "measured"
        return _whole(plain[~np.isnan(plain)], unit)
    scored = [i for i, t in enumerate(texts) if fold(t) not in TOKENS and sizes[i]]
    total = sum(int(sizes[i]) for i in scored)
    numbers = [i for i in scored if read_number(texts[i]) is not None]
    meant = [i for i in scored if texts[i].lstrip("+-−~<> ")[:1].isdecimal()]
    share = [sum(int(sizes[i]) for i in some) / max(total, 1) for some in (numbers, meant)]
    if share[0] > 0.5 and share[1] >= 0.8:
        values = {read_number(texts[i]) for i in numbers}
        if any(not texts[i].strip().lstrip("+-−").isdecimal() for i in numbers):
            return "measured"
        kind = _whole(np.array(list(values), dtype=float), unit)
        return "count" if kind == "class" and len(numbers) < len(scored) else kind
    kinds = len({fold(texts[i]) for i in scored})
    return "" if kinds > 20 and kinds > total / 2 else "class"


def _whole(values: np.ndarray, unit: bool) -> str:
    """The kind of whole numbers."""
    different = np.unique(values)
    if unit or (len(different) > MANY and np.median(different) > LARGE):
        return "measured"
    return "class" if len(different) <= 2 else "count"


def _understand_classes(texts: list[str], trait: Trait, look: _Look, growing: bool) -> Understood:
    key = matcher(texts, trait.classes)
    if growing:
        exact = key
        key = lambda text: squeeze(exact(text))  # noqa: E731
    keys = [key(t) for t in texts]
    classes = {key(c): c for c in trait.classes}
    missing = [fold(t) in TOKENS and k not in classes for t, k in zip(texts, keys, strict=True)]
    findings: list[Finding] = []
    if not classes and not growing:
        classes = _infer_classes(texts, keys, missing, look.sizes)
        trait = replace(trait, inferred=(*trait.inferred, "classes"))
        findings += _odd_classes(classes, keys, look)
    strange = [
        i for i, k in enumerate(keys) if k not in classes and not missing[i] and look.sizes[i]
    ]
    if growing:
        if trait.classes:
            findings += look.find("check", strange, "is not in the register", trait.classes)
        for i in sorted(strange, key=look.row):
            classes.setdefault(keys[i], tidy(texts[i]))
    else:
        findings += look.find("mend", strange, "is not a known class", trait.classes)
    index = {k: i for i, k in enumerate(classes)}
    place = np.array([index.get(k, -1) for k in keys], dtype=np.int64)
    place = place.astype(np.min_scalar_type(-max(len(classes), 1)))
    values = pd.Categorical.from_codes(
        place[look.codes],
        categories=pd.Index(list(classes.values()), dtype=str),
        ordered=trait.kind == "ordered",
    )
    return Understood(replace(trait, classes=tuple(classes.values())), values, tuple(findings))


def _infer_classes(
    texts: list[str], keys: list[str], missing: list[bool], sizes: np.ndarray
) -> dict[str, str]:
    """Key -> the way it is most often spelled; the most frequent first, numbers by size."""
    ways: dict[str, dict[str, int]] = {}
    for text, key, blank, n in zip(texts, keys, missing, sizes.tolist(), strict=True):
        if not blank and n:
            spelled = ways.setdefault(key, {})
            spelled[tidy(text)] = spelled.get(tidy(text), 0) + n
    numbers = {k: read_number(k) for k in ways}
    if None in numbers.values():
        order = sorted(ways, key=lambda k: (-sum(ways[k].values()), k))
    else:
        order = sorted(ways, key=lambda k: (numbers[k] or 0.0, k))
    return {k: min(ways[k], key=lambda w: (-ways[k][w], w.swapcase())) for k in order}


def _odd_classes(classes: dict[str, str], keys: list[str], look: _Look) -> list[Finding]:
    """Inferred classes that look like slips: dates, no scores, rare ones near to another."""
    totals = dict.fromkeys(classes, 0)
    words: dict[str, list[int]] = {key: [] for key in classes}
    for i, (key, n) in enumerate(zip(keys, look.sizes.tolist(), strict=True)):
        if n and key in totals:
            totals[key] += n
            words[key].append(i)
    scored = sum(totals.values())
    odd: list[tuple[str, str, str]] = []  # key, what, advice
    # comparing each with each grows with the square of the classes, and slips are few
    compared = list(classes.items()) if len(classes) <= MOST else []
    earlier = {key: compared[:at] for at, key in enumerate(classes)}  # the more frequent ones
    for key, total in totals.items():
        if advice := _advice(key):
            odd.append((key, "is an odd class, counted as typed", advice))
        elif fold(key) in DOUBTFUL:
            what = "may mean not scored; counted as typed until mended"
            odd.append((key, what, "If it does, say that it means '?'."))
        elif near := next((c for k, c in compared if totals[k] >= 5 * total and alike(key, k)), ""):
            what = f"may be a slip for {quote(near)}; counted as typed until mended"
            odd.append((key, what, f"Did you mean {quote(near)}?"))
        elif near := next((c for k, c in earlier[key] if _one_letter_more(key, k)), ""):
            what = f"is spelt nearly like {quote(near)}; counted as typed"
            odd.append((key, what, f"Did you mean {quote(near)}?"))
        elif total <= RARE and scored >= SCORED:
            what = (
                f"has only {total} plant{'s' if total > 1 else ''}; counted as typed until mended"
            )
            odd.append((key, what, ""))
    found = []
    for key, what, advice in odd[:MOST]:  # a line a class, in the spelling that it is saved in
        row = min(look.row(i) for i in words[key])
        source, name = look.sheet.source, classes[key]
        problem = Problem(source, what, row, look.header, name, advice=advice)
        found.append(Finding("check", problem, totals[key]))
    if more := odd[MOST:]:
        what = f"{len(more):,} more odd classes, counted as typed"
        problem = Problem(look.sheet.source, what, column=look.header)
        found.append(Finding("check", problem, sum(totals[key] for key, *_ in more)))
    return found


def _one_letter_more(a: str, b: str) -> bool:
    """Whether a word of one has a letter more than in the other, as long and longg."""
    words = [pair for pair in zip(a.split(), b.split(), strict=False) if pair[0] != pair[1]]
    if len(words) != 1 or a.count(" ") != b.count(" "):
        return False
    short, long = sorted(words[0], key=len)
    if len(long) != len(short) + 1 or not 4 <= len(short) <= 100 or not long.isalpha():
        return False
    return any(long[:at] + long[at + 1 :] == short for at in range(len(long)))


def alike(a: str, b: str) -> bool:
    """Two words that differ as a slip of the finger makes them differ."""
    if min(len(a), len(b)) < 3 or a.isdecimal() or b.isdecimal() or max(len(a), len(b)) > 100:
        return False
    return sorted(a) == sorted(b) or SequenceMatcher(None, a, b, autojunk=False).ratio() >= NEAR


def _understand_numbers(texts: list[str], trait: Trait, look: _Look) -> Understood:
    values = _read_plain_numbers(texts)
    unread: list[int] = []
    if values is None:
        read = [read_number(t) for t in texts]
        values = np.array([np.nan if v is None else v for v in read])
        unread = [i for i, v in enumerate(read) if v is None and fold(texts[i]) not in TOKENS]
    findings = look.find("mend", unread, "is not a number; not scored until mended")
    if trait.kind == "count":
        wrong = np.flatnonzero((values < 0) | (values % 1 > 0))
        findings += look.find("mend", wrong, "is not a count: counts are 0, 1, 2, …")
        values[wrong] = np.nan
    if any("," in t and read_number(t) is not None for t in texts):
        maybe = [i for i, t in enumerate(texts) if _UNCLEAR.fullmatch(t.strip().replace(".", ","))]
        maybe = [i for i in maybe if "." in texts[i]]
        what = "is read with a decimal point, beside decimal commas"
        findings += look.find("check", maybe, what, advice="Write thousands without a mark.")
    return Understood(trait, values[look.codes], tuple(findings))


def _read_plain_numbers(texts: list[str]) -> np.ndarray | None:
    """All of them at once, if there is nothing but plain numbers and blanks."""
    if not re.fullmatch(r"[0-9.+-]*", "".join(texts)):
        return None
    try:
        return np.array([t or "nan" for t in texts], dtype=object).astype(float)
    except ValueError:
        return None


def say_inferred(traits: Iterable[Trait], source: str) -> list[Finding]:
    """Notes that say which kinds nobody declared."""
    by_kind: dict[str, list[str]] = {}
    for trait in traits:
        if "kind" in trait.inferred:
            by_kind.setdefault(trait.kind, []).append(trait.name)
    return [
        Finding("note", Problem(source, f"taken as {kind}: {listing(map(quote, names))}"))
        for kind, names in sorted(by_kind.items())
    ]
