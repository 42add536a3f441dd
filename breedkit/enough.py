"""How many offspring it takes to see at least one of a kind, if there is any.

Of a kind that is a share s of all offspring, n show none with chance (1 - s)^n. So

    enough = smallest n with (1 - s)^n <= 1 - certainty,

11 for a quarter and 95 %, 17 for a quarter and 99 %. Shares are fractions, exactly as typed,
and where the logarithm comes out next to a whole number, whole numbers decide, so that a
number at the very edge is not rounded the wrong way.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction

from breedkit.errors import ModelError, quote
from breedkit.results import Fact, Result, percent, show

Share = Fraction | float | str

CERTAINTY = 0.95
MOST_OFFSPRING = 100_000  # more than these nobody sows
LEAST = Fraction(1, 10**9)  # share, or error, below which nothing is worked out
NEAR = 1e-6  # nearer than this to a whole number, whole numbers decide


@dataclass(frozen=True, repr=False)
class ProgenyNeeded(Result):
    """How many offspring it takes to see at least one of a kind.

    Attributes
    ----------
    n : number of offspring. share : of the kind among the offspring of a plant that gives it.
    certainty : the chance asked for. missed : the chance that none of n is of the kind.
    """

    n: int
    share: Fraction
    certainty: Fraction
    missed: Fraction

    @property
    def verdict(self) -> str:
        return (
            f"{offspring(self.n)} {'are' if self.n > 1 else 'is'} enough: where "
            f"{_in_words(self.share)} is of the kind, the chance to see none of it in {self.n:,} "
            f"is {percent(float(self.missed))}."
        )

    def facts(self) -> list[Fact]:
        facts = [Fact("certainty", f"{100 * float(self.certainty):.4g} %", "asked for")]
        for n in sorted({self.n - 1, self.n, self.n + 1} - {0}):
            missed = float((1 - self.share) ** n)
            facts.append(Fact(offspring(n), f"{percent(missed)} see none",
                              "enough" if n >= self.n else "too few"))  # fmt: skip
        return facts

    notes = ("Offspring are those that came up and were scored; sow more than these.",)


def progeny_needed(share: Share = Fraction(1, 4), certainty: Share = CERTAINTY) -> ProgenyNeeded:
    """How many selfed offspring show that a plant segregates, if it does.

    Parameters
    ----------
    share : of the offspring that differ, if the plant is not fixed: 1/4 for a recessive of
        one gene. A fraction, a number, or text such as "1/4".
    certainty : the chance to see at least one of them.

    Raises
    ------
    ModelError
        for a share or certainty that is not between 0 and 1.

    Examples
    --------
    >>> progeny_needed("1/4").n
    11
    >>> progeny_needed("1/4", certainty=0.99).n
    17
    """
    share, certainty = part(share, "share"), part(certainty, "certainty")
    n = least(1 - share, 1 - certainty)
    return ProgenyNeeded(n, share, certainty, (1 - share) ** n)


def least(same: Fraction, error: Fraction) -> int:
    """The smallest n from 1 with same^n <= error; both between 0 and 1."""
    if min(error, 1 - same) < LEAST:
        raise ModelError(f"That would take more than {MOST_OFFSPRING:,} offspring.")
    exact = math.log(error) / math.log(same)
    if exact > MOST_OFFSPRING:
        raise ModelError(f"That would take more than {MOST_OFFSPRING:,} offspring.")
    n = max(round(exact), 1)
    if abs(exact - n) > NEAR * n:
        return max(math.ceil(exact), 1)
    small = same.numerator**n * error.denominator <= error.numerator * same.denominator**n
    return n if small else n + 1


def part(value: Share, what: str) -> Fraction:
    """A share between 0 and 1, exactly as typed: 0.95 is 19/20."""
    found = fraction(value, what)
    if not 0 < found < 1:
        typed = show(value, longest=30)
        raise ModelError(f"A {what} lies between 0 and 1; {typed} does not.")
    return found


def fraction(value: Share, what: str) -> Fraction:
    """A number exactly as typed."""
    try:
        return value if isinstance(value, Fraction) else Fraction(str(value).strip())
    except (ValueError, ZeroDivisionError):
        typed = quote(show(value, longest=30))
        raise ModelError(f"A {what} is a number such as 1/4 or 0.25; {typed} is not.") from None


def offspring(n: int) -> str:
    return f"{n:,} offspring"


def _in_words(share: Fraction) -> str:
    """'1 in 4'; '3.1 %' where it is not a simple fraction."""
    small = share.denominator <= 256
    return f"{share.numerator} in {share.denominator}" if small else percent(float(share))
