"""The workbench as a grower starts it, in a copy of the clone and with a home of its own.

So the tests write nothing into the clone, and no settings of whoever runs them matter.
"""

from __future__ import annotations

import os
import re
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

from driver import PATIENCE

ROOT = Path(__file__).parent.parent.parent


class Workbench:
    """A running workbench, started as the README says, with the folder it shows."""

    def __init__(self, clone: Path, home: Path) -> None:
        self.folder = clone / "my_notebooks"
        self.log = home / "printed.txt"
        jupyter = ["JUPYTER_CONFIG_DIR", "JUPYTER_DATA_DIR", "JUPYTER_RUNTIME_DIR", "IPYTHONDIR"]
        with self.log.open("w") as log:
            self.process = subprocess.Popen(
                [sys.executable, "-m", "breedkit", "--no-browser", "--expose-app-in-browser"],
                cwd=clone,
                env={
                    **os.environ,
                    **dict.fromkeys(["HOME", *jupyter], str(home)),
                    "PYTHONUNBUFFERED": "1",
                },
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
        """Press Ctrl-C, which reaches every process of a terminal, and return the exit code.

        JupyterLab can miss the first one while a kernel starts; a person presses it again.
        """
        for _ in range(3):
            os.killpg(self.process.pid, signal.SIGINT)
            try:
                return self.process.wait(PATIENCE / 3000)
            except subprocess.TimeoutExpired:
                continue
        os.killpg(self.process.pid, signal.SIGKILL)
        raise AssertionError("Ctrl-C does not stop the workbench")


def copy_of_clone(folder: Path) -> Path:
    """What a fresh clone has and the workbench needs."""
    for part in ("breedkit", "notebooks", "sample_data"):
        shutil.copytree(ROOT / part, folder / part)
    shutil.copy(ROOT / "pyproject.toml", folder)
    return folder
