"""The scores of one trait over a register, arranged for the likelihood. No genes here.

Every family, founder and parent plant is a numbered node, parents before offspring.
Plants that have offspring are hidden: their genotype is summed over. Each node's
genotypes depend on the nearest hidden plants above it, mostly none, one or two of them.
What depends on one can be summed out from the youngest plants upwards, all plants of
one level and one way of coming about at once; plants that mate with other hidden
plants are the core that is left. All this is the same for every model and is worked
out once.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import IntEnum
from functools import cached_property
from typing import NamedTuple

import numpy as np

from breedkit.errors import ModelError
from breedkit.pedigree import Chosen, Cross, Founder, Intermating, Plan, Selfing, Sibmating


class Kind(IntEnum):
    """How a node comes about."""

    FOUNDER = 0
    CROSS = 1
    SELFING = 2
    CHOSEN = 3
    PLANT = 4


Counts = tuple[int, ...] | np.ndarray
Score = int | np.ndarray


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
    founders : the node of each founder, by name: the plant that its seed is from.
    families : the node of each family, by name. What is grown of a founder is its own seed,
        selfed, which is the same if it breeds true.
    counts : {node: plants of each class}, without the hidden plants; (classes,), or
        (seasons, classes) where many seasons of one register go along together.
    scores : {node: class} of hidden plants that were scored; a number, or (seasons,).
    plants : the node of each hidden plant, by name.
    """

    classes: tuple[str, ...]
    nodes: tuple[Node, ...]
    founders: Mapping[str, int]
    families: Mapping[str, int]
    counts: Mapping[int, Counts]
    scores: Mapping[int, Score]
    plants: Mapping[str, int]

    @classmethod
    def of(
        cls,
        classes: Sequence[str],
        plans: Mapping[str, Plan],
        counts: Mapping[str, Sequence[int]],
        plants: Mapping[str, str] | None = None,
        whole: bool = False,
    ) -> Evidence:
        """Arrange the scores of a register.

        Parameters
        ----------
        classes : the classes of the trait, in order.
        plans : the parentage of every family (`breedkit.families`).
        counts : {family: plants of each class}; every scored plant once, so also those
            that became parents.
        plants : {plant: class} of single plants. One that has offspring is taken out of
            the counts of its family and becomes a hidden plant.
        whole : keep every family of `plans` among the counts, also one where no plant is
            left to count, so that it can be asked what its plants are.

        Raises
        ------
        ModelError
            if such a plant is missing from the counts of its family.
        """
        build = _Builder(classes, plants or {})
        families = {name: build.group(plan) for name, plan in plans.items()}
        table: dict[int, np.ndarray] = {}
        for name, row in counts.items():
            node = families[name]  # families of the same parents are one
            table[node] = table.get(node, 0) + np.asarray(row, dtype=int)
        for node, look in build.scores.items():
            home = build.nodes[node].one
            if home not in table or not table[home][look]:
                raise ModelError("A plant with offspring is missing from the counts of its family.")
            table[home][look] -= 1
        if whole:
            none = np.zeros(len(classes), dtype=int)
            table = {node: table.get(node, none) for node in families.values()}
        kept: dict[int, Counts] = {
            n: tuple(row.tolist()) for n, row in table.items() if whole or row.any()
        }
        return cls(
            tuple(classes), tuple(build.nodes), build.founders, families, kept, build.scores,
            build.single,
        )  # fmt: skip

    @property
    def n(self) -> int:
        """Number of plants scored, in one season."""
        counted = sum(int(self.rows(node)[0].sum()) for node in self.counts)
        return counted + len(self.scores)

    @property
    def seen(self) -> np.ndarray:
        """Whether any plant was scored as each class, in the first season: (classes,)."""
        counted = sum((self.rows(n)[0] for n in self.counts), np.zeros(len(self.classes)))
        counted[self.looks[1][0]] += 1
        return counted > 0

    def rows(self, node: int) -> np.ndarray:
        """The counts of a family, (seasons, classes)."""
        return np.atleast_2d(np.asarray(self.counts[node], dtype=float))

    def with_scores(self, counts: Mapping[int, Counts], scores: Mapping[int, Score]) -> Evidence:
        """The same register with other counts and scores of the same nodes."""
        other = replace(self, counts=counts, scores=scores)
        other.__dict__["structure"] = self.structure
        return other

    @cached_property
    def structure(self) -> Structure:
        """How the nodes hang together, worked out once for all models."""
        return Structure.of(self.nodes, self.counts)

    @cached_property
    def tallies(self) -> list[tuple[Alike, np.ndarray]]:
        """Families that come about alike, with their counts, (seasons, members, classes)."""
        return [
            (alike, np.stack([self.rows(node) for node in alike.members], axis=1))
            for alike in self.structure.families
        ]

    @cached_property
    def looks(self) -> tuple[np.ndarray, np.ndarray]:
        """Where the scored hidden plants stand in `structure.plants`, and their classes,
        (seasons, scored plants)."""
        at = np.array([self.structure.at[n] for n in self.scores], dtype=int)
        if not self.scores:
            return at, np.empty((1, 0), dtype=int)
        seen = np.array(list(self.scores.values()), dtype=int)
        return at, np.atleast_2d(seen.T)


class Alike(NamedTuple):
    """Nodes that come about alike.

    `home` is a node with the distribution in question: their own if they are families, that
    of the families they stand in if they are plants. `members` are the nodes, `at` where the
    plants among them stand in `Structure.plants`, `given` the hidden plants that each depends
    on. If that is one for each, `to` says where these stand, each once; if several depend on
    one, `order` brings them together, and those of each begin at `starts`.
    """

    home: int
    members: list[int]
    at: np.ndarray
    given: list[tuple[int, ...]]
    each: np.ndarray
    to: np.ndarray
    order: np.ndarray
    starts: np.ndarray


