"""The evidence for every model over a whole register, and what each weighs.

For every candidate of a model (`breedkit.choices`) the likelihood of the register is
integrated over the rate e of mis-scoring,

    evidence = sum over candidates of  prior * integral L(e) p(e) de,

with p(e) a beta density, 1 and 49, of mean 2 %. A priori a model with one gene more is a
quarter as likely (our own choice), models with as many genes share alike, and so do the
names of one model. Rules that nobody has shown in a plant, but that are possible, have
together a twentieth of what their number of genes has. Candidates that differ only in the
letters of alleles and loci, or that expect the same of every class seen here, are one
before anything is computed; where there are very many, those far behind at a few rates are
left there.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from math import lgamma, prod
from typing import NamedTuple

import numpy as np
from scipy.special import xlogy

from breedkit.choices import Choices, choices_of, distinct_rows, fingerprints, other_rules
from breedkit.errors import ModelError
from breedkit.everyrule import MOST_CLASSES as MOST_LISTED
from breedkit.everyrule import every_rule
from breedkit.evidence import Evidence, Kind
from breedkit.genome import Genome
from breedkit.likelihood import Candidates, expected_genotypes, log_likelihoods
from breedkit.models import InheritanceModel
from breedkit.pedigree import TESTER

PRIOR_ERROR = (1.0, 49.0)  # beta density of the rate of mis-scoring, mean 2 %
FEWER = 0.25  # prior of one gene more: our own choice
OTHER = 0.05  # prior of all rules that nobody has shown, within their number of genes
LIKELY, MOST_LIKELY = 0.99, 64  # candidates of a model that are kept: worth so much, so many
CHUNK = 8192  # candidates times rates worked out together in a register
MANY = 2048  # candidates from which a few rates are tried first: every 16th from the 8th on
FAR = 30.0  # natural logs behind the likeliest there at which a candidate is left


@dataclass(frozen=True)
class ModelWeight:
    """One model: its weight, and its likeliest candidate.

    `founders` are that candidate's genotypes by founder, `classes` its classes in the order
    of the model, `error` the rate of mis-scoring it fits best with. `expected` are the shares
    of the trait's classes in every family, mis-scoring included; a family from a single
    plant is left out, since its shares hang on what that plant carries. `share` is how many
    plants show their class, or live, if the model leaves that open. `together` is how many
    rules the weight is that of; if several, `model` is the likeliest of them. `candidates`
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
    together: int
    candidates: Candidates = field(repr=False, compare=False)
    chances: np.ndarray = field(repr=False, compare=False)

    @property
    def name(self) -> str:
        return ANOTHER if self.together > 1 else self.model.name


ANOTHER = "another rule of two genes"


@lru_cache(maxsize=1)
def no_segregation() -> InheritanceModel:
    """The parents carry the same: one class, whatever is crossed."""
    plain = InheritanceModel.from_rule({"A_": "all", "aa": "all"}, "no segregation")
    return replace(plain, reference="common practice, no source")


class Worked(NamedTuple):
    """The distinct candidates (their numbers), what each has beforehand, and their
    log-likelihoods (candidates, rates); which of them every candidate is (`where`, -1 if it is
    far behind); and how many can be told apart here."""

    numbers: np.ndarray
    prior: np.ndarray
    likelihoods: np.ndarray
    where: np.ndarray
    apart: int


class Weighed(NamedTuple):
    """One model, or rules put together: what is open, and the log of the evidence for each
    distinct candidate."""

    choices: Choices
    worked: Worked
    logs: np.ndarray

    @property
    def log_evidence(self) -> float:
        """The log of the evidence for the model."""
        return float(log_sum(self.logs))

    @property
    def top(self) -> int:
        """Which of the distinct candidates is the likeliest."""
        return int(self.logs.argmax())

    @property
    def model(self) -> InheritanceModel:
        """The model; the likeliest of rules put together."""
        return self.choices.rule_of(self.worked.numbers[self.top])

    @property
    def one(self) -> Candidates:
        """The likeliest candidate."""
        return self.choices.candidates(self.worked.numbers[self.top : self.top + 1])

    def likeliest(self) -> tuple[Candidates, np.ndarray]:
        """The likeliest candidates, and what each is worth, total 1.

        Those that are one for the families at hand are apart here: others may part them.
        """
        if not np.isfinite(self.log_evidence):
            return self.one, np.ones(1)
        worth = np.append(np.exp(self.logs - log_sum(self.logs)) / self.worked.prior, 0.0)
        chances = worth[self.worked.where] * self.choices.each_prior
        order = np.argsort(-chances, kind="stable")[:MOST_LIKELY]
        kept = order[: int((chances[order].cumsum() < LIKELY).sum()) + 1]
        candidates = self.choices.candidates(kept)
        first, which = distinct_rows(fingerprints(candidates))
        total = np.bincount(which, chances[kept])
        order = np.argsort(-total, kind="stable")
        return candidates.part(first[order]), total[order] / total.sum()


