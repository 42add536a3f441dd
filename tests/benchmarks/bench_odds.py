"""Speed of the chances of every plant, as ratios measured in the same run.

The peer is a general-purpose library of graphical models, pgmpy: variable elimination, one
question a plant, and one question for some plants at a time, which spares it some work (it works
out their joint table, so that all 20 at once would need 26 GiB); the building of its network is
not counted. Run it as a script; the exit code tells whether the ratios stay above the
floor. Wanted are 100 times the library, one question a plant, for a register of 20. Under a
model the mis-scoring is averaged over 64 rates, which go along at little cost here; the library
would have to be asked 64 times.
"""

import logging
import sys
import time
import warnings
from collections.abc import Callable
from statistics import median

import numpy as np

from breedkit.evidence import Evidence
from breedkit.genome import Genome
from breedkit.likelihood import Candidates, mis_scoring
from breedkit.pedigree import Chosen, Cross, Founder, Plan, Selfing
from breedkit.posterior import posterior
from breedkit.weights import error_grid

PLANTS = 20
RATE = 0.02
GENOTYPES = ("AA", "Aa", "aa")
LOOKS = np.array([0, 0, 1])


def milliseconds(tasks: dict[str, Callable[[], object]], rounds: int) -> dict[str, float]:
    """Median time of each task, the tasks taking turns; each turn lasts 20 ms or more."""
    spent: dict[str, list[float]] = {name: [] for name in tasks}
    for _ in range(rounds):
        for name, task in tasks.items():
            start, calls = time.perf_counter(), 0
            while not calls or time.perf_counter() - start < 0.02:
                task()
                calls += 1
            spent[name].append(1000 * (time.perf_counter() - start) / calls)
    return {name: median(values) for name, values in spent.items()}


def lines() -> list[tuple[str, str]]:
    """The parents of 20 plants: an F2, lines of single plants from it, and backcrosses."""
    parents = [("F1", "F1")] * 6
    parents += [(f"{i}", f"{i}") for i in range(8)]  # plants 6 to 13: F3, and two of F4
    return [*parents, ("0", "P2"), ("1", "P2"), ("F1", "P2"), ("14", "P2"), ("9", "9"), ("3", "3")]


def mated() -> list[tuple[str, str]]:
    """The parents of 20 plants: an F2, mated in pairs, the offspring mated, and selfed."""
    parents = [("F1", "F1")] * 6
    parents += [("0", "1"), ("0", "1"), ("2", "3"), ("2", "3"), ("4", "5"), ("6", "8")]
    parents += [("6", "8"), ("7", "9"), ("7", "7"), ("11", "12"), ("13", "10"), ("15", "15")]
    return [*parents, ("16", "16"), ("12", "P2")]


def arranged(parents: list[tuple[str, str]]) -> tuple[Evidence, Candidates, dict[str, int]]:
    """A register with scores that Mendel's laws can give, a quarter missing."""
    rng = np.random.default_rng(5)
    plans: dict[str, Plan] = {"P1": Founder("P1"), "P2": Founder("P2")}
    plans["F1"] = Cross(plans["P1"], plans["P2"])
    truth = {"P1": "AA", "P2": "aa", "F1": "Aa"}
    families: dict[str, Plan] = {}
    counts: dict[str, list[int]] = {}
    scores: dict[str, int] = {}
    for i, (one, other) in enumerate(parents):
        name = f"{one} x {other}"
        plan = Selfing(plans[one]) if one == other else Cross(plans[one], plans[other])
        families.setdefault(name, plan)
        plans[f"{i}"] = Chosen(families[name], plant=f"{i}")
        truth[f"{i}"] = "".join(sorted(truth[p][rng.integers(2)] for p in (one, other)))
        counts.setdefault(name, [0, 0])
        if rng.random() < 0.75:
            scores[f"{i}"] = int(truth[f"{i}"] == "aa")
            counts[name][scores[f"{i}"]] += 1
    words = {plant: "xy"[look] for plant, look in scores.items()}
    evidence = Evidence.of(["x", "y"], families, counts, words, whole=True)
    founders = np.array([[{"P1": 0, "P2": 2}[f] for f in evidence.founders]])
    return evidence, Candidates(Genome.of(["AA", "aa"]), founders, LOOKS[None]), scores


def chances(
    evidence: Evidence, one: Candidates, parents: list[tuple[str, str]], scores: dict[str, int]
) -> np.ndarray:
    """breedkit's chances, (plants, genotypes)."""
    found = posterior(evidence, one, mis_scoring([RATE], 2))
    row = {node: i for i, node in enumerate(evidence.counts)}
    each = []
    for i, (a, b) in enumerate(parents):
        node = evidence.plants.get(f"{i}")
        if node is not None:
            each.append(found.plants[0, 0, :, evidence.structure.at[node]])
        else:
            home = row[evidence.families[f"{a} x {b}"]]
            each.append(found.sibs[0, 0, home, scores.get(f"{i}", 2)])
    return np.array(each)


