"""The house stands: each module imports from lower floors alone, and the door is light.

The source is read, not run, so that an import inside a function, or one for type checkers
alone, counts like any other.
"""

from __future__ import annotations

import ast
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import pytest

import breedkit

ROOT = Path(breedkit.__file__).parent.parent
SOURCES = {path.stem: path for path in sorted((ROOT / "breedkit").rglob("*.py"))}

# From the ground up. A module knows the lines above its own, and nobody on its own line.
FLOORS = [
    # 0: words, faults, pictures
    ("results", "colours", "treelayout"),
    ("errors", "canvas"),
    ("charts", "modelcharts", "treechart", "pictures"),
    # 1: alleles, and who came from whom
    ("loci", "pedigree"),
    # 2: crosses, rules, exact chances, the reading of files
    ("families", "genome", "poisson", "counting", "records", "headers", "enough"),
    ("meiosis", "multinomial", "misfit", "reading", "parsing"),
    ("cross", "rules", "spelling", "evidence", "elimination"),
    ("roll", "notation", "lineage"),
    ("naming", "descent"),
    # 3: models of inheritance, and a season's tables
    ("models", "register"),
    ("season", "candidates", "everyrule"),
    ("tables", "likelihood"),
    ("choices", "posterior", "generations"),
    ("jointscaling",),
    # 4: one question each
    ("power", "overview", "familytree", "weights", "linkage", "measured", "mixture", "tasting"),
    ("ratios", "nextfamily", "kinship", "genmeans", "selection"),
    ("standing", "comparison"),
    ("judge", "compare", "scoring"),
    ("trust", "carriers", "labels"),
    # 5: plants and plans
    ("odds", "progeny", "crosscheck", "planning", "schemes", "ranking"),
    # 6: paper, exercises, controls
    ("controls",),
    ("genepanels", "treepanels", "carrypanels"),
    ("paperwork", "exercises", "panels"),
]
FLOOR_OF = {module: floor for floor, modules in enumerate(FLOORS) for module in modules}
# The only places where imports are clever: names looked up on first use, and the set-up.
APART = {"__init__", "__main__"}

DRAWING = {"canvas", "charts", "modelcharts", "pictures", "treechart"}
ONLY_IN = {"ipywidgets": {"controls", "panels"}, "matplotlib": DRAWING, "importlib": set()}
# Slow to import, so imported where they are needed.
INSIDE_FUNCTIONS = ("matplotlib", "openpyxl", "scipy.stats", "statsmodels")
LONGEST_FILE = 500


class Import(NamedTuple):
    """One imported module: its full name, and whether it is loaded with the file."""

    module: str
    at_once: bool


def imports(node: ast.AST, at_once: bool = True) -> Iterator[Import]:
    """Every import below a node. `from a import b` gives `a.b`: b may be a module."""
    if isinstance(node, ast.Import):
        yield from (Import(alias.name, at_once) for alias in node.names)
    elif isinstance(node, ast.ImportFrom):
        home = node.module or ""
        if node.level:
            home = f"breedkit.{home}".rstrip(".")
        yield from (Import(f"{home}.{alias.name}", at_once) for alias in node.names)
    at_once = at_once and not waits(node)
    for child in ast.iter_child_nodes(node):
        yield from imports(child, at_once)


def waits(node: ast.AST) -> bool:
    """Whether what is inside is not run when the file is loaded."""
    if isinstance(node, ast.If):
        return ast.unparse(node.test).endswith("TYPE_CHECKING")
    return isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda)


def faults(module: str, source: str) -> list[str]:
    """What is wrong with a module's imports, one sentence each."""
    found = []
    for name, at_once in imports(ast.parse(source)):
        package, *inner = name.split(".")
        if package == "breedkit" and inner:
            lower = inner[0]
            if lower not in FLOOR_OF:
                found.append(f"{lower} has no floor, or is a name taken from the door")
            elif FLOOR_OF[lower] >= FLOOR_OF[module]:
                found.append(f"{lower} is not on a lower floor")
        elif package == "breedkit":
            found.append("takes in the whole house")
        if package in ONLY_IN and module not in ONLY_IN[package]:
            found.append(f"{package} is not for {module}")
        if at_once and any(f"{name}.".startswith(f"{slow}.") for slow in INSIDE_FUNCTIONS):
            found.append(f"{name} is loaded with the file")
    return found


def rooms() -> list[str]:
    return [module for module in SOURCES if module not in APART]


