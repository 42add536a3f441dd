"""Where a line comes from: textbook shares, exact generations, what is said, bad questions."""

from __future__ import annotations

import time
from fractions import Fraction
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import breedkit as bk
from breedkit.errors import ModelError, PedigreeError
from breedkit.kinship import halvings

INVENTED = Path(bk.__file__).parent.parent / "sample_data" / "invented_season"


def season(register: str, plants: str = "x1,none") -> bk.Season:
    """'F1,Velm,Ostrin' a line, and 'plant,family' a line."""
    rows = [(line.split(",") + ["", ""])[:3] for line in register.splitlines()]
    families = pd.DataFrame(rows, columns=["family", "female", "male"])
    there = pd.DataFrame([p.split(",") for p in plants.splitlines()], columns=["plant", "family"])
    return bk.load_season(plants=there.assign(colour="red"), families=families)


BACKCROSSES = "Velm\nOstrin\nF1,Velm,Ostrin\nB1,F1,Ostrin\nB2,B1,Ostrin\nB3,B2,Ostrin\nS,B3,selfed"


@pytest.fixture(scope="module")
def invented() -> bk.Season:
    return bk.load_season(INVENTED)


# --- numbers -----------------------------------------------------------------------


def test_backcrosses():
    """Checks 6.07 and 6.08 (recomputed): shares 1 - (1/2)^(n+1); without crossing over the
    spread of the donor is 0.072, 0.0625, 0.048."""
    kin = bk.ancestry(season(BACKCROSSES), chromosomes=[1e-9] * 12)
    assert kin.shares.loc[["B1", "B2", "B3"], "Ostrin"].tolist() == [0.75, 0.875, 0.9375]
    spreads = kin.spreads.loc[["B1", "B2", "B3"], "Velm"].tolist()
    assert spreads == pytest.approx([0.072168784, 0.0625, 0.047735163], abs=5e-9)
    assert kin.inbreeding[["F1", "B1", "B2", "S"]].tolist() == [0, 0.5, 0.75, 0.9375]
    assert kin.of("b2").shares == (0.125, 0.875)


def test_crossing_over_narrows_the_spread():
    fine = bk.ancestry(season(BACKCROSSES), chromosomes=[1000.0] * 12).spreads
    usual, coarse = (bk.ancestry(season(BACKCROSSES), chromosomes=[n] * 12).spreads
                     for n in (100.0, 1.0))  # fmt: skip
    for family in ("B1", "B3", "S"):
        assert fine.at[family, "Velm"] < usual.at[family, "Velm"] < coarse.at[family, "Velm"]


def test_selfing_by_generation():
    """Check 6.03 (recomputed): an F1 selfed is fixed at 1/2, 3/4, 7/8 ... of its genes."""
    by = bk.ancestry(season(BACKCROSSES)).of("F1").by_selfing(7)
    assert by["fixed"].tolist() == [1 - 0.5**t for t in range(8)]
    assert (by["fixed"] + by["heterozygous"] == 1).all()


@pytest.mark.parametrize(
    ("generation", "genes", "printed"), [(6, 10, 0.728), (5, 5, 0.724), (8, 20, 0.855)]
)
def test_all_genes_fixed(generation, genes, printed):
    """Check 6.09: ((2^(n-1) - 1) / 2^(n-1))^k, Allard 1960 (recomputed). Exact at the boundary."""
    exact = (1 - Fraction(1, 2 ** (generation - 1))) ** genes
    assert float(exact) == pytest.approx(printed, abs=0.0005)
    assert halvings(Fraction(1), exact, genes) == generation - 1
    assert halvings(Fraction(1), exact + Fraction(1, 10**30), genes) == generation


def test_generations_are_never_rounded_the_wrong_way():
    f1 = bk.ancestry(season(BACKCROSSES)).of("F1")
    assert [f1.selfings_to(w) for w in (0.5, 0.75, 0.9375, 0.95, 0.9375000001)] == [1, 2, 4, 5, 5]
    assert f1.selfings_to(0.96875) == 5 and f1.selfings_to(0.96876) == 6
    assert [f1.backcrosses_to("Ostrin", s) for s in (0.5, 0.75, 0.875, 0.99)] == [0, 1, 2, 6]
    # 0.9 is nine tenths, not the nearest binary number, which is a little more.
    assert halvings(Fraction(2, 10), 0.9) == 1
    for t in range(1, 40):
        assert halvings(Fraction(1), 1 - Fraction(1, 2**t)) == t


