"""The exact engine: what a cross, a selfing or a backcross makes of a population.

A `Population` holds a weight for every genotype, one array axis for each linkage
group, and the grower's verbs: selfed, crossed, intermated, sib-mated, and
`where`, the plants of one look. Each verb is one step of meiosis along every
axis in turn. `grow` follows the parentage of a whole family.

Exact populations count equally likely cases in whole numbers, as a Punnett
square does, and give shares as Fractions; others hold shares as floats.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from math import lcm, prod

import numpy as np

from breedkit.errors import ModelError
from breedkit.genome import Genome, Group, Number
from breedkit.loci import Gamete, Genotype, parse_genotype
from breedkit.meiosis import (
    Step,
    first_sib_step,
    gamete_step,
    pair_step,
    run_steps,
    selfing_step,
    sib_step,
    side_by_side,
    union_step,
)
from breedkit.pedigree import Chosen, Cross, Founder, Intermating, Plan, Selfing, Sibmating

MOST_PAIRS = 50_000_000  # states of a pair of sibs, 8 bytes each


@dataclass(frozen=True, eq=False)
class Population:
    """How common each genotype is among the plants that a cross can give.

    Parameters
    ----------
    genome : the groups that the axes of `weights` stand for.
    weights : shape `genome.shape`; whole numbers (dtype object) if `exact`, else
        floats. Only their proportions matter.
    """

    genome: Genome
    weights: np.ndarray
    exact: bool = False

    @classmethod
    def of(cls, genome: Genome, genotype: Genotype | str, exact: bool = False) -> Population:
        """All plants of one genotype: an inbred founder, or one plant."""
        genotype = parse_genotype(genotype) if isinstance(genotype, str) else genotype
        weights = np.zeros(genome.shape, dtype=object if exact else float)
        weights[genome.state_of(genotype)] = 1
        return cls(genome, weights, exact)

    @property
    def shares(self) -> np.ndarray:
        """Share of each genotype, as Fractions if exact; they total 1."""
        return _shares(self.weights, self.exact)

    def genotype_shares(self) -> dict[str, Number]:
        """Share of each genotype that occurs, the two phases of a linked one added."""
        found: dict[str, Number] = {}
        for genotype, share in zip(
            self.genome.genotypes(), self.shares.ravel().tolist(), strict=True
        ):
            if share:
                found[str(genotype)] = found.get(str(genotype), 0) + share
        return found

    def gamete_shares(self) -> dict[str, Number]:
        """Share of each gamete that the population gives off."""
        shares = _shares(self.gametes(), self.exact)
        found: dict[str, Number] = {}
        for index in np.ndindex(shares.shape):
            alleles = []
            for group, h in zip(self.genome.groups, index, strict=True):
                at = np.unravel_index(h, group.sizes)
                alleles.append(tuple(x.alleles[a] for x, a in zip(group.loci, at, strict=True)))
            plasm = alleles.pop(0)[0] if self.genome.groups[0].cytoplasm else None
            if shares[index]:
                found[str(Gamete(tuple(alleles), plasm))] = shares.item(*index)
        return found

    def heterozygous(self, letter: str) -> Number:
        """Share of plants with two different alleles at a locus."""
        _, one, two = self.genome.alleles_at(letter)
        return (self.shares * (one != two)).sum()

    def allele_share(self, allele: str) -> Number:
        """Share of an allele among all copies of its locus."""
        locus, one, two = self.genome.alleles_at(allele[0].upper())
        a = locus.alleles.index(allele)
        copies = (one == a).astype(int) + (two == a)
        return (self.shares * copies).sum() / 2

    # --- what a grower does with it ---

    def gametes(self) -> np.ndarray:
        """Weights of the gametes, shape: number of gametes of each group."""
        steps = _steps(self.genome, gamete_step, self.exact)
        shape = tuple(prod(g.sizes) for g in self.genome.groups)
        return run_steps(self.weights, self.genome.shape, steps).reshape(shape)

    def selfed(self, generations: int = 1) -> Population:
        """Every plant selfed, the offspring pooled; again for each further generation."""
        steps = _steps(self.genome, selfing_step, self.exact)
        weights = self.weights
        for _ in range(generations):
            weights = run_steps(weights, self.genome.shape, steps)
        return self._with(weights)

    def crossed(self, male: Population) -> Population:
        """Random plants of this population as mothers, of `male` as fathers."""
        if male.genome != self.genome:
            raise ModelError("Two populations must share one genome to be crossed.")
        mothers, fathers = self.gametes(), male.gametes()
        weights = side_by_side(mothers, fathers)
        shape = tuple(h * h for h in mothers.shape)
        return self._with(run_steps(weights, shape, _steps(self.genome, union_step, self.exact)))

    def intermated(self) -> Population:
        """Open pollination among the plants of this population alone."""
        return self.crossed(self)

    def sib_mated(self, generations: int = 1) -> Population:
        """Pairs of sibs mated, again within each pair's offspring, the offspring pooled."""
        genome = self.genome
        if self.weights.size**2 > MOST_PAIRS:
            raise ModelError("Too many loci to follow pairs of sibs; leave some of them out.")
        shape = tuple(s * s for s in genome.shape)
        pairs = run_steps(
            side_by_side(self.weights, self.weights), shape, _steps(genome, pair_step, self.exact)
        )
        for _ in range(generations):
            pairs = run_steps(pairs, shape, _steps(genome, sib_step, self.exact))
        return self._with(run_steps(pairs, shape, _steps(genome, first_sib_step, self.exact)))

    def where(self, keep: np.ndarray) -> Population:
        """Only the plants for which `keep`, broadcast over the weights, is true.

        Raises
        ------
        ModelError
            if no plant is left.
        """
        weights = self.weights * (keep.astype(int) if self.exact else keep)
        if not weights.any():
            raise ModelError("No plant of this population is of that kind.")
        return self._with(weights)

    def thinned(self, shares: np.ndarray) -> Population:
        """Only a share of the plants of each genotype.

        Parameters
        ----------
        shares : broadcast over the weights; Fractions or whole numbers if exact.

        Raises
        ------
        ModelError
            if no plant is left.
        """
        if self.exact:
            exact = [Fraction(x) for x in np.broadcast_to(shares, self.weights.shape).flat]
            scale = lcm(*(x.denominator for x in exact))
            shares = np.array([int(x * scale) for x in exact], dtype=object).reshape(
                self.weights.shape
            )
        weights = self.weights * shares.astype(object if self.exact else float)
        if not weights.any():
            raise ModelError("No plant of this population is of that kind.")
        return self._with(weights)

    def each_genotype(self) -> list[Population]:
        """For every genotype that occurs, a population of it alone."""
        found = []
        for state in np.argwhere(self.weights):
            weights = np.zeros_like(self.weights)
            weights[tuple(state)] = 1
            found.append(self._with(weights))
        return found

    def _with(self, weights: np.ndarray) -> Population:
        return Population(self.genome, weights.reshape(self.genome.shape), self.exact)


