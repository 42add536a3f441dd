"""The trait list and the family register: read, checked, and written again."""

from __future__ import annotations

import pandas as pd
import pytest

from breedkit.families import family_plans, read_register
from breedkit.pedigree import Chosen, Cross, Founder, Intermating, Selfing
from breedkit.reading import Finding, Sheet, read_table
from breedkit.register import read_families, read_traits, trait_frame
from breedkit.spelling import Trait

PLANTS = [("F2-1", "F2"), ("F2-2", "F2"), ("7", "F2"), ("7", "F3"), ("V1", "wild")]


def register(*rows: tuple[str, str, str]) -> tuple[pd.DataFrame, list[Finding]]:
    frame = pd.DataFrame(rows, columns=["Family", "Female", "Male"])
    sheet = read_table(frame, ("family",), "families")
    return read_families(sheet, planted, ("F2", "F3", "wild"))


def planted(codes: set[str] | None) -> list[tuple[str, str]]:
    return [p for p in PLANTS if codes is None or p[0].lower() in codes]


def wrong(findings: list[Finding]) -> list[tuple[int | None, str | None, str]]:
    return [(f.problem.row, f.problem.column, f.problem.what) for f in findings]


def trait_sheet(**columns: list[str]) -> Sheet:
    return read_table(pd.DataFrame(columns), ("trait",), "traits")


def test_a_register_in_order() -> None:
    frame, findings = register(
        ("P1", "", ""), ("P2", "-", "?"), ("F1", "p1 ", "P2"), ("F2", "F1", "Selfed"),
        ("F3", "f2-1", "selfed"), ("bulk", "F2 7", "Open"), ("old", "V1", "F1"),
    )  # fmt: skip
    assert not findings
    assert list(frame.columns) == ["family", "female", "male", "season", "sown", "note"]
    assert frame["female"].tolist() == ["", "-", "P1", "F1", "F2-1", "F2 7", "V1"]
    assert frame["male"].tolist() == ["", "?", "P2", "selfed", "selfed", "open", "F1"]


def test_every_fault_of_a_register() -> None:
    _, findings = register(
        ("F1", "P1", "P2"), ("F2", "F1", ""), ("f2", "F1", "F1"), ("", "", ""),
        ("F3", "7", "selfed"), ("A", "B", "A"), ("B", "C", "selfed"), ("C", "A", "F2"),
        ("wild", "V1", "selfed"),
    )  # fmt: skip
    assert wrong(findings) == [
        (4, "Family", "is registered twice; the first row counts"),
        (3, "Male", "only one parent is given"),
        (6, "Female", "is a plant in several families"),
        (2, "Female", "has no row in the register; taken as a founder"),
        (2, "Male", "has no row in the register; taken as a founder"),
        (7, "Family", "is among its own ancestors"),
        (8, "Family", "is among its own ancestors"),
        (9, "Family", "is among its own ancestors"),
        (10, "Family", "is among its own ancestors"),
    ]
    assert "'F2 7', 'F3 7'" in findings[2].problem.suggestion


def test_a_column_of_generations_is_used() -> None:
    rows = pd.DataFrame({"family": ["A", "B", "X"], "female": ["", "", "A"],
                         "male": ["", "", "B"], "Generation": ["", "P", "F1"]})  # fmt: skip
    _, findings = read_families(read_table(rows, ("family",), "families"), list)
    assert not findings
    rows["Generation"] = ["", "P", "F2"]
    frame, findings = read_families(read_table(rows, ("family",), "families"), list)
    assert wrong(findings) == [(4, "Generation", "is typed, but its parents make it F1")]
    assert findings[0].severity == "check"
    assert frame["Generation"].tolist() == ["", "P", "F2"]


def test_own_columns_and_rows_without_a_name_stay() -> None:
    rows = pd.DataFrame({"family": ["F2", ""], "Bed": ["3", "4"]})
    frame, findings = read_families(read_table(rows, ("family",), "families"), list)
    assert frame["Bed"].tolist() == ["3", "4"]
    assert wrong(findings) == [
        (None, None, "columns of your own, kept but not used: 'Bed'"),
        (3, "family", "a row without a family name"),
    ]


