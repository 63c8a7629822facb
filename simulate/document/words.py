"""Numbers as people say them: hours that something lasts go down, hours until full to the nearest tenth."""

from __future__ import annotations

import math


def hours_text(hours: float, horizon_h: float = float("inf")) -> str:
    """Hours as people say them; what outlives the horizon is "at least".

    Examples
    --------
    >>> hours_text(7.56), hours_text(31.2), hours_text(0.4), hours_text(336.0, 336.0)
    ('7.5 h', '31 h', '24 min', 'at least 336 h')
    """
    if hours >= horizon_h - 1e-9:
        return f"at least {horizon_h:g} h"
    if hours < 1.0:
        return f"{int(hours * 60.0 + 1e-9)} min"
    return f"{int(hours * 10.0 + 1e-9) / 10.0:g} h" if hours < 10.0 else f"{int(hours + 1e-9)} h"


def tenths(hours: float) -> str:
    """Hours that something lasts, to the tenth below, as `hours_text` rounds: for tables.

    Examples
    --------
    >>> tenths(16.994), tenths(0.3)
    ('16.9', '0.3')
    """
    return f"{int(hours * 10.0 + 1e-9) / 10.0:.1f}"


def refill_text(hours: float) -> str:
    """Hours until units are full again, to the nearest tenth.

    Examples
    --------
    >>> refill_text(2.16), refill_text(float("inf"))
    ('2.2 h', 'never')
    """
    return f"{hours:.1f} h" if hours < float("inf") else "never"


def three_digits(value: float) -> str:
    """A number with three significant digits at most, thousands with commas.

    Examples
    --------
    >>> three_digits(0.032712), three_digits(13530.0), three_digits(1.0), three_digits(122.6)
    ('0.0327', '13,500', '1', '123')
    """
    if value == 0.0 or not -float("inf") < value < float("inf"):
        return f"{value:g}"
    digits = 2 - int(math.floor(math.log10(abs(value))))
    rounded = round(value, digits)
    return f"{rounded:,.{max(digits, 0)}f}".rstrip("0").rstrip(".") if digits > 0 else f"{rounded:,.0f}"


def measured(value: float | None, unit: str) -> str:
    """A value with its unit in words; a share is per cent.

    Examples
    --------
    >>> measured(0.032712, "frac"), measured(1.0, "bonds"), measured(13530.0, "operations"), measured(7.826, "kVA")
    ('3.27%', '1 bond', '13,500 operations', '7.83 kVA')
    """
    if value is None:
        return "not stated"
    if unit == "frac":
        return f"{three_digits(100.0 * value)}%"
    word = unit[:-1] if unit in ("bonds", "operations", "spaces", "circuits") and value == 1.0 else unit
    return f"{three_digits(value)} {word}".strip()
