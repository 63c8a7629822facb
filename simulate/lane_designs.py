"""Designs of a sweep that differ in numbers only, run as lanes: same rows, one pass."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np

from profiles.noun import BadInput
from profiles.prices import Prices
from profiles.rate_calendar import RateCalendar, rate_calendar
from simulate.bill_amounts import bill_amounts
from simulate.design_row import Houses, Wanted, bill_row, installed_price, outage_row, year_row
from simulate.house import House
from simulate.lanes import Lanes, LaneYears, Track, run_lanes
from simulate.ride import ride_through
from simulate.site import Site
from simulate.transfer import periods_of
from simulate.walk import Year
from simulate.year import MOST_LAPS, Asked, HouseYear, ask, plan_and_reserve, prices_of, walk_asked
from simulate.year import _serve_steps as serve_steps
from simulate.year import _solar_exports as solar_exports

PLANS = ("keep-full", "self-consumption", "time-of-use")
FEWEST = 4
"""Fewer designs than this are run one by one: lanes fill a block in any case."""
PROBE_RESERVE = 0.5
"""A reserve that cannot be taken for empty or full, to read a plan's codes off its targets."""


def lane_key(house: House, prices: Prices) -> str | None:
    """What designs must share to run side by side; None where a design has to run by itself."""
    site = house.site
    plan, reserve = plan_and_reserve(site, prices)
    calendar = rate_calendar(site.rate, house.hours)
    simple = (
        len(house.pools) == 1 and plan in PLANS and isinstance(reserve, int | float)
        and not site.operation.hold_full and calendar.net_group is None
        and all(blocks.of_step is not None for blocks in calendar.demand)
    )  # fmt: skip
    if not simple or house.pools[0].pool.usable_kwh == 0.0:
        return None
    text = lambda noun, **how: None if noun is None else noun.model_dump_json(by_alias=True, **how)
    pool = house.pools[0]
    own = {"charge_efficiency": pool.pool.charge_efficiency, "discharge_efficiency": pool.pool.discharge_efficiency}
    if site.subpanel.mode == "transfer":  # which circuits are switched over depends on the output and its draw
        own |= {"output": [pool.pool.discharge_kw, pool.leg_kw, pool.pool.no_load_kw, pool.pool.on_grid_kw]}
    shared = [
        plan, own, pool.legs, text(site.rate), text(site.rate_today), text(site.subpanel), text(site.solar),
        text(site.operation, exclude={"reserve", "plan"}), [text(circuit) for circuit in site.circuit],
        house.cold[0].tobytes().hex() if house.cold.any() else "", id(house.circuit_kw), id(house.rest_kw),
    ]  # fmt: skip
    return json.dumps(shared)


def lane_rows(houses: list[House], prices: Prices, wanted: Wanted) -> list[dict]:
    """Rows of designs with the same `lane_key`, in their order."""
    probe = houses[0].site.with_values({"operation.reserve": PROBE_RESERVE})
    asked = ask(replace(houses[0], site=probe), prices)
    calendar = rate_calendar(probe.rate, houses[0].hours)
    pools = [house.pools[0].pool for house in houses]
    reserve = np.array([plan_and_reserve(house.site, prices)[1] for house in houses], dtype=float)
    as_run = wanted.outages and houses[0].site.outage.start_soc == "as-run"
    years = run_lanes(
        track_of(asked, calendar), Lanes.of_pools(pools, reserve_frac=reserve), laps=MOST_LAPS, workers=1,
        keep_stored=as_run or wanted.outages,
    )  # fmt: skip
    sums = years.meter_sums(calendar.n_months, calendar.n_periods)
    with_battery = bill_amounts(sums, probe.rate, calendar).total
    today, without = _bills_without(asked)
    rows = []
    for k, house in enumerate(houses):
        row = year_row(_energy_kwh(asked, years, k), installed_price(house.site))
        row |= bill_row(today, without, float(with_battery[k]))
        rows.append(row | (_outages(house, asked, years, k) if wanted.outages else {}))
    return rows


