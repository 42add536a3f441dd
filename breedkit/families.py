"""Parentage read from the trade's short forms and from the rows of a family register.

    F1, F2 ... F12       the cross P1 x P2 and its selfings
    F2:3, F2:5           lines from single F2 plants, as F3, as F5
    BC1, BC2(P2), BC1F2  backcrosses to P1 (or to P2), and their selfings
    testcross            the F1 crossed to a plant recessive at every locus
    three-way            (P1 x P2) x P3
    double cross         (P1 x P2) x (P3 x P4)
    F2 open, F2 sib      open pollination within the F2; pairs of its plants, full sibs
    F3 from orange F2    the orange plants of the F2, selfed

A bare BC1 goes back to the first parent.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence, Set
from functools import cache
from typing import TYPE_CHECKING

from breedkit.errors import PedigreeError, did_you_mean, fold, quote
from breedkit.pedigree import (
    TESTER,
    Chosen,
    Cross,
    Founder,
    Intermating,
    Plan,
    Selfing,
    Sibmating,
)

if TYPE_CHECKING:
    import pandas as pd

MOST_GENERATIONS = 12
MOST_BACKCROSSES = 6


_LINE = re.compile(r"F(\d+)(?::(\d+))?")
_BACKCROSS = re.compile(r"BC(\d*)(?:\((.+?)\))?(?:F(\d+)(?::(\d+))?)?")
_FROM = re.compile(r"(\S+) from (.+) (\S+)", re.IGNORECASE)
_KNOWN = (
    "P1",
    "P2",
    "F1",
    "F2",
    "F2:3",
    "BC1",
    "BC1(P2)",
    "BC1F2",
    "testcross",
    "three-way",
    "double cross",
    "F2 open",
    "F2 sib",
    "F3 from <class> F2",
)


def parse_family(text: str, founders: Sequence[str] = ("P1", "P2")) -> Plan:
    """The parentage that a short form stands for.

    Parameters
    ----------
    text : such as 'F2', 'BC1(P2)F2', 'F2:3', 'F3 from orange F2'.
    founders : names of the parents P1, P2, ... in order.

    Raises
    ------
    PedigreeError
        for a form that is not known, or that needs more parents than there are.
    """
    if not isinstance(text, str):
        raise PedigreeError(f"A family is named like 'F2' or 'BC1'; {quote(text)} is not.")
    form = " ".join(text.split())
    chosen = _FROM.fullmatch(form)
    if chosen:
        after, look, before = chosen.groups()
        return _from_chosen(text, after, look, before, founders)
    word, *rest = form.split(" ")
    if len(rest) == 1 and rest[0].casefold() in ("open", "sib"):
        parent = parse_family(word, founders)
        if rest[0].casefold() == "open":
            return Intermating(parent)
        if not _full_sibs(parent):
            raise PedigreeError(
                f"The plants of {quote(word)} are not full sibs of each other.\n"
                "Give the pairs that were mated as female and male plants in the register."
            )
        return Sibmating(parent)
    if fold(form).replace("-", " ") in ("three way", "double cross", "testcross"):
        return _named_cross(fold(form).replace("-", " "), founders)
    compact = form.replace(" ", "")
    if re.fullmatch(r"P\d+", compact, re.IGNORECASE):
        return _parent(int(compact[1:]), founders)
    line = _LINE.fullmatch(compact.upper())
    if line:
        last = int(line[2] or line[1])
        if line[2] and not int(line[1]) < last:
            raise PedigreeError(f"In {quote(text)} the second number must be the later one.")
        plan = _selfed(text, _f1(founders), last - 1)
        return _single_plant_line(plan, last - int(line[1])) if line[2] else plan
    head, bracket, rest_of_it = compact.partition(")")
    start, opening, name = head.partition("(")
    back = _BACKCROSS.fullmatch(start.upper() + opening + name + bracket + rest_of_it.upper())
    if back:
        return _backcross(text, back, founders)
    near = did_you_mean(form, _KNOWN)
    hint = f" Did you mean {quote(near)}?" if near else ""
    raise PedigreeError(
        f"There is no family called {quote(text)}.{hint}\nKnown forms: {', '.join(_KNOWN)}."
    )


def _full_sibs(plan: Plan) -> bool:
    """Whether all plants of a family come from the same two parents, or parents all alike."""
    alike = (Founder, Chosen)
    match plan:
        case Cross(female, male):
            sides = [s for s in (female, male) if not isinstance(s, alike)]
            return all(
                isinstance(s, Cross)
                and _full_sibs(s)
                and isinstance(s.female, alike)
                and isinstance(s.male, alike)
                for s in sides
            )
        case Selfing(parent):
            return isinstance(parent, alike) or _full_sibs(Cross(parent, parent))
        case _:
            return False


def _parent(number: int, founders: Sequence[str]) -> Founder:
    if not 1 <= number <= len(founders):
        raise PedigreeError(
            f"Parent P{number} is asked for, but there are {len(founders)} parents."
        )
    return Founder(founders[number - 1])


def _f1(founders: Sequence[str]) -> Cross:
    return Cross(_parent(1, founders), _parent(2, founders))


def _selfed(text: str, plan: Plan, times: int) -> Plan:
    if not 0 <= times < MOST_GENERATIONS:
        raise PedigreeError(f"{quote(text)} is outside F1 to F{MOST_GENERATIONS}.")
    for _ in range(times):
        plan = Selfing(plan)
    return plan


def _single_plant_line(plan: Plan, back: int) -> Plan:
    """The same selfings, but through single plants `back` generations ago."""
    parents = []
    for _ in range(back):
        assert isinstance(plan, Selfing)
        plan = plan.parent
        parents.append(plan)
    line: Plan = Selfing(Chosen(parents[-1]))
    for _ in range(back - 1):
        line = Selfing(line)
    return line


def _backcross(text: str, match: re.Match[str], founders: Sequence[str]) -> Plan:
    times, recurrent, selfed, last = match.groups()
    if recurrent is None:
        parent = _parent(1, founders)
    elif re.fullmatch(r"P\d+", recurrent, re.IGNORECASE):
        parent = _parent(int(recurrent[1:]), founders)
    elif recurrent in founders:
        parent = Founder(recurrent)
    else:
        raise PedigreeError(f"{quote(recurrent)} in {quote(text)} is not one of the parents.")
    if not 1 <= int(times or 1) <= MOST_BACKCROSSES:
        raise PedigreeError(f"{quote(text)} is outside BC1 to BC{MOST_BACKCROSSES}.")
    plan: Plan = _f1(founders)
    for _ in range(int(times or 1)):
        plan = Cross(plan, parent)
    if last and not int(selfed) < int(last):
        raise PedigreeError(f"In {quote(text)} the second number must be the later one.")
    plan = _selfed(text, plan, int(last or selfed or 1) - 1)
    return _single_plant_line(plan, int(last) - int(selfed)) if last else plan


def _named_cross(name: str, founders: Sequence[str]) -> Plan:
    first = _f1(founders)
    if name == "testcross":
        return Cross(first, Founder(TESTER))
    if name == "three way":
        return Cross(first, _parent(3, founders))
    return Cross(first, Cross(_parent(3, founders), _parent(4, founders)))


def _from_chosen(text: str, after: str, look: str, before: str, founders: Sequence[str]) -> Plan:
    """'F3 from orange F2': the orange F2 plants, selfed until F3."""
    start, end = parse_family(before, founders), parse_family(after, founders)
    times, node = 0, end
    while node != start and isinstance(node, Selfing):
        times, node = times + 1, node.parent
    if node != start or times == 0:
        raise PedigreeError(f"In {quote(text)}, {after} does not come from {before} by selfing.")
    return _selfed(text, Chosen(start, look), times)


PARENT_WORDS = dict.fromkeys(
    ("selfed", "self", "selfing", "⊗", "self-pollinated", "self pollinated", "selfpollinated",
     "selfed seed", "itself", "same", "bagged"), "selfed",
) | dict.fromkeys(
    ("open", "op", "open pollinated", "open-pollinated", "open pollination", "bees"), "open"
)  # fmt: skip


# --- the register -----------------------------------------------------------


def parent_word(typed: str, named: bool) -> str:
    """'selfed' or 'open' if that is what is typed instead of a parent, else ''.

    If something is `named` so it is meant, since a family may be called Self; but everybody
    reads "selfed" as a selfing.
    """
    word = fold(typed)
    meaning = PARENT_WORDS.get(word, "")
    return meaning if word == meaning or not named else ""


def read_register(
    rows: Iterable[tuple[str, str, str]],
    plant_family: Mapping[str, str] | None = None,
    looks: Mapping[str, str] | None = None,
    skip_faults: bool = False,
) -> dict[str, Plan]:
    """The parentage of every family of a register.

    Parameters
    ----------
    rows : (family, female, male). Founders have no parents. The same name twice,
        or 'selfed' beside a parent, is a selfing; 'open' is open pollination.
    plant_family : the family of every plant, for parents that are single plants.
    looks : the class that a plant shows, where that is known.
    skip_faults : leave out the families whose parentage cannot be read.

    Raises
    ------
    PedigreeError
        for parents that nobody knows and for families that descend from themselves.
    """
    parents = {family: (female.strip(), male.strip()) for family, female, male in rows}
    families = {fold(name): name for name in parents}
    plant_family, looks = plant_family or {}, looks or {}
    single = {fold(name): name for name in plant_family}
    plans: dict[str, Plan] = {}
    faults: dict[str, PedigreeError] = {}
    taken: dict[str, Chosen] = {}  # each plant is one node, however many families it has

    @cache  # a name stands in many rows
    def mating(parent: str) -> str:
        """'selfed' or 'open' if that is meant, else ''."""
        return parent_word(parent, fold(parent) in families or fold(parent) in single)

    @cache
    def home(parent: str) -> str:
        """The family that a parent is or stands in; '' if there is none in the register."""
        word = fold(parent)
        if word not in families and word in single:
            word = fold(plant_family[single[word]])
        return "" if mating(parent) else families.get(word, "")

    def plan_of(parent: str) -> Plan:
        family = home(parent)
        if family in faults:
            raise faults[family]
        if family and (word := fold(parent)) in families:
            return plans[family]
        if family:
            plant = single[word]
            return taken.setdefault(plant, Chosen(plans[family], looks.get(plant), plant))
        known = [*parents, *plant_family]
        near = None if skip_faults else did_you_mean(parent, known)
        hint = f" Did you mean {quote(near)}?" if near else ""
        raise PedigreeError(f"Parent {quote(parent)} is neither a family nor a plant.{hint}")

    def made(name: str, female: str, male: str) -> Plan:
        if not female and not male:
            return _unwritten(name)
        if not female or not male:
            known = female or male
            raise PedigreeError(f"Family {quote(name)} has only one parent, {quote(known)}.")
        words = [mating(female), mating(male)]
        if all(words):
            raise PedigreeError(f"Family {quote(name)} is {words[1]}, but no parent is named.")
        one = plan_of(male if words[0] else female)
        if "selfed" in words or fold(female) == fold(male):
            return Selfing(one)
        return Intermating(one) if "open" in words else Cross(one, plan_of(male))

    for start in parents:
        ahead, way = [start], set[str]()  # `way` leads from `start` to the last of `ahead`
        while ahead:
            name = ahead[-1]
            if name in plans or name in faults:
                way.discard(ahead.pop())
            elif name not in way:
                way.add(name)
                more = [home(p) for p in parents[name]]
                if way & {*more}:
                    faults[name] = PedigreeError(f"Family {quote(name)} descends from itself.")
                else:
                    ahead += [f for f in more if f and f not in plans and f not in faults]
            else:
                try:
                    plans[name] = made(name, *parents[name])
                except PedigreeError as fault:
                    faults[name] = fault
        if start in faults and not skip_faults:
            raise faults[start]
    return {name: plans[name] for name in parents if name in plans}


def family_plans(
    families: pd.DataFrame,
    names: Iterable[str] = (),
    plants: pd.DataFrame | None = None,
    trait: str | None = None,
) -> dict[str, Plan]:
    """The parentage of every family of a season whose parents can be followed.

    Parameters
    ----------
    families : the register: family, female, male.
    names : further families, which have plants but no row in the register.
    plants : plant, family and the traits; for parents that are single plants.
    trait : the trait whose class a single parent plant brings along.
    """
    sides = [
        families[c].astype(str).where(families[c].notna(), "") if c in families else
        [""] * len(families)
        for c in ("family", "female", "male")
    ]  # fmt: skip
    rows, names = list(zip(*sides, strict=True)), list(names)
    # Without a register nobody said that a family without parents is a founder: then, as
    # for a family that is not in it, only a name such as 'F2' tells where it comes from.
    registered = any(female or male for _, female, male in rows)
    founders = {f for f, *_ in rows} if registered else set()
    known = {row[0] for row in rows}
    rows += [(f, "", "") for f in names if f not in known]
    rows = [row for row in rows if row[0] in founders or any(row[1:]) or _is_short_form(row[0])]
    single = parent_plants(families, plants)
    home: dict[str, str] = single["family"].to_dict()
    grown = names if plants is None or "family" not in plants else plants["family"].unique()
    planted = {fold(str(family)) for family in grown}
    spelled = {fold(f): f for f, *_ in rows}
    for parent in dict.fromkeys(parent for row in rows for parent in row[1:]):
        if fold(parent) not in spelled and parent not in home:
            family = earlier_home(parent, spelled, planted)
            home |= {parent: family} if family else {}
    looks: dict[str, str] = {}
    if trait is not None and trait in single:
        looks = {plant: str(look) for plant, look in single[trait].dropna().items()}
    return read_register(rows, home, looks, skip_faults=True)


def earlier_home(parent: str, families: Mapping[str, str], planted: Set[str]) -> str:
    """The family whose plant a parent was in an earlier year: 'F2' for 'F2-06'; else ''.

    Only of a family without plants in the table can it be told that the others are missing
    too; where some are there, a code that is not may be a slip.

    Parameters
    ----------
    families : name of a family as it is compared -> as it is spelled.
    planted : families that have plants, as they are compared.
    """
    parts = re.fullmatch(r"(.+)[\s.:/-]+(\w*[0-9]\w*)", fold(parent), re.S)
    family = families.get(parts[1].rstrip(" .:/-"), "") if parts else ""
    return family if fold(family) not in planted else ""


def parent_plants(families: pd.DataFrame, plants: pd.DataFrame | None) -> pd.DataFrame:
    """The plants that the register names as parents.

    Returns
    -------
    frame
        Their rows of `plants`; the index is how the register writes them: by the code, or
        by family and code ("F2 4") where the code occurs in several families.
    """
    import pandas as pd

    sides = [families[c].dropna().astype(str) for c in ("female", "male") if c in families]
    if plants is None or not {"plant", "family"} <= set(plants) or not sides:
        return pd.DataFrame({"family": []}, dtype=str)
    wanted = {fold(parent) for parent in pd.concat(sides)} - {""}
    code, family = plants["plant"].astype(str), plants["family"].astype(str)
    word = code.map(fold)
    several = word.duplicated(keep=False)
    homes = {name: fold(name) for name in family.unique()}
    word = word.where(~several, family.map(homes) + " " + word)
    found = word.isin(wanted) & ~word.duplicated(keep=False)
    written = code.where(~several, family + " " + code)
    return plants[found].assign(family=family[found]).set_index(written[found].rename("parent"))


def _unwritten(name: str) -> Plan:
    """A family without parents: what its name says if that is a short form, else a founder."""
    return parse_family(name) if _is_short_form(name) else Founder(name)


def is_bare_backcross(name: str) -> bool:
    """Whether a family's name says 'backcross', but not to which parent: 'BC1', 'BC2F2'."""
    return re.fullmatch(r"BC\d*(F\d+(:\d+)?)?", "".join(name.split()).upper()) is not None


def _is_short_form(name: str) -> bool:
    """Whether the name of a family alone says where it comes from."""
    if is_bare_backcross(name):  # to which parent? A guess could be the wrong one
        return False
    try:
        parse_family(name)
    except PedigreeError:
        return False
    return True
