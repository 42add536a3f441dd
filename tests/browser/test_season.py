"""Looking around and mending, each control by keyboard."""

import pytest


@pytest.mark.browser
def test_season(open_notebook) -> None:
    notebook = open_notebook("season")
    notebook.screenshot("season")
    looking, mending = notebook.panel(1), notebook.panel(2)

    first = looking.seen()
    assert "Ripe colour, all families" in first.words and first.alt
    for control, option, says in (
        ("Trait", "fruit position", "Fruit position, all families"),
        ("Shown", "against ripe colour", "Fruit position against ripe colour, all families"),
        ("Families", "F2", "Fruit position against ripe colour, family F2"),
        ("Trait", "fruit weight", "Fruit weight against ripe colour, family F2"),
        ("Shown", "by generation and family", "Fruit weight, family F2"),
    ):
        seen = looking.choose(control, option)
        assert says in seen.words and says in seen.alt
        assert seen.picture != first.picture
        first = seen
    # A list changes the plants below the picture, not the picture.
    assert "not scored" in looking.choose("List", "plants not scored").words
    looking.choose("Families", "all families")
    looking.choose("Trait", "ripe colour")
    before = looking.seen()

    assert "as hanging, in 1 row" in mending.choose("Spelling", "hangin in fruit position").words
    assert "as orange, in 3 rows" in mending.choose("Spelling", "orannge in ripe colour").words
    assert "Choose what it means" in mending.choose("means", "choose …").words
    assert "Choose first" in mending.press("Mend it everywhere", "Enter").words
    assert "as orange, in 3 rows" in mending.choose("means", "orange").words
    assert "Mended: orannge" in mending.press("Mend it everywhere", "Enter").words
    after = looking.seen()
    assert after.words != before.words and after.picture != before.picture
    notebook.screenshot("season_mended")

    # A class can be renamed too, and a mend undone.
    assert "Choose what it means" in mending.choose("Spelling", "purple in unripe colour").words
    assert "as green" in mending.choose("means", "green").words
    assert "Mended: purple" in mending.press("Mend it everywhere", "Enter").words
    assert "Undone: purple" in mending.press("Undo the last mend", "Enter").words
    assert "Undone: orannge" in mending.press("Undo the last mend", "Space").words
    assert looking.seen() == before
    assert notebook.page.locator("[title='null']").count() == 0
