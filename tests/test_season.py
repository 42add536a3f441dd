"""A season understood, mended, saved and shown."""

from __future__ import annotations

import dataclasses
from collections import Counter
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from breedkit.errors import TableError, fold
from breedkit.season import Season
from breedkit.spelling import TOKENS
from breedkit.tables import load_counts, load_season

SAMPLE = Path(__file__).parent.parent / "sample_data"


@pytest.fixture(scope="module")
def sample() -> Season:
    return load_season(SAMPLE / "invented_season")


def hostile() -> list[str]:
    return [
        "<img src=x onerror=alert(1)>", "=cmd()|' /C calc'!A0", "+1+1", "-2+3", "@SUM(A1)",
        "$x_1$", "\\textbf{x}", "🌶️🔥", "אדום", "\u202ered", "x" * 10_000, "a\0b", "a\x1bb", "'=1",
        '"', "a\nb", "a;b,c\td", " red", "'", "red\u200b", "|", "a = b", "not scored", "e\u0301",
        "_legend", "%s {0}", "NULL", "nan", "None", "TRUE",
    ]  # fmt: skip


def plain_plants(**columns: list[str]) -> pd.DataFrame:
    size = len(next(iter(columns.values())))
    names = {"plant": [f"K{k}" for k in range(size)], "family": ["F2"] * size}
    return pd.DataFrame(names | columns)


def test_counts_are_those_of_a_slow_count(sample: Season) -> None:
    frame, typed = sample.plants, sample.typed
    for name in ("ripe colour", "fruit position", "unripe colour", "burn"):
        counts = sample.counts(name)
        slow: Counter[tuple[str, str]] = Counter()
        header = next(c for c in typed.columns if fold(c) == name)
        classes = sample.trait(name).classes
        for row in frame.index:
            word = fold(typed.at[row, header])
            slow[fold(typed.at[row, "Family"]), word if word in classes else "not scored"] += 1
        fast = {(fold(f), c): n for f, line in counts.iterrows() for c, n in line.items() if n}
        assert fast == slow
        assert int(counts.to_numpy().sum()) == len(frame) == 266
        assert list(counts.columns) == [*classes, "not scored"]


def test_values_are_those_of_a_slow_reading(sample: Season) -> None:
    values = sample.values("fruit weight")
    typed = sample.typed["Fruit weight"].loc[values.index]
    for text, value in zip(typed, values["value"], strict=True):
        try:
            assert float(text.replace(",", ".")) == value
        except ValueError:
            assert np.isnan(value) and (fold(text) in TOKENS or text == "49,9 g")
    assert list(values.columns) == ["plant", "family", "value"]


def test_the_sample_season_is_what_its_readme_says(sample: Season) -> None:
    assert sample.verdict == "266 plants in 14 families, 7 traits; 7 things to look at"
    mended = sample.mend("ripe colour", {"orannge": "orange"})
    counts = mended.counts("ripe colour")
    assert counts.loc["F2-Oddley"].tolist() == [13, 7, 0]
    assert counts.loc["P1"].tolist() == [8, 0, 0]
    assert counts.loc["F1"].tolist() == [10, 0, 0]
    assert 60 <= counts.loc["F2"].sum() <= 70
    assert counts.loc["BC1P1", "orange"] == 0
    # families from one plant that shows the hidden class breed true for it
    by_code = mended.plants.set_index("plant")
    register = mended.families.set_index("family")
    for family in (f for f in mended.family_names if f.startswith("F3")):
        parent = by_code.loc[register.at[family, "female"]]
        for trait, hidden in (("ripe colour", "orange"), ("fruit position", "upright"),
                              ("unripe colour", "white")):  # fmt: skip
            line = mended.counts(trait).loc[family]
            if parent[trait] == hidden:
                assert line.drop([hidden, "not scored"]).sum() == 0
            else:
                assert line[parent[trait]] > 0


