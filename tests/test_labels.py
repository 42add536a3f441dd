"""Are the labels right: a chance by hand, swapped labels found, few false alarms, odd seasons."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.stats import multinomial

import breedkit as bk
from breedkit.labels import WRONG, label_check

SEASON = Path(__file__).parent.parent / "sample_data" / "invented_season"
MENDEL = {"P1": (1, 0, 0), "P2": (0, 0, 1), "F1": (0, 1, 0), "F2": (0.25, 0.5, 0.25),
          "BC1(P1)": (0.5, 0.5, 0), "BC1(P2)": (0, 0.5, 0.5)}  # fmt: skip
CLASSES = ("white", "pink", "red")


def season(counts: dict[str, tuple[int, ...]]) -> bk.Season:
    rows = [(f, c, n) for f, row in counts.items() for c, n in zip(CLASSES, row, strict=True)]
    return bk.load_counts(pd.DataFrame(rows, columns=["family", "class", "count"]))


def test_a_chance_by_hand() -> None:
    """Incomplete dominance, settled by large families; a BC1(P1) of 3 white, 3 pink, 1 red.

    Its own parents expect 1:1:0, so that the red one must be a slip; those of the F2 1:2:1, the
    others next to nothing. Mis-scoring as the season shows it is in both.
    """
    counts = {"P1": (60, 0, 0), "P2": (0, 0, 60), "F1": (0, 60, 0), "F2": (40, 80, 40),
              "BC1(P1)": (3, 3, 1), "BC1(P2)": (0, 30, 30)}  # fmt: skip
    found = next(x for x in label_check(season(counts)).labels if x.family == "BC1(P1)")
    assert found.rather == ("F2",)
    e = 0.004  # about what 600 plants without a visible slip leave of the prior
    mixing = (1 - e) * np.eye(3) + e / 2 * (1 - np.eye(3))
    chance = {f: multinomial.pmf((3, 3, 1), 7, np.array(s) @ mixing) for f, s in MENDEL.items()}
    wrong = sum(WRONG / 5 * c for f, c in chance.items() if f != "BC1(P1)")
    by_hand = wrong / (wrong + (1 - WRONG) * chance["BC1(P1)"])
    assert found.wrong == pytest.approx(by_hand, abs=0.15)


def test_swapped_families_are_named() -> None:
    plants = bk.load_season(SEASON).plants
    invented = bk.load_season(SEASON)
    swapped = plants[["plant", "family", *invented.trait_names]].copy()
    family = swapped["family"].astype(str)
    swapped["family"] = family.replace({"BC1P2": "F2", "F2": "BC1P2"})
    again = bk.load_season(plants=swapped, families=invented.families)
    found = label_check(again)
    assert {x.family for x in found.doubted} == {"F2", "BC1P2"}
    assert {x.family: x.rather for x in found.doubted} == {"F2": ("BC1P2",), "BC1P2": ("F2",)}
    assert "the labels are rather wrong than right" in found.verdict
    right = label_check(invented)
    assert right.doubted == () and "No label of 13 families is doubtful" in right.verdict


def test_false_alarms_are_rare_and_swaps_are_mostly_found() -> None:
    """100 drawn seasons with right labels, and the same with two families swapped."""
    rng = np.random.default_rng(2)
    sizes = {"P1": 5, "P2": 5, "F1": 8, "F2": 30, "BC1(P1)": 20, "BC1(P2)": 20}
    alarms = found = 0
    for _ in range(100):
        drawn = {f: tuple(rng.multinomial(n, MENDEL[f])) for f, n in sizes.items()}
        alarms += len(label_check(season(drawn)).doubted)
        drawn["F2"], drawn["BC1(P2)"] = drawn["BC1(P2)"], drawn["F2"]
        found += {x.family for x in label_check(season(drawn)).doubted} >= {"F2", "BC1(P2)"}
    assert alarms <= 6  # of 600 labels; the prior alone takes 12 to be wrong
    assert found >= 50 and alarms + 1 < found


def test_a_fixed_line_has_its_own_label() -> None:
    """40 red of one red F2 plant: 1/3 + 2/3 * (3/4)^40 of such lines, not (5/6)^40."""
    looks = {"P1": "o" * 4, "P2": "r" * 4, "F1": "r" * 4, "F2": "r" * 15 + "o" * 5,
             "A": "r" * 40, "B": "r" * 30 + "o" * 10}  # fmt: skip
    rows = [(f"{f}-{i}", f, c) for f, seen in looks.items() for i, c in enumerate(seen, 1)]
    register = [("P1", "", ""), ("P2", "", ""), ("F1", "P1", "P2"), ("F2", "F1", "selfed"),
                ("A", "F2-1", "selfed"), ("B", "F2-2", "selfed")]  # fmt: skip
    found = label_check(bk.load_season(
        plants=pd.DataFrame(rows, columns=["plant", "family", "colour"]),
        families=pd.DataFrame(register, columns=["family", "female", "male"]),
    ))  # fmt: skip
    assert found.doubted == ()
    assert next(x for x in found.labels if x.family == "A").wrong < 0.1


def test_odd_seasons() -> None:
    nothing = label_check(season({"F2": (0, 0, 0)}))
    assert nothing.labels == () and "No family can be checked" in nothing.verdict
    assert nothing.notes == () and nothing.facts() == []
    one = label_check(season({"F2": (9, 20, 8)}))  # there is no other family to be
    assert one.labels == ()
    frame = label_check(season({"P1": (5, 0, 0), "F1": (0, 5, 0), "F2": (9, 20, 8)})).table()
    assert list(frame.columns) == ["family", "plants", "wrong", "rather", "share"]
    assert frame["wrong"].between(0, 1).all()