@pytest.mark.parametrize(
    "female, male",
    [("Mother", "FATHER"), ("seed parent", "Pollen Parent"), ("mum", "dad"),
     ("female parent", "male_parent")],
)  # fmt: skip
def test_other_words_for_the_parents(female: str, male: str) -> None:
    rows = pd.DataFrame({"family": ["P1", "F1"], female: ["", "P1"], male: ["", "selfed"]})
    frame, findings = read_families(read_table(rows, ("family",), "families"), planted)
    assert not findings
    assert frame.loc[3, ["female", "male"]].tolist() == ["P1", "selfed"]
    both = rows.assign(female=["", "P1"]) if female != "female" else rows
    _, findings = read_families(read_table(both, ("family",), "families"), planted)
    assert wrong(findings) == [
        (None, None, f"columns of your own, kept but not used: '{female}'")
    ]  # its own name goes first


def test_a_header_that_may_be_meant_for_a_parent() -> None:
    rows = pd.DataFrame({"family": ["F1"], "Mutter": ["P1"], "mael": ["P2"], "bed": ["3"]})
    _, findings = read_families(read_table(rows, ("family",), "families"), planted)
    assert [(f.severity, f.problem.column, f.problem.suggestion) for f in findings] == [
        ("check", "Mutter", "Call the column 'female'."),
        ("check", "mael", "Call the column 'male'."),
        ("note", None, ""),
    ]


@pytest.mark.parametrize(
    "word",
    ["self", "Selfing", "selfed", "⊗", " SELF ", "Self-pollinated", "self pollinated",
     "selfpollinated", "selfed seed", "itself", "same", "bagged"],
)  # fmt: skip
def test_ways_to_write_selfed(word: str) -> None:
    frame, findings = register(("F1", "", ""), ("F2", "F1", word))
    assert not findings
    assert frame["male"].tolist() == ["", "selfed"]
    named, _ = register(("Self", "", ""), ("F1", "F2-1", "self"))
    assert named["male"].tolist() == ["", "Self"]


@pytest.mark.parametrize(
    "word, made", [("Selfed", Selfing), ("itself", Selfing), ("⊗", Selfing), ("bees", Intermating)]
)
def test_the_word_may_stand_on_the_female_side(word: str, made: type) -> None:
    frame, findings = register(("A", "", ""), ("B", "", ""), ("F1", "A", "B"), ("X", word, "f1"))
    assert not findings
    plans = read_register(frame[["family", "female", "male"]].itertuples(index=False, name=None))
    assert plans["X"] == made(plans["F1"])
    assert frame.loc[5, ["female", "male"]].tolist()[1] == "F1"


@pytest.mark.parametrize("word", ["OP", "open", "Open pollinated", "open-pollinated", "bees"])
def test_ways_to_write_open(word: str) -> None:
    frame, findings = register(("F1", "", ""), ("F2", "F1", word))
    assert not findings
    assert frame["male"].tolist() == ["", "open"]


@pytest.mark.parametrize(
    "word, made", [("self-pollinated", Selfing), ("itself", Selfing), ("bees", Intermating)]
)
def test_a_grower_s_word_is_understood_as_parentage(word: str, made: type) -> None:
    frame, findings = register(
        ("Ann", "", ""), ("Bo", "", ""), ("Kids", "Ann", "Bo"), ("Grandkids", "Kids", word)
    )
    assert not findings
    plans = read_register(frame[["family", "female", "male"]].itertuples(index=False, name=None))
    assert plans["Grandkids"] == made(Cross(Founder("Ann"), Founder("Bo")))


def test_where_founders_have_rows_an_unknown_parent_is_none() -> None:
    frame, findings = register(
        ("Ann", "", ""), ("Kids", "Ann", "Invented Ember"), ("Others", "Ann", "F3")
    )
    assert frame["family"].tolist() == ["Ann", "Kids", "Others", "F3"]  # F3 has plants
    assert [(f.severity, *place) for f, place in zip(findings, wrong(findings), strict=True)] == [
        ("mend", 3, "Male",
         "is neither in the register nor a plant; its family's parents are not known"),
        ("check", 4, "Male", "has no row in the register; taken as a founder"),
    ]  # fmt: skip
    assert findings[0].problem.suggestion == "Add a row for it; a founder has no parents."
    plans = read_register(
        frame[["family", "female", "male"]].itertuples(index=False, name=None), skip_faults=True
    )
    assert "Kids" not in plans


