"""The likelihood of a register against every hidden genotype written out."""

import itertools
from fractions import Fraction as F

import numpy as np
import pytest

from breedkit.cross import Population
from breedkit.errors import ModelError
from breedkit.evidence import Evidence, Kind
from breedkit.families import parse_family
from breedkit.genome import Genome
from breedkit.likelihood import Candidates, draw, log_likelihoods, mis_scoring
from breedkit.models import catalogue
from breedkit.pedigree import Chosen, Cross, Founder, Selfing

P1, P2 = Founder("P1"), Founder("P2")
F1 = Cross(P1, P2)
F2 = Selfing(F1)


def plant(family, name: str) -> Chosen:
    return Chosen(family, plant=name)


def candidates(model, founders: list[list[str]]) -> Candidates:
    """Candidates of a model with founder genotypes as strings, classes as they are."""
    genome = Genome.of(model.founders())
    names = [str(g) for g in genome.genotypes()]
    states = np.array([[names.index(f) for f in row] for row in founders])
    table = model.rule.table(genome).ravel()
    return Candidates(genome, states, np.tile(table, (len(founders), 1)))


# --- the slow route: every genotype of every hidden plant ---------------------


def slow(evidence: Evidence, chosen: Candidates, which: int, mixing: np.ndarray) -> float:
    """Likelihood of one candidate by summing over all hidden genotypes, node by node."""
    genome, looks = chosen.genome, chosen.looks[which]
    names = [str(g) for g in genome.genotypes()]
    pure = [Population.of(genome, name) for name in names]
    alive = (looks >= 0).reshape(genome.shape)
    hidden = [i for i, node in enumerate(evidence.nodes) if node.kind == Kind.PLANT]
    order = list(evidence.founders.values())

    def population(number: int, told: dict[int, int], inside: bool = False) -> Population:
        node = evidence.nodes[number]
        match node.kind:
            case Kind.FOUNDER:
                return pure[chosen.founders[which, order.index(number)]]
            case Kind.PLANT:
                return pure[told[number]]
            case Kind.CROSS:
                made = population(node.one, told).crossed(population(node.other, told))
            case Kind.SELFING:
                made = population(node.one, told).selfed()
            case _:
                return population(node.one, told).where((looks == node.other).reshape(genome.shape))
        return made.where(alive)

    total = 0.0
    for states in itertools.product(range(len(names)), repeat=len(hidden)):
        told = dict(zip(hidden, states, strict=True))
        chance = 1.0
        try:
            for number, state in told.items():
                home = population(evidence.nodes[number].one, told)
                chance *= home.shares.ravel()[state]
                if number in evidence.scores and chance:
                    chance *= mixing[looks[state], evidence.scores[number]]
            for number, row in evidence.counts.items():
                if chance:
                    shares = population(number, told).shares.ravel()
                    classes = np.zeros(len(evidence.classes))
                    for share, look in zip(shares, looks, strict=True):
                        if look >= 0:
                            classes += share * mixing[look]
                    chance *= np.prod(classes ** np.array(row))
        except ModelError:  # no plant of that kind would live
            chance = 0.0
        total += chance
    return total


def single_gene_register() -> Evidence:
    """Backcrosses, a line of descent by single plants, a plant with two families."""
    a, b = plant(F2, "a"), plant(F2, "b")
    line = Selfing(a)
    c = plant(line, "c")
    plans = {
        "P1": P1, "F1": F1, "F2": F2, "BC": Cross(F1, P2), "A": line, "A2": Cross(a, P2),
        "B": Selfing(b), "C": Selfing(c), "BC2": Cross(plant(Cross(F1, P2), "d"), P2),
    }  # fmt: skip
    counts = {"P1": (3, 0), "F1": (4, 1), "F2": (9, 5), "BC": (4, 5), "A": (6, 2), "A2": (2, 3),
              "B": (0, 4), "C": (5, 0), "BC2": (1, 6)}  # fmt: skip
    plants = {"a": "x", "b": "y", "c": "x"}  # d was not scored
    return Evidence.of(["x", "y"], plans, counts, plants)


def unsorted_register() -> Evidence:
    """Families written down in another order than the plants they come from."""
    a, b, c = (plant(F2, x) for x in "abc")
    d, e, f = plant(Selfing(b), "d"), plant(Selfing(a), "e"), plant(Selfing(b), "f")
    plans = {"F2": Selfing(F1), "A": Cross(c, P1), "B": Cross(a, P1), "C": Cross(b, P1),
             "E": Selfing(e), "D": Selfing(d), "G": Selfing(f)}  # fmt: skip
    counts = {"F2": (3, 3), "A": (4, 0), "B": (2, 1), "C": (0, 5), "D": (1, 2), "E": (3, 0),
              "G": (4, 1)}  # fmt: skip
    return Evidence.of(["x", "y"], plans, counts, {"a": "x", "b": "y", "c": "x"})


