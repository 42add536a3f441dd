"""Files, workbooks and frames of every sort give the same table of texts, or a clear refusal."""

from __future__ import annotations

import datetime
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from openpyxl import Workbook

from breedkit import records
from breedkit.errors import TableError
from breedkit.reading import (
    Sheet,
    guard,
    problem_frame,
    read_table,
    sheet_called,
    sheet_names,
    unguard,
)

KEYS = ("plant", "family")
TABLE = "plant,family,colour\nK1,F2,red\nK2,F2,é\n"


def read(folder: Path, text: str | bytes, name: str = "plants.csv") -> Sheet:
    path = folder / name
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return read_table(path, KEYS, "plants")


def said(sheet: Sheet) -> list[str]:
    return list(problem_frame(sheet.findings)["problem"])


def book(path: Path, *sheets: tuple[str, list[list[object]]]) -> Path:
    made = Workbook()
    made.remove(made.active)
    for title, rows in sheets:
        page = made.create_sheet(title)
        for row in rows:
            page.append(row)
    made.save(path)
    return path


@pytest.mark.parametrize("mark", [",", ";", "\t"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be",
                                      "cp1252"])  # fmt: skip
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_any_delimiter_encoding_and_line_end(
    tmp_path: Path, mark: str, encoding: str, end: str
) -> None:
    text = TABLE.replace(",", mark).replace("\n", end)
    sheet = read(tmp_path, text.encode(encoding))
    assert sheet.frame().to_numpy().tolist() == [["K1", "F2", "red"], ["K2", "F2", "é"]]
    assert list(sheet.rows) == [2, 3]
    assert said(sheet) == (
        ["is not in UTF-8; read as Windows text: look at the accented letters"]
        if encoding == "cp1252"
        else []
    )


def test_cells_stay_as_typed(tmp_path: Path) -> None:
    odd = ["001", "12,5", "NA", " Red ", "'quoted'", "1e5", "TRUE", "2024-02-01", "", "nan"]
    rows = "".join(f"{k};F2;{cell}\n" for k, cell in enumerate(odd))
    sheet = read(tmp_path, "plant;family;x\n" + rows)
    assert list(sheet.frame()["x"]) == odd


def test_rows_are_numbered_as_the_spreadsheet_shows_them(tmp_path: Path) -> None:
    text = (
        'My season;;\n\n"a title over\ntwo lines";;\nPlant;Family;note\n'
        'K1;F2;"first\nsecond"\n\n;;\nK2;F2;"a;b"\nK3;F2;\n;;\n\n'
    )
    sheet = read(tmp_path, text)
    assert list(sheet.rows) == [5, 8, 9]
    assert said(sheet) == ["has its header in row 4"]
    assert list(sheet.frame()["note"]) == ["first\nsecond", "a;b", ""]


