"""The notebooks run from top to bottom, show what they say, and do without the sliders where they must."""

import builtins
import re
import sys
import warnings
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from simulate.designs.columns import RESULTS, TEXTS
from simulate.designs.sweep import sweep
from tests.designs.test_sweep import bench

nbformat = pytest.importorskip("nbformat")
nbclient = pytest.importorskip("nbclient")
pytest.importorskip("ipykernel")

ROOT = Path(__file__).parents[1]
NAMES = ("designer", "estimator", "analyst")
MOST_CELLS = 14


def notebook(name: str):
    return nbformat.read(ROOT / "notebooks" / f"{name}.ipynb", as_version=4)


@pytest.mark.parametrize("name", NAMES)
def test_one_question_in_the_title_few_cells_and_outputs_shown(name):
    cells = notebook(name).cells
    title = cells[0].source.splitlines()[0]
    assert title.startswith("# ") and title.endswith("?") and title.count("?") == 1
    assert "not guarantees" in cells[0].source
    assert len(cells) <= MOST_CELLS
    for cell in cells:
        if cell.cell_type == "code":
            assert cell.execution_count and not any(one.output_type == "error" for one in cell.outputs)
            ends_in_a_value = not cell.source.splitlines()[-1].startswith((" ", "columns", "site"))
            assert cell.outputs or not ends_in_a_value, cell.source


@pytest.mark.parametrize("name", NAMES)
def test_numbers_in_prose_are_asserted_in_the_cell_above(name):
    cells = notebook(name).cells
    told = 0
    for above, cell in zip(cells, cells[1:], strict=False):
        if cell.cell_type == "markdown" and re.search(r"\*\*[^*]*\d[^*]*\*\*", cell.source):
            assert above.cell_type == "code" and "assert" in above.source, cell.source
            told += 1
    assert told or name == "designer"


@pytest.mark.long
@pytest.mark.parametrize("name", NAMES)
def test_it_runs_as_it_stands(name):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of the kernel's own machinery
        made = notebook(name)
        nbclient.NotebookClient(
            made, timeout=240, kernel_name="python3", resources={"metadata": {"path": str(ROOT)}}
        ).execute()
    assert all(cell.execution_count for cell in made.cells if cell.cell_type == "code")


@pytest.mark.parametrize("name", NAMES)
def test_without_ipywidgets_the_last_cell_prints_one_answer(name, monkeypatch, capsys):
    real, last = builtins.__import__, notebook(name).cells[-1].source

    def without(module, *more, **named):
        if module.split(".")[0] == "ipywidgets":
            raise ImportError(module)
        return real(module, *more, **named)

    monkeypatch.setattr(builtins, "__import__", without)
    monkeypatch.delitem(sys.modules, "ipywidgets", raising=False)
    exec(last, {"hours_with": lambda: 12.5, "saving_with": lambda: 12.5, "design": lambda: 12.5})
    assert "12.5" in capsys.readouterr().out


def test_the_page_on_sweeps_names_commands_and_files_that_exist():
    text = (ROOT / "notebooks" / "SWEEPS.md").read_text("utf-8")
    for path in re.findall(r"`((?:simulate|benchmarks|notebooks|tests)/[\w/]+\.\w+)`", text):
        assert (ROOT / path).exists(), path
    options = (ROOT / "simulate" / "cli.py").read_text("utf-8")
    for option in set(re.findall(r"--(\w+)", " ".join(re.findall(r"keeplit sweep[^\n]*", text)))):
        assert f'"--{option}"' in options or f"{option}:" in options, option


def test_the_page_on_sweeps_lists_every_column_with_its_unit():
    text = (ROOT / "notebooks" / "SWEEPS.md").read_text("utf-8")
    told = dict(re.findall(r"^\| `(\w+)` \| ([^|]+?) \|", text, re.MULTILINE))
    assert {name: unit for name, unit in told.items() if name in RESULTS} == {
        k: unit for k, (unit, _) in RESULTS.items()
    }
    with ThreadPoolExecutor(1) as executor:
        table = sweep(bench(), {"operation.reserve": [0.2, 9.0]}, executor=executor)
    assert {name for name in table if not name.startswith("in_")} == set(told)
    assert list(table)[2:] == [*RESULTS, *TEXTS, "version"]


@pytest.mark.long
def test_the_code_of_the_page_on_sweeps_runs(tmp_path, monkeypatch):
    text = (ROOT / "notebooks" / "SWEEPS.md").read_text("utf-8")
    blocks = re.findall(r"```python\n(.*?)```", text, re.DOTALL)
    assert blocks
    monkeypatch.chdir(tmp_path)
    space = {"__name__": "page"}
    for block in blocks:
        if "Client(" not in block:
            exec(compile(block, "SWEEPS.md", "exec"), space)
