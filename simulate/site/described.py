"""Every key that a site file may hold, in words: each table once, each kind of load under its own name."""

from __future__ import annotations

from typing import Any

from profiles.noun import BadInput, Noun, nearest
from simulate.site.site import Site


def schema_text(table: str | None = None) -> str:
    """The keys of a site file as text, or those of one table.

    Parameters
    ----------
    table : str, optional
        Such as "battery" or "circuit.load".

    Raises
    ------
    BadInput
        A table that a site file does not have.

    Examples
    --------
    >>> print(schema_text("battery.taper"))
    [battery.taper] How the charge rate falls near full.
      from_soc: state of charge at which the rate begins to fall [0 to 1]; must be given
      to_frac: share of the full rate that is left at full [0 to 1]; must be given
    """
    tables: dict[str, list[type[Noun]]] = {}
    if table is None:
        _collect(Site, "", tables, set())
    else:
        for noun in _nouns_at(table):
            _collect(noun, table, tables, set())
    return "\n\n".join(_block(path, noun) for path, nouns in tables.items() for noun in nouns)


def _nouns_at(table: str) -> list[type[Noun]]:
    """Nouns that stand at a dotted path."""
    nouns: list[type[Noun]] = [Site]
    for k, part in enumerate(table.split(".")):
        fields = {field.alias or name: field for noun in nouns for name, field in noun.model_fields.items()}
        inner = {name: nouns_in(field.annotation) for name, field in fields.items()}
        if not inner.get(part):
            known = [".".join([*table.split(".")[:k], name]) for name, found in inner.items() if found]
            raise BadInput("is not a table of the site file", key="TABLE", value=table, way_out=nearest(table, known))
        nouns = inner[part]
    return nouns


def _collect(noun: type[Noun], path: str, tables: dict, seen: set) -> None:
    """A noun and what stands inside it, each where it is met first."""
    if noun in seen:
        return
    seen.add(noun)
    tables.setdefault(path, []).append(noun)
    for name, field in noun.model_fields.items():
        key = field.alias or name
        for one in nouns_in(field.annotation):
            _collect(one, f"{path}.{key}" if path else key, tables, seen)


def _block(path: str, noun: type[Noun]) -> str:
    doc = (noun.__doc__ or "").strip().split("\n")[0]
    lines = [f"[{path}] {doc}" if path else doc]
    return "\n".join([*lines, *(_line(name, field) for name, field in noun.model_fields.items())])


def _line(name: str, field: Any) -> str:
    told = field.is_required() or field.default is None or isinstance(field.default, Noun | tuple)
    default = "" if told else f" (default {field.default!r})".replace("'", '"')
    need = "; must be given" if field.is_required() else ""
    return f"  {field.alias or name}: {field.description or ''}{need}{default}"


def nouns_in(annotation: Any) -> list[type[Noun]]:
    """The nouns inside an annotation such as tuple[Circuit, ...] or Solar | None."""
    stack, found = [annotation], []
    while stack:
        one = stack.pop(0)
        if isinstance(one, type) and issubclass(one, Noun) and one is not Noun:
            found.append(one)
        stack.extend(getattr(one, "__args__", ()))
        stack.extend(getattr(getattr(one, "__origin__", None), "__args__", ()))
    return list(dict.fromkeys(found))
