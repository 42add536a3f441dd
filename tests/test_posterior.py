"""What each plant can be, against the joint table of all genotypes of all plants."""

import itertools
from dataclasses import dataclass, field
from fractions import Fraction as F

import numpy as np
import pytest

from breedkit.evidence import Evidence
from breedkit.genome import Genome
from breedkit.likelihood import Candidates, draw, log_likelihoods, mis_scoring
from breedkit.models import catalogue
from breedkit.pedigree import Chosen, Cross, Founder, Plan, Selfing
from breedkit.posterior import Posterior, posterior

RATES = (0.0, 0.03)

# --- the slow route: all plants at once, each a plant of its own ---------------

ONE_GENE = ("AA", "Aa", "aa")
TWO_GENES = tuple(a + b for a in ONE_GENE for b in ("BB", "Bb", "bb"))


def chance_of_gamete(plant: str, gamete: str) -> F:
    """Mendel: of each gene one of the two alleles, genes apart."""
    chance = F(1)
    for i, allele in enumerate(gamete):
        chance *= F(plant[2 * i : 2 * i + 2].count(allele), 2)
    return chance


def mendel(states: tuple[str, ...]) -> np.ndarray:
    """P(child | mother, father), (mother, father, child), by every pair of gametes."""
    genes = len(states[0]) // 2
    gametes = ["".join(g) for g in itertools.product(*(("A", "a"), ("B", "b"))[:genes])]
    table = np.zeros((len(states),) * 3)
    for (i, mother), (j, father) in itertools.product(enumerate(states), repeat=2):
        for egg, pollen in itertools.product(gametes, repeat=2):
            child = "".join("".join(sorted(pair)) for pair in zip(egg, pollen, strict=True))
            chance = chance_of_gamete(mother, egg) * chance_of_gamete(father, pollen)
            table[i, j, states.index(child)] += float(chance)
    return table


LAW = {1: mendel(ONE_GENE), 2: mendel(TWO_GENES)}


@dataclass
class Register:
    """Plants in a row, each the offspring of two that stand before it (or twice of one).

    Places 0, 1 and 2 are P1, P2 and F1; `parents` has a pair of places for each further
    plant, `seen` its class, or None if it was not scored.
    """

    parents: list[tuple[int, int]]
    seen: list[int | None] = field(default_factory=list)

    def family(self, pair: tuple[int, int]) -> str:
        return f"{pair[0]} x {pair[1]}"

    def evidence(self, classes: int) -> Evidence:
        plans: list[Plan] = [Founder("P1"), Founder("P2")]
        plans.append(Cross(*plans))
        families: dict[str, Plan] = {}
        counts: dict[str, list[int]] = {}
        plants: dict[str, str] = {}
        for place, (pair, seen) in enumerate(zip(self.parents, self.seen, strict=True), start=3):
            name = self.family(pair)
            one, other = (plans[p] for p in pair)
            families.setdefault(name, Selfing(one) if one is other else Cross(one, other))
            row = counts.setdefault(name, [0] * classes)
            if seen is not None:
                row[seen] += 1
                plants[f"{place}"] = f"{seen}"
            plans.append(Chosen(families[name], plant=f"{place}"))
        names = [f"{c}" for c in range(classes)]
        return Evidence.of(names, families, counts, plants, whole=True)

    def joint(self, genes: int, founders: tuple[int, int], written: np.ndarray) -> np.ndarray:
        """P(all genotypes and all scores), one axis a plant."""
        law, f1 = LAW[genes], LAW[genes][founders].argmax()
        told = {0: founders[0], 1: founders[1], 2: f1}
        n = len(self.parents)
        table = np.ones((1,) * n)
        for i, ((one, other), seen) in enumerate(zip(self.parents, self.seen, strict=True)):
            own = law if seen is None else law * written[:, seen]
            letters, index = [], []
            for p in (one, other):
                index.append(told[p] if p in told else slice(None))
                letters += [] if p in told else [p - 3]
            part = own[tuple(index)]
            if one == other and one not in told:
                part, letters = np.diagonal(own).T, [one - 3]
            part = np.einsum(part, [*letters, i], sorted([*letters, i]))
            shape = [law.shape[0] if j in (*letters, i) else 1 for j in range(n)]
            table = table * part.reshape(shape)
        return np.broadcast_to(table, (law.shape[0],) * n)


