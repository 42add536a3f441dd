"""What contradicts itself in a register: each thing with its way. All names invented."""

from __future__ import annotations

import random
import time

import networkx as nx
import pandas as pd
import pytest

from breedkit.descent import Entry, Register, agrees, circles, is_generation, mistaken, unsown
from breedkit.families import parse_family, read_register
from breedkit.pedigree import Chosen, Cross, Founder, Plan, Selfing
from breedkit.tables import Season, load_season


def entries(*rows: tuple[str, ...], homes: dict[str, str] | None = None) -> Register:
    """Rows (family, female, male, season, sown), numbered as a spreadsheet does."""
    return Register(
        {family: Entry(row, *rest) for row, (family, *rest) in enumerate(rows, start=2)},
        homes or {},
    )


# --- nothing comes back to itself -------------------------------------------------------


def test_a_circle_is_shown_from_each_of_its_families() -> None:
    found = circles(
        entries(
            ("Marl", "", ""), ("A", "B", "Marl"), ("B", "C", "selfed"), ("C", "A", "open"),
            ("D", "C", "selfed"),
        )
    )  # fmt: skip
    assert found == {
        "A": "The circle: 'A' (row 3) from 'B', 'B' (row 4) from 'C', 'C' (row 5) from 'A'. "
        "Mend the row that is wrong.",
        "B": "The circle: 'B' (row 4) from 'C', 'C' (row 5) from 'A', 'A' (row 3) from 'B'. "
        "Mend the row that is wrong.",
        "C": "The circle: 'C' (row 5) from 'A', 'A' (row 3) from 'B', 'B' (row 4) from 'C'. "
        "Mend the row that is wrong.",
    }  # D comes from a circle, but is in none


def test_a_plant_that_is_its_own_ancestor() -> None:
    found = circles(
        entries(
            ("L", "L-2", "selfed"), ("M", "N-1", "selfed"), ("N", "M-4", "M-4"), ("O", "O", "open"),
            homes={"L-2": "L", "N-1": "N", "M-4": "M"},
        )
    )  # fmt: skip
    assert list(found) == ["L", "M", "N", "O"]
    assert found["L"] == (
        "The circle: 'L' (row 2) from plant 'L-2' of 'L'. Plant 'L-2' would be its own ancestor. "
        "Mend the row that is wrong."
    )
    assert "'M' (row 3) from plant 'N-1' of 'N', 'N' (row 4) from plant 'M-4' of 'M'" in found["M"]
    assert circles(entries(("A", "", ""), ("open", "A", "open"), ("selfed", "A", "selfed"))) == {}
    assert found["O"].startswith("The circle: 'O' (row 5) from 'O'. Mend")


@pytest.mark.parametrize("seed", range(20))
def test_circles_against_a_library_of_graphs(seed: int) -> None:
    """Strongly connected components of networkx, and families that are their own parent."""
    draw = random.Random(seed)
    names = [f"X{k}" for k in range(60)]
    rows = [(n, draw.choice([*names, ""]), draw.choice(["", "", "selfed", *names[:9]]))
            for n in names]  # fmt: skip
    graph = nx.DiGraph((n, p) for n, *sides in rows for p in sides if p in names)
    groups = nx.strongly_connected_components(graph)
    inside = {n for g in groups for n in g if len(g) > 1 or graph.has_edge(n, n)}
    assert set(circles(entries(*rows))) == inside


def test_a_register_that_is_one_great_circle_is_said_soon() -> None:
    rows = [(f"X{k}", f"X{(k + 1) % 3000}", "selfed") for k in range(3000)]
    start = time.process_time()
    found = circles(entries(*rows))
    assert time.process_time() - start < 2
    assert len(found) == 3000
    assert all(len(way) < 600 and ", …. Mend" in way for way in found.values())


# --- sown before its offspring ------------------------------------------------------------

PARENTS = [("Tind", "", ""), ("Kids", "Marl", "Tind")]


