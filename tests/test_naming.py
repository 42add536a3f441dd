"""Names of families and plants by themselves, the same from year to year. All names invented.

The forms (F2:3, BC1, three-way, plants after the name of the cross) are common practice,
no source; the codes are our own.
"""

from __future__ import annotations

import random
import time

import numpy as np
import pandas as pd
import pytest

from breedkit.errors import TableError
from breedkit.families import family_plans
from breedkit.naming import name_families, name_plants, plant_number
from breedkit.parsing import parse_pedigree
from breedkit.pedigree import Cross, Founder
from breedkit.tables import Season, load_counts, load_season

Rows = list[tuple[str, str, str]]

YEARS: Rows = [
    ("Marl", "", ""),
    ("Tind", "", ""),
    ("26a", "Marl", "Tind"),
    ("27a", "26a", "selfed"),
    ("27b", "26a", "Marl"),
    ("27c", "Tind", "26a"),
    ("28a", "27a-05", "selfed"),
    ("29a", "28a-3", "28a-3"),
    ("28b", "27b-9", "Marl"),
    ("29b", "28b", "selfed"),
    ("28c", "27a", "open"),
    ("28d", "27a-05", "27a-07"),
    ("26r", "Tind", "Marl"),
    ("Gorse", "", ""),
    ("27t", "26a", "Gorse"),
    ("28t", "27t", "selfed"),
    ("Pellam Red", "", ""),
    ("26p", "Gorse", "Pellam Red"),
    ("27d", "26a", "26p"),
    ("tester", "", ""),
    ("27x", "26a", "tester"),
    ("27a2", "26a", "selfed"),
    ("28e", "27a2-05", "selfed"),
    ("26o", "Marl", "open"),
    ("27m", "Marl", "selfed"),
    ("28m", "27m", "selfed"),
    ("29x", "28a-3", "27t-1"),
]
PLANTS = [("27a-05", "27a"), ("27a-07", "27a"), ("28a-3", "28a"), ("27b-9", "27b"),
          ("27a2-05", "27a2"), ("27t-1", "27t")]  # fmt: skip
EXPECTED = {  # family: generation, parents, short name, pedigree
    "Marl": ("P", "", "Ma", "Marl"),
    "Tind": ("P", "", "Ti", "Tind"),
    "26a": ("F1", "Marl × Tind", "MaTi F1", "Marl/Tind"),
    "27a": ("F2", "26a selfed", "MaTi F2", "Marl/Tind"),
    "27b": ("BC1", "26a × Marl", "MaTi BC1(Ma)", "Marl/Tind//Marl"),
    "27c": ("BC1", "Tind × 26a", "MaTi BC1(Ti)", "Tind//Marl/Tind"),
    "28a": ("F2:3", "27a-05 selfed", "MaTi-5 F2:3", "Marl/Tind"),
    "29a": ("F3:4", "28a-3 × 28a-3", "MaTi-5-3 F3:4", "Marl/Tind"),
    "28b": ("BC2", "27b-9 × Marl", "MaTi-9 BC2(Ma)", "Marl/Tind//2*Marl"),
    "29b": ("BC2F2", "28b selfed", "MaTi-9 BC2(Ma)F2", "Marl/Tind//2*Marl"),
    "28c": ("F2 open", "27a open", "MaTi F2 open", "Marl/Tind"),
    "28d": ("F2 sib", "27a-05 × 27a-07", "MaTi-5x7 F2 sib", "Marl/Tind//Marl/Tind"),
    "26r": ("F1 reciprocal", "Tind × Marl", "TiMa F1", "Tind/Marl"),
    "Gorse": ("P", "", "Go", "Gorse"),
    "27t": ("three-way", "26a × Gorse", "MaTiGo F1", "Marl/Tind//Gorse"),
    "28t": ("three-way F2", "27t selfed", "MaTiGo F2", "Marl/Tind//Gorse"),
    "Pellam Red": ("P", "", "PR", "Pellam Red"),
    "26p": ("F1", "Gorse × Pellam Red", "GoPR F1", "Gorse/Pellam Red"),
    "27d": ("double cross", "26a × 26p", "MaTiGoPR F1", "Marl/Tind//Gorse/Pellam Red"),
    "tester": ("P", "", "Te", "tester"),
    "27x": ("testcross", "26a × tester", "MaTiTe F1", "Marl/Tind//tester"),
    "27a2": ("F2", "26a selfed", "MaTi.2 F2", "Marl/Tind"),
    "28e": ("F2:3", "27a2-05 selfed", "MaTi.2-5 F2:3", "Marl/Tind"),
    "26o": ("open-pollinated", "Marl open", "Ma open", "Marl"),
    "27m": ("P", "Marl selfed", "Ma S1", "Marl"),
    "28m": ("P", "27m selfed", "Ma S2", "Marl"),
    "29x": ("cross", "28a-3 × 27t-1", "MaTiGo.2 F1", "Marl/Tind/3/Marl/Tind//Gorse"),
}


