"""All models over all families at once: what is supported, and what cannot be told apart.

A model's weight is its share of all evidence (`breedkit.weights`): the chance that it is
the right one, if one of the catalogue is and the stated priors hold. Models whose
likeliest candidates expect the same numbers of every family here are one group; no plant
at hand can tell them apart. Whether the best candidate fits at all is asked apart: its
misfit, the log-likelihood it lacks of families that show just their own shares, against
that of seasons drawn from the candidate itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import xlogy

from breedkit.comparison import Comparison
from breedkit.errors import ModelError
from breedkit.evidence import Evidence
from breedkit.families import family_plans
from breedkit.genome import Genome
from breedkit.likelihood import Candidates, draw, expected_shares, log_likelihoods, mis_scoring
from breedkit.models import InheritanceModel, catalogue
from breedkit.pedigree import TESTER, Founder, founders_of
from breedkit.weights import (
    ModelWeight,
    Weighed,
    error_grid,
    log_sum,
    model_shares,
    no_segregation,
    weigh,
)

if TYPE_CHECKING:
    from breedkit.season import Season

DRAWN = 400  # seasons drawn to judge the misfit
CELLS = 4_000_000  # numbers of one array in that


def compare_models(
    season: Season,
    trait: str,
    models: Sequence[InheritanceModel] | None = None,
    scoring_error: float | None = None,
) -> Comparison:
    """Compare all models over all families of a season.

    Parameters
    ----------
    season : the tables.
    trait : a trait with classes.
    models : by default the whole catalogue, and parents that are alike.
    scoring_error : the rate of mis-scoring, 0 to 0.5, if it is known; by default it is
        integrated over its prior (mean 2 %).

    Raises
    ------
    TableError, ModelError
        if there is no such trait, it has too many classes, or too many founders.
    """
    if scoring_error is not None and not 0 <= scoring_error <= 0.5:
        raise ModelError(f"A scoring error lies from 0 to 0.5; {scoring_error} does not.")
    evidence, left_out = season_evidence(season, trait)
    name = season.trait(trait).name
    ordered = season.trait(trait).kind == "ordered"
    rates, log_prior = _rates(scoring_error)
    mixing = mis_scoring(rates, len(evidence.classes), ordered)
    chosen = (*catalogue().values(), no_segregation()) if models is None else tuple(models)
    found, tried, distinct = weigh(evidence, chosen, mixing, log_prior, ordered)
    used = tuple(f for f, node in evidence.families.items() if node in evidence.counts)
    counts = {
        f: tuple(row.tolist())
        for f, row in season.counts(trait)[list(evidence.classes)].iterrows()
        if f in used
    }
    fixed = scoring_error is not None
    if not found:
        return Comparison(
            name, evidence.n, used, left_out, (), 0.0, (0.0, 0.5), fixed, 1.0, "", tried, distinct,
            tuple(evidence.founders), evidence.classes, ordered, counts, 0.0,
        )  # fmt: skip
    weights = _weights(evidence, found, rates, ordered)
    best = next(f for f in found if f.model is weights[0].model)
    one = best.candidates.part(slice(best.top, best.top + 1))
    if scoring_error is None:
        error, interval = _profile(evidence, one, ordered)
    else:
        error, interval = scoring_error, (scoring_error, scoring_error)
    misfit = _misfit(evidence, one, mixing, error, ordered)
    worst = _worst(evidence, one, error, ordered)
    logs = log_sum((best.likelihoods + log_prior).T)  # of each rate, under the best model
    mean_error = float(np.exp(logs - log_sum(logs)) @ rates)
    return Comparison(
        name, evidence.n, used, left_out, weights, error, interval, fixed, misfit, worst,
        tried, distinct, tuple(evidence.founders), evidence.classes, ordered, counts, mean_error,
    )  # fmt: skip


def season_evidence(season: Season, trait: str) -> tuple[Evidence, tuple[str, ...]]:
    """The scores of a trait over the register, and the families whose parents are not known."""
    counts = season.counts(trait).drop(columns="not scored")
    name = str(counts.columns.name)
    sheet = season.plants
    plans = family_plans(season.families, season.family_names, sheet)
    looks: dict[str, str] = {}
    if "plant" in sheet:
        once = sheet[~sheet["plant"].duplicated(keep=False) & sheet[name].notna()]
        looks = dict(zip(once["plant"].astype(str), once[name].astype(str), strict=True))
    scored = {f: row.tolist() for f, row in counts.iterrows() if row.sum()}
    usable = {f for f in scored if f in plans and TESTER not in founders_of(plans[f])}
    crossed = [f for f in usable if not isinstance(plans[f], Founder)]
    founders = {x for f in crossed for x in founders_of(plans[f])}
    known = {
        f: row
        for f, row in scored.items()
        if f in usable and (not crossed or set(founders_of(plans[f])) <= founders)
    }
    left_out = tuple(f for f in scored if f not in usable)
    used = {f: plans[f] for f in known}
    return Evidence.of(list(counts.columns), used, known, looks), left_out


def _rates(scoring_error: float | None) -> tuple[np.ndarray, np.ndarray]:
    if scoring_error is None:
        return error_grid()
    return np.array([scoring_error]), np.zeros(1)


def _weights(
    evidence: Evidence, found: Sequence[Weighed], rates: np.ndarray, ordered: bool
) -> tuple[ModelWeight, ...]:
    """The weight of each model, with its likeliest candidate and its group."""
    weights = model_shares(found)
    weighed: list[ModelWeight] = []
    seen: list[np.ndarray] = []
    numbers = {node: i for i, node in enumerate(evidence.counts)}
    free = {
        f: numbers[node]
        for f, node in evidence.families.items()
        if node in numbers and not evidence.structure.given[node]
    }
    for at in np.argsort(-weights, kind="stable"):
        model, candidates, likelihoods, each, top = found[at]
        one = candidates.part(slice(top, top + 1))
        shares = expected_shares(evidence, one)[0, 0]
        print_ = shares.round(9).ravel()
        if evidence.structure.plants:
            print_ = np.concatenate([print_, likelihoods[top].round(7)])
        group = next((i for i, s in enumerate(seen) if np.array_equal(s, print_)), len(seen))
        if group == len(seen):
            seen.append(print_)
        names = [str(g) for g in candidates.genome.genotypes()]
        error = float(rates[likelihoods[top].argmax()])
        written = shares @ mis_scoring([error], len(evidence.classes), ordered)[0]
        weighed.append(ModelWeight(
            model, float(weights[at]), float(each),
            tuple((f, names[s]) for f, s in zip(evidence.founders, one.founders[0], strict=True)),
            _names(model, candidates.genome, one.looks[0], evidence.classes),
            error, group,
            {f: tuple(written[at].tolist()) for f, at in free.items()},
        ))  # fmt: skip
    return tuple(weighed)


def _names(
    model: InheritanceModel, genome: Genome, looks: np.ndarray, classes: Sequence[str]
) -> tuple[str, ...]:
    """What a candidate calls the classes of its model, in the model's order."""
    table = model.rule.table(genome).ravel()
    return tuple(classes[looks[np.flatnonzero(table == c)[0]]] for c in range(len(model.classes)))


