"""What each plant carries, given everything that was scored.

For a plant with genotype x, from the one likelihood read backwards (`breedkit.posterior`),

    P(x | all scores) = sum over candidates and rates of  P(candidate, rate | all scores)
                                                        * P(x | all scores, candidate, rate).

Genotypes of the founders, the names of the classes and the rate of mis-scoring are unknown and
averaged over, with the priors of the comparison (`breedkit.weights`), and so are the models if
none is named. Candidates that differ in letters alone are one, with the letters nearest to
those of the likeliest.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import prod
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from breedkit.carriers import PlantOdds
from breedkit.choices import Choices, choices_of, distinct_rows, fingerprints, other_rules
from breedkit.compare import compare_models, season_evidence
from breedkit.comparison import Comparison
from breedkit.errors import ModelError, pick, quote
from breedkit.evidence import Evidence
from breedkit.genome import Genome
from breedkit.likelihood import Candidates, Engine, mis_scoring
from breedkit.models import InheritanceModel, catalogue
from breedkit.pedigree import TESTER
from breedkit.posterior import posterior
from breedkit.results import listing, percent, show
from breedkit.weights import error_grid, from_register, log_sum

if TYPE_CHECKING:
    import pandas as pd

    from breedkit.season import Season

LEAST = 1e-3  # models with less weight are left out of an average
LEAST_CANDIDATE = 1e-13  # candidates with less weight are left out
CELLS = 16_000_000  # numbers, 8 bytes each, that are worked out together


def plant_odds(
    season: Season, trait: str, model: InheritanceModel | str | Comparison | None = None
) -> PlantOdds:
    """What each plant of a season carries, given everything that was scored.

    Parameters
    ----------
    season : the tables, one row a plant.
    trait : a trait with classes.
    model : a model, its name in the catalogue, or a comparison of this trait (its best model,
        and its rate of mis-scoring if that was given); by default all models of a comparison,
        averaged by weight.

    Raises
    ------
    TableError, ModelError
        if there is no such trait or model, the season holds tallies, or the model cannot give
        what was scored.

    Examples
    --------
    >>> odds = plant_odds(season, "ripe colour", "single dominant gene")
    >>> odds.plant("F2-17")
    """
    kind = season.trait(trait)
    evidence, _ = season_evidence(season, kind.name, whole=True)
    sheet = season.plants
    if "plant" not in sheet:
        raise ModelError("Odds are of single plants, but this season holds tallies.")
    ordered = kind.kind == "ordered"
    compared = model if isinstance(model, Comparison) else None
    if model is None:
        compared = compare_models(season, kind.name)
    if compared is not None:
        _must_be_of(compared, kind.name, evidence)
    found = []
    for name, weight, choices in _models(model, compared, evidence, ordered):
        if choices is None or not prod(choices.sizes):
            raise _cannot_give(name, choices, kind.name, evidence)
        found.append(
            (name, weight, _under(choices, evidence, *_slips(compared, evidence, ordered)))
        )
    single = len(found) == 1 and model is not None
    total = sum(weight for _, weight, _ in found)
    parts = [(weight / total, each) for _, weight, each in found]
    first = found[0][2]
    rows, codes, families, seen = _rows_of(sheet, kind.name, evidence)
    kept = np.flatnonzero(first.chances[rows].max(axis=0, initial=0) > 0)[: None if single else 0]
    names = [str(g) for g in first.genome.genotypes()]
    true = sum(w * each.true[rows] for w, each in parts)
    code = np.array([evidence.classes.index(c) if c else -1 for c in seen], dtype=int)
    own = true[np.arange(len(rows)), code] if len(rows) else np.zeros(0)
    return PlantOdds(
        kind.name, found[0][0] if single else "", evidence.classes,
        codes, families, seen, tuple(names[i] for i in kept), first.chances[rows][:, kept],
        sum(w * each.carries[rows] for w, each in parts), np.where(code < 0, true.sum(axis=1), own),
        _likeliest(first, evidence, names) if single else {},
        float(sum(w * each.error for w, each in parts)),
        tuple((name, weight / total) for name, weight, _ in found),
        tuple(f for f in season.family_names if f not in evidence.families),
        _remark(model, compared, single), first.genome if single else None,
    )  # fmt: skip


class _Under(NamedTuple):
    """What holds under one model: for each row, a hidden plant or the plants of one family and
    class, chances of the genotypes, of carrying and of breeding true for each class; of each
    founder chances of its genotypes; the expected rate of mis-scoring."""

    genome: Genome
    chances: np.ndarray
    carries: np.ndarray
    true: np.ndarray
    founders: np.ndarray
    error: float


def _under(
    choices: Choices,
    evidence: Evidence,
    rates: np.ndarray,
    log_prior: np.ndarray,
    mixing: np.ndarray,
) -> _Under:
    """Average over all candidates of a model and all rates of mis-scoring."""
    worked = from_register(choices, evidence, mixing)
    logs = worked.likelihoods + log_prior + np.log(worked.prior)[:, None]
    total = log_sum(logs.ravel())
    if not np.isfinite(total):
        raise ModelError(
            f"{quote(choices.rules[0].name)} cannot give these scores.\n"
            "Not even one plant may be mis-scored, as it was asked; allow for some."
        )
    weight = np.exp(logs - total)
    kept = np.flatnonzero(weight.sum(axis=1) > LEAST_CANDIDATE)
    candidates = _same_letters(choices, worked.numbers, kept, int(logs.max(axis=1).argmax()))
    weight = weight[kept] / weight[kept].sum()
    states, k = candidates.looks.shape[1], len(evidence.classes)
    hidden = len(evidence.structure.plants)
    rows = hidden + len(evidence.counts) * (k + 1)
    chances, carries, true = (np.zeros((rows, width)) for width in (states, k, k))
    # each plant that mates with others brings a table over itself and two more, or nearly so
    width = rows * states + len(evidence.structure.core) * states**3
    step = max(CELLS // (len(mixing) * width), 1)
    for part in (slice(i, i + step) for i in range(0, len(kept), step)):
        some, w = candidates.part(part), weight[part]
        found = posterior(evidence, some, mixing)
        own = np.concatenate(
            [
                np.einsum("ze,zegh->zhg", w, found.plants),
                np.einsum("ze,zefcg->zfcg", w, found.sibs).reshape(len(w), -1, states),
            ],
            axis=1,
        )
        can_give, breeds = _offspring(some, k)
        chances += own.sum(axis=0)
        carries += (own @ can_give).sum(axis=0)
        true += (own @ breeds).sum(axis=0)
    founders = np.zeros((candidates.founders.shape[1], states))
    for i, column in enumerate(candidates.founders.T):
        founders[i] = np.bincount(column, weight.sum(axis=1), states)
    error = float(weight.sum(axis=0) @ rates)
    return _Under(choices.genome, chances, carries, true, founders, error)


def _offspring(candidates: Candidates, classes: int) -> tuple[np.ndarray, np.ndarray]:
    """Whether selfed offspring of each genotype can show a class, and whether all do, as it does
    itself: (candidates, states, classes) each."""
    shown = np.eye(classes + 1)[candidates.looks][..., :-1]
    possible = (Engine.of(candidates.genome).selfing > 0).astype(float)
    can_give = possible @ shown > 0
    alone = can_give.sum(axis=-1, keepdims=True) == 1
    return can_give.astype(float), (can_give & alone & (shown > 0)).astype(float)


def _same_letters(choices: Choices, numbers: np.ndarray, kept: np.ndarray, best: int) -> Candidates:
    """Candidates with the letters that are nearest to those of the best.

    Of all candidates that differ from one in letters alone, that whose genotypes look most like
    those of the best, and then whose founders are most like its founders.
    """
    every = choices.candidates(np.arange(prod(choices.sizes)))
    share = np.arange(prod(choices.sizes)) % len(choices.shares)
    _, sort = distinct_rows(np.concatenate([fingerprints(every), share[:, None]], axis=1))
    model = every.part(numbers[best : best + 1])
    alike = (every.looks == model.looks).sum(axis=1) * (every.founders.shape[1] + 1)
    alike += (every.founders == model.founders).sum(axis=1)
    order = np.lexsort((-alike, sort))
    _, first = np.unique(sort[order], return_index=True)
    return every.part(order[first][sort[numbers[kept]]])


def _models(
    model: InheritanceModel | str | Comparison | None,
    compared: Comparison | None,
    evidence: Evidence,
    ordered: bool,
) -> Iterator[tuple[str, float, Choices | None]]:
    """The models to average over: name, weight, and what each leaves open."""
    testers, k = tuple(name == TESTER for name in evidence.founders), len(evidence.classes)
    if compared is None:
        if isinstance(model, str):
            model = catalogue()[pick(model, catalogue(), "model", ModelError)]
        assert isinstance(model, InheritanceModel)
        yield model.name, 1.0, choices_of(model, testers, k, ordered)
        return
    seen = tuple(np.flatnonzero(evidence.seen).tolist())
    for weight in compared.weights if model is None else compared.weights[:1]:
        if model is not None or weight.weight >= LEAST:
            together = weight.together > 1
            yield (
                weight.name,
                weight.weight,
                other_rules(testers, k, seen)
                if together
                else choices_of(weight.model, testers, k, ordered),
            )


def _slips(
    compared: Comparison | None, evidence: Evidence, ordered: bool
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Rates of mis-scoring, the log of their prior, and (rates, classes, classes)."""
    if compared is not None and compared.fixed_error:
        return np.array([compared.error]), np.zeros(1), compared.mixing[None]
    rates, log_prior = error_grid()
    return rates, log_prior, mis_scoring(rates, len(evidence.classes), ordered)