@pytest.mark.parametrize("seed", range(5))
def test_shuffling_rows_changes_no_count(sample: Season, seed: int) -> None:
    for source, traits in ((sample.typed, sample.traits), (sample.typed, None)):
        season = load_season(plants=source, families=sample.families, traits=traits)
        shuffled = load_season(
            plants=source.sample(frac=1, random_state=seed),
            families=sample.families,
            traits=traits,
        )
        assert shuffled.trait_names == season.trait_names
        for name in season.trait_names:
            if season.trait(name).has_classes:
                pd.testing.assert_frame_equal(shuffled.counts(name), season.counts(name))


def same(a: Season, b: Season, rows: bool = False) -> None:
    """Two seasons say the same."""
    for x, y in ((a.plants, b.plants), (a.families, b.families), (a.traits, b.traits)):
        pd.testing.assert_frame_equal(x.reset_index(drop=True), y.reset_index(drop=True))
    assert a.typed.to_numpy().tolist() == b.typed.to_numpy().tolist()
    told = [s.problems.astype(str).to_numpy().tolist() for s in (a, b)]
    assert told[0] == told[1]
    for x, y in ((a.plants, b.plants), (a.typed, b.typed), (a.families, b.families)):
        assert x.index.tolist() == y.index.tolist()
    assert repr(a) == repr(b)


def test_saved_and_loaded_it_is_the_same_season(sample: Season, tmp_path: Path) -> None:
    mended = sample.mend("ripe colour", {"orannge": "orange"}).mend("family", {"volunteers": "F2"})
    for k, season in enumerate((sample, mended)):
        season.save(tmp_path / f"a{k}")
        again = load_season(tmp_path / f"a{k}")
        same(season, again)
        again.save(tmp_path / f"b{k}")
        for name in ("plants", "families", "traits"):
            a, b = (tmp_path / f"{x}{k}" / f"{name}.csv" for x in "ab")
            assert a.read_bytes() == b.read_bytes()
    text = (tmp_path / "a1" / "plants.csv").read_bytes()
    assert text.startswith(b"\xef\xbb\xbfPlant,Family,Family (typed),Ripe colour")
    assert b"orange,orannge" in text


@pytest.mark.parametrize("declared", [False, True])
def test_hostile_texts_come_back_unchanged(tmp_path: Path, declared: bool) -> None:
    words = hostile()
    frame = plain_plants(x=words, note=words[::-1])
    frame["plant"] = words
    frame["family"] = words[3:] + words[:3]
    frame["=1+1"] = words
    traits = pd.DataFrame({"trait": ["x"], "classes": ["red|white"]}) if declared else None
    register = pd.DataFrame({"family": words, "female": "", "male": ""})
    season = load_season(plants=frame, traits=traits, families=register)
    texts = season.typed.to_numpy().tolist()
    assert texts == frame.to_numpy().tolist()
    assert len(season.plants) == len(words)
    season.save(tmp_path)
    again = load_season(tmp_path)
    assert again.typed.to_numpy().tolist() == texts
    same(season, again)
    for name in ("plants", "families", "traits"):
        table = pd.read_csv(tmp_path / f"{name}.csv", dtype=str, keep_default_na=False)
        for cell in [*table.to_numpy().ravel(), *table.columns]:
            assert not cell.lstrip()[:1].startswith(("=", "+", "-", "@")), cell
    for shown in (repr(season), season._repr_html_()):
        assert "<img" not in shown.replace("&lt;img", "") or shown == repr(season)
        assert "x" * 200 not in shown
        assert "\x1b" not in shown and "\u202e" not in shown and "\0" not in shown


def test_what_is_put_right_in_a_saved_table_is_heard(tmp_path: Path) -> None:
    season = load_season(
        plants=plain_plants(x=["red", "purpel", "red"]),
        traits=pd.DataFrame({"trait": ["x"], "classes": ["red|purple"]}),
    )
    season.save(tmp_path)
    path = tmp_path / "plants.csv"
    text = path.read_text("utf-8-sig")
    assert "K1,F2,,purpel" in text
    path.write_text(text.replace("K1,F2,,purpel", "K1,F2,purple,purpel"))
    again = load_season(tmp_path)
    assert again.counts("x").loc["F2"].tolist() == [2, 1, 0]
    assert again.typed["x"].tolist() == ["red", "purpel", "red"]
    assert again.problems[again.problems.severity != "note"].empty


