"""The import table: who may import whom. This test is the diagram."""

import ast
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[1]
HEAVY = {"matplotlib", "numba", "pvlib", "scipy", "pyarrow", "holidays", "dask", "highspy"}
SERIES_ONLY = ["battery", "walk", "island", "loadcontrol", "transfer", "best", "lanes", "bill"]
"""Functions on series: these files of `simulate` never see a Site."""
KNOWS_SITE = "simulate.site"


def imports_of(path: Path, top_only: bool = False) -> set[str]:
    tree = ast.parse(path.read_text("utf-8"))
    nodes = tree.body if top_only else list(ast.walk(tree))
    found = set()
    for node in nodes:
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found.add(node.module)
    return found


def modules(room: str) -> list[Path]:
    return sorted((ROOT / room).rglob("*.py"))


def test_profiles_never_import_simulate():
    for path in modules("profiles"):
        assert not any(name.split(".")[0] == "simulate" for name in imports_of(path)), path


def test_series_functions_never_see_a_site():
    for name in SERIES_ONLY:
        path = ROOT / "simulate" / f"{name}.py"
        assert path.exists(), path
        assert KNOWS_SITE not in imports_of(path), path


def test_only_the_plot_room_imports_matplotlib():
    for path in modules("simulate") + modules("profiles"):
        if "plot" not in path.parts:
            assert not any(name.split(".")[0] == "matplotlib" for name in imports_of(path)), path


def test_pvlib_is_imported_late():
    for path in modules("profiles"):
        assert not any(name.split(".")[0] == "pvlib" for name in imports_of(path, top_only=True)), path


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
    names = {path.stem for path in modules("simulate") + modules("profiles")}
    assert not names & {"utils", "util", "core", "common", "types", "helpers", "misc"}
