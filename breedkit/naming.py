"""Generation and short name of every family and plant, from who came from whom alone.

A name is made of codes for the founders, the plants that were selected, and the generation:

    Ma, Ti           founders; two letters, or as many as tell them apart, or initials
    MaTi F2          the F2 of Ma by Ti; TiMa F1 is the reciprocal cross
    MaTi F2-17       plant 17 of it
    MaTi-17 F2:3     the line from that plant; plant 4 of it is MaTi-17 F2:3-4
    MaTi-17-4 F3:4   the line from that plant
    MaTi BC1(Ma)     a backcross to Ma; a cross of other lines has the codes of all founders
    MaTi.2 F2        a second family of the same kind; what comes from it keeps the .2

Names are given row by row, and before a family its parents. So a name rests on the rows
above it alone: rows that are added below, year after year, leave it as it is. Numbers after
the founders are the selected plants, as in the pedigree method (common practice, no source).
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from itertools import count
from typing import TYPE_CHECKING

from breedkit.errors import fold
from breedkit.notation import format_pedigree
from breedkit.pedigree import (
    Chosen,
    Cross,
    Founder,
    Plan,
    Selfing,
    backcross_sides,
    generation,
    mates_sibs,
    recurrent_parent,
)

if TYPE_CHECKING:
    import pandas as pd

NOT_KNOWN = "not known"  # the generation of a family whose parents cannot be followed
MOST_CODES = 4  # founders that a name shows
MOST_WRITTEN = 16  # names in a written pedigree; a longer one begins with later lines
LONGEST_CODE = 8


@dataclass(frozen=True)
class ShortName:
    """The parts of a short name."""

    codes: tuple[str, ...]  # of the founders
    copy: int = 1  # which one of these founders
    plants: str = ""  # selected on the way: -17-4
    generation: str = ""

    @property
    def stem(self) -> str:
        return "".join(self.codes[:MOST_CODES]) + "+" * (len(self.codes) > MOST_CODES)

    def __str__(self) -> str:
        copy = f".{self.copy}" * (self.copy > 1)
        return f"{self.stem}{copy}{self.plants} {self.generation}".rstrip()


@dataclass
class _Namer:
    """Gives names in order; each is taken once."""

    owners: Mapping[int, str]  # id of a parentage -> its family
    codes: dict[str, str] = field(default_factory=dict)  # founder, folded -> code
    copies: Counter[str] = field(default_factory=Counter)  # stem -> how many there are
    taken: set[str] = field(default_factory=set)
    known: dict[int, ShortName] = field(default_factory=dict)
    sizes: dict[int, int] = field(default_factory=dict)  # names in the written pedigree

    def name(self, plan: Plan) -> ShortName:
        """The short name of a family or plant; its parents get theirs before."""
        ahead = [plan]
        while ahead:  # a line may be longer than Python recurses
            node = ahead[-1]
            more = [side for side in _sides(node) if id(side) not in self.known]
            if more:
                ahead += more[::-1]
                continue
            ahead.pop()
            if id(node) not in self.known:
                self.known[id(node)] = self.once(node, self.made(node))
                self.sizes[id(node)] = sum(self.sizes[id(s)] for s in _sides(node)) or 1
        return self.known[id(plan)]

    def once(self, plan: Plan, made: ShortName) -> ShortName:
        """The name, as that of another copy if it is taken."""
        if id(plan) not in self.owners:
            return made
        if isinstance(plan, Cross) and backcross_sides(plan) is None and not mates_sibs(plan):
            self.copies[made.stem] += 1  # it brings lines together
            made = replace(made, copy=self.copies[made.stem])
        while str(made) in self.taken:
            self.copies[made.stem] = max(self.copies[made.stem], 1) + 1
            made = replace(made, copy=self.copies[made.stem])
        self.taken.add(str(made))
        return made

    def made(self, plan: Plan) -> ShortName:
        match plan:
            case Founder(name):
                return ShortName((self.code(name),))
            case Chosen(parent, _, plant):
                base = self.known[id(parent)]
                family = self.owners.get(id(parent), "")
                number = f"-{plant_number(plant, family)}" if plant is not None else ""
                return replace(base, plants=base.plants + number)
            case Cross(female, male):
                return self.crossed(plan, self.known[id(female)], self.known[id(male)])
            case _:
                base = self.known[id(plan.parent)]
                return replace(base, generation=self.stage(plan, base.generation))

    def crossed(self, plan: Cross, female: ShortName, male: ShortName) -> ShortName:
        back = backcross_sides(plan)
        if back:
            line = female if back[0] is plan.female else male
            return replace(line, generation=self.stage(plan, ""))
        if mates_sibs(plan):
            one, other = (n.plants.rpartition("-") for n in (female, male))
            pair = f"{one[0]}-{one[2]}x{other[2]}"
            return replace(female, plants=pair, generation=self.stage(plan, ""))
        codes = tuple(dict.fromkeys((*female.codes, *male.codes)))
        return ShortName(codes, generation=self.stage(plan, ""))

    def stage(self, plan: Plan, before: str) -> str:
        """The generation as a name shows it: with the recurrent parent, without long words."""
        name = generation(plan)
        if name == "P" and isinstance(plan, Selfing):
            return f"S{int(before[1:] or 0) + 1}"
        back = recurrent_parent(plan)
        if back:
            return re.sub(r"^BC[0-9]+", rf"\g<0>({self.code(back)})", name)
        short = re.sub(r"^(three-way|double cross|cross|testcross)\b *", "", name)
        if short != name and not short.startswith("F"):
            short = f"F1 {short}".rstrip()
        return short.replace("open-pollinated", "open")

    def code(self, name: str) -> str:
        """The code of a founder: the first that no founder before it has."""
        word = fold(name)
        if word not in self.codes:
            used = set(self.codes.values())
            self.codes[word] = next(c for c in _codes(word) if c not in used)
        return self.codes[word]


def _sides(plan: Plan) -> tuple[Plan, ...]:
    match plan:
        case Founder():
            return ()
        case Cross(female, male):
            return female, male
        case _:
            return (plan.parent,)


def _codes(word: str) -> Iterator[str]:
    """Codes for a founder, the best first: initials of several words, letters of one."""
    parts = re.findall(r"[^\W\d_]+|[0-9]+", word)
    letters = "".join(parts)
    best = [letters[:n].capitalize() for n in range(2, LONGEST_CODE + 1)] if parts else ["X"]
    if len(parts) > 1:
        initials = "".join(p[:4] if p.isdigit() else p[0].upper() for p in parts)
        best.insert(0, initials[:LONGEST_CODE])
    yield from best
    yield from (f"{best[0]}{k}" for k in count(2))


def plant_number(code: str, family: str) -> str:
    """What tells a plant from the others of its family: '17' of 'F2-017' in the family 'F2'."""
    word, home = fold(code), fold(family)
    rest = word.removeprefix(home) if home else word
    if rest and not (rest[0].isdigit() and home[-1:].isdigit()):  # F21 is not plant 1 of F2
        word = rest
    letters = "".join(re.findall(r"[^\W_]+", word))[:LONGEST_CODE]
    return str(int(letters)) if re.fullmatch("[0-9]+", letters) else letters.upper() or "X"


def name_families(
    families: pd.DataFrame, plans: Mapping[str, Plan], more: Iterable[str] = ()
) -> pd.DataFrame:
    """Generation, parents and short name of every family of a register.

    Parameters
    ----------
    families : the register: family, female, male.
    plans : the parentage of those that can be followed (`breedkit.families.family_plans`).
    more : further families, which have plants, but no row.

    Returns
    -------
    frame
        family, generation, parents, short name, pedigree: in the order of the register. The
        pedigree is in the notation of `breedkit.notation`, crosses alone; one of more than
        16 names begins with the families it comes from. Where the parents cannot be
        followed, the generation is "not known" and there is no short name.
    """
    import pandas as pd

    sides = {
        family: tuple(s if isinstance(s, str) else "" for s in pair)
        for family, *pair in families.reindex(columns=["family", "female", "male"]).itertuples(
            index=False, name=None
        )
    }
    sides |= {family: ("", "") for family in more if family not in sides}
    owners = {id(plan): family for family, plan in plans.items()}
    namer = _Namer(owners)
    crosses: set[tuple[object, object]] = set()  # of the rows above
    rows = []
    for family, (female, male) in sides.items():
        plan = plans.get(family)
        if plan is None:
            rows.append((family, NOT_KNOWN, _parents(female, male), "", ""))
            continue
        stage, short = generation(plan), str(namer.name(plan))
        if isinstance(plan, Cross):
            pair = tuple(_key(side, owners) for side in (plan.female, plan.male))
            stage += " reciprocal" * (pair[::-1] in crosses and pair not in crosses)
            crosses.add(pair)  # type: ignore[arg-type]
        rows.append((family, stage, _parents(female, male), short, _pedigree(plan, namer)))
    columns = ["family", "generation", "parents", "short name", "pedigree"]
    return pd.DataFrame(rows, columns=columns, dtype=str)


def name_plants(plants: pd.DataFrame, named: pd.DataFrame) -> pd.DataFrame:
    """Generation and short name of every plant.

    Parameters
    ----------
    plants : plant, family.
    named : the families, from `name_families`.

    Returns
    -------
    frame
        plant, family, generation, short name, with the index of `plants`. A plant without
        a code, or of a family without a short name, has none.
    """
    import pandas as pd

    plants = plants.reindex(columns=["plant", "family"])  # a tally has none
    stage = dict(zip(named["family"], named["generation"], strict=True))
    short = dict(zip(named["family"], named["short name"], strict=True))
    seen: Counter[str] = Counter()
    names = []
    for code, family in zip(plants["plant"], plants["family"], strict=True):
        home = short.get(family, "")
        name = f"{home}-{plant_number(code, family)}" if home and code.strip() else ""
        seen[name] += 1
        names.append(f"{name}.{seen[name]}" if name and seen[name] > 1 else name)
    return pd.DataFrame(
        {
            "plant": plants["plant"].astype(str),
            "family": plants["family"].astype(str),
            "generation": [stage.get(family, NOT_KNOWN) for family in plants["family"]],
            "short name": pd.array(names, dtype=str),
        },
        index=plants.index,
    )


def _parents(female: str, male: str) -> str:
    """The parents of a row, as they are written there: 'Marl × Tind', 'F1 selfed'."""
    for one, other in ((female, male), (male, female)):
        if other in ("selfed", "open"):
            return f"{one} {other}"
    return f"{female} × {male}" if female or male else ""


def _key(parent: Plan, owners: Mapping[int, str]) -> object:
    """The family, or the plant of a family, that a parent is."""
    if isinstance(parent, Chosen):
        return parent.plant, _key(parent.parent, owners)
    return owners.get(id(parent), parent)


def _pedigree(plan: Plan, namer: _Namer) -> str:
    """The pedigree of a family; a long one begins with the families it comes from."""
    while not isinstance(plan, Founder | Cross):
        plan = plan.parent

    def near(side: Plan) -> Plan:
        while id(side) not in namer.owners and not isinstance(side, Founder | Cross):
            side = side.parent
        if id(side) in namer.owners:
            return Founder(namer.owners[id(side)])
        return Cross(near(side.female), near(side.male)) if isinstance(side, Cross) else side

    if isinstance(plan, Cross) and namer.sizes[id(plan)] > MOST_WRITTEN:
        plan = Cross(near(plan.female), near(plan.male))
    return format_pedigree(plan, crosses_only=True)
