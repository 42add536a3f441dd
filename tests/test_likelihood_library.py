"""Likelihood and plants of a register against a general-purpose library of graphical models.

Each register is written out a second time as a Bayesian network for pgmpy, plant by plant:
a variable for every genotype, every unselected sib and every unnamed parent inside a bulk
included, given the parents' genotypes by Mendel's laws; and a variable for every score,
given the genotype. pgmpy sums out the genotypes exactly (variable elimination), and

    P(all scores) = P(first) P(second | first) P(third | first, second) ...

and the genotypes of one plant are asked for given all scores. Mendel's laws, the looks and the
mis-scoring are written here anew: of breedkit, only the arranging of a register and what is
worked out from it are used. pgmpy is imported inside the functions that need it, since plain
pytest collects this file without having it.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pytest

from breedkit.evidence import Evidence
from breedkit.genome import Genome
from breedkit.likelihood import Candidates, log_likelihoods, mis_scoring
from breedkit.pedigree import Chosen, Cross, Founder, Plan, Selfing
from breedkit.posterior import posterior

pytestmark = [
    pytest.mark.slow,
    # pgmpy's own: it imports what it has renamed.
    pytest.mark.filterwarnings("ignore:`pgmpy[.a-zA-Z]*` is deprecated:FutureWarning"),
]

RATES = (0.0, 0.02, 0.1)


@dataclass(frozen=True)
class Register:
    """A register and its scores, from which both routes start.

    Parameters
    ----------
    families : {family: its parents}, one that is selfed or two that are crossed. A parent is
        a founder, a single plant, or a family: then each offspring has a parent of its own,
        some unnamed plant of that family.
    plants : {single plant: its family}.
    scores : {single plant: class}.
    sibs : {family: plants of each class}, single plants not counted.
    """

    families: Mapping[str, tuple[str, ...]]
    plants: Mapping[str, str]
    scores: Mapping[str, int]
    sibs: Mapping[str, Sequence[int]]


@dataclass(frozen=True)
class Trait:
    """Genotypes, and the class that each shows."""

    genotypes: Sequence[str]
    look: Callable[[str], int]
    classes: int
    ordered: bool = False


ONE_GENE = ("AA", "Aa", "aa")
TWO_GENES = tuple(a + b for a in ONE_GENE for b in ("BB", "Bb", "bb"))

DOMINANT = Trait(ONE_GENE, lambda g: int("A" not in g), 2)
INTERMEDIATE = Trait(ONE_GENE, lambda g: g.count("a"), 3, ordered=True)


def epistatic(g: str) -> int:
    """Recessive epistasis, 9 : 3 : 4 in the F2: without A, gene B does not show."""
    return 2 if "A" not in g else int("B" not in g)


# --- Mendel's laws and the scoring, written out -------------------------------


def offspring(mother: str, father: str) -> dict[str, float]:
    """Shares of the genotypes from a cross: segregation in each gene, genes independent."""
    genes = []
    for i in range(0, len(mother), 2):
        big, small = mother[i].upper(), mother[i].lower()
        egg, pollen = mother.count(big) / 2, father.count(big) / 2
        genes.append(
            {
                big + big: egg * pollen,
                big + small: egg * (1 - pollen) + (1 - egg) * pollen,
                small + small: (1 - egg) * (1 - pollen),
            }
        )
    return {
        "".join(pairs): math.prod(gene[pair] for gene, pair in zip(genes, pairs, strict=True))
        for pairs in itertools.product(*genes)
    }


def written(trait: Trait, genotype: str, rate: float) -> list[float]:
    """How likely a plant is written down as each class."""
    true = trait.look(genotype)
    others = [c for c in range(trait.classes) if c != true]
    # in an ordered trait each further step is a tenth as likely
    worth = {c: 0.1 ** (abs(c - true) - 1) if trait.ordered else 1.0 for c in others}
    return [
        1 - rate if c == true else rate * worth[c] / sum(worth.values())
        for c in range(trait.classes)
    ]


# --- the two routes ----------------------------------------------------------


@dataclass
class Network:
    """A register as a Bayesian network, one variable for each plant and one for each score."""

    register: Register
    trait: Trait
    founders: Mapping[str, str]
    rate: float
    tables: list[Any] = field(default_factory=list)
    evidence: dict[str, int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for name, genotype in self.founders.items():
            self.table(name, (), lambda genotype=genotype: {genotype: 1.0})
        for plant, family in self.register.plants.items():
            self.grow(plant, family)
        for family, row in self.register.sibs.items():
            looks = np.repeat(np.arange(self.trait.classes), row)
            for i, look in enumerate(looks, start=1):
                self.grow(f"{family} sib {i}", family)
                self.score(f"{family} sib {i}", int(look))
        for plant, look in self.register.scores.items():
            self.score(plant, look)

    def table(self, name: str, parents: Sequence[str], law: Callable[..., dict]) -> None:
        """Add a genotype. pgmpy's columns run through the parents' states, the last quickest."""
        from pgmpy.factors.discrete import TabularCPD

        states = list(self.trait.genotypes)
        columns = [law(*given) for given in itertools.product(states, repeat=len(parents))]
        values = [[column.get(state, 0.0) for column in columns] for state in states]
        names = dict.fromkeys((name, *parents), states)
        size = [len(states)] * len(parents)
        self.tables.append(TabularCPD(name, len(states), values, list(parents), size, names))

    def grow(self, name: str, family: str) -> None:
        """Add a plant of a family, and the unnamed parents it has in a bulk."""
        parents = []
        for i, parent in enumerate(self.register.families[family]):
            if parent in self.register.families:
                self.grow(f"{name}, parent {i}", parent)
                parent = f"{name}, parent {i}"
            parents.append(parent)
        self.table(name, parents, lambda *g: offspring(g[0], g[-1]))

    def score(self, name: str, look: int) -> None:
        from pgmpy.factors.discrete import TabularCPD

        states, seen = list(self.trait.genotypes), f"score of {name}"
        values = np.array([written(self.trait, g, self.rate) for g in states]).T
        names = {seen: list(range(self.trait.classes)), name: states}
        self.tables.append(
            TabularCPD(seen, self.trait.classes, values, [name], [len(states)], names)
        )
        self.evidence[seen] = look

    def elimination(self) -> Any:
        """pgmpy's variable elimination over the network."""
        from pgmpy.inference import VariableElimination
        from pgmpy.models import DiscreteBayesianNetwork

        network = DiscreteBayesianNetwork()
        for table in self.tables:
            name, *parents = table.variables
            network.add_node(name)
            network.add_edges_from((parent, name) for parent in parents)
        network.add_cpds(*self.tables)
        return VariableElimination(network)

    def chances(self, plants: Sequence[str]) -> np.ndarray:
        """(plants, genotypes), given all scores: one question a plant."""
        exact = self.elimination()
        found = []
        for plant in plants:
            told = exact.query([plant], evidence=self.evidence, show_progress=False)
            found.append([told.get_value(**{plant: g}) for g in self.trait.genotypes])
        return np.array(found)

    def log_likelihood(self) -> float:
        """The log-probability of all scores, by the chain rule of conditional probabilities."""
        exact, total, known = self.elimination(), 0.0, {}
        for seen, look in self.evidence.items():
            found = exact.query([seen], evidence=known, show_progress=False)
            chance = found.get_value(**{seen: look})
            if chance == 0:
                return -math.inf
            total += math.log(chance)
            known[seen] = look
        return total


