"""Gaps of a meter's series: filled in between up to an hour, from like days up to a day, refused beyond."""

from __future__ import annotations

import datetime as dt
import zoneinfo

import numpy as np

from profiles.hours import Hours
from profiles.meter.on_axis.years import meter_years
from profiles.meter.readings.clock import DAY_S, zone_clock
from profiles.meter.readings.meter import Issue, Meter, merged, where
from profiles.noun import BadInput

INTERPOLATED_S, LIKE_DAY_S = 3600, DAY_S
FILLED_QUALITY = 16
_LIKE_DAYS = (7, -7, 14, -14, 21, -21, 28, -28)


def fill_gaps(meter: Meter, hours: Hours) -> Meter:
    """A copy that covers the axis' whole year, every gap filled by its length and counted among the issues.

    Parameters
    ----------
    meter : Meter
    hours : Hours
        The year to be covered.

    Returns
    -------
    Meter
        Up to an hour, with a reading on both sides: a straight line between them. Up to 24 h: the mean of the same
        wall-clock time a week before and after, else two, three, four weeks.

    Raises
    ------
    BadInput
        Nothing of the year is in the file, a gap is longer than 24 h, or no like day has readings.
    """
    clock = zone_clock(hours.timezone)
    gaps = gaps_of(meter, hours)
    if not gaps:
        return meter
    _refuse_long(meter, gaps, hours, clock)
    return _filled(meter, gaps, hours.timezone, clock)


def fill_inside(meter: Meter, timezone: str) -> Meter:
    """A copy with the gaps between its first and its last reading filled, as far as `fill_gaps` would; others stay."""
    end = meter.start_utc + meter.duration_s
    at = np.flatnonzero((meter.start_utc[1:] > end[:-1]) & (meter.start_utc[1:] - end[:-1] <= LIKE_DAY_S))
    gaps = [(int(end[i]), int(meter.start_utc[i + 1])) for i in at]
    known = [gap for gap in gaps if _is_short(gap, meter) or _has_like_days(meter, gap, timezone)]
    return _filled(meter, known, timezone, zone_clock(timezone)) if known else meter


def _filled(meter: Meter, gaps: list[tuple[int, int]], timezone: str, clock) -> Meter:
    filled, issues = [], []
    for kind, rule, done in (
        ("interpolated", _line, "filled in on a straight line between its neighbours"),
        ("like-day", _like_days, "filled from the same weekday and time of the weeks around it"),
    ):
        mine = [gap for gap in gaps if (kind == "interpolated") == _is_short(gap, meter)]
        pieces = [piece for gap in mine for piece in rule(meter, gap, timezone)]
        filled += pieces
        if pieces:
            issues.append(Issue(kind, len(pieces), where([piece[0] for piece in pieces], clock), done))
    return _joined(meter, filled, tuple(issues))


def _has_like_days(meter: Meter, gap: tuple[int, int], timezone: str) -> bool:
    try:
        _like_days(meter, gap, timezone)
    except BadInput:
        return False
    return True


def gaps_of(meter: Meter, hours: Hours) -> list[tuple[int, int]]:
    """Stretches of the axis' year without a reading, begin and end in seconds since 1970 in UTC."""
    first = int(hours.utc[0].timestamp())
    last = first + hours.n_steps * hours.step_min * 60
    start, end = meter.start_utc, meter.start_utc + meter.duration_s
    near = (end > first) & (start < last)
    if not near.any():
        return [(first, last)]
    begins = np.concatenate(([first], end[near]))
    ends = np.concatenate((start[near], [last]))
    return [(int(a), int(b)) for a, b in zip(begins, ends, strict=True) if b > a]


def _is_short(gap: tuple[int, int], meter: Meter) -> bool:
    inside = meter.start_utc[0] < gap[0] and gap[1] < meter.start_utc[-1] + meter.duration_s[-1]
    return inside and gap[1] - gap[0] <= INTERPOLATED_S


def _refuse_long(meter: Meter, gaps: list[tuple[int, int]], hours: Hours, clock) -> None:
    long = [gap for gap in gaps if gap[1] - gap[0] > LIKE_DAY_S]
    if not long:
        return
    begin, end = long[0]
    years = meter_years(meter, hours.timezone)
    missing_h = sum(b - a for a, b in long) / 3600.0
    if years:
        ways = f"set site.year = {years[-1]}, or state redate = true beside the file's name"
    elif meter.covered_s >= 365 * DAY_S - LIKE_DAY_S:
        ways = "it holds a year all the same: state redate = true beside its name, and every date takes what was read"
    else:
        ways = 'give a file of a whole year, or state extend = "like-weekdays" or "degree-days" beside its name'
    raise BadInput(
        f"has no readings from {clock.stamp(begin)} to {clock.stamp(end)}"
        + (f" and in {len(long) - 1} more gaps beyond a day" if len(long) > 1 else "")
        + f" ({missing_h:g} h of {hours.year} in all; the file runs from {clock.stamp(meter.start_utc[0])} to "
        f"{clock.stamp(meter.start_utc[-1] + meter.duration_s[-1])})",
        file=meter.path or meter.source,
        way_out=ways,
    )