def written_as(looks: np.ndarray, rate: float, classes: int) -> np.ndarray:
    """P(class | genotype): the true one but for a slip, which is any other."""
    table = np.full((len(looks), classes), rate / (classes - 1))
    table[np.arange(len(looks)), looks] = 1 - rate
    return table


def chances(found: Posterior, evidence: Evidence, register: Register, classes: int) -> np.ndarray:
    """(rates, plants, states) under the first candidate, parents and others alike."""
    row = {node: i for i, node in enumerate(evidence.counts)}
    each = []
    for place, (pair, seen) in enumerate(zip(register.parents, register.seen, strict=True), 3):
        node = evidence.plants.get(f"{place}")
        if node is not None:
            each.append(found.plants[0, :, :, evidence.structure.at[node]])
        else:
            at = row[evidence.families[register.family(pair)]]
            each.append(found.sibs[0, :, at, classes if seen is None else seen])
    return np.stack(each, axis=1)


def check(register: Register, model, founders: tuple[str, str]) -> None:
    """Every chance of every plant is that of the joint table."""
    genes = model.genes
    states = ONE_GENE if genes == 1 else TWO_GENES
    genome = Genome.of(model.founders())
    assert [str(g) for g in genome.genotypes()] == list(states)
    looks, k = model.rule.table(genome).ravel(), len(model.classes)
    pair = (states.index(founders[0]), states.index(founders[1]))
    evidence = register.evidence(k)
    one = Candidates(genome, np.array([[pair[("P1", "P2").index(f)] for f in evidence.founders]]),
                     looks[None])  # fmt: skip
    mixing = mis_scoring(RATES, k)
    found = posterior(evidence, one, mixing)
    assert found.log_likelihood == pytest.approx(log_likelihoods(evidence, one, mixing), abs=1e-12)
    fast = chances(found, evidence, register, k)
    n = len(register.parents)
    for i, rate in enumerate(RATES):
        joint = register.joint(genes, pair, written_as(looks, rate, k))
        total = joint.sum()
        assert np.exp(found.log_likelihood[0, i]) == pytest.approx(total, rel=1e-11)
        for plant in range(n):
            own = joint.sum(axis=tuple(j for j in range(n) if j != plant))
            assert fast[i, plant] == pytest.approx(own / total if total else own, abs=1e-12)


def ways(place: int) -> list[tuple[int, int]]:
    """Every pair of parents a plant can have: the F2, a backcross, an earlier plant selfed,
    two mated, or one put back."""
    earlier = range(3, place)
    return [
        (2, 2), (2, 0), (2, 1), *((p, p) for p in earlier),
        *itertools.combinations(earlier, 2), *((p, back) for p in earlier for back in (0, 1)),
    ]  # fmt: skip


def scored(parents: list[tuple[int, int]], classes: int, rng: np.random.Generator) -> Register:
    """Any scores, a quarter missing."""
    looks = rng.integers(classes, size=len(parents)).tolist()
    return Register(parents, [None if rng.random() < 0.25 else x for x in looks])


def drawn(plants: int, classes: int, rng: np.random.Generator) -> Register:
    """A register at random."""
    parents = []
    for i in range(plants):
        each = ways(3 + i)
        parents.append(each[rng.integers(len(each))])
    return scored(parents, classes, rng)


@pytest.mark.parametrize("plants", [1, 2, pytest.param(3, marks=pytest.mark.slow)])
def test_every_register_of_a_few_plants_and_one_gene(plants: int) -> None:
    """All ways to come about (of three plants 180), all ways to be scored or not."""
    model = catalogue()["single dominant gene"]
    for parents in itertools.product(*(ways(3 + i) for i in range(plants))):
        for seen in itertools.product((0, 1, None), repeat=plants):
            check(Register(list(parents), list(seen)), model, ("AA", "aa"))


