"""Trees of parentage and the trade's names for them."""

import pytest

from breedkit.pedigree import (
    TESTER,
    Chosen,
    Cross,
    Founder,
    Intermating,
    Selfing,
    Sibmating,
    depth,
    describe,
    founders_of,
    generation,
    recurrent_parent,
    single_parents,
    without_look,
)

P1, P2, P3, P4 = (Founder(f"P{i}") for i in range(1, 5))
F1 = Cross(P1, P2)
F2 = Selfing(F1)
BC1 = Cross(F1, P1)

# Names as breeders use them: common practice, no source.
NAMES = [
    (P1, "P", None),
    (Selfing(P1), "P", None),
    (F1, "F1", None),
    (Cross(P1, F1), "BC1", "P1"),
    (Cross(Chosen(BC1, plant="x"), P1), "BC2", "P1"),
    (Selfing(BC1), "BC1F2", "P1"),
    (Cross(F2, P2), "BC1", "P2"),
    (Cross(BC1, P2), "cross", None),  # not a second backcross: the other parent this time
    (Cross(Cross(BC1, P2), P1), "cross", None),
    (Cross(F1, P3), "three-way", None),
    (Cross(Cross(F1, P3), P1), "cross", None),
    (Cross(F1, Cross(P3, P4)), "double cross", None),
    (Cross(Chosen(F2, plant="a"), Chosen(F2, plant="b")), "F2 sib", None),
    (Selfing(Chosen(Selfing(Chosen(F2, plant="a")), plant="b")), "F3:4", None),
    (Intermating(P1), "open-pollinated", None),
    (Intermating(Intermating(P1)), "open-pollinated 2", None),
    (Intermating(F2), "F2 open", None),
    (Intermating(Intermating(Intermating(F2))), "F2 open 3", None),
    (Selfing(Intermating(F2)), "F2 open F2", None),
    (Sibmating(Sibmating(F2)), "F2 sib 2", None),
    (Cross(F1, Founder(TESTER)), "testcross", None),
    (Cross(Founder(TESTER), Chosen(F2, plant="a")), "testcross", None),
    (Cross(Cross(F1, Founder(TESTER)), P3), "cross", None),  # nobody tests with P3
    (Cross(Cross(P3, P4), Chosen(F1)), "double cross", None),
    (Cross(P3, Cross(F1, P4)), "cross", None),
]


@pytest.mark.parametrize(("plan", "name", "back"), NAMES)
def test_names_of_generations(plan, name, back) -> None:
    assert generation(plan) == name
    assert recurrent_parent(plan) == back


def test_describe() -> None:
    assert describe(Cross(F1, P2)) == "BC1 to P2"
    assert describe(Selfing(Chosen(F2, plant="F2-05"))) == "F2:3 from F2-05"


def test_relations() -> None:
    a = Chosen(F2, "red", "a")
    line = Selfing(a)
    b = Chosen(line, None, "b")
    assert founders_of(Cross(P2, F1)) == ("P2", "P1")
    assert single_parents(Cross(b, a)) == (b, a)
    assert single_parents(Selfing(Selfing(b))) == (b,)
    assert single_parents(F2) == ()
    assert [depth(p) for p in (P1, F1, a, line, b)] == [0, 1, 3, 4, 5]
    assert without_look(Cross(line, P1), a) == Cross(Selfing(Chosen(F2, None, "a")), P1)
    assert without_look(F2, a) == F2


def test_a_deep_tangle_of_crosses_is_named_at_once() -> None:
    """Each family is crossed with the one before it: 40 generations hold 10^8 lines of descent."""
    older, line = P1, F1
    for _ in range(40):
        older, line = line, Cross(line, older)
    assert generation(line) == "cross"
