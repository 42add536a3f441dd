"""Effective factors and the response to selection: printed data, exact genetics, odd data."""

from __future__ import annotations

from fractions import Fraction as F

import numpy as np
import pandas as pd
import pytest
from measuring import COROLLAS, EARS, counted, drawn, season_of

import breedkit as bk
from breedkit.cross import Population
from breedkit.errors import FitError, ModelError
from breedkit.genome import Genome
from breedkit.selection import response

SPREAD = {"P1": 1, "P2": 1, "F1": 1, "F2": 2**0.5, "BC1(P1)": 1.5**0.5, "BC1(P2)": 1.5**0.5}


# --- effective factors ------------------------------------------------------


def test_ear_length_of_maize() -> None:
    """Emerson & East 1913, table from memory; Castle-Wright computed from it, not printed there."""
    season = season_of(counted(EARS))
    mean = bk.effective_factors(season, "length")
    assert mean.factors == pytest.approx(4.4641758, abs=5e-8)
    alone = bk.effective_factors(season, "length", environment=["F1"])
    assert alone.factors == pytest.approx(4.6762016, abs=5e-8)
    assert mean.corrected < mean.factors
    low, high = mean.interval()
    assert low < 4.4641758 < high
    assert "floor of the number of genes" in mean.verdict and "628 plants" in mean.verdict


def test_corolla_length_of_tobacco() -> None:
    """East 1916, frequencies from memory; by hand from their means and variances."""
    found = bk.effective_factors(season_of(counted(COROLLAS)), "length")
    environment = (3.0565161 + 5.2746865 + 8.6225299) / 3
    by_hand = (93.215909 - 37.456) ** 2 / (8 * (35.136764 - environment))
    assert found.factors == pytest.approx(by_hand, rel=1e-6)


@pytest.mark.parametrize("genes", [1, 2, 4, 6])
def test_equal_genes_are_counted_rightly(genes: int) -> None:
    """k unlinked additive genes of one size: binomial F2, so that n is k."""
    doses = np.arange(2 * genes + 1)
    from_many = np.random.default_rng(genes).binomial(2 * genes, 0.5, 200_000)
    plants = np.bincount(from_many, minlength=len(doses))
    noise = np.random.default_rng(1).normal(0, 0.3, 200_000)
    values = {
        "P1": 2.0 * genes + noise[:2000], "P2": noise[2000:4000], "F1": genes + noise[4000:6000],
        "F2": np.repeat(doses, plants)[::20] + noise[::20],
    }  # fmt: skip
    found = bk.effective_factors(season_of(values), "length")
    assert found.factors == pytest.approx(genes, rel=0.08)


def test_its_error_is_the_spread_of_many_crosses() -> None:
    rng, factors, errors = np.random.default_rng(9), [], []
    spread = {"P1": 1, "P2": 1, "F1": 1, "F2": 2}
    for _ in range(150):
        found = bk.effective_factors(season_of(drawn(rng, 150, spread)), "length")
        factors.append(found.factors)
        errors.append(found.error)
    # The spread of 150 numbers is known to about 1 / sqrt(2 * 149) = 6 %; four of these.
    assert np.std(factors, ddof=1) == pytest.approx(np.mean(errors), rel=0.24)


def test_no_genetic_variance_gives_no_number() -> None:
    values = drawn(np.random.default_rng(1), 30, {"P1": 2, "P2": 2, "F1": 2, "F2": 1})
    found = bk.effective_factors(season_of(values), "length")
    assert np.isnan(found.factors) and np.isinf(found.interval()["high"])
    assert found.verdict.startswith("The number of genes cannot be judged")
    assert "not defined" in repr(found) and "without limit" in repr(found)


def test_parents_alike_and_plants_beyond_them() -> None:
    values = drawn(np.random.default_rng(1), 30, {"P1": 0.1, "P2": 0.1, "F1": 0.1, "F2": 2}, d=0)
    found = bk.effective_factors(season_of(values), "length")
    assert found.factors < 0.01 and np.isfinite(found.error)
    assert any("30 F2 plants lie beyond" in note for note in found.notes)


def test_both_parents_are_needed() -> None:
    values = drawn(np.random.default_rng(1), 30, {"P1": 1, "F1": 1, "F2": 2})
    with pytest.raises(FitError, match="takes two scored plants or more of each parent"):
        bk.effective_factors(season_of(values), "length")


# --- selection --------------------------------------------------------------


def test_breeders_equation() -> None:
    """Course exercises, seen in print: h² 0.71 and S 400 give 284; 50 to 60 at 0.4 gives 54."""
    assert response(0.71, 400) == pytest.approx(284)
    assert 50 + response(0.4, 60 - 50) == pytest.approx(54)
    assert response(np.array([-0.3, 1.4]), 10) == pytest.approx([0, 10])


