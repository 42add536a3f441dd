"""Parentage read from short forms and from a register."""

import random

import networkx as nx
import pandas as pd
import pytest

from breedkit.errors import PedigreeError
from breedkit.families import family_plans, parent_plants, parse_family, read_register
from breedkit.pedigree import (
    Chosen,
    Cross,
    Founder,
    Intermating,
    Selfing,
    founders_of,
    generation,
    recurrent_parent,
)

P1, P2 = Founder("P1"), Founder("P2")
F1 = Cross(P1, P2)


def test_short_forms() -> None:
    assert parse_family("F1") == F1
    assert parse_family("f3") == Selfing(Selfing(F1))
    assert parse_family("BC1") == Cross(F1, P1)  # a bare BC1 goes back to the first parent
    assert parse_family("BC2(P2)F2") == Selfing(Cross(Cross(F1, P2), P2))
    assert parse_family("F2:3") == Selfing(Chosen(Selfing(F1)))
    assert parse_family("F2:4") == Selfing(Selfing(Chosen(Selfing(F1))))
    assert parse_family("bc1(p2)f2") == Selfing(Cross(F1, P2))
    assert parse_family("F2 open") == Intermating(Selfing(F1))
    assert parse_family("F3 from orange F2") == Selfing(Chosen(Selfing(F1), "orange"))
    assert parse_family("F3 from light green F2") == Selfing(Chosen(Selfing(F1), "light green"))
    assert parse_family("three-way", ("a", "b", "c")) == Cross(
        Cross(Founder("a"), Founder("b")), Founder("c")
    )


@pytest.mark.parametrize(
    "form",
    ["F1", "F2", "F8", "F2:3", "F3:6", "BC1", "BC6", "BC1F2", "BC3F4", "BC1F2:3",
     "testcross", "three-way",
     "double cross", "F2 open", "F2 sib"],
)  # fmt: skip
def test_the_name_of_a_short_form_is_that_form(form: str) -> None:
    assert generation(parse_family(form, ("P1", "P2", "P3", "P4"))) == form


@pytest.mark.parametrize(
    "form, says",
    [
        ("F13", "outside F1 to F12"),
        ("BC7", "outside BC1 to BC6"),
        ("F0", "outside"),
        ("P3", "Parent P3"),
        ("F3:2", "later one"),
        ("BC1(P9)", "Parent P9"),
        ("BC1(Nobody)", "not one of the parents"),
        ("F2 from red F3", "does not come from"),
        ("F3 sib", "not full sibs"),
        ("BC2F3 sib", "not full sibs"),
        ("BC1F3:2", "later one"),
        ("testcros", "Did you mean 'testcross'"),
        ("<img src=x>", "no family called"),
        (None, "no|not"),
    ],
)
def test_forms_that_cannot_be_read(form: str, says: str) -> None:
    with pytest.raises(PedigreeError, match=says) as caught:
        parse_family(form)
    assert len(str(caught.value).splitlines()[0]) < 90


REGISTER = [
    ("Marl", "", ""),
    ("Tind", "", ""),
    ("26-F1", "Marl", "Tind"),
    ("27-F2", "26-F1", "26-f1"),
    ("27-BM", "26-F1", "Marl"),
    ("27-BT", "Tind", "26-F1"),
    ("28-5", "27-F2-05", "selfed"),
    ("28-o", "27-F2", "open"),
    ("29-5", "28-5-01", "28-5-01"),
    ("28-x", "27-F2-05", "27-F2-07"),
    ("29-BM2", "27-BM-3", "Marl"),
]
PLANTS = {"27-F2-05": "27-F2", "27-F2-07": "27-F2", "28-5-01": "28-5", "27-BM-3": "27-BM"}


def test_a_register_names_its_generations() -> None:
    plans = read_register(REGISTER, PLANTS)
    assert {name: generation(plan) for name, plan in plans.items()} == {
        "Marl": "P", "Tind": "P", "26-F1": "F1", "27-F2": "F2", "27-BM": "BC1", "27-BT": "BC1",
        "28-5": "F2:3", "28-o": "F2 open", "29-5": "F3:4", "28-x": "F2 sib", "29-BM2": "BC2",
    }  # fmt: skip
    assert recurrent_parent(plans["27-BM"]) == recurrent_parent(plans["29-BM2"]) == "Marl"
    assert recurrent_parent(plans["27-BT"]) == "Tind"
    assert recurrent_parent(plans["27-F2"]) is None
    assert founders_of(plans["27-BT"]) == ("Tind", "Marl")


@pytest.mark.parametrize(
    "rows, says",
    [
        ([("F2", "F1", "F1")], "neither a family nor a plant"),
        ([("A", "B", "selfed"), ("B", "A", "selfed")], "descends from itself"),
        ([("A", "A", "A")], "descends from itself"),
        (
            [("A", "B", "X"), ("B", "C", "X"), ("C", "D", "X"), ("D", "A", "X"), ("X", "", "")],
            "descends from itself",
        ),
        ([("P", "", ""), ("F1", "P", "")], "only one parent"),
        ([("Marl", "", ""), ("F1", "Marll", "Marl")], "Did you mean 'Marl'"),
    ],
)
def test_registers_that_contradict_themselves(rows: list[tuple[str, str, str]], says: str) -> None:
    with pytest.raises(PedigreeError, match=says):
        read_register(rows)


def test_a_family_may_be_called_open_and_come_from_open_pollination() -> None:
    rows = [("A", "", ""), ("B", "", ""), ("open", "A", "open"), ("selfed", "selfed", "B")]
    assert read_register(rows)["open"] == Intermating(Founder("A"))
    assert read_register(rows)["selfed"] == Selfing(Founder("B"))


