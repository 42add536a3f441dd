"""What is expected of a plant from its parentage: textbook series, simulated meioses, laws."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest

from breedkit.families import parse_family, read_register
from breedkit.lineage import lineage_of, map_means
from breedkit.pedigree import Chosen, Cross, Founder, Intermating, Selfing, Sibmating

MAP = (100.0,) * 12
NO_CROSSING_OVER = (1e-9,) * 12
NOT_INBRED = dict.fromkeys("ABCDEFGH", 0.0)


def single_plants(crosses: dict[str, tuple[str, str]], founders: str) -> tuple[dict, dict]:
    """A register in which each individual is a family of one plant, named in lower case."""
    rows = [(f, "", "") for f in founders]
    home = {f"{name}!": name for name in crosses}
    for name, parents in crosses.items():
        female, male = (p if p in founders else f"{p}!" for p in parents)
        rows.append((name, female, male))
    return read_register(rows, home), {**home, **{f"{f}!": f for f in founders}}


def inbreeding(plans: dict, inbred: dict[str, float]) -> dict[str, float]:
    found = lineage_of(plans, inbred)
    return {name: float(found.inbreeding[i]) for name, i in found.families.items()}


# --- known series ------------------------------------------------------------------


def test_full_sibs_mated_for_ten_generations():
    """Check 6.01: Falconer, Introduction to Quantitative Genetics, Table 5.1 (in part from
    memory); three digits are printed."""
    rows = [("A", "", ""), ("B", "", ""), ("G0", "A", "B")]
    home = {}
    for t in range(11):
        home |= {f"f{t}": f"G{t}", f"m{t}": f"G{t}"}
        rows.append((f"G{t + 1}", f"f{t}", f"m{t}"))
    found = inbreeding(read_register(rows[:-1], home), NOT_INBRED)
    printed = [0.25, 0.375, 0.5, 0.594, 0.672, 0.734, 0.785, 0.826, 0.859, 0.886]
    series = [found[f"G{t}"] for t in range(1, 11)]
    assert series == pytest.approx(printed, abs=0.0005)
    before = [0.0, 0.0, *series]  # F = (1 + 2 F1 + F2) / 4, exactly
    assert series == [(1 + 2 * before[i + 1] + before[i]) / 4 for i in range(10)]


def test_half_sibs_mated_for_ten_generations():
    """Check 6.02: Falconer, Table 5.1 (in part from memory); F = (1 + F2 + 6 F1) / 8.

    One male a generation; every female and the next male have a mother of their own.
    """
    last = 10
    crosses, founders = {}, []
    for t in range(1, last + 1):
        for i in range(last + 2 - t):  # number 0 is the male; the others are the females
            male, female = f"{t - 1}.0", f"{t - 1}.{i + 1}"
            crosses[f"{t}.{i}"] = (female, male)
    founders = [f"0.{i}" for i in range(last + 2)]
    rows = [(f, "", "") for f in founders]
    plant = {f"{n}!": n for n in crosses}
    for name, parents in crosses.items():
        rows.append((name, *(p if p in founders else f"{p}!" for p in parents)))
    rows.append(("end", f"{last}.1!", f"{last}.0!"))
    found = inbreeding(read_register(rows, plant), dict.fromkeys(founders, 0.0))
    series = [found[f"{t}.0"] for t in range(2, last + 1)] + [found["end"]]
    printed = [0.125, 0.219, 0.305, 0.381, 0.449, 0.509, 0.563, 0.611, 0.654, 0.691]
    assert series == pytest.approx(printed, abs=0.0005)
    before = [0.0, 0.0, *series]
    assert series == [(1 + before[i] + 6 * before[i + 1]) / 8 for i in range(10)]


def test_selfing_halves_what_is_heterozygous():
    """Check 6.03, recomputed, not a publication."""
    plans = {f"F{n}": parse_family(f"F{n}") for n in range(2, 9)}
    found = inbreeding(plans, {})
    assert found == {f"F{n}": 1 - 0.5 ** (n - 1) for n in range(2, 9)}


@pytest.mark.parametrize(
    ("pair", "coefficient"),
    [
        (("sib1", "sib2"), 1 / 4),
        (("sib1", "niece"), 1 / 8),  # a full aunt or uncle
        (("sib1", "half"), 1 / 8),
        (("double1", "double2"), 1 / 8),
        (("cousin1", "cousin2"), 1 / 16),
        (("cousin1", "removed"), 1 / 32),
        (("second1", "second2"), 1 / 64),
        (("sib1", "sib1"), 1 / 2),
    ],
)
def test_standard_coefficients(pair, coefficient):
    """Check 6.04: any textbook, as Falconer; published and seen."""
    crosses = {
        "sib1": ("A", "B"), "sib2": ("A", "B"), "half": ("A", "C"), "niece": ("sib2", "D"),
        "cousin1": ("sib1", "E"), "cousin2": ("sib2", "F"),
        "removed": ("cousin2", "G"), "second1": ("cousin1", "H"), "second2": ("cousin2", "G"),
        "other1": ("C", "D"), "other2": ("C", "D"),
        "double1": ("sib1", "other1"), "double2": ("sib2", "other2"),
        "end": pair,
    }  # fmt: skip
    # Each as a parent once, so that the plant itself stands in the register.
    crosses |= {f"child {name}": (name, name) for name in list(crosses)}
    plans, _ = single_plants(crosses, "ABCDEFGH")
    found = lineage_of(plans, NOT_INBRED)
    one, other = (found.plants[f"{name}!"] for name in pair)
    assert found.kin[one, other] == coefficient == found.inbreeding[found.families["end"]]


def test_a_mixed_pedigree():
    """Check 6.06, derived: founders not inbred; the F1 is one plant, used twice."""
    crosses = {"F1": ("A", "B"), "BC1": ("F1", "B"), "S1": ("BC1", "BC1"), "X": ("S1", "F1")}
    found = inbreeding(single_plants(crosses, "AB")[0], NOT_INBRED)
    assert [found[n] for n in ("BC1", "S1", "X")] == [0.25, 0.625, 0.375]
    # With founders that breed true the answers change.
    found = inbreeding(single_plants(crosses, "AB")[0], {})
    assert [found[n] for n in ("BC1", "S1", "X")] == [0.5, 0.75, 0.5]


def test_a_backcross_halves_the_donor():
    """Checks 6.07 and 6.08, recomputed: 1 - (1/2)^(n+1); and with 12 pairs without crossing over
    the spread of a twelfth of a binomial, half of it heterozygous."""
    plan = parse_family("F1")
    plans = {}
    for n in range(1, 8):
        plan = plans[f"BC{n}"] = Cross(plan, Founder("P1"))
    found = lineage_of(plans, {})
    spread = found.spread(NO_CROSSING_OVER)
    for n in range(1, 8):
        i = found.families[f"BC{n}"]
        assert found.shares[i].tolist() == [1 - 0.5 ** (n + 1), 0.5 ** (n + 1)]
        half = 0.5**n
        assert spread[i] == pytest.approx(np.sqrt(half * (1 - half) / 12) / 2, abs=1e-9)
    listed = [spread[found.families[f"BC{n}"], 1] for n in (1, 2, 3)]
    assert listed == pytest.approx([0.072168784, 0.0625, 0.047735163], abs=5e-9)


def test_lines_selfed_for_ever_recombine_as_haldane_and_waddington_found():
    """Haldane & Waddington 1931: R = 2r / (1 + 2r); so the covariance is (1 - 2R) / 4."""
    plan = parse_family("F1")
    for _ in range(60):
        plan = Selfing(plan)
    found = lineage_of({"RIL": plan}, {})
    r = np.array([0.01, 0.1, 0.3, 0.5])
    powers = np.arange(found.covariance.shape[2])
    covariance = (found.covariance[found.families["RIL"], 0] * (1 - 2 * r[:, None]) ** powers).sum(
        1
    )
    assert covariance == pytest.approx((1 - 2 * (2 * r / (1 + 2 * r))) / 4, abs=1e-12)


def test_the_mean_over_a_map_is_the_integral():
    x = (np.arange(4000) + 0.5) / 4000
    for lengths in ([100.0], [30.0, 170.0, 80.0]):
        whole = sum(lengths)
        apart = np.abs(x[:, None] - x)
        for k in (1, 3):
            one_by_one = [
                (n / whole) ** 2 * np.exp(-2 * k * n / 100 * apart).mean() for n in lengths
            ]
            assert map_means(4, lengths)[k] == pytest.approx(sum(one_by_one), rel=2e-4)
    # The series where the closed form loses its digits joins it without a step.
    below, above = (float(map_means(2, [50 * z])[1]) for z in (0.0009999, 0.0010001))
    assert below - above == pytest.approx(0.0000002 / 3, rel=0.01)


# --- simulated meioses ---------------------------------------------------------------

POINTS, STEP = 50, 0.02  # a chromosome of a Morgan, as the middles of 50 pieces


def gamete(plant: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """One gamete of each plant, (n, 2, chromosomes, points) -> (n, chromosomes, points)."""
    n, _, chromosomes, points = plant.shape
    crossed = rng.random((n, chromosomes, points)) < (1 - np.exp(-2 * STEP)) / 2
    crossed[..., 0] = rng.random((n, chromosomes)) < 0.5
    strand = np.cumsum(crossed, axis=2) % 2
    return np.where(strand == 0, plant[:, 0], plant[:, 1])


def drawn(plan, n: int, rng, singles: dict, labels: dict) -> np.ndarray:
    """A plant of a family in each of n repeats; a single plant is the same wherever it stands."""

    def draw(plan):
        match plan:
            case Founder(name):
                one = np.empty((n, 2, 12, POINTS), dtype=np.int8)
                one[:, 0], one[:, 1] = labels[name]
                return one
            case Cross(female, male):
                return np.stack([gamete(draw(female), rng), gamete(draw(male), rng)], axis=1)
            case Selfing(parent):
                mother = draw(parent)
                return np.stack([gamete(mother, rng), gamete(mother, rng)], axis=1)
            case Intermating(parent) | Sibmating(parent):
                other = parent.parent if isinstance(parent, Chosen) else parent
                return np.stack([gamete(draw(parent), rng), gamete(draw(other), rng)], axis=1)
            case Chosen(parent, plant=str(name)):
                if name not in singles:
                    singles[name] = draw(parent)
                return singles[name]
            case _:
                return draw(plan.parent)

    return draw(plan)


REGISTER = [
    ("A", "", ""), ("B", "", ""), ("C", "", ""), ("F1", "A", "B"), ("F2", "F1", "selfed"),
    ("F3", "F2", "selfed"), ("line", "p1", "selfed"), ("sister", "p1", "selfed"),
    ("BC1", "F1", "A"), ("BC2", "b1", "A"), ("BC2F2", "BC2", "selfed"), ("three", "p1", "C"),
    ("loop", "t1", "b1"), ("looped", "loop", "l1"), ("bees", "F2", "open"),
    ("mixed", "F3", "bees"), ("flown", "p1", "open"), ("aunt", "p1", "t1"),
]  # fmt: skip
HOME = {"p1": "F2", "b1": "BC1", "t1": "three", "l1": "loop"}


@pytest.mark.parametrize(("inbred", "seed"), [({}, 1), ({"A": 0.0, "B": 0.0, "C": 0.0}, 2)])
def test_simulated_meioses_agree(inbred, seed):
    """Mean and spread of each share, inbreeding and kinship, within 4 standard errors."""
    plans = read_register(REGISTER, HOME)
    found = lineage_of(plans, inbred)
    spread = found.spread(MAP)
    rng = np.random.default_rng(seed)
    n, singles = 4000, {}
    labels = {f: (2 * i, 2 * i + (f in inbred)) for i, f in enumerate(found.founders)}
    plants = {name: drawn(plan, n, rng, singles, labels) for name, plan in plans.items()}
    plants |= {f"{name}*": drawn(plans[name], n, rng, singles, labels) for name in ("F3", "line")}

    def near(sample: np.ndarray, truth: float) -> bool:
        error = sample.std() / np.sqrt(n)
        return bool(abs(sample.mean() - truth) <= 4 * error + 1e-12)

    for name, i in found.families.items():
        one = plants[name]
        for a in range(len(found.founders)):
            share = (one // 2 == a).mean(axis=(1, 2, 3))
            assert near(share, found.shares[i, a]), (name, a)
            assert near((share - found.shares[i, a]) ** 2, spread[i, a] ** 2), (name, a)
        assert near((one[:, 0] == one[:, 1]).mean(axis=(1, 2)), found.inbreeding[i]), name
    pairs = [("F2", "F3"), ("line", "sister"), ("line", "F2"), ("loop", "looped"),
             ("aunt", "loop"), ("BC2F2", "looped"), ("mixed", "bees"),
             ("flown", "line")]  # fmt: skip
    pairs += [("F3", "F3*"), ("line", "line*")]
    for one, other in pairs:
        same = [plants[one][:, i] == plants[other][:, j] for i in (0, 1) for j in (0, 1)]
        at = found.families[one], found.families[other.removesuffix("*")]
        assert near(np.mean(same, axis=(0, 2, 3)), found.kin[at]), (one, other)


def test_two_times_in_three_a_plant_lies_within_the_spread():
    """So the display says. Simulated: between 0.6 and 0.8 in the usual families."""
    rng = np.random.default_rng(3)
    plans = {name: parse_family(name) for name in ("F2", "F6", "BC1", "BC2", "BC3")}
    found = lineage_of(plans, {})
    spread = found.spread(MAP)
    for name, plan in plans.items():
        i = found.families[name]
        share = (drawn(plan, 1500, rng, {}, {"P1": (0, 0), "P2": (2, 2)}) == 0).mean(axis=(1, 2, 3))
        assert 0.6 < (np.abs(share - found.shares[i, 0]) <= spread[i, 0]).mean() < 0.8, name


# --- laws ----------------------------------------------------------------------------


def random_register(rng: np.random.Generator, founders: int, seasons: int) -> tuple[list, dict]:
    rows = [(f"P{i}x", "", "") for i in range(founders)]
    home, last = {}, [row[0] for row in rows]
    for s in range(seasons):
        new = []
        for j in range(3):
            one, other = rng.choice(len(last), 2)
            male = "selfed" if rng.random() < 0.4 else last[other]
            rows.append((f"{s}-{j}", last[one], male))
            home |= {f"{s}-{j}/{k}": f"{s}-{j}" for k in range(2)}
            new += [f"{s}-{j}", f"{s}-{j}/0", f"{s}-{j}/1"]
        last = new
    return rows, home


@pytest.mark.parametrize("seed", range(12))
def test_laws_on_random_registers(seed):
    rng = np.random.default_rng(seed)
    rows, home = random_register(rng, 4, 6)
    found = lineage_of(read_register(rows, home), {"P0x": 0.0})
    assert found.shares.sum(axis=1) == pytest.approx(1, abs=1e-12)
    assert np.array_equal(found.kin, found.kin.T)
    assert found.inbreeding.min() >= 0 and found.inbreeding.max() <= 1
    # Variances: none is negative, all are below that of a coin with the same mean.
    spread = found.spread(MAP)
    assert (found.covariance.sum(axis=2) > -1e-12).all()
    assert (spread**2 <= found.shares * (1 - found.shares) + 1e-12).all()
    assert (spread <= found.spread(NO_CROSSING_OVER) + 1e-12).all()
    # Unlinked points are independent.
    assert found.covariance[..., 0] == pytest.approx(0, abs=1e-12)
    # The order of the rows changes nothing, nor does the side of a parent.
    shuffled = [rows[i] for i in rng.permutation(len(rows))]
    turned = [(n, f, m) if m in ("selfed", "") else (n, m, f) for n, f, m in shuffled]
    again = lineage_of(read_register(turned, home), {"P0x": 0.0})
    column = [again.founders.index(f) for f in found.founders]
    for name, i in found.families.items():
        j = again.families[name]
        assert again.inbreeding[j] == found.inbreeding[i]
        assert again.shares[j, column].tolist() == found.shares[i].tolist()
        assert again.spread(MAP)[j, column] == pytest.approx(spread[i], abs=1e-12)


@pytest.mark.parametrize("seed", range(6))
def test_kinship_by_a_second_slow_route(seed):
    """Wright's recursion with exact fractions, pair by pair, where all parents are single.

    The same recursion, begun with the copies of one founder, gives the chance that both copies
    of a gene are that founder's, and so the variance of its share where nothing crosses over.
    """
    rng = np.random.default_rng(100 + seed)
    parents: dict[str, tuple[str, str]] = {}
    names = list("ABC")
    for i in range(12):
        one, other = rng.choice(len(names), 2)
        parents[f"i{i}"] = (names[one], names[other])
        names.append(f"i{i}")
    order = {name: i for i, name in enumerate(names)}

    def theta(x: str, y: str) -> Fraction:
        """Chance that copies drawn from two plants are the same."""
        if order[x] < order[y]:
            x, y = y, x
        if x == y:
            return Fraction(1, 2) if x in "ABC" else (1 + theta(*parents[x])) / 2
        if x in "ABC":
            return Fraction(0)
        f, m = parents[x]
        return (theta(f, y) + theta(m, y)) / 2

    def share(x: str) -> Fraction:
        """Of founder A."""
        return Fraction(x == "A") if x in "ABC" else sum(map(share, parents[x])) / 2

    def both(x: str, y: str) -> Fraction:
        """Chance that copies drawn from two plants, with replacement, are both founder A's."""
        if order[x] < order[y]:
            x, y = y, x
        if x in "ABC":
            return Fraction(x == y == "A")
        f, m = parents[x]
        if x == y:
            return (share(x) + both(f, m)) / 2
        return (both(f, y) + both(m, y)) / 2

    children = {f"child {n}": (n, n) for n in parents}
    found = lineage_of(single_plants(parents | children, "ABC")[0], NOT_INBRED)
    column = found.founders.index("A")
    for x in parents:
        for y in parents:
            kin = found.kin[found.plants[f"{x}!"], found.plants[f"{y}!"]]
            assert Fraction(float(kin)) == theta(x, y)
        variance = both(x, x) - share(x) ** 2
        coefficients = found.covariance[found.families[x], column]
        assert coefficients.sum() == pytest.approx(float(variance), abs=1e-12)


def test_families_of_one_parentage_are_one_node():
    rows = [("A", "", ""), ("B", "", ""), ("F1", "A", "B"), ("one", "F1", "selfed"),
            ("two", "F1", "selfed")]  # fmt: skip
    found = lineage_of(read_register(rows), {})
    assert found.families["one"] == found.families["two"]


def test_chosen_by_look_is_expected_as_the_whole_and_a_founders_plants_are_alike():
    plans = {
        "F3": parse_family("F3 from red F2"),
        "twice": Cross(Chosen(Founder("P1"), None, "P1-1"), Chosen(Founder("P1"), None, "P1-2")),
    }
    found = lineage_of(plans, {})
    assert found.inbreeding[[found.families["F3"], found.families["twice"]]].tolist() == [0.75, 1]
    assert found.plants == {}


def test_a_thousand_generations_are_no_trouble():
    plan = parse_family("F1")
    for _ in range(1000):
        plan = Selfing(plan)
    assert lineage_of({"old": plan}, {}).inbreeding[-1] == 1
