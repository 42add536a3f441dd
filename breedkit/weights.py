"""Every candidate of every model, and the evidence for it over a whole register.

A candidate is a model with a genotype for each founder and a name for each class. For
every choice of founders that leaves no gene idle and every naming, the likelihood of the
register is integrated over the rate e of mis-scoring,

    evidence = sum over founders, names of  prior * integral L(e) p(e) de,

with p(e) a beta density, 1 and 49, of mean 2 %. A priori a model with one gene more is
half as likely, models with as many genes share alike, and so do the names of one model;
of rules nobody has shown in a plant, all together have half of that.
In the models of one gene a founder does not breed true with chance 2 %, and a lethal
needs one that does not; founders that are alike in that respect share alike. A tester is
recessive in every gene. If a model says that a class does not always show, or does not
always live, every share from 0 to 1 is as likely beforehand. Candidates that differ only
in the letters of alleles and loci, or that expect the same of every class seen here, are
one before anything is computed.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from math import comb, lgamma, prod
from typing import NamedTuple

import numpy as np
from scipy.special import xlogy

from breedkit.evidence import Evidence, Kind
from breedkit.genome import Genome
from breedkit.likelihood import Candidates, expected_genotypes, log_likelihoods
from breedkit.models import InheritanceModel
from breedkit.pedigree import TESTER

PRIOR_ERROR = (1.0, 49.0)  # beta density of the rate of mis-scoring, mean 2 %
MOST_CLASSES = 6
MOST_FOUNDERS = 5000  # choices of their genotypes
SHARES = 24  # shares that are tried of plants that show their class, or that live
UNTRUE = 0.02  # prior chance that a founder does not breed true: our own choice
LIKELY, MOST_LIKELY = 0.99, 64  # candidates of a model that are kept: worth so much, so many
CHUNK = 128  # candidates worked out together


@dataclass(frozen=True)
class ModelWeight:
    """One model: its weight, and its likeliest candidate.

    `founders` are that candidate's genotypes by founder, `classes` its classes in the order
    of the model, `error` the rate of mis-scoring it fits best with. `expected` are the shares
    of the trait's classes in every family, mis-scoring included; a family from a single
    plant is left out, since its shares hang on what that plant carries. `share` is how many
    plants show their class, or live, if the model leaves that open. `candidates`
    are the likeliest ones, for computing on, and `chances` what each is worth, total 1.
    """

    model: InheritanceModel
    weight: float
    log_evidence: float
    founders: tuple[tuple[str, str], ...]
    classes: tuple[str, ...]
    error: float
    group: int
    expected: Mapping[str, tuple[float, ...]]
    share: float | None
    candidates: Candidates = field(repr=False, compare=False)
    chances: np.ndarray = field(repr=False, compare=False)

    @property
    def name(self) -> str:
        return self.model.name


@lru_cache(maxsize=1)
def no_segregation() -> InheritanceModel:
    """The parents carry the same: one class, whatever is crossed."""
    plain = InheritanceModel.from_rule({"A_": "all", "aa": "all"}, "no segregation")
    return replace(plain, reference="common practice, no source")


class Weighed(NamedTuple):
    """One model: its distinct candidates, with their log-likelihoods (candidates, rates), and
    the log of the evidence for each."""

    model: InheritanceModel
    choices: Choices
    worked: Worked
    logs: np.ndarray

    @property
    def log_evidence(self) -> float:
        """The log of the evidence for the model."""
        return float(log_sum(self.logs))

    @property
    def top(self) -> int:
        """The number of the likeliest candidate."""
        return int(self.logs.argmax())

    @property
    def one(self) -> Candidates:
        """The likeliest candidate."""
        return self.worked.candidates.part(slice(self.top, self.top + 1))

    def likeliest(self) -> tuple[Candidates, np.ndarray]:
        """The likeliest candidates, and what each is worth, total 1.

        Those that are one for the families at hand are apart here: others may part them.
        """
        worked = self.worked
        if not np.isfinite(self.log_evidence):
            return self.one, np.ones(1)
        distinct = np.exp(self.logs - log_sum(self.logs)) / worked.prior
        chances = distinct[worked.where] * worked.each_prior
        order = np.argsort(-chances, kind="stable")[:MOST_LIKELY]
        kept = order[: int((chances[order].cumsum() < LIKELY).sum()) + 1]
        candidates = self.choices.every(kept)
        first, which = _distinct_rows(_fingerprints(candidates))
        total = np.bincount(which, chances[kept])
        order = np.argsort(-total, kind="stable")
        return candidates.part(first[order]), total[order] / total.sum()


class Weighing(NamedTuple):
    """The models weighed, candidates tried and told apart, and the models that were left out
    since so many founders can carry too much."""

    found: list[Weighed]
    tried: int
    distinct: int
    too_many: list[InheritanceModel]


def weigh(
    evidence: Evidence,
    models: Sequence[InheritanceModel],
    mixing: np.ndarray,
    log_prior: np.ndarray,
    ordered: bool,
) -> Weighing:
    """The evidence for each model that has candidates.

    Parameters
    ----------
    mixing, log_prior : mis-scoring at each rate, and the log of its prior weight.
    """
    found: list[Weighed] = []
    too_many: list[InheritanceModel] = []
    if not evidence.n:
        return Weighing(found, 0, 0, too_many)
    tried = distinct = 0
    known: dict[tuple[Genome, bytes], np.ndarray] = {}
    apart = not evidence.structure.plants and not any(
        node.kind == Kind.CHOSEN for node in evidence.nodes
    )
    testers = tuple(name == TESTER for name in evidence.founders)
    for model in models:
        choices = _choices(model, testers, len(evidence.classes), ordered)
        if choices is None:
            too_many.append(model)
            continue
        n = len(choices.founders) * len(choices.names)
        tried += n
        if not n:
            continue
        if apart and len(choices.shares) == 1:
            genotypes = _genotypes(choices, evidence, known)
            worked = _from_shares(choices, genotypes, evidence, mixing)
        else:
            worked = _from_register(choices, evidence, mixing)
        distinct += len(worked.prior)
        each = log_sum(worked.likelihoods + log_prior) + np.log(worked.prior)
        found.append(Weighed(model, choices, worked, each))
    return Weighing(found, tried, distinct, too_many)


def model_shares(found: Sequence[Weighed]) -> np.ndarray:
    """The weight of each model, total 1; all 0 if every one is impossible."""
    prior = _model_prior([each.model for each in found])
    scores = np.array([each.log_evidence for each in found]) + np.log(prior)
    return np.exp(scores - log_sum(scores)) if np.isfinite(scores).any() else np.zeros(len(prior))


def _model_prior(models: Sequence[InheritanceModel]) -> np.ndarray:
    """What each model weighs beforehand, total 1.

    Where rules that somebody has shown in a plant (they have a reference) are compared with
    rules that are merely possible, each sort has half of what that number of genes has.
    """
    sorts = [(max(m.genes, 1), bool(m.reference)) for m in models]
    genes = [g for g, _ in sorts]
    alike = {sort: sorts.count(sort) for sort in set(sorts)}
    both = {g: len({s for s in alike if s[0] == g}) for g in set(genes)}
    prior = np.array([2.0 ** -s[0] / both[s[0]] / alike[s] for s in sorts])
    return prior / prior.sum()


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
    """What a model leaves open: the founders, (choices, founders) states; the names of its
    classes, (choices, classes of the model); the share of plants that show their class, or
    live. `table` is the model's class of each state, `classes` how many the trait has."""

    model: InheritanceModel
    classes: int
    genome: Genome
    table: np.ndarray
    founders: np.ndarray
    names: np.ndarray
    prior: np.ndarray  # of each choice of founders
    shares: np.ndarray
    share_prior: np.ndarray

    def candidates(
        self, founder: np.ndarray, name: np.ndarray, share: np.ndarray | None = None
    ) -> Candidates:
        """The candidates with these choices."""
        names = self.names[name]
        looks = np.concatenate([names, np.full((len(name), 1), -1)], axis=1)[:, self.table]
        plain = Candidates(self.genome, self.founders[founder], looks)
        if share is None or not (self.model.hiding or self.model.ailing):
            return plain
        value = self.shares[share]
        if self.model.ailing:
            weak = self.table == self.model.classes.index(self.model.ailing)
            return replace(plain, living=np.where(weak, value[:, None], 1.0))
        assert self.model.hiding is not None
        look, otherwise = (names[:, self.model.classes.index(c)] for c in self.model.hiding)
        showing = np.tile(np.eye(self.classes), (len(name), 1, 1))
        each = np.arange(len(name))
        showing[each, look, look] = value
        showing[each, look, otherwise] = 1 - value
        return replace(plain, showing=showing)

    @property
    def sizes(self) -> tuple[int, int, int]:
        """How many choices there are of founders, names and shares."""
        return len(self.founders), len(self.names), len(self.shares)

    def every(self, numbers: np.ndarray) -> Candidates:
        """Candidates by number, shares running fastest, then names."""
        return self.candidates(*np.unravel_index(numbers, self.sizes))

    @property
    def each_prior(self) -> np.ndarray:
        """The prior of every candidate, in the order of their numbers."""
        names = np.full(len(self.names), 1 / max(len(self.names), 1))
        return np.einsum("i,j,k->ijk", self.prior, names, self.share_prior).ravel()


