"""From genotype to class: a rule in the trade's notation.

    {"A_B_": "purple", "A_bb": "red", "aa__": "white"}

`_` is any allele, `__` any pair, `(c)` a cytoplasm. Every genotype that the
alleles of the rule can form must be claimed exactly once; else the error lists
the genotypes that are missing or claimed twice. A genotype whose class is None
dies before it is scored (a lethal). On arrays a rule is one integer for every
genotype, looked up by broadcasting one comparison a locus.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from breedkit.errors import ModelError, quote
from breedkit.genome import Genome, Group
from breedkit.loci import Locus, Pattern, allele_order, locus_of, parse_patterns
from breedkit.results import listing

DEAD = -1  # class number of a genotype that dies


@dataclass(frozen=True)
class Rule:
    """Which class each genotype shows.

    Parameters
    ----------
    letters : the loci, in the order of the patterns.
    patterns : what is claimed, and for each pattern in `looks` the class (None: dies).
    """

    letters: tuple[str, ...]
    patterns: tuple[Pattern, ...]
    looks: tuple[str | None, ...]

    @classmethod
    def of(cls, mapping: Mapping[str, str | None]) -> Rule:
        """Read and check a rule.

        Raises
        ------
        ModelError
            for a pattern that cannot be read, and for genotypes claimed by none or by two.
        """
        if not isinstance(mapping, Mapping) or not mapping:
            raise ModelError("A rule says a class for each pattern: {'A_': 'red', 'aa': 'white'}.")
        letters, patterns = parse_patterns(mapping)
        rule = cls(letters, patterns, tuple(mapping.values()))
        if not rule.classes:
            raise ModelError("A rule needs at least one class that lives.")
        rule.table(rule.own_genome)
        return rule

    @cached_property
    def classes(self) -> tuple[str, ...]:
        """The classes that can be seen, in the order of the rule."""
        return tuple(dict.fromkeys(look for look in self.looks if look is not None))

    @property
    def lethal(self) -> bool:
        return None in self.looks

    @cached_property
    def alleles(self) -> tuple[str, ...]:
        """Every allele the rule knows; where it names but one of a locus, its other case too."""
        named = {a for p in self.patterns for pair in p.slots for a in pair if a != "_"}
        for letter in self.letters:
            own = [a for a in named if locus_of(a) == letter]
            if len(own) == 1:
                named.add(own[0].swapcase())
        return tuple(sorted(named, key=lambda a: (locus_of(a), allele_order(a))))

    @cached_property
    def own_genome(self) -> Genome:
        """The rule's loci, unlinked, with the alleles it names."""
        groups = [
            Group((Locus(x, tuple(a for a in self.alleles if locus_of(a) == x)),))
            for x in self.letters
        ]
        plasms = sorted({p.cytoplasm for p in self.patterns if p.cytoplasm}, key=allele_order)
        if plasms:
            groups.insert(0, Group((Locus("cytoplasm", tuple(plasms), cytoplasm=True),)))
        return Genome(tuple(groups))

    def table(self, genome: Genome) -> np.ndarray:
        """Number of the class of every genotype; `DEAD` for one that dies.

        Returns
        -------
        int array, shape `genome.shape`.
        """
        claims = np.zeros(genome.shape, dtype=int)
        table = np.full(genome.shape, DEAD)
        for pattern, look in zip(self.patterns, self.looks, strict=True):
            claimed = self._claimed(pattern, genome)
            claims = claims + claimed
            if look is not None:
                table = np.where(claimed, self.classes.index(look), table)
        if (claims != 1).any():
            raise self._uneven(genome, claims)
        return table

    def _claimed(self, pattern: Pattern, genome: Genome) -> np.ndarray:
        """Which genotypes a pattern speaks of, shape `genome.shape`."""
        claimed = np.ones(genome.shape, dtype=bool)
        if pattern.cytoplasm is not None:
            locus, plasm, _ = genome.alleles_at("cytoplasm")
            claimed = claimed & (plasm == _number(locus, pattern.cytoplasm))
        for letter, pair in zip(self.letters, pattern.slots, strict=False):
            if pair == ("_", "_"):
                continue
            locus, one, two = genome.alleles_at(letter)
            a, b = (_number(locus, allele) for allele in pair)
            claimed = claimed & ((_is(one, a) & _is(two, b)) | (_is(one, b) & _is(two, a)))
        return claimed

    def _uneven(self, genome: Genome, claims: np.ndarray) -> ModelError:
        """The error that lists the genotypes claimed by no pattern or by several."""
        names = np.array([str(g) for g in genome.genotypes()])
        lines = []
        for what, found in (
            ("no pattern covers", names[claims.ravel() == 0]),
            ("more than one pattern covers", names[claims.ravel() > 1]),
        ):
            distinct = list(dict.fromkeys(found.tolist()))
            if distinct:
                more = f" and {len(distinct) - 8} more" if len(distinct) > 8 else ""
                lines.append(f"  {what} {', '.join(distinct[:8])}{more}")
        patterns = listing([quote(p.text) for p in self.patterns[:12]])
        return ModelError(
            "A rule must cover every genotype exactly once; this one does not:\n"
            + "\n".join(lines)
            + f"\nPatterns: {patterns}."
        )


def _number(locus: Locus, allele: str) -> int | None:
    """The number of an allele at its locus; None for `_`, -1 for one that is not there."""
    if allele == "_":
        return None
    return locus.alleles.index(allele) if allele in locus.alleles else -1


def _is(alleles: np.ndarray, number: int | None) -> np.ndarray:
    return np.ones_like(alleles, dtype=bool) if number is None else alleles == number
