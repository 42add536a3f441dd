"""A running workbench and a browser: the fixture `open_notebook` for the browser tests.

The browser is the Chromium of the system. Screenshots go to the folder that
BREEDKIT_SCREENSHOTS names, else to one that pytest throws away.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

import pytest
from driver import HEIGHT, PATIENCE, WIDTH, Notebook
from workbench import Workbench, copy_of_clone

if TYPE_CHECKING:
    from playwright.sync_api import Browser

FLAGS = [
    "--no-sandbox",  # the CI is root
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


@pytest.fixture(scope="session")
def workbench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Workbench]:
    clone = copy_of_clone(tmp_path_factory.mktemp("clone"))
    running = Workbench(clone, tmp_path_factory.mktemp("home"))
    yield running
    running.stop()


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """A Chromium with an empty profile."""
    from playwright.sync_api import sync_playwright

    chromium = shutil.which("chromium")
    assert chromium, "Chromium is not installed; on Debian: apt install chromium"
    with sync_playwright() as playwright:
        running = playwright.chromium.launch(executable_path=chromium, args=FLAGS)
        yield running
        running.close()


@pytest.fixture
def open_notebook(
    workbench: Workbench,
    browser: Browser,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> Iterator[Callable[[str], Notebook]]:
    """Opens the notebook with a name, runs every cell, and returns it.

    In the end nothing may have popped up, and nothing may have been asked of another machine.
    """
    if "BREEDKIT_SCREENSHOTS" not in os.environ:
        monkeypatch.setenv("BREEDKIT_SCREENSHOTS", str(tmp_path / "screenshots"))
    context = browser.new_context(viewport={"width": WIDTH, "height": HEIGHT})
    context.set_default_timeout(PATIENCE)
    asked: list[str] = []
    context.on("request", lambda request: asked.append(request.url))
    opened: list[Notebook] = []

    def open_(name: str) -> Notebook:
        page = context.new_page()
        page.goto(workbench.address(name))
        notebook = Notebook(page)
        opened.append(notebook)
        notebook.run_all()
        notebook.assert_calm()
        return notebook

    yield open_
    for notebook in opened:
        notebook.assert_calm()
        notebook.close()
    context.close()
    assert {urlsplit(url).hostname for url in asked} <= {"127.0.0.1", None}
