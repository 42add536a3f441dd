"""How often a class is written down as another, learnt from plants scored twice.

`careful`: the second score is right. A plant of class t is then written down as c with a
chance M_tc that is seen directly. With n_tc plants, and a Dirichlet prior worth a = 10
plants in which 2 % are mis-scored (shares m_tc, so no chance is 0 or 1),

    M_tc = (n_tc + a m_tc) / (n_t + a).

Otherwise neither score is better. Both slip alike, independently, at one rate e that is
spread over the other classes (mostly the neighbours of an ordered one: `mis_scoring`), and

    P(first = a, second = b) = sum over t of  p_t M_ta M_tb,

with the shares p_t of the classes unknown. (p, e) is made likeliest by EM, with e at most
0.5, since rates above name the classes the other way round. In the matrix ten scores are
added, 2 % of them slips, so that five plants without a slip do not promise that there
will never be one.

The interval is exact in both cases. The plants that differ are binomial with the chance d,

    careful: d = e;     otherwise: d = 1 - (1 - e)^2 - f e^2,

where f is the chance that two slips of one class meet in the same class: 1/(k - 1) among
k classes, whatever their shares; more at the ends of an ordered trait than between, of
which each end of the interval takes the wider. The exact (Clopper and Pearson) limits of
d give those of e. A profile likelihood would promise too much: at 20 plants and e = 5 %,
its 95 % interval holds e in 83 % of cases, since it ends at 4.9 % when no plant differs.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import bdtr, betaincinv, xlogy

from breedkit.errors import ModelError, Problem, TableError, quote
from breedkit.likelihood import mis_scoring
from breedkit.results import Fact, Result, number, percent, plants, sentence, show
from breedkit.spelling import Trait, matcher
from breedkit.weights import PRIOR_ERROR

if TYPE_CHECKING:
    import pandas as pd

    from breedkit.season import Season

MEAN = PRIOR_ERROR[0] / sum(PRIOR_ERROR)  # of the rate of mis-scoring beforehand: 2 %
WORTH = 10  # scores that this is worth: our own choice, little beside 50 of the prior itself
LIMIT = 0.5  # a rate above is not told from classes that changed names
FEW = 5  # plants below which nothing is said
ONE_WAY = 0.05  # chance of so uneven differences below which a note names them
STARTS = (0.02, 0.15, 0.4)  # rates that EM sets out from
LISTED = 6  # pairs of classes that a display lists


@dataclass(frozen=True, repr=False)
class ScoredTwice(Result):
    """How plants that were scored twice were scored, and how often a score is wrong.

    Attributes
    ----------
    trait, again : the two columns; `classes` are those of the trait.
    careful : whether the second score is taken as right.
    counts : plants by first score, then by second score.
    once : plants with only one of the two scores, which do not count.
    error : rate of mis-scoring, of the first score if `careful`, else of both; nan if there
        is no such plant, or only one class is known.
    """

    trait: str
    again: str
    classes: tuple[str, ...]
    ordered: bool
    careful: bool
    counts: tuple[tuple[int, ...], ...]
    once: int
    error: float

    @property
    def n(self) -> int:
        """Plants scored both times."""
        return int(self._array.sum())

    @property
    def agreed(self) -> int:
        """Plants scored alike both times."""
        return int(np.trace(self._array))

    @property
    def table(self) -> pd.DataFrame:
        """Plants: first scores (rows) by second scores (columns)."""
        return self._frame(self._array, self.trait, self.again)

    @property
    def matrix(self) -> pd.DataFrame:
        """Chances: what a plant is (rows, total 1) by what is written down (columns)."""
        k = len(self.classes)
        if self.careful:
            whole = self._array.T + WORTH * _beforehand(k, self.ordered)
            chances = whole / whole.sum(axis=1, keepdims=True)
        else:
            rate = _likeliest(self._array, self.ordered, WORTH) if self.n else MEAN
            chances = mis_scoring([rate], k, self.ordered)[0]
        return self._frame(chances, "it is", "written down as")

    def interval(self, level: float = 0.95) -> tuple[float, float]:
        """Exact limits of the rate of mis-scoring.

        They hold the rate in `level` of such samples or more; see the head of the module. If
        neither score is better they end at 0.5, and are widened where more plants differ than
        by luck, so that the estimate is between them.

        Raises
        ------
        ModelError
            for a level outside 0 to 1.
        """
        low, high = (1 - _checked(level)) / 2, (1 + level) / 2
        if not self.n or len(self.classes) < 2:  # no slip could be seen
            return 0.0, 1.0 if self.careful else LIMIT
        x, n = self.n - self.agreed, self.n
        least = float(betaincinv(x, n - x + 1, low)) if x else 0.0
        most = float(betaincinv(x + 1, n - x, high)) if x < n else 1.0
        if self.careful:
            return least, most
        meet = (_slips(len(self.classes), self.ordered) ** 2).sum(axis=1)
        ends = _rate(least, float(meet.min())), _rate(most, float(meet.max()))
        return min(ends[0], self.error), max(ends[1], self.error)

    @property
    def kappa(self) -> float:
        """Cohen's kappa: 1 is full agreement, 0 what luck gives; nan where luck gives it all."""
        if not self._has_kappa:
            return float("nan")
        from statsmodels.stats.inter_rater import cohens_kappa

        return float(cohens_kappa(self._array, return_results=False))

    def kappa_interval(self, level: float = 0.95) -> tuple[float, float]:
        """Large-sample limits of kappa (Fleiss, Cohen and Everitt 1969); rough below 30 plants.

        Not defined, (nan, nan), where all agree or all differ: the formula has no width there.

        Raises
        ------
        ModelError
            for a level outside 0 to 1.
        """
        from scipy.stats import norm
        from statsmodels.stats.inter_rater import cohens_kappa

        wide = norm.ppf((1 + _checked(level)) / 2)
        if not self._has_kappa:
            return float("nan"), float("nan")
        with np.errstate(divide="ignore", invalid="ignore"):
            cohen = cohens_kappa(self._array)
        if not cohen.std_kappa > 1e-9:
            return float("nan"), float("nan")
        low, high = (float(cohen.kappa + side * wide * cohen.std_kappa) for side in (-1, 1))
        return max(low, -1.0), min(high, 1.0)

    @property
    def verdict(self) -> str:
        trait, n, wrong = sentence(show(self.trait)), self.n, self.n - self.agreed
        if not n:
            return f"{trait}: cannot tell how often it is mis-scored; no plant was scored twice."
        if n < FEW:
            return (
                f"{trait}: cannot tell how often it is mis-scored; only {plants(n)} "
                f"{_were(n)} scored twice, {self.agreed} of them alike."
            )
        if len(self.classes) < 2:
            return (
                f"{trait}: cannot tell how often it is mis-scored; {show(self.classes[0])} is "
                f"the only class known, in {plants(n)}."
            )
        low, high = (percent(e) for e in self.interval())
        if not wrong:
            whose = "of the first scores" if self.careful else "of scores"
            return (
                f"{trait}: all {plants(n)} were scored alike twice. No slip was seen; up to "
                f"{high} {whose} may still be wrong."
            )
        if self.careful:
            return (
                f"{trait}: {wrong} of {plants(n)} {_were(wrong)} written down wrongly, "
                f"{percent(self.error)}. It may be {low} to {high}."
            )
        if self._luck:
            return (
                f"{trait}: the two scores agree no better than luck, on {self.agreed} of "
                f"{plants(n)}. Two names may be exchanged, or the classes not clear."
            )
        return (
            f"{trait}: about {percent(self.error)} of scores are wrong; {wrong} of {plants(n)} "
            f"{_were(wrong)} scored differently the second time. It may be {low} to {high}."
        )

    def facts(self) -> list[Fact]:
        if not self.n:
            return []
        facts = [Fact("scored alike", f"{self.agreed} of {self.n}", percent(self.agreed / self.n))]
        if len(self.classes) > 1:
            low, high = (percent(e) for e in self.interval())
            told = f"{low} to {high} in 19 of 20 such samples"
            if self._luck and not self.careful:
                told = "or more; then the classes are not told apart"
            facts.append(Fact("mis-scored", percent(self.error), told))
        if self._has_kappa:
            least, most = self.kappa_interval()
            told = "1 is full agreement, 0 what luck gives"
            if least == least:
                told = f"{number(least, 2)} to {number(most, 2)}; {told}"
            facts.append(Fact("kappa", number(self.kappa, 2), told))
        facts += self._pairs()
        if self.once:
            facts.append(Fact("scored only once", plants(self.once), "do not count here"))
        return facts

    @property
    def notes(self) -> tuple[str, ...]:  # type: ignore[override]
        if not self.n or len(self.classes) < 2:
            return ()
        notes = [
            "It holds for all plants only if those for a second look were not picked because "
            "the first score was in doubt."
        ]
        if self.careful:
            notes.append("The second score is taken as right; its own slips count as the first's.")
        else:
            where = "mostly to the neighbouring classes" if self.ordered else "to all others alike"
            notes.append(
                "The two looks are taken to be independent. The same person in the same light "
                "makes the same slip twice, which is not seen; then the rate is too low."
            )
            notes.append(
                "Both looks and all classes are taken to have the same rate, and a slip goes "
                f"{where}."
            )
            notes += self._one_way()
        seen = self._array.sum(axis=0) + (0 if self.careful else self._array.sum(axis=1))
        rare = [c for c, s in zip(self.classes, seen, strict=True) if s < FEW]
        if rare:
            more = f" and {len(rare) - LISTED} more" if len(rare) > LISTED else ""
            notes.append(
                f"Hardly seen: {', '.join(show(c) for c in rare[:LISTED])}{more}. How these are "
                f"mis-scored is {'mostly the prior' if self.careful else 'taken from the others'}."
            )
        notes.append(
            f"In the matrix {f'each class has {WORTH}' if self.careful else f'there are {WORTH}'} "
            f"scores more, {percent(MEAN)} of them wrong, so that few plants without a slip do "
            "not rule it out."
        )
        return tuple(notes)

    # --- small parts ---

    @property
    def _array(self) -> np.ndarray:
        return np.array(self.counts, dtype=int).reshape(len(self.classes), len(self.classes))

    def _frame(self, cells: np.ndarray, rows: str, columns: str) -> pd.DataFrame:
        import pandas as pd

        return pd.DataFrame(
            cells,
            pd.Index(self.classes, name=rows, dtype=str),
            pd.Index(self.classes, name=columns, dtype=str),
        )

    @property
    def _has_kappa(self) -> bool:
        """Whether luck leaves room for agreement: not all plants are of one class twice."""
        return self.n > 0 and int(np.diag(self._array).max()) < self.n

    @property
    def _luck(self) -> bool:
        """Whether the scores may as well have been drawn from a hat."""
        return self.kappa <= 0 and self.interval()[1] >= LIMIT

    def _pairs(self) -> list[Fact]:
        """The classes that were taken for one another, most often first."""
        seen, names = self._array, [show(c, longest=24) for c in self.classes]
        lines: list[tuple[int, Fact]] = []
        for a, b in zip(*np.nonzero(seen), strict=True):
            if a != b and self.careful:
                total = int(seen[:, b].sum())
                fact = Fact(f"{names[b]} written down as {names[a]}", f"{seen[a, b]} of {total}",
                            percent(seen[a, b] / total))  # fmt: skip
                lines.append((int(seen[a, b]), fact))
            elif a != b and (a < b or not seen[b, a]):
                x, y = int(seen[a, b]), int(seen[b, a])
                told = f"{x} first {names[a]}, {y} first {names[b]}"
                lines.append((x + y, Fact(f"{names[a]} and {names[b]}", plants(x + y), told)))
        lines.sort(key=lambda line: -line[0])
        rest = sum(n for n, _ in lines[LISTED:])
        more = [Fact("other pairs of classes", plants(rest))] if rest else []
        return [fact for _, fact in lines[:LISTED]] + more

    def _one_way(self) -> list[str]:
        """What to say where the second look differs mostly in one direction."""
        seen = self._array
        pairs = [(a, b) for a, b in zip(*np.nonzero(seen), strict=True)
                 if a != b and (seen[a, b], b) > (seen[b, a], a)]  # fmt: skip
        odds = [2 * bdtr(seen[b, a], seen[a, b] + seen[b, a], 0.5) for a, b in pairs]
        if not pairs or min(odds) * len(pairs) >= ONE_WAY:
            return []
        a, b = pairs[int(np.argmin(odds))]
        one, two = (show(self.classes[c], longest=24) for c in (a, b))
        return [
            f"The two looks differ mostly one way: {plants(int(seen[a, b]))} went from {one} to "
            f"{two}, {seen[b, a]} back. One look is stricter; if the second is the better "
            "one, say careful=True."
        ]


