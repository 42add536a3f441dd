"""Alleles, loci, gametes and genotypes, read and written in the trade's notation.

An allele is a letter, with a number or primes if a locus has more than two:
`A`, `a`, `A1`, `a'`. The letter names the locus, whatever its case. Then

    AaBb        two loci on different chromosomes
    AB/ab       two linked loci: the gamete from the mother over the one from the father
    Ab/aB Cc    a linkage group and a further locus, a blank between
    (c)AaBb     a plant with the cytoplasm c, which only mothers hand on
    A_B_, aa__  patterns for a rule: `_` is any allele, and `__` any pair

Alleles are ordered as breeders write them: capitals before small letters, then
by number. Everything here is a frozen value that was checked when it was made.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache

from breedkit.errors import ModelError, quote

_ALLELE = re.compile(r"[A-Za-z][0-9]*'*")
_SLOT = re.compile(r"[A-Za-z][0-9]*'*|_")
_CYTOPLASM = re.compile(r"\(([A-Za-z][0-9]*'*)\)")


def locus_of(allele: str) -> str:
    """The letter of the locus an allele belongs to, as a capital."""
    return allele[0].upper()


def allele_order(allele: str) -> tuple[bool, int, int]:
    """Sorting key: capitals first, then by number, then by primes."""
    digits = re.sub(r"\D", "", allele)
    return (allele[0].islower(), int(digits or 0), allele.count("'"))


@dataclass(frozen=True)
class Locus:
    """A place on a chromosome (or in the cytoplasm) and the alleles known there, in order."""

    letter: str
    alleles: tuple[str, ...]
    cytoplasm: bool = False


@dataclass(frozen=True)
class Gamete:
    """One allele a locus, in linkage groups: `(("A", "b"), ("C",))` is `Ab C`."""

    groups: tuple[tuple[str, ...], ...]
    cytoplasm: str | None = None

    def __str__(self) -> str:
        cytoplasm = f"({self.cytoplasm})" if self.cytoplasm else ""
        linked = any(len(g) > 1 for g in self.groups)
        return cytoplasm + (" " if linked else "").join("".join(g) for g in self.groups)


@dataclass(frozen=True)
class Genotype:
    """Two gametes met: the mother's and the father's, with the mother's cytoplasm."""

    female: Gamete
    male: Gamete

    def __post_init__(self) -> None:
        shapes = [[[locus_of(a) for a in g] for g in side.groups] for side in self.gametes]
        if shapes[0] != shapes[1]:
            raise ModelError("The two gametes of a genotype must have the same loci in order.")
        letters = self.letters
        twice = sorted({x for x in letters if letters.count(x) > 1})
        if twice:
            raise ModelError(f"Locus {twice[0]} stands twice in one genotype.")

    @property
    def gametes(self) -> tuple[Gamete, Gamete]:
        return (self.female, self.male)

    @property
    def cytoplasm(self) -> str | None:
        return self.female.cytoplasm

    @property
    def letters(self) -> tuple[str, ...]:
        """The loci of the nucleus, in order."""
        return tuple(locus_of(a) for g in self.female.groups for a in g)

    def __str__(self) -> str:
        parts = []
        for mother, father in zip(self.female.groups, self.male.groups, strict=True):
            if len(mother) == 1:
                parts.append("".join(sorted(mother + father, key=allele_order)))
            else:
                strands = sorted(
                    [mother, father], key=lambda strand: [allele_order(a) for a in strand]
                )
                parts.append("/".join("".join(strand) for strand in strands))
        linked = any(len(g) > 1 for g in self.female.groups)
        cytoplasm = f"({self.cytoplasm})" if self.cytoplasm else ""
        return cytoplasm + (" " if linked else "").join(parts)


@lru_cache(maxsize=4096)
def parse_genotype(text: str) -> Genotype:
    """Read `AaBb`, `AB/ab Cc`, `(c)AA`.

    Raises
    ------
    ModelError
        with the faulty place marked under the text.
    """
    if not isinstance(text, str) or not text.strip():
        raise ModelError("A genotype is written like 'AaBb' or 'AB/ab'; this one is empty.")
    cytoplasm, rest = _take_cytoplasm(text)
    female: list[tuple[str, ...]] = []
    male: list[tuple[str, ...]] = []
    for start, part in _words(rest, len(text) - len(rest)):
        mother, slash, father = part.partition("/")
        if slash:
            strands = [
                _tokens(text, s, at, _ALLELE)
                for s, at in ((mother, start), (father, start + len(mother) + 1))
            ]
            if [locus_of(a) for a in strands[0]] != [locus_of(a) for a in strands[1]]:
                raise _fault(text, start, len(part), "has other loci before the slash than after")
            female.append(tuple(strands[0]))
            male.append(tuple(strands[1]))
        else:
            alleles = _tokens(text, part, start, _ALLELE)
            at = start
            for one, two in zip(alleles[::2], [*alleles[1::2], ""], strict=False):
                if not two or locus_of(one) != locus_of(two):
                    raise _fault(text, at, len(one + two), "is not a pair of alleles of one locus")
                female.append((one,))
                male.append((two,))
                at += len(one + two)
    return Genotype(Gamete(tuple(female), cytoplasm), Gamete(tuple(male), cytoplasm))


