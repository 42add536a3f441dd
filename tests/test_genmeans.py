"""Generation means: printed data, a general least-squares library, laws, small numbers."""

from __future__ import annotations

from fractions import Fraction as F

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from measuring import COROLLAS, EARS, as_generations, counted, drawn, season_of
from statsmodels.stats.oneway import anova_oneway

import breedkit as bk
from breedkit.errors import FitError, ModelError, TableError
from breedkit.families import parse_family
from breedkit.generations import coefficients, generations_of
from breedkit.jointscaling import PARAMETERS, joint_fit, squared_errors, students_t

SPREAD = {"P1": 1, "P2": 1, "F1": 1, "F2": 2, "BC1(P1)": 1.6, "BC1(P2)": 1.6}


@pytest.mark.parametrize(
    ("family", "d", "h"),
    [
        # Mather & Jinks, Biometrical Genetics (1971), from memory; by hand for one gene.
        ("P1", 1, 0), ("P2", -1, 0), ("F1", 0, 1), ("F2", 0, F(1, 2)), ("F3", 0, F(1, 4)),
        ("F6", 0, F(1, 32)), ("BC1", F(1, 2), F(1, 2)), ("BC1(P2)", F(-1, 2), F(1, 2)),
        ("BC2", F(3, 4), F(1, 4)), ("BC1F2", F(1, 2), F(1, 4)), ("F2 sib", 0, F(1, 2)),
    ],
)  # fmt: skip
def test_coefficients_come_from_the_engine(family: str, d, h) -> None:
    assert coefficients(parse_family(family), ("P1", "P2")) == (d, h)


def test_ear_length_of_maize() -> None:
    """Emerson & East 1913, Nebraska Research Bulletin 2; table from memory, means as printed."""
    found = bk.generation_means(season_of(counted(EARS)), "length")
    table = found.table()
    assert list(table["plants"]) == [57, 101, 69, 401]
    printed = [6.632, 16.802, 12.116, 12.888]
    assert table["mean"].to_numpy() == pytest.approx(printed, abs=5e-4)
    # Printed 0.816, 1.887, 1.519, 2.252: F1 and F2 by truncation, so to a whole last digit.
    sd = np.sqrt(table["variance"].to_numpy())
    assert sd == pytest.approx([0.816, 1.887, 1.519, 2.252], abs=1e-3)
    # (F1 - midparent) / (half the difference), from the same table.
    assert found.dominance.value == pytest.approx(0.078494928, abs=5e-10)
    assert found.simple.pvalue < 1e-4  # the F2 lies above the F1: not addition alone
    assert found.scaling.keys() == {"C"}


def test_corolla_length_of_tobacco() -> None:
    """East 1916, Genetics 1:164-176; frequencies from memory, F1 and F2 means as printed."""
    found = bk.generation_means(season_of(counted(COROLLAS)), "length")
    table = found.table()
    assert table.loc["F1", "mean"] == pytest.approx(63.53, abs=5e-3)
    assert table.loc["F2", "mean"] == pytest.approx(67.51, abs=5e-3)
    cv = 100 * np.sqrt(table["variance"]) / table["mean"]
    # Printed 4.6 and 8.75; the second recomputes to 8.78 from the remembered table.
    assert cv["F1"] == pytest.approx(4.6, abs=0.05) and cv["F2"] == pytest.approx(8.75, abs=0.05)


@pytest.mark.parametrize(
    ("classes", "number", "mean"),
    [
        ((8, 10), (51, 31), 8.76),
        ((8, 10, 12), (16, 47, 8), 9.77),  # 9.7746: printed truncated
        ((8, 10, 12), (14, 45, 29), 10.34),
    ],
)
def test_kernel_rows_of_maize(classes, number, mean: float) -> None:
    """Emerson 1940, Maize Genetics Cooperation News Letter 14:43; seen in print."""
    values = counted({"F1": (classes, number)})
    f1 = generations_of(season_of(values), "length").get("F1")
    assert f1.n == sum(number) and f1.mean() == pytest.approx(mean, abs=5e-3)


