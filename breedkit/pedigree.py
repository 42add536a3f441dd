"""Who came from whom: how families arise, and what the trade calls them. No genes.

A family's parentage is a tree of frozen nodes: founders at the leaves, crosses,
selfings and matings above them. `generation` gives the trade's name for it: F1, F2,
F2:3 (a line from one F2 plant, as F3), BC1, BC2F3, three-way, double cross, testcross.
Plants that were taken out of a family stand in the tree as `Chosen`, one by one or all
of one look. Trees are read by `breedkit.families`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

TESTER = "tester"  # the founder that is recessive at every locus


@dataclass(frozen=True)
class Founder:
    """A plant or line whose parents are not recorded."""

    name: str


@dataclass(frozen=True)
class Cross:
    female: Plan
    male: Plan


@dataclass(frozen=True)
class Selfing:
    parent: Plan


@dataclass(frozen=True)
class Intermating:
    """Open pollination among the plants of one family."""

    parent: Plan


@dataclass(frozen=True)
class Sibmating:
    """Pairs of sibs of one family mated, their offspring pooled."""

    parent: Plan


@dataclass(frozen=True)
class Chosen:
    """Plants taken out of a family: all of one look, or a single `plant`.

    `look` is the class they show, or None where nothing is known of it.
    """

    parent: Plan
    look: str | None = None
    plant: str | None = None


Plan = Founder | Cross | Selfing | Intermating | Sibmating | Chosen


def founders_of(plan: Plan) -> tuple[str, ...]:
    """The founders of a plan, in the order in which they come in, female first."""
    match plan:
        case Founder(name):
            return (name,)
        case Cross(female, male):
            return tuple(dict.fromkeys((*founders_of(female), *founders_of(male))))
        case _:
            return founders_of(plan.parent)


def single_parents(plan: Plan) -> tuple[Chosen, ...]:
    """The single plants a family comes from, the latest in each line of descent."""
    match plan:
        case Founder():
            return ()
        case Chosen(plant=str()):
            return (plan,)
        case Cross(female, male):
            return tuple(dict.fromkeys((*single_parents(female), *single_parents(male))))
        case _:
            return single_parents(plan.parent)


def depth(plan: Plan) -> int:
    """Number of generations from the founders."""
    match plan:
        case Founder():
            return 0
        case Cross(female, male):
            return 1 + max(depth(female), depth(male))
        case _:
            return 1 + depth(plan.parent)


def without_look(plan: Plan, plant: Chosen) -> Plan:
    """The same parentage, as if nothing were known of how a parent plant looks."""
    if plan == plant:
        return replace(plant, look=None)
    match plan:
        case Founder():
            return plan
        case Cross(female, male):
            return Cross(without_look(female, plant), without_look(male, plant))
        case _:
            return replace(plan, parent=without_look(plan.parent, plant))


# --- what the trade calls it ------------------------------------------------


def generation(plan: Plan) -> str:
    """The generation of a plan: 'P', 'F1', 'F2:3', 'BC1F2', 'three-way', 'F2 open'.

    Offspring of a founder's open flowers are 'open-pollinated'; open pollination once more
    is 'F2 open 2'.

    A backcross is one whatever its recurrent parent; see `recurrent_parent`.
    """
    match plan:
        case Founder():
            return "P"
        case Chosen(parent):
            return generation(parent)
        case Intermating(parent):
            name = generation(parent)
            return "open-pollinated" if name == "P" else _once_more(name, "open")
        case Sibmating(parent):
            return _once_more(generation(parent), "sib")
        case Selfing(parent):
            return _next_generation(generation(parent), isinstance(parent, Chosen))
        case Cross(female, male):
            return _cross_name(female, male)
    raise TypeError(f"{plan!r} is not a parentage")


def describe(plan: Plan) -> str:
    """The generation with what a reader needs beside it: 'BC1 to Marl', 'F2:3 from 27-F2-05'."""
    name = generation(plan)
    back = recurrent_parent(plan)
    if back:
        name += f" to {back}"
    if isinstance(plan, Selfing) and isinstance(plan.parent, Chosen) and plan.parent.plant:
        name += f" from {plan.parent.plant}"
    return name


def recurrent_parent(plan: Plan) -> str | None:
    """The founder that a backcross, or a selfing of one, goes back to; else None."""
    while not isinstance(plan, Cross):
        if isinstance(plan, Founder):
            return None
        plan = plan.parent
    back = backcross_sides(plan)
    return back[1].name if back else None


def _once_more(name: str, mating: str) -> str:
    """What the offspring of generation `name` are called if its plants mate so."""
    before = re.fullmatch(rf"(.*\b{mating}(?:-pollinated)?)(?: (\d+))?", name)
    return f"{before[1]} {int(before[2] or 1) + 1}" if before else f"{name} {mating}"


def _next_generation(name: str, single: bool) -> str:
    """What a selfing of generation `name` is called."""
    if name == "P":
        return "P"
    line = re.fullmatch(r"(.*?)F(\d+)(?::(\d+))?", name)
    if line is None:
        return f"{name}F2" if name.startswith("BC") else f"{name} F2"
    stem, start, last = line[1], line[2], int(line[3] or line[2])
    if single and last > 1:
        return f"{stem}F{last}:{last + 1}"
    return f"{stem}F{start}:{last + 1}" if line[3] else f"{stem}F{last + 1}"


def _cross_name(female: Plan, male: Plan) -> str:
    back = backcross_sides(Cross(female, male))
    if back:
        line, _ = back
        before = re.match(r"BC(\d+)", generation(line))
        return f"BC{int(before[1]) + 1}" if before else "BC1"
    kinds = (_bare(female), _bare(male))
    if all(isinstance(k, Founder) for k in kinds):
        return "F1"
    if Founder(TESTER) in kinds:
        return "testcross"
    simple = [isinstance(k, Cross) and _simple(k) for k in kinds]
    three = any(simple) and any(isinstance(k, Founder) for k in kinds)
    if (all(simple) or three) and not set(founders_of(female)) & set(founders_of(male)):
        return "three-way" if three else "double cross"
    if mates_sibs(Cross(female, male)):
        return _once_more(generation(female), "sib")
    return "cross"


def _simple(cross: Cross) -> bool:
    return isinstance(_bare(cross.female), Founder) and isinstance(_bare(cross.male), Founder)


def _bare(plan: Plan) -> Plan:
    """The family behind chosen plants."""
    while isinstance(plan, Chosen):
        plan = plan.parent
    return plan


def mates_sibs(cross: Cross) -> bool:
    """Whether a cross is one of two plants of the same family."""
    one, other = cross.female, cross.male
    both = isinstance(one, Chosen) and isinstance(other, Chosen) and one != other
    return both and _bare(one) == _bare(other)


def backcross_sides(cross: Cross) -> tuple[Plan, Founder] | None:
    """(the hybrid side, the recurrent founder) if a cross goes back to its own founder."""
    for line, parent in ((cross.female, cross.male), (cross.male, cross.female)):
        founder = _bare(parent)
        if isinstance(founder, Founder) and _came_from(line, founder):
            return line, founder
    return None


def _came_from(line: Plan, founder: Founder) -> bool:
    """Whether a line is an F1 of `founder`, a backcross to it, or selfed from one."""
    while isinstance(line, Chosen | Selfing):
        line = line.parent
    if not isinstance(line, Cross):
        return False
    sides = (_bare(line.female), _bare(line.male))
    if founder not in sides:
        return False
    other = sides[0] if sides[1] == founder else sides[1]
    return isinstance(other, Founder) or _came_from(other, founder)
