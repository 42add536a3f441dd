"""The pedigree of a register, tidied into what can be drawn on a page, and its drawing.

Who came from whom becomes marks and lines:

    rows      years downward, and the generations within a year; a founder stands just above
              the first family that was grown from it
    selfings  a run of selfings without other offspring is one mark, signed ⊗ and how many
    sisters   three or more families of one origin, off the chosen line and without offspring,
              are one mark
    line      all ancestors of what was chosen are drawn strongly

Where that leaves too many marks for a page, only the chosen line is drawn, and of that the
latest generations; the caption says so. Drawing is left to `breedkit.treechart`.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from breedkit.errors import PedigreeError, did_you_mean, fold, quote
from breedkit.families import family_plans
from breedkit.pedigree import (
    Chosen,
    Cross,
    Founder,
    Intermating,
    Plan,
    Selfing,
    depth,
    generation,
)
from breedkit.results import listing, sentence, show
from breedkit.treechart import family_tree

if TYPE_CHECKING:
    import pandas as pd

    from breedkit.charts import Axes
    from breedkit.tables import Season

MOST_MARKS, MOST_IN_A_ROW = 44, 8
SISTERS = 3
SAID = 24  # families that the alternative text tells one by one
SIGNS = {"selfed": "⊗", "open": "open", "sib": "sib"}
BLANK_YEAR = -1
ONE_LINE = 16  # letters of two parents on one line


@dataclass(frozen=True)
class Parent:
    """A family's parent: which family, on which side (-1 female, 1 male, 0 alone), what plant."""

    family: str
    side: int
    plant: str = ""


@dataclass(frozen=True)
class Mark:
    """A family as it will be drawn. `way` is 'founder', 'crossed', 'selfed', 'open' or 'sib'."""

    name: str
    way: str
    parents: tuple[Parent, ...]
    stage: str = ""
    year: str = ""
    times: int = 1  # selfings drawn as one
    sisters: tuple[str, ...] = ()


@dataclass(frozen=True)
class Tree:
    """The marks of a picture, parents first, with the chosen family and its ancestors."""

    marks: Mapping[str, Mark]
    chosen: str = ""
    plant: str = ""
    line: frozenset[str] = frozenset()
    left_out: str = ""
    rows: Mapping[str, int] = field(default_factory=dict)
    row_names: tuple[str, ...] = ()


def draw_pedigree(season: Season, name: str | None = None, ax: Axes | None = None) -> Axes:
    """The pedigree of a season's register, a family's or plant's descent emphasised.

    Save it as SVG or PNG with `ax.figure.savefig("pedigree.svg")`.

    Parameters
    ----------
    season : with the register of families.
    name : the family or plant whose line of descent is emphasised; None for no line.
    ax : where to draw; by default a new picture that fits a page.

    Raises
    ------
    PedigreeError
        if nobody is called so, or if no family has parents that can be followed.
    """
    tree = tree_of(season, name)
    marks, links = _frames(tree)
    caption = _caption(tree)
    who = show(tree.plant or tree.chosen, longest=40)
    title = f"Where {who} comes from" if who else "Who came from whom"
    alt = f"{title}: a pedigree. {_told(tree)} {caption}"
    return family_tree(
        marks, links, tree.row_names, title=title, caption=caption, alt=alt, ax=ax
    )  # fmt: skip