def track_of(asked: Asked, calendar: RateCalendar) -> Track:
    """The track of a house with one pool whose reserve is `PROBE_RESERVE`."""
    house, wish, pool = asked.house, asked.wish, asked.pools[0]
    full, floor = pool.usable_kwh, PROBE_RESERVE * pool.usable_kwh
    targets = wish.targets_kwh[0]
    codes = np.where(targets == full, 2, np.where(targets == floor, 1, 0))
    if not ((targets == full) | (targets == floor) | (targets == 0.0)).all():
        raise BadInput("holds a target that is neither empty nor the reserve nor full", key=asked.plan)
    more = {}
    if not wish.parallel:
        more = {"reach_kw": wish.reach_kw[0], **_stay(asked, codes, np.array([0.0, floor, full]))}

    return Track(
        house.load_kw, house.solar_kw, codes, step_h=house.hours.step_h, bucket=calendar.bucket,
        demand=calendar.demand, may_charge=~house.cold[0], dc_kw=wish.dc_kw[0], inside_kw=wish.inside_kw[0],
        pool_exports=wish.export, surplus_exports=solar_exports(house.site),
        **_hourly_prices(house.site, calendar), **more,
    )  # fmt: skip


def _stay(asked: Asked, codes, level_kwh) -> dict:
    """The least stay of every period, parted into the floor that it stands on and what it takes."""
    n_steps = len(codes)
    kwh, to = np.full(n_steps, -1.0), np.zeros(n_steps, np.int64)
    for a, b in periods_of(serve_steps(asked.house, asked.plan, asked.cycles)):
        to[a] = codes[a:b, 1].min()
        taken = asked.wish.stay_kwh[0, a] - level_kwh[to[a]]
        kwh[a] = max(taken, 0.0) * asked.pools[0].discharge_efficiency
    return {"stay_kwh": kwh, "stay_h": np.zeros(n_steps), "stay_to": to}


def _hourly_prices(site: Site, calendar: RateCalendar) -> dict:
    """Prices that the bill sums step by step, for a rate with a price for every hour."""
    if site.rate.hourly_prices is None:
        return {}
    from profiles.prices import price_series

    price, credit = price_series(site.rate, calendar.hours)
    credit = price if site.rate.export.method == "net-metering" else credit
    return {"buy_per_kwh": price, "sell_per_kwh": credit}


def _bills_without(asked: Asked) -> tuple[float | None, float]:
    """What the house pays today, and on the site's rate without a battery: the same for every lane."""
    from simulate.document import bills_of

    bills = bills_of(walk_asked(asked))
    return None if bills.today is None else bills.today.total, bills.without_battery.total


def _energy_kwh(asked: Asked, years: LaneYears, k: int) -> dict:
    house = asked.house
    h = house.hours.step_h
    return {
        "load": float(house.load_kw.sum() * h), "backed_up": float(house.backed_up_kw.sum() * h),
        "solar": float((house.solar_kw + house.solar_dc_kw).sum() * h), "import": float(years.import_kwh[k].sum()),
        "export": float(years.export_kwh[k].sum()), "charge": float(years.charge_kwh[k]),
        "discharge": float(years.discharge_kwh[k]), "loss": float(years.loss_kwh[k]),
        "curtailed": float(years.curtailed_kwh[k]), "stored_change": float(years.end_kwh[k] - years.start_kwh[k]),
    }  # fmt: skip


def _outages(house: House, asked: Asked, years: LaneYears, k: int) -> dict:
    """Every outage of a lane: it needs the stored energy of the year and nothing else of it."""
    unknown = np.full(house.hours.n_steps, np.nan)
    flows = {f"{name}_kw": unknown for name in ("import", "export", "charge", "discharge", "loss", "curtailed")}
    year = Year(
        step_h=house.hours.step_h, load_kw=unknown, solar_kw=unknown, pool_kwh=years.stored_kwh[k].reshape(1, -1),
        pool_discharge_kw=unknown, **flows,
    )  # fmt: skip
    return outage_row(ride_through(HouseYear(replace(asked, house=house), year, int(years.laps[k]))))


def grouped_rows(sites: list[Site], houses: Houses, wanted: Wanted) -> list[dict | None]:
    """Rows of the designs that can run side by side; None for those that have to run by themselves."""
    rows: list[dict | None] = [None] * len(sites)
    if wanted.bound:
        return rows
    groups: dict[str, list[tuple[int, House, Prices]]] = {}
    for k, site in enumerate(sites):
        try:
            house = houses.house(site)
            prices = prices_of(house)
            key = lane_key(house, prices)
        except BadInput:
            continue
        if key is not None:
            groups.setdefault(key, []).append((k, house, prices))
    for members in groups.values():
        if len(members) < FEWEST:
            continue
        index, own, prices = zip(*members, strict=True)
        for k, row in zip(index, lane_rows(list(own), prices[0], wanted), strict=True):
            rows[k] = row
    return rows
