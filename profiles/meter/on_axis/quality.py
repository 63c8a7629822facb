"""The sheet on a meter file's quality: completeness, runs of zero, estimates, clock changes, and its shapes."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from profiles.meter.on_axis.years import meter_years
from profiles.meter.readings.clock import DAY_S, Clock, zone_clock
from profiles.meter.readings.espi import ESTIMATED
from profiles.meter.readings.meter import Issue, Meter, merged, where

ZERO_RUN_S, ZERO_RUN_READINGS = 3600, 2
RUNS_ARE_COMMON_A_DAY, ALWAYS_TOLD = 0.1, 3  # above that a circuit that switches, not a house that lost its power


@dataclass(frozen=True, eq=False)
class Quality:
    """What a careful reader wants to know before trusting a meter file.

    Attributes
    ----------
    annual_kwh : float or None
        Energy as read of the latest calendar year that the file covers. [kWh]
    gaps, zero_runs : tuple of (str, float)
        Local stamp and length of each gap, and of each run of exact zeros of an hour or more. [h]
    zero_frac, estimated_frac : float or None
        Share of the readings; `estimated_frac` is None where the file says nothing about quality.
    estimates_asked : bool
        Whether marks of estimated readings were looked for.
    clock_change_days : tuple of (str, float), or None
        Local date and hours with readings of each day on which the clock changes; 23 and 25 are right. None where no
        zone is known, so that none could be looked for. [h]
    negative : int
        Readings below zero.
    overnight_minimum_h : int
        Local hour of the lowest mean power; far from the night it puts the clock in doubt. [h]
    daily_kw : ndarray, shape (24,)
        Mean power by local hour, NaN where nothing was read. [kW]
    month_hour_kw : ndarray, shape (12, 24)
        Mean power by local month and hour. [kW]
    """

    start: str
    end: str
    interval_min: float
    readings: int
    energy_kwh: float
    annual_kwh: float | None
    completeness_frac: float
    repeated: int
    gaps: tuple[tuple[str, float], ...]
    zero_runs: tuple[tuple[str, float], ...]
    zero_frac: float
    estimated_frac: float | None
    estimates_asked: bool
    clock_change_days: tuple[tuple[str, float], ...] | None
    negative: int
    clock: str
    overnight_minimum_h: int
    daily_kw: np.ndarray
    month_hour_kw: np.ndarray

    def to_dict(self) -> dict:
        """Plain lists, numbers and texts, None for NaN."""
        return {one.name: _plain(getattr(self, one.name)) for one in fields(self)}


def _plain(value):
    if isinstance(value, np.ndarray):
        return [_plain(one) for one in value] if value.ndim > 1 else [None if np.isnan(x) else float(x) for x in value]
    return [list(one) for one in value] if isinstance(value, tuple) else value


def quality_sheet(meter: Meter, timezone: str | None = None) -> Quality:
    """The quality sheet of a meter.

    Parameters
    ----------
    meter : Meter
    timezone : str, optional
        IANA zone for days and hours; else the clock of the meter.
    """
    clock = zone_clock(timezone) if timezone else meter.local
    end = meter.start_utc + meter.duration_s
    daily, by_month = _shapes(meter, clock)
    runs = _zero_runs(meter)
    known = meter.quality >= 0
    return Quality(
        start=clock.stamp(meter.start_utc[0]),
        end=clock.stamp(end[-1]),
        interval_min=meter.interval_s / 60.0,
        readings=meter.readings,
        energy_kwh=meter.energy_kwh,
        annual_kwh=_annual_kwh(meter, clock, timezone),
        completeness_frac=meter.completeness_frac,
        repeated=meter.repeated,
        gaps=tuple(
            (clock.stamp(end[i]), float(meter.start_utc[i + 1] - end[i]) / 3600.0)
            for i in np.flatnonzero(meter.start_utc[1:] > end[:-1])
        ),
        zero_runs=tuple((clock.stamp(start), length / 3600.0) for start, length in runs),
        zero_frac=float(_is_zero(meter).mean()),
        estimated_frac=float(np.isin(meter.quality, ESTIMATED).mean()) if known.any() else None,
        estimates_asked=meter.estimates_asked,
        clock_change_days=_clock_change_days(meter, clock) if clock.zone or clock.saving_s else None,
        negative=int((meter.kwh < 0).sum()),
        clock=meter.clock,
        overnight_minimum_h=int(np.nanargmin(daily)),
        daily_kw=daily,
        month_hour_kw=by_month,
    )


def with_notes(meter: Meter) -> Meter:
    """A copy whose issues also say what is odd about the values: estimates, runs of zero, energy that flows back."""
    notes = []
    estimated = np.isin(meter.quality, ESTIMATED)
    if estimated.any():
        notes.append(
            Issue(
                "estimated",
                int(estimated.sum()),
                where(meter.start_utc[estimated], meter.local),
                "kept: these are the utility's estimates, not measurements",
            )
        )
    if meter.covered_s > meter.span_s:
        done = "readings overlap what was kept: look for a second register, or for daily sums beside intervals"
        notes.append(Issue("above-100-percent", 1, f"{100 * meter.completeness_frac:.1f} % of the span", done))
    runs = _zero_runs(meter)
    if runs and len(runs) <= max(ALWAYS_TOLD, RUNS_ARE_COMMON_A_DAY * meter.span_s / DAY_S):
        hours = sum(length for _, length in runs) / 3600.0
        notes.append(
            Issue(
                "zero-run",
                len(runs),
                where([start for start, _ in runs], meter.local),
                f"kept ({hours:g} h in all): a house that is connected hardly ever uses nothing; a real outage?",
            )
        )
    if meter.nets_solar:
        received = meter.register_kwh("received")
        notes.append(
            Issue(
                "nets-solar",
                int((received > 0).sum()),
                where(meter.start_utc[received > 0], meter.local),
                f"kept with their sign ({received.sum():.1f} kWh received): this meter does not show what the "
                "house uses; give the solar production beside it",
            )
        )
    return meter.changed(issues=merged((*meter.issues, *notes))) if notes else meter


def _is_zero(meter: Meter) -> np.ndarray:
    received = 0.0 if meter.received_kwh is None else meter.received_kwh
    return (meter.kwh == 0.0) & (received == 0.0)


def _zero_runs(meter: Meter) -> list[tuple[int, int]]:
    """Start and length in seconds of each run of exact zeros, unbroken, of an hour and of two readings or more."""
    zero = _is_zero(meter)
    end = meter.start_utc + meter.duration_s
    joined = zero[1:] & zero[:-1] & (meter.start_utc[1:] == end[:-1])
    first = np.flatnonzero(zero & np.concatenate(([True], ~joined)))
    last = np.flatnonzero(zero & np.concatenate((~joined, [True])))
    return [
        (int(meter.start_utc[a]), int(end[b] - meter.start_utc[a]))
        for a, b in zip(first, last, strict=True)
        if b - a + 1 >= ZERO_RUN_READINGS and end[b] - meter.start_utc[a] >= ZERO_RUN_S
    ]


def _shapes(meter: Meter, clock: Clock) -> tuple[np.ndarray, np.ndarray]:
    """Mean power by hour, and by month and hour, each reading counted in the local hour of its middle."""
    middle = meter.start_utc + meter.duration_s // 2
    local = (middle + clock.offsets(middle)).astype("datetime64[s]")
    month = local.astype("datetime64[M]").astype(np.int64) % 12
    hour = (local - local.astype("datetime64[D]")).astype(np.int64) // 3600
    cell, hours = month * 24 + hour, meter.duration_s / 3600.0
    energy, time = (
        np.bincount(cell, weights=w, minlength=288).reshape(12, 24) for w in (meter.register_kwh("net"), hours)
    )
    return _ratio(energy.sum(axis=0), time.sum(axis=0)), _ratio(energy, time)


def _ratio(energy: np.ndarray, time: np.ndarray) -> np.ndarray:
    return np.divide(energy, time, out=np.full(energy.shape, np.nan), where=time > 0)


def _annual_kwh(meter: Meter, clock: Clock, timezone: str | None) -> float | None:
    years = meter_years(meter, timezone or clock.zone)
    if not years:
        return None
    local = (meter.start_utc + clock.offsets(meter.start_utc)).astype("datetime64[s]").astype("datetime64[Y]")
    return float(np.round(meter.kwh[local.astype(np.int64) + 1970 == years[-1]].sum(), 9))


def _clock_change_days(meter: Meter, clock: Clock) -> tuple[tuple[str, float], ...]:
    found = []
    end = meter.start_utc + meter.duration_s
    for change in clock.changes(int(meter.start_utc[0]), int(end[-1])):
        before, after = clock.offset_at(change - 1), clock.offset_at(change)
        midnight = (change + before) // DAY_S * DAY_S - before
        next_midnight = (change + before) // DAY_S * DAY_S + DAY_S - after
        overlap = np.minimum(end, next_midnight) - np.maximum(meter.start_utc, midnight)
        found.append((clock.stamp(midnight)[:10], float(np.maximum(overlap, 0).sum()) / 3600.0))
    return tuple(found)
