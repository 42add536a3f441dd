"""Are the labels right? Every family, held against the parents of all others.

The counts of a family f may come from its own parents or, if its label is wrong, from those
of another family g. With a candidate c for each trait (a model with genotypes of the
founders), the season has the likelihood

    product over f of  sum over g of  prior(g | f) * product over traits of P(counts of f | g, c).

Beforehand one label in fifty is wrong (our own choice), and any other family is as likely
to be meant. All candidates of the models with a name are summed over, so that a wrong label
does not choose its own model; and in one family of a hundred a trait follows none of them,
and any shares are as likely. With one trait the chances are exact; with several the traits
tell each other in turn what they think of each label, until that settles (belief
propagation). Families of the same parents are one, and a parent that is a single plant
stands for all plants of its family that look as it does. Slips of scoring are taken as 2 %.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from scipy.special import gammaln, log_softmax, logsumexp, softmax

from breedkit.choices import choices_of
from breedkit.compare import parent_looks, season_evidence
from breedkit.evidence import Evidence
from breedkit.families import family_plans
from breedkit.likelihood import Candidates, expected_genotypes, expected_shares, mis_scoring
from breedkit.models import catalogue
from breedkit.pedigree import (
    TESTER,
    Chosen,
    Cross,
    Founder,
    Plan,
    founders_of,
    single_parents,
)
from breedkit.results import Fact, Result, listing, percent, plants, show
from breedkit.weights import model_prior, no_segregation

if TYPE_CHECKING:
    import pandas as pd

    from breedkit.comparison import Comparison
    from breedkit.season import Season
    from breedkit.weights import ModelWeight

WRONG = 0.02  # prior chance of a wrong label: our own choice
STRAY = 0.01  # prior chance that a trait follows none of the models in a family: our choice
SLIPS = 0.02
ROUNDS = 8
LEAST_CASE = 1e-4  # cases of a candidate with less weight are left out
LOWEST = -700.0  # log of a share that cannot be
DOUBTFUL = 0.2  # chance of a wrong label from which some are said to be doubtful
DOUBTED = 0.5  # chance of a wrong label from which a family is named


class Label(NamedTuple):
    """A family, its plants scored, the chance that its label is wrong, and the families whose
    parents it fits best, with the share of that chance that goes to them."""

    family: str
    n: int
    wrong: float
    rather: tuple[str, ...]
    share: float


@dataclass(frozen=True, eq=False, repr=False)
class LabelCheck(Result):
    """Which families fit the parents of another family better than their own.

    Attributes
    ----------
    labels : every family that was scored, the most doubtful first.
    traits : the traits that were used.
    """

    labels: tuple[Label, ...]
    traits: tuple[str, ...]

    @property
    def doubted(self) -> tuple[Label, ...]:
        """The families whose label is rather wrong than right."""
        return tuple(label for label in self.labels if label.wrong >= DOUBTED)

    @property
    def verdict(self) -> str:
        if not self.labels:
            return "No family can be checked: too few are scored, or their parents are not known."
        worst = self.labels[0]
        if not self.doubted and worst.wrong < DOUBTFUL:
            return (
                f"No label of {len(self.labels)} families is doubtful. The least sure is "
                f"{show(worst.family)}: wrong with chance {percent(worst.wrong)}."
            )
        if not self.doubted:
            some = [f"{show(x.family)} {percent(x.wrong)}" for x in self.labels
                    if x.wrong >= DOUBTFUL][:4]  # fmt: skip
            return (
                f"Some labels may be wrong, and it cannot be told which: {listing(some)}. Look at "
                "the tags and the sheet."
            )
        names = listing([show(label.family) for label in self.doubted])
        which = "label is" if len(self.doubted) == 1 else "labels are"
        return (
            f"{names}: the {which} rather wrong than right. Look first at the tags and the sheet."
        )

    def facts(self) -> list[Fact]:
        return [
            Fact(show(label.family), f"wrong: {percent(label.wrong)}",
                 f"{plants(label.n)}; rather {listing([show(f) for f in label.rather], 'or')}")
            for label in self.labels[:8]
        ]  # fmt: skip

    @property
    def notes(self) -> tuple[str, ...]:  # type: ignore[override]
        if not self.labels:
            return ()
        return (
            "Beforehand one label in fifty is taken to be wrong. Families that expect the same "
            "numbers, such as a parent and a backcross to it that shows one class, cannot be "
            "told apart.",
            f"From {listing([show(t) for t in self.traits])}.",
        )

    def table(self) -> pd.DataFrame:
        """Every family: plants, chance of a wrong label, and whose parents it fits best."""
        import pandas as pd

        rows = [(x.family, x.n, x.wrong, "|".join(x.rather), x.share) for x in self.labels]
        return pd.DataFrame(rows, columns=["family", "plants", "wrong", "rather", "share"])


def label_check(season: Season) -> LabelCheck:
    """Check every label: do the scores of a family fit the parents of another one better?

    Parameters
    ----------
    season : the tables, with a register of families or names such as F2 and BC1(P1).
    """
    plans = family_plans(season.families, season.family_names, season.plants)
    classed = [t for t in season.trait_names if season.trait(t).has_classes]
    asked = [_of_trait(season, trait, plans) for trait in classed]
    traits = [trait for trait in asked if trait is not None]
    labels = sorted(_labels(traits, plans), key=lambda label: -label.wrong)
    return LabelCheck(tuple(labels), tuple(trait.name for trait in traits))


class _Trait(NamedTuple):
    """One trait: the log prior of every candidate, the log chance of each family's counts under
    each family's parents, (candidates, families scored, families), and the plants scored."""

    name: str
    log_prior: np.ndarray
    logs: np.ndarray
    numbers: dict[str, int]


