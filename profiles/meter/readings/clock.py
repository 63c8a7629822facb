"""Local clocks of meter files: an IANA zone, a fixed offset, or the rules that a Green Button file carries."""

from __future__ import annotations

import calendar
import datetime as dt
import functools
import zoneinfo
from dataclasses import dataclass

import numpy as np

from profiles.noun import BadInput

DAY_S = 86_400
_STRIDE_S = 5 * DAY_S  # no zone since 1970 changed twice within a week (tz database 2026)
_NEVER = 0xFFFFFFFF
_DAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
_TIMES = {2: "first", 3: "second", 4: "third", 5: "fourth", 6: "fifth", 7: "last"}


@dataclass(frozen=True)
class ChangeRule:
    """When in each year a clock changes, as the 32 bits of ESPI's DstRuleType say it.

    Notes
    -----
    Bits 0-11 seconds, 12-16 hour, 17-19 weekday (1 is Monday), 20-24 day of the month, 25-27 operator (0 the date,
    1 the weekday on or after the date, 2 to 6 the first to fifth weekday of the month, 7 the last), 28-31 month.
    References: NAESB REQ.21 ESPI schema, DstRuleType.

    Examples
    --------
    >>> print(ChangeRule.from_hex("360E2000"))
    second Sunday of March 02:00
    >>> ChangeRule.from_hex("B40E2000").local(2011).isoformat()
    '2011-11-06T02:00:00'
    """

    month: int
    operator: int
    day: int
    weekday: int
    seconds: int

    @classmethod
    def from_hex(cls, text: str) -> ChangeRule | None:
        """The rule, or None for FFFFFFFF (no change); ValueError where the bits name no date."""
        bits = int(text, 16)
        if bits == _NEVER:
            return None
        rule = cls(
            bits >> 28 & 15, bits >> 25 & 7, bits >> 20 & 31, bits >> 17 & 7, (bits >> 12 & 31) * 3600 + (bits & 4095)
        )
        if not 1 <= rule.month <= 12 or rule.seconds > DAY_S or rule.operator < 2 and not 1 <= rule.day <= 31:
            raise ValueError(f"{text} names no date")
        if rule.operator and not 1 <= rule.weekday <= 7:
            raise ValueError(f"{text} names no weekday")
        return rule

    def local(self, year: int) -> dt.datetime:
        """The change in `year` on the clock that it ends."""
        length = calendar.monthrange(year, self.month)[1]
        first = dt.datetime(year, self.month, 1)
        if self.operator == 0:
            day = min(self.day, length)
        elif self.operator == 7:
            day = length - (first.weekday() + length - self.weekday) % 7
        else:
            least = self.day if self.operator == 1 else 1
            day = least + (self.weekday - 1 - (first.weekday() + least - 1)) % 7
            day += 7 * max(self.operator - 2, 0)
            day -= 7 * (day > length)
        return dt.datetime(year, self.month, day) + dt.timedelta(seconds=self.seconds)

    def __str__(self) -> str:
        hour = f"{self.seconds // 3600:02d}:{self.seconds // 60 % 60:02d}"
        month = calendar.month_name[self.month]
        if self.operator == 0:
            return f"{self.day} {month} {hour}"
        weekday = _DAYS[self.weekday - 1]
        if self.operator == 1:
            return f"{weekday} on or after {self.day} {month} {hour}"
        return f"{_TIMES[self.operator]} {weekday} of {month} {hour}"


