"""Sets up the workbench and opens it: `python3 -m breedkit`, in a fresh clone.

Only the standard library is used here, since nothing else is there yet. If the
Python that runs this has all that pyproject.toml asks for, nothing is installed.
If not, the environment `.venv` in the clone is made once and used from then on. A
stamp in it says what was installed, for which Python and where, so that a pull that
asks for more installs more, and an installation that broke off is made anew.

The notebooks that open are copies in `my_notebooks`, which git ignores. JupyterLab
saves by itself every two minutes, so whoever played in `notebooks` would have changed
files there, and their next `git pull` would refuse. A copy is laid anew when the
project's notebook has changed; the grower's own is kept beside it, under another name.
"""

from __future__ import annotations

import filecmp
import hashlib
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Callable, Sequence
from importlib.metadata import PackageNotFoundError, version
from importlib.util import find_spec
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
OLDEST_PYTHON = (3, 11)
START = "start.ipynb"
OWN_FOLDER = "my_notebooks"

HELP = """\
python3 -m breedkit         open the workbench in your browser
python3 -m breedkit test    check that everything works (about three minutes)
python3 -m breedkit help    show this

Options go on to JupyterLab or to pytest:
    python3 -m breedkit --no-browser --port 9000
    python3 -m breedkit test -k ratios
On Windows, write py instead of python3. To stop the workbench, press Ctrl-C here."""


def main(
    arguments: Sequence[str],
    root: Path = ROOT,
    run: Callable[..., int] | None = None,
    say: Callable[[str], None] | None = None,
) -> int:
    """Do what the command line asks for and return the exit code.

    Parameters
    ----------
    arguments : the words after `python3 -m breedkit`.
    root : the clone. Tests give a folder of their own.
    run : runs a command as `call` does. Tests give one that only takes notes.
    say : prints a sentence for the grower.
    """
    run, say = run or call, say or print_now
    word = arguments[0] if arguments else ""
    if word in ("help", "-h", "--help"):
        say(HELP)
        return 0
    if word not in ("", "test") and not word.startswith("-"):
        say(f"breedkit does not know the word {word!r}.\n\n{HELP}")
        return 2
    check_python(sys.version_info[:2])
    if not (root / "notebooks" / START).exists():
        raise SystemExit(
            f"The notebooks are not beside {root / 'breedkit'}.\n"
            "Go to the folder that git clone made, and start breedkit there."
        )
    if word == "test":
        python = find_or_make(root, "test", run, say)
        return run([python, "-m", "pytest", *arguments[1:]], root, environment(root))
    python = find_or_make(root, "", run, say)
    folder = lay_out_notebooks(root, say)
    say("Opening the workbench in your browser. To stop it, press Ctrl-C here.")
    say("A line about TCP without encryption is harmless: nothing leaves this computer.")
    return run(lab_command(python, folder, arguments), root, environment(root))


def call(
    command: Sequence[object], cwd: Path, env: dict[str, str] | None = None, quiet: bool = False
) -> int:
    """Run a command to its end and return its exit code.

    Ctrl-C reaches the command as well as us: it ends in its own manner, and we wait.
    """
    words = [str(word) for word in command]
    child = subprocess.Popen(words, cwd=cwd, env=env, stdout=subprocess.DEVNULL if quiet else None)
    try:
        return child.wait()
    except KeyboardInterrupt:
        child.wait()
        raise


def print_now(sentence: str) -> None:
    """Print before the next command prints, also into a file."""
    print(sentence, flush=True)


def check_python(version: tuple[int, ...]) -> None:
    """Stop with a sentence if this Python is too old."""
    if version < OLDEST_PYTHON:
        raise SystemExit(
            f"breedkit needs Python {dotted(OLDEST_PYTHON)} or newer; this is {dotted(version)}.\n"
            "Get a newer one from python.org or your system's packages. It may already be\n"
            "there under its full name: try python3.12 -m breedkit."
        )


def dotted(version: Sequence[int]) -> str:
    return ".".join(str(part) for part in version)


# --- the environment ------------------------------------------------------------------


def find_or_make(
    root: Path, extra: str, run: Callable[..., int], say: Callable[[str], None]
) -> Path:
    """The Python that has all that is needed; `.venv` is made or mended if need be.

    Parameters
    ----------
    extra : name of an optional group of packages in pyproject.toml, or "".
    """
    if not missing(root, extra):
        return Path(sys.executable)
    python = venv_python(root)
    stamp = root / ".venv" / "breedkit-stamp.txt"
    wanted = stamp_lines(root, extra)
    found = stamp.read_text().split("\n") if stamp.exists() else None
    if python.exists() and found in (wanted, stamp_lines(root, "test")):
        return python
    if not (find_spec("venv") and find_spec("ensurepip")):
        package = f"python{dotted(sys.version_info[:2])}-venv"
        raise SystemExit(
            "This Python comes without the part that makes environments (venv).\n"
            f"On Debian, Ubuntu and Mint: sudo apt install {package}\n"
            "Elsewhere, install the package that has Python's venv and ensurepip. Then try again."
        )
    # An environment without a stamp was made by hand: it is added to, not thrown away.
    if python.exists() and (found is None or found[0] == wanted[0]):
        say("Fetching what has been added since the last start: a minute or less.")
    else:
        say("Setting up: fetching what the workbench needs, about 150 MB. That takes a minute")
        say("or two, on a slow line longer. It goes into the folder .venv here (750 MB).")
        must(run([sys.executable, "-m", "venv", "--clear", "--without-pip", root / ".venv"], root))
    stamp.write_text("")  # until it is filled in, the installation counts as broken off
    must(run([python, "-m", "ensurepip"], root, quiet=True))
    package = f".[{extra}]" if extra else "."
    must(run([python, "-m", "pip", "install", "-qq", "--editable", package], root))
    stamp.write_text("\n".join(wanted))
    return python


