"""What a model leaves open, and every candidate that this gives.

A candidate is a rule with a genotype for each founder, a name for each class and, where a
class does not always show or live, the share that does. In the models of one gene a
founder does not breed true with chance 2 %, and a lethal needs one that does not; founders
that are alike in that respect share alike. A tester is recessive in every gene, unless
nobody has shown what the rule calls recessive: then it is any that breeds true. Every
share from 0 to 1 is as likely beforehand. No gene is idle: the founders differ in it.

Rules of the same genes can be put together and then share alike; so are all rules of two
genes that nobody has shown in a plant, in the default comparison.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from math import comb, perm, prod

import numpy as np

from breedkit.everyrule import MOST_CLASSES as MOST_LISTED
from breedkit.everyrule import every_rule
from breedkit.genome import Genome
from breedkit.likelihood import Candidates
from breedkit.models import InheritanceModel

MOST_CLASSES = 6
MOST_FOUNDERS = 40_000  # choices of their genotypes
MOST_TOGETHER = 60_000  # choices of rule and founders, where rules are put together
SHARES = 24  # shares that are tried of plants that show their class, or that live
UNTRUE = 0.02  # prior chance that a founder does not breed true: our own choice


@dataclass(frozen=True, eq=False)
class Choices:
    """What a model, or rules put together, leave open.

    Parameters
    ----------
    rules : the model alone, or the rules.
    classes : how many classes the trait has.
    genome : the loci, the same for all.
    tables : (rules, states), the class of each state; -1 dies.
    founders : (choices, founders), their states, and `prior` of each choice.
    names : (choices, classes of the rules), the trait's class that each is.
    shares : plants that show their class, or live; nan if all do. `share_prior` of each.
    """

    rules: tuple[InheritanceModel, ...]
    classes: int
    genome: Genome
    tables: np.ndarray
    founders: np.ndarray
    prior: np.ndarray
    names: np.ndarray
    shares: np.ndarray
    share_prior: np.ndarray

    @property
    def sizes(self) -> tuple[int, int, int, int]:
        """How many choices there are of rules, founders, names and shares."""
        return len(self.rules), len(self.founders), len(self.names), len(self.shares)

    def candidates(self, numbers: np.ndarray) -> Candidates:
        """Candidates by number: shares run fastest, then names, founders and rules."""
        rule, founder, name, share = np.unravel_index(numbers, self.sizes)
        names, tables = self.names[name], self.tables[rule]
        dead = np.full((len(names), 1), -1)
        looks = np.take_along_axis(np.concatenate([names, dead], axis=1), tables, axis=1)
        plain = Candidates(self.genome, self.founders[founder], looks)
        model, value = self.rules[0], self.shares[share]
        if model.ailing is not None:
            weak = tables == model.classes.index(model.ailing)
            return replace(plain, living=np.where(weak, value[:, None], 1.0))
        if model.hiding is not None:
            look, otherwise = (names[:, model.classes.index(c)] for c in model.hiding)
            showing = np.tile(np.eye(self.classes), (len(names), 1, 1))
            each = np.arange(len(names))
            showing[each, look, look] = value
            showing[each, look, otherwise] = 1 - value
            return replace(plain, showing=showing)
        return plain

    def rule_of(self, number: int) -> InheritanceModel:
        """The rule of a candidate."""
        return self.rules[np.unravel_index(number, self.sizes)[0]]

    def share_of(self, number: int) -> float | None:
        """The share of plants that show or live in a candidate; None if all do."""
        share = self.shares[number % len(self.shares)]
        return None if np.isnan(share) else float(share)

    @property
    def each_prior(self) -> np.ndarray:
        """The prior of every candidate, in the order of their numbers."""
        rules, _, names, _ = self.sizes
        # rules put together name only classes that were seen, out of all ways to name them
        ways = perm(self.classes, self.names.shape[1]) if rules > 1 else max(names, 1)
        alike = np.full((rules, 1, names, 1), 1 / (rules * ways))
        return (alike * self.prior[:, None, None] * self.share_prior).ravel()


@lru_cache(maxsize=2048)
def choices_of(
    model: InheritanceModel, testers: tuple[bool, ...], classes: int, ordered: bool
) -> Choices | None:
    """What one model leaves open; None if the founders can carry too much.

    Parameters
    ----------
    testers : of each founder, whether it is a tester.
    classes : how many classes the trait has.
    """
    genome = model.rule.own_genome
    table = model.rule.table(genome).ravel()
    genotypes = genome.genotypes()
    allowed = set(model.founders())
    options = [i for i, g in enumerate(genotypes) if str(g) in allowed]
    if len(options) ** len(testers) > MOST_FOUNDERS:
        return None
    founders = _founders(genome, testers, options, tester_states(model, genome))
    k = len(model.classes)
    names = list(itertools.permutations(range(classes), k)) if k <= classes <= MOST_CLASSES else []
    if ordered and model.graded:
        names = [o for o in names if o in (tuple(sorted(o)), tuple(sorted(o, reverse=True)))]
    prior = _founder_prior(genome, founders, testers)
    shares, share_prior = _open_shares(model)
    return Choices(
        (model,), classes, genome, table[None], founders, prior,
        np.array(names, dtype=int).reshape(-1, k), shares, share_prior,
    )  # fmt: skip


@lru_cache(maxsize=32)
def other_rules(testers: tuple[bool, ...], classes: int, seen: tuple[int, ...]) -> Choices | None:
    """What all rules of two genes leave open that nobody has shown, for the classes seen.

    None if there are none for so many classes, or the founders can carry too much.
    """
    k = len(seen)
    if not 2 <= k <= MOST_LISTED:
        return None
    rules = tuple(m for m in every_rule(k) if m.genes == 2 and not m.reference)
    genome = rules[0].rule.own_genome
    pure = [i for i, g in enumerate(genome.genotypes()) if g.female == g.male]
    if len(rules) * len(pure) ** len(testers) > MOST_TOGETHER:
        return None
    founders = _founders(genome, testers, pure, pure)
    tables = np.stack([m.rule.table(genome).ravel() for m in rules])
    names = np.array(list(itertools.permutations(seen)), dtype=int)
    prior = np.full(len(founders), 1 / max(len(founders), 1))
    return Choices(
        rules, classes, genome, tables, founders, prior, names, np.full(1, np.nan), np.ones(1)
    )


def tester_states(model: InheritanceModel, genome: Genome) -> list[int]:
    """What a tester can be: recessive in all; breeding true if nobody says what is recessive."""
    genotypes = genome.genotypes()
    if model.reference:
        return [len(genotypes) - 1]
    return [i for i, g in enumerate(genotypes) if g.female == g.male]


def _founders(
    genome: Genome, testers: Sequence[bool], options: list[int], recessive: list[int]
) -> np.ndarray:
    """Every choice of founders that leaves no gene idle: (choices, founders) states."""
    every = itertools.product(*(recessive if tester else options for tester in testers))
    states = np.array(list(every), dtype=int).reshape(-1, len(testers))
    untested = [i for i, tester in enumerate(testers) if not tester]
    if len(untested) < 2:
        untested = list(range(len(testers)))
    if len(untested) < 2:
        return states
    pairs = np.stack([np.stack([a.ravel(), b.ravel()]) for a, b in _allele_arrays(genome)])
    copies = pairs[:, :, states[:, untested]]  # (genes, 2, choices, founders)
    return states[(copies != copies[:, :1, :, :1]).any(axis=(1, 3)).all(axis=0)]


def _founder_prior(genome: Genome, founders: np.ndarray, testers: Sequence[bool]) -> np.ndarray:
    """The prior of each choice of founders, by how many of them do not breed true."""
    true = np.array([g.female == g.male for g in genome.genotypes()])
    untrue = (~true[founders] & ~np.array(testers, dtype=bool)).sum(axis=1)
    n = list(testers).count(False)
    chance = np.array([comb(n, j) * UNTRUE**j * (1 - UNTRUE) ** (n - j) for j in range(n + 1)])
    return (chance / np.maximum(np.bincount(untrue, minlength=n + 1), 1))[untrue]


def _open_shares(model: InheritanceModel) -> tuple[np.ndarray, np.ndarray]:
    """Shares of plants that show, or live, and their prior: Gauss and Legendre from 0 to 1."""
    if not (model.hiding or model.ailing):
        return np.full(1, np.nan), np.ones(1)
    if model.share is not None:
        return np.array([float(model.share)]), np.ones(1)
    x, w = np.polynomial.legendre.leggauss(SHARES)
    return (x + 1) / 2, w / 2


# --- candidates that are one -------------------------------------------------


def distinct_rows(rows: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The first of each sort of row, and the sort of every row; shares count to twelve digits."""
    whole = np.ascontiguousarray((rows * 1e12).round().astype(np.int64))
    plain = whole.view(np.dtype((np.void, whole.dtype.itemsize * whole.shape[1]))).ravel()
    _, first, which = np.unique(plain, return_index=True, return_inverse=True)
    return first, which.ravel()


