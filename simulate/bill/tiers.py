"""Energy by tier: prices and ends of the tiers of each period, and the kWh that fall into them."""

from __future__ import annotations

import numpy as np

from profiles.rate.calendar import RateCalendar
from profiles.rate.prices import event_price
from profiles.rate.rate import Rate


def tiers_of(rate: Rate, calendar: RateCalendar) -> list[list[tuple[float, float | None]]]:
    """Price and upper end of the tiers of each period of the calendar; one price is one tier without an end."""
    own = [
        [(p.price_per_kwh, None)] if p.tiers is None else [(t.price_per_kwh, t.up_to) for t in p.tiers]
        for p in rate.periods
    ]
    tiers = []
    for base, k in zip(calendar.pieces.base, calendar.pieces.event, strict=True):
        event = rate.event[k] if k >= 0 else None
        if event is None:
            tiers.append(own[base])
        elif event.price_per_kwh is not None:
            tiers.append([(event.price_per_kwh, None)])
        else:
            tiers.append([(event_price(event, price), end) for price, end in own[base]])
    return tiers


def tier_tables(rate: Rate, calendar: RateCalendar) -> tuple[np.ndarray, np.ndarray]:
    """Price and upper end of every tier, shape (P, T); tiers that a period has not are never reached."""
    tiers = tiers_of(rate, calendar)
    n = max(map(len, tiers))
    price = np.array([[one[0] for one in row] + [0.0] * (n - len(row)) for row in tiers])
    ends = np.array([[one[1] or np.inf for one in row] + [np.inf] * (n - len(row)) for row in tiers])
    return price, ends


def kwh_in_tiers(billed, ends, peak_kw, rate: Rate, calendar: RateCalendar) -> np.ndarray:
    """kWh in each tier, shape (..., M, P, T); a net surplus stands in the first."""
    scale = _tier_scale(peak_kw, rate, calendar)[..., None]
    upper = np.where(np.isinf(ends), np.inf, scale * np.where(np.isinf(ends), 1.0, ends))
    lower = np.concatenate([np.zeros((*upper.shape[:-1], 1)), upper[..., :-1]], axis=-1)
    fills = _filling_together(rate, calendar)
    filled_by = np.stack([billed[..., fills == k].sum(axis=-1) for k in fills], axis=-1)
    with np.errstate(invalid="ignore"):
        held = np.clip(filled_by[..., None] - lower, 0.0, np.where(np.isinf(lower), 0.0, upper - lower))
    some = filled_by > 0
    part = held / np.where(some, filled_by, 1.0)[..., None]
    part[..., 0] = np.where(some, part[..., 0], 1.0)
    return billed[..., None] * part


def _filling_together(rate: Rate, calendar: RateCalendar) -> np.ndarray:
    """A number for each period, equal where periods fill their tiers together: one name, or the whole season.

    Hours of an event with a price of its own fill no tier.
    """
    keys = [
        (s, None if rate.tier_over == "season" else period.name)
        for s, season in enumerate(rate.season or ())
        for period in season.periods
    ] or [(0, None)]
    own = []
    for base, k in zip(calendar.pieces.base, calendar.pieces.event, strict=True):
        is_apart = k >= 0 and rate.event[k].price_per_kwh is not None
        own.append(("event", int(k)) if is_apart else keys[base])
    return np.array([own.index(key) for key in own])


def _tier_scale(peak_kw, rate: Rate, calendar: RateCalendar) -> np.ndarray:
    """What up_to is multiplied with, shape (..., M, P): months, days or kW; seasons share a month by their days."""
    days = calendar.season_days
    if rate.tier_unit == "kwh_per_day":
        return days.astype(float)
    of_month = days / calendar.days[:, None]
    if rate.tier_unit == "kwh_per_month":
        return of_month * calendar.share[:, None]
    return of_month * peak_kw[..., 0, :, None]
