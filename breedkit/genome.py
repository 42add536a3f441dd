"""Which loci a cross follows, how they are linked, and the genotypes they can form.

A `Genome` is a row of linkage groups. Every array over genotypes has one axis a
group, and `Genome` says what an index means: which alleles it carries (as
arrays that broadcast over the whole), and which genotype it is.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from typing import Any

import numpy as np

from breedkit.errors import ModelError
from breedkit.loci import Gamete, Genotype, Locus, allele_order, loci_of, parse_genotype

Number = Fraction | float

MOST_LOCI = 8


@dataclass(frozen=True)
class Group:
    """Loci handed on together: one locus, several linked ones, or the cytoplasm.

    `recombination` holds the fraction for each interval, 0 to 1/2. One locus has
    the unordered pairs of its alleles as states; a linked group has the ordered
    pairs (from the mother, from the father) locus by locus; a cytoplasm its alleles.
    """

    loci: tuple[Locus, ...]
    recombination: tuple[Number, ...] = ()

    @property
    def linked(self) -> bool:
        return len(self.loci) > 1

    @property
    def cytoplasm(self) -> bool:
        return self.loci[0].cytoplasm

    @property
    def sizes(self) -> tuple[int, ...]:
        """Number of alleles at each locus."""
        return tuple(len(locus.alleles) for locus in self.loci)

    @cached_property
    def pairs(self) -> np.ndarray:
        """Allele numbers of every state, shape (states, loci, 2)."""
        if self.cytoplasm:
            return np.arange(self.sizes[0])[:, None, None].repeat(2, axis=2)
        if not self.linked:
            pairs = itertools.combinations_with_replacement(range(self.sizes[0]), 2)
            return np.array(list(pairs))[:, None, :]
        per_locus = [list(itertools.product(range(k), repeat=2)) for k in self.sizes]
        return np.array(list(itertools.product(*per_locus)))


@dataclass(frozen=True)
class Genome:
    """The linkage groups of a cross, in order; with a cytoplasm, that comes first."""

    groups: tuple[Group, ...]

    @classmethod
    def of(
        cls,
        parents: Sequence[Genotype | str],
        recombination: Sequence[Number] = (),
        alleles: Sequence[str] = (),
    ) -> Genome:
        """The genome that some parents span.

        Parameters
        ----------
        parents : genotypes that name the same loci, such as 'AB/AB' and 'ab/ab'.
        recombination : a fraction from 0 to 1/2 for each interval between linked
            loci, in order.
        alleles : further alleles to allow for.

        Raises
        ------
        ModelError
            for more than 8 loci, or fractions that are missing or out of range.
        """
        genotypes = [parse_genotype(p) if isinstance(p, str) else p for p in parents]
        loci = iter(loci_of(genotypes, alleles))
        lengths = [len(g) for g in genotypes[0].female.groups]
        rates = list(recombination)
        _check_genome(lengths, rates)
        groups = [
            Group(tuple(itertools.islice(loci, n)), tuple(rates.pop(0) for _ in range(n - 1)))
            for n in lengths
        ]
        plasms = sorted({g.cytoplasm for g in genotypes if g.cytoplasm}, key=allele_order)
        if plasms and any(g.cytoplasm is None for g in genotypes):
            raise ModelError("Give the cytoplasm of every parent, or of none.")
        if plasms:
            groups.insert(0, Group((Locus("cytoplasm", tuple(plasms), cytoplasm=True),)))
        return cls(tuple(groups))

    @cached_property
    def known_steps(self) -> dict[tuple[Any, bool], list[Any]]:
        """Room for what others work out once for this genome."""
        return {}

    @cached_property
    def shape(self) -> tuple[int, ...]:
        """Number of states of each group: the shape of a population's weights."""
        return tuple(len(g.pairs) for g in self.groups)

    def alleles_at(self, letter: str) -> tuple[Locus, np.ndarray, np.ndarray]:
        """A locus and the two allele numbers of every state, to broadcast over weights."""
        for axis, group in enumerate(self.groups):
            for i, locus in enumerate(group.loci):
                if locus.letter == letter:
                    shape = [1] * len(self.groups)
                    shape[axis] = -1
                    pair = group.pairs[:, i]
                    return locus, pair[:, 0].reshape(shape), pair[:, 1].reshape(shape)
        raise ModelError(f"There is no locus {letter} in this cross.")

    def state_of(self, genotype: Genotype) -> tuple[int, ...]:
        """Index of a genotype in the weights."""
        where = []
        strands = zip(genotype.female.groups, genotype.male.groups, strict=True)
        for group in self.groups:
            if group.cytoplasm:
                assert genotype.cytoplasm is not None
                where.append(group.loci[0].alleles.index(genotype.cytoplasm))
                continue
            mother, father = next(strands)
            pair = [
                (locus.alleles.index(f), locus.alleles.index(m))
                for locus, f, m in zip(group.loci, mother, father, strict=True)
            ]
            if not group.linked:
                pair = [(min(pair[0]), max(pair[0]))]
            where.append(int((group.pairs == pair).all(axis=(1, 2)).argmax()))
        return tuple(where)

    def genotypes(self) -> list[Genotype]:
        """The genotype of every state, in the order of the flattened weights."""
        found = []
        for states in itertools.product(*(g.pairs for g in self.groups)):
            plasm, female, male = None, [], []
            for group, state in zip(self.groups, states, strict=True):
                names = [
                    [locus.alleles[a] for a in pair]
                    for locus, pair in zip(group.loci, state, strict=True)
                ]
                if group.cytoplasm:
                    plasm = names[0][0]
                else:
                    female.append(tuple(f for f, _ in names))
                    male.append(tuple(m for _, m in names))
            found.append(Genotype(Gamete(tuple(female), plasm), Gamete(tuple(male), plasm)))
        return found


def _check_genome(lengths: list[int], rates: list[Number]) -> None:
    if sum(lengths) > MOST_LOCI:
        raise ModelError(
            f"At most {MOST_LOCI} loci can be crossed at once; these are {sum(lengths)}."
        )
    needed = sum(n - 1 for n in lengths)
    if len(rates) != needed:
        raise ModelError(
            f"These loci need {needed} recombination fractions, one an interval; "
            f"{len(rates)} given."
        )
    wrong = [r for r in rates if not 0 <= r <= Fraction(1, 2)]
    if wrong:
        raise ModelError(f"A recombination fraction lies from 0 to 0.5; {wrong[0]} does not.")