def _allele_arrays(genome: Genome) -> list[tuple[np.ndarray, np.ndarray]]:
    """For each locus the two allele numbers of every flattened state."""
    pairs = [genome.alleles_at(group.loci[0].letter)[1:] for group in genome.groups]
    return [
        (np.broadcast_to(one, genome.shape), np.broadcast_to(two, genome.shape))
        for one, two in pairs
    ]


def fingerprints(every: Candidates) -> np.ndarray:
    """One row a candidate, the same for candidates that differ in letters alone."""
    rows = []
    for renamed in _renamings(every.genome):
        moved = np.empty_like(every.looks)
        moved[:, renamed] = every.looks
        rows.append(np.concatenate([renamed[every.founders], moved], axis=1))
    stacked = np.stack(rows)  # (renamings, candidates, length)
    best = stacked[0]
    for other in stacked[1:]:
        differs = other != best
        at = differs.argmax(axis=1)
        lines = np.arange(len(best))
        smaller = differs.any(axis=1) & (other[lines, at] < best[lines, at])
        best = np.where(smaller[:, None], other, best)
    return best


@lru_cache(maxsize=32)
def _renamings(genome: Genome) -> list[np.ndarray]:
    """The ways to rename alleles within loci and to swap alike loci: new number of each state."""
    sizes = [g.sizes[0] for g in genome.groups]
    plain = all(k == 2 and not g.linked and not g.cytoplasm
                for k, g in zip(sizes, genome.groups, strict=True))  # fmt: skip
    if not plain:
        return [np.arange(prod(genome.shape))]
    index = np.indices(genome.shape).reshape(len(sizes), -1)
    found = []
    for order in itertools.permutations(range(len(sizes))):
        for flips in itertools.product((False, True), repeat=len(sizes)):
            moved = np.array([2 - index[i] if f else index[i]
                              for i, f in zip(order, flips, strict=True)])  # fmt: skip
            found.append(np.ravel_multi_index(moved, genome.shape))
    return found