def _of_trait(season: Season, trait: str, plans: Mapping[str, Plan]) -> _Trait | None:
    """What a trait says of every family under the parents of every family."""
    evidence, _ = season_evidence(season, trait)
    scored = [f for f in evidence.families if f in plans]
    if len(evidence.founders) < 2 or len(scored) < 2:
        return None
    looks = parent_looks(season, trait)
    k = len(evidence.classes)
    single: dict[str, Plan] = {}
    known = {f: _one_plant(plan, looks, single) for f, plan in plans.items()}
    asked = Evidence.of(evidence.classes, known, {f: [1] * k for f in known})
    grown = Evidence.of(evidence.classes, single, {p: [1] * k for p in single})
    place = list(asked.counts)
    at = [place.index(asked.families[f]) for f in known]
    ordered = season.trait(trait).kind == "ordered"
    mixing = mis_scoring([SLIPS], k, ordered)
    table = season.counts(trait)[list(evidence.classes)].loc[scored]
    counts = table.to_numpy(dtype=float)
    models = (*catalogue().values(), no_segregation())
    founders = [f for f in asked.founders if f not in single]
    founders += [f for f in grown.founders if f not in founders]
    testers = tuple(f == TESTER for f in founders)
    opened = [(m, choices_of(m, testers, k, ordered)) for m in models]
    found = [(m, c) for m, c in opened if c is not None and len(c.names)]
    prior, rows = [], []
    for share, (_, choices) in zip(model_prior([(m,) for m, _ in found]), found, strict=True):
        every = choices.candidates(np.arange(np.prod(choices.sizes)))
        prior.append(share * choices.each_prior)
        rows.append(_said(every, founders, asked, grown, at, known, mixing, counts))
    with np.errstate(divide="ignore"):
        log_prior = np.log(np.concatenate(prior))
    said = np.concatenate(rows)
    # any shares, one set as likely as another: the integral of their product over all of them
    stray = gammaln(k) + gammaln(counts + 1).sum(axis=1) - gammaln(counts.sum(axis=1) + k)
    said = np.logaddexp(np.log(1 - STRAY) + said, np.log(STRAY) + stray[:, None])
    return _Trait(trait, log_prior, said, dict(table.sum(axis=1)))