def test_plants_and_their_family(invented):
    kin = bk.ancestry(invented)
    names = ["F2", "F2-06", "F2-01", "F3-06", "F3-11", "P1-01", "P1"]
    matrix = kin.matrix(names)
    assert matrix.index.tolist() == matrix.columns.tolist() == names
    # Selfed from one plant, F = 1/2: kinship to its offspring, and with itself, 3/4.
    assert matrix.loc["F2-06", ["F2", "F2-06", "F2-01", "F3-06", "F3-11"]].tolist() == [
        0.5, 0.75, 0.5, 0.75, 0.5]  # fmt: skip
    assert matrix.at["F2-01", "F2-01"] == 0.75  # a plant with itself, though no parent
    assert matrix.at["F2", "F2"] == 0.5  # two plants of a family
    assert matrix.at["P1-01", "P1"] == 1 and matrix.at["P1", "F2"] == 0.5
    assert kin.matrix().shape == (len(kin.names),) * 2
    one = kin.of("F2-06")
    assert (one.name, one.family, one.inbreeding, one.kinship) == ("F2-06", "F2", 0.5, 0.5)


def test_founders_that_are_not_inbred():
    mated = season("Velm\nOstrin\nF1,Velm,Ostrin\nS,Velm,selfed")
    kin = bk.ancestry(mated, inbred={"Velm": 0})
    assert kin.inbreeding[["Velm", "Ostrin", "F1", "S"]].tolist() == [0, 1, 0, 0.5]
    assert kin.inbred == {"Velm": 0, "Ostrin": 1} and not kin.breed_true
    assert bk.ancestry(mated, inbred=0.0).matrix().at["Velm", "Velm"] == 0.5
    assert "not all breed true" in repr(kin)


def test_a_code_that_several_families_have_is_named_with_the_family():
    twice = season(f"{BACKCROSSES}\nL,F1 1,selfed", "1,F1\n1,B1\n2,B1")
    kin = bk.ancestry(twice)
    assert kin.of("F1 1").family == "F1" and kin.of("B1 1").family == "B1"
    assert kin.matrix(["F1 1", "L"]).iat[0, 1] == 0.5
    with pytest.raises(PedigreeError, match="called '1'"):
        kin.of("1")


def test_frames_are_copies(invented):
    kin = bk.ancestry(invented)
    for take in (
        lambda: kin.shares,
        lambda: kin.spreads,
        lambda: kin.inbreeding,
        kin.matrix,
        kin.table,
        kin.of("F2").table,
    ):
        before, spoilt = take(), take()
        spoilt.iloc[:] = 9
        assert take().equals(before) and not before.equals(spoilt)


def test_fast_enough_for_a_large_register():
    """2,000 plants over 15 seasons: all shares, spreads and the kinship of every pair."""
    rng = np.random.default_rng(5)
    rows, plants = [f"P{i}x" for i in range(6)], []
    last = list(rows)
    for s in range(15):
        new = []
        for j in range(13):
            one, other = rng.choice(last, 2)
            rows.append(f"{s}-{j},{one},{'selfed' if rng.random() < 0.5 else other}")
            new += [f"{s}-{j}/{k}" for k in range(10)]
        plants += [f"{p},{p.split('/')[0]}" for p in new]
        last = new
    large = season("\n".join(rows), "\n".join([*plants, *(f"more{i},14-0" for i in range(50))]))
    bk.ancestry(large)
    began = time.perf_counter()
    kin = bk.ancestry(large)
    every = kin.matrix(large.plants["plant"])
    assert kin.shares.shape == kin.spreads.shape == (201, 6) and every.shape == (2000, 2000)
    assert time.perf_counter() - began < 0.6


# --- words -------------------------------------------------------------------------


def test_what_a_line_says(invented):
    said = bk.ancestry(invented).of("F3-06")
    assert said.verdict == (
        "F3-06 (F2:3 from F2-06): P1 50 ± 9 % and P2 50 ± 9 %; 25 % still heterozygous."
    )
    facts = {f.label: f for f in said.facts()}
    assert facts["Share of P1"].value == "50 ± 9 %"
    assert facts["Share of P1"].remark == "2 times in 3 a plant has 41 to 59 %"
    assert facts["Inbreeding"].value == "0.750"
    assert facts["To be 95 % fixed"].value == "3 more selfings"
    assert "12 chromosome pairs of together 1,200 centimorgans" in said.notes[0]
    assert "breed true" in said.notes[1]
    assert "F3-06" in said.to_html()
    assert said.table().loc["P1", "share"] == 0.5


def test_what_a_plant_an_f1_and_a_founder_say(invented):
    kin = bk.ancestry(invented)
    assert kin.of("F2-01").verdict.startswith("F2-01, of family F2: P1 50 ± 8 %")
    assert kin.of("F1").verdict == "F1: P1 50 % and P2 50 %; 100 % still heterozygous."
    assert "the same in every plant" in repr(kin.of("F1"))
    assert kin.of("P1").verdict == "P1: a founder, whose parents are not known."
    assert kin.of("P1-03").verdict.startswith("P1-03, of family P1: a founder")
    assert [f.label for f in kin.of("P1").facts()] == ["Share of P1"] and not kin.of("P1").notes


