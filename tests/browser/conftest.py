"""The workbench as a grower starts it, and a browser: `open_notebook` for the browser tests.

`python -m breedkit` runs in a copy of the clone, so that nothing here is written to, with a
home of its own, so that no settings of whoever runs the tests matter. The browser is the
Chromium of the system. Screenshots go to the folder that BREEDKIT_SCREENSHOTS names, else to
one that pytest throws away.
"""

from __future__ import annotations

import os
import re
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

import pytest
from driver import HEIGHT, PATIENCE, WIDTH, Notebook

if TYPE_CHECKING:
    from playwright.sync_api import Browser

ROOT = Path(__file__).parent.parent.parent
FLAGS = [
    "--no-sandbox",  # the CI is root
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


class Workbench:
    """A running workbench, started as the README says, with the folder it shows."""

    def __init__(self, clone: Path, home: Path) -> None:
        self.folder = clone / "my_notebooks"
        self.log = home / "printed.txt"
        homes = (
            "HOME",
            "JUPYTER_CONFIG_DIR",
            "JUPYTER_DATA_DIR",
            "JUPYTER_RUNTIME_DIR",
            "IPYTHONDIR",
        )
        with self.log.open("w") as log:
            self.process = subprocess.Popen(
                [sys.executable, "-m", "breedkit", "--no-browser", "--expose-app-in-browser"],
                cwd=clone,
                env={**os.environ, **dict.fromkeys(homes, str(home)), "PYTHONUNBUFFERED": "1"},
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=subprocess.STDOUT,
                start_new_session=True,
            )

    @property
    def printed(self) -> str:
        return self.log.read_text()

    def address(self, name: str) -> str:
        """The address that the workbench printed, with another notebook in it."""
        deadline = time.monotonic() + PATIENCE / 1000
        while not (printed := re.search(r"http://127\S+", self.printed)):
            assert self.process.poll() is None, self.printed
            assert time.monotonic() < deadline, f"no address in: {self.printed}"
            time.sleep(0.1)
        return printed[0].replace("/start.ipynb", f"/{name}.ipynb")

    def stop(self) -> int:
        """Press Ctrl-C, which reaches every process of a terminal, and return the exit code."""
        os.killpg(self.process.pid, signal.SIGINT)
        return self.process.wait(PATIENCE / 1000)


def copy_of_clone(folder: Path) -> Path:
    """What a fresh clone has and the workbench needs."""
    for part in ("breedkit", "notebooks", "sample_data"):
        shutil.copytree(ROOT / part, folder / part)
    shutil.copy(ROOT / "pyproject.toml", folder)
    return folder


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
