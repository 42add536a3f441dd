"""The start notebook, as on a first day: read, load a table, go back, by keyboard."""

from pathlib import Path

import pytest

FRUITS = ("round", "ruond", "long", "round", "round", "round", "round")
TABLE = "plant;family;fruit\n" + "".join(f"{i};F2;{f}\n" for i, f in enumerate(FRUITS))


@pytest.mark.browser
def test_start(open_notebook, tmp_path: Path) -> None:
    own = tmp_path / "my peppers.csv"
    own.write_text(TABLE, encoding="utf-8")
    notebook = open_notebook("start")
    panel = notebook.panel(1)
    assert "The invented season is what the other notebooks use now" in panel.seen().words
    assert "orannge" in panel.seen().words
    notebook.screenshot("start")
    try:
        loaded = panel.pick_file("Pick your table", own)
        assert "Your season is what the other notebooks use now" in loaded.words
        assert "7 plants in 1 family" in loaded.words and "ruond" in loaded.words
        assert "worth a look, in my peppers.csv" in loaded.words and "1 row" in loaded.words
        assert "kept in the folder" not in loaded.words
        notebook.screenshot("start_own_table")
        bad = tmp_path / "photo.csv"
        bad.write_bytes(b"%PDF-1.7 \x00")
        failed = panel.pick_file("Pick your table", bad).words
        assert "PDF" in failed and "Your season is still what the other notebooks use" in failed
        again = panel.pick_file("Pick your table", own)
        assert "loaded before is kept in the folder my_season_old1" in again.words
    finally:
        back = panel.press("Back to the invented season", "Enter")
    assert "The invented season is what the other notebooks use now" in back.words
    assert "is kept in the folder my_season_old2" in back.words
    assert notebook.page.locator("[title='null']").count() == 0
