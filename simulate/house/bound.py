"""The best possible on one house: what no plan can beat, and plans that look ahead."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from profiles.noun import BadInput
from simulate.house.asked import Asked
from simulate.house.priced import PricedMeter, case_of, inside_kw, usable_kwh
from simulate.house.walked import HouseYear
from simulate.house.year import run_year
from simulate.optimum.best import METHOD, Worth
from simulate.optimum.linear import LINEAR, best_bound
from simulate.physics.pool import Pool

PAIR_BACKFEEDS = (
    "sub-panel solar exceeds the single-pole circuits that are switched over beside the two-pole circuits of a locked "
    "pair, so that the share of a step in which they are served is not one number"
)
ONE_UNIT = 1.0
"""A bound under one unit of currency is too small to take a share of."""
AGREES = 1e-6
WORTH_STEPS = 20_000
"""Steps of a year up to which HiGHS solves twice more, for the worth of one more kWh and kW: a tenth of a second."""


@dataclass(frozen=True)
class Bound:
    """What no plan can beat on the same rate, reserve and circuits, and where the plan stands.

    Attributes
    ----------
    saving : float or None
        Largest possible saving of the year. [currency]
    net : float or None
        The same with wear counted, where wear is given. [currency]
    method : str or None
        None where the bill has terms that the bound cannot hold.
    captured_frac : float or None
        Saving of the plan as a share of it.
    worth_of_more : Worth or None
        What one more kWh, and one more kW, would add to the largest possible saving of the year, circuits, floors,
        start and end as they are; None where that takes long: demand charges, binaries, beyond the exact programme also
        steps shorter than 30 minutes. [currency/kWh], [currency/kW]
    notes : tuple of str
        Why there is none, or what it leaves out.
    """

    saving: float | None
    net: float | None
    method: str | None
    captured_frac: float | None
    worth_of_more: Worth | None = None
    notes: tuple[str, ...] = ()


def no_bound(why: str) -> Bound:
    """No bound, and the reason."""
    return Bound(None, None, None, None, notes=(f"no best possible is given: {why}",))


def bound_of(run: HouseYear, bills) -> Bound:
    """What no plan can beat: the plan's own circuits, prices, floors, start and end, with the year known.

    Parameters
    ----------
    run : HouseYear
    bills : FourBills
        Of the same year.

    Returns
    -------
    Bound
        All None, with a note that says why, where the bill has terms that the programme cannot hold (tiers, minimum,
        ratchet, carried credit) and that are not the same with and without the battery.
    """
    meter = PricedMeter(run.asked)
    if not run.asked.pools:
        return no_bound("there is no battery unit")
    if (_backfeeds(run.asked) & (run.asked.wish.two_pole_kw > 0.0)).any():
        return no_bound(PAIR_BACKFEEDS)
    net = run.house.load_kw - run.house.solar_kw
    without = meter.cost(np.maximum(net, 0.0), np.maximum(-net, 0.0) * meter.exports)
    with_plan = meter.cost(run.year.import_kw, run.year.export_kw)
    if abs((without - with_plan) - bills.saving) > AGREES:
        return no_bound(f"not the same with and without the battery: {', '.join(meter.beyond) or 'a part of the bill'}")
    kept = ", ".join(one for one in meter.beyond if "tiers" in one or "demand" in one)
    notes = (f"the best possible keeps as with the plan, which leaves it unchanged: {kept}",) if kept else ()
    cost, method = _least(run, meter, wear=0.0)
    saving = without - cost
    wear = run.house.site.operation.wear_per_kwh
    worn = without - _least(run, meter, wear)[0] if wear > 0.0 else None
    captured = bills.saving / saving if saving >= ONE_UNIT else None
    quick = method == METHOD or (method == LINEAR and not meter.demands and run.hours.n_steps <= WORTH_STEPS)
    return Bound(saving, worn, method, captured, _worth(run, meter, cost) if quick else None, notes)


def _worth(run: HouseYear, meter: PricedMeter, cost: float) -> Worth:
    """Forward differences, shared among the pools in proportion to their energy: two more solves."""
    per_kwh, per_kw = (cost - _least(run, meter, 0.0, more)[0] for more in (Pool(1.0, 0.0, 0.0), Pool(0.0, 1.0, 1.0)))
    return Worth(per_kwh, per_kw)


def _backfeeds(asked: Asked) -> np.ndarray:
    """Steps in which sub-panel solar exceeds the circuits that it is switched over with, shape (n_pools, n_steps)."""
    return (inside_kw(asked) > asked.wish.reach_kw) & (asked.wish.reach_kw + asked.wish.two_pole_kw > 0.0)


def _least(run: HouseYear, meter: PricedMeter, wear: float, more: Pool | None = None) -> tuple[float, str]:
    """Least cost of the year under the plan's own floors, start and end, and the method that found it."""
    year, asked = run.year, meter.asked
    floor = np.minimum(asked.floor_kwh, year.pool_kwh[:, 1:])
    start = year.pool_kwh[:, 0]
    end = np.minimum(start, year.pool_kwh[:, -1])
    given, options = case_of(meter, wear)
    pools, credit = _backfed(meter, options)
    if more is not None:
        pools = _enlarged(pools, more)
    try:
        cost, method = best_bound(
            *given[:-1],
            pools,
            floor_kwh=np.clip(floor, 0.0, usable_kwh(asked)),
            start_kwh=start,
            end_kwh=end,
            **options,
        )
    except BadInput as error:
        raise error.at(meter.site.file) from None
    return cost - credit, method


def _backfed(meter: PricedMeter, options: dict) -> tuple[tuple[Pool, ...], float]:
    """Pools and a credit that make charging at the meter no worse than being charged from the sub-panel's own solar.

    Where that solar exceeds the circuits it is switched over with, the house sees the excess drawn from its meter and
    the pool gets at most all of it. The bound lets the pool draw that much there, from any source, and gives it the
    on-grid draw of the step.
    """
    asked = meter.asked
    back = _backfeeds(asked)
    if not back.any():
        return asked.pools, 0.0
    steps = back.any(axis=0)
    options["charge_ok"] = np.where(steps, 1.0, options["charge_ok"])
    options["utility_ok"] = options["utility_ok"] | steps
    pools = tuple(replace(pool, charge_kw=max(pool.charge_kw, pool.takes_back_kw)) for pool in asked.pools)
    draws = np.array([pool.on_grid_kw for pool in pools]) @ back
    return pools, float((draws * asked.prices.buy_per_kwh).sum()) * meter.house.hours.step_h


def _enlarged(pools: tuple[Pool, ...], more: Pool) -> tuple[Pool, ...]:
    """The pools with so much more energy and power, shared in proportion to their energy."""
    total = sum(pool.usable_kwh for pool in pools) or 1.0
    names = ("usable_kwh", "charge_kw", "discharge_kw")
    return tuple(
        replace(pool, **{k: getattr(pool, k) + getattr(more, k) * pool.usable_kwh / total for k in names})
        for pool in pools
    )


def best_year(site) -> HouseYear:
    """The year of a site run as well as anybody could with the year known beforehand.

    Parameters
    ----------
    site : Site

    Returns
    -------
    HouseYear
        Of `operation.plan = "best-possible"`: an upper mark, not a forecast.

    Examples
    --------
    >>> from simulate.site.site import read_site
    >>> best_year(read_site()).asked.plan
    'best-possible'
    """
    return run_year(site.with_values({"operation.plan": "best-possible"}))
