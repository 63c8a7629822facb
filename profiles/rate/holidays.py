"""Holidays of a rate by name, so that a utility's own six stay six in every year; and the list of Ontario's rates."""

from __future__ import annotations

import datetime as dt
from typing import Literal

from dateutil.easter import easter

from profiles.hours import holiday_dates
from profiles.noun import BadInput

OBSERVED = Literal["observed", "actual", "sunday-only", "next-weekday"]
MON, THU, FRI = 0, 3, 4
ON_DATE = {
    "new-year": (1, 1),
    "new-year-eve": (12, 31),
    "juneteenth": (6, 19),
    "canada": (7, 1),
    "independence": (7, 4),
    "veterans": (11, 11),
    "christmas-eve": (12, 24),
    "christmas": (12, 25),
    "boxing": (12, 26),
}
"""Holidays that keep their date, (month, day)."""
ON_WEEKDAY = {
    "martin-luther-king": (1, MON, 3),
    "family": (2, MON, 3),
    "presidents": (2, MON, 3),
    "memorial": (5, MON, -1),
    "civic": (8, MON, 1),
    "labor": (9, MON, 1),
    "labour": (9, MON, 1),
    "columbus": (10, MON, 2),
    "thanksgiving-canada": (10, MON, 2),
    "thanksgiving": (11, THU, 4),
    "day-after-thanksgiving": (11, THU, 4),
}
"""Holidays that keep their weekday, (month, weekday, which of the month; -1 the last)."""
FROM_EASTER = {"good-friday": -2, "easter-monday": 1}
NAMES = (*ON_DATE, *ON_WEEKDAY, *FROM_EASTER, "victoria")
ONTARIO = (
    "new-year",
    "family",
    "good-friday",
    "victoria",
    "canada",
    "civic",
    "labour",
    "thanksgiving-canada",
    "christmas",
    "boxing",
)
"""Off-peak holidays of Ontario's time-of-use prices: the ten of the list that distributors print (2017: 2 Jan, 20 Feb,
14 Apr, 22 May, 3 Jul, 7 Aug, 4 Sep, 9 Oct, 25 and 26 Dec; bluewaterpower.com); one on a weekend is kept on the next
weekday."""


def rate_holidays(
    holidays: str | tuple[str, ...], year: int, observed: str, extra: tuple[str, ...], removed: tuple[str, ...]
) -> tuple[dt.date, ...]:
    """Dates of a year that a rate counts as weekend.

    Parameters
    ----------
    holidays : str or tuple of str
        "none", a calendar such as "US", or names of `NAMES`. "CA-ON" is the list of Ontario's rates.
    year : int
    observed : str
        "observed", "actual", "sunday-only" or "next-weekday". By law Ontario's go to the next weekday and named ones
        of a Saturday to Friday, of a Sunday to Monday, as the federal holidays of the United States do.
    extra, removed : tuple of str
        ISO dates added and taken away.

    Raises
    ------
    BadInput
        Unknown calendar, name, rule or date.

    Examples
    --------
    >>> [str(day) for day in rate_holidays(("independence", "thanksgiving"), 2026, "observed", (), ())]
    ['2026-07-03', '2026-11-26']
    >>> len(rate_holidays("CA-ON", 2025, "observed", (), ()))
    10
    """
    if isinstance(holidays, str) and holidays != "CA-ON":
        rule = "actual" if observed == "next-weekday" else observed
        days = set(holiday_dates(holidays, year, observed=rule, extra=(), removed=()))
        days = _kept(days, "next-weekday") if observed == "next-weekday" else days
    else:
        names = ONTARIO if isinstance(holidays, str) else known_holidays(holidays)
        rule = "next-weekday" if isinstance(holidays, str) and observed == "observed" else observed
        days = _kept({named_day(name, y) for name in names for y in (year - 1, year, year + 1)}, rule)
    named = tuple(day.isoformat() for day in sorted(days) if day.year == year)
    return holiday_dates("none", year, extra=(*named, *extra), removed=removed)


def known_holidays(holidays: str | tuple[str, ...]) -> tuple[str, ...]:
    """The names of a list of holidays; a name that is not known is refused."""
    if isinstance(holidays, str):
        return ()
    for name in holidays:
        if name not in NAMES:
            raise BadInput(
                "is not a holiday that is known by name",
                key="holidays",
                value=name,
                way_out="choose of " + ", ".join(NAMES) + "; or give its date in extra_holidays",
            )
    return holidays


def named_day(name: str, year: int) -> dt.date:
    """The day itself, wherever in the week it falls.

    Examples
    --------
    >>> str(named_day("memorial", 2025)), str(named_day("victoria", 2017)), str(named_day("good-friday", 2017))
    ('2025-05-26', '2017-05-22', '2017-04-14')
    """
    if name in ON_DATE:
        return dt.date(year, *ON_DATE[name])
    if name in FROM_EASTER:
        return easter(year) + dt.timedelta(days=FROM_EASTER[name])
    if name == "victoria":  # the Monday before 25 May
        day = dt.date(year, 5, 24)
        return day - dt.timedelta(days=day.weekday())
    day = _nth_weekday(year, *ON_WEEKDAY[name])
    return day + dt.timedelta(days=1) if name == "day-after-thanksgiving" else day


def _nth_weekday(year: int, month: int, weekday: int, nth: int) -> dt.date:
    if nth < 0:
        after = dt.date(year, month + 1, 1)
        return after - dt.timedelta(days=(after.weekday() - weekday - 1) % 7 + 1)
    first = dt.date(year, month, 1)
    return first + dt.timedelta(days=(weekday - first.weekday()) % 7 + 7 * (nth - 1))


def _kept(days: set[dt.date], rule: str) -> set[dt.date]:
    """The days on which holidays are kept."""
    if rule == "actual":
        return days
    kept: set[dt.date] = set()
    for day in sorted(days):
        kept.add(_moved(day, rule, kept | days))
    return kept


def _moved(day: dt.date, rule: str, taken: set[dt.date]) -> dt.date:
    one = dt.timedelta(days=1)
    if rule == "next-weekday":
        while day.weekday() >= 5:
            day += one
            while day in taken and day.weekday() < 5:
                day += one
        return day
    if day.weekday() == 5 and rule == "observed":
        return day - one
    return day + one if day.weekday() == 6 else day