def test_a_parent_nobody_knows_is_a_founder() -> None:
    frame, findings = register(
        ("F1", "Invented Lantern", "P2"), ("F2", "F1", "selfed"), ("BC1", "F1", "p 2")
    )
    assert frame["family"].tolist() == ["F1", "F2", "BC1", "Invented Lantern", "P2"]
    assert frame.loc[[5, 6], ["female", "male"]].to_numpy().tolist() == [["", ""], ["", ""]]
    assert frame["male"].tolist()[:3] == ["P2", "selfed", "P2"]
    assert [(f.severity, f.problem.row, f.problem.found, f.rows) for f in findings] == [
        ("check", 2, "Invented Lantern", 1), ("check", 2, "P2", 2),
    ]  # fmt: skip
    plans = read_register(frame[["family", "female", "male"]].itertuples(index=False, name=None))
    assert plans["P2"] == Founder("P2")
    assert plans["F1"] == Cross(Founder("Invented Lantern"), Founder("P2"))


@pytest.mark.parametrize(
    "parent, advice",
    [
        ("Invented Lantren", "Did you mean 'Invented Lantern'?"),
        ("F2-77", "No plant has this code"),
        ("F2 77", "No plant has this code"),
        ("V 2", "No plant has this code"),
        ("F1 3", "No plant has this code"),
        ("8", "No plant has this code"),
    ],
)
def test_what_may_be_a_slip_is_no_founder(parent: str, advice: str) -> None:
    frame, findings = register(("Invented Lantern", "", ""), ("F1", "Invented Lantern", parent))
    assert wrong(findings) == [(3, "Male", "is neither a family nor a plant")]
    assert findings[0].severity == "mend"
    assert findings[0].problem.suggestion.startswith(advice)
    assert frame["family"].tolist() == ["Invented Lantern", "F1"]


def test_a_plant_of_a_family_without_plants_is_of_an_earlier_year() -> None:
    frame, findings = register(
        ("Ann", "", ""), ("Bo", "", ""), ("26-x", "Ann", "Bo"), ("27-x", "26-x", "self"),
        ("28-x", "27-x-04", "self"), ("28-y", "27-X 11", "Ann"), ("29", "F2-77", "self"),
        ("F2", "26-x", "self"), ("30", "30-1", "self"),
    )  # fmt: skip
    assert [(f.severity, f.rows, f.problem.found) for f in findings] == [
        ("mend", 1, "F2-77"),  # the F2 has plants, but not this one
        ("mend", 1, "30-1"),  # no family comes from its own plant
        ("note", 2, "27-x-04"),
    ]
    assert findings[2].problem.what == (
        "is taken as a plant of '27-x' of another year: none of them is here"
    )
    assert frame["female"].tolist()[4:6] == ["27-x-04", "27-X 11"]
    plans = family_plans(frame, ["F2"], pd.DataFrame(PLANTS, columns=["plant", "family"]))
    assert plans["28-x"] == Selfing(Chosen(plans["27-x"], None, "27-x-04"))
    assert plans["28-y"] == Cross(Chosen(plans["27-x"], None, "27-X 11"), Founder("Ann"))
    assert not {"29", "30"} & set(plans)


def test_a_slip_for_another_founder_is_no_second_founder() -> None:
    frame, findings = register(("F1", "Invented Ember", "P2"), ("BC1", "F1", "Invented Embre"))
    assert frame["family"].tolist() == ["F1", "BC1", "Invented Ember", "P2"]
    assert wrong(findings)[-1] == (3, "Male", "is neither a family nor a plant")
    assert "Did you mean 'Invented Ember'?" in findings[-1].problem.suggestion


@pytest.mark.parametrize(
    "parent, plant",
    [("F2 7", "F2 7"), ("F2-7", "F2 7"), ("f 2/7", "F2 7"), ("wild-V1", "V1"), ("F2-1", "F2-1")],
)
def test_a_plant_by_its_family_and_code(parent: str, plant: str) -> None:
    frame, findings = register(("F2", "", ""), ("wild", "", ""), ("F3", parent, "self"))
    assert not findings
    assert frame.loc[4, "female"] == plant


