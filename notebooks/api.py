"""API.md from the docstrings of every public name: `python -m notebooks.api` writes it, a test compares."""

from __future__ import annotations

import inspect
from pathlib import Path

import profiles
import simulate

PAGE = Path(__file__).with_name("API.md")
HEAD = """# The public names

Written by `python -m notebooks.api` from the docstrings; their examples run with the tests. `from simulate import ...`
and `from profiles import ...` load a name when it is first used.
"""


def page() -> str:
    """The whole page."""
    parts = [HEAD]
    for package in (simulate, profiles):
        parts.append(f"## {package.__name__}\n\n{inspect.getdoc(package).splitlines()[0]}\n")
        parts += [_entry(package, name) for name in package.__all__]
    return "\n".join(parts)


def _entry(package, name: str) -> str:
    thing = getattr(package, name)
    kind = "class" if inspect.isclass(thing) else "function"
    told = inspect.getdoc(thing) or ""
    return f"### `{name}`\n\n{kind} of `{thing.__module__}`\n\n```text\n{_call(name, thing)}\n\n{told.strip()}\n```\n"


def _call(name: str, thing) -> str:
    """The call with its arguments; what a default's text would print of this machine is left out."""
    try:
        signature = inspect.signature(thing)
    except ValueError:
        return name
    shown = [str(one).split(":")[0].split(" =")[0].split("=")[0] for one in signature.parameters.values()]
    text = f"{name}({', '.join(shown)})"
    joined = ",\n    ".join(shown)
    return text if len(text) <= 110 else f"{name}(\n    {joined})"


if __name__ == "__main__":
    PAGE.write_text(page(), "utf-8")
