"""A rate's arithmetic on the meter's sums, for one design or for many side by side."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from profiles.noun import BadInput
from profiles.rate.calendar import RateCalendar
from profiles.rate.meter_sums import MeterSums
from profiles.rate.prices import credit_per_kwh, rider_per_kwh
from profiles.rate.rate import Rate


@dataclass(frozen=True, eq=False)
class BillAmounts:
    """Every amount of a year of bills as an array; a credit is negative. M billing months, P periods, T tiers.

    Attributes
    ----------
    fixed : ndarray, shape (M,)
        [currency]
    energy_kwh, energy : ndarray, shape (..., M, P, T)
        kWh billed in each tier, net of exports under net metering, and their amount. [kWh], [currency]
    bought_kwh, nonbypassable : ndarray, shape (..., M)
        kWh that riders and the non-bypassable charge are on, and the amount of the latter.
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
    credit_left, kwh_left : ndarray, shape (...)
        Carried credit that the year's end finds unused. [currency], [kWh]
    """

    fixed: np.ndarray
    energy_kwh: np.ndarray
    energy: np.ndarray
    bought_kwh: np.ndarray
    nonbypassable: np.ndarray
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
    credit_left: np.ndarray
    kwh_left: np.ndarray

    @property
    def by_month(self) -> np.ndarray:
        """What each billing month costs, shape (..., M) [currency]."""
        return sum(self.kinds().values()) + self.tax.sum(axis=-2) + self.true_up

    @property
    def total(self) -> np.ndarray:
        """What the year costs, shape (...) [currency]."""
        return self.by_month.sum(axis=-1)

    def kinds(self) -> dict[str, np.ndarray]:
        """Amount of each kind of line that can be taxed, each of shape (..., M)."""
        return {
            "fixed": self.fixed,
            "energy": np.einsum("...pt->...", self.energy),
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
    minimum on their sum; then taxes. Carried credit sets off energy charges only. Fixed, minimum and demand charges
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
        bought, sold = np.maximum(bought - sold, 0.0), np.maximum(sold - bought, 0.0)
    billed, kwh_left, true_up_kwh = _billed_kwh(bought, sold, rate, calendar)
    demand_kw = _billed_kw(sums.peak_kw, rate, calendar)
    energy_kwh, energy = _energy(billed, sums, rate, calendar)
    export_kwh, export = _export(sold, sums, rate, calendar)
    all_kwh = np.einsum("...p->...", bought)  # much faster than sum() over a short last axis
    riders = rider_per_kwh(rate, calendar.month_number)
    net = np.einsum("...pt->...", energy) + np.einsum("...p->...", export)
    carried, credit_left = _carried(net, rate, calendar)
    if rate.export.unused_rule == "carry":
        true_up_kwh = _surplus_since_true_up(all_kwh, np.einsum("...p->...", sold), rate, calendar)
    parts = BillAmounts(
        fixed=rate.fixed_per_month * calendar.share + rate.fixed_per_day * calendar.days,
        energy_kwh=energy_kwh,
        energy=energy,
        bought_kwh=all_kwh,
        nonbypassable=rate.export.nonbypassable_per_kwh * all_kwh,
        rider=all_kwh[..., None, :] * riders,
        demand_kw=demand_kw,
        demand=_demand(demand_kw, rate, calendar),
        export_kwh=export_kwh,
        export=export,
        carried=carried,
        true_up_kwh=true_up_kwh,
        true_up=-rate.export.true_up_per_kwh * true_up_kwh,
        minimum=np.zeros(net.shape),
        tax=np.zeros((*net.shape[:-1], 0, net.shape[-1])),
        credit_left=credit_left,
        kwh_left=kwh_left,
    )
    return _with_minimum_and_tax(parts, rate, calendar)


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


def _billed_kwh(bought, sold, rate: Rate, calendar: RateCalendar):
    """kWh that are priced as energy, kWh left in the bank at the year's end and kWh settled, by month."""
    none = np.zeros(bought.shape[:-1])
    if rate.export.method != "net-metering":
        return bought, none[..., 0], none
    if rate.export.unused_rule != "carry-kwh":
        return bought - sold, none[..., 0], none
    net, bank = bought - sold, np.zeros(bought[..., 0, :].shape)
    billed, settled = np.zeros(net.shape), none
    for month in range(calendar.n_months):
        used = np.minimum(bank, np.maximum(net[..., month, :], 0.0))
        billed[..., month, :] = np.maximum(net[..., month, :], 0.0) - used
        bank = bank - used + np.maximum(-net[..., month, :], 0.0)
        if _settles(rate, calendar, month):
            settled[..., month] = bank.sum(axis=-1)
            bank = np.zeros(bank.shape)
    return billed, bank.sum(axis=-1), settled


def _settles(rate: Rate, calendar: RateCalendar, month: int) -> bool:
    """Is credit settled at the end of this billing month? With two cycles in one month, at the last of them."""
    numbers = calendar.month_number
    last = month + 1 == len(numbers) or numbers[month + 1] != numbers[month]
    return rate.export.true_up_month == numbers[month] and last