@pytest.mark.parametrize("scale", ["raw", "log"])
def test_the_fit_is_that_of_a_general_library(scale: str) -> None:
    values = drawn(np.random.default_rng(7), 25, SPREAD)
    found = bk.generation_means(season_of(values), "length", scale)
    groups = found.generations.all
    y = np.array([g.mean(scale) for g in groups])
    w = np.array([g.n / g.variance(scale) for g in groups])
    d, h = (np.array([float(getattr(g, c)) for g in groups]) for c in "dh")
    full = np.stack([d**0, d, h, d * d, d * h, h * h], axis=1)
    for fit, wide in ((found.simple, 3), (found.pairs, 6)):
        library = sm.WLS(y, full[:, :wide], weights=w).fit(cov_type="fixed scale")
        ours = fit.parameters
        assert [ours[p].value for p in PARAMETERS[:wide]] == pytest.approx(
            library.params, rel=1e-10, abs=1e-10
        )
        assert [ours[p].error for p in PARAMETERS[:wide]] == pytest.approx(
            np.sqrt(np.diag(library.normalized_cov_params)), rel=1e-10
        )
        assert fit.chi_square == pytest.approx((w * library.resid**2).sum(), rel=1e-9, abs=1e-9)
        assert fit.df == 6 - wide


def test_the_misfit_of_a_lone_mean_is_welchs_test() -> None:
    """With m alone the statistic is Welch's one-way analysis of variance."""
    values = drawn(np.random.default_rng(3), {"P1": 6, "P2": 9, "F1": 14}, {
        "P1": 1, "P2": 2, "F1": 4}, d=0.5)  # fmt: skip
    groups = as_generations(values)
    fit = joint_fit(groups, "raw", squared_errors(groups, "raw")[0], 1)
    library = anova_oneway(list(values.values()), use_var="unequal", welch_correction=True)
    assert fit.pvalue == pytest.approx(library.pvalue, rel=1e-10)


def test_scaling_tests_by_hand() -> None:
    values = drawn(np.random.default_rng(11), 30, SPREAD)
    found = bk.generation_means(season_of(values), "length")
    mean = {g: v.mean() for g, v in values.items()}
    error = {g: v.var(ddof=1) / len(v) for g, v in values.items()}
    a, c = found.scaling["A"], found.scaling["C"]
    assert a.value == pytest.approx(2 * mean["BC1(P1)"] - mean["P1"] - mean["F1"], rel=1e-12)
    assert a.error**2 == pytest.approx(4 * error["BC1(P1)"] + error["P1"] + error["F1"], rel=1e-12)
    by_hand = 4 * mean["F2"] - 2 * mean["F1"] - mean["P1"] - mean["P2"]
    assert c.value == pytest.approx(by_hand, rel=1e-12)
    one = found.heterosis()
    assert one["midparent"].value == pytest.approx(mean["F1"] - (mean["P1"] + mean["P2"]) / 2)
    assert one["better parent"].value == pytest.approx(mean["F1"] - mean["P1"])
    assert one["inbreeding depression"].value == pytest.approx(mean["F1"] - mean["F2"])


def test_small_generations_do_not_cry_wolf() -> None:
    """At the 5 % level a true model is called wrong about as often as said, in 2,000 crosses.

    The chi-square distribution would do it twice as often with 10 plants a generation.
    """
    rng, wrong, hasty, held = np.random.default_rng(20), 0, 0, 0
    runs = 2000
    for _ in range(runs):
        groups = as_generations(drawn(rng, 10, SPREAD))
        fit = joint_fit(groups, "raw", squared_errors(groups, "raw")[0], 3)
        wrong, hasty = wrong + (fit.pvalue < 0.05), hasty + (fit.large_sample < 0.05)
        d = fit.parameters["[d]"]
        held += abs(d.value - 3) <= students_t(d.df, 0.95) * d.error
    error = np.sqrt(0.05 * 0.95 / runs)
    assert wrong / runs == pytest.approx(0.05, abs=4 * error)
    assert hasty / runs > 0.08
    assert 0.925 <= held / runs <= 0.965


def test_known_effects_come_back_and_pairs_of_genes_are_found() -> None:
    values = drawn(np.random.default_rng(5), 400, SPREAD, d=-3, h=1.5)
    found = bk.generation_means(season_of(values), "length")
    for name, true in (("m", 20), ("[d]", -3), ("[h]", 1.5)):
        c = found.simple.parameters[name]
        assert abs(c.value - true) < 4 * c.error
    assert (
        found.simple.pvalue > 0.01
        and "agree with genes that each act on their own" in found.verdict
    )
    low, high = found.dominance.interval()
    assert low < 0.5 < high
    values["F2"] = values["F2"] + 2  # [i] etc. shift generations by products of coefficients
    moved = bk.generation_means(season_of(values), "length")
    assert moved.simple.pvalue < 1e-4 and "do not fit" in moved.verdict
    assert moved.pairs.df == 0 and np.isnan(moved.pairs.pvalue)


