"""Rules and the catalogue: the famous ratios come out of the engine."""

import itertools
from fractions import Fraction as F

import pytest

import breedkit as bk
from breedkit.errors import ModelError
from breedkit.models import InheritanceModel, catalogue

# name: F2, testcross. Textbook ratios (check 2.11, derived by enumeration; directions after
# Sinnott 1927 for 9:6:1); 27:37, 63:1 and 1:4:6:4:1 likewise.
FAMOUS = {
    "single dominant gene": ("3:1", "1:1"),
    "incomplete dominance": ("1:2:1", "0:1:1"),
    "two independent genes": ("9:3:3:1", "1:1:1:1"),
    "recessive epistasis": ("9:3:4", "1:1:2"),
    "dominant epistasis": ("12:3:1", "2:1:1"),
    "complementary genes": ("9:7", "1:3"),
    "duplicate genes": ("15:1", "3:1"),
    "dominant inhibitor": ("13:3", "3:1"),
    "duplicate genes with cumulative effect": ("9:6:1", "1:2:1"),
    "two additive genes": ("1:4:6:4:1", "0:0:1:2:1"),
    "three complementary genes": ("27:37", "1:7"),
    "triplicate genes": ("63:1", "7:1"),
}


@pytest.mark.parametrize("name", FAMOUS)
def test_famous_ratios(name: str) -> None:
    model = catalogue()[name]
    assert (model.ratio("F2"), model.ratio("testcross")) == FAMOUS[name]


def test_the_catalogue_is_whole_and_referenced() -> None:
    models = catalogue()
    assert set(models) == {*FAMOUS, "recessive lethal", "maternal inheritance"}
    assert all(m.reference and m.name == name for name, m in models.items())
    models.clear()
    assert catalogue()  # a copy was handed out


def test_further_two_gene_ratios_of_a_rule() -> None:
    # 10:3:3, 7:6:3 and 3:6:3:1:2:1 (check 2.11, derived)
    ten = InheritanceModel.from_rule({"A_B_": "x", "aabb": "x", "A_bb": "y", "aaB_": "z"})
    assert ten.ratio("F2") == "10:3:3"
    seven = InheritanceModel.from_rule({"AAB_": "s", "aa__": "s", "AaB_": "t", "A_bb": "u"})
    assert seven.ratio("F2") == "7:6:3"
    six = InheritanceModel.from_rule(
        {"AAB_": "1", "AaB_": "2", "aaB_": "3", "AAbb": "4", "Aabb": "5", "aabb": "6"}
    )
    assert six.ratio("F2") == "3:6:3:1:2:1"


def test_a_recessive_lethal_gives_two_to_one() -> None:
    # Baur 1907 and every textbook since: the carriers, selfed, give 2:1
    lethal = catalogue()["recessive lethal"]
    assert lethal.ratio("F1") == "1:1"
    assert lethal.ratio("F2 from carrier F1") == "2:1"
    with pytest.raises(ModelError, match="No plant"):
        lethal.expected("P1", parents=("AA", "aa"))


def test_cytoplasm_follows_the_mother() -> None:
    model = catalogue()["maternal inheritance"]
    assert model.expected("F2") == {"mother's": 1, "other": 0}
    assert model.expected("F2", parents=("(c)", "(C)")) == {"mother's": 0, "other": 1}


# Facts of the trade: common practice, no source.
@pytest.mark.parametrize("shown, hidden", [("red", "orange"), ("hanging", "upright")])
def test_red_over_orange_and_hanging_over_upright(shown: str, hidden: str) -> None:
    model = InheritanceModel.from_rule({"A_": shown, "aa": hidden})
    assert model.expected("F1") == {shown: 1, hidden: 0}
    assert model.expected("F2") == {shown: F(3, 4), hidden: F(1, 4)}
    assert model.expected("BC1(P2)") == {shown: F(1, 2), hidden: F(1, 2)}
    assert model.expected("BC1(P1)") == {shown: 1, hidden: 0}


def test_families_of_chosen_plants() -> None:
    model = InheritanceModel.from_rule({"A_": "red", "aa": "orange"})
    assert model.expected("F3 from orange F2") == {"red": 0, "orange": 1}
    assert model.expected("F3 from red F2") == {"red": F(5, 6), "orange": F(1, 6)}
    assert model.expected("F4 from Red F2") == {"red": F(3, 4), "orange": F(1, 4)}
    assert model.expected("F2:3") == model.expected("F3") == {"red": F(5, 8), "orange": F(3, 8)}
    assert model.expected("BC1(P2)F2") == {"red": F(3, 8), "orange": F(5, 8)}
    with pytest.raises(ModelError, match="Did you mean 'orange'"):
        model.expected("F3 from orannge F2")
    with pytest.raises(ModelError, match="No plant"):
        model.expected("F2 from orange F1")


