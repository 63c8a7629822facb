"""The bill: line items by month that add up, before and after rounding."""

from __future__ import annotations

import functools
import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from profiles.hours import Hours
from profiles.rate.calendar import RateCalendar, rate_calendar
from profiles.rate.meter_sums import MeterSums, meter_sums
from profiles.rate.rate import Rate
from simulate.bill.amounts import BillAmounts, bill_amounts

KINDS = ("fixed", "energy", "nonbypassable", "rider", "demand", "export", "carried", "minimum", "tax", "true-up")
"""Kinds of line in the order of a bill."""


@dataclass(frozen=True)
class Line:
    """One line of a bill; a credit is negative.

    Attributes
    ----------
    month : str
        "2025-01", or the ISO date before which a billing cycle ends.
    kind : str
        fixed, energy, nonbypassable, rider, demand, export, carried, minimum, tax or true-up.
    name : str
    quantity, unit : float, str
        Such as 412.5 and "kWh".
    price, amount : float
        [currency per unit], [currency]; price is amount / quantity where a line holds several prices.
    """

    month: str
    kind: str
    name: str
    quantity: float
    unit: str
    price: float
    amount: float


@dataclass(frozen=True)
class Bill:
    """A year of bills, unrounded.

    Attributes
    ----------
    currency : str
    lines : tuple of Line
    notes : tuple of str
        What a reader of the total must know.
    """

    currency: str
    lines: tuple[Line, ...]
    notes: tuple[str, ...] = ()

    @functools.cached_property
    def total(self) -> float:
        """What the year costs. [currency]"""
        return math.fsum(line.amount for line in self.lines)

    @functools.cached_property
    def by_month(self) -> dict[str, float]:
        """What each billing month costs. [currency]"""
        return _sums((line.month, line.amount) for line in self.lines)

    @functools.cached_property
    def by_kind(self) -> dict[str, float]:
        """What each kind of line costs over the year. [currency]"""
        return _sums((line.kind, line.amount) for line in self.lines)

    @functools.cached_property
    def by_item(self) -> dict[tuple[str, str], float]:
        """What each line, by kind and name, costs over the year. [currency]"""
        return _sums(((line.kind, line.name), line.amount) for line in self.lines)

    def printed(self, digits: int = 2) -> Bill:
        """The same bill rounded so that printed lines add to the month and months to the total.

        Examples
        --------
        Three thirds of a dollar print as 0.34 + 0.33 + 0.33:

        >>> third = [Line("2025-01", "energy", name, 1.0, "kWh", 1 / 3, 1 / 3) for name in "abc"]
        >>> [line.amount for line in Bill("USD", tuple(third)).printed().lines]
        [0.34, 0.33, 0.33]
        """
        months = dict(zip(self.by_month, rounded_to_add(self.by_month.values(), digits=digits), strict=True))
        lines = []
        for month, total in months.items():
            own = [line for line in self.lines if line.month == month]
            amounts = rounded_to_add([line.amount for line in own], total=total, digits=digits)
            lines += [replace(line, amount=amount) for line, amount in zip(own, amounts, strict=True)]
        return Bill(self.currency, tuple(lines), self.notes)


def price_bill(import_kw, export_kw, rate: Rate, hours: Hours) -> Bill:
    """Price a year of import and export.

    Parameters
    ----------
    import_kw, export_kw : array_like, shape (n_steps,)
        Mean power from and to the utility over each step, not negative. [kW]
    rate : Rate
    hours : Hours

    Returns
    -------
    Bill

    Raises
    ------
    BadInput
        A series of the wrong length, NaN or negative; a rate that does not cover the year.

    Notes
    -----
    Energy is summed per billing month and period, demand is the highest mean of a block; see `bill_amounts` for the
    order of charges. The calendar of a rate is computed once per axis and kept.

    Examples
    --------
    One kilowatt all year at 0.20 per kWh and 10 a month:

    >>> from profiles.hours import hours_of_year
    >>> rate = Rate(price_per_kwh=0.2, fixed_per_month=10.0)
    >>> bill = price_bill(np.ones(8760), np.zeros(8760), rate, hours_of_year(2025, "UTC"))
    >>> round(bill.total, 6), round(bill.by_month["2025-02"], 6)
    (1872.0, 144.4)
    """
    calendar = rate_calendar(rate, hours)
    return bill_of(meter_sums(import_kw, export_kw, rate, calendar), rate, calendar)


def bill_of(sums: MeterSums, rate: Rate, calendar: RateCalendar) -> Bill:
    """The bill of one design's meter sums, line by line.

    Parameters
    ----------
    sums : MeterSums
        Without leading axes.
    rate : Rate
    calendar : RateCalendar
        From `rate_calendar(rate, hours)`.
    """
    amounts = bill_amounts(sums, rate, calendar)
    plain = {name: array.tolist() for name, array in vars(amounts).items()} | {"names": rate.period_names}
    lines: list[Line] = []
    for index, month in enumerate(calendar.labels):
        lines += _fixed_lines(month, index, plain, rate, calendar)
        lines += _energy_lines(month, index, plain, rate, calendar.used[index].tolist())
        lines += _added_lines(month, index, plain, rate)
        lines += _demand_lines(month, index, plain, rate)
        lines += _export_lines(month, index, plain, rate)
        lines += _closing_lines(month, index, plain, rate)
    return Bill(rate.currency, tuple(lines), _notes(amounts, sums, rate))


