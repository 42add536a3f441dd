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
from typing import TYPE_CHECKING

from breedkit.errors import PedigreeError, fold, quote
from breedkit.families import PARENT_WORDS
from breedkit.parsing import MOST_DOSES, MOST_GENERATIONS, PLAIN, TIMES, parse_pedigree
from breedkit.pedigree import Chosen, Cross, Founder, Intermating, Plan, Selfing, Sibmating
from breedkit.spelling import TOKENS

if TYPE_CHECKING:
    import pandas as pd

MOST_NAMES = 1000  # a pedigree that names more parents is no line of text


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
    plain = PLAIN.fullmatch(name) and " ".join(name.split()) == name
    if plain and not re.fullmatch("[0-9]+", name) and not TIMES.search(name):
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
