"""Where a line comes from, asked by keyboard."""

import pytest


@pytest.mark.browser
def test_family_tree(open_notebook) -> None:
    notebook = open_notebook("family_tree")
    notebook.screenshot("family_tree")
    panel = notebook.panel(1)
    first = panel.seen()
    assert "F3-06 (F2:3 from F2-06): P1 50 ± 9 % and P2 50 ± 9 %" in first.words
    assert "3 more selfings" in first.words
    assert "F1: female P1, male P2. F2: F1 selfed. F3-06: F2-06 of F2 selfed." in first.alt

    back = panel.choose("Family", "BC1P2 (BC1 to P2)")
    assert "P2 75 ± 5 % and P1 25 ± 5 %" in back.words and back.picture != first.picture
    one = panel.choose("Plant", "BC1P2-03")
    assert "BC1P2-03, of family BC1P2" in one.words and "Where BC1P2-03 comes from" in one.alt
    assert one.picture != back.picture
    squash = panel.choose("Crop", "squash: 20 chromosome pairs")
    assert "75 ± 4 %" in squash.words and squash.picture == one.picture
    single = panel.choose("Founders", "are single plants, not inbred")
    assert "75 % still heterozygous" in single.words

    unknown = panel.choose("Family", "volunteers")
    assert "parents of family 'volunteers' are not known" in unknown.words and not unknown.alt
    founder = panel.choose("Family", "P1")
    assert "P1: a founder" in founder.words and "Beside this line: P2, F1" in founder.alt
    panel.choose("Family", "F3-11 (F2:3 from F2-11)")
    assert notebook.page.locator("[title='null']").count() == 0
    whole = notebook.screenshot("family_tree_f3")
    notebook.page.set_viewport_size({"width": 800, "height": 900})
    sheet = panel.answer.evaluate("answer => [answer.scrollWidth, answer.clientWidth]")
    assert sheet[0] <= sheet[1]  # nothing is cut off on a small screen
    panel.answer.locator("img").first.scroll_into_view_if_needed()
    notebook.page.screenshot(path=whole.with_stem("family_tree_small"))
