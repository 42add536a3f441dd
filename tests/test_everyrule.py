"""Every rule of one or two genes: known counts, two slow routes, laws, and what a search costs."""

from collections.abc import Iterator
from itertools import permutations, product
from math import factorial, log10

import numpy as np
import pandas as pd
import pytest

import breedkit as bk
from breedkit.compare import compare_models
from breedkit.errors import ModelError
from breedkit.everyrule import (
    PAIRS,
    _copies,
    _every_rule,
    _fewest_patterns,
    _numbered,
    _rules,
    every_rule,
)
from breedkit.models import catalogue
from breedkit.weights import OTHER, model_prior

CLASSES = (2, 3, 4)


def genotypes(genes: int) -> list[str]:
    """AABB, AABb, ..., aabb: written out, in the order of a table."""
    return ["".join(pairs) for pairs in product(*[("AA", "Aa", "aa"), ("BB", "Bb", "bb")][:genes])]


def swaps(genes: int) -> Iterator[list[int]]:
    """Where each genotype goes if alleles and loci are swapped, by the doses of small letters."""
    doses = list(product(range(3), repeat=genes))
    for order in permutations(range(genes)):
        for swapped in product((False, True), repeat=genes):
            moved = [
                tuple(2 - d[i] if s else d[i] for i, s in zip(order, swapped, strict=True))
                for d in doses
            ]
            yield [doses.index(m) for m in moved]


def table(model) -> tuple[int, ...]:
    return tuple(model.rule.table(model.rule.own_genome).ravel().tolist())


# --- known counts ---------------------------------------------------------------


def test_the_512_tables_of_two_classes() -> None:
    """102, 100 and 96; 51, 50 and 48: Li and Reich 2000, Human Heredity 50 (from memory)."""
    tables = np.array(list(product((0, 1), repeat=9)))
    grids = tables.reshape(-1, 3, 3)
    seen = tables.min(axis=1) != tables.max(axis=1)
    both = (np.diff(grids, axis=1) != 0).any(axis=(1, 2)) & (
        np.diff(grids, axis=2) != 0
    ).any(axis=(1, 2))  # fmt: skip

    def distinct(which: np.ndarray, classes_too: bool) -> int:
        copies = _copies(tables[which], 2)
        if classes_too:
            copies = np.concatenate([copies, 1 - copies], axis=1)
        return len(set((copies @ 2 ** np.arange(9)).min(axis=1).tolist()))

    every = np.ones(512, dtype=bool)
    assert [distinct(which, False) for which in (every, seen, both)] == [102, 100, 96]
    assert [distinct(which, True) for which in (every, seen, both)] == [51, 50, 48]
    assert [m.genes for m in every_rule(2)] == [1] * 2 + [2] * 48


@pytest.mark.parametrize("classes", [2, 3, 4, 5, 6])
def test_counts_agree_with_burnside(classes: int) -> None:
    """A second route: the mean number of tables that a swap and a renaming leave alone."""

    def cycles(order: tuple[int, ...] | list[int]) -> list[int]:
        lengths, left = [], set(range(len(order)))
        while left:
            at, n = left.pop(), 1
            while (at := order[at]) in left:
                left.remove(at)
                n += 1
            lengths.append(n)
        return lengths

    def at_most(genes: int, k: int) -> int:
        """Rules of up to k classes, whether or not each gene matters."""
        total = ways = 0
        for swap in swaps(genes):
            ways += 1
            for names in permutations(range(k)):
                kept = 1
                for length in cycles(swap):  # names whose own cycle fits into it
                    kept *= sum(n for n in cycles(names) if length % n == 0)
                total += kept
        assert total % (ways * factorial(k)) == 0
        return total // (ways * factorial(k))

    one, up_to_two = (at_most(g, classes) - at_most(g, classes - 1) for g in (1, 2))
    if one:
        assert len(_rules(classes, 1)[0]) == one
    assert len(_rules(classes, 2)[0]) == up_to_two - one
    if classes in CLASSES:
        assert len(every_rule(classes)) == up_to_two


def test_three_classes_by_brute_force() -> None:
    """All 19,683 tables, spread out copy by copy: each heap holds just one of the rules."""
    moves = [(swap, names) for swap in swaps(2) for names in permutations(range(3))]
    heap_of: dict[tuple[int, ...], int] = {}
    heaps = 0
    for start in product(range(3), repeat=9):
        if start in heap_of or len(set(start)) < 3:
            continue
        rows = {start[i : i + 3] for i in (0, 3, 6)}
        columns = {start[i::3] for i in (0, 1, 2)}
        if len(rows) == 1 or len(columns) == 1:
            continue
        for swap, names in moves:
            heap_of[tuple(names[start[i]] for i in swap)] = heaps
        heaps += 1
    two = [m for m in every_rule(3) if m.genes == 2]
    assert sorted(heap_of[table(m)] for m in two) == list(range(heaps))
    assert heaps == 438


