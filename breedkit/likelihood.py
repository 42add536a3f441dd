"""One likelihood for a whole register under one inheritance model.

A single plant that was scored and has offspring is one hidden genotype x; all other
plants of a family are unselected sibs and enter as counts n_c of their classes. With
e the rate of mis-scoring, P(c | x) = (1 - e) [c is the class of x] + e S(class of x, c),
and S spreads over the other classes (mostly over the neighbours of an ordered one),

    L = sum over all hidden x of  prod P(x | its parents) P(score of x | x)
                               *  prod over families, classes  s_c(x of its parents) ^ n_c

where s_c is the share of class c among the sibs, mis-scoring included. Founders are
conditioned on, so backcrosses make no loops. Plants with one hidden parent are summed
out level by level, all of a level at once; what then remains are matings between
hidden plants, summed out one plant at a time. Both are exact.

Plants chosen by their look without a name (a CHOSEN group) are weighed by P(look | x). Where
a class does not always show, or a genotype does not always live, a candidate says so with a
matrix from class to class shown, and a chance to live for each genotype.

Many candidates (founder genotypes, ways to name the classes) and many rates of
mis-scoring go along as leading axes, (candidates, rates); instead of candidates it can be
many seasons of one register under one candidate.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import prod

import numpy as np

from breedkit.elimination import Elimination, Table, log, ratio
from breedkit.errors import ModelError
from breedkit.evidence import Alike, Counts, Evidence, Kind, Score
from breedkit.genome import Genome
from breedkit.meiosis import gamete_step, run_steps, side_by_side, union_step

LETTERS = "abdfhijklnopqrstuvw"  # in einsum, of the hidden plants that a family depends on
FURTHER = 0.1  # a slip to a class one step further off, beside the nearer one
MOST_CELLS = 5_000_000  # numbers of one family's distribution, 8 bytes each

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
    showing : (candidates, classes, classes), the chance that a plant of one class shows
        another; None if each shows its own.
    living : (candidates, states), the chance of each genotype to live until it is scored;
        None if all do whose class is not -1.
    """

    genome: Genome
    founders: np.ndarray
    looks: np.ndarray
    showing: np.ndarray | None = None
    living: np.ndarray | None = None

    def part(self, which: slice | np.ndarray) -> Candidates:
        """Some of the candidates."""
        showing = None if self.showing is None else self.showing[which]
        living = None if self.living is None else self.living[which]
        return Candidates(self.genome, self.founders[which], self.looks[which], showing, living)

    def shown(self, classes: int) -> np.ndarray:
        """(candidates, states, classes): the chance that a genotype, if it lives, shows a class."""
        plain = np.eye(classes + 1)[self.looks][:, :, :-1]
        return plain if self.showing is None else plain @ self.showing


def expected_genotypes(
    evidence: Evidence, candidates: Candidates, mixing: np.ndarray | None = None
) -> np.ndarray:
    """Expected shares of the genotypes in every scored family.

    A family from a hidden plant is the average over what that plant can be, its own look
    not considered. Looks matter only where they say that a genotype dies, and where plants
    were chosen by their look.

    Parameters
    ----------
    mixing : (rates, classes, classes), mis-scoring; by default there is none, at one rate.

    Returns
    -------
    array (candidates, rates, families in the order of `evidence.counts`, states).
    """
    none = mis_scoring([0.0], len(evidence.classes))
    return Pass(evidence, candidates, none if mixing is None else mixing).expected()


def expected_shares(
    evidence: Evidence, candidates: Candidates, mixing: np.ndarray | None = None
) -> np.ndarray:
    """Expected shares of the classes in every scored family, as they are written down.

    Returns
    -------
    array (candidates, rates, families in the order of `evidence.counts`, classes).
    """
    shares = expected_genotypes(evidence, candidates, mixing)
    shares = shares @ candidates.shown(len(evidence.classes))[:, None]
    return shares if mixing is None else shares @ mixing


def mixtures(
    evidence: Evidence, candidates: Candidates, mixing: np.ndarray
) -> list[tuple[np.ndarray, np.ndarray]]:
    """What each family can be, under one candidate and one rate of mis-scoring.

    A family from a single plant has one set of shares for each genotype of that plant, with
    the chance of that genotype, given the plant's own score.

    Returns
    -------
    for each scored family (chances, shares): (cases,) and (cases, classes), as written down.
    """
    return Pass(evidence, candidates, mixing).mixtures()


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
    return Pass(evidence, candidates, mixing).total()