@pytest.mark.parametrize("h", [F(0), F(1), F(-1, 2), F(3, 2)])
def test_selfed_offspring_follow_their_plant_as_said(h: F) -> None:
    """Regression of selfed families on F2 plants is (h² + H²) / 2: exactly, for one gene."""
    genome = Genome.of(("AA", "aa"))
    value = {"AA": F(1), "Aa": h, "aa": F(-1)}

    def moments(population: Population) -> tuple[F, F]:
        shares = population.genotype_shares()
        mean = sum((s * value[g] for g, s in shares.items()), F(0))
        return mean, sum((s * (value[g] - mean) ** 2 for g, s in shares.items()), F(0))

    one, two, f1 = (Population.of(genome, g, exact=True) for g in ("AA", "aa", "Aa"))
    f2 = f1.selfed()
    mean, genetic = moments(f2)
    additive = 2 * genetic - moments(f1.crossed(one))[1] - moments(f1.crossed(two))[1]
    together = F(0)
    for plant, (genotype, share) in zip(
        f2.each_genotype(), f2.genotype_shares().items(), strict=True
    ):
        together += share * (value[genotype] - mean) * moments(plant.selfed())[0]
    assert together == (additive + genetic) / 2
    assert moments(f2.selfed())[0] - mean == (mean - h) / 2  # what selfing takes off


def test_expected_offspring_by_hand() -> None:
    values = drawn(np.random.default_rng(4), 60, SPREAD)
    season = season_of(values)
    found = bk.selection_response(season, "length", share=0.1)
    parts = bk.variance_components(season, "length").values
    f2, kept = values["F2"], np.sort(values["F2"])[-6:]
    s = kept.mean() - f2.mean()
    assert len(found.chosen) == 6 and found.differential == pytest.approx(s)
    assert 0 < parts["narrow"] < 1
    assert found.intermated == pytest.approx(f2.mean() + parts["narrow"] * s)
    selfed = s * (parts["narrow"] + parts["broad"]) / 2 + (f2.mean() - values["F1"].mean()) / 2
    assert found.selfed == pytest.approx(f2.mean() + selfed)
    again = bk.selection_response(season, "length", chosen=reversed(found.chosen))
    assert again.selfed == found.selfed and repr(again) == repr(found)
    for mating, value in (("selfed", found.selfed), ("intermated", found.intermated)):
        low, high = found.interval(mating)
        assert low < value < high
    least = bk.selection_response(season, "length", share=0.1, largest=False)
    assert least.differential < 0 and "below their family's mean" in least.verdict
    assert "10 %" in repr(found) and "360 plants" in found.verdict


def test_without_backcrosses_it_is_an_upper_end() -> None:
    values = drawn(np.random.default_rng(4), 40, {"P1": 1, "P2": 1, "F2": 2})
    found = bk.selection_response(season_of(values), "length", share=0.0001)
    assert not found.narrow and len(found.chosen) == 1
    assert "is expected to be at most" in found.verdict and "1 plant you keep" in found.verdict
    assert any("Without two scored F1 plants" in note for note in found.notes)
    assert found.selfed == pytest.approx(found.intermated)


def test_a_code_that_two_plants_have_is_not_guessed() -> None:
    values = drawn(np.random.default_rng(4), 9, {"P1": 1, "P2": 1, "F1": 1})
    register = [("P1", "", ""), ("P2", "", ""), ("F1", "P1", "P2"), ("one", "F1", "selfed"),
                ("two", "F1", "selfed")]  # fmt: skip
    rows = [(f"{g}{i}", g, x) for g, xs in values.items() for i, x in enumerate(xs)]
    rows += [(f"{i}", g, float(i + 10 * (g == "two"))) for g in ("one", "two") for i in range(3)]
    season = bk.load_season(
        plants=pd.DataFrame(rows, columns=["plant", "family", "length"]),
        families=pd.DataFrame(register, columns=["family", "female", "male"]),
        traits=pd.DataFrame({"trait": ["length"], "kind": ["measured"]}),
    )
    with pytest.raises(ModelError, match="More than one F2 plant is called '2'"):
        bk.selection_response(season, "length", chosen=["2"])
    assert len(bk.selection_response(season, "length", share="1/2").chosen) == 3


def test_all_kept_changes_nothing() -> None:
    values = drawn(np.random.default_rng(4), 40, {"P1": 1, "P2": 1, "F2": 2})
    found = bk.selection_response(season_of(values), "length", share=1)
    assert found.differential == pytest.approx(0, abs=1e-12)
    assert found.selfed == pytest.approx(values["F2"].mean())


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({}, "either the chosen plants or the share"),
        ({"share": 0.1, "chosen": ["F2-1"]}, "either the chosen plants or the share"),
        ({"share": 0}, "lies between 0 and 1; 0 does not"),
        ({"share": float("nan")}, "'nan' is not"),
        ({"share": "a tenth"}, "'a tenth' is not"),
        ({"chosen": ["F2-99"]}, "no scored F2 plant called 'F2-99'"),
        ({"chosen": []}, "No plant is chosen"),
    ],
)
def test_what_cannot_be_asked(asked, said: str) -> None:
    season = season_of(drawn(np.random.default_rng(4), 9, {"P1": 1, "P2": 1, "F2": 2}))
    with pytest.raises(ModelError, match=said) as told:
        bk.selection_response(season, "length", **asked)
    assert len(str(told.value).splitlines()[0]) < 90