def test_rows_are_numbered_alike_however_the_text_is_cut(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    rng = np.random.default_rng(4)
    line = ["K{};F2;x\n", 'K{};F2;"x\ny"\n', "\n", ";;\n", "K{};F2;x;too much\n", "K{};F2\n"]
    kinds = rng.integers(0, len(line), 400)
    text = "plant;family;x\n" + "".join(line[k].format(n) for n, k in enumerate(kinds))
    whole = read(tmp_path, text)
    kept = [n for n, k in enumerate(kinds) if k not in (2, 3)]
    assert list(whole.rows) == [n + 2 for n in kept]
    assert list(whole.frame()["plant"]) == [f"K{n}" for n in kept]
    monkeypatch.setattr(records, "PIECE", 64)
    cut = read(tmp_path, text)
    pd.testing.assert_frame_equal(whole.frame(), cut.frame())
    assert whole.findings == cut.findings


def test_a_row_with_too_many_cells_is_kept_and_named(tmp_path: Path) -> None:
    sheet = read(tmp_path, "plant,family,weight\nK1,F2,12,5\nK2,F2\nK3,F2,7,,\n")
    assert list(sheet.frame()["column D"]) == ["5", "", ""]
    assert list(sheet.frame()["weight"]) == ["12", "", "7"]
    assert [(p.row, p.what) for p in (f.problem for f in sheet.findings)] == [
        (2, "has more cells than the header, which has 3")
    ]
    many = read(tmp_path, "plant,family,weight\n" + "K,F2,1,2\n" * 50)
    assert len(many.findings) == 21
    assert sum(f.rows for f in many.findings) == 50


def test_headers_twice_blank_or_missing(tmp_path: Path) -> None:
    text = "plant,family,colour,Colour,,,colour\nK1,F2,red,blue,,x,green\n"
    sheet = read(tmp_path, text)
    assert list(sheet.columns) == ["plant", "family", "colour", "Colour (2)", "column F",
                                   "colour (3)"]  # fmt: skip
    assert [f.problem.column for f in sheet.findings] == ["D", "column F", "G"]


def test_a_great_many_columns(tmp_path: Path) -> None:
    head = ["plant", "family", *(f"trait {k}" for k in range(200))]
    sheet = read(tmp_path, ";".join(head) + "\n" + ";".join(["K1", "F2", *["x"] * 200]) + "\n")
    assert list(sheet.columns) == head


def test_only_a_header(tmp_path: Path) -> None:
    for text in ("plant,family,colour\n", "plant,family,colour"):
        assert read(tmp_path, text).frame().shape == (0, 3)


def test_a_bare_quotation_mark_does_no_harm_inside_a_cell(tmp_path: Path) -> None:
    sheet = read(tmp_path, 'plant,family,x\nK1,F2,5" tall\nK2,F2,"so" called\nK3,F2,\n')
    assert list(sheet.frame()["x"]) == ['5" tall', "so called", ""]


PICTURES = {
    "a PDF": b"%PDF-1.7\n%\xe2\xe3",
    "a picture": b"\x89PNG\r\n\x1a\n\0\0",
    "empty": b"",
    "empty ": b" \n\n",
    "an old Excel workbook": b"\xd0\xcf\x11\xe0\xa1\xb1",
    "not a text file": bytes(range(1, 31)) * 20,
}


@pytest.mark.parametrize("what", PICTURES)
def test_what_is_no_table_is_refused(tmp_path: Path, what: str) -> None:
    with pytest.raises(TableError, match=f"^plants.csv: is {what.strip()}") as caught:
        read(tmp_path, PICTURES[what])
    assert len(str(caught.value).splitlines()[0]) < 90


def test_missing_files_and_missing_columns(tmp_path: Path) -> None:
    with pytest.raises(TableError, match="nowhere.csv: cannot be opened: No such file"):
        read_table(tmp_path / "nowhere.csv", KEYS, "plants")
    with pytest.raises(TableError, match="has no column called 'plant'. Found: 'Plnat', 'family'"):
        read(tmp_path, "Plnat,family,colour\n1,2,3\n")
    with pytest.raises(TableError, match="2 things") as caught:
        read(tmp_path, "a,b\n1,2\n")
    assert "'family'" in str(caught.value) and "'plant'" in str(caught.value)


def test_bytes_that_are_no_text_at_all_are_kept(tmp_path: Path) -> None:
    sheet = read(tmp_path, b"plant,family,x\nK1,F2,caf\xe9\x81\n")
    assert list(sheet.frame()["x"]) == ["café\x81"]


def test_an_open_quotation_mark_is_not_guessed_at(tmp_path: Path) -> None:
    with pytest.raises(TableError, match="a quotation mark is opened and never closed"):
        read(tmp_path, 'plant,family,x\nK0,F2,"so" called\nK1,F2,"red\nK2,F2,white\n')
    with pytest.raises(TableError, match="a quotation mark is opened and never closed"):
        read(tmp_path, 'plant,family,x\nK1,F2,"red\nK2,F2,white\n')


def test_files_whose_ending_is_wrong(tmp_path: Path) -> None:
    sheet = read(tmp_path, TABLE, "plants.xlsx")
    assert said(sheet) == ["is a text table in spite of its ending; read as one"]
    path = book(tmp_path / "a.xlsx", ("plants", [["plant", "family"], ["K1", "F2"]]))
    sheet = read(tmp_path, path.read_bytes(), "plants.csv")
    assert said(sheet) == ["is a workbook in spite of its ending; read as one"]
    with pytest.raises(TableError, match="cannot be read as an Excel workbook"):
        read(tmp_path, b"PK\x03\x04 and so on", "plants.xlsx")


def test_a_workbook_with_what_spreadsheets_do(tmp_path: Path) -> None:
    path = tmp_path / "season.xlsx"
    made = Workbook()
    page = made.active
    page.title = "Plants"
    page.append(["My own peppers"])
    page.append([])
    page.append(["Plant", "Family", "class", "weight", None, "seen"])
    page.append(["001", "F2", datetime.datetime(2024, 2, 1), 12.5, None, True])
    page.append([7, None, "=1+1", 12.0, None, datetime.datetime(2024, 2, 1, 12, 30)])
    page.append([None] * 6)
    page.append(["K3", "F3", "#REF!", "12,5", None, None])
    page["A5"].number_format = "000"
    page.merge_cells("B4:B5")
    page.merge_cells("A1:F1")
    hidden = made.create_sheet("hidden")
    hidden.sheet_state = "hidden"
    hidden.append(["x"])
    made.create_sheet("blank")
    made.save(path)
    sheet = read_table(path, KEYS, "plants")
    assert sheet.source == "season.xlsx, sheet 'Plants'"
    assert list(sheet.rows) == [4, 5, 7]
    assert sheet.frame().to_numpy().tolist() == [
        ["001", "F2", "2024-02-01", "12.5", "TRUE"],
        ["007", "F2", "=1+1", "12", "2024-02-01 12:30:00"],
        ["K3", "F3", "#REF!", "12,5", ""],
    ]
    assert said(sheet) == [
        "is merged over several rows; read as if typed in each of them",
        "has its header in row 3",
    ]
    assert sheet_names(path) == ["Plants", "hidden"]


@pytest.mark.parametrize("title", ["Plants 2042", "my_plants", "PLANTS (bed 3)"])
def test_a_sheet_whose_name_is_near(tmp_path: Path, title: str) -> None:
    rows: list[list[object]] = [["plant", "family"], ["K1", "F2"]]
    path = book(tmp_path / "a.xlsx", (title, rows), ("Notes", [["x"]]), ("Sheet3", []))
    sheet = read_table(path, KEYS, "plants")
    assert sheet.source == f"a.xlsx, sheet '{title}'"
    assert said(sheet) == ["is read as the table of plants"]
    path = book(tmp_path / "b.xlsx", (title, rows), ("plants of 2041", rows))
    with pytest.raises(TableError, match="has no sheet called 'plants'. Known: "):
        read_table(path, KEYS, "plants")
    path = book(tmp_path / "c.xlsx", (title, rows), ("plants", rows))
    assert read_table(path, KEYS, "plants").source == "c.xlsx, sheet 'plants'"
    assert sheet_called("plants", ["implants", "plantsman"]) is None


@pytest.mark.parametrize(
    "header, plant, family",
    [("Pflanze;Familie;Farbe", "Pflanze", "Familie"), ("Plante;Famille;x", "Plante", "Famille"),
     ("Planta;Familia;x", "Planta", "Familia"), ("PFLANZE.;Famille;x", "PFLANZE.", "Famille")],
)  # fmt: skip
def test_headers_in_another_language_get_a_repair(
    tmp_path: Path, header: str, plant: str, family: str
) -> None:
    for above in ("", "Paprika 2042;;\n\n"):
        with pytest.raises(TableError) as caught:
            read(tmp_path, f"{above}{header}\n1;F2;rot\n")
        assert [p.suggestion.partition(". ")[2] for p in caught.value.problems] == [
            f"If '{plant}' is meant, call the column 'plant'.",
            f"If '{family}' is meant, call the column 'family'.",
        ]


def test_below_a_title_the_widest_row_is_the_header(tmp_path: Path) -> None:
    with pytest.raises(TableError, match="Found: 'a', 'b' and 'c'"):
        read(tmp_path, "My peppers;;\na;b;c\n1;2;\n")


@pytest.mark.parametrize(
    "table",
    ["family,class,count\nF2,red,30\nF2,white,10\n", "Family,red,white\nF2,30,10\nBC1,9,11\n"],
)
def test_tallies_are_no_plants(tmp_path: Path, table: str) -> None:
    with pytest.raises(TableError, match="holds tallies, not a row for each plant") as caught:
        read(tmp_path, table)
    assert "one row a plant is needed here (in Python: load_counts)." in str(caught.value)


@pytest.mark.parametrize(
    "table", ["family,length,width\nF2,3,4\nF2,5,6\n", "family,colour,n\nF2,red,4\nF3,red,6\n"]
)
def test_plants_without_codes_are_no_tallies(tmp_path: Path, table: str) -> None:
    with pytest.raises(TableError, match="has no column called 'plant'"):
        read(tmp_path, table)


@pytest.mark.parametrize(
    "header, plant, family",
    [("ID,family", "ID", "family"), ("Tag,Line", "Tag", "Line"), ("Cross,No.", "Cross", "No."),
     ("plant,ID,generation", "plant", "generation"), ("label,colour,group", "label", "group")],
)  # fmt: skip
def test_headings_that_are_taken_for_plant_and_family(
    tmp_path: Path, header: str, plant: str, family: str
) -> None:
    if header.startswith("Cross"):
        plant, family = family, plant
    frame = pd.DataFrame([["K1"] * (header.count(",") + 1)], columns=header.split(","))
    for sheet in (read(tmp_path, f"{header}\nK1,F2,x\n"), read_table(frame, KEYS, "plants")):
        assert (sheet.header("plant"), sheet.header("family")) == (plant, family)
        said = {(f.severity, f.problem.column, f.problem.what) for f in sheet.findings}
        expected = {("note", h, f"is taken as the column '{k}'")
                    for k, h in (("plant", plant), ("family", family)) if h != k}  # fmt: skip
        assert {s for s in said if "taken" in s[2]} == expected


@pytest.mark.parametrize(
    "header, column, advice",
    [("Seedling no.,family", "plant",
      "Rename the heading 'Seedling no.' of your plant codes to 'plant'."),
     ("plant,my cross", "family", "Rename the heading 'my cross' of your families to 'family'."),
     ("family,colour,number", "plant",
      "Rename the heading 'number' of your plant codes to 'plant'.")],
)  # fmt: skip
def test_a_heading_that_needs_another_name(
    tmp_path: Path, header: str, column: str, advice: str
) -> None:
    with pytest.raises(TableError, match=f"has no column called '{column}'") as caught:
        read(tmp_path, f"{header}\nF2,red,3\n")
    assert caught.value.problems[0].suggestion.endswith(advice)


def test_a_class_called_no_is_not_the_code_of_a_plant(tmp_path: Path) -> None:
    for table in ("family,no,yes\nF2,3,1\nF3,2,2\n", "line,class,count\nF2,red,3\n"):
        with pytest.raises(TableError, match="holds tallies"):
            read(tmp_path, table)
    with pytest.raises(TableError, match="holds tallies"):
        read_table(pd.DataFrame({"family": ["F2"], "no": [3], "yes": [1]}), KEYS, "plants")


def test_a_frame_whose_names_stand_in_a_row_below_is_refused() -> None:
    frame = pd.DataFrame([["plant", "family"], ["K1", "F2"]])
    with pytest.raises(TableError, match="2 things in the table need mending"):
        read_table(frame, KEYS, "plants")


def test_the_index_of_a_frame_goes_before_a_likeness() -> None:
    frame = pd.DataFrame({"ID": ["x", "y"], "family": "F2"}, index=["K1", "K2"])
    assert read_table(frame, KEYS, "plants").header("plant") == "ID"
    named = read_table(frame.rename_axis("plant"), KEYS, "plants")
    assert named.frame()["plant"].tolist() == ["K1", "K2"]


def test_a_workbook_without_the_sheet_names_those_it_has(tmp_path: Path) -> None:
    rows: list[list[object]] = [["plant", "family"], ["K1", "F2"]]
    path = book(tmp_path / "a.xlsx", ("Plant list", rows), ("Notes", [["x"]]))
    with pytest.raises(TableError, match="has no sheet called 'plants'. Known: 'Plant list' and"):
        read_table(path, KEYS, "plants")
    only = book(tmp_path / "b.xlsx", ("Sheet1", rows))
    assert read_table(only, KEYS, "plants").frame().to_numpy().tolist() == [["K1", "F2"]]


def test_frames(tmp_path: Path) -> None:
    frame = pd.DataFrame(
        {
            "Plant": [1, 2, 3],
            "family": pd.Categorical(["F2", None, "F3"]),
            "weight": [12.0, np.nan, 0.1],
            "when": pd.to_datetime(["2024-05-01", None, "2024-05-02"]),
            "none": [None, "", "=1"],
        }
    )
    sheet = read_table(frame, KEYS, "plants")
    assert sheet.frame().to_numpy().tolist() == [
        ["1", "F2", "12", "2024-05-01", ""],
        ["2", "", "", "", ""],
        ["3", "F3", "0.1", "2024-05-02", "=1"],
    ]
    assert list(sheet.rows) == [2, 3, 4]
    indexed = read_table(frame.set_index("Plant"), KEYS, "plants")
    pd.testing.assert_frame_equal(indexed.frame(), sheet.frame().rename(columns={"Plant": "plant"}))
    with pytest.raises(TableError, match="the plants frame: has no column called 'plant'"):
        read_table(frame[["family"]], KEYS, "plants")


@pytest.mark.parametrize(
    "text, safe",
    [
        ("=1+1", "'=1+1"), ("+cmd", "'+cmd"), ("-a", "'-a"), ("@x", "'@x"), ("\tx", "'\tx"),
        ("\rx", "'\rx"), (" =1", "' =1"), ("＝1", "'＝1"), ("'=1", "''=1"), ("''-x", "'''-x"),
        ("-3.5", "-3.5"), ("+3", "+3"), ("-3,5", "-3,5"), ("-", "-"), ("red", "red"), ("", ""),
        ("'tis", "'tis"), ("a=b", "a=b"), ("-3.5=x", "'-3.5=x"), ("--", "'--"),
    ],
)  # fmt: skip
def test_what_a_spreadsheet_would_run_is_guarded(text: str, safe: str) -> None:
    assert guard(text) == safe
    assert unguard(guard(text)) == text
