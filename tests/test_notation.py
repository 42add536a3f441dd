"""Pedigrees as text: read, written, as rows of a register, and marked where they cannot be read.

The worked strings are derived by hand from the rules of the notation (Purdy and others 1968,
as remembered): the highest mark is the last cross, the female stands on the left, a dosage
counts the crosses to a recurrent parent. The shares are the halves of the halves. All names
are invented.
"""

from __future__ import annotations

import random
from fractions import Fraction

import pandas as pd
import pytest

from breedkit.errors import PedigreeError
from breedkit.families import read_register
from breedkit.notation import format_pedigree, pedigree_register
from breedkit.parsing import parse_pedigree
from breedkit.pedigree import (
    Chosen,
    Cross,
    Founder,
    Intermating,
    Plan,
    Selfing,
    Sibmating,
    founders_of,
)

A, B, C, D, E = (Founder(name) for name in "ABCDE")
AB = Cross(A, B)

# text, parentage, shares of A, B, C, ... in a plant of it
WORKED = [
    ("A", A, "1"),
    ("A/B", AB, "1/2 1/2"),
    ("B/A", Cross(B, A), "1/2 1/2"),
    ("A/B//C", Cross(AB, C), "1/4 1/4 1/2"),
    ("C//A/B", Cross(C, AB), "1/4 1/4 1/2"),
    ("A/B//C/D", Cross(AB, Cross(C, D)), "1/4 1/4 1/4 1/4"),
    ("A/B//C/3/D", Cross(Cross(AB, C), D), "1/8 1/8 1/4 1/2"),
    ("D/3/A/B//C", Cross(D, Cross(AB, C)), "1/8 1/8 1/4 1/2"),
    ("A/B//C/3/D/4/E", Cross(Cross(Cross(AB, C), D), E), "1/16 1/16 1/8 1/4 1/2"),
    ("A/B//C/3/D/E", Cross(Cross(AB, C), Cross(D, E)), "1/8 1/8 1/4 1/4 1/4"),
    ("A/B//A/C", Cross(AB, Cross(A, C)), "1/2 1/4 1/4"),
    ("A*2/B", Cross(A, AB), "3/4 1/4"),
    ("B/2*A", Cross(Cross(B, A), A), "3/4 1/4"),
    ("A/B//B", Cross(AB, B), "1/4 3/4"),
    ("A/2*B", Cross(AB, B), "1/4 3/4"),
    ("A*3/B", Cross(A, Cross(A, AB)), "7/8 1/8"),
    ("B/6*A", Cross(Cross(Cross(Cross(Cross(Cross(B, A), A), A), A), A), A), "63/64 1/64"),
    ("A*2/B//C", Cross(Cross(A, AB), C), "3/8 1/8 1/2"),
    ("C*2//A/B", Cross(C, Cross(C, AB)), "1/8 1/8 3/4"),
    ("A/B//2*C", Cross(Cross(AB, C), C), "1/8 1/8 3/4"),
    ("A/2*B//C*3/D", Cross(Cross(AB, B), Cross(C, Cross(C, Cross(C, D)))),
     "1/8 3/8 7/16 1/16"),
]  # fmt: skip


def shares(plan: Plan) -> dict[str, Fraction]:
    match plan:
        case Founder(name):
            return {name: Fraction(1)}
        case Cross(female, male):
            one, other = shares(female), shares(male)
            return {n: (one.get(n, 0) + other.get(n, 0)) / Fraction(2) for n in one | other}
        case _:
            return shares(plan.parent)


@pytest.mark.parametrize(("text", "plan", "parts"), WORKED)
def test_worked_pedigrees(text: str, plan: Plan, parts: str) -> None:
    assert parse_pedigree(text) == plan
    assert sorted(shares(plan).items()) == list(
        zip("ABCDE", map(Fraction, parts.split()), strict=False)
    )
    assert parse_pedigree(format_pedigree(plan)) == plan


