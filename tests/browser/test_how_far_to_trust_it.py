"""How far to trust the verdict, tried out by keyboard."""

import pytest


@pytest.mark.browser
def test_how_far_to_trust_it(open_notebook) -> None:
    notebook = open_notebook("how_far_to_trust_it")
    panel = notebook.panel(1)
    first = panel.seen()
    assert "Of 40 seasons of 75 plants drawn from single dominant gene" in first.words
    assert "single dominant gene: " in first.alt
    for control, choice, said in [
        ("Truth", "two additive genes", "drawn from two additive genes"),
        ("F2", "20 plants", "of 55 plants"),
        ("Backcross", "0 plants", "of 35 plants"),
        ("F3", "20 plants", "of 55 plants"),
        ("Slips", "15 % of the plants", "mis-scored"),
    ]:
        seen = panel.choose(control, choice)
        assert said in seen.words and seen.picture
    assert seen.picture != first.picture
    assert notebook.page.locator("[title='null']").count() == 0
    notebook.screenshot("how_far_to_trust_it")
    notebook.page.set_viewport_size({"width": 800, "height": 900})
    sheet = panel.answer.evaluate("answer => [answer.scrollWidth, answer.clientWidth]")
    assert sheet[0] <= sheet[1]  # nothing is cut off on a small screen
