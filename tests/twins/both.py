"""One random site twice: by the product through its public calls, and by the twin from the same tables."""

import csv
import math
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from profiles import hours_of_year, rate_prices
from simulate import price_bill, read_site, ride_through, run_year
from simulate.house.house import house_of
from tests.house.random_house import some_days
from tests.twins import outage, plans, prices
from tests.twins.axis import in_window, note_clock_changes, stamps_of
from tests.twins.branches import seen
from tests.twins.loads import load_kw
from tests.twins.pools import feeders_of, is_locked, pools_of
from tests.twins.toml import toml_text
from tests.twins.year import Series


def sun_kw(stamp) -> float:
    """An invented roof: a bell over the local day, dull and bright days by a fixed rule."""
    height = math.sin((stamp.minute // 60 - 6.0) / 12.0 * math.pi)
    return round(max(height, 0.0) * (0.4 + 0.6 * (stamp.date.toordinal() * 7 % 11) / 10.0) * 4.0, 6)


def write_sun(site: dict, folder) -> None:
    """The roof's log, hourly, once for each zone and year."""
    place = site["site"]
    path = folder / f"sun-{place['timezone'].replace('/', '-')}-{place['year']}.csv"
    site["solar"]["series"]["csv"] = path.name
    if path.exists():
        return
    with path.open("w", newline="") as file:
        out = csv.writer(file)
        out.writerow(["time", "kw"])
        for stamp in stamps_of(place["year"], place["timezone"], 60):
            out.writerow([stamp.local.isoformat(), sun_kw(stamp)])


@lru_cache(maxsize=32)
def axis(year: int, zone: str, step_min: int):
    return hours_of_year(year, zone, step_min)


def product_of(site: dict, folder, name: str, first: int | None, n_days: int):
    """The product's year and outages of some days of a site (of the whole year without `first`)."""
    path = folder / f"{name}.toml"
    path.write_text(toml_text(site), encoding="utf-8")
    house = house_of(read_site(path))
    if first is not None:
        kept = (house.hours.day >= first) & (house.hours.day < first + n_days)
        series = {
            key: getattr(house, key)[..., kept] for key in ("circuit_kw", "rest_kw", "solar_kw", "solar_dc_kw", "cold")
        }
        prices_now = rate_prices(house.site.rate, house.hours)
        priced = {key: getattr(prices_now, key)[kept] for key in ("buy_per_kwh", "sell_per_kwh", "period")}
        house = replace(house, hours=some_days(house.hours, first, n_days), **series)
        run = run_year(house, replace(prices_now, **priced))
    else:
        run = run_year(house)
    return run, ride_through(run)


def product_bill(run, site: dict, first: int | None, n_days: int, flows):
    """The product's bill of flows that are zero outside the days that were run."""
    place = site["site"]
    hours = axis(place["year"], place["timezone"], place["step_min"])
    kept = slice(None) if first is None else (hours.day >= first) & (hours.day < first + n_days)
    whole = []
    for kw in flows:
        whole.append(np.zeros(hours.n_steps))
        whole[-1][kept] = kw
    return price_bill(*whole, run.house.site.rate, hours)


@dataclass
class Twin:
    """Everything that the twin works out of a site before the year is walked."""

    site: dict
    stamps: tuple
    year: tuple
    h: float
    kw: list
    load: list
    backed: list
    pools: list
    feeders: list
    holidays: set
    prices: list
    sell: list
    sun_ac: list
    sun_dc: list


def twin_of(site: dict, first: int | None, n_days: int) -> Twin:
    place = site["site"]
    year = stamps_of(place["year"], place["timezone"], place["step_min"])
    day_one = year[0].date.toordinal()
    stamps = year if first is None else tuple(s for s in year if first <= s.date.toordinal() - day_one < first + n_days)
    note_clock_changes(stamps)
    h = place["step_min"] / 60
    kw = [load_kw(circuit["load"], stamps, year, h) for circuit in site["circuit"]]
    rest = load_kw(site["service"]["other_load"], stamps, year, h)
    pools, locked = pools_of(site), is_locked(site)
    backed = [k for k, c in enumerate(site["circuit"]) if c.get("on", "sub-panel") == "sub-panel"]
    feeders = {k: feeders_of(site["circuit"][k], pools, locked) for k in backed}
    seen("never carried", not all(feeders.values()))
    holidays = prices.rate_days(site["rate"], place["year"])
    where = site.get("solar", {}).get("connected_at")
    sun = [sun_kw(stamp) if where else 0.0 for stamp in stamps]
    dark = [0.0] * len(stamps)
    return Twin(
        site, stamps, year, h, kw, [sum(one) for one in zip(*kw, rest, strict=True)], backed, pools, feeders, holidays,
        *prices.margins(site["rate"], stamps, holidays),
        dark if where == "battery" else sun, sun if where == "battery" else dark,
    )  # fmt: skip


def calendar_of(twin: Twin):
    eta_c, eta_d = (min(getattr(cells, key) for cells in twin.pools) for key in ("eta_c", "eta_d"))
    wear = twin.site["operation"].get("wear_per_kwh", 0.0)
    return plans.turns(twin.prices, eta_c * eta_d, wear / eta_d)


def series_of(twin: Twin, over, pair, stay) -> Series:
    """The year as the twin's own plan asks for it; what is switched over is given."""
    site, n = twin.site, len(twin.stamps)
    texts = [stamp.local.strftime("%Y-%m-%dT%H:%M") for stamp in twin.stamps]
    kept, calendar = plans.shares_kept(site, twin.stamps, texts), calendar_of(twin)
    parallel = site["subpanel"]["mode"] == "interactive"
    targets = []
    for p, cells in enumerate(twin.pools):
        on = [parallel or over[p][t] + pair[t] > 0.0 for t in range(n)]
        targets.append(plans.targets_of(site["operation"]["plan"], site, cells, kept, calendar, on, twin.sell, twin.h))
    where = site.get("solar", {}).get("connected_at")
    exports = site["solar"]["export"] if where == "main-panel" else site["subpanel"].get("export", False)
    total = sum(cells.kwh for cells in twin.pools)
    return Series(
        load=twin.load, solar=twin.sun_ac, targets=targets, over=over, pair=pair, stay=stay, parallel=parallel,
        unit_export=parallel and site["subpanel"].get("export", False), solar_export=exports,
        on_cells=[[kw * cells.kwh / total for kw in twin.sun_dc] for cells in twin.pools],
        inside=[kw / len(twin.pools) for kw in twin.sun_ac] if where == "sub-panel" and not parallel else [0.0] * n,
    )  # fmt: skip


def island_of(twin: Twin) -> outage.Island:
    """The circuits that the wiring can serve, at an outage's load, and the sun that reaches them."""
    site = twin.site
    case = site["outage"]["load_case"]
    carried = [k for k in twin.backed if twin.feeders[k]]
    where = site.get("solar", {}).get("connected_at")
    returns = [cells.takes_back_kw > 0.0 for cells in twin.pools]
    joined = len(twin.pools) < 2 or is_locked(site)
    fed = where == "sub-panel" and any(returns) and joined
    sun = twin.sun_ac if fed else [0.0] * len(twin.stamps)
    back = fed or where == "battery"
    return outage.Island(
        circuits=[site["circuit"][k] for k in carried],
        kw=[[kw * scale_of(site["circuit"][k], case) for kw in twin.kw[k]] for k in carried],
        feeders=[twin.feeders[k] for k in carried], pools=twin.pools, stamps=twin.stamps,
        control=site["subpanel"].get("load_control", "none"), sun_ac=sun, sun_dc=twin.sun_dc,
        reconnect_h=site["outage"]["reconnect_s"] / 3600, h=twin.h, horizon_h=site["outage"]["horizon_h"],
        restart=[site["outage"].get("restart_soc", 0.0) * cells.kwh if back else 0.0 for cells in twin.pools],
    )  # fmt: skip


def scale_of(circuit: dict, case: str) -> float:
    scale = circuit.get("outage_scale", 1.0)
    if isinstance(scale, dict):
        seen("storm load", case == "storm")
        return scale[case]
    return scale


def thrown_at(twin: Twin, start: int) -> int:
    """The step at which the units take over: the first from the start at which somebody is at home to throw."""
    transfer = twin.site["subpanel"].get("transfer", {})
    if transfer.get("kind") != "manual" or not transfer.get("at_home"):
        return start
    n = len(twin.stamps)
    for k in range(n):
        if any(in_window(twin.stamps[(start + k) % n].minute, window) for window in transfer["at_home"]):
            seen("thrown by hand", k > 0)
            return (start + k) % n
    return start


def held_at(twin: Twin, year: dict, start: int) -> list[float]:
    how = twin.site["outage"].get("start_soc", "as-run")
    if how == "as-run":
        return [path[start] for path in year["soc"]]
    seen("starts full" if how == "full" else "starts at a share")
    return [cells.kwh * (1.0 if how == "full" else how) for cells in twin.pools]