@pytest.mark.parametrize("plants", [1, pytest.param(2, marks=pytest.mark.slow)])
def test_every_register_of_a_few_plants_and_two_genes(plants: int) -> None:
    model = catalogue()["recessive epistasis"]
    for parents in itertools.product(*(ways(3 + i) for i in range(plants))):
        for seen in itertools.product((0, 1, 2, None), repeat=plants):
            check(Register(list(parents), list(seen)), model, ("AABB", "aabb"))


@pytest.mark.slow
def test_every_register_of_four_plants_and_one_gene() -> None:
    """All 2,700 ways to come about, scored at random."""
    rng = np.random.default_rng(4)
    for parents in itertools.product(*(ways(p) for p in (3, 4, 5, 6))):
        check(scored(list(parents), 3, rng), catalogue()["incomplete dominance"], ("AA", "aa"))


@pytest.mark.parametrize("plants", [4, 5, 6, 7, 8])
def test_registers_at_random_of_one_gene(plants: int) -> None:
    rng = np.random.default_rng(plants)
    for name, founders in [("single dominant gene", ("AA", "aa")),
                           ("incomplete dominance", ("aa", "AA"))]:  # fmt: skip
        for _ in range(25):
            check(drawn(plants, len(catalogue()[name].classes), rng), catalogue()[name], founders)


TWO = ["recessive epistasis", "complementary genes", "two independent genes", "duplicate genes"]


@pytest.mark.parametrize("plants", [2, 3, 4, 5])
def test_registers_at_random_of_two_genes(plants: int) -> None:
    rng = np.random.default_rng(plants)
    for name in TWO:
        model = catalogue()[name]
        for founders in [("AABB", "aabb"), ("AAbb", "aaBB")]:
            for _ in range(4):
                check(drawn(plants, len(model.classes), rng), model, founders)


@pytest.mark.slow
@pytest.mark.parametrize("plants", [6, 7, 8])
def test_larger_registers_at_random_of_two_genes(plants: int) -> None:
    """The joint table of eight plants has 43 million cells."""
    rng = np.random.default_rng(plants)
    for name in TWO:
        for _ in range({6: 40, 7: 8, 8: 2}[plants]):
            check(drawn(plants, len(catalogue()[name].classes), rng), catalogue()[name],
                  ("AABB", "aabb"))  # fmt: skip


# --- known answers ------------------------------------------------------------

P1, P2 = Founder("P1"), Founder("P2")
F2 = Selfing(Cross(P1, P2))


def one_gene(evidence: Evidence, mixing: np.ndarray) -> Posterior:
    genome = Genome.of(["AA", "aa"])
    states = {"P1": 0, "P2": 2}
    founders = np.array([[states[f] for f in evidence.founders]])
    return posterior(evidence, Candidates(genome, founders, np.array([[0, 0, 1]])), mixing)


def test_two_thirds_of_the_dominants_of_an_f2_carry_the_recessive() -> None:
    # Mendel 1866 (from memory): of the dominants two to one do not breed true
    evidence = Evidence.of(["x", "y"], {"F2": F2}, {"F2": (14, 6)})
    found = one_gene(evidence, mis_scoring([0.0], 2))
    assert found.sibs[0, 0, 0] == pytest.approx(
        np.array([[1 / 3, 2 / 3, 0], [0, 0, 1], [1 / 4, 1 / 2, 1 / 4]]), abs=1e-15
    )


def test_ten_offspring_all_alike() -> None:
    # Fisher 1936 (from memory): a heterozygote shows none of ten with chance 0.0563
    evidence = Evidence.of(["x", "y"], {"F2": F2, "A": Selfing(Chosen(F2, plant="a"))},
                           {"F2": (1, 0), "A": (10, 0)}, {"a": "x"})  # fmt: skip
    found = one_gene(evidence, mis_scoring([0.0], 2))
    missed = 0.75**10
    assert abs(missed - 0.0563) < 5e-5
    assert found.plants[0, 0, :, 0] == pytest.approx(
        np.array([1, 2 * missed, 0]) / (1 + 2 * missed), abs=1e-15
    )


# --- laws ----------------------------------------------------------------------


