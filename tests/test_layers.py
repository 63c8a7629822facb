"""Who may import whom, read off the sources: late imports and imports for types count.

A room imports only rooms that stand before it in `ROOMS`; no files and no rooms import each other in a circle.
"""

import ast
import subprocess
import sys
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
HEAVY = {"matplotlib", "numba", "pvlib", "scipy", "pyarrow", "holidays", "dask", "highspy", "starlette", "uvicorn"}
ROOMS = (
    "profiles",
    "profiles.library",
    "profiles.meter.readings",
    "profiles.meter.green_button",
    "profiles.meter.interval_csv",
    "profiles.meter.on_axis",
    "profiles.meter",
    "profiles.rate",
    "profiles.weather",
    "profiles.solar",
    "profiles.loads",
    "simulate.physics",
    "simulate.physics.outages",
    "simulate.physics.lanes",
    "simulate.optimum",
    "simulate.plans",
    "simulate.site",
    "simulate.bill",
    "simulate.house",
    "simulate.panel.checks",
    "simulate.panel.legs",
    "simulate.panel.sheets",
    "simulate.document",
    "simulate.designs",
    "simulate.show",
    "simulate.show.plot",
    "simulate.show.terminal",
    "simulate.show.report",
    "simulate.show.page",
    "simulate",
)
"""From the ground up; `simulate` is the command, cli.py."""
SERIES_ONLY = ("simulate.physics", "simulate.optimum", "simulate.plans", "simulate.bill")
"""Rooms that never see a Site."""
SEEN_BY_SERIES = {"simulate.site.money"}
"""A noun that is no part of the house: prices, incentives, a loan."""
LATE_ALLOWED = ("simulate/cli.py",)
MOST_ARGUMENTS = 8
"""Beyond it arguments form a noun; keyword-only options of the public functions on series, and commands, are exempt."""
STEP = "simulate/physics/step.py"
LOSSES = {"no_load_kw", "discharge_efficiency", "NO_LOAD_KW", "DISCHARGE_EFF", "PER_DISCHARGE_EFF"}
"""What makes a drain: multiplied and divided in `STEP` only."""


@cache
def sources() -> dict[str, Path]:
    """Every module of the two packages."""
    found = {}
    for path in sorted([*(ROOT / "simulate").rglob("*.py"), *(ROOT / "profiles").rglob("*.py")]):
        parts = path.relative_to(ROOT).with_suffix("").parts
        found[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
    return found


def is_face(module: str) -> bool:
    """An `__init__` only hands names on, lazily."""
    return sources()[module].name == "__init__.py"


def room_of(module: str) -> str:
    return module if is_face(module) else module.rpartition(".")[0]


@cache
def imports_of(module: str) -> dict[str, bool]:
    """Modules of ours that a module imports, and whether one of these imports stands inside a function."""
    tree, found = ast.parse(sources()[module].read_text("utf-8")), {}
    inside = {id(n) for f in ast.walk(tree) if isinstance(f, ast.FunctionDef) for n in ast.walk(f)}
    for node in ast.walk(tree):
        names = []
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and node.module:
            names = [f"{node.module}.{alias.name}" for alias in node.names]
        for name in names:
            target = name if name in sources() else name.rpartition(".")[0]
            if target in sources() and target != module:
                found[target] = found.get(target, False) or id(node) in inside
    return found


def arrows() -> set[tuple[str, str]]:
    """(importer, imported) between files; faces are not drawn."""
    return {(a, b) for a in sources() if not is_face(a) for b in imports_of(a) if not is_face(b)}


def breaches() -> set[tuple[str, str]]:
    """Arrows between files whose rooms stand the other way round."""
    at = {name: k for k, name in enumerate(ROOMS)}
    return {(a, b) for a, b in arrows() if at[room_of(b)] > at[room_of(a)]}


def circles(pairs: set[tuple[str, str]]) -> list[set[str]]:
    """Groups that reach each other."""
    below: dict[str, set[str]] = {}
    for a, b in pairs:
        below.setdefault(a, set()).add(b)
    reach: dict[str, set[str]] = {}
    for start in below:
        seen, todo = set(), [start]
        while todo:
            for one in below.get(todo.pop(), ()):
                if one not in seen:
                    seen.add(one)
                    todo.append(one)
        reach[start] = seen
    groups = {frozenset({a, *(b for b in reach[a] if a in reach.get(b, ()))}) for a in reach if a in reach[a]}
    return [set(group) for group in groups]


def test_every_file_stands_in_a_room_of_the_list():
    rooms = {room_of(module) for module in sources() if not is_face(module)}
    assert rooms <= set(ROOMS)


def test_no_arrow_runs_up():
    assert breaches() == set()


def test_no_files_import_each_other_in_a_circle():
    assert circles(arrows()) == []


def test_our_own_modules_are_imported_at_the_top():
    late = [
        f"{a} -> {b}"
        for a in sources()
        if not is_face(a) and sources()[a].relative_to(ROOT).as_posix() not in LATE_ALLOWED
        for b, is_late in imports_of(a).items()
        if is_late
    ]
    assert late == []


def test_what_another_file_imports_is_public():
    for module, path in sources().items():
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] in ("simulate", "profiles"):
                assert not any(alias.name.startswith("_") for alias in node.names), (module, node.lineno)