def tree_of(season: Season, name: str | None = None) -> Tree:
    """What will be drawn: tidied, in rows, small enough for a page."""
    register, sheet = season.families, season.plants
    plans = family_plans(register, season.family_names, sheet)
    if not any(not isinstance(plan, Founder) for plan in plans.values()):
        raise PedigreeError(
            "No family of this table has parents that can be followed.\n"
            "Write female and male of each family into the table of families."
        )
    years = dict(zip(register["family"], register.get("season", ""), strict=False))
    written = {f: show(y, longest=20) for f, y in years.items() if isinstance(y, str)}
    bred = set(register["family"][register[["female", "male"]].ne("").all(axis=1)])
    marks = _marks(plans, written, bred)
    chosen, plant = _find(name, plans, sheet) if name is not None else ("", "")
    graph = _graph(marks)
    import networkx as nx

    line = frozenset({chosen} | nx.ancestors(graph, chosen)) if chosen else frozenset()
    lost = [n for n in dict.fromkeys([*register["family"], *season.family_names]) if n not in plans]
    unknown = ""
    if lost:
        families = "family" if len(lost) == 1 else "families"
        unknown = f"Not drawn: {len(lost):,} {families} whose parents are not known."
    stays = Tree(_in_order(graph, marks), chosen, plant, line, unknown)
    whole = _in_rows(_with_sisters(_without_runs(stays)))
    if _fits(whole):
        return whole
    if not chosen:
        raise PedigreeError(
            f"{len(marks):,} families are too many for one picture.\n"
            "Choose a family or plant: the picture then shows where it comes from."
        )
    alone = replace(stays, marks={n: m for n, m in stays.marks.items() if n in line})
    off = len(whole.marks) - sum(n in line for n in whole.marks)
    said = f"Families that {show(plant or chosen, longest=30)} does not come from are left out."
    alone = _without_runs(replace(alone, left_out=_joined(said if off else "", unknown)))
    return _in_rows(alone) if _fits(_in_rows(alone)) else _latest(alone)


# --- from plans to marks -----------------------------------------------------------


def _marks(plans: Mapping[str, Plan], years: Mapping[str, str], bred: set[str]) -> dict[str, Mark]:
    """A mark for each family, and for those that only a short form such as F2 implies.

    `bred` are the families whose parents are written down.
    """
    names = {id(plan): name for name, plan in plans.items()}
    marks: dict[str, Mark] = {}
    known: dict[tuple[Any, ...], str] = {}

    def origin(plan: Plan) -> tuple[str, tuple[Parent, ...]]:
        match plan:
            case Founder():
                return "founder", ()
            case Cross(female, male):
                return "crossed", (parent(female, -1), parent(male, 1))
        way = {Selfing: "selfed", Intermating: "open"}.get(type(plan), "sib")
        return way, (parent(plan.parent, 0),)

    def parent(plan: Plan, side: int) -> Parent:
        plant = ""
        while isinstance(plan, Chosen):
            plant = plant or plan.plant or (f"{plan.look} plants" if plan.look else "")
            plan = plan.parent
        return Parent(name_of(plan), side, plant)

    def name_of(plan: Plan) -> str:
        if id(plan) in names:
            return names[id(plan)]
        way, parents = origin(plan)
        stage = plan.name if isinstance(plan, Founder) else generation(plan)
        key = (way, parents or stage)
        if key not in known:
            nth = 2
            name = stage
            while name in plans or name in marks:  # taken by a family of another origin
                name, nth = f"{stage} ({nth})", nth + 1
            known[key] = name
            marks[name] = Mark(name, way, parents)
        return known[key]

    short = [n for n in plans if n not in bred and not isinstance(plans[n], Founder)]
    # What one of them implies may be another: F1 before F2.
    first = sorted(short, key=lambda n: depth(plans[n]))
    for name in [*(n for n in plans if n not in short), *first]:
        way, parents = origin(plans[name])
        stage = "" if way == "founder" else generation(plans[name])
        marks[name] = Mark(name, way, parents, "" if stage == name else stage, years.get(name, ""))
        known.setdefault((way, parents or name), name)
    return marks


def homes_of(sheet: pd.DataFrame) -> dict[str, str]:
    """The family of each plant; by family and code, "F2 4", where several have the code."""
    if not {"plant", "family"} <= set(sheet):
        return {}
    there = sheet[sheet["family"].notna()]
    code, family = there["plant"].astype(str), there["family"].astype(str)
    code = code.where(~code.duplicated(keep=False), family + " " + code)
    return dict(zip(code, family, strict=True))


