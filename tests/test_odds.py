"""What each plant carries: by hand, against all genotypes written out, and calibrated."""

import itertools
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.special import betaln

import breedkit as bk
from breedkit.carriers import in_words
from breedkit.choices import choices_of
from breedkit.compare import compare_models, season_evidence
from breedkit.errors import ModelError, TableError
from breedkit.likelihood import Engine, mis_scoring
from breedkit.models import InheritanceModel, catalogue
from breedkit.odds import plant_odds
from breedkit.posterior import posterior
from breedkit.weights import error_grid

SAMPLE = Path(__file__).parent.parent / "sample_data" / "invented_season"

REGISTER = [("P1", "", ""), ("P2", "", ""), ("F1", "P1", "P2"), ("F2", "F1", "selfed"),
            ("A", "F2-1", "selfed"), ("B", "F2-2", "P2"), ("C", "F2-1", "F2-3")]  # fmt: skip


def season(rows: list[tuple[str, str, str | None]], register=REGISTER, **traits) -> bk.Season:
    """A season of (plant, family, colour)."""
    plants = pd.DataFrame(rows, columns=["plant", "family", "colour"])
    families = pd.DataFrame(register, columns=["family", "female", "male"])
    return bk.load_season(plants=plants, families=families, **traits)


def grown(**families: str) -> bk.Season:
    """A season from strings: r is red, o orange, g green, - not scored."""
    words = {"r": "red", "o": "orange", "g": "green", "-": None}
    known = "red|orange|green" if "g" in "".join(families.values()) else "red|orange"
    return season([(f"{f}-{i}", f, words[x]) for f, row in families.items()
                   for i, x in enumerate(row, 1)],
                  traits=pd.DataFrame({"trait": ["colour"], "classes": [known]}))  # fmt: skip


# --- a second, slow route: every genotype of every plant ----------------------

GENOTYPES = ("AA", "Aa", "aa")
TRUE = [("AA", "aa"), ("aa", "AA")]
ONE_UNTRUE = [("Aa", "AA"), ("Aa", "aa"), ("AA", "Aa"), ("aa", "Aa")]
# one founder in fifty does not breed true, and they differ in the gene
FOUNDERS = {
    **dict.fromkeys(TRUE, 0.98**2 / 2),
    **dict.fromkeys(ONE_UNTRUE, 2 * 0.98 * 0.02 / 4),
    ("Aa", "Aa"): 0.02**2,
}


def mendel(mother: str, father: str) -> dict[str, float]:
    found = dict.fromkeys(GENOTYPES, 0.0)
    for egg, pollen in itertools.product(mother, father):
        found["".join(sorted(egg + pollen))] += 1 / 4
    return found


def family_shares(family: str, told: dict[str, str]) -> dict[str, float]:
    """Shares of the genotypes in a family of `REGISTER`, given the plants it comes from."""
    f1 = mendel(told["P1"], told["P2"])
    if family == "F1":
        return f1
    if family == "F2":  # each from an F1 plant of its own
        return {g: sum(share * mendel(x, x)[g] for x, share in f1.items()) for g in GENOTYPES}
    pairs = {"A": ("F2-1", "F2-1"), "B": ("F2-2", "P2"), "C": ("F2-1", "F2-3")}
    mother, father = pairs[family]
    return mendel(told[mother], told[father])