@dataclass(frozen=True)
class Clock:
    """A local clock: an IANA zone, or an offset from UTC with the rules of daylight saving.

    Examples
    --------
    >>> Clock(zone="America/New_York").stamp(1741503600)
    '2025-03-09T03:00:00-04:00'
    """

    zone: str | None = None
    offset_s: int = 0
    saving_s: int = 0
    begins: ChangeRule | None = None
    ends: ChangeRule | None = None

    def offset_at(self, utc_s: int) -> int:
        """Local time minus UTC at an instant. [s]"""
        if self.zone is not None:
            moment = dt.datetime.fromtimestamp(utc_s, zoneinfo.ZoneInfo(self.zone))
            return int(moment.utcoffset().total_seconds())
        if not self.saving_s or self.begins is None or self.ends is None:
            return self.offset_s
        year = dt.datetime.fromtimestamp(utc_s + self.offset_s, dt.UTC).year
        begins = _seconds(self.begins.local(year)) - self.offset_s
        ends = _seconds(self.ends.local(year)) - self.offset_s - self.saving_s
        saving = begins <= utc_s < ends if begins < ends else not ends <= utc_s < begins
        return self.offset_s + self.saving_s * saving

    def offsets(self, utc_s: np.ndarray) -> np.ndarray:
        """Local time minus UTC at many instants, same shape. [s]"""
        first, last = int(utc_s.min()), int(utc_s.max())
        changes = self.changes(first, last)
        values = np.array([self.offset_at(at) for at in (first, *changes)], dtype=np.int64)
        return values[np.searchsorted(np.array(changes, dtype=np.int64), utc_s, side="right")]

    def changes(self, first_s: int, last_s: int) -> list[int]:
        """Instants in [first, last] at which the clock changes, seconds in UTC."""
        return list(_changes(self, first_s, last_s))

    def _change_between(self, low: int, high: int) -> int:
        before = self.offset_at(low)
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (middle, high) if self.offset_at(middle) == before else (low, middle)
        return high

    def stamp(self, utc_s: int) -> str:
        """ISO time on this clock with its offset from UTC."""
        offset = dt.timezone(dt.timedelta(seconds=self.offset_at(int(utc_s))))
        return dt.datetime.fromtimestamp(int(utc_s), offset).isoformat()

    def stamps(self, utc_s: np.ndarray) -> list[str]:
        """`stamp` of many instants."""
        offsets = self.offsets(utc_s)
        suffix = {int(offset): offset_text(int(offset))[3:] for offset in np.unique(offsets)}
        local = np.datetime_as_string((utc_s + offsets).astype("datetime64[s]"))
        return [text + suffix[offset] for text, offset in zip(local.tolist(), offsets.tolist(), strict=True)]

    def __str__(self) -> str:
        if self.zone is not None:
            return self.zone
        base = offset_text(self.offset_s)
        if not self.saving_s or self.begins is None or self.ends is None:
            return f"{base} all year"
        return f"{base}, {self.saving_s / 3600:+g} h from the {self.begins} to the {self.ends}"


@functools.lru_cache(maxsize=4096)
def _changes(clock: Clock, first_s: int, last_s: int) -> tuple[int, ...]:
    found, before, at = [], clock.offset_at(first_s), first_s
    while at < last_s:
        after = min(at + _STRIDE_S, last_s)
        offset = clock.offset_at(after)
        if offset != before:
            found.append(clock._change_between(at, after))
        at, before = after, offset
    return tuple(found)


UTC = Clock()


def offset_text(seconds: int) -> str:
    """Such as "UTC-08:00"."""
    minutes = abs(seconds) // 60
    return f"UTC{'-' if seconds < 0 else '+'}{minutes // 60:02d}:{minutes % 60:02d}"


def clock_of_offsets(utc_s: np.ndarray, offset_s: np.ndarray) -> Clock:
    """The clock of stamps that name their offset: a fixed one, one with the changes of North America or of Europe.

    UTC where it is none of these: instants are right all the same, only the stamps shown are not local.

    Examples
    --------
    >>> str(clock_of_offsets(np.array([1735689600, 1751328000]), np.array([-18000, -14400])))
    'UTC-05:00, +1 h from the second Sunday of March 02:00 to the first Sunday of November 02:00'
    """
    standard = int(offset_s.min())
    if (offset_s == standard).all():
        return Clock(offset_s=standard)
    north_america = ChangeRule(3, 3, 0, 7, 7200), ChangeRule(11, 2, 0, 7, 7200)
    europe = ChangeRule(3, 7, 0, 7, 3600 + standard), ChangeRule(10, 7, 0, 7, 7200 + standard)
    for begins, ends in (north_america, europe):
        clock = Clock(None, standard, 3600, begins, ends)
        if np.array_equal(clock.offsets(utc_s), offset_s):
            return clock
    return UTC


def zone_clock(timezone: str) -> Clock:
    """Clock of an IANA zone, refused in one line where there is none of that name."""
    try:
        zoneinfo.ZoneInfo(timezone)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, TypeError, OSError):
        raise BadInput(
            "is not an IANA time zone", key="timezone", value=timezone, way_out='write one such as "America/New_York"'
        ) from None
    return Clock(zone=timezone)


def _seconds(naive: dt.datetime) -> int:
    return calendar.timegm(naive.timetuple())