@dataclass(frozen=True, eq=False)
class Structure:
    """Which hidden plants each node is given by, and in what order to sum over them.

    Nodes that come about in the same way, but from other hidden plants, have one recipe:
    they share every array. `origin` is a node of each recipe.

    Parameters
    ----------
    given : for each node the hidden plants its distribution depends on; a plant's is itself.
    recipe : for each node the number of its recipe.
    origin : for each recipe a node that has it.
    plants : the hidden plants, and `at`, where each stands among them.
    families : the families with counts, those of one recipe together.
    steps : hidden plants to sum out together: of one level and one recipe, offspring first.
    core : the hidden plants that mate with hidden plants, and those they come from.
    """

    given: list[tuple[int, ...]]
    recipe: list[int]
    origin: list[int]
    plants: list[int]
    at: dict[int, int]
    families: list[Alike]
    steps: list[Alike]
    core: set[int]

    @classmethod
    def of(cls, nodes: Sequence[Node], counts: Iterable[int]) -> Structure:
        given: list[tuple[int, ...]] = []
        recipe: list[int] = []
        origin: list[int] = []
        numbers: dict[object, int] = {}
        level: dict[int, int] = {}
        for number, (kind, one, other) in enumerate(nodes):
            key: object
            own: tuple[int, ...]
            if kind == Kind.FOUNDER:
                key, own = number, ()
            elif kind == Kind.PLANT:
                key, own = "plant", (number,)
                above = given[one]
                level[number] = 1 + max([level[g] for g in above]) if above else 0
            elif kind == Kind.CROSS:
                mother, father = given[one], given[other]
                own = mother if mother == father else tuple(dict.fromkeys((*mother, *father)))
                shared = tuple(mother.index(g) if g in mother else -1 for g in father)
                key = (kind, recipe[one], recipe[other], shared)
            else:
                key, own = (kind, recipe[one], other), given[one]
            if key not in numbers:
                numbers[key] = len(origin)
                origin.append(number)
            given.append(own)
            recipe.append(numbers[key])
        counted = list(counts)
        core = _core(given, nodes, [*(nodes[p].one for p in level), *counted])
        at = {plant: i for i, plant in enumerate(level)}

        def alike(members: list[int], homes: list[int]) -> Alike:
            above = [given[home] for home in homes]
            where = np.array([at[m] for m in members if m in at], dtype=int)
            each = np.array([at[g] for (g,) in above] if len(above[0]) == 1 else [], dtype=int)
            order = each.argsort(kind="stable")
            to, starts = np.unique(each[order], return_index=True)
            if len(to) == len(each):
                to, order, starts = each, order[:0], starts[:0]
            return Alike(homes[0], members, where, above, each, to, order, starts)

        families: dict[int, list[int]] = {}
        for node in counted:
            families.setdefault(recipe[node], []).append(node)
        steps: dict[tuple[int, int], list[int]] = {}
        for plant in level:
            if plant not in core:
                steps.setdefault((-level[plant], recipe[nodes[plant].one]), []).append(plant)
        return cls(
            given, recipe, origin, list(level), at,
            [alike(members, members) for members in families.values()],
            [alike(steps[key], [nodes[p].one for p in steps[key]]) for key in sorted(steps)],
            core,
        )  # fmt: skip


def _core(
    given: Sequence[tuple[int, ...]], nodes: Sequence[Node], speaking: Iterable[int]
) -> set[int]:
    """The plants of every node in `speaking` that is given by several, and their ancestors."""
    todo = {plant for number in speaking if len(given[number]) > 1 for plant in given[number]}
    core: set[int] = set()
    while todo:
        plant = todo.pop()
        core.add(plant)
        todo.update(g for g in given[nodes[plant].one] if g not in core)
    return core


class _Builder:
    """Numbers the nodes of parentage trees; equal ones get one number."""

    def __init__(self, classes: Sequence[str], plants: Mapping[str, str]):
        self.classes, self.plants = list(classes), plants
        self.nodes: list[Node] = []
        self.founders: dict[str, int] = {}
        self.scores: dict[int, int] = {}
        self.single: dict[str, int] = {}
        self._numbers: dict[object, int] = {}

    def add(self, plan: Plan) -> int:
        """The number of a plan's node. Plans are known again by identity, which is quick."""
        number = self._numbers.get(id(plan))
        if number is None:
            number = self._numbers[id(plan)] = self._make(plan)
        return number

    def group(self, plan: Plan) -> int:
        """The number of the plants that are grown of a plan: a founder's are its own seed."""
        number = self.add(plan)
        if isinstance(plan, Founder):
            return self._number(Node(Kind.SELFING, number))
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
            case Sibmating(parent):
                one = self.add(parent)
                return self._number(Node(Kind.CROSS, one, one))
            case Chosen(parent, look, str(plant)):
                number = self.single[plant] = self._number(
                    Node(Kind.PLANT, self.group(parent)), plant
                )
                seen = self.plants.get(plant, look)
                if seen is not None:
                    self.scores[number] = self.classes.index(seen)
                return number
            case Chosen(parent, None, None):
                return self.add(parent)
            case Chosen(parent, str(look), None):
                home = self.group(parent)
                return self._number(Node(Kind.CHOSEN, home, self.classes.index(look)))
        raise TypeError(f"{plan!r} is not a way to make a family")
