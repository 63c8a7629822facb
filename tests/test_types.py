"""The public names are typed: a user's script passes a type checker, and planted mistakes are found."""

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
GOOD = """
import pandas as pd

from simulate import Pool, hours_survived, read_site, ride_through, study, sweep

site = read_site("job.toml")
hours: float = float(ride_through(site).hours.min())
document = study(site).document
frame: pd.DataFrame = sweep(site, {"battery.count": [1, 2]})
lasts = hours_survived([0.5] * 48, Pool(usable_kwh=10.0), soc_kwh=10.0)
"""
MISTAKES = {
    'study("job.toml")': "arg-type",
    "ride_through(3)": "arg-type",
    'Pool(usable_kwh="10")': "arg-type",
    "hours_survived([0.5], Pool(10.0))": "call-arg",
    'rows: int = sweep(site, {"a": [1]})': "assignment",
    "Pool(10.0).usable_wh": "attr-defined",
}


def checked(folder: Path, text: str) -> str:
    """What mypy says of a script that a user wrote elsewhere."""
    script = folder / "script.py"
    script.write_text(text, "utf-8")
    command = [sys.executable, "-m", "mypy", "--follow-imports=silent", "--ignore-missing-imports", str(script)]
    done = subprocess.run(command, capture_output=True, text=True, cwd=ROOT, timeout=600, check=False)
    return done.stdout + done.stderr


@pytest.mark.long
def test_a_script_as_the_readme_shows_it_passes(tmp_path):
    assert "Success: no issues found" in checked(tmp_path, GOOD)


@pytest.mark.long
def test_planted_mistakes_are_found(tmp_path):
    lines = GOOD + "\n".join(MISTAKES) + "\n"
    told = checked(tmp_path, lines)
    first = len(GOOD.splitlines()) + 1
    for k, (text, code) in enumerate(MISTAKES.items()):
        mine = [line for line in told.splitlines() if f"script.py:{first + k}:" in line]
        assert any(f"[{code}]" in line for line in mine), (text, told)
