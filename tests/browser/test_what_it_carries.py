"""What a plant carries, asked by keyboard."""

import pytest


@pytest.mark.browser
def test_what_it_carries(open_notebook) -> None:
    notebook = open_notebook("what_it_carries")
    notebook.screenshot("what_it_carries")
    panel = notebook.panel(1)
    first = panel.seen()
    assert "F2-01 is red; it carries orange unseen with chance 2 in 3 (67 %)." in first.words
    assert "score 11 offspring" in first.words
    assert "red: F2-01 and 40 more: breeds true 33 %" in first.alt

    fixed = panel.choose("Plant", "F2-46")
    assert "F2-46 is red; it breeds true for it with chance 96 %." in fixed.words
    assert "Nothing more is needed" in fixed.words and fixed.picture != first.picture
    three = panel.choose("Trait", "unripe colour")
    assert "F2-46 is green" in three.words and "unripe colour" not in fixed.words
    assert three.picture != fixed.picture
    doubted = panel.choose("Trait", "burn")
    assert doubted.words.startswith("No model fits these scores well")
    back = panel.choose("Family", "BC1P2 (BC1 to P2)")
    assert "BC1P2-01 is hot" in back.words

    unknown = panel.choose("Family", "volunteers")
    assert "The parents of volunteers are not known." in unknown.words and not unknown.alt
    panel.choose("Family", "F2")
    panel.choose("Trait", "ripe colour")
    assert notebook.page.locator("[title='null']").count() == 0
    whole = notebook.screenshot("what_it_carries_f2")
    notebook.page.set_viewport_size({"width": 800, "height": 900})
    sheet = panel.answer.evaluate("answer => [answer.scrollWidth, answer.clientWidth]")
    assert sheet[0] <= sheet[1]  # nothing is cut off on a small screen
    panel.answer.locator("img").first.scroll_into_view_if_needed()
    notebook.page.screenshot(path=whole.with_stem("what_it_carries_small"))
