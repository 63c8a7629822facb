"""What one more kWh costs where the price depends on the month's total: by what the month so far points at."""

from __future__ import annotations

import numpy as np

from profiles.rate.calendar import rate_calendar
from profiles.rate.meter_sums import MeterSums
from profiles.rate.rate import Rate
from simulate.bill.amounts import bill_amounts
from simulate.house.house import House
from simulate.optimum.scenarios import N_AHEAD, PricesAhead

LOOK_BACK_DAYS = 14
"""Days whose mean use stands for the rest of the month; common practice, no source."""


def has_tiers(rate) -> bool:
    """Whether the price of a kWh depends on how many there are."""
    return any(period.tiers for period in rate.periods)


def tiered_ahead(house: House, prices: np.ndarray, import_kw, export_kw) -> PricesAhead:
    """Prices ahead with the tier in which each month is going to end, as it looks on each morning.

    Parameters
    ----------
    house : House
    prices : ndarray, shape (2, n_steps)
        Buy and sell price of the first tier. [currency/kWh]
    import_kw, export_kw : ndarray, shape (n_steps,)
        Of the house as it is run; only what is before a morning is looked at.
    """
    hours, rate = house.hours, _tiers_alone(house.site.rate)
    calendar = rate_calendar(rate, hours)
    more = _marginal(house, import_kw, export_kw) - _marginal(house, 0.0 * import_kw, 0.0 * export_kw)
    seen = np.empty((2, N_AHEAD, hours.n_steps))
    netted = np.array([1.0, float(rate.export.method == "net-metering")])
    for ahead in range(N_AHEAD):
        day = hours.day - ahead
        extra = np.where(day >= 0, more[np.maximum(day, 0), calendar.period], 0.0)
        seen[:, ahead] = prices + netted[:, None] * extra
    return PricesAhead(seen, seen)


def _marginal(house: House, import_kw, export_kw) -> np.ndarray:
    """Cost of one more kWh of each period in the month of each day, as expected on its morning; (n_days, n_periods)."""
    hours, rate = house.hours, _tiers_alone(house.site.rate)
    calendar = rate_calendar(rate, hours)
    first = np.searchsorted(hours.day, np.arange(hours.n_days))
    month, n_periods = calendar.month[first], calendar.n_periods
    bought, sold = (_projected(kw * hours.step_h, hours.day, calendar, month) for kw in (import_kw, export_kw))
    shape = (hours.n_days, n_periods + 1, calendar.n_months, n_periods)
    at, days = np.arange(n_periods), np.arange(hours.n_days)
    all_bought, all_sold = np.zeros(shape), np.zeros(shape)
    all_bought[days, :, month] = bought[:, None]
    all_sold[days, :, month] = sold[:, None]
    all_bought[days[:, None], at, month[:, None], at] += 1.0
    peak = np.zeros((*shape[:2], len(calendar.demand), calendar.n_months))
    cost = bill_amounts(MeterSums(all_bought, all_sold, peak), rate, calendar).by_month
    of_month = cost[days, :, month]
    return of_month[:, :-1] - of_month[:, -1:]


def _tiers_alone(rate: Rate) -> Rate:
    """The rate without what sums of a month do not tell, and without what cuts its periods at dates.

    Events, riders without tiers, exports by hour or month are in the prices of the steps; they move no tier.
    """
    export = rate.export.model_copy(update={"by_hour": ()})
    if rate.export.method == "net-billing":
        export = export.model_copy(update={"credit_per_kwh": 0.0})
    return rate.model_copy(
        update={
            "event": (),
            "rider": tuple(one for one in rate.rider if one.tiers),
            "export": export,
            "credit": tuple(one.model_copy(update={"beyond_bill": "pay"}) for one in rate.credit),
        }
    )


def _projected(kwh, day, calendar, month_of_day) -> np.ndarray:
    """kWh of each period in the month of each day: as far as it has come, then as in the last days; (n_days, P)."""
    n_days, n_periods = len(month_of_day), calendar.n_periods
    table = lambda values: np.bincount(day * n_periods + calendar.period, values, n_days * n_periods).reshape(
        n_days, -1
    )
    used, steps = table(kwh), table(np.ones(len(kwh)))
    out = np.zeros((n_days, n_periods))
    for one in range(n_days):
        mine = month_of_day == month_of_day[one]
        past = slice(max(one - LOOK_BACK_DAYS, 0), one)
        seen, lasted = used[past].sum(axis=0), steps[past].sum(axis=0)
        rate = np.where(lasted > 0.0, seen / np.maximum(lasted, 1.0), seen.sum() / max(lasted.sum(), 1.0))
        out[one] = used[:one][mine[:one]].sum(axis=0) + rate * steps[one:][mine[one:]].sum(axis=0)
    return out
