"""A rate's arithmetic on the meter's sums, for one design or for many side by side."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from profiles.noun import BadInput
from profiles.rate.calendar import RateCalendar
from profiles.rate.charges import Rider
from profiles.rate.meter_sums import MeterSums
from profiles.rate.prices import credit_per_kwh, fixed_per_month, is_plain_rider, rider_per_kwh
from profiles.rate.rate import Rate
from simulate.bill.credits import credits_of
from simulate.bill.netting import billed_kwh, carried_credit, netted_over_month, surplus_since_true_up
from simulate.bill.tiers import kwh_in_tiers, tier_tables

ROUNDING_KWH = 1e-9
"""A sum of kWh is above the end of a step where it is so by more than rounding."""


@dataclass(frozen=True, eq=False)
class BillAmounts:
    """Every amount of a year of bills as an array; a credit is negative. M billing months, P periods, T tiers.

    Attributes
    ----------
    fixed : ndarray, shape (M,)
        [currency]
    by_use : ndarray, shape (..., M), or (M,) where there is none
        Fixed charge by the month's kWh.
    energy_kwh, energy : ndarray, shape (..., M, P, T)
        kWh billed in each tier, net of exports under net metering, and their amount. [kWh], [currency]
    bought_kwh, nonbypassable : ndarray, shape (..., M)
        kWh that riders and the non-bypassable charge are on, and the amount of the latter.
    losses : ndarray, shape (..., M), or (M,) where there are none
        What losses of the lines add to the energy.
    rider_kwh : ndarray, shape (..., n_riders, M)
        kWh that each rider is on.
    rider : ndarray, shape (..., n_riders, M)
    demand_kw, demand : ndarray, shape (..., n_demands, M)
        Billed power, ratchet included, and its amount; 0 in months that are not charged. [kW], [currency]
    export_kwh, export : ndarray, shape (..., M, P)
        Export that net billing pays for, and its credit.
    carried : ndarray, shape (..., M)
        Credit put away for later months (positive) or used (negative); with unused = "lose" what is lost.
    true_up_kwh, true_up : ndarray, shape (..., M)
        Surplus settled at the end of the month, and what it is paid.
    minimum : ndarray, shape (..., M)
        What lifts the month to its minimum.
    tax : ndarray, shape (..., n_taxes, M)
    rebate : ndarray, shape (..., n_rebates, M)
    credit : ndarray, shape (..., n_credits, M)
        What each credit takes off.
    credit_left, kwh_left : ndarray, shape (...)
        Carried credit that the year's end finds unused. [currency], [kWh]
    """

    fixed: np.ndarray
    by_use: np.ndarray
    energy_kwh: np.ndarray
    energy: np.ndarray
    losses: np.ndarray
    bought_kwh: np.ndarray
    nonbypassable: np.ndarray
    rider_kwh: np.ndarray
    rider: np.ndarray
    demand_kw: np.ndarray
    demand: np.ndarray
    export_kwh: np.ndarray
    export: np.ndarray
    carried: np.ndarray
    true_up_kwh: np.ndarray
    true_up: np.ndarray
    minimum: np.ndarray
    tax: np.ndarray
    rebate: np.ndarray
    credit: np.ndarray
    credit_left: np.ndarray
    kwh_left: np.ndarray

    @property
    def by_month(self) -> np.ndarray:
        """What each billing month costs, shape (..., M) [currency]."""
        total = sum(self.kinds().values()) + self.tax.sum(axis=-2) + self.true_up
        for taken_off in (self.credit, self.rebate):
            if taken_off.shape[-2]:
                total = total + taken_off.sum(axis=-2)
        return total

    @property
    def total(self) -> np.ndarray:
        """What the year costs, shape (...) [currency]."""
        return self.by_month.sum(axis=-1)

    def kinds(self) -> dict[str, np.ndarray]:
        """Amount of each kind of line before credits and taxes, each of shape (..., M)."""
        return {
            "fixed": self.fixed + self.by_use,
            "energy": _plus(np.einsum("...pt->...", self.energy), self.losses),
            "nonbypassable": self.nonbypassable,
            "rider": self.rider.sum(axis=-2),
            "demand": self.demand.sum(axis=-2),
            "export": np.einsum("...p->...", self.export) + self.carried,
            "minimum": self.minimum,
        }


def bill_amounts(sums: MeterSums, rate: Rate, calendar: RateCalendar) -> BillAmounts:
    """Price the meter's sums; leading axes of the sums (designs) are kept.

    Parameters
    ----------
    sums : MeterSums
    rate : Rate
    calendar : RateCalendar
        The one that the sums were made with.

    Returns
    -------
    BillAmounts

    Notes
    -----
    Order within a month: fixed, energy by tier, non-bypassable, riders, demand, export, carried credit; then the
    minimum on their sum; then credits that are taxed, taxes, other credits and rebates. Carried credit
    sets off energy charges only. Fixed, minimum and demand charges
    and the tiers' ends follow the share of a month that a billing cycle is.

    Examples
    --------
    >>> from profiles.hours import hours_of_year
    >>> from profiles.rate.calendar import rate_calendar
    >>> rate = Rate(price_per_kwh=0.2, fixed_per_month=10.0)
    >>> calendar = rate_calendar(rate, hours_of_year(2025, "UTC"))
    >>> two = MeterSums(np.full((2, 12, 1), 100.0), np.zeros((2, 12, 1)), np.zeros((2, 0, 12)))
    >>> bill_amounts(two, rate, calendar).total.round(9).tolist()
    [360.0, 360.0]
    """
    _check_shapes(sums, calendar)
    bought, sold = sums.bought_kwh, sums.sold_kwh
    if rate.export.netting_interval == "month" and rate.export.method == "net-billing":
        bought, sold = netted_over_month(bought, sold, calendar)
    billed, kwh_left, true_up_kwh = billed_kwh(bought, sold, rate, calendar)
    demand_kw = _billed_kw(sums.peak_kw, rate, calendar)
    energy_kwh, energy = _energy(billed, sums, rate, calendar)
    export_kwh, export = _export(sold, sums, rate, calendar)
    all_kwh = np.einsum("...p->...", bought)  # much faster than sum() over a short last axis
    rider_kwh, rider = _riders(bought, all_kwh, rate, calendar)
    in_month, losses = np.einsum("...pt->...", energy), np.zeros(calendar.n_months)
    if rate.loss_on_energy and rate.loss_factor > 1.0:
        losses = (rate.loss_factor - 1.0) * in_month
    net = _plus(in_month, losses) + np.einsum("...p->...", export)
    carried, credit_left = carried_credit(net, rate, calendar)
    if rate.export.unused_rule == "carry":
        true_up_kwh = surplus_since_true_up(all_kwh, np.einsum("...p->...", sold), rate, calendar)
    parts = BillAmounts(
        fixed=fixed_per_month(rate, calendar) * calendar.share + rate.fixed_per_day * calendar.days,
        by_use=_by_use(all_kwh, rate, calendar),
        energy_kwh=energy_kwh,
        energy=energy,
        losses=losses,
        bought_kwh=all_kwh,
        nonbypassable=rate.export.nonbypassable_per_kwh * all_kwh,
        rider_kwh=rider_kwh,
        rider=rider,
        demand_kw=demand_kw,
        demand=_demand(demand_kw, rate, calendar),
        export_kwh=export_kwh,
        export=export,
        carried=carried,
        true_up_kwh=true_up_kwh,
        true_up=-rate.export.true_up_per_kwh * true_up_kwh,
        minimum=np.zeros(net.shape),
        tax=np.zeros((*net.shape[:-1], 0, net.shape[-1])),
        rebate=_rebates(sums, rate, net.shape),
        credit=np.zeros((*net.shape[:-1], 0, net.shape[-1])),
        credit_left=credit_left,
        kwh_left=kwh_left,
    )
    return _with_minimum_and_tax(parts, rate, calendar)


def _plus(amount, more) -> np.ndarray:
    """A sum that costs nothing where nothing is added: many designs stand side by side."""
    return amount + more if more.any() else amount


def _by_use(all_kwh, rate: Rate, calendar: RateCalendar) -> np.ndarray:
    """The fixed charge that a month's kWh fall into; its steps follow the share of a month that a cycle is."""
    if rate.fixed_by_use is None:
        return np.zeros(calendar.n_months)
    ends = np.array([np.inf if step.up_to is None else step.up_to for step in rate.fixed_by_use])
    at = (all_kwh[..., None] > ends * calendar.share[:, None] + ROUNDING_KWH).sum(axis=-1)
    return np.array([step.per_month for step in rate.fixed_by_use])[at] * calendar.share