@pytest.mark.parametrize(
    ("parent", "child", "late"),
    [
        (("2041", ""), ("2041", ""), False),
        (("2042", ""), ("2041", ""), True),
        (("", "2041-02-20"), ("", "2041-02-20"), False),
        (("", "2041-02-21"), ("", "2041-02-20"), True),
        (("", "21.2.2041"), ("", "2041-02-20"), True),
        (("", "2041-02-20 00:00:00"), ("2041", ""), False),
        (("2041", "2041-02-20"), ("2040", "2041-03-01"), True),  # crossed in 2040
        (("2042", "2041-11-20"), ("2041", ""), False),  # sown in the autumn before its season
        (("", "2042-03-01"), ("2041", ""), True),
        (("spring 2042", ""), ("autumn 2041", ""), True),
        (("2041/42", ""), ("2041", ""), False),
        (("3", ""), ("2", ""), True),
        (("2", ""), ("3", ""), False),
        (("3", ""), ("2041", ""), False),  # cannot be compared
        (("", ""), ("2041", ""), False),
        (("2041", ""), ("", ""), False),
        (("", "in March"), ("2041", ""), False),
        (("", "2041-02-30"), ("2040", ""), True),  # no such day, but a year
        (("x" * 10_000, "=cmd()"), ("2041", "<img>"), False),
    ],
)  # fmt: skip
def test_when_a_parent_was_sown_too_late(parent: tuple, child: tuple, late: bool) -> None:
    rows = [("Marl", "", "", *parent), ("Tind", "", ""), ("Kids", "Marl", "Tind", *child)]
    found = list(unsown(entries(*rows)))
    assert [f[:2] for f in found] == [("Kids", "Marl")] * late
    swapped = [*rows[:2], ("Kids", "Tind", "Marl", *child)]
    assert [f[:2] for f in unsown(entries(*swapped))] == [("Kids", "Marl")] * late


def test_the_way_to_a_parent_sown_too_late() -> None:
    found = list(
        unsown(
            entries(
                ("Marl", "", "", "2044", ""), ("F1", "Marl", "Tind"), ("F2", "F1", "selfed"),
                ("F3", "F2-7", "selfed", "2043", "1.3.2043"), ("Tind", "", "", "2040", ""),
                homes={"F2-7": "F2"},
            )
        )
    )  # fmt: skip
    assert found == [
        ("F3", "F2-7",
         "'F3' (row 5): sown 1.3.2043; 'Marl' (row 2): season 2044. The way: 'F3' (row 5) from "
         "plant 'F2-7' of 'F2', 'F2' (row 4) from 'F1', 'F1' (row 3) from 'Marl'. "
         "Mend the date or the parent.")
    ]  # fmt: skip


# --- typed generations ---------------------------------------------------------------------

A, B = Founder("Marl"), Founder("Tind")
F1 = Cross(A, B)
F2 = Selfing(F1)
LINE = Selfing(Chosen(F2, None, "7"))
SIBS = Cross(Chosen(F2, None, "7"), Chosen(F2, None, "8"))


@pytest.mark.parametrize(
    ("typed", "plan", "says"),
    [
        ("F1", F1, True), ("f 1", F1, True), ("F2", F1, False), ("BC1", F1, False),
        ("F2", F2, True), ("F3", F2, False), ("F1", F2, False), ("F3", LINE, True),
        ("F2:3", LINE, True), ("F3:4", LINE, False), ("F1:3", LINE, False),
        ("F2:3", Selfing(F2), True),  # the plants may not have been noted
        ("BC1", Cross(F1, A), True), ("BC", Cross(F1, A), True), ("BC2", Cross(F1, A), False),
        ("BC1(P1)", Cross(F1, A), True), ("BC1P1", Cross(F1, A), True),
        ("BC1F1", Cross(F1, A), True), ("BC1F2", Cross(F1, A), False),
        ("F1", Cross(F1, A), False), ("BC1F2", Selfing(Cross(F1, A)), True),
        ("F2", Selfing(Cross(F1, A)), False), ("BC2F3", parse_family("BC2F3"), True),
        ("testcross", Cross(F1, A), True), ("testcross", F1, False),
        ("three-way", Cross(F1, Founder("Gorse")), True), ("3-way cross", F1, False),
        ("F1", Cross(F1, Founder("Gorse")), True),
        ("double cross", parse_family("double cross", "ABCD"), True),
        ("reciprocal F1", F1, True), ("F2 open", parse_family("F2 open"), True),
        ("F3", parse_family("F2 open"), True), ("F4", parse_family("F2 open"), False),
        ("F2 sib", SIBS, True), ("F3", SIBS, True), ("F1", SIBS, False),
        ("P", F1, False), ("line 4", F1, None), ("", F1, None), ("=cmd()", F1, None),
    ],
)  # fmt: skip
def test_typed_generations_against_the_parents(typed: str, plan: Plan, says: bool | None) -> None:
    assert agrees(typed, plan) is says
    assert is_generation(typed) is (says is not None or not typed)


