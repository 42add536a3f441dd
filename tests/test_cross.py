"""The exact engine against textbooks, laws, and a Punnett square written out."""

import itertools
from collections import Counter
from fractions import Fraction as F

import numpy as np
import pytest

from breedkit.cross import Population
from breedkit.errors import ModelError
from breedkit.genome import Genome
from breedkit.loci import parse_genotype


def hybrid(one: str, other: str, rates: tuple[F | float, ...] = (), exact: bool = True):
    """The F1 of two parents."""
    genome = Genome.of([one, other], rates)
    return Population.of(genome, one, exact).crossed(Population.of(genome, other, exact))


# --- a second, slow route: every gamete of every plant, in Fractions ---------


def slow_gametes(plant: tuple[str, str], rates: tuple[F, ...]) -> Counter:
    """Gametes of one plant, given as two strands, by writing out every change-over."""
    found: Counter = Counter()
    for copied in itertools.product((0, 1), repeat=len(rates) + 1):
        share = F(1, 2)
        for r, here, there in zip(rates, copied, copied[1:], strict=False):
            share *= r if here != there else 1 - r
        found["".join(plant[side][i] for i, side in enumerate(copied))] += share
    return found


def slow_selfing(plants: Counter, rates: tuple[F, ...]) -> Counter:
    found: Counter = Counter()
    for plant, share in plants.items():
        gametes = slow_gametes(plant, rates)
        for (g, a), (h, b) in itertools.product(gametes.items(), repeat=2):
            found[g, h] += share * a * b
    return found


def unphased(plants: Counter) -> dict[str, F]:
    found: Counter = Counter()
    for (g, h), share in plants.items():
        found[str(parse_genotype(f"{g}/{h}"))] += share
    return {genotype: share for genotype, share in found.items() if share}


@pytest.mark.parametrize(
    "one, other, rates",
    [
        ("A/A", "a/a", ()),
        ("AB/AB", "ab/ab", (F(1, 10),)),
        ("Ab/Ab", "aB/aB", (F(1, 10),)),
        ("ABC/ABC", "abc/abc", (F(1, 5), F(3, 10))),
        ("AbC/AbC", "aBc/aBc", (F(0), F(1, 2))),
    ],
)
def test_selfing_agrees_with_every_gamete_written_out(one, other, rates) -> None:
    f1 = hybrid(one, other, rates)
    slow = Counter({(one.split("/")[0], other.split("/")[0]): F(1)})
    for generation in range(1, 3):
        slow = slow_selfing(slow, rates)
        assert f1.selfed(generation).genotype_shares() == unphased(slow)


def test_linked_f4_of_four_loci_agrees_with_strand_pairs() -> None:
    rates = (F(1, 10), F(1, 4), F(2, 5))
    f1 = hybrid("ABCD/ABCD", "abcd/abcd", rates)
    plants = np.zeros((16, 16), dtype=object)
    plants[0, 15] = F(1)
    names = ["".join(p) for p in itertools.product("Aa", "Bb", "Cc", "Dd")]
    gametes = {}
    for i, g in enumerate(names):
        for j, h in enumerate(names):
            row = slow_gametes((g, h), rates)
            gametes[i, j] = np.array([row[n] for n in names], dtype=float)
    table = np.array([gametes[i, j] for i in range(16) for j in range(16)])
    slow = plants.astype(float)
    for _ in range(3):
        slow = table.T @ (slow.reshape(-1, 1) * table)
    found = f1.selfed(3).genotype_shares()
    expected: Counter = Counter()
    for i, j in np.ndindex(16, 16):
        expected[str(parse_genotype(f"{names[i]}/{names[j]}"))] += slow[i, j]
    assert set(found) == {g for g, s in expected.items() if s}
    assert max(abs(float(found[g]) - expected[g]) for g in found) < 1e-12


# --- known answers -----------------------------------------------------------


def test_a_dihybrid_f2() -> None:
    # Mendel 1866: AB 1, Ab 1, aB 1, ab 1, ABb 2, aBb 2, AaB 2, Aab 2, AaBb 4 (seen)
    shares = hybrid("AABB", "aabb").selfed().genotype_shares()
    assert {g: s * 16 for g, s in shares.items()} == {
        "AABB": 1, "AAbb": 1, "aaBB": 1, "aabb": 1, "AABb": 2, "aaBb": 2, "AaBB": 2, "Aabb": 2,
        "AaBb": 4,
    }  # fmt: skip


