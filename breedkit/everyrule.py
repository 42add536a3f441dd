"""Every way in which one or two genes with two alleles each can show a number of classes.

A rule of two genes is a table: a class for each of its 9 genotypes. Tables that differ in
letters alone are one rule: the alleles of a locus may be swapped and so may the two loci,
8 ways together, and the classes may be called anything. Classes are therefore numbered in
the order in which they appear, and of the 8 copies of a table, numbered so, the least
stands for all. For two classes 48 rules of two genes are left of the 512 tables; not
counted are those that one gene alone explains.

A rule is told in the fewest patterns that claim every genotype once. They are found for
all sets of genotypes together, smaller sets first: whichever pattern claims the first
genotype of a set, what it leaves over is a smaller set.
"""

from __future__ import annotations

import itertools
from functools import cache

import numpy as np

from breedkit.errors import ModelError, quote
from breedkit.models import InheritanceModel, catalogue
from breedkit.results import show

MOST_CLASSES = 4  # comparing all for 5 classes and three founders takes 20 s and 1.6 GB
# The pairs of one locus, and whether each claims AA, Aa, aa.
PAIRS = {"AA": (1, 0, 0), "Aa": (0, 1, 0), "aa": (0, 0, 1), "A_": (1, 1, 0), "__": (1, 1, 1)}


def every_rule(classes: int, genes: int = 2) -> tuple[InheritanceModel, ...]:
    """Every rule of one gene, and of two, that shows exactly so many classes.

    The alleles of a locus, the two loci and the names of the classes may be swapped:
    `compare_models` tries every naming and every choice of founders anyway. A rule that
    the catalogue knows is the catalogue's own model. Any other is called after its
    patterns, as in 'rule A_B_ + aabb | rest', and is not `graded`.

    Parameters
    ----------
    classes : number of classes, 2 to 4.
    genes : the most genes a rule may have, 1 or 2. Genes are not linked.

    Returns
    -------
    Models, fewer genes and simpler rules first: 2 of one gene and 48 of two for 2 classes,
    1 and 438 for 3 classes, 1,065 of two genes for 4 classes.

    Raises
    ------
    ModelError
        for fewer or more classes or genes, or more classes than one gene can show.

    Notes
    -----
    Searching so many has its price. In `compare_models` the rules that somebody has shown in
    a plant (those of the catalogue) have 19 of 20 parts of what their number of genes has
    beforehand, all others together one: a rule of two genes nobody has shown starts with
    1/900, 1/8700 or 1/21280 of it for 2, 3 or 4 classes, 3.0, 3.9 or 4.3 powers of ten less
    than all. More plants must make up for that, and as many rules expect the same numbers in
    F2 and backcrosses, one season seldom decides between them.

    The counts for two classes are those of Li and Reich 2000, Human Heredity 50 (from
    memory): of 512 tables 102 differ in more than letters, 100 show two classes, 96 need
    both genes; 51, 50 and 48 where the classes may be swapped too. Used here: 48.

    Examples
    --------
    >>> import breedkit as bk
    >>> [model.name for model in bk.every_rule(2, genes=1)]
    ['single dominant gene', 'rule Aa | rest']
    >>> len(bk.every_rule(2))
    50
    """
    faults = []
    if genes not in (1, 2):
        faults.append(f"A rule has 1 or 2 genes here, as a number; not {_brief(genes)}.")
    if classes not in range(2, MOST_CLASSES + 1):
        allowed = f"2 to {MOST_CLASSES} classes, as a number"
        faults.append(f"Rules are listed for {allowed}; not {_brief(classes)}.")
    if not faults and classes > 3**genes:
        faults.append(f"One gene with two alleles shows at most 3 classes, not {classes}.")
    if faults:
        raise ModelError("\n".join(faults))
    return _every_rule(int(classes), int(genes))


def _brief(given: object) -> str:
    return quote(show(given, longest=30))


@cache
def _every_rule(classes: int, genes: int) -> tuple[InheritanceModel, ...]:
    if classes > 3**genes:
        return ()
    fewer = _every_rule(classes, genes - 1) if genes > 1 else ()
    tables, codes = _rules(classes, genes)
    known = _known(classes, genes)
    # one number a class: a bit for each genotype that shows it
    sets = (1 << np.arange(3**genes)) @ (tables[..., None] == np.arange(classes))
    told = [
        (min(_told(copy, genes) for copy in copies), known.get(code))
        for copies, code in zip(sets.tolist(), codes.tolist(), strict=True)
    ]
    return fewer + tuple(
        model or InheritanceModel.from_rule(dict(rule), name)
        for (_, _, name, rule), model in sorted(told, key=lambda each: each[0])
    )


# --- tables ---------------------------------------------------------------------


