"""The truth study: the comparison is as often right as it says, and seldom wrong.

What is asserted here are the promises of the verdict; the figures themselves stand in
`sample_data/truth_study.csv` and are compared with a fresh run.
"""

import numpy as np
import pandas as pd
import pytest
import truth_study as study

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def frames() -> dict[str, pd.DataFrame]:
    return {kind: study.answers(kind, many) for kind, many in study.SEASONS.items()}


def spread(share: float, n: int) -> float:
    """The standard error of a share."""
    return float(np.sqrt(share * (1 - share) / n))


def test_the_top_model_is_right_as_often_as_the_best_choice_can_be(frames) -> None:
    """Drawn from the stated priors, no rule of choice beats the mean of the largest weight.

    The seasons are drawn from the models with a name, which have 19 of 20 parts beforehand, so
    the weight of all rules without a name is what the comparison may be short of.
    """
    frame = frames[study.PRIOR]
    n, right, said = len(frame), frame["top is right"].mean(), frame["top"].mean()
    assert said - 4 * spread(said, n) < right < said + 0.05 + 4 * spread(said, n)


@pytest.mark.parametrize(("low", "high"), [(0.5, 0.7), (0.7, 0.9), (0.9, 0.95), (0.95, 1.01)])
def test_weights_are_calibrated(frames, low: float, high: float) -> None:
    frame = frames[study.PRIOR]
    those = frame[(frame["together"] >= low) & (frame["together"] < high)]
    said, right, n = those["together"].mean(), those["among them"].mean(), len(those)
    assert n > 100
    assert said - 4 * spread(said, n) < right < said + 0.05 + 4 * spread(said, n)


def test_supported_is_wrong_in_less_than_one_season_of_a_hundred(frames) -> None:
    assert (frames[study.PRIOR]["outcome"] == "wrong").mean() < 0.01
    assert (frames[study.PRIOR]["outcome"] == "right").mean() > 0.15


@pytest.mark.parametrize("kind", [study.SLIPS, study.NAMELESS, study.SWAPPED])
def test_supported_is_seldom_wrong_where_the_truth_is_not_in_the_catalogue(frames, kind) -> None:
    assert (frames[kind]["outcome"] == "wrong").mean() < 0.05


def test_the_interval_of_slips_holds_what_it_promises(frames) -> None:
    frame = frames[study.PRIOR]
    assert len(frame) == 2000
    assert 0.935 <= frame["slips held"].mean() <= 0.965


def test_the_written_figures_are_those_of_a_fresh_run(frames) -> None:
    """Within four standard errors: another version of numpy may draw otherwise."""
    fresh, written = study.summary(frames, study.by_model()), pd.read_csv(study.FILE, dtype=str)
    written["seasons"] = written["seasons"].astype(int)
    keys = ["truth", "F2", "slips", "outcome"]
    both = fresh.merge(written, on=keys, how="outer", suffixes=("", " written")).fillna(0)
    total = both.groupby(keys[:3])["seasons"].transform("sum")
    share = (both["seasons"] + both["seasons written"]) / 2 / total
    allowed = 4 * np.sqrt(2 * np.maximum(share * (1 - share), 1 / total) * total)
    assert ((both["seasons"] - both["seasons written"]).abs() <= allowed).all()
    assert (both.groupby(keys[:3])["seasons written"].sum() == total.groupby(
        [both[k] for k in keys[:3]]).first()).all()  # fmt: skip
