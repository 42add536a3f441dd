"""Sums over many variables, against one sum over all of them at once."""

import numpy as np
import pytest

from breedkit.elimination import Elimination, log, ratio
from breedkit.errors import ModelError

RING = [(0, 1), (1, 2), (2, 3), (3, 0), (1, 3, 4), (4, 5), (2,), (6, 7), (7,)]


def tables(rng: np.random.Generator, shapes=RING, holes: float = 0.0):
    """Tables of three states over these variables, for two candidates and three rates."""
    made = []
    for variables in shapes:
        table = rng.random((2, 3) + (3,) * len(variables))
        table[rng.random(table.shape) < holes] = 0
        made.append((variables, table))
    return made


def all_at_once(made) -> np.ndarray:
    """The product of all tables, one axis a variable."""
    operands: list = []
    for variables, table in made:
        operands += [table, [20, 21, *variables]]
    return np.einsum(*operands, [20, 21, *range(8)])


@pytest.mark.parametrize("holes", [0.0, 0.3, 0.8])
def test_totals_and_joint_chances_in_loops(holes: float) -> None:
    for seed in range(5):
        made = tables(np.random.default_rng(seed), holes=holes)
        whole, found = all_at_once(made), Elimination(made, back=True)
        total = whole.sum(axis=tuple(range(2, 10)))
        assert np.exp(found.log_total) == pytest.approx(total, rel=1e-12)
        for wanted in [(0,), (5,), (7,), (2, 1), (3, 0), (4, 1, 3), (7, 6), (1, 3)]:
            others = tuple(2 + n for n in range(8) if n not in wanted)
            part = whole.sum(axis=others)
            order = np.argsort(np.argsort(wanted))
            part = part.transpose(0, 1, *(2 + order))
            shape = (2, 3) + (1,) * len(wanted)
            scale = np.where(total > 0, total, 1).reshape(shape)
            possible = (total > 0).reshape(shape)
            assert found.joint(wanted) * possible == pytest.approx(part / scale, abs=1e-13)


def test_a_table_goes_along_with_every_candidate() -> None:
    made = tables(np.random.default_rng(1))
    made[0] = ((0, 1), made[0][1][:1, :1])
    wide = [(v, np.broadcast_to(t, (2, 3, *t.shape[2:]))) for v, t in made]
    one, other = Elimination(made, back=True), Elimination(wide, back=True)
    assert one.log_total == pytest.approx(other.log_total, abs=1e-12)
    assert one.joint((0, 1)) == pytest.approx(other.joint((0, 1)), abs=1e-13)


@pytest.mark.parametrize("together", [1, 3**3 * 2, 3**3 * 4])
def test_in_parts_as_at_once(together: int, monkeypatch) -> None:
    made = tables(np.random.default_rng(2))
    made[0] = ((0, 1), made[0][1][:1])
    made[3] = ((3, 0), made[3][1][:, :1])
    whole = Elimination(made, back=True)
    monkeypatch.setattr("breedkit.elimination.TOGETHER", together)
    parts = Elimination(made, back=True)
    assert parts.log_total == pytest.approx(whole.log_total, abs=1e-13)
    for wanted in [(5,), (2, 1), (4, 1, 3)]:
        assert parts.joint(wanted) == pytest.approx(whole.joint(wanted), abs=1e-14)


def test_too_much_to_follow() -> None:
    for n in (16, 30):
        every = [((i, j), np.ones((1, 1, 3, 3))) for i in range(n) for j in range(i)]
        with pytest.raises(ModelError, match="mated with each other"):
            Elimination(every)


def test_a_part_of_nothing_is_nothing() -> None:
    assert ratio(np.array([1.0, 0.0]), np.array([4.0, 0.0])).tolist() == [0.25, 0.0]
    assert log(np.array([0.0]))[0] == -np.inf
