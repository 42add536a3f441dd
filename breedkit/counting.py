"""Reads counts and ratios as people type them, and matches the one to the other.

A ratio is "9:3:3:1", a list of parts or shares, or {class: part}; its parts stay exact
fractions where they can. Counts are a list, {class: count}, a Series, or a table of
families. Named counts and a named ratio are matched by name, regardless of case, blanks
and accents; otherwise by position. Everything that is wrong is said at once.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from numbers import Rational, Real
from typing import Any

from breedkit.errors import ModelError, Problem, TableError, did_you_mean, fold, quote
from breedkit.results import listing, ratio_text, show

NOT_SCORED = "not scored"
MOST_PLANTS = 100_000  # in one family
MOST_CLASSES = 100
WIDEST = 1e15  # largest part to smallest
FINEST = 100_000  # a float equal to a fraction with a denominator up to this is that fraction
SHORT = 18  # characters of typed text in a fault, so that its first line stays short

NUMBER = re.compile(r"[-+−–]?\d{1,12}([.,]\d{1,12})?(/\d{1,12})?")


@dataclass(frozen=True)
class Ratio:
    """Expected shares of two or more classes, adding to 1, and the classes' names if given."""

    shares: tuple[Fraction | float, ...]
    names: tuple[str, ...] | None = None

    @property
    def text(self) -> str:
        return show(ratio_text(self.shares))

    @property
    def df(self) -> int:
        """Degrees of freedom: classes that can occur, less one."""
        return sum(s > 0 for s in self.shares) - 1


@dataclass(frozen=True)
class Counts:
    """Plants in each class, the classes' names if given, and the plants not scored."""

    plants: tuple[int, ...]
    names: tuple[str, ...] | None = None
    not_scored: int = 0


@dataclass
class Faults:
    """Gathers what is wrong, to say it all at once."""

    ratio: list[str] = field(default_factory=list)
    counts: list[Problem] = field(default_factory=list)

    def speak_up(self) -> None:
        """Raise TableError if only counts are wrong, ModelError if a ratio is, if any is."""
        if self.ratio:
            lines = [*self.ratio, *map(str, self.counts)]
            if len(lines) > 1:
                marked = ("  " + line.replace("\n", " ") for line in lines)
                lines = [f"{len(lines)} things need mending:", *marked]
            raise ModelError("\n".join(lines))
        if self.counts:
            raise TableError(self.counts)


# --- doors ------------------------------------------------------------------


def read_ratio(ratio: object) -> Ratio:
    """A ratio from text, parts or {class: part}.

    Raises
    ------
    ModelError : with everything that is wrong with it.
    """
    faults = Faults()
    read = _ratio(ratio, faults)
    faults.speak_up()
    return read


def read_rivals(ratio: object, rival: object) -> tuple[Ratio, Ratio]:
    """Two ratios over the same classes, the second in the order of the first."""
    faults = Faults()
    first, second = _ratio(ratio, faults), _ratio(rival, faults)
    if not faults.ratio:
        shares = _arrange(second.shares, second.names, first, "parts in the rival", faults)
        second = Ratio(tuple(shares), first.names)
    faults.speak_up()
    return first, second


def read_family(counts: object, ratio: object) -> tuple[Counts, Ratio]:
    """One family's counts in the order of the ratio, with names for all classes.

    Raises
    ------
    ModelError : the ratio is wrong, or does not match the counts.
    TableError : only counts are wrong.
    """
    faults = Faults()
    read, family = _ratio(ratio, faults), _counts(counts, "counts", faults)
    if read.shares and (family.plants or not faults.counts):
        family = _fit(family, read, "counts", faults)
    faults.speak_up()
    return family, read


