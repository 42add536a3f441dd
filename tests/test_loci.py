"""Notation of genotypes and patterns."""

import pytest

from breedkit.errors import ModelError
from breedkit.loci import parse_genotype, parse_patterns

ROUND_TRIPS = {
    "AaBb": "AaBb",
    "aABb": "AaBb",  # capitals first
    "AB/ab": "AB/ab",
    "ab/AB": "AB/ab",  # the order of the strands is not written
    "aB/Ab Cc": "Ab/aB Cc",  # repulsion, and a further locus
    "A1A3": "A1A3",  # many alleles
    "a'A": "Aa'",
    "(c)Aa": "(c)Aa",
    " Aa  Bb ": "AaBb",
}


@pytest.mark.parametrize("typed, written", ROUND_TRIPS.items())
def test_genotype_round_trip(typed: str, written: str) -> None:
    assert str(parse_genotype(typed)) == written
    assert str(parse_genotype(written)) == written


def test_phase_and_sides_are_kept() -> None:
    plant = parse_genotype("Ab/aB")
    assert str(plant.female) == "Ab" and str(plant.male) == "aB"
    assert plant.letters == ("A", "B")


@pytest.mark.parametrize(
    "typed, says, mark",
    [
        ("AaB", "'B' is not a pair", "    ^"),
        ("Aa?b", "'?' is not a letter", "    ^"),
        ("AB/aC", "other loci before the slash", "  ^^^^^"),
        ("AB/", "is empty", "     ^"),
    ],
)
def test_the_faulty_place_is_marked(typed: str, says: str, mark: str) -> None:
    with pytest.raises(ModelError) as caught:
        parse_genotype(typed)
    first, text, marked = str(caught.value).splitlines()
    assert says in first and len(first) < 90
    assert text == f"  {typed}" and marked == mark


@pytest.mark.parametrize("typed", ["", "  ", None, 7, "AaAa", "<img>", "🌶" * 500, "A" * 9999])
def test_nonsense_is_refused_in_a_short_first_line(typed: object) -> None:
    with pytest.raises(ModelError) as caught:
        parse_genotype(typed)  # type: ignore[arg-type]
    assert len(str(caught.value).splitlines()[0]) < 120


def test_patterns_take_a_nameless_locus_from_the_others() -> None:
    letters, patterns = parse_patterns(["A_B_", "A_bb", "aa__"])
    assert letters == ("A", "B")
    assert patterns[2].slots == (("a", "a"), ("_", "_"))


@pytest.mark.parametrize(
    "texts, says",
    [
        (["A_B_", "B_A_"], "where A is expected"),
        (["A_", "A_B_"], "other patterns have 2"),
        (["__"], "No pattern says"),
        (["A"], "write two a locus"),
        ([""], "empty"),
    ],
)
def test_patterns_that_contradict_each_other(texts: list[str], says: str) -> None:
    with pytest.raises(ModelError, match=says):
        parse_patterns(texts)