def test_what_the_whole_register_says(invented):
    kin = bk.ancestry(invented)
    assert kin.verdict == "11 families come from 2 founders: P1 and P2."
    assert "F3-06      P1 50 ± 9 % and P2 50 ± 9 %  inbreeding 0.750" in repr(kin)
    table = kin.table()
    assert table.columns.tolist() == ["share of P1", "spread of P1", "share of P2",
                                      "spread of P2", "inbreeding", "heterozygous"]  # fmt: skip
    assert table.at["BC1P1", "share of P1"] == 0.75


def test_a_long_register_is_cut_in_display_and_says_so():
    many = "\n".join(["Velm", "Ostrin", "F1,Velm,Ostrin", *(f"N{i},F1,selfed" for i in range(20))])
    kin = bk.ancestry(season(many))
    assert len(kin.facts()) == 12 and "The last 12 of 21 families" in repr(kin)
    assert len(kin.table()) == 23


def test_hostile_names_are_text():
    bad = "<img onerror=alert(1)>"
    kin = bk.ancestry(season(f"{bad}\n=cmd()\n$x$,{bad},=cmd()\n{'W' * 300},$x$,selfed"))
    html = kin.of("W" * 300).to_html() + kin.to_html()
    assert "<img" not in html and "&lt;img" in html and "W" * 100 not in html
    assert "$x$" in repr(kin)


# --- bad questions -------------------------------------------------------------------


@pytest.mark.parametrize(
    ("ask", "said"),
    [
        (lambda k: k.of("BC1P"), "called 'BC1P'.\nDid you mean 'BC1P"),
        (lambda k: k.of("volunteers"), "parents of family 'volunteers' are not known"),
        (lambda k: k.of(None), "called 'None'"),
        (lambda k: k.matrix(["F2", "F22"]), "called 'F22'"),
        (
            lambda k: k.of("F2").backcrosses_to("Q9"),
            "'Q9' is no founder here. Founders: P1 and P2.",
        ),
    ],
)
def test_names_that_nobody_has(invented, ask, said):
    with pytest.raises(PedigreeError) as error:
        ask(bk.ancestry(invented))
    assert said in str(error.value)
    assert max(map(len, str(error.value).splitlines())) < 90


@pytest.mark.parametrize("wanted", [0, 1, 1.0, -1, 2, "much", float("nan"), None])
def test_shares_that_cannot_be_wanted(invented, wanted):
    with pytest.raises(ModelError, match="above 0 and below 1"):
        bk.ancestry(invented).of("F2").selfings_to(wanted)


@pytest.mark.parametrize("genes", [0, -1, 2.5, True, 10**6])
def test_genes_that_cannot_be_counted(genes):
    with pytest.raises(ModelError, match="whole number"):
        halvings(Fraction(1), 0.9, genes)


@pytest.mark.parametrize("chromosomes", [[], [0], [-1.0, 100], ["long"], None, 12, [float("nan")]])
def test_maps_without_length(invented, chromosomes):
    with pytest.raises(ModelError, match="length of each pair in centimorgans"):
        bk.ancestry(invented, chromosomes=chromosomes)


def test_founders_that_are_wrong_are_said_all_at_once(invented):
    with pytest.raises(ModelError) as error:
        bk.ancestry(invented, inbred={"P11": 1, "P1": 2, "P2": "very"})
    assert len(str(error.value).splitlines()) == 3
    assert "'P11' is no founder. Did you mean 'P1'?" in str(error.value)
    with pytest.raises(ModelError, match="must be 0 to 1; found 1.5"):
        bk.ancestry(invented, inbred=1.5)


def test_a_table_without_parents():
    alone = bk.load_season(plants=pd.DataFrame({"plant": ["a"], "family": ["x"], "c": ["red"]}))
    with pytest.raises(PedigreeError, match="No family of this table has parents"):
        bk.ancestry(alone)


def test_generations_are_counted_from_the_share_that_a_decimal_stands_for() -> None:
    """A founder of inbreeding 0.2, selfed once, is 0.4 heterozygous; 0.1 after two selfings."""
    rows = [("P1", "", ""), ("P1s", "P1", "selfed")]
    register = pd.DataFrame(rows, columns=["family", "female", "male"])
    plants = pd.DataFrame({"plant": ["a"], "family": ["P1s"], "colour": ["red"]})
    season = bk.load_season(plants=plants, families=register)
    line = bk.ancestry(season, inbred={"P1": 0.2}).of("P1s")
    assert line.selfings_to(0.9) == 2
    assert line.selfings_to(0.95) == 3
