"""Designs of a sweep that differ in numbers only, run as lanes: same rows, one pass."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace

import numpy as np

from profiles.noun import BadInput
from profiles.rate.calendar import RateCalendar, rate_calendar
from profiles.rate.price_series import price_series
from profiles.rate.prices import Prices
from simulate.bill.amounts import bill_amounts
from simulate.designs.row import Houses, Wanted, bill_row, carried_row, outage_row, payback_row, year_row
from simulate.house.asked import Asked, plan_and_reserve, prices_of
from simulate.house.asked import serve_steps as serve_steps
from simulate.house.bills import bills_of
from simulate.house.house import House
from simulate.house.ride import ride_through
from simulate.house.walked import MOST_LAPS, HouseYear, walk_asked
from simulate.house.walked import solar_exports as solar_exports
from simulate.house.year import ask
from simulate.panel.sheets.price import installed_price
from simulate.physics.lanes.lanes import Lanes, LaneYears, Track, run_lanes
from simulate.physics.pool import Pool
from simulate.physics.walk import Year
from simulate.plans.switched import periods_of
from simulate.site.site import Site

PLANS = ("keep-full", "self-consumption", "time-of-use")
FEWEST = 4
"""Fewer designs than this are run one by one: lanes fill a block in any case."""
WITH_STORED = 96
"""Lanes at a time where every state of charge is kept for the outages: 14 MB for two pools of hours."""
PROBE_RESERVE = 0.5
"""A reserve that cannot be taken for empty or full, to read a plan's codes off its targets."""


@dataclass(frozen=True, eq=False)
class Road:
    """What designs share that run side by side.

    Attributes
    ----------
    asked : Asked
        The house with its reserve at `PROBE_RESERVE`.
    track : Track
    calendar : RateCalendar
    today, without : float or None
        What the house pays today, and on the site's rate without a battery. [currency]
    """

    asked: Asked
    track: Track
    calendar: RateCalendar
    today: float | None
    without: float

    @property
    def house(self) -> House:
        return self.asked.house


def lane_key(house: House, prices: Prices) -> str | None:
    """What designs must share to run side by side; None where a design has to run by itself."""
    site = house.site
    plan, reserve = plan_and_reserve(site, prices)
    calendar = rate_calendar(site.rate, house.hours)
    simple = (
        house.pools
        and plan in PLANS
        and isinstance(reserve, int | float)
        and not site.operation.hold_full
        and calendar.net_group is None
        and all(blocks.of_step is not None and blocks.days_meant == 1 for blocks in calendar.demand)
        and not calendar.rebates
        and not site.rate.export.by_hour
        and all(credit.beyond_bill is not None for credit in site.rate.credit)
    )
    if not simple or any(own.pool.usable_kwh == 0.0 for own in house.pools):
        return None
    text = lambda noun, **how: None if noun is None else noun.model_dump_json(by_alias=True, **how)
    shared = [
        plan,
        [_pool_key(own, site) for own in house.pools],
        _energy_shares(house),
        text(site.rate),
        text(site.rate_today),
        text(site.subpanel),
        text(site.solar),
        text(site.operation, exclude={"reserve", "plan"}),
        text(site.outage),
        [text(circuit) for circuit in site.circuit],
        house.cold.tobytes().hex() if house.cold.any() else "",
        id(house.circuit_kw),
        id(house.rest_kw),
    ]
    return json.dumps(shared)


def _pool_key(own, site: Site) -> list:
    pool = own.pool
    key = [own.legs, pool.charge_efficiency, pool.discharge_efficiency, own.latches]
    if site.subpanel.mode == "transfer":  # which circuits are switched over depends on the output and its draw
        key += [pool.discharge_kw, own.leg_kw, pool.no_load_kw, pool.on_grid_kw]
    return key


def _energy_shares(house: House) -> list[float]:
    """Share of each pool in the usable energy, where solar on the cells is parted by it."""
    if len(house.pools) < 2 or not house.solar_dc_kw.any():
        return []
    usable = [own.pool.usable_kwh for own in house.pools]
    return [kwh / sum(usable) for kwh in usable]


def road_of(house: House, prices: Prices, houses: Houses, key: str) -> Road:
    """The road of designs with a key; a worker keeps those that it met last."""
    return houses.kept(key, lambda: _road(house, prices))


