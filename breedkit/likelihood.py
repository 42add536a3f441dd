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

Many candidates (founder genotypes, ways to name the classes) and many rates of
mis-scoring go along as leading axes, (candidates, rates).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import IntEnum
from functools import lru_cache
from math import prod
from typing import NamedTuple

import numpy as np

from breedkit.errors import ModelError
from breedkit.genome import Genome
from breedkit.meiosis import gamete_step, run_steps, side_by_side, union_step
from breedkit.pedigree import Chosen, Cross, Founder, Intermating, Plan, Selfing, Sibmating


class Kind(IntEnum):
    """How a node comes about."""

    FOUNDER = 0
    CROSS = 1
    SELFING = 2
    CHOSEN = 3
    PLANT = 4


class Node(NamedTuple):
    """How a group of plants, or one plant, came about.

    `one` and `other` are earlier nodes: mother and father of a CROSS; the parents of a
    SELFING; the family a PLANT stands in; of a CHOSEN group the family and the class.
    """

    kind: Kind
    one: int = -1
    other: int = -1


@dataclass(frozen=True, eq=False)
class Evidence:
    """The scores of one trait over a register. Made by `Evidence.of`.

    Parameters
    ----------
    classes : the classes, in order.
    nodes : parents before offspring. A family is a CROSS or a SELFING.
    founders : the node of each founder, by name.
    families : the node of each family, by name.
    counts : {node: plants of each class}, without the hidden plants.
    scores : {node: class} of hidden plants that were scored.
    """

    classes: tuple[str, ...]
    nodes: tuple[Node, ...]
    founders: Mapping[str, int]
    families: Mapping[str, int]
    counts: Mapping[int, tuple[int, ...]]
    scores: Mapping[int, int]

    @classmethod
    def of(
        cls,
        classes: Sequence[str],
        plans: Mapping[str, Plan],
        counts: Mapping[str, Sequence[int]],
        plants: Mapping[str, str] | None = None,
    ) -> Evidence:
        """Arrange the scores of a register.

        Parameters
        ----------
        classes : the classes of the trait, in order.
        plans : the parentage of every family (`breedkit.pedigree`).
        counts : {family: plants of each class}; every scored plant once, so also those
            that became parents.
        plants : {plant: class} of single plants. One that has offspring is taken out of
            the counts of its family and becomes a hidden plant.

        Raises
        ------
        ModelError
            if such a plant is missing from the counts of its family.
        """
        build = _Builder(classes, plants or {})
        families = {name: build.add(plan) for name, plan in plans.items()}
        table: dict[int, np.ndarray] = {}
        for name, row in counts.items():
            node = families[name]  # families of the same parents are one
            table[node] = table.get(node, 0) + np.asarray(row, dtype=int)
        for node, look in build.scores.items():
            home = build.nodes[node].one
            if home not in table or not table[home][look]:
                raise ModelError("A plant with offspring is missing from the counts of its family.")
            table[home][look] -= 1
        kept = {node: tuple(row.tolist()) for node, row in table.items() if row.any()}
        return cls(tuple(classes), tuple(build.nodes), build.founders, families, kept, build.scores)

    @property
    def n(self) -> int:
        """Number of plants scored."""
        return sum(map(sum, self.counts.values())) + len(self.scores)


