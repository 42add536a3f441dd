"""How much faster the exact tests are than summing all tables, simulating, or scipy.

Run it: python tests/benchmarks/bench_ratios.py [more runs]

All ratios are medians over runs that take turns, in one process; what is quick is
called several times in a row. "All tables" goes through every table once: its
statistic, whether it is as far as the one seen, its chance if so. For four classes the
leanest form we could write is shown as well: it never forms the chance of a table, but
multiplies out sums over two pairs of classes. The exit code tells if a target was missed.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Sequence
from functools import partial
from statistics import median
from typing import NamedTuple

import numpy as np
from scipy.special import gammaln, xlogy
from scipy.stats import binomtest, chisquare, power_divergence

from breedkit.multinomial import ORDERS, exact_pvalue
from breedkit.ratios import ratio_test

GOOD, BAD = (315, 101, 108, 32), (260, 140, 120, 36)
TWO_TRAITS = (9, 3, 3, 1)
MENDEL_27 = [8, 14, 9, 11, 8, 10, 10, 7, 22, 17, 25, 20, 15, 18, 19, 24, 14, 18, 20, 16]
MENDEL_27 += [45, 36, 38, 40, 49, 48, 78]
RATIO_27 = [1] * 8 + [2] * 12 + [4] * 6 + [8]
EXACT_27 = 0.951575660979778


class Tables(NamedTuple):
    """Statistic and log weight of every class at every count."""

    misfit: list[np.ndarray]
    log_weight: list[np.ndarray]
    log_ways: float
    reached: float


def tables(counts: Sequence[int], ratio: Sequence[int], order: str) -> Tables:
    n = sum(counts)
    p = np.array(ratio) / sum(ratio)
    x = np.arange(n + 1.0)
    log_weight = [x * np.log(share) - gammaln(x + 1) for share in p]
    if order == "pearson":
        misfit = [(x - n * share) ** 2 / (n * share) for share in p]
    elif order == "probability":
        misfit = [-weight for weight in log_weight]
    else:
        misfit = [2 * xlogy(x, x / (n * share)) for share in p]
    reached = sum(t[c] for t, c in zip(misfit, counts, strict=True))
    return Tables(misfit, log_weight, float(gammaln(n + 1)), reached - 1e-9 * abs(reached))


def all_of_two(counts: Sequence[int], ratio: Sequence[int], order: str) -> float:
    misfit, log_weight, log_ways, reached = tables(counts, ratio, order)
    far = misfit[0] + misfit[1][::-1] >= reached
    return float(np.exp((log_weight[0] + log_weight[1][::-1] + log_ways)[far]).sum())


def all_of_four(counts: Sequence[int], ratio: Sequence[int], order: str) -> float:
    """Every table: rows share out m plants over two classes, columns the rest."""
    misfit, log_weight, log_ways, reached = tables(counts, ratio, order)
    n, tail = sum(counts), 0.0
    for m in range(n + 1):
        r = n - m
        far = (
            (misfit[0][: m + 1] + misfit[1][m::-1])[:, None]
            + (misfit[2][: r + 1] + misfit[3][r::-1])
        ) >= reached
        log_chance = (log_weight[0][: m + 1] + log_weight[1][m::-1] + log_ways)[:, None] + (
            log_weight[2][: r + 1] + log_weight[3][r::-1]
        )
        tail += float(np.exp(log_chance[far]).sum())
    return tail


def all_of_four_in_pairs(counts: Sequence[int], ratio: Sequence[int], order: str) -> float:
    """The same sum without the chance of any single table: the leanest we could write."""
    misfit, log_weight, log_ways, reached = tables(counts, ratio, order)
    n, tail = sum(counts), 0.0
    for m in range(n + 1):
        r = n - m
        rows = misfit[0][: m + 1] + misfit[1][m::-1]
        columns = misfit[2][: r + 1] + misfit[3][r::-1]
        log_rows = log_weight[0][: m + 1] + log_weight[1][m::-1]
        log_columns = log_weight[2][: r + 1] + log_weight[3][r::-1]
        top = log_rows.max()
        far = rows[:, None] + columns >= reached
        weights = np.exp(log_columns + (log_ways + top))
        tail += float(np.exp(log_rows - top) @ (far @ weights))
    return tail


def simulated(counts: Sequence[int], ratio: Sequence[int], draws: int = 1_000_000) -> float:
    n, p = sum(counts), np.array(ratio) / sum(ratio)
    seen = ((np.array(counts) - n * p) ** 2 / (n * p)).sum()
    sampled = np.random.default_rng(1).multinomial(n, p, size=draws)
    return float((((sampled - n * p) ** 2 / (n * p)).sum(axis=1) >= seen - 1e-9).mean())


Job = Callable[[], object]


def seconds(runs: int, *jobs: tuple[int, Job]) -> list[float]:
    """Median seconds of one call of each job, called so many times in a row; in turns."""
    taken: list[list[float]] = [[] for _ in jobs]
    for _ in range(runs):
        for (times, job), found in zip(jobs, taken, strict=True):
            start = time.perf_counter()
            for _ in range(times):
                job()
            found.append((time.perf_counter() - start) / times)
    return [median(found) for found in taken]


def main(scale: int = 1) -> int:
    missed: list[str] = []

    def line(name: str, ours: float, theirs: float, target: float | None = None) -> None:
        ratio = theirs / ours
        wanted = "" if target is None else f"  target {target:g}"
        late = target is not None and ratio < target
        print(
            f"{name:<58}{ours * 1e3:10.4f} ms{theirs * 1e3:12.4f} ms{ratio:9.1f} x{wanted}"
            f"{'  MISSED' if late else ''}"
        )
        if late:
            missed.append(name)

    def check(name: str, found: float, wanted: float, tolerance: float) -> None:
        if not abs(found - wanted) <= tolerance:
            print(f"{name}: {found!r} is not {wanted!r}")
            missed.append(name)

    print(f"{'':<58}{'ours':>13}{'theirs':>15}{'ratio':>11}")
    for counts, word, target in ((GOOD, "good fit", 300), (BAD, "bad fit", 100)):
        for order in ORDERS:
            name = f"9:3:3:1, {word}, {order}"
            check(
                name,
                exact_pvalue(counts, TWO_TRAITS, order).pvalue,
                all_of_four(counts, TWO_TRAITS, order),
                1e-11,  # the sum over all tables, by log-gamma, is the less exact of the two
            )
            ours, plain, lean = seconds(
                3 * scale,
                (20, partial(exact_pvalue, counts, TWO_TRAITS, order)),
                (1, partial(all_of_four, counts, TWO_TRAITS, order)),
                (1, partial(all_of_four_in_pairs, counts, TWO_TRAITS, order)),
            )
            line(f"{name}: all 28,956,759 tables", ours, plain, target)
            line(f"{name}: the same, in pairs", ours, lean)
    ours, plain = seconds(
        3 * scale,
        (20, partial(ratio_test, GOOD, "9:3:3:1")),
        (1, partial(all_of_four, GOOD, TWO_TRAITS, ORDERS[0])),
    )
    line("ratio_test as a whole, good fit: all 28,956,759 tables", ours, plain, 300)

    for pair, ratio in (
        ((3, 2), (3, 1)),
        ((13, 7), (3, 1)),
        ((68, 32), (3, 1)),
        ((382, 269), (9, 7)),
        ((5474, 1850), (3, 1)),
        ((15_100, 4900), (3, 1)),
    ):
        for order in ORDERS:
            ours, theirs = seconds(
                50 * scale,
                (5, partial(exact_pvalue, pair, ratio, order)),
                (5, partial(all_of_two, pair, ratio, order)),
            )
            name = f"{':'.join(map(str, pair))} against {':'.join(map(str, ratio))}, {order}"
            line(f"{name}: all tables", ours, theirs, 1)
        share = ratio[0] / sum(ratio)
        ours, theirs = seconds(
            30 * scale,
            (5, partial(exact_pvalue, pair, ratio, "probability")),
            (5, partial(binomtest, pair[0], sum(pair), share)),
        )
        small = sum(pair) <= 1000
        line("    scipy binomtest", ours, theirs, 5 if small else None)

    def scipys() -> None:
        expected = [15.0, 5.0]
        chisquare([13, 7], expected)
        power_divergence([13, 7], expected, lambda_="log-likelihood")
        binomtest(13, 20, 0.75)

    ours, theirs = seconds(30 * scale, (5, partial(ratio_test, [13, 7], "3:1")), (5, scipys))
    line("ratio_test 13:7: scipy's three tests", ours, theirs)

    check("27 classes", exact_pvalue(MENDEL_27, RATIO_27, "pearson").pvalue, EXACT_27, 1e-12)
    ours, theirs = seconds(
        3 * scale,
        (1, partial(exact_pvalue, MENDEL_27, RATIO_27, "pearson")),
        (1, partial(simulated, MENDEL_27, RATIO_27)),
    )
    line("27 classes, Pearson: 1,000,000 simulated tables", ours, theirs, 10)

    print(f"{len(missed)} missed: {'; '.join(missed)}" if missed else "All targets met.")
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 1))
