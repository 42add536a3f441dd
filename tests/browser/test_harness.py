"""The harness itself, on a notebook made here with one control of each kind."""

from __future__ import annotations

import json
import struct
from collections.abc import Callable
from urllib.request import urlopen

import pytest
from workbench import Workbench, copy_of_clone

pytestmark = pytest.mark.browser

PANEL = """\
# Choose and look
import base64
import ipywidgets as widgets

style = {"description_width": "initial"}
ratio = widgets.Dropdown(options=["3:1", "9:7", "13:3"], description="Ratio", style=style)
plants = widgets.BoundedIntText(value=60, min=1, max=500, description="Plants", style=style)
level = widgets.IntSlider(value=5, min=1, max=9, description="Level", style=style)
ripe = widgets.Checkbox(description="Ripe only", style=style)
again = widgets.Button(description="Again")
load = widgets.FileUpload(description="Your table", accept=".csv")
answer = widgets.HTML()
presses = []

def show(_):
    words = f"{ratio.value}, {plants.value} plants, level {level.value}, ripe {ripe.value}"
    words += f", pressed {len(presses)}, files {[file.name for file in load.value]}"
    bar = f"<rect width='{plants.value}' height='40'/>"
    svg = f"<svg xmlns='http://www.w3.org/2000/svg' width='600' height='40'>{bar}</svg>"
    source = "data:image/svg+xml;base64," + base64.b64encode(svg.encode()).decode()
    answer.value = f"<p>{words}</p><img alt='A bar, {plants.value} wide' src='{source}'>"

def press(_):
    presses.append(1)
    show(_)

controls = [ratio, plants, level, ripe, load]
for control in controls:
    control.observe(show, "value")
again.on_click(press)
show(None)
widgets.VBox([*controls, again, answer])
"""


def words(text: str) -> dict:
    return {"cell_type": "markdown", "metadata": {}, "source": text}


def code(text: str, hidden: bool = False) -> dict:
    metadata = {"jupyter": {"source_hidden": True}} if hidden else {}
    never_run = {"execution_count": None, "outputs": []}
    return {"cell_type": "code", "metadata": metadata, "source": text, **never_run}


@pytest.fixture
def write_notebook(workbench: Workbench) -> Callable[..., str]:
    """Writes a notebook beside the others and returns its name."""

    def write(name: str, *cells: dict) -> str:
        workbench.address("start")  # once it is known, the folder is there
        kernel = {"name": "python3", "display_name": "Python 3"}
        notebook = {"cells": cells, "metadata": {"kernelspec": kernel}}
        text = json.dumps({**notebook, "nbformat": 4, "nbformat_minor": 4})
        (workbench.folder / f"{name}.ipynb").write_text(text)
        return name

    return write


@pytest.fixture
def tiny(write_notebook: Callable[..., str]) -> str:
    """Words, a number, a panel, and a long tail."""
    return write_notebook(
        "tiny",
        words("# Tiny\n\nOn to [the start](start.ipynb)."),
        code("1 + 1"),
        code(PANEL, hidden=True),
        words("\n\n".join(f"Paragraph {n}." for n in range(40))),
        words("The end."),
    )


def test_every_kind_of_control_is_worked_by_keyboard(open_notebook, tiny, tmp_path):
    panel = open_notebook(tiny).panel(1)
    before = panel.seen()
    assert before.words == "3:1, 60 plants, level 5, ripe False, pressed 0, files []"

    assert panel.choose("Ratio", "13:3").words.startswith("13:3,")
    assert panel.choose("Ratio", "9:7").words.startswith("9:7,")
    after = panel.write("Plants", "250")
    assert "250 plants" in after.words and after.alt == "A bar, 250 wide"
    assert after.picture.startswith("data:image/") and after.picture != before.picture
    assert "252 plants" in panel.press("Plants", "ArrowUp", times=2).words
    assert "level 8" in panel.press("Level", "ArrowRight", times=3).words
    assert "level 7" in panel.press("Level", "ArrowDown").words
    assert "ripe True" in panel.press("Ripe only", "Space").words
    assert "pressed 1" in panel.press("Again", "Space").words
    assert "pressed 2" in panel.press("Again", "Enter").words
    table = tmp_path / "scores.csv"
    table.write_text("plant,colour\n1,red\n")
    assert "files ['scores.csv']" in panel.pick_file("Your table", table).words


