"""The progeny test: by hand, against the likelihood of a register, and with slips."""

from fractions import Fraction as F

import numpy as np
import pandas as pd
import pytest
from scipy.stats import binom

import breedkit as bk
from breedkit.enough import progeny_needed
from breedkit.errors import ModelError, PedigreeError
from breedkit.evidence import Evidence
from breedkit.genome import Genome
from breedkit.likelihood import Candidates, mis_scoring
from breedkit.models import InheritanceModel, catalogue
from breedkit.pedigree import Chosen, Cross, Founder, Selfing
from breedkit.posterior import posterior
from breedkit.progeny import progeny_test


def test_ten_are_too_few_and_eleven_are_enough() -> None:
    # Fisher 1936 (from memory): ten offspring leave an error of (3/4)^10 = 0.0563
    ten, eleven = (progeny_test({"red": n}, shows="red") for n in (10, 11))
    assert (ten.standing, ten.more, eleven.standing, eleven.more) == ("cannot tell", 1, "fixed", 0)
    assert ten.missed == F(3, 4) ** 10 and abs(float(ten.missed) - 0.0563) < 5e-5
    # of dominants 2 in 3 are hybrids: 1 - 2 (3/4)^10 / (1 + 2 (3/4)^10)
    assert ten.fixed == pytest.approx(1 / (1 + 2 * 0.75**10), abs=1e-14)
    assert progeny_test({"red": 16}, shows="red", certainty=0.99).more == 1
    assert progeny_test({"red": 17}, shows="red", certainty=0.99).standing == "fixed"


def test_the_edge_is_exact() -> None:
    """(3/4)^2 = 9/16: two offspring are enough for 7/16, and for no hair more."""
    assert progeny_test({"red": 2}, shows="red", certainty=F(7, 16)).standing == "fixed"
    finer = F(7, 16) + F(1, 10**30)
    assert progeny_test({"red": 2}, shows="red", certainty=finer).more == 1


def test_one_orange_plant_among_the_offspring_says_segregating() -> None:
    found = progeny_test({"red": 13, "orange": 1})
    assert found.standing == "segregating" and found.fixed == 0 and found.missed == 0
    assert found.verdict == (
        "Segregating: 13 red and 1 orange of 14 offspring. The likeliest ratio is 3:1 red:orange."
    )


def test_slips_may_make_a_fixed_plant_look_mixed() -> None:
    one = progeny_test({"red": 30, "orange": 1}, scoring_error=0.02)
    assert one.standing == "cannot tell" and "Look at the odd ones again" in one.verdict
    assert one.slips == pytest.approx(binom.sf(0, 31, 0.02), rel=1e-12)
    nine = progeny_test({"red": 30, "orange": 9}, scoring_error=0.02)
    assert nine.standing == "segregating"
    assert nine.slips == pytest.approx(binom.sf(8, 39, 0.02), rel=1e-9)


@pytest.mark.parametrize(
    ("name", "shows", "same"),
    [
        # shares of the plant's own class among the offspring of the least telling hybrid
        ("recessive epistasis", "A without B", F(3, 4)), ("duplicate genes", "either", F(15, 16)),
        ("recessive epistasis", "A and B", F(3, 4)), ("triplicate genes", "any", F(63, 64)),
        ("dominant inhibitor", "held back", F(13, 16)), ("dominant epistasis", "A", F(3, 4)),
    ],
)  # fmt: skip
def test_any_model(name: str, shows: str, same: F) -> None:
    enough = progeny_needed(1 - same).n
    found = progeny_test({shows: enough}, name, shows)
    assert found.standing == "fixed" and found.missed == same**enough
    assert progeny_test({shows: enough - 1}, name, shows).more == 1