@pytest.mark.parametrize("seed", range(20))
def test_any_table_survives_saving(tmp_path: Path, seed: int) -> None:
    rng = np.random.default_rng(seed)
    pool = [
        *hostile(),
        "red",
        "Red ",
        "orange",
        "1",
        "2,5",
        "1,234",
        "3.25",
        "-4",
        "?",
        "",
        "",
        "12 g",
    ]
    frame = pd.DataFrame(
        {
            "plant": rng.choice(["A", "a ", "B", "C", "", "1", "01"], 30),
            "family": rng.choice(["F2", "f2", "F3", ""], 30),
            "x": rng.choice(["red", "Red ", "?", "1,5", "-"], 30),
            "y": rng.choice(["1", "2,5", "1,234", "3.25", "", "12.0"], 30),
            "z": rng.choice(["1", "2", "3", "", "0"], 30),
            "v": rng.choice(np.array(pool, dtype=object), 30),
        }
    )
    season = load_season(plants=frame)
    season.save(tmp_path)
    same(season, load_season(tmp_path))
    for name in season.trait_names:
        if season.trait(name).has_classes:
            assert season.counts(name).to_numpy().sum() == len(season.plants)


@pytest.mark.parametrize("header", ["Bemerkung", "Bemerkungen", "Remarques", "Notiz",
                                    "observations"])  # fmt: skip
def test_remarks_are_no_trait(header: str) -> None:
    season = load_season(plants=plain_plants(x=["red", "red"], **{header: ["late", "late"]}))
    assert season.trait_names == ("x",)
    assert season.plants[header].tolist() == ["late", "late"]


def test_a_unit_in_a_header_survives_saving(tmp_path: Path) -> None:
    season = load_season(plants=plain_plants(**{"Height cm": ["90", "95", "90"]}))
    assert (season.trait("height cm").kind, season.trait("height cm").unit) == ("measured", "cm")
    season.save(tmp_path)
    same(season, load_season(tmp_path))


def test_a_saved_season_names_the_rows_of_the_growers_own_files(tmp_path: Path) -> None:
    (tmp_path / "my peppers.csv").write_text(
        "Peppers 2042;;;\n;;;\nplant;family;x;x\nK1;F2;red;1\n;;;\nK2;F2;rde;1;too much\n"
        "K3;FF;red;2\nTotal;;3;\n"
    )
    (tmp_path / "my register.csv").write_text("\nfamily,mother,father\nF1,A,B\nF2,F1,selph\n")
    (tmp_path / "my list.csv").write_text("trait,kind,classes\nx,klass,red|white\ny,class,a;b\n")
    season = load_season(
        plants=tmp_path / "my peppers.csv",
        families=tmp_path / "my register.csv",
        traits=tmp_path / "my list.csv",
    )
    assert set(season.problems["source"]) == {"my peppers.csv", "my register.csv", "my list.csv"}
    assert 6 in set(season.problems.query("value == 'rde'")["row"])
    assert {"has more cells than the header, which has 4", "is not a kind of trait"} < set(
        season.problems["problem"]
    )
    season.save(tmp_path / "a")
    assert '"my peppers.csv, row 6"' in (tmp_path / "a" / "plants.csv").read_text("utf-8-sig")
    again = load_season(tmp_path / "a")
    same(season, again)
    again.mend("x", {"rde": "red"}).save(tmp_path / "b")
    mended = load_season(tmp_path / "b")
    assert len(mended.problems) == len(season.problems) - 1
    assert set(mended.problems["source"]) == set(season.problems["source"])


def test_rows_added_to_a_saved_table(tmp_path: Path) -> None:
    season = load_season(plants=plain_plants(x=["red"] * 20 + ["rde"]).iloc[::-1])
    season.save(tmp_path)
    path = tmp_path / "plants.csv"
    lines = path.read_text("utf-8-sig").splitlines()
    path.write_text("\n".join([*lines, "K99,F2,red"]))
    again = load_season(tmp_path)
    assert len(again.plants) == 22
    assert set(again.problems["source"]) == {"plants.csv"}
    assert "typed in" not in again.plants
    cleared = [",,," + line.split(",", 3)[3] if line.startswith("K7,") else line for line in lines]
    path.write_text("\n".join(cleared))
    assert len(load_season(tmp_path).plants) == 20  # a row wiped out but for where it was typed
    path.write_text("\n".join([lines[0], *lines[:0:-1]]))
    turned = load_season(tmp_path)  # sorted anew, each row is still the same
    told = turned.problems.query("value == 'rde'")
    assert told[["source", "row"]].to_numpy().tolist() == [["the plants frame", 2]]