@dataclass(frozen=True)
class Pattern:
    """What a rule says of each locus: a pair of slots, an allele or `_` for any.

    `slots` follows the loci of the rule; `cytoplasm` is None where it does not matter.
    """

    text: str
    slots: tuple[tuple[str, str], ...]
    cytoplasm: str | None = None


def parse_patterns(texts: Iterable[str]) -> tuple[tuple[str, ...], tuple[Pattern, ...]]:
    """Read the patterns of one rule together, since `__` takes its locus from the others.

    Returns
    -------
    letters : the loci in the order in which all patterns name them.
    patterns : one for each text.
    """
    parsed: list[Pattern] = []
    letters: list[str] = []
    for text in texts:
        if not isinstance(text, str) or not text.strip():
            raise ModelError("A pattern is written like 'A_B_' or 'aa__'; this one is empty.")
        cytoplasm, rest = _take_cytoplasm(text)
        body = rest.replace(" ", "")
        alone = cytoplasm is not None and not body
        slots = [] if alone else _tokens(text, body, len(text) - len(rest), _SLOT)
        pairs = tuple(zip(slots[::2], slots[1::2], strict=False))
        if len(slots) % 2:
            raise _fault(text, 0, len(text), "leaves a locus with one letter; write two a locus")
        letters += ["_"] * (len(pairs) - len(letters))
        for i, pair in enumerate(pairs):
            named = {locus_of(s) for s in pair if s != "_"}
            if len(named | ({letters[i]} - {"_"})) > 1:
                wanted = letters[i] if letters[i] != "_" else "one locus"
                raise _fault(text, 0, len(text), f"has {''.join(pair)} where {wanted} is expected")
            if named:
                letters[i] = named.pop()
        parsed.append(Pattern(text, pairs, cytoplasm))
    for pattern in parsed:
        if len(pattern.slots) not in (len(letters), 0) or (
            letters and not pattern.slots and pattern.cytoplasm is None
        ):
            raise _fault(
                pattern.text,
                0,
                len(pattern.text),
                f"has {len(pattern.slots)} loci, other patterns have {len(letters)}",
            )
    if "_" in letters:
        raise ModelError(f"No pattern says which locus stands in place {letters.index('_') + 1}.")
    return tuple(letters), tuple(parsed)


def loci_of(genotypes: Sequence[Genotype], extra: Iterable[str] = ()) -> tuple[Locus, ...]:
    """The loci of some genotypes, each with every allele seen in them or in `extra`."""
    first = genotypes[0]
    for other in genotypes[1:]:
        if [[locus_of(a) for a in g] for g in other.female.groups] != [
            [locus_of(a) for a in g] for g in first.female.groups
        ]:
            raise ModelError(
                f"The parents must name the same loci in the same way: {first} and {other} do not."
            )
    seen = {a for g in genotypes for side in g.gametes for group in side.groups for a in group}
    seen.update(extra)
    return tuple(
        Locus(letter, tuple(sorted((a for a in seen if locus_of(a) == letter), key=allele_order)))
        for letter in first.letters
    )


def _take_cytoplasm(text: str) -> tuple[str | None, str]:
    """The allele in leading round brackets, if there is one, and the text after it."""
    match = _CYTOPLASM.match(text.lstrip())
    if not match:
        return None, text
    return match.group(1), text.lstrip()[match.end() :]


def _words(text: str, offset: int) -> list[tuple[int, str]]:
    """The words of a text, each with where it begins."""
    return [(offset + m.start(), m.group()) for m in re.finditer(r"\S+", text)]


def _tokens(text: str, part: str, start: int, token: re.Pattern[str]) -> list[str]:
    """Split `part` (which begins at `start` of `text`) into alleles or slots."""
    found, at = [], 0
    while at < len(part):
        match = token.match(part, at)
        if not match:
            raise _fault(text, start + at, 1, "is not a letter for an allele")
        found.append(match.group())
        at = match.end()
    if not found:
        raise _fault(text, start, 1, "is empty; a gamete needs an allele for each locus")
    return found


def _fault(text: str, start: int, length: int, what: str) -> ModelError:
    """An error that reprints the text with the faulty place marked."""
    if len(text) > 60:
        return ModelError(f"{quote(text[start : start + length])} {what}, in {quote(text)}.")
    mark = " " * start + "^" * max(length, 1)
    return ModelError(f"{quote(text[start : start + length])} {what}.\n  {text}\n  {mark}")
