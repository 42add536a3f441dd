"""Which model of all, asked by keyboard."""

import pytest


@pytest.mark.browser
def test_which_model(open_notebook) -> None:
    notebook = open_notebook("which_model")
    notebook.screenshot("which_model")
    panel = notebook.panel(1)
    first = panel.seen()
    assert "Ripe colour: single dominant gene is supported" in first.words
    assert "What to grow next" in first.words and "no family is needed" in first.words
    assert "Weights: single dominant gene" in first.alt
    assert panel.answer.locator("img").count() == 2

    doubted = panel.choose("Slips", "10 % of the plants")
    assert "cannot tell yet" in doubted.words and doubted.picture != first.picture
    assert "10 % of the plants are written down as another class" in doubted.alt
    strict = panel.choose("Slips", "none at all")
    assert "is supported" in strict.words and "no plant is written down" in strict.alt

    every = panel.choose("Models", "every rule of two genes by itself")
    assert "rule A" in every.words and every.picture != strict.picture
    panel.choose("Models", "those with a name, all others as one")
    panel.choose("Slips", "as many as the scores suggest")

    burn = panel.choose("Trait", "burn")
    assert "none of these fits" in burn.words and "none of these models fits" in burn.alt
    assert burn.picture != first.picture
    assert notebook.page.locator("[title='null']").count() == 0
    notebook.screenshot("which_model_burn")
    notebook.page.set_viewport_size({"width": 800, "height": 900})
    sheet = panel.answer.evaluate("answer => [answer.scrollWidth, answer.clientWidth]")
    assert sheet[0] <= sheet[1]  # nothing is cut off on a small screen