def grow(
    plan: Plan,
    founder: Callable[[str], Population],
    choose: Callable[[Population, str], Population],
    settle: Callable[[Population], Population] = lambda population: population,
    given: Mapping[Plan, Population] | None = None,
) -> Population:
    """The population that a family's parentage leads to.

    Parameters
    ----------
    plan : who came from whom (`breedkit.pedigree`).
    founder : gives the population of a founder by name.
    choose : keeps the plants of a class.
    settle : what befalls every new generation, such as the death of a lethal genotype.
    given : parts of the plan whose population is known already, such as one plant.
    """
    known = dict(given or {})

    def reach(node: Plan) -> Population:
        if node not in known:
            known[node] = settle(make(node))
        return known[node]

    def make(node: Plan) -> Population:
        match node:
            case Founder(name):
                return founder(name)
            case Cross(female, male):
                return reach(female).crossed(reach(male))
            case Selfing(parent):
                return reach(parent).selfed()
            case Intermating(parent):
                return reach(parent).intermated()
            case Sibmating(parent):
                return reach(parent).sib_mated()
            case Chosen(parent, look):
                return reach(parent) if look is None else choose(reach(parent), look)
        raise TypeError(f"{node!r} is not a way to make a family")

    return reach(plan)


def _steps(genome: Genome, make: Callable[[Group, bool], Step], exact: bool) -> list[Step]:
    """The step that `make` gives for each group, made once for each genome."""
    known = genome.known_steps
    if (make, exact) not in known:
        known[make, exact] = [make(group, exact) for group in genome.groups]
    return known[make, exact]


def _shares(weights: np.ndarray, exact: bool) -> np.ndarray:
    total = weights.sum()
    if not exact:
        return weights / total
    shares = [Fraction(w, total) for w in weights.flat]
    return np.array(shares, dtype=object).reshape(weights.shape)