def _profile(
    evidence: Evidence, one: Candidates, ordered: bool
) -> tuple[float, tuple[float, float]]:
    """The likeliest rate of mis-scoring and its 95 % interval by profile likelihood."""
    rates = np.linspace(0, 0.5**0.5, 801) ** 2
    logs = log_likelihoods(evidence, one, mis_scoring(rates, len(evidence.classes), ordered))[0]
    inside = rates[logs >= logs.max() - 1.9207]  # half the 95 % point of chi-square, 1 df
    return float(rates[logs.argmax()]), (float(inside[0]), float(inside[-1]))


def _misfit(
    evidence: Evidence, one: Candidates, mixing: np.ndarray, error: float, ordered: bool
) -> float:
    """Chance of a misfit this large or larger under a candidate, from drawn seasons."""
    at_best = mis_scoring([error], len(evidence.classes), ordered)
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


def _worst(evidence: Evidence, one: Candidates, error: float, ordered: bool) -> str:
    """The family that lacks most of its own best likelihood, given all others."""
    if not evidence.counts:
        return ""
    at_best = mis_scoring([error], len(evidence.classes), ordered)
    nodes = list(evidence.counts)
    without = evidence.with_scores(
        {node: evidence.rows(node) * (np.arange(len(nodes)) != i)[:, None]
         for i, node in enumerate(nodes)},
        {plant: np.full(len(nodes), look) for plant, look in evidence.scores.items()},
    )  # fmt: skip
    given_others = log_likelihoods(evidence, one, at_best) - log_likelihoods(without, one, at_best)
    rows = np.concatenate([evidence.rows(node) for node in nodes])
    lacking = _own_shares(rows) - given_others[:, 0]
    return next(f for f, n in evidence.families.items() if n == nodes[int(lacking.argmax())])


def _saturated(evidence: Evidence) -> np.ndarray:
    """The log-likelihood of each season if every family had just the shares that it shows."""
    rows = {node: evidence.rows(node) for node in evidence.counts}
    for plant, look in evidence.scores.items():
        home, seen = evidence.nodes[plant].one, np.eye(len(evidence.classes))[np.atleast_1d(look)]
        rows[home] = rows.get(home, 0) + seen
    return sum((_own_shares(row) for row in rows.values()), np.zeros(1))


def _own_shares(rows: np.ndarray) -> np.ndarray:
    """The log-likelihood of counts (..., classes) under their own shares."""
    total = rows.sum(axis=-1)
    return xlogy(rows, rows).sum(axis=-1) - xlogy(total, total)
