"""Setting up and opening, without a network: the commands are noted instead of run."""

from __future__ import annotations

import ast
import json
import os
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from breedkit import __main__ as door

NOTEBOOK = '{"cells": [], "metadata": {}, "nbformat": 4, "nbformat_minor": 5}'


class Notes:
    """Runs nothing: notes the commands, makes what `venv` would, and fails where told to."""

    def __init__(self, root: Path, fails_at: str = "") -> None:
        self.root, self.fails_at, self.commands, self.said = root, fails_at, [], []

    def run(self, command, cwd, env=None, quiet=False) -> int:
        words = [str(word) for word in command]
        assert Path(cwd) == self.root
        self.commands.append(words)
        if self.fails_at and self.fails_at in words:
            return 7
        if "venv" in words:
            python = door.venv_python(self.root)
            python.parent.mkdir(parents=True, exist_ok=True)
            python.touch()
        return 0

    def say(self, sentence: str) -> None:
        self.said.append(sentence)

    @property
    def steps(self) -> list[str]:
        """The module each command runs."""
        return [words[2] for words in self.commands]


@pytest.fixture
def clone(tmp_path: Path) -> Path:
    """A clone that asks for a package nobody has, so that an environment is needed."""
    (tmp_path / "notebooks").mkdir()
    (tmp_path / "notebooks" / "start.ipynb").write_text(NOTEBOOK)
    write_project(tmp_path, "no-such-package-anywhere>=1")
    return tmp_path


def write_project(root: Path, *requirements: str) -> None:
    (root / "pyproject.toml").write_text(
        f"[project]\ndependencies = {json.dumps(requirements)}\n"
        '[project.optional-dependencies]\ntest = ["pytest>=1"]\n'
    )


def start(clone: Path, *arguments: str, fails_at: str = "") -> Notes:
    notes = Notes(clone, fails_at)
    assert door.main(arguments, clone, notes.run, notes.say) == 0
    return notes


# --- the environment


def test_the_first_start_makes_an_environment_and_the_second_uses_it(clone):
    first = start(clone)
    assert first.steps == ["venv", "ensurepip", "pip", "jupyterlab"]
    assert first.commands[2][-2:] == ["--editable", "."]
    assert "minute" in " ".join(first.said)
    own_python = str(door.venv_python(clone))
    assert [words[0] for words in first.commands] == [sys.executable, *[own_python] * 3]

    second = start(clone)
    assert second.steps == ["jupyterlab"]
    assert second.commands[0][0] == own_python
    assert "etching" not in " ".join(second.said)


def test_the_tests_bring_their_own_packages_and_those_do_for_the_workbench(clone):
    start(clone)
    notes = start(clone, "test", "-k", "ratios", "-x")
    assert notes.steps == ["ensurepip", "pip", "pytest"]
    assert notes.commands[1][-1] == ".[test]"
    assert notes.commands[2][2:] == ["pytest", "-k", "ratios", "-x"]
    assert start(clone).steps == ["jupyterlab"]


def test_a_pull_that_asks_for_more_installs_more(clone):
    start(clone)
    write_project(clone, "no-such-package-anywhere>=2")
    assert start(clone).steps == ["ensurepip", "pip", "jupyterlab"]


def test_an_installation_that_broke_off_is_made_anew(clone):
    notes = Notes(clone, fails_at="pip")
    with pytest.raises(SystemExit, match="internet"):
        door.main([], clone, notes.run, notes.say)
    assert notes.steps[-1] == "pip"
    assert start(clone).steps == ["venv", "ensurepip", "pip", "jupyterlab"]
    assert start(clone).steps == ["jupyterlab"]


def test_another_python_or_another_place_makes_the_environment_anew(clone, monkeypatch):
    start(clone)
    moved = clone.with_name("moved")
    clone.rename(moved)
    assert "venv" in start(moved).steps
    monkeypatch.setattr(door.sys, "version_info", (3, 99, 0))
    assert "venv" in start(moved).steps