def _road(house: House, prices: Prices) -> Road:
    probe = house.site.with_values({"operation.reserve": PROBE_RESERVE})
    asked = ask(replace(house, site=probe), prices)
    calendar = rate_calendar(probe.rate, house.hours)
    return Road(asked, track_of(asked, calendar), calendar, *_bills_without(asked))


def lane_rows(houses: list[House], prices: Prices, wanted: Wanted, kept: Houses, key: str) -> list[dict]:
    """Rows of designs with the same `lane_key`, in their order."""
    road = road_of(houses[0], prices, kept, key)
    pools = [tuple(own.pool for own in house.pools) for house in houses]
    reserve = np.array([plan_and_reserve(house.site, prices)[1] for house in houses], dtype=float)
    prices_paid = [installed_price(house.site) for house in houses]
    columns = lane_columns(road, Lanes.of_pools(pools, reserve_frac=reserve), prices_paid, wanted, lambda k: houses[k])
    rows = [{name: column[k] for name, column in columns.items()} for k in range(len(houses))]
    return [
        row | payback_row(house.site, row["out_installed_price"], row["out_change"])
        for house, row in zip(houses, rows, strict=True)
    ]


def lane_columns(road: Road, lanes: Lanes, paid, wanted: Wanted, house_of) -> dict[str, np.ndarray]:
    """Columns of results of designs on one road.

    Parameters
    ----------
    road : Road
    lanes : Lanes
        The designs.
    paid : sequence of float or None
        What each design costs. [currency]
    wanted : Wanted
    house_of : callable
        From the index of a design to its house, for its outages.

    Returns
    -------
    dict
        Name of a column -> ndarray, shape (n_designs,).
    """
    size = WITH_STORED if wanted.outages else lanes.n_designs
    parts = []
    for first in range(0, lanes.n_designs, size):
        own = some_of(lanes, first, first + size)
        years = run_lanes(road.track, own, laps=MOST_LAPS, workers=1, keep_stored=wanted.outages)
        columns = _year_columns(road, years, paid[first : first + size]) | _carried(road.house, own.n_designs)
        if wanted.outages:
            columns |= _listed([_outages(house_of(first + k), road, years, k) for k in range(own.n_designs)])
        parts.append(columns)
    return {name: np.concatenate([one[name] for one in parts]) for name in parts[0]}


def _carried(house: House, n_designs: int) -> dict[str, np.ndarray]:
    """What no wiring can serve is the same for all designs of a road: legs, locks and circuits are."""
    return {name: np.full(n_designs, text, dtype=object) for name, text in carried_row(house).items()}


def some_of(lanes: Lanes, first: int, last: int) -> Lanes:
    """Some designs of many."""
    return Lanes(**{name: getattr(lanes, name)[..., first:last] for name in type(lanes).__dataclass_fields__})


def _listed(rows: list[dict]) -> dict[str, np.ndarray]:
    each = {name: [row[name] for row in rows] for name in rows[0]}
    kind = lambda value: object if isinstance(value, str) else float
    return {name: np.array(values, dtype=kind(values[0])) for name, values in each.items()}


def _year_columns(road: Road, years: LaneYears, paid) -> dict[str, np.ndarray]:
    n_designs, calendar = len(years.end_kwh), road.calendar
    sums = years.meter_sums(calendar.n_months, calendar.n_periods)
    with_battery = bill_amounts(sums, road.house.site.rate, calendar).total
    row = year_row(_energy_kwh(road.house, years), np.array(paid, dtype=float))
    row |= bill_row(road.today, road.without, with_battery)
    return {name: np.broadcast_to(np.asarray(value, dtype=float), (n_designs,)) for name, value in row.items()}


def track_of(asked: Asked, calendar: RateCalendar) -> Track:
    """The track of a house whose reserve is `PROBE_RESERVE`."""
    house, wish = asked.house, asked.wish
    codes = np.array([_codes(asked, p) for p in range(len(asked.pools))])
    more = {}
    if not wish.parallel:
        more = {"reach_kw": wish.reach_kw, **_stay(asked, codes)}
        more |= {"two_pole_kw": wish.two_pole_kw} if wish.two_pole_kw.any() else {}
    return Track(
        house.load_kw,
        house.solar_kw,
        codes,
        step_h=house.hours.step_h,
        bucket=calendar.bucket,
        demand=calendar.demand,
        may_charge=~house.cold,
        dc_kw=wish.dc_kw,
        inside_kw=wish.inside_kw,
        pool_exports=wish.export,
        surplus_exports=solar_exports(house.site),
        **_hourly_prices(house.site, calendar),
        **more,
    )