def test_three_way_and_double_cross_by_hand() -> None:
    # (AA x aa) x aa: half Aa; (AA x aa) x (AA x aa): an F2 (Punnett squares)
    model = catalogue()["single dominant gene"]
    assert model.ratio("three-way", ("AA", "aa", "aa")) == "1:1"
    assert model.ratio("double cross", ("AA", "aa", "AA", "aa")) == "3:1"
    assert model.ratio("F2 open") == "3:1"
    assert model.ratio("F2 sib") == "3:1"  # full sibs, taken at random


def test_a_plant_crossed_to_its_own_offspring() -> None:
    # AA x aa is impossible between a plant and its selfed offspring, so "all between" is too
    from breedkit.pedigree import Chosen, Cross, Founder, Selfing

    f2 = Selfing(Cross(Founder("P1"), Founder("P2")))
    a = Chosen(f2, plant="a")
    back = Cross(a, Chosen(Selfing(a), plant="b"))
    model = catalogue()["incomplete dominance"]
    outcomes = {tuple(o.values()) for o in model.outcomes(back, {"P1": "AA", "P2": "aa"})}
    assert outcomes == {
        (1, 0, 0), (0, 0, 1), (F(1, 2), F(1, 2), 0), (F(1, 4), F(1, 2), F(1, 4)),
        (0, F(1, 2), F(1, 2)),
    }  # fmt: skip


def test_many_alleles() -> None:
    # a series A1 > A2 > A3: (A1A3 x A2A3) gives 1/4 A1A2, 1/4 A1A3, 1/4 A2A3, 1/4 A3A3
    model = InheritanceModel.from_rule(
        {"A1_": "dark", "A2A2": "mid", "A2A3": "mid", "A3A3": "pale"}
    )
    assert model.ratio("F1", ("A1A3", "A2A3")) == "2:1:1"


def test_linked_loci_lie_between_coupling_and_independence() -> None:
    rule = {"A_B_": "both", "A_bb": "A", "aaB_": "B", "aabb": "none"}
    model = InheritanceModel.from_rule(rule, parents=("AB/AB", "ab/ab"), recombination=(F(1, 5),))
    # aabb in F2 = ((1 - r) / 2)^2 in coupling, (r / 2)^2 in repulsion (textbooks)
    assert model.expected("F2")["none"] == F(4, 25)
    assert model.expected("F2", ("Ab/Ab", "aB/aB"))["none"] == F(1, 100)


# --- laws --------------------------------------------------------------------

FAMILIES = ["P1", "F1", "F2", "F3", "BC1", "BC1(P2)", "BC2F2", "testcross", "F2:3", "F2 open"]


@pytest.mark.parametrize("name", catalogue())
def test_shares_total_one_and_floats_agree(name: str) -> None:
    model = catalogue()[name]
    for family in FAMILIES:
        exact = model.expected(family)
        assert sum(exact.values()) == 1
        shares = model.shares(family)
        assert max(abs(float(e) - s) for e, s in zip(exact.values(), shares, strict=True)) < 1e-14


def test_merging_classes_adds_expectations() -> None:
    fine = catalogue()["two independent genes"].expected("BC1F2")
    merged = InheritanceModel.from_rule(
        {"A_B_": "both", "A_bb": "one", "aaB_": "one", "aabb": "none"}
    ).expected("BC1F2")
    assert merged["one"] == fine["A alone"] + fine["B alone"]


def test_order_of_patterns_and_loci_does_not_matter() -> None:
    rule = {"A_B_": "purple", "A_bb": "red", "aa__": "white"}
    plain = InheritanceModel.from_rule(rule).expected("F3")
    for order in itertools.permutations(rule):
        assert InheritanceModel.from_rule({k: rule[k] for k in order}).expected("F3") == plain
    assert InheritanceModel.from_rule(rule).expected("F3", ("BBAA", "bbaa")) == plain


# --- bad input ---------------------------------------------------------------