def scored_twice(season: Season, trait: str, again: str, careful: bool = False) -> ScoredTwice:
    """How often a class is written down as another, from plants scored twice.

    Parameters
    ----------
    season : a season of plants.
    trait : a trait with classes.
    again : the column that holds the second scores, with the same classes.
    careful : whether the second score is taken as right, as from a second, careful look on
        the bench; otherwise both scores are alike.

    Returns
    -------
    ScoredTwice
        With few plants, or none, it says that it cannot tell.

    Raises
    ------
    TableError
        if there is no such column, it has no classes, the season holds tallies, or plants
        were scored again as something that is no class of the trait; all faults at once.

    Examples: `scored_twice(season, "colour", "colour again").matrix`
    """
    first, second = _two_traits(season, trait, again)
    sheet = season.plants[[first.name, second.name]]
    both = sheet.dropna()
    named, strange = _matched(first, second, set(both[second.name].astype(str)))
    if strange:
        what = f"is not a class of {quote(first.name)}"
        raise TableError(
            [Problem("plants", what, None, second.name, word, first.classes) for word in strange]
        )
    place = {c: i for i, c in enumerate(first.classes)}
    k, ordered = len(first.classes), first.kind == "ordered"
    one = both[first.name].astype(str).map(place).to_numpy(dtype=int)
    two = both[second.name].astype(str).map(named).map(place).to_numpy(dtype=int)
    counts = np.bincount(one * k + two, minlength=k * k).reshape(k, k)
    n = int(counts.sum())
    if not n or k < 2:
        error = float("nan")
    elif careful:
        error = 1 - float(np.trace(counts)) / n
    else:
        error = _likeliest(counts, ordered)
    return ScoredTwice(
        first.name, second.name, first.classes, ordered, careful,
        tuple(map(tuple, counts.tolist())), int(sheet.notna().sum(axis=1).eq(1).sum()), error,
    )  # fmt: skip