def arranged(
    register: Register, trait: Trait, founders: Sequence[Mapping[str, str]]
) -> tuple[Evidence, Candidates, np.ndarray]:
    """A register as breedkit has it: its evidence, the candidates, and mis-scoring."""
    plans: dict[str, Plan] = {name: Founder(name) for name in founders[0]}
    for family, parents in register.families.items():
        missing = [p for p in parents if p not in plans]
        plans |= {p: Chosen(plans[register.plants[p]], plant=p) for p in missing}
        grown = [plans[p] for p in parents]
        plans[family] = Selfing(*grown) if len(grown) == 1 else Cross(*grown)
    counts = {f: list(register.sibs.get(f, [0] * trait.classes)) for f in register.families}
    for plant, look in register.scores.items():
        counts[register.plants[plant]][look] += 1
    names = [str(c) for c in range(trait.classes)]
    evidence = Evidence.of(
        names,
        {family: plans[family] for family in register.families},
        counts,
        {plant: names[look] for plant, look in register.scores.items()},
        whole=True,
    )
    genome = Genome.of([trait.genotypes[0], trait.genotypes[-1]])
    order = [str(g) for g in genome.genotypes()]
    states = [[order.index(chosen[name]) for name in evidence.founders] for chosen in founders]
    looks = [[trait.look(g) for g in order]] * len(founders)
    mixing = mis_scoring(RATES, trait.classes, trait.ordered)
    return evidence, Candidates(genome, np.array(states), np.array(looks)), mixing


def by_breedkit(
    register: Register, trait: Trait, founders: Sequence[Mapping[str, str]]
) -> np.ndarray:
    """breedkit's log-likelihoods, (candidates, rates)."""
    return log_likelihoods(*arranged(register, trait, founders))