def test_shuffled_rows_and_swapped_parents_change_nothing_but_the_sign() -> None:
    values = drawn(np.random.default_rng(9), 20, SPREAD)
    names = {"P1": "Quillmar", "P2": "Thornby", "F1": "cross", "F2": "grandchildren",
             "BC1(P1)": "back to Q", "BC1(P2)": "back to T"}  # invented  # fmt: skip
    register = [
        ("Quillmar", "", ""), ("Thornby", "", ""), ("cross", "Thornby", "Quillmar"),
        ("grandchildren", "cross", "selfed"), ("back to Q", "cross", "Quillmar"),
        ("back to T", "Thornby", "cross"),
    ]  # fmt: skip
    plain = bk.generation_means(season_of(values), "length")
    turned = season_of({names[g]: v[::-1] for g, v in values.items()}, register)
    found = bk.generation_means(turned, "length")
    assert found.generations.founders == ("Thornby", "Quillmar")
    assert found.simple.chi_square == pytest.approx(plain.simple.chi_square, rel=1e-10)
    ours, theirs = found.simple.parameters, plain.simple.parameters
    assert ours["[d]"].value == pytest.approx(-theirs["[d]"].value, rel=1e-10)
    assert found.dominance.value == pytest.approx(plain.dominance.value, rel=1e-10)
    assert found.dominance.error == pytest.approx(plain.dominance.error, rel=1e-10)
    assert "BC1 to Quillmar" in repr(found) and "Thornby (P1)" in repr(found)


def test_offspring_of_one_plant_do_not_stand_for_a_generation() -> None:
    values = drawn(np.random.default_rng(2), 8, {"P1": 1, "P2": 1, "F1": 1, "F2": 2})
    register = [("P1", "", ""), ("P2", "", ""), ("F1", "P1-3", "P2-1"), ("F2", "F1-2", "selfed"),
                ("line", "F2-4", "selfed"), ("stray", "F2", "open")]  # fmt: skip
    more = {"line": [3.0, 4.0], "stray": [5.0, 6.0]}
    found = generations_of(season_of({**values, **more}, register), "length")
    assert [g.role for g in found.all] == ["P1", "P2", "F1", "F2"]
    assert any("Left out: line and stray" in note for note in found.notes)


# --- odd data ---------------------------------------------------------------


def test_two_plants_and_no_spread_have_an_answer() -> None:
    rng = np.random.default_rng(4)
    values = drawn(rng, 12, {"P1": 1, "P2": 1, "F1": 1, "F2": 2})
    values |= {"P1": np.array([23.0, 23.1]), "P2": np.full(12, 17.0)}
    found = bk.generation_means(season_of(values), "length")
    pool = values["P1"].var(ddof=1) * 1 + values["F1"].var(ddof=1) * 11
    shared = pool / (1 + 11 + 11)  # P1, P2 (all alike) and F1
    expected = [shared / 2, shared / 12]
    assert found.squared_errors[:2] == pytest.approx(expected, rel=1e-12)
    assert any("stands in for their own" in note for note in found.notes)


def test_a_slip_of_the_decimal_point_is_pointed_out_and_kept() -> None:
    values = drawn(np.random.default_rng(6), 10, {"P1": 0.2, "P2": 0.2, "F1": 0.2}, m=3.4, d=1, h=0)
    values["F1"][3] = 34
    found = bk.generation_means(season_of(values), "length")
    note = next(n for n in found.notes if "far from" in n)
    assert note.startswith("F1, plant F1-3: 34.0") and "3.40 if the decimal point slipped" in note
    assert found.table().loc["F1", "mean"] == pytest.approx(values["F1"].mean())


@pytest.mark.parametrize(
    ("f1", "said"),
    [
        ([3.1, 3.4, 34.0], "plant F1-2: 34.0 is far"),  # too few for a spread
        ([1.0] * 15 + [10.0], "plant F1-15: 10.0 is far"),  # no spread at all
        ([3.1, 3.3, 0.34], "3.40 if the decimal point slipped"),
        ([3.1, 3.3, 3.9], ""),
        ([1.0] * 15 + [2.0, 2.0], ""),
        ([0.0, 3.1, 3.3], ""),
    ],
)
def test_what_is_far_in_few_or_equal_plants(f1, said: str) -> None:
    values = {"P1": [3.9, 4.1, 4.0], "F1": f1, "P2": [2.0, 2.2, 2.4]}
    notes = generations_of(season_of(values), "length").notes
    assert ["far from the others" in n and said in n for n in notes] == [True] * bool(said)