def rounded_to_add(amounts: Iterable[float], *, total: float | None = None, digits: int = 2) -> list[float]:
    """Round amounts so that they add up to their rounded total: largest remainder.

    Parameters
    ----------
    amounts : iterable of float
        [currency]
    total : float, optional
        What they shall add up to, already rounded; by default their own sum, rounded.
    digits : int
        Digits after the point.

    Notes
    -----
    Everything is rounded down; the units that are then missing go to the largest remainders, the first on a tie.

    Examples
    --------
    >>> rounded_to_add([1.004, 1.004, 1.004])
    [1.01, 1.0, 1.0]
    """
    amounts, unit = list(amounts), 10**digits
    scaled = [round(amount * unit, 6) for amount in amounts]
    target = round((math.fsum(amounts) if total is None else total) * unit)
    floors = [math.floor(amount) for amount in scaled]
    order = sorted(range(len(amounts)), key=lambda k: floors[k] - scaled[k])
    for k in range(target - sum(floors)):
        floors[order[k % len(order)]] += 1
    for k in range(sum(floors) - target):
        floors[order[-1 - k % len(order)]] -= 1
    return [value / unit for value in floors]


def _sums(pairs: Iterable[tuple]) -> dict:
    parts: dict = {}
    for key, amount in pairs:
        parts.setdefault(key, []).append(amount)
    return {key: math.fsum(amounts) for key, amounts in parts.items()}


def _fixed_lines(month: str, index: int, plain: dict, rate: Rate, calendar: RateCalendar) -> Iterator[Line]:
    for name, per, unit, quantity in (
        ("fixed charge", rate.fixed_per_month, "month", calendar.share[index]),
        ("daily charge", rate.fixed_per_day, "day", calendar.days[index]),
    ):
        if per:
            yield Line(month, "fixed", name, float(quantity), unit, per, per * float(quantity))


def _energy_lines(month: str, index: int, plain: dict, rate: Rate, used: list[bool]) -> Iterator[Line]:
    kept, names = rate.export.nonbypassable_per_kwh, plain["names"]
    for p, period in enumerate(rate.periods):
        if not used[p]:
            continue
        tiers = [t.price_per_kwh for t in period.tiers] if period.tiers else [period.price_per_kwh]
        for t, price in enumerate(tiers):
            quantity, amount = plain["energy_kwh"][index][p][t], plain["energy"][index][p][t]
            if t and not quantity:
                continue
            name = f"{names[p]}, tier {t + 1}" if len(tiers) > 1 else names[p]
            price = (amount / quantity if quantity else 0.0) if rate.hourly_prices is not None else price - kept
            yield Line(month, "energy", name, quantity, "kWh", price, amount)


def _added_lines(month: str, index: int, plain: dict, rate: Rate) -> Iterator[Line]:
    bought_kwh, kept = plain["bought_kwh"][index], rate.export.nonbypassable_per_kwh
    if kept:
        amount = plain["nonbypassable"][index]
        yield Line(month, "nonbypassable", "non-bypassable charge", bought_kwh, "kWh", kept, amount)
    for r, rider in enumerate(rate.rider):
        amount = plain["rider"][r][index]
        yield Line(month, "rider", rider.name, bought_kwh, "kWh", amount / bought_kwh if bought_kwh else 0.0, amount)


def _demand_lines(month: str, index: int, plain: dict, rate: Rate) -> Iterator[Line]:
    for d, demand in enumerate(rate.demand):
        kw, amount = plain["demand_kw"][d][index], plain["demand"][d][index]
        if kw:
            yield Line(month, "demand", demand.name, kw, "kW", amount / kw, amount)


def _export_lines(month: str, index: int, plain: dict, rate: Rate) -> Iterator[Line]:
    names = plain["names"]
    for p, (kwh, amount) in enumerate(zip(plain["export_kwh"][index], plain["export"][index], strict=True)):
        if kwh:
            yield Line(month, "export", f"export, {names[p]}", kwh, "kWh", amount / kwh, amount)
    carried = plain["carried"][index]
    if carried:
        put_away = "credit lost" if rate.export.unused_rule == "lose" else "credit put away"
        name = put_away if carried > 0 else "credit used"
        yield Line(month, "carried", name, 1.0, "month", carried, carried)


def _closing_lines(month: str, index: int, plain: dict, rate: Rate) -> Iterator[Line]:
    lift = plain["minimum"][index]
    if lift:
        yield Line(month, "minimum", "up to the minimum bill", 1.0, "month", lift, lift)
    for x, tax in enumerate(rate.tax):
        amount = plain["tax"][x][index]
        yield Line(month, "tax", tax.name, amount / tax.frac if tax.frac else 0.0, rate.currency, tax.frac, amount)
    kwh = plain["true_up_kwh"][index]
    if kwh:
        price, amount = -rate.export.true_up_per_kwh, plain["true_up"][index]
        yield Line(month, "true-up", "surplus settled", kwh, "kWh", price, amount)


def _notes(amounts: BillAmounts, sums: MeterSums, rate: Rate) -> tuple[str, ...]:
    notes = list(rate.notes)
    sold_kwh = float(np.sum(sums.sold_kwh))
    if rate.export.method == "none" and sold_kwh:
        notes.append(f"{sold_kwh:.1f} kWh were exported and earn nothing under this rate.")
    if float(amounts.credit_left):
        notes.append(f"{float(amounts.credit_left):.2f} {rate.currency} of carried credit is unused at the year's end.")
    if float(amounts.kwh_left):
        notes.append(f"{float(amounts.kwh_left):.1f} kWh of carried credit are unused at the year's end.")
    return tuple(notes)
