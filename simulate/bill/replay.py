"""Replays printed bills: ours beside theirs, line by line, and what a difference comes from."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace

import numpy as np

from profiles.hours import Hours
from profiles.noun import BadInput
from profiles.rate.calendar import RateCalendar, rate_calendar
from profiles.rate.meter_sums import MeterSums, meter_sums
from profiles.rate.printed import PrintedBill, read_printed_bills
from profiles.rate.rate import Rate
from simulate.bill.bill import Bill, bill_of

CLOSE_FRAC = 0.01
USUAL_DAYS = (20, 45)
"""Days of a billing cycle that stands for a month; common practice, no source."""


@dataclass(frozen=True)
class ReplayedLine:
    """One line, or the lines of one kind, beside each other; None where one side has none.

    Attributes
    ----------
    name, kind : str
    theirs, ours : float or None
        [currency]
    """

    name: str
    kind: str
    theirs: float | None
    ours: float | None


@dataclass(frozen=True)
class ReplayedBill:
    """One printed bill beside ours.

    Attributes
    ----------
    label : str
        "2025-01-14 to 2025-02-15".
    theirs, ours : float
        [currency]
    their_kwh, our_kwh : float or None, float
        Energy bought. [kWh]
    ours_at_their_kwh : float or None
        Our bill of the printed kWh, where they are given for every period: it leaves the meter out. [currency]
    lines : tuple of ReplayedLine
    because : tuple of str
        What the difference comes from, in plain words; empty where the bill is within one percent.
    """

    label: str
    theirs: float
    ours: float
    their_kwh: float | None
    our_kwh: float
    ours_at_their_kwh: float | None
    lines: tuple[ReplayedLine, ...]
    because: tuple[str, ...]

    @property
    def is_close(self) -> bool:
        """Within one percent of the printed amount."""
        return _is_close(self.theirs, self.ours)


def replay_bill(bills, import_kw, export_kw, rate: Rate, hours: Hours) -> tuple[ReplayedBill, ...]:
    """Price the meter's series over the read dates of printed bills and set both side by side.

    Parameters
    ----------
    bills : path or sequence of PrintedBill
    import_kw, export_kw : array_like, shape (n_steps,)
        The meter's series over the year of the bills. [kW]
    rate : Rate
        The rate that the bills name; its own read dates are replaced by theirs.
    hours : Hours

    Returns
    -------
    tuple of ReplayedBill
        In the order of the bills.

    Raises
    ------
    BadInput
        A bill outside the year, a period that the rate does not have.
    """
    printed = tuple(bills) if isinstance(bills, list | tuple) else read_printed_bills(bills)
    dates = tuple(sorted({date for bill in printed for date in (bill.from_, bill.to)}))
    if dates[0] < f"{hours.year}-01-01" or dates[-1] > f"{hours.year + 1}-01-01":
        outside = dates[0] if dates[0] < f"{hours.year}-01-01" else dates[-1]
        raise BadInput(
            f"lies outside {hours.year}",
            key="bill.from, to",
            value=outside,
            way_out="replay each calendar year with its own series",
        )
    rate = rate.model_copy(update={"read_dates": dates})
    calendar = rate_calendar(rate, hours)
    sums = meter_sums(import_kw, export_kw, rate, calendar)
    ours = bill_of(sums, rate, calendar)
    return tuple(_replayed(one, ours, sums, rate, calendar) for one in printed)


def _replayed(printed: PrintedBill, ours: Bill, sums: MeterSums, rate: Rate, calendar: RateCalendar) -> ReplayedBill:
    month = calendar.labels.index(printed.to)
    total = ours.by_month.get(printed.to, 0.0)
    at_their_kwh = _at_their_kwh(printed, month, sums, rate, calendar)
    lines = tuple(_side_by_side(printed, ours))
    our_kwh = float(sums.bought_kwh[month].sum())
    their_kwh = printed.kwh
    if their_kwh is None and printed.kwh_by_period is not None:
        their_kwh = sum(printed.kwh_by_period.values())
    label = f"{printed.from_} to {printed.to}"
    replayed = ReplayedBill(label, printed.amount, total, their_kwh, our_kwh, at_their_kwh, lines, ())
    if replayed.is_close:
        return replayed
    reasons = (*_odd_length(printed, rate), *_because(replayed, printed, float(sums.sold_kwh[month].sum())))
    return replace(replayed, because=reasons or ("not known: the bill gives neither kWh nor lines that differ",))


def _at_their_kwh(printed: PrintedBill, month: int, sums: MeterSums, rate: Rate, calendar: RateCalendar):
    """Our bill of the printed kWh; demand stays as the series gives it."""
    by_period = printed.kwh_by_period
    if by_period is None and printed.kwh is not None and calendar.n_periods == 1:
        by_period = {rate.period_names[0]: printed.kwh}
    if by_period is None or rate.hourly_prices is not None:
        return None
    unknown = sorted(set(by_period) - set(rate.period_names))
    if unknown:
        raise BadInput(
            "is not a period of the rate",
            key="bill.kwh_by_period",
            value=unknown[0],
            way_out="choose of " + ", ".join(rate.period_names),
        )
    bought, sold = sums.bought_kwh.copy(), sums.sold_kwh.copy()
    names = rate.period_names
    bought[month] = [by_period.get(name, 0.0) * (names.index(name) == p) for p, name in enumerate(names)]
    if printed.exported_kwh is not None and sold[month].sum():
        sold[month] *= printed.exported_kwh / sold[month].sum()
    return bill_of(MeterSums(bought, sold, sums.peak_kw), rate, calendar).by_month.get(printed.to, 0.0)


def _side_by_side(printed: PrintedBill, ours: Bill):
    """Lines of one name beside each other, then what is left of each kind in one row."""
    own = [line for line in ours.lines if line.month == printed.to]
    left_theirs, left_ours = list(printed.lines), list(own)
    for line in printed.lines:
        same = [one for one in left_ours if one.name.casefold() == line.name.casefold() and one.kind == line.kind]
        if same:
            yield ReplayedLine(line.name, line.kind, line.amount, sum(one.amount for one in same))
            left_theirs.remove(line)
            left_ours = [one for one in left_ours if one not in same]
    for kind in dict.fromkeys(line.kind for line in [*left_theirs, *left_ours]):
        pair = [[line for line in side if line.kind == kind] for side in (left_theirs, left_ours)]
        names = dict.fromkeys(line.name for line in pair[0] or pair[1])
        amounts = [sum(line.amount for line in side) if side else None for side in pair]
        if printed.lines:
            yield ReplayedLine(" + ".join(names), kind, *amounts)


def _odd_length(printed: PrintedBill, rate: Rate):
    """A bill of half a month, or of several, that one month's charges and tiers do not fit."""
    days = (dt.date.fromisoformat(printed.to) - dt.date.fromisoformat(printed.from_)).days
    if rate.prorate_days is None and not USUAL_DAYS[0] <= days <= USUAL_DAYS[1]:
        yield (
            f"length: the bill spans {days} days and is priced as one cycle with one month's charges; "
            "give every read date, or rate.prorate_days"
        )


