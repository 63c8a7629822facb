"""Periods cut finer than the rate names them: event days, dated riders, calendar months within a billing cycle.

A bill is priced from sums of kWh by billing month and period. Where a price changes on a date inside both, the period
is cut there, and each piece is a period of its own; pieces of one name are one line of the bill.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np

from profiles.noun import BadInput
from profiles.rate.charges import month_day


@dataclass(frozen=True, eq=False)
class Pieces:
    """What each piece of a rate's periods is; arrays of shape (n_pieces,) unless said otherwise.

    Attributes
    ----------
    base : ndarray of int
        Index into `Rate.periods`.
    event : ndarray of int
        Index into `Rate.event` of the event whose price it has, -1 for none.
    month : ndarray of int
        Calendar month 1 to 12 whose prices it has; 0: that of the billing month.
    on_span : ndarray of bool, shape (n_spans, n_pieces)
        Does it lie in the days of a dated rider, in the order of the riders that have days?
    """

    base: np.ndarray
    event: np.ndarray
    month: np.ndarray
    on_span: np.ndarray

    @property
    def is_plain(self) -> bool:
        """Is every piece a whole period?"""
        return bool((self.event < 0).all() and (self.month == 0).all() and not len(self.on_span))


def pieces_of(period: np.ndarray, n_periods: int, event, month, spans) -> tuple[np.ndarray, Pieces]:
    """Piece of each step, and what the pieces are, in the order of the periods.

    Parameters
    ----------
    period : ndarray of int, shape (n_steps,)
    n_periods : int
        Of the rate; one that no step has keeps an empty piece.
    event, month : ndarray of int, shape (n_steps,), or None
        Event of each step or -1; calendar month of each step. None: no such cut.
    spans : sequence of ndarray of bool, shape (n_steps,)

    Examples
    --------
    An event in the second of three steps of one period:

    >>> piece, pieces = pieces_of(np.zeros(3, int), 1, np.array([-1, 0, -1]), None, ())
    >>> piece.tolist(), pieces.base.tolist(), pieces.event.tolist()
    ([0, 1, 0], [0, 0], [-1, 0])
    """
    marks = [np.asarray(one, dtype=np.int64) for one in ([] if event is None else [event + 1])]
    marks += [] if month is None else [np.asarray(month, dtype=np.int64)]
    marks += [np.asarray(one, dtype=np.int64) for one in spans]
    if not marks:
        n = np.arange(n_periods)
        none = np.zeros(n_periods, dtype=np.int64)
        return period, Pieces(n, none - 1, none, np.zeros((0, n_periods), bool))
    code = period.astype(np.int64)
    for mark in marks:
        code = np.unique(code * (int(mark.max()) + 1) + mark, return_inverse=True)[1]
    _, first, piece = np.unique(code, return_index=True, return_inverse=True)
    missing = np.setdiff1d(np.arange(n_periods), period)
    told = lambda series, empty: np.r_[np.asarray(series, dtype=np.int64)[first], np.full(len(missing), empty)]
    base = np.r_[period[first], missing].astype(np.int64)
    order = np.argsort(base, kind="stable")
    rank = np.empty_like(order)
    rank[order] = np.arange(len(order))
    pieces = Pieces(
        base[order],
        (np.full(len(base), -1) if event is None else told(event, -1))[order],
        (np.zeros(len(base), dtype=np.int64) if month is None else told(month, 0))[order],
        np.array([told(one, 0)[order] for one in spans], dtype=bool).reshape(len(spans), len(base)),
    )
    return rank[piece].astype(np.int32), pieces


def in_span(start: str, end: str, dates: list[dt.date]) -> np.ndarray:
    """True on days from `start` to `end`, both included, each "MM-DD" or both ISO, shape (n_days,).

    Examples
    --------
    >>> days = [dt.date(2025, 12, 31), dt.date(2025, 1, 1), dt.date(2025, 6, 1)]
    >>> in_span("12-15", "01-15", days).tolist()
    [True, True, False]
    """
    if len(start) > len("MM-DD"):
        return np.array([start <= date.isoformat() <= end for date in dates])
    (a, b), (c, d) = month_day(start), month_day(end)
    day = np.array([date.month * 100 + date.day for date in dates])
    after, before = day >= a * 100 + b, day <= c * 100 + d
    return after & before if (a, b) <= (c, d) else after | before


def days_of_event(name: str, texts: tuple[str, ...], dates: list[dt.date]) -> np.ndarray:
    """Days of an event by index from New Year; a date outside the year is refused."""
    days = np.array([(dt.date.fromisoformat(text) - dates[0]).days for text in texts])
    outside = (days < 0) | (days >= len(dates))
    if outside.any():
        raise BadInput(
            f"lies outside {dates[0].year}",
            key=f'rate.event "{name}".dates',
            value=texts[int(np.argmax(outside))],
            way_out=f"give the dates of {dates[0].year}, or change site.year",
        )
    return days