def read_families(table: object, ratio: object) -> tuple[dict[str, Counts], Ratio]:
    """Several families' counts: a frame of families x classes, {family: counts} or a list.

    Raises as `read_family` does, with the faults of all families at once.
    """
    faults = Faults()
    read = _ratio(ratio, faults)
    rows: Iterable[tuple[object, object]]
    if hasattr(table, "iterrows"):
        rows = table.iterrows()
    elif isinstance(table, Mapping):
        rows = table.items()
    elif _is_list(table):
        rows = ((i, row) for i, row in enumerate(_listed(table), start=1))
    else:
        rows = ()
    families: dict[str, Counts] = {}
    for label, row in rows:
        name = f"family {label}" if isinstance(label, int) else str(label)
        before = len(faults.counts)
        family = _counts(row, name, faults)
        if read.shares and (family.plants or len(faults.counts) == before):
            family = _fit(family, read, f"counts in {quote(name)}", faults)
        if name in families:
            faults.counts.append(Problem(name, "is there twice"))
        families[name] = family
    if not families:
        faults.counts.append(Problem("table", "holds no families", advice="Give one row a family."))
    faults.speak_up()
    return families, read


# --- parts ------------------------------------------------------------------


def _ratio(ratio: object, faults: Faults) -> Ratio:
    """The ratio; an empty one if it has faults."""
    names, typed = None, []
    if isinstance(ratio, str):
        typed = [part.strip() for part in ratio.split(":")]
    elif hasattr(ratio, "items") and getattr(ratio, "ndim", 1) == 1:
        pairs = list(ratio.items())
        names, typed = tuple(str(name) for name, _ in pairs), [part for _, part in pairs]
    elif _is_list(ratio):
        typed = _listed(ratio)
    found = [] if len(typed) > 1 else [f"{_brief(ratio)} is not a ratio of two or more parts."]
    if len(typed) > MOST_CLASSES:
        found = [f"A ratio of {len(typed)} parts is too long: {MOST_CLASSES} at most."]
    parts: list[Fraction | float] = []
    for part in typed if not found else ():
        value = _part(part)
        if isinstance(value, str):
            found.append(f"The ratio {_brief(ratio)} has a part that {value}: {_brief(part)}.")
        else:
            parts.append(value)
    found += _twice(names or (), "The ratio names class")
    if not found and not any(parts):
        found.append(f"The ratio {_brief(ratio)} has no part above 0.")
    if not found and max(parts) > WIDEST * min(p for p in parts if p):
        found.append(f"The parts of the ratio {_brief(ratio)} are too far apart.")
    if found:
        advice = "Write parts of 0 or more with ':' between them, such as 9:3:3:1."
        faults.ratio += [*found[:-1], f"{found[-1]}\n{advice}"]
        return Ratio(())
    total = sum(parts)
    return Ratio(tuple(part / total for part in parts), names)


def _part(part: object) -> Fraction | float | str:
    """A part of a ratio, or what is wrong with it."""
    if isinstance(part, str):
        if not NUMBER.fullmatch(part.replace(" ", "")):
            return "is not a number"
        sign = -1 if part[0] in "-−–" else 1
        numerator, _, denominator = part.strip("-+−– ").replace(",", ".").partition("/")
        if denominator and not int(denominator):
            return "is divided by 0"
        part = sign * Fraction(numerator.strip()) / int(denominator or 1)
    if isinstance(part, bool) or not isinstance(part, Real):
        return "is not a number"
    if isinstance(part, Rational):
        value: Fraction | float = Fraction(int(part.numerator), int(part.denominator))
    elif not math.isfinite(part):
        return "is not a number"
    else:
        near = Fraction(float(part)).limit_denominator(FINEST)
        value = near if float(near) == float(part) else float(part)
    return "is negative" if value < 0 else value


