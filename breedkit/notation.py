"""Pedigrees as one line of text, after Purdy and others 1968, and back into parentage.

    A/B              A crossed with B; the female stands on the left
    A/B//C           the second cross; /3/ is the third, /4/ the fourth, and so on
    A/B//C/D         the highest mark is the last cross made; each side is read alike
    A*2/B            A crossed with B, A crossed with that: A is in it twice (dosage 2)
    B/2*A            the same with A as the male; * stands beside the parent that recurs

A cross has the next number after the higher of its two sides. This is the standard as it is
remembered, not as it was looked up: Purdy, Loegering, Konzak, Peterson and Allan 1968, A
proposed standard method for illustrating pedigrees of small grain varieties, Crop Science
8:405. It tells the crosses alone. What a register knows beside them is added in a way of our
own, behind brackets: (A/B)F3 is the F3 of a cross, (A)S1 a line selfed once, (A/B)F2#"17" the
plant 17 of the F2, (A/B)F2#"17"F3 the F3 line from it, (A/B)F2op and (A/B)F2sib what its
plants gave by open pollination and as pairs of sibs; #="red" stands for the red plants.

A name with a character of / * ( ) " # = × in it, of digits alone, or with odd blanks stands
in quotation marks, which are doubled within it; so any name can be written and read back.
"""

from __future__ import annotations

import re
import unicodedata
from typing import TYPE_CHECKING, NamedTuple

from breedkit.errors import PedigreeError, fold, quote
from breedkit.families import PARENT_WORDS
from breedkit.pedigree import Chosen, Cross, Founder, Intermating, Plan, Selfing, Sibmating
from breedkit.spelling import TOKENS

if TYPE_CHECKING:
    import pandas as pd

MOST_DOSES = 30
MOST_BRACKETS = 50  # within each other
MOST_GENERATIONS = 100  # one after the other, from the founders
MOST_NAMES = 1000  # a pedigree that names more parents is no line of text
_MOST_FAULTS = 10  # that an error shows
_WIDE = 76  # columns of the user's own string that an error shows

_MARK = re.compile(r"/\s*([0-9]+)\s*/|/+")
_BEFORE = re.compile(r"([0-9]+)\s*\*\s*")
_AFTER = re.compile(r"\s*\*\s*([0-9]*)")
_TWO_WAYS = re.compile(r"[0-9]+\s*\*\s*[0-9]+\s*(?=[/)]|$)")
_QUOTED = re.compile(r'"((?:[^"]|"")*)"')
_PLAIN = re.compile(r'[^/*()"#=\s][^/*()"#=]*')
_TIMES = re.compile(r"×|\s[xX]\s")
_STEP = re.compile(
    r'\s*(?:([FS])([0-9]+)|(open|op|sib)|(#)(?:"((?:[^"]|"")*)")?(?:="((?:[^"]|"")*)")?)', re.I
)


class _Fault(NamedTuple):
    """What is wrong from one place of the text to another."""

    start: int
    end: int
    what: str


class _Item(NamedTuple):
    """A parent as it stands in the text: a name or a bracket, and its dosage."""

    plan: Plan
    deep: int  # generations from the founders
    start: int
    end: int
    doses: int = 1
    beside: int = -1  # the place of the mark that the dosage stands beside
    dosed: int = 0  # where the dosage stands in the text


class _Mark(NamedTuple):
    """The slashes of a cross: which cross it is, and which mark of its bracket."""

    number: int
    place: int
    start: int
    end: int


# --- reading --------------------------------------------------------------------


