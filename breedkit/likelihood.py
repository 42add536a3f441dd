"""One likelihood for a whole register under one inheritance model.

A single plant that was scored and has offspring is one hidden genotype x; all other
plants of a family are unselected sibs and enter as counts n_c of their classes. With
e the rate of mis-scoring, P(c | x) = (1 - e) [c is the class of x] + e S(class of x, c),
and S spreads over the other classes (over the neighbours of an ordered one),

    L = sum over all hidden x of  prod P(x | its parents) P(score of x | x)
                               *  prod over families, classes  s_c(x of its parents) ^ n_c

where s_c is the share of class c among the sibs, mis-scoring included. Founders are
conditioned on, so backcrosses make no loops. Plants with one hidden parent are summed
out level by level, all of a level at once; what then remains are matings between
hidden plants, summed out one plant at a time. Both are exact.

Plants chosen by their look without a name (a CHOSEN group) are taken to be of that class.

Many candidates (founder genotypes, ways to name the classes) and many rates of
mis-scoring go along as leading axes, (candidates, rates).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import prod

import numpy as np

from breedkit.evidence import Evidence, Kind
from breedkit.genome import Genome
from breedkit.meiosis import gamete_step, run_steps, side_by_side, union_step

# --- the arrays of one model ------------------------------------------------


@dataclass(frozen=True, eq=False)
class Engine:
    """The crosses of a genome as dense matrices over its flattened states.

    `gametes` is (states, gametes), `union` (gametes x gametes, states), `selfing`
    (states, states). Fit for up to three loci.
    """

    genome: Genome
    gametes: np.ndarray
    union: np.ndarray
    selfing: np.ndarray

    @classmethod
    @lru_cache(maxsize=64)
    def of(cls, genome: Genome) -> Engine:
        states = prod(genome.shape)
        each = np.eye(states).reshape(*genome.shape, states)
        steps = [*(gamete_step(g, False) for g in genome.groups), np.eye(states)]
        gametes = run_steps(each, [*genome.shape, states], steps).reshape(-1, states).T
        sizes = [prod(g.sizes) for g in genome.groups]
        units = np.eye(prod(sizes)).reshape(-1, *sizes)
        steps = [union_step(g, False) for g in genome.groups]
        squares = [h * h for h in sizes]
        union = np.array(
            [run_steps(side_by_side(a, b), squares, steps).ravel() for a in units for b in units]
        )
        both = (gametes[:, :, None] * gametes[:, None, :]).reshape(states, -1)
        return cls(genome, gametes, union, both @ union)


@dataclass(frozen=True, eq=False)
class Candidates:
    """Variants of one model that are worked out together.

    Parameters
    ----------
    genome : the loci.
    founders : (candidates, founders), the state of each founder, in the order of the
        evidence's founders.
    looks : (candidates, states), the class that each genotype shows; -1 dies.
    """

    genome: Genome
    founders: np.ndarray
    looks: np.ndarray

    def part(self, which: slice | np.ndarray) -> Candidates:
        """Some of the candidates."""
        return Candidates(self.genome, self.founders[which], self.looks[which])


def expected_genotypes(evidence: Evidence, candidates: Candidates) -> np.ndarray:
    """Expected shares of the genotypes in every scored family.

    A family from a hidden plant is the average over what that plant can be, its own look
    not considered. Looks matter only where they say that a genotype dies.

    Returns
    -------
    array (candidates, families in the order of `evidence.counts`, states).
    """
    return _Sum(evidence, candidates, mis_scoring([0.0], len(evidence.classes))).expected()


def expected_shares(evidence: Evidence, candidates: Candidates) -> np.ndarray:
    """Expected shares of the classes in every scored family, without mis-scoring.

    Returns
    -------
    array (candidates, families in the order of `evidence.counts`, classes).
    """
    shown = np.eye(len(evidence.classes) + 1)[candidates.looks][:, :, :-1]
    return expected_genotypes(evidence, candidates) @ shown


def log_likelihoods(evidence: Evidence, candidates: Candidates, mixing: np.ndarray) -> np.ndarray:
    """The log-likelihood of every candidate at every rate of mis-scoring.

    Parameters
    ----------
    evidence : the scores.
    candidates : founders and looks.
    mixing : (rates, classes, classes), the chance that a plant of one class is written
        down as another; see `mis_scoring`.

    Returns
    -------
    array (candidates, rates); -inf where the scores are impossible. The chance is that of
    the plants in the order in which they stand, without binomial coefficients.
    """
    return _Sum(evidence, candidates, mixing).total()


def draw(
    evidence: Evidence, candidates: Candidates, mixing: np.ndarray, rng: np.random.Generator
) -> Evidence:
    """A season like this one, drawn from one candidate at one rate of mis-scoring.

    The register, the plants that have offspring and the number of plants scored in each
    family stay; genotypes and scores are new.
    """
    return _Sum(evidence, candidates, mixing).drawn(rng)


def mis_scoring(
    rates: Sequence[float] | np.ndarray, classes: int, ordered: bool = False
) -> np.ndarray:
    """Chance of writing one class down as another: rate spread over the others.

    Returns
    -------
    array (rates, classes, classes), rows total 1. In an ordered trait only the neighbours
    are mistaken for a class.
    """
    near = np.abs(np.subtract.outer(np.arange(classes), np.arange(classes)))
    other = (near == 1 if ordered else near > 0).astype(float)
    spread = other / np.maximum(other.sum(axis=1, keepdims=True), 1)
    e = np.asarray(rates, dtype=float)[:, None, None] * (classes > 1)
    return (1 - e) * np.eye(classes) + e * spread


class _Sum:
    """One pass over a register: distributions downwards, then likelihoods upwards.

    Arrays have the axes (candidates, rates, states of each given plant, ...); a first axis of
    length 1 stands for every candidate.
    """

    def __init__(self, evidence: Evidence, candidates: Candidates, mixing: np.ndarray):
        self.nodes, self.evidence, self.candidates = evidence.nodes, evidence, candidates
        self.structure = evidence.structure
        self.engine = Engine.of(candidates.genome)
        self.alive = candidates.looks >= 0
        shown = np.eye(len(evidence.classes))[candidates.looks] * self.alive[:, :, None]
        # (candidates, rates, states, classes): what a plant of each genotype is written as
        self.written = np.einsum("bgc,ecd->begd", shown, mixing)
        self.sums = np.zeros((len(candidates.looks), len(mixing)))
        self.founder_at = {node: i for i, node in enumerate(evidence.founders.values())}
        self._weights: dict[int, np.ndarray] = {}
        self._chances: dict[int, np.ndarray] = {}

    # --- downwards: which genotypes a group can have ---

    def weights(self, number: int) -> np.ndarray:
        """The distribution of a node's plants, (candidates or 1, states of each given, states).

        Not scaled: seed that dies is missing, so that pooled families keep their sizes.
        """
        recipe = self.structure.recipe[number]
        if recipe not in self._weights:
            self._weights[recipe] = self._make(self.structure.origin[recipe])
        return self._weights[recipe]

    def _make(self, number: int) -> np.ndarray:
        node, given = self.nodes[number], self.structure.given
        states = len(self.engine.selfing)
        match node.kind:
            case Kind.FOUNDER:
                return np.eye(states)[self.candidates.founders[:, self.founder_at[number]]]
            case Kind.PLANT:
                return np.eye(states)[None]
            case Kind.CHOSEN:
                kept = self._middle(self.candidates.looks == node.other, given[number])
                return self.weights(node.one) * kept
            case Kind.SELFING:
                weights = self.weights(node.one) @ self.engine.selfing
            case _:
                letters = dict(zip(given[number], "abcd", strict=False))
                sides = ["z" + "".join(letters[g] for g in given[n]) for n in node[1:]]
                both = np.einsum(
                    f"{sides[0]}x,{sides[1]}y->z{''.join(letters.values())}xy",
                    *(self.weights(n) @ self.engine.gametes for n in node[1:]),
                )
                weights = both.reshape(*both.shape[:-2], -1) @ self.engine.union
        if not self.alive.all():
            weights = weights * self._middle(self.alive, given[number])
        return weights

    @staticmethod
    def _middle(array: np.ndarray, given: tuple[int, ...]) -> np.ndarray:
        """(candidates, states) -> (candidates, 1 for each given plant, states)."""
        return array.reshape(len(array), *(1,) * len(given), -1)

    def chances(self, number: int) -> np.ndarray:
        """The distribution of a node's plants, scaled to total 1 given each hidden plant."""
        recipe = self.structure.recipe[number]
        if recipe not in self._chances:
            weights = self.weights(number)
            total = weights.sum(axis=-1, keepdims=True)
            scaled = np.zeros_like(weights)
            self._chances[recipe] = np.divide(weights, total, out=scaled, where=total > 0)
        return self._chances[recipe]

    # --- upwards: how likely the scores are ---

    def total(self) -> np.ndarray:
        """The log-likelihood, (candidates, rates)."""
        plants = self.structure.plants
        self.at = {n: i for i, n in enumerate(plants)}
        self.message = np.zeros((*self.sums.shape, len(plants), len(self.engine.selfing)))
        self.pairs: dict[tuple[int, ...], np.ndarray] = {}
        alike: dict[int, list[int]] = {}
        for n in self.evidence.counts:
            alike.setdefault(self.structure.recipe[n], []).append(n)
        for members in alike.values():
            self._add_counts(members)
        seen: dict[int, list[int]] = {}
        for n, look in self.evidence.scores.items():
            seen.setdefault(look, []).append(self.at[n])
        for look, where in seen.items():
            self.message[:, :, where] += _log(self.written[:, :, None, :, look])
        for members in self.structure.steps:
            self._sum_out(members)
        if self.structure.core:
            self._contract()
        return self.sums

    def expected(self) -> np.ndarray:
        """Average shares of the genotypes in every scored family."""
        families = [self._average(number) for number in self.evidence.counts]
        if not families:
            return np.zeros((len(self.sums), 0, len(self.engine.selfing)))
        shape = (len(self.sums), len(self.engine.selfing))
        return np.stack([np.broadcast_to(family, shape) for family in families], axis=1)

    def _average(self, number: int) -> np.ndarray:
        """The distribution of a node's plants, hidden plants summed out: (candidates, states)."""
        chances = self.chances(number)
        for plant in reversed(self.structure.given[number]):
            chances = np.einsum("z...hg,zh->z...g", chances, self._average(self.nodes[plant].one))
        return chances

    def drawn(self, rng: np.random.Generator) -> Evidence:
        """New counts and scores, parents before offspring."""
        states: dict[int, int] = {}
        given = self.structure.given

        def chances(number: int) -> np.ndarray:
            """The distribution of a node's plants, given the hidden plants drawn so far."""
            return self.chances(number)[0][tuple(states[g] for g in given[number])]

        written = self.written[0, 0]
        scores = dict(self.evidence.scores)
        for plant in self.structure.plants:
            states[plant] = int(rng.choice(len(written), p=chances(self.nodes[plant].one)))
            if plant in scores:
                scores[plant] = int(rng.choice(written.shape[1], p=written[states[plant]]))
        counts = {
            number: tuple(rng.multinomial(sum(row), chances(number) @ written).tolist())
            for number, row in self.evidence.counts.items()
        }
        return self.evidence.with_scores(counts, scores)

    def _add_counts(self, members: list[int]) -> None:
        """Families that come about alike: what their counts say of the plants they come from."""
        chances = self.chances(members[0])
        letters = "abcd"[: chances.ndim - 2]
        shares = np.einsum(f"z{letters}g,zegc->ze{letters}c", chances, self.written)
        counts = np.array([self.evidence.counts[n] for n in members], dtype=float)
        never = (shares == 0) @ counts.T > 0
        said = np.log(np.where(shares > 0, shares, 1)) @ counts.T
        self._tell(members, np.where(never, -np.inf, said))

    def _tell(self, members: list[int], said: np.ndarray) -> None:
        """Add (candidates, rates, states of the given plants, members) where it belongs."""
        given = [self.structure.given[n] for n in members]
        match said.ndim - 3:
            case 0:
                self.sums += said.sum(axis=-1)
            case 1:
                by_plant = np.moveaxis(self.message, 2, 0)
                np.add.at(by_plant, [self.at[g] for (g,) in given], np.moveaxis(said, -1, 0))
            case _:
                for i, plants in enumerate(given):
                    self.pairs[plants] = self.pairs.get(plants, 0) + said[..., i]

    def _sum_out(self, members: list[int]) -> None:
        """Sum over the genotypes of hidden plants whose families come about alike."""
        homes = [self.nodes[n].one for n in members]
        message = self.message[:, :, [self.at[n] for n in members]]
        top = message.max(axis=-1, keepdims=True)
        top[~np.isfinite(top)] = 0
        likely = np.exp(message - top)
        letters = "abcd"[: len(self.structure.given[homes[0]])]
        summed = np.einsum(f"z{letters}g,zemg->ze{letters}m", self.chances(homes[0]), likely)
        scale = top.reshape(*top.shape[:2], *(1,) * len(letters), -1)
        self._tell(homes, _log(summed) + scale)

    def _contract(self) -> None:
        """Sum out the plants of the core one by one, always the one with fewest neighbours."""
        given, left = self.structure.given, set(self.structure.core)
        factors: list[tuple[tuple[int, ...], np.ndarray]] = []
        for n in left:
            home = self.nodes[n].one
            factors.append(((*given[home], n), self.chances(home)[:, None]))
            factors.append(((n,), self._scaled(self.message[:, :, self.at[n]])))
        factors += [(plants, self._scaled(log)) for plants, log in self.pairs.items()]
        while left:
            near = {n: {g for plants, _ in factors if n in plants for g in plants} for n in left}
            n = min(left, key=lambda plant: (len(near[plant]), plant))
            touched = [f for f in factors if n in f[0]]
            factors = [f for f in factors if n not in f[0]]
            letters = dict(zip(sorted(near[n]), "abcdfghijklmnopqrstuvwxy", strict=False))
            rest = tuple(g for g in sorted(near[n]) if g != n)
            terms = ",".join("ze" + "".join(letters[g] for g in plants) for plants, _ in touched)
            out = "ze" + "".join(letters[g] for g in rest)
            product = np.einsum(f"{terms}->{out}", *(a for _, a in touched), optimize=True)
            left.remove(n)
            if rest:
                factors.append((rest, self._scaled(_log(product))))
            else:
                self.sums += _log(product)

    def _scaled(self, log: np.ndarray) -> np.ndarray:
        """exp(log), scaled to 1 at its largest; the scale goes into the sum."""
        top = log.max(axis=tuple(range(2, log.ndim)), keepdims=True)
        top[~np.isfinite(top)] = 0
        self.sums += top.reshape(top.shape[:2])
        return np.exp(log - top)


def _log(x: np.ndarray) -> np.ndarray:
    with np.errstate(divide="ignore"):
        return np.log(x)