def test_one_way_of_writing() -> None:
    """A second cross to the same parent is written as its dosage, whoever is the female."""
    own = {"A/B//B": "A/2*B"}
    for text, plan, _ in WORKED:
        assert format_pedigree(plan) == own.get(text, text)


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        (" A / B // C ", "A/B//C"),
        ("A/B///C", "A/B//C"),  # a mark that leaves out a number
        ("A/B/3/C/5/D", "A/B//C/3/D"),
        ("A/1/B/2/C", "A/B//C"),
        ("A/ 1 /B//C///D", "A/B//C/3/D"),
        ("(A/B)/C", "A/B//C"),
        ("((A)/(B))", "A/B"),
        ("2*A/B", "A*2/B"),  # the number on the other side of the name
        ("B/A*2", "B/2*A"),
        ("A * 2 / B", "A*2/B"),
        ("A*1/B", "A/B"),
        ("A//A/B", "A*2/B"),
        ('"A"/"B"', "A/B"),
        ("Invented  Ember/B", "Invented Ember/B"),
        ("(A/B) F2 OP s1", "(A/B)F2opS1"),
        ("(A/B)F2open", "(A/B)F2op"),
        ("(A/B)S2", "(A/B)F3"),
        ("(A/B)F2F4", "(A/B)F4"),
    ],
)
def test_usual_variants(typed: str, meant: str) -> None:
    assert format_pedigree(typed) == meant
    assert parse_pedigree(typed) == parse_pedigree(meant)


F2 = Selfing(AB)


@pytest.mark.parametrize(
    ("plan", "text"),
    [
        (F2, "(A/B)F2"),
        (Selfing(A), "(A)S1"),
        (Cross(Selfing(F2), C), "(A/B)F3/C"),
        (Cross(Selfing(Cross(AB, C)), AB), "(A/B//C)F2//A/B"),
        (Selfing(Selfing(Chosen(F2, None, "17"))), '(A/B)F2#"17"F4'),
        (Selfing(Chosen(Selfing(Chosen(F2, "red", '1"7')), None, "3")),
         '(A/B)F2#"1""7"="red"F3#"3"F4'),
        (Selfing(Chosen(F2, "red")), '(A/B)F2#="red"F3'),
        (Chosen(F2), "(A/B)F2#"),
        (Selfing(Selfing(Intermating(F2))), "(A/B)F2opS2"),
        (Sibmating(Intermating(A)), "(A)opsib"),
        (Cross(F2, Cross(F2, B)), "(A/B)F2*2/B"),
        (Cross(Cross(A, Selfing(A)), Selfing(A)), "A/2*(A)S1"),
    ],
)  # fmt: skip
def test_selfings_and_plants_stand_behind_brackets(plan: Plan, text: str) -> None:
    assert format_pedigree(plan) == text
    assert parse_pedigree(text) == plan


def test_the_standard_tells_crosses_alone() -> None:
    line = Selfing(Chosen(F2, None, "17"))
    assert format_pedigree(Cross(C, Cross(C, line)), crosses_only=True) == "C*2//A/B"
    assert format_pedigree(line, crosses_only=True) == "A/B"


HOSTILE = [
    "A/B", "A*2", "2", "27", "3*", "//", "/3/", "a \"b\" c", '"', '""', "", " ", " A", "A  B",
    "A\nB", "\tA", "(A)", "A)", "#4", "=cmd()", "<img onerror=alert(1)>", "$x$", "A×B", "A x B",
    "\u05d0\u05d1/\u05d2", "\u202eA", "\U0001f336\ufe0f", "F2", "27-F2-05", "x" * 10_000, "A\x00",
    "op", "sib", "S1", "*", "A, F2", "日本*2", "é", "e\u0301", "A\u00a0B", "'A'", "\\",
]  # fmt: skip


@pytest.mark.parametrize("name", HOSTILE)
def test_any_name_is_read_back(name: str) -> None:
    for plan in (
        Founder(name),
        Cross(Founder(name), A),
        Cross(A, Cross(A, Founder(name))),
        Cross(Cross(A, Founder(name)), Founder(name)),
        Selfing(Chosen(Founder(name), name, name)),
    ):
        assert parse_pedigree(format_pedigree(plan)) == plan


def grown(draw: random.Random, deep: int, names: list[str], selfed: bool) -> Plan:
    """A random parentage of up to `deep` crosses one after the other."""
    pool: list[Plan] = [Founder(n) for n in names]
    plan = draw.choice(pool)
    for _ in range(draw.randint(1, deep)):
        other = draw.choice([draw.choice(pool[: len(names)]), draw.choice(pool), plan])
        plan = draw.choice([Cross(plan, other), Cross(other, plan)])
        if selfed:
            for _ in range(draw.choice([0, 0, 1, 3])):
                made = draw.choice([Selfing, Selfing, Chosen, Intermating, Sibmating])
                more = (draw.choice([None, "red"]), draw.choice([None, "17", '4"/']))
                plan = made(plan, *more) if made is Chosen else made(plan)
        if size(plan) < 200:
            pool.append(plan)
        else:
            plan = draw.choice(pool)
    return plan


def size(plan: Plan) -> int:
    match plan:
        case Founder():
            return 1
        case Cross(female, male):
            return size(female) + size(male)
        case _:
            return size(plan.parent)