def _find(word: str, plans: Mapping[str, Plan], sheet: Any) -> tuple[str, str]:
    """The family that was meant, and the plant of it if one was."""
    by_fold = {fold(n): n for n in reversed(list(plans))}
    if word in plans or fold(str(word)) in by_fold:
        return (word if word in plans else by_fold[fold(word)]), ""
    homes = {p: f for p, f in homes_of(sheet).items() if f in plans}
    plants = {fold(plant): plant for plant in reversed(list(homes))}
    if fold(str(word)) in plants:
        plant = word if word in homes else plants[fold(str(word))]
        return homes[plant], plant
    near = did_you_mean(str(word), [*plans, *homes])
    hint = f"\nDid you mean {quote(near)}?" if near else ""
    asked = quote(show(word, longest=30))
    raise PedigreeError(f"No family or plant with known parents is called {asked}.{hint}")


def _graph(marks: Mapping[str, Mark]) -> Any:
    """Arrows from parents to children."""
    import networkx as nx

    graph = nx.DiGraph()
    graph.add_nodes_from(marks)
    graph.add_edges_from((p.family, m.name) for m in marks.values() for p in m.parents)
    return graph


def _in_order(graph: Any, marks: Mapping[str, Mark]) -> dict[str, Mark]:
    """Parents first, else as registered."""
    import networkx as nx

    place = {name: i for i, name in enumerate(marks)}
    return {n: marks[n] for n in nx.lexicographical_topological_sort(graph, key=place.get)}


# --- tidying -----------------------------------------------------------------------


def _children(tree: Tree) -> dict[str, list[str]]:
    """The families that were grown from each, once each."""
    children: dict[str, list[str]] = {name: [] for name in tree.marks}
    for name, mark in tree.marks.items():
        for family in dict.fromkeys(p.family for p in mark.parents):
            children[family].append(name)
    return children


def _without_runs(tree: Tree) -> Tree:
    """Selfings of selfings as one mark, where nothing else was grown from those between."""
    marks, children = dict(tree.marks), _children(tree)
    for name in tree.marks:
        mark = marks[name]  # it may have taken in its parent
        if (mark.way, len(children[name])) != ("selfed", 1) or name == tree.chosen:
            continue
        child = marks[children[name][0]]
        if child.way == "selfed":
            # The first plant that was taken out says where the run begins.
            marks[child.name] = replace(child, parents=mark.parents, times=mark.times + 1,
                                        year=_years([mark.year, child.year]))  # fmt: skip
            del marks[name]
    return replace(tree, marks=marks)


def _with_sisters(tree: Tree) -> Tree:
    """Three or more families of one origin as one mark, if nothing hangs on them."""
    parents = {p.family for m in tree.marks.values() for p in m.parents}
    groups: dict[tuple[Any, ...], list[Mark]] = {}
    for mark in tree.marks.values():
        if mark.parents and mark.name not in parents and mark.name not in tree.line:
            origin = (mark.way, tuple((p.family, p.side) for p in mark.parents), mark.times)
            groups.setdefault(origin, []).append(mark)
    marks = dict(tree.marks)
    for group in groups.values():
        if len(group) < SISTERS:
            continue
        names = tuple(m.name for m in group)
        stages = {m.stage for m in group}
        marks[names[-1]] = replace(
            group[-1], sisters=names, year=_years(m.year for m in group),
            stage=stages.pop() if len(stages) == 1 else "",
            parents=tuple(replace(p, plant="") for p in group[0].parents),
        )  # fmt: skip
        for name in names[:-1]:
            del marks[name]
    return replace(tree, marks=marks)


def _fits(tree: Tree) -> bool:
    rows = list(tree.rows.values())
    return len(rows) <= MOST_MARKS and max(map(rows.count, rows)) <= MOST_IN_A_ROW


