"""All models over all families at once: what is supported, and what cannot be told apart.

A model's weight is its share of all evidence (`breedkit.weights`): the chance that it is
the right one, if one of the catalogue is and the stated priors hold. Models whose
likeliest candidates expect the same numbers of every family here are one group; no plant
at hand can tell them apart. Whether the best candidate fits at all is asked apart: its
misfit, the log-likelihood it lacks of families that show just their own shares, against
that of seasons drawn from the candidate itself.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from numbers import Real
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from scipy.special import xlogy

from breedkit.choices import MOST_CLASSES
from breedkit.comparison import DRAWN, MISFIT, Comparison
from breedkit.errors import ModelError, quote
from breedkit.evidence import Evidence, Kind
from breedkit.families import family_plans, parent_plants
from breedkit.genome import Genome
from breedkit.likelihood import Candidates, draw, expected_shares, log_likelihoods, mis_scoring
from breedkit.models import InheritanceModel, catalogue
from breedkit.pedigree import Founder, founders_of
from breedkit.results import listing
from breedkit.weights import (
    ModelWeight,
    Weighed,
    error_grid,
    log_sum,
    model_prior,
    model_shares,
    no_segregation,
    weigh,
)

if TYPE_CHECKING:
    import pandas as pd

    from breedkit.season import Season

CELLS = 4_000_000  # numbers of one array in that
CUT = 2.1  # natural logs; see `_seen_slips`
LEAST_SHARE = 0.1  # of plants that live or show, or do not, in a remedy
LIKELIEST = 2  # models for which a remedy is sought if none fits


def compare_models(
    season: Season,
    trait: str,
    models: Sequence[InheritanceModel] | None = None,
    scoring_error: float | pd.DataFrame | None = None,
) -> Comparison:
    """Compare all models over all families of a season.

    Parameters
    ----------
    season : the tables.
    trait : a trait with classes.
    models : by default the whole catalogue, and parents that are alike; `every_rule` lists
        more, and `InheritanceModel.from_rule` makes your own.
    scoring_error : the rate of mis-scoring, 0 to 0.5, if it is known, or a table of what each
        class (row) is written down as (column), rows total 1, as from `scored_twice`; by
        default a rate is integrated over its prior (mean 2 %).

    Raises
    ------
    TableError, ModelError
        if there is no such trait, or a scoring error that cannot be.
    """
    evidence, left_out = season_evidence(season, trait)
    kind, table = season.trait(trait), season.counts(trait)[list(evidence.classes)]
    found = compare_evidence(
        evidence, kind.name, kind.kind == "ordered", models, scoring_error, left_out
    )
    # Families of the same parents are one in the evidence, but not to those who grew them.
    return replace(found, counts={f: tuple(table.loc[f].tolist()) for f in found.families})


def compare_evidence(
    evidence: Evidence,
    trait: str,
    ordered: bool = False,
    models: Sequence[InheritanceModel] | None = None,
    scoring_error: float | pd.DataFrame | None = None,
    left_out: Sequence[str] = (),
) -> Comparison:
    """Compare all models over the scores of a register; see `compare_models`."""
    classes = evidence.classes
    slips = _Slips.of(scoring_error, evidence, ordered)
    chosen = (*catalogue().values(), no_segregation()) if models is None else _chosen(models)
    weighing = weigh(
        evidence, chosen, slips.mixing, slips.log_prior, ordered, others=models is None
    )
    found, counts = weighing.found, _whole_counts(evidence)
    by_family = {f: tuple(map(int, counts[n][0])) for f, n in evidence.families.items()
                 if n in counts}  # fmt: skip
    result = Comparison(
        trait, evidence.n, tuple(by_family), tuple(left_out), (), 0.0, (0.0, 0.5),
        scoring_error is not None, 1.0, "", weighing.tried, weighing.distinct,
        tuple(evidence.founders), _crosses(evidence), classes, by_family, slips.mixing[0],
        tuple(weighing.too_many), None,
    )  # fmt: skip
    if not found:
        return result
    shares = model_shares(found)
    weights = _weights(evidence, found, shares, slips)
    if not shares.any():  # without slips no model allows these scores
        return replace(result, weights=weights, error=float(slips.rates[0]), misfit=0.0)
    best = found[int(np.argmax(shares))]
    fit = _fitted(evidence, best, slips)
    error, interval = _seen_slips(found, slips)
    # of each rate, under the best model
    logs = log_sum((best.worked.likelihoods + slips.log_prior).T)
    mixing = np.tensordot(np.exp(logs - log_sum(logs)), slips.mixing, 1)
    unfit = models is None and fit.misfit < MISFIT and not weighing.too_many
    return replace(
        result, weights=weights, error=error, error_interval=interval, misfit=fit.misfit,
        worst=_worst(evidence, fit), mixing=mixing,
        remedy=_remedy(evidence, weights, slips) if unfit else None,
    )  # fmt: skip


def _chosen(models: Sequence[InheritanceModel]) -> tuple[InheritanceModel, ...]:
    """The models to compare, each once."""
    if isinstance(models, Mapping):
        models = list(models.values())
    if not models or not all(isinstance(m, InheritanceModel) for m in models):
        raise ModelError("Give the models as a list, such as list(catalogue().values()).")
    linked = [quote(m.name) for m in models if m.recombination]
    if linked:
        raise ModelError(f"Only unlinked genes are compared; these are linked: {listing(linked)}.")
    return tuple(dict.fromkeys(models))


def _crosses(evidence: Evidence) -> tuple[tuple[str, str], ...]:
    """The founders that were crossed with each other, female and male."""
    name = {node: founder for founder, node in evidence.founders.items()}
    found = [
        (name[node.one], name[node.other])
        for node in evidence.nodes
        if node.kind == Kind.CROSS and node.one in name and node.other in name
    ]
    return tuple(dict.fromkeys(pair for pair in found if pair[0] != pair[1]))


@dataclass(frozen=True, eq=False)
class _Slips:
    """How a class comes to be written down as another, at each rate that is tried.

    `rates` are the rates, `log_prior` the log of their prior, `mixing` (rates, classes, classes).
    """

    rates: np.ndarray
    log_prior: np.ndarray
    mixing: np.ndarray
    ordered: bool

    @classmethod
    def of(
        cls, scoring_error: float | pd.DataFrame | None, evidence: Evidence, ordered: bool
    ) -> _Slips:
        classes = evidence.classes
        if scoring_error is None:
            rates, log_prior = error_grid()
            return cls(rates, log_prior, mis_scoring(rates, len(classes), ordered), ordered)
        if isinstance(scoring_error, Real):
            if not 0 <= float(scoring_error) <= 0.5:
                raise ModelError(f"A scoring error lies from 0 to 0.5; {scoring_error} does not.")
            rates = np.array([float(scoring_error)])
            return cls(rates, np.zeros(1), mis_scoring(rates, len(classes), ordered), ordered)
        matrix = _as_matrix(scoring_error, classes)
        seen = sum((evidence.rows(n)[0] for n in evidence.counts), np.zeros(len(classes)))
        rate = (1 - np.diag(matrix)) @ seen / max(seen.sum(), 1)
        return cls(np.array([rate]), np.zeros(1), matrix[None], ordered)

    @property
    def known(self) -> bool:
        return len(self.rates) == 1


def _as_matrix(table: object, classes: Sequence[str]) -> np.ndarray:
    """A table of what each class is written down as, in the order of the classes."""
    import pandas as pd

    if not isinstance(table, pd.DataFrame):
        raise ModelError(
            "A scoring error is a rate such as 0.02, or a table with a row and a column a class."
        )
    missing = [c for c in classes if c not in table.index or c not in table.columns]
    if missing:
        raise ModelError(
            f"The table of scoring errors lacks {listing([quote(c) for c in missing])}.\n"
            "It needs a row and a column for every class."
        )
    cells = table.loc[list(classes), list(classes)]
    matrix = cells.apply(pd.to_numeric, errors="coerce").to_numpy(dtype=float)
    if not (matrix >= 0).all() or np.abs(matrix.sum(axis=1) - 1).max(initial=0) > 1e-6:
        raise ModelError("In a table of scoring errors no share is below 0 and each row totals 1.")
    return matrix / matrix.sum(axis=1, keepdims=True)


def parent_looks(season: Season, trait: str) -> dict[str, str]:
    """The class of every single plant that the register names as a parent, if it was scored."""
    parents = parent_plants(season.families, season.plants)
    seen = parents[trait].dropna() if trait in parents else parents["family"][:0]
    return dict(zip(seen.index.astype(str), seen.astype(str), strict=True))


def season_evidence(
    season: Season, trait: str, whole: bool = False
) -> tuple[Evidence, tuple[str, ...]]:
    """The scores of a trait over the register, and the families whose parents are not known.

    With `whole` there are also the families without a scored plant, if their founders have
    offspring that were scored.
    """
    counts = season.counts(trait).drop(columns="not scored")
    name = str(counts.columns.name)
    seen = counts.columns[counts.to_numpy().any(axis=0)]
    spare = [c for c in counts.columns if c not in seen][: max(MOST_CLASSES - len(seen), 0)]
    if season.trait(trait).kind == "ordered":
        spare = []  # the neighbours of a class are the next that were seen
    counts = counts[[c for c in counts.columns if c in seen or c in spare]]
    plans = family_plans(season.families, season.family_names, season.plants)
    looks = parent_looks(season, name)
    every = {f: row.tolist() for f, row in counts.iterrows()}
    scored = [f for f, row in every.items() if sum(row)]
    usable = [f for f in every if f in plans and (whole or sum(every[f]))]
    crossed = [f for f in scored if f in plans and not isinstance(plans[f], Founder)]
    founders = {x for f in crossed for x in founders_of(plans[f])}
    known = {f: every[f] for f in usable if not crossed or set(founders_of(plans[f])) <= founders}
    left_out = tuple(f for f in scored if f not in plans)
    used = {f: plans[f] for f in known}
    return Evidence.of(list(counts.columns), used, known, looks, whole), left_out


def _weights(
    evidence: Evidence, found: Sequence[Weighed], weights: np.ndarray, slips: _Slips
) -> tuple[ModelWeight, ...]:
    """The weight of each model, with its likeliest candidate and its group."""
    weighed: list[ModelWeight] = []
    seen: dict[bytes, int] = {}
    numbers = {node: i for i, node in enumerate(evidence.counts)}
    free = {
        f: numbers[node]
        for f, node in evidence.families.items()
        if node in numbers and not evidence.structure.given[node]
    }
    for at in np.argsort(-weights, kind="stable"):
        each = found[at]
        model, one, top = each.model, each.one, each.top
        likelihoods = each.worked.likelihoods[top]
        print_ = expected_shares(evidence, one).round(9).ravel()
        if evidence.structure.plants:
            print_ = np.concatenate([print_, likelihoods.round(7)])
        alike = (print_ + 0.0).tobytes()  # + 0: no negative zero
        if len(each.choices.rules) > 1:  # many rules are not what their likeliest is
            alike += b"together"
        group = seen.setdefault(alike, len(seen))
        names = [str(g) for g in one.genome.genotypes()]
        rate = int(likelihoods.argmax())
        written = expected_shares(evidence, one, slips.mixing[rate : rate + 1])[0, 0]
        weighed.append(ModelWeight(
            model, float(weights[at]), each.log_evidence,
            tuple((f, names[s]) for f, s in zip(evidence.founders, one.founders[0], strict=True)),
            _names(model, one.genome, one.looks[0], evidence.classes),
            float(slips.rates[rate]), group,
            {f: tuple(written[at].tolist()) for f, at in free.items()},
            each.choices.share_of(each.worked.numbers[top]), len(each.choices.rules),
            *each.likeliest(),
        ))  # fmt: skip
    return tuple(weighed)


def _names(
    model: InheritanceModel, genome: Genome, looks: np.ndarray, classes: Sequence[str]
) -> tuple[str, ...]:
    """What a candidate calls the classes of its model, in the model's order."""
    table = model.rule.table(genome).ravel()
    return tuple(classes[looks[np.flatnonzero(table == c)[0]]] for c in range(len(model.classes)))


