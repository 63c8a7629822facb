"""The lowest versions that pyproject.toml allows are those that `.ci/lowest` installs together and tests."""

import re
import tomllib
from pathlib import Path

ROOT = Path(__file__).parents[1]


def test_each_lower_bound_is_the_version_that_is_tested():
    """A bound that nobody installs is a guess."""
    wanted = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]["dependencies"]
    bounds = dict(re.fullmatch(r"([\w-]+)>=([\d.]+)", one).groups() for one in wanted)
    lines = (ROOT / ".ci" / "constraints-lowest.txt").read_text().splitlines()
    tested = dict(line.split("==") for line in lines if not line.startswith("#"))
    assert bounds == tested
