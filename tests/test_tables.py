"""Loading a season or a tally from whatever a grower has, and saying what is wrong with it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from openpyxl import Workbook

import breedkit as bk
from breedkit.errors import BreedkitError, TableError
from breedkit.tables import Season, load_counts, load_season

SAMPLE = Path(__file__).parent.parent / "sample_data"
PLANTS = "plant,family,colour\nK1,F1,red\nK2,F2,red\nK3,F2,white\nK4,F2,red\n"
FAMILIES = "family,female,male\nP1,,\nP2,,\nF1,P1,P2\nF2,F1,selfed\n"
TRAITS = "trait,kind,classes\ncolour,class,red | white | yellow\n"


def folder(
    path: Path, plants: str = PLANTS, families: str | None = FAMILIES, traits: str | None = TRAITS
) -> Path:
    for name, text in (("Plants", plants), ("families", families), ("TRAITS", traits)):
        if text is not None:
            (path / f"{name}.csv").write_text(text, encoding="utf-8")
    return path


def problems(season: Season) -> list[tuple[str, object, str, str, str]]:
    """All but the notes: severity, row, column, value, and the problem."""
    frame = season.problems
    frame = frame[frame["severity"] != "note"]
    told = frame[["severity", "row", "column", "value", "problem"]]
    return [
        (s, None if pd.isna(r) else int(r), c, v, p)
        for s, r, c, v, p in told.itertuples(index=False, name=None)
    ]


def check(season: Season) -> None:
    assert season.counts("colour").to_dict("index") == {
        "F1": {"red": 1, "white": 0, "yellow": 0, "not scored": 0},
        "F2": {"red": 2, "white": 1, "yellow": 0, "not scored": 0},
    }
    assert not problems(season)


def test_one_season_from_every_kind_of_source(tmp_path: Path) -> None:
    check(load_season(folder(tmp_path)))
    check(load_season(str(tmp_path)))
    frames = {
        n: pd.read_csv(tmp_path / f"{f}.csv", keep_default_na=False)
        for n, f in (("plants", "Plants"), ("families", "families"), ("traits", "TRAITS"))
    }
    check(load_season(**frames))
    check(load_season(tmp_path / "Plants.csv", families=frames["families"],
                      traits=tmp_path / "TRAITS.csv"))  # fmt: skip
    check(load_season(frames["plants"], traits=frames["traits"]))
    book = Workbook()
    book.remove(book.active)
    for name, frame in frames.items():
        page = book.create_sheet(name.upper())
        page.append(list(frame.columns))
        for row in frame.itertuples(index=False, name=None):
            page.append([value or None for value in row])
    book.save(tmp_path / "season.xlsx")
    check(load_season(tmp_path / "season.xlsx"))
    tabs = tmp_path / "tabs"
    tabs.mkdir()
    for name, frame in frames.items():
        frame.to_csv(tabs / f"{name}.tsv", sep="\t", index=False)
    check(load_season(tabs))
    assert bk.load_season is load_season and bk.load_counts is load_counts


def test_plants_alone_are_enough_and_what_is_inferred_is_said(tmp_path: Path) -> None:
    season = load_season(folder(tmp_path, families=None, traits=None))
    assert season.counts("colour").to_numpy().tolist() == [[1, 0, 0], [2, 1, 0]]
    assert list(season.problems["problem"]) == ["taken as class: 'colour'"]
    assert season.families["family"].tolist() == ["F1", "F2"]
    assert season.traits.loc[0, "inferred"] == "kind | classes"


def test_faults_of_all_three_tables_come_together(tmp_path: Path) -> None:
    folder(tmp_path, "a,b\n1,2\n", "x,y\n", "")
    with pytest.raises(TableError) as caught:
        load_season(tmp_path)
    text = str(caught.value)
    assert text.splitlines()[0] == "4 things in the table need mending:"
    assert all(name in text for name in ("Plants.csv", "families.csv", "TRAITS.csv: is empty"))
    assert isinstance(caught.value, ValueError) and isinstance(caught.value, BreedkitError)


def test_where_there_is_no_season(tmp_path: Path) -> None:
    for source in (tmp_path, None):
        with pytest.raises(TableError, match="no table of plants. It may be called plants.csv"):
            load_season(source)
    with pytest.raises(TableError, match="cannot be opened"):
        load_season(tmp_path / "nothing.csv")
    (tmp_path / "plants.csv").write_text(PLANTS)
    (tmp_path / "plants.tsv").write_text(PLANTS)
    with pytest.raises(TableError, match="'plants.tsv' is a second table called 'plants'"):
        load_season(tmp_path)


def test_a_workbook_without_a_sheet_of_plants(tmp_path: Path) -> None:
    book = Workbook()
    book.active.title = "scores"
    book.create_sheet("families")
    book.save(tmp_path / "a.xlsx")
    with pytest.raises(TableError, match="a.xlsx: has no sheet called 'plants'. Known: 'scores'"):
        load_season(tmp_path / "a.xlsx")


def test_sheets_that_are_not_read_are_named(tmp_path: Path) -> None:
    book = Workbook()
    book.active.title = "Plants 2042"
    for row in (["plant", "family", "colour"], ["K1", "F2", "red"]):
        book.active.append(row)
    for title in ("Ideas", "Families 2042", "harvest"):
        page = book.create_sheet(title)
        for row in (["family", "female", "male"], ["F2", "", ""]):
            page.append(row)
    book.create_sheet("Sheet5")
    book.save(tmp_path / "a.xlsx")
    season = load_season(tmp_path / "a.xlsx")
    assert season.families.columns.tolist()[:3] == ["family", "female", "male"]
    assert season.families["family"].tolist() == ["F2"]
    assert set(season.problems["problem"]) == {
        "is read as the table of plants", "is read as the table of families",
        "sheets that are not read: 'Ideas' and 'harvest'", "taken as class: 'colour'",
    }  # fmt: skip


def test_tallies_given_as_plants(tmp_path: Path) -> None:
    tally = pd.DataFrame({"family": ["F2", "F2"], "class": ["red", "white"], "count": [3, 1]})
    with pytest.raises(TableError, match="the plants frame: holds tallies, not a row for each"):
        load_season(tally)
    assert load_counts(tally).counts("class").loc["F2"].tolist() == [3, 1, 0]


@pytest.mark.parametrize("content", [b"", b"%PDF-1.4", b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR"])
def test_files_that_are_no_tables(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "plants.csv").write_bytes(content)
    with pytest.raises(TableError, match="^plants.csv: is "):
        load_season(tmp_path)


def test_an_unknown_class(tmp_path: Path) -> None:
    season = load_season(folder(tmp_path, PLANTS + "K5,F2,yelow\nK6,F2, Yelow\n"))
    assert problems(season) == [
        ("mend", 6, "colour", "yelow", "is not a known class"),
        ("mend", 7, "colour", " Yelow", "is not a known class"),
    ]
    assert season.problems.loc[0, ["allowed", "suggestion"]].tolist() == [
        "red | white | yellow", "Did you mean 'yellow'?",
    ]  # fmt: skip
    assert season.counts("colour").loc["F2"].tolist() == [2, 1, 0, 2]
    assert season.typed["colour"].tolist()[-2:] == ["yelow", " Yelow"]
    assert season.mend("colour", {"yelow": "yellow"}).counts("colour").loc["F2", "yellow"] == 2


def test_a_plant_typed_twice(tmp_path: Path) -> None:
    season = load_season(folder(tmp_path, PLANTS + "k2 ,f2,white\nK1,F2,red\nk2,F2,red\n"))
    assert problems(season) == [
        ("mend", 6, "plant", "k2 ", "is already in row 3; this row is not counted"),
        ("mend", 8, "plant", "k2", "is already in row 3; this row is not counted"),
        ("check", 7, "plant", "K1", "is also a plant of 'F1'; counted as two plants"),
    ]
    assert season.counts("colour").loc["F2"].tolist() == [3, 1, 0, 0]
    assert season.plants["plant"].tolist() == ["K1", "K2", "K3", "K4", "K1"]
    assert season.typed["plant"].tolist()[-3:] == ["k2 ", "K1", "k2"]
    assert list(season.plants.index) == [2, 3, 4, 5, 7]


def test_a_plant_typed_twice_with_other_values(tmp_path: Path) -> None:
    text = "plant,family,colour,w,n\nK1,F2,red,1.5,?\nK1,F2,white,2.5,3\nK2,F2,red,2.5,\n"
    season = load_season(folder(tmp_path, text + "K2,F2,red,1.25,\n"))
    assert season.problems.loc[:1, "suggestion"].tolist() == [
        f"{said} here. Take one of the two rows away, or mend the code."
        for said in ("'colour' is 'red' there and 'white'", "'w' is '2.5' there and '1.25'")
    ]
    assert season.problems.loc[:1, "severity"].tolist() == ["mend", "mend"]
    assert season.values("w")["value"].tolist() == [1.5, 2.5]
    assert season.plants["n"].isna().all()  # nothing is taken from a row that contradicts


def test_the_rows_of_a_plant_scored_twice_are_joined(tmp_path: Path) -> None:
    text = (
        "plant,family,colour,w\nK1,F2,red,\nK2,F2,?,2.5\nK1,F2,,1.5\nK2,F2,white,\n"
        "K2,F2,white,2.5\nK3,F2,,\nK3,F2,red,\nK3,F2,white,4.5\n"
    )
    season = load_season(folder(tmp_path, text))
    lacks = "is already in row {}, which lacks scores of this row"
    assert problems(season) == [
        ("mend", 6, "plant", "K2", "is already in row 3; this row is not counted"),
        ("mend", 8, "plant", "K3", "is already in row 7; this row is not counted"),
        ("mend", 9, "plant", "K3", "is already in row 7; this row is not counted"),
        ("check", 4, "plant", "K1", lacks.format(2)),
        ("check", 5, "plant", "K2", lacks.format(3)),
    ]
    assert season.counts("colour").loc["F2"].tolist() == [1, 1, 0, 1]
    np.testing.assert_array_equal(season.values("w")["value"], [1.5, 2.5, np.nan])
    assert season.plants["colour"].tolist()[:2] == ["red", "white"]
    assert "1 not scored" in repr(season)
    assert season.typed["colour"].tolist()[:2] == ["red", "?"]
    season.save(tmp_path / "saved")
    again = load_season(tmp_path / "saved")
    pd.testing.assert_frame_equal(again.plants, season.plants)
    assert problems(again) == problems(season)


def test_plants_numbered_anew_in_each_family(tmp_path: Path) -> None:
    rows = [f"{k:03d},{f},red" for f in ("F1", "F2") for k in (1, 2, 3)]
    season = load_season(folder(tmp_path, "plant,family,colour\n" + "\n".join([*rows, "2,F1,red"])))
    assert not problems(season)
    assert len(season.plants) == 7  # 002 is not 2
    assert season.plants["plant"].tolist()[0] == "001"


def test_plants_without_code_or_family(tmp_path: Path) -> None:
    season = load_season(folder(tmp_path, PLANTS + ",F2,red\n,F2,red\nK9,,white\n"))
    assert problems(season) == [
        ("check", 8, "family", "", "1 plant has no family; the last one typed was 'F2'"),
        ("check", 6, "plant", "", "plants without a code: counted, but they cannot be told apart"),
    ]
    assert season.problems.loc[1, "rows"] == 2
    assert season.counts("colour").loc["F2"].tolist() == [4, 1, 0, 0]
    assert season.counts("colour").loc["no family"].tolist() == [0, 1, 0, 0]


def test_a_family_that_is_not_in_the_register(tmp_path: Path) -> None:
    season = load_season(folder(tmp_path, PLANTS + "K5,F3,red\nK6,FF2,white\n"))
    assert problems(season) == [
        ("check", 6, "family", "F3", "is not in the register"),
        ("check", 7, "family", "FF2", "is not in the register"),
    ]
    assert season.family_names == ("F1", "F2", "F3", "FF2")
    assert season.families["family"].tolist() == ["P1", "P2", "F1", "F2"]
    mended = season.mend("family", {"FF2": "F2"})
    assert mended.counts("colour").loc["F2"].tolist() == [2, 2, 0, 0]


def test_families_typed_once_above_their_plants_are_not_guessed(tmp_path: Path) -> None:
    rows = "A,F1,red\nB,F2,red\n" + "".join(f"C{k},,red\n" for k in range(19))
    season = load_season(folder(tmp_path, "plant,family,colour\n" + rows))
    assert problems(season) == [
        ("check", 4, "family", "", "19 plants have no family; the last one typed was 'F2'")
    ]
    assert season.problems.loc[0, "rows"] == 19
    assert season.counts("colour").loc["no family", "red"] == 19
    season = load_season(folder(tmp_path, "plant,family,colour\nA,,red\nB,?,red\n"))
    assert problems(season) == [("check", 2, "family", "", "2 plants have no family")]


@pytest.mark.parametrize(
    "below, named",
    [
        ("Total,,5\n", [("plant", "Total")]),
        (",Summe:,5\n", [("family", "Summe:")]),
        ("Sum,,5\n,,\nAverage,,2.5\n", [("plant", "Sum"), ("plant", "Average")]),
    ],
)
def test_a_row_of_totals_is_not_a_plant(
    tmp_path: Path, below: str, named: list[tuple[str, str]]
) -> None:
    season = load_season(folder(tmp_path, PLANTS + below, traits=None))
    what = "is not a plant: the row is not used"
    assert [(s, c, v, p) for s, _, c, v, p in problems(season)] == [
        ("check", c, v, what) for c, v in named
    ]
    assert len(season.plants) == 4
    assert season.trait("colour").classes == ("red", "white")
    assert season.counts("colour").to_numpy().sum() == 4
    assert season.typed["colour"].tolist()[4] == "5"
    season.save(tmp_path / "saved")
    again = load_season(tmp_path / "saved")
    assert again.typed.to_numpy().tolist() == season.typed.to_numpy().tolist()
    assert [p[2:] for p in problems(again)] == [p[2:] for p in problems(season)]


def test_a_plant_called_total_stays_a_plant(tmp_path: Path) -> None:
    season = load_season(folder(tmp_path, PLANTS + "Total,F2,red\nSum,,red\nK9,F2,red\n"))
    assert len(season.plants) == 7


def test_a_header_and_no_plants(tmp_path: Path) -> None:
    with pytest.raises(TableError, match="Plants.csv: has a header, but no plants below it"):
        load_season(folder(tmp_path, "plant,family,colour\n,,\n"))
    with pytest.raises(TableError, match="the plants frame: has a header, but no plants"):
        load_season(plants=pd.DataFrame({"plant": [], "family": []}))


@pytest.mark.parametrize("register", [None, FAMILIES])
def test_families_match_but_for_blanks_hyphens_and_case(
    tmp_path: Path, register: str | None
) -> None:
    plants = PLANTS + "K5,F 2,red\nK6,f-2,white\nK7,F1-1,red\nK8,F11,red\nK2,f 2,red\n"
    season = load_season(folder(tmp_path, plants, families=register))
    assert season.family_names == ("F1", "F2", "F1-1", "F11")
    assert season.counts("colour").loc["F2"].tolist() == [3, 2, 0, 0]
    assert season.typed["family"].tolist()[4:6] == ["F 2", "f-2"]
    assert ("mend", 10, "plant", "K2", "is already in row 3; this row is not counted") in (
        problems(season)
    )
    season.save(tmp_path / "saved")
    again = load_season(tmp_path / "saved")
    pd.testing.assert_frame_equal(again.counts("colour"), season.counts("colour"))


def test_a_parent_without_a_row_is_a_founder(tmp_path: Path) -> None:
    register = "family,mother,father\nF1,Invented Ember,P 2\nF2,F1,self\n"
    season = load_season(folder(tmp_path, PLANTS + "A,P2,red\n", families=register))
    assert problems(season) == [
        ("check", 6, "family", "P2", "is not in the register"),
        ("check", 2, "mother", "Invented Ember", "has no row in the register; taken as a founder"),
        ("check", 2, "father", "P 2", "has no row in the register; taken as a founder"),
    ]
    assert season.families["family"].tolist() == ["F1", "F2", "Invented Ember", "P2"]
    assert season.families["male"].tolist() == ["P2", "selfed", "", ""]
    season.save(tmp_path / "saved")
    assert "Ember,," not in (tmp_path / "saved" / "families.csv").read_text()
    again = load_season(tmp_path / "saved")
    assert again.families["family"].tolist() == season.families["family"].tolist()
    assert len(problems(again)) == 3


def test_formulas_as_names(tmp_path: Path) -> None:
    season = load_season(folder(tmp_path, PLANTS + "=A5&1,F2,red\n=A6&1,F2,red\n"))
    assert problems(season) == [("check", 6, "plant", "=A5&1", "is a formula, read as text")]
    assert season.problems.loc[0, "rows"] == 2
    assert season.counts("colour").loc["F2"].tolist() == [4, 1, 0, 0]


def test_a_great_many_plants_typed_twice(tmp_path: Path) -> None:
    rows = "".join(f"P{k % 400},F2,red\n" for k in range(800))
    season = load_season(folder(tmp_path, "plant,family,colour\n" + rows))
    assert len(season.plants) == 400
    assert season.problems["rows"].sum() == 400
    assert len(season.problems) == 201


def test_parents_nobody_knows_and_a_family_that_is_its_own_ancestor(tmp_path: Path) -> None:
    register = FAMILIES + "F3,K2,selfed\nF4,K77,selfed\nA,B,F2\nB,A,selfed\n"
    season = load_season(folder(tmp_path, families=register))
    assert problems(season) == [
        ("mend", 7, "female", "K77", "is neither a family nor a plant"),
        ("mend", 8, "family", "A", "is among its own ancestors"),
        ("mend", 9, "family", "B", "is among its own ancestors"),
    ]
    assert season.families["female"].tolist()[-3:] == ["K77", "B", "A"]


def test_a_trait_without_a_column_and_a_column_without_a_trait(tmp_path: Path) -> None:
    plants = "plant,family,Colour ,height\nK1,F2,red,12.5\n"
    traits = TRAITS + "burn,ordered,none|hot\n"
    season = load_season(folder(tmp_path, plants, traits=traits))
    assert season.trait_names == ("colour", "height")
    assert problems(season) == [
        ("check", None, "", "burn", "is in the traits table, but is no column of the plants table")
    ]
    assert season.traits["trait"].tolist() == ["colour", "height", "burn"]


def test_a_spreadsheet_with_everything_at_once(tmp_path: Path) -> None:
    text = (
        "Peppers 2041;;;\n;;;\nPlant;Family;Colour;Weight\n001;F2;Réd ;12,5\n002;F2;=1+1;101.5\n"
        "003;F2;02.01.2041;1,234\n004;F2;;-\n;;;\n005;F2;white;12 g\n;;;\n"
    )
    traits = TRAITS + "weight,measured,\n"
    season = load_season(folder(tmp_path, text, traits=traits))
    assert [(s, r, v) for s, r, _, v, _ in problems(season)] == [
        ("mend", 5, "=1+1"), ("mend", 6, "02.01.2041"), ("mend", 6, "1,234"), ("mend", 9, "12 g"),
    ]  # fmt: skip
    assert season.typed["Colour"].tolist() == ["Réd ", "=1+1", "02.01.2041", "", "white"]
    assert season.typed["Weight"].tolist() == ["12,5", "101.5", "1,234", "-", "12 g"]
    np.testing.assert_array_equal(
        season.values("weight")["value"], [12.5, 101.5, np.nan, np.nan, np.nan]
    )
    assert season.plants["plant"].tolist() == ["001", "002", "003", "004", "005"]


def test_two_hundred_traits_and_remarks(tmp_path: Path) -> None:
    rng = np.random.default_rng(1)
    frame = pd.DataFrame({f"t{k}": rng.choice(["a", "b", ""], 50) for k in range(200)})
    frame.insert(0, "family", "F2")
    frame.insert(0, "plant", [str(k) for k in range(50)])
    frame["Remarks"] = [f"remark {k}" for k in range(50)]
    frame["diary"] = [f"what I saw on day {k}" for k in range(50)]
    season = load_season(plants=frame)
    assert season.trait_names == tuple(f"t{k}" for k in range(200))
    assert season.plants["diary"].tolist() == frame["diary"].tolist()
    for k in (0, 77, 199):
        assert season.counts(f"t{k}").loc["F2", "not scored"] == (frame[f"t{k}"] == "").sum()
    assert len(repr(season).splitlines()) < 30


# --- tallies ----------------------------------------------------------------------


def test_tallies_in_rows_and_in_columns(tmp_path: Path) -> None:
    long = pd.DataFrame(
        {
            "Family": ["F2", "F2", "BC1", "BC1", "BC1"],
            "class": ["red", "white", "White ", "red", "?"],
            "Count": [44, 16, 9, 11, 2],
            "source": "invented",
        }
    )
    season = load_counts(long)
    assert season.counts("class").to_dict("index") == {
        "F2": {"red": 44, "white": 16, "not scored": 0},
        "BC1": {"red": 11, "white": 9, "not scored": 2},
    }
    assert season.typed["source"].tolist() == ["invented"] * 5
    wide = pd.DataFrame({"red": [44, 11], "white": [16, 9], "-": [0, 2]}, index=["F2", "BC1"])
    pd.testing.assert_frame_equal(load_counts(wide).counts("class"), season.counts("class"))
    path = tmp_path / "t.csv"
    wide.rename_axis("family").to_csv(path, sep=";")
    pd.testing.assert_frame_equal(load_counts(path).counts("class"), season.counts("class"))
    blanks = long.assign(Family=["F2", "F 2", "BC1", "BC-1", "bc1"])
    pd.testing.assert_frame_equal(load_counts(blanks).counts("class"), season.counts("class"))


def test_shuffling_a_tally_changes_no_count() -> None:
    table = pd.read_csv(SAMPLE / "published" / "mendel_between_plants.csv")
    season = load_counts(table)
    for seed in range(5):
        other = load_counts(table.sample(frac=1, random_state=seed))
        for trait in season.trait_names:
            counts = season.counts(trait)
            shuffled = other.counts(trait)
            assert shuffled.loc[counts.index, counts.columns].equals(counts)


@pytest.mark.parametrize("count", ["2.5", "-1", "", "many", "1,234", "1e99", "=2+2"])
def test_a_tally_with_a_wrong_count_is_refused(count: str) -> None:
    frame = pd.DataFrame({"family": "F2", "class": ["a", "b"], "count": ["3", count]})
    with pytest.raises(TableError, match="row 3, column 'count'.* is not a count"):
        load_counts(frame)


def test_every_wrong_count_is_listed() -> None:
    frame = pd.DataFrame(
        {"red": ["1", "x"], "white": ["-2", "3"], "Total": [1, 2]}, index=list("AB")
    )
    with pytest.raises(TableError) as caught:
        load_counts(frame)
    assert [(p.row, p.column, p.found) for p in caught.value.problems] == [
        (2, "white", "-2"), (2, "Total", "Total"), (3, "red", "x"), (3, "Total", "Total"),
    ]  # fmt: skip


def test_a_class_counted_twice_is_refused() -> None:
    frame = pd.DataFrame({"family": "F2", "class": ["red", "Red "], "count": [3, 4]})
    with pytest.raises(TableError, match="'red' is counted for 'F2' in row 2 already. Add them"):
        load_counts(frame)
    with pytest.raises(TableError, match="holds no counts"):
        load_counts(frame.iloc[:0])
    with pytest.raises(TableError, match="has no column called 'family'"):
        load_counts(pd.DataFrame({"class": ["a"], "count": [1]}))


def test_the_case_of_genotypes_is_kept() -> None:
    season = load_counts(SAMPLE / "published" / "mendel_nine_classes.csv")
    assert season.counts("genotype by progeny").loc["F2"].tolist() == [
        38, 35, 28, 30, 65, 68, 60, 67, 138, 0,
    ]  # fmt: skip


PUBLISHED = {
    # file: (trait, family) -> counts, as printed in the source that the file names
    "mendel_seven_traits": {("seed form", "F2"): [5474, 1850], ("stem length", "F2"): [787, 277]},
    "mendel_between_plants": {("albumen colour", "plant 4"): [70, 27]},
    "mendel_f3_families": {("seed form", "F2 plants with the dominant character"): [193, 372]},
    "mendel_dihybrid": {("seed form and albumen colour", "F2"): [315, 101, 108, 32]},
    "mendel_testcrosses": {("gametes", "series 5"): [47, 40, 38, 41]},
    "tomato_dihybrid": {("stem and leaf", "F2"): [926, 288, 293, 104]},
    "sweet_pea": {("flower colour", "F2"): [382, 269]},
    "shepherds_purse": {("capsule", "F2"): [2540, 167]},
    "squash": {("immature fruit colour", "BC"): [90, 95]},
    "replicated_g_test": {("side", "sample 6"): [153, 174]},
}


@pytest.mark.parametrize("name", sorted(p.stem for p in (SAMPLE / "published").glob("*.csv")))
def test_published_tables_load_and_name_their_sources(name: str) -> None:
    season = load_counts(SAMPLE / "published" / f"{name}.csv")
    assert (season.typed["source"].str.len() > 10).all()
    assert (season.typed["standing"].str.contains("published|memory")).all()
    assert season.problems.empty
    for (trait, family), counts in PUBLISHED.get(name, {}).items():
        assert season.counts(trait).loc[family].tolist() == [*counts, 0]
    totals = {"mendel_27_classes": 639, "mendel_nine_classes": 529}  # plants, Mendel 1866
    if name in totals:
        (trait,) = season.trait_names
        assert season.counts(trait).to_numpy().sum() == totals[name]