def written_out(scores: dict[str, str | None]) -> tuple[dict[str, np.ndarray], float]:
    """P(genotype) of each plant by a sum over all there is to be known; expected mis-scoring.

    AA and Aa are one colour and aa the other, either way round. e is beta(1, 49), so that the
    chance of m slips in n scores is B(1 + m, 49 + n - m) / B(1, 49), but for e above 1/2, where
    there is 2e-15 of it.
    """
    names = list(scores)
    found, total, error = {name: np.zeros(3) for name in names}, 0.0, 0.0
    n = sum(colour is not None for colour in scores.values())
    slips_in_n = np.exp([betaln(1 + m, 49 + n - m) - betaln(1, 49) for m in range(n + 1)])
    for (pair, prior), colours in itertools.product(
        FOUNDERS.items(), [("red", "orange"), ("orange", "red")]
    ):
        todo = [(dict(zip(("P1", "P2"), pair, strict=True)), prior, 0)]
        for name in names:
            todo = [
                ({**told, name: g}, chance * share,
                 slips + (scores[name] not in (None, colours[int(g == "aa")])))
                for told, chance, slips in todo
                for g, share in family_shares(name.split("-")[0], told).items()
                if share
            ]  # fmt: skip
        for told, chance, slips in todo:
            whole = chance * slips_in_n[slips]
            total += whole
            error += whole * (1 + slips) / (50 + n)
            for name in names:
                found[name][GENOTYPES.index(told[name])] += whole
    return {name: row / total for name, row in found.items()}, error / total


@pytest.mark.parametrize(
    "families",
    [
        {"F2": "rrro", "A": "rro"},
        {"F2": "rr-r", "A": "rr", "B": "oo"},
        {"F2": "roro", "A": "r-", "C": "o"},
        {"F1": "rr", "F2": "-r-", "C": "rr", "A": "r"},
        {"F2": "ooo", "A": "o", "B": "oo"},
    ],
)
def test_odds_are_those_of_all_genotypes_written_out(families) -> None:
    """Founders, names of the classes and mis-scoring unknown, as in the comparison."""
    odds = plant_odds(grown(**families), "colour", "single dominant gene")
    scores = {f"{f}-{i}": {"r": "red", "o": "orange", "-": None}[x]
              for f, row in families.items() for i, x in enumerate(row, 1)}  # fmt: skip
    slow, error = written_out(scores)
    table = odds.table().set_index("plant")
    assert odds.error == pytest.approx(error, abs=1e-9)
    for name, expected in slow.items():
        row = table.loc[name]
        assert [row.get(g, 0.0) for g in GENOTYPES] == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("single dominant gene", "ro"), ("incomplete dominance", "rog"),
        ("recessive epistasis", "rog"), ("duplicate genes", "ro"), ("complementary genes", "ro"),
    ],
)  # fmt: skip
def test_candidates_put_together_are_as_every_one_alone(name: str, words: str) -> None:
    """Every candidate with its own letters, at every rate, one by one; what plants carry and
    whether they breed true does not hang on letters."""
    rng = np.random.default_rng(1)
    families = {"P1": "r", "P2": "o", "F2": "rr" + words, "A": "", "B": "", "C": ""}
    families |= {f: families[f] + "".join(rng.choice(list(words), 3)) for f in ("F2", "A", "C")}
    here = grown(**families)
    odds = plant_odds(here, "colour", name)
    evidence, _ = season_evidence(here, "colour", whole=True)
    k = len(evidence.classes)
    choices = choices_of(catalogue()[name], (False, False), k, False)
    rates, log_prior = error_grid()
    mixing = mis_scoring(rates, k)
    carries, true, total = np.zeros((len(odds.plants), k)), np.zeros(len(odds.plants)), 0.0
    for number, prior in enumerate(choices.each_prior):
        one = choices.candidates(np.array([number]))
        found = posterior(evidence, one, mixing)
        weight = np.exp(found.log_likelihood[0] + log_prior) * prior
        selfing, looks = Engine.of(one.genome).selfing, one.looks[0]
        gives = np.array([[(selfing[g] > 0)[looks == c].any() for c in range(k)]
                          for g in range(len(looks))])  # fmt: skip
        row = {node: i for i, node in enumerate(evidence.counts)}
        for i, (plant, family, seen) in enumerate(
            zip(odds.plants, odds.families, odds.seen, strict=True)
        ):
            code = evidence.classes.index(seen)
            own = found.sibs[0, :, row[evidence.families[family]], code]
            if plant in evidence.plants:
                own = found.plants[0, :, :, evidence.structure.at[evidence.plants[plant]]]
            mean = weight @ own
            carries[i] += mean @ gives
            true[i] += mean @ ((gives.sum(axis=1) == 1) & gives[:, code] & (looks == code))
        total += weight.sum()
    assert odds.carries == pytest.approx(carries / total, abs=1e-10)
    assert odds.true == pytest.approx(true / total, abs=1e-10)


