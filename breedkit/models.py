"""The catalogue of inheritance models, and what a model expects of a family.

A model is a rule (genotype to class) with the recombination between its loci.
What it expects of a family is read off the exact engine: the family's parentage
is followed from the founders, genotypes that die are taken out in every
generation, and the shares of the genotypes are added up by class. No ratio is
typed anywhere: 9:3:4 or 13:3 come out of the crosses.

References beside the catalogue name the work that first showed the model; they
are from memory, the ratios are not.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache
from typing import Any

import numpy as np

from breedkit.cross import Population, grow
from breedkit.errors import ModelError, pick, quote
from breedkit.families import parse_family
from breedkit.genome import Genome, Number
from breedkit.loci import Genotype, parse_genotype
from breedkit.pedigree import TESTER, Plan, depth, founders_of, single_parents
from breedkit.results import Fact, Result, listing, ratio_text
from breedkit.rules import DEAD, Rule

Parents = Sequence[str] | Mapping[str, str]


@dataclass(frozen=True, repr=False)
class InheritanceModel(Result):
    """How a trait is inherited: which genotype shows which class.

    Parameters
    ----------
    name : in the trade's terms.
    rule : from genotype to class.
    parents : genotypes of two founders that show the model at its plainest.
    reference : who showed it first, in what.
    recombination : one fraction for each interval of a linkage group in `parents`.
    graded : the classes stand in an order, more of a thing to less.
    hiding : a class that does not always show, and what such plants show instead.
    ailing : a class whose plants do not all live until they are scored.
    share : how many of them show, or live; None if that is not known. A comparison then
        takes every share from 0 to 1 as equally likely beforehand.
    """

    name: str
    rule: Rule
    parents: tuple[str, ...]
    reference: str = ""
    recombination: tuple[Number, ...] = ()
    graded: bool = False
    hiding: tuple[str, str] | None = None
    ailing: str | None = None
    share: Fraction | None = None

    @classmethod
    def from_rule(
        cls,
        rule: Mapping[str, str | None],
        name: str = "own rule",
        parents: Sequence[str] | None = None,
        recombination: Sequence[Number] = (),
    ) -> InheritanceModel:
        """A model from a rule of your own.

        Parameters
        ----------
        rule : class of each pattern, `{"A_B_": "purple", "A_bb": "red", "aa__": "white"}`;
            None for genotypes that die.
        name : what to call it.
        parents : genotypes to use where none are given; by default one founder with
            the first allele of every locus and one with the last.
        recombination : for linked loci, which `parents` writes as 'AB/AB'.

        Raises
        ------
        ModelError
            if a genotype is covered by no pattern, or by two.

        Examples
        --------
        >>> model = InheritanceModel.from_rule({"A_B_": "purple", "A_bb": "red", "aa__": "white"})
        >>> model.ratio("F2")
        '9:3:4'
        """
        read = Rule.of(rule)
        if parents is None:
            genome = read.own_genome
            parents = (_pure(genome, 0), _pure(genome, -1))
        model = cls(name, read, tuple(parents), "", tuple(recombination))
        model._genome(tuple(parse_genotype(p) for p in model.parents))
        return model

    @property
    def classes(self) -> tuple[str, ...]:
        return self.rule.classes

    @property
    def genes(self) -> int:
        """Number of loci in the nucleus."""
        return len(self.rule.letters)

    def expected(self, family: str | Plan, parents: Parents | None = None) -> dict[str, Fraction]:
        """The exact share of every class in a family.

        Parameters
        ----------
        family : a short form such as 'F2', 'BC1(P2)F2', 'F2:3', 'F3 from red F2'
            (see `breedkit.families`), or the parentage of a family of a register.
        parents : genotypes of P1, P2, ... in order, or by founder name; by default
            those of the model.

        Returns
        -------
        {class: share}, in the order of the rule, total exactly 1.

        Raises
        ------
        ModelError, PedigreeError
            if a genotype, class or family cannot be read, or no plant would live.
        """
        growth = self._growth(family, parents, exact=True)
        return self._by_class(growth.population({}), growth.table)

    def outcomes(self, family: Plan, parents: Parents | None = None) -> list[dict[str, Fraction]]:
        """The shares that one family can have, where `expected` gives the average of many.

        They differ where a family comes from a single plant: the offspring of one red F2
        plant are all red or 3:1, never 5:1. One entry for each distinct outcome.
        """
        growth = self._growth(family, parents, exact=True)
        plants = sorted(single_parents(growth.plan), key=depth)  # ancestors first
        told: list[dict[Plan, Population]] = [{}]
        for plant in plants:
            told = [
                {**known, plant: one}
                for known in told
                for one in growth.population(known, plant).each_genotype()
            ]
        found = []
        for known in told:
            shares = self._by_class(growth.population(known), growth.table)
            if shares not in found:
                found.append(shares)
        return found

    def shares(self, family: str | Plan, parents: Parents | None = None) -> np.ndarray:
        """Like `expected`, as floats in the order of `classes`, for computing."""
        growth = self._growth(family, parents, exact=False)
        weights = growth.population({}).weights
        totals = np.bincount(growth.table.ravel() + 1, weights.ravel(), len(self.classes) + 1)
        return np.array(self._showing([*totals[1:]])) / totals.sum()

    def ratio(self, family: str | Plan, parents: Parents | None = None) -> str:
        """The classes of a family in whole numbers: '9:3:4'."""
        return ratio_text(list(self.expected(family, parents).values()))

    def called(self, classes: Sequence[str]) -> InheritanceModel:
        """The same model with classes of other names, in the order of `classes`."""
        if len(classes) != len(self.classes):
            raise ModelError(
                f"{quote(self.name)} has {len(self.classes)} classes, not {len(classes)}."
            )
        names = dict(zip(self.classes, classes, strict=True))
        looks = tuple(None if look is None else names[look] for look in self.rule.looks)
        return replace(
            self,
            rule=replace(self.rule, looks=looks),
            hiding=self.hiding and (names[self.hiding[0]], names[self.hiding[1]]),
            ailing=self.ailing and names[self.ailing],
        )

    def with_penetrance(
        self, look: str, otherwise: str, share: Number | None = None
    ) -> InheritanceModel:
        """The same model where a class does not always show: incomplete penetrance.

        Parameters
        ----------
        look : the class.
        otherwise : what its plants show if they do not show it.
        share : how many of them show it, 0 to 1; None if that is not known.

        Raises
        ------
        ModelError
            for classes that the model lacks, or a share outside 0 to 1.
        """
        look, otherwise = (pick(c, self.classes, "class", ModelError) for c in (look, otherwise))
        if look == otherwise:
            raise ModelError(f"{quote(look)} cannot show as itself instead.")
        return self._optional(f"{look} not always shown", share, hiding=(look, otherwise))

    def with_viability(self, look: str, share: Number | None = None) -> InheritanceModel:
        """The same model where plants of a class are fewer: they do not all live to be scored.

        Parameters
        ----------
        look : the class.
        share : how many of its plants live, 0 to 1, beside the others; None if not known.

        Raises
        ------
        ModelError
            for a class that the model lacks, or a share outside 0 to 1.
        """
        look = pick(look, self.classes, "class", ModelError)
        return self._optional(f"{look} plants die off", share, ailing=look)

    def _optional(self, words: str, share: Number | None, **option: Any) -> InheritanceModel:
        if self.hiding or self.ailing:
            raise ModelError(f"{quote(self.name)} has an option already; one at a time.")
        return replace(self, name=f"{self.name}, {words}", share=_share(share), **option)

    def founders(self) -> tuple[str, ...]:
        """The genotypes a founder can have: those that breed true, and for one gene or a lethal
        also the others that live."""
        genome = self.rule.own_genome
        table = self.rule.table(genome)
        untrue = self.genes == 1 or self.rule.lethal
        return tuple(
            str(genotype)
            for genotype, number in zip(genome.genotypes(), table.ravel(), strict=True)
            if number != DEAD and (untrue or genotype.female == genotype.male)
        )

    @property
    def verdict(self) -> str:
        genes = (
            "no gene of the nucleus"
            if not self.genes
            else ("one gene" if self.genes == 1 else f"{self.genes} genes")
        )
        return f"{self.name}: {genes}, {len(self.classes)} classes."

    def facts(self) -> list[Fact]:
        patterns: dict[str | None, list[str]] = {}
        for pattern, look in zip(self.rule.patterns, self.rule.looks, strict=True):
            patterns.setdefault(look, []).append(pattern.text)
        facts = [
            Fact(
                quote(look) if look is not None else "dies",
                listing(texts[:6]),
                f"and {len(texts) - 6} more" if len(texts) > 6 else "",
            )
            for look, texts in patterns.items()
        ]
        facts.append(Fact("parents, as a rule", " x ".join(self.parents)))
        if self.share is not None or not (self.hiding or self.ailing):
            facts += [Fact(f"{family}", self.ratio(family)) for family in ("F1", "F2", "testcross")]
        if self.reference:
            facts.append(Fact("first shown by", self.reference))
        return facts

    # --- inside ---

    def _by_class(self, population: Population, table: np.ndarray) -> dict[str, Fraction]:
        """The exact share of every class of a population."""
        weights = [int(population.weights[table == i].sum()) for i in range(len(self.classes))]
        total = int(population.weights.sum())
        shown = self._showing(weights)
        return {c: Fraction(w) / total for c, w in zip(self.classes, shown, strict=True)}

    def _showing(self, totals: list) -> list:
        """What the classes show, given how common they are."""
        shown = list(totals)
        if self.hiding:
            look, otherwise = (self.classes.index(c) for c in self.hiding)
            hidden = totals[look] * (1 - self._known_share())
            shown[look], shown[otherwise] = totals[look] - hidden, totals[otherwise] + hidden
        return shown

    def _known_share(self) -> Fraction:
        if self.share is None:
            raise ModelError(f"{quote(self.name)}: say how many, such as share=0.8.")
        return self.share

    def _growth(self, family: str | Plan, parents: Parents | None, exact: bool) -> _Growth:
        """All that is needed to follow a family from its founders."""
        given = self.parents if parents is None else parents
        if isinstance(given, str):
            raise ModelError("Give the parents as a list of genotypes, such as ('AA', 'aa').")
        if isinstance(family, str):
            names = (
                list(given)
                if isinstance(given, Mapping)
                else [f"P{i}" for i in range(1, len(given) + 1)]
            )
            plan = parse_family(family, names)
        else:
            plan = family
            names = [f for f in founders_of(plan) if f != TESTER]
        texts = dict(given) if isinstance(given, Mapping) else dict(zip(names, given, strict=False))
        missing = [f for f in founders_of(plan) if f not in texts and f != TESTER]
        if missing:
            raise ModelError(f"No genotype is given for {listing([quote(f) for f in missing])}.")
        genotypes = {name: parse_genotype(text) for name, text in texts.items()}
        genome = self._genome(tuple(genotypes.values()))
        genotypes[TESTER] = parse_genotype(_pure(genome, -1))
        table = self.rule.table(genome)
        alive = table != DEAD

        def founder(name: str) -> Population:
            return Population.of(genome, genotypes[name], exact)

        def choose(population: Population, look: str) -> Population:
            number = self.classes.index(pick(look, self.classes, "class", ModelError))
            shown = np.array(self._showing([*np.eye(len(self.classes), dtype=int)]))
            return population.thinned(shown[number][table] * alive)

        def settle(population: Population) -> Population:
            if self.ailing is not None:
                living = np.ones(len(self.classes) + 1, dtype=object)  # the last: dead
                living[self.classes.index(self.ailing)] = self._known_share()
                return population.thinned(living[table] * alive)
            return population.where(alive) if self.rule.lethal else population

        return _Growth(plan, table, founder, choose, settle)

    def _genome(self, genotypes: tuple[Genotype, ...]) -> Genome:
        lacking = [x for x in self.rule.letters if x not in genotypes[0].letters]
        if lacking:
            raise ModelError(
                f"Parent {genotypes[0]} lacks locus {listing(lacking)} of the model "
                f"{quote(self.name)}."
            )
        return _genome(genotypes, self.recombination, self.rule.alleles)


@dataclass(frozen=True)
class _Growth:
    """A family's parentage with what `grow` needs, and the class of every genotype."""

    plan: Plan
    table: np.ndarray
    founder: Callable[[str], Population]
    choose: Callable[[Population, str], Population]
    settle: Callable[[Population], Population]

    def population(self, given: Mapping[Plan, Population], plan: Plan | None = None) -> Population:
        """The population of the family, or of a part of its parentage."""
        return grow(plan or self.plan, self.founder, self.choose, self.settle, given)


