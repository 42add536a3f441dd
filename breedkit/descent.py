"""What contradicts itself in a family register, each thing with the way that leads to it.

A register is a graph: a line from each family to the families that its parents are or stand
in. Nothing may come back to itself (the strongly connected components tell, Tarjan 1972); a
parent must have been sown by the season of the cross, and if nobody noted when it was, then
its own parents must; rows of one family must name the same parents; and a generation that is
typed, in a family's name or in a column `generation`, must be the one its parents make.

A generation counts from the last cross. Without a recorded cross there is none to contradict:
a founder may have been a bought hybrid, and whoever calls its selfed offspring F2 is right.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from datetime import date
from typing import NamedTuple

from breedkit.errors import fold, quote
from breedkit.pedigree import (
    Cross,
    Founder,
    Intermating,
    Plan,
    Selfing,
    Sibmating,
    generation,
    mates_sibs,
    recurrent_parent,
)
from breedkit.spelling import tidy

MATINGS = ("selfed", "open")  # stand where a parent would, also if a family is called so
LONGEST_WAY = 8  # families that a way names
_ISO = re.compile(r"([0-9]{4})-([0-9]{1,2})-([0-9]{1,2})\b")
_DAY_FIRST = re.compile(r"([0-9]{1,2})\.\s?([0-9]{1,2})\.\s?([0-9]{4})\b")
_YEAR = re.compile(r"(?<![0-9])(1[5-9]|2[0-9])[0-9]{2}(?![0-9])")
_BACK = r"bc([0-9]*)(?:\([^)]*\)|p[0-9]+)?"
_LINE = r"f([0-9]{1,2})(?::([0-9]{1,2}))?"
_TYPED = re.compile(rf"(?<![a-z0-9])(?:{_BACK}(?:{_LINE})?|{_LINE})(?![a-z0-9])", re.I)
_WORDS = {  # ways to type a generation that has no number
    "three-way": {"three way", "3 way", "three way cross", "3 way cross"},
    "double cross": {"double cross", "four way", "4 way", "four way cross", "4 way cross"},
    "testcross": {"testcross", "test cross", "tc"},
    "P": {"p", "parent", "founder"},
}


class Entry(NamedTuple):
    """A row of the register: its number, and the parents as they are spelled elsewhere."""

    row: int
    female: str
    male: str
    season: str = ""
    sown: str = ""


class Register(NamedTuple):
    """The rows that count, by family; and the family of each parent that is a single plant."""

    entries: Mapping[str, Entry]
    homes: Mapping[str, str]

    def parents(self, family: str) -> list[str]:
        """The parents of a family that have a row, or are plants of a family that has one."""
        entry = self.entries.get(family)
        named = [] if entry is None else dict.fromkeys((entry.female, entry.male))
        return [p for p in named if p not in MATINGS and self.home(p) in self.entries]

    def home(self, parent: str) -> str:
        """The family that a parent is or stands in."""
        return parent if parent in self.entries else self.homes.get(parent, parent)

    def step(self, family: str, parent: str) -> str:
        """'F1' (row 4) from plant 'K7' of 'F2'."""
        home = self.home(parent)
        source = quote(parent) if home == parent else f"plant {quote(parent)} of {quote(home)}"
        return f"{quote(family)} (row {self.entries[family].row}) from {source}"

    def way(self, steps: list[tuple[str, str]]) -> str:
        """Steps from a family to a parent, as a clause."""
        more = ", …" if len(steps) > LONGEST_WAY else ""
        return ", ".join(self.step(*step) for step in steps[:LONGEST_WAY]) + more


# --- nothing comes back to itself ------------------------------------------------------


def circles(register: Register) -> dict[str, str]:
    """Family -> the way from it back to itself, for the families that descend from themselves."""
    found = {}
    for group in _connected(register):
        ring = set(group)
        way = ""
        for family in group:
            if len(group) == 1 and family not in map(register.home, register.parents(family)):
                continue
            if not way or len(group) <= LONGEST_WAY:  # else one circle stands for all
                steps = _back(register, family, ring)
                way = f"The circle: {register.way(steps)}."
                plants = [p for _, p in steps if register.home(p) != p]
                if plants:
                    way += f" Plant {quote(plants[0])} would be its own ancestor."
            found[family] = f"{way} Mend the row that is wrong."
    return {family: found[family] for family in register.entries if family in found}


def _connected(register: Register) -> Iterator[list[str]]:
    """The groups of families each of which descends from each other."""
    number: dict[str, int] = {}
    low: dict[str, int] = {}
    open_: dict[str, None] = {}
    for start in register.entries:
        ahead: list[tuple[str, Iterator[str]]] = [] if start in number else [(start, iter(()))]
        while ahead:
            family, parents = ahead[-1]
            if family not in number:
                number[family] = low[family] = len(number)
                open_[family] = None
                parents = iter([register.home(p) for p in register.parents(family)])
                ahead[-1] = family, parents
            for parent in parents:
                if parent not in number:
                    ahead.append((parent, iter(())))
                    break
                if parent in open_:
                    low[family] = min(low[family], low[parent])
            else:
                ahead.pop()
                if ahead:
                    low[ahead[-1][0]] = min(low[ahead[-1][0]], low[family])
                if low[family] == number[family]:
                    group: list[str] = []
                    while not group or group[-1] != family:
                        group.append(open_.popitem()[0])
                    yield group[::-1]


def _back(register: Register, family: str, ring: set[str]) -> list[tuple[str, str]]:
    """The shortest way from a family back to itself within a group, as (family, parent)."""
    ways: dict[str, list[tuple[str, str]]] = {family: []}
    for child in (queue := [family]):
        for parent in register.parents(child):
            home, way = register.home(parent), [*ways[child], (child, parent)]
            if home == family:
                return way
            if home in ring and home not in ways:
                ways[home] = way
                queue.append(home)
    return []


# --- a parent is sown before its offspring ---------------------------------------------


class _Time(NamedTuple):
    """When a family was sown, as far as that was noted: a day, a year, a season by number."""

    day: date | None
    sown: int | None
    season: int | None
    words: str

    @classmethod
    def of(cls, entry: Entry) -> _Time:
        day = _day(entry.sown)
        sown = day.year if day else _year(entry.sown)
        words = f"sown {entry.sown}" if sown else f"season {entry.season}"
        return cls(day, sown, _year(entry.season), words)

    @property
    def first(self) -> int | None:
        return self.season if self.sown is None else self.sown

    def after(self, other: _Time) -> bool:
        """Whether it was sown after the season of a cross, or after its offspring."""
        if self.day and other.day and self.day > other.day:
            return True
        years = [y for y in (other.season, other.sown) if _comparable(self.first, y)]
        return bool(years) and self.first > min(years)  # type: ignore[operator, type-var]


def _comparable(one: int | None, other: int | None) -> bool:
    """Whether both are years, or both seasons counted from the first."""
    return one is not None and other is not None and (one < 1000) == (other < 1000)


def _day(text: str) -> date | None:
    iso, local = _ISO.search(text), _DAY_FIRST.search(text)
    parts = iso.groups() if iso else local.groups()[::-1] if local else None
    try:
        return date(*map(int, parts)) if parts else None
    except ValueError:  # no such day
        return None


def _year(text: str) -> int | None:
    year = _YEAR.search(text)
    if year:
        return int(year[0])
    return int(text) if re.fullmatch("[0-9]{1,3}", text.strip()) else None


def unsown(register: Register) -> Iterator[tuple[str, str, str]]:
    """(family, parent, the way to whoever was sown too late), for each parent of each family."""
    times = {family: _Time.of(entry) for family, entry in register.entries.items()}
    for family, entry in register.entries.items():
        if times[family].first is None:
            continue
        for parent in register.parents(family):
            steps = _too_late(register, times, family, parent)
            if steps:
                late = register.home(steps[-1][1])
                row = register.entries[late].row
                says = f"{quote(late)} (row {row}): {times[late].words}"
                own = f"{quote(family)} (row {entry.row}): {times[family].words}"
                way = f" The way: {register.way(steps)}." if len(steps) > 1 else ""
                yield family, parent, f"{own}; {says}.{way} Mend the date or the parent."


def _too_late(
    register: Register, times: Mapping[str, _Time], family: str, parent: str
) -> list[tuple[str, str]]:
    """The steps to a parent sown too late; through those of which no time is noted."""
    ahead = [[(family, parent)]]
    seen = {family}
    while ahead:
        steps = ahead.pop()
        home = register.home(steps[-1][1])
        if home in seen:
            continue
        seen.add(home)
        if times[home].after(times[family]):
            return steps
        if times[home].first is None:
            ahead += [[*steps, (home, p)] for p in register.parents(home)]
    return []


# --- a typed generation is the one that the parents make --------------------------------


class Mistaken(NamedTuple):
    """A typed generation that the parents contradict."""

    family: str
    in_name: bool  # else in the column `generation`
    makes: str  # what the parents make it
    way: str  # from the family to its last cross, in words


def mistaken(
    register: Register, plans: Mapping[str, Plan], typed: Mapping[str, str]
) -> Iterator[Mistaken]:
    """The generations that are typed and not what the parents make.

    Parameters
    ----------
    plans : the parentage of the families that can be followed.
    typed : family -> what stands in the column `generation`, if there is one.
    """
    recorded: dict[str, bool] = {}
    for family, plan in plans.items():
        if family not in register.entries or not _recorded(register, plans, family, recorded):
            continue
        named = [m[0] for m in _TYPED.finditer(family) if re.search("[0-9]", m[0])]
        cell = typed.get(family, "")
        for said, in_name in ((named, True), ([cell] if cell else [], False)):
            if said and _crossed(plan) and not any(agrees(s, plan) is not False for s in said):
                back = recurrent_parent(plan)
                makes = generation(plan) + (f" to {quote(back)}" if back else "")
                yield Mistaken(family, in_name, makes, _to_cross(register, family))


def _word(typed: str) -> str:
    """A typed generation as it is compared, without what says no number of generations."""
    word = fold(typed).replace("-", " ")
    return tidy(re.sub(r"\b(reciprocal|(open|op)( pollinated)?|sib)\b", " ", word))


def is_generation(typed: str) -> bool:
    """Whether a cell of a column `generation` can be compared with the parents."""
    word = _word(typed)
    known = any(word in words for words in _WORDS.values())
    return known or not word or _TYPED.fullmatch(word.replace(" ", "")) is not None


def agrees(typed: str, plan: Plan) -> bool | None:
    """Whether a generation as typed may be what the parents make; None if it says nothing."""
    word = _word(typed)
    cross, last, matings = _since_cross(plan)
    name = generation(cross)
    for kind, words in _WORDS.items():
        if word in words:
            return kind == name or (kind == "testcross" and name.startswith("BC"))
    found = _TYPED.fullmatch(word.replace(" ", ""))
    if found is None:
        return None
    back, start, end, other_start, other_end = found.groups()
    back_said, back_is = back is not None, name.startswith("BC")
    first, later = start or other_start, end or other_end
    if back_said != back_is or (back and f"BC{int(back)}" != name):
        return False
    if first is None:
        return last == 1
    line = re.search(r"F([0-9]+):", generation(plan))
    if later and line and int(line[1]) != int(first):
        return False
    return last <= int(later or first) <= last + matings


def _crossed(plan: Plan) -> bool:
    return not isinstance(_since_cross(plan)[0], Founder)


def _since_cross(plan: Plan) -> tuple[Plan, int, int]:
    """The last cross (or the founder), the F number since, and the matings within families."""
    selfed, matings = 0, 0
    while not isinstance(plan, Founder):
        if isinstance(plan, Cross):
            if not mates_sibs(plan):
                break
            matings, plan = matings + 1, plan.female
            continue
        selfed += isinstance(plan, Selfing)
        matings += isinstance(plan, Intermating | Sibmating)
        plan = plan.parent
    return plan, selfed + 1, matings


def _recorded(
    register: Register, plans: Mapping[str, Plan], family: str, known: dict[str, bool]
) -> bool:
    """Whether all who have no parents are founders, not families called 'F2' or the like."""
    ahead = [family]
    while ahead:
        name = ahead[-1]
        parents = {register.home(p) for p in register.parents(name)}
        more = parents - known.keys()
        if more and name not in known:
            known[name] = True
            ahead += more
            continue
        ahead.pop()
        known[name] = (bool(parents) or isinstance(plans.get(name), Founder)) and all(
            known[p] for p in parents
        )
    return known[family]


def _to_cross(register: Register, family: str) -> str:
    """From a family to its last cross, in words."""
    steps = []
    for _ in range(LONGEST_WAY):
        row, female, male = register.entries[family][:3]
        sides = f"{quote(female)} by {quote(male)}"
        for word, parent in ((male, female), (female, male)):
            if word in MATINGS:
                sides = f"{quote(parent)} {word}"
        steps.append(f"{quote(family)} (row {row}) is {sides}")
        homes = {register.home(p) for p in register.parents(family)}
        if len(homes) != 1:
            break
        (family,) = homes
    return "; ".join(steps)
