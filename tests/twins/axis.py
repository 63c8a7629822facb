"""The hour axis by the local clock: New Year to New Year in one zone, step by step."""

import datetime as dt
from collections import namedtuple
from functools import lru_cache
from zoneinfo import ZoneInfo

from tests.twins.branches import seen

Stamp = namedtuple("Stamp", "utc local minute weekday month date offset")
"""Start of a step: minute of the local day, weekday with Monday 0, UTC offset [s]."""


@lru_cache(maxsize=8)
def stamps_of(year: int, zone: str, step_min: int) -> tuple[Stamp, ...]:
    """Every step from local New Year to local New Year."""
    here = ZoneInfo(zone)
    now = dt.datetime(year, 1, 1, tzinfo=here).astimezone(dt.UTC)
    end = dt.datetime(year + 1, 1, 1, tzinfo=here).astimezone(dt.UTC)
    found = []
    while now < end:
        local = now.astimezone(here)
        found.append(
            Stamp(now, local, local.hour * 60 + local.minute, local.weekday(), local.month, local.date(),
                  local.utcoffset().total_seconds())
        )  # fmt: skip
        now += dt.timedelta(minutes=step_min)
    return tuple(found)


def note_clock_changes(stamps) -> None:
    """Which kinds of day are among these steps."""
    for a, b in zip(stamps[:-1], stamps[1:], strict=True):
        seen("clock goes forward", b.offset > a.offset)
        seen("clock goes back", b.offset < a.offset)
    seen("day of 24 equal hours", stamps[0].offset == stamps[-1].offset)


def minutes_of(clock: str) -> int:
    hour, minute = clock.split(":")
    return int(hour) * 60 + int(minute)


def in_window(minute: int, windows: str) -> bool:
    """Whether a minute of the day lies in one of the half-open windows; one that ends before it begins runs over."""
    for part in windows.split(","):
        a, b = (minutes_of(text.strip()) for text in part.split("-"))
        if a < b and a <= minute < b:
            return True
        if a >= b and (minute >= a or minute < b):
            return seen("window over midnight")
    return False


def is_day(weekday: int, days: str) -> bool:
    """Whether a weekday (Monday 0) is one of "all", "weekday" or "weekend"."""
    return days == "all" or (weekday < 5) == (days == "weekday")


def nth(year: int, month: int, weekday: int, n: int) -> dt.date:
    """The n-th such weekday of a month; -1 is the last."""
    days = [dt.date(year, month, 1) + dt.timedelta(days=k) for k in range(31)]
    fitting = [day for day in days if day.month == month and day.weekday() == weekday]
    return fitting[n - 1 if n > 0 else n]


@lru_cache(maxsize=8)
def federal_holidays(year: int) -> frozenset:
    """The eleven holidays of 5 U.S.C. 6103, a Saturday's kept on Friday and a Sunday's on Monday."""
    fixed = [dt.date(year, *day) for day in ((1, 1), (6, 19), (7, 4), (11, 11), (12, 25))] + [dt.date(year + 1, 1, 1)]
    found = set()
    for day in fixed:
        found.add(day + dt.timedelta(days={5: -1, 6: 1}.get(day.weekday(), 0)))
    found |= {nth(year, 1, 0, 3), nth(year, 2, 0, 3), nth(year, 5, 0, -1), nth(year, 9, 0, 1), nth(year, 10, 0, 2)}
    return frozenset(found | {nth(year, 11, 3, 4)})
