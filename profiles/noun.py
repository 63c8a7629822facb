"""The strict, frozen base of every noun, and the one way in which bad input is refused."""

from __future__ import annotations

import difflib
import unicodedata
from typing import Any

from pydantic import BaseModel, ConfigDict, ValidationError, model_validator

from profiles.ranges import most_of

LONGEST_KEY = 300
LONGEST_NAME = 200
"""Signs of a key as a refusal shows it, and of a name or any other text of one line."""


class BadInput(ValueError):
    """Input that is refused, in one line that names file, key, rule, value and way out.

    Examples
    --------
    >>> print(BadInput("must be above 0", file="a.toml", key="battery.usable_kwh", value=-1, way_out="give kWh"))
    a.toml: battery.usable_kwh must be above 0, not -1; give kWh
    """

    def __init__(
        self,
        rule: str,
        *,
        file: object = None,
        key: str = "",
        value: Any = ...,
        way_out: str = "",
        line: int | None = None,
    ):
        self.rule, self.file, self.key, self.value, self.way_out, self.line = rule, file, key, value, way_out, line
        at = "" if line is None else f" line {line}"
        text = f"{file}{at}: " if file is not None else ""
        key_text = key if len(key) <= LONGEST_KEY else f"{key[:150]}...{key[-80:]}"
        text += f"{key_text} {rule}" if key else rule
        if value is not ...:
            text += f", not {_short(value)}"
        if way_out:
            text += f"; {way_out}"
        super().__init__(" ".join(text.split()))

    def at(self, file: object, key: str = "") -> BadInput:
        """The same refusal, naming the file (and the table) it came up in where it names none yet."""
        where = ".".join(part for part in (key, self.key) if part)
        file = file if self.file is None else self.file
        return BadInput(self.rule, file=file, key=where, value=self.value, way_out=self.way_out, line=self.line)

    def on_line(self, line: int | None, key: str = "") -> BadInput:
        """The same refusal, naming the line of its file."""
        key = key or self.key
        return BadInput(self.rule, file=self.file, key=key, value=self.value, way_out=self.way_out, line=line)


def _short(value: Any) -> str:
    text = repr(value)
    return text if len(text) <= 120 else f"{text[:40]}...{text[-70:]}"