class _Builder:
    """Numbers the nodes of parentage trees; equal ones get one number."""

    def __init__(self, classes: Sequence[str], plants: Mapping[str, str]):
        self.classes, self.plants = list(classes), plants
        self.nodes: list[Node] = []
        self.founders: dict[str, int] = {}
        self.scores: dict[int, int] = {}
        self._numbers: dict[object, int] = {}

    def add(self, plan: Plan) -> int:
        """The number of a plan's node. Plans are known again by identity, which is quick."""
        number = self._numbers.get(id(plan))
        if number is None:
            number = self._numbers[id(plan)] = self._make(plan)
        return number

    def _number(self, node: Node, name: str = "") -> int:
        """A node's number. Founders and plants are told apart by name, groups are not."""
        key = (node, name)
        if key not in self._numbers:
            self._numbers[key] = len(self.nodes)
            self.nodes.append(node)
        return self._numbers[key]

    def _make(self, plan: Plan) -> int:
        match plan:
            case Founder(name):
                self.founders[name] = self._number(Node(Kind.FOUNDER), name)
                return self.founders[name]
            case Cross(female, male):
                return self._number(Node(Kind.CROSS, self.add(female), self.add(male)))
            case Selfing(parent):
                return self._number(Node(Kind.SELFING, self.add(parent)))
            case Intermating(parent):
                one = self.add(parent)
                return self._number(Node(Kind.CROSS, one, one))
            case Sibmating(parent, generations) if generations == 1:
                one = self.add(parent)
                return self._number(Node(Kind.CROSS, one, one))
            case Chosen(parent, look, str(plant)):
                number = self._number(Node(Kind.PLANT, self.add(parent)), plant)
                seen = self.plants.get(plant, look)
                if seen is not None:
                    self.scores[number] = self.classes.index(seen)
                return number
            case Chosen(parent, None, None):
                return self.add(parent)
            case Chosen(parent, str(look), None):
                return self._number(Node(Kind.CHOSEN, self.add(parent), self.classes.index(look)))
        raise ModelError(
            "Pairs of sibs mated for several generations must be in the register as plants."
        )


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


class Group(NamedTuple):
    """A distribution of genotypes: given no hidden plant, one, or two.

    `given` are their nodes; `weights` is (candidates or 1, states of each given, states).
    """

    given: tuple[int, ...]
    weights: np.ndarray


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