@lru_cache(maxsize=2048)
def _choices(
    model: InheritanceModel, testers: tuple[bool, ...], classes: int, ordered: bool
) -> Choices | None:
    """Every choice of founders that leaves no gene idle, and every naming of the classes.

    `testers` says of each founder whether it is a tester. None if there are too many choices.
    """
    genome = model.rule.own_genome
    table = model.rule.table(genome).ravel()
    pairs = np.stack([np.stack([a.ravel(), b.ravel()]) for a, b in _allele_arrays(genome)])
    genotypes = genome.genotypes()
    true = np.array([g.female == g.male for g in genotypes])
    allowed = set(model.founders())
    options = [i for i, g in enumerate(genotypes) if str(g) in allowed]
    recessive = [len(genotypes) - 1]
    if len(options) ** testers.count(False) > MOST_FOUNDERS:
        return None
    states = np.array(
        list(itertools.product(*(recessive if tester else options for tester in testers))),
        dtype=int,
    ).reshape(-1, len(testers))
    untested = [i for i, tester in enumerate(testers) if not tester]
    if len(untested) < 2:
        untested = list(range(len(testers)))
    copies = pairs[:, :, states[:, untested]]  # (genes, 2, choices, founders)
    mixed = (copies != copies[:, :1, :, :1]).any(axis=(1, 3)).all(axis=0)
    k = len(model.classes)
    names = list(itertools.permutations(range(classes), k)) if k <= classes <= MOST_CLASSES else []
    if ordered and model.graded:
        names = [o for o in names if o in (tuple(sorted(o)), tuple(sorted(o, reverse=True)))]
    states = states[mixed] if len(testers) > 1 else states
    untrue = (~true[states] & ~np.array(testers, dtype=bool)).sum(axis=1)
    n = testers.count(False)
    chance = np.array([comb(n, j) * UNTRUE**j * (1 - UNTRUE) ** (n - j) for j in range(n + 1)])
    each = chance / np.maximum(np.bincount(untrue, minlength=n + 1), 1)
    shares, share_prior = _open_shares(model)
    return Choices(
        model, classes, genome, table, states, np.array(names, dtype=int).reshape(-1, k),
        each[untrue], shares, share_prior,
    )  # fmt: skip