def _riders(bought, all_kwh, rate: Rate, calendar: RateCalendar) -> tuple[np.ndarray, np.ndarray]:
    """kWh that each rider is on, and its amount, shape (..., n_riders, M)."""
    table = rider_per_kwh(rate, calendar)
    kwh = np.repeat(all_kwh[..., None, :], len(rate.rider), axis=-2)
    amount = kwh * table[..., 0] if len(rate.rider) else kwh
    for r, rider in enumerate(rate.rider):
        if is_plain_rider(rider, calendar):
            continue
        if rider.tiers is None:
            kwh[..., r, :] = np.einsum("...mp,mp->...m", bought, table[r] != 0.0)
            amount[..., r, :] = np.einsum("...mp,mp->...m", bought, table[r])
        else:
            losses = rate.loss_factor if rider.with_losses else 1.0
            amount[..., r, :] = losses * _tiered_rider(all_kwh, rider, calendar)
    return kwh, amount


def _tiered_rider(all_kwh, rider: Rider, calendar: RateCalendar) -> np.ndarray:
    amount, lower = np.zeros(all_kwh.shape), 0.0
    for tier in rider.tiers:
        upper = np.inf if tier.up_to is None else tier.up_to
        width = np.inf if tier.up_to is None else (upper - lower) * calendar.share
        amount += tier.per_kwh * np.clip(all_kwh - lower * calendar.share, 0.0, width)
        lower = upper
    return amount


