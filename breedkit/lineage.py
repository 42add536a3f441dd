"""What a plant's genome expects from each founder, how far plants differ in it, and kinship.

A register is a list of nodes, parents first; a family stands for a plant drawn at random
from it, a single plant and a founder for itself. With K[x, y] the chance that copies of a gene
drawn from two plants are one and the same founder's copy (two *different* plants, if x = y is
a family), and S the expected shares of the founders, for parents f and m of x:

    S[x] = (S[f] + S[m]) / 2        K[x, y] = (K[f, y] + K[m, y]) / 2     for older y
    inbreeding F[x] = K[f, m], or (1 + F[f]) / 2 if x is selfed;  K = (1 + F) / 2 within a plant

The spread of a founder's share follows from its covariance at two points of a map. A meiosis
in p adds d = r' D[p] / 16 for each gamete, where r' = 1 - 2r = exp(-2 distance) without
interference and D[p] is the covariance of the difference between p's two strands:

    V[x] = (V[f] + V[m] + 2 C[f, m]) / 4 + d      D[x] = (m[f] - m[m])^2 + 4 V[x] - 4 C[f, m]

with C the covariance between two plants, and C = V if x is selfed. All are polynomials in r',
kept as coefficients, and the integral of each power over a map is a closed form; so the
spread is exact. The rules for K are Malecot's; those for V are derived here, and checked by
simulated meioses and by known cases.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from breedkit.pedigree import Chosen, Cross, Founder, Intermating, Plan, Selfing, Sibmating


class Node(NamedTuple):
    """A founder, a single plant taken from a family, or a family, with its two parents.

    `kind` is 'founder', 'plant', 'selfed' or 'crossed'; the latter has two different plants
    as parents, also where both come from one family. A founder has -1 for its parents.
    """

    kind: str
    female: int
    male: int
    name: str = ""


@dataclass(frozen=True, eq=False)
class Lineage:
    """The nodes of a register in levels, and what is expected of them.

    Families of the same parentage are one node. With n nodes and a founders:

    Attributes
    ----------
    founders : their names, in the order of the columns.
    families, plants : name -> node.
    shares : (n, a) expected share of each founder.
    inbreeding : (n,) F.
    kin : (n, n) K; on the diagonal two different plants of a family, or a plant with itself.
    covariance : (n, a, powers) V, coefficients of the powers of 1 - 2r.
    """

    founders: tuple[str, ...]
    families: Mapping[str, int]
    plants: Mapping[str, int]
    shares: np.ndarray
    inbreeding: np.ndarray
    kin: np.ndarray
    covariance: np.ndarray

    def spread(self, chromosomes: Sequence[float]) -> np.ndarray:
        """Standard deviation of each founder's share in a plant, (n, a).

        Parameters
        ----------
        chromosomes : length of each chromosome pair in centimorgans.
        """
        variance = self.covariance @ map_means(self.covariance.shape[2], chromosomes)
        return np.sqrt(np.maximum(variance, 0))


def map_means(powers: int, chromosomes: Sequence[float]) -> np.ndarray:
    """The mean of (1 - 2r)^k over two points drawn from a map, for k below `powers`.

    For one chromosome of l Morgans it is 2 (z - 1 + e^-z) / z^2 with z = 2 k l; two points
    of different chromosomes have r = 1/2.
    """
    lengths = np.asarray(chromosomes, dtype=float) / 100
    z = 2 * np.arange(1, powers)[:, None] * lengths
    along = 2 * (z + np.expm1(-z)) / z**2
    # Below 0.001 the closed form loses digits, and two terms of the series are exact enough.
    along = np.where(z < 1e-3, 1 - z / 3 + z**2 / 12, along)
    return np.concatenate([[1.0], along @ (lengths / lengths.sum()) ** 2])


def lineage_of(plans: Mapping[str, Plan], inbred: Mapping[str, float]) -> Lineage:
    """Shares, kinship and covariances of every family and single parent plant.

    Parameters
    ----------
    plans : the parentage of each family, by name.
    inbred : inbreeding coefficient of founders, 1 where it is not given. A founder counts
        as one plant; founders are not related.
    """
    nodes, where = _nodes_of(plans)
    level = _levels(nodes)
    order = sorted(range(len(nodes)), key=lambda i: level[i])  # stable: parents stay first
    place = {-1: -1} | {old: new for new, old in enumerate(order)}
    rows = [nodes[i]._replace(female=place[nodes[i].female], male=place[nodes[i].male])
            for i in order]  # fmt: skip
    starts = [int(i) for i in np.flatnonzero(np.diff([level[i] for i in order], prepend=-1))]
    spans = list(zip(starts, [*starts[1:], len(rows)], strict=True))
    females = np.array([row.female for row in rows])
    males = np.array([row.male for row in rows])
    kinds = np.array([row.kind for row in rows])
    founders = tuple(row.name for row in rows if row.kind == "founder")
    own = np.array([inbred.get(name, 1.0) for name in founders])
    inbreeding, kin = _kinship(kinds, females, males, spans, own)
    shares, covariance = _ancestry(kinds, females, males, spans)
    return Lineage(
        founders,
        {name: place[i] for name, i in where.items()},
        {row.name: i for i, row in enumerate(rows) if row.kind == "plant"},
        shares, inbreeding, kin, covariance,
    )  # fmt: skip


# --- from plans to nodes ---------------------------------------------------------


def _nodes_of(plans: Mapping[str, Plan]) -> tuple[list[Node], dict[str, int]]:
    """Each different node once, parents first, and the node of each family.

    A plan is a tree that shares its branches; each branch is visited once.
    """
    nodes: dict[Node, int] = {}
    seen: dict[int, int] = {}

    def visit(plan: Plan) -> int:
        """The node of a plan; its parents come first, without recursion: lines can be long."""
        ahead = [plan]
        while ahead:
            new = [p for p in _parents(ahead[-1]) if id(p) not in seen]
            if new:
                ahead += reversed(new)  # the female first
            else:
                done = ahead.pop()
                seen[id(done)] = made(done, *(seen[id(p)] for p in _parents(done)))
        return seen[id(plan)]

    def made(plan: Plan, female: int = -1, male: int = -1) -> int:
        match plan:
            case Founder(name):
                node = Node("founder", -1, -1, name)
            case Selfing():
                node = Node("selfed", female, male)
            case Cross() | Intermating() | Sibmating():
                node = Node("crossed", female, male)
            case Chosen(parent, plant=str(name)) if not _is_founder(parent):
                node = Node("plant", female, male, name)
            case _:  # plants of one look, or of a founder: expected as all of them
                return female
        return nodes.setdefault(node, len(nodes))

    where = {name: visit(plan) for name, plan in plans.items()}
    return list(nodes), where


def _parents(plan: Plan) -> tuple[Plan, ...]:
    """Both parents. Pollen that is open comes from the family in which the mother stands."""
    match plan:
        case Founder():
            return ()
        case Cross(female, male):
            return female, male
        case Intermating(Chosen(family) as mother):
            return mother, family
    return plan.parent, plan.parent


def _is_founder(plan: Plan) -> bool:
    while isinstance(plan, Chosen):
        plan = plan.parent
    return isinstance(plan, Founder)


def _levels(nodes: Sequence[Node]) -> list[int]:
    """Steps from the founders; nodes of one level do not descend from each other."""
    level: list[int] = []
    for node in nodes:
        founder = node.kind == "founder"
        level.append(0 if founder else 1 + max(level[node.female], level[node.male]))
    return level


# --- level by level --------------------------------------------------------------

Spans = Sequence[tuple[int, int]]


def _kinship(
    kinds: np.ndarray, females: np.ndarray, males: np.ndarray, spans: Spans, own: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """F of each node, and K between all of them."""
    inbreeding, kin = np.zeros(len(kinds)), np.zeros((len(kinds), len(kinds)))
    inbreeding[: len(own)] = own
    kin[: len(own), : len(own)] = np.diag((1 + own) / 2)
    for start, end in spans[1:]:
        f, m = females[start:end], males[start:end]
        older = (kin[f, :start] + kin[m, :start]) / 2
        kin[start:end, :start] = older
        kin[:start, start:end] = older.T
        kin[start:end, start:end] = (older[:, f] + older[:, m]) / 2
        kind = kinds[start:end]
        selfed = (1 + inbreeding[f]) / 2
        inbreeding[start:end] = np.select(
            [kind == "selfed", kind == "plant"], [selfed, inbreeding[f]], kin[f, m]
        )
        single = start + np.flatnonzero(kind == "plant")
        kin[single, single] = (1 + inbreeding[single]) / 2
    return inbreeding, kin


def _ancestry(
    kinds: np.ndarray, females: np.ndarray, males: np.ndarray, spans: Spans
) -> tuple[np.ndarray, np.ndarray]:
    """S and V of each node.

    Plants have a covariance through the single plants that they both descend from: each
    brings `news`, what is not known of it from its own single ancestors. Two plants of a
    family that come from different plants of a bulk have none.
    """
    n, founders = len(kinds), spans[0][1]
    shares = np.zeros((n, founders))
    shares[:founders] = np.eye(founders)
    meioses = np.zeros(n, dtype=int)
    for start, end in spans[1:]:
        f, m = females[start:end], males[start:end]
        shares[start:end] = (shares[f] + shares[m]) / 2
        meioses[start:end] = np.maximum(meioses[f], meioses[m]) + (kinds[start:end] != "plant")
    powers = int(meioses.max()) + 1
    covariance = np.zeros((n, founders, powers))
    between_strands = np.zeros((n, founders, powers))  # D
    singles = np.flatnonzero(kinds == "plant")
    through = np.zeros((n, len(singles)))  # the part of a node's genome that came through each
    news = np.zeros((len(singles), founders * powers))
    for start, end in spans[1:]:
        f, m, kind = females[start:end], males[start:end], kinds[start:end]
        known = int(np.searchsorted(singles, start))
        part = through[:, :known]
        through[start:end, :known] = (part[f] + part[m]) / 2
        two = kind != "selfed"
        common = np.zeros((end - start, founders, powers))
        common[two] = ((part[f[two]] * part[m[two]]) @ news[:known]).reshape(-1, founders, powers)
        plant, selfed = (kind[:, None, None] == which for which in ("plant", "selfed"))
        c = np.where(selfed, covariance[f], common)
        d = np.zeros_like(c)
        d[..., 1:] = (between_strands[f] + between_strands[m])[..., :-1] / 16
        v = (covariance[f] + covariance[m] + 2 * c) / 4 + d
        difference = 4 * (v - c)
        difference[..., 0] += (shares[f] - shares[m]) ** 2
        covariance[start:end] = np.where(plant, covariance[f], v)
        between_strands[start:end] = np.where(plant, between_strands[f], difference)
        which = np.flatnonzero(kind == "plant")
        here = known + np.arange(len(which))
        through[start + which, here] = 1
        news[here] = (covariance[f[which]] - common[which]).reshape(-1, news.shape[1])
    return shares, covariance