def register(rows: Rows) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=["family", "female", "male"])


def planted(plants: list[tuple[str, str]]) -> pd.DataFrame:
    return pd.DataFrame(plants, columns=["plant", "family"])


def named(rows: Rows, plants: list[tuple[str, str]] = PLANTS) -> pd.DataFrame:
    frame = register(rows)
    return name_families(frame, family_plans(frame, (), planted(plants)))


def test_every_kind_of_family_has_a_name() -> None:
    frame = named(YEARS)
    table = {row[0]: row[1:] for row in frame.itertuples(index=False, name=None)}
    assert table == EXPECTED
    assert frame["short name"].is_unique


def test_the_pedigree_is_the_crosses_of_the_family() -> None:
    frame = named(YEARS).set_index("family")
    assert parse_pedigree(frame.at["26a", "pedigree"]) == Cross(Founder("Marl"), Founder("Tind"))


@pytest.mark.parametrize("size", range(3, len(YEARS)))
def test_rows_added_below_leave_the_names_as_they_are(size: int) -> None:
    assert named(YEARS[:size]).equals(named(YEARS).head(size))


def random_register(draw: random.Random, rows: int, plants: int) -> tuple[Rows, list]:
    """Founders, crosses, selfings and plants, each from earlier ones."""
    table: Rows = [(f"Invented {k}", "", "") for k in range(4)]
    single: list[tuple[str, str]] = []
    while len(table) < rows:
        name = f"L{len(table)}"
        kind = draw.random()
        parents = [draw.choice(table)[0], *(draw.choice(single)[0] for _ in single[:1])]
        one, other = draw.choice(parents), draw.choice(table)[0]
        if kind < 0.05:
            table.append((f"Founder{len(table)}", "", ""))
        elif kind < 0.5:
            table.append((name, one, other))
        else:
            table.append((name, one, draw.choice(["selfed", "selfed", "open"])))
        for k in range(draw.randint(0, 2 * plants // rows)):
            single.append((f"{table[-1][0]}-{k}", table[-1][0]))
    return table, single


@pytest.mark.parametrize("seed", range(8))
def test_random_registers_keep_their_names_as_they_grow(seed: int) -> None:
    rows, plants = random_register(random.Random(seed), 80, 160)
    whole = named(rows, plants)
    assert whole["short name"].is_unique
    assert (whole["short name"] != "").all()
    for size in range(5, 80, 7):
        known = {row[0] for row in rows[:size]}
        some = [p for p in plants if p[1] in known]
        assert named(rows[:size], some).equals(whole.head(size))
    each = name_plants(planted(plants), whole)
    assert each["short name"].is_unique
    assert not set(each["short name"]) & set(whole["short name"])
    longest = whole["short name"].str.len().max()
    assert longest < 45


def test_offspring_above_its_parents_is_named_all_the_same() -> None:
    rows = [("F2", "F1", "selfed"), ("F1", "Marl", "Tind"), ("Tind", "", ""), ("Marl", "", "")]
    assert named(rows)["short name"].tolist() == ["MaTi F2", "MaTi F1", "Ti", "Ma"]


def test_founders_that_begin_alike_are_told_apart() -> None:
    names = ["Marl", "Marla", "Marlaby", "Ma", "Old Marl", "Other Marl", "P1", "P12", "27",
             "\U0001f336", "\U0001f345", "<img onerror=alert(1)>", "=cmd()", "$x$",
             "\u05d0\u05d1\u05d2", "É", "x" * 10_000]  # fmt: skip
    rows: Rows = [*((name, "", "") for name in names), ("F1", "Marl", "Ma")]
    short = named(rows)["short name"].tolist()
    assert short == ["Ma", "Mar", "Marl", "Ma2", "OM", "Ot", "P1", "P12", "27", "X", "X2", "IOA1",
                     "Cm", "X3", "\u05d0\u05d1", "E", "Xx", "MaMa2 F1"]  # fmt: skip


@pytest.mark.parametrize(
    ("code", "family", "number"),
    [("F2-017", "F2", "17"), ("17", "F2", "17"), ("F2 4", "F2", "4"), ("K17", "F2", "K17"),
     ("F21", "F2", "F21"), ("K17", "K", "17"), ("a-b", "F2", "AB"), ("F2", "F2", "F2"),
     ("0", "F2", "0"), ("?!", "F2", "X"), ("\U0001f336", "F2", "X"), ("y" * 5000, "F2", "Y" * 8),
     ("3", "", "3")],
)  # fmt: skip
def test_the_number_of_a_plant(code: str, family: str, number: str) -> None:
    assert plant_number(code, family) == number


def test_plants_of_every_kind() -> None:
    frame = named(YEARS)
    plants = planted([("27a-05", "27a"), ("05", "27a"), ("", "27a"), ("2", "28a"), ("1", "wild")])
    each = name_plants(plants, frame)
    assert each["short name"].tolist() == ["MaTi F2-5", "MaTi F2-5.2", "", "MaTi-5 F2:3-2", ""]
    assert each["generation"].tolist() == ["F2", "F2", "F2", "F2:3", "not known"]
    assert each.index.equals(plants.index)


def test_a_family_whose_parents_are_not_known_stays_in_the_table() -> None:
    frame = named([("Marl", "", ""), ("Kids", "Marl", "nobody"), ("More", "Kids", "selfed")])
    assert frame["generation"].tolist() == ["P", "not known", "not known"]
    assert frame["parents"].tolist() == ["", "Marl × nobody", "Kids selfed"]
    assert frame["short name"].tolist() == ["Ma", "", ""]


def test_a_long_pedigree_begins_with_the_families_it_comes_from() -> None:
    rows: Rows = [("Marl", "", ""), ("Tind", "", ""), ("X1", "Marl", "Tind")]
    rows += [(f"X{k}", f"X{k - 1}", f"X{max(k - 2, 1)}") for k in range(2, 40)]
    frame = named(rows).set_index("family")
    assert frame["pedigree"].str.len().max() < 150
    assert frame.at["X39", "pedigree"] == "X38/X37"
    assert frame.at["X39", "short name"].startswith("MaTi.")


def test_very_many_selfings_are_named() -> None:
    rows: Rows = [("Marl", "", ""), ("Tind", "", ""), ("S1", "Marl", "Tind")]
    rows += [(f"S{k}", f"S{k - 1}", "selfed") for k in range(2, 400)]
    assert named(rows)["short name"].iloc[-1] == "MaTi F399"


# --- at the season ----------------------------------------------------------------------


def season(rows: Rows, plants: list[tuple[str, str]]) -> Season:
    scored = planted(plants).assign(colour="red")
    return load_season(plants=scored, families=register(rows))


def test_a_season_names_its_families_and_plants() -> None:
    here = season(YEARS, PLANTS)
    table = here.names().set_index("family")
    assert table["short name"].to_dict() == {f: e[2] for f, e in EXPECTED.items()}
    each = here.names("plants").set_index("plant")["short name"]
    assert each["27a-05"] == "MaTi F2-5"
    assert each.index.tolist() == here.plants["plant"].tolist()
    with pytest.raises(TableError, match="no list of names called 'plant'"):
        here.names("plant")


def test_founders_without_a_row_keep_their_names_when_they_get_one() -> None:
    rows: Rows = [("F1", "Marl", "Tind"), ("F2", "F1", "selfed"), ("X", "F1", "Mavotte")]
    before = season(rows, [("1", "F2")]).names().set_index("family")["short name"]
    later: Rows = [*rows, ("Mabby", "", ""), ("Y", "Mabby", "Tind")]
    later += [("Tind", "", ""), ("Mavotte", "", ""), ("Marl", "", "")]
    after = season(later, [("1", "F2")]).names().set_index("family")["short name"]
    assert before["X"] == "MaTiMav F1"
    assert after[["F1", "F2", "X"]].equals(before[["F1", "F2", "X"]])


def test_names_stay_when_the_plants_of_earlier_years_are_no_longer_in_the_table() -> None:
    whole = season(YEARS, PLANTS).names()
    for kept in (PLANTS[2:], [("1", "29x")]):
        assert season(YEARS, kept).names().equals(whole)


def test_without_a_register_the_short_forms_are_named() -> None:
    alone = load_season(planted([("1", "F2"), ("2", "F1"), ("3", "Kids")]).assign(c="red"))
    assert alone.names()["short name"].tolist() == ["P1P2 F2", "P1P2 F1", ""]
    tally = load_counts(pd.DataFrame({"family": ["F2", "BC1(P2)"], "red": [3, 2], "x": [1, 2]}))
    assert tally.names()["short name"].tolist() == ["P1P2 F2", "P1P2 BC1(P2)"]
    assert tally.names("plants").empty


def big_register() -> tuple[Rows, list[tuple[str, str]]]:
    """2,000 plants, each a family of its own in the register, over 15 seasons."""
    draw = random.Random(15)
    rows: Rows = [(f"Invented {k}", "", "") for k in range(20)]
    seasons = [[name for name, *_ in rows]]
    for year in range(1, 16):
        grown = []
        for k in range(132):
            one, other = draw.choice(seasons[-1]), draw.choice(draw.choice(seasons))
            name = f"{year:02d}-{k:03d}"
            rows.append((name, one, draw.choice([other, other, "selfed"])))
            grown.append(name)
        seasons.append(grown)
    return rows, [(f"{name}-1", name) for name, *_ in rows]


def test_two_thousand_plants_over_fifteen_seasons_are_named_soon() -> None:
    rows, plants = big_register()
    assert len(plants) == 2000
    frame, table = register(rows), planted(plants)
    best = np.inf
    for _ in range(3):
        start = time.process_time()  # others may use the machine
        families = name_families(frame, family_plans(frame, (), table))
        each = name_plants(table, families)
        best = min(best, time.process_time() - start)
    assert families["short name"].is_unique and each["short name"].is_unique
    assert best < 0.4