def _said(
    every: Candidates,
    founders: Sequence[str],
    asked: Evidence,
    grown: Evidence,
    at: Sequence[int],
    known: Mapping[str, Plan],
    mixing: np.ndarray,
    counts: np.ndarray,
) -> np.ndarray:
    """The log chance of each family's counts under each family's parents, by candidate.

    A family from a single plant is a case for each genotype that the plant can have.
    """
    place = {f: i for i, f in enumerate(founders)}

    states = every.looks.shape[1]
    weights = np.full((len(every.looks), len(known), states), 1 / states)
    if grown.counts:
        chances = expected_genotypes(grown, _with(every, place, {}, grown), mixing)[:, 0]
        order = list(grown.counts)
        for g, plan in enumerate(known.values()):
            for plant in founders_of(plan):
                if plant in grown.families:
                    weights[:, g] = chances[:, order.index(grown.families[plant])]
    cases = []
    for state in range(states if grown.counts else 1):
        each = _with(every, place, dict.fromkeys(grown.families, state), asked)
        with np.errstate(divide="ignore"):
            logs = np.log(expected_shares(asked, each, mixing)[:, 0, at])
            worth = np.log(weights[:, None, :, state] * (1 if grown.counts else states))
        cases.append(np.einsum("cgk,fk->cfg", np.maximum(logs, LOWEST), counts) + worth)
    return logsumexp(cases, axis=0)


def _one_plant(plan: Plan, looks: dict[str, str], single: dict[str, Plan]) -> Plan:
    """As `as_founders` where one single plant is behind a family; of two, their families."""
    if len(single_parents(plan)) == 1:
        return as_founders(plan, looks, single)
    return as_group(plan, looks)


def _labels(traits: Sequence[_Trait], plans: Mapping[str, Plan]) -> list[Label]:
    """The chance of every label to be wrong, by all traits together."""
    distinct: dict[Plan, list[str]] = {}
    for name, plan in plans.items():
        distinct.setdefault(plan, []).append(name)
    first = [list(plans).index(names[0]) for names in distinct.values()]
    families = list(dict.fromkeys(f for trait in traits for f in trait.numbers))
    own = np.array([list(distinct).index(plans[f]) for f in families], dtype=int)
    log_prior = np.full((len(families), len(distinct)), np.log(WRONG / max(len(distinct) - 1, 1)))
    log_prior[np.arange(len(families)), own] = np.log(1 - WRONG)
    at = [[families.index(f) for f in trait.numbers] for trait in traits]
    said = np.zeros((len(traits), *log_prior.shape))
    for _ in range(ROUNDS if len(traits) > 1 else 1):
        for t, trait in enumerate(traits):
            others = (log_prior + said.sum(axis=0) - said[t])[at[t]]
            logs = trait.logs[:, :, first]
            each = logsumexp(logs + others, axis=2)  # (candidates, families)
            rest = trait.log_prior[:, None] + each.sum(axis=1, keepdims=True) - each
            said[t, at[t]] = logsumexp(log_softmax(rest, axis=0)[:, :, None] + logs, axis=0)
    chances = softmax(log_prior + said.sum(axis=0), axis=1)
    numbers = {f: max(int(t.numbers.get(f, 0)) for t in traits) for f in families}
    names = [group[0] for group in distinct.values()]
    return [_label(f, names, row, i, numbers[f])
            for f, row, i in zip(families, chances, own, strict=True)]  # fmt: skip


def _label(family: str, names: Sequence[str], chances: np.ndarray, own: int, n: int) -> Label:
    """What is said of one label. `chances`: of the parents of every family to be its own."""
    others = chances.copy()
    others[own] = 0.0
    top = (others >= others.max() / 2) & (others > 0)
    share = float(others[top].sum() / max(others.sum(), np.finfo(float).tiny))
    rather = tuple(name for name, is_top in zip(names, top, strict=True) if is_top)[:3]
    return Label(family, n, 1 - float(chances[own]), rather, share)


