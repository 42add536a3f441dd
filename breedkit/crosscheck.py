"""Did the cross take? Each plant of a supposed cross, held against what else it can be.

A plant of a family from female x male is of the cross (C), from the female's own pollen (S),
or from the pollen of some other plant (O). With what all other families say of the traits,

    L_i(h) = product over traits of the share of plant i's class, expected under h,

mis-scoring included; other pollen carries each allele with the same chance. The shares
p = (p_C, p_S, p_O) of the three among the family's seed are unknown. Beforehand p_O is a
beta density, 1/2 and 19/2 (mean 1 in 20: our own choice), and of the rest any part may be
selfed alike. Then

    P(p | scores) ~ prior(p) * product over plants of  sum over h of  p_h L_i(h),

and a plant is h with the mean of p_h L_i(h) / sum over h' of p_h' L_i(h'). The likeliest
models, genotypes of the founders (`breedkit.compare`) and of parents that are single plants
are averaged over, for all plants together; traits are taken to be inherited independently.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from scipy.special import roots_jacobi, roots_legendre, softmax

from breedkit.compare import compare_evidence, parent_looks, season_evidence
from breedkit.errors import ModelError, PedigreeError, pick, quote
from breedkit.evidence import Evidence
from breedkit.families import family_plans
from breedkit.labels import shares_of
from breedkit.models import catalogue
from breedkit.pedigree import Cross, Founder, Plan, Selfing
from breedkit.results import Fact, Result, listing, percent, plants, sentence, show
from breedkit.weights import no_segregation

if TYPE_CHECKING:
    import pandas as pd

    from breedkit.season import Season

KINDS = ("of the cross", "selfed", "other pollen")
OTHER = Founder("pollen of another plant")
LEAST = 0.01  # candidates of a trait with less weight are left out
MOST = 64  # ways to combine the candidates of the traits
SURE = 0.95  # chance from which a plant is named as one kind
EACH = "each with a chance of 95 % or more"
FITS = 0.05  # chance of the misfit of a trait in all other families below which it is not used
TELLS = 0.75  # a trait that is right on fewer plants, of half and half, does not tell


class Tells(NamedTuple):
    """What one trait can tell: the share of plants, half of the cross and half selfed, that it
    would put right, the same for a cross made the other way round, and what it expects of
    either kind, (2, classes)."""

    trait: str
    right: float
    other_way: float
    classes: tuple[str, ...]
    expected: np.ndarray


@dataclass(frozen=True, eq=False, repr=False)
class CrossCheck(Result):
    """Whether the plants of a supposed cross are of it.

    Attributes
    ----------
    family, female, male : the family and its parents.
    names : its plants.
    chances : (plants, 3), of the cross, selfed, from other pollen.
    shares : of the seed of the family, the three expected shares.
    intervals : of each share, the 95 % interval.
    tells : what each trait can tell, the best first.
    unused : traits that say nothing: no other family is scored in them, or no model fits.
    unscored : plants of the family that are scored in none of the traits used.
    """

    family: str
    female: str
    male: str
    names: tuple[str, ...]
    chances: np.ndarray
    shares: tuple[float, float, float]
    intervals: tuple[tuple[float, float], ...]
    tells: tuple[Tells, ...]
    unused: tuple[str, ...]
    unscored: int

    @property
    def n(self) -> int:
        return len(self.names)

    def plants_of(self, kind: str) -> tuple[str, ...]:
        """The plants that are of one of `KINDS` with a chance of 95 % or more."""
        at = KINDS.index(pick(kind, KINDS, "kind", ModelError))
        return tuple(n for n, c in zip(self.names, self.chances[:, at], strict=True) if c >= SURE)

    @property
    def verdict(self) -> str:
        family = sentence(show(self.family))
        if not self.n:
            return f"{family}: no plant is scored in a trait that has classes."
        own = f"from {show(self.female)}'s own pollen"
        crossed, selfed, other = (self.plants_of(kind) for kind in KINDS)
        if len(crossed) == self.n:
            return f"{family}: the cross took. All {plants(self.n)} are of it, {EACH}."
        if len(selfed) == self.n:
            return f"{family}: the cross did not take. All {plants(self.n)} are {own}, {EACH}."
        low, high = self.intervals[0]
        if not (crossed or selfed or other):
            if low > 0.5:
                return (
                    f"{family}: most seed is of the cross, {percent(self.shares[0])}, but of no "
                    f"single plant is it sure; {plants(self.n)}."
                )
            if self.intervals[1][0] > 0.5:
                return (
                    f"{family}: most seed is {own}, {percent(self.shares[1])}, but of no single "
                    f"plant is it sure; {plants(self.n)}."
                )
            return f"{family}: cannot tell {self._why}; {plants(self.n)}."
        said = [f"{len(crossed)} of {plants(self.n)} are of the cross"]
        said += [f"{len(them)} {how}" for them, how in ((selfed, own), (other, "from other pollen"))
                 if them]  # fmt: skip
        open_ = self.n - len(crossed) - len(selfed) - len(other)
        if open_:
            said.append(f"{open_} cannot be told")
        return f"{family}: {', '.join(said)}. A plant is named where the chance is 95 % or more."

    @property
    def _why(self) -> str:
        low, high = self.intervals[0]
        if not self.tells or (self.tells[0].right < TELLS and high - low > 0.8):
            return (
                "whether the cross took, since no trait scored here parts it from seed of "
                f"{show(self.female)}'s own pollen"
            )
        return "yet whether the cross took"

    def facts(self) -> list[Fact]:
        if not self.n:
            return []
        words = (
            f"of {show(self.female)} x {show(self.male)}",
            f"from {show(self.female)}'s own pollen",
            "from other pollen",
        )
        facts = [
            Fact(word, percent(share), f"{percent(low)} to {percent(high)}, 19 times in 20")
            for word, share, (low, high) in zip(words, self.shares, self.intervals, strict=True)
        ]
        selfed = self.plants_of("selfed")
        if selfed:
            more = f"and {len(selfed) - 12} more" if len(selfed) > 12 else ""
            facts.append(Fact("selfed, it seems", listing([show(p) for p in selfed[:12]]), more))
        for tell in self.tells[:4]:
            likeliest = [show(tell.classes[int(row.argmax())]) for row in tell.expected]
            what = f"the cross mostly {likeliest[0]}, selfed mostly {likeliest[1]}"
            if likeliest[0] == likeliest[1]:
                what = f"either mostly {likeliest[0]}"
            facts.append(
                Fact(show(tell.trait), f"puts {percent(tell.right)} of plants right", what)
            )
        return facts

    @property
    def notes(self) -> tuple[str, ...]:  # type: ignore[override]
        if not self.n:
            return ()
        notes = [
            "What to do: take no seed from plants that seem selfed, and mark those that cannot be "
            "told. A plant of the cross shows what the male gave: next time choose a male with a "
            "dominant class that the female lacks."
        ]
        turned = max(self.tells, key=lambda t: t.other_way, default=None)
        if turned and turned.other_way > max(t.right for t in self.tells) + 0.1:
            notes.append(
                f"Made the other way round, with {show(self.male)} as the female, "
                f"{show(turned.trait)} would put {percent(turned.other_way)} of plants right."
            )
        if self.tells and self.tells[0].right < 0.99:
            notes.append(
                "Half of the plants would be put right by guessing. What other families say of "
                "the traits is taken into account, and slips of scoring too."
            )
        if self.unscored:
            notes.append(f"Not scored, so not judged: {plants(self.unscored)}.")
        if self.unused:
            traits = listing([show(t) for t in self.unused])
            notes.append(
                f"Not used, as no model fits or no other family is scored in it: {traits}."
            )
        return tuple(notes)

    def table(self) -> pd.DataFrame:
        """Every plant, with the chance of each kind."""
        import pandas as pd

        frame = pd.DataFrame(self.chances, columns=list(KINDS))
        frame.insert(0, "plant", list(self.names))
        return frame


def cross_check(season: Season, family: str) -> CrossCheck:
    """Did the cross take? From every scored trait with classes.

    Parameters
    ----------
    season : the tables.
    family : a family with two different parents, such as an F1 or a backcross.

    Raises
    ------
    PedigreeError
        for a family that is not in the season, or is no cross.
    """
    known = family_plans(season.families, season.family_names, season.plants)
    family = pick(family, list(season.family_names), "family", PedigreeError)
    plan = known.get(family)
    if plan is None:
        raise PedigreeError(
            f"The parents of {quote(family)} are not known.\n"
            "Write its female and its male in the table of families."
        )
    if not isinstance(plan, Cross) or plan.female == plan.male:
        raise PedigreeError(
            f"{quote(family)} is not a cross of two parents.\n"
            "Ask about a family with two different parents, such as an F1 or a backcross."
        )
    sides = season.families[season.families["family"].astype(str) == family]
    female, male = (
        str(sides[c].iloc[0]) if len(sides) else name
        for c, name in (("female", "the female"), ("male", "the male"))
    )
    classed = [t for t in season.trait_names if season.trait(t).has_classes]
    scored = {trait: season_evidence(season, trait)[0] for trait in classed}
    names, looks = _looks(season, family, scored)
    asked = ((trait, _expected(season, trait, scored[trait], family, plan)) for trait in looks)
    told = [(trait, each) for trait, each in asked if each is not None]
    tells = sorted((each.tells for _, each in told), key=lambda t: -t.right)
    kept = [i for i in range(len(names)) if any(looks[t][i] >= 0 for t, _ in told)]
    seen = {trait: looks[trait][kept] for trait, _ in told}
    chances, shares, intervals = _weigh([(each, seen[trait]) for trait, each in told], len(kept))
    return CrossCheck(
        family, female, male, tuple(names[i] for i in kept), chances, shares, intervals,
        tuple(tells), tuple(t for t in looks if t not in seen),
        len(names) - len(kept),
    )  # fmt: skip


class _Trait(NamedTuple):
    """What a trait expects: (candidates, kinds, classes), with the weight of each candidate."""

    weights: np.ndarray
    expected: np.ndarray
    tells: Tells


def _looks(
    season: Season, family: str, scored: Mapping[str, Evidence]
) -> tuple[list[str], dict[str, np.ndarray]]:
    """The plants of a family, and the number of the class that each shows, -1 if not scored."""
    sheet = season.plants
    rows = sheet[sheet["family"].astype(str) == family] if "plant" in sheet else sheet.iloc[:0]
    found: dict[str, np.ndarray] = {}
    names = rows["plant"].astype(str).tolist() if len(rows) else []
    for trait, evidence in scored.items():
        classes = list(evidence.classes)
        if len(rows):
            number = {c: i for i, c in enumerate(classes)}
            found[trait] = np.array([number.get(str(look), -1) for look in rows[trait]], dtype=int)
        elif len(scored) == 1:  # tallies: plants without names
            counts = season.counts(trait).loc[family, classes].to_numpy(dtype=int)
            found[trait] = np.repeat(np.arange(len(classes)), counts)
            names = [f"{classes[c]} {i + 1}" for c, n in enumerate(counts) for i in range(n)]
    return names, found


def _expected(
    season: Season, trait: str, evidence: Evidence, family: str, plan: Cross
) -> _Trait | None:
    """What a trait expects of the three kinds, by all other families; None if it says nothing."""
    own = season.counts(trait)[list(evidence.classes)].loc[family].to_numpy(dtype=int)
    node = evidence.families.get(family)
    counts = dict(evidence.counts)
    if node in counts:
        counts[node] = tuple(np.maximum(evidence.rows(node)[0].astype(int) - own, 0).tolist())
    others = evidence.with_scores(counts, evidence.scores)
    if not others.n:
        return None
    models = (*catalogue().values(), no_segregation())
    compared = compare_evidence(others, trait, season.trait(trait).kind == "ordered", models)
    if compared.best is None or compared.misfit < FITS:
        return None
    female, male = plan.female, plan.male
    crossed: tuple[Plan, ...] = (
        Cross(female, male), Selfing(female), Cross(female, OTHER), Cross(male, female),
        Selfing(male),
    )  # fmt: skip
    plans = dict(zip((*KINDS, "other way", "its selfed"), crossed, strict=True))
    looks = parent_looks(season, trait)
    weights: list[np.ndarray] = []
    rows: list[np.ndarray] = []
    for model in compared.weights:
        if model.weight >= LEAST:
            worth, shares = shares_of(model, compared, plans, looks)
            weights.append(model.weight * worth)
            rows.append(shares)
    expected, which = np.unique(np.concatenate(rows).round(12), axis=0, return_inverse=True)
    total = np.bincount(which.ravel(), np.concatenate(weights))
    kept = total >= LEAST * total.sum()
    total, expected = total[kept] / total[kept].sum(), expected[kept]
    mean = np.tensordot(total, expected, 1)
    right, other_way = (float(mean[at].max(axis=0).sum() / 2) for at in ([0, 1], [3, 4]))
    tells = Tells(trait, right, other_way, evidence.classes, mean[:2])
    expected = expected[:, : len(KINDS)]
    return _Trait(total, expected, tells)


def _weigh(
    told: Sequence[tuple[_Trait, np.ndarray]], n: int
) -> tuple[np.ndarray, tuple[float, float, float], tuple[tuple[float, float], ...]]:
    """The chances of each plant, and the shares among the seed with their intervals."""
    p, log_prior = _grid()
    combos = sorted(
        itertools.product(*(range(len(each.weights)) for each, _ in told)),
        key=lambda c: -np.prod([each.weights[i] for i, (each, _) in zip(c, told, strict=True)]),
    )[:MOST]
    weights = np.array([np.prod([each.weights[i] for i, (each, _) in zip(c, told, strict=True)])
                        for c in combos])  # fmt: skip
    likely = np.ones((len(combos), n, len(KINDS)))
    for t, (each, looks) in enumerate(told):
        shown = each.expected[[c[t] for c in combos]]  # (combinations, kinds, classes)
        scored = looks >= 0
        likely[:, scored] *= shown[:, :, looks[scored]].transpose(0, 2, 1)
    mixed = np.maximum(likely @ p.T, np.finfo(float).tiny)  # (combinations, plants, shares)
    logs = np.log(mixed).sum(axis=1) + log_prior + np.log(weights / weights.sum())[:, None]
    post = softmax(logs)
    part = likely[:, :, None, :] * p / mixed[..., None]
    chances = np.einsum("cg,cngh->nh", post, part)
    by_share = post.sum(axis=0)
    shares = by_share @ p
    return chances, tuple(shares.tolist()), tuple(_interval(p[:, h], by_share) for h in range(3))


def _grid() -> tuple[np.ndarray, np.ndarray]:
    """Shares of the three kinds, (ways, 3), and the log of their prior."""
    x, w = roots_jacobi(12, 8.5, -0.5)  # beta density, 1/2 and 19/2
    u, v = roots_legendre(40)
    other, selfed = np.meshgrid((x + 1) / 2, (u + 1) / 2, indexing="ij")
    p = np.stack([(1 - other) * (1 - selfed), (1 - other) * selfed, other], axis=-1)
    prior = np.multiply.outer(w / w.sum(), v / 2)
    return p.reshape(-1, 3), np.log(prior.ravel())


def _interval(values: np.ndarray, weights: np.ndarray) -> tuple[float, float]:
    """The likeliest 95 % of a share, to a fiftieth; so it can begin at none and end at all."""
    heights, edges = np.histogram(values, bins=50, range=(0, 1), weights=weights)
    order = np.argsort(-heights, kind="stable")
    kept = order[: int((heights[order].cumsum() < 0.95).sum()) + 1]
    return float(edges[kept.min()]), float(edges[kept.max() + 1])