def test_two_genes_by_hand() -> None:
    """Purple of 9:3:4 is AABB, AABb, AaBB or AaBb, 1:2:2:4, and each has offspring of its own."""
    purple = progeny_test([9, 3, 4], "recessive epistasis", "A and B")
    before = {kind.genotypes: (kind.shares, kind.before) for kind in purple.kinds}
    assert before == {
        ("AABB",): ((F(1), F(0), F(0)), F(1, 9)),
        ("AABb",): ((F(3, 4), F(1, 4), F(0)), F(2, 9)),
        ("AaBB",): ((F(3, 4), F(0), F(1, 4)), F(2, 9)),
        ("AaBb",): ((F(9, 16), F(3, 16), F(4, 16)), F(4, 9)),
    }
    assert purple.kinds[0].genotypes == ("AaBb",) and purple.kinds[0].after == 1
    green = progeny_test([0, 6, 0], "recessive epistasis", "A without B")
    assert green.fixed == pytest.approx(1 / (1 + 2 * 0.75**6), abs=1e-14)


def test_the_family_counts() -> None:
    """In an F4, 1/8 of the plants are hybrids; a backcross to AA has no recessives."""
    f4 = progeny_test({"red": 3}, family="F4", shows="red")
    assert {k.genotypes[0]: k.before for k in f4.kinds} == {"AA": F(7, 9), "Aa": F(2, 9)}
    back = progeny_test({"red": 3}, family="BC1")
    assert {k.genotypes[0]: k.before for k in back.kinds} == {"AA": F(1, 2), "Aa": F(1, 2)}
    with pytest.raises(ModelError, match="gives no 'recessive' plant in 'BC1'"):
        progeny_test([1, 1], "single dominant gene", "recessive", "BC1")


def test_lethals_are_not_offspring() -> None:
    found = progeny_test([8, 5], "recessive lethal", "carrier")
    assert [k.shares for k in found.kinds] == [(F(2, 3), F(1, 3))]
    assert found.standing == "segregating"


def test_linked_genes() -> None:
    """AB/ab and Ab/aB have other offspring when linked: two kinds where there was one."""
    rule = {"A_B_": "both", "A_bb": "one", "aaB_": "other", "aabb": "none"}
    loose, tight = (
        InheritanceModel.from_rule(rule, parents=parents, recombination=rates)
        for parents, rates in [(("AABB", "aabb"), ()), (("AB/AB", "ab/ab"), (F(1, 10),))]
    )
    assert len(progeny_test([9, 3, 3, 1], loose, "both").kinds) == 4
    found = progeny_test([15, 1, 1, 4], tight, "both")
    assert len(found.kinds) == 5 and found.kinds[0].genotypes == ("AB/ab",)
    # both recessive: ((1 - r) / 2)^2 of the offspring of AB/ab
    assert found.kinds[0].shares[3] == F(81, 400)


def test_what_cannot_be_is_said() -> None:
    wrong = progeny_test([5, 0], "single dominant gene", "recessive")
    assert wrong.standing == "cannot be"
    assert wrong.verdict.startswith("None of the plants it could be has such offspring")
    slips = progeny_test([5, 0], "single dominant gene", "recessive", scoring_error=0.01)
    assert slips.standing == "cannot be"
    always = progeny_test([0, 5], "single dominant gene", "recessive")
    assert always.standing == "fixed" and always.verdict.startswith("Fixed: such a plant always is")
    none = progeny_test({"red": 0})
    assert none.verdict == (
        "Cannot tell: no offspring was scored. Grow 11 offspring to be 95 % sure."
    )


# --- a second route -----------------------------------------------------------------


@pytest.mark.parametrize(
    "name", ["single dominant gene", "recessive epistasis", "two additive genes"]
)
@pytest.mark.parametrize("slip", [0.0, 0.04])
def test_the_likelihood_of_the_register_says_the_same(name: str, slip: float) -> None:
    """The plant as a hidden plant of an F2, its look known for certain, its progeny a family."""
    model, rng = catalogue()[name], np.random.default_rng(2)
    genome = Genome.of(model.founders())
    names = [str(g) for g in genome.genotypes()]
    looks = model.rule.table(genome).ravel()
    f2 = Selfing(Cross(Founder("P1"), Founder("P2")))
    line = Selfing(Chosen(f2, plant="a"))
    founders = np.array([[names.index(p) for p in model.parents]])
    one, classes = Candidates(genome, founders, looks[None]), list(model.classes)
    for look in classes:
        counts = rng.integers(4, size=len(classes))
        evidence = Evidence.of(classes, {"F2": f2, "line": line}, {"line": counts})
        mixing = mis_scoring([slip], len(classes))
        known = posterior(evidence, one, mixing).plants[0, 0, :, 0]
        known = known * (looks == classes.index(look))
        found = progeny_test(counts.tolist(), model, look, scoring_error=slip)
        for kind in found.kinds:
            expected = sum(known[names.index(g)] for g in kind.genotypes)
            expected = expected / known.sum() if known.sum() else 0.0
            assert kind.after == pytest.approx(expected, abs=1e-12)


