"""Does a ratio hold? Tests of one family and of several, and how many plants they need.

One family: Pearson's chi-square, G and an exact test ask how often a family of this size
would miss the ratio by this much or more, if the ratio holds. The exact chance (see
`breedkit.multinomial`) decides, since families are small; the other two are the usual
large-sample figures. None of them says how likely the ratio is to be right, and a ratio
that is compatible with the counts shares that with others.

Several families: the families' statistics add to a total; what the pooled counts miss is
one part of it, and what is left measures whether the families differ from each other.

How many plants such a test needs is in `breedkit.power`, and its names are here too.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from breedkit import charts
from breedkit.counting import Counts, Ratio, read_families, read_family, read_ratio
from breedkit.errors import ModelError, quote
from breedkit.misfit import (
    Misfit,
    Partition,
    chance_of,
    chi_square_tail,
    contingency,
    g_misfit,
    partition,
    pearson_misfit,
)
from breedkit.multinomial import ORDERS, exact_pvalue
from breedkit.power import RatioPower, Separation, plants_to_separate, ratio_power
from breedkit.results import Fact, Result, chance, listing, number, plants, show

if TYPE_CHECKING:
    import pandas as pd

    from breedkit.charts import Axes

__all__ = [
    "HeterogeneityTest",
    "RatioPower",
    "RatioTest",
    "Separation",
    "heterogeneity_test",
    "plants_to_separate",
    "ratio_power",
    "ratio_test",
]

LEVEL = 0.05  # below this chance a ratio is said not to fit: common practice, no source
FEW = 5  # expected plants a class below which large-sample figures are rough (Cochran 1954)
LONGEST_LIST = 12  # classes or families that a display lists one by one
MEANING = "chance of a misfit this large or larger, if the ratio holds"
FAMILIAR = ("1:1", "2:1", "3:1", "9:7", "13:3", "15:1", "63:1", "1:2", "1:3", "7:9", "3:13", "1:15")


# --- one family -------------------------------------------------------------


@dataclass(frozen=True, repr=False, eq=False)
class RatioTest(Result):
    """What `ratio_test` found.

    Attributes
    ----------
    counts, classes, ratio : plants and names of the classes, and what they are held against.
    n, shares : number of plants scored; expected share of each class.
    expected : plants expected in each class.
    residuals : (counted - expected) / sqrt(expected); their squares add to Pearson's
        statistic. Infinite for plants in a class that the ratio rules out.
    pearson, g, exact : `Misfit`; `exact.statistic` is G, Pearson's statistic or the chance
        of just these counts, whichever `order` names.
    """

    counts: tuple[int, ...]
    classes: tuple[str, ...]
    ratio: Ratio
    expected: np.ndarray
    residuals: np.ndarray
    pearson: Misfit
    g: Misfit
    exact: Misfit
    order: str
    correction: bool
    notes: tuple[str, ...] = ()

    @property
    def n(self) -> int:
        return sum(self.counts)

    @property
    def shares(self) -> tuple[Any, ...]:
        return self.ratio.shares

    @property
    def too_few(self) -> bool:
        """No outcome with so few plants could speak against the ratio."""
        if self.pearson.statistic == math.inf:
            return False
        rarest = min(float(s) for s in self.shares if s)
        as_rare = sum(float(s) == rarest for s in self.shares)
        return rarest < 1 and as_rare * rarest**self.n >= LEVEL

    @property
    def verdict(self) -> str:
        seen, ratio = show(":".join(map(str, self.counts))), self.ratio.text
        if self.n == 0:
            return f"No plants were scored, so nothing can be said about {ratio}."
        if self.too_few:
            return (
                f"{seen} is too few plants to tell anything about {ratio} "
                f"({plants(self.n)}; no outcome of so few could speak against it)."
            )
        if self.pearson.statistic == math.inf:
            ruled_out = sum(x for x, s in zip(self.counts, self.shares, strict=True) if not s)
            reason = f"{plants(ruled_out)} in a class that the ratio rules out"
        else:
            reason = f"{MEANING}: {chance(self.exact.pvalue)}"
        says = "does not fit" if self.exact.pvalue < LEVEL else "is compatible with"
        return f"{seen} {says} {ratio} ({plants(self.n)}; {reason})."

    def facts(self) -> list[Fact]:
        rows = []
        if len(self.counts) <= LONGEST_LIST:
            rows = [
                Fact(show(name), plants(x), f"expected {number(e)}")
                for name, x, e in zip(self.classes, self.counts, self.expected, strict=True)
            ]
        of = {"likelihood ratio": "ordered by G", "pearson": "ordered by Pearson's statistic"}
        exact = f"exact, {of.get(self.order, 'ordered by the probability of each outcome')}"
        rows.append(Fact("Chance of such a misfit", chance(self.exact.pvalue), exact))
        for label, test in (("Pearson chi-square", self.pearson), ("G", self.g)):
            adjusted = ", Williams' correction" if label == "G" and self.correction else ""
            rows.append(
                Fact(
                    label,
                    number(test.statistic, 4),
                    f"{_freedom(test.df)}, large-sample chance {chance(test.pvalue)}{adjusted}",
                )
            )
        also = self._also_compatible()
        if also:
            rows.append(Fact("Also compatible", listing(also), "among familiar ratios"))
        return rows

    def table(self) -> pd.DataFrame:
        """One row a class: counted, share, expected, difference, residual."""
        import pandas as pd

        return pd.DataFrame(
            {
                "counted": self.counts,
                "share": [float(s) for s in self.shares],
                "expected": self.expected,
                "difference": np.array(self.counts) - self.expected,
                "residual": self.residuals,
            },
            index=pd.Index(self.classes, name="class"),
        )

    def plot(self, ax: Axes | None = None) -> Axes:
        """Counted against expected; classes that are off by more than 2 residuals are marked."""
        return charts.bars_against_expected(
            self.classes,
            self.counts,
            self.expected.tolist(),
            marked=[abs(r) > 2 for r in self.residuals.tolist()],
            title=f"{plants(self.n)} against {self.ratio.text}",
            caption=self.verdict,
            alt=f"Bars: plants counted in each class. Lines: expected. {self.verdict}",
            ax=ax,
        )

    def _also_compatible(self) -> list[str]:
        """Familiar two-class ratios that these counts do not speak against either."""
        if len(self.counts) != 2 or self.n == 0 or self.too_few or self.exact.pvalue < LEVEL:
            return []
        others = [r for r in FAMILIAR if read_ratio(r).shares != self.shares]
        return [
            r
            for r in others
            if exact_pvalue(self.counts, read_ratio(r).shares, self.order).pvalue >= LEVEL
        ]


def ratio_test(
    counts: Sequence[int] | Mapping[str, int] | pd.Series,
    ratio: str | Sequence[Any] | Mapping[str, Any],
    *,
    correction: bool = False,
    order: str = "likelihood ratio",
) -> RatioTest:
    """Test whether the counts of one family fit a ratio.

    Parameters
    ----------
    counts : plants in each class: a list, {class: count} or a Series. A class named
        'not scored' is left out, and said.
    ratio : "9:3:3:1", a list of parts or shares, or {class: share}. Parts need not add to
        1; a part of 0 is a class that the ratio rules out. Named counts and a named ratio
        are matched by name, else by position.
    correction : Williams' correction of G, G / (1 + (k + 1) / 6n) for k classes (Sokal &
        Rohlf, Biometry; from memory).
    order : what the exact test counts as "this large or larger": "likelihood ratio" (G),
        "pearson", or "probability" of the outcome.

    Returns
    -------
    RatioTest : `.pearson`, `.g` and `.exact`, each with `.statistic`, `.df`, `.pvalue`.

    Raises
    ------
    ModelError : a ratio that cannot be read or does not match the counts.
    TableError : counts that are missing, negative or not whole.

    Examples
    --------
    >>> ratio_test({"purple": 44, "white": 16}, {"purple": 3, "white": 1}).exact.pvalue
    """
    if order not in ORDERS:
        raise ModelError(
            f"There is no order called {quote(order)}.\nKnown: {listing(map(quote, ORDERS))}."
        )
    family, parts = read_family(counts, ratio)
    seen, n = family.plants, sum(family.plants)
    expected = np.array([n * float(s) for s in parts.shares])
    with np.errstate(divide="ignore", invalid="ignore"):
        residuals = (np.array(seen) - expected) / np.sqrt(expected)
    residuals[np.isnan(residuals)] = 0.0
    expected.flags.writeable = residuals.flags.writeable = False
    pearson, g = pearson_misfit(seen, parts), g_misfit(seen, parts)
    tail = exact_pvalue(seen, parts.shares, order)
    statistics = {"likelihood ratio": g.statistic, "pearson": pearson.statistic}
    statistic = statistics[order] if order in statistics else chance_of(seen, parts)
    exact = Misfit(statistic, g.df, tail.pvalue, tail.error)
    if correction and n:
        corrected = g.statistic / (1 + (g.df + 2) / (6 * n))
        g = Misfit(corrected, g.df, chi_square_tail(corrected, g.df))
    classes = family.names or ()
    return RatioTest(
        counts=seen,
        classes=classes,
        ratio=parts,
        expected=expected,
        residuals=residuals,
        pearson=pearson,
        g=g,
        exact=exact,
        order=order,
        correction=correction,
        notes=_notes(family, parts, exact),
    )


def _notes(family: Counts, ratio: Ratio, exact: Misfit) -> tuple[str, ...]:
    """Caveats of one family, the gravest first."""
    notes = []
    n = sum(family.plants)
    for name, x, share in zip(family.names or (), family.plants, ratio.shares, strict=True):
        where = show(name) if name.startswith("class ") else f"class {quote(name)}"
        if not share and x:
            notes.append(
                f"{plants(x)} in {where}, which the ratio rules out: one wrongly scored plant "
                "is enough for that, so look at them again."
            )
        elif not share:
            notes.append(f"The ratio rules out {where}, and no plant was seen there.")
        elif n and not x:
            notes.append(f"No plant in {where}, where {number(n * float(share))} were expected.")
    if _rough([n], ratio):
        notes.append(
            f"A class expects fewer than {FEW} plants: the large-sample chances are rough "
            "here, so go by the exact one."
        )
    if n == 1:
        notes.append("One plant can show that a class exists, but not how often.")
    if n and exact.pvalue >= LEVEL:
        notes.append("Compatible is not shown to be right: other ratios may fit as well.")
    if exact.error > 1e-9:
        off = f"{exact.error:.0e}"
        notes.append(f"The exact chance is a numerical integral here; it may be off by {off}.")
    if family.not_scored:
        notes.append(f"Left out because not scored: {plants(family.not_scored)}.")
    return tuple(notes)


def _rough(sizes: Sequence[int], ratio: Ratio) -> bool:
    """Some class of some family expects too few plants for large-sample figures."""
    return any(0 < n * float(share) < FEW for n in sizes for share in ratio.shares)


def _freedom(df: int) -> str:
    return f"{df} degree{'' if df == 1 else 's'} of freedom"


# --- several families -------------------------------------------------------


@dataclass(frozen=True, repr=False, eq=False)
class HeterogeneityTest(Result):
    """What `heterogeneity_test` found.

    Attributes
    ----------
    families, classes : names; `counts` is families x classes.
    each : Pearson's or G's `Misfit` of every family, whichever `statistic` names.
    pearson, g : `Partition`s of both statistics; `total`, `pooled` and `heterogeneity` are
        those of `statistic`. Heterogeneity is total less pooled.
    contingency : Pearson's chi-square of the table of families by classes. It does not use
        the ratio and is another number than Pearson's heterogeneity.
    exact : the exact test (by G) of the pooled counts.
    """

    families: tuple[str, ...]
    classes: tuple[str, ...]
    counts: np.ndarray
    ratio: Ratio
    statistic: str
    each: tuple[Misfit, ...]
    pearson: Partition
    g: Partition
    contingency: Misfit
    exact: Misfit
    notes: tuple[str, ...] = ()

    @property
    def total(self) -> Misfit:
        return self._chosen.total

    @property
    def pooled(self) -> Misfit:
        return self._chosen.pooled

    @property
    def heterogeneity(self) -> Misfit:
        return self._chosen.heterogeneity

    @property
    def rough(self) -> bool:
        """Families are too small for the chances of total and heterogeneity to be trusted."""
        return _rough(self.counts.sum(axis=1).tolist(), self.ratio)

    @property
    def _chosen(self) -> Partition:
        return self.pearson if self.statistic == "pearson" else self.g

    @property
    def verdict(self) -> str:
        pooled = show(":".join(str(x) for x in self.counts.sum(axis=0)))
        says = "does not fit" if self.exact.pvalue < LEVEL else "is compatible with"
        together = (
            f"Taken together, {pooled} {says} {self.ratio.text} ({MEANING}: "
            f"{chance(self.exact.pvalue)})."
        )
        if not self.counts.any():
            return f"No plants were scored, so nothing can be said about {self.ratio.text}."
        if self.heterogeneity.df == 0:
            return f"Fewer than two families have plants, so none can differ. {together}"
        found = "No difference between the families was found"
        if self.heterogeneity.pvalue < LEVEL:
            found = f"The families {'may ' if self.rough else ''}differ from each other"
        return (
            f"{found} ({len(self.families)} families, {plants(int(self.counts.sum()))}; chance "
            "of differences this large or larger, if they are alike: "
            f"{'roughly ' if self.rough else ''}{chance(self.heterogeneity.pvalue)}). {together}"
        )

    def facts(self) -> list[Fact]:
        name = "Pearson" if self.statistic == "pearson" else "G"
        rows = []
        if len(self.families) <= LONGEST_LIST:
            rows = [
                Fact(show(family), ":".join(map(str, row.tolist())), _figures(name, test))
                for family, row, test in zip(self.families, self.counts, self.each, strict=True)
            ]
        parts = (
            ("Total", self.total, "the families' figures added up"),
            ("Pooled", self.pooled, "of the counts added up"),
            ("Heterogeneity", self.heterogeneity, "total less pooled"),
        )
        rows += [
            Fact(label, number(test.statistic, 4), f"{_figures(name, test, False)}; {how}")
            for label, test, how in parts
        ]
        rows.append(
            Fact(
                "Contingency chi-square",
                number(self.contingency.statistic, 4),
                f"{_figures('Pearson', self.contingency, False)}; of families by classes, "
                "without the ratio",
            )
        )
        return rows

    def table(self) -> pd.DataFrame:
        """One row a family: its counts, and the statistic, df and chance of its misfit."""
        import pandas as pd

        frame = pd.DataFrame(
            self.counts.copy(),
            index=pd.Index(self.families, name="family"),
            columns=list(self.classes),
        )
        frame[self.statistic] = [test.statistic for test in self.each]
        frame["df"] = [test.df for test in self.each]
        frame["chance"] = [test.pvalue for test in self.each]
        return frame


def heterogeneity_test(
    table: Sequence[Sequence[int]] | Mapping[str, Sequence[int]] | pd.DataFrame,
    ratio: str | Sequence[Any] | Mapping[str, Any],
    statistic: str = "pearson",
) -> HeterogeneityTest:
    """Test whether several families fit a ratio, and whether they differ from each other.

    Parameters
    ----------
    table : one row of counts a family: a frame of families x classes, {family: counts} or a
        list of lists. A column named 'not scored' is left out, and said.
    ratio : as in `ratio_test`.
    statistic : which statistic `.total`, `.pooled` and `.heterogeneity` show: "pearson" or
        "g". Both are in `.pearson` and `.g`.

    Returns
    -------
    HeterogeneityTest : each part with `.statistic`, `.df`, `.pvalue`.

    Raises
    ------
    ModelError : a ratio that cannot be read or does not match the counts.
    TableError : counts that are missing, negative or not whole, with all of them listed.
    """
    if statistic not in ("pearson", "g"):
        raise ModelError(f"There is no statistic called {quote(statistic)}: 'pearson' or 'g'.")
    families, parts = read_families(table, ratio)
    counts = np.array([family.plants for family in families.values()])
    counts.flags.writeable = False
    pooled, sizes = counts.sum(axis=0).tolist(), counts.sum(axis=1)
    pearson, g = (partition(misfit, counts, parts) for misfit in (pearson_misfit, g_misfit))
    tail = exact_pvalue(pooled, parts.shares)
    exact = Misfit(g.pooled.statistic, parts.df, tail.pvalue, tail.error)
    of = pearson_misfit if statistic == "pearson" else g_misfit
    notes = [
        "Heterogeneity is total less pooled, of Pearson's chi-square. The contingency "
        "chi-square compares the families without the ratio and is another number."
        if statistic == "pearson"
        else "Heterogeneity is total less pooled, of G. The contingency chi-square is Pearson's "
        "and another number."
    ]
    if pearson.total.statistic == math.inf:
        notes = [
            "Plants were seen in a class that the ratio rules out, so total and pooled have no "
            "limit; the heterogeneity shown is the contingency chi-square instead."
        ]
    if _rough(sizes.tolist(), parts):
        notes.append(
            f"A class of some family expects fewer than {FEW} plants: the chances of total and "
            "heterogeneity are rough here. The pooled chance in the first line is exact."
        )
    empty = [name for name, size in zip(families, sizes, strict=True) if not size]
    if empty:
        notes.append(f"Without any plants, and so without a say: {listing(map(quote, empty))}.")
    not_scored = sum(family.not_scored for family in families.values())
    if not_scored:
        notes.append(f"Left out because not scored: {plants(not_scored)}.")
    return HeterogeneityTest(
        families=tuple(families),
        classes=next(iter(families.values())).names or (),
        counts=counts,
        ratio=parts,
        statistic=statistic,
        each=tuple(of(row, parts) for row in counts.tolist()),
        pearson=pearson,
        g=g,
        contingency=contingency(counts),
        exact=exact,
        notes=tuple(notes),
    )


def _figures(name: str, test: Misfit, value: bool = True) -> str:
    shown = f" {number(test.statistic)}" if value else ""
    return f"{name}{shown}, {_freedom(test.df)}, chance {chance(test.pvalue)}"
