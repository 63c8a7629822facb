"""What the meter sums up for the bill: kWh by billing month and period, and the highest kW of each demand charge."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from profiles.noun import BadInput
from profiles.rate.calendar import RateCalendar
from profiles.rate.prices import export_series, price_series
from profiles.rate.rate import Rate


@dataclass(frozen=True, eq=False)
class MeterSums:
    """All that a bill needs of a year of import and export; leading axes may hold many designs.

    Attributes
    ----------
    bought_kwh, sold_kwh : ndarray, shape (..., n_months, n_periods)
        Import and export after netting within hours or days; netting over the month is the bill's. Flattened they
        are sums over `RateCalendar.bucket`. [kWh]
    peak_kw : ndarray, shape (..., n_demands, n_months)
        Highest mean import of a block that counts, in the order of rate.demand; 0 where none counts. [kW]
    bought_cost, sold_credit : ndarray, shape (..., n_months, n_periods), or None
        With hourly prices: import times price, and export times its credit (net metering: times price); the second
        also where exports are paid by hour.
    saved_kwh : ndarray, shape (..., n_rebates, n_months), or None
        What is bought less than on like days, in the order of `RateCalendar.rebates`. [kWh]
    """

    bought_kwh: np.ndarray
    sold_kwh: np.ndarray
    peak_kw: np.ndarray
    bought_cost: np.ndarray | None = None
    sold_credit: np.ndarray | None = None
    saved_kwh: np.ndarray | None = None


def meter_sums(import_kw, export_kw, rate: Rate, calendar: RateCalendar) -> MeterSums:
    """Sum a year of import and export as the rate's registers do.

    Parameters
    ----------
    import_kw, export_kw : array_like, shape (n_steps,)
        Mean power from and to the utility over each step, not negative. [kW]
    rate : Rate
    calendar : RateCalendar
        From `rate_calendar(rate, hours)`.

    Raises
    ------
    BadInput
        Wrong shape, NaN, infinity or a negative value.

    Examples
    --------
    >>> from profiles.hours import hours_of_year
    >>> from profiles.rate.calendar import rate_calendar
    >>> rate = Rate(price_per_kwh=0.2)
    >>> calendar = rate_calendar(rate, hours_of_year(2025, "UTC"))
    >>> float(meter_sums(np.ones(8760), np.zeros(8760), rate, calendar).bought_kwh[0, 0])
    744.0
    """
    hours, shape = calendar.hours, (calendar.n_months, calendar.n_periods)
    bought = flow_kw(import_kw, hours.n_steps, "import_kw")
    sold = flow_kw(export_kw, hours.n_steps, "export_kw")
    peaks = [one.peak_kw(bought, calendar.n_months) for one in calendar.demand]
    peak_kw = np.array(peaks).reshape(len(calendar.demand), calendar.n_months)
    if calendar.net_group is not None:
        bought_kwh, sold_kwh = _netted(bought, sold, calendar)
    else:
        bought_kwh, sold_kwh = _summed(bought, calendar), _summed(sold, calendar)
    sums = MeterSums((bought_kwh * hours.step_h).reshape(shape), (sold_kwh * hours.step_h).reshape(shape), peak_kw)
    if calendar.rebates:
        saved = [one.saved_kwh(bought, calendar.n_months, hours.step_h) for one in calendar.rebates]
        sums = replace(sums, saved_kwh=np.array(saved))
    if rate.hourly_prices is None and not rate.export.by_hour:
        return sums
    price, credit = (None, None) if rate.hourly_prices is None else price_series(rate, hours)
    credit = price if rate.export.method == "net-metering" else credit
    credit = export_series(rate, calendar) if rate.export.by_hour else credit
    cost, earned = (
        None if per_kwh is None else (_summed(kw * per_kwh, calendar) * hours.step_h).reshape(shape)
        for kw, per_kwh in ((bought, price), (sold, credit))
    )
    return replace(sums, bought_cost=cost, sold_credit=earned)


def flow_kw(values, n_steps: int, key: str) -> np.ndarray:
    """A series of a flow as float64, checked: one value a step, finite, not negative, shape (n_steps,) [kW]."""
    kw = np.asarray(values, dtype=float)
    if kw.shape != (n_steps,):
        raise BadInput("must have one value for each step", key=key, value=kw.shape, way_out=f"shape ({n_steps},)")
    if not (kw.min() >= 0 and kw.max() < np.inf):
        step = int(np.argmin((kw >= 0) & (kw < np.inf)))
        raise BadInput(
            f"must be finite and not negative at step {step}",
            key=key,
            value=float(kw[step]),
            way_out="import and export are two series, each >= 0 [kW]",
        )
    return kw


def _summed(kw: np.ndarray, calendar: RateCalendar) -> np.ndarray:
    n_buckets = calendar.n_months * calendar.n_periods
    return np.bincount(calendar.bucket, kw, n_buckets) if kw.any() else np.zeros(n_buckets)


def _netted(bought: np.ndarray, sold: np.ndarray, calendar: RateCalendar) -> tuple[np.ndarray, np.ndarray]:
    net = np.bincount(calendar.net_group, bought - sold, len(calendar.net_bucket))
    n_buckets = calendar.n_months * calendar.n_periods
    pair = [np.bincount(calendar.net_bucket, np.maximum(one, 0.0), n_buckets) for one in (net, -net)]
    return pair[0], pair[1]