def by_pgmpy(register: Register, trait: Trait, founders: Sequence[Mapping[str, str]]) -> np.ndarray:
    """pgmpy's log-likelihoods, (candidates, rates)."""
    return np.array(
        [
            [Network(register, trait, chosen, rate).log_likelihood() for rate in RATES]
            for chosen in founders
        ]
    )


def compare(register: Register, trait: Trait, founders: Sequence[Sequence[str]]) -> None:
    """Both routes agree; under the first founders no score is impossible."""
    chosen = [dict(zip(("P1", "P2"), genotypes, strict=True)) for genotypes in founders]
    found, expected = by_breedkit(register, trait, chosen), by_pgmpy(register, trait, chosen)
    assert found.shape == expected.shape == (len(founders), len(RATES))
    assert np.isfinite(expected[0]).all()
    assert found == pytest.approx(expected, rel=0, abs=1e-10)


def compare_plants(register: Register, trait: Trait, founders: Sequence[Sequence[str]]) -> None:
    """Both routes agree on the genotypes of every single plant and of every sib."""
    chosen = [dict(zip(("P1", "P2"), genotypes, strict=True)) for genotypes in founders]
    evidence, candidates, mixing = arranged(register, trait, chosen)
    found = posterior(evidence, candidates, mixing)
    looks = {f: np.repeat(np.arange(trait.classes), row) for f, row in register.sibs.items()}
    sibs = {f"{f} sib {i}": (f, c) for f, row in looks.items() for i, c in enumerate(row, 1)}
    row = {node: i for i, node in enumerate(evidence.counts)}
    names = [*register.plants, *sibs]
    for i, j in np.ndindex(len(chosen), len(RATES)):
        if not np.isfinite(found.log_likelihood[i, j]):
            continue
        expected = Network(register, trait, chosen[i], RATES[j]).chances(names)
        for name, chances in zip(names, expected, strict=True):
            if name in sibs:
                family, look = sibs[name]
                own = found.sibs[i, j, row[evidence.families[family]], look]
            elif name in evidence.plants:
                own = found.plants[i, j, :, evidence.structure.at[evidence.plants[name]]]
            else:  # a single plant that has no offspring after all
                seen = register.scores.get(name, trait.classes)
                own = found.sibs[i, j, row[evidence.families[register.plants[name]]], seen]
            assert own == pytest.approx(chances, rel=0, abs=1e-10)


# --- registers: invented plants ----------------------------------------------

F1_F2 = {"F1": ("P1", "P2"), "F2": ("F1",)}


def selfed_plants() -> Register:
    """F3 lines from single F2 plants, one unscored, and what is grown on from a line in bulk."""
    return Register(
        families={
            **F1_F2, "A": ("a",), "B": ("b",), "C": ("c",), "A bulk": ("A",), "F3 bulk": ("F2",),
            "A open": ("A", "A"), "bulk to P2": ("F3 bulk", "P2"),
        },
        plants={"a": "F2", "b": "F2", "c": "F2"},
        scores={"a": 0, "b": 1},
        sibs={
            "F1": (2, 0), "F2": (6, 3), "A": (4, 2), "B": (0, 3), "C": (5, 0), "A bulk": (3, 1),
            "F3 bulk": (3, 2), "A open": (2, 1), "bulk to P2": (1, 2),
        },
    )  # fmt: skip


def backcrossed_plant() -> Register:
    """A scored plant put back to its own parent line twice, and a plant of that put back again."""
    return Register(
        families={
            **F1_F2, "BC1": ("a", "P2"), "BC2": ("b", "P2"), "to P1": ("P1", "a"),
            "again": ("a", "P2"), "BC1F2": ("c",), "BC1F2 bulk": ("BC1F2",),
        },
        plants={"a": "F2", "b": "BC1", "c": "BC1"},
        scores={"a": 0, "b": 0},
        sibs={
            "F2": (5, 1), "BC1": (4, 2), "BC2": (3, 4), "to P1": (4, 0), "again": (1, 2),
            "BC1F2": (1, 3), "BC1F2 bulk": (1, 2),
        },
    )  # fmt: skip