def tangled_register() -> Evidence:
    """Sibs mated, their offspring mated again, and a backcross to a hidden plant."""
    a, b = plant(F2, "a"), plant(F2, "b")
    ab = Cross(a, b)
    c, d = plant(ab, "c"), plant(ab, "d")
    cd = Cross(c, d)
    back = Cross(c, a)
    plans = {"F2": F2, "AB": ab, "CD": cd, "back": back, "selfed": Selfing(plant(cd, "e"))}
    counts = {"F2": (5, 2), "AB": (7, 3), "CD": (3, 3), "back": (4, 0), "selfed": (2, 1)}
    return Evidence.of(["x", "y"], plans, counts, {"a": "x", "c": "y", "e": "x"})


CASES = [
    (unsorted_register, "single dominant gene", [["AA", "aa"], ["aa", "AA"], ["AA", "Aa"]]),
    (single_gene_register, "single dominant gene", [["AA", "aa"], ["aa", "AA"], ["AA", "AA"]]),
    (tangled_register, "single dominant gene", [["AA", "aa"], ["aa", "AA"]]),
    (tangled_register, "recessive lethal", [["Aa", "aa"]]),
    (single_gene_register, "recessive lethal", [["Aa", "aa"], ["aa", "aa"]]),
]


@pytest.mark.parametrize("make, name, founders", CASES)
def test_every_hidden_genotype_written_out(make, name, founders) -> None:
    evidence, chosen = make(), candidates(catalogue()[name], founders)
    mixing = mis_scoring([0.0, 0.02, 0.3], 2)
    fast = log_likelihoods(evidence, chosen, mixing)
    assert fast.shape == (len(founders), 3)
    for (i, j), found in np.ndenumerate(fast):
        expected = slow(evidence, chosen, i, mixing[j])
        assert np.exp(found) == pytest.approx(expected, rel=1e-10, abs=1e-300)


def test_two_genes_with_single_plants() -> None:
    a = plant(F2, "a")
    plans = {"F2": F2, "A": Selfing(a), "B": Cross(a, P2)}
    evidence = Evidence.of(["p", "q", "r"], plans, {"F2": (5, 2, 3), "A": (4, 1, 0),
                                                    "B": (2, 2, 1)}, {"a": "p"})  # fmt: skip
    chosen = candidates(catalogue()["recessive epistasis"], [["AABB", "aabb"], ["AAbb", "aaBB"]])
    mixing = mis_scoring([0.05], 3, ordered=True)
    fast = log_likelihoods(evidence, chosen, mixing)
    for i in range(2):
        assert np.exp(fast[i, 0]) == pytest.approx(slow(evidence, chosen, i, mixing[0]), rel=1e-10)


def test_families_alone_are_multinomials() -> None:
    evidence = Evidence.of(["x", "y"], {"F2": F2}, {"F2": (48, 16)})
    chosen = candidates(catalogue()["single dominant gene"], [["AA", "aa"]])
    found = log_likelihoods(evidence, chosen, mis_scoring([0.0, 0.1], 2))[0]
    shares = np.array([0.75, 0.75 * 0.9 + 0.25 * 0.1])
    assert found == pytest.approx(48 * np.log(shares) + 16 * np.log(1 - shares), abs=1e-12)


def test_fishers_misclassified_heterozygotes() -> None:
    # Fisher 1936 (check 1.10, from memory): of dominants tested by 10 offspring each, all of
    # which show the dominant, 0.3709 seem constant; a true heterozygote does so with 0.0563
    line = Selfing(plant(F2, "a"))
    evidence = Evidence.of(["x", "y"], {"F2": F2, "A": line}, {"F2": (1, 0), "A": (10, 0)},
                           {"a": "x"})  # fmt: skip
    dominant = Evidence.of(["x", "y"], {"F2": F2}, {"F2": (1, 0)})
    chosen = candidates(catalogue()["single dominant gene"], [["AA", "aa"]])
    exact = mis_scoring([0.0], 2)
    both, one = (
        float(np.exp(log_likelihoods(e, chosen, exact)[0, 0])) for e in (evidence, dominant)
    )
    assert both / one == pytest.approx(float(F(583337, 1572864)), rel=1e-12)
    assert abs(both / one - 0.3709) < 0.00005


@pytest.mark.parametrize("make", [single_gene_register, tangled_register])
def test_drawn_seasons_follow_the_likelihood(make) -> None:
    """L'(x) / L(x) has mean 1 over seasons x drawn from L, for any other L' (4 standard errors)."""
    evidence = make()
    chosen = candidates(catalogue()["single dominant gene"], [["AA", "aa"]])
    one, other = mis_scoring([0.05], 2), mis_scoring([0.06], 2)
    rng = np.random.default_rng(7)
    drawn = draw(evidence, chosen, one, rng, 4000)
    assert drawn.n == evidence.n
    both = log_likelihoods(drawn, chosen, np.concatenate([one, other]))
    assert both.shape == (4000, 2)
    ratios = np.exp(both[:, 1] - both[:, 0])
    assert abs(ratios.mean() - 1) < 4 * ratios.std() / len(ratios) ** 0.5