def test_each_room_says_what_lives_there():
    for module, path in sources().items():
        if is_face(module):
            assert ast.get_docstring(ast.parse(path.read_text("utf-8"))), path


def _factors(node: ast.AST) -> set[str]:
    """Names of a factor, also where it is a row of a buffer."""
    if isinstance(node, ast.Attribute):
        return {node.attr}
    if isinstance(node, ast.Name):
        return {node.id}
    if isinstance(node, ast.Subscript):
        return {n.id for n in ast.walk(node.slice) if isinstance(n, ast.Name)} | _factors(node.value)
    return set()


def test_losses_are_multiplied_in_one_file():
    for module, path in sources().items():
        if path.relative_to(ROOT).as_posix() == STEP or not module.startswith("simulate."):
            continue
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Mult | ast.Div):
                used = (_factors(node.left) | _factors(node.right)) & LOSSES
                assert not used or room_of(module) == "simulate.optimum", (module, node.lineno, used)


@pytest.mark.parametrize("room", SERIES_ONLY)
def test_rooms_of_series_never_see_a_site(room):
    for module in sources():
        if module.startswith(f"{room}."):
            seen = {one for one in imports_of(module) if one.startswith("simulate.site.")}
            assert seen <= SEEN_BY_SERIES, module


def outside_names(module: str, top_only: bool = False) -> set[str]:
    tree = ast.parse(sources()[module].read_text("utf-8"))
    found = set()
    for node in tree.body if top_only else ast.walk(tree):
        if isinstance(node, ast.Import):
            found |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found.add(node.module.split(".")[0])
    return found


def test_only_the_plot_room_imports_matplotlib():
    for module in sources():
        assert "matplotlib" not in outside_names(module) or room_of(module) == "simulate.show.plot", module


def test_pvlib_is_imported_late():
    for module in sources():
        assert "pvlib" not in outside_names(module, top_only=True), module


def test_help_loads_nothing_heavy():
    code = (
        "import sys\nfrom simulate.cli import app\nimport typer.testing\n"
        "result = typer.testing.CliRunner().invoke(app, ['--help'])\nassert result.exit_code == 0, result\n"
        f"heavy = {sorted(HEAVY | {'pandas', 'numpy'})!r}\n"
        "loaded = [name for name in heavy if name in sys.modules]\nassert not loaded, loaded\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT)
    assert done.returncode == 0, done.stderr


def test_no_room_of_odds_and_ends():
    names = {path.stem for path in sources().values()}
    assert not names & {"utils", "util", "core", "common", "types", "helpers", "misc"}
