"""The next family: chances against binomial sums, and what is said when nothing is open."""

import numpy as np
import pandas as pd
import pytest
from scipy.stats import binom

import breedkit as bk
from breedkit import nextfamily
from breedkit.compare import compare_models
from breedkit.errors import ModelError
from breedkit.models import catalogue
from breedkit.nextfamily import DRAWS, Expected, Family, _option, families_to_grow
from breedkit.pedigree import Founder


def comparison(models=None, **families: dict[str, int]):
    rows = [(f, c, n) for f, counts in families.items() for c, n in counts.items()]
    season = bk.load_counts(pd.DataFrame(rows, columns=["family", "class", "count"]))
    return compare_models(season, "class", models)


PLAIN = Family("F2", Founder("P1"))  # the parentage is not read here


def plain(*shares: tuple[float, ...]) -> list[Expected]:
    """What models expect that have one case each."""
    return [Expected(np.ones(1), np.array([row])) for row in shares]


def test_chance_to_settle_agrees_with_a_binomial_sum() -> None:
    """Two models, 3:1 and 9:7, weights 0.6 and 0.4: every count of n plants written out."""
    prior, shares, n = np.array([0.6, 0.4]), np.array([[0.75, 0.25], [9 / 16, 7 / 16]]), 40
    k = np.arange(n + 1)
    chances = np.array([binom.pmf(k, n, s[0]) for s in shares])
    after = prior[:, None] * chances
    exact = after.sum(axis=0)[(after.max(axis=0) / after.sum(axis=0)) >= 0.95].sum()
    posterior = after / after.sum(axis=0)
    entropy = -(posterior * np.log2(posterior)).sum(axis=0) @ after.sum(axis=0)
    bits = -(prior * np.log2(prior)).sum() - entropy
    option = _option(PLAIN, prior, plain(*shares), np.array([0, 1]), [n], 0.95)
    assert abs(option.settled[0] - exact) < 4 * (exact * (1 - exact) / DRAWS) ** 0.5
    assert abs(option.bits[0] - bits) < 4 / DRAWS**0.5


def test_one_plant_selfed_agrees_with_every_count_written_out() -> None:
    """Offspring of one dominant: constant with chance 1/3, else 3:1; the rival is always 3:1."""
    prior, n, size = np.array([0.5, 0.5]), 16, 8
    models = [
        Expected(np.array([1 / 3, 2 / 3]), np.array([[1.0, 0.0], [0.75, 0.25]])),
        Expected(np.ones(1), np.array([[0.75, 0.25]])),
    ]
    k = np.arange(size + 1)  # recessives in a family of eight
    split = binom.pmf(k, size, 0.25)
    one = [np.where(k == 0, 1 / 3, 0) + 2 / 3 * split, split]
    pairs = [np.multiply.outer(p, p).ravel() for p in one]  # two families
    after = prior[:, None] * pairs
    exact = after.sum(axis=0)[after.max(axis=0) / after.sum(axis=0) >= 0.7].sum()
    family = Family("F3", Founder("P1"), each=size)
    option = _option(family, prior, models, np.array([0, 1]), [n], 0.7)
    assert 0.2 < exact < 0.8
    assert abs(option.settled[0] - exact) < 4 * (exact * (1 - exact) / DRAWS) ** 0.5


def test_models_that_stay_together_count_as_one() -> None:
    models = plain((0.75, 0.25), (0.75, 0.25))
    option = _option(PLAIN, np.array([0.6, 0.4]), models, np.array([0, 0]), [10], 0.95)
    assert option.settled == (1.0,) and option.bits == (0.0,)
    option = _option(PLAIN, np.array([0.6, 0.4]), models, np.array([0, 1]), [10], 0.95)
    assert option.settled == (0.0,) and option.bits[0] < 1e-12


def test_families_that_can_be_grown() -> None:
    names = [f.name for f in families_to_grow([("P1", "P2")], ["red", "orange"])]
    assert names[:6] == [
        "the F2 (F1 selfed)", "the backcross to P1", "the backcross to P2",
        "an F3 from many F2 plants, one seed each",
        "the testcross (F1 by a plant recessive in all)",
        "the cross the other way round, P2 x P1",
    ]  # fmt: skip
    assert "the offspring of one red F2 plant, selfed" in names
    assert "F3 families of 8, each from one orange F2 plant" in names
    assert families_to_grow([], ["red"]) == []
    two = [f.name for f in families_to_grow([("A", "B"), ("C", "B")], ["red"])]
    assert len(set(two)) == len(two)
    assert "the F2 of A x B (F1 selfed)" in two and "the backcross of C x B to C" in two


def test_what_is_expected_of_offspring_of_one_plant() -> None:
    """A red F2 plant under one dominant gene is AA in 1 of 3 cases; without mis-scoring."""
    one = [catalogue()["single dominant gene"], catalogue()["complementary genes"]]
    found = compare_models(
        bk.load_counts(pd.DataFrame(
            [("F1", "red", 5), ("F2", "red", 12), ("F2", "orange", 6)],
            columns=["family", "class", "count"],
        )), "class", one, scoring_error=0.0,
    )  # fmt: skip
    families = families_to_grow(found.crosses, found.classes)
    told = nextfamily._expected(found.weights, families, found.founders, found.classes, np.eye(2))
    at = [f.name for f in families].index("the offspring of one red F2 plant, selfed")
    first = np.cumsum([0, *(len(w.chances) for w in found.weights)])
    by_name = {w.name: told[i][at] for i, w in zip(first, found.weights, strict=False)}
    red = found.classes.index("red")
    single, two = by_name["single dominant gene"], by_name["complementary genes"]
    assert sorted(zip(single.shares[:, red], single.chances, strict=True)) == [
        pytest.approx((0.75, 2 / 3)), pytest.approx((1, 1 / 3)),
    ]  # fmt: skip
    # A_B_ is AABB 1, AABb 2, AaBB 2, AaBb 4 of nine
    assert sorted(zip(two.shares[:, red], two.chances, strict=True)) == [
        pytest.approx((9 / 16, 4 / 9)), pytest.approx((0.75, 4 / 9)), pytest.approx((1, 1 / 9)),
    ]  # fmt: skip


