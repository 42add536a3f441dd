"""Marks in rows: nothing overlaps, females stand left, lines seldom cross, the room is kept."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from breedkit.treelayout import GAP, WAYPOINT, Link, lay_out

WIDTHS = (0.8, 1.3)


def spots(rows, links, layout):
    """Row -> (x, width) of all marks and waypoints, from left to right."""
    found = {}
    for row, x in zip(rows, layout.x, strict=True):
        found.setdefault(row, []).append((x, layout.width))
    for link, way in zip(links, layout.ways, strict=True):
        for i, x in enumerate(way):
            found.setdefault(rows[link.parent] + 1 + i, []).append((x, WAYPOINT))
    return {row: sorted(there) for row, there in found.items()}


def random_tree(seed: int):
    """Marks of which each later one has one or two parents in earlier rows."""
    rng = np.random.default_rng(seed)
    rows, links = [0, 0, 0], []
    for row in range(1, 9):
        for _ in range(rng.integers(1, 4)):
            older = [i for i, r in enumerate(rows) if r < row]
            child = len(rows)
            rows.append(row)
            parents = rng.choice(older, rng.integers(1, 3), replace=False)
            sides = [0] if len(parents) == 1 else [-1, 1]
            links += [Link(int(p), child, s) for p, s in zip(parents, sides, strict=True)]
    return rows, links


@pytest.mark.parametrize("seed", range(10))
def test_nothing_overlaps_and_every_line_has_its_place(seed):
    rows, links = random_tree(seed)
    layout = lay_out(rows, links, WIDTHS, 7.0)
    for there in spots(rows, links, layout).values():
        for (x, wide), (y, wider) in itertools.pairwise(there):
            assert y - x >= (wide + wider) / 2 + GAP - 1e-9
    assert [len(way) for way in layout.ways] == [rows[c] - rows[p] - 1 for p, c, _ in links]
    assert min(layout.x) >= layout.width / 2 - 1e-9
    assert max(layout.x) + layout.width / 2 <= layout.whole + 1e-9
    assert WIDTHS[0] <= layout.width <= WIDTHS[1]
    assert layout.whole <= 7.0 or layout.width == WIDTHS[0]
    assert lay_out(rows, links, WIDTHS, 7.0) == layout  # the same on every run


def test_the_female_stands_left_of_the_male():
    for female, male in ((0, 1), (1, 0)):
        links = [Link(female, 2, -1), Link(male, 2, 1)]
        layout = lay_out([0, 0, 1], links, WIDTHS, 7.0)
        assert layout.x[female] < layout.x[2] < layout.x[male]


def test_two_families_do_not_cross_though_their_parents_are_listed_in_turns():
    rows = [0, 0, 0, 0, 1, 1]
    links = [Link(0, 4, -1), Link(2, 4, 1), Link(1, 5, -1), Link(3, 5, 1)]
    x = lay_out(rows, links, WIDTHS, 9.0).x
    assert max(x[0], x[2]) < min(x[1], x[3]) or max(x[1], x[3]) < min(x[0], x[2])


def test_a_long_line_is_upright():
    rows = [0, 1, 2, 3, 4, 4]
    links = [Link(0, 1, 0), Link(1, 2, 0), Link(2, 3, 0), Link(3, 4, 0), Link(0, 5, 0)]
    layout = lay_out(rows, links, WIDTHS, 7.0)
    assert np.ptp(layout.ways[4]) < 0.1  # inches


def test_marks_are_narrower_where_the_room_is_small():
    rows = [0] + [1] * 6
    links = [Link(0, i, 0) for i in range(1, 7)]
    assert lay_out(rows, links, WIDTHS, 9.0).width == WIDTHS[1]
    tight = lay_out(rows, links, WIDTHS, 6.5)
    assert WIDTHS[0] < tight.width < WIDTHS[1] and tight.whole <= 6.5
    assert lay_out(rows, links, WIDTHS, 3.0).width == WIDTHS[0]


def test_one_mark_alone():
    assert lay_out([0], [], WIDTHS, 7.0).x == (WIDTHS[1] / 2,)
