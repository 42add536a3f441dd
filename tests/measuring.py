"""Seasons of a measured trait, for the tests: from printed tables, and drawn at random."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction

import numpy as np
import pandas as pd

import breedkit as bk
from breedkit.generations import Generation
from breedkit.tables import Season

HALF = Fraction(1, 2)
COEFFICIENTS = {
    "P1": (1, 0),
    "P2": (-1, 0),
    "F1": (0, 1),
    "F2": (0, HALF),
    "BC1(P1)": (HALF, HALF),
    "BC1(P2)": (-HALF, HALF),
}
# Ear length of maize in cm, classes and plants. Emerson & East 1913, Nebraska Research
# Bulletin 2, as reprinted in textbooks; the table partly or wholly from memory.
EARS = {
    "P1": ((5, 6, 7, 8), (4, 21, 24, 8)),
    "P2": (range(13, 22), (3, 11, 12, 15, 26, 15, 10, 7, 2)),
    "F1": (range(9, 16), (1, 12, 12, 14, 17, 9, 4)),
    "F2": (range(7, 20), (1, 10, 19, 26, 47, 73, 68, 68, 39, 25, 15, 9, 1)),
}
# Corolla length in mm. East 1916, Genetics 1:164-176; frequencies from memory.
COROLLAS = {
    "P1": ((34, 37, 40), (13, 80, 32)),
    "P2": ((88, 91, 94, 97), (6, 22, 49, 11)),
    "F1": ((55, 58, 61, 64, 67, 70), (4, 10, 41, 75, 40, 3)),
    "F2": (range(52, 86, 3), (1, 5, 16, 23, 18, 62, 37, 25, 16, 4, 2, 2)),
}


def counted(table: Mapping[str, tuple[Sequence[int], Sequence[int]]]) -> dict[str, np.ndarray]:
    """One value a plant from classes and how many plants are in each."""
    return {g: np.repeat(np.array(v, dtype=float), n) for g, (v, n) in table.items()}


def season_of(
    values: Mapping[str, Sequence[float]], register: Sequence[tuple[str, str, str]] = ()
) -> Season:
    """A season with one measured trait, 'length', and what each family's plants have."""
    rows = [(f"{family}-{i}", family, x) for family, xs in values.items() for i, x in enumerate(xs)]
    plants = pd.DataFrame(rows, columns=["plant", "family", "length"])
    traits = pd.DataFrame({"trait": ["length"], "kind": ["measured"], "unit": ["cm"]})
    families = pd.DataFrame(register, columns=["family", "female", "male"]) if register else None
    return bk.load_season(plants=plants, traits=traits, families=families)


def drawn(
    rng: np.random.Generator,
    n: int | Mapping[str, int],
    spread: Mapping[str, float],
    d: float = 3.0,
    h: float = 1.0,
    m: float = 20.0,
) -> dict[str, np.ndarray]:
    """Normal values about m + x_d d + x_h h, of the generations that `spread` names."""
    size = n if isinstance(n, Mapping) else dict.fromkeys(spread, n)
    return {
        g: m
        + float(COEFFICIENTS[g][0]) * d
        + float(COEFFICIENTS[g][1]) * h
        + s * rng.standard_normal(size[g])
        for g, s in spread.items()
    }


def as_generations(values: Mapping[str, np.ndarray]) -> tuple[Generation, ...]:
    """The same, without a season around it."""
    return tuple(
        Generation(g, (g,), *map(Fraction, COEFFICIENTS[g]), v, ()) for g, v in values.items()
    )