KNOWN = {"P1": {"red": 4, "orange": 0}, "P2": {"red": 0, "orange": 4},
         "F1": {"red": 6, "orange": 0}}  # fmt: skip


def test_the_backcross_to_the_hidden_class_tells_most() -> None:
    """Without the inhibitor, whose two parents both hide a gene, it is as good as a testcross."""
    two = [catalogue()[n] for n in ("single dominant gene", "complementary genes")]
    found = comparison(two, **KNOWN, F2={"red": 13, "orange": 7}).next_family()
    assert found.best.name == "the backcross to P2"
    assert found.verdict.startswith("Grow the backcross to P2: ")
    assert "the F2 (F1 selfed)" in [o.name for o in found.options]
    for option in found.options:
        assert all(b >= a - 0.05 for a, b in zip(option.bits, option.bits[1:], strict=False))
    again = comparison(two, **KNOWN, F2={"red": 13, "orange": 7}).next_family()
    assert repr(found) == repr(again)


def test_parents_that_were_not_scored_may_be_either_way_round() -> None:
    """Then no one can say which backcross hides nothing, and the testcross tells most."""
    found = comparison(F1={"red": 6, "orange": 0}, F2={"red": 13, "orange": 7}).next_family()
    bits = {o.name: o.bits for o in found.options}
    one, other = bits["the backcross to P1"], bits["the backcross to P2"]
    assert one == pytest.approx(other, abs=0.05)
    assert one[2] < bits["the testcross (F1 by a plant recessive in all)"][2] - 0.1


def test_nothing_is_open() -> None:
    one = [catalogue()["single dominant gene"]]
    found = comparison(one, F2={"red": 30, "orange": 10}).next_family()
    assert found.open_models == 1 and found.best is None
    assert "already; no family is needed" in found.verdict
    nothing = comparison(F2={"red": 0, "orange": 0}).next_family()
    assert "begin with an F2" in nothing.verdict


def test_a_family_that_tells_nothing_is_not_recommended() -> None:
    found = comparison(
        P1={"red": 4, "orange": 0}, P2={"red": 0, "orange": 4}, F1={"red": 10, "orange": 0},
        **{"BC1(P2)": {"red": 12, "orange": 11}},
    ).next_family()  # fmt: skip
    assert all(option.bits[-1] >= 0.01 for option in found.options)
    assert found.best is not None


def test_families_are_of_crosses_that_were_made() -> None:
    """Arla x Cint and Brom x Cint were made; Arla x Brom was not."""
    rows = [("Arla", "", ""), ("Brom", "", ""), ("Cint", "", ""), ("X", "Arla", "Cint"),
            ("Y", "Brom", "Cint"), ("X2", "X", "selfed")]  # fmt: skip
    looks = {"Arla": "r", "Brom": "r", "Cint": "o", "X": "r", "Y": "r", "X2": "rrrrrrro"}
    plants = pd.DataFrame([(f"{f}{i}", f, look) for f, seen in looks.items()
                           for i, look in enumerate(seen * 3)],
                          columns=["plant", "family", "colour"])  # fmt: skip
    season = bk.load_season(
        plants=plants, families=pd.DataFrame(rows, columns=["family", "female", "male"])
    )
    found = compare_models(season, "colour")
    assert found.crosses == (("Arla", "Cint"), ("Brom", "Cint"))
    names = [o.name for o in found.next_family(sizes=(20,)).options]
    assert any("Arla x Cint" in n for n in names) and not any("Arla x Brom" in n for n in names)


def test_classes_that_nobody_saw_are_not_sown() -> None:
    found = comparison(P1={"red": 6, "orange": 0}, P2={"red": 6, "orange": 0},
                       F1={"red": 8, "orange": 0}, F2={"red": 20, "orange": 0})  # fmt: skip
    assert not any("orange" in o.name for o in found.next_family().options)


def test_one_parent_alone_parts_nothing() -> None:
    found = comparison(P1={"red": 20, "orange": 0})
    assert "Cross them with another variety" in found.next_family().verdict


@pytest.mark.parametrize(
    ("wrong", "says"), [({"sizes": ()}, "at least one plant"), ({"sizes": (0,)}, "at least one"),
                        ({"sizes": (2.5,)}, "whole numbers"), ({"sizes": ("a",)}, "whole numbers"),
                        ({"sizes": (10**6,)}, "up to 1,000"),
                        ({"certainty": 1.0}, "from 0.5 up to 1")],
)  # fmt: skip
def test_bad_questions(wrong: dict, says: str) -> None:
    with pytest.raises(ModelError, match=says):
        comparison(F2={"red": 13, "orange": 7}).next_family(**wrong)
