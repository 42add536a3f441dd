"""What a grower reads of each plant: what it carries, and whether it breeds true.

A plant carries a class if selfed offspring of it can show that class, and it breeds true for a
class if all of them show it. For a plant that was scored, breeding true is for what it was
scored as; for one that was not, for whatever it shows. The chances are worked out in
`breedkit.odds`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np

from breedkit import modelcharts
from breedkit.errors import ModelError, pick, quote
from breedkit.genome import Genome
from breedkit.results import Fact, Result, listing, percent, plants, sentence, show

if TYPE_CHECKING:
    import pandas as pd

    from breedkit.modelcharts import Axes

SURE = 0.95  # chance from which a plant counts as breeding true, or as carrying something
WORTH_SAYING = 0.05  # chance below which a sentence leaves out what a plant may carry
LISTED = 6  # families, genotypes and models that a display lists
MOST_BARS = 20  # that a picture of one family has
KINDS = ("breeds true", "gives other classes")


@dataclass(frozen=True, eq=False, repr=False)
class PlantOdds(Result):
    """What each plant of a season can be.

    Attributes
    ----------
    trait, model : the trait, and the model; "" if models are averaged.
    classes : the classes of the trait.
    plants, families, seen : of each plant its code, its family, and the class it was scored
        as; "" if it was not scored.
    genotypes : what the columns of `chances` stand for; none if models are averaged.
    chances : (plants, genotypes), rows total 1.
    carries : (plants, classes), the chance that selfed offspring can show the class.
    true : (plants,), the chance to breed true for what was seen (see above).
    founders : {founder: its likeliest genotype, and the chance of it}; empty if models are
        averaged.
    error : expected rate of mis-scoring.
    weights : (name, weight) of the models that were averaged over.
    left_out : families with plants whose parents are not known.
    remark : what to bear in mind of the model; "" if nothing.
    genome : the loci of the model; None if models are averaged.
    """

    trait: str
    model: str
    classes: tuple[str, ...]
    plants: tuple[str, ...]
    families: tuple[str, ...]
    seen: tuple[str, ...]
    genotypes: tuple[str, ...]
    chances: np.ndarray
    carries: np.ndarray
    true: np.ndarray
    founders: Mapping[str, tuple[str, float]]
    error: float
    weights: tuple[tuple[str, float], ...]
    left_out: tuple[str, ...]
    remark: str
    genome: Genome | None

    def table(self) -> pd.DataFrame:
        """A row a plant: plant, family, seen, a column a genotype, "carries ..." a class, and
        "breeds true". What a plant was seen to be is not asked whether it carries it: NaN."""
        return self._frame(self.carries_unseen)

    @property
    def carries_unseen(self) -> np.ndarray:
        """(plants, classes): like `carries`, NaN for the class that a plant was scored as."""
        own = np.array(self.seen)[:, None] == np.array(self.classes)
        return np.where(own, np.nan, self.carries)

    def family_table(self) -> pd.DataFrame:
        """A row a family: its plants, and the average chance of each thing in it.

        "carries ..." is over the plants that were not seen to be of that class.
        """
        frame = self.table().drop(columns=["plant", "seen"])
        grouped = frame.groupby("family", sort=False, observed=True)
        averages = grouped.mean()
        averages.insert(0, "plants", grouped.size())
        return averages.reset_index()

    def alleles(self) -> pd.DataFrame:
        """A row a plant: the chance that it has each allele, in one copy or two.

        Raises
        ------
        ModelError
            if models are averaged: their alleles are not the same.
        """
        if self.genome is None:
            raise ModelError("Name one model: alleles of different models are not the same.")
        frame = self._frame(self.carries).iloc[:, :3]
        for group in self.genome.groups:
            letter = group.loci[0].letter
            locus, one, two = self.genome.alleles_at(letter)
            for i, allele in enumerate(locus.alleles):
                has = np.broadcast_to((one == i) | (two == i), self.genome.shape).ravel()
                frame[allele] = self.chances @ has[self._kept]
        return frame

    def plant(self, code: str, family: str | None = None) -> OnePlant:
        """What one plant can be, in words.

        Parameters
        ----------
        code : the plant. family : needed where the code is used in several families.

        Raises
        ------
        ModelError
            if there is no such plant, or there are several.
        """
        code = pick(str(code), dict.fromkeys(self.plants), "plant with odds", ModelError)
        homes = [self.families[i] for i, name in enumerate(self.plants) if name == code]
        if family is None and len(homes) > 1:
            raise ModelError(
                f"There are {len(homes)} plants called {quote(code)}; say of which family.\n"
                f"They are in {listing([quote(f) for f in homes[:LISTED]])}."
            )
        home = homes[0] if family is None else pick(family, homes, f"home of {code}", ModelError)
        at = next(i for i in range(len(self.plants))
                  if (self.plants[i], self.families[i]) == (code, home))  # fmt: skip
        return OnePlant(
            code, home, self.seen[at], self.trait, self.model, self.classes,
            tuple(float(x) for x in self.carries[at]), float(self.true[at]),
            tuple(zip(self.genotypes, self.chances[at].tolist(), strict=True)),
        )  # fmt: skip

    def plot(self, family: str, plant: str | None = None, ax: Axes | None = None) -> Axes:
        """The plants of a family, by the chance that they breed true; those alike share a bar.

        Parameters
        ----------
        family : the family. plant : one of its plants, whose bar is named in bold.

        Raises
        ------
        ModelError
            if there is no such family or plant.
        """
        import pandas as pd

        family = pick(str(family), dict.fromkeys(self.families), "family with odds", ModelError)
        mine = [i for i, home in enumerate(self.families) if home == family]
        codes = [self.plants[i] for i in mine]
        at = mine[0 if plant is None else codes.index(pick(str(plant), codes, "plant", ModelError))]
        alike: dict[tuple[object, ...], list[int]] = {}
        for i in mine:
            odds = np.round([self.true[i], *self.carries[i]], 3).tolist()
            alike.setdefault((self.seen[i], *odds), []).append(i)
        bars = sorted(alike.values(), key=lambda them: (at not in them, -len(them)))
        left = sum(len(them) for them in bars[MOST_BARS:])
        bars = sorted(bars[:MOST_BARS], key=lambda them: -float(self.true[them[0]]))
        marked = next(y for y, them in enumerate(bars) if at in them)
        names = [self._bar(at if y == marked else b[0], len(b)) for y, b in enumerate(bars)]
        true = self.true[[b[0] for b in bars]]
        said = ". ".join(f"{name}: breeds true {_percent(p)}"
                         for name, p in zip(names, true, strict=True))  # fmt: skip
        more = f" In the table alone: {plants(left)}." if left else ""
        given = f"If {show(self.model)} holds." if self.model else "Over all models, by weight."
        return modelcharts.chances_of_plants(
            pd.DataFrame({KINDS[0]: true, KINDS[1]: 1 - true}, index=names),
            [len(b) for b in bars],
            marked=None if plant is None else marked,
            title=f"{show(family, longest=40)}: which plants breed true for "
            f"{show(self.trait, longest=40)}?",
            caption=" ".join(filter(None, [
                self.remark, f"{given} Plants of which the same is known share a bar. Breeds true: "
                "all selfed offspring show what the plant was scored as, or shows if it was not "
                f"scored.{more}",
            ])),
            alt=f"A bar for each kind of plant of {show(family)}, by chance. {said}.{more}",
            ax=ax,
        )  # fmt: skip

    def _bar(self, at: int, n: int) -> str:
        """'red: F2-17 and 42 more'."""
        more = f" and {n - 1} more" if n > 1 else ""
        look = show(self.seen[at] or "not scored", longest=20)
        return f"{look}: {show(self.plants[at] or 'no code', longest=24)}{more}"

    @property
    def verdict(self) -> str:
        trait, n = sentence(show(self.trait)), len(self.plants)
        if not n:
            return f"{trait}: no plant in a family whose parents are known."
        sure, hiding = int((self.true >= SURE).sum()), int((self.true <= 1 - SURE).sum())
        given = f"if {show(self.model)} holds" if self.model else "over all models by weight"
        return (
            f"{trait}, {given}: of {plants(n)}, {sure:,} breed true with a chance of "
            f"{percent(SURE)} or more, {hiding:,} as surely do not, and "
            f"{n - sure - hiding:,} are open."
        )

    def facts(self) -> list[Fact]:
        facts = []
        seen = np.array(self.seen)
        for look in (*self.classes, ""):
            own = self.true[seen == look]
            if len(own):
                label = f"{show(look)}, {plants(len(own))}" if look else "not scored"
                sure = int((own >= SURE).sum())
                facts.append(Fact(label, f"{_percent(own.mean())} breed true",
                                  f"{sure} of them with {percent(SURE)} or more"))  # fmt: skip
        for founder, (genotype, p) in self.founders.items():
            facts.append(Fact(show(founder), genotype, f"with chance {_percent(p)}"))
        for name, weight in self.weights[:LISTED] if len(self.weights) > 1 else ():
            facts.append(Fact(name, percent(weight), "of the average"))
        if len(self.plants):
            facts.append(Fact("mis-scored plants", percent(self.error), "expected"))
        return facts

    @property
    def notes(self) -> tuple[str, ...]:  # type: ignore[override]
        notes = [self.remark] if self.remark else []
        notes.append(
            "Each chance rests on the plant's own score, its parents, its sibs and its offspring. "
            "Breeds true: all selfed offspring show what the plant was scored as. Carries: some "
            "of them can show another class."
        )
        if self.left_out:
            more = f" and {len(self.left_out) - LISTED} more" if len(self.left_out) > LISTED else ""
            notes.append(
                "Not asked, since a parent is not known: "
                f"{listing([show(f) for f in self.left_out[:LISTED]])}{more}."
            )
        return tuple(notes)

    @property
    def _kept(self) -> np.ndarray:
        """Which states of the genome the columns of `chances` are."""
        assert self.genome is not None
        names = [str(g) for g in self.genome.genotypes()]
        return np.array([names.index(g) for g in self.genotypes], dtype=int)

    def _frame(self, carries: np.ndarray) -> pd.DataFrame:
        import pandas as pd

        columns: dict[str, object] = {
            "plant": list(self.plants),
            "family": list(self.families),
            "seen": [look or None for look in self.seen],
        }
        columns |= {g: self.chances[:, i] for i, g in enumerate(self.genotypes)}
        columns |= {f"carries {c}": carries[:, i] for i, c in enumerate(self.classes)}
        return pd.DataFrame(columns | {"breeds true": self.true})


@dataclass(frozen=True, repr=False)
class OnePlant(Result):
    """What one plant can be; see `PlantOdds`."""

    plant: str
    family: str
    seen: str
    trait: str
    model: str
    classes: tuple[str, ...]
    carries: tuple[float, ...]
    true: float
    genotypes: tuple[tuple[str, float], ...]

    @property
    def verdict(self) -> str:
        name = show(self.plant)
        unseen = [
            (show(c), p) for c, p in zip(self.classes, self.carries, strict=True) if c != self.seen
        ]
        likely = [(c, p) for c, p in unseen if p >= WORTH_SAYING]
        if not self.seen:
            said = listing([f"{c} with chance {in_words(p)}" for c, p in likely])
            return f"{name} was not scored; selfed, it can give {said}."
        look = show(self.seen)
        if not likely:
            return f"{name} is {look}; it breeds true for it with chance {in_words(self.true)}."
        said = listing([f"{c} unseen with chance {in_words(p)}" for c, p in likely])
        return f"{name} is {look}; it carries {said}."

    def facts(self) -> list[Fact]:
        facts = [Fact("breeds true", _percent(self.true), f"for {show(self.seen or 'its class')}")]
        ranked = sorted(self.genotypes, key=lambda pair: -pair[1])
        facts += [Fact(g, _percent(p)) for g, p in ranked[:LISTED] if p >= 0.005]
        model = show(self.model) if self.model else "all, averaged by weight"
        return [*facts, Fact("family", show(self.family)), Fact("model", model)]


def in_words(p: float) -> str:
    """'2 in 3 (67 %)'; '41 %' where no few in a few is near; 'over 99.9 %', never all."""
    near = Fraction(p).limit_denominator(10)
    if near in (0, 1) or abs(near - p) > 0.01:
        return _percent(p)
    return f"{near.numerator} in {near.denominator} ({percent(p)})"


def _percent(p: float) -> str:
    """A chance in percent. What is inferred from scores is never quite 0 or 100 %."""
    return percent(min(max(p, 1e-9), 1 - 1e-9))
