"""Variance components and heritability: printed data, closed forms, coverage, odd data."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from measuring import EARS, counted, drawn, season_of
from scipy.stats import chi2

import breedkit as bk
from breedkit.errors import FitError, ModelError
from breedkit.measured import ends, likely_variances

SPREAD = {"P1": 1, "P2": 1, "F1": 1, "F2": 2**0.5, "BC1(P1)": 1.5**0.5, "BC1(P2)": 1.5**0.5}
# Variances of wheat heading date, days squared. Allard 1960, Principles of Plant Breeding,
# ch. 10, after Warner 1952: from memory and of LOW confidence, as is the 72 % printed.
WHEAT = {"P1": 11.036, "P2": 10.32, "F1": 5.237, "F2": 40.35, "BC1(P1)": 17.352,
         "BC1(P2)": 34.288}  # fmt: skip


def with_variances(variances, n: int = 30) -> dict[str, np.ndarray]:
    """Samples that have exactly these variances."""
    base = np.random.default_rng(1).standard_normal(n)
    base = (base - base.mean()) / base.std(ddof=1)
    return {g: 50 + base * v**0.5 for g, v in variances.items()}


def test_heading_date_of_wheat() -> None:
    """Allard 1960 after Warner 1952, low confidence; 72 % printed, the rest is arithmetic."""
    found = bk.variance_components(season_of(with_variances(WHEAT)), "length")
    values = found.values
    assert values["narrow"] == pytest.approx(0.72, abs=5e-3)
    assert values["narrow"] == pytest.approx(0.72019827, abs=5e-9)
    assert values["broad"] == pytest.approx(0.78031392, abs=5e-9)
    assert values["environmental"] == pytest.approx(8.8643333, abs=5e-8)
    assert values["additive"] == pytest.approx(29.06, abs=1e-9)
    assert values["dominance"] == pytest.approx(2.4256667, abs=5e-8)


def test_ear_length_of_maize() -> None:
    """Emerson & East 1913, table from memory; heritabilities computed from it by hand."""
    season = season_of(counted(EARS))
    found = bk.variance_components(season, "length")
    assert found.values["broad"] == pytest.approx(0.57071532, abs=5e-9)
    alone = bk.variance_components(season, "length", environment=["F1"])
    assert alone.values["broad"] == pytest.approx(0.54483824, abs=5e-9)
    assert found.verdict == (
        "About 57 % of the differences between your 401 F2 plants is inherited, somewhere "
        "between 47 and 64; 628 plants."
    )
    assert "additive" not in found.values
    assert any("backcrosses to both parents" in note for note in found.notes)


def test_draws_of_a_large_normal_sample_follow_the_closed_form() -> None:
    """For normal values (n - 1) V / chi-square is the exact interval of a variance."""
    n = 4000
    values = chi2.ppf((np.arange(n) + 0.5) / n, 1) ** 0.5
    values = np.concatenate([values, -values])  # as normal as can be
    low, high = ends(likely_variances(values, 3), 0.95)
    own, df = values.var(ddof=1), 2 * n - 1
    exact = own * df / chi2.ppf([0.975, 0.025], df)
    assert [low, high] == pytest.approx(exact, rel=0.01)


def test_draws_are_those_of_a_plain_loop() -> None:
    values = np.array([1.0, 4.0, 2.5, 7.0, 3.0, 3.5])
    found = likely_variances(values, 5, 300)
    rng, n, own = np.random.default_rng(5), 6, np.var(values, ddof=1)
    for draw, again in zip(found, rng.integers(0, n, (300, n)), strict=True):
        sample = np.sort(values)[again]
        drawn_variance = np.var(sample, ddof=1) * n / (n - 1)
        ratio = max(drawn_variance / own, 1e-6)
        assert draw == pytest.approx(own / ratio, rel=1e-12)


LONG = [pytest.param(n, 1500, marks=pytest.mark.slow) for n in (10, 20, 50)]


@pytest.mark.parametrize(("n", "runs"), [(50, 400), *LONG])
def test_intervals_hold_as_often_as_they_say(n: int, runs: int) -> None:
    """Normal values, true heritability 1/2 in both senses: see the module for long runs."""
    rng, held = np.random.default_rng(n), np.zeros(2)
    for _ in range(runs):
        values = drawn(rng, n, SPREAD)
        v = {g: likely_variances(x, i, 1000) for i, (g, x) in enumerate(values.items())}
        broad = 1 - (v["P1"] + v["P2"] + v["F1"]) / 3 / v["F2"]
        narrow = (2 * v["F2"] - v["BC1(P1)"] - v["BC1(P2)"]) / v["F2"]
        for i, draws in enumerate((broad, narrow)):
            low, high = ends(draws, 0.95)
            held[i] += low <= 0.5 <= high
    share, error = held / runs, np.sqrt(0.05 * 0.95 / runs)
    least = 0.935 if n >= 50 else 0.92
    assert (share >= least - 4 * error).all() and (share <= 0.965 + 4 * error).all()


def test_known_parts_come_back() -> None:
    found = bk.variance_components(
        season_of(drawn(np.random.default_rng(2), 600, SPREAD)), "length"
    )
    for name, true in (("environmental", 1), ("genetic", 1), ("additive", 1), ("broad", 0.5)):
        low, high = found.interval(name, 0.9999)
        assert low < true < high
        assert high - low < 2.2  # eight standard errors of VA, 0.26 by 2 V^2 / n


def test_shuffled_rows_and_a_change_of_unit_change_nothing() -> None:
    values = drawn(np.random.default_rng(3), 15, SPREAD)
    plain = bk.variance_components(season_of(values), "length")
    turned = {g: 10 * v[::-1] for g, v in reversed(values.items())}
    found = bk.variance_components(season_of(turned), "length")
    for name in ("broad", "narrow"):
        assert found.values[name] == pytest.approx(plain.values[name], rel=1e-9)
        assert found.draws[name] == pytest.approx(plain.draws[name], rel=1e-9, abs=1e-9)
    assert found.values["additive"] == pytest.approx(100 * plain.values["additive"], rel=1e-9)


def test_values_that_grow_with_their_mean_belong_on_the_log_scale() -> None:
    values = {g: np.exp(v / 4) for g, v in drawn(np.random.default_rng(3), 40, SPREAD).items()}
    season = season_of(values)
    logs = {g: np.log(v) for g, v in values.items()}
    on_log = bk.variance_components(season, "length", "log")
    assert on_log.values["broad"] == pytest.approx(
        bk.variance_components(season_of(logs), "length").values["broad"], rel=1e-9
    )
    assert any("look at the log scale" in n for n in
               bk.variance_components(season, "length").notes)  # fmt: skip


# --- odd data ---------------------------------------------------------------


def test_negative_parts_are_said_as_such() -> None:
    values = with_variances({"P1": 4, "P2": 4, "F1": 4, "F2": 2, "BC1(P1)": 3, "BC1(P2)": 3})
    found = bk.variance_components(season_of(values), "length")
    assert found.values["genetic"] == pytest.approx(-2)
    assert found.values["additive"] == pytest.approx(-2)
    assert found.verdict.startswith("No inherited difference shows among your 30 F2 plants")
    assert "below zero" in found.verdict
    assert sum("comes out negative" in note for note in found.notes) == 2


def test_few_plants_do_not_show_that_anything_is_inherited() -> None:
    found = bk.variance_components(
        season_of(with_variances({"P1": 1, "P2": 1, "F1": 1, "F2": 1.4}, 12)), "length"
    )
    assert found.interval()["low"] < 0 < found.values["broad"]
    assert "does not yet show that any of it is" in found.verdict


def test_two_plants_are_answered_and_not_leant_on() -> None:
    found = bk.variance_components(
        season_of({"P1": [4.0, 4.4], "P2": [9.0], "F1": [6.0], "F2": [3.0, 8.0]}), "length"
    )
    assert found.environment == ("P1",)
    low, high = found.interval()
    assert low < 0 and high > 0.99
    assert any("do not lean on this" in note for note in found.notes)
    assert any("without P2 and F1" in note for note in found.notes)


def test_a_generation_without_spread_is_pointed_out() -> None:
    values = with_variances({"P1": 0, "P2": 1, "F1": 2, "F2": 4})
    found = bk.variance_components(season_of(values), "length")
    assert found.values["environmental"] == pytest.approx(1)
    assert any("scored too coarsely" in note for note in found.notes)
    alone = bk.variance_components(season_of(values), "length", environment="P1")
    assert alone.values["broad"] == 1


def test_a_slip_of_the_decimal_point_is_pointed_out() -> None:
    values = with_variances({"P1": 0.01, "P2": 0.01, "F1": 0.01, "F2": 0.1})
    values = {g: v - 46.6 for g, v in values.items()}
    values["F2"][4] = 34
    found = bk.variance_components(season_of(values), "length")
    assert any("34.0 is far from the others" in note for note in found.notes)


def test_what_cannot_be_asked() -> None:
    season = season_of(with_variances({"P1": 1, "P2": 1, "F1": 1}))
    with pytest.raises(FitError, match="takes an F2 of two or more plants"):
        bk.variance_components(season, "length")
    with pytest.raises(FitError, match="takes an F2"):
        bk.variance_components(season_of({"F1": [1.0, 2.0], "F2": [3.0, 3.0]}), "length")
    with pytest.raises(FitError, match="Nothing tells what weather and pot do") as told:
        bk.variance_components(season_of({"F2": [1.0, 2.0, 4.0]}), "length")
    assert all(len(line) < 90 for line in str(told.value).splitlines()[:1])
    both = season_of(with_variances({"P1": 1, "F2": 2}))
    with pytest.raises(ModelError, match="no generation alike in genes called 'F2'"):
        bk.variance_components(both, "length", environment=["F2"])
    found = bk.variance_components(both, "length")
    with pytest.raises(ModelError, match="no part called 'narrow'"):
        found.interval("narrow")
    with pytest.raises(ModelError, match="level lies between 0 and 1"):
        found.interval("broad", 95)


def test_display() -> None:
    season = season_of(with_variances(WHEAT))
    found = bk.variance_components(season, "length")
    assert repr(found) == repr(bk.variance_components(season, "length"))
    assert "About 78 % of the differences between your 30 F2 plants is inherited" in found.verdict
    assert "whatever the mates is about 72 %" in found.verdict and "180 plants" in found.verdict
    table = found.table()
    assert isinstance(table, pd.DataFrame) and list(table.columns) == ["estimate", "low", "high"]
    assert "cm²" in repr(found) and "heritability, broad sense" in found._repr_html_()