def mated_sibs() -> Register:
    """Sibs mated, their offspring mated, and again; what is then mated in bulk; a selfing."""
    return Register(
        families={
            **F1_F2, "AB": ("a", "b"), "CD": ("c", "d"), "EF": ("e", "f"), "CE": ("c", "e"),
            "DA": ("d", "a"), "G": ("g",), "CD open": ("CD", "CD"), "to c": ("CD", "c"),
            "to d": ("CD", "d"), "mixed": ("CD", "AB"),
        },
        plants={
            "a": "F2", "b": "F2", "c": "AB", "d": "AB", "e": "CD", "f": "CD", "g": "EF",
        },
        scores={"a": 0, "b": 0, "c": 1, "d": 0, "f": 0, "g": 0},
        sibs={
            "F2": (3, 1), "AB": (3, 1), "CD": (2, 2), "EF": (4, 1), "CE": (2, 1), "DA": (3, 1),
            "G": (2, 1), "CD open": (2, 1), "to c": (1, 2), "to d": (3, 0),
            "mixed": (2, 1),
        },
    )  # fmt: skip


def two_genes() -> Register:
    """A dozen plants scored in two genes: selfed, backcrossed, mated and mated again."""
    return Register(
        families={**F1_F2, "A": ("a",), "BC": ("a", "P2"), "AB": ("a", "b"), "CD": ("c", "d")},
        plants={"a": "F2", "b": "F2", "c": "AB", "d": "AB"},
        scores={"a": 0, "b": 1, "c": 2},
        sibs={"F2": (1, 1, 1), "A": (1, 0, 1), "BC": (0, 1, 0), "AB": (1, 0, 0), "CD": (1, 0, 1)},
    )


def at_random(trait: Trait, seed: int, size: int = 30) -> Register:
    """Single plants, each of a new family: a selfing, a cross or a backcross of earlier ones.

    Their genotypes are drawn from the founders AA and aa by Mendel's laws, and a quarter of
    them is not scored, so that no score is impossible under these founders.
    """
    rng = np.random.default_rng(seed)
    truth = {"P1": "AA", "P2": "aa", "F1": "Aa"}
    families: dict[str, tuple[str, ...]] = dict(F1_F2)
    plants, scores, sibs = {}, {}, {}

    def drawn(family: str) -> str:
        parents = [truth[p] for p in families[family]]
        shares = offspring(parents[0], parents[-1])
        return str(rng.choice(list(shares), p=list(shares.values())))

    for i in range(size):
        plant, family, grown = f"plant {i}", "F2", list(plants)
        if i >= 3:
            family = f"family {i}"
            some = [str(p) for p in rng.choice(grown, 2, replace=False)]
            back = (some[0], str(rng.choice(["P1", "P2"])))
            ways = [(some[0],), tuple(some), back]
            families[family] = ways[rng.choice(3, p=[0.4, 0.35, 0.25])]
        plants[plant] = family
        truth[plant] = drawn(family)
        if rng.random() < 0.75:
            scores[plant] = trait.look(truth[plant])
        row = sibs.setdefault(family, [0] * trait.classes)
        for _ in range(rng.integers(3)):
            row[trait.look(drawn(family))] += 1
    return Register(families, plants, scores, sibs)


# --- the tests ---------------------------------------------------------------

HOMOZYGOUS = [("AA", "aa"), ("aa", "AA")]
ANY = [*HOMOZYGOUS, ("Aa", "aa"), ("Aa", "Aa")]


@pytest.mark.parametrize("make", [selfed_plants, backcrossed_plant, mated_sibs])
def test_one_gene(make: Callable[[], Register]) -> None:
    compare(make(), DOMINANT, ANY)


@pytest.mark.parametrize("ordered", [False, True])
def test_two_genes_with_recessive_epistasis(ordered: bool) -> None:
    trait = Trait(TWO_GENES, epistatic, 3, ordered)
    compare(two_genes(), trait, [("AABB", "aabb"), ("AAbb", "aaBB"), ("AaBb", "aabb")])


@pytest.mark.parametrize("trait", [DOMINANT, INTERMEDIATE], ids=["dominant", "intermediate"])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_register_at_random(trait: Trait, seed: int) -> None:
    compare(at_random(trait, seed), trait, HOMOZYGOUS)


@pytest.mark.parametrize("make", [selfed_plants, backcrossed_plant, mated_sibs])
def test_what_each_plant_can_be(make: Callable[[], Register]) -> None:
    compare_plants(make(), DOMINANT, ANY[:3])


def test_what_each_plant_can_be_in_two_genes() -> None:
    compare_plants(two_genes(), Trait(TWO_GENES, epistatic, 3), [("AABB", "aabb")])


@pytest.mark.parametrize("trait", [DOMINANT, INTERMEDIATE], ids=["dominant", "intermediate"])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_what_each_plant_of_a_register_at_random_can_be(trait: Trait, seed: int) -> None:
    """30 single plants, mated, selfed and put back at random, and their sibs."""
    compare_plants(at_random(trait, seed), trait, HOMOZYGOUS[:1])
