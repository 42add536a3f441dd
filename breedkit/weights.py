"""Every candidate of every model, and the evidence for it over a whole register.

A candidate is a model with a genotype for each founder and a name for each class. For
every choice of founders that leaves no gene idle and every naming, the likelihood of the
register is integrated over the rate e of mis-scoring,

    evidence = sum over founders, names of  prior * integral L(e) p(e) de,

with p(e) a beta density, 1 and 49, of mean 2 %. A priori a model with one gene more is
half as likely, models with as many genes share alike, and so do the founders and names of
one model. Candidates that differ only in the letters of alleles and loci, or that expect
the same of every family here, are one before anything is computed.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from functools import lru_cache
from math import lgamma, prod
from typing import NamedTuple

import numpy as np
from scipy.special import logsumexp, xlogy

from breedkit.errors import ModelError, quote
from breedkit.evidence import Evidence
from breedkit.genome import Genome
from breedkit.likelihood import Candidates, expected_shares, log_likelihoods
from breedkit.models import InheritanceModel

PRIOR_ERROR = (1.0, 49.0)  # beta density of the rate of mis-scoring, mean 2 %
MOST_CLASSES = 6
CHUNK = 128  # candidates worked out together


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
    found, tried, distinct = [], 0, 0
    for model in models:
        candidates, prior, raw = _candidates(model, evidence, ordered)
        tried += raw
        distinct += len(prior)
        if not len(prior):
            continue
        pieces = [
            log_likelihoods(evidence, candidates.part(slice(i, i + CHUNK)), mixing)
            for i in range(0, len(prior), CHUNK)
        ]
        likelihoods = np.concatenate(pieces)
        each = logsumexp(likelihoods + log_prior, axis=1) + np.log(prior)
        total = float(logsumexp(each))
        found.append(Weighed(model, candidates, likelihoods, total, int(each.argmax())))
    return found, tried, distinct


def model_shares(found: Sequence[Weighed]) -> np.ndarray:
    """The weight of each model, total 1; all 0 if every one is impossible."""
    genes = [max(each.model.genes, 1) for each in found]
    alike = {g: genes.count(g) for g in genes}
    prior = np.array([2.0**-g / alike[g] for g in genes])
    scores = np.array([each.log_evidence for each in found]) + np.log(prior / prior.sum())
    return np.exp(scores - logsumexp(scores)) if np.isfinite(scores).any() else np.zeros(len(genes))


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


def _candidates(
    model: InheritanceModel, evidence: Evidence, ordered: bool
) -> tuple[Candidates, np.ndarray, int]:
    """The distinct candidates of a model, their prior shares, and how many there were."""
    genome, founders, looks = _all_candidates(
        model, len(evidence.founders), len(evidence.classes), ordered
    )
    raw = len(founders)
    every = Candidates(genome, founders, looks)
    if not raw:
        return every, np.zeros(0), 0
    prints = _fingerprints(genome, founders, looks)
    _, first, counts = np.unique(prints, axis=0, return_index=True, return_counts=True)
    distinct = every.part(first)
    prior: np.ndarray = counts / raw
    if not evidence.structure.plants:  # no hidden plants: what is expected says it all
        shares = expected_shares(evidence, distinct).round(12).reshape(len(first), -1)
        _, keep, merged = np.unique(shares, axis=0, return_index=True, return_inverse=True)
        prior = np.bincount(merged.ravel(), prior)
        distinct = distinct.part(keep)
    return distinct, prior, raw


@lru_cache(maxsize=256)
def _all_candidates(
    model: InheritanceModel, founders: int, classes: int, ordered: bool
) -> tuple[Genome, np.ndarray, np.ndarray]:
    """Every choice of founders that leaves no gene idle, with every naming of the classes."""
    genome = model.rule.own_genome
    table = model.rule.table(genome).ravel()
    pairs = np.stack([np.stack([a.ravel(), b.ravel()]) for a, b in _allele_arrays(genome)])
    options = [i for i, g in enumerate(genome.genotypes()) if str(g) in set(model.founders())]
    if len(options) ** founders > 5000:
        raise ModelError(
            f"{founders} founders are too many for {quote(model.name)}.\n"
            "Compare fewer families, or models with fewer genes."
        )
    states = np.array(list(itertools.product(options, repeat=founders)), dtype=int)
    states = states.reshape(-1, founders)
    copies = pairs[:, :, states]  # (genes, 2, choices, founders)
    mixed = (copies != copies[:, :1, :, :1]).any(axis=(1, 3)).all(axis=0)
    states = states[mixed] if founders > 1 else states
    k = len(model.classes)
    orders = list(itertools.permutations(range(classes), k)) if k <= classes <= MOST_CLASSES else []
    if ordered and model.graded:
        orders = [o for o in orders if o in (tuple(sorted(o)), tuple(sorted(o, reverse=True)))]
    looks = np.array([[o[c] if c >= 0 else -1 for c in table] for o in orders], dtype=int)
    looks = looks.reshape(len(orders), len(table))
    return (
        genome,
        np.repeat(states, len(orders), axis=0),
        np.tile(looks, (len(states), 1)),
    )


def _allele_arrays(genome: Genome) -> list[tuple[np.ndarray, np.ndarray]]:
    """For each locus the two allele numbers of every flattened state."""
    pairs = [genome.alleles_at(group.loci[0].letter)[1:] for group in genome.groups]
    return [
        (np.broadcast_to(one, genome.shape), np.broadcast_to(two, genome.shape))
        for one, two in pairs
    ]


def _fingerprints(genome: Genome, founders: np.ndarray, looks: np.ndarray) -> np.ndarray:
    """One row a candidate, the same for candidates that differ in letters alone."""
    rows = []
    for renamed in _renamings(genome):
        moved = np.empty_like(looks)
        moved[:, renamed] = looks
        rows.append(np.concatenate([renamed[founders], moved], axis=1))
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