def _open_shares(model: InheritanceModel) -> tuple[np.ndarray, np.ndarray]:
    """Shares of plants that show, or live, and their prior: Gauss and Legendre from 0 to 1."""
    if not (model.hiding or model.ailing):
        return np.full(1, np.nan), np.ones(1)
    if model.share is not None:
        return np.array([float(model.share)]), np.ones(1)
    x, w = np.polynomial.legendre.leggauss(SHARES)
    return (x + 1) / 2, w / 2


class Worked(NamedTuple):
    """Distinct candidates with their shares, priors and log-likelihoods (candidates, rates);
    which of them every candidate is (`where`), and the prior of that (`each_prior`)."""

    candidates: Candidates
    shares: np.ndarray
    prior: np.ndarray
    likelihoods: np.ndarray
    where: np.ndarray
    each_prior: np.ndarray


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
    padded = np.concatenate([shares[first], np.zeros((len(first), len(counts), 1))], axis=2)
    place = np.full((len(choices.names), k), k)  # of each class of the trait in the model
    np.put_along_axis(place, choices.names, np.arange(choices.names.shape[1])[None], axis=1)
    every = padded[:, :, place].transpose(0, 2, 1, 3).reshape(-1, len(counts), k)
    seen = counts > 0
    mixed = every @ mixing[-1]
    kept, where = _distinct_rows(np.concatenate([every[:, seen], mixed[:, seen]], axis=1))
    each_prior = choices.each_prior
    where = where.reshape(-1, len(place))[which].ravel()
    prior = np.bincount(where, each_prior)
    written = (every[kept] @ mixing.transpose(1, 0, 2).reshape(k, -1)).reshape(
        len(kept), len(counts), len(mixing), k
    )
    cells = written.transpose(0, 2, 1, 3)[:, :, seen]
    with np.errstate(divide="ignore"):
        likelihoods = np.log(cells) @ counts[seen]
    candidates = choices.candidates(first[kept // len(place)], kept % len(place))
    shares = np.full(len(kept), np.nan)
    return Worked(candidates, shares, prior, likelihoods, where, each_prior)


def _from_register(choices: Choices, evidence: Evidence, mixing: np.ndarray) -> Worked:
    """With hidden plants: candidates that differ in letters alone are one."""
    numbers = np.arange(prod(choices.sizes))
    every = choices.every(numbers)
    share = numbers % len(choices.shares)
    first, which = _distinct_rows(np.concatenate([_fingerprints(every), share[:, None]], axis=1))
    each_prior = choices.each_prior
    prior = np.bincount(which, each_prior)
    candidates = every.part(first)
    pieces = [
        log_likelihoods(evidence, candidates.part(slice(i, i + CHUNK)), mixing)
        for i in range(0, len(first), CHUNK)
    ]
    shares, likelihoods = choices.shares[share[first]], np.concatenate(pieces)
    return Worked(candidates, shares, prior, likelihoods, which, each_prior)


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
