"""A meter's readings by local day and time of day: what the heat map and the daily shapes show."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np

from profiles.meter.readings.clock import DAY_S, Clock, zone_clock
from profiles.meter.readings.meter import Meter

STEP_S = 900  # every zone is a whole number of quarter-hours from UTC since 1972 (tz database 2026)
_SLACK_H = 1e-6


@dataclass(frozen=True, eq=False)
class Days:
    """Mean power by local day and slot of the day, as the wall clock shows it.

    Attributes
    ----------
    dates : tuple of date
        Every local day from the first reading to the last.
    kw : ndarray, shape (n_days, n_slots)
        Mean of what was read, NaN where nothing was. An hour that occurs twice is the mean of both. [kW]
    read_h, clock_h : ndarray, shape (n_days, n_slots)
        Hours with a reading; hours that the clock has there within the file's span: none where the clock skips, twice
        as many where it repeats. [h]
    changes : tuple of (date, float)
        Days on which the clock changes, and their length. [h]
    """

    dates: tuple[dt.date, ...]
    kw: np.ndarray
    read_h: np.ndarray
    clock_h: np.ndarray
    changes: tuple[tuple[dt.date, float], ...]

    @property
    def slot_h(self) -> float:
        return 24.0 / self.kw.shape[1]

    @property
    def gap(self) -> np.ndarray:
        """True where any reading is missing, shape (n_days, n_slots)."""
        return self.read_h < self.clock_h - _SLACK_H

    @property
    def gap_h(self) -> float:
        """Hours without a reading between the first and the last. [h]"""
        return float((self.clock_h - self.read_h).sum())

    def mean_kw(self, months, weekend: bool) -> np.ndarray:
        """Mean power by slot over the days of some months, on weekdays or at weekends, shape (n_slots,). [kW]"""
        rows = np.array([one.month in months and (one.weekday() >= 5) == weekend for one in self.dates], bool)
        hours = self.read_h[rows].sum(axis=0)
        energy = (np.nan_to_num(self.kw[rows]) * self.read_h[rows]).sum(axis=0)
        return np.divide(energy, hours, out=np.full(len(hours), np.nan), where=hours > 0)


def days_of(meter: Meter, *, slots: int = 24, timezone: str | None = None) -> Days:
    """Readings by local day and slot.

    Parameters
    ----------
    meter : Meter
    slots : int
        Slots of a day: 24, 48 or 96.
    timezone : str, optional
        IANA zone of the days; else the clock of the meter.
    """
    clock = zone_clock(timezone) if timezone else meter.local
    first, last = int(meter.start_utc[0]), int(meter.start_utc[-1] + meter.duration_s[-1])
    begin, last_day = _midnight(first, clock), _midnight(last - 1, clock)
    next_day = _midnight(last_day + DAY_S + 7200, clock)  # no day is shorter than 23 h or longer than 25
    edges = np.arange(begin, next_day + 1, STEP_S, dtype=np.int64)
    energy, read_s = (np.diff(np.interp(edges, *_running(meter, each))) for each in (meter.register_kwh("net"), None))
    inside_s = np.clip(np.minimum(edges[1:], last) - np.maximum(edges[:-1], first), 0, None)
    local = edges[:-1] + clock.offsets(edges[:-1])
    day0 = int(local[0]) // DAY_S
    n_days = int(local[-1]) // DAY_S - day0 + 1
    cell = (local // DAY_S - day0) * slots + local % DAY_S // (DAY_S // slots)
    kwh, read_h, clock_h = (
        np.bincount(cell, weights=each, minlength=n_days * slots).reshape(n_days, slots)
        for each in (energy, read_s / 3600.0, inside_s / 3600.0)
    )
    kw = np.divide(kwh, read_h, out=np.full(kwh.shape, np.nan), where=read_h > _SLACK_H)
    dates = tuple(dt.date(1970, 1, 1) + dt.timedelta(days=day0 + k) for k in range(n_days))
    return Days(dates, kw, read_h, clock_h, _changes(edges, local, dates))


def _midnight(utc_s: int, clock: Clock) -> int:
    """The local midnight at or before an instant, in UTC."""
    local = utc_s + clock.offset_at(utc_s)
    guess = local // DAY_S * DAY_S - clock.offset_at(utc_s)
    return guess + clock.offset_at(utc_s) - clock.offset_at(guess)


def _running(meter: Meter, kwh) -> tuple[np.ndarray, np.ndarray]:
    """Instants and the running sum there of energy, or of seconds read; level over gaps."""
    end = meter.start_utc + meter.duration_s
    amount = meter.duration_s if kwh is None else kwh
    total = np.concatenate(([0.0], np.cumsum(amount, dtype=float)))
    at = np.column_stack((meter.start_utc, end)).ravel()
    return at, np.column_stack((total[:-1], total[1:])).ravel()


def _changes(edges: np.ndarray, local: np.ndarray, dates) -> tuple[tuple[dt.date, float], ...]:
    steps = np.bincount(local // DAY_S - int(local[0]) // DAY_S, minlength=len(dates))
    odd = np.flatnonzero(steps * STEP_S != DAY_S)
    return tuple((dates[k], float(steps[k] * STEP_S / 3600.0)) for k in odd)