class _Fit(NamedTuple):
    """A candidate, mis-scoring at the rate that it fits best with, and its misfit."""

    one: Candidates
    mixing: np.ndarray
    misfit: float


def _fitted(evidence: Evidence, weighed: Weighed, slips: _Slips) -> _Fit:
    """How well the likeliest candidate of a model fits."""
    rate = int(weighed.worked.likelihoods[weighed.top].argmax())
    mixing = slips.mixing[rate : rate + 1]
    return _Fit(weighed.one, mixing, _misfit(evidence, weighed.one, slips.mixing, mixing))


def _seen_slips(found: Sequence[Weighed], slips: _Slips) -> tuple[float, tuple[float, float]]:
    """The mean rate of mis-scoring, over all models by weight, and a 95 % interval.

    The interval is by likelihood, averaged over all models and candidates by what they weigh
    beforehand: the rates whose log-likelihood is within 2.1 of the largest. Half the 95 %
    point of chi-square with 1 degree of freedom, 1.92, held the rate in 93.5 % of 2,000 drawn
    seasons, 2.1 in 94.7 % (`tests/test_truth_study.py`).
    """
    if slips.known:
        return float(slips.rates[0]), (float(slips.rates[0]), float(slips.rates[0]))
    prior = np.log(model_prior([each.choices.rules for each in found]))
    each = np.stack(
        [log_sum((w.worked.likelihoods + np.log(w.worked.prior)[:, None]).T) for w in found]
    )
    logs = log_sum((each + prior[:, None]).T)
    roots = np.linspace(0, 0.5**0.5, 801)
    fine = np.interp(roots, np.sqrt(slips.rates), logs)
    inside = roots[fine >= fine.max() - CUT] ** 2
    after = logs + slips.log_prior
    mean = float(np.exp(after - log_sum(after)) @ slips.rates)
    low, high = float(inside[0]), float(inside[-1])
    return min(max(mean, low), high), (low, high)