def test_what_stands_beside_the_only_parent_says_how_it_was_mated() -> None:
    rows = [("A", "", ""), ("B", "", ""), ("F1", "A", "B"), ("F2", "Selfed", "F1"),
            ("bees", "OP", "F1"), ("none", "selfed", "open")]  # fmt: skip
    plans = read_register(rows, skip_faults=True)
    assert plans["F2"] == Selfing(plans["F1"])
    assert plans["bees"] == Intermating(plans["F1"])
    assert "none" not in plans
    with pytest.raises(PedigreeError, match="'none' is open, but no parent is named"):
        read_register(rows)


def test_a_plant_is_one_parent_however_many_families_it_has() -> None:
    plans = read_register([*REGISTER, ("28-6", "27-F2-05", "Marl")], PLANTS)
    assert plans["28-5"].parent is plans["28-6"].female


def test_a_line_of_very_many_generations_is_followed() -> None:
    rows = [(f"L{k}", f"L{k - 1}", "selfed") for k in range(1500, 0, -1)] + [("L0", "", "")]
    plan = read_register(rows)["L1500"]
    for _ in range(1500):
        plan = plan.parent
    assert plan == Founder("L0")


def test_plants_of_the_same_code_in_several_families_are_told_apart() -> None:
    families = pd.DataFrame(
        {"family": ["Marl", "Tind", "F1", "F2", "BC", "L", "M", "N"],
         "female": ["", "", "Marl", "F1", "F1", "F2 4", "BC 4", "4"],
         "male": ["", "", "Tind", "selfed", "Marl", "selfed", "Tind", "selfed"]}
    )  # fmt: skip
    plants = pd.DataFrame(
        {"plant": ["4", "4", "5", "5"], "family": ["F2", "BC", "F2", "F2"],
         "colour": ["red", "white", "red", "white"]}
    )  # fmt: skip
    plans = family_plans(families, (), plants, "colour")
    assert plans["L"] == Selfing(Chosen(plans["F2"], "red", "F2 4"))
    assert plans["M"] == Cross(Chosen(plans["BC"], "white", "BC 4"), Founder("Tind"))
    assert "N" not in plans  # nobody knows which plant 4
    assert parent_plants(families, plants)["colour"].to_dict() == {"F2 4": "red", "BC 4": "white"}


def test_a_family_may_be_called_self() -> None:
    rows = [("Self", "", ""), ("Tind", "", ""), ("F1", "Tind", "Self"), ("F2", "F1", "selfed")]
    plans = read_register(rows)
    assert plans["F1"] == Cross(Founder("Tind"), Founder("Self"))
    assert plans["F2"] == Selfing(plans["F1"])
    assert read_register([*rows[1:2], ("X", "Tind", "self")])["X"] == Selfing(Founder("Tind"))


def test_without_a_register_only_short_forms_are_known() -> None:
    families = pd.DataFrame({"family": ["F2", "Kids"], "female": ["", ""], "male": ["", ""]})
    plans = family_plans(families, ["F2", "Kids", "BC1", "bc2 F2", "BC1(P2)"])
    assert set(plans) == {"F2", "BC1(P2)"}  # a bare BC1 does not say to which parent
    families = pd.DataFrame(
        {"family": ["Mum", "Dad", "Kids"], "female": ["", "", "Mum"], "male": ["", "", "Dad"]}
    )
    plans = family_plans(families, ["Mum", "Kids", "volunteers"])
    assert set(plans) == {"Mum", "Dad", "Kids"}
    assert plans["Kids"] == Cross(Founder("Mum"), Founder("Dad"))


def test_a_parent_plant_brings_its_look_along() -> None:
    families = pd.DataFrame(
        {"family": ["P1", "P2", "F1", "F2", "L", "M"], "female": ["", "", "P1", "F1", "a", "c"],
         "male": ["", "", "P2", "selfed", "Self", "c"]}
    )  # fmt: skip
    plants = pd.DataFrame(
        {"plant": ["a", "b", "b", "c"], "family": ["F2"] * 4, "colour": ["red", "red", "x", None]}
    )
    plans = family_plans(families, (), plants, "colour")
    assert plans["L"] == Selfing(Chosen(plans["F2"], "red", "a"))
    assert plans["M"] == Selfing(Chosen(plans["F2"], None, "c"))


@pytest.mark.parametrize("seed", range(30))
def test_what_can_be_followed_against_a_library_of_graphs(seed: int) -> None:
    """A family can be followed unless a circle or a missing parent is among its ancestors."""
    draw = random.Random(seed)
    names = [f"X{k}" for k in range(40)]
    known = [*names, *names, "nobody", "selfed"]
    rows = [(n, "", "") if draw.random() < 0.5 else (n, draw.choice(known), draw.choice(known))
            for n in names]  # fmt: skip
    graph = nx.DiGraph()
    graph.add_nodes_from(names)
    graph.add_edges_from((n, p) for n, *sides in rows for p in sides if p and p != "selfed")
    bad = {n for circle in nx.strongly_connected_components(graph) for n in circle
           if len(circle) > 1 or graph.has_edge(n, n)}  # fmt: skip
    bad |= {"nobody"} | {n for n, *sides in rows if sides == ["selfed", "selfed"]}
    follow = {n for n in names if not bad & {n, *nx.descendants(graph, n)}}
    assert set(read_register(rows, skip_faults=True)) == follow