def test_a_column_of_ones_own_called_typed_in(tmp_path: Path) -> None:
    season = load_season(plants=plain_plants(x=["red", "red"], **{"Typed in": ["May", "June"]}))
    season.save(tmp_path)
    again = load_season(tmp_path)
    assert again.plants["Typed in"].tolist() == ["May", "June"]
    assert again.typed.to_numpy().tolist() == season.typed.to_numpy().tolist()


def test_what_was_noticed_goes_with_its_season(tmp_path: Path) -> None:
    (tmp_path / "old.csv").write_text("plant,family,x\nK1,F2,red,more\n")
    load_season(tmp_path / "old.csv").save(tmp_path / "a")
    (tmp_path / "a" / "traits.csv").unlink()
    assert "has more cells than the header, which has 3" in (
        set(load_season(tmp_path / "a").problems["problem"])
    )
    plain_plants(x=["red"]).to_csv(tmp_path / "a" / "plants.csv", index=False)
    assert set(load_season(tmp_path / "a").problems["problem"]) == {"taken as class: 'x'"}


def test_mending(sample: Season) -> None:
    assert sample.counts("ripe colour").loc["F3-54", "not scored"] == 2
    mended = sample.mend("Ripe Colour", {"Orannge": "ORANGE"})
    assert mended.trait("ripe colour").also_typed == (("Orannge", "orange"),)
    assert sample.counts("ripe colour").loc["F3-54", "not scored"] == 2  # the old one stays
    pd.testing.assert_frame_equal(mended.typed, sample.typed)
    assert len(mended.problems) == len(sample.problems) - 1
    both = mended.mend("ripe colour", {"red": "?"}).mend("fruit weight", {"49,9 g": "49.9"})
    assert both.counts("ripe colour")["red"].sum() == 0
    assert 49.9 in set(both.values("fruit weight")["value"])
    moved = sample.mend("family", {"volunteers": "F2"})
    assert "volunteers" not in moved.family_names
    assert moved.counts("burn").loc["F2"].sum() == 68


def test_mends_follow_a_class_that_is_renamed() -> None:
    looks = ["red"] * 9 + ["orange"] * 7 + ["rde"] * 2
    frame = pd.DataFrame({"plant": range(18), "family": "F2", "colour": looks})
    season = load_season(plants=frame.astype(str)).mend("colour", {"rde": "red"})
    assert season.counts("colour")["red"].sum() == 11
    renamed = season.mend("colour", {"red": "orange"})
    assert renamed.counts("colour")["orange"].sum() == 18


@pytest.mark.parametrize(
    "trait, spellings, says",
    [
        ("ripe colour", {"orannge": "oragne"}, "'oragne' is not a known class. .* mean 'orange'"),
        ("ripe colour", {"blue": "red"}, "'blue' was typed by nobody"),
        ("fruit weight", {"49,9 g": "heavy"}, "'heavy' is not a number"),
        ("colour", {"a": "b"}, "'colour' is not a trait. .* Did you mean 'ripe colour'"),
        ("family", {"volunteers": "F9"}, "column 'family': 'F9' is not a known class"),
    ],
)
def test_what_cannot_be_mended(
    sample: Season, trait: str, spellings: dict[str, str], says: str
) -> None:
    with pytest.raises(TableError, match=says):
        sample.mend(trait, spellings)


def test_inferred_classes_can_be_mended_too() -> None:
    season = load_season(plants=plain_plants(x=["orange"] * 6 + ["orannge"]))
    mended = season.mend("x", {"orannge": "orange"})
    assert mended.counts("x").loc["F2"].to_dict() == {"orange": 7, "not scored": 0}
    assert mended.problems[mended.problems.severity != "note"].empty