# --- known answers -------------------------------------------------------------


def test_two_in_three_red_f2_plants_carry_orange() -> None:
    # Mendel 1866 (from memory): of the dominants of an F2 two in three do not breed true.
    # The more plants say that scoring is right, the nearer the chance comes to it.
    odds = plant_odds(grown(P1="r" * 40, P2="o" * 40, F1="r" * 40, F2="r" * 150 + "o" * 50),
                      "colour", "single dominant gene")  # fmt: skip
    table = odds.table()
    red = table[(table["family"] == "F2") & (table["seen"] == "red")]
    assert red["carries orange"].to_numpy() == pytest.approx(2 / 3, abs=0.003)
    assert red["breeds true"].to_numpy() == pytest.approx(1 / 3, abs=0.003)
    assert odds.founders["P1"][0] == "AA" and odds.founders["P2"][0] == "aa"
    told = odds.plant("F2-17")
    assert told.verdict == "F2-17 is red; it carries orange unseen with chance 2 in 3 (67 %)."
    one = odds.plant("F2-199").verdict
    assert one.startswith("F2-199 is orange; it breeds true for it with chance 98 %")


def test_ten_red_offspring_make_a_red_plant_likely_fixed() -> None:
    # Fisher 1936 (from memory): (3/4)^10 = 0.0563, so of reds with ten red offspring
    # 2 x 0.0563 / (1 + 2 x 0.0563) = 0.1012 carry orange all the same
    odds = plant_odds(grown(P1="r" * 99, P2="o" * 99, F1="r" * 99, F2="r" * 3 + "o", A="r" * 10),
                      "colour", "single dominant gene")  # fmt: skip
    expected = 2 * 0.75**10 / (1 + 2 * 0.75**10)
    assert expected == pytest.approx(0.1012, abs=5e-5)
    assert odds.table().set_index("plant").loc["F2-1", "carries orange"] == pytest.approx(
        expected, abs=0.005
    )


def test_two_genes_are_asked_together() -> None:
    """Recessive epistasis: of 9 purple 1 AABB, 2 AABb, 2 AaBB, 4 AaBb."""
    rows = [*((f"P1-{i}", "P1", "purple") for i in range(60)),
            *((f"P2-{i}", "P2", "white") for i in range(60)),
            *((f"F1-{i}", "F1", "purple") for i in range(60))]  # fmt: skip
    sixteen = ["purple"] * 9 + ["green"] * 3 + ["white"] * 4
    rows += [(f"F2-{i}", "F2", c) for i, c in enumerate(sixteen * 5)]
    register = REGISTER[:4]
    odds = plant_odds(season(rows, register), "colour", "recessive epistasis")
    f2 = odds.table().set_index("plant")
    purple, green, white = (f2.loc[f"F2-{i}"] for i in (0, 9, 12))
    found = [purple[g] for g in ("AABB", "AABb", "AaBB", "AaBb")]
    assert found == pytest.approx(np.array([1, 2, 2, 4]) / 9, abs=0.005)
    assert [green[g] for g in ("AAbb", "Aabb")] == pytest.approx([1 / 3, 2 / 3], abs=0.01)
    quarters = [white[g] for g in ("aaBB", "aaBb", "aabb")]
    assert quarters == pytest.approx([0.25, 0.5, 0.25], abs=0.005)
    # 6 of 9 purple carry green and 6 of 9 white; white hides B but breeds true for white
    assert purple["carries green"] == pytest.approx(6 / 9, abs=0.005)
    assert purple["carries white"] == pytest.approx(6 / 9, abs=0.005)
    assert purple["breeds true"] == pytest.approx(1 / 9, abs=0.005)
    assert white["breeds true"] > 0.99 and np.isnan(white["carries white"])
    alleles = odds.alleles().set_index("plant").loc["F2-12"]
    assert alleles["B"] == pytest.approx(0.75, abs=0.005) and alleles["A"] < 0.01