def _latest(tree: Tree) -> Tree:
    """The generations nearest to the chosen family, as many as fit."""
    kept = {tree.chosen}
    best = tree
    while True:
        more = kept | {p.family for n in kept for p in tree.marks[n].parents}
        marks = {n: m for n, m in tree.marks.items() if n in more}
        marks = {
            n: replace(m, parents=tuple(p for p in m.parents if p.family in more))
            for n, m in marks.items()
        }
        said = _joined("Earlier ancestors are left out.", tree.left_out)
        trial = _in_rows(replace(tree, marks=marks, left_out=said))
        if more == kept or not _fits(trial):
            return best if kept != {tree.chosen} else trial
        kept, best = more, trial


# --- rows --------------------------------------------------------------------------


def _in_rows(tree: Tree) -> Tree:
    """Years downward; within a year, and where no year is known, by descent."""
    spot: dict[str, tuple[int, int]] = {}
    for name, mark in tree.marks.items():
        above = [spot[p.family] for p in mark.parents if p.family in spot]
        year = max([_year(mark.year), *(y for y, _ in above)]) if mark.parents else BLANK_YEAR
        spot[name] = (year, 1 + max((d for y, d in above if y == year), default=-1))
    row = {key: i for i, key in enumerate(sorted(set(spot.values())))}
    rows = {name: row[key] for name, key in spot.items()}
    for name, below in _children(tree).items():
        if not tree.marks[name].parents and below:
            rows[name] = min(rows[child] for child in below) - 1
    used = {r: i for i, r in enumerate(sorted(set(rows.values())))}
    rows = {name: used[r] for name, r in rows.items()}
    names = [
        _years(
            _last(tree.marks[n].year) for n, r in rows.items() if r == i and tree.marks[n].parents
        )  # fmt: skip
        for i in range(len(used))
    ]
    return replace(tree, rows=rows, row_names=tuple(names))


def _last(text: str) -> str:
    """The last year of '2041–2043'; other words stay as they are."""
    return text.rpartition("–")[2] if re.fullmatch(r"\d{4}–\d{4}", text) else text


def _year(text: str) -> int:
    """The last year of '2041', 'spring 2041' or '2041–2043', else a blank year."""
    found = re.findall(r"\d{4}", text)
    return int(found[-1]) if found else BLANK_YEAR


def _years(texts: Iterable[str]) -> str:
    """One name for several seasons: '2041', '2041–2044'."""
    some = list(dict.fromkeys(t for t in texts if t))
    if len(some) < 2:
        return "".join(some)
    found = sorted(y for text in some for y in re.findall(r"\d{4}", text))
    if not found:
        return f"{some[0]} …"
    return found[0] if found[0] == found[-1] else f"{found[0]}–{found[-1]}"


def _joined(*sentences: str) -> str:
    return " ".join(filter(None, sentences))


# --- what the drawing is handed ------------------------------------------------------


def _frames(tree: Tree) -> tuple[Any, Any]:
    """Marks and links, as `family_tree` takes them."""
    import pandas as pd

    place = {name: i for i, name in enumerate(tree.marks)}
    marks = [
        {
            "name": f"{len(m.sisters)} families" if m.sisters else m.name,
            "below": _below(tree, m),
            "row": tree.rows[name],
            "strong": name in tree.line,
            "focus": name == tree.chosen,
            "tag": m.way == "founder",
        }
        for name, m in tree.marks.items()
    ]
    links = [
        (place[p.family], place[name], p.side, _signed(m), name in tree.line)
        for name, m in tree.marks.items()
        for p in m.parents
    ]
    return pd.DataFrame(marks), pd.DataFrame(
        links, columns=["parent", "child", "side", "sign", "strong"]
    )


