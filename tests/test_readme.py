"""The README's commands and code run; every verb is in it."""

import os
import re
import shlex
from pathlib import Path

import pytest
from typer.main import get_command
from typer.testing import CliRunner

from simulate.cli import app

README = (Path(__file__).parents[1] / "README.md").read_text("utf-8")
SHELL = re.findall(r"```sh\n(.*?)```", README, flags=re.S)
PYTHON = re.findall(r"```python\n(.*?)```", README, flags=re.S)


def test_opens_with_the_job_and_two_one_line_blocks():
    assert README.split("\n\n")[1].startswith("An electrician")
    for block, ending in zip(SHELL[:2], ("keeplit study\n", "-m pytest -q -n 2\n"), strict=True):
        assert block.count("\n") == 1
        assert block.startswith("python3 -m venv .venv && .venv/bin/pip install")
        assert block.endswith(ending)


def test_every_verb_is_in_the_readme():
    for verb in get_command(app).commands:
        assert f"keeplit {verb}" in README, verb


@pytest.mark.long
def test_commands_run_in_the_order_they_stand(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    lines = [line for block in SHELL[2:] for line in block.splitlines() if line.startswith("keeplit ")]
    assert len(lines) >= 8
    for line in lines:
        result = CliRunner().invoke(app, shlex.split(line)[1:])
        assert result.exit_code == 0, (line, result.output, result.exception)
    assert (tmp_path / "results" / "report.html").exists()


@pytest.mark.long
@pytest.mark.parametrize("code", PYTHON)
def test_code_runs_and_prints_what_it_says(code, capsys, tmp_path):
    kept = os.getcwd()
    os.chdir(tmp_path)
    try:
        exec(compile(code, "README.md", "exec"), {})
    finally:
        os.chdir(kept)
    printed = capsys.readouterr().out
    for said in re.findall(r"#\s+(\d[\d.]*)\s*$", code, flags=re.M):
        assert said in printed


def test_the_output_that_it_shows_is_what_the_command_prints():
    (shown,) = re.findall(r"```text\n(.*?)```", README, flags=re.S)
    printed = CliRunner().invoke(app, ["study"], env={"COLUMNS": "100"}).stdout
    lines = [line.rstrip() for line in printed.splitlines()]
    assert len(shown.splitlines()) >= 10
    for line in shown.splitlines():
        assert line in lines, line
