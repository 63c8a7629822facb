"""Which calendar years a meter file covers, and of which it holds most."""

from __future__ import annotations

import datetime as dt
import zoneinfo

import numpy as np

from profiles.meter.readings.clock import zone_clock
from profiles.meter.readings.meter import Meter


def meter_years(meter: Meter, timezone: str | None = None) -> tuple[int, ...]:
    """Calendar years that the file covers, gaps of up to a day in all aside.

    Parameters
    ----------
    timezone : str, optional
        IANA zone whose years are meant; else the file's own clock.
    """
    first, last = int(meter.start_utc[0]), int(meter.start_utc[-1] + meter.duration_s[-1])
    clock = meter.local if timezone is None else None
    years = range(dt.datetime.fromtimestamp(first, dt.UTC).year - 1, dt.datetime.fromtimestamp(last, dt.UTC).year + 2)
    found = []
    for year in years:
        begin, end = (_new_year(y, timezone, clock) for y in (year, year + 1))
        overlap = np.minimum(meter.start_utc + meter.duration_s, end) - np.maximum(meter.start_utc, begin)
        if end - begin - np.maximum(overlap, 0).sum() <= 86_400:
            found.append(year)
    return tuple(found)


def fullest_year(meter: Meter, timezone: str) -> int:
    """The calendar year with the most time read; of equals the latest."""
    return max(seconds_by_year(meter, timezone), key=lambda item: (item[1], item[0]))[0]


def seconds_by_year(meter: Meter, timezone: str) -> list[tuple[int, int]]:
    """Each calendar year in which readings begin, and how long those last. [s]"""
    local = meter.start_utc + zone_clock(timezone).offsets(meter.start_utc)
    year = local.astype("datetime64[s]").astype("datetime64[Y]").astype(np.int64) + 1970
    return [(int(one), int(meter.duration_s[year == one].sum())) for one in np.unique(year)]


def _new_year(year: int, timezone: str | None, clock) -> int:
    if timezone is not None:
        return int(dt.datetime(year, 1, 1, tzinfo=zoneinfo.ZoneInfo(timezone)).timestamp())
    utc_s = int(dt.datetime(year, 1, 1, tzinfo=dt.UTC).timestamp())
    return utc_s - clock.offset_at(utc_s)
