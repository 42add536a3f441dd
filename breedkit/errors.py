"""What goes wrong, said in the grower's words.

Every error of breedkit is a `BreedkitError`. The three that come from what
somebody typed are ValueErrors too, the one from a fit that did not work is a
RuntimeError too, so that nobody has to know breedkit to catch them.

A table can be wrong in many places at once. Each place is one `Problem`; a
`TableError` carries all of them and prints one line each.
"""

from __future__ import annotations

import difflib
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from breedkit.results import listing, show


class BreedkitError(Exception):
    """The root of every error breedkit raises on purpose."""


class PedigreeError(BreedkitError, ValueError):
    """Parentage that cannot be read, or that contradicts itself."""


class ModelError(BreedkitError, ValueError):
    """A genotype, rule, ratio or inheritance model that makes no sense."""


class FitError(BreedkitError, RuntimeError):
    """The numbers do not allow the answer that was asked for."""


@dataclass(frozen=True)
class Problem:
    """One fault in a table: where, what was found, what is allowed, what to do.

    Parameters
    ----------
    source : file name, sheet or frame the fault is in.
    what : the fault, as a clause after the value: "is not a known class".
    row : number of the row as the spreadsheet shows it (the header is row 1).
    column : header of the column, as typed.
    found : what was typed.
    allowed : the values that would have been right, if they can be listed.
    advice : what to do; by default the nearest allowed value is suggested.
    """

    source: str
    what: str
    row: int | None = None
    column: str | None = None
    found: str | None = None
    allowed: tuple[str, ...] = ()
    advice: str = ""

    @property
    def where(self) -> str:
        parts = [show(self.source)]
        if self.row is not None:
            parts.append(f"row {self.row}")
        if self.column is not None:
            parts.append(f"column {quote(self.column)}")
        return ", ".join(parts)

    @property
    def suggestion(self) -> str:
        """What to do about it, in a sentence; empty if there is nothing to say."""
        if self.advice:
            return self.advice
        near = did_you_mean(self.found, self.allowed) if self.found else None
        return f"Did you mean {quote(near)}?" if near else ""

    def __str__(self) -> str:
        subject = f"{quote(self.found)} " if self.found is not None else ""
        known = f" Known: {listing([quote(a) for a in self.allowed])}." if self.allowed else ""
        advice = f" {self.suggestion}" if self.suggestion else ""
        return f"{self.where}: {subject}{self.what}.{known}{advice}"


class TableError(BreedkitError, ValueError):
    """A table that cannot be used, or has not what was asked of it.

    `.problems` holds every fault found; it is empty where the fault is in the question.
    """

    def __init__(self, problems: str | Problem | Sequence[Problem]):
        listed = (problems,) if isinstance(problems, Problem) else tuple(problems)
        self.problems = tuple(p for p in listed if isinstance(p, Problem))
        if isinstance(problems, str):
            message = problems
        elif len(self.problems) == 1:
            message = str(self.problems[0])
        else:
            head = f"{len(self.problems)} things in the table need mending:"
            message = "\n".join([head, *(f"  {p}" for p in self.problems)])
        super().__init__(message)


def quote(text: object) -> str:
    """The user's own text in quotation marks, on one line and not too long."""
    return f"'{show(text)}'"


def fold(text: str) -> str:
    """Text without case, accents and surplus blanks: what counts as "the same word"."""
    apart = unicodedata.normalize("NFKD", text.casefold())
    plain = "".join(c for c in apart if not unicodedata.combining(c))
    return " ".join(plain.replace("_", " ").split())


def did_you_mean(word: str, known: Iterable[str]) -> str | None:
    """The known word nearest to `word`, or None if none is near."""
    by_fold = {fold(k): k for k in known}
    near = difflib.get_close_matches(fold(word[:200]), by_fold, n=1, cutoff=0.6)
    return by_fold[near[0]] if near else None


def pick(word: str, known: Iterable[str], what: str, error: type[BreedkitError]) -> str:
    """The member of `known` that `word` names, regardless of case, blanks and accents.

    Raises `error` with the list of what is known and the nearest word.
    """
    known = list(known)
    if word in known:
        return word
    by_fold = {fold(k): k for k in known}
    if isinstance(word, str) and fold(word) in by_fold:
        return by_fold[fold(word)]
    near = did_you_mean(word, known) if isinstance(word, str) else None
    hint = f" Did you mean {quote(near)}?" if near else ""
    raise error(
        f"There is no {what} called {quote(show(word, longest=30))}.\n"
        f"Known: {listing([quote(k) for k in known]) or 'none'}.{hint}"
    )
