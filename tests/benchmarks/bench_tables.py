"""A million plants with twelve traits: loaded and checked, against plain reading.

Run: python tests/benchmarks/bench_tables.py [plants]

The peer is pandas' fastest reader into categories: text columns as categories, numbers as
numbers, on the same file, in turn with ours in one process. It checks nothing and keeps no
number as it was typed. The peak is the growth of resident memory from after the imports on,
each in a process of its own. Exits with 1 if a target is missed.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from statistics import median
from time import perf_counter

import numpy as np
import pandas as pd

from breedkit.tables import load_season

TIME, PEAK = 1.5, 200.0  # times the peer's time; MB
ROUNDS = 7
WORDS = {
    "ripe colour": ["red", "orange", "yellow", "orannge"],
    "fruit position": ["hanging", "upright", ""],
    "unripe colour": ["purple", "green", "light green", "white"],
    "burn": ["none", "mild", "hot", "?"],
    "shape": ["round", "long", "bell-shaped and lobed"],
    "skin": ["smooth", "wrinkled"],
    "hairs": ["yes", "no", "-"],
    "leaf": ["green", "variegated"],
}


def write(path: Path, plants: int) -> None:
    """The file: codes that all differ, 50 families, 8 traits in words, 4 in numbers."""
    rng = np.random.default_rng(9)
    columns: dict[str, object] = {"plant": [f"K-{k:06d}" for k in range(plants)]}
    columns["family"] = rng.choice([f"F3-{k:02d}" for k in range(50)], plants)
    for name, words in WORDS.items():
        share = np.full(len(words), 1 / len(words))
        columns[name] = rng.choice(words, plants, p=share)
    columns["fruit weight"] = rng.normal(40, 12, plants).clip(1).round(1)
    columns["fruit length"] = rng.normal(80, 15, plants).clip(1).round(1)
    columns["fruits per node"] = rng.integers(1, 5, plants)
    columns["fruits"] = rng.poisson(40, plants)
    pd.DataFrame(columns).to_csv(path, index=False)


def peer(path: Path) -> pd.DataFrame:
    return pd.read_csv(path, dtype=dict.fromkeys(("family", *WORDS), "category"))


LOADERS: dict[str, Callable[[Path], object]] = {"peer": peer, "ours": load_season}


def alone(what: str, path: Path, *more: str) -> str:
    """What a process of its own prints. It is started while this one is still small."""
    command = [sys.executable, __file__, "--alone", what, str(path), *more]
    return subprocess.run(command, check=True, capture_output=True, text=True).stdout


def growth(load: Callable[[Path], object], path: Path) -> float:
    """MB by which the peak of this process grows while it loads."""
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    kept = load(path)
    after = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    del kept
    return (after - before) / 1024


def main(plants: int = 1_000_000) -> int:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "plants.csv"
        alone("write", path, str(plants))
        peaks = {who: float(alone(who, path)) for who in LOADERS}
        print(f"{plants:,} plants, 12 traits, {path.stat().st_size / 1e6:.1f} MB")
        season = load_season(path)
        counts = peer(path)["burn"].value_counts()
        for word in ("none", "mild", "hot"):  # the same answer before the same time
            assert season.counts("burn")[word].sum() == counts[word]
        times: dict[str, list[float]] = {who: [] for who in LOADERS}
        for _ in range(ROUNDS):
            for name, load in LOADERS.items():
                start = perf_counter()
                load(path)
                times[name].append(perf_counter() - start)
        ratio = median(times["ours"]) / median(times["peer"])
    for who in times:
        print(f"{who}: {median(times[who]) * 1000:5.0f} ms, peak {peaks[who]:4.0f} MB")
    print(f"ours takes {ratio:.2f} times the peer's time (at most {TIME})")
    print(f"ours grows by {peaks['ours']:.0f} MB (at most {PEAK:.0f})")
    return int(ratio > TIME or peaks["ours"] > PEAK)


if __name__ == "__main__":
    if sys.argv[1:2] == ["--alone"]:
        what, file = sys.argv[2], Path(sys.argv[3])
        if what == "write":
            write(file, int(sys.argv[4]))
        else:
            print(growth(LOADERS[what], file))
    else:
        sys.exit(main(*map(int, sys.argv[1:])))