def _two_traits(season: Season, trait: str, again: str) -> tuple[Trait, Trait]:
    """The traits that the two columns are; TableError with all that is wrong with them."""
    found: list[Trait] = []
    faults: list[Problem] = []
    for name in (trait, again):
        try:
            found.append(season.trait(name))
        except TableError as error:
            faults += error.problems
    for known in found:
        if not known.has_classes:
            kind = "a count" if known.kind == "count" else "measured"
            advice = "Declare it as kind 'class' or 'ordered' in the traits table."
            what = f"is {kind} and has no classes"
            faults.append(Problem("plants", what, column=known.name, advice=advice))
    if len(found) == 2 and found[0].name == found[1].name:
        what = "is one column, not two: name the one that holds the second scores"
        faults.append(Problem("plants", what, found=found[0].name))
    if season.plants.empty:
        what = "holds tallies: they do not say how a plant was scored the second time"
        faults.append(Problem("season", what))
    if faults:
        raise TableError(list(dict.fromkeys(faults)))
    return found[0], found[1]


def _matched(first: Trait, second: Trait, used: set[str]) -> tuple[dict[str, str], list[str]]:
    """The trait's name for each class of the second column, and the used ones without."""
    key = matcher(second.classes, first.classes)
    exact = set(first.classes) & set(second.classes)
    others = {key(c): c for c in first.classes if c not in exact}
    named = {c: c if c in exact else others.get(key(c), "") for c in second.classes}
    return named, [c for c in second.classes if c in used and not named[c]]


