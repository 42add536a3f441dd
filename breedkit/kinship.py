"""Where a line comes from: its founders' shares with their spread, inbreeding, and kinship.

The register says who came from whom; `breedkit.lineage` works out from that alone what is
expected of a plant before anybody has looked at it:

    share of a founder   half the mother's and half the father's; with its spread
    inbreeding           F, the chance that a plant's two copies of a gene are the same copy
    still heterozygous   1 - F of the genes in which the founders differ
    kinship              the same chance for a copy of each of two plants

Each selfing halves what is heterozygous, each backcross the share that does not come from
the recurrent parent: after t of them left / 2^t remains, in exact fractions, so that a number
of generations is never rounded the wrong way.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np

from breedkit.errors import ModelError, PedigreeError, did_you_mean, fold, quote
from breedkit.families import family_plans
from breedkit.familytree import draw_pedigree, homes_of
from breedkit.lineage import Lineage, lineage_of
from breedkit.pedigree import Plan, describe
from breedkit.results import Fact, Result, listing, number, percent, show

if TYPE_CHECKING:
    import pandas as pd

    from breedkit.charts import Axes
    from breedkit.tables import Season

# A round number: twelve pairs, as peppers and tomatoes have, of about 100 centimorgans each.
MAP = (100.0,) * 12
LISTED = 12  # lines that a display shows
SELFINGS, BACKCROSSES = "selfings", "backcrosses"


def ancestry(
    season: Season,
    *,
    inbred: float | Mapping[str, float] = 1.0,
    chromosomes: Sequence[float] = MAP,
) -> Ancestry:
    """What is expected of every family and plant, from its parentage alone.

    Parameters
    ----------
    season : with the register of families.
    inbred : inbreeding coefficient of the founders, one for all or by name: 1 for lines that
        breed true, 0 for a plant whose parents are unrelated. A founder counts as one plant,
        and founders as unrelated.
    chromosomes : length of each chromosome pair in centimorgans, for the spread of the shares.
        The default, 12 of 100 each, is a round number.

    Raises
    ------
    PedigreeError
        if the parents of no family can be followed.
    ModelError
        for a coefficient outside 0 to 1, an unknown founder, or a map without length.
    """
    register, sheet = season.families, season.plants
    plans = family_plans(register, season.family_names, sheet)
    if not plans:
        raise PedigreeError(
            "No family of this table has parents that can be followed.\n"
            "Write female and male of each family into the table of families."
        )
    home = homes_of(sheet)
    lengths = _checked_map(chromosomes)
    every = lineage_of(plans, {})
    coefficients = _checked_founders(inbred, every.founders)
    if any(f != 1 for f in coefficients.values()):
        every = lineage_of(plans, coefficients)
    return Ancestry(season, plans, home, every, coefficients, lengths, every.spread(lengths))


@dataclass(frozen=True, eq=False, repr=False)
class Ancestry(Result):
    """A whole register. `of(name)` asks about one line, `matrix()` about pairs.

    Attributes
    ----------
    founders : their names.
    inbred : inbreeding coefficient of each founder.
    chromosomes : length of each chromosome pair in centimorgans.
    names : the families whose parents can be followed. A plant whose code occurs in several
        families is named by family and code, "F2 4".
    """

    _season: Season
    _plans: Mapping[str, Plan]
    _home: Mapping[str, str]
    _lineage: Lineage
    inbred: Mapping[str, float]
    chromosomes: tuple[float, ...]
    _spread: np.ndarray

    @property
    def founders(self) -> tuple[str, ...]:
        return self._lineage.founders

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(self._plans)

    @property
    def shares(self) -> pd.DataFrame:
        """Families by founders: the expected share of each."""
        return self._frame(self._lineage.shares)

    @property
    def spreads(self) -> pd.DataFrame:
        """Families by founders: standard deviation of the share of a plant.

        Plants with one parent plant in common are off together: among them it is smaller.
        """
        return self._frame(self._spread)

    @property
    def inbreeding(self) -> pd.Series:
        """The inbreeding coefficient expected in each family."""
        import pandas as pd

        values = self._lineage.inbreeding[self._nodes(self.names)]
        return pd.Series(values, self.names, name="inbreeding")

    def matrix(self, names: Iterable[str] | None = None) -> pd.DataFrame:
        """The kinship of families and plants, each pair.

        A family stands for a plant drawn from it. On the diagonal stand two different plants
        of a family, or a plant with itself.

        Parameters
        ----------
        names : families and plants; by default all families.
        """
        import pandas as pd

        chosen = list(self.names if names is None else map(self._named, names))
        at = self._nodes(chosen)
        kin = self._lineage.kin[np.ix_(at, at)]
        single = [i for i, name in enumerate(chosen) if name not in self._plans]
        kin[single, single] = (1 + self._lineage.inbreeding[at[single]]) / 2
        return pd.DataFrame(kin, chosen, chosen)

    def of(self, name: str) -> Descent:
        """Where a family or a plant comes from.

        PedigreeError if there is none of that name, or if its parents are not known.
        """
        name = self._named(name)
        family = name if name in self._plans else self._home[name]
        at, own = self._nodes([name, family])
        return Descent(
            self._season, name, family, _says(family, self._plans[family]), self.founders,
            tuple(map(float, self._lineage.shares[at])), tuple(map(float, self._spread[at])),
            float(self._lineage.inbreeding[at]), float(self._lineage.kin[own, own]),
            len(self.chromosomes), float(sum(self.chromosomes)), self.breed_true,
        )  # fmt: skip

    @property
    def breed_true(self) -> bool:
        """Whether all founders are taken to be lines that breed true."""
        return all(f == 1 for f in self.inbred.values())

    def table(self) -> pd.DataFrame:
        """A row a family: shares and spreads of the founders, inbreeding, still heterozygous."""
        import pandas as pd

        shares, spreads, inbreeding = self.shares, self.spreads, self.inbreeding
        columns = {}
        for founder in self.founders:
            columns[f"share of {founder}"] = shares[founder]
            columns[f"spread of {founder}"] = spreads[founder]
        return pd.DataFrame(
            columns | {"inbreeding": inbreeding, "heterozygous": 1 - inbreeding},
            pd.Index(self.names, name="family"),
        )

    @property
    def verdict(self) -> str:
        made = len(self.names) - sum(n in self.founders for n in self.names)
        known = [show(f, longest=30) for f in self.founders]
        who = listing([*known[:6], f"{len(known) - 6} more"] if len(known) > 7 else known)
        come = "1 family comes" if made == 1 else f"{made:,} families come"
        return f"{come} from {_count(len(known), 'founder')}: {who}."

    def facts(self) -> list[Fact]:
        latest = [n for n in self.names if n not in self.founders][-LISTED:]
        return [
            Fact(show(name), listing(one.shares_said), f"inbreeding {number(one.inbreeding)}")
            for name, one in ((name, self.of(name)) for name in latest)
        ]

    @property
    def notes(self) -> tuple[str, ...]:  # type: ignore[override]
        made = len(self.names) - sum(n in self.founders for n in self.names)
        cut = (
            (f"The last {LISTED} of {made:,} families; table() has all.",) if made > LISTED else ()
        )
        return (*cut, _spread_note(len(self.chromosomes), sum(self.chromosomes)),
                _founders_note(self.breed_true))  # fmt: skip

    def _frame(self, values: np.ndarray) -> pd.DataFrame:
        import pandas as pd

        return pd.DataFrame(values[self._nodes(self.names)], self.names, self.founders)

    def _nodes(self, names: Iterable[str]) -> np.ndarray:
        """The nodes of names as they are spelled in the register."""
        every = self._lineage
        return np.array(
            [
                every.families[n] if n in self._plans
                else every.plants.get(n, every.families[self._home[n]])
                for n in names
            ],
            dtype=int,
        )  # fmt: skip

    def _named(self, word: str) -> str:
        """The family or plant that `word` means, but for case and blanks."""
        if word in self._plans:
            return word
        if self._home.get(word) in self._plans:
            return word
        known = [*self._plans, *(p for p, family in self._home.items() if family in self._plans)]
        by_fold = {fold(name): name for name in reversed(known)}  # a family goes before a plant
        if isinstance(word, str) and fold(word) in by_fold:
            return by_fold[fold(word)]
        if word in self._home or word in self._season.family_names:
            family = self._home.get(word, word)
            raise PedigreeError(
                f"The parents of family {quote(show(family, longest=30))} are not known.\n"
                "Write its female and male into the table of families."
            )
        near = did_you_mean(str(word), known)
        hint = f"\nDid you mean {quote(near)}?" if near else ""
        raise PedigreeError(f"No family or plant is called {quote(show(word, longest=30))}.{hint}")


@dataclass(frozen=True, eq=False, repr=False)
class Descent(Result):
    """Where one family or plant comes from.

    Attributes
    ----------
    name, family : what was asked about, and the family it is or stands in.
    what : its generation in the trade's terms.
    founders, shares, spreads : each founder's expected share, and its standard deviation.
    inbreeding : F expected in a plant.
    kinship : that of two different plants of the family.
    pairs, map_length : chromosome pairs, and their length together in centimorgans.
    """

    _season: Season
    name: str
    family: str
    what: str
    founders: tuple[str, ...]
    shares: tuple[float, ...]
    spreads: tuple[float, ...]
    inbreeding: float
    kinship: float
    pairs: int
    map_length: float
    breed_true: bool

    @property
    def heterozygous(self) -> float:
        """Expected share still heterozygous, of the genes in which the founders differ."""
        return 1 - self.inbreeding

    def selfings_to(self, fixed: float | Fraction = 0.95, genes: int = 1) -> int:
        """How many more selfings until the chance that all of `genes` are fixed is `fixed`.

        For one gene this is also the share of all genes that is fixed. The genes are unlinked,
        and the founders differ in them.
        """
        return halvings(_exactly(self.heterozygous), fixed, genes)

    def backcrosses_to(self, founder: str, share: float | Fraction = 0.99) -> int:
        """How many more backcrosses to `founder` until its expected share is `share`."""
        if founder not in self.founders:
            known = listing([show(f, longest=30) for f in self.founders[:12]])
            asked = quote(show(founder, longest=30))
            raise PedigreeError(f"{asked} is no founder here. Founders: {known}.")
        own = _exactly(self.shares[self.founders.index(founder)])
        return halvings(1 - own, share)

    def by_selfing(self, generations: int = 6) -> pd.DataFrame:
        """What is expected to be heterozygous and fixed after 0, 1, ... more selfings."""
        import pandas as pd

        more = range(generations + 1)
        left = [float(Fraction(self.heterozygous) / 2**t) for t in more]
        return pd.DataFrame(
            {"heterozygous": left, "fixed": [1 - share for share in left]},
            pd.Index(more, name=SELFINGS),
        )

    def table(self) -> pd.DataFrame:
        """A row a founder: its expected share in a plant, and the spread of it."""
        import pandas as pd

        return pd.DataFrame(
            {"share": self.shares, "spread": self.spreads}, pd.Index(self.founders, name="founder")
        )

    def plot(self, ax: Axes | None = None) -> Axes:
        """The drawn pedigree, with this line of descent emphasised."""
        return draw_pedigree(self._season, self.name, ax=ax)

    @property
    def shares_said(self) -> list[str]:
        """'P1 50 ± 8 %' for each founder that has a share, the largest first."""
        there = [i for i, share in enumerate(self.shares) if share]
        there.sort(key=lambda i: -self.shares[i])
        return [
            f"{show(self.founders[i], longest=24)} {_give(self.shares[i], self.spreads[i])}"
            for i in there
        ]

    @property
    def verdict(self) -> str:
        who = show(self.name)
        if self.name != self.family:
            who = f"{who}, of family {show(self.family)}"
        if self.family in self.founders:
            return f"{who}: a founder, whose parents are not known."
        said = self.shares_said
        some = [*said[:6], f"{len(said) - 6} more"] if len(said) > 7 else said
        title = f"{who} ({self.what})" if self.what else who
        return f"{title}: {listing(some)}; {percent(self.heterozygous)} still heterozygous."

    def facts(self) -> list[Fact]:
        facts = []
        for founder, share, spread in zip(self.founders, self.shares, self.spreads, strict=True):
            if share:
                facts.append(Fact(f"Share of {show(founder, longest=30)}",
                                  _give(share, spread), _range(share, spread)))  # fmt: skip
        if self.family in self.founders:
            return facts
        t = self.selfings_to()
        after = percent(self.heterozygous / 2**t)
        return [
            *facts,
            Fact("Still heterozygous", percent(self.heterozygous),
                 "of the genes in which the founders differ, on average"),
            Fact("Inbreeding", number(self.inbreeding),
                 "chance that the two copies of a gene are the same founder's copy"),
            Fact("Kinship", number(self.kinship), "of two plants of the family"),
            Fact("To be 95 % fixed", _count(t, "more selfing"), f"then {after} is heterozygous"),
        ]  # fmt: skip

    @property
    def notes(self) -> tuple[str, ...]:  # type: ignore[override]
        if self.family in self.founders:
            return ()
        return (
            _spread_note(self.pairs, self.map_length),
            _founders_note(self.breed_true),
            "Choosing plants by their look changes the shares near that gene a little.",
        )


# --- exact generations -----------------------------------------------------------


def halvings(left: Fraction, wanted: float | Fraction, genes: int = 1) -> int:
    """The fewest generations t with (1 - left / 2^t)^genes >= wanted, in exact fractions.

    Parameters
    ----------
    left : what is not yet as wanted, such as the heterozygous share, 0 to 1.
    wanted : share or chance above 0 and below 1; a decimal counts as it is written.
    genes : how many unlinked genes must all be as wanted.
    """
    whole = isinstance(genes, int | np.integer) and not isinstance(genes, bool)
    if not whole or not 1 <= genes <= 1000:
        raise ModelError(f"genes must be a whole number from 1 to 1000; found {show(genes)}.")
    try:
        goal = Fraction(str(wanted))
    except (ValueError, ZeroDivisionError):
        goal = Fraction(0)
    if not 0 < goal < 1:
        raise ModelError(
            f"The wanted share must lie above 0 and below 1; found {show(wanted, longest=20)}.\n"
            "All of it is never certain; ask for 0.99, say."
        )
    t = 0
    while (1 - left / 2**t) ** int(genes) < goal:
        t += 1
    return t


# --- small parts -----------------------------------------------------------------


def _says(name: str, plan: Plan) -> str:
    """The generation, unless the name says just that."""
    says = describe(plan)
    return "" if says in (name, "P") else show(says)


def _give(share: float, spread: float) -> str:
    """'50 ± 8 %', or '50 %' where all plants are alike."""
    if spread < 1e-6:
        return percent(share)
    digits = 1 if spread < 0.0095 else 0
    return f"{100 * share:.{digits}f} ± {100 * spread:.{digits}f} %"


def _range(share: float, spread: float) -> str:
    if spread < 1e-6:
        return "the same in every plant"
    low, high = max(share - spread, 0), min(share + spread, 1)
    return f"2 times in 3 a plant has {100 * low:.0f} to {100 * high:.0f} %"


def _spread_note(pairs: int, length: float) -> str:
    genome = f"{_count(pairs, 'chromosome pair')} of together {number(length)} centimorgans"
    return f"± is one standard deviation of a plant's share, with {genome}, without interference."


def _founders_note(breed_true: bool) -> str:
    if breed_true:
        return "Founders are taken to breed true and to be unrelated."
    return "A founder counts as one plant, unrelated to the others; not all breed true."


def _count(n: int, what: str) -> str:
    return f"{n:,} {what}{'' if n == 1 else 's'}"


def _checked_map(chromosomes: Sequence[float]) -> tuple[float, ...]:
    try:
        lengths = tuple(float(length) for length in chromosomes)
    except (TypeError, ValueError):
        lengths = ()
    if not lengths or not all(0 < length <= 10_000 for length in lengths):
        raise ModelError(
            "chromosomes must be the length of each pair in centimorgans, above 0.\n"
            f"Found {quote(show(chromosomes, longest=40))}; for twelve of 100 write [100] * 12."
        )
    return lengths


def _checked_founders(
    inbred: float | Mapping[str, float], founders: Sequence[str]
) -> dict[str, float]:
    given = dict(inbred) if isinstance(inbred, Mapping) else dict.fromkeys(founders, inbred)
    faults = []
    for name, value in given.items():
        if name not in founders:
            near = did_you_mean(str(name), founders)
            hint = f" Did you mean {quote(near)}?" if near else ""
            faults.append(f"{quote(show(name, longest=30))} is no founder.{hint}")
        if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value <= 1:
            found = show(value, longest=20)
            faults.append(f"Inbreeding of {show(name, longest=30)} must be 0 to 1; found {found}.")
    if faults:
        raise ModelError("\n".join(dict.fromkeys(faults)))
    return {name: float(given.get(name, 1.0)) for name in founders}


def _exactly(share: float) -> Fraction:
    """The share that a float stands for: halves of halves as they are, else 0.4, not what
    rounding in binary makes of it."""
    exact = Fraction(share)
    return exact if exact.denominator <= 2**44 else exact.limit_denominator(10**6)
