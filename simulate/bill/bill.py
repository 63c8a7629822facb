"""The bill: line items by month that add up, before and after rounding."""

from __future__ import annotations

import functools
import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from profiles.hours import Hours
from profiles.rate.calendar import RateCalendar, period_names, rate_calendar
from profiles.rate.meter_sums import MeterSums, meter_sums
from profiles.rate.prices import fixed_per_month
from profiles.rate.rate import Rate
from simulate.bill.amounts import BillAmounts, bill_amounts
from simulate.bill.tiers import tiers_of

KINDS = (
    "fixed",
    "energy",
    "nonbypassable",
    "rider",
    "demand",
    "export",
    "carried",
    "minimum",
    "tax",
    "credit",
    "true-up",
)
"""Kinds of line in the order of a bill."""


@dataclass(frozen=True)
class Line:
    """One line of a bill; a credit is negative.

    Attributes
    ----------
    month : str
        "2025-01", or the ISO date before which a billing cycle ends.
    kind : str
        One of `KINDS`.
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
    plain = {name: array.tolist() for name, array in vars(amounts).items()}
    pieces = _named_pieces(rate, calendar)
    lines: list[Line] = []
    for index, month in enumerate(calendar.labels):
        lines += _fixed_lines(month, index, plain, rate, calendar)
        lines += _energy_lines(month, index, plain, rate, pieces, calendar.used[index].tolist())
        lines += _added_lines(month, index, plain, rate)
        lines += _demand_lines(month, index, plain, rate)
        lines += _export_lines(month, index, plain, rate, pieces)
        lines += _closing_lines(month, index, plain, rate)
        lines += _credit_lines(month, index, plain, rate)
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


class _Piece(NamedTuple):
    """A period of the calendar that has a line, and the pieces that are summed in it."""

    name: str
    at: list[int]
    prices: list[float]


def _named_pieces(rate: Rate, calendar: RateCalendar) -> list[_Piece]:
    """Periods of the calendar by name, in order; pieces that differ in dates only are one line."""
    found: dict[str, _Piece] = {}
    names, tiers, of_rate = period_names(rate, calendar), tiers_of(rate, calendar), rate.period_names
    for p, name in enumerate(names):
        alone = of_rate.count(of_rate[calendar.pieces.base[p]]) > 1 and calendar.pieces.is_plain
        key = f"{name} {p}" if alone else name
        found.setdefault(key, _Piece(name, [], [price for price, _ in tiers[p]])).at.append(p)
    return list(found.values())


def _fixed_lines(month: str, index: int, plain: dict, rate: Rate, calendar: RateCalendar) -> Iterator[Line]:
    for name, per, unit, quantity in (
        ("fixed charge", float(fixed_per_month(rate, calendar)[index]), "month", calendar.share[index]),
        ("daily charge", rate.fixed_per_day, "day", calendar.days[index]),
    ):
        if per:
            yield Line(month, "fixed", name, float(quantity), unit, per, per * float(quantity))
    by_use, share = plain["by_use"][index], float(calendar.share[index])
    if by_use:
        yield Line(month, "fixed", "fixed charge by use", share, "month", by_use / share, by_use)


def _energy_lines(month: str, index: int, plain: dict, rate: Rate, pieces, used: list[bool]) -> Iterator[Line]:
    kept = rate.export.nonbypassable_per_kwh
    for name, at, tiers in pieces:
        if not any(used[p] for p in at):
            continue
        for t, price in enumerate(tiers):
            quantity = math.fsum(plain["energy_kwh"][index][p][t] for p in at)
            amount = math.fsum(plain["energy"][index][p][t] for p in at)
            if t and not quantity:
                continue
            own = f"{name}, tier {t + 1}" if len(tiers) > 1 else name
            price = (amount / quantity if quantity else 0.0) if rate.hourly_prices is not None else price - kept
            yield Line(month, "energy", own, quantity, "kWh", price, amount)
    losses = plain["losses"][index]
    if losses:
        energy = math.fsum(amount for period in plain["energy"][index] for amount in period)
        yield Line(month, "energy", "line losses", energy, rate.currency, rate.loss_factor - 1.0, losses)


def _added_lines(month: str, index: int, plain: dict, rate: Rate) -> Iterator[Line]:
    bought_kwh, kept = plain["bought_kwh"][index], rate.export.nonbypassable_per_kwh
    if kept:
        amount = plain["nonbypassable"][index]
        yield Line(month, "nonbypassable", "non-bypassable charge", bought_kwh, "kWh", kept, amount)
    for r, rider in enumerate(rate.rider):
        kwh, amount = plain["rider_kwh"][r][index], plain["rider"][r][index]
        yield Line(month, "rider", rider.name, kwh, "kWh", amount / kwh if kwh else 0.0, amount)


def _demand_lines(month: str, index: int, plain: dict, rate: Rate) -> Iterator[Line]:
    for d, demand in enumerate(rate.demand):
        kw, amount = plain["demand_kw"][d][index], plain["demand"][d][index]
        if kw:
            yield Line(month, "demand", demand.name, kw, "kW", amount / kw, amount)


def _export_lines(month: str, index: int, plain: dict, rate: Rate, pieces) -> Iterator[Line]:
    sold, earned = plain["export_kwh"][index], plain["export"][index]
    for name, at, _ in pieces:
        kwh, amount = (math.fsum(of[p] for p in at) for of in (sold, earned))
        if kwh:
            yield Line(month, "export", f"export, {name}", kwh, "kWh", amount / kwh, amount)
    carried = plain["carried"][index]
    if carried:
        put_away = "credit lost" if rate.export.unused_rule == "lose" else "credit put away"
        name = put_away if carried > 0 else "credit used"
        yield Line(month, "carried", name, 1.0, "month", carried, carried)


def _credit_lines(month: str, index: int, plain: dict, rate: Rate) -> Iterator[Line]:
    events = [event for event in rate.event if event.rebate_per_kwh is not None]
    for r, event in enumerate(events):
        amount = plain["rebate"][r][index]
        if amount:
            kwh = -amount / event.rebate_per_kwh
            yield Line(month, "credit", f"rebate, {event.name}", kwh, "kWh", -event.rebate_per_kwh, amount)
    for c, credit in enumerate(rate.credit):
        amount = plain["credit"][c][index]
        if amount and credit.frac:
            yield Line(month, "credit", credit.name, -amount / credit.frac, rate.currency, -credit.frac, amount)
        elif amount:
            yield Line(month, "credit", credit.name, 1.0, "month", amount, amount)


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