@lru_cache(maxsize=1024)
def _genome(
    genotypes: tuple[Genotype, ...], recombination: tuple[Number, ...], alleles: tuple[str, ...]
) -> Genome:
    """One genome for the same parents, so that its steps are worked out once."""
    return Genome.of(genotypes, recombination, alleles)


def _share(value: Number | None) -> Fraction | None:
    """A share as typed, exactly: 0.8 is 4/5."""
    if value is None:
        return None
    share = Fraction(str(value))
    if not 0 <= share <= 1:
        raise ModelError(f"A share lies from 0 to 1; {value} does not.")
    return share


def _pure(genome: Genome, which: int) -> str:
    """The genotype with allele number `which` twice at every locus."""
    words = []
    for group in genome.groups:
        if group.cytoplasm:
            words.append(f"({group.loci[0].alleles[which]})")
        else:
            strand = "".join(locus.alleles[which] for locus in group.loci)
            words.append(f"{strand}/{strand} " if group.linked else strand * 2)
    return "".join(words).strip()


# --- the catalogue ----------------------------------------------------------


GRADED = {
    "incomplete dominance", "duplicate genes with cumulative effect", "two additive genes"
}  # fmt: skip


def catalogue() -> dict[str, InheritanceModel]:
    """The inheritance models that the trade has a name for, by that name.

    The two-class, three-class and longer ratios known from textbooks follow from
    `model.ratio("F2")`.
    """
    return dict(_catalogue())


