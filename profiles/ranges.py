"""The largest number that each kind of key may hold: beyond it no dwelling lies, and sums would lose their digits."""

from __future__ import annotations

MOST = {
    "kwh": 100_000.0,
    "kw": 10_000.0,
    "kw_per_leg": 10_000.0,
    "kva": 10_000.0,
    "kva_per_leg": 10_000.0,
    "per_degc": 1_000.0,
    "w": 1_000_000.0,
    "va": 10_000_000.0,
    "a": 10_000.0,
    "ka": 1_000.0,
    "volts": 1_000.0,
    "hp": 10_000.0,
    "c": 200.0,
    "f": 400.0,
    "h": 100_000.0,
    "min": 100_000.0,
    "s": 1_000_000.0,
    "ms": 1_000_000.0,
    "ft": 100_000.0,
    "ft2": 1_000_000.0,
    "in": 100_000.0,
    "years": 200.0,
    "days": 10_000.0,
    "price": 1e9,
    "cost": 1e9,
    "amount": 1e9,
}
"""By the last part of a key's name, which is its unit; our own choice, far beyond any dwelling."""

MOST_OF = {
    "annual_kwh": 1e7,
    "measured_kwh": 1e7,
    "throughput_kwh": 1e9,
    "kwh_per_month": 1e7,
    "watts": 1_000_000.0,
    "up_to": 1e9,
    "sigma": 5.0,
    "per_year": 10_000.0,
    "month_weights": 1_000_000.0,
    "scale": 1_000_000.0,
    "outage_scale": 1_000.0,
    "usual": 1_000.0,
    "frugal": 1_000.0,
    "storm": 1_000.0,
    "rated_operations": 1e9,
    "count": 10_000.0,
    "seed": 1e18,
}
"""By the whole name, where it differs."""

ANY = 1e9
"""Every other number."""


def most_of(key: str) -> float:
    """The largest magnitude that a key takes.

    Examples
    --------
    >>> most_of("usable_kwh"), most_of("charge_kw"), most_of("sigma"), most_of("some_number")
    (100000.0, 10000.0, 5.0, 1000000000.0)
    """
    if key in MOST_OF:
        return MOST_OF[key]
    parts = key.split("_")
    return next((MOST[unit] for unit in ("_".join(parts[k:]) for k in range(len(parts))) if unit in MOST), ANY)
