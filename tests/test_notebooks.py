"""The notebooks as files. That each still says what it said is nbval's part, in the same run."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))
LONGEST_CELL = 12


def read(path: Path) -> dict:
    return json.loads(path.read_text(encoding="utf-8"))


def code_cells(notebook: dict) -> list[dict]:
    return [cell for cell in notebook["cells"] if cell["cell_type"] == "code"]


def source(cell: dict) -> str:
    return "".join(cell["source"])


def is_panel(cell: dict) -> bool:
    """Whether the cell shows controls. A cell that was never run shows nothing."""
    view = "application/vnd.jupyter.widget-view+json"
    return any(view in output.get("data", {}) for output in cell["outputs"])


def exceptions(cell: dict) -> list[str]:
    """What the cell asks nbval to leave out, by a tag or a comment."""
    words = [*cell["metadata"].get("tags", []), *source(cell).lower().split()]
    return [word for word in words if word.startswith(("nbval", "#nbval"))]


def faults(notebook: dict) -> list[str]:
    """What would trouble a reader, or let a change pass unseen; one sentence each.

    A panel alone may ask nbval to ignore its output, if the next cell prints the same in text.
    """
    cells = code_cells(notebook)
    found = []
    if [cell["execution_count"] for cell in cells] != list(range(1, len(cells) + 1)):
        found.append("not run from top to bottom in one go")
    if notebook["metadata"].get("kernelspec", {}).get("name") != "python3":
        found.append("the kernel is not python3")
    if notebook["cells"] and notebook["cells"][0]["cell_type"] != "markdown":
        found.append("does not begin with words")
    for cell, following in zip(cells, [*cells[1:], None], strict=True):
        text = source(cell)
        first = text.split("\n")[0]
        lines = [line for line in text.split("\n") if line.strip()]
        if not lines:
            found.append("an empty cell")
        if len(lines) > LONGEST_CELL:
            found.append(f"{len(lines)} lines in one cell: {first}")
        if any(line.split()[0] in ("def", "class", "async") for line in lines):
            found.append(f"defines a function: {first}")
        for output in cell["outputs"]:
            if output["output_type"] == "error":
                found.append(f"ends in an error: {first}")
            if output.get("name") == "stderr":
                found.append(f"prints a warning: {first}")
        spoken_for = is_panel(cell) and following is not None and not exceptions(following)
        if exceptions(cell) and not (exceptions(cell) == ["nbval-ignore-output"] and spoken_for):
            found.append(f"nothing compares what it says: {first}")
        if is_panel(cell):
            if not cell["metadata"].get("jupyter", {}).get("source_hidden"):
                found.append(f"a panel shows its code: {first}")
            if not first.startswith("# "):
                found.append(f"a panel without a friendly first line: {first}")
    return found


@pytest.fixture
def notebook() -> dict:
    """A notebook without fault: words, a number, a panel."""
    panel = {"application/vnd.jupyter.widget-view+json": {"model_id": "0"}, "text/plain": "Panel"}
    return {
        "metadata": {"kernelspec": {"name": "python3"}},
        "cells": [
            {"cell_type": "markdown", "source": ["# How many?"]},
            {
                "cell_type": "code",
                "execution_count": 1,
                "metadata": {},
                "source": ["1 + 1"],
                "outputs": [{"output_type": "execute_result", "data": {"text/plain": "2"}}],
            },
            {
                "cell_type": "code",
                "execution_count": 2,
                "metadata": {"jupyter": {"source_hidden": True}},
                "source": ["# Choose and look\n", "panel()"],
                "outputs": [{"output_type": "execute_result", "data": panel}],
            },
        ],
    }


def test_a_good_notebook_has_no_fault(notebook):
    assert faults(notebook) == []


def test_a_panel_that_the_next_cell_speaks_for_may_be_ignored(notebook):
    text, panel = code_cells(notebook)
    panel["metadata"]["tags"] = ["nbval-ignore-output"]
    notebook["cells"].append({**text, "execution_count": 3})
    assert faults(notebook) == []


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda first, panel: first.update(execution_count=None), "not run"),
        (lambda first, panel: first.update(execution_count=3), "not run"),
        (lambda first, panel: first.update(source=[]), "empty"),
        (lambda first, panel: first.update(source=["x\n"] * 13), "13 lines"),
        (lambda first, panel: first.update(source=["if 1:\n", "  def f(): 1"]), "defines"),
        (lambda first, panel: first.update(outputs=[{"output_type": "error"}]), "error"),
        (
            lambda first, panel: first.update(outputs=[{"output_type": "", "name": "stderr"}]),
            "warning",
        ),
        (lambda first, panel: first["metadata"].update(tags=["nbval-ignore-output"]), "compares"),
        (lambda first, panel: panel["metadata"].update(tags=["nbval-ignore-output"]), "compares"),
        (lambda first, panel: first.update(source=["# NBVAL_SKIP\n", "1"]), "compares"),
        (lambda first, panel: panel.update(metadata={}), "shows its code"),
        (lambda first, panel: panel.update(source=["panel()"]), "friendly"),
    ],
)
def test_each_fault_is_found(notebook, change, said):
    change(*code_cells(notebook))
    assert [said in fault for fault in faults(notebook)] == [True]


def test_the_start_notebook_is_there():
    assert "start.ipynb" in [path.name for path in NOTEBOOKS]


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_a_notebook_is_fit_to_show(path):
    assert faults(read(path)) == []


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_a_panel_is_driven_in_a_browser(path):
    """Each notebook with controls has a test that opens it, by the same name."""
    if any(is_panel(cell) for cell in code_cells(read(path))):
        driver = ROOT / "tests" / "browser" / f"test_{path.stem}.py"
        assert driver.exists()
        assert f'open_notebook("{path.stem}")' in driver.read_text(encoding="utf-8")


def test_outputs_are_compared_as_they_are():
    """No file of patterns by which nbval would let a difference pass."""
    settings = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    assert '"--nbval", "--nbval-current-env"' in settings
    assert "sanitize" not in settings