def mis_scoring(rates: Sequence[float], classes: int, ordered: bool = False) -> np.ndarray:
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
    """One pass over a register: distributions downwards, then likelihoods upwards."""

    def __init__(self, evidence: Evidence, candidates: Candidates, mixing: np.ndarray):
        self.nodes, self.evidence, self.candidates = evidence.nodes, evidence, candidates
        self.engine = Engine.of(candidates.genome)
        self.alive = candidates.looks >= 0
        shown = np.eye(len(evidence.classes))[candidates.looks] * self.alive[:, :, None]
        # (candidates, rates, states, classes): what a plant of each genotype is written as
        self.written = np.einsum("bgc,ecd->begd", shown, mixing)
        self.sums = np.zeros((len(candidates.looks), len(mixing)))
        self.groups: dict[int, Group] = {}
        self.recipes: dict[int, object] = {}
        self.worked_out: dict[object, np.ndarray] = {}
        self.founder_at = {node: i for i, node in enumerate(evidence.founders.values())}

    # --- downwards: which genotypes a group can have ---

    def group(self, number: int) -> Group:
        """The distribution of a node's plants; a hidden plant is given by itself.

        Nodes that come about in the same way, but from other hidden plants, share one array.
        """
        if number not in self.groups:
            node = self.nodes[number]
            parents = [self.group(n) for n in self._parents(node)]
            recipe = self._recipe(number, node)
            given = tuple(dict.fromkeys(g for parent in parents for g in parent.given))
            if node.kind == Kind.PLANT:
                given = (number,)
            if recipe not in self.worked_out:
                self.worked_out[recipe] = self._weights(number, node, parents, given)
            self.recipes[number] = recipe
            self.groups[number] = Group(given, self.worked_out[recipe])
        return self.groups[number]

    @staticmethod
    def _parents(node: Node) -> tuple[int, ...]:
        if node.kind == Kind.FOUNDER:
            return ()
        return (node.one, node.other) if node.kind == Kind.CROSS else (node.one,)

    def _recipe(self, number: int, node: Node) -> object:
        """What makes two nodes alike, but for the hidden plants they come from."""
        if node.kind == Kind.FOUNDER:
            return number
        if node.kind == Kind.PLANT:
            return "plant"
        if node.kind == Kind.CROSS:
            mother, father = self.groups[node.one].given, self.groups[node.other].given
            shared = tuple(mother.index(g) if g in mother else -1 for g in father)
            return (Kind.CROSS, self.recipes[node.one], self.recipes[node.other], shared)
        return (node.kind, self.recipes[node.one], node.other)

    def _weights(
        self, number: int, node: Node, parents: list[Group], given: tuple[int, ...]
    ) -> np.ndarray:
        """The array of a node's distribution, not scaled, so that seed that dies is missing."""
        states = len(self.engine.selfing)
        match node.kind:
            case Kind.FOUNDER:
                return np.eye(states)[self.candidates.founders[:, self.founder_at[number]]]
            case Kind.PLANT:
                return np.eye(states)[None]
            case Kind.SELFING:
                weights = parents[0].weights @ self.engine.selfing
            case Kind.CHOSEN:
                return parents[0].weights * self._middle(self.candidates.looks == node.other, given)
            case _:
                letters = dict(zip(given, "abcd", strict=False))
                sides = ["z" + "".join(letters[g] for g in p.given) for p in parents]
                out = "z" + "".join(letters.values())
                both = np.einsum(
                    f"{sides[0]}x,{sides[1]}y->{out}xy",
                    *(p.weights @ self.engine.gametes for p in parents),
                )
                weights = both.reshape(*both.shape[:-2], -1) @ self.engine.union
        if not self.alive.all():
            weights = weights * self._middle(self.alive, given)
        return weights

    @staticmethod
    def _middle(array: np.ndarray, given: tuple[int, ...]) -> np.ndarray:
        """(candidates, states) -> (candidates, 1 for each given plant, states)."""
        return array.reshape(len(array), *(1,) * len(given), -1)

    def chances(self, number: int) -> np.ndarray:
        """The distribution of a node's plants, scaled to total 1 given each hidden plant."""
        key = ("chances", self.recipes[number])
        if key not in self.worked_out:
            weights = self.groups[number].weights
            total = weights.sum(axis=-1, keepdims=True)
            self.worked_out[key] = np.divide(
                weights, total, out=np.zeros_like(weights), where=total > 0
            )
        return self.worked_out[key]

    # --- upwards: how likely the scores are ---

    def total(self) -> np.ndarray:
        """The log-likelihood, (candidates, rates)."""
        families = {n: self.group(n) for n in self.evidence.counts}
        plants = [n for n, node in enumerate(self.nodes) if node.kind == Kind.PLANT]
        homes = {n: self.group(self.nodes[n].one) for n in plants}
        self.at = {n: i for i, n in enumerate(plants)}
        states = len(self.engine.selfing)
        self.message = np.zeros((*self.sums.shape, len(plants), states))
        self.pairs: dict[tuple[int, ...], np.ndarray] = {}
        for recipe, members in _gather(families, self.recipes.__getitem__).items():
            self._add_counts(recipe, members)
        for look in range(len(self.evidence.classes)):
            seen = [self.at[n] for n, c in self.evidence.scores.items() if c == look]
            if seen:
                self.message[:, :, seen] += _log(self.written[..., look])[:, :, None]
        core = self._core(homes)
        levels: dict[int, int] = {}
        for n in plants:
            levels[n] = max((levels[g] + 1 for g in homes[n].given), default=0)
        outside = [n for n in plants if n not in core]
        for level in sorted({levels[n] for n in outside}, reverse=True):
            here = [n for n in outside if levels[n] == level]
            alike = _gather(here, lambda n: self.recipes[self.nodes[n].one])
            for members in alike.values():
                self._sum_out(members, homes)
        if core:
            self._contract(core, homes)
        return self.sums

    def _add_counts(self, recipe: object, members: list[int]) -> None:
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
        given = [self.groups[n].given for n in members]
        match said.ndim - 3:
            case 0:
                self.sums += said.sum(axis=-1)
            case 1:
                where = [self.at[g[0]] for g in given]
                by_plant = np.moveaxis(self.message, 2, 0)
                np.add.at(by_plant, where, np.moveaxis(said, -1, 0))
            case _:
                for i, plants in enumerate(given):
                    self.pairs[plants] = self.pairs.get(plants, 0) + said[..., i]

    def _sum_out(self, members: list[int], homes: Mapping[int, Group]) -> None:
        """Sum over the genotypes of hidden plants whose families come about alike."""
        home = self.nodes[members[0]].one
        message = self.message[:, :, [self.at[n] for n in members]]
        top = message.max(axis=-1, keepdims=True)
        top[~np.isfinite(top)] = 0
        likely = np.exp(message - top)
        letters = "abcd"[: len(homes[members[0]].given)]
        summed = np.einsum(f"z{letters}g,zemg->ze{letters}m", self.chances(home), likely)
        scale = np.moveaxis(top, 2, -1)
        scale = scale.reshape(*scale.shape[:2], *(1,) * len(letters), -1)
        self._tell([self.nodes[n].one for n in members], _log(summed) + scale)

    def _core(self, homes: Mapping[int, Group]) -> set[int]:
        """The hidden plants that mate with hidden plants, and those they come from."""
        several = [g.given for g in (*homes.values(), *map(self.group, self.evidence.counts))]
        core = {plant for given in several if len(given) > 1 for plant in given}
        for n in sorted(core, reverse=True):
            todo = [n]
            while todo:
                for g in homes[todo.pop()].given:
                    if g not in core:
                        core.add(g)
                        todo.append(g)
        return core

    def _contract(self, core: set[int], homes: Mapping[int, Group]) -> None:
        """Sum out the plants of `core` one by one, always the one with the fewest neighbours."""
        factors: list[tuple[tuple[int, ...], np.ndarray]] = []
        for n in core:
            factors.append(((*homes[n].given, n), self.chances(self.nodes[n].one)[:, None]))
            factors.append(((n,), self._scaled(self.message[:, :, self.at[n]])))
        factors += [(given, self._scaled(log)) for given, log in self.pairs.items()]
        left = set(core)
        while left:
            near = {n: {g for given, _ in factors if n in given for g in given} for n in left}
            n = min(left, key=lambda plant: (len(near[plant]), plant))
            touched = [f for f in factors if n in f[0]]
            factors = [f for f in factors if n not in f[0]]
            letters = dict(zip(sorted(near[n]), "abcdfghijklmnopqrstuvwxy", strict=False))
            rest = tuple(g for g in sorted(near[n]) if g != n)
            terms = ",".join("ze" + "".join(letters[g] for g in given) for given, _ in touched)
            out = "ze" + "".join(letters[g] for g in rest)
            product = np.einsum(f"{terms}->{out}", *(a for _, a in touched), optimize=True)
            left.remove(n)
            if rest:
                factors.append((rest, self._scaled(_log(product))))
            else:
                self.sums += _log(product)

    def _scaled(self, log: np.ndarray) -> np.ndarray:
        """exp(log), scaled to 1 at its largest; the scale goes into the sum."""
        axes = tuple(range(2, log.ndim))
        top = log.max(axis=axes, keepdims=True)
        top[~np.isfinite(top)] = 0
        self.sums += top.reshape(top.shape[:2])
        return np.exp(log - top)


def _gather(items: Iterable[int], key: Callable[[int], object]) -> dict[object, list[int]]:
    found: dict[object, list[int]] = {}
    for item in items:
        found.setdefault(key(item), []).append(item)
    return found


def _log(x: np.ndarray) -> np.ndarray:
    with np.errstate(divide="ignore"):
        return np.log(x)