def draw(
    evidence: Evidence,
    candidates: Candidates,
    mixing: np.ndarray,
    rng: np.random.Generator,
    seasons: int,
) -> Evidence:
    """Seasons like this one, drawn from one candidate at one rate of mis-scoring.

    The register, the plants that have offspring and the number of plants scored in each
    family stay; genotypes and scores are new.
    """
    return Pass(evidence, candidates, mixing).drawn(rng, seasons)


def mis_scoring(
    rates: Sequence[float] | np.ndarray, classes: int, ordered: bool = False
) -> np.ndarray:
    """Chance of writing one class down as another: rate spread over the others.

    Returns
    -------
    array (rates, classes, classes), rows total 1. In an ordered trait mostly the neighbours are
    mistaken for a class, each further step a tenth as often: no slip of the pen is impossible.
    """
    steps = np.abs(np.subtract.outer(np.arange(classes), np.arange(classes)))
    other = np.where(steps > 0, FURTHER ** (steps - 1.0) if ordered else 1.0, 0.0)
    spread = other / np.maximum(other.sum(axis=1, keepdims=True), 1)
    e = np.asarray(rates, dtype=float)[:, None, None] * (classes > 1)
    return (1 - e) * np.eye(classes) + e * spread


class Pass:
    """One pass over a register: distributions downwards, then likelihoods upwards.

    Arrays have the axes (candidates, rates, states of each given plant, ...); a first or second
    axis of length 1 stands for every candidate, or for every rate.
    """

    def __init__(self, evidence: Evidence, candidates: Candidates, mixing: np.ndarray):
        self.nodes, self.evidence, self.candidates = evidence.nodes, evidence, candidates
        self.structure = evidence.structure
        self.engine = Engine.of(candidates.genome)
        alive = candidates.looks >= 0
        self.living = alive if candidates.living is None else alive * candidates.living
        self.all_live = bool((self.living == 1).all())
        # (candidates, rates, states, classes): what a plant of each genotype is written as
        self.written = candidates.shown(len(evidence.classes))[:, None] @ mixing
        self.founder_at = {node: i for i, node in enumerate(evidence.founders.values())}
        self._weights: dict[int, np.ndarray] = {}
        self._chances: dict[int, np.ndarray] = {}

    # --- downwards: which genotypes a group can have ---

    def weights(self, number: int) -> np.ndarray:
        """The distribution of a node's plants, (candidates, rates, states of each given, states).

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
                state = self.candidates.founders[:, self.founder_at[number]]
                return np.eye(states)[state][:, None]
            case Kind.PLANT:
                return np.eye(states)[None, None]
            case Kind.CHOSEN:
                kept = self._middle(self.written[..., node.other], given[number])
                return self.weights(node.one) * kept
            case Kind.SELFING:
                weights = self.weights(node.one) @ self.engine.selfing
            case _:
                if states ** (len(given[number]) + 2) > MOST_CELLS:
                    raise ModelError(
                        f"A family that comes from {len(given[number])} single plants at once "
                        "is too much to follow.\nLeave it out, or write its parents as families."
                    )
                letters = dict(zip(given[number], LETTERS, strict=False))
                sides = ["ze" + "".join(letters[g] for g in given[n]) for n in node[1:]]
                both = np.einsum(
                    f"{sides[0]}x,{sides[1]}y->ze{''.join(letters.values())}xy",
                    *(self.weights(n) @ self.engine.gametes for n in node[1:]),
                )
                weights = both.reshape(*both.shape[:-2], -1) @ self.engine.union
        if self.all_live:
            return weights
        return weights * self._middle(self.living[:, None], given[number])

    @staticmethod
    def _middle(array: np.ndarray, given: tuple[int, ...]) -> np.ndarray:
        """(candidates, rates, states) -> (candidates, rates, 1 for each given plant, states)."""
        return array.reshape(*array.shape[:2], *(1,) * len(given), -1)

    def chances(self, number: int) -> np.ndarray:
        """The distribution of a node's plants, scaled to total 1 given each hidden plant."""
        recipe = self.structure.recipe[number]
        if recipe not in self._chances:
            weights = self.weights(number)
            self._chances[recipe] = ratio(weights, weights.sum(axis=-1, keepdims=True))
        return self._chances[recipe]

    # --- upwards: how likely the scores are ---

    def total(self, back: bool = False) -> np.ndarray:
        """The log-likelihood, (candidates or seasons, rates); `back` keeps what the way back needs:
        shares of the classes in families, what hidden plants say, and the sum of that."""
        at, seen = self.evidence.looks
        many = max(len(self.written), len(seen), *(len(c) for _, c in self.evidence.tallies), 1)
        self.sums = np.zeros((many, self.written.shape[1]))
        states, plants = len(self.engine.selfing), len(self.structure.plants)
        self.message = np.zeros((*self.sums.shape, states, plants))
        self.pairs: list[tuple[list[tuple[int, ...]], np.ndarray]] = []
        self.back = back
        self.shares: list[np.ndarray] = []
        self.said: list[tuple[np.ndarray, np.ndarray]] = []
        for alike, counts in self.evidence.tallies:
            self._add_counts(alike, counts)
        if len(at):
            said = np.moveaxis(log(self.written)[..., seen], 3, 0)  # seasons first, then z, e, ...
            self.message[..., at] += said[0] if len(seen) == 1 else said[:, 0]
        for alike in self.structure.steps:
            self._sum_out(alike)
        if self.structure.core:
            self._contract()
        return self.sums

    def expected(self) -> np.ndarray:
        """Average shares of the genotypes in every scored family, (candidates, rates, ...)."""
        families = [self._average(number) for number in self.evidence.counts]
        shape = (*self.written.shape[:2], len(self.engine.selfing))
        if not families:
            return np.zeros((*shape[:2], 0, shape[2]))
        return np.stack([np.broadcast_to(family, shape) for family in families], axis=2)

    def _average(self, number: int) -> np.ndarray:
        """A node's plants, hidden plants summed out: (candidates, rates, states)."""
        chances = self.chances(number)
        for plant in reversed(self.structure.given[number]):
            above = self._average(self.nodes[plant].one)
            chances = np.einsum("ze...hg,zeh->ze...g", chances, above)
        return chances

    def mixtures(self) -> list[tuple[np.ndarray, np.ndarray]]:
        """Cases and their chances, for every scored family given by one hidden plant or none."""
        found = []
        for number in self.evidence.counts:
            shares = self.chances(number)[0, 0] @ self.written[0, 0]
            cases = np.ones(1)
            for plant in self.structure.given[number]:
                cases = self._average(self.nodes[plant].one)[0, 0]
                if plant in self.evidence.scores:
                    cases = cases * self.written[0, 0, :, self.evidence.scores[plant]]
                cases = cases / max(cases.sum(), np.finfo(float).tiny)
            found.append((cases, shares.reshape(len(cases), -1)))
        return found

    def drawn(self, rng: np.random.Generator, seasons: int) -> Evidence:
        """New counts and scores, parents before offspring."""
        states: dict[int, np.ndarray] = {}
        given, written = self.structure.given, self.written[0, 0]

        def chances(number: int) -> np.ndarray:
            """The distribution of a node's plants, given the hidden plants drawn so far."""
            one = self.chances(number)[0, 0][tuple(states[g] for g in given[number])]
            return np.broadcast_to(one, (seasons, len(written)))

        scores: dict[int, Score] = dict(self.evidence.scores)
        for plant in self._plants_in_order():
            states[plant] = _pick(rng, chances(self.nodes[plant].one))
            if plant in scores:
                scores[plant] = _pick(rng, written[states[plant]])
        sizes = {n: int(self.evidence.rows(n)[0].sum()) for n in self.evidence.counts}
        expected = {n: np.sort(self._average(n)[0, 0] @ written).round(9).tolist() for n in sizes}
        counts: dict[int, Counts] = {}
        for number in sorted(sizes, key=lambda n: (sizes[n], expected[n])):
            shares = chances(number) @ written
            order = np.argsort(-shares, axis=1, kind="stable")
            drawn = rng.multinomial(sizes[number], np.take_along_axis(shares, order, 1))
            rows = np.empty_like(drawn)
            np.put_along_axis(rows, order, drawn, 1)
            counts[number] = rows
        return self.evidence.with_scores(counts, scores)

    def _plants_in_order(self) -> list[int]:
        """Hidden plants, parents first, otherwise by what is expected of them: rows of a table
        in another order draw the same seasons."""
        depth: dict[int, int] = {}
        for plant in self.structure.plants:
            above = self.structure.given[self.nodes[plant].one]
            depth[plant] = 1 + max((depth[g] for g in above), default=0)
        given = self.structure.given
        young = dict.fromkeys(depth, 0)
        for number in self.evidence.counts:
            for plant in given[number]:
                young[plant] += int(self.evidence.rows(number)[0].sum())

        def key(plant: int) -> tuple:
            home = np.sort(self._average(self.nodes[plant].one)[0, 0]).round(9).tolist()
            return depth[plant], home, young[plant]

        return sorted(depth, key=key)

    def _add_counts(self, alike: Alike, counts: np.ndarray) -> None:
        """Families that come about alike: what their counts say of the plants they come from."""
        shares = self.flat(alike) @ self.written
        if self.back:
            self.shares.append(shares)
        rows = counts.reshape(-1, counts.shape[-1]).T
        never = shares == 0
        said = np.log(shares + never) @ rows
        if never.any():
            said = np.where(never @ rows > 0, -np.inf, said)
        if len(counts) > 1:  # many seasons under one candidate
            said = said[0].reshape(*said.shape[1:-1], len(counts), -1)
            said = np.moveaxis(said, -2, 0)
        self._tell(alike, said)

    def flat(self, alike: Alike) -> np.ndarray:
        """Distributions of these plants: (candidates, rates, all states of the given, states)."""
        chances = self.chances(alike.home)
        return chances.reshape(*chances.shape[:2], -1, chances.shape[-1])

    def _tell(self, alike: Alike, said: np.ndarray) -> None:
        """Add (candidates, rates, all states of the given plants, members) where it belongs."""
        match len(alike.given[0]):
            case 0:
                self.sums += said[:, :, 0].sum(axis=-1)
            case 1:
                if len(alike.order):  # several offspring of one plant
                    said = np.add.reduceat(said[..., alike.order], alike.starts, axis=-1)
                self.message[..., alike.to] += said
            case _:
                self.pairs.append((alike.given, said))

    def _sum_out(self, alike: Alike) -> None:
        """Sum over the genotypes of hidden plants whose families come about alike."""
        message = self.message[..., alike.at]
        top = message.max(axis=2, keepdims=True)
        top[~np.isfinite(top)] = 0
        said = np.exp(message - top)
        whole = self.flat(alike) @ said
        if self.back:
            self.said.append((said, whole))
        self._tell(alike, log(whole) + top)

    def _contract(self) -> None:
        """Sum out the plants of the core, which mate with each other."""
        core, states = list(self.structure.core), len(self.engine.selfing)
        tables: list[Table] = []
        for n in core:
            home = self.nodes[n].one
            tables.append(((*self.structure.given[home], n), self.chances(home)))
        singly: list[tuple[int, ...]] = [(n,) for n in core]
        own = self.message[..., [self.structure.at[n] for n in core]]
        for members, logs in [(singly, own), *self.pairs]:
            top = logs.max(axis=2, keepdims=True)
            top[~np.isfinite(top)] = 0
            self.sums += top.sum(axis=(2, 3))
            said = np.exp(logs - top)
            shape = (*said.shape[:2], *[states] * len(members[0]))
            tables += [(plants, said[..., i].reshape(shape)) for i, plants in enumerate(members)]
        self.core = Elimination(tables, self.back)
        self.sums += self.core.log_total


def _pick(rng: np.random.Generator, chances: np.ndarray) -> np.ndarray:
    """One number drawn from each row of chances, the likeliest numbers first."""
    order = np.argsort(-chances, axis=1, kind="stable")
    below = np.take_along_axis(chances, order, 1).cumsum(axis=1)
    at = (rng.random((len(chances), 1)) > below).sum(axis=1).clip(max=chances.shape[1] - 1)
    return np.take_along_axis(order, at[:, None], 1)[:, 0]