def must(code: int) -> None:
    """Stop with a sentence if a step of the set-up failed."""
    if code:
        raise SystemExit(
            "The workbench could not be set up. What went wrong stands above; most often\n"
            "there is no connection to the internet, or the disk is full. Nothing of yours is\n"
            "touched: mend it and give the same command again."
        )


def missing(root: Path, extra: str) -> list[str]:
    """What pyproject.toml asks for and the running Python does not have."""
    import tomllib  # an older Python has none, and must come as far as `check_python`

    project = tomllib.loads((root / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    requirements = list(project["dependencies"])
    if extra:
        requirements += project["optional-dependencies"][extra]
    lacking = []
    for requirement in requirements:
        name, least = requirement.split(">=")
        try:
            if numbers(version(name)) < numbers(least):
                lacking.append(requirement)
        except PackageNotFoundError:
            lacking.append(requirement)
    return lacking


def numbers(version: str) -> list[int]:
    return [int(digits) for digits in re.findall(r"\d+", version)]


def venv_python(root: Path) -> Path:
    windows = os.name == "nt"
    return root / ".venv" / ("Scripts/python.exe" if windows else "bin/python")


def stamp_lines(root: Path, extra: str) -> list[str]:
    """Python and place of the environment; what was asked for; the extra group."""
    home = f"{dotted(sys.version_info[:2])} {root}"
    return [
        hashlib.sha256(os.fsencode(home)).hexdigest(),
        hashlib.sha256((root / "pyproject.toml").read_bytes()).hexdigest(),
        extra,
    ]


# --- the workbench --------------------------------------------------------------------


def lay_out_notebooks(root: Path, say: Callable[[str], None]) -> Path:
    """Copy the project's notebooks into the grower's own folder, and return it.

    What was copied last is remembered in `.as_copied`, so that a notebook is laid anew
    only when the project's has changed. One that was worked in is then kept as
    `NAME_old.ipynb`, `NAME_old2.ipynb` and so on.
    """
    own = root / OWN_FOLDER
    remembered = own / ".as_copied"
    remembered.mkdir(parents=True, exist_ok=True)
    for source in sorted((root / "notebooks").glob("*.ipynb")):
        copy, last = own / source.name, remembered / source.name
        if copy.exists() and same(source, last):
            continue
        if copy.exists() and not same(copy, last):
            kept = free_name(copy)
            copy.rename(kept)
            say(f"There is a new {copy.name}; the one you worked in is kept as {kept.name}.")
        shutil.copyfile(source, copy)
        shutil.copyfile(source, last)
    return own


def same(one: Path, other: Path) -> bool:
    return other.exists() and filecmp.cmp(one, other, shallow=False)


def free_name(path: Path) -> Path:
    """A name beside `path` that no file has yet."""
    count, kept = 1, path.with_name(f"{path.stem}_old{path.suffix}")
    while kept.exists():
        count += 1
        kept = path.with_name(f"{path.stem}_old{count}{path.suffix}")
    return kept


def lab_command(python: Path, folder: Path, options: Sequence[str]) -> list[str]:
    """The command that opens JupyterLab on the start notebook, without the file list."""
    command = [
        *(str(python), "-m", "jupyterlab"),
        f"--ServerApp.root_dir={folder}",
        f"--LabApp.default_url=/doc/tree/{START}",
        "--ServerApp.answer_yes=True",  # Ctrl-C stops it without asking back
        "--Application.log_level=CRITICAL",  # the address is still shown
    ]
    if getattr(os, "geteuid", lambda: 1)() == 0:
        command.append("--allow-root")
    return [*command, *options]


def environment(root: Path) -> dict[str, str]:
    """This process's variables, with the clone's breedkit and its JupyterLab settings first.

    The settings are in `breedkit/labconfig`, a name that JupyterLab looks for. They ask for
    no news and no updates, and leave out what only programmers need. They also keep
    JupyterLab's own keys to the cells: as it comes, an arrow key leaves a list of a panel
    instead of moving in it, and an x typed there cuts the cell.
    """
    env = dict(os.environ)
    for name, folder in (("PYTHONPATH", root), ("JUPYTER_CONFIG_PATH", root / "breedkit")):
        env[name] = os.pathsep.join(filter(None, [str(folder), env.get(name)]))
    return env


if __name__ == "__main__":
    try:
        sys.exit(main(sys.argv[1:]))
    except KeyboardInterrupt:
        print("\nStopped.")
        sys.exit(130)
    except OSError as error:
        sys.exit(f"breedkit could not read or write a file it needs.\n{error}")
