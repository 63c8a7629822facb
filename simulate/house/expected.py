"""The least-cost plan of a house: its prices as the month points at them, and each month's cap on import."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from profiles.rate.calendar import rate_calendar
from profiles.rate.prices import tax_on
from simulate.house.asked import Asked
from simulate.house.candidates import may_switch
from simulate.house.caps import gauges_of, lowest_caps_of
from simulate.house.least_cost import interactive_targets, prices_ahead
from simulate.house.marginal import has_tiers, tiered_ahead
from simulate.house.score import bill_by_month, year_cost
from simulate.house.switched_plan import switched_wish
from simulate.house.walked import solar_exports, walk_asked
from simulate.optimum.scenarios import PricesAhead
from simulate.plans.cap import Gauge

LOOSER = (0.0, 0.05, 0.15, 0.35)
"""Caps that are tried: so far from the lowest that the pools keep, the year known, to the largest import."""
PREPARED = 0.7
"""Share of a cap that the scenarios are held against: the day that sets a peak is harder than those before it."""


def expected(asked: Asked) -> Asked:
    """The wish of the least-cost plan; where a demand charge looks, under the caps that cost least over the year."""
    ahead = _prices_ahead(asked)
    if not has_demand(asked.house.site.rate):
        return planned(asked, ahead)
    if asked.caps_kw is not None:
        return planned(asked, ahead, asked.caps_kw)
    return _best_capped(asked, ahead)


def _prices_ahead(asked: Asked) -> PricesAhead:
    """Prices as they are published; with tiers, twice round: by the house without its pools, then as it is run."""
    house, rate = asked.house, asked.house.site.rate
    exports = solar_exports(house.site)
    ahead = prices_ahead(rate, house.hours, asked.prices.buy_per_kwh, asked.prices.sell_per_kwh * exports)
    if not has_tiers(rate):
        return ahead
    net, first = house.load_kw - house.solar_kw, ahead.at_noon[:, 0]
    ahead = tiered_ahead(house, first, np.maximum(net, 0.0), np.maximum(-net, 0.0) * exports)
    year = walk_asked(planned(asked, ahead)).year
    return tiered_ahead(house, first, year.import_kw, year.export_kw)


def has_demand(rate) -> bool:
    """Whether a rate charges for kW."""
    return any(one.tiers is not None or one.per_kw > 0.0 for one in rate.demand)


def _best_capped(asked: Asked, ahead: PricesAhead) -> Asked:
    """Of some caps, the same or others each month, those whose year costs least."""
    low, without = lowest_caps_of(asked)
    tried = [planned(asked, ahead)] + [planned(asked, ahead, low + share * (without - low)) for share in LOOSER]
    runs = [walk_asked(one) for one in tried]
    by_month = np.array([bill_by_month(asked.house, run.year.import_kw, run.year.export_kw) for run in runs])
    caps = np.array([np.full_like(low, np.inf), *(one.caps_kw for one in tried[1:])])
    mixed = np.take_along_axis(caps, by_month.argmin(axis=0)[None, None, :], axis=0)[0]
    tried.append(planned(asked, ahead, mixed))
    dearest = float(asked.prices.buy_per_kwh.max())
    costs = [year_cost(asked.house, walk_asked(one).year, dearest) for one in tried]
    best = tried[int(np.argmin(costs))]
    if best.caps_kw is None:
        return best
    said = "; ".join(_caps_text(row) for row in best.caps_kw)
    setting = f"import caps by month, set by what the whole year then costs: {said} kW"
    return replace(best, settings=(*best.settings, setting))


def _caps_text(row) -> str:
    return ", ".join(f"{kw:.2f}" if np.isfinite(kw) else "none" for kw in row)


def planned(asked: Asked, ahead: PricesAhead, caps_kw=None) -> Asked:
    """The wish under given caps, shape (n_charges, n_months) in the order of `gauges_of`; infinite: none. [kW]"""
    cap, over_kw = {}, None
    if caps_kw is not None:
        cap_kw, over_kw = _capped_series(asked, caps_kw)
        cap["cap_kw"] = PREPARED * cap_kw
        cap["over_per_kwh"] = _charge_per_kw(asked.house.site.rate) / asked.house.hours.step_h
    if asked.wish.parallel:
        asked = replace(asked, wish=replace(asked.wish, targets_kwh=interactive_targets(asked, ahead, **cap)))
    else:
        wish, switched = switched_wish(asked, ahead, **cap)
        asked = replace(asked, wish=wish, switched=switched, may_switch=may_switch(asked.house).names)
    return asked if over_kw is None else _under(asked, caps_kw, over_kw)


def _under(asked: Asked, caps_kw, over_kw) -> Asked:
    """What is over the cap is served down to the reserve, and nothing is charged there but up to it."""
    targets, floor = asked.wish.targets_kwh.copy(), asked.floor_kwh
    targets[:, :, 3] = np.where(over_kw > 0.0, np.minimum(targets[:, :, 3], floor), targets[:, :, 3])
    wish = replace(asked.wish, targets_kwh=targets, over_kw=over_kw, held_kwh=np.ascontiguousarray(floor))
    return replace(asked, wish=wish, caps_kw=caps_kw)


def _charge_per_kw(rate) -> float:
    per_kw = [one.per_kw if one.tiers is None else one.tiers[0].per_kw for one in rate.demand]
    return sum(per_kw) * (1.0 + tax_on(rate, "demand"))


def _capped_series(asked: Asked, caps_kw) -> tuple[np.ndarray, np.ndarray]:
    """The cap of each step, and what its import would exceed it by without the pools. [kW]"""
    house = asked.house
    calendar = rate_calendar(house.site.rate, house.hours)
    net = house.load_kw - house.solar_kw + sum(pool.on_grid_kw for pool in asked.pools)
    cap, over = np.full((2, house.hours.n_steps), np.inf)
    over = -over
    for gauge, row in zip(gauges_of(house.site, calendar, house.hours.n_steps).values(), caps_kw, strict=True):
        kw = np.where(np.isnan(row), np.inf, row)[calendar.month]
        cap = np.minimum(cap, np.where(gauge.counts, kw, np.inf))
        over = np.maximum(over, _over(gauge, net, kw))
    return cap, over


def _over(gauge: Gauge, net_kw, cap_kw) -> np.ndarray:
    excess = gauge.over_kw(net_kw, 0.0) - cap_kw
    return np.where(np.isfinite(excess), excess, -np.inf)