def test_asking_for_the_wrong_thing(sample: Season) -> None:
    with pytest.raises(TableError, match="is measured and has no classes. Use .values"):
        sample.counts("fruit weight")
    with pytest.raises(TableError, match="is a count and has no classes"):
        sample.counts("fruits per node")
    with pytest.raises(TableError, match="has classes, not numbers. Use .counts"):
        sample.values("burn")
    with pytest.raises(TableError, match="^plants.csv: 'weihgt' is not a trait"):
        sample.values("weihgt")


def test_nothing_handed_out_is_the_season_itself(sample: Season) -> None:
    for name in ("plants", "families", "traits", "problems", "typed"):
        frame = getattr(sample, name)
        frame.iloc[:, 0] = frame.iloc[::-1, 0].to_numpy()
        assert frame.iloc[0, 0] != getattr(sample, name).iloc[0, 0]
    counts = sample.counts("burn")
    counts.loc[:, :] = 0
    assert sample.counts("burn").to_numpy().sum() == 266
    with pytest.raises(dataclasses.FrozenInstanceError):
        sample._once = np.arange(3)  # type: ignore[misc]


def test_how_a_season_shows_itself(sample: Season) -> None:
    lines = repr(sample).splitlines()
    assert lines[0] == sample.verdict
    assert lines[3].split() == ["ripe", "colour", "class:", "red,", "orange", "12", "not", "scored"]
    assert sum(line.startswith("Note: ") for line in lines) == 7
    assert repr(sample) == repr(load_season(SAMPLE / "invented_season"))
    html = sample._repr_html_()
    assert "<strong>266 plants in 14 families" in html
    one = load_season(plants=plain_plants(x=["red"]))
    assert one.verdict == "1 plant in 1 family, 1 trait"


def test_a_season_without_scores() -> None:
    season = load_season(plants=plain_plants(x=[""]))
    assert season.verdict == "1 plant in 1 family, 1 trait"
    assert season.counts("x").to_numpy().tolist() == [[1]]


def test_tallies_have_no_plants_to_mend_or_save(tmp_path: Path) -> None:
    tally = load_counts(pd.DataFrame({"family": ["F2"], "class": ["red"], "count": [3]}))
    assert tally.plants.empty
    assert tally.verdict == "3 scores tallied in 1 family, 1 trait"
    with pytest.raises(TableError, match="is a tally"):
        tally.mend("class", {"red": "red"})
    with pytest.raises(TableError, match="is a tally"):
        tally.save(tmp_path)


def test_a_folder_that_cannot_be_written(sample: Season, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(TableError, match="cannot be written"):
        sample.save(tmp_path / "file")


@pytest.mark.parametrize(
    "families, said",
    [
        (["F2", "F2", "F3", ""], "4 plants in 2 families, 1 plant without a family, 1 trait;"),
        (["F2", "", "F2", ""], "4 plants in 1 family, 2 plants without a family, 1 trait;"),
        (["", "", "", ""], "4 plants in 0 families, 4 plants without a family, 1 trait;"),
        (["F2", "F2", "F3", "F3"], "4 plants in 2 families, 1 trait"),
    ],
)
def test_no_family_is_not_counted_as_a_family(families: list[str], said: str) -> None:
    frame = pd.DataFrame(
        {"plant": list("abcd"), "family": families, "colour": ["red", "red", "tan", "tan"]}
    )
    assert load_season(frame).verdict.startswith(said)


def test_headings_taken_for_plant_and_family_are_saved_as_typed(tmp_path: Path) -> None:
    frame = pd.DataFrame({"ID": ["a", "b"], "Cross": ["F2", "F3"], "colour": ["red", "tan"]})
    season = load_season(frame)
    assert season.counts("colour").index.tolist() == ["F2", "F3"]
    season.save(tmp_path)
    again = load_season(tmp_path)
    assert list(again.typed.columns) == ["ID", "Cross", "colour"]
    told = [s.problems["problem"].str.startswith("is taken as the").sum() for s in (season, again)]
    assert told == [2, 2]
