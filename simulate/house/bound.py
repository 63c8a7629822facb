"""The best possible on one house: what no plan can beat, and plans that look ahead."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from profiles.noun import BadInput
from profiles.rate.calendar import rate_calendar
from profiles.rate.prices import tax_on
from simulate.house.year import Asked, HouseYear, run_year
from simulate.optimum.best import METHOD, Worth
from simulate.optimum.equations import Demand
from simulate.optimum.forecast import calendar_of, forecast_targets
from simulate.optimum.linear import LINEAR, Planner, best_bound, checked_case, checked_states
from simulate.physics.pool import Pool
from simulate.plans.calendar_plans import reachable_floor

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


class Meter:
    """The priced part of a house's bill that the best possible works on."""

    def __init__(self, run: HouseYear):
        self.run, self.asked = run, run.asked
        self.house, self.site = run.house, run.house.site

    @cached_property
    def exports(self) -> bool:
        solar = self.site.solar
        main = solar is not None and solar.connected_at == "main-panel"
        return solar.export if main else self.site.subpanel.export

    @cached_property
    def sell_per_kwh(self) -> np.ndarray:
        sell = self.asked.prices.sell_per_kwh
        return sell if self.exports else np.zeros_like(sell)

    @cached_property
    def demands(self) -> tuple[Demand, ...]:
        """Demand charges as the programme takes them: the first tier, without ratchet, and none that roll."""
        rate = self.site.rate
        calendar, taxed = rate_calendar(rate, self.run.hours), 1.0 + tax_on(rate, "demand")
        demands = []
        for charge, blocks in zip(rate.demand, calendar.demand, strict=True):
            per_kw = charge.per_kw if charge.tiers is None else charge.tiers[0].per_kw
            if not is_held(blocks) or per_kw == 0.0:
                continue
            period = np.where(blocks.of_step >= 0, blocks.month[np.maximum(blocks.of_step, 0)], -1)
            if charge.months is not None:
                period = np.where(np.isin(calendar.month_number[np.maximum(period, 0)], charge.months), period, -1)
            if (period >= 0).any():
                _, own = np.unique(period, return_inverse=True)
                demands.append(Demand(per_kw * taxed, own - bool((period < 0).any()), int(blocks.n_steps[0])))
        return tuple(demands)

    @cached_property
    def beyond(self) -> tuple[str, ...]:
        """Terms of the rate that the programme cannot hold, in plain words."""
        rate, export = self.site.rate, self.site.rate.export
        calendar = rate_calendar(rate, self.run.hours)
        charged = [one for one in rate.demand if one.tiers is not None or one.per_kw > 0.0]
        rolls = [
            one in charged and not is_held(blocks) for one, blocks in zip(rate.demand, calendar.demand, strict=True)
        ]
        credits = export.method != "none"
        terms = {
            "energy tiers": any(period.tiers for period in rate.periods),
            "demand tiers": any(one.tiers for one in charged),
            "a demand ratchet": any(np.any(one.ratchet_frac) for one in charged),
            "demand blocks that roll or differ in length": any(rolls),
            "a minimum bill": rate.minimum_per_month > 0.0 or rate.minimum_per_day > 0.0,
            "carried credit": credits and export.unused_rule in ("carry", "carry-kwh"),
            "credit that is lost": credits and export.unused_rule == "lose",
            "netting by the month": export.method == "net-billing" and export.netting_interval == "month",
            "billing cycles that are not months": bool((calendar.share != 1.0).any()),
        }
        return tuple(name for name, is_there in terms.items() if is_there)

    def cost(self, import_kw, export_kw) -> float:
        """Energy and demand charges of a year at the meter. [currency]"""
        h = self.run.hours.step_h
        energy = float((self.asked.prices.buy_per_kwh * import_kw - self.sell_per_kwh * export_kw).sum() * h)
        return energy + sum(self._charge(one, import_kw) for one in self.demands)

    def _charge(self, demand: Demand, import_kw) -> float:
        n = len(import_kw) // demand.window_steps * demand.window_steps
        means = import_kw[:n].reshape(-1, demand.window_steps).mean(axis=1)
        period = demand.period[: n : demand.window_steps]
        return demand.per_kw * sum(float(means[period == k].max()) for k in range(int(period.max()) + 1))