def network(parents: list[tuple[str, str]], scores: dict[str, int]) -> tuple[object, dict]:
    """The same register for pgmpy, with Mendel's laws written out."""
    from pgmpy.factors.discrete import TabularCPD
    from pgmpy.inference import VariableElimination
    from pgmpy.models import DiscreteBayesianNetwork

    dose = np.array([1, 0.5, 0])  # share of gametes with A
    egg, pollen = dose[:, None], dose[None, :]
    mendel = np.stack(
        [egg * pollen, egg * (1 - pollen) + (1 - egg) * pollen, (1 - egg) * (1 - pollen)]
    )
    written = np.where(np.arange(2)[:, None] == LOOKS, 1 - RATE, RATE)
    tables = [TabularCPD("P1", 3, [[1], [0], [0]]), TabularCPD("P2", 3, [[0], [0], [1]])]
    above = {"F1": ("P1", "P2"), **{f"{i}": pair for i, pair in enumerate(parents)}}
    for name, (one, other) in above.items():
        if one == other:
            tables.append(TabularCPD(name, 3, np.stack([np.diag(m) for m in mendel]), [one], [3]))
        else:
            tables.append(TabularCPD(name, 3, mendel.reshape(3, 9), [one, other], [3, 3]))
    tables += [TabularCPD(f"score {i}", 2, written, [i], [3]) for i in scores]
    made = DiscreteBayesianNetwork()
    for table in tables:
        name, *its = table.variables
        made.add_node(name)
        made.add_edges_from((parent, name) for parent in its)
    made.add_cpds(*tables)
    return VariableElimination(made), {f"score {i}": look for i, look in scores.items()}


def main() -> int:
    warnings.simplefilter("ignore")
    logging.disable(logging.WARNING)
    worst = 0
    for what, parents, floors in [
        ("lines and backcrosses", lines(), (80, 12)),
        ("half of them mated with each other", mated(), (35, 5)),
    ]:
        assert len(parents) == PLANTS
        evidence, one, scores = arranged(parents)
        exact, seen = network(parents, scores)
        names = [f"{i}" for i in range(PLANTS)]
        own = chances(evidence, one, parents, scores)

        def each(exact=exact, seen=seen, names=names) -> list:
            return [exact.query([n], evidence=seen, show_progress=False).values for n in names]

        def some(size: int, exact=exact, seen=seen, names=names) -> dict:
            told: dict = {}
            for i in range(0, PLANTS, size):
                asked = names[i : i + size]
                told |= exact.query(asked, evidence=seen, joint=False, show_progress=False)
            return told

        assert np.abs(np.array(each()) - own).max() < 1e-12
        told = some(4)
        assert max(np.abs(told[n].values - own[i]).max() for i, n in enumerate(names)) < 1e-12
        grid = mis_scoring(error_grid()[0], 2)
        mixing = mis_scoring([RATE], 2)

        def planned(evidence=evidence, one=one, mixing=mixing) -> None:
            for kept in ("structure", "tallies", "looks"):
                evidence.__dict__.pop(kept, None)
            posterior(evidence, one, mixing)

        spent = milliseconds(
            {
                "own": lambda: posterior(evidence, one, mixing),  # noqa: B023
                "planned": planned,
                "grid": lambda: posterior(evidence, one, grid),  # noqa: B023
                "each": each,
                "2 at once": lambda: some(2),
                "4 at once": lambda: some(4),
                "8 at once": lambda: some(8),
            },
            rounds=9,
        )
        print(f"{PLANTS} plants, {what}: {spent['own']:.3f} ms; with the plan "
              f"{spent['planned']:.3f} ms; at 64 rates {spent['grid']:.3f} ms")  # fmt: skip
        for peer in ("each", "2 at once", "4 at once", "8 at once"):
            ratio, planned_ratio = spent[peer] / spent["own"], spent[peer] / spent["planned"]
            least = floors[peer != "each"]
            print(
                f"  pgmpy, {peer:<9} {spent[peer]:9.1f} ms   ratio {ratio:7.0f}   with the plan "
                f"{planned_ratio:7.0f}   at 64 rates {64 * spent[peer] / spent['grid']:7.0f}   "
                f"floor {least}"
            )
            worst |= ratio < least
    return int(worst)


if __name__ == "__main__":
    sys.exit(main())