def test_letters_are_those_of_the_likeliest_candidate() -> None:
    """Incomplete dominance is the same with A and a changed; the founders' letters do not mix."""
    f2 = ["red"] * 5 + ["pink"] * 10 + ["white"] * 5
    grown_here = {"P1": ["red"] * 9, "P2": ["white"] * 9, "F1": ["pink"] * 9, "F2": f2}
    rows = [(f"{f}-{i}", f, c) for f, colours in grown_here.items() for i, c in enumerate(colours)]
    odds = plant_odds(season(rows, REGISTER[:4]), "colour", "incomplete dominance")
    table = odds.table().set_index("plant")
    founders = {f: g for f, (g, _) in odds.founders.items()}
    assert {founders["P1"], founders["P2"]} == {"AA", "aa"}
    for plant, genotype in [("F2-0", founders["P1"]), ("F2-5", "Aa"), ("F2-19", founders["P2"])]:
        assert table.loc[plant, genotype] > 0.97
    assert table.loc["F2-5", "breeds true"] < 0.03 < 0.97 < table.loc["F2-0", "breeds true"]


def test_the_dead_are_not_offspring() -> None:
    """A recessive lethal: carriers give 2 carriers to 1 plain, and never breed true."""
    rows = [(f"F-{i}", "F", c) for i, c in enumerate(["carrier"] * 20 + ["plain"] * 10)]
    register = [("P", "", ""), ("F", "P", "selfed")]
    odds = plant_odds(season(rows, register), "colour", "recessive lethal")
    table = odds.table().set_index("plant")
    assert "AA" not in table.columns
    assert table.loc["F-0", "carries plain"] > 0.99 and table.loc["F-0", "breeds true"] < 0.01
    assert table.loc["F-29", "breeds true"] > 0.95


# --- calibration: truth drawn from the priors ------------------------------------


def drawn_season(
    rng: np.random.Generator,
) -> tuple[bk.Season, dict[str, str], tuple[str, str]]:
    """A season drawn by Mendel's laws, founders, naming and slips from the priors.

    With it the truth: the genotypes, and the colours of A_ and of aa.
    """
    pairs = list(FOUNDERS)
    pair = pairs[rng.choice(len(pairs), p=np.array(list(FOUNDERS.values())))]
    colours = [("red", "orange"), ("orange", "red")][rng.integers(2)]
    error, told, rows = rng.beta(1, 49), dict(zip(("P1", "P2"), pair, strict=True)), []
    sizes = {"F1": 2, "F2": 12, "A": rng.integers(9), "B": rng.integers(5), "C": rng.integers(6)}
    for family, size in sizes.items():
        shares = family_shares(family, told)
        for i in range(1, size + 1):
            truth = str(rng.choice(list(shares), p=list(shares.values())))
            colour = colours[int(truth == "aa")]
            if rng.random() < error:
                colour = colours[int(truth != "aa")]
            told[f"{family}-{i}"] = truth
            rows.append((f"{family}-{i}", family, colour if rng.random() < 0.9 else None))
    traits = pd.DataFrame({"trait": ["colour"], "classes": ["red|orange"]})
    return season(rows, traits=traits), told, colours