def is_held(blocks) -> bool:
    """Whether the programme can hold these demand blocks: none that roll, all of one length."""
    return blocks.of_step is not None and len(set(blocks.n_steps.tolist())) <= 1


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
    meter = Meter(run)
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
    cost, method = _least(meter, wear=0.0)
    saving = without - cost
    wear = run.house.site.operation.wear_per_kwh
    worn = without - _least(meter, wear)[0] if wear > 0.0 else None
    captured = bills.saving / saving if saving >= ONE_UNIT else None
    quick = method == METHOD or (method == LINEAR and not meter.demands and run.hours.n_steps <= WORTH_STEPS)
    return Bound(saving, worn, method, captured, _worth(meter, cost) if quick else None, notes)


def _worth(meter: Meter, cost: float) -> Worth:
    """Forward differences, shared among the pools in proportion to their energy: two more solves."""
    per_kwh, per_kw = (cost - _least(meter, 0.0, more)[0] for more in (Pool(1.0, 0.0, 0.0), Pool(0.0, 1.0, 1.0)))
    return Worth(per_kwh, per_kw)


def _backfeeds(asked: Asked) -> np.ndarray:
    """Steps in which sub-panel solar exceeds the circuits that it is switched over with, shape (n_pools, n_steps)."""
    return (_inside_kw(asked) > asked.wish.reach_kw) & (asked.wish.reach_kw + asked.wish.two_pole_kw > 0.0)


def _inside_kw(asked: Asked) -> np.ndarray:
    takes_back = np.array([pool.takes_back_kw > 0.0 for pool in asked.pools]).reshape(-1, 1)
    return asked.wish.inside_kw * takes_back


def _least(meter: Meter, wear: float, more: Pool | None = None) -> tuple[float, str]:
    """Least cost of the year under the plan's own floors, start and end, and the method that found it."""
    year, asked = meter.run.year, meter.asked
    floor = np.minimum(asked.floor_kwh, year.pool_kwh[:, 1:])
    start = year.pool_kwh[:, 0]
    end = np.minimum(start, year.pool_kwh[:, -1])
    given, options = _case_of(meter, wear)
    pools, credit = _backfed(meter, options)
    if more is not None:
        pools = _enlarged(pools, more)
    try:
        cost, method = best_bound(
            *given[:-1], pools, floor_kwh=np.clip(floor, 0.0, _usable(asked)), start_kwh=start, end_kwh=end, **options
        )
    except BadInput as error:
        raise error.at(meter.site.file) from None
    return cost - credit, method


def _backfed(meter: Meter, options: dict) -> tuple[tuple[Pool, ...], float]:
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
    return pools, float((draws * asked.prices.buy_per_kwh).sum()) * meter.run.hours.step_h


def _case_of(meter: Meter, wear: float) -> tuple[tuple, dict]:
    """A house as `checked_case` takes it."""
    asked, house = meter.asked, meter.house
    wish, n = asked.wish, house.hours.n_steps
    reach = (
        np.full(wish.reach_kw.shape, np.inf) if wish.parallel else np.maximum(wish.reach_kw - _inside_kw(asked), 0.0)
    )
    options = {
        "wear_per_kwh": wear,
        "export": wish.export,
        "step_h": house.hours.step_h,
        "charge_ok": (~house.cold.all(axis=0)).astype(float),
        "utility_ok": np.full(n, meter.site.operation.charge_from == "any"),
        "dc_kw": wish.dc_kw,
        "two_pole_kw": wish.two_pole_kw,
        "demands": meter.demands,
    }
    prices = (asked.prices.buy_per_kwh, meter.sell_per_kwh)
    return (house.load_kw, reach, house.solar_kw, *prices, asked.pools), options


def _enlarged(pools: tuple[Pool, ...], more: Pool) -> tuple[Pool, ...]:
    """The pools with so much more energy and power, shared in proportion to their energy."""
    total = sum(pool.usable_kwh for pool in pools) or 1.0
    names = ("usable_kwh", "charge_kw", "discharge_kw")
    return tuple(
        replace(pool, **{k: getattr(pool, k) + getattr(more, k) * pool.usable_kwh / total for k in names})
        for pool in pools
    )


def _usable(asked: Asked) -> np.ndarray:
    return np.array([pool.usable_kwh for pool in asked.pools]).reshape(-1, 1)


def best_plan(asked: Asked) -> np.ndarray:
    """Targets of `best-possible`: the year known, every floor reachable, shape (n_pools, n_steps, 4). [kWh]"""
    return BestPlanner(asked)(asked)


