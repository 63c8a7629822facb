"""Which billing month, period and demand block each step belongs to: everything of a rate but its prices."""

from __future__ import annotations

import datetime as dt
import functools
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from profiles.hours import STEP_MINUTES, Hours
from profiles.noun import BadInput
from profiles.rate.charges import WEEKDAYS, day_names
from profiles.rate.cycles import billing_cycles
from profiles.rate.demand_blocks import DemandBlocks, block_starts, fixed_blocks, rolling_blocks
from profiles.rate.event import Event
from profiles.rate.holidays import rate_holidays
from profiles.rate.rate import Rate
from profiles.rate.rebate import RebateDays, days_before
from profiles.rate.splits import Pieces, days_of_event, in_span, pieces_of


@dataclass(frozen=True, eq=False)
class RateCalendar:
    """The calendar part of a rate on one hour axis; prices are not in it, so rates that differ in price share it.

    Attributes
    ----------
    labels : tuple of str
        Billing months: "2025-01", or the ISO date before which a cycle ends.
    month_number : ndarray of int, shape (n_months,)
        Calendar month of the cycle's last day, 1 to 12.
    days, share : ndarray, shape (n_months,)
        Local days of the billing month [d]; monthly charges that it pays, 1 for a whole month.
    season_days : ndarray of int, shape (n_months, n_periods)
        Days of the billing month in the season of each period. [d]
    month, period : ndarray of int32, shape (n_steps,)
        Billing month and period of each step.
    pieces : Pieces
        What each period is: a whole period of the rate, or a piece of one where events, dated riders or calendar
        months cut it. With no such cut they are `Rate.periods`.
    bucket : ndarray of int32, shape (n_steps,)
        ``month * n_periods + period``: sums of a month and a period are a bincount over it.
    used : ndarray of bool, shape (n_months, n_periods)
        True where the period has a step in the month.
    net_group, net_bucket : ndarray of int32 or None
        Where import and export cancel within hours or days: group of each step, shape (n_steps,), and bucket of
        each group. None where every step stands for itself.
    demand : tuple of DemandBlocks
        In the order of rate.demand.
    rebates : tuple of RebateDays
        Of the events that pay a rebate, in the order of rate.event.
    month_days : ndarray of int, shape (n_months, 12)
        Days of the billing month in each calendar month; all in that of its last day where seasons follow the cycle.
    weekday : ndarray of int, shape (n_days,)
        0 is Monday; a holiday is a Sunday.
    holidays : tuple of date
        Days that were counted as weekend.
    """

    hours: Hours
    labels: tuple[str, ...]
    month_number: np.ndarray
    days: np.ndarray
    share: np.ndarray
    season_days: np.ndarray
    month: np.ndarray
    period: np.ndarray
    pieces: Pieces
    bucket: np.ndarray
    used: np.ndarray
    net_group: np.ndarray | None
    net_bucket: np.ndarray | None
    demand: tuple[DemandBlocks, ...]
    rebates: tuple[RebateDays, ...]
    month_days: np.ndarray
    weekday: np.ndarray
    holidays: tuple[dt.date, ...]

    @property
    def n_months(self) -> int:
        return len(self.labels)

    @property
    def n_periods(self) -> int:
        return self.used.shape[1]

    def on_days(self, kind: str) -> np.ndarray:
        """True on the days named, a holiday being a Sunday, shape (n_steps,)."""
        return days_on(self.weekday, kind)[self.hours.day]


class _Structure(NamedTuple):
    """What of a rate decides its calendar; hashable, so that rates with other prices find the same calendar."""

    holidays: tuple
    seasons: tuple
    demand: tuple
    netting: str
    read_dates: tuple[str, ...] | None
    prorate_days: float | None
    season_by: str
    events: tuple
    spans: tuple
    by_month: bool