def test_letters_typed_on_a_list_leave_the_cells_alone(open_notebook, tiny):
    """JupyterLab's own keys would cut the cell, add one above, and delete it."""
    notebook = open_notebook(tiny)
    cells = notebook.page.locator(".jp-Cell").count()
    panel = notebook.panel(1)
    panel.reach("Ratio")
    for letter in "xabddvmyr":
        notebook.page.keyboard.press(letter)
    panel.choose("Ratio", "9:7")
    assert notebook.page.locator(".jp-Cell").count() == cells


def test_a_missing_control_and_an_answer_that_stays_are_reported(open_notebook, tiny):
    notebook = open_notebook(tiny)
    panel = notebook.panel(1)
    with pytest.raises(AssertionError, match="'Rate' names 0 controls of .*'Ratio'"):
        panel.control("Rate")
    notebook.page.set_default_timeout(1500)
    with pytest.raises(AssertionError, match="stayed as it was: '3:1, 60 plants"):
        panel.press("Plants", "ArrowLeft")


def test_what_a_newcomer_sees(open_notebook, tiny):
    """Opens without pop-ups and file list; the picture shows all of it; links stay inside."""
    notebook = open_notebook(tiny)
    size = notebook.screenshot("tiny").read_bytes()[16:24]  # as every PNG begins
    width, height = struct.unpack(">II", size)
    assert width == 1280 and height > 1500
    toolbar = notebook.page.locator(".jp-NotebookPanel-toolbar").inner_text()
    assert "Python 3" in toolbar
    notebook.page.get_by_role("link", name="the start").click()
    notebook.page.wait_for_url("**/doc/tree/start.ipynb")
    notebook.assert_calm()


@pytest.mark.parametrize(
    ("line", "said"),
    [("1 / 0", "ZeroDivisionError"), ("import warnings; warnings.warn('look out')", "look out")],
)
def test_errors_and_warnings_are_noticed(open_notebook, write_notebook, line, said):
    with pytest.raises(AssertionError, match=said):
        open_notebook(write_notebook("faulty", words("# Faulty"), code(line)))


def test_a_dialog_is_noticed(open_notebook, tiny):
    notebook = open_notebook(tiny)
    notebook.page.evaluate("() => { jupyterapp.commands.execute('help:about'); }")
    notebook.page.locator(".jp-Dialog").wait_for()
    with pytest.raises(AssertionError, match="jp-Dialog"):
        notebook.assert_calm()
    notebook.page.locator(".jp-Dialog button").get_by_text("Close").click()
    notebook.page.locator(".jp-Dialog").wait_for(state="detached")


def test_the_file_list_is_noticed(open_notebook, tiny):
    notebook = open_notebook(tiny)
    notebook.page.evaluate("() => jupyterapp.commands.execute('filebrowser:activate')")
    notebook.page.locator(".jp-DirListing").wait_for()
    with pytest.raises(AssertionError, match="jp-DirListing"):
        notebook.assert_calm()
    notebook.page.evaluate("() => jupyterapp.commands.execute('filebrowser:hide-main')")
    notebook.page.locator(".jp-DirListing").wait_for(state="hidden")


def test_ctrl_c_ends_the_workbench_in_silence(tmp_path_factory):
    clone = copy_of_clone(tmp_path_factory.mktemp("second"))
    running = Workbench(clone, tmp_path_factory.mktemp("home"))
    with urlopen(running.address("start")) as answer:
        assert answer.status == 200
    assert running.stop() == 130
    assert running.printed.endswith("\nStopped.\n")
    assert "Traceback" not in running.printed
