"""A pedigree written as text is taken apart into parentage, and its faults are marked in it.

The text is gone through once from left to right: parents and marks by turns, a bracket
being a parent with a text of its own (`breedkit.notation` states the rules). The highest
mark of a text is its last cross; what stands on its left is the female, on its right the
male, and each is taken apart in the same way. A dosage stands beside the mark of its own
cross, where its parent is alone on that side; anywhere else it is not guessed at.

Reading goes on after a fault, so that all of them are said together, each with the user's
own text and carets below the place.
"""

from __future__ import annotations

import re
import unicodedata
from typing import NamedTuple

from breedkit.errors import PedigreeError, quote
from breedkit.pedigree import Chosen, Cross, Founder, Intermating, Plan, Selfing, Sibmating

MOST_DOSES = 30
MOST_BRACKETS = 50  # within each other
MOST_GENERATIONS = 100  # one after the other, from the founders
_MOST_FAULTS = 10  # that an error shows
_WIDE = 76  # columns of the user's own string that an error shows

_MARK = re.compile(r"/\s*([0-9]+)\s*/|/+")
_BEFORE = re.compile(r"([0-9]+)\s*\*\s*")
_AFTER = re.compile(r"\s*\*\s*([0-9]*)")
_TWO_WAYS = re.compile(r"[0-9]+\s*\*\s*[0-9]+\s*(?=[/)]|$)")
_QUOTED = re.compile(r'"((?:[^"]|"")*)"')
PLAIN = re.compile(r'[^/*()"#=\s][^/*()"#=]*')
TIMES = re.compile(r"×|\s[xX]\s")
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
        elif plain := self.taken(PLAIN):
            if times := TIMES.search(plain[0]):
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