def rate_calendar(rate: Rate, hours: Hours) -> RateCalendar:
    """Billing month, period, netting group and demand blocks of every step, computed once per structure and axis.

    Parameters
    ----------
    rate : Rate
        Its months, days, hours, holidays, windows and read dates are used; its prices are not.
    hours : Hours

    Raises
    ------
    BadInput
        A month or hour that no period covers, a bound inside a step, a read date outside the year.

    Examples
    --------
    >>> from profiles.hours import hours_of_year
    >>> rate_calendar(Rate(price_per_kwh=0.2), hours_of_year(2025, "UTC")).labels[:2]
    ('2025-01', '2025-02')
    """
    if rate.source is not None:
        raise BadInput("is not read yet", key="rate.source", value=rate.source, way_out="use resolve_rate first")
    return _calendar(_structure(rate), hours)


def _structure(rate: Rate) -> _Structure:
    seasons = tuple(
        (s.name, s.months, s.from_, s.to, tuple((p.name, p.days, p.hours) for p in s.periods))
        for s in rate.season or ()
    ) or (("", tuple(range(1, 13)), None, None, (("all hours", "all", "00:00-24:00"),)),)
    return _Structure(
        (rate.holidays, rate.extra_holidays, rate.removed_holidays, rate.holiday_observed),
        seasons,
        tuple(
            (d.name, tuple((w.days, w.hours) for w in (d, *d.also)), d.window_min, d.block, d.days_meant)
            for d in rate.demand
        ),
        rate.export.netting_interval,
        rate.read_dates,
        rate.prorate_days,
        rate.season_by,
        tuple((e.name, e.dates, e.hours, e.is_priced, _rebate_rule(e)) for e in rate.event),
        tuple((r.name, r.from_, r.to) for r in rate.rider if r.from_ is not None),
        rate.read_dates is not None and rate.season_by == "date" and _has_prices_by_date(rate),
    )


def _rebate_rule(event: Event) -> tuple[int, int] | None:
    """Days that a baseline looks at, and how many of them it keeps."""
    return None if event.rebate_per_kwh is None else (event.rebate_days, event.rebate_best or event.rebate_days)


def _has_prices_by_date(rate: Rate) -> bool:
    """Is there a rider or an export credit of twelve values? What is netted over a billing month has no date."""
    if rate.export.method == "net-billing" and rate.export.netting_interval == "month":
        return False
    return any(
        np.ndim(one) for one in (*(r.per_kwh for r in rate.rider), rate.export.credit_per_kwh) if one is not None
    )


@functools.lru_cache(maxsize=32)
def _calendar(structure: _Structure, hours: Hours) -> RateCalendar:
    calendar, extra, removed, observed = structure.holidays
    holidays = _holidays(calendar, hours.year, observed, extra, removed)
    days = _days(hours, holidays)
    ends, labels, share = billing_cycles(structure.read_dates, structure.prorate_days, days.dates)
    month_of_day = np.searchsorted(ends, np.arange(hours.n_days), side="right")
    month_number = days.month[np.array(ends) - 1]
    told_by = np.asarray(ends)[month_of_day] - 1 if structure.season_by == "cycle" else np.arange(hours.n_days)
    season_of_day = _season_of_day(structure.seasons, days, told_by)
    of_rate, season_of_period = _period_of_step(structure.seasons, season_of_day, days)
    period, pieces = _cut(of_rate, len(season_of_period), structure, days)
    season_of_period = season_of_period[pieces.base]
    month = month_of_day[hours.day].astype(np.int32)
    n_months, n_periods = len(ends), len(season_of_period)
    bucket = (month * n_periods + period).astype(np.int32)
    in_season = np.zeros((n_months, len(structure.seasons)), dtype=np.int64)
    np.add.at(in_season, (month_of_day, season_of_day), 1)
    net_group, net_bucket = _netting(structure.netting, hours, bucket, n_periods)
    for array in (month, period, bucket):
        array.flags.writeable = False  # shared by every rate of this structure
    return RateCalendar(
        hours,
        labels,
        month_number,
        np.diff(ends, prepend=0),
        share,
        in_season[:, season_of_period],
        month,
        period,
        pieces,
        bucket,
        np.bincount(bucket, minlength=n_months * n_periods).reshape(n_months, n_periods) > 0,
        net_group,
        net_bucket,
        tuple(_demand_blocks(one, days, month) for one in structure.demand),
        tuple(
            _rebate_days(one, days, month_of_day, structure.events) for one in structure.events if one[4] is not None
        ),
        _month_days(month_of_day, days.month[told_by], n_months),
        days.weekday,
        holidays,
    )