@lru_cache(maxsize=1)
def _catalogue() -> dict[str, InheritanceModel]:
    def model(
        name: str, rule: dict[str, str | None], parents: tuple[str, str], reference: str
    ) -> InheritanceModel:
        return InheritanceModel(name, Rule.of(rule), parents, reference, graded=name in GRADED)

    def doses(*loci: str) -> dict[str, str | None]:
        """One class for each number of capital alleles."""
        patterns = [""]
        for x in loci:
            patterns = [p + g for p in patterns for g in (x + x, x + x.lower(), x.lower() * 2)]
        count = {p: sum(c.isupper() for c in p) for p in patterns}
        return {p: f"{count[p]} doses" for p in sorted(patterns, key=lambda p: -count[p])}

    models = [
        model(
            "single dominant gene",
            {"A_": "dominant", "aa": "recessive"},
            ("AA", "aa"),
            "Mendel 1866, seed shape of the pea",
        ),
        model(
            "incomplete dominance",
            {"AA": "one parent", "Aa": "between", "aa": "other parent"},
            ("AA", "aa"),
            "Correns 1900s, flower colour of the four-o'clock",
        ),
        model(
            "two independent genes",
            {"A_B_": "both", "A_bb": "A alone", "aaB_": "B alone", "aabb": "neither"},
            ("AABB", "aabb"),
            "Mendel 1866, seed shape and cotyledon colour of the pea",
        ),
        model(
            "recessive epistasis",
            {"A_B_": "A and B", "A_bb": "A without B", "aa__": "no A"},
            ("AABB", "aabb"),
            "Cuénot 1903, coat colour of the mouse",
        ),
        model(
            "dominant epistasis",
            {"A___": "A", "aaB_": "B without A", "aabb": "neither"},
            ("AABB", "aabb"),
            "Sinnott and Durham 1922, fruit colour of the squash",
        ),
        model(
            "complementary genes",
            {"A_B_": "both", "A_bb": "not both", "aa__": "not both"},
            ("AABB", "aabb"),
            "Bateson, Saunders and Punnett 1906, flower colour of the sweet pea",
        ),
        model(
            "duplicate genes",
            {"A___": "either", "aaB_": "either", "aabb": "neither"},
            ("AABB", "aabb"),
            "Shull 1914, seed capsule of the shepherd's purse",
        ),
        model(
            "dominant inhibitor",
            {"A_B_": "held back", "aa__": "held back", "A_bb": "shown"},
            ("AABB", "aabb"),
            "Bateson and Punnett 1908, plumage of fowl",
        ),
        model(
            "duplicate genes with cumulative effect",
            {"A_B_": "both", "A_bb": "one", "aaB_": "one", "aabb": "neither"},
            ("AABB", "aabb"),
            "Sinnott 1927, fruit shape of the squash",
        ),
        model(
            "two additive genes",
            doses("A", "B"),
            ("AABB", "aabb"),
            "Nilsson-Ehle 1909, grain colour of wheat",
        ),
        model(
            "three complementary genes",
            {"A_B_C_": "all three", "A_B_cc": "not all", "A_bb__": "not all", "aa____": "not all"},
            ("AABBCC", "aabbcc"),
            "Emerson 1918, aleurone colour of maize",
        ),
        model(
            "triplicate genes",
            {"A_____": "any", "aaB___": "any", "aabbC_": "any", "aabbcc": "none"},
            ("AABBCC", "aabbcc"),
            "Nilsson-Ehle 1909, grain colour of wheat",
        ),
        model(
            "recessive lethal",
            {"AA": None, "Aa": "carrier", "aa": "plain"},
            ("Aa", "aa"),
            "Baur 1907, leaf colour of the snapdragon",
        ),
        model(
            "maternal inheritance",
            {"(C)": "mother's", "(c)": "other"},
            ("(C)", "(c)"),
            "Correns 1909, leaf colour of the four-o'clock",
        ),
    ]
    return {m.name: m for m in models}