def _rebates(sums: MeterSums, rate: Rate, shape: tuple[int, ...]) -> np.ndarray:
    """What each event's rebate pays, negative, shape (..., n_rebates, M)."""
    per_kwh = [event.rebate_per_kwh for event in rate.event if event.rebate_per_kwh is not None]
    if not per_kwh:
        return np.zeros((*shape[:-1], 0, shape[-1]))
    if sums.saved_kwh is None:
        raise BadInput("is missing for a rate with event rebates", key="sums.saved_kwh", way_out="use meter_sums")
    return -sums.saved_kwh * np.array(per_kwh)[:, None]


def _check_shapes(sums: MeterSums, calendar: RateCalendar) -> None:
    wanted = (calendar.n_months, calendar.n_periods)
    for key, array in (("bought_kwh", sums.bought_kwh), ("sold_kwh", sums.sold_kwh)):
        if array.shape[-2:] != wanted:
            raise BadInput(
                "must end in (n_months, n_periods)",
                key=f"sums.{key}",
                value=array.shape,
                way_out=f"shape (..., {wanted[0]}, {wanted[1]})",
            )
    wanted = (len(calendar.demand), calendar.n_months)
    if sums.peak_kw.shape[-2:] != wanted:
        raise BadInput(
            "must end in (n_demands, n_months)",
            key="sums.peak_kw",
            value=sums.peak_kw.shape,
            way_out=f"shape (..., {wanted[0]}, {wanted[1]})",
        )


def _energy(billed, sums: MeterSums, rate: Rate, calendar: RateCalendar):
    kept = rate.export.nonbypassable_per_kwh
    if rate.hourly_prices is not None:
        cost = sums.bought_cost - kept * sums.bought_kwh
        if rate.export.method == "net-metering":
            cost = cost - sums.sold_credit + kept * sums.sold_kwh
        return billed[..., None], cost[..., None]
    price, ends = tier_tables(rate, calendar)
    kwh = billed[..., None] if price.shape[1] == 1 else kwh_in_tiers(billed, ends, sums.peak_kw, rate, calendar)
    return kwh, kwh * (price - kept)


def _export(sold, sums: MeterSums, rate: Rate, calendar: RateCalendar):
    if rate.export.method != "net-billing":
        return np.zeros(sold.shape), np.zeros(sold.shape)
    if sums.sold_credit is not None:
        return sold, -sums.sold_credit
    if rate.export.by_hour:
        raise BadInput("is missing for exports paid by hour", key="sums.sold_credit", way_out="use meter_sums")
    return sold, -sold * credit_per_kwh(rate, calendar)


def _billed_kw(peak_kw, rate: Rate, calendar: RateCalendar) -> np.ndarray:
    """Measured power, lifted by the ratchet, 0 in months that are not charged, shape (..., n_demands, M)."""
    billed = np.array(peak_kw, dtype=float)
    for index, demand in enumerate(rate.demand):
        peak = peak_kw[..., index, :]
        frac = np.broadcast_to(np.asarray(demand.ratchet_frac, float), 12)[calendar.month_number - 1]
        if frac.any():
            counts = np.isin(calendar.month_number, demand.ratchet_months or range(1, 13))
            before = [np.roll(peak * counts, shift, axis=-1) for shift in range(1, min(12, calendar.n_months))]
            billed[..., index, :] = np.maximum(peak, frac * np.max(before, axis=0)) if before else peak
        if demand.months is not None:
            billed[..., index, :] *= np.isin(calendar.month_number, demand.months)
    return billed


def _demand(billed_kw, rate: Rate, calendar: RateCalendar) -> np.ndarray:
    amount = np.zeros(billed_kw.shape)
    for index, demand in enumerate(rate.demand):
        kw, lower = billed_kw[..., index, :], 0.0
        for tier in demand.tiers or ():
            upper = np.inf if tier.up_to is None else tier.up_to
            amount[..., index, :] += tier.per_kw * np.clip(kw - lower, 0.0, upper - lower)
            lower = upper
        if demand.per_kw is not None:
            amount[..., index, :] = demand.per_kw * kw
    return amount * calendar.share


def _with_minimum_and_tax(parts: BillAmounts, rate: Rate, calendar: RateCalendar) -> BillAmounts:
    kinds = parts.kinds()
    least = rate.minimum_per_month * calendar.share + rate.minimum_per_day * calendar.days
    if least.any():
        kinds["minimum"] = np.maximum(least - sum(kinds.values()), 0.0)
    parts = replace(parts, minimum=kinds["minimum"])
    tax, credit, left = credits_of(kinds, rate, calendar)
    return replace(parts, tax=tax, credit=credit, credit_left=parts.credit_left + left)