def _month_days(month_of_day: np.ndarray, told_month: np.ndarray, n_months: int) -> np.ndarray:
    days = np.zeros((n_months, 12), dtype=np.int64)
    np.add.at(days, (month_of_day, told_month - 1), 1)
    return days


def _cut(period: np.ndarray, n_periods: int, structure: _Structure, days: _Days) -> tuple[np.ndarray, Pieces]:
    """Periods cut where a price changes inside them: piece of each step, and the pieces."""
    hours = days.hours
    on_event = None
    if any(one[3] for one in structure.events):
        on_event = np.full(hours.n_steps, -1)
        for k in reversed([k for k, one in enumerate(structure.events) if one[3]]):
            name, dates, windows, *_ = structure.events[k]
            on_event[_event_steps(dates, windows, days, name)] = k
    spans = [_span_steps(one, days) for one in structure.spans]
    return pieces_of(period, n_periods, on_event, days.month[hours.day] if structure.by_month else None, spans)


def _span_steps(span: tuple, days: _Days) -> np.ndarray:
    name, start, end = span
    inside = in_span(start, end, days.dates)
    if not inside.any():
        raise BadInput(
            f"never applies in {days.hours.year}",
            key=f'rate.rider "{name}".from, to',
            value=(start, end),
            way_out='write days such as "03-15" for every year, or strike the rider out',
        )
    return inside[days.hours.day]


def _event_steps(dates: tuple[str, ...], windows: str, days: _Days, name: str) -> np.ndarray:
    """True in the hours of an event, shape (n_steps,)."""
    on = np.isin(days.hours.day, days_of_event(name, dates, days.dates))
    return on & days.in_windows(windows, f'rate.event "{name}".hours')


def _rebate_days(event: tuple, days: _Days, month_of_day: np.ndarray, all_events: tuple) -> RebateDays:
    name, dates, windows, _, (n_days, n_best) = event
    events = [day for one in all_events for day in days_of_event(one[0], one[1], days.dates)]
    like = np.setdiff1d(np.flatnonzero(days.weekday < 5), events)
    own = np.sort(days_of_event(name, dates, days.dates))
    return RebateDays(
        day=own,
        month=month_of_day[own],
        like=tuple(days_before(like, int(day), n_days, days.hours.n_days) for day in own),
        n_best=n_best,
        inside=days.in_windows(windows, f'rate.event "{name}".hours'),
        of_step=days.hours.day,
    )


def period_names(rate: Rate, calendar: RateCalendar) -> tuple[str, ...]:
    """Names of the calendar's periods, such as "summer on-peak" and "summer on-peak, event day"."""
    more = [f", {rate.event[k].name}" if k >= 0 else "" for k in calendar.pieces.event]
    return tuple(rate.period_names[base] + own for base, own in zip(calendar.pieces.base, more, strict=True))


def days_on(weekday: np.ndarray, kind: str) -> np.ndarray:
    """True on the days named, shape (n_days,)."""
    if kind == "all":
        return np.ones(len(weekday), bool)
    if kind in ("weekday", "weekend"):
        return (weekday >= 5) == (kind == "weekend")
    return np.isin(weekday, [WEEKDAYS.index(name) for name in day_names(kind)])


class _Days:
    """The local days of an axis: month, day of the month and weekday, holidays included."""

    def __init__(self, hours: Hours, holidays: tuple[dt.date, ...]):
        self.hours, first = hours, dt.date(hours.year, 1, 1)
        dates = [first + dt.timedelta(days=k) for k in range(hours.n_days)]
        closed, self.dates = set(holidays), dates
        self.month = np.array([date.month for date in dates])
        self.weekday = np.array([6 if date in closed else date.weekday() for date in dates])

    def on(self, kind: str) -> np.ndarray:
        """True on the days named, a holiday being a Sunday, shape (n_days,)."""
        return days_on(self.weekday, kind)

    def in_windows(self, windows: str, key: str) -> np.ndarray:
        """True in the daily windows, shape (n_steps,)."""
        return _in_windows(self.hours, windows, key)