@pytest.mark.parametrize(
    ("module", "source", "fault"),
    [
        ("cross", "from breedkit.compare import compare_models", "compare is not on a lower"),
        ("cross", "import breedkit.rules", "rules is not on a lower"),
        ("cross", "from breedkit import rules", "rules is not on a lower"),
        ("cross", "from . import rules", "rules is not on a lower"),
        ("cross", "from .rules import Rule", "rules is not on a lower"),
        ("cross", "def f():\n    from breedkit.models import catalogue", "models is not on"),
        ("cross", "if TYPE_CHECKING:\n    from breedkit.tables import Season", "tables is not"),
        ("panels", "from breedkit import ratio_test", "taken from the door"),
        ("panels", "import breedkit", "whole house"),
        ("tables", "def f():\n    import ipywidgets", "ipywidgets is not for tables"),
        ("ratios", "def f():\n    from matplotlib.figure import Figure", "matplotlib is not for"),
        ("tables", "from importlib import import_module", "importlib is not for"),
        ("charts", "import matplotlib.figure", "loaded with the file"),
        ("canvas", "from matplotlib import pyplot", "loaded with the file"),
        ("canvas", "from breedkit.charts import scatter", "charts is not on a lower"),
        ("compare", "from statsmodels import api", "loaded with the file"),
        ("ratios", "from scipy.stats import chi2", "loaded with the file"),
        ("ratios", "from scipy import stats", "loaded with the file"),
        ("ratios", "class A:\n    import scipy.stats", "loaded with the file"),
    ],
)
def test_the_reader_of_imports_sees(module, source, fault):
    assert [fault in said for said in faults(module, source)] == [True]


@pytest.mark.parametrize(
    ("module", "source"),
    [
        ("cross", "from breedkit.loci import Gamete\nfrom breedkit import errors"),
        ("ratios", "from scipy.special import erfc\nimport numpy as np"),
        ("ratios", "def f():\n    from scipy import stats"),
        ("charts", "if TYPE_CHECKING:\n    from matplotlib.axes import Axes"),
        ("charts", "def f():\n    from matplotlib.figure import Figure"),
        ("panels", "import ipywidgets as widgets"),
    ],
)
def test_the_reader_of_imports_lets_pass(module, source):
    assert faults(module, source) == []


def test_every_module_has_a_floor():
    assert [module for module in rooms() if module not in FLOOR_OF] == []


@pytest.mark.parametrize("module", [module for module in rooms() if module in FLOOR_OF])
def test_imports_come_from_lower_floors(module):
    assert faults(module, SOURCES[module].read_text(encoding="utf-8")) == []


@pytest.mark.parametrize("module", SOURCES)
def test_imports_are_declared(module):
    """Only what pyproject.toml asks for; the set-up runs before any of it is there."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    declared = {requirement.split(">=")[0] for requirement in project["dependencies"]}
    allowed = set(sys.stdlib_module_names)
    if module != "__main__":
        allowed |= declared | {"breedkit"}
    tree = ast.parse(SOURCES[module].read_text(encoding="utf-8"))
    assert {found.module.split(".")[0] for found in imports(tree)} <= allowed


@pytest.mark.parametrize("module", SOURCES)
def test_a_room_is_one_small_idea(module):
    source = SOURCES[module].read_text(encoding="utf-8")
    tree = ast.parse(source)
    assert ast.get_docstring(tree), "the idea is not stated"
    assert len(source.splitlines()) <= LONGEST_FILE
    functions = [node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)]
    assert [name for name in functions if name.startswith("test_")] == [], "pytest collects these"


def test_importing_breedkit_loads_nothing_heavy():
    code = "import sys; before = set(sys.modules); import breedkit; print(*set(sys.modules)-before)"
    env_path = [str(ROOT), *sys.path]
    done = subprocess.run(
        [sys.executable, "-c", f"import sys; sys.path[:0] = {env_path!r}; {code}"],
        capture_output=True,
        text=True,
        check=True,
    )
    loaded = {name.split(".")[0] for name in done.stdout.split()}
    assert "breedkit" in loaded
    assert loaded <= {"breedkit", *sys.stdlib_module_names}


def test_the_door_is_sorted_and_every_name_opens():
    assert breedkit.__all__ == sorted(set(breedkit.__all__))
    for name in breedkit.__all__:
        assert getattr(breedkit, name).__name__ == name
    assert set(breedkit.__all__) <= set(dir(breedkit))
    assert not hasattr(breedkit, "no_such_name")
