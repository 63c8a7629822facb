"""What is said of the hours of many outages: nine times in ten, the spread, the share that lasts."""

from __future__ import annotations

import numpy as np

MARKS_H = (4, 8, 12, 24, 72, 168)


SEASONS = {"winter": (12, 1, 2), "spring": (3, 4, 5), "summer": (6, 7, 8), "autumn": (9, 10, 11)}


TOLERANCE_H = 1e-9


def nine_in_ten(hours) -> float:
    """Hours that nine in ten outages reach or exceed, a value that occurred. [h]

    Examples
    --------
    >>> nine_in_ten([1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0, 10.0])
    1.0
    """
    return float(np.quantile(hours, 0.1, method="lower"))


def spread(hours) -> dict[str, float]:
    """Least, nine in ten, middle, one in ten, most and mean of hours survived. [h]"""
    at = lambda q: float(np.quantile(hours, q, method="lower"))
    return {
        "min": float(np.min(hours)),
        "p10": at(0.1),
        "p50": at(0.5),
        "p90": at(0.9),
        "max": float(np.max(hours)),
        "mean": float(np.mean(hours)),
    }


def lasting_frac(hours, horizon_h: float) -> dict[str, float | None]:
    """Share of outages that last 4, 8, 12, 24, 72 and 168 hours; none where the horizon is shorter."""
    return {
        str(mark): float(np.mean(hours >= mark - TOLERANCE_H)) if mark <= horizon_h + TOLERANCE_H else None
        for mark in MARKS_H
    }