def test_an_environment_made_by_hand_is_added_to(clone):
    python = door.venv_python(clone)
    python.parent.mkdir(parents=True)
    python.touch()
    assert start(clone).steps == ["ensurepip", "pip", "jupyterlab"]


def test_a_python_that_has_everything_is_used_as_it_is(clone):
    write_project(clone, "pytest>=1", "pip>=1")
    notes = start(clone)
    assert notes.steps == ["jupyterlab"]
    assert notes.commands[0][0] == sys.executable
    assert not (clone / ".venv").exists()


def test_versions_are_compared_by_number(clone):
    newest = ".".join(["999"] * 3)
    write_project(clone, "pytest>=1.0", f"pytest>={newest}", "no-such-package-anywhere>=1")
    assert door.missing(clone, "") == [f"pytest>={newest}", "no-such-package-anywhere>=1"]
    assert door.numbers("3.10.0rc1") > door.numbers("3.9")


def test_every_requirement_can_be_compared():
    project = tomllib.loads((door.ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    for requirement in [*project["dependencies"], *project["optional-dependencies"]["test"]]:
        name, least = requirement.split(">=")
        assert name and door.numbers(least)


@pytest.mark.parametrize(
    ("system", "place"), [("posix", ".venv/bin/python"), ("nt", ".venv/Scripts/python.exe")]
)
def test_each_system_keeps_its_python_elsewhere(clone, monkeypatch, system, place):
    expected = clone / place
    monkeypatch.setattr(door.os, "name", system)
    assert door.venv_python(clone) == expected


def test_an_old_python_is_told_so():
    with pytest.raises(SystemExit, match=r"needs Python 3\.11 or newer; this is 3\.9"):
        door.check_python((3, 9))
    door.check_python((3, 11))


def test_a_python_without_venv_says_what_to_install(clone, monkeypatch):
    monkeypatch.setattr(door, "find_spec", lambda name: name != "ensurepip")
    notes = Notes(clone)
    with pytest.raises(SystemExit, match=r"sudo apt install python3\.\d+-venv"):
        door.main([], clone, notes.run, notes.say)
    assert notes.commands == []


@pytest.mark.parametrize("name", ["__init__", "__main__"])
def test_an_old_python_can_read_far_enough_to_be_told(name):
    """3.9 is what macOS brings along: no newer grammar, and no `X | Y` that it would evaluate."""
    source = (door.ROOT / "breedkit" / f"{name}.py").read_text(encoding="utf-8")
    tree = ast.parse(source, feature_version=(3, 9))
    postponed = any(isinstance(n, ast.ImportFrom) and n.module == "__future__" for n in tree.body)
    assert postponed or not any(isinstance(node, ast.BitOr) for node in ast.walk(tree))


# --- words on the command line


@pytest.mark.parametrize("word", ["help", "-h", "--help"])
def test_help(clone, word):
    notes = start(clone, word)
    assert notes.commands == [] and "python3 -m breedkit test" in notes.said[0]


def test_an_unknown_word_is_refused(clone):
    notes = Notes(clone)
    assert door.main(["tset"], clone, notes.run, notes.say) == 2
    assert notes.commands == [] and "'tset'" in notes.said[0] and door.HELP in notes.said[0]


def test_a_package_without_its_notebooks_says_where_to_go(tmp_path):
    notes = Notes(tmp_path)
    with pytest.raises(SystemExit, match="folder that git clone made"):
        door.main([], tmp_path, notes.run, notes.say)


def test_the_exit_code_is_handed_on(clone):
    write_project(clone, "pytest>=1")
    notes = Notes(clone, fails_at="pytest")
    assert door.main(["test"], clone, notes.run, notes.say) == 7


def test_commands_are_really_run(tmp_path, capfd):
    code = "import sys; print('heard'); sys.exit(3)"
    assert door.call([sys.executable, "-c", code], tmp_path) == 3
    assert capfd.readouterr().out == "heard\n"
    assert door.call([sys.executable, "-c", code], tmp_path, quiet=True) == 3
    assert capfd.readouterr().out == ""


def test_from_another_folder(tmp_path):
    env = {**os.environ, "PYTHONPATH": str(door.ROOT)}
    command = [sys.executable, "-m", "breedkit", "help"]
    done = subprocess.run(command, cwd=tmp_path, env=env, capture_output=True, text=True)
    assert (done.returncode, done.stdout.strip()) == (0, door.HELP)


# --- the workbench


def test_jupyterlab_opens_on_the_start_notebook(clone, monkeypatch):
    monkeypatch.setattr(door.os, "geteuid", lambda: 1000, raising=False)
    words = start(clone, "--no-browser", "--port", "9000").commands[-1]
    assert f"--ServerApp.root_dir={clone / 'my_notebooks'}" in words
    assert "--LabApp.default_url=/doc/tree/start.ipynb" in words
    assert words[-3:] == ["--no-browser", "--port", "9000"]
    assert "--allow-root" not in words
    monkeypatch.setattr(door.os, "geteuid", lambda: 0)
    assert "--allow-root" in start(clone).commands[-1]


def test_the_clone_and_its_settings_come_first(clone, monkeypatch):
    monkeypatch.setenv("PYTHONPATH", "elsewhere")
    monkeypatch.delenv("JUPYTER_CONFIG_PATH", raising=False)
    env = door.environment(clone)
    assert env["PYTHONPATH"].split(os.pathsep) == [str(clone), "elsewhere"]
    assert env["JUPYTER_CONFIG_PATH"] == str(clone / "breedkit")


def test_the_settings_are_the_ones_jupyterlab_reads():
    """Names of files and settings as JupyterLab 4 documents them."""
    folder = door.ROOT / "breedkit" / "labconfig"
    settings = json.loads((folder / "default_setting_overrides.json").read_text())
    news = settings["@jupyterlab/apputils-extension:notification"]
    assert news == {"checkForUpdates": False, "fetchNews": "false"}
    off = json.loads((folder / "page_config.json").read_text())["disabledExtensions"]
    assert off["@jupyterlab/apputils-extension:announcements"] is True


def test_the_grower_works_in_copies(clone):
    start(clone)
    own = clone / "my_notebooks" / "start.ipynb"
    assert own.read_text() == NOTEBOOK
    own.write_text("played in")
    assert "new start" not in " ".join(start(clone).said)
    assert own.read_text() == "played in"


def test_a_new_notebook_keeps_the_one_worked_in(clone):
    shipped, own = clone / "notebooks", clone / "my_notebooks"
    start(clone)
    for edition, kept in enumerate(["start_old.ipynb", "start_old2.ipynb"], start=2):
        (own / "start.ipynb").write_text(f"played in {edition}")
        (shipped / "start.ipynb").write_text(f"edition {edition}")
        assert kept in " ".join(start(clone).said)
        assert (own / kept).read_text() == f"played in {edition}"
        assert (own / "start.ipynb").read_text() == f"edition {edition}"


def test_a_new_notebook_replaces_a_copy_nobody_touched(clone):
    start(clone)
    (clone / "notebooks" / "start.ipynb").write_text("edition 2")
    start(clone)
    assert [path.name for path in (clone / "my_notebooks").glob("*.ipynb")] == ["start.ipynb"]


def test_a_copy_that_was_thrown_away_comes_back(clone):
    start(clone)
    own = clone / "my_notebooks" / "start.ipynb"
    own.unlink()
    start(clone)
    assert own.read_text() == NOTEBOOK


def test_a_notebook_of_the_growers_own_by_the_same_name_is_kept(clone):
    own = clone / "my_notebooks"
    own.mkdir()
    (own / "start.ipynb").write_text("mine")
    start(clone)
    assert (own / "start_old.ipynb").read_text() == "mine"