def test_heterozygotes_halve_with_each_selfing() -> None:
    # F = 1/2, 3/4 ... 127/128 in F2 ... F8 (textbooks; check 6.03, recomputed)
    f1 = hybrid("AA", "aa")
    for n in range(2, 9):
        assert f1.selfed(n - 1).heterozygous("A") == F(1, 2 ** (n - 1))


def test_one_sixteenth_is_still_heterozygous_in_f5() -> None:
    # common practice, no source
    assert hybrid("AABBCC", "aabbcc").selfed(4).heterozygous("B") == F(1, 16)


def test_each_backcross_halves_what_is_left_of_the_other_parent() -> None:
    # 1 - (1/2)^(n+1) (textbooks; check 6.07, recomputed); the first leaves a quarter
    genome = Genome.of(["AABB", "aabb"])
    recurrent = Population.of(genome, "AABB", exact=True)
    line = hybrid("AABB", "aabb")
    for n in range(1, 7):
        line = line.crossed(recurrent)
        assert line.allele_share("a") == F(1, 2 ** (n + 1))


def test_full_sib_mating() -> None:
    # Falconer, Introduction to Quantitative Genetics, Table 5.1 (check 6.01, from memory)
    printed = [0.25, 0.375, 0.5, 0.594, 0.672, 0.734, 0.785, 0.826, 0.859, 0.886]
    family = hybrid("A1A2", "A3A4")  # four unlike copies, so that unlike means unrelated
    for n, inbreeding in enumerate(printed, 1):
        found = 1 - family.sib_mated(n).heterozygous("A")
        assert abs(float(found) - inbreeding) <= 0.0005


def test_all_loci_fixed() -> None:
    # Allard 1960: (1 - 1/2^(n-1))^k (check 6.09, recomputed): F5, 5 loci, 0.724
    population = hybrid("AABBCCDDEE", "aabbccddee").selfed(4)
    fixed = True
    for letter in "ABCDE":
        _, one, two = population.genome.alleles_at(letter)
        fixed = fixed & (one == two)
    kept = population.weights[fixed].sum()
    assert F(int(kept), int(population.weights.sum())) == F(15, 16) ** 5
    assert abs(float(F(15, 16) ** 5) - 0.724) < 0.0005


def test_linked_gametes_of_either_phase() -> None:
    coupling = hybrid("AB/AB", "ab/ab", (0.1,)).gamete_shares()
    repulsion = hybrid("Ab/Ab", "aB/aB", (0.1,)).gamete_shares()
    assert coupling == {"AB": F(9, 20), "ab": F(9, 20), "Ab": F(1, 20), "aB": F(1, 20)}
    assert repulsion == {"Ab": F(9, 20), "aB": F(9, 20), "AB": F(1, 20), "ab": F(1, 20)}


def test_recombination_between_inbred_lines_is_2r_over_1_plus_2r() -> None:
    # Haldane and Waddington 1931, selfing to the end: R = 2r / (1 + 2r) (from memory)
    r = 0.1
    lines = hybrid("AB/AB", "ab/ab", (r,), exact=False).selfed(40).genotype_shares()
    recombined = lines["Ab/Ab"] + lines["aB/aB"]
    assert abs(recombined - 2 * r / (1 + 2 * r)) < 1e-9


def test_recombination_between_sib_mated_lines_is_4r_over_1_plus_6r() -> None:
    # Haldane and Waddington 1931, sib mating: R = 4r / (1 + 6r) (from memory)
    r = 0.1
    lines = hybrid("AB/AB", "ab/ab", (r,), exact=False).sib_mated(120).genotype_shares()
    recombined = lines["Ab/Ab"] + lines["aB/aB"]
    assert abs(recombined - 4 * r / (1 + 6 * r)) < 1e-9


# --- laws --------------------------------------------------------------------

CROSSES = [
    ("AABB", "aabb", ()),
    ("AaBb", "Aabb", ()),
    ("AB/ab", "Ab/ab", (F(3, 10),)),
    ("AB/ab CC", "Ab/aB cc", (F(1, 8),)),
    ("A1A2B1B1", "A3A3B2B3", ()),
    ("(c)AA", "(d)aa", ()),
]