def parse_pedigree(text: str) -> Plan:
    """The parentage that a pedigree tells.

    Parameters
    ----------
    text : such as 'A/B//C', 'A*2/B', 'B/2*A', '(A/B)F3/C'. Blanks beside the marks, `///` or
        `/1/`, brackets around any cross, and marks that leave out a number are understood.

    Returns
    -------
    Plan
        A tree of founders, crosses and selfings (`breedkit.pedigree`).

    Raises
    ------
    PedigreeError
        with every place of `text` that cannot be read marked below it.
    """
    if not isinstance(text, str):
        raise PedigreeError(f"A pedigree is a text such as 'A/B//C'; {quote(text)} is not.")
    reader = _Reader(text)
    item = reader.cross(0)
    if reader.at < len(text) and not reader.faults:
        reader.fault(reader.at, reader.at + 1, "this bracket was not opened")
    if reader.faults:
        raise PedigreeError(_marked(text, sorted(set(reader.faults))))
    return item.plan


class _Reader:
    """Goes through a text from left to right, and notes what is wrong with it."""

    def __init__(self, text: str):
        self.text = text
        self.at = 0
        self.faults: list[_Fault] = []

    def fault(self, start: int, end: int, what: str) -> None:
        self.faults.append(_Fault(start, end, what))

    def taken(self, pattern: re.Pattern[str]) -> re.Match[str] | None:
        found = pattern.match(self.text, self.at)
        if found:
            self.at = found.end()
        return found

    def blanks(self) -> None:
        while self.text[self.at : self.at + 1].isspace():
            self.at += 1

    def cross(self, brackets: int) -> _Item:
        """All crosses up to the end of the text or of the bracket."""
        start = self.at
        items: list[_Item] = []
        marks: list[_Mark] = []
        while True:
            items.append(self.item(brackets, len(marks)))
            self.blanks()
            if not (mark := self.taken(_MARK)):
                break
            number = int(mark[1][:9]) if mark[1] else len(mark[0])
            if not 1 <= number <= MOST_GENERATIONS:
                self.fault(*mark.span(), f"crosses are numbered from 1 to {MOST_GENERATIONS}")
                number = 1
            marks.append(_Mark(number, len(marks), *mark.span()))
        plan, deep = self.joined(items, marks)
        return _Item(plan, deep, start, self.at)

    def item(self, brackets: int, left: int) -> _Item:
        """One parent with its dosage; `left` marks stand before it."""
        self.blanks()
        begin, doses, beside = self.at, 1, max(left - 1, 0)
        if both := _TWO_WAYS.match(self.text, begin):
            self.fault(*both.span(), "which is the name? Put it in quotation marks")
        if before := self.taken(_BEFORE):
            doses = self.dose(before[1], begin)
        parent = self.parent(brackets)
        here = self.at
        if after := self.taken(_AFTER):
            if before:
                self.fault(begin, self.at, "this parent has two dosages")
            doses, begin = self.dose(after[1], here), here
            self.blanks()
            if self.text[self.at : self.at + 1] == "/":
                beside = left
        return parent._replace(doses=doses, beside=beside, dosed=begin)

    def dose(self, digits: str, start: int) -> int:
        if digits and 1 <= int(digits[:9]) <= MOST_DOSES:
            return int(digits)
        self.fault(start, self.at, f"a dosage is a number from 1 to {MOST_DOSES}: A*2/B or B/2*A")
        return 1

    def parent(self, brackets: int) -> _Item:
        """A name, or a bracket and what was done with the plants of it."""
        text, start = self.text, self.at
        sign = text[start : start + 1]
        found = _Item(Founder(""), 0, start, start)
        if sign == "(" and brackets < MOST_BRACKETS:
            self.at += 1
            inside = self.cross(brackets + 1)
            if self.text[self.at : self.at + 1] == ")":
                self.at += 1
            else:
                self.fault(start, start + 1, "this bracket is not closed")
            found = self.steps(inside)
        elif quoted := self.taken(_QUOTED):
            found = _Item(Founder(quoted[1].replace('""', '"')), 0, start, self.at)
        elif plain := self.taken(_PLAIN):
            if times := _TIMES.search(plain[0]):
                what = "write / for a cross; a name with × needs quotation marks"
                self.fault(start + times.start(), start + times.end(), what)
            found = _Item(Founder(" ".join(plain[0].split())), 0, start, self.at)
        elif sign in ("", "/", "*", ")"):
            self.fault(start, start + 1, "a parent is missing here")
        elif sign == '"':
            self.fault(start, start + 1, "this quotation mark is not closed")
            self.at = len(text)
        self.blanks()
        stray = self.at
        inner = 0
        while self.at < len(text) and text[self.at] not in ("/*" if inner else "/*)"):
            inner += (text[self.at] == "(") - (text[self.at] == ")")
            self.at += 1
        if stray < self.at:
            what = "a slash is missing here, or quotation marks around a name"
            self.fault(stray, self.at, what)
        return found

    def steps(self, item: _Item) -> _Item:
        """Selfings, plants taken out, and other matings, as written behind a bracket."""
        plan, deep = item.plan, item.deep
        first = isinstance(plan, Cross)  # then F2 is the first selfing
        done = 0
        while step := self.taken(_STEP):
            kind, number, mating, _, code, look = step.groups()
            if kind:
                more = int(number[:9]) - (kind in "Ff") - done
                if kind in "Ff" and not first:
                    self.fault(*step.span(), "F2 is said of a cross; write S1 for a selfing")
                elif not 0 < more <= MOST_GENERATIONS - deep:
                    self.fault(*step.span(), "this is no later generation")
                else:
                    done, deep = done + more, deep + more
                    for _ in range(more):
                        plan = Selfing(plan)
            elif mating:
                plan = Sibmating(plan) if mating.lower() == "sib" else Intermating(plan)
                first, done, deep = False, 0, deep + 1
            else:
                code, look = (c and c.replace('""', '"') for c in (code, look))
                plan, deep = Chosen(plan, look, code), deep + 1
        if deep > MOST_GENERATIONS:
            self.fault(item.start, self.at, f"more than {MOST_GENERATIONS} generations")
        return _Item(plan, deep, item.start, self.at)

    def joined(self, items: list[_Item], marks: list[_Mark], beside: int = -1) -> tuple[Plan, int]:
        """The parentage of items with marks between them, and how many generations it has.

        `beside` is the place of the mark that they are one side of.
        """
        if not marks:
            (item,) = items
            if item.doses > 1 and item.beside != beside:
                what = "a dosage stands beside the slash of its own cross: A*2/B or B/2*A"
                self.fault(item.dosed, item.dosed + 1, what)
            return item.plan, item.deep
        last = max(m.number for m in marks)
        places = [k for k, m in enumerate(marks) if m.number == last]
        starts, ends = [0, *(k + 1 for k in places)], [*places, len(marks)]
        sides = [
            self.joined(items[a : b + 1], marks[a:b], marks[min(b, places[-1])].place)
            for a, b in zip(starts, ends, strict=True)
        ]
        if len(places) > 1:
            what = f"which came later? That cross is {'//' if last == 1 else f'/{last + 1}/'}"
            for k in places[1:]:
                self.fault(marks[k].start, marks[k].end, what)
            return sides[0]
        (female, before), (male, beyond) = sides
        at, left, right = places[0], items[: places[0] + 1], items[places[0] + 1 :]
        doses, recurs = left[0].doses if at == 0 else 1, right[0].doses if len(right) == 1 else 1
        deep = max(before, beyond) + max(doses, recurs)
        if min(doses, recurs) > 1:
            self.fault(right[0].dosed, right[0].dosed + 1, "only one of two parents can recur")
        elif deep > MOST_GENERATIONS:
            self.fault(marks[at].start, marks[at].end, f"more than {MOST_GENERATIONS} generations")
        else:
            plan = male if doses > 1 else female
            for _ in range(max(doses, recurs)):
                plan = Cross(female, plan) if doses > 1 else Cross(plan, male)
            return plan, deep
        return Cross(female, male), 1


