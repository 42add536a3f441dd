"""Did the cross take: chances by Bayes' rule by hand, calibration, words, odd seasons."""

import numpy as np
import pandas as pd
import pytest

import breedkit as bk
from breedkit.crosscheck import KINDS, cross_check
from breedkit.errors import PedigreeError

REGISTER = pd.DataFrame(
    [("P1", "", ""), ("P2", "", ""), ("F1", "P1", "P2"), ("F2", "F1", "selfed"),
     ("BC", "F1", "P1")],
    columns=["family", "female", "male"],
)  # fmt: skip


def season(f1: list[str], dominant: str = "red", extra: dict | None = None) -> bk.Season:
    """P1 orange, P2 red; the F2 shows that `dominant` is dominant; an F1 as given."""
    other = {"red": "orange", "orange": "red"}[dominant]
    looks = {"P1": ["orange"] * 6, "P2": ["red"] * 6, "F1": f1,
             "F2": [dominant] * 45 + [other] * 15}  # fmt: skip
    rows = [(f"{f}-{i}", f, look) for f, seen in looks.items() for i, look in enumerate(seen, 1)]
    plants = pd.DataFrame(rows, columns=["plant", "family", "colour"])
    for name, column in (extra or {}).items():
        plants[name] = column(plants)
    return bk.load_season(plants=plants, families=REGISTER)


def test_one_dominant_marker_of_the_male_says_so_in_words() -> None:
    found = cross_check(season(["red"] * 20), "F1")
    assert "F1: the cross took. All 20 plants are of it" in found.verdict
    assert found.tells[0].right > 0.9
    assert "the cross mostly red, selfed mostly orange" in str(found)
    none = cross_check(season(["orange"] * 20), "F1")
    assert "the cross did not take" in none.verdict and "P1's own pollen" in none.verdict
    some = cross_check(season(["red"] * 16 + ["orange"] * 4), "F1")
    assert some.plants_of("selfed") == () or set(some.plants_of("selfed")) <= {
        "F1-17", "F1-18", "F1-19", "F1-20"}  # fmt: skip
    assert len(some.plants_of("of the cross")) == 16
    assert some.table()["selfed"].iloc[-1] > 0.6


def test_a_marker_that_the_female_hides_does_not_tell() -> None:
    found = cross_check(season(["orange"] * 20, dominant="orange"), "F1")
    assert "cannot tell whether the cross took" in found.verdict
    assert found.intervals[1][1] - found.intervals[1][0] > 0.8  # anything between
    assert any("Made the other way round, with P2 as the female, colour" in n for n in found.notes)


def test_chances_by_hand() -> None:
    """One plant, one sure marker: red has the chance of the cross 1, of other pollen 1/2.

    With means 19/40, 19/40 and 1/20 of the three kinds beforehand, red is of the cross with
    19/40 / (19/40 + 1/40) = 19/20, orange is selfed with the same chance; what mis-scoring and
    uncertain genotypes add is small.
    """
    red = cross_check(season(["red"]), "F1").chances[0]
    assert red == pytest.approx([19 / 20, 0, 1 / 20], abs=0.03)
    orange = cross_check(season(["orange"]), "F1").chances[0]
    assert orange == pytest.approx([0, 19 / 20, 1 / 20], abs=0.03)
    assert red.sum() == pytest.approx(1) and orange.sum() == pytest.approx(1)


def test_calibrated_where_none_some_half_or_all_are_selfed() -> None:
    """A dominant marker from the male; 24 F1 plants a season, 100 seasons, 2 % slips.

    Of the seed that is not from other pollen 0, 10, 50 or 100 % are selfed; other pollen comes as
    often as is taken for granted. Of plants said to be selfed with chances in a band, that many
    are, within 4 standard errors; the intervals hold the share in 93.5 % of seasons or more.
    """
    rng = np.random.default_rng(4)
    bands: list[tuple[float, bool]] = []
    held = []
    for i in range(100):
        other = rng.beta(0.5, 9.5)
        share = (0.0, 0.1, 0.5, 1.0)[i % 4] * (1 - other)
        kind = rng.choice(3, size=24, p=[1 - other - share, share, other])
        red = np.array([True, False, False])[kind] | ((kind == 2) & (rng.random(24) < 0.5))
        red = red != (rng.random(24) < 0.02)
        found = cross_check(season(np.where(red, "red", "orange").tolist()), "F1")
        bands += zip(found.chances[:, 1], kind == 1, strict=True)
        low, high = found.intervals[1]
        held.append(low <= share <= high)
    said, true = (np.array(column) for column in zip(*bands, strict=True))
    for low, high in ((0, 0.1), (0.1, 0.9), (0.9, 1.01)):
        band = (said >= low) & (said < high)
        mean, n = said[band].mean(), band.sum()
        # plants of one season share what is unknown, so they count as one in three
        assert n > 100 and abs(true[band].mean() - mean) < 4 * (mean * (1 - mean) / n * 3) ** 0.5
    assert np.mean(held) >= 0.935
    assert ((said > 0.9) | (said < 0.1)).mean() > 0.7  # the marker does tell