ROWS = [("Marl", "", ""), ("Tind", "", ""), ("F1", "Marl", "Tind")]


@pytest.mark.parametrize(
    "name",
    ["F2", "27-F2", "F2-Oddley", "F2 bed 3", "our f2", "F2_late", "F3 or F2", "second", "27F3",
     "XF3", "F3a", "F2016", "BF1", "F 3rd", "PF3:4x"],
)  # fmt: skip
def test_names_that_say_nothing_wrong(name: str) -> None:
    register = entries(*ROWS, (name, "F1", "selfed"))
    rows = [(f, e.female, e.male) for f, e in register.entries.items()]
    assert list(mistaken(register, read_register(rows), {})) == []


@pytest.mark.parametrize(
    "name", ["F3", "27-F3", "F1-b", "BC1", "BC1P1", "F3-06", "bc2f2", "F2:3 F3", "our F4"]
)
def test_names_that_the_parents_contradict(name: str) -> None:
    register = entries(*ROWS, (name, "F1", "selfed"))
    rows = [(f, e.female, e.male) for f, e in register.entries.items()]
    (found,) = mistaken(register, read_register(rows), {})
    assert (found.family, found.in_name, found.makes) == (name, True, "F2")
    assert found.way == f"'{name}' (row 5) is 'F1' selfed; 'F1' (row 4) is 'Marl' by 'Tind'"


def test_without_a_recorded_cross_nothing_is_contradicted() -> None:
    bought = entries(("Bought F1", "", ""), ("F2", "Bought F1", "selfed"), ("F3", "F2", "open"))
    rows = [(f, e.female, e.male) for f, e in bought.entries.items()]
    assert list(mistaken(bought, read_register(rows), {"Bought F1": "F1"})) == []
    unwritten = entries(("F1", "", ""), ("F1-1", "F1", "selfed"))  # what F1 is its name alone says
    rows = [(f, e.female, e.male) for f, e in unwritten.entries.items()]
    assert list(mistaken(unwritten, read_register(rows), {})) == []


# --- all of it in a season's problems ------------------------------------------------------

FAULTY = """family,female,male,season,sown,generation
Marl,,,2040,2040-02-01,P
Tind,,,2044,2044-02-01,
26-F1,Marl,Tind,2041,2041-02-01,F1
27-F2,26-F1,Marl,2042,2042-02-01,F2
27-x,26-F1,selfed,2042,1.2.2042,BC1
A,B,selfed,,,
B,A,Marl,,,
L,L-2,selfed,,,
26-F1,Marl,Gorse,,,
26 F1,marl,TIND,,,
X,Marl,Nobody,,,
Y,X,selfed,,,weird
Z,Y,selfed,,,
Q,27-F2,,,,
R,Q,selfed,,,
S,selfed,open,,,
"""


def loaded(register: str, tmp_path, plants: str = "plant,family,c\n1,27-F2,r\nL-2,L,w\n") -> Season:
    (tmp_path / "plants.csv").write_text(plants, encoding="utf-8")
    (tmp_path / "families.csv").write_text(register, encoding="utf-8")
    return load_season(tmp_path)


