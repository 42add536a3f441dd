"""All models over all families: weights against quadrature, calibration, laws, odd seasons."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy import integrate, stats

import breedkit as bk
from breedkit.choices import choices_of
from breedkit.compare import compare_models, season_evidence
from breedkit.errors import ModelError, TableError
from breedkit.evidence import Evidence
from breedkit.families import parse_family
from breedkit.likelihood import draw, mis_scoring
from breedkit.models import catalogue
from breedkit.pedigree import Chosen, Selfing
from breedkit.weights import error_grid, model_shares, weigh

SEASON = Path(__file__).parent.parent / "sample_data" / "invented_season"


def tally(**families: dict[str, int]) -> bk.Season:
    rows = [(f, c, n) for f, counts in families.items() for c, n in counts.items()]
    return bk.load_counts(pd.DataFrame(rows, columns=["family", "class", "count"]))


def compare(**families: dict[str, int]):
    season = tally(**families)
    return compare_models(season, season.trait_names[0])


def weights(comparison) -> dict[str, float]:
    return {w.name: w.weight for w in comparison.weights}


# --- a second, slow route ----------------------------------------------------


def test_weights_agree_with_quadrature() -> None:
    """F1 and F2, two models by hand: shares from Punnett squares, e by adaptive quadrature."""
    f1, f2 = (5, 0), (13, 7)

    def evidence(settings: list[tuple[float, float]], copies: list[float]) -> float:
        """`settings`: share of class one in F1 and F2 for each candidate; `copies`: its prior."""

        def likelihood(e: float) -> float:
            total = 0.0
            for (a, b), share in zip(settings, copies, strict=True):
                a, b = ((1 - e) * x + e * (1 - x) for x in (a, b))
                total += share * a**5 * (1 - a) ** 0 * b**13 * (1 - b) ** 7
            return total * stats.beta.pdf(e, 1, 49)

        # breakpoints, since the prior is narrow
        return integrate.quad(likelihood, 0, 0.5, points=[0.01, 0.05, 0.1, 0.2], epsabs=0)[0]

    # one gene, by founders: AA x aa, AA x Aa, aa x Aa, Aa x Aa; shares of the dominant in F1 and
    # F2, and the prior with one founder in fifty that does not breed true
    h = 0.02
    one_untrue, two_untrue = 2 * h * (1 - h), h * h
    plain = [((1, 3 / 4), (1 - h) ** 2), ((1, 7 / 8), one_untrue / 2),
             ((1 / 2, 3 / 8), one_untrue / 2), ((3 / 4, 5 / 8), two_untrue)]  # fmt: skip
    both = [(s, p / 2) for s, p in plain] + [((1 - a, 1 - b), p / 2) for (a, b), p in plain]
    single = evidence([s for s, _ in both], [p for _, p in both])
    # complementary genes: AABB x aabb and AAbb x aaBB, either order, named either way
    pair = (1 - h) ** 2 * evidence([(1, 9 / 16), (0, 7 / 16)], [0.5, 0.5])
    season = tally(F1=dict(zip("xy", f1, strict=True)), F2=dict(zip("xy", f2, strict=True)))
    models = [catalogue()[n] for n in ("single dominant gene", "complementary genes")]
    found = weights(compare_models(season, season.trait_names[0], models))
    prior = np.array([1 / 4, 1 / 16])
    expected = prior * [single, pair] / (prior @ [single, pair])
    assert [found[m.name] for m in models] == pytest.approx(expected, rel=1e-6)


def test_the_error_grid_integrates_its_prior() -> None:
    rates, log_weights = error_grid()
    for power in range(4):  # moments of the beta density 1, 49 up to e = 1/2 (nearly all of it)
        moment = (np.exp(log_weights) * rates**power).sum()
        assert moment == pytest.approx(stats.beta.moment(power, 1, 49) if power else 1, rel=1e-9)


def test_weights_are_calibrated() -> None:
    """Seasons drawn from the priors: the top model is right as often as its weight says."""
    rng = np.random.default_rng(11)
    models = [m for m in catalogue().values() if len(m.classes) == 2 and not m.rule.lethal]
    plans = {f: parse_family(f) for f in ("P1", "P2", "F1", "F2", "BC1", "BC1(P2)")}
    sizes = {"P1": 3, "P2": 3, "F1": 4, "F2": 25, "BC1": 10, "BC1(P2)": 10}
    blank = Evidence.of(["x", "y"], plans, {f: (n, 0) for f, n in sizes.items()})
    rates, log_prior = error_grid()
    mixing = mis_scoring(rates, 2)
    genes = np.array([max(m.genes, 1) for m in models])
    prior = 4.0**-genes / np.array([(genes == g).sum() for g in genes])
    prior = prior * [choices_of(m, (False, False), 2, False).prior.sum() for m in models]
    said, right = [], []
    for _ in range(250):
        truth = int(rng.choice(len(models), p=prior / prior.sum()))
        choices = choices_of(models[truth], (False, False), 2, False)
        founder = rng.choice(len(choices.prior), p=choices.prior / choices.prior.sum())
        name = rng.integers(len(choices.names))
        one = choices.candidates(np.array([founder * len(choices.names) + name]))
        drawn = draw(blank, one, mis_scoring([rng.beta(1, 49)], 2), rng, 1)
        result = model_shares(weigh(drawn, models, mixing, log_prior, False)[0])
        said.append(result.max())
        right.append(int(result.argmax()) == truth)
    mean = float(np.mean(said))
    error = (np.sum(np.array(said) * (1 - np.array(said))) ** 0.5) / len(said)
    assert abs(np.mean(right) - mean) < 4 * error


# --- known answers -----------------------------------------------------------


def test_the_invented_season() -> None:
    season = bk.load_season(SEASON)
    colour = compare_models(season, "ripe colour")
    assert "single dominant gene is supported" in colour.verdict
    assert f"{colour.n} plants in 13 families" in colour.verdict
    assert colour.best.classes == ("red", "orange")
    assert dict(colour.best.founders) == {"P1": "AA", "P2": "aa"}
    assert colour.left_out == ("volunteers",)
    unripe = compare_models(season, "unripe colour")
    assert unripe.best.name == "recessive epistasis"
    assert unripe.best.classes == ("purple", "green", "white")


def test_a_parent_that_does_not_breed_true_is_no_lethal() -> None:
    # Aa x aa: the F1 is 1:1, its selfed seed 3:5; a carrier of a lethal would give 2:5
    found = compare(P1={"red": 1, "orange": 0}, P2={"red": 0, "orange": 5},
                    F1={"red": 12, "orange": 11}, F2={"red": 30, "orange": 50})  # fmt: skip
    assert "lethal is supported" not in found.verdict
    assert weights(found)["single dominant gene"] > weights(found)["recessive lethal"]
    alone = compare(F1={"red": 12, "orange": 11})
    assert "single dominant gene" in alone.verdict and "recessive lethal" in alone.verdict
    assert alone.standing in ("not separable", "cannot tell")


def test_nothing_was_learnt_from_parents_and_f1() -> None:
    found = compare(P1={"a": 5, "b": 0}, P2={"a": 0, "b": 5}, F1={"a": 10, "b": 0})
    assert "cannot tell" in found.verdict and "expect the same numbers here" in found.verdict
    best = found.next_family().best
    assert best is not None and best.bits[1] > 0.2


def test_parents_that_are_alike() -> None:
    five = {"red": 5, "orange": 0}
    found = compare(P1=five, P2=five, F1=five, F2={"red": 40, "orange": 0})
    assert found.best.name == "no segregation"


def test_varieties_that_nothing_comes_from_are_left_aside() -> None:
    rows = [(f, "", "") for f in "ABCDE"] + [("F1", "A", "B"), ("F2", "F1", "selfed")]
    families = pd.DataFrame(rows, columns=["family", "female", "male"])
    looks = [("A", "x", 3), ("B", "y", 3), ("C", "x", 3), ("F1", "x", 4), ("F2", "x", 15),
             ("F2", "y", 5)]  # fmt: skip
    plants = pd.DataFrame(
        [(f"{f}{c}{i}", f, c) for f, c, n in looks for i in range(n)],
        columns=["plant", "family", "t"],
    )
    found = compare_models(bk.load_season(plants=plants, families=families), "t")
    assert found.founders == ("A", "B") and found.n == 30


def test_what_one_small_family_cannot_tell() -> None:
    found = compare(F1={"red": 5, "orange": 0}, F2={"red": 13, "orange": 7})
    assert "cannot tell yet" in found.verdict and "25 plants in 2 families" in found.verdict
    assert {"single dominant gene", "complementary genes"} <= {w.name for w in found.undecided}


def test_models_that_expect_the_same_here_are_one_group() -> None:
    # in a backcross to the dominant parent alone, every model expects one class
    found = compare(**{"BC1(P1)": {"red": 12, "orange": 0}})
    assert len(found.inseparable) > 1


def test_a_swapped_family_is_said_not_to_fit() -> None:
    found = compare(
        P1={"red": 8, "orange": 0}, P2={"red": 0, "orange": 8}, F1={"red": 10, "orange": 0},
        F2={"red": 120, "orange": 60}, **{"BC1(P1)": {"red": 3, "orange": 27}},
    )  # fmt: skip
    assert "none of these fits" in found.verdict and found.worst == "BC1(P1)"


def test_mis_scoring_is_estimated() -> None:
    found = compare(
        P1={"a": 95, "b": 5}, P2={"a": 5, "b": 95}, F1={"a": 95, "b": 5},
        F2={"a": 285, "b": 115},
    )  # fmt: skip
    low, high = found.error_interval
    assert low < 0.05 < high and abs(found.error - 0.05) < 0.015


def test_both_routes_to_the_evidence_agree() -> None:
    """A register with a hidden plant that nothing was scored of says the same without it."""
    plans = {f: parse_family(f) for f in ("P1", "F1", "F2", "BC1(P2)")}
    counts = {"P1": (3, 0, 0), "F1": (4, 0, 1), "F2": (9, 2, 4), "BC1(P2)": (3, 4, 5)}
    rates, log_prior = error_grid()
    for ordered in (False, True):
        mixing = mis_scoring(rates, 3, ordered)
        plain = Evidence.of("xyz", plans, counts)
        hidden = Evidence.of("xyz", {**plans, "L": Selfing(Chosen(plans["F2"], plant="a"))}, counts)
        models = tuple(catalogue().values())
        one, other = (
            model_shares(weigh(e, models, mixing, log_prior, ordered)[0]) for e in (plain, hidden)
        )
        assert one == pytest.approx(other, rel=1e-9, abs=1e-15)


# --- laws --------------------------------------------------------------------

PLAIN = {"P1": (4, 0), "P2": (0, 4), "F1": (5, 0), "F2": (19, 8)}


def named(one: str, two: str, families: dict[str, tuple[int, int]]):
    return compare(**{f: {one: a, two: b} for f, (a, b) in families.items()})


def test_names_and_order_change_nothing() -> None:
    plain = weights(named("x", "y", PLAIN))
    flipped = weights(named("x", "y", {f: (b, a) for f, (a, b) in PLAIN.items()}))
    shuffled = weights(named("x", "y", dict(reversed(PLAIN.items()))))
    assert flipped == pytest.approx(plain, rel=1e-9)
    assert shuffled == pytest.approx(plain, rel=1e-9)


def test_splitting_a_family_changes_nothing() -> None:
    plants = [(f"{f}{i}", f, "x" if i < a else "y") for f, (a, b) in PLAIN.items()
              for i in range(a + b)]  # fmt: skip
    register = [("P1", "", ""), ("P2", "", ""), ("F1", "P1", "P2"), ("F2", "F1", "selfed")]

    def run(rows, families):
        season = bk.load_season(
            plants=pd.DataFrame(rows, columns=["plant", "family", "t"]),
            families=pd.DataFrame(families, columns=["family", "female", "male"]),
        )
        return weights(compare_models(season, "t"))

    half = [(p, "F2b" if f == "F2" and i % 2 else f, t) for i, (p, f, t) in enumerate(plants)]
    one = run(plants, register)
    assert run(half, [*register, ("F2b", "F1", "selfed")]) == pytest.approx(one, rel=1e-9)


# --- options -----------------------------------------------------------------


def test_a_testcross_counts_as_a_cross_to_the_recessive() -> None:
    known = {"F1": {"red": 6, "orange": 0}, "F2": {"red": 20, "orange": 9}}
    tested = compare(**known, testcross={"red": 14, "orange": 15})
    assert tested.left_out == () and "testcross" in tested.families
    untested = compare(**known)
    assert tested.best.name == "single dominant gene"
    assert tested.best.weight > untested.best.weight
    assert dict(tested.best.founders)["tester"] == "aa"
    own = [bk.InheritanceModel.from_rule({"A_": "x", "aa": "y"})]
    season = tally(**known, testcross={"red": 14, "orange": 15})
    found = compare_models(season, "class", own)  # nobody says that aa is its recessive
    assert found.left_out == () and found.best.founders[-1] == ("tester", "aa")


def test_open_shares_agree_with_quadrature() -> None:
    """F2 of 30 shown and 30 not: 3/4 p shown, p from 0 to 1; and 3/4 beside 1/4 v living."""
    season = tally(F1={"x": 9, "y": 0}, F2={"x": 30, "y": 10}, **{"BC1(P2)": {"x": 12, "y": 13}})
    plain = catalogue()["single dominant gene"]
    hiding, ailing = (
        plain.with_penetrance("dominant", "recessive"),
        plain.with_viability("recessive"),
    )
    found = compare_models(season, "class", [hiding, ailing, plain], scoring_error=0.0)
    evidence = {w.name: np.exp(w.log_evidence) for w in found.weights}
    # no slips, so the F1 says that x is dominant, and the parents are AA and aa, in either order,
    # unless one is Aa: founders as in the quadrature above; here every pair is summed by hand
    h = 0.02

    def by_hand(chance) -> float:
        """chance(share of A_ or Aa in F1, F2, backcross to aa) integrated; pairs by prior."""
        total = 0.0
        for one, other, prior in [
            ("AA", "aa", (1 - h) ** 2 / 2), ("aa", "AA", (1 - h) ** 2 / 2),
            *((a, b, 2 * h * (1 - h) / 4) for a, b in
              [("AA", "Aa"), ("Aa", "AA"), ("aa", "Aa"), ("Aa", "aa")]), ("Aa", "Aa", h * h),
        ]:  # fmt: skip
            a, b = ({"AA": 1, "Aa": 0.5, "aa": 0}[g] for g in (one, other))
            f1 = [a * b, a * (1 - b) + b * (1 - a), (1 - a) * (1 - b)]
            f2 = [f1[0] + f1[1] / 4, f1[1] / 2, f1[2] + f1[1] / 4]
            gamete = f1[0] + f1[1] / 2
            back = [gamete * b, gamete * (1 - b) + b * (1 - gamete), (1 - gamete) * (1 - b)]
            total += prior / 2 * sum(
                integrate.quad(lambda v, rows=(f1, f2, back), n=named: chance(v, rows, n), 0, 1,
                               epsabs=0, epsrel=1e-9)[0]
                for named in (0, 1)
            )  # fmt: skip
        return total

    counts = [(9, 0), (30, 10), (12, 13)]

    def shown(v: float, rows, named: int) -> float:
        total = 1.0
        for row, (x, y) in zip(rows, counts, strict=True):
            share = (row[0] + row[1]) * v
            share = 1 - share if named else share
            total *= share**x * (1 - share) ** y
        return total

    assert evidence[hiding.name] == pytest.approx(by_hand(shown), rel=1e-6)
    assert found.weights[0].name == plain.name
    best = next(w for w in found.weights if w.name == hiding.name)
    assert best.share > 0.9


def test_a_skewed_family_is_explained_by_plants_that_died() -> None:
    """Half of the recessives live: 6:1 in the F2, 2:1 in the backcross to the recessive."""
    found = compare(P1={"red": 30, "orange": 0}, P2={"red": 0, "orange": 30},
                    F1={"red": 40, "orange": 0}, F2={"red": 420, "orange": 70},
                    **{"BC1(P2)": {"red": 280, "orange": 140}})  # fmt: skip
    assert "none of these fits" in found.verdict
    assert found.remedy.model.ailing == "recessive"
    assert abs(found.remedy.share - 1 / 2) < 0.1
    said = " ".join(found.notes)
    assert "Single dominant gene would fit if about" in said
    assert "of the orange plants live until they are scored" in said
    model = catalogue()["single dominant gene"].with_viability("recessive")
    season = tally(P1={"red": 30, "orange": 0}, P2={"red": 0, "orange": 30},
                   F1={"red": 40, "orange": 0}, F2={"red": 420, "orange": 70},
                   **{"BC1(P2)": {"red": 280, "orange": 140}})  # fmt: skip
    again = compare_models(season, "class", [model, *catalogue().values()])
    assert again.best.model == model and again.misfit > 0.05
    assert "recessive plants die off is supported" in again.verdict


def test_mis_scoring_known_from_plants_scored_twice() -> None:
    season = tally(F1={"red": 9, "orange": 1}, F2={"red": 30, "orange": 14})
    by_rate = compare_models(season, "class", scoring_error=0.1)
    table = pd.DataFrame([[0.9, 0.1], [0.1, 0.9]], ["red", "orange"], ["red", "orange"])
    by_table = compare_models(season, "class", scoring_error=table)
    assert weights(by_table) == pytest.approx(weights(by_rate), rel=1e-12)
    assert by_table.error == pytest.approx(0.1) and "as given" in str(by_table)
    # one way only: red is never taken for orange, so the F1 has an orange plant
    table = pd.DataFrame([[1.0, 0.0], [0.2, 0.8]], ["red", "orange"], ["red", "orange"])
    one_way = compare_models(season, "class", scoring_error=table)
    assert weights(one_way) != pytest.approx(weights(by_rate), rel=1e-3)
    with pytest.raises(ModelError, match="lacks 'red'"):
        compare_models(season, "class", scoring_error=table.drop(index="red"))
    with pytest.raises(ModelError, match="each row totals 1"):
        compare_models(season, "class", scoring_error=table * 2)


def test_classes_that_nobody_saw_are_no_hindrance() -> None:
    plants = pd.DataFrame(
        {
            "plant": [f"p{i}" for i in range(28)],
            "family": ["P1"] * 4 + ["P2"] * 4 + ["F2"] * 20,
            "colour": ["red"] * 4 + ["orange"] * 4 + ["red"] * 15 + ["orange"] * 5,
        }
    )
    traits = pd.DataFrame(
        {
            "trait": ["colour"],
            "kind": ["class"],
            "classes": ["red|orange|brown|yellow|ivory|violet|black|green"],
        }
    )
    season = bk.load_season(plants=plants, traits=traits)
    found = compare_models(season, "colour")
    assert len(found.classes) == 6 and {"red", "orange"} <= set(found.classes)
    assert found.best.name == "single dominant gene"


def test_many_parents_leave_out_the_largest_models_and_say_so() -> None:
    rows = [(f"V{i}", "", "") for i in range(7)]
    rows += [(f"H{i}", f"V{i}", f"V{i + 1}") for i in range(6)]
    families = pd.DataFrame(rows, columns=["family", "female", "male"])
    names = [f"p{i}" for i in range(3 * len(rows))]
    plants = pd.DataFrame({"plant": names, "family": [r[0] for r in rows for _ in range(3)],
                           "colour": ["red", "red", "orange"] * len(rows)})  # fmt: skip
    found = compare_models(bk.load_season(plants=plants, families=families), "colour")
    assert "triplicate genes" in found.too_many and "single dominant gene" not in found.too_many
    assert any("Not tried, since 7 parents" in note for note in found.notes)


# --- what would be wrong certainty ---------------------------------------------


def test_a_failed_cross_is_no_maternal_inheritance() -> None:
    """All like the mother: the cross may just have failed. The other way round tells."""
    known = {"P1": {"red": 6, "orange": 0}, "P2": {"red": 0, "orange": 6}}
    one_way = compare(**known, F1={"red": 10, "orange": 0}, F2={"red": 40, "orange": 0})
    assert one_way.best.name == "maternal inheritance" and one_way.standing == "cannot tell"
    assert "seed of the mother's own pollen would look the same" in one_way.verdict


def test_the_order_of_rows_and_classes_draws_the_same_seasons() -> None:
    families = {"P1": (6, 0), "P2": (0, 6), "F1": (8, 0), "F2": (40, 11), "BC1(P2)": (24, 8)}
    found = set()
    for order in (1, -1):
        for classes in (("red", "orange"), ("orange", "red")):
            rows = [(f, c, families[f][("red", "orange").index(c)])
                    for f in list(families)[::order] for c in classes]  # fmt: skip
            frame = pd.DataFrame(rows, columns=["family", "class", "count"])
            found.add(round(compare_models(bk.load_counts(frame), "class").misfit, 9))
    assert len(found) == 1


def test_classes_declared_but_unseen_lift_no_rule_without_a_name() -> None:
    looks = {"P1": "r" * 5, "P2": "o" * 5, "F1": "r" * 6, "F2": "r" * 23 + "o" * 17}
    word = {"r": "red", "o": "orange"}
    rows = [(f"{f}-{i}", f, word[c]) for f, seen in looks.items() for i, c in enumerate(seen)]
    plants = pd.DataFrame(rows, columns=["plant", "family", "colour"])

    def other(classes: str) -> float:
        traits = pd.DataFrame({"trait": ["colour"], "kind": ["class"], "classes": [classes]})
        found = compare_models(bk.load_season(plants=plants, traits=traits), "colour")
        return sum(w.weight for w in found.weights if w.together > 1)

    few, many = other("red|orange"), other("red|orange|brown|ivory|violet|green")
    assert many < few + 0.05


def test_one_far_slip_does_not_decide_an_ordered_trait() -> None:
    looks = {"P1": (10, 0, 1), "P2": (0, 0, 10), "F1": (0, 12, 0), "F2": (25, 50, 25)}
    classes = ("none", "mild", "hot")
    rows = [(f"{f}-{c}-{i}", f, c) for f, row in looks.items()
            for c, n in zip(classes, row, strict=True) for i in range(n)]  # fmt: skip
    plants = pd.DataFrame(rows, columns=["plant", "family", "burn"])
    traits = pd.DataFrame({"trait": ["burn"], "kind": ["ordered"], "classes": ["none|mild|hot"]})
    found = compare_models(bk.load_season(plants=plants, traits=traits), "burn")
    assert found.best.name == "incomplete dominance"


def test_a_parent_grown_from_seed_segregates_if_it_does_not_breed_true() -> None:
    # Aa x aa, P1 from its own seed 3:1, the F1 1:1, its selfed seed 3:5
    found = compare(P1={"red": 15, "orange": 5}, P2={"red": 0, "orange": 12},
                    F1={"red": 10, "orange": 10}, F2={"red": 30, "orange": 50})  # fmt: skip
    assert found.best.name == "single dominant gene"
    assert dict(found.best.founders) == {"P1": "Aa", "P2": "aa"}


def test_models_that_cannot_be_compared() -> None:
    season = tally(F2={"x": 6, "y": 3})
    linked = bk.InheritanceModel.from_rule(
        {"A_B_": "x", "A_bb": "y", "aa__": "y"}, "linked", ("AB/AB", "ab/ab"), (0.1,)
    )
    with pytest.raises(ModelError, match="Only unlinked genes"):
        compare_models(season, "class", [linked])
    for odd in ([], ["single dominant gene"]):
        with pytest.raises(ModelError, match="as a list"):
            compare_models(season, "class", odd)
    by_dict = compare_models(season, "class", catalogue())
    assert weights(by_dict) == weights(compare_models(season, "class", list(catalogue().values())))
    for odd in ("0.02", np.zeros((2, 2))):
        with pytest.raises(ModelError, match="rate such as 0.02"):
            compare_models(season, "class", scoring_error=odd)
    impossible = compare_models(tally(F1={"x": 3, "y": 3}), "class",
                                [catalogue()["maternal inheritance"]], 0.0)  # fmt: skip
    assert impossible.standing == "none fits"


# --- odd seasons -------------------------------------------------------------


def test_odd_seasons_have_defined_answers() -> None:
    assert "nothing was scored" in compare(F2={"x": 0, "y": 0}).verdict
    one = compare(F2={"x": 1, "y": 0})
    assert "cannot tell yet" in one.verdict and "1 plant in one family" in one.verdict
    only = compare(F2={"x": 40, "y": 12})
    assert "in one family" in only.verdict
    twelve = compare(F2={f"c{i}": 3 for i in range(12)})
    assert twelve.best is None and "no model in the catalogue has such classes" in twelve.verdict


def test_a_class_that_a_model_cannot_make_is_mis_scored() -> None:
    found = compare(F1={"red": 9, "orange": 0, "odd": 0}, F2={"red": 60, "orange": 19, "odd": 1})
    assert weights(found)["single dominant gene"] > 0.5
    exact = compare_models(tally(F2={"x": 3, "y": 1}), "class", scoring_error=0.0)
    assert exact.fixed_error and exact.error == 0


@pytest.mark.parametrize("error", [-0.1, 0.7])
def test_bad_rates(error: float) -> None:
    with pytest.raises(ModelError, match="0 to 0.5"):
        compare_models(bk.load_season(SEASON), "ripe colour", scoring_error=error)


def test_bad_traits() -> None:
    with pytest.raises(TableError):
        compare_models(bk.load_season(SEASON), "fruit weight")


def test_display() -> None:
    nasty = "<img src=x onerror=alert(1)>"
    found = compare(F2={nasty: 13, "orange": 7})
    assert "<img" not in found._repr_html_() and repr(found) == repr(found)
    assert list(found.table()["weight"]) == [w.weight for w in found.weights]


def test_a_parent_plant_named_by_family_and_code_brings_its_look_along() -> None:
    rows = [(i, "F2", c) for i, c in enumerate("rrrrro", 1)]
    rows += [(i, "F1", "r") for i in range(1, 5)] + [
        (i, "line", c) for i, c in enumerate("rrro", 1)
    ]
    plants = pd.DataFrame(rows, columns=["plant", "family", "colour"])
    families = pd.DataFrame(
        [("P1", "", ""), ("P2", "", ""), ("F1", "P1", "P2"), ("F2", "F1", "selfed"),
         ("line", "F2 4", "selfed")], columns=["family", "female", "male"],
    )  # fmt: skip
    evidence, left_out = season_evidence(bk.load_season(plants=plants, families=families), "colour")
    assert left_out == () and evidence.n == 14
    assert [evidence.classes[look] for look in evidence.scores.values()] == ["r"]
