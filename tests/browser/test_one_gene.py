"""Is it one gene, asked by keyboard."""

import pytest


@pytest.mark.browser
def test_one_gene(open_notebook) -> None:
    notebook = open_notebook("one_gene")
    notebook.screenshot("one_gene")
    panel = notebook.panel(1)
    first = panel.seen()
    assert "Cannot tell yet: 3:1 and 13:3 both fit" in first.words
    assert "458 to 479 plants" in first.words
    assert "cannot tell 3:1 from 13:3" in first.alt
    small = panel.choose("Family", "F2-Oddley (F2)")
    assert "3:1 and 9:7 both fit 13 red : 7 orange" in small.words
    assert "66 to 69 plants" in small.words and small.picture != first.picture
    other = panel.choose("Trait", "unripe colour")
    assert other.words != small.words and other.picture != small.picture
    unknown = panel.choose("Family", "volunteers")
    assert "The parents of family 'volunteers' are not known" in unknown.words
    assert "family volunteers: 2 plants scored" in unknown.alt  # the counts alone
    assert notebook.page.locator("[title='null']").count() == 0
    notebook.screenshot("one_gene_unknown")