def test_errors_are_as_frequent_as_said() -> None:
    """Of hybrids grown with n offspring, `missed` are taken as fixed (4 standard errors)."""
    rng = np.random.default_rng(8)
    n, seasons = 11, 20_000
    odd = rng.binomial(n, 0.25, size=seasons)
    wrong = np.array([progeny_test({"red": n - k, "orange": k}, shows="red").standing == "fixed"
                      for k in range(n + 1)])[odd]  # fmt: skip
    missed = 0.75**11
    assert abs(wrong.mean() - missed) < 4 * (missed * (1 - missed) / seasons) ** 0.5


# --- what is typed, display ------------------------------------------------------------


def test_counts_as_a_series_or_with_other_spelling() -> None:
    series = pd.Series({"red": 8, "orange": 3})
    one, other = progeny_test(series), progeny_test({"red": 8, "orange": 3})
    assert repr(one) == repr(other)
    model = catalogue()["single dominant gene"].called(["red", "orange"])
    assert progeny_test({"RED ": 8, "Orange": 3}, model).counts == (8, 3)
    colours = ["red", "red", "orange"]
    plants = pd.DataFrame({"plant": list("abc"), "family": ["A"] * 3, "colour": colours})
    season = bk.load_season(plants=plants)
    row = season.counts("colour").loc["A"].drop("not scored")
    assert progeny_test(row).counts == (2, 1)


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"counts": {"red": -1}}, "whole numbers from 0; -1 cannot be"),
        ({"counts": {"red": 1.5}}, "1.5 cannot be"), ({"counts": {"red": "x"}}, "x cannot be"),
        ({"counts": [1, 2, 3]}, "Give 2 counts"), ({"counts": {"red": 10**7}}, "100,000 offspring"),
        ({"counts": {"a": 1, "b": 1, "c": 1}}, "say which model holds"),
        ({"counts": {"red": 1}, "model": "no such"}, "no model called"),
        ({"counts": {"purpl": 1}, "model": "single dominant gene"}, "no class called 'purpl'"),
        ({"counts": {"red": 3, "blue": 1}, "shows": "green"}, "no class called 'green'"),
        ({"counts": {"red": 3}, "certainty": 2}, "certainty lies between 0 and 1"),
        ({"counts": {"red": 3}, "scoring_error": 0.7}, "scoring error lies from 0 to 0.5"),
    ],
)  # fmt: skip
def test_what_cannot_be_asked(asked, said: str) -> None:
    with pytest.raises(ModelError, match=said) as told:
        progeny_test(**asked)
    assert len(str(told.value).splitlines()[0]) < 90


def test_other_things_that_cannot_be_asked() -> None:
    with pytest.raises(PedigreeError, match="no family called 'F2x'"):
        progeny_test({"red": 3}, family="F2x")
    hidden = catalogue()["single dominant gene"].with_penetrance("recessive", "dominant", 0.5)
    with pytest.raises(ModelError, match="all show and live"):
        progeny_test([3, 1], hidden)


def test_display() -> None:
    found = bk.progeny_test({"red": 10}, shows="red")
    assert found.verdict == (
        "Cannot tell yet: all of 10 offspring red; a plant that segregates may show that with "
        "chance 5.6 %. Grow 1 more offspring to be 95 % sure."
    )
    table = found.table()
    assert list(table.columns) == ["fixed", "genotypes", "red", "another", "before", "chance"]
    assert table["chance"].sum() == pytest.approx(1)
    hostile = progeny_test({"<img onerror=x>": 11, "=cmd()": 2})
    assert "<img" not in hostile._repr_html_()