@pytest.mark.parametrize(
    "rule, says",
    [
        ({"A_B_": "purple", "A_bb": "red"}, "no pattern covers aaBB, aaBb, aabb"),
        ({"A_": "red", "Aa": "pink", "aa": "white"}, "more than one pattern covers Aa"),
        ({"A_": "red"}, "no pattern covers aa"),
        ({}, "A rule says a class"),
        ("A_", "A rule says a class"),
        ({"A_": None, "aa": None}, "at least one class"),
    ],
)
def test_rules_that_do_not_cover_every_genotype_once(rule, says) -> None:
    with pytest.raises(ModelError, match=says):
        InheritanceModel.from_rule(rule)


def test_missing_and_double_genotypes_are_reported_together() -> None:
    with pytest.raises(ModelError) as caught:
        InheritanceModel.from_rule({"A_B_": "x", "A_bb": "y", "AAbb": "z"})
    assert "no pattern covers aaBB" in str(caught.value)
    assert "more than one pattern covers AAbb" in str(caught.value)


@pytest.mark.parametrize(
    "family, parents, says",
    [
        ("F2", ("AA",), "Parent P2"),
        ("F2", ("AA", "aaa"), "not a pair"),
        ("F2", ("BB", "bb"), "lacks locus A"),
        ("F2", "AAaa", "list of genotypes"),
    ],
)
def test_parents_that_do_not_fit(family, parents, says) -> None:
    with pytest.raises(ValueError, match=says):
        catalogue()["single dominant gene"].expected(family, parents)


# --- display -----------------------------------------------------------------


def test_display_says_classes_and_ratios() -> None:
    model = bk.InheritanceModel.from_rule({"A_B_": "purple", "A_bb": "red", "aa__": "white"})
    assert repr(model).splitlines() == [
        "own rule: 2 genes, 3 classes.",
        "  'purple'            A_B_",
        "  'red'               A_bb",
        "  'white'             aa__",
        "  parents, as a rule  AABB x aabb",
        "  F1                  1:0:0",
        "  F2                  9:3:4",
        "  testcross           1:1:2",
    ]


def test_hostile_class_names_are_shown_as_text() -> None:
    nasty = "<img src=x onerror=alert(1)>"
    model = InheritanceModel.from_rule({"A_": nasty, "aa": "$x_$"}, name=nasty)
    assert "<img" not in model._repr_html_()
    assert model.expected("F2")[nasty] == F(3, 4)


# --- classes that do not always show, plants that die off ---------------------


def test_a_class_that_does_not_always_show() -> None:
    model = catalogue()["single dominant gene"]
    shy = model.with_penetrance("dominant", "recessive", 0.8)
    assert shy.expected("F2") == {"dominant": F(3, 5), "recessive": F(2, 5)}
    assert shy.shares("F2") == pytest.approx([0.6, 0.4], abs=1e-15)
    # of plants that show the recessive, 3/4 * 1/5 against 1/4 carry the dominant (Bayes' rule):
    # AA 1/8, Aa 2/8, aa 5/8; selfed, 1/8 + 3/4 * 2/8 = 5/16 dominants, of which 4/5 show
    assert shy.expected("F3 from recessive F2") == {"dominant": F(1, 4), "recessive": F(3, 4)}
    assert model.with_penetrance("dominant", "recessive", 1).expected("F2") == model.expected("F2")


def test_plants_that_die_off() -> None:
    model = catalogue()["single dominant gene"]
    fewer = model.with_viability("recessive", 0.5)
    assert fewer.expected("F2") == {"dominant": F(6, 7), "recessive": F(1, 7)}
    assert fewer.shares("F2") == pytest.approx([6 / 7, 1 / 7], abs=1e-15)
    # the F2 that lives is AA 2, Aa 4, aa 1 of 7; selfed 12 : 8 : 8 of 28, of the last half live
    assert fewer.expected("F3") == {"dominant": F(5, 6), "recessive": F(1, 6)}


def test_shares_that_cannot_be() -> None:
    model = catalogue()["single dominant gene"]
    with pytest.raises(ModelError, match="from 0 to 1"):
        model.with_viability("recessive", 1.5)
    with pytest.raises(ModelError, match="as itself"):
        model.with_penetrance("dominant", "dominant")
    with pytest.raises(ModelError, match="not a class|known|Known"):
        model.with_viability("purple")
    with pytest.raises(ModelError, match="say how many"):
        model.with_viability("recessive").expected("F2")