def test_a_second_trait_tells_what_the_first_does_not() -> None:
    def height(plants: pd.DataFrame) -> list[str]:
        tall = {"P1": "short", "P2": "tall", "F1": "tall"}
        quarter = plants.groupby("family").cumcount() % 4 == 0
        return [tall.get(f, "short" if q else "tall")
                for f, q in zip(plants["family"], quarter, strict=True)]  # fmt: skip

    hidden = season(["orange"] * 12, dominant="orange", extra={"height": height})
    found = cross_check(hidden, "F1")
    assert [t.trait for t in found.tells][0] == "height"
    assert "the cross took" in found.verdict


def test_a_backcross_can_be_asked_too() -> None:
    rows = [("P1", "orange")] * 5 + [("P2", "red")] * 5 + [("F1", "red")] * 6
    rows += [("F2", "red")] * 30 + [("F2", "orange")] * 10
    rows += [("BC", "red")] * 20 + [("BC", "orange")] * 20
    plants = pd.DataFrame(rows, columns=["family", "colour"])
    plants.insert(0, "plant", [f"n{i}" for i in range(len(plants))])
    found = cross_check(bk.load_season(plants=plants, families=REGISTER), "BC")
    assert found.female == "F1" and found.male == "P1" and found.n == 40
    # half orange is far from the quarter of a selfing: most seed is of the cross
    assert found.shares[0] > found.shares[1] and found.intervals[1][1] < 0.75


def test_a_parent_plant_is_one_genotype_for_all_its_offspring() -> None:
    """An orange plant by a red one: 40 red of 44 say that the male is AA, so the four orange
    ones are selfed or slips; half and half say that it is Aa, and that all may be of the cross."""
    looks = {"P1": "orange " * 4, "P2": "red " * 4, "F1": "red " * 4,
             "F2": "red " * 15 + "orange " * 5}  # fmt: skip
    register = pd.concat([REGISTER.iloc[:4], pd.DataFrame(
        [("X", "F2-16", "F2-4")], columns=REGISTER.columns)])  # fmt: skip

    def asked(x: str):
        rows = [(f"{f}-{i}", f, c) for f, seen in {**looks, "X": x}.items()
                for i, c in enumerate(seen.split(), 1)]  # fmt: skip
        plants = pd.DataFrame(rows, columns=["plant", "family", "colour"])
        return cross_check(bk.load_season(plants=plants, families=register), "X")

    few = asked("red " * 40 + "orange " * 4)
    assert few.chances[-1, 0] < 0.4
    half = asked("red " * 50 + "orange " * 50)
    assert half.intervals[0][1] > 0.95


def test_tallies_and_odd_questions() -> None:
    tallied = bk.load_counts(pd.DataFrame(
        [("P1", "orange", 5), ("P2", "red", 5), ("F1", "red", 8), ("F1", "orange", 1),
         ("F2", "red", 30), ("F2", "orange", 11)],
        columns=["family", "class", "count"],
    ))  # fmt: skip
    found = cross_check(tallied, "F1")
    assert found.n == 9 and "red 1" in found.names
    with pytest.raises(PedigreeError, match="is not a cross"):
        cross_check(tallied, "F2")
    with pytest.raises(PedigreeError, match="Did you mean"):
        cross_check(season(["red"]), "F11")
    lost = season(["red"] * 3 + ["-"] * 2)
    some = cross_check(lost, "F1")
    assert some.n == 3 and any("not judged: 2 plants" in note for note in some.notes)
    stray = season(["red"]).plants[["plant", "family", "colour"]]
    stray["family"] = stray["family"].astype(str).replace("F1", "who knows")
    with pytest.raises(PedigreeError, match="parents of 'who knows' are not known"):
        cross_check(bk.load_season(plants=stray, families=REGISTER), "who knows")
    blank = cross_check(season(["-"] * 4), "F1")
    assert "no plant is scored" in blank.verdict and blank.facts() == []
    alone = pd.DataFrame({"plant": ["a"], "family": ["F1"], "colour": ["red"]})
    lonely = cross_check(bk.load_season(plants=alone, families=REGISTER), "F1")
    assert lonely.unused == ("colour",)
    assert KINDS[0] == "of the cross"


def test_hostile_names_are_text() -> None:
    sheet = season(["red"] * 3).plants[["plant", "family", "colour"]]
    sheet["plant"] = sheet["plant"].where(sheet["plant"] != "F1-1", "<img src=x onerror=alert(1)>")
    found = cross_check(bk.load_season(plants=sheet, families=REGISTER), "F1")
    assert "<img" not in found.to_html()
    assert "<img src=x onerror=alert(1)>" in found.table()["plant"].tolist()