def _rows_of(
    sheet: pd.DataFrame, trait: str, evidence: Evidence
) -> tuple[np.ndarray, tuple[str, ...], tuple[str, ...], tuple[str, ...]]:
    """Of each plant in a family that is known: its row in `_Under`, code, family and class."""
    sheet = sheet[sheet["family"].astype(str).isin(list(evidence.families))]
    codes, families = (sheet[c].astype(str).tolist() for c in ("plant", "family"))
    seen = [
        str(c) if known else "" for c, known in zip(sheet[trait], sheet[trait].notna(), strict=True)
    ]
    classes, hidden = len(evidence.classes), len(evidence.structure.plants)
    first = {node: hidden + i * (classes + 1) for i, node in enumerate(evidence.counts)}
    rows = []
    for code, family, look in zip(codes, families, seen, strict=True):
        node = evidence.plants.get(code)
        if node is not None:
            rows.append(evidence.structure.at[node])
        else:
            at = evidence.classes.index(look) if look else classes
            rows.append(first[evidence.families[family]] + at)
    return np.array(rows, dtype=int), tuple(codes), tuple(families), tuple(seen)


def _likeliest(
    found: _Under, evidence: Evidence, names: Sequence[str]
) -> dict[str, tuple[str, float]]:
    """Of each founder its likeliest genotype."""
    return {
        founder: (names[int(row.argmax())], float(row.max()))
        for founder, row in zip(evidence.founders, found.founders, strict=True)
    }