@pytest.mark.parametrize("make", [single_gene_register, tangled_register])
def test_seasons_together_are_as_seasons_apart(make) -> None:
    evidence = make()
    chosen = candidates(catalogue()["single dominant gene"], [["AA", "aa"]])
    mixing = mis_scoring([0.02, 0.1], 2)
    drawn = draw(evidence, chosen, mixing[:1], np.random.default_rng(1), 5)
    together = log_likelihoods(drawn, chosen, mixing)
    for i in range(5):
        apart = evidence.with_scores(
            {node: tuple(rows[i]) for node, rows in drawn.counts.items()},
            {node: int(looks[i]) for node, looks in drawn.scores.items()},
        )
        assert log_likelihoods(apart, chosen, mixing)[0] == pytest.approx(together[i], abs=1e-12)


# --- laws --------------------------------------------------------------------


def test_splitting_a_family_changes_nothing() -> None:
    chosen = candidates(catalogue()["single dominant gene"], [["AA", "aa"]])
    mixing = mis_scoring([0.02], 2)
    one = Evidence.of(["x", "y"], {"F2": F2}, {"F2": (20, 9)})
    two = Evidence.of(["x", "y"], {"F2": F2, "again": Selfing(Cross(P1, P2))},
                      {"F2": (12, 3), "again": (8, 6)})  # fmt: skip
    assert log_likelihoods(one, chosen, mixing) == pytest.approx(
        log_likelihoods(two, chosen, mixing), abs=1e-12
    )


def test_naming_the_classes_otherwise_changes_nothing() -> None:
    model = catalogue()["single dominant gene"]
    chosen = candidates(model, [["AA", "aa"]])
    swapped = Candidates(chosen.genome, chosen.founders, 1 - chosen.looks)
    one = Evidence.of(["x", "y"], {"F2": F2, "A": Selfing(plant(F2, "a"))},
                      {"F2": (9, 4), "A": (3, 1)}, {"a": "x"})  # fmt: skip
    other = Evidence.of(["y", "x"], {"F2": F2, "A": Selfing(plant(F2, "a"))},
                        {"F2": (4, 9), "A": (1, 3)}, {"a": "x"})  # fmt: skip
    mixing = mis_scoring([0.0, 0.07], 2)
    assert log_likelihoods(one, chosen, mixing) == pytest.approx(
        log_likelihoods(other, swapped, mixing), abs=1e-12
    )


def test_impossible_scores_have_no_likelihood_without_mis_scoring() -> None:
    evidence = Evidence.of(["x", "y"], {"P1": P1, "F2": F2}, {"P1": (4, 1), "F2": (3, 1)})
    chosen = candidates(catalogue()["single dominant gene"], [["AA", "aa"], ["aa", "AA"]])
    found = log_likelihoods(evidence, chosen, mis_scoring([0.0, 0.01], 2))
    assert np.isneginf(found[:, 0]).all() and np.isfinite(found[:, 1]).all()


def test_mis_scoring() -> None:
    assert mis_scoring([0.1], 3)[0] == pytest.approx(
        np.array([[0.9, 0.05, 0.05], [0.05, 0.9, 0.05], [0.05, 0.05, 0.9]])
    )
    near, far = 0.1 / 1.1, 0.01 / 1.1  # a further step is a tenth as likely
    assert mis_scoring([0.1], 3, ordered=True)[0] == pytest.approx(
        np.array([[0.9, near, far], [0.05, 0.9, 0.05], [far, near, 0.9]])
    )
    assert mis_scoring([0.1], 1)[0] == pytest.approx(np.ones((1, 1)))


def test_what_cannot_be_arranged() -> None:
    with pytest.raises(ModelError, match="missing from the counts"):
        Evidence.of(["x", "y"], {"F2": F2, "A": Selfing(plant(F2, "a"))}, {"F2": (0, 4)},
                    {"a": "x"})  # fmt: skip


def test_short_forms_have_evidence_too() -> None:
    plans = {f: parse_family(f) for f in ("F2", "F2:3", "F2 open", "F2 sib", "F3 from x F2")}
    evidence = Evidence.of(["x", "y"], plans, dict.fromkeys(plans, (5, 1)))
    chosen = candidates(catalogue()["single dominant gene"], [["AA", "aa"]])
    found = log_likelihoods(evidence, chosen, mis_scoring([0.0], 2))[0, 0]
    shares = np.array([0.75, 0.625, 0.75, 0.75, 5 / 6])
    assert found == pytest.approx((5 * np.log(shares) + np.log(1 - shares)).sum(), abs=1e-12)