@functools.lru_cache(maxsize=64)
def _holidays(calendar: str | tuple, year: int, observed: str, extra: tuple, removed: tuple) -> tuple[dt.date, ...]:
    return rate_holidays(calendar, year, observed, extra, removed)


@functools.lru_cache(maxsize=8)
def _days(hours: Hours, holidays: tuple[dt.date, ...]) -> _Days:
    return _Days(hours, holidays)


@functools.lru_cache(maxsize=64)
def _in_windows(hours: Hours, windows: str, key: str) -> np.ndarray:
    return hours.in_windows(windows, key=key)


def _season_of_day(seasons: tuple, days: _Days, told_by: np.ndarray) -> np.ndarray:
    """Season of each day; `told_by` is the day whose date decides, itself or the last of its billing cycle."""
    found = np.full(days.hours.n_days, -1)
    for index in reversed(range(len(seasons))):
        _, months, start, end, _ = seasons[index]
        if months is not None:
            inside = np.isin(range(13), months)[days.month[told_by]]
        else:
            inside = in_span(start, end, days.dates)[told_by]
        found[inside] = index
    if (found < 0).any():
        step = int(np.flatnonzero(days.hours.day == int(np.argmin(found)))[0])
        raise BadInput(
            f"covers no season at {days.hours.local[step]:%Y-%m-%dT%H:%M}",
            key="rate.season",
            value=tuple(season[0] for season in seasons),
            way_out="every month needs a season",
        )
    return found


def _period_of_step(seasons: tuple, season_of_day: np.ndarray, days: _Days) -> tuple[np.ndarray, np.ndarray]:
    hours, owner = days.hours, [index for index, season in enumerate(seasons) for _ in season[4]]
    period = np.full(hours.n_steps, -1, dtype=np.int32)
    every = [(season, one) for season in seasons for one in season[4]]
    one_period: dict[tuple[int, str], int] = {}
    for index, (_, (name, *_)) in enumerate(every):  # several windows of one name are one period
        one_period.setdefault((owner[index], name), index)
    for index in reversed(range(len(every))):
        season, (name, kind, windows) = every[index]
        inside = days.in_windows(windows, f'rate.season "{season[0]}".periods "{name}".hours')
        period[inside & (days.on(kind) & (season_of_day == owner[index]))[hours.day]] = one_period[owner[index], name]
    if (period < 0).any():
        step = int(np.argmax(period < 0))
        name = seasons[season_of_day[hours.day[step]]][0]
        raise BadInput(
            f"covers no price at {hours.local[step]:%Y-%m-%dT%H:%M}",
            key=f'rate.season "{name}".periods',
            way_out='end with a period of hours = "00:00-24:00", days = "all"',
        )
    return period, np.array(owner)


def _netting(interval: str, hours: Hours, bucket: np.ndarray, n_periods: int):
    """Group of each step within which import and export of one period cancel, and the bucket of each group."""
    if interval in ("step", "month") or (interval == "hour" and hours.step_min == 60):
        return None, None
    span = hours.day if interval == "day" else np.cumsum(block_starts(hours, 60))
    key = np.asarray(span, dtype=np.int64) * (int(bucket.max()) + 1) + bucket
    _, first, group = np.unique(key, return_index=True, return_inverse=True)
    return group.astype(np.int32), bucket[first]


def _demand_blocks(demand: tuple, days: _Days, month: np.ndarray) -> DemandBlocks:
    name, windows, window_min, block, days_meant = demand
    hours, key = days.hours, f'rate.demand "{name}"'
    if window_min % hours.step_min:
        finer = max(m for m in STEP_MINUTES if window_min % m == 0)
        raise BadInput(
            f"is shorter than, or no multiple of, a step of {hours.step_min} min",
            key=f"{key}.window_min",
            value=window_min,
            way_out=f"set site.step_min = {finer}",
        )
    inside = np.zeros(hours.n_steps, bool)
    for kind, daily in windows:
        inside |= days.in_windows(daily, f"{key}.hours") & days.on(kind)[hours.day]
    if block == "rolling":
        blocks = rolling_blocks(inside, month, window_min // hours.step_min)
    else:
        blocks = fixed_blocks(inside, month, hours, window_min, key)
    return replace(blocks, day=hours.day[blocks.start], days_meant=days_meant)
