"""Replays printed bills: ours beside theirs, line by line, and what a difference comes from."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from profiles.hours import Hours
from profiles.noun import BadInput
from profiles.rate.calendar import RateCalendar, period_names, rate_calendar
from profiles.rate.meter_sums import MeterSums, meter_sums
from profiles.rate.printed import PrintedBill, read_printed_bills
from profiles.rate.rate import Rate
from simulate.bill.bill import Bill, Line, bill_of
from simulate.bill.new_year import folded_cycle, joined

CLOSE_FRAC = 0.01
MOST_DAYS = 366
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
    rate : str
        Name of the rate that was replayed.
    notes : tuple of str
        What a reader of ours must know.
    """

    label: str
    theirs: float
    ours: float
    their_kwh: float | None
    our_kwh: float
    ours_at_their_kwh: float | None
    lines: tuple[ReplayedLine, ...]
    because: tuple[str, ...]
    rate: str = ""
    notes: tuple[str, ...] = ()

    @property
    def off_frac(self) -> float:
        """How far ours is off, as a share of theirs. [0 to 1]"""
        return abs(self.ours - self.theirs) / abs(self.theirs) if self.theirs else float(abs(self.ours) > 0.005)

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

    Notes
    -----
    Bills that reach into another year, twelve months in all at most, are priced with the same dates of the series'
    year, which is a ring: the meter of July to June on a calendar year holds them as they were. Weekdays, holidays and
    events are those of the series' year. Each such bill says so.
    """
    printed = tuple(bills) if isinstance(bills, list | tuple) else read_printed_bills(bills)
    cycles = _cycles_of(printed, hours.year)
    rate = rate.model_copy(update={"read_dates": tuple(sorted({date for cycle in cycles for date in cycle}))})
    calendar = rate_calendar(rate, hours)
    sums = meter_sums(import_kw, export_kw, rate, calendar)
    if any(end < start for start, end in cycles):
        sums, calendar = joined(sums, calendar, rate.prorate_days)
    ours = bill_of(sums, rate, calendar)
    return tuple(_replayed(one, end, ours, sums, rate, calendar) for one, (_, end) in zip(printed, cycles, strict=True))


def _cycles_of(printed: tuple[PrintedBill, ...], year: int) -> list[tuple[str, str]]:
    """Read dates of each bill on the year of the series; those of other years stand for the same dates of it."""
    first, last = min(bill.from_ for bill in printed), max(bill.to for bill in printed)
    inside = first >= f"{year}-01-01" and last <= f"{year + 1}-01-01"
    span = (dt.date.fromisoformat(last) - dt.date.fromisoformat(first)).days
    touches = str(year) in (first[:4], last[:4])
    if not inside and (span > MOST_DAYS or not touches):
        raise BadInput(
            f"lies outside {year}, and the bills span {span} days" if touches else f"lies outside {year}",
            key="bill.from, to",
            value=first if first < f"{year}-01-01" else last,
            way_out="replay twelve months at most, some of them in the year of the series (site.year)",
        )
    return [folded_cycle(bill.from_, bill.to, year) for bill in printed]


def verdict(replayed: Sequence[ReplayedBill]) -> str:
    """What the replay says of the rate, in one sentence.

    Examples
    --------
    >>> bill = ReplayedBill("a", 100.0, 100.4, None, 1.0, None, (), (), rate="Flat")
    >>> verdict([bill] * 12)
    'The rate "Flat" reproduces 12 bills within 0.4 %.'
    """
    close = [one for one in replayed if one.is_close]
    name = f'The rate "{replayed[0].rate}"' if replayed[0].rate else "The rate"
    most = max((one.off_frac for one in replayed), default=0.0)
    within = lambda frac: f"{max(math.ceil(1000.0 * frac - 1e-9) / 10.0, 0.1):.1f} %"
    if len(close) == len(replayed):
        return f"{name} reproduces {_bills(len(replayed))} within {within(most)}."
    share = f"{name} reproduces {len(close)} of {_bills(len(replayed))} within 1 %"
    return f"{share}; the others differ by up to {within(most)}, for the reasons named."


def _bills(n: int) -> str:
    return "1 bill" if n == 1 else f"{n} bills"


def _replayed(
    printed: PrintedBill, end: str, ours: Bill, sums: MeterSums, rate: Rate, calendar: RateCalendar
) -> ReplayedBill:
    """One bill beside ours; `end` is the read date that ends its cycle on the year of the series."""
    month = calendar.labels.index(end)
    total = ours.by_month.get(end, 0.0)
    at_their_kwh = _at_their_kwh(printed, month, sums, rate, calendar)
    lines = tuple(_side_by_side(printed, [line for line in ours.lines if line.month == end]))
    our_kwh = float(sums.bought_kwh[month].sum())
    their_kwh = printed.kwh
    if their_kwh is None and printed.kwh_by_period is not None:
        their_kwh = sum(printed.kwh_by_period.values())
    label = f"{printed.from_} to {printed.to}"
    notes = tuple(_outside(printed, calendar.hours.year))
    replayed = ReplayedBill(
        label, printed.amount, total, their_kwh, our_kwh, at_their_kwh, lines, (), rate=rate.name, notes=notes
    )
    if replayed.is_close:
        return replayed
    reasons = (*_odd_length(printed, rate), *_because(replayed, printed, float(sums.sold_kwh[month].sum())))
    return replace(replayed, because=reasons or ("not known: the bill gives neither kWh nor lines that differ",))


def _outside(printed: PrintedBill, year: int):
    """How much of a bill lies in another year than the series."""
    first, last = dt.date.fromisoformat(printed.from_), dt.date.fromisoformat(printed.to)
    days = sum((first + dt.timedelta(days=k)).year != year for k in range((last - first).days))
    if days:
        yield f"{days} of its {(last - first).days} days are not in {year}: the same dates of {year} stand for them"


def _at_their_kwh(printed: PrintedBill, month: int, sums: MeterSums, rate: Rate, calendar: RateCalendar):
    """Our bill of the printed kWh; demand stays as the series gives it."""
    names = period_names(rate, calendar)
    by_period = printed.kwh_by_period
    if by_period is None and printed.kwh is not None and len(set(names)) == 1:
        by_period = {names[0]: printed.kwh}
    if by_period is None or rate.hourly_prices is not None:
        return None
    unknown = sorted(set(by_period) - set(names))
    if unknown:
        raise BadInput(
            "is not a period of the rate",
            key="bill.kwh_by_period",
            value=unknown[0],
            way_out="choose of " + ", ".join(dict.fromkeys(names)),
        )
    bought, sold = sums.bought_kwh.copy(), sums.sold_kwh.copy()
    for name in dict.fromkeys(names):
        at = [p for p, own in enumerate(names) if own == name]
        bought[month, at] = by_period.get(name, 0.0) * _shares(bought[month, at])
    if printed.exported_kwh is not None and sold[month].sum():
        sold[month] *= printed.exported_kwh / sold[month].sum()
    theirs = replace(sums, bought_kwh=bought, sold_kwh=sold)
    return bill_of(theirs, rate, calendar).by_month.get(calendar.labels[month], 0.0)


def _shares(kwh: np.ndarray) -> np.ndarray:
    """How the pieces of a period share its energy; the first has all where the series has none."""
    return kwh / kwh.sum() if kwh.sum() > 0.0 else np.arange(len(kwh)) == 0


def _side_by_side(printed: PrintedBill, own: list[Line]):
    """Lines of one name beside each other, then what is left of each kind in one row."""
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
