"""How the counts of one family sit with one ratio.

The figure is the exact chance of a misfit this large or larger, if the ratio holds, in
order of likelihood ratio. From `level` (0.05) upwards a ratio fits, from 0.01 it fits
badly: one true ratio in twenty does no better. A ratio that allows no plant of a class
fits but for the plants there, if these are no more than slips of scoring may be and the
others fit.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

from breedkit.candidates import RULED_OUT, Way, chance_without, is_slip
from breedkit.ratios import RatioTest, ratio_test
from breedkit.results import listing, ratio_text, show

if TYPE_CHECKING:
    import pandas as pd

FITS, BADLY, BUT_FOR, IF_WRONG, NOT = (
    "fits",
    "fits badly",
    "fits but for",
    "fits if",
    "does not fit",
)


@dataclass(frozen=True, eq=False)
class Candidate:
    """A ratio that the models allow in the family, and how the counts sit with it.

    `standing` is one of "fits", "fits badly", "fits but for" (`odd` plants), "fits if" (the
    parent plant `doubt` was written down wrongly) and "does not fit"; `chance` is that of a
    misfit this large or larger, without the odd plants. See `Way` for what is assumed.
    """

    classes: tuple[str, ...]
    shares: tuple[Fraction, ...]
    way: Way
    test: RatioTest
    standing: str
    chance: float
    odd: int = 0
    doubt: str = ""

    @property
    def alive(self) -> bool:
        return self.standing != NOT

    @property
    def fits(self) -> bool:
        return self.standing == FITS

    @property
    def ratio(self) -> str:
        """'3:1', 'all red', or '1:1 mid:white' where some class gets no plant."""
        named = [show(c, longest=24) for c, s in zip(self.classes, self.shares, strict=True) if s]
        if len(named) == 1:
            return f"all {named[0]}"
        text = ratio_text([s for s in self.shares if s])
        return text if len(named) == len(self.classes) else f"{text} {':'.join(named)}"

    @property
    def models(self) -> tuple[str, ...]:
        return self.way.models

    @property
    def genes(self) -> int:
        return self.way.genes

    @property
    def says(self) -> str:
        """'3:1 fits', 'all red fits but for 1 plant', ..."""
        if self.standing == BUT_FOR:
            odd = zip(self.test.counts, self.classes, self.shares, strict=True)
            return f"{self.ratio} fits but for " + listing(
                [f"{n} {show(c, longest=24)}" for n, c, share in odd if n and not share]
            )
        if self.standing == IF_WRONG:
            return f"{self.ratio} fits if {show(self.doubt)} was written down wrongly"
        return f"{self.ratio} {self.standing}"


STANDINGS = (FITS, BADLY, BUT_FOR, IF_WRONG, NOT)


def candidate(own: pd.Series, share: dict[str, Fraction], way: Way, level: float) -> Candidate:
    """Hold the counts of a family against one ratio."""
    classes = [c for c in own.index if c in share or own[c]]
    if len(classes) == 1:  # any other class stands for "none of those"
        classes += [c for c in own.index if c not in classes][:1]
    classes = [c for c in own.index if c in classes]
    shares = tuple(share.get(c, Fraction(0)) for c in classes)
    counts = [int(own[c]) for c in classes]
    test = ratio_test(
        dict(zip(classes, counts, strict=True)), dict(zip(classes, shares, strict=True))
    )
    p = test.exact.pvalue
    standing = FITS if p >= level else BADLY if p >= RULED_OUT else NOT
    odd, rest = chance_without(counts, shares)
    if standing == NOT and is_slip(counts, odd) and rest >= level:
        return Candidate(tuple(classes), shares, way, test, BUT_FOR, rest, odd)
    return Candidate(tuple(classes), shares, way, test, standing, p)


def order(c: Candidate) -> tuple[object, ...]:
    """What fits before what may fit, plain before further assumptions, simple before not."""
    place = STANDINGS.index(c.standing)
    return (not c.alive, c.way.further, place, c.way.assumed, -likelihood(c), c.ratio)


def likelihood(c: Candidate) -> float:
    """Minus the G statistic: the larger, the likelier the counts."""
    return -c.test.g.statistic