def shares_of(
    model: ModelWeight, compared: Comparison, plans: Mapping[str, Plan], looks: dict[str, str]
) -> tuple[np.ndarray, np.ndarray]:
    """What each candidate of a model expects of families, for all that their parents can be.

    A parent that is a single plant is one genotype for all its offspring: a case for each
    that it can have, by its family and its look. A founder that nothing is known of is any
    that breeds true, one as likely as the other.

    Returns
    -------
    (cases,) weights, total 1; (cases, families, classes) shares as they are written down.
    """
    genome, k = model.candidates.genome, len(compared.classes)
    pure = [i for i, g in enumerate(genome.genotypes()) if g.female == g.male]
    place = {f: i for i, f in enumerate(compared.founders)}
    single: dict[str, Plan] = {}
    known = {name: as_founders(plan, looks, single) for name, plan in plans.items()}
    asked = Evidence.of(compared.classes, known, {name: [1] * k for name in known})
    at = [list(asked.counts).index(asked.families[name]) for name in known]
    grown = Evidence.of(compared.classes, single, {p: [1] * k for p in single})
    unknown = [f for f in (*asked.founders, *grown.founders) if f not in place and f not in single]
    unknown = list(dict.fromkeys(unknown))
    weights, rows = [], []
    for states in itertools.product(pure, repeat=len(unknown)):
        given = dict(zip(unknown, states, strict=True))
        chances = expected_genotypes(
            grown, _with(model.candidates, place, given, grown), compared.mixing[None]
        )
        by_plant = {p: chances[:, 0, list(grown.counts).index(grown.families[p])] for p in single}
        for genotypes in itertools.product(range(chances.shape[-1]), repeat=len(single)):
            of = dict(zip(single, genotypes, strict=True))
            worth = model.chances / len(pure) ** len(unknown)
            for plant, state in of.items():
                worth = worth * by_plant[plant][:, state]
            likely = np.flatnonzero(worth > LEAST_CASE)
            if len(likely):
                each = _with(model.candidates, place, {**given, **of}, asked).part(likely)
                shares = expected_shares(asked, each, compared.mixing[None])[:, 0]
                weights.append(worth[likely])
                rows.append(shares[:, at])
    return np.concatenate(weights), np.concatenate(rows)


def _with(
    candidates: Candidates, place: Mapping[str, int], given: Mapping[str, int], asked: Evidence
) -> Candidates:
    """The candidates with the founders asked for: their own, at `place`, and those given."""
    many = len(candidates.founders)
    columns = [
        candidates.founders[:, place[f]] if f in place else np.full(many, given[f])
        for f in asked.founders
    ]
    founders = np.array(columns, dtype=int).reshape(len(columns), many).T
    return replace(candidates, founders=founders)


def as_founders(plan: Plan, looks: dict[str, str], single: dict[str, Plan]) -> Plan:
    """The same parentage, the latest single plants as founders, collected in `single` with
    where they come from."""
    match plan:
        case Founder():
            return plan
        case Cross(female, male):
            return Cross(as_founders(female, looks, single), as_founders(male, looks, single))
        case Chosen(_, _, str(plant)):
            name = f"plant {plant}"
            single[name] = as_group(plan, looks)
            return Founder(name)
        case _:
            return replace(plan, parent=as_founders(plan.parent, looks, single))


def as_group(plan: Plan, looks: dict[str, str]) -> Plan:
    """The same parentage, each single plant as any of its family that looks as it does."""
    match plan:
        case Founder():
            return plan
        case Cross(female, male):
            return Cross(as_group(female, looks), as_group(male, looks))
        case Chosen(parent, _, str(plant)):
            return Chosen(as_group(parent, looks), look=looks.get(plant))
        case _:
            return replace(plan, parent=as_group(plan.parent, looks))
