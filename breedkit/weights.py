"""Every candidate of every model, and the evidence for it over a whole register.

A candidate is a model with a genotype for each founder and a name for each class. For
every choice of founders that leaves no gene idle and every naming, the likelihood of the
register is integrated over the rate e of mis-scoring,

    evidence = sum over founders, names of  prior * integral L(e) p(e) de,

with p(e) a beta density, 1 and 49, of mean 2 %. A priori a model with one gene more is
half as likely, models with as many genes share alike, and so do the names of one model.
In the models of one gene a founder does not breed true with chance 2 %, and a lethal
needs one that does not; founders that are alike in that respect share alike. Candidates
that differ only in the letters of alleles and loci, or that expect the same of every
class seen here, are one before anything is computed.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import comb, lgamma, prod
from typing import NamedTuple

import numpy as np
from scipy.special import xlogy

from breedkit.errors import ModelError, quote
from breedkit.evidence import Evidence, Kind
from breedkit.genome import Genome
from breedkit.likelihood import Candidates, expected_genotypes, log_likelihoods
from breedkit.models import InheritanceModel

PRIOR_ERROR = (1.0, 49.0)  # beta density of the rate of mis-scoring, mean 2 %
MOST_CLASSES = 6
UNTRUE = 0.02  # prior chance that a founder does not breed true: our own choice
CHUNK = 128  # candidates worked out together


@dataclass(frozen=True)
class ModelWeight:
    """One model: its weight, and its likeliest candidate.

    `founders` are that candidate's genotypes by founder, `classes` its classes in the order
    of the model, `error` the rate of mis-scoring it fits best with. `expected` are the shares
    of the trait's classes in every family, mis-scoring included; a family from a single
    plant is left out, since its shares hang on what that plant carries.
    """

    model: InheritanceModel
    weight: float
    log_evidence: float
    founders: tuple[tuple[str, str], ...]
    classes: tuple[str, ...]
    error: float
    group: int
    expected: Mapping[str, tuple[float, ...]]

    @property
    def name(self) -> str:
        return self.model.name


def no_segregation() -> InheritanceModel:
    """The parents carry the same: one class, whatever is crossed."""
    return InheritanceModel.from_rule({"A_": "all", "aa": "all"}, "no segregation")


class Weighed(NamedTuple):
    """One model: its distinct candidates, their log-likelihoods (candidates, rates), the log
    of its evidence, and the number of its likeliest candidate."""

    model: InheritanceModel
    candidates: Candidates
    likelihoods: np.ndarray
    log_evidence: float
    top: int


def weigh(
    evidence: Evidence,
    models: Sequence[InheritanceModel],
    mixing: np.ndarray,
    log_prior: np.ndarray,
    ordered: bool,
) -> tuple[list[Weighed], int, int]:
    """The evidence for each model that has candidates; how many were tried, and told apart.

    Parameters
    ----------
    mixing, log_prior : mis-scoring at each rate, and the log of its prior weight.
    """
    found: list[Weighed] = []
    if not evidence.n:
        return found, 0, 0
    tried = distinct = 0
    known: dict[tuple[Genome, bytes], np.ndarray] = {}
    apart = not evidence.structure.plants and not any(
        node.kind == Kind.CHOSEN for node in evidence.nodes
    )
    for model in models:
        choices = _choices(model, len(evidence.founders), len(evidence.classes), ordered)
        tried += len(choices.founders) * len(choices.names)
        if not len(choices.founders) or not len(choices.names):
            continue
        if apart:
            genotypes = _genotypes(choices, evidence, known)
            candidates, prior, likelihoods = _from_shares(choices, genotypes, evidence, mixing)
        else:
            candidates, prior, likelihoods = _from_register(choices, evidence, mixing)
        distinct += len(prior)
        each = log_sum(likelihoods + log_prior) + np.log(prior)
        found.append(
            Weighed(model, candidates, likelihoods, float(log_sum(each)), int(each.argmax()))
        )
    return found, tried, distinct


def model_shares(found: Sequence[Weighed]) -> np.ndarray:
    """The weight of each model, total 1; all 0 if every one is impossible."""
    genes = [max(each.model.genes, 1) for each in found]
    alike = {g: genes.count(g) for g in genes}
    prior = np.array([2.0**-g / alike[g] for g in genes])
    scores = np.array([each.log_evidence for each in found]) + np.log(prior / prior.sum())
    return np.exp(scores - log_sum(scores)) if np.isfinite(scores).any() else np.zeros(len(genes))


def log_sum(logs: np.ndarray) -> np.ndarray:
    """log of the sum of exp(logs) along the last axis, without overflow."""
    top = logs.max(axis=-1, keepdims=True)
    top = np.where(np.isfinite(top), top, 0)
    with np.errstate(divide="ignore"):
        return np.log(np.exp(logs - top).sum(axis=-1)) + top[..., 0]


@lru_cache(maxsize=1)
def error_grid() -> tuple[np.ndarray, np.ndarray]:
    """Rates of mis-scoring, and the log of prior times step: Gauss and Legendre in sqrt(e)."""
    x, w = np.polynomial.legendre.leggauss(64)
    top = 0.5**0.5
    root = (x + 1) / 2 * top
    a, b = PRIOR_ERROR
    beta = lgamma(a + b) - lgamma(a) - lgamma(b)
    density = beta + xlogy(a - 1, root**2) + (b - 1) * np.log1p(-(root**2))
    return root**2, density + np.log(w / 2 * top * 2 * root)


# --- candidates ---------------------------------------------------------------


class Choices(NamedTuple):
    """What a model leaves open: the founders, (choices, founders) states, and the names of its
    classes, (choices, classes of the model); `table` is the model's class of each state."""

    genome: Genome
    table: np.ndarray
    founders: np.ndarray
    names: np.ndarray
    prior: np.ndarray  # of each choice of founders

    def candidates(self, founder: np.ndarray, name: np.ndarray) -> Candidates:
        """The candidates with these choices."""
        named = np.concatenate([self.names[name], np.full((len(name), 1), -1)], axis=1)
        return Candidates(self.genome, self.founders[founder], named[:, self.table])


