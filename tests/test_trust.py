"""Seasons with a known truth: what is drawn, how answers are counted, what is shown."""

import numpy as np
import pandas as pd
import pytest
from matplotlib.figure import Figure

from breedkit import canvas
from breedkit.compare import compare_evidence
from breedkit.errors import ModelError, PedigreeError
from breedkit.models import catalogue
from breedkit.trust import (
    OUTCOMES,
    answers,
    drawn_truth,
    empty_season,
    named_models,
    outcome,
    plot_outcomes,
    try_out,
)

FAMILIES = {"P1": 4, "P2": 4, "F1": 4, "F2": 30}


def test_every_season_has_one_outcome() -> None:
    trial = try_out("single dominant gene", FAMILIES, seasons=25)
    assert trial.seasons == 25 and trial.n == 42
    assert trial.table()["seasons"].sum() == 25
    assert sum(trial.share(o) for o in OUTCOMES) == pytest.approx(1)
    assert "Of 25 seasons of 42 plants drawn from single dominant gene" in trial.verdict
    again = try_out("single dominant gene", FAMILIES, seasons=25)
    assert repr(again) == repr(trial)


def test_a_truth_that_shows_is_found() -> None:
    """Two independent genes show 9:3:3:1 in the F2; 80 plants tell that from all rivals."""
    trial = try_out("two independent genes", {**FAMILIES, "F2": 80, "BC1(P2)": 40}, 0.0, 20)
    assert trial.share("right") > 0.6 and trial.share("wrong") == 0


def test_parents_that_are_alike_teach_nothing() -> None:
    trial = try_out("single dominant gene", FAMILIES, 0.0, 5, parents=("AA", "AA"))
    assert trial.share("right") == 0 and trial.model == "single dominant gene"


def test_drawn_counts_follow_the_model() -> None:
    """The mean of 400 F2 of 30 is 3/4 by Mendel's law, within 4 standard errors."""
    evidence = empty_season({"F2": 30}, ("x", "y"))
    model = catalogue()["single dominant gene"]
    rng = np.random.default_rng(3)
    truth, one = drawn_truth(rng, [model], 2)
    assert truth is model and one.founders.shape == (1, 2)
    pure = np.array([[0, 2]])
    one = type(one)(one.genome, pure, model.rule.table(one.genome).reshape(1, -1))
    shares = [c.counts["F2"][0] / 30 for c in answers(evidence, one, 0.0, rng, 400)]
    assert abs(np.mean(shares) - 0.75) < 4 * (0.75 * 0.25 / 30 / 400) ** 0.5


def test_truths_are_drawn_from_the_priors() -> None:
    rng = np.random.default_rng(5)
    models = named_models(2)
    genes = [max(drawn_truth(rng, models, 2)[0].genes, 1) for _ in range(2000)]
    # 1, 2 and 3 genes as 16 : 4 : 1
    for g, share in ((1, 16 / 21), (2, 4 / 21), (3, 1 / 21)):
        assert abs(genes.count(g) / 2000 - share) < 4 * (share * (1 - share) / 2000) ** 0.5


def test_outcomes() -> None:
    evidence = empty_season({"P1": 1, "F1": 1, "F2": 1}, ("x", "y"))

    def said(truth: str, **counts: tuple[int, int]) -> str:
        rows = {node: counts.get(f, (0, 0)) for f, node in evidence.families.items()}
        return outcome(compare_evidence(evidence.with_scores(rows, {}), "t"), truth)

    assert said("single dominant gene", F2=(10, 4)) == "cannot tell"
    clear = {"P1": (20, 0), "F1": (20, 0), "F2": (60, 60)}
    assert said("single dominant gene", **clear) != "right"
    mother = {"P1": (20, 0), "F1": (20, 0), "F2": (90, 0)}
    assert said("maternal inheritance", **mother) == "right, not separable"
    assert said("two additive genes", **mother) == "wrong"


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"seasons": 0}, "1 to 2,000 seasons"),
        ({"error": 0.7}, "from 0 to 0.5"),
        ({"families": {}}, "how many plants"),
        ({"families": {"F2": -1}}, "how many plants"),
        ({"parents": ("AA",)}, "Give 2 parents"),
        ({"model": "single dominant gen"}, "Did you mean"),
    ],
)
def test_bad_questions(wrong: dict, says: str) -> None:
    asked = {"model": "single dominant gene", "families": FAMILIES, "seasons": 1, **wrong}
    with pytest.raises(ModelError, match=says):
        try_out(**asked)
    with pytest.raises(PedigreeError):
        try_out("single dominant gene", {"G7": 5}, seasons=1)


def test_all_faults_come_together() -> None:
    with pytest.raises(ModelError) as caught:
        try_out("single dominant gene", {}, error=0.9, seasons=9999)
    assert len(str(caught.value).splitlines()) == 3


def test_pictures() -> None:
    counts = pd.DataFrame([[3, 1, 5, 0, 1], [0, 0, 10, 0, 0]], ["<b>one</b>", "$two$"],
                          list(OUTCOMES))  # fmt: skip
    ax = plot_outcomes(counts, "How often it is right", Figure(figsize=(6.4, 3)).add_subplot())
    assert "Wrong, that is another model said to be supported, are 0 % to 10 % of a bar." in (
        canvas.caption_of(ax)
    )
    said = canvas.alternative_text(ax)
    assert "<b>one</b>: 3 right, 1 right, not separable, 5 cannot tell" in said
    assert "10 seasons" in [t.get_text() for t in ax.texts]