def _pieces(gap: tuple[int, int], interval_s: int) -> list[tuple[int, int]]:
    """A gap cut into the file's own intervals."""
    edges = [*range(gap[0], gap[1], interval_s), gap[1]]
    return list(zip(edges[:-1], edges[1:], strict=True))


def _line(meter: Meter, gap: tuple[int, int], timezone: str) -> list[tuple]:
    before = int(np.searchsorted(meter.start_utc, gap[0])) - 1
    near = [before, before + 1]
    middle = meter.start_utc[near] + meter.duration_s[near] / 2
    found = []
    for begin, end in _pieces(gap, meter.interval_s):
        share = ((begin + end) / 2 - middle[0]) / (middle[1] - middle[0])
        power = [_at(values, near, meter.duration_s, share) for values in (meter.kwh, meter.received_kwh)]
        found.append((begin, end - begin, *(None if p is None else p * (end - begin) for p in power)))
    return found


def _at(values, near, duration_s, share):
    if values is None:
        return None
    low, high = values[near] / duration_s[near]
    return low + (high - low) * share


def _like_days(meter: Meter, gap: tuple[int, int], timezone: str) -> list[tuple]:
    found = []
    for begin, end in _pieces(gap, meter.interval_s):
        energy = None
        for weeks in zip(_LIKE_DAYS[::2], _LIKE_DAYS[1::2], strict=True):
            near = [_energy(meter, *_shifted(begin, end, days, timezone)) for days in weeks]
            near = [one for one in near if one is not None]
            if near:
                energy = np.mean(near, axis=0)
                break
        if energy is None:
            raise BadInput(
                f"has a gap at {zone_clock(timezone).stamp(begin)} and no reading at that time in the four weeks "
                "before or after",
                file=meter.path or meter.source,
                way_out="give a file that covers the year",
            )
        found.append((begin, end - begin, energy[0], None if meter.received_kwh is None else energy[1]))
    return found


def _shifted(begin: int, end: int, days: int, timezone: str) -> tuple[int, int]:
    """The same wall-clock time some days away."""
    zone = zoneinfo.ZoneInfo(timezone)
    local = dt.datetime.fromtimestamp(begin, zone)
    moved = int((local.replace(fold=0) + dt.timedelta(days=days)).timestamp())
    return moved, moved + end - begin


def _energy(meter: Meter, begin: int, end: int) -> np.ndarray | None:
    """Energy of [begin, end) by register, None where any of it is missing. [kWh]"""
    low = max(int(np.searchsorted(meter.start_utc, begin, side="right")) - 1, 0)
    high = int(np.searchsorted(meter.start_utc, end, side="left"))
    start, duration = meter.start_utc[low:high], meter.duration_s[low:high]
    overlap = np.minimum(start + duration, end) - np.maximum(start, begin)
    overlap = np.maximum(overlap, 0)
    if overlap.sum() != end - begin:
        return None
    share = overlap / duration
    registers = (meter.kwh, meter.kwh if meter.received_kwh is None else meter.received_kwh)
    return np.array([float((values[low:high] * share).sum()) for values in registers])


def _joined(meter: Meter, filled: list[tuple], issues: tuple[Issue, ...]) -> Meter:
    start = np.concatenate((meter.start_utc, np.array([piece[0] for piece in filled], dtype=np.int64)))
    order = np.argsort(start, kind="stable")
    new = len(filled)
    received = meter.received_kwh

    def with_new(values, pieces):
        return np.concatenate((values, pieces))[order]

    return meter.changed(
        start_utc=start[order],
        duration_s=with_new(meter.duration_s, np.array([piece[1] for piece in filled], dtype=np.int64)),
        kwh=with_new(meter.kwh, [piece[2] for piece in filled]),
        received_kwh=None if received is None else with_new(received, [piece[3] for piece in filled]),
        quality=with_new(meter.quality, np.full(new, FILLED_QUALITY)),
        cost=None if meter.cost is None else with_new(meter.cost, np.full(new, np.nan)),
        filled=with_new(np.zeros(len(meter.kwh), bool), np.ones(new, bool)),
        issues=merged(meter.issues + issues),
    )
