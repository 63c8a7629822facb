"""Prices per step: what one more kWh bought or sold costs or earns at every step of the year."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np

from profiles.hours import Hours
from profiles.noun import BadInput
from profiles.rate.calendar import RateCalendar, period_names, rate_calendar
from profiles.rate.charges import Rider
from profiles.rate.event import Event
from profiles.rate.price_series import price_series
from profiles.rate.rate import Rate, taxes_in_order


@dataclass(frozen=True, eq=False)
class Prices:
    """A rate laid on an hour axis; arrays are read-only.

    Attributes
    ----------
    buy_per_kwh, sell_per_kwh : ndarray, shape (n_steps,)
        What one more kWh bought costs and one more sold earns, riders and taxes included. [currency/kWh]
    period : ndarray of int, shape (n_steps,)
        Index into `period_names`.
    period_names : tuple of str
        Such as "summer on-peak".
    holidays : tuple of date
        Days that were counted as weekend.
    notes : tuple of str
        What these series leave out of the bill, in plain words.
    cautions : tuple of str
        What is likely wrong with the rate: a period that no step has.
    """

    buy_per_kwh: np.ndarray
    sell_per_kwh: np.ndarray
    period: np.ndarray
    period_names: tuple[str, ...]
    holidays: tuple[dt.date, ...]
    notes: tuple[str, ...]
    cautions: tuple[str, ...] = ()


def rate_prices(rate: Rate, hours: Hours) -> Prices:
    """Lay a rate on an hour axis.

    Parameters
    ----------
    rate : Rate
        First match wins, among seasons and among the periods of a season; holidays count as weekend.
    hours : Hours
        Windows are on its local wall clock.

    Returns
    -------
    Prices

    Raises
    ------
    BadInput
        A month or hour that no period covers, named; a bound inside a step; a rider that makes a price negative.

    Notes
    -----
    With tiers the price is that of the first tier; demand charges, fixed and minimum charges and carried credit
    are on the bill only.

    Examples
    --------
    >>> from profiles.hours import hours_of_year
    >>> prices = rate_prices(Rate(price_per_kwh=0.2), hours_of_year(2025, "UTC"))
    >>> float(prices.buy_per_kwh[0]), float(prices.sell_per_kwh[0])
    (0.2, 0.0)
    """
    calendar = rate_calendar(rate, hours)
    if rate.hourly_prices is not None:
        buy, sell = _series(rate, calendar)
    else:
        buy, sell = (table.ravel()[calendar.bucket] for table in _tables(rate, calendar))
        if rate.export.by_hour:
            sell = export_series(rate, calendar) * (1 + tax_on(rate, "export"))
        if (buy < 0).any():
            raise BadInput(
                "make a price negative",
                key="rate.rider",
                value=float(buy.min()),
                way_out="only hourly_prices may be negative; check the sign and the unit [currency/kWh]",
            )
        if (sell < 0).any() and not rate.export.by_hour:
            raise BadInput(
                "exceeds a price",
                key="rate.export.nonbypassable_per_kwh",
                value=rate.export.nonbypassable_per_kwh,
                way_out="it is a part of price_per_kwh",
            )
    check_applies(rate, calendar)
    buy = with_rebates(buy, rate, calendar)
    for array in (buy, sell):
        array.flags.writeable = False
    notes, cautions = _notes(rate, calendar), never_reached(rate, calendar)
    return Prices(buy, sell, calendar.period, period_names(rate, calendar), calendar.holidays, notes, cautions)


def tax_on(rate: Rate, kind: str) -> float:
    """Share that taxes, and taxes on them, add to a line of this kind, less credits that are a share. [0 to 1]

    A credit of some months only is left out.

    Examples
    --------
    A sales tax of a tenth that is on a franchise fee of a twentieth too:

    >>> from profiles.rate.charges import Tax
    >>> sales = Tax(name="sales", frac=0.1, on_taxes=("franchise",))
    >>> round(tax_on(Rate(price_per_kwh=0.2, tax=(sales, Tax(name="franchise", frac=0.05))), "energy"), 9)
    0.155
    """
    off = [(one, one.frac if one.on is None or kind in one.on else 0.0) for one in rate.credit if one.frac]
    off = [(one, frac) for one, frac in off if one.months is None]
    taxed_off = sum(frac for one, frac in off if one.taxed)
    share: dict[str, float] = {}
    for index in taxes_in_order(rate.tax):
        tax = rate.tax[index]
        base = float(tax.on is None or kind in tax.on) + sum(share[name] for name in tax.on_taxes)
        less = taxed_off if tax.on is None or "credit" in tax.on else 0.0
        share[tax.name] = tax.frac * (base - less)
    return sum(share.values()) - sum(frac for _, frac in off)


def months_of(calendar: RateCalendar) -> np.ndarray:
    """Calendar month whose prices each billing month and period has, shape (n_months, n_periods)."""
    own = calendar.pieces.month
    return np.where(own > 0, own, calendar.month_number[:, None])


def is_plain_rider(rider: Rider, calendar: RateCalendar) -> bool:
    """Is it one price on all that a billing month buys?"""
    return rider.tiers is None and rider.periods is None and rider.from_ is None and not calendar.pieces.month.any()


def rider_per_kwh(rate: Rate, calendar: RateCalendar) -> np.ndarray:
    """Every rider's price in each billing month and period, losses in it; with tiers that of the first.

    Returns
    -------
    ndarray, shape (n_riders, n_months, n_periods)
        [currency/kWh]
    """
    month, base, names = months_of(calendar), calendar.pieces.base, rate.period_names
    spans = iter(calendar.pieces.on_span)
    table = np.zeros((len(rate.rider), *month.shape))
    for r, rider in enumerate(rate.rider):
        first = rider.tiers[0].per_kwh if rider.tiers else rider.per_kwh
        price = np.broadcast_to(np.asarray(first, float), 12)[month - 1]
        if rider.from_ is not None:
            price = price * next(spans)
        if rider.periods is not None:
            on = [{names[b], rate.periods[b].name} & set(rider.periods) for b in base]
            price = price * np.array([bool(one) for one in on])
        table[r] = price * (rate.loss_factor if rider.with_losses else 1.0)
    return table


def credit_per_kwh(rate: Rate, calendar: RateCalendar) -> np.ndarray:
    """What net billing pays, shape (n_months, n_periods) [currency/kWh]."""
    credit = 0.0 if rate.export.credit_per_kwh is None else rate.export.credit_per_kwh
    table = np.broadcast_to(np.asarray(credit, float), 12)[months_of(calendar) - 1]
    for p, (base, event) in enumerate(zip(calendar.pieces.base, calendar.pieces.event, strict=True)):
        own = rate.periods[base].credit_per_kwh
        own = rate.event[event].credit_per_kwh if event >= 0 and rate.event[event].credit_per_kwh is not None else own
        if own is not None:
            table[:, p] = own
    return table


def export_series(rate: Rate, calendar: RateCalendar) -> np.ndarray:
    """What net billing pays at each step, credits by hour among it, shape (n_steps,) [currency/kWh]."""
    hours = calendar.hours
    credit = credit_per_kwh(rate, calendar).ravel()[calendar.bucket]
    free = np.ones(hours.n_steps, bool)
    for k, event in enumerate(rate.event):
        if event.credit_per_kwh is not None:
            free &= calendar.pieces.event[calendar.period] != k
    for one in rate.export.by_hour:
        on = free & calendar.on_days(one.days)
        on &= np.isin(hours.month, one.months) if one.months is not None else True
        credit[on] = np.asarray(one.credit_per_kwh, float)[hours.minute[on] // 60]
        free &= ~on
    return credit


def fixed_per_month(rate: Rate, calendar: RateCalendar) -> np.ndarray:
    """Fixed charge of a whole month in each billing month: twelve values by the days in each, shape (n_months,).

    [currency/month]
    """
    if not isinstance(rate.fixed_per_month, tuple):
        return np.full(calendar.n_months, rate.fixed_per_month)
    return calendar.month_days @ np.array(rate.fixed_per_month) / calendar.days


def base_price(rate: Rate, calendar: RateCalendar) -> np.ndarray:
    """Price of a bought kWh in each period, of the first tier, events in it, shape (n_periods,) [currency/kWh]."""
    price = [p.price_per_kwh if p.tiers is None else p.tiers[0].price_per_kwh for p in rate.periods]
    out = np.array(price)[calendar.pieces.base]
    for p, k in enumerate(calendar.pieces.event):
        if k >= 0:
            out[p] = event_price(rate.event[k], out[p])
    return out


def event_price(event: Event, usual: float) -> float:
    """Price of a kWh in an event whose usual price is known. [currency/kWh]"""
    return event.price_per_kwh if event.price_per_kwh is not None else usual + (event.adder_per_kwh or 0.0)


def _tables(rate: Rate, calendar: RateCalendar) -> tuple[np.ndarray, np.ndarray]:
    """Buy and sell price of each billing month and period."""
    kept, losses = rate.export.nonbypassable_per_kwh, rate.loss_factor if rate.loss_on_energy else 1.0
    netted = (base_price(rate, calendar) - kept) * losses * (1 + tax_on(rate, "energy"))
    rider = rider_per_kwh(rate, calendar).sum(axis=0) * (1 + tax_on(rate, "rider"))
    buy = netted + kept * (1 + tax_on(rate, "nonbypassable")) + rider
    if rate.export.method == "net-metering":
        sell = np.broadcast_to(netted, buy.shape)
    elif rate.export.method == "net-billing":
        sell = credit_per_kwh(rate, calendar) * (1 + tax_on(rate, "export"))
    else:
        sell = np.zeros(buy.shape)
    return buy, sell


def _series(rate: Rate, calendar: RateCalendar) -> tuple[np.ndarray, np.ndarray]:
    price, credit = price_series(rate, calendar.hours)
    rider = rider_per_kwh(rate, calendar).sum(axis=0).ravel()[calendar.bucket] * (1 + tax_on(rate, "rider"))
    kept, losses = rate.export.nonbypassable_per_kwh, rate.loss_factor if rate.loss_on_energy else 1.0
    netted = (price - kept) * losses * (1 + tax_on(rate, "energy"))
    buy = netted + kept * (1 + tax_on(rate, "nonbypassable")) + rider
    if rate.export.method == "net-metering":
        return buy, netted
    if rate.export.method == "none":
        return buy, np.zeros(len(buy))
    if credit is None or rate.export.by_hour:
        credit = export_series(rate, calendar)
    return buy, credit * (1 + tax_on(rate, "export"))


def with_rebates(buy: np.ndarray, rate: Rate, calendar: RateCalendar) -> np.ndarray:
    """Buy prices with the rebates that a kWh less in an event earns, shape (n_steps,) [currency/kWh]."""
    events = [event for event in rate.event if event.rebate_per_kwh is not None]
    for event, days in zip(events, calendar.rebates, strict=True):
        buy = buy + event.rebate_per_kwh * (days.inside & np.isin(days.of_step, days.day))
    return buy


def _notes(rate: Rate, calendar: RateCalendar) -> tuple[str, ...]:
    notes = list(rate.notes)
    if any(p.tiers for p in rate.periods):
        notes.append("The rate has tiers: prices per step are those of the first tier; the bill uses all of them.")
    if rate.demand:
        notes.append("Demand charges are on the bill, not in the prices per step.")
    if rate.export.method == "net-metering" and rate.export.nonbypassable_per_kwh == 0:
        notes.append(
            "Exports earn the retail price without riders, netted over each month; unused credit: "
            f"{rate.export.unused_rule}."
        )
    if any(event.rebate_per_kwh is not None for event in rate.event):
        notes.append("Event rebates are in the prices per step; that use on like days before sets them is on the bill.")
    if rate.fixed_by_use or any(credit.frac is None or credit.months for credit in rate.credit):
        notes.append("Fixed charges by use, credits of an amount or of some months are on the bill only.")
    if any(rider.tiers for rider in rate.rider):
        notes.append("A rider has tiers: prices per step hold that of the first; the bill uses all of them.")
    cut = rate.read_dates is not None and rate.prorate_days is None
    if cut:
        notes.append("Cycles cut by New Year pay monthly charges in proportion to 30.4375 days.")
    if any(np.any(np.asarray(d.ratchet_frac) > 0) for d in rate.demand):
        notes.append("Demand ratchets look 11 months back round the modelled year: December stands before January.")
    return tuple(notes)


def never_reached(rate: Rate, calendar: RateCalendar) -> tuple[str, ...]:
    """A line for each period of the rate that no step of the year has."""
    reached = {
        rate.period_names[b] for b, on in zip(calendar.pieces.base, calendar.used.any(axis=0), strict=True) if on
    }

    unused = [name for name in dict.fromkeys(rate.period_names) if name not in reached]
    return tuple(f'Period "{name}" of the rate is never reached in {calendar.hours.year}.' for name in unused)


def check_applies(rate: Rate, calendar: RateCalendar) -> None:
    """A charge or a credit that nothing of the year meets is refused."""
    year = calendar.hours.year
    for charge, blocks in zip(rate.demand, calendar.demand, strict=True):
        months = calendar.month_number[np.unique(blocks.month)]
        if not np.isin(months, charge.months or range(1, 13)).any():
            raise BadInput(
                f"never applies in {year}",
                key=f'rate.demand "{charge.name}"',
                way_out="its months, days and hours do not meet; mend them or strike it out",
            )
    for credit in rate.credit:
        outside = [day for day in credit.dates if int(day[:4]) != year]
        if outside:
            raise BadInput(
                f"lies outside {year}",
                key=f'rate.credit "{credit.name}".dates',
                value=outside[0],
                way_out=f"give the dates of {year}, or change site.year",
            )
