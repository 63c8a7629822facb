"""What makes a row: a hash of every source that does, and the versions of what it rests on."""

from __future__ import annotations

import hashlib
import platform
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

ROOT = Path(__file__).parents[2]
SHOWN_ONLY = ("simulate/show", "simulate/cli.py")
"""Makes no row."""
RESTS_ON = ("numpy", "pandas", "scipy", "highspy", "pvlib", "numba", "pydantic", "holidays", "tzdata")


@cache
def made_by() -> dict[str, object]:
    """The program as far as it makes rows, the same on every machine that has it.

    Returns
    -------
    dict
        `sources`, a hash of the sources and of the data that come along, and `versions` by package.

    Examples
    --------
    >>> sorted(made_by()), len(made_by()["sources"])
    (['sources', 'versions'], 16)
    """
    return {"sources": _sources_hash(), "versions": {name: _version(name) for name in RESTS_ON} | _python()}


def _sources_hash() -> str:
    digest = hashlib.sha256()
    for package in ("profiles", "simulate"):
        for path in sorted((ROOT / package).rglob("*")):
            name = path.relative_to(ROOT).as_posix()
            if path.is_file() and "__pycache__" not in name and not name.startswith(SHOWN_ONLY):
                digest.update(name.encode() + b"\0" + path.read_bytes())
    return digest.hexdigest()[:16]


def _version(name: str) -> str:
    try:
        return version(name)
    except PackageNotFoundError:
        return "not installed"


def _python() -> dict[str, str]:
    return {"python": platform.python_version()}
