"""Numbers as people say them: hours that something lasts go down, hours until full to the nearest tenth."""

from __future__ import annotations


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