def _codes(asked: Asked, p: int) -> np.ndarray:
    """Targets of a pool as codes, shape (n_steps, 4)."""
    full = asked.pools[p].usable_kwh
    floor, targets = PROBE_RESERVE * full, asked.wish.targets_kwh[p]
    if not ((targets == full) | (targets == floor) | (targets == 0.0)).all():
        raise BadInput("holds a target that is neither empty nor the reserve nor full", key=asked.plan)
    return np.where(targets == full, 2, np.where(targets == floor, 1, 0))


def _stay(asked: Asked, codes) -> dict:
    """The least stay of every period, parted into the floor that it stands on and what it takes."""
    shape = codes.shape[:2]
    kwh, to = np.full(shape, -1.0), np.zeros(shape, np.int64)
    periods = list(periods_of(serve_steps(asked.house, asked.plan, asked.cycles)))
    for p, pool in enumerate(asked.pools):
        level_kwh = np.array([0.0, PROBE_RESERVE * pool.usable_kwh, pool.usable_kwh])
        for a, b in periods:
            to[p, a] = codes[p, a:b, 1].min()
            taken = asked.wish.stay_kwh[p, a] - level_kwh[to[p, a]]
            kwh[p, a] = max(taken, 0.0) / pool.dc_per_ac
    return {"stay_kwh": kwh, "stay_h": np.zeros(shape), "stay_to": to}


def _hourly_prices(site: Site, calendar: RateCalendar) -> dict:
    """Prices that the bill sums step by step, for a rate with a price for every hour."""
    if site.rate.hourly_prices is None:
        return {}
    price, credit = price_series(site.rate, calendar.hours)
    credit = price if site.rate.export.method == "net-metering" else credit
    return {"buy_per_kwh": price, "sell_per_kwh": credit}


def _bills_without(asked: Asked) -> tuple[float, float]:
    """What the house pays today, and on the site's rate without a battery: the same for every lane."""
    bills = bills_of(walk_asked(asked))
    return bills.today.total, bills.without_battery.total


def _energy_kwh(house: House, years: LaneYears) -> dict:
    h = house.hours.step_h
    return {
        "load": float(house.load_kw.sum() * h),
        "backed_up": float(house.backed_up_kw.sum() * h),
        "solar": float((house.solar_kw + house.solar_dc_kw).sum() * h),
        "import": years.import_kwh.sum(axis=1),
        "export": years.export_kwh.sum(axis=1),
        "charge": years.charge_kwh,
        "discharge": years.discharge_kwh,
        "loss": years.loss_kwh,
        "curtailed": years.curtailed_kwh,
        "stored_change": years.end_kwh - years.start_kwh,
    }


def _outages(house: House, road: Road, years: LaneYears, k: int) -> dict:
    """Every outage of a lane: it needs the stored energy of the year and nothing else of it."""
    unknown = np.full(house.hours.n_steps, np.nan)
    flows = {f"{name}_kw": unknown for name in ("import", "export", "charge", "discharge", "loss", "curtailed")}
    year = Year(
        step_h=house.hours.step_h,
        load_kw=unknown,
        solar_kw=unknown,
        pool_kwh=years.stored_kwh[k],
        pool_discharge_kw=unknown,
        **flows,
    )
    return outage_row(ride_through(HouseYear(replace(road.asked, house=house), year, int(years.laps[k]))))


def grouped_rows(sites: list[Site], houses: Houses, wanted: Wanted) -> list[dict | None]:
    """Rows of the designs that can run side by side; None for those that have to run by themselves."""
    rows: list[dict | None] = [None] * len(sites)
    if wanted.one_by_one:
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
    for key, members in groups.items():
        if len(members) < FEWEST:
            continue
        index, own, prices = zip(*members, strict=True)
        for k, row in zip(index, lane_rows(list(own), prices[0], wanted, houses, key), strict=True):
            rows[k] = row
    return rows


def pool_of_lane(pool: Pool, lanes: Lanes, p: int, k: int, restart_soc: float) -> Pool:
    """The pool of one lane, on that of its road; what a lane cannot vary is the same."""
    own = {name: float(getattr(lanes, name)[p, k]) for name in ("usable_kwh", "charge_kw", "no_load_kw", "on_grid_kw")}
    restart_kwh = restart_soc * own["usable_kwh"] if pool.restart_kwh > 0.0 else 0.0
    return replace(pool, restart_kwh=restart_kwh, **own)
