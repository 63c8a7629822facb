"""Billing cycles: which days a bill is for, and how many monthly charges it pays."""

from __future__ import annotations

import datetime as dt

import numpy as np

from profiles.noun import BadInput

DAYS_PER_MONTH = 365.25 / 12.0


def billing_cycles(
    read_dates: tuple[str, ...] | None, prorate_days: float | None, dates: list[dt.date]
) -> tuple[np.ndarray, tuple[str, ...], np.ndarray]:
    """Day on which each billing month ends (excluded), its label and the monthly charges that it pays.

    Parameters
    ----------
    read_dates : tuple of str or None
        ISO; a cycle ends as its read date begins. None: calendar months.
    prorate_days : float or None
        Days that one monthly charge stands for; None: a whole cycle pays one. [d]
    dates : list of date
        Every day of the year.

    Examples
    --------
    >>> year = [dt.date(2025, 1, 1) + dt.timedelta(days=k) for k in range(365)]
    >>> ends, labels, share = billing_cycles(("2025-01-15", "2025-02-14"), None, year)
    >>> ends.tolist(), labels[1], share.round(3).tolist()
    ([14, 44, 365], '2025-02-14', [0.46, 1.0, 10.546])
    """
    year, n_days = dates[0].year, len(dates)
    if read_dates is None:
        month = np.array([date.month for date in dates])
        ends = np.append(np.flatnonzero(np.diff(month)) + 1, n_days)
        length = np.diff(ends, prepend=0)
        share = np.ones(len(ends)) if prorate_days is None else length / prorate_days
        return ends, tuple(f"{year}-{one:02d}" for one in month[ends - 1]), share
    reads = _read_days(read_dates, year)
    inner = [day for day in reads if 0 < day < n_days]
    ends = np.array([*inner, n_days])
    length = np.diff(ends, prepend=0)
    share = length / (prorate_days or DAYS_PER_MONTH)
    if prorate_days is None:
        whole = [start in reads and end in reads for start, end in zip([0, *inner], ends, strict=True)]
        share = np.where(whole, 1.0, share)
    return ends, tuple((dates[0] + dt.timedelta(days=int(end))).isoformat() for end in ends), share


def _read_days(dates: tuple[str, ...], year: int) -> list[int]:
    first, reads = dt.date(year, 1, 1), []
    for text in dates:
        try:
            reads.append((dt.date.fromisoformat(text) - first).days)
        except ValueError:
            raise BadInput(
                "must be ISO dates", key="rate.read_dates", value=text, way_out='write "2025-01-14"'
            ) from None
    if reads != sorted(set(reads)):
        raise BadInput("must rise", key="rate.read_dates", value=dates, way_out="put them in order, each once")
    if not any(0 <= day <= 366 for day in reads):
        raise BadInput(f"has no date in {year}", key="rate.read_dates", value=dates, way_out="or change site.year")
    return reads
