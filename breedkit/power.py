"""How many plants it takes to turn down a wrong ratio.

The test is Pearson's chi-square at a level, with the ratio as what is tested. Its power is
the chance that it turns the ratio down if a rival holds; here it is summed exactly over all
outcomes, not taken from the large-sample formula. Counts are whole, so power rises like a
saw: one plant more can lower it. "Enough" is therefore the smallest number from which `RUN`
numbers in a row all reach the wanted power. The search walks up in such runs, testing each
from its far end: a number that falls short rules out every run that holds it.

Which of two ratios is tested matters: 3:1 against 9:7 is not 9:7 against 3:1.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from numbers import Real
from typing import Any

from scipy.special import chdtri, chndtrinc

from breedkit.counting import Ratio, read_rivals
from breedkit.errors import ModelError, quote
from breedkit.multinomial import tail_probability
from breedkit.results import Fact, Result, chance, number, plants

RUN = 60  # numbers of plants in a row that must all reach the wanted power
MOST_PLANTS = 20_000  # the search ends here
SAME = 1e-12  # shares nearer than this are the same
HOPELESS = 2.0  # the large-sample number of plants, over MOST_PLANTS, that ends it at once


@dataclass(frozen=True, repr=False, eq=False)
class RatioPower(Result):
    """What `ratio_power` found.

    Attributes
    ----------
    ratio, rival : the ratio that is tested, and the one that holds.
    n : number of plants; None if no number up to `MOST_PLANTS` is enough.
    power : chance that the test turns the ratio down if the rival holds, with n plants;
        None without n.
    false_alarm : the same chance if the ratio itself holds; near `level`, seldom equal.
    level : level of the test. wanted : the power asked for, None if n was given.
    critical, df : the ratio is turned down from this value of Pearson's statistic on.
    """

    ratio: Ratio
    rival: Ratio
    n: int | None
    power: float | None
    false_alarm: float | None
    level: float
    wanted: float | None
    critical: float
    df: int

    @property
    def alike(self) -> bool:
        """The two ratios expect the same shares."""
        pairs = zip(self.ratio.shares, self.rival.shares, strict=True)
        return all(abs(float(p - q)) < SAME for p, q in pairs)

    @property
    def verdict(self) -> str:
        ratio, rival = self.ratio.text, self.rival.text
        if self.alike:
            return f"Both ratios are {ratio}: no number of plants will ever tell them apart."
        if self.power is None or self.n is None:
            return (
                f"More than {plants(MOST_PLANTS)} would be needed to turn down {ratio} with "
                f"chance {self.wanted:g} if {rival} holds."
            )
        if self.wanted is None:
            return (
                f"With {plants(self.n)}, the chance to turn down {ratio} if {rival} holds is "
                f"{chance(self.power)}."
            )
        return (
            f"{plants(self.n)} are enough to turn down {ratio} with chance "
            f"{self.wanted:g} if {rival} holds."
        )

    def facts(self) -> list[Fact]:
        rows = [Fact("Test", f"Pearson's chi-square of {self.ratio.text}", self._turned_down)]
        if self.n is not None:
            rows.append(Fact("Plants", f"{self.n:,}"))
        if self.power is not None:
            rows.append(Fact("Power", chance(self.power), f"if {self.rival.text} holds"))
        if self.false_alarm is not None:
            rows.append(
                Fact("False alarm", chance(self.false_alarm), f"if {self.ratio.text} holds")
            )
        return rows

    @property
    def _turned_down(self) -> str:
        if self.df == 0:
            return "turned down by any plant in a class it rules out"
        return f"turned down from {number(self.critical, 4)} on (level {self.level:g})"


@dataclass(frozen=True, repr=False, eq=False)
class Separation(Result):
    """Plants to tell two ratios apart, whichever of them is the one that is tested.

    `first_tested` turns down the first ratio if the second holds; `second_tested` the
    reverse. `first` and `second` are the plants each needs, None if no number is enough.
    """

    first_tested: RatioPower
    second_tested: RatioPower

    @property
    def first(self) -> int | None:
        return self.first_tested.n

    @property
    def second(self) -> int | None:
        return self.second_tested.n

    @property
    def words(self) -> str:
        """'66 to 69 plants'."""
        if self.first_tested.alike:
            return "no number of plants"
        if self.first is None or self.second is None:
            return f"more than {plants(MOST_PLANTS)}"
        low, high = sorted((self.first, self.second))
        return plants(high) if low == high else f"{low:,} to {plants(high)}"

    @property
    def verdict(self) -> str:
        one, other = self.first_tested.ratio.text, self.second_tested.ratio.text
        wanted = self.first_tested.wanted
        return f"To tell {one} from {other} with chance {wanted:g} takes {self.words}."

    def facts(self) -> list[Fact]:
        return [
            Fact(
                f"Turn down {test.ratio.text}",
                plants(test.n) if test.n is not None else self.words,
                f"if {test.rival.text} holds",
            )
            for test in (self.first_tested, self.second_tested)
        ]


def ratio_power(
    ratio: str | Sequence[Any] | Mapping[str, Any],
    rival: str | Sequence[Any] | Mapping[str, Any],
    n: int | None = None,
    power: float | None = None,
    level: float = 0.05,
) -> RatioPower:
    """Chance to turn down a ratio if a rival holds, or the plants needed for that chance.

    Parameters
    ----------
    ratio, rival : as in `ratio_test`: the ratio that is tested, and the one that holds.
    n : plants; then the result says the power.
    power : wanted power, between 0 and 1; then the result says the smallest number of
        plants from which 60 numbers in a row all have it. Give `n` or `power`, not both.
    level : level of the test, between 0 and 1.

    Returns
    -------
    RatioPower : `.n` and `.power`.

    Raises
    ------
    ModelError : ratios that cannot be read or compared, or numbers out of range.

    Examples
    --------
    >>> ratio_power("3:1", "9:7", power=0.9).n
    66
    """
    first, second = read_rivals(ratio, rival)
    faults = []
    if (n is None) == (power is None):
        faults.append("Give either a number of plants, n, or a wanted power.")
    if n is not None and not (_is_number(n) and n == int(n) and 0 <= n <= MOST_PLANTS):
        faults.append(f"n is {quote(n)}; it must be a whole number from 0 to {MOST_PLANTS:,}.")
    for name, value in (("power", power), ("level", level)):
        if value is not None and not (_is_number(value) and 0 < value < 1):
            faults.append(f"{name} is {quote(value)}; it must lie between 0 and 1, as in 0.9.")
    if faults:
        raise ModelError("\n".join(faults))
    df = first.df
    critical = float(chdtri(df, level)) if df else 1.0
    wanted = None if power is None else float(power)
    if wanted is not None:
        n = _enough(first.shares, second.shares, critical, wanted)
    elif n is not None:
        n = int(n)

    def strength(shares: tuple[Fraction | float, ...]) -> float | None:
        return None if n is None else tail_probability(critical, n, first.shares, shares).pvalue

    return RatioPower(
        ratio=first,
        rival=second,
        n=n,
        power=strength(second.shares),
        false_alarm=strength(first.shares),
        level=level,
        wanted=wanted,
        critical=critical,
        df=df,
    )


def plants_to_separate(
    ratio_a: str | Sequence[Any] | Mapping[str, Any],
    ratio_b: str | Sequence[Any] | Mapping[str, Any],
    power: float = 0.9,
    level: float = 0.05,
) -> Separation:
    """Plants needed to tell two ratios apart, for either being the one that is tested.

    Parameters and errors as in `ratio_power`.
    """
    return Separation(
        ratio_power(ratio_a, ratio_b, power=power, level=level),
        ratio_power(ratio_b, ratio_a, power=power, level=level),
    )


def _is_number(value: object) -> bool:
    return isinstance(value, Real) and not isinstance(value, bool) and math.isfinite(value)


@lru_cache(maxsize=256)
def _enough(
    shares: tuple[Fraction | float, ...],
    rival: tuple[Fraction | float, ...],
    critical: float,
    wanted: float,
) -> int | None:
    """The smallest number of plants from which RUN in a row have the power; None if too many."""
    distance = 0.0
    for p, q in zip(shares, rival, strict=True):
        distance += float(q - p) ** 2 / float(p) if p else math.inf if q else 0.0
    if distance < SAME:
        return None
    df = sum(p > 0 for p in shares) - 1
    if df and chndtrinc(critical, df, 1 - wanted) / distance > HOPELESS * MOST_PLANTS:
        return None
    strengths: dict[int, float] = {}

    def falls_short(n: int) -> bool:
        if n not in strengths:
            strengths[n] = tail_probability(critical, n, shares, rival).pvalue
        return strengths[n] < wanted

    start = 1
    while start <= MOST_PLANTS:
        short = next((n for n in range(start + RUN - 1, start - 1, -1) if falls_short(n)), None)
        if short is None:
            return start
        start = short + 1
    return None