def deep_of(plan: Plan) -> int:
    match plan:
        case Founder():
            return 0
        case Cross(female, male):
            return 1 + max(deep_of(female), deep_of(male))
        case _:
            return deep_of(plan.parent)


def slashes_alone(plan: Plan) -> tuple[str, int]:
    """A second way to write crosses: no dosage, every name in quotation marks."""
    if isinstance(plan, Founder):
        return '"' + plan.name.replace('"', '""') + '"', 0
    assert isinstance(plan, Cross)
    (one, a), (other, b) = slashes_alone(plan.female), slashes_alone(plan.male)
    return f"{one} /{max(a, b) + 1}/ {other}", max(a, b) + 1


def brackets_alone(plan: Plan) -> str:
    """A third way: a bracket around each cross, one slash in it."""
    if isinstance(plan, Founder):
        return '"' + plan.name.replace('"', '""') + '"'
    assert isinstance(plan, Cross)
    return f"({brackets_alone(plan.female)}/{brackets_alone(plan.male)})"


def test_random_pedigrees_are_read_back() -> None:
    draw = random.Random(1968)
    deepest = 0
    for k in range(1500):
        names = draw.sample(["Marl", "Tind", "Invented Ember", "27", *HOSTILE[:30]], 4)
        plan = grown(draw, 8, names, selfed=k % 2 == 1)
        text = format_pedigree(plan)
        assert parse_pedigree(text) == plan
        assert format_pedigree(text) == text
        deepest = max(deepest, deep_of(plan))
        if k % 2 == 0:
            assert parse_pedigree(slashes_alone(plan)[0]) == plan
            assert parse_pedigree(brackets_alone(plan)) == plan
    assert deepest == 8


def test_random_pedigrees_as_rows_of_a_register() -> None:
    draw = random.Random(8405)
    for k in range(300):
        plan = grown(draw, 8, ["Marl", "Tind", "27", "A/B"], selfed=k % 2 == 1)
        nodes = [plan]
        for node in nodes:
            nodes += [getattr(node, side) for side in ("female", "male", "parent")
                      if hasattr(node, side)]  # fmt: skip
        if any(isinstance(n, Sibmating | Chosen) for n in nodes):
            continue
        rows = pedigree_register(plan)
        assert rows["family"].is_unique
        read = read_register(rows.itertuples(index=False, name=None))
        # the register takes a cross of a family with itself for a selfing, which it is
        assert format_pedigree(read[rows["family"].iloc[-1]]) == format_pedigree(selfed(plan))


def selfed(plan: Plan) -> Plan:
    match plan:
        case Founder():
            return plan
        case Cross(female, male) if female == male:
            return Selfing(selfed(female))
        case Cross(female, male):
            return Cross(selfed(female), selfed(male))
        case Selfing(parent):
            return Selfing(selfed(parent))
        case _:
            return Intermating(selfed(plan.parent))


def test_rows_of_a_register() -> None:
    rows = pedigree_register('(Marl*2/Tind)F2#"17"F3')
    assert rows.to_numpy().tolist() == [
        ["Marl", "", ""], ["Tind", "", ""], ["Marl/Tind", "Marl", "Tind"],
        ["Marl*2/Tind", "Marl", "Marl/Tind"], ["(Marl*2/Tind)F2", "Marl*2/Tind", "selfed"],
        ['(Marl*2/Tind)F2#"17"F3', "17", "selfed"],
    ]  # fmt: skip
    home = {"17": "(Marl*2/Tind)F2"}
    plans = read_register(rows.itertuples(index=False, name=None), home)
    assert list(plans.values())[-1] == parse_pedigree('(Marl*2/Tind)F2#"17"F3')
    assert isinstance(pedigree_register("A"), pd.DataFrame)


@pytest.mark.parametrize(
    ("text", "says"),
    [("marl/Marl", "takes these for one: 'marl' and 'Marl'"), ("open/B", "'open' means something"),
     ("A/-", "'-' means something else"), ("(A/B)F2sib", "Pairs of sibs"), ("A/", "missing")],
)  # fmt: skip
def test_what_a_register_cannot_hold(text: str, says: str) -> None:
    with pytest.raises(PedigreeError, match=says):
        pedigree_register(text)