def tangle() -> Evidence:
    """Sibs mated and mated again, lines, a backcross, families in bulk, some not scored."""
    a, b = (Chosen(F2, plant=x) for x in "ab")
    ab = Cross(a, b)
    c, d = (Chosen(ab, plant=x) for x in "cd")
    plans = {"F2": F2, "AB": ab, "CD": Cross(c, d), "back": Cross(c, P2), "bulk": Selfing(ab),
             "line": Selfing(Chosen(Selfing(b), plant="e"))}  # fmt: skip
    counts = {"F2": (5, 2), "AB": (4, 2), "CD": (3, 3), "back": (1, 2), "bulk": (3, 1),
              "line": (0, 0)}  # fmt: skip
    return Evidence.of(["x", "y"], plans, counts, {"a": "x", "c": "x"}, whole=True)


def test_chances_total_one() -> None:
    found = one_gene(tangle(), mis_scoring([0.0, 0.1], 2))
    assert found.plants.sum(axis=2) == pytest.approx(1, abs=1e-13)
    assert found.sibs[:, :, :-1].sum(axis=-1) == pytest.approx(1, abs=1e-13)


def test_the_plants_of_a_family_are_on_average_what_its_counts_leave() -> None:
    """Taking one plant of a class away and asking for it again is Bayes' rule by hand."""
    evidence, mixing = tangle(), mis_scoring([0.05], 2)
    found = one_gene(evidence, mixing)
    node = evidence.families["AB"]
    row = list(evidence.counts).index(node)
    counts = {**evidence.counts, node: np.array(evidence.counts[node]) - [1, 0]}
    fewer = one_gene(evidence.with_scores(counts, evidence.scores), mixing)
    prior = fewer.sibs[0, 0, row, 2]
    by_hand = prior * mixing[0][[0, 0, 1], 0]
    assert found.sibs[0, 0, row, 0] == pytest.approx(by_hand / by_hand.sum(), abs=1e-13)


def test_impossible_scores_leave_no_chances() -> None:
    evidence = Evidence.of(["x", "y"], {"P1": P1, "F2": F2, "A": Selfing(Chosen(F2, plant="a"))},
                           {"P1": (2, 1), "F2": (3, 1), "A": (1, 1)}, {"a": "x"})  # fmt: skip
    found = one_gene(evidence, mis_scoring([0.0, 0.01], 2))
    assert np.isneginf(found.log_likelihood[0, 0]) and np.isfinite(found.log_likelihood[0, 1])
    assert not found.plants[0, 0].any() and not found.sibs[0, 0].any()


def test_seasons_together_are_as_seasons_apart() -> None:
    evidence, mixing = tangle(), mis_scoring([0.02, 0.1], 2)
    genome = Genome.of(["AA", "aa"])
    founders = np.array([[{"P1": 0, "P2": 2}[f] for f in evidence.founders]])
    one = Candidates(genome, founders, np.array([[0, 0, 1]]))
    seasons = draw(evidence, one, mixing[:1], np.random.default_rng(1), 4)
    together = posterior(seasons, one, mixing)
    for i in range(4):
        apart = posterior(
            evidence.with_scores(
                {node: tuple(rows[i]) for node, rows in seasons.counts.items()},
                {node: int(looks[i]) for node, looks in seasons.scores.items()},
            ),
            one,
            mixing,
        )
        assert apart.plants[0] == pytest.approx(together.plants[i], abs=1e-12)
        assert apart.sibs[0] == pytest.approx(together.sibs[i], abs=1e-12)


def test_many_candidates_are_as_each_alone() -> None:
    evidence, mixing = tangle(), mis_scoring([0.02, 0.1], 2)
    genome = Genome.of(["AA", "aa"])
    founders = np.array([[0, 2], [2, 0], [1, 2]])
    looks = np.array([[0, 0, 1], [1, 1, 0], [0, 0, 1]])
    together = posterior(evidence, Candidates(genome, founders, looks), mixing)
    for i in range(3):
        alone = posterior(
            evidence, Candidates(genome, founders[i : i + 1], looks[i : i + 1]), mixing
        )
        assert alone.plants[0] == pytest.approx(together.plants[i], abs=1e-13)
        assert alone.sibs[0] == pytest.approx(together.sibs[i], abs=1e-13)