def test_classes_are_numbered_as_they_appear() -> None:
    given = np.array([[[2, 2, 0, 1], [0, 1, 2, 0]], [[1, 0, 0, 2], [2, 1, 1, 0]]])
    wanted = [[[0, 0, 1, 2], [0, 1, 2, 0]], [[0, 1, 1, 2], [0, 1, 1, 2]]]
    assert _numbered(given).tolist() == wanted


# --- laws -----------------------------------------------------------------------


@pytest.mark.parametrize("classes", CLASSES)
def test_the_catalogue_is_among_them(classes: int) -> None:
    known = [
        m for m in catalogue().values()
        if m.genes in (1, 2) and len(m.classes) == classes and not m.rule.lethal
    ]  # fmt: skip
    found = every_rule(classes)
    assert known
    assert {m.name for m in found if not m.name.startswith("rule ")} == {m.name for m in known}
    assert all(any(m is k for m in found) for k in known)
    assert [m.name for m in found if m.graded] == [m.name for m in known if m.graded]


@pytest.mark.parametrize("classes", CLASSES)
def test_each_shows_its_classes_and_needs_its_genes(classes: int) -> None:
    for model in every_rule(classes):
        grid = model.rule.table(model.rule.own_genome)
        assert len(model.classes) == classes and set(grid.ravel()) == set(range(classes))
        assert grid.shape == (3,) * model.genes
        for axis in range(model.genes):
            assert (np.diff(grid, axis=axis) != 0).any(), model.name
        assert sum(model.expected("F2").values()) == 1


@pytest.mark.parametrize("classes", CLASSES)
def test_the_name_says_the_whole_rule(classes: int) -> None:
    """Names are parted and their patterns matched letter by letter against the genotypes."""

    def fits(pattern: str, genotype: str) -> bool:
        return all(p in ("_", g) for p, g in zip(pattern, genotype, strict=True))

    models = [m for m in every_rule(classes) if m.name.startswith("rule ")]
    for model in models:
        *told, rest = model.name.removeprefix("rule ").split(" | ")
        assert (*told, rest) == model.classes and rest == "rest"
        for genotype, number in zip(genotypes(model.genes), table(model), strict=True):
            claims = [i for i, look in enumerate(told) for p in look.split(" + ")
                      if fits(p, genotype)]  # fmt: skip
            assert claims == ([number] if number < len(told) else [])
    assert len({m.name for m in every_rule(classes)}) == len(every_rule(classes))
    assert max(len(m.name) for m in models) <= 60


def test_names_stay_as_they_are() -> None:
    """Growers write them down: broad patterns first, capitals, whatever else is listed."""
    names = [m.name for m in every_rule(2)]
    assert names[:5] == ["single dominant gene", "rule Aa | rest", "complementary genes",
                         "dominant inhibitor", "duplicate genes"]  # fmt: skip
    told = {"rule AaBb | rest", "rule AA__ + Aabb | rest", "rule AABB + A_bb | rest"}
    assert told <= set(names)
    assert "rule AABb + AaBB | __bb | rest" in {m.name for m in every_rule(3)}


def test_the_facts_are_readable() -> None:
    model = next(m for m in every_rule(2) if m.name == "rule A_B_ + aabb | rest")
    said = [(f.label, f.value) for f in model.facts()]
    assert said[:2] == [("'A_B_ + aabb'", "A_B_ and aabb"), ("'rest'", "A_bb and aaB_")]
    assert model.ratio("F2") == "5:3"  # 9 and 1 of 16, from any table of 9:3:3:1


def test_the_list_is_the_same_each_time() -> None:
    before = every_rule(3)
    assert every_rule(3) is before
    _every_rule.cache_clear()
    assert every_rule(3) == before
    assert every_rule(3, genes=1) == before[:1]


@pytest.mark.parametrize("genes", [1, 2])
def test_patterns_are_the_fewest(genes: int) -> None:
    """A second route: sets that 1, 2, ... patterns can make without overlap, grown one by one."""
    one = [{i for i, claimed in enumerate(c) if claimed} for c in PAIRS.values()]
    boxes = [
        sum(1 << i for i, at in enumerate(product(range(3), repeat=genes))
            if all(a in allowed for a, allowed in zip(at, box, strict=True)))
        for box in product(one, repeat=genes)
    ]  # fmt: skip
    number = {0: 0}
    edge = {0}
    while edge:
        edge = {s | b for s in edge for b in boxes if not s & b} - number.keys()
        number |= dict.fromkeys(edge, max(number.values()) + 1)
    fewest = _fewest_patterns(genes)
    assert {wanted: len(way) for wanted, way in enumerate(fewest)} == number
    for wanted, way in enumerate(fewest):
        claims = [
            sum(all(p in ("_", g) for p, g in zip(pattern, genotype, strict=True))
                for pattern in way)
            for genotype in genotypes(genes)
        ]  # fmt: skip
        assert claims == [wanted >> i & 1 for i in range(3**genes)]


