"""Where the marks of a family tree stand, so that its lines cross and wander little.

Marks have a row and a width; a link goes from a parent down to a child in a later row. A link
that passes rows gets a waypoint in each, which takes its place among the marks, so that no
line runs through a mark. Two steps:

    order   downwards and upwards in turn, each mark goes to the middle of its neighbours (the
            barycentre), females left of males; then neighbours swap while that saves crossings
    place   all lines as upright as order and widths allow, by least squares within bounds;
            long lines most of all

The graph is a networkx graph. Lengths are inches; nothing here knows what a mark means.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np

GAP, WAYPOINT = 0.14, 0.1  # inches between marks; the width of a waypoint
SWEEPS = 24
UPRIGHT = (1.0, 1.4, 2.5)  # how much a line wants to be upright, by its waypoints at ends
WRONG_SIDE = 3  # crossings that a male parent left of the female is worth


class Link(NamedTuple):
    """From parent to child; `side` is -1 for the left parent, 1 for the right one, else 0."""

    parent: int
    child: int
    side: int


@dataclass(frozen=True)
class Layout:
    """The middle of each mark, x from 0 to `whole`, and of the waypoints of each link."""

    x: tuple[float, ...]
    ways: tuple[tuple[float, ...], ...]  # for each link one x for each row that it passes
    width: float  # of a mark
    whole: float


def lay_out(
    rows: Sequence[int], links: Sequence[Link], widths: tuple[float, float], room: float
) -> Layout:
    """The places of marks in their rows.

    Parameters
    ----------
    rows : one entry a mark, counted from 0.
    links : each from a lower row to a higher one.
    widths : the narrowest and the widest that a mark may be; it is as wide as `room` allows.
    room : for the whole; more is taken only where the narrowest marks need it.
    """
    graph, paths = _with_waypoints(rows, links)
    order = _ordered(graph)
    narrowest, width = widths
    while True:
        x = _placed(graph, order, width)
        half = {n: (WAYPOINT if isinstance(n, tuple) else width) / 2 for n in x}
        left = min(at - half[n] for n, at in x.items())
        whole = max(at + half[n] for n, at in x.items()) - left
        if whole <= room or width <= narrowest:
            break
        width = max(narrowest, min(width * room / whole, 0.95 * width))
    return Layout(
        tuple(float(x[i] - left) for i in range(len(rows))),
        tuple(tuple(float(x[n] - left) for n in path[1:-1]) for path in paths),
        width,
        float(whole),
    )


def _with_waypoints(rows: Sequence[int], links: Sequence[Link]) -> tuple[Any, list[list[Any]]]:
    """The graph of steps from one row to the next, and the steps of each link.

    Marks are numbers, waypoints pairs of link and row.
    """
    import networkx as nx

    graph = nx.DiGraph()
    graph.add_nodes_from((mark, {"row": row}) for mark, row in enumerate(rows))
    paths = []
    for nth, link in enumerate(links):
        between = [(nth, row) for row in range(rows[link.parent] + 1, rows[link.child])]
        graph.add_nodes_from((way, {"row": way[1]}) for way in between)
        path = [link.parent, *between, link.child]
        nx.add_path(graph, path, side=0)
        graph.edges[path[-2], path[-1]]["side"] = link.side
        paths.append(path)
    return graph, paths


# --- order -----------------------------------------------------------------------


def _ordered(graph: Any) -> list[list[Any]]:
    """The marks and waypoints of each row, from left to right."""
    import networkx as nx

    # Depth first from the end, so that what belongs together begins together.
    ends = [n for n in graph if not graph.out_degree(n)]
    begin: dict[Any, None] = {}
    for end in ends:
        begin |= dict.fromkeys(nx.dfs_postorder_nodes(graph.reverse(copy=False), end))
    rows = max(row for _, row in graph.nodes(data="row")) + 1
    order: list[list[Any]] = [[n for n in begin if graph.nodes[n]["row"] == r] for r in range(rows)]
    best, least = [list(row) for row in order], _cost(graph, order)
    for sweep in range(SWEEPS):
        down = sweep % 2 == 0
        for r in range(rows) if down else reversed(range(rows)):
            order[r] = _by_neighbours(graph, order, r, down)
        if (cost := _cost(graph, order)) < least:
            best, least = [list(row) for row in order], cost
    return _swapped(graph, best)


def _by_neighbours(graph: Any, order: list[list[Any]], r: int, down: bool) -> list[Any]:
    """A row in the order of the middle of its parents, or of its children."""
    beside = r - 1 if down else r + 1
    if not 0 <= beside < len(order):
        return order[r]
    spot = {n: i for i, n in enumerate(order[beside])}

    def middle(node: Any) -> float:
        if down:
            near = [spot[p] for p in graph.predecessors(node)]
        else:  # two parents of one child: the female left
            near = [spot[c] + 0.4 * graph.edges[node, c]["side"] for c in graph.successors(node)]
        return float(np.mean(near)) if near else own[node] * len(order[beside]) / len(own)

    own = {n: i for i, n in enumerate(order[r])}
    return sorted(order[r], key=middle)


def _cost(graph: Any, order: list[list[Any]], rows: Sequence[int] | None = None) -> float:
    """Crossings of lines, and parents on the wrong side, between these rows and the row before."""
    total = 0.0
    for r in range(1, len(order)) if rows is None else rows:
        if not 0 < r < len(order):
            continue
        spot = {n: i for i, n in enumerate(order[r - 1])}
        steps = []
        for i, c in enumerate(order[r]):
            sides = {}
            for p, _, side in graph.in_edges(c, data="side"):
                steps.append((spot[p], i))
                sides[side] = spot[p]
            total += WRONG_SIDE * (-1 in sides and 1 in sides and sides[-1] > sides[1])
        steps.sort()  # by the upper end: a crossing is a pair whose lower ends are out of order
        total += sum(a > b and u < v for j, (v, b) in enumerate(steps) for u, a in steps[:j])
    return total


def _swapped(graph: Any, order: list[list[Any]]) -> list[list[Any]]:
    """Neighbours swapped as long as that costs less."""
    better = True
    while better:
        better = False
        for r, row in enumerate(order):
            for i in range(len(row) - 1):
                before = _cost(graph, order, (r, r + 1))
                row[i], row[i + 1] = row[i + 1], row[i]
                if _cost(graph, order, (r, r + 1)) < before:
                    better = True
                else:
                    row[i], row[i + 1] = row[i + 1], row[i]
    return order


# --- place -----------------------------------------------------------------------


def _placed(graph: Any, order: list[list[Any]], width: float) -> dict[Any, float]:
    """x of everything: lines as upright as order and widths allow.

    Least squares in the steps from one place of a row to the next, each no smaller than the
    two need; the first step of a row, from the middle of the page, is free.
    """
    from scipy.optimize import lsq_linear

    wide = {n: WAYPOINT if isinstance(n, tuple) else width for n in graph}
    column = {n: i for i, n in enumerate(n for row in order for n in row)}
    least = np.full(len(column), -np.inf)
    x_of = np.zeros((len(column), len(column)))  # from steps to places
    for row in order:
        first = column[row[0]]
        for before, n in pairwise(row):
            least[column[n]] = (wide[before] + wide[n]) / 2 + GAP
        for n in row:
            x_of[column[n], first : column[n] + 1] = 1
    slant, shoulder = [], []
    for p, c, side in graph.edges(data="side"):
        force = UPRIGHT[isinstance(p, tuple) + isinstance(c, tuple)]
        slant.append(force * (x_of[column[p]] - x_of[column[c]]))
        shoulder.append(force * side * wide[c] / 4)
    # A faint pull to the middle holds together what no line joins.
    pulls = np.vstack([*slant, 0.03 * x_of])
    to = np.concatenate([shoulder, np.zeros(len(column))])
    fit = lsq_linear(pulls, to, (least, np.inf), method="bvls", max_iter=20 * len(column))
    return dict(zip(column, map(float, x_of @ fit.x), strict=True))
