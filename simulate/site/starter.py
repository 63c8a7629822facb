"""A commented starter site file: a small job to edit, and every key with its meaning."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from profiles.files import written
from profiles.noun import BadInput, Noun
from simulate.site.site import Site


def starter_text() -> str:
    """The starter site file: a small job to edit, then every key with its meaning as comments."""
    from importlib import resources

    head = (resources.files("profiles.library") / "starter_site.toml").read_text("utf-8")
    lines = [head.rstrip(), "", "# Every key that a site file may hold:"]
    _describe(Site, "", lines, set())
    return "\n".join(lines) + "\n"


def _describe(noun: type[Noun], path: str, lines: list[str], seen: set) -> None:
    inner = []
    if path:
        lines += ["#", f"# [{path}]"]
    for name, field in noun.model_fields.items():
        key = field.alias or name
        nouns = _nouns_in(field.annotation)
        default = "" if field.is_required() or field.default in (None, ()) or nouns else f" (default {field.default!r})"
        lines.append(f"#   {key}: {field.description or ''}{default}")
        inner += [(one, f"{path}.{key}" if path else key) for one in nouns]
    for one, where in inner:
        if (one, where) not in seen and one is not noun:
            seen.add((one, where))
            _describe(one, where, lines, seen)


def _nouns_in(annotation: Any) -> list[type[Noun]]:
    stack, found = [annotation], []
    while stack:
        one = stack.pop(0)
        if isinstance(one, type) and issubclass(one, Noun) and one is not Noun:
            found.append(one)
        stack.extend(getattr(one, "__args__", ()))
        stack.extend(getattr(getattr(one, "__origin__", None), "__args__", ()))
    return list(dict.fromkeys(found))


def write_starter(path: Path) -> None:
    """Write the starter site file; a file that is there already is not overwritten."""
    if path.exists():
        raise BadInput("is there already", key="FILE", value=str(path), way_out="name a new file")
    if not path.parent.is_dir():
        raise BadInput("is in a folder that is not there", key="FILE", value=str(path), way_out="make the folder first")
    with written(path) as beside:
        beside.write_text(starter_text(), encoding="utf-8")