def test_every_contradiction_is_said_at_once(tmp_path) -> None:
    problems = loaded(FAULTY, tmp_path).problems
    problems = problems[problems["source"] == "families.csv"]
    columns = ["severity", "row", "column", "value", "problem"]
    found = [tuple(row) for row in problems[columns].itertuples(index=False, name=None)]
    assert found == [
        ("mend", 10, "family", "26-F1",
         "is registered twice, with other parents; the first row counts"),
        ("mend", 11, "family", "26 F1", "is registered twice; the first row counts"),
        ("mend", 17, "female", "selfed", "stands where a parent is missing"),
        ("mend", 10, "male", "Gorse",
         "is neither in the register nor a plant; its family's parents are not known"),
        ("mend", 12, "male", "Nobody",
         "is neither in the register nor a plant; its family's parents are not known"),
        ("mend", 7, "family", "A", "is among its own ancestors"),
        ("mend", 8, "family", "B", "is among its own ancestors"),
        ("mend", 9, "family", "L", "is among its own ancestors"),
        ("check", 15, "male", "", "only one parent is given"),
        ("check", 4, "male", "Tind", "was not yet sown when '26-F1' was crossed"),
        ("check", 5, "family", "27-F2", "is typed, but its parents make it BC1 to 'Marl'"),
        ("check", 5, "generation", "F2", "is typed, but its parents make it BC1 to 'Marl'"),
        ("check", 6, "generation", "BC1", "is typed, but its parents make it F2"),
        ("note", 13, "generation", "weird",
         "is no generation that is known: not compared with the parents"),
    ]  # fmt: skip
    advice = dict(zip(problems["row"], problems["suggestion"], strict=True))
    assert advice[10].startswith("Add a row for it")  # the last finding of the row
    assert problems["suggestion"].iloc[0] == (
        "Row 4 says 'Marl' by 'Tind', row 10 'Marl' by 'Gorse'. Take the wrong row away."
    )
    assert advice[12].endswith("Behind it, not followed either: 'Y' and 'Z'.")
    assert advice[15].endswith("Behind it, not followed either: 'R'.")
    assert advice[4] == (
        "'26-F1' (row 4): sown 2041-02-01; 'Tind' (row 3): sown 2044-02-01. "
        "Mend the date or the parent."
    )


def test_what_is_contradicted_is_still_there(tmp_path) -> None:
    season = loaded(FAULTY, tmp_path)
    named = season.names().set_index("family")
    assert named.index.tolist() == season.families["family"].tolist()
    assert named.at["27-F2", "generation"] == "BC1"  # the parents count, not what is typed
    assert named.at["A", "generation"] == named.at["Z", "generation"] == "not known"
    season.save(tmp_path / "saved")
    again = load_season(tmp_path / "saved")
    columns = ["severity", "row", "value", "problem", "suggestion"]
    assert again.problems[columns].equals(season.problems[columns])


def test_a_register_in_order_has_nothing_to_say() -> None:
    season = load_season("sample_data/invented_season")
    assert season.problems.query("source == 'families.csv'").empty


def test_rows_of_the_same_parents_written_otherwise_do_not_disagree(tmp_path) -> None:
    register = (
        "family,female,male\nMarl,,\nTind,,\nF1,Marl,Tind\nF2,F1,selfed\nf2,F1,F1\nF-2,self,f1\n"
        "O,F1,open\nO,F1,bees\nO,F1,selfed\nR,Tind,Marl\nR,Marl,Tind\n"
    )
    problems = loaded(register, tmp_path, "plant,family,c\n1,F2,r\n").problems
    twice = problems[problems["problem"].str.contains("twice")]
    assert dict(zip(twice["row"], twice["problem"].str.contains("other parents"), strict=True)) == {
        6: False, 7: False, 9: False, 10: True, 12: True,
    }  # fmt: skip


def test_hostile_names_in_a_circle_are_shown_as_text() -> None:
    names = ["<img onerror=alert(1)>", "=cmd()", "$x$", "x" * 10_000, "\u202eA", "\u05d0\u05d1"]
    rows = pd.DataFrame({"family": names, "female": [*names[1:], names[0]], "male": "selfed"})
    season = load_season(plants=pd.DataFrame({"plant": ["1"], "family": ["$x$"], "c": ["r"]}),
                         families=rows)  # fmt: skip
    found = season.problems[season.problems["problem"] == "is among its own ancestors"]
    assert len(found) == len(names)
    assert found["suggestion"].str.len().max() < 700
    assert "<img" not in season.to_html()


def test_checking_two_thousand_families_is_soon() -> None:
    draw = random.Random(4)
    names = [f"X{k}" for k in range(2000)]
    rows = [(n, *(draw.choice(names[:k] or [""]) for _ in "fm"), str(2030 + k // 130))
            for k, n in enumerate(names)]  # fmt: skip
    register = entries(*rows)
    plans = read_register([row[:3] for row in rows])
    start = time.process_time()
    found = [*circles(register), *unsown(register), *mistaken(register, plans, {})]
    assert time.process_time() - start < 0.5
    assert found == []