class BestPlanner:
    """From an `Asked` of one house, whatever its reserve, to the targets of `best-possible`.

    Attributes
    ----------
    method : str
    is_exact : bool
        One exact programme a pool: milliseconds a call.
    """

    def __init__(self, asked: Asked):
        meter = Meter(HouseYear(asked, None, 0))
        try:
            given, options = _case_of(meter, meter.site.operation.wear_per_kwh)
            self._planner = Planner(checked_case(*given, **options))
        except BadInput as error:
            raise error.at(meter.site.file) from None
        self.is_exact = self._planner.is_exact
        self.method = METHOD if self.is_exact else "programme of HiGHS"

    def __call__(self, asked: Asked) -> np.ndarray:
        """Targets, shape (n_pools, n_steps, 4). [kWh]"""
        floor, start = _reachable(asked), _usable(asked)[:, 0]
        states = checked_states(self._planner.case, floor, start, np.minimum(start, floor[:, -1]))
        return self._planner.best(*states).targets_kwh


def _reachable(asked: Asked) -> np.ndarray:
    """Floors from which every later one can be met, cut to what charging flat out from full reaches."""
    can_buy, usable = asked.house.site.operation.charge_from == "any", _usable(asked)
    floor, step_h = np.empty_like(asked.floor_kwh), asked.house.hours.step_h
    for p, pool in enumerate(asked.pools):
        limit = asked.wish.charge_kw[p] * can_buy
        floor[p] = reachable_floor(asked.floor_kwh[p], limit > 0.0, limit, pool, step_h)
        gain = np.cumsum(limit * pool.charge_efficiency * step_h)
        floor[p] = np.minimum(floor[p], np.minimum(usable[p] + gain, pool.usable_kwh) if can_buy else 0.0)
    return np.clip(floor, 0.0, usable)


def forecast_plan(asked: Asked) -> np.ndarray:
    """Targets of `forecast`: re-solved every step from the past of the house, shape (n_pools, n_steps, 4). [kWh]

    In parallel the pools are foreseen as one and follow it in proportion; in transfer mode each foresees its own leg.
    An on-grid draw that saves more than the losses cost is left out of what is foreseen: the programme cannot hold it.
    """
    house, wish, hours = asked.house, asked.wish, asked.house.hours
    weekend = np.zeros(hours.n_days, np.int64)
    weekend[hours.day[hours.weekday >= 5]] = 1
    calendar = calendar_of(hours.day, hours.minute // hours.step_min, weekend)
    operation, meter = house.site.operation, Meter(HouseYear(asked, None, 0))
    shared = {
        "calendar": calendar,
        "wear_per_kwh": operation.wear_per_kwh,
        "export": wish.export,
        "step_h": hours.step_h,
        "utility_ok": np.full(hours.n_steps, operation.charge_from == "any"),
    }

    def one(pool: Pool, reach, floor, dc, cold):
        try:
            return forecast_targets(
                house.load_kw,
                reach,
                house.solar_kw,
                asked.prices.buy_per_kwh,
                meter.sell_per_kwh,
                pool,
                floor_kwh=floor,
                dc_kw=dc,
                charge_ok=(~cold).astype(float),
                **shared,
            )
        except BadInput as error:
            if error.key != "Pool.on_grid_kw":
                raise
            return one(replace(pool, on_grid_kw=0.0), reach, floor, dc, cold)

    if wish.parallel:
        whole = _one_pool(asked.pools)
        targets = one(whole, np.inf, asked.floor_kwh.sum(axis=0), wish.dc_kw.sum(axis=0), house.cold.any(axis=0))
        return np.array([targets * (pool.usable_kwh / whole.usable_kwh) for pool in asked.pools])
    reach = np.maximum(wish.reach_kw + 0.5 * wish.two_pole_kw - _inside_kw(asked), 0.0)
    return np.array(
        [one(pool, reach[p], asked.floor_kwh[p], wish.dc_kw[p], house.cold[p]) for p, pool in enumerate(asked.pools)]
    )


def _one_pool(pools: tuple[Pool, ...]) -> Pool:
    """Several pools as one, for foreseeing only."""
    total = lambda name: sum(getattr(pool, name) for pool in pools)
    return replace(
        pools[0],
        usable_kwh=total("usable_kwh"),
        charge_kw=total("charge_kw"),
        discharge_kw=total("discharge_kw"),
        no_load_kw=total("no_load_kw"),
        on_grid_kw=total("on_grid_kw"),
        restart_kwh=0.0,
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