# --- what a search costs --------------------------------------------------------


def tally(**families: dict[str, int]) -> bk.Season:
    rows = [(f, c, n) for f, counts in families.items() for c, n in counts.items()]
    return bk.load_counts(pd.DataFrame(rows, columns=["family", "class", "count"]))


def test_searching_all_is_paid_for() -> None:
    """Same evidence, but 3 rules share 19 of 20 parts of what they had alone, 45 the rest."""
    season = tally(P1={"x": 4}, P2={"y": 4}, F1={"x": 6}, F2={"x": 25, "y": 17})
    short = compare_models(season, "class")
    long = compare_models(season, "class", models=every_rule(2))

    def odds(comparison) -> tuple[float, float]:
        """Of complementary genes to one gene: by weight, and by evidence alone."""
        at = {w.name: w for w in comparison.weights}
        two, one = at["complementary genes"], at["single dominant gene"]
        return two.weight / one.weight, np.exp(two.log_evidence - one.log_evidence)

    def alike(comparison, genes: int) -> int:
        return sum(w.model.genes == genes for w in comparison.weights)

    (short_odds, evidence), (long_odds, same) = odds(short), odds(long)
    assert evidence == pytest.approx(same, rel=1e-9)
    assert (alike(long, 1), alike(long, 2)) == (2, 48)
    # two genes have a quarter of what one gene has; 3 and 1 known rules have the same part of that
    assert long_odds == pytest.approx(same / 4 / 3, rel=1e-9)
    # the cytoplasm counts as one gene
    ones = sum(max(w.model.genes, 1) == 1 and bool(w.model.reference) for w in short.weights)
    assert alike(short, 2) == 3 + 1  # and all others together
    assert short_odds == pytest.approx(evidence / 4 * ones / 3, rel=1e-9)
    assert sum(w.weight for w in long.weights) == pytest.approx(1)


@pytest.mark.parametrize(("classes", "price"), [(2, 3.0), (3, 3.9), (4, 4.3)])
def test_the_price_as_told(classes: int, price: float) -> None:
    models = every_rule(classes)
    prior = model_prior([(m,) for m in models])
    two = sum(p for m, p in zip(models, prior, strict=True) if m.genes == 2)
    new = [p / two for m, p in zip(models, prior, strict=True) if m.genes == 2 and not m.reference]
    assert new == pytest.approx([OTHER / len(new)] * len(new), rel=1e-12)
    assert -log10(new[0]) == pytest.approx(price, abs=0.06)
    text = str(every_rule.__doc__)
    assert f"1/{round(len(new) / OTHER)}" in text and str(price) in text
    assert all((m.name in catalogue()) == bool(m.reference) for m in models)


def test_it_finds_what_the_catalogue_lacks() -> None:
    """Parents alike, F1 unlike them, a quarter of the F2 like it: where AaBb stands apart.

    By default all rules without a name stand together; asked for every rule, each alone.
    """
    season = tally(
        P1={"plain": 8}, P2={"plain": 8}, F1={"striped": 12}, F2={"striped": 100, "plain": 300}
    )
    short = compare_models(season, "class")
    assert "another rule of two genes is supported" in short.verdict
    assert "likeliest rule AaBb | rest" in short.verdict
    found = compare_models(season, "class", models=every_rule(2))
    assert found.best is not None and found.best.name == "rule AaBb | rest"
    assert found.best.weight > 0.9 and found.misfit > 0.05
    assert found.best.classes == ("striped", "plain")


# --- bad input ------------------------------------------------------------------


@pytest.mark.parametrize("classes", [1, 0, -2, 5, 2.5, "2", None, [2], "<img onerror>" * 1000])
def test_classes_out_of_reach(classes) -> None:
    with pytest.raises(ModelError, match="2 to 4 classes, as a number; not '") as fault:
        every_rule(classes)
    assert len(str(fault.value).splitlines()[0]) < 90


@pytest.mark.parametrize("genes", [0, 3, 1.5, "two", None])
def test_genes_out_of_reach(genes) -> None:
    with pytest.raises(ModelError, match="1 or 2 genes"):
        every_rule(2, genes)


def test_all_faults_are_told_and_one_gene_shows_three() -> None:
    with pytest.raises(ModelError, match="1 or 2 genes.*\n.*2 to 4 classes"):
        every_rule(9, 3)
    with pytest.raises(ModelError, match="at most 3 classes, not 4"):
        every_rule(4, genes=1)