def _misfit(evidence: Evidence, one: Candidates, mixing: np.ndarray, at_best: np.ndarray) -> float:
    """Chance of a misfit this large or larger under a candidate, from drawn seasons."""
    rng = np.random.default_rng(0)
    width = len(mixing) * one.looks.shape[1] * (len(evidence.structure.plants) + 1)
    most = max(1, CELLS // width)

    def misfits(scored: Evidence) -> np.ndarray:
        return _saturated(scored) - log_likelihoods(scored, one, mixing).max(axis=1)

    own = misfits(evidence)[0] - 1e-9
    worse, left = 0, DRAWN
    while left:
        seasons = min(most, left)
        worse += int((misfits(draw(evidence, one, at_best, rng, seasons)) >= own).sum())
        left -= seasons
    return (worse + 1) / (DRAWN + 1)


def _worst(evidence: Evidence, fit: _Fit) -> str:
    """The family that lacks most of its own best likelihood, given all others."""
    nodes = list(evidence.counts)
    if not nodes:
        return ""
    without = evidence.with_scores(
        {node: evidence.rows(node) * (np.arange(len(nodes)) != i)[:, None]
         for i, node in enumerate(nodes)},
        {plant: np.full(len(nodes), look) for plant, look in evidence.scores.items()},
    )  # fmt: skip
    whole, part = (log_likelihoods(e, fit.one, fit.mixing)[:, 0] for e in (evidence, without))
    rows = np.concatenate([evidence.rows(node) for node in nodes])
    lacking = _own_shares(rows) - (whole - part)
    # A family that shows just the class it should, and nothing else, is not at fault.
    expected = expected_shares(evidence, fit.one)[0, 0]
    clean = (rows.max(axis=1) == rows.sum(axis=1)) & (
        expected[np.arange(len(rows)), rows.argmax(axis=1)] > 0.5
    )
    lacking[clean & (not clean.all())] = -np.inf
    return next(f for f, n in evidence.families.items() if n == nodes[int(lacking.argmax())])


def _remedy(
    evidence: Evidence, weights: Sequence[ModelWeight], slips: _Slips
) -> ModelWeight | None:
    """The likeliest model that would fit if a class did not always show, or did not always live."""
    seen = int(evidence.seen.sum())
    able = [
        w
        for w in weights
        if w.model.reference and len(w.classes) == seen > 1 and not w.model.rule.lethal
    ]
    likeliest = [*able[:LIKELIEST], *(w for w in able[LIKELIEST:] if w.model.genes == 1)]
    variants = [
        (variant, w.classes)
        for w in likeliest
        for variant in (
            *(w.model.with_viability(look) for look in w.model.classes),
            *(w.model.with_penetrance(*pair)
              for pair in itertools.permutations(w.model.classes, 2)),
        )
    ]  # fmt: skip
    if not variants:
        return None
    models, named = zip(*variants, strict=True)
    found = weigh(evidence, models, slips.mixing, slips.log_prior, slips.ordered, named=named).found
    if not found:
        return None
    shares = model_shares(found)
    best = _weights(evidence, found, shares, slips)[0]
    fit = _fitted(evidence, found[int(np.argmax(shares))], slips)
    credible = best.share is not None and LEAST_SHARE <= best.share <= 1 - LEAST_SHARE
    return best if credible and fit.misfit >= MISFIT else None


def _saturated(evidence: Evidence) -> np.ndarray:
    """The log-likelihood of each season if every family had just the shares that it shows."""
    rows = _whole_counts(evidence).values()
    return sum((_own_shares(row) for row in rows), np.zeros(1))


def _whole_counts(evidence: Evidence) -> dict[int, np.ndarray]:
    """Counts of every family, (seasons, classes), those of its plants that have offspring too."""
    rows = {node: evidence.rows(node) for node in evidence.counts}
    for plant, look in evidence.scores.items():
        home, seen = evidence.nodes[plant].one, np.eye(len(evidence.classes))[np.atleast_1d(look)]
        rows[home] = rows.get(home, 0) + seen
    return rows


def _own_shares(rows: np.ndarray) -> np.ndarray:
    """The log-likelihood of counts (..., classes) under their own shares."""
    total = rows.sum(axis=-1)
    return xlogy(rows, rows).sum(axis=-1) - xlogy(total, total)