def _below(tree: Tree, mark: Mark) -> list[str]:
    """The small lines of a mark: generation, the plants it is from, the plant that was chosen."""
    lines = [mark.stage] if mark.stage else []
    if mark.sisters:
        return [*lines, f"{show(mark.sisters[0], longest=14)} …"]
    if any(p.plant for p in mark.parents):
        of = [show(p.plant or p.family) for p in mark.parents]
        if mark.way != "crossed":
            lines.append(f"from {of[0]}" if len(of[0]) + 5 <= ONE_LINE else of[0])
        elif len(of) == 2:  # female first, on a line of its own if the two are long
            pair = " × ".join(of)
            lines += [pair] if len(pair) <= ONE_LINE else [f"{of[0]} ×", of[1]]
    if mark.name == tree.chosen and tree.plant:
        lines.append(f"plant {show(tree.plant)}")
    return lines


def _signed(mark: Mark) -> str:
    sign = SIGNS.get(mark.way, "")
    return f"{sign} {mark.times}" if mark.times > 1 else sign


def _caption(tree: Tree) -> str:
    """What the lines and signs mean, as far as they are there, and what is not drawn."""
    marks = tree.marks.values()
    words = []
    if any(p.side for m in marks for p in m.parents):
        words.append("solid line, ♀: female parent; dashed, ♂: male parent")
    if any(m.way == "selfed" for m in marks):
        runs = any(m.times > 1 for m in marks)
        words.append("⊗: selfed" + (", with the number of selfings in a row" if runs else ""))
    if any(m.way == "open" for m in marks):
        words.append("open: open pollination")
    if any(m.way == "sib" for m in marks):
        words.append("sib: sibs mated")
    who = show(tree.plant or tree.chosen, longest=30)
    if len(tree.line) > 1:
        words.append(f"thick: what {who} comes from")
    return f"{sentence('; '.join(words))}. {tree.left_out}".strip()


def _told(tree: Tree) -> str:
    """The picture in words: each family of the line, or of all, then what stands beside it."""
    drawn = [m for n, m in tree.marks.items() if n in tree.line or not tree.line]
    said = [m for m in drawn if m.parents]
    parts = []
    for ways, what in ((True, "Founders"), (False, "Drawn without their parents")):
        names = [show(m.name, longest=30) for m in drawn
                 if not m.parents and (m.way == "founder") == ways]  # fmt: skip
        parts += [f"{what}: {listing(names)}."] if names else []
    parts += [f"{_origin(m)}." for m in said[:SAID]]
    if len(said) > SAID:
        parts.append(f"And {len(said) - SAID} more.")
    beside = [n for n in tree.marks if n not in tree.line] if tree.line else []
    if beside:
        names = [x for n in beside for x in (tree.marks[n].sisters or (n,))]
        some = [show(n, longest=30) for n in names[:SAID]]
        more = [f"{len(names) - SAID} more"] if len(names) > SAID else []
        parts.append(f"Beside this line: {listing([*some, *more])}.")
    return " ".join(parts)


def _origin(mark: Mark) -> str:
    """'BC1: F1 by P2', 'F5: F1 selfed 4 times'."""
    name = show(mark.name, longest=30)
    if mark.sisters:
        name = f"{len(mark.sisters)} families from {show(mark.sisters[0], longest=30)} to {name}"

    def who(p: Parent) -> str:
        family = show(p.family, longest=30)
        return f"{show(p.plant, longest=30)} of {family}" if p.plant else family

    of = [who(p) for p in mark.parents]
    if mark.way == "crossed":
        sides = {p.side: w for p, w in zip(mark.parents, of, strict=True)}
        return f"{name}: female {sides.get(-1, 'left out')}, male {sides.get(1, 'left out')}"
    how = {"selfed": "selfed", "open": "open-pollinated", "sib": "sibs mated"}[mark.way]
    times = f" {mark.times} times" if mark.times > 1 else ""
    return f"{name}: {of[0]} {how}{times}"