def _rules(classes: int, genes: int) -> tuple[np.ndarray, np.ndarray]:
    """The copies of each rule that depends on all its genes, and its code.

    Returns
    -------
    (rules, ways, genotypes) classes, numbered as they appear; (rules,) codes.
    """
    tables = _tables(classes, genes)
    grids = tables.reshape(-1, *(3,) * genes)
    for axis in range(1, genes + 1):
        matters = (np.diff(grids, axis=axis) != 0).reshape(len(grids), -1).any(axis=1)
        grids = grids[matters]
    tables = grids.reshape(len(grids), -1)
    copies = _numbered(_copies(tables, genes))
    codes = _codes(copies)
    least = codes.min(axis=1) == _codes(tables)
    return copies[least], codes[least].min(axis=1)


def _tables(classes: int, genes: int) -> np.ndarray:
    """Every table of so many classes, numbered as they appear: (tables, genotypes)."""
    tables = np.zeros((1, 1), dtype=int)
    for _ in range(3**genes - 1):
        seen = tables.max(axis=1)  # a further genotype shows one of these classes or the next
        longer = [np.insert(tables[seen >= c - 1], tables.shape[1], c, 1) for c in range(classes)]
        tables = np.concatenate(longer)
    return tables[tables.max(axis=1) == classes - 1]


def _copies(tables: np.ndarray, genes: int) -> np.ndarray:
    """The tables with alleles and loci swapped in every way: (tables, ways, genotypes)."""
    cells = np.arange(3**genes).reshape((3,) * genes)
    ways = [
        np.flip(cells.transpose(order), swapped).ravel()
        for order in itertools.permutations(range(genes))
        for n in range(genes + 1)
        for swapped in itertools.combinations(range(genes), n)
    ]
    return tables[:, np.stack(ways)]


def _numbered(tables: np.ndarray) -> np.ndarray:
    """The tables, (..., genotypes), with their classes numbered in the order they appear."""
    first = (tables[..., None, :] == np.arange(tables.max() + 1)[:, None]).argmax(axis=-1)
    return np.take_along_axis(first.argsort(axis=-1).argsort(axis=-1), tables, axis=-1)


def _codes(tables: np.ndarray) -> np.ndarray:
    """One number for each table, (..., genotypes), in the order of the tables."""
    return tables @ 10 ** np.arange(tables.shape[-1])[::-1]


def _known(classes: int, genes: int) -> dict[int, InheritanceModel]:
    """The catalogue's models with so many classes and genes, by code."""
    found = {}
    for model in catalogue().values():
        two_alleles = model.rule.own_genome.shape == (3,) * genes  # and no cytoplasm
        if two_alleles and len(model.classes) == classes and not model.rule.lethal:
            table = model.rule.table(model.rule.own_genome).reshape(1, -1)
            found[int(_codes(_numbered(_copies(table, genes))).min())] = model
    return found


# --- words ----------------------------------------------------------------------


Told = tuple[int, int, str, tuple[tuple[str, str], ...]]


def _told(sets: list[int], genes: int) -> Told:
    """A rule in words: how many patterns, length of the name, the name, and the rule.

    `sets` are the genotypes of each class. The class that takes the most words is the rest.
    """
    fewest = _fewest_patterns(genes)
    classes = sorted(fewest[s] for s in sets)
    classes.append(classes.pop(max(range(len(classes)), key=lambda i: (len(classes[i]), i))))
    looks = [" + ".join(patterns) for patterns in classes[:-1]] + ["rest"]
    name = f"rule {' | '.join(looks)}"
    rule = [(p, look) for patterns, look in zip(classes, looks, strict=True) for p in patterns]
    return len(rule), len(name), name, tuple(rule)


@cache
def _fewest_patterns(genes: int) -> tuple[tuple[str, ...], ...]:
    """For each set of genotypes the fewest patterns that claim each of them just once.

    Of as few, broad patterns with a small remainder are the easier to read. A set is a
    number with one bit for each genotype, in the order of a table.
    """
    patterns: dict[str, int] = {}
    for pairs in itertools.product(PAIRS, repeat=genes):
        claims = np.ones(1, dtype=int)
        for pair in pairs:
            claims = np.multiply.outer(claims, PAIRS[pair]).ravel()
        text = pairs[0] + "".join(p.replace("A", "B").replace("a", "b") for p in pairs[1:])
        patterns[text] = int(claims @ (1 << np.arange(3**genes)))

    def order(way: tuple[str, ...]) -> tuple[int, int, tuple[str, ...]]:
        return len(way), -sum(patterns[p].bit_count() ** 2 for p in way), way

    fewest: list[tuple[str, ...]] = [()]
    for wanted in range(1, 2**3**genes):
        ways = [
            (text, *fewest[wanted ^ claimed])
            for text, claimed in patterns.items()
            if claimed & wanted == claimed and claimed & wanted & -wanted
        ]
        fewest.append(min(ways, key=order))
    return tuple(fewest)