def _energy(billed, sums: MeterSums, rate: Rate, calendar: RateCalendar):
    kept = rate.export.nonbypassable_per_kwh
    if rate.hourly_prices is not None:
        cost = sums.bought_cost - kept * sums.bought_kwh.sum(axis=-1)
        if rate.export.method == "net-metering":
            cost = cost - sums.sold_credit + kept * sums.sold_kwh.sum(axis=-1)
        return billed[..., None], cost[..., None, None]
    price, ends = _tier_tables(rate)
    kwh = billed[..., None] if price.shape[1] == 1 else _in_tiers(billed, ends, sums.peak_kw, rate, calendar)
    return kwh, kwh * (price - kept)


def _tier_tables(rate: Rate) -> tuple[np.ndarray, np.ndarray]:
    """Price and upper end of every tier, shape (P, T); tiers that a period has not are never reached."""
    tiers = [
        [(p.price_per_kwh, None)] if p.tiers is None else [(t.price_per_kwh, t.up_to) for t in p.tiers]
        for p in rate.periods
    ]
    n = max(map(len, tiers))
    price = np.array([[one[0] for one in row] + [0.0] * (n - len(row)) for row in tiers])
    ends = np.array([[one[1] or np.inf for one in row] + [np.inf] * (n - len(row)) for row in tiers])
    return price, ends


def _in_tiers(billed, ends, peak_kw, rate: Rate, calendar: RateCalendar) -> np.ndarray:
    """kWh in each tier, shape (..., M, P, T); a net surplus stands in the first."""
    scale = _tier_scale(peak_kw, rate, calendar)[..., None]
    upper = np.where(np.isinf(ends), np.inf, scale * np.where(np.isinf(ends), 1.0, ends))
    lower = np.concatenate([np.zeros((*upper.shape[:-1], 1)), upper[..., :-1]], axis=-1)
    fills = _filling_together(rate)
    filled_by = np.stack([billed[..., fills == k].sum(axis=-1) for k in fills], axis=-1)
    with np.errstate(invalid="ignore"):
        held = np.clip(filled_by[..., None] - lower, 0.0, np.where(np.isinf(lower), 0.0, upper - lower))
    some = filled_by > 0
    part = held / np.where(some, filled_by, 1.0)[..., None]
    part[..., 0] = np.where(some, part[..., 0], 1.0)
    return billed[..., None] * part


def _filling_together(rate: Rate) -> np.ndarray:
    """A number for each period, equal where periods fill their tiers together: one name, or the whole season."""
    keys = [
        (s, None if rate.tier_over == "season" else period.name)
        for s, season in enumerate(rate.season or ())
        for period in season.periods
    ] or [(0, None)]
    return np.array([keys.index(key) for key in keys])


def _tier_scale(peak_kw, rate: Rate, calendar: RateCalendar) -> np.ndarray:
    """What up_to is multiplied with, shape (..., M, P): months, days or kW; seasons share a month by their days."""
    days = calendar.season_days
    if rate.tier_unit == "kwh_per_day":
        return days.astype(float)
    of_month = days / calendar.days[:, None]
    if rate.tier_unit == "kwh_per_month":
        return of_month * calendar.share[:, None]
    return of_month * peak_kw[..., 0, :, None]


def _export(sold, sums: MeterSums, rate: Rate, calendar: RateCalendar):
    if rate.export.method != "net-billing":
        return np.zeros(sold.shape), np.zeros(sold.shape)
    if rate.hourly_prices is not None and sums.sold_credit is not None:
        return sold, -sums.sold_credit[..., None]
    return sold, -sold * credit_per_kwh(rate, calendar.month_number)


def _carried(net, rate: Rate, calendar: RateCalendar):
    """Credit put away or used each month, shape (..., M), and what is left at the year's end."""
    carried, bank = np.zeros(net.shape), np.zeros(net.shape[:-1])
    if rate.export.unused_rule == "lose":
        return np.maximum(-net, 0.0), bank
    if rate.export.unused_rule != "carry":
        return carried, bank
    for month in range(calendar.n_months):
        used = np.minimum(bank, np.maximum(net[..., month], 0.0))
        put_away = np.maximum(-net[..., month], 0.0)
        carried[..., month] = put_away - used
        bank = np.zeros(bank.shape) if _settles(rate, calendar, month) else bank + put_away - used
    return carried, bank


def _surplus_since_true_up(bought, sold, rate: Rate, calendar: RateCalendar) -> np.ndarray:
    settled, since = np.zeros(bought.shape), np.zeros(bought.shape[:-1])
    for month in range(calendar.n_months):
        since = since + sold[..., month] - bought[..., month]
        if _settles(rate, calendar, month):
            settled[..., month] = np.maximum(since, 0.0)
            since = np.zeros(since.shape)
    return settled


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
    kinds, shape = parts.kinds(), parts.carried.shape
    least = rate.minimum_per_month * calendar.share + rate.minimum_per_day * calendar.days
    if least.any():
        kinds["minimum"] = np.maximum(least - sum(kinds.values()), 0.0)
    tax = np.zeros((*shape[:-1], len(rate.tax), shape[-1]))
    for index, one in enumerate(rate.tax):
        base = sum(kinds[kind] for kind in (one.on or kinds))
        tax[..., index, :] = one.frac * np.maximum(base, 0.0)
    return BillAmounts(**{**vars(parts), "minimum": kinds["minimum"], "tax": tax})
