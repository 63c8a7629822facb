"""The public names of a package, each loaded when it is first used."""

from __future__ import annotations

import importlib
from collections.abc import Callable
from typing import Any


def face(package: str, home: dict[str, str]) -> tuple[Callable[[str], Any], Callable[[], list[str]]]:
    """`__getattr__` and `__dir__` of a package whose names live in files below it.

    Parameters
    ----------
    package : str
    home : dict
        Each public name with the module, below the package, that holds it.

    Examples
    --------
    >>> load, names = face("profiles", {"Hours": "hours"})
    >>> load("Hours").__module__, names()
    ('profiles.hours', ['Hours'])
    """

    def load(name: str) -> Any:
        if name not in home:
            raise AttributeError(f"module {package!r} has no attribute {name!r}")
        return getattr(importlib.import_module(f"{package}.{home[name]}"), name)

    return load, lambda: sorted(home)