class Weighing(NamedTuple):
    """The models weighed, candidates tried and told apart, and the models that were left out
    since so many founders can carry too much."""

    found: list[Weighed]
    tried: int
    distinct: int
    too_many: list[str]


def weigh(
    evidence: Evidence,
    models: Sequence[InheritanceModel],
    mixing: np.ndarray,
    log_prior: np.ndarray,
    ordered: bool,
    others: bool = False,
    named: Sequence[Sequence[str]] | None = None,
) -> Weighing:
    """The evidence for each model that has candidates.

    Parameters
    ----------
    mixing, log_prior : mis-scoring at each rate, and the log of its prior weight.
    others : also all rules of one and two genes that nobody has shown.
    named : for each model the trait's classes that its own are; by default all ways.
    """
    if not evidence.n:
        return Weighing([], 0, 0, [])
    testers = tuple(name == TESTER for name in evidence.founders)
    k = len(evidence.classes)
    seen = tuple(np.flatnonzero(evidence.seen).tolist())
    if others and len(seen) == 2:
        models = (*models, *(m for m in every_rule(2, genes=1) if not m.reference))
    opened = [(m.name, choices_of(m, testers, k, ordered)) for m in models]
    if named is not None:
        rows = [np.array([[evidence.classes.index(c) for c in names]]) for names in named]
        opened = [(name, choices and replace(choices, names=row))
                  for (name, choices), row in zip(opened, rows, strict=True)]  # fmt: skip
    if others and 2 <= len(seen) <= MOST_LISTED:
        opened.append((ANOTHER, other_rules(testers, k, seen)))
    known: dict[tuple[Genome, bytes], np.ndarray] = {}
    even = _even(mixing)
    apart = not evidence.structure.plants and not any(
        node.kind == Kind.CHOSEN for node in evidence.nodes
    )
    found: list[Weighed] = []
    too_many = [name for name, choices in opened if choices is None]
    for name, choices in opened:
        if choices is None or not prod(choices.sizes):
            continue
        try:
            if apart and len(choices.shares) == 1:
                genotypes = _genotypes(choices, evidence, known)
                worked = _from_shares(choices, genotypes, evidence, mixing, even)
            else:
                worked = from_register(choices, evidence, mixing)
        except ModelError:  # plants mated with each other in a tangle too large for this model
            too_many.append(name)
            continue
        found.append(
            Weighed(choices, worked, log_sum(worked.likelihoods + log_prior) + np.log(worked.prior))
        )
    tried = sum(prod(choices.sizes[:3]) for _, choices in opened if choices is not None)
    return Weighing(found, tried, sum(w.worked.apart for w in found), too_many)


def model_shares(found: Sequence[Weighed]) -> np.ndarray:
    """The weight of each model, total 1; all 0 if every one is impossible."""
    prior = model_prior([each.choices.rules for each in found])
    scores = np.array([each.log_evidence for each in found]) + np.log(prior)
    return np.exp(scores - log_sum(scores)) if np.isfinite(scores).any() else np.zeros(len(prior))


def model_prior(models: Sequence[Sequence[InheritanceModel]]) -> np.ndarray:
    """What each model, or rules put together, weigh beforehand, total 1.

    Rules that nobody has shown in a plant have no reference.
    """
    sorts = [(max(rules[0].genes, 1), bool(rules[0].reference)) for rules in models]
    many: dict[tuple[int, bool], int] = {}
    for sort, rules in zip(sorts, models, strict=True):
        many[sort] = many.get(sort, 0) + len(rules)

    def of_sort(genes: int, shown: bool) -> float:
        if (genes, not shown) not in many:
            return 1.0
        return 1 - OTHER if shown else OTHER

    prior = np.array([FEWER ** s[0] * of_sort(*s) * len(rules) / many[s]
                      for s, rules in zip(sorts, models, strict=True)])  # fmt: skip
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


# --- the likelihoods of all candidates ----------------------------------------


def _genotypes(
    choices: Choices, evidence: Evidence, known: dict[tuple[Genome, bytes], np.ndarray]
) -> np.ndarray:
    """Shares of the genotypes in each family, (choices of founders, families, states).

    Models of the same genes share them, so they are kept in `known`.
    """
    dead = np.minimum(choices.tables[0], 0)  # of rules put together none kills
    key = (choices.genome, choices.founders.tobytes() + dead.tobytes())
    if key not in known:
        looks = np.tile(dead, (len(choices.founders), 1))
        plain = Candidates(choices.genome, choices.founders, looks)
        known[key] = expected_genotypes(evidence, plain)[:, 0]
    return known[key]


