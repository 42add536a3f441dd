"""Errors that say where, what, what is allowed, and what to do."""

import pytest

from breedkit.errors import (
    BreedkitError,
    FitError,
    ModelError,
    PedigreeError,
    Problem,
    TableError,
    did_you_mean,
    fold,
    pick,
)  # fmt: skip


def test_the_tree() -> None:
    for error in (TableError, PedigreeError, ModelError):
        assert issubclass(error, BreedkitError) and issubclass(error, ValueError)
    assert issubclass(FitError, BreedkitError) and issubclass(FitError, RuntimeError)


def test_a_fault_in_the_words_of_the_design() -> None:
    fault = Problem("scores.csv", "is not a known class", 14, "colour", "purpel",
                    ("purple", "white"))  # fmt: skip
    assert str(TableError(fault)) == (
        "scores.csv, row 14, column 'colour': 'purpel' is not a known class. "
        "Known: 'purple' and 'white'. Did you mean 'purple'?"
    )


def test_all_faults_come_at_once() -> None:
    faults = [Problem("a.csv", "is missing", row=n) for n in (2, 3)]
    error = TableError(faults)
    assert error.problems == tuple(faults)
    assert str(error).splitlines()[0] == "2 things in the table need mending:"
    assert len(str(error).splitlines()) == 3
    assert TableError("No such trait.").problems == ()
    assert str(TableError("No such trait.")) == "No such trait."


def test_words_match_regardless_of_case_blanks_and_accents() -> None:
    assert fold(" Épi  Rouge_x ") == "epi rouge x"
    assert pick("RIPE colour", ["ripe colour"], "trait", TableError) == "ripe colour"
    assert pick("Aa", ["AA", "Aa", "aa"], "class", TableError) == "Aa"
    assert did_you_mean("orannge", ["red", "orange"]) == "orange"
    assert did_you_mean("zzz", ["red"]) is None


@pytest.mark.parametrize("word", ["colr", None, 7, "x" * 10_000, "<b>"])
def test_an_unknown_word_is_answered_with_what_is_known(word: object) -> None:
    with pytest.raises(ModelError, match="Known: 'colour'") as caught:
        pick(word, ["colour"], "trait", ModelError)  # type: ignore[arg-type]
    assert len(str(caught.value).splitlines()[0]) < 90
