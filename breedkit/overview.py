"""Look around in a season before testing anything.

One trait by family in the order of the register, or two traits of the same plants
against each other; classes are counted, numbers are shown plant by plant. Behind
every bar stand plants: `plants_behind` names them, so that a doubtful score can be
looked up in the book. Entries in doubt are listed with what they can mean: a problem
has a suggestion, a class can be renamed, and a meaning is never itself in doubt.
Nothing is inferred here.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

import pandas as pd

from breedkit import charts
from breedkit.errors import Problem, TableError, fold, pick, quote
from breedkit.families import family_plans
from breedkit.pedigree import describe, generation
from breedkit.results import Fact, Result, number, plants, sentence, show
from breedkit.season import NO_FAMILY
from breedkit.spelling import NOT_SCORED, matcher, tidy

if TYPE_CHECKING:
    from breedkit.charts import Axes
    from breedkit.tables import Season

LONGEST_LABEL = 34  # letters of a family's name beside a picture
MEDIAN = "The median is the value of the middle plant: half of the plants lie below it, half above."


@dataclass(frozen=True, eq=False, repr=False)
class Overview(Result):
    """One trait of a season, by family or against another trait.

    `kind` says what `frame` holds: "shares", families x classes; "discs", classes of
    `against` x classes; "points", one row a plant with its group and value; "scatter",
    one row a plant with both values. `plants_behind` lists the plants of the class that
    was asked for, with what was typed. With two traits a plant is "not scored" if either
    is missing.
    """

    trait: str
    against: str | None
    family: str | None
    kind: str
    frame: pd.DataFrame
    plants_behind: pd.DataFrame
    scored: int
    not_scored: int
    axes: tuple[str, str]  # names of the traits with their units, across and up

    @property
    def headline(self) -> str:
        traits = sentence(show(self.trait, longest=30))
        if self.against:
            traits += f" against {show(self.against, longest=30)}"
        return f"{traits}, " + (f"family {show(self.family)}" if self.family else "all families")

    @property
    def verdict(self) -> str:
        return f"{self.headline}: {self._scored_words}, {self.not_scored:,} not scored."

    @property
    def _scored_words(self) -> str:
        """'61 plants scored'; with two traits a plant counts that is scored for both."""
        return f"{plants(self.scored)} scored{' for both' if self.against else ''}"

    def facts(self) -> list[Fact]:
        if self.kind == "points":
            whole = _whole(self.frame["value"])
            groups = self.frame.groupby("group", sort=False)["value"]
            return [
                Fact(show(name), f"median {_figure(v.median(), whole)}",
                     f"{_range(v, whole)}, {plants(len(v))}")
                for name, v in groups
            ]  # fmt: skip
        if self.kind == "scatter":
            return [
                Fact(show(name), _range(v, _whole(v)))
                for name, v in zip(self.axes, (self.frame["x"], self.frame["y"]), strict=True)
                if len(v)
            ]
        return [
            Fact(show(name), ", ".join(f"{n:,} {show(c)}" for c, n in row.items() if n) or "none",
                 plants(int(row.sum())))
            for name, row in self.frame.iterrows()
        ]  # fmt: skip

    @property
    def notes(self) -> tuple[str, ...]:  # type: ignore[override]
        return (MEDIAN,) if self.kind == "points" and len(self.frame) else ()

    def _caption(self) -> str:
        """How many plants, and for numbers from where to where."""
        parts = [f"{self._scored_words}."]
        if self.not_scored:
            parts.append(f"{plants(self.not_scored)} not scored.")
        if self.kind == "points" and len(self.frame):
            values = self.frame["value"]
            parts.append(f"{sentence(show(self.axes[0]))}: {_range(values, _whole(values))}.")
            parts.append("A point is a plant, a bar the median (middle plant).")
        if self.kind == "scatter":
            parts += [f"{sentence(f.label)}: {f.value}." for f in self.facts()]
        return " ".join(parts)

    def plot(self, ax: Axes | None = None) -> Axes:
        """Bars for classes, points for numbers, discs for two classed traits."""
        said = "; ".join(
            f"{f.label}: {f.value}" + (f" ({f.remark})" if f.remark else "") for f in self.facts()
        )
        words: dict[str, Any] = {
            "title": self.headline,
            "caption": self._caption(),
            "alt": f"{self.verdict} {said}".strip(),
            "ax": ax,
        }
        match self.kind:
            case "shares":
                return charts.shares_by_group(self.frame, **words)
            case "discs":
                return charts.counts_of_two(self.frame, **words)
            case "points":
                groups = {
                    n: v.tolist() for n, v in self.frame.groupby("group", sort=False)["value"]
                }
                return charts.points_by_group(
                    list(groups), list(groups.values()), unit=self.axes[0], **words
                )
            case _:
                x, y = self.frame["x"].tolist(), self.frame["y"].tolist()
                return charts.scatter(x, y, names=self.axes, **words)


def look_around(
    season: Season,
    trait: str,
    against: str | None = None,
    family: str | None = None,
    shown: str | None = None,
) -> Overview:
    """One trait of a season by family, or against another trait.

    Parameters
    ----------
    season : the tables.
    trait : any trait.
    against : another trait of the same plants.
    family : only this family.
    shown : list the plants of this class of `trait` in `plants_behind`, or those "not
        scored" (for either trait, if there are two); by default all of them.

    Raises
    ------
    TableError
        if there is no such trait, family or class, or two traits are asked of a tally.
    """
    one = season.trait(trait)
    family = None if family is None else pick(family, season.family_names, "family", TableError)
    sheet = _in_register_order(season, family)
    tallied = sheet.empty and one.has_classes
    if against is None:
        if one.has_classes:
            counts = season.counts(one.name)
            counts = counts if family is None else counts.loc[[family]]
            hidden, frame = int(counts[NOT_SCORED].sum()), counts.drop(columns=NOT_SCORED)
            frame = frame.rename(index=_drawn_labels(season))
            kind, scored = "shares", int(frame.to_numpy().sum())
        else:
            groups = sheet["family"].astype(str).map(_drawn_labels(season))
            frame = pd.DataFrame({"group": groups, "value": sheet[one.name]}).dropna()
            kind, scored, hidden = "points", len(frame), len(sheet) - len(frame)
        axes = (_with_unit(one), "")
    else:
        other = season.trait(against)
        if tallied:
            raise TableError(
                Problem("season", "holds tallies: they do not say which plant is which")
            )
        kind, frame, axes = _against(sheet, one, other)
        scored = int(sheet[[one.name, other.name]].notna().all(axis=1).sum())
        hidden = len(sheet) - scored
    asked = [one] if against is None else [one, season.trait(against)]
    behind = _behind(season, sheet, asked, shown) if not tallied else pd.DataFrame()
    name = None if against is None else asked[-1].name
    return Overview(one.name, name, family, kind, frame, behind, scored, hidden, axes)


def family_labels(season: Season) -> dict[str, str]:
    """A name for each family that says its generation: '27-F2 (F2)', '27-BM (BC1 to Marl)'."""
    plans = family_plans(season.families, season.family_names, season.plants)
    labels = {}
    for name in season.family_names:
        says = describe(plans[name]) if name in plans else ""
        plain = says in ("", name) or re.fullmatch(r"P\d+", name)
        labels[name] = name if plain else f"{name} ({says})"
    return labels


def first_choice(season: Season) -> tuple[str, str]:
    """The trait and the family to begin with: what can most likely be judged.

    An F2 goes first, then another family whose plants may differ, then any family of known
    parentage, then the largest; of equals the first trait and the first F2. Families where
    the trait was not scored come last.

    Returns
    -------
    (trait, family)
        Empty where there is none: no trait with classes, no family.
    """
    classed = [name for name in season.trait_names if season.trait(name).has_classes]
    plans = family_plans(season.families, season.family_names, season.plants)
    stages = {name: generation(plan) for name, plan in plans.items()}

    def promise(family: str) -> int:
        stage = stages.get(family, "")
        return 3 if stage == "F2" else 2 if stage not in ("", "P", "F1") else int(stage != "")

    known = [name for name in season.family_names if name != NO_FAMILY]
    ranked = [(-2, 0, 0, 0, "", next(iter(known), ""))]
    for place, trait in enumerate(classed):
        scored = season.counts(trait).loc[known].drop(columns=NOT_SCORED).sum(axis=1)
        for row, (family, n) in enumerate(scored.items()):
            rank = promise(str(family)) if n else -1
            size = int(n) if rank < 3 else 0
            ranked.append((rank, -place, size, -row, trait, str(family)))
    return max(ranked)[-2:]


# --- what is in doubt ----------------------------------------------------------------


class Spelling(NamedTuple):
    """What was typed in a column, and whether it is listed as a problem."""

    column: str
    typed: str
    listed: bool


def spellings(season: Season) -> list[Spelling]:
    """What may be given another meaning: what is listed as a problem, then every class."""
    problems = season.problems
    names = {fold(n): n for n in season.trait_names}
    strangers = set(season.family_names) - set(season.families["family"])
    found: dict[Spelling, None] = {}
    for line in problems[problems["severity"] != "note"].itertuples():
        column, typed = fold(str(line.column)), tidy(str(line.value))
        if typed and column in names:
            found[Spelling(names[column], typed, True)] = None
        elif column == "family" and typed in strangers:
            found[Spelling("family", typed, True)] = None
    for name in season.trait_names if not season.plants.empty else ():
        for word in season.trait(name).classes if season.trait(name).has_classes else ():
            if Spelling(name, word, True) not in found and season.counts(name)[word].any():
                found[Spelling(name, word, False)] = None
    return list(found)


def sound_meanings(season: Season, spelling: Spelling) -> list[str]:
    """The classes (or families) that a spelling can mean: none that is itself in doubt."""
    column = spelling.column
    if column == "family":
        known = list(season.families["family"])
    else:
        known = list(season.trait(column).classes) if season.trait(column).has_classes else []
    doubtful = {s.typed for s in spellings(season) if s.listed and s.column == column}
    return [k for k in known if k != spelling.typed and k not in doubtful]


def rows_typed(season: Season, spelling: Spelling) -> int:
    """In how many rows a spelling was typed, whatever its capitals and blanks."""
    typed = season.typed
    header = next(c for c in typed if fold(c) == fold(spelling.column))
    words = typed[header].value_counts()
    classes = () if spelling.column == "family" else season.trait(spelling.column).classes
    key = matcher(words.index, classes)
    return int(words[[key(w) == key(spelling.typed) for w in words.index]].sum())


def what_they_say(lines: pd.DataFrame) -> pd.DataFrame:
    """Lines of `Season.problems` as one reads them, without the columns that say nothing."""
    told = lines[["source", "row", "rows", "column", "value", "problem", "suggestion"]].copy()
    told[["column", "value"]] = told[["column", "value"]].map(show)  # a user's words, cut
    placed = lines["row"].notna()
    told["rows"] = [count_rows(n) if p else "" for n, p in zip(lines["rows"], placed, strict=True)]
    silent = [c for c in told if told[c].isna().all() or (told[c] == "").all()]
    if told["source"].nunique() == 1:
        silent.append("source")
    return told.drop(columns=silent)


def count_rows(n: int) -> str:
    """'1 row', '3 rows'."""
    return f"{n:,} row{'' if n == 1 else 's'}"


# --- small parts ---------------------------------------------------------------------


def _drawn_labels(season: Season) -> dict[str, str]:
    """`family_labels` short enough for a picture: long ones lose their middle.

    The beginning is what families of one cross share, and the end is their generation.
    Where two would look alike, all stay whole.
    """
    half = LONGEST_LABEL // 2
    labels = family_labels(season)
    short = {
        name: text if len(text) <= LONGEST_LABEL else f"{text[: half - 1]}…{text[-half:]}"
        for name, text in labels.items()
    }
    return short if len(set(short.values())) == len(set(labels.values())) else labels


def _in_register_order(season: Season, family: str | None) -> pd.DataFrame:
    sheet = season.plants
    if "family" not in sheet:
        return pd.DataFrame()
    place = {name: i for i, name in enumerate(season.family_names)}
    order = sheet["family"].astype(str).map(place).argsort(kind="stable")
    sheet = sheet.iloc[order.to_numpy()]
    return sheet if family is None else sheet[sheet["family"] == family]


def _against(
    sheet: pd.DataFrame, one: Any, other: Any
) -> tuple[str, pd.DataFrame, tuple[str, str]]:
    """The kind of picture for two traits, its frame, and the names of its axes."""
    both = sheet[[one.name, other.name]].dropna()
    names = (_with_unit(one), _with_unit(other))
    if one.has_classes and other.has_classes:
        table = pd.crosstab(both[other.name], both[one.name], dropna=False)
        table = table.reindex(index=other.classes, columns=one.classes, fill_value=0)
        return "discs", table.rename_axis(index=other.name, columns=one.name), names
    if not one.has_classes and not other.has_classes:
        return "scatter", pd.DataFrame({"x": both[one.name], "y": both[other.name]}), names
    classed, measured = (one, other) if one.has_classes else (other, one)
    groups = both[classed.name].astype(str)
    frame = pd.DataFrame({"group": groups, "value": both[measured.name]})
    place = {c: i for i, c in enumerate(classed.classes)}
    order = groups.map(place).argsort(kind="stable").to_numpy()
    return "points", frame.iloc[order], (_with_unit(measured), "")


def _behind(
    season: Season, sheet: pd.DataFrame, asked: list[Any], shown: str | None
) -> pd.DataFrame:
    """The plants of a class, with the scores as understood and the first as typed."""
    trait, names = asked[0], list(dict.fromkeys(t.name for t in asked))
    columns = {fold(c): c for c in season.typed.columns}
    listed = sheet[["plant", "family", *names]].copy()
    for each in asked:
        if each.has_classes:
            scores = listed[each.name].astype(object)
            listed[each.name] = scores.where(scores.notna(), NOT_SCORED).astype(str)
        elif each.kind == "count":
            listed[each.name] = listed[each.name].astype("Int64")
    missing = sheet[names].isna().any(axis=1)
    if fold(trait.name) in columns:
        typed = season.typed.loc[listed.index, columns[fold(trait.name)]]
        listed.insert(3, "typed", typed, allow_duplicates=True)
    if shown is None:
        return listed
    classes = [*(trait.classes if trait.has_classes else ()), NOT_SCORED]
    shown = pick(shown, classes, f"class of {quote(trait.name)}", TableError)
    return listed[missing if shown == NOT_SCORED else sheet[trait.name] == shown]


def _whole(values: pd.Series) -> bool:
    """Whether all of them are whole numbers, as counts are."""
    return bool((values % 1 == 0).all())


def _figure(x: float, whole: bool) -> str:
    """A number; a count, or the middle between two of them, as one writes it."""
    return f"{x:,.1f}".removesuffix(".0") if whole else number(x)


def _range(values: pd.Series, whole: bool) -> str:
    """'1 to 4'."""
    return f"{_figure(values.min(), whole)} to {_figure(values.max(), whole)}"


def _with_unit(trait: Any) -> str:
    """'fruit weight, g'; a name that says its unit has it already: 'Height cm', 'Height (cm)'."""
    name, unit = str(trait.name), re.escape(fold(trait.unit))
    said = re.search(
        rf"^{unit}\b|[(\[] *{unit} *\.?[)\]]|(?<!\w){unit}\.?$", fold(name.replace("_", " "))
    )
    return name if said or not unit else f"{name}, {trait.unit}"