def _likeliest(counts: np.ndarray, ordered: bool, added: float = 0) -> float:
    """The likeliest rate of mis-scoring if both scores are alike, by EM from several starts.

    `added` scores, a share MEAN of them wrong, are laid to those of `counts`.
    """
    k, n = len(counts), counts.sum()
    slips, same = _slips(k, ordered), np.eye(k)
    both = (counts + counts.T) / 2
    e = np.array(STARTS)
    p = np.full((len(e), k), 1 / k)

    def written() -> np.ndarray:
        return (1 - e)[:, None, None] * same + e[:, None, None] * slips

    for _ in range(20_000):
        m = written()
        chance = np.swapaxes(m, 1, 2) @ (p[:, :, None] * m)
        weight = np.divide(both, chance, out=np.zeros_like(chance), where=chance > 0)
        back = weight @ np.swapaxes(m, 1, 2)  # (starts, first score, class)
        right = (p * np.einsum("ekk,ekk->ek", m, back)).sum(axis=1)  # first scores
        p = p * np.einsum("etc,ect->et", m, back) / n
        last, e = e, np.minimum((2 * (n - right) + added * MEAN) / (2 * n + added), LIMIT)
        if np.abs(e - last).max() < 1e-13:
            break
    m = written()
    logs = xlogy(both, np.swapaxes(m, 1, 2) @ (p[:, :, None] * m)).sum(axis=(1, 2))
    logs += xlogy(added * MEAN, e) + added * (1 - MEAN) * np.log1p(-e)
    best = float(e[logs.argmax()])
    return best if best > 1e-9 else 0.0


def _slips(classes: int, ordered: bool) -> np.ndarray:
    """Where a slip goes: chance of each class, given that a class is mis-scored."""
    return mis_scoring([1.0], classes, ordered)[0]


def _rate(differ: float, meet: float) -> float:
    """The rate of mis-scoring at which two scores differ so often; at most LIMIT."""
    inside = max(1 - (1 + meet) * differ, ((1 - meet) / 2) ** 2)
    return (1 - inside**0.5) / (1 + meet)


def _beforehand(classes: int, ordered: bool) -> np.ndarray:
    """The matrix before any plant is seen; classes further apart are confused more rarely."""
    near = np.abs(np.subtract.outer(np.arange(classes), np.arange(classes)))
    off = np.where(near > 0, MEAN**near if ordered else 1.0, 0.0)
    spread = off / np.maximum(off.sum(axis=1, keepdims=True), 1e-300)
    return (1 - MEAN) * np.eye(classes) + MEAN * spread if classes > 1 else np.eye(classes)


def _checked(level: float) -> float:
    if not 0 < level < 1:
        raise ModelError(f"A level lies between 0 and 1; {show(level)} does not.")
    return level


def _were(n: int) -> str:
    return "was" if n == 1 else "were"
