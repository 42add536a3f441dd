"""The plants of a season, each once.

A plant is known by its family and its code. Of a plant typed twice the first row
counts; scores it lacks are taken from the other rows, unless any scores contradict.
Last rows such as Total, which have no family, are no plants. What is left out, joined or
cannot be told apart is said.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from breedkit.errors import Problem, fold, quote
from breedkit.reading import Finding, Sheet
from breedkit.records import Column
from breedkit.spelling import MEANS, MOST, SUMS, tidy


def without_sums(sheet: Sheet, plant: str, family: str) -> tuple[Sheet, list[Finding]]:
    """The plants without last rows such as Total, and what to say of these."""
    size = len(sheet.rows)
    findings = []
    while size:
        names = [tidy(sheet.columns[header].text(size - 1)) for header in (plant, family)]
        said = [name for name in names if name]
        if len(said) != 1 or fold(said[0]).rstrip(" :.") not in SUMS | MEANS:
            break
        size -= 1
        header = plant if names[0] else family
        what = "is not a plant: the row is not used"
        problem = Problem(sheet.source, what, int(sheet.rows[size]), header, said[0])
        findings.append(Finding("check", problem))
    return (sheet.top(size) if findings else sheet), findings[::-1]


def say_no_family(sheet: Sheet, header: str, family: pd.Categorical) -> list[Finding]:
    """Says which plants have no family, and which was the last one typed before them."""
    without = np.flatnonzero(family.codes < 0)
    if not len(without):
        return []
    above = family[: without[0]]
    what = "1 plant has" if len(without) == 1 else f"{len(without):,} plants have"
    what += " no family" + (f"; the last one typed was {quote(above[-1])}" if len(above) else "")
    advice = "Type the family in each row: it is not guessed."
    row = int(sheet.rows[without[0]])
    problem = Problem(sheet.source, what, row, header, advice=advice)
    return [Finding("check", problem, len(without))]


Scores = Mapping[str, pd.Categorical | np.ndarray]


def once_each(
    sheet: Sheet, header: str, plant: Column, family: pd.Categorical, scores: Scores
) -> tuple[np.ndarray, dict[str, np.ndarray], list[Finding]]:
    """Which rows count, and what to say of plants typed more than once.

    Returns
    -------
    once, joined, findings
        The places of the rows that count; for each trait in which another row of a plant
        fills a gap, the places its scores come from, one for each of `once`.
    """
    everyone = np.arange(len(plant))
    names = folded(plant)
    if names.kinds() == len(plant):
        return everyone, {}, _say_nameless(sheet, header, plant)
    key = names.coded()[1]
    nameless = plant.blank()
    both = pd.Series(key.astype(np.int64) * len(family.categories) + family.codes)
    again = both.duplicated().to_numpy() & ~nameless
    findings = _say_nameless(sheet, header, plant)

    def say(severity: str, at: int, what: str, advice: str) -> None:
        typed = sheet.typed(header).text(at)
        problem = Problem(sheet.source, what, int(sheet.rows[at]), header, typed, advice=advice)
        findings.append(Finding(severity, problem))

    same = np.flatnonzero(both.duplicated(keep=False).to_numpy() & ~nameless)
    takes, clash = _joined(both.to_numpy()[same], same, scores)
    gives = {at for taken in takes.values() for at in taken.values()}
    for at in np.flatnonzero(again)[:MOST]:
        place = int(np.argmax(both == both[at]))
        first = sheet.rows[place]
        severity, what = "mend", f"is already in row {first}; this row is not counted"
        advice = "Take one of the two rows away, or mend the code."
        if at in gives:
            severity, what = "check", f"is already in row {first}, which lacks scores of this row"
            advice = "They are joined there: nothing contradicts. Is it the same plant?"
        elif name := clash.get(at):
            there, here = (_score(scores[name], row) for row in (place, at))
            advice = f"{quote(name)} is {quote(there)} there and {quote(here)} here. {advice}"
        say(severity, at, what, advice)
    if (more := int(again.sum()) - MOST) > 0:
        problem = Problem(sheet.source, "more rows of plants typed before; not counted")
        findings.append(Finding("mend", problem, more))
    elsewhere = pd.Series(key).duplicated().to_numpy() & ~again & ~nameless
    for at in np.flatnonzero(elsewhere)[:MOST]:
        if not tidy(plant.text(at)).isdecimal():
            first = np.argmax(key == key[at])
            what = f"is also a plant of {quote(family[first])}; counted as two plants"
            rows = f"row {sheet.rows[at]} or row {sheet.rows[first]}"
            say("check", at, what, f"If it is the same plant, take {rows} away.")
    once = everyone[~again]
    joined = {}
    for name, taken in takes.items():
        joined[name] = once.copy()
        joined[name][np.searchsorted(once, list(taken))] = list(taken.values())
    return once, joined, findings


def _joined(
    group: np.ndarray, rows: np.ndarray, scores: Scores
) -> tuple[dict[str, dict[int, int]], dict[int, str]]:
    """What rows of the same plant say together.

    Parameters
    ----------
    group : which of the rows are of the same plant.
    rows : their places, ascending.

    Returns
    -------
    takes, clash
        Trait -> first row of a plant -> the row that fills its gap, where no scores of the
        plant contradict; and row -> a trait in which it contradicts the first row.
    """
    first = pd.Series(rows).groupby(group).transform("min").to_numpy()
    takes: dict[str, dict[int, int]] = {}
    clash: dict[int, str] = {}
    split = np.zeros(len(rows), dtype=bool)  # plants whose rows contradict each other
    for name, column in scores.items():
        values = column.codes if isinstance(column, pd.Categorical) else column
        scored = values >= 0 if isinstance(column, pd.Categorical) else ~np.isnan(values)
        said = pd.Series(np.where(scored[rows], values[rows], np.nan))
        split |= (said.groupby(group).transform("nunique") > 1).to_numpy()
        other = scored[rows] & scored[first] & (values[rows] != values[first])
        clash |= {at: name for at in rows[other].tolist() if at not in clash}
        gaps = np.flatnonzero(scored[rows] & ~scored[first])[::-1]  # the first to fill it wins
        takes[name] = dict(zip(first[gaps].tolist(), rows[gaps].tolist(), strict=True))
    for broken in set(first[split].tolist()):
        for taken in takes.values():
            taken.pop(broken, None)
    return {name: taken for name, taken in takes.items() if taken}, clash


def _score(column: pd.Categorical | np.ndarray, at: int) -> str:
    return str(column[at]) if isinstance(column, pd.Categorical) else f"{column[at]:g}"


def folded(plant: Column) -> Column:
    """The codes of plants as they are compared."""
    return plant.lower() if plant.simple else plant.map(fold)


def say_formulas(sheet: Sheet, header: str) -> list[Finding]:
    """Says if names are formulas."""
    if not sheet.columns[header].any_begins(b"="):
        return []
    typed = sheet.columns[header].texts()
    rows = [at for at, text in enumerate(typed) if text.startswith("=")]
    advice = "Formulas are not worked out here: paste their values instead."
    at = int(sheet.rows[rows[0]])
    problem = Problem(
        sheet.source, "is a formula, read as text", at, header, typed[rows[0]], advice=advice
    )
    return [Finding("check", problem, len(rows))]


def _say_nameless(sheet: Sheet, header: str, plant: Column) -> list[Finding]:
    nameless = np.flatnonzero(plant.blank())
    if not len(nameless):
        return []
    what = "plants without a code: counted, but they cannot be told apart"
    problem = Problem(sheet.source, what, int(sheet.rows[nameless[0]]), header)
    return [Finding("check", problem, len(nameless))]