@lru_cache(maxsize=256)
def _choices(model: InheritanceModel, founders: int, classes: int, ordered: bool) -> Choices:
    """Every choice of founders that leaves no gene idle, and every naming of the classes."""
    genome = model.rule.own_genome
    table = model.rule.table(genome).ravel()
    pairs = np.stack([np.stack([a.ravel(), b.ravel()]) for a, b in _allele_arrays(genome)])
    genotypes = genome.genotypes()
    true = [g.female == g.male for g in genotypes]
    allowed = set(model.founders())
    options = [i for i, g in enumerate(genotypes) if str(g) in allowed]
    if len(options) ** founders > 5000:
        raise ModelError(
            f"{founders} founders are too many for {quote(model.name)}.\n"
            "Compare fewer families, or models with fewer genes."
        )
    states = np.array(list(itertools.product(options, repeat=founders)), dtype=int)
    states = states.reshape(-1, founders)
    copies = pairs[:, :, states]  # (genes, 2, choices, founders)
    mixed = (copies != copies[:, :1, :, :1]).any(axis=(1, 3)).all(axis=0)
    k = len(model.classes)
    names = list(itertools.permutations(range(classes), k)) if k <= classes <= MOST_CLASSES else []
    if ordered and model.graded:
        names = [o for o in names if o in (tuple(sorted(o)), tuple(sorted(o, reverse=True)))]
    states = states[mixed] if founders > 1 else states
    untrue = (~np.array(true)[states]).sum(axis=1)
    chance = np.array([comb(founders, j) * UNTRUE**j * (1 - UNTRUE) ** (founders - j)
                       for j in range(founders + 1)])  # fmt: skip
    share = chance / np.maximum(np.bincount(untrue, minlength=founders + 1), 1)
    return Choices(genome, table, states, np.array(names, dtype=int).reshape(-1, k), share[untrue])


Worked = tuple[Candidates, np.ndarray, np.ndarray]  # candidates, prior, log-likelihoods


def _genotypes(
    choices: Choices, evidence: Evidence, known: dict[tuple[Genome, bytes], np.ndarray]
) -> np.ndarray:
    """Shares of the genotypes in each family, (choices of founders, families, states).

    Models of the same genes share them, so they are kept in `known`.
    """
    dead = (choices.table < 0).tobytes()
    key = (choices.genome, choices.founders.tobytes() + dead)
    if key not in known:
        looks = np.tile(np.minimum(choices.table, 0), (len(choices.founders), 1))
        plain = Candidates(choices.genome, choices.founders, looks)
        known[key] = expected_genotypes(evidence, plain)[:, 0]
    return known[key]


def _from_shares(
    choices: Choices, genotypes: np.ndarray, evidence: Evidence, mixing: np.ndarray
) -> Worked:
    """Without hidden plants the shares expected of each family say it all.

    The genetics is worked out once for each choice of founders; naming only moves columns.
    Candidates that expect the same of every class seen are one.
    """
    k = len(evidence.classes)
    counts = np.array(list(evidence.counts.values()), dtype=float).reshape(-1, k)
    shares = genotypes @ np.eye(k + 1)[choices.table][:, :-1]
    first, which = _distinct_rows(shares.reshape(len(shares), -1))
    founder_prior = np.bincount(which, choices.prior)
    padded = np.concatenate([shares[first], np.zeros((len(first), len(counts), 1))], axis=2)
    place = np.full((len(choices.names), k), k)  # of each class of the trait in the model
    np.put_along_axis(place, choices.names, np.arange(choices.names.shape[1])[None], axis=1)
    every = padded[:, :, place].transpose(0, 2, 1, 3).reshape(-1, len(counts), k)
    seen = counts > 0
    mixed = every @ mixing[-1]
    kept, where = _distinct_rows(np.concatenate([every[:, seen], mixed[:, seen]], axis=1))
    share = np.repeat(founder_prior, len(place)) / len(place)
    prior = np.bincount(where, share)
    written = (every[kept] @ mixing.transpose(1, 0, 2).reshape(k, -1)).reshape(
        len(kept), len(counts), len(mixing), k
    )
    cells = written.transpose(0, 2, 1, 3)[:, :, seen]
    with np.errstate(divide="ignore"):
        likelihoods = np.log(cells) @ counts[seen]
    candidates = choices.candidates(first[kept // len(place)], kept % len(place))
    return candidates, prior, likelihoods


def _from_register(choices: Choices, evidence: Evidence, mixing: np.ndarray) -> Worked:
    """With hidden plants: candidates that differ in letters alone are one."""
    n, m = len(choices.founders), len(choices.names)
    every = choices.candidates(np.repeat(np.arange(n), m), np.tile(np.arange(m), n))
    first, which = _distinct_rows(_fingerprints(every))
    prior = np.bincount(which, np.repeat(choices.prior, m) / m)
    candidates = every.part(first)
    pieces = [
        log_likelihoods(evidence, candidates.part(slice(i, i + CHUNK)), mixing)
        for i in range(0, len(first), CHUNK)
    ]
    return candidates, prior, np.concatenate(pieces)


def _distinct_rows(rows: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
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


def _fingerprints(every: Candidates) -> np.ndarray:
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