def _from_shares(
    choices: Choices, genotypes: np.ndarray, evidence: Evidence, mixing: np.ndarray, even: bool
) -> Worked:
    """Without hidden plants the shares expected of each family say it all.

    The genetics is worked out once for each choice of founders; rules and names only move
    columns. Candidates that expect the same of every class seen are one.
    """
    k, own = len(evidence.classes), choices.names.shape[1]
    counts = np.array(list(evidence.counts.values()), dtype=float).reshape(-1, k)
    shows = np.eye(own + 1)[choices.tables][:, :, :-1]
    shares = (genotypes @ shows[:, None]).reshape(-1, len(counts), own)
    first, which = distinct_rows(shares.reshape(len(shares), -1))
    padded = np.concatenate([shares[first], np.zeros((len(first), len(counts), 1))], axis=2)
    place = np.full((len(choices.names), k), own)  # of each class of the trait in the model
    np.put_along_axis(place, choices.names, np.arange(own)[None], axis=1)
    every = padded[:, :, place].transpose(0, 2, 1, 3).reshape(-1, len(counts), k)
    seen = counts > 0
    cells = every[:, seen]
    if not even:  # what is written down hangs on the other classes too
        cells = np.concatenate([cells, (every @ mixing[-1])[:, seen]], axis=1)
    apart, where = distinct_rows(cells)

    def likelihoods(which: np.ndarray, mixing: np.ndarray) -> np.ndarray:
        expected = every[apart[which]]
        if even:
            return _by_share(expected[:, seen], counts[seen], mixing)
        written = expected @ mixing.transpose(1, 0, 2).reshape(k, -1)
        cells = written.reshape(len(which), len(counts), len(mixing), k).transpose(0, 2, 1, 3)
        with np.errstate(divide="ignore"):
            return np.log(cells[:, :, seen]) @ counts[seen]

    numbers = first[apart // len(place)] * len(place) + apart % len(place)
    where = where.reshape(-1, len(place))[which].ravel()
    return _worked(choices, numbers, where, likelihoods, mixing)


def _even(mixing: np.ndarray) -> bool:
    """Whether each class is written down as any other with one chance, at every rate."""
    k = mixing.shape[1]
    if k == 1:
        return False
    b = mixing[:, :1, 1:2]
    return np.allclose(mixing, b + (mixing[:, :1, :1] - b) * np.eye(k), rtol=0, atol=1e-15)


def _by_share(shares: np.ndarray, counts: np.ndarray, mixing: np.ndarray) -> np.ndarray:
    """Log-likelihoods where what is written down hangs on a class's own share alone.

    Few shares occur, so the plants are counted by share, (candidates, different shares), and
    the logarithms are those of the different shares at each rate.

    Parameters
    ----------
    shares : (candidates, cells), before mis-scoring; `counts` (cells,).
    """
    values, at = np.unique(shares.round(12), return_inverse=True)
    rows = np.arange(len(shares))[:, None] * len(values) + at.reshape(shares.shape)
    weights = np.broadcast_to(counts, shares.shape).ravel()
    plants = np.bincount(rows.ravel(), weights, len(shares) * len(values)).reshape(len(shares), -1)
    other = mixing[:, 0, 1]
    written = other + np.multiply.outer(values, mixing[:, 0, 0] - other)  # (values, rates)
    never = written <= 0
    found = plants @ np.log(np.where(never, 1, written))
    return np.where(plants @ never > 0, -np.inf, found) if never.any() else found


def from_register(choices: Choices, evidence: Evidence, mixing: np.ndarray) -> Worked:
    """Over a whole register, hidden plants too: candidates that differ in letters alone are one."""
    numbers = np.arange(prod(choices.sizes))
    every = choices.candidates(numbers)
    share = numbers % len(choices.shares)
    first, where = distinct_rows(np.concatenate([fingerprints(every), share[:, None]], axis=1))
    candidates = every.part(first)

    def likelihoods(which: np.ndarray, mixing: np.ndarray) -> np.ndarray:
        step = max(CHUNK // len(mixing), 1)
        parts = [which[i : i + step] for i in range(0, len(which), step)]
        return np.concatenate(
            [log_likelihoods(evidence, candidates.part(p), mixing) for p in parts]
        )

    return _worked(choices, first, where, likelihoods, mixing)


def _worked(
    choices: Choices,
    numbers: np.ndarray,
    where: np.ndarray,
    likelihoods: Callable[[np.ndarray, np.ndarray], np.ndarray],
    mixing: np.ndarray,
) -> Worked:
    """The likelihoods of distinct candidates; of very many, those far behind are left."""
    prior = np.bincount(where, choices.each_prior, len(numbers))
    kept = np.arange(len(numbers))
    if len(numbers) > MANY and len(mixing) > 16:
        rough = likelihoods(kept, mixing[8::16]).max(axis=1)
        kept = np.flatnonzero(rough >= rough.max() - FAR)
        at = np.full(len(numbers), -1)
        at[kept] = np.arange(len(kept))
        where = at[where]
    return Worked(numbers[kept], prior[kept], likelihoods(kept, mixing), where, len(numbers))