def calibrated(seasons: int, seed: int) -> dict[str, tuple[int, float, float]]:
    """Per range of the chance to carry: plants, mean of (does - chance), its standard error.

    Plants of one season go together, so the error is that of sums over seasons.
    """
    rng = np.random.default_rng(seed)
    edges = np.array([0, 0.05, 0.2, 0.4, 0.6, 0.7, 0.8, 0.95, 1 + 1e-9])
    sums, sizes = np.zeros((seasons, len(edges) - 1)), np.zeros(len(edges) - 1)
    for s in range(seasons):
        grown_here, told, colours = drawn_season(rng)
        table = plant_odds(grown_here, "colour", "single dominant gene").table()
        for colour, allele in zip(colours, "Aa", strict=True):
            for plant, chance in table[["plant", f"carries {colour}"]].dropna().to_numpy():
                at = int(np.searchsorted(edges, chance, side="right")) - 1
                sums[s, at] += (allele in told[plant]) - chance
                sizes[at] += 1
    errors = (sums**2).sum(axis=0) ** 0.5
    return {
        f"{a:.2f} to {b:.2f}": (int(n), float(row.sum() / max(n, 1)), float(error / max(n, 1)))
        for a, b, n, row, error in zip(edges, edges[1:], sizes, sums.T, errors, strict=False)
    }


def within_four_errors(found: dict[str, tuple[int, float, float]]) -> None:
    for where, (n, mean, error) in found.items():
        assert n == 0 or abs(mean) <= 4 * error + 1e-3, (where, n, mean, error)
    assert found["0.60 to 0.70"][0] > 100


def test_of_plants_said_to_carry_with_a_chance_that_many_do() -> None:
    within_four_errors(calibrated(seasons=120, seed=3))


@pytest.mark.slow
def test_of_many_plants_said_to_carry_with_a_chance_that_many_do() -> None:
    within_four_errors(calibrated(seasons=1500, seed=4))


# --- laws --------------------------------------------------------------------------


def both_ways(odds_one, odds_other, rename: dict[str, str]) -> None:
    one = odds_one.table().set_index("plant").drop(columns="seen")
    other = odds_other.table().set_index("plant").drop(columns="seen").rename(columns=rename)
    other = other.loc[one.index, one.columns]
    numbers = one.columns[1:]
    assert one[numbers].to_numpy() == pytest.approx(
        other[numbers].to_numpy(), abs=1e-12, nan_ok=True
    )


FAMILIES = {"P1": "rr", "F1": "rr", "F2": "rr-rorrr", "A": "rrro", "B": "r-o", "C": "rr"}


def test_other_names_of_the_classes_and_another_order_of_rows_change_nothing() -> None:
    plain = grown(**FAMILIES)
    words = {"red": "orange", "orange": "red"}
    rows = [tuple(row) for row in plain.plants.astype(object).itertuples(index=False)]
    swapped = season([(p, f, words.get(c)) for p, f, c in rows])
    shuffled = season([(p, f, c if isinstance(c, str) else None) for p, f, c in rows[::-1]])
    odds = plant_odds(plain, "colour", "single dominant gene")
    both_ways(odds, plant_odds(shuffled, "colour", "single dominant gene"), {})
    both_ways(odds, plant_odds(swapped, "colour", "single dominant gene"),
              {"carries red": "carries orange", "carries orange": "carries red"})  # fmt: skip


def test_chances_total_one_and_classes_are_complete() -> None:
    odds = plant_odds(grown(**FAMILIES), "colour", "single dominant gene")
    assert odds.chances.sum(axis=1) == pytest.approx(1, abs=1e-10)
    # of one dominant gene: a plant breeds true for what it was seen as, or carries the other
    table = odds.table()
    for seen, other in [("red", "orange"), ("orange", "red")]:
        own = table[table["seen"] == seen]
        assert (own["breeds true"] + own[f"carries {other}"]).to_numpy() == pytest.approx(1)