class Noun(BaseModel):
    """A frozen record of strict fields: an unknown key, a wrong type, NaN and infinity are refused."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False, validate_default=False)

    @model_validator(mode="after")
    def _within_range(self):
        for name in self.model_fields_set:
            for value in _numbers(getattr(self, name)):
                if not -most_of(name) <= value <= most_of(name):
                    raise BadInput(
                        f"must lie between {-most_of(name):,.0f} and {most_of(name):,.0f}",
                        key=type(self).model_fields[name].alias or name,
                        value=value,
                        way_out="look at its unit",
                    )
        return self


def _numbers(value: Any) -> tuple:
    """A number, or the numbers of a list of them."""
    if isinstance(value, tuple):
        return tuple(one for one in value if type(one) in (int, float))
    return (value,) if type(value) in (int, float) else ()


LONG_TEXTS = ("description", "notes", "address")
"""Keys whose text may have several lines."""


def _refuse_signs(data: Any, key: str, file: object) -> None:
    """Control characters (line ends, escapes, the zero sign) have no place in a name or a path."""
    if isinstance(data, dict):
        for name, value in data.items():
            _refuse_signs(name, f"{key}.{name}" if key else name, file)
            _refuse_signs(value, f"{key}.{name}" if key else name, file)
    elif isinstance(data, list | tuple):
        for k, value in enumerate(data):
            _refuse_signs(value, f"{key}[{k + 1}]", file)
    elif isinstance(data, str):
        kept = "\n\t" if key.split(".")[-1].split("[")[0] in LONG_TEXTS else ""
        many = LONGEST_NAME if key.endswith("name") else 100 * LONGEST_NAME
        if len(data) > many:
            raise BadInput(
                f"must have {many:,} signs or fewer", file=file, key=key, value=len(data), way_out="cut it short"
            )
        strange = [sign for sign in data if _is_control(sign) and sign not in kept]
        if strange:
            shown = key.encode("unicode_escape").decode()
            raise BadInput(
                f"holds the control character U+{ord(strange[0]):04X}", file=file, key=shown, way_out="take it out"
            )


def _is_control(sign: str) -> bool:
    """Control characters, lone surrogates, line and paragraph ends, and the marks that turn the direction of a text."""
    return (
        unicodedata.category(sign) in ("Cc", "Cs", "Zl", "Zp")
        or "\u202a" <= sign <= "\u202e"
        or "\u2066" <= sign <= "\u2069"
    )


def read_noun(kind: type[Noun], data: dict, *, file: object = None, table: str = "") -> Any:
    """Validate one table of a TOML or JSON file as a noun.

    Parameters
    ----------
    kind : subclass of Noun
    data : dict
        The table as the parser gave it; lists may stand for tuples.
    file : path, optional
        Named in the message.
    table : str, optional
        Where the table stands in the file, named in the message.

    Raises
    ------
    BadInput
        One line for the first thing that is wrong; an unknown key comes with the nearest known one.
    """
    _refuse_signs(data, table, file)
    try:
        return kind.model_validate(_tuples(data))
    except ValidationError as error:
        raise _refusal(kind, error, data, file, table) from None


def _tuples(data: Any) -> Any:
    if isinstance(data, dict):
        return {key: _tuples(value) for key, value in data.items()}
    if isinstance(data, list | tuple):
        return tuple(_tuples(value) for value in data)
    return data


def _rule_words(rule: str) -> str:
    """A rule in words.

    Examples
    --------
    >>> _rule_words("should be greater than 0"), _rule_words("should be less than or equal to 1")
    ('must be above 0', 'must be at most 1')
    """
    words = {
        "should be greater than or equal to": "must be at least",
        "should be less than or equal to": "must be at most",
        "should be greater than": "must be above",
        "should be less than": "must be below",
    }
    for said, better in words.items():
        rule = rule.replace(said, better)
    return rule


def _refusal(kind: type[Noun], error: ValidationError, data: dict, file: object, table: str) -> BadInput:
    first = min(error.errors(), key=lambda e: (e["type"] != "extra_forbidden", len(e["loc"]) == 0))
    model, path, names = _follow(kind, data, first["loc"])
    key = ".".join([table] * bool(table) + path) or table or "the file"
    if first["type"] == "extra_forbidden":
        close = difflib.get_close_matches(str(first["loc"][-1]), names, n=1, cutoff=0.5)
        known = f"did you mean {close[0]}?" if close else "known keys: " + ", ".join(names)
        return BadInput("is not a known key", file=file, key=key, value=first["input"], way_out=known)
    if first["type"] == "missing":
        hint = _description(model, first["loc"]) or "see keeplit schema"
        return BadInput("is missing", file=file, key=key, way_out=f"it is: {hint}")
    if first["type"].startswith("union_tag"):
        return BadInput(str(first["ctx"].get("message", first["msg"])), file=file, key=key, value=first["input"])
    cause = first.get("ctx", {}).get("error")
    if isinstance(cause, BadInput):
        where = f"{key}.{cause.key}" if cause.key else key
        return BadInput(cause.rule, file=file, key=where, value=cause.value, way_out=cause.way_out)
    rule = _rule_words(first["msg"].removeprefix("Value error, ").replace("Input should be", "should be"))
    way_out = _as_text(first) or f"it is: {_description(model, first['loc'])}".removesuffix("it is: ")
    return BadInput(rule, file=file, key=key, value=first["input"], way_out=way_out)


def _as_text(error: dict) -> str:
    """What to write where a number stands for a text; "" where that is not the fault."""
    value = error["input"]
    if isinstance(value, bool) or not isinstance(value, int | float):
        return ""
    text = f"{value:g}" if isinstance(value, float) else str(value)
    is_due = error["type"] == "string_type" or f"'{text}'" in str(error.get("ctx", {}).get("expected", ""))
    return f'write "{text}"' if is_due else ""


def _follow(kind: Any, data: Any, loc: tuple) -> tuple[Any, list[str], list[str]]:
    """The model that holds the last step of `loc`, the path as a reader would name it, and its known keys."""
    model, path = kind, []
    for i, step in enumerate(loc):
        if isinstance(step, int):
            data = data[step] if isinstance(data, list | tuple) and step < len(data) else {}
            name = data.get("name") if isinstance(data, dict) else None
            path[-1:] = [f'{path[-1] if path else ""} "{name}"' if name else f"{path[-1] if path else ''}[{step + 1}]"]
            continue
        fields = getattr(model, "model_fields", {})
        if step in fields:
            path.append(step)
            data = data.get(step, {}) if isinstance(data, dict) else {}
            if i < len(loc) - 1:
                model = _inner_noun(fields[step].annotation, loc[i + 1 :]) or model
        elif isinstance(data, dict) and step in data or i == len(loc) - 1 and model is not None:
            if not (isinstance(step, str) and _is_tag(step)):
                path.append(str(step) or '""')
        else:
            tagged = _TAGS.get(str(step))
            model = tagged or model
    fields = getattr(model, "model_fields", {})
    return model, path, sorted(field.alias or name for name, field in fields.items())


_TAGS: dict[str, type[Noun]] = {}


def tagged(tag: str, model: type[Noun]) -> str:
    """Register the tag of one kind in a union of nouns, so that a message can name its keys."""
    _TAGS[tag] = model
    return tag


def _is_tag(step: str) -> bool:
    return step in _TAGS or "[" in step or "-" in step or step in ("float", "int", "str", "tuple", "bool")


def _inner_noun(annotation: Any, rest: tuple) -> Any:
    """The noun inside an annotation such as tuple[Circuit, ...] or Solar | None."""
    for step in rest:
        if isinstance(step, str) and step in _TAGS:
            return _TAGS[step]
    stack, found = [annotation], []
    while stack:
        one = stack.pop(0)
        if isinstance(one, type) and issubclass(one, Noun):
            found.append(one)
        stack.extend(getattr(one, "__args__", ()))
    return found[0] if found else None


def _description(model: Any, loc: tuple) -> str:
    for step in reversed(loc):
        field = getattr(model, "model_fields", {}).get(step) if isinstance(step, str) else None
        if field is not None:
            return field.description or ""
    return ""


def nearest(name: str, known: list[str]) -> str:
    """The way out of a name that is not known: the nearest one, else all of them.

    Examples
    --------
    >>> nearest("heet", ["heat", "flood"])
    'did you mean "heat"?'
    """
    close = difflib.get_close_matches(name, known, n=1)
    return f'did you mean "{close[0]}"?' if close else "known: " + ", ".join(known)


def either(*ways: tuple[str, ...]):
    """For a JSON Schema: keys of which one group must be given, since the others are filled in from it.

    Examples
    --------
    >>> schema = {"required": ["name", "load"]}
    >>> either(("appliance",), ("load",))(schema)
    >>> schema
    {'required': ['name'], 'anyOf': [{'required': ['appliance']}, {'required': ['load']}]}
    """

    def extra(schema: dict) -> None:
        known = {key for way in ways for key in way}
        schema["required"] = [key for key in schema.get("required", []) if key not in known]
        schema["anyOf"] = [{"required": list(way)} for way in ways]

    return extra
