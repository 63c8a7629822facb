"""The plan `demand-limit`: each billing month's import is capped as low as the pools can keep it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from profiles.noun import BadInput
from profiles.rate.calendar import RateCalendar, rate_calendar
from simulate.house.asked import stay_kwh, switched_in
from simulate.optimum.forecast import Calendar, calendar_of
from simulate.physics.walk import Wish
from simulate.plans.cap import Cap, Gauge, Limited, capped, lowest_caps, part_of
from simulate.plans.switched import Switched, periods_of

CLOSES_KWH = 1e-9
EXCEEDS_KW = 1e-6


def lowest_caps_of(asked) -> tuple[np.ndarray, np.ndarray]:
    """The lowest caps that the pools keep, the year known, and the largest imports without them. [kW]

    Returns
    -------
    kw, without_kw : ndarray, shape (n_charges, n_months)
        NaN where a charge does not look.
    """
    cap = _closed(_case(asked, {})[0], days_of(asked.house.hours), [pool.usable_kwh for pool in asked.pools], 0)
    return cap.kw, cap.without_kw


def limited(asked):
    """An `Asked` with the wish of `demand-limit` and its caps.

    Parameters
    ----------
    asked : Asked
        Of the plan `demand-limit`, its wish without targets.

    Raises
    ------
    BadInput
        A rate without a demand charge.
    """
    house, known = asked.house, {}
    case, charges = _case(asked, known)
    cap = _closed(case, days_of(house.hours), [pool.usable_kwh for pool in asked.pools])
    wish, switched = _wish(asked, known, 0, house.hours.n_steps, cap.over_kw)
    return replace(asked, wish=wish, switched=switched, cap=cap, cap_charges=charges)


def _case(asked, known: dict) -> tuple[Limited, tuple[str, ...]]:
    """Pools behind the house's meter, and the names of the charges that look at it."""
    house = asked.house
    calendar = rate_calendar(house.site.rate, house.hours)
    gauges = gauges_of(house.site, calendar, house.hours.n_steps)
    edges = np.r_[np.searchsorted(calendar.month, np.arange(calendar.n_months)), house.hours.n_steps]
    wish_of = lambda *part: _wish(asked, known, *part)[0]
    series = (house.load_kw, house.solar_kw, asked.pools, wish_of, tuple(gauges.values()), edges)
    return Limited(*series, house.hours.step_h), tuple(gauges)


def cap_notes(run) -> list[str]:
    """What is to be known of the caps of a year, and where the year as it was walked exceeds them."""
    asked, hours = run.asked, run.hours
    if asked.cap is None:
        return []
    calendar = rate_calendar(asked.house.site.rate, hours)
    most, months = 0.0, set()
    for d, gauge in enumerate(gauges_of(asked.house.site, calendar, hours.n_steps).values()):
        mean = np.where(gauge.counts, gauge.mean_kw(run.year.import_kw), 0.0)
        peak = np.array([mean[calendar.month == k].max() for k in range(calendar.n_months)])
        over = np.nan_to_num(peak - asked.cap.kw[d])
        most, months = max(most, float(over.max())), months | set(np.flatnonzero(over > EXCEEDS_KW).tolist())
    lines = [
        "the import caps are the lowest that this year allows, known beforehand; held_frac is the share of 200 redraws "
        "of like days in which they hold"
    ]
    if months:
        lines.append(f"an import cap is exceeded in {len(months)} months, by {most:.3f} kW at most")
    return lines


def _closed(case: Limited, days: Calendar, full_kwh, n_redraws: int = 200) -> Cap:
    """The caps of a year that begins as it ends, or nearly."""
    cap = lowest_caps(case, days, full_kwh, n_redraws=n_redraws)
    if np.allclose(cap.end_kwh, full_kwh, rtol=0.0, atol=CLOSES_KWH):
        return cap
    return lowest_caps(case, days, cap.end_kwh, n_redraws=n_redraws)