def test_the_average_over_models_lies_between_them() -> None:
    here = grown(P1="rrr", P2="ooo", F1="rrr", F2="rrrrrorrrooo")
    compared = compare_models(here, "colour")
    averaged = plant_odds(here, "colour")
    weight, total = np.zeros(len(averaged.plants)), 0.0
    for each in compared.weights:
        if each.together == 1 and each.weight >= 1e-3:
            weight += each.weight * plant_odds(here, "colour", each.model).true
            total += each.weight
    others = [w for w in compared.weights if w.together > 1 and w.weight >= 1e-3]
    rest = sum(w.weight for w in others)
    assert (averaged.true * (total + rest) - weight >= -1e-9).all()
    assert (averaged.true * (total + rest) - weight <= rest + 1e-9).all()
    assert averaged.genotypes == () and len(averaged.weights) > 2
    assert "over all models by weight" in averaged.verdict


def test_a_comparison_is_its_best_model_and_its_mis_scoring() -> None:
    here = grown(**FAMILIES)
    given = compare_models(here, "colour", [catalogue()["single dominant gene"]], 0.0)
    odds = plant_odds(here, "colour", given)
    assert odds.error == 0 and odds.model == "single dominant gene"
    assert odds.plant("F2-5").true == pytest.approx(1, abs=1e-12)  # orange, and no slip
    averaged = plant_odds(here, "colour", compare_models(
        here, "colour", [catalogue()["single dominant gene"]]))  # fmt: skip
    assert averaged.error > 0 and averaged.plant("F2-5").true < 0.999
    both_ways(averaged, plant_odds(here, "colour", catalogue()["single dominant gene"]), {})


def test_a_model_that_is_not_settled_says_so() -> None:
    here = grown(F2="rrrrrorrrooo")
    odds = plant_odds(here, "colour", compare_models(here, "colour"))
    assert any("has not settled" in note for note in odds.notes)


def test_linked_genes_are_followed_as_unlinked_and_it_is_said() -> None:
    rule = {"A_B_": "red", "A_bb": "orange", "aa__": "orange"}
    linked = InheritanceModel.from_rule(rule, "linked", ("AB/AB", "ab/ab"), [0.1])
    odds = plant_odds(grown(P1="rr", P2="oo", F2="rrroo"), "colour", linked)
    assert "as if they were not" in odds.notes[0]


def test_families_without_scores_are_asked_too() -> None:
    odds = plant_odds(grown(F2="rrro", A="---", B="-"), "colour", "single dominant gene")
    table = odds.table().set_index("plant")
    assert table["family"].value_counts()["A"] == 3
    parent = table.loc["F2-1"]
    # the F3 of a plant that is AA, Aa, aa: of its offspring half the heterozygotes stay so
    assert table.loc["A-2", "Aa"] == pytest.approx(parent["Aa"] / 2, abs=1e-12)


def test_penetrance_and_losses_are_models_too() -> None:
    hidden = catalogue()["single dominant gene"].with_penetrance("recessive", "dominant", 0.5)
    odds = plant_odds(grown(P1="r" * 9, P2="oooorrrr", F1="r" * 9, F2="rrrrrrro"), "colour", hidden)
    table = odds.table().set_index("plant")
    # half of the recessives look dominant: of 3 + 1/2 that look so 1/2 are recessive
    assert table.loc["F2-1", "aa"] == pytest.approx(1 / 7, abs=0.02)
    assert table.loc["P2-5", "aa"] > 0.9


# --- odd seasons, errors, display ---------------------------------------------------


def test_the_invented_season() -> None:
    here = bk.load_season(SAMPLE).mend("ripe colour", {"orannge": "orange"})
    odds = bk.plant_odds(here, "Ripe Colour", "Single dominant gene")
    assert odds.trait == "ripe colour" and odds.left_out == ("volunteers",)
    assert len(odds.plants) == 264
    families = odds.family_table().set_index("family")
    assert families.loc["F1", "breeds true"] < 0.02 and families.loc["P1", "breeds true"] > 0.99
    assert families["plants"].sum() == 264
    # F3-54 has both colours, so its parent carries orange
    assert "F2-54" in odds.plants and odds.plant("F2-54").carries[1] > 0.99
    assert repr(odds) == repr(bk.plant_odds(here, "ripe colour", "single dominant gene"))
    assert odds.verdict.startswith("Ripe colour, if single dominant gene holds: of 264 plants, ")
    assert "Not asked, since a parent is not known: volunteers." in odds.notes