@pytest.mark.parametrize("one, other, rates", CROSSES)
def test_shares_total_exactly_one_and_floats_agree(one, other, rates) -> None:
    def family(exact: bool):
        f1 = hybrid(one, other, rates, exact)
        return f1.selfed(2).crossed(f1).intermated().sib_mated(2)

    exact, floats = family(True).shares, family(False).shares
    assert exact.sum() == 1
    assert np.abs(exact.astype(float) - floats).max() < 1e-14


@pytest.mark.parametrize("one, other, rates", CROSSES[:-1])
def test_reciprocal_crosses_agree(one, other, rates) -> None:
    there, back = hybrid(one, other, rates), hybrid(other, one, rates)
    assert there.genotype_shares() == back.genotype_shares()
    assert there.selfed(2).genotype_shares() == back.selfed(2).genotype_shares()


def test_cytoplasm_comes_from_the_mother_alone() -> None:
    assert hybrid("(c)AA", "(d)aa").selfed().genotype_shares() == {
        "(c)AA": F(1, 4), "(c)Aa": F(1, 2), "(c)aa": F(1, 4),
    }  # fmt: skip
    genome = Genome.of(["(c)AA", "(d)aa"])
    mother, father = (Population.of(genome, g, exact=True) for g in ("(d)aa", "(c)AA"))
    assert mother.crossed(father).genotype_shares() == {"(d)Aa": 1}


def test_one_generation_of_sib_mating_is_open_mating_within_the_family() -> None:
    f2 = hybrid("AB/AB cc", "ab/ab CC", (F(1, 5),)).selfed()
    assert f2.sib_mated(1).genotype_shares() == f2.intermated().genotype_shares()


def test_relabelling_alleles_relabels_the_answer() -> None:
    swap = str.maketrans("Aa", "aA")
    plain = hybrid("AABB", "aabb").selfed(3).genotype_shares()
    other = hybrid("aaBB", "AAbb").selfed(3).genotype_shares()
    assert other == {str(parse_genotype(g.translate(swap))): s for g, s in plain.items()}


def test_a_chosen_class_changes_its_offspring() -> None:
    # Mendel 1866: of the dominants of an F2, 2 in 3 segregate; so 5 in 6 of F3 show it
    f2 = hybrid("AA", "aa").selfed()
    _, one, two = f2.genome.alleles_at("A")
    dominants = f2.where((one == 0) | (two == 0))
    assert dominants.genotype_shares() == {"AA": F(1, 3), "Aa": F(2, 3)}
    assert dominants.selfed().genotype_shares()["aa"] == F(1, 6)


def test_eight_loci_stay_exact_in_f8() -> None:
    f8 = hybrid("AABBCCDDEEFFGGHH", "aabbccddeeffgghh").selfed(7)
    assert f8.heterozygous("H") == F(1, 128)
    assert f8.weights.sum() == 4 ** (8 * 8)  # 4 cases a locus for the cross and each selfing


@pytest.mark.parametrize(
    "parents, rates, says",
    [
        (["AABBCCDDEEFFGGHHII", "aabbccddeeffgghhii"], (), "At most 8 loci"),
        (["AB/AB", "ab/ab"], (), "need 1 recombination"),
        (["AB/AB", "ab/ab"], (0.7,), "from 0 to 0.5"),
        (["AB/AB", "ab/ab"], (float("nan"),), "from 0 to 0.5"),
        (["AABB", "AB/ab"], (), "name the same loci"),
        (["AA", "aabb"], (), "name the same loci"),
        (["(c)AA", "aa"], (), "cytoplasm of every parent"),
    ],
)
def test_genomes_that_make_no_sense(parents, rates, says) -> None:
    with pytest.raises(ModelError, match=says):
        Genome.of(parents, rates)


def test_no_plant_of_that_kind() -> None:
    f1 = hybrid("AA", "aa")
    with pytest.raises(ModelError, match="No plant"):
        f1.where(np.zeros(f1.genome.shape, dtype=bool))
    with pytest.raises(ModelError, match="share one genome"):
        f1.crossed(hybrid("BB", "bb"))