def test_counts_are_said_to_be_counts() -> None:
    plants = pd.DataFrame(
        [(f"{g}{i}", g, i % 3 + k) for k, g in enumerate(("P1", "P2", "F1")) for i in range(9)],
        columns=["plant", "family", "pods"],
    )
    found = bk.generation_means(bk.load_season(plants=plants), "pods")
    assert any("These are counts" in note for note in found.notes)


def test_two_units_in_one_column_are_asked_about() -> None:
    values = drawn(np.random.default_rng(6), 20, {"P1": 1, "P2": 1, "F1": 1})
    values["F1"][:5] *= 10
    found = bk.generation_means(season_of(values), "length")
    assert any("Are all in the same unit?" in note for note in found.notes)


def test_a_floor_at_zero() -> None:
    values = drawn(np.random.default_rng(8), 20, {"P1": 1, "P2": 1, "F1": 1})
    values["P2"][:9] = 0
    season = season_of(values)
    found = bk.generation_means(season, "length")
    assert any("9 of 20 plants are at 0" in note for note in found.notes)
    assert found.other is None
    with pytest.raises(FitError, match="9 plants have 0 or less"):
        bk.generation_means(season, "length", "log")


def test_three_generations_cannot_be_tested() -> None:
    values = drawn(np.random.default_rng(1), 9, {"P1": 1, "P2": 1, "F2": 2})
    found = bk.generation_means(season_of(values), "length")
    assert found.simple.df == 0 and found.simple.chi_square == 0
    assert "cannot show whether genes each act on their own" in found.verdict
    assert found.scaling == {} and "midparent" not in found.heterosis()


def test_parents_alike_have_no_degree_of_dominance() -> None:
    values = drawn(np.random.default_rng(1), 9, {"P1": 1, "P2": 1, "F1": 1}, d=0.0)
    found = bk.generation_means(season_of(values), "length")
    assert found.dominance is None and "differ too little" in found.verdict


def test_what_cannot_be_asked() -> None:
    rng = np.random.default_rng(1)
    season = season_of(drawn(rng, 9, {"P1": 1, "P2": 1, "F1": 1}))
    with pytest.raises(ModelError, match="no scale called 'cubic'"):
        bk.generation_means(season, "length", "cubic")
    with pytest.raises(TableError, match="not a trait"):
        bk.generation_means(season, "weight")
    with pytest.raises(FitError, match="do not tell addition from dominance"):
        bk.generation_means(season_of(drawn(rng, 9, {"F1": 1, "F2": 2})), "length")
    with pytest.raises(FitError, match="all plants are alike"):
        same = {"P1": [2.0] * 6, "P2": [3.0] * 6, "F1": [2.5] * 6}
        bk.generation_means(season_of(same), "length")
    with pytest.raises(ModelError, match="No scored family comes from a cross"):
        bk.generation_means(season_of({"here": [1.0, 2.0], "there": [3.0, 4.0]}), "length")
    with pytest.raises(ModelError, match="A level lies between 0 and 1"):
        bk.generation_means(season, "length").parameters(1.0)


def test_one_cross_at_a_time() -> None:
    values = drawn(np.random.default_rng(1), 9, {"P1": 1, "P2": 1, "F1": 1})
    register = [("P1", "", ""), ("P2", "", ""), ("<img src=x onerror=y>", "", ""),
                ("F1", "P1", "P2"), ("other", "P1", "<img src=x onerror=y>")]  # fmt: skip
    season = season_of({**values, "other": [1.0, 2.0, 3.0]}, register)
    with pytest.raises(ModelError, match="these families have 3") as told:
        bk.generation_means(season, "length")
    assert len(str(told.value).splitlines()[0]) < 90
    found = bk.generation_means(season, "length", families=["P1", "P2", "F1"])
    assert found.generations.n == 27


def test_display() -> None:
    values = drawn(np.random.default_rng(13), 10, {"P1": 1, "P2": 1, "F1": 1, "F2": 2})
    hostile = "<img onerror=x>"
    register = [(hostile, "", ""), ("P2", "", ""), ("F1", hostile, "P2"), ("F2", "F1", "selfed")]
    values = {hostile if g == "P1" else g: v for g, v in values.items()}
    found = bk.generation_means(season_of(values, register), "length")
    assert repr(found) == repr(bk.generation_means(season_of(values, register), "length"))
    assert "40 plants in 4 generations" in found.verdict
    assert "<img" not in found._repr_html_() and "&lt;img" in found._repr_html_()
    assert {"m", "[d]", "[h]", "misfit"} <= {f.label for f in found.facts()}