def _marked(text: str, faults: list[_Fault]) -> str:
    """The faults in words, each with the place in the user's own text underlined."""
    if len(faults) == 1:
        lines = [f"Pedigree, character {faults[0].start + 1}: {faults[0].what}."]
    else:
        some = f"; the first {_MOST_FAULTS} are" if len(faults) > _MOST_FAULTS else ""
        lines = [f"This pedigree cannot be read in {len(faults):,} places{some}:"]
    for fault in faults[:_MOST_FAULTS]:
        if len(faults) > 1:
            lines.append(f"Character {fault.start + 1}: {fault.what}.")
        lines += _underlined(text, fault)
    return "\n".join(lines)


def _underlined(text: str, fault: _Fault) -> tuple[str, str]:
    """The text around a fault, on one line, and carets below it."""
    start = max(min(fault.start - _WIDE // 2, len(text) - _WIDE), 0)
    part = text[start : start + _WIDE]
    # What has no width of its own, or turns the line around, would shift the carets.
    shown = ["·" if unicodedata.category(c)[0] in "CM" or (c.isspace() and c != " ") else c
             for c in part]  # fmt: skip
    wide = [1 + (unicodedata.east_asian_width(c) in "WF") for c in shown]
    first, last = fault.start - start, max(fault.end, fault.start + 1) - start
    more = "…" if start else ""
    gap = len(more) + sum(wide[:first])
    carets = max(sum(wide[first:last]), 1)
    line = more + "".join(shown) + "…" * (start + _WIDE < len(text))
    return f"  {line}", " " * (2 + gap) + "^" * carets


# --- writing --------------------------------------------------------------------


def format_pedigree(parentage: Plan | str, crosses_only: bool = False) -> str:
    """A pedigree as one line of text, which `parse_pedigree` reads back.

    Parameters
    ----------
    parentage : a tree of parentage, or a pedigree written in another way.
    crosses_only : leave out selfings, plants taken out and other matings, as the standard
        does.

    Raises
    ------
    PedigreeError
        if `parentage` is a text that cannot be read, or would need more than 1,000 names
        or 100 generations.
    """
    plan = parse_pedigree(parentage) if isinstance(parentage, str) else parentage
    names, deep = _size(plan, crosses_only, {}, 0)
    if names > MOST_NAMES or deep > MOST_GENERATIONS:
        raise PedigreeError(
            "This parentage is too long for a line of text.\n"
            f"It may have {MOST_NAMES:,} names and {MOST_GENERATIONS} generations at most. "
            "Begin with a later line."
        )
    return _written(_crosses(plan) if crosses_only else plan)[0]


def _size(
    plan: Plan, crosses_only: bool, known: dict[int, tuple[int, int]], level: int
) -> tuple[int, int]:
    """How many names and generations a parentage has; beyond the most it is enough to say so."""
    plan = _last_cross(plan) if crosses_only else plan
    if isinstance(plan, Founder):
        return 1, 0
    if level > MOST_GENERATIONS:
        return MOST_NAMES + 1, MOST_GENERATIONS + 1
    if id(plan) not in known:
        sides = (plan.female, plan.male) if isinstance(plan, Cross) else (plan.parent,)
        sizes = [_size(side, crosses_only, known, level + 1) for side in sides]
        known[id(plan)] = sum(n for n, _ in sizes), 1 + max(deep for _, deep in sizes)
    return known[id(plan)]


def _crosses(plan: Plan) -> Plan:
    """The crosses of a parentage alone."""
    plan = _last_cross(plan)
    return Cross(_crosses(plan.female), _crosses(plan.male)) if isinstance(plan, Cross) else plan


def _last_cross(plan: Plan) -> Cross | Founder:
    """The last cross of a line, or the founder it comes from."""
    while not isinstance(plan, Founder | Cross):
        plan = plan.parent
    return plan


def _written(plan: Plan) -> tuple[str, int]:
    """The text, and the number of its last cross outside brackets (0 if there is none)."""
    match plan:
        case Founder(name):
            return _name(name), 0
        case Cross(female, male):
            for again, left in ((female, True), (male, False)):
                times, rest = _doses(plan, again, left)
                if times > 1:
                    (one, _), (other, crosses) = _written(again), _written(rest)
                    mark = _mark(crosses + 1)
                    text = f"{one}*{times}{mark}{other}" if left else f"{other}{mark}{times}*{one}"
                    return text, crosses + 1
            (one, before), (other, beyond) = _written(female), _written(male)
            crosses = max(before, beyond) + 1
            return f"{one}{_mark(crosses)}{other}", crosses
        case _:
            return _steps(plan), 0


def _doses(plan: Plan, again: Plan, female: bool) -> tuple[int, Plan]:
    """How often a parent without crosses comes in on one side, and what it began with."""
    times = 0
    while isinstance(plan, Cross) and not isinstance(again, Cross) and times < MOST_DOSES:
        side, other = (plan.female, plan.male) if female else (plan.male, plan.female)
        if side != again:
            break
        times, plan = times + 1, other
    return times, plan


def _mark(number: int) -> str:
    return "/" * number if number < 3 else f"/{number}/"


def _name(name: str) -> str:
    plain = _PLAIN.fullmatch(name) and " ".join(name.split()) == name
    if plain and not re.fullmatch("[0-9]+", name) and not _TIMES.search(name):
        return name
    return _in_quotes(name)


def _in_quotes(text: str) -> str:
    return '"' + text.replace('"', '""') + '"'


def _steps(plan: Plan) -> str:
    """A bracket, and behind it what was done with the plants of it."""
    steps: list[Plan] = []
    while not isinstance(plan, Founder | Cross):
        steps.append(plan)
        plan = plan.parent
    text, first, done = f"({_written(plan)[0]})", isinstance(plan, Cross), 0
    for at, step in enumerate(steps[::-1], start=1):
        match step:
            case Selfing():
                done += 1
                if at == len(steps) or not isinstance(steps[-at - 1], Selfing):
                    text += f"F{done + 1}" if first else f"S{done}"
            case Chosen(_, look, plant):
                text += "#" + (_in_quotes(plant) if plant is not None else "")
                text += "=" + _in_quotes(look) if look is not None else ""
            case _:
                text += "sib" if isinstance(step, Sibmating) else "op"
                first, done = False, 0
    return text


# --- as rows of a register --------------------------------------------------------


def pedigree_register(parentage: Plan | str) -> pd.DataFrame:
    """The rows of a family register that tell a pedigree, parents above their offspring.

    Parameters
    ----------
    parentage : a pedigree, or a tree of parentage.

    Returns
    -------
    frame
        family, female, male. A founder has no parents; a cross, a selfing or an open
        pollination is called by its own pedigree, to be renamed at will. A single plant
        stands as a parent by its code.

    Raises
    ------
    PedigreeError
        if the pedigree cannot be read, if a register would take two names for one, or a
        name for something else.
    """
    import pandas as pd

    plan = parse_pedigree(parentage) if isinstance(parentage, str) else parentage
    format_pedigree(plan)  # refuses what is too long
    rows: dict[str, tuple[str, str]] = {}
    called: dict[str, str] = {}

    def row(plan: Plan) -> str:
        """The name under which a parent stands in the register."""
        if isinstance(plan, Chosen):
            home = row(plan.parent)
            return home if plan.plant is None else plan.plant
        name = plan.name if isinstance(plan, Founder) else _written(plan)[0]
        if name in rows:
            return name
        word = fold(name)
        if word in TOKENS or word in PARENT_WORDS:
            raise PedigreeError(f"In a register {quote(name)} means something else: rename it.")
        if word in called:
            names = f"{quote(called[word])} and {quote(name)}"
            raise PedigreeError(f"A register takes these for one: {names}.\nRename one of them.")
        match plan:
            case Founder():
                sides = ("", "")
            case Cross(female, male):
                sides = (row(female), row(male))
            case Selfing(parent):
                sides = (row(parent), "selfed")
            case Intermating(parent):
                sides = (row(parent), "open")
            case _:
                raise PedigreeError("Pairs of sibs stand in a register as single plants.")
        rows[name], called[word] = sides, name
        return name

    row(plan)
    table = [(name, *sides) for name, sides in rows.items()]
    return pd.DataFrame(table, columns=["family", "female", "male"], dtype=str)