@pytest.mark.parametrize(
    ("text", "says", "carets"),
    [
        ("", "a parent is missing here", "^"),
        ("A/B//", "a parent is missing here", "     ^"),
        ("A/B/C", "which came later? That cross is //", "   ^"),
        ("A/B//C/3/D/3/E", "which came later? That cross is /4/", "          ^^^"),
        ("A/2*B//C/D/E", "which came later?", "          ^"),
        ("A*2/2*B", "only one of two parents can recur", "    ^"),
        ("A/B*2//C", "a dosage stands beside the slash of its own cross", "   ^"),
        ("C//2*A/B", "a dosage stands beside the slash of its own cross", "   ^"),
        ("A*2", "a dosage stands beside the slash", " ^"),
        ("A*/B", "a dosage is a number from 1 to 30", " ^"),
        ("A*0/B", "a dosage is a number", " ^^"),
        ("A*31/B", "a dosage is a number", " ^^^"),
        ("2*A*3/B", "two dosages", "^^^^^"),
        ("27*2/B", "which is the name? Put it in quotation marks", "^^^^"),
        ("A x B", "write / for a cross", " ^^^"),
        ("A×B/C", "write / for a cross", " ^"),
        ("(A/B//C", "this bracket is not closed", "^"),
        ("A/B)//C", "this bracket was not opened", "   ^"),
        ('"A/B', "this quotation mark is not closed", "^"),
        ("Marl (red)/B", "a slash is missing here, or quotation marks", "     ^^^^^"),
        ("=cmd()/B", "a slash is missing here, or quotation marks", "^^^^^^"),
        ("(A/B)F3F2", "this is no later generation", "       ^^"),
        ("(A)F2/B", "F2 is said of a cross; write S1", "   ^^"),
        ("(A/B)F999", "this is no later generation", "     ^^^^"),
        ("A/101/B", "crosses are numbered from 1 to 100", " ^^^^^"),
        ("日本/日本/X", "which came later?", "         ^"),
        ("A\u202e\u0301\t/B/C", "which came later?", "      ^"),
    ],
)
def test_a_fault_is_marked_in_the_text(text: str, says: str, carets: str) -> None:
    with pytest.raises(PedigreeError) as caught:
        parse_pedigree(text)
    lines = str(caught.value).splitlines()
    assert says in str(caught.value)
    assert len(lines[0]) < 90
    assert carets in [line[2:] for line in lines if set(line) <= {" ", "^"}]


def test_all_faults_come_together() -> None:
    with pytest.raises(PedigreeError) as caught:
        parse_pedigree("A*99/B/C//(D")
    assert str(caught.value).splitlines() == [
        "This pedigree cannot be read in 3 places:",
        "Character 2: a dosage is a number from 1 to 30: A*2/B or B/2*A.",
        "  A*99/B/C//(D",
        "   ^^^",
        "Character 7: which came later? That cross is //.",
        "  A*99/B/C//(D",
        "        ^",
        "Character 11: this bracket is not closed.",
        "  A*99/B/C//(D",
        "            ^",
    ]


def test_a_long_text_is_cut_around_the_fault() -> None:
    text = "x" * 5000 + "/A/B//" + "y" * 5000
    with pytest.raises(PedigreeError) as caught:
        parse_pedigree(text)
    first, shown, carets = str(caught.value).splitlines()
    assert "character 5003" in first
    assert len(shown) < 90
    assert shown[carets.index("^")] == "/"
    assert "A/B" in shown


@pytest.mark.parametrize(
    "text",
    ["(" * 10_000, "A/" * 5000, "*" * 10_000, '"' * 10_001, "/".join("AB" * 3000), "#" * 10_000,
     "/9/".join("A" * 4000), "(A)" + "op" * 5000, "(A)" + "S1" * 500,
     "A*30/" + "(B*30/" * 40 + "C" + ")" * 40, "A*9999999999999999999999/B"],
)  # fmt: skip
def test_nonsense_of_any_length_is_refused(text: str) -> None:
    with pytest.raises(PedigreeError) as caught:
        parse_pedigree(text)
    assert len(str(caught.value).splitlines()[0]) < 90


@pytest.mark.parametrize("thing", [None, 3, ["A/B"]])
def test_what_is_no_text(thing: object) -> None:
    with pytest.raises(PedigreeError, match="A pedigree is a text"):
        parse_pedigree(thing)  # type: ignore[arg-type]


def test_what_is_too_long_for_a_line_of_text() -> None:
    plan: Plan = A
    for _ in range(60):  # 2^60 names
        plan = Cross(plan, plan)
    with pytest.raises(PedigreeError, match="too long for a line of text"):
        format_pedigree(plan)
    plan = AB
    for _ in range(5000):
        plan = Selfing(plan)
    with pytest.raises(PedigreeError, match="too long for a line of text"):
        format_pedigree(plan)
    back: Plan = B
    for _ in range(45):  # more than one dosage can say
        back = Cross(back, A)
    assert format_pedigree(back) == "B/15*A//30*A"
    assert parse_pedigree("B/15*A//30*A") == back
    assert founders_of(back) == ("B", "A")
