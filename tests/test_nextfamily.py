"""The next family: chances against binomial sums, and what is said when nothing is open."""

import numpy as np
import pandas as pd
import pytest
from scipy.stats import binom

import breedkit as bk
from breedkit.compare import compare_models
from breedkit.errors import ModelError
from breedkit.models import catalogue
from breedkit.nextfamily import DRAWS, _option


def comparison(models=None, **families: dict[str, int]):
    rows = [(f, c, n) for f, counts in families.items() for c, n in counts.items()]
    season = bk.load_counts(pd.DataFrame(rows, columns=["family", "class", "count"]))
    return compare_models(season, "class", models)


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
    option = _option("F2", prior, shares, np.array([0, 1]), [n], 0.95)
    assert abs(option.settled[0] - exact) < 4 * (exact * (1 - exact) / DRAWS) ** 0.5
    assert abs(option.bits[0] - bits) < 4 / DRAWS**0.5


def test_models_that_stay_together_count_as_one() -> None:
    shares = np.array([[0.75, 0.25], [0.75, 0.25]])
    option = _option("F2", np.array([0.6, 0.4]), shares, np.array([0, 0]), [10], 0.95)
    assert option.settled == (1.0,) and option.bits == (0.0,)
    option = _option("F2", np.array([0.6, 0.4]), shares, np.array([0, 1]), [10], 0.95)
    assert option.settled == (0.0,) and option.bits[0] < 1e-12


def test_the_backcross_to_the_hidden_class_tells_most() -> None:
    found = comparison(F1={"red": 6, "orange": 0}, F2={"red": 13, "orange": 7}).next_family()
    assert found.best.name == "the backcross to P2"
    assert found.verdict.startswith("Grow the backcross to P2: ")
    assert "the F2 (F1 selfed)" in [o.name for o in found.options]
    for option in found.options:
        assert all(b >= a - 0.05 for a, b in zip(option.bits, option.bits[1:], strict=False))
    again = comparison(F1={"red": 6, "orange": 0}, F2={"red": 13, "orange": 7}).next_family()
    assert repr(found) == repr(again)


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


@pytest.mark.parametrize(
    ("wrong", "says"), [({"sizes": ()}, "at least one plant"), ({"sizes": (0,)}, "at least one"),
                        ({"certainty": 1.0}, "from 0.5 up to 1")],
)  # fmt: skip
def test_bad_questions(wrong: dict, says: str) -> None:
    with pytest.raises(ModelError, match=says):
        comparison(F2={"red": 13, "orange": 7}).next_family(**wrong)