def _must_be_of(compared: Comparison, trait: str, evidence: Evidence) -> None:
    """A comparison of this trait, with a model."""
    if compared.trait != trait or compared.classes != evidence.classes:
        raise ModelError(
            f"This comparison is of {quote(compared.trait)}, not of {quote(trait)} in this season."
        )
    if compared.best is None:
        raise ModelError(f"There is no model to work with.\n{compared.verdict}")


def _cannot_give(name: str, choices: Choices | None, trait: str, evidence: Evidence) -> ModelError:
    """Why a model leaves nothing open."""
    if choices is None:
        n = len(evidence.founders)
        return ModelError(f"{quote(name)} has too many ways for {n} parents to be made up.")
    wanted = choices.names.shape[1]
    return ModelError(
        f"{quote(name)} does not go with {quote(show(trait, longest=30))}.\n"
        f"It has {wanted} classes, the trait {len(evidence.classes)}: "
        f"{listing([quote(c) for c in evidence.classes])}."
    )


def _remark(model: object, compared: Comparison | None, single: bool) -> str:
    """What to bear in mind of the model: it is not settled, or more than is followed here."""
    if isinstance(model, InheritanceModel) and model.recombination:
        return "The genes of this model are linked; they are followed here as if they were not."
    if compared is None or compared.best is None or compared.standing == "supported":
        return ""
    if compared.standing == "none fits":
        return "No model fits these scores well, so these chances are not to be relied on."
    if not single:
        return ""
    share = percent(compared.best.weight)
    return f"The comparison has not settled on {compared.best.name} (weight {share})."
