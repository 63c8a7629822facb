"""The way out of a refused meter file in the words of the command: options in place of keys."""

from __future__ import annotations

import re

from profiles.noun import BadInput

_RULES = (
    (re.compile(r'timezone = "([^"]+)"( or the like)?'), r"--timezone \1\2"),
    (re.compile(r'give timezone, such as "([^"]+)"'), r"give --timezone, such as \1"),
    (re.compile(r"give the timezone\b"), "give --timezone, that"),
    (re.compile(r'dialect\.(\w+) = "([^"]+)" or "([^"]+)"'), r"--dialect \1=\2 or --dialect \1=\3"),
    (re.compile(r'dialect\.(\w+) = "([^"]+)"'), r"--dialect \1=\2"),
    (re.compile(r"dialect\.(\w+)"), r"--dialect \1=..."),
    (re.compile(r"one with point: (\S+)"), r"one with --point \1: \1"),
    (re.compile(r"one with column: ([^,;\[]+?)( \[|,|;|$)"), r'one with --column "\1": \1\2'),
    (re.compile(r"\bwith column\b(?!:)"), "with --column"),
)
_KEYS = {"point": "--point", "column": "--column", "timezone": "--timezone"}


def in_options(error: BadInput) -> BadInput:
    """The same refusal; what a site file would state as a key is named as an option of `keeplit meter`.

    Examples
    --------
    >>> str(in_options(BadInput("is open", way_out='state dialect.unit = "kWh" or "kW"')))
    'is open; state --dialect unit=kWh or --dialect unit=kW'
    """
    key = _KEYS.get(error.key, re.sub(r"^dialect\.(\w+)", r"--dialect \1", error.key))
    way_out = error.way_out
    for pattern, text in _RULES:
        way_out = pattern.sub(text, way_out)
    return BadInput(error.rule, file=error.file, key=key, value=error.value, way_out=way_out)