def test_a_code_that_two_families_use() -> None:
    rows = [(f"{i}", f, c) for f in ("P1", "P2", "F2")
            for i, c in enumerate(["red" if f != "P2" else "orange"] * 4)]  # fmt: skip
    odds = plant_odds(season(rows, REGISTER[:4]), "colour", "single dominant gene")
    with pytest.raises(ModelError, match="3 plants called '1'"):
        odds.plant("1")
    assert odds.plant("1", "p2").seen == "orange"
    with pytest.raises(ModelError, match="no plant with odds called '9'"):
        odds.plant("9")


def test_what_cannot_be_asked() -> None:
    here = grown(P1="rr", P2="oo", F2="rrog")
    with pytest.raises(ModelError, match=r"no model called 'two gene'[^$]*Did you mean"):
        plant_odds(here, "colour", "two gene")
    with pytest.raises(TableError, match="is not a trait"):
        plant_odds(here, "color of the fruit", "single dominant gene")
    with pytest.raises(ModelError, match=r"does not go with 'colour'[^$]*4 classes, the trait 3"):
        plant_odds(here, "colour", "two independent genes")
    other = compare_models(bk.load_season(SAMPLE), "unripe colour")
    with pytest.raises(ModelError, match="comparison is of 'unripe colour', not of 'colour'"):
        plant_odds(here, "colour", other)
    tally = bk.load_counts(pd.DataFrame([("F2", "x", 3), ("F2", "y", 1)],
                                        columns=["family", "class", "count"]))  # fmt: skip
    with pytest.raises(ModelError, match="tallies"):
        plant_odds(tally, tally.trait_names[0], "single dominant gene")
    wrong = grown(P1="rr", P2="oo", F1="rr", F2="rrg")  # one gene has no third class
    right = grown(P1="rr", P2="oo", F1="rr", F2="rrr", F3="rog")
    exact = compare_models(right, "colour", [catalogue()["single dominant gene"]], 0.0)
    with pytest.raises(ModelError, match="cannot give these scores"):
        plant_odds(wrong, "colour", exact)
    with pytest.raises(ModelError, match="alleles of different models"):
        plant_odds(grown(F2="rrro"), "colour").alleles()
    with pytest.raises(ModelError) as told:
        plant_odds(here, "colour", "x" * 10_000)
    assert len(str(told.value).splitlines()[0]) < 90


def test_hostile_names_are_text() -> None:
    bad = "<img src=x onerror=alert(1)>"
    rows = [(bad, "F2", "<b>red</b>"), ("=cmd()", "F2", "orange"), ("b", "F2", "<b>red</b>")]
    odds = plant_odds(season(rows, REGISTER[:4]), "colour", "single dominant gene")
    for result in (odds, odds.plant(bad), odds.plant("=cmd()")):
        html = result._repr_html_()
        assert "<img" not in html and "<b>" not in html


def test_nothing_scored_is_what_is_expected_beforehand() -> None:
    here = season([("a", "F2", None), ("b", "F2", None), ("c", "F1", "red"), ("d", "P2", "orange")],
                  REGISTER[:4])  # fmt: skip
    odds = plant_odds(here, "colour", "single dominant gene")
    assert odds.plant("a").verdict.startswith("a was not scored; selfed, it can give orange with")


def test_in_words() -> None:
    assert in_words(2 / 3) == "2 in 3 (67 %)" and in_words(0.5) == "1 in 2 (50 %)"
    assert in_words(0.111) == "1 in 9 (11 %)" and in_words(0.02) == "2.0 %"
    assert in_words(1.0) == "over 99.9 %" and in_words(0.0) == "under 0.1 %"