def days_of(hours) -> Calendar:
    """The days of an hour axis, weekdays and weekends apart."""
    weekend = np.zeros(hours.n_days, np.int64)
    weekend[hours.day[hours.weekday >= 5]] = 1
    return calendar_of(hours.day, hours.minute // hours.step_min, weekend)


def gauges_of(site, calendar: RateCalendar, n_steps: int) -> dict[str, Gauge]:
    """What each demand charge of a rate looks at, the dearest first; a rolling block is capped step by step."""
    found = []
    for k, (charge, blocks) in enumerate(zip(site.rate.demand, calendar.demand, strict=True)):
        counts = np.zeros(n_steps, bool)
        for start, n in zip(blocks.start, blocks.n_steps, strict=True):
            counts[start : start + n] = True
        if charge.months is not None:
            counts &= np.isin(calendar.month_number[calendar.month], charge.months)
        per_kw = charge.per_kw if charge.per_kw is not None else charge.tiers[0].per_kw
        found.append((-per_kw, k, charge.name, Gauge(counts, _block(blocks, n_steps))))
    if not any(gauge.counts.any() for *_, gauge in found):
        raise BadInput(
            "needs a demand charge in the rate",
            file=site.file,
            key="operation.plan",
            value="demand-limit",
            way_out='add [[rate.demand]], or use "time-of-use"',
        )
    names = [name for _, _, name, _ in found]
    label = lambda k, name: name if names.count(name) == 1 else f"{name} ({k + 1})"
    return {label(k, name): gauge for _, k, name, gauge in sorted(found, key=lambda one: one[:2])}


def _block(blocks, n_steps: int) -> np.ndarray:
    """Number of each step's block; steps that no fixed block counts stand alone."""
    if blocks.of_step is None:
        return np.arange(n_steps)
    of_step = blocks.of_step
    new = (of_step < 0) | np.r_[True, np.diff(of_step) != 0]
    return np.cumsum(new) - 1


def _wish(asked, known: dict, first: int, last: int, over_kw) -> tuple[Wish, Switched | None]:
    """The wish of some steps under a cap, and what is switched over where the load would exceed it."""
    house, pools = asked.house, asked.pools
    wish, floor = part_of(asked.wish, first, last), asked.floor_kwh[:, first:last]
    from_utility = house.site.operation.charge_from == "any"
    over, switched = over_kw > 0.0, None
    if not wish.parallel:
        switched = _switched(asked, known, first, over)
        wish = replace(wish, reach_kw=switched.reach_kw, two_pole_kw=switched.two_pole_kw)
    wish = capped(wish, pools, floor, over_kw, from_utility=from_utility)
    if not wish.parallel:
        stay_h = house.site.subpanel.transfer.least_stay_min / 60.0
        wish = replace(wish, stay_kwh=stay_kwh(wish, over, pools, stay_h, house.hours.step_h))
    return wish, switched


def _switched(asked, known: dict, first: int, over) -> Switched:
    """What is switched over in each run of steps; `known` keeps the sets of runs that came up before."""
    n_may, parts = len(asked.may_switch), []
    reach, two = np.zeros((len(asked.pools), len(over))), np.zeros(len(over))
    for a, b in periods_of(over):
        key = (first + a, first + b)
        if key not in known:
            known[key] = switched_in(asked.house, np.ones(b - a, bool), asked.pools, *key)
        one = known[key]
        reach[:, a:b], two[a:b] = one.reach_kw, one.two_pole_kw
        parts.append((a * one.chosen[0], b * one.chosen[0]))
    missed = [one.missed_frac for one in known.values() if one.missed_frac is not None]
    begin, end = np.array(parts, dtype=np.int64).reshape(len(parts), 2, n_may).swapaxes(0, 1)
    return Switched(reach, two, begin, end, max(missed, default=None))


def limit_document(asked) -> list[dict] | None:
    """Each cap by billing month; None under another plan."""
    if asked.cap is None:
        return None
    labels = rate_calendar(asked.house.site.rate, asked.house.hours).labels
    return [
        {
            "charge": name,
            "month": label,
            "kw": float(asked.cap.kw[d, k]),
            "without_kw": float(asked.cap.without_kw[d, k]),
            "held_frac": float(asked.cap.held_frac[k]),
        }
        for d, name in enumerate(asked.cap_charges)
        for k, label in enumerate(labels)
        if np.isfinite(asked.cap.without_kw[d, k])
    ]