def _because(replayed: ReplayedBill, printed: PrintedBill, sold_kwh: float):
    """Plain words for what two bills differ by, the energy first."""
    if replayed.their_kwh is not None and not _is_close(replayed.their_kwh, replayed.our_kwh):
        yield f"energy: {replayed.their_kwh:.1f} kWh are printed, the series holds {replayed.our_kwh:.1f} kWh"
    if printed.exported_kwh is not None and not _is_close(printed.exported_kwh, sold_kwh):
        yield f"export: {printed.exported_kwh:.1f} kWh are printed, the series holds {sold_kwh:.1f} kWh"
    if replayed.ours_at_their_kwh is not None and not _is_close(replayed.theirs, replayed.ours_at_their_kwh):
        yield f"prices: at the printed kWh the rate gives {replayed.ours_at_their_kwh:.2f}, not {replayed.theirs:.2f}"
    lines_sum = float(np.sum([line.amount for line in printed.lines]))
    if printed.lines and abs(lines_sum - printed.amount) > 0.01:
        yield f"the printed lines add to {lines_sum:.2f}, not to the printed {printed.amount:.2f}"
    for line in replayed.lines:
        if line.ours is None:
            yield f'{line.kind} "{line.name}": {line.theirs:.2f} is printed, the rate has no such charge'
        elif line.theirs is None:
            yield f'{line.kind} "{line.name}": the rate gives {line.ours:.2f}, none is printed'
        elif not _is_close(line.theirs, line.ours):
            yield f'{line.kind} "{line.name}": {line.theirs:.2f} is printed, the rate gives {line.ours:.2f}'


def _is_close(theirs: float, ours: float) -> bool:
    return abs(ours - theirs) <= CLOSE_FRAC * abs(theirs) + 0.005
