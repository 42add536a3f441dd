"""The start notebook, as on a first day: read, load a table, go back, by keyboard."""

from pathlib import Path

import pytest

TABLE = "plant;family;fruit\n1;F2;round\n2;F2;ruond\n3;F2;long\n4;F2;round\n5;F2;round\n"


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
        assert "5 plants in 1 family" in loaded.words and "ruond" in loaded.words
        notebook.screenshot("start_own_table")
        bad = tmp_path / "photo.csv"
        bad.write_bytes(b"%PDF-1.7 \x00")
        assert "PDF" in panel.pick_file("Pick your table", bad).words
    finally:
        back = panel.press("Back to the invented season", "Enter")
    assert "The invented season is what the other notebooks use now" in back.words