def _counts(counts: object, source: str, faults: Faults) -> Counts:
    """Counts as typed, with all that is wrong with them added to the faults."""
    names, typed = None, []
    if hasattr(counts, "items") and getattr(counts, "ndim", 1) == 1:
        pairs = list(counts.items())
        names, typed = tuple(str(name) for name, _ in pairs), [value for _, value in pairs]
    elif _is_list(counts) and getattr(counts, "ndim", 1) == 1:
        typed = _listed(counts)
    elif getattr(counts, "ndim", 1) == 2:
        what = "is a table of several families: use heterogeneity_test"
        faults.counts.append(Problem(source, what))
    else:
        advice = "Give a list or {class: count}."
        faults.counts.append(Problem(source, "are not a list of counts", advice=advice))
    values, not_scored, kept = [], 0, []
    for i, value in enumerate(typed):
        name = names[i] if names else f"class {i + 1}"
        whole = _whole(value)
        if isinstance(whole, str):
            found = show(value, SHORT)
            faults.counts.append(Problem(source, whole, column=show(name, SHORT), found=found))
            whole = 0  # so that the number and the names of the classes are still checked
        if names and fold(name) == NOT_SCORED:
            not_scored += whole
        else:
            values.append(whole)
            kept.append(name)
    faults.counts += [Problem(source, text) for text in _twice(names or (), "names class")]
    if sum(values) > MOST_PLANTS:
        what = f"add to {sum(values):,} plants; a family has {MOST_PLANTS:,} at most"
        faults.counts.append(Problem(source, what))
    return Counts(tuple(values), tuple(kept) if names else None, not_scored)


def _whole(value: object) -> int | str:
    """A number of plants, or what is wrong with it."""
    if str(value).strip() in ("", "None", "nan", "<NA>", "NaT"):
        return "is missing: write 0 where no plant was seen"
    if isinstance(value, bool) or not isinstance(value, Real):
        return "is not a number of plants"
    number = float(value)
    if not number.is_integer():
        return "is not a whole number of plants"
    return int(number) if number >= 0 else "is negative, which plants cannot be"


def _fit(family: Counts, ratio: Ratio, what: str, faults: Faults) -> Counts:
    """The counts in the order of the ratio, all classes named."""
    plants = _arrange(family.plants, family.names, ratio, what, faults)
    names = ratio.names or family.names or tuple(f"class {i + 1}" for i in range(len(plants)))
    return Counts(tuple(plants), names, family.not_scored)


def _arrange(
    values: Sequence[Any], names: Sequence[str] | None, ratio: Ratio, what: str, faults: Faults
) -> list[Any]:
    """Values by the classes of the ratio: by name where both have names, else by position."""
    if names is None or ratio.names is None:
        if len(values) != len(ratio.shares):
            faults.ratio.append(
                f"There are {len(values)} {what}, but {len(ratio.shares)} parts in the ratio."
            )
        return list(values)
    place = {fold(name): i for i, name in enumerate(ratio.names)}
    placed: list[Any] = [0] * len(place)
    for name, value in zip(names, values, strict=True):
        if fold(name) in place:
            placed[place[fold(name)]] = value
            continue
        near = did_you_mean(name, ratio.names)
        hint = f" Did you mean {_brief(near)}?" if near else ""
        known = listing([quote(known) for known in ratio.names])
        faults.ratio.append(f"The ratio has no class {_brief(name)}.{hint}\nIt has {known}.")
    return placed


def _twice(names: Iterable[str], start: str) -> list[str]:
    seen: set[str] = set()
    found = []
    for name in names:
        if fold(name) in seen:
            found.append(f"{start} {_brief(name)} twice")
        seen.add(fold(name))
    return found


def _is_list(value: object) -> bool:
    """A list, tuple or array, but not text, which is a sequence too."""
    return not isinstance(value, str | bytes) and (
        isinstance(value, Sequence) or hasattr(value, "tolist")
    )


def _listed(value: Any) -> list[Any]:
    """Items as plain Python numbers where they were an array's."""
    items = value.tolist() if hasattr(value, "tolist") else list(value)
    return items if isinstance(items, list) else [items]


def _brief(value: object) -> str:
    return quote(show(value, SHORT))
