"""What the comparison of all models says: verdict, facts, notes, table, pictures.

Four answers are possible: a model is supported; it is supported but not separable from
another; it cannot be told yet; none of these fits. Each says on how many plants it rests.
`breedkit.compare` works out what stands here.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from breedkit import modelcharts
from breedkit.errors import ModelError, quote
from breedkit.nextfamily import NextFamily, next_family
from breedkit.pedigree import TESTER
from breedkit.results import Fact, Result, chance, listing, percent, plants, sentence, show
from breedkit.weights import ANOTHER, ModelWeight

if TYPE_CHECKING:
    import pandas as pd

    from breedkit.modelcharts import Axes

SUPPORTED = 0.95  # weight from which a model is called supported
LEFT = 0.95  # the rivals that are named make up this weight together
DRAWN = 400  # seasons drawn to judge the misfit
MANY = 20  # models from which the price of trying so many is told
MISFIT = 0.01  # chance of the best candidate's misfit below which none is said to fit


@dataclass(frozen=True, eq=False, repr=False)
class Comparison(Result):
    """What all families together say of all models.

    Attributes
    ----------
    weights : the models, by weight. Those with one `group` number expect the same numbers
        of every family here.
    error, error_interval : likeliest rate of mis-scoring, averaged over all models, and its
        95 % interval by likelihood.
    misfit : chance of a misfit as large as the best candidate's, or larger, if it holds.
    worst : the family that fits worst, with its own share of the misfit.
    tried, distinct : candidates, and how many of them are told apart here.
    crosses : the founders that were crossed with each other, female and male.
    counts : plants of each class in every family, those not scored left out.
    mixing : (classes, classes), what each class is written down as, on average over the rates
        of mis-scoring under the best model, weighed by prior and scores.
    too_many : models that were left out, since so many parents can carry too much.
    remedy : if no model with a name fits, one that would if a class did not always show, or
        live.
    """

    trait: str
    n: int
    families: tuple[str, ...]
    left_out: tuple[str, ...]
    weights: tuple[ModelWeight, ...]
    error: float
    error_interval: tuple[float, float]
    fixed_error: bool
    misfit: float
    worst: str
    tried: int
    distinct: int
    founders: tuple[str, ...]
    crosses: tuple[tuple[str, str], ...]
    classes: tuple[str, ...]
    counts: Mapping[str, tuple[int, ...]]
    mixing: np.ndarray
    too_many: tuple[str, ...]
    remedy: ModelWeight | None

    def next_family(
        self, sizes: Sequence[int] = (10, 20, 40, 80, 160), certainty: float = SUPPORTED
    ) -> NextFamily:
        """Which family would settle what is open, and with how many plants.

        Parameters
        ----------
        sizes : numbers of plants to try.
        certainty : weight that one model must reach.

        Raises
        ------
        ModelError
            for sizes below 1, or a certainty outside 0.5 to 1.
        """
        return next_family(
            self.weights if self.n else (), self._to_cross, self.founders, self.classes,
            self._seen, self.mixing, sizes, certainty,
            self.worst or "all families" if self.standing == "none fits" else "",
        )  # fmt: skip

    @property
    def _to_cross(self) -> tuple[tuple[str, str], ...]:
        """The crosses of founders that there are, or the first two founders."""
        grown = tuple(f for f in self.founders if f != TESTER)
        return self.crosses or ((grown[0], grown[1]),) if len(grown) > 1 else ()

    @property
    def _seen(self) -> tuple[str, ...]:
        """The classes that offspring showed; those of all plants if there are none."""
        offspring = [row for f, row in self.counts.items() if f not in self.founders]
        none = [(0,) * len(self.classes)]
        rows = np.array(offspring or list(self.counts.values()) or none)
        return tuple(c for c, n in zip(self.classes, rows.sum(axis=0), strict=True) if n)

    @property
    def best(self) -> ModelWeight | None:
        """The model with the largest weight; None if nothing was scored."""
        return self.weights[0] if self.weights and self.n else None

    @property
    def inseparable(self) -> tuple[ModelWeight, ...]:
        """The models that expect the same numbers as the best one, it included."""
        return tuple(w for w in self.weights if self.best and w.group == self.best.group)

    @property
    def undecided(self) -> tuple[ModelWeight, ...]:
        """The likeliest models that together make up 95 % of the weight."""
        total, found = 0.0, []
        for weight in self.weights if self.n else ():
            found.append(weight)
            total += weight.weight
            if total >= LEFT:
                break
        return tuple(found)

    @property
    def standing(self) -> str:
        """'supported', 'not separable', 'cannot tell', 'none fits', 'no such classes' or
        'nothing scored'."""
        if self.best is None:
            return "no such classes" if self.n else "nothing scored"
        if self.misfit < MISFIT:
            return "none fits"
        together = sum(w.weight for w in self.inseparable)
        if together < SUPPORTED or self.too_many or self._one_way:
            return "cannot tell"
        return "supported" if len(self.inseparable) == 1 else "not separable"

    @property
    def _one_way(self) -> bool:
        """Whether the mother alone seems to decide, but no cross was made both ways."""
        turned = any((male, female) in self.crosses for female, male in self.crosses)
        return not turned and not any(w.model.genes for w in self.inseparable)

    @property
    def verdict(self) -> str:
        trait = sentence(show(self.trait))
        base = f"It rests on {plants(self.n)} in {len(self.families)} families."
        if len(self.families) == 1:
            base = f"It rests on {plants(self.n)} in one family."
        together = sum(w.weight for w in self.inseparable)
        match self.standing:
            case "nothing scored":
                return f"{trait}: nothing was scored in a family whose parents are known."
            case "no such classes":
                return f"{trait}: cannot tell; no model in the catalogue has such classes. {base}"
            case "none fits":
                return f"{trait}: none of these fits; {show(self.worst)} fits worst. {base}"
            case "supported" if self.inseparable[0].together > 1:
                likeliest = self.inseparable[0].model.name
                said = f"{ANOTHER} is supported, {percent(together)}, likeliest {likeliest}"
                return f"{trait}: {said}. {base}"
            case "supported":
                name = self.inseparable[0].name
                return f"{trait}: {name} is supported, {percent(together)}. {base}"
        plain = sorted(self.inseparable, key=lambda w: w.model.rule.lethal)
        names = _either([w.name for w in plain])
        if self.standing == "not separable" and len(plain) == 2:
            said = f"{names} is supported, {percent(together)}, but they are not separable here"
            return f"{trait}: {said}. {base}"
        if self.standing == "not separable":
            return f"{trait}: cannot tell yet; {names} expect the same numbers here. {base}"
        names = _either([w.name for w in self.undecided])
        if together >= SUPPORTED and self.too_many:
            many = len(self.too_many)
            why = f"there is too much to follow for {many} model{'s' if many > 1 else ''}"
            return f"{trait}: cannot tell; {why}. Of the others {names} leads. {base}"
        if together >= SUPPORTED and self._one_way:
            return (
                f"{trait}: cannot tell yet; {names} leads, but seed of the mother's own pollen "
                f"would look the same. Make the cross the other way round too. {base}"
            )
        return f"{trait}: cannot tell yet; it may be {names}. {base}"

    def facts(self) -> list[Fact]:
        if self.best is None:
            return []
        facts = [
            Fact(w.name, percent(w.weight), _says(w)) for w in self.weights[:6] if w.weight > 5e-4
        ]
        low, high = (percent(e) for e in self.error_interval)
        remark = "as given" if self.fixed_error else f"{low} to {high} in 19 of 20 such seasons"
        facts.append(Fact("mis-scored plants", percent(self.error), remark))
        worst = f"; worst in {show(self.worst)}" if self.misfit < 0.05 and self.worst else ""
        least = 1 / (DRAWN + 1)
        odds = f"under {chance(least)}" if 0 < self.misfit <= least else chance(self.misfit)
        facts.append(Fact("chance of such a misfit", odds, f"if {self.best.name} holds{worst}"))
        facts.append(Fact("candidates tried", f"{self.tried:,}",
                          f"{self.distinct:,} of them can be told apart here"))  # fmt: skip
        return facts

    @property
    def notes(self) -> tuple[str, ...]:  # type: ignore[override]
        if self.best is None:
            return ()
        notes = [
            "The share beside a model is its weight: the chance that it is the right one, if "
            "one of these is. Beforehand one gene more is a quarter as likely, models of as many "
            "genes share alike, and in those of one gene one parent in fifty does not breed true."
        ]
        others = next((w.together for w in self.weights if w.together > 1), 0)
        if others:
            notes.append(
                f"The {others:,} other rules of two genes are one line: together they have a "
                f"twentieth of what two genes have beforehand."
            )
        if self.remedy:
            notes.append(_remedied(self.remedy))
        if len(self.weights) > MANY:
            notes.append(
                f"{len(self.weights)} rules were compared. Those of as many genes share alike "
                "beforehand, so each begins with little, and it takes more plants to lift one."
            )
        if self.left_out:
            notes.append(
                f"Not used, since a parent is not known: "
                f"{listing([show(f) for f in self.left_out[:6]])}."
            )
        if self.too_many:
            notes.append(
                f"Not tried, since {len(self.founders)} parents and their offspring can carry "
                "too much to follow: "
                f"{listing(list(self.too_many[:6]))}."
            )
        return tuple(notes)

    def table(self) -> pd.DataFrame:
        """Every model: weight, genes, founders and classes of its likeliest candidate, group."""
        import pandas as pd

        return pd.DataFrame(
            {
                "model": [w.name for w in self.weights],
                "weight": [w.weight for w in self.weights],
                "genes": [w.model.genes for w in self.weights],
                "founders": [", ".join(f"{f} {g}" for f, g in w.founders) for w in self.weights],
                "classes": ["|".join(w.classes) for w in self.weights],
                "mis-scored": [w.error for w in self.weights],
                "group": [w.group for w in self.weights],
            }
        )

    # --- pictures --------------------------------------------------------------------

    def plot(self, ax: Axes | None = None) -> Axes:
        """The weights of the models; those that cannot be told apart here in a bracket.

        Raises
        ------
        ModelError
            if there is no model to draw.
        """
        self._must_have_models()
        names = [show(w.name) for w in self.weights]
        weights, groups = [w.weight for w in self.weights], [w.group for w in self.weights]
        lines = modelcharts.lines_of_weights(names, weights, groups)
        said = "; ".join(f"{line.name} {percent(line.weight)}" for line in lines)
        alike = [listing([n for n, h in zip(names, groups, strict=True) if h == g])
                 for g in sorted(set(groups)) if groups.count(g) > 1]  # fmt: skip
        apart = f" Cannot be told apart here: {'; '.join(alike)}." if alike else ""
        fits = self.standing != "none fits"
        caption = f"{self._scored}. {self._slips}"
        if not fits:
            caption += (
                f" Chance of a misfit as large as that of {names[0]}, or larger, if it holds: "
                f"{chance(self.misfit)}."
            )
        return modelcharts.weights_of_models(
            names, weights, groups, fits=fits, title=self.headline, caption=caption,
            alt=f"{self.headline}. Weights: {said}.{apart} {caption}", ax=ax,
        )  # fmt: skip

    def plot_families(self, rivals: int = 2, ax: Axes | None = None) -> Axes:
        """The counts of each family between what the likeliest models expect of it.

        Parameters
        ----------
        rivals : 2 draws the likeliest model and the likeliest that expects other numbers,
            1 the first alone.

        Raises
        ------
        ModelError
            if there is no model to draw, every family comes from a single plant, or for
            other numbers of models.
        """
        import pandas as pd

        if rivals not in (1, 2):
            raise ModelError(f"One model or two are drawn beside the counts, not {rivals}.")
        best = self._must_have_models()
        other = next((w for w in self.weights if w.group != best.group), None)
        drawn = [best] if rivals == 1 or other is None else [best, other]
        families = [f for f in self.counts if all(f in w.expected for w in drawn)]
        if not families:
            raise ModelError(
                f"There is no family to draw {quote(show(self.trait, longest=30))} in.\n"
                "Each comes from a single plant, and its numbers hang on what that plant carries."
            )
        counts = pd.DataFrame([self.counts[f] for f in families], families, list(self.classes))
        hoped = [pd.DataFrame([w.expected[f] for f in families], families) for w in drawn]
        one_or_two = ("likeliest", "two likeliest")[len(drawn) - 1]
        title = f"{sentence(show(self.trait, longest=30))}: the {one_or_two} of the models"
        if self.standing == "none fits":
            title = f"{self.headline}; the {one_or_two} of them"
        left = [f for f in self.counts if f not in families]
        caption = " ".join([
            *_strips(drawn, self.inseparable), *_parting(hoped), "Slips of scoring are included.",
            *_single(left),
        ])  # fmt: skip
        said = ". ".join(
            f"{show(f)}: {', '.join(f'{n} {show(c)}' for c, n in counts.loc[f].items())} counted, "
            + " or ".join(_shared(sum(self.counts[f]), frame.loc[f]) for frame in hoped)
            + " expected"
            for f in families
        )
        return modelcharts.families_of_two_models(
            counts, hoped, [w.name for w in drawn], title=title, caption=caption,
            alt=f"{title}. {said}. {caption}", ax=ax,
        )  # fmt: skip

    @property
    def headline(self) -> str:
        """The verdict in a few words, for a title."""
        trait = sentence(show(self.trait, longest=30))
        names = [show(w.name, longest=40) for w in self.inseparable]
        match self.standing:
            case "none fits":
                return f"{trait}: none of these models fits"
            case "supported":
                return f"{trait}: {names[0]} is supported"
            case "not separable" if len(names) == 2:
                return f"{trait}: {' or '.join(names)} is supported, not separable here"
            case "cannot tell" | "not separable":
                return f"{trait}: cannot tell yet"
        return f"{trait}: no model to compare"

    @property
    def _scored(self) -> str:
        """'252 plants in 13 families'."""
        families = len(self.families)
        return f"{plants(self.n)} in {'one family' if families == 1 else f'{families} families'}"

    @property
    def _slips(self) -> str:
        """What is taken for granted of mis-scoring."""
        if not self.fixed_error:
            return "Slips of scoring are allowed for, as many as the scores suggest."
        rate = f"{percent(self.error)} of the plants are" if self.error else "no plant is"
        return f"Taken for granted: {rate} written down as another class."

    def _must_have_models(self) -> ModelWeight:
        if self.best is None:
            asked = quote(show(self.trait, longest=30))
            raise ModelError(f"There is no model to draw {asked} with.\n{self.verdict}")
        return self.best


def _says(weight: ModelWeight) -> str:
    """'P1 AA, P2 aa; red over orange': the likeliest candidate of a model."""
    founders = ", ".join(f"{show(f)} {g}" for f, g in weight.founders[:4])
    pairs = zip(weight.model.classes, weight.classes, strict=True)
    words = f"{founders}; " + ", ".join(f"{c} {show(name)}" for c, name in pairs)
    return words if weight.share is None else f"{words}; {_open_share(weight)}"


def _open_share(weight: ModelWeight) -> str:
    """'about 60 % of the orange plants live', '... show it, the others show red'."""
    named = weight.model.called(weight.classes)
    about = f"about {percent(weight.share or 0.0)} of the"
    if named.ailing is not None:
        return f"{about} {show(named.ailing)} plants live until they are scored"
    assert named.hiding is not None
    look, otherwise = (show(c) for c in named.hiding)
    return f"{about} plants that should be {look} show it, the others look {otherwise}"


def _remedied(weight: ModelWeight) -> str:
    """What would have to be so that the scores fit."""
    plain = weight.name.split(",")[0]
    return (
        f"{sentence(plain)} would fit if {_open_share(weight)}. Whether that is so, these plants "
        "cannot tell; look first for a slip in a label or a score."
    )


def _either(names: Sequence[str]) -> str:
    """'a, b or c'; of more than four the first three, and how many others."""
    if len(names) <= 4:
        return listing(list(names), "or")
    return f"{', '.join(names[:3])} or any of {len(names) - 3} others"


def _strips(drawn: Sequence[ModelWeight], alike: Sequence[ModelWeight]) -> list[str]:
    """What the bars and the strips are, and which models share those of the first."""
    named = [f"{show(w.name)} ({percent(w.weight)})" for w in drawn]
    below = f", below with {named[1]}" if len(named) == 2 else ""
    words = [f"Bars: plants counted. Strips above: expected with {named[0]}{below}."]
    others = [show(w.name) for w in alike if w is not drawn[0]]
    if others:
        more = [*others[:3], f"{len(others) - 3} more"] if len(others) > 4 else others
        words.append(f"Expecting the same as the first: {listing(more)}.")
    return words


def _shared(n: int, shares: Sequence[float]) -> str:
    """'45.8 : 15.2', the plants expected in each class."""
    return " : ".join(f"{n * share:.1f}".removesuffix(".0") for share in shares)


def _parting(expected: Sequence[pd.DataFrame]) -> list[str]:
    """Where two models part most, if they do."""
    if len(expected) < 2:
        return []
    gaps = (expected[0] - expected[1]).abs().sum(axis=1) / 2
    if gaps.max() < 0.02:
        return ["Of these families the two expect nearly the same."]
    return [f"The two part most in {show(gaps.idxmax(), longest=30)}."]


def _single(families: Sequence[str]) -> list[str]:
    """The families that are not drawn."""
    if not families:
        return []
    names = [show(f, longest=30) for f in families]
    more = [*names[:2], f"{len(names) - 2} others"] if len(names) > 3 else names
    each = "each from" if len(names) > 1 else "from"
    return [f"Not drawn, as {each} a single plant: {listing(more)}."]