@pytest.mark.parametrize("known, parent", [("Line A", "Line B"), ("Parent 1", "Parent 2")])
def test_names_told_apart_by_a_letter_or_a_number_are_no_slips(known: str, parent: str) -> None:
    frame, _ = register(("F1", known, parent))
    assert frame["family"].tolist() == ["F1", known, parent]


def test_families_match_but_for_blanks_and_hyphens_beside_a_number() -> None:
    frame, findings = register(
        ("F 1", "", ""), ("F-2", "f1", "selfed"), ("F1-1", "f_2", "selfed"), ("F11", "F2", "F1-1"),
        ("bulk", "f-2  7", "open"),
    )  # fmt: skip
    assert not findings
    assert frame["family"].tolist() == ["F 1", "F-2", "F1-1", "F11", "bulk"]
    assert frame["female"].tolist() == ["", "F 1", "F-2", "F-2", "F2 7"]
    assert wrong(register(("F2", "", ""), ("F-2", "", ""))[1]) == [
        (3, "Family", "is registered twice; the first row counts")
    ]


def test_a_long_line_of_families_is_no_circle() -> None:
    rows = [("F0", "", ""), *((f"F{k}", f"F{k - 1}", "selfed") for k in range(1, 300))]
    assert not register(*rows)[1]


def test_a_trait_list_in_order() -> None:
    traits, findings = read_traits(
        trait_sheet(
            Trait=["ripe colour", "burn", "weight", "shape"],
            KIND=["", "Ordered", "measured", ""],
            classes=["red | orange", "none|mild|hot", "", ""],
            unit=["", "", "g", ""],
            scheme=["", "my own", "", ""],
            bed=["", "3", "", ""],
        )  # fmt: skip
    )
    assert not findings
    assert traits == (
        Trait("ripe colour", "class", ("red", "orange"), own=(("bed", ""),)),
        Trait("burn", "ordered", ("none", "mild", "hot"), scheme="my own", own=(("bed", "3"),)),
        Trait("weight", "measured", unit="g", own=(("bed", ""),)),
        Trait("shape", own=(("bed", ""),)),
    )


def test_every_fault_of_a_trait_list() -> None:
    traits, findings = read_traits(
        trait_sheet(
            trait=["a", "A ", "", "b", "c", "d"],
            kind=["klass", "", "class", "", "class", "class"],
            classes=["x|y", "", "", "red|Red|white", "red, white", "AA | Aa | aa"],
            **{"also typed": ["", "", "", "", "reed", "AAA = AA"]},
        )
    )
    assert wrong(findings) == [
        (2, "kind", "is not a kind of trait"),
        (3, "trait", "is listed twice; the first row counts"),
        (4, "trait", "has no name"),
        (5, "classes", "names a class twice"),
        (6, "classes", "is a single class"),
        (6, "also typed", "is not a spelling and a meaning"),
    ]
    assert [t.classes for t in traits] == [("x", "y"), ("red", "white"), ("red, white",),
                                           ("AA", "Aa", "aa")]  # fmt: skip
    assert traits[0].kind == "class"  # it has classes


@pytest.mark.parametrize("word", ["a|b", "a=b", "=1+1", "a\\b", "\\", "|", "a = b | c", "x\\|y"])
def test_a_trait_list_is_read_as_it_was_written(word: str) -> None:
    traits = (
        Trait("t", "class", (word, "y"), "u", "w", "1", "by eye", "s", ((word, "y"), ("b", word))),
        Trait("n", "measured", own=(("bed", "3"),)),
    )
    sheet = read_table(trait_frame(traits), ("trait",), "traits")
    again, findings = read_traits(sheet)
    assert not findings
    assert again[0].classes == traits[0].classes
    assert again[0].also_typed == traits[0].also_typed
    assert again[1].own == (("bed", "3"),)


def test_what_was_inferred_is_inferred_again() -> None:
    trait = Trait("t", "count", inferred=("kind",))
    classes = Trait("u", "class", ("x", "y"), inferred=("kind", "classes"))
    frame = trait_frame((trait, classes))
    assert frame["kind"].tolist() == ["count", "class"]
    again, _ = read_traits(read_table(frame, ("trait",), "traits"))
    assert again == (Trait("t"), Trait("u"))
    assert list(trait_frame(()).columns)[:2] == ["trait", "kind"]
