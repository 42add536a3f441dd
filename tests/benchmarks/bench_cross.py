"""Speed of the exact crosses, as ratios against plain NumPy in the same run.

Peers: the matrix products that a selfing cannot do without (the limit), a dense
Kronecker product, and pairs of strands for linked loci. Run it as a script; the exit
code tells whether the ratios were reached. Targets: 70 % of the limit at 8 loci, 50
times the Kronecker product at 6, and linked F4 no slower than pairs of strands.
"""

import sys
import time
from collections.abc import Callable
from functools import reduce
from statistics import median

import numpy as np

from breedkit.cross import Population
from breedkit.genome import Genome

SELFING = np.array([[1, 0, 0], [0.25, 0.5, 0.25], [0, 0, 1]])


def milliseconds(tasks: dict[str, Callable[[], object]], rounds: int, times: int) -> dict:
    """Median time of each task, the tasks taking turns."""
    spent: dict[str, list[float]] = {name: [] for name in tasks}
    for _ in range(rounds):
        for name, task in tasks.items():
            start = time.perf_counter()
            for _ in range(times):
                task()
            spent[name].append((time.perf_counter() - start) / times * 1000)
    return {name: median(values) for name, values in spent.items()}


def f2_of(loci: int) -> Population:
    letters = "ABCDEFGH"[:loci]
    one, other = "".join(x * 2 for x in letters), "".join(x.lower() * 2 for x in letters)
    genome = Genome.of([one, other])
    f1 = Population.of(genome, one).crossed(Population.of(genome, other))
    return f1.selfed()


def limit(weights: np.ndarray, loci: int) -> None:
    columns = weights.reshape(3, -1)
    for _ in range(loci):
        columns.T @ SELFING


def kronecker(weights: np.ndarray, loci: int) -> np.ndarray:
    return weights.ravel() @ reduce(np.kron, [SELFING] * loci)


def strand_pairs(rates: tuple[float, ...], generations: int) -> np.ndarray:
    """Linked selfing with a table of the gametes of every pair of strands."""
    n = len(rates) + 1
    strands = np.indices((2,) * n).reshape(n, -1).T
    copied = strands
    chance = np.full(len(copied), 0.5)
    for i, r in enumerate(rates):
        chance = chance * np.where(copied[:, i] != copied[:, i + 1], r, 1 - r)
    both = np.stack([strands[:, None, :].repeat(2**n, 1), strands[None].repeat(2**n, 0)], -1)
    table = np.zeros((4**n, 2**n))
    powers = 2 ** np.arange(n)[::-1]
    for c, p in zip(copied, chance, strict=True):
        gamete = np.take_along_axis(both, c[None, None, :, None], -1)[..., 0] @ powers
        np.add.at(table, (np.arange(4**n), gamete.ravel()), p)
    plants = np.zeros((2**n, 2**n))
    plants[0, -1] = 1
    for _ in range(generations):
        plants = table.T @ (plants.reshape(-1, 1) * table)
    return plants


def main() -> int:
    eight, six = f2_of(8), f2_of(6)
    rates = (0.1, 0.2, 0.3)
    genome = Genome.of(["ABCD/ABCD", "abcd/abcd"], rates)
    f1 = Population.of(genome, "ABCD/abcd")
    own = f1.selfed(3).shares.reshape((2,) * 8).transpose(0, 2, 4, 6, 1, 3, 5, 7).reshape(16, 16)
    assert np.abs(own - strand_pairs(rates, 3)).max() < 1e-15
    assert np.abs(six.selfed().weights.ravel() - kronecker(six.weights, 6)).max() < 1e-15

    a = milliseconds(
        {"own": eight.selfed, "limit": lambda: limit(eight.weights, 8)}, rounds=41, times=200
    )
    b = milliseconds(
        {"own": six.selfed, "kronecker": lambda: kronecker(six.weights, 6)}, rounds=15, times=5
    )
    c = milliseconds(
        {"own": lambda: f1.selfed(3), "pairs": lambda: strand_pairs(rates, 3)}, rounds=15, times=5
    )
    rows = [
        ("selfing 8 loci, share of the limit", a["own"], a["limit"] / a["own"], 0.70),
        ("selfing 6 loci, times a Kronecker product", b["own"], b["kronecker"] / b["own"], 50),
        ("F4 of 4 linked loci, times pairs of strands", c["own"], c["pairs"] / c["own"], 1),
    ]
    for what, ms, ratio, target in rows:
        print(f"{what:<46} {ms:8.4f} ms   ratio {ratio:8.2f}   wanted {target}")
    return int(any(ratio < target for _, _, ratio, target in rows))


if __name__ == "__main__":
    sys.exit(main())
