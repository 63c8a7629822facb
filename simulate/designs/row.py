"""One design of a sweep as a row: what went in, what came out, or why it was refused."""

from __future__ import annotations

import hashlib
import json
from collections import OrderedDict
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np

from profiles.noun import BadInput, Noun
from simulate.designs.columns import ENERGIES, SPREADS
from simulate.document.answers import lost_first
from simulate.house.asked import Asked, ask_plan, plan_and_reserve, prices_of
from simulate.house.bills import bills_of
from simulate.house.bound import bound_of
from simulate.house.house import House, cold_steps, house_of
from simulate.house.ride import RideThrough, ride_through
from simulate.house.sources import SiteSources
from simulate.house.targets import with_reserve
from simulate.house.walked import HouseYear, is_new_solar, walk_asked
from simulate.house.weather_years import weather_years
from simulate.house.year import ask
from simulate.panel.checks.check import check_panel
from simulate.panel.sheets.price import installed_price, price_of_solar
from simulate.physics.outages.spread import lasting_frac, spread
from simulate.site.named_files import content_of, files_in
from simulate.site.pools import pools_of
from simulate.site.site import Site

MOST_HOUSES = 4
"""Houses that a worker keeps; a year of minutes of twenty circuits is 80 MB."""

MOST_PLANS = 16
"""Plans that a worker keeps, without their targets; a year of hours of two pools is 2 MB."""

MOST_ROADS = 16
"""Roads of lanes that a worker keeps; a year of hours of two pools is 2 MB."""


@dataclass(frozen=True)
class Wanted:
    """What a sweep works out beside the year and its bills.

    Parameters
    ----------
    outages : bool
        Start an outage at every step.
    bound : bool
        Solve for the best possible saving too (slow where several pools share a meter).
    fails : bool
        Run the panel checks of every design and count those that fail.
    years : bool
        Run every design in each of the weather years that the site asks for.
    """

    outages: bool = True
    bound: bool = False
    fails: bool = False
    years: bool = False

    @property
    def one_by_one(self) -> bool:
        """What is wanted needs each design by itself."""
        return self.bound or self.fails or self.years


@cache
def version() -> str:
    """Version of this distribution."""
    from importlib.metadata import version as version_of

    return version_of("keeplit")


def series_key(site: Site) -> str:
    """What the series of a house are made of; designs with the same key share them."""
    text = lambda noun: None if noun is None else noun.model_dump_json(by_alias=True)
    loads = [circuit.model_dump_json(include={"load", "name"}) for circuit in site.circuit]
    service = site.service.model_dump_json(include={"other_load", "whole_house"})
    return json.dumps([text(site.site), text(site.weather), text(site.solar), service, loads, str(site.folder)])


class Houses:
    """The houses and plans of the designs that were met last, so that each series is built once."""

    def __init__(self):
        self._kept: OrderedDict[str, tuple[House, SiteSources, dict]] = OrderedDict()
        self._plans: OrderedDict[str, Asked] = OrderedDict()
        self._made: OrderedDict[str, object] = OrderedDict()

    def kept(self, key: str, make):
        """What `make` gives for a key, made once while it is among those that were met last."""
        if key not in self._made:
            self._made[key] = make()
            while len(self._made) > MOST_ROADS:
                self._made.popitem(last=False)
        self._made.move_to_end(key)
        return self._made[key]

    def asked(self, house: House) -> Asked:
        """The plan of a house; what does not depend on reserve, energy and charging power is worked out once."""
        prices = prices_of(house)
        plan, reserve = plan_and_reserve(house.site, prices)
        if isinstance(reserve, str):
            return ask(house, prices)
        key = _plan_key(house)
        if key not in self._plans:
            self._plans[key] = ask_plan(house, prices, plan)
            while len(self._plans) > MOST_PLANS:
                self._plans.popitem(last=False)
        self._plans.move_to_end(key)
        kept = self._plans[key]
        own = [np.where(cold, 0.0, one.pool.charge_kw) for cold, one in zip(house.cold, house.pools, strict=True)]
        wish = replace(kept.wish, charge_kw=np.array(own, dtype=float).reshape(kept.wish.charge_kw.shape))
        return with_reserve(replace(kept, house=house, prices=prices, wish=wish), reserve)

    def house(self, site: Site) -> House:
        """The house of a site, on series that are built already where they are the same."""
        key = series_key(site)
        if key not in self._kept:
            house = house_of(site)
            self._kept[key] = house, SiteSources(site), {_cold_key(site): house.cold}
            while len(self._kept) > MOST_HOUSES:
                self._kept.popitem(last=False)
        self._kept.move_to_end(key)
        house, sources, colds = self._kept[key]
        pools = pools_of(site)
        cold_key = _cold_key(site)
        if cold_key not in colds:
            colds[cold_key] = cold_steps(site, pools, house.hours, sources)
        return replace(house, site=site, pools=pools, cold=colds[cold_key])


def _plan_key(house: House) -> str:
    """What the limits of a year and its switched circuits follow from."""
    left_out = {"battery": True, "outage": True, "money": True, "rate_today": True, "operation": {"reserve"}}
    pools = []
    for own in house.pools:
        told = {**vars(own.pool), "usable_kwh": 0.0, "restart_kwh": 0.0, "charge_kw": 0.0}
        told["taper"] = repr(own.pool.taper)
        pools.append([own.legs, own.leg_kw, own.pool.usable_kwh if house.solar_dc_kw.any() else 0.0, told])
    site = house.site.model_dump_json(by_alias=True, exclude=left_out)
    return json.dumps([site, str(house.site.folder), pools, _cold_key(house.site)])


def _cold_key(site: Site) -> str:
    told = {"leg", "temperature", "place", "heated"}
    return json.dumps([group.model_dump_json(include=told) for group in site.battery if group.count])


def input_hash(site: Site) -> str:
    """Hash of a site as it was understood and of the bytes of the files that it names; the same on any machine."""
    tables = table_texts(site)
    return hash_of({name: sha256_text(text) for name, text in tables.items()}, files_text(tables, site.folder))


def table_texts(site: Site) -> dict[str, str]:
    """The tables of a site as JSON."""
    left_out = {"by_alias": True, "exclude_none": True}
    told = lambda noun: noun.model_dump_json(**left_out) if isinstance(noun, Noun) else str(noun)
    each = {name: getattr(site, name) for name in type(site).model_fields}
    return {
        name: "\n".join(map(told, noun)) if isinstance(noun, tuple) else told(noun)
        for name, noun in each.items()
        if noun is not None
    }


def files_text(tables: dict[str, str], folder) -> str:
    """What is in the files that the tables name; paths are as they are written, so that a moved folder is the same."""
    names = [name for text in tables.values() for name in files_in(text)]
    return json.dumps({Path(name).name: content_of(name, folder) for name in names})


def sha256_text(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def hash_of(tables: dict[str, str], files: str) -> str:
    """One hash of the hashes of tables and of the files."""
    return sha256_text("".join(tables.values()) + files)[:16]


def row_of(run: HouseYear, ride: RideThrough | None, wanted: Wanted) -> dict:
    """The results of a design by the names of their columns."""
    bills = bills_of(run)
    row = year_row(run.energy_kwh(), installed_price(run.house.site))
    row |= bill_row(bills.today.total, bills.without_battery.total, bills.with_battery.total)
    row |= payback_row(run.house.site, row["out_installed_price"], row["out_change"])
    row |= carried_row(run.house)
    if wanted.fails:
        row["out_fails"] = float(sum(one.verdict == "fail" for one in check_panel(run.house.site)))
    if wanted.bound:
        bound = bound_of(run, bills)
        row |= {"out_bound": bound.saving, "out_captured_frac": bound.captured_frac}
    if ride is None:
        return row
    return row | outage_row(ride) | (years_row(ride) if wanted.years else {})


def asks_for_years(site: Site) -> bool:
    """The site names several weather years, or years to be put together."""
    return site.weather is not None and (site.weather.years is not None or site.weather.resample is not None)


def years_row(ride: RideThrough) -> dict:
    """Hours and saving over the weather years."""
    found = weather_years(ride)
    return {
        "out_years_p10": found["hours"]["p10"],
        "out_years_worst_p10": found["worst"]["p10"],
        "out_years_saving": found["saving"]["mean"],
    }


def year_row(energy_kwh: dict, price: float | None) -> dict:
    """Energy of the year, what the units delivered (as warranties count it), and what they cost."""
    row = {f"out_{name}_kwh": energy_kwh[name] for name in ENERGIES}
    return row | {"out_throughput_kwh": energy_kwh["discharge"], "out_installed_price": price}


def bill_row(today: float | None, without: float, with_battery: float) -> dict:
    """The bills and the saving."""
    return {
        "out_today": today,
        "out_without_battery": without,
        "out_with_battery": with_battery,
        "out_saving": without - with_battery,
        "out_change": np.nan if today is None else with_battery - today,
    }


def carried_row(house: House) -> dict[str, str]:
    """What no wiring can serve in a design, and whether it stands apart from designs that serve it."""
    apart = ", ".join(circuit.name for circuit in lost_first(house.site, house.never_carried))
    return {"out_never_carried": ", ".join(house.never_carried), "out_stands_apart": apart}


def outage_row(ride: RideThrough) -> dict:
    """Hours survived: spread, shares that last, what is lost first."""
    hours = spread(ride.hours)
    row = {f"out_hours_{name}": hours[name] for name in SPREADS}
    row |= {f"out_lasting_{mark}_frac": frac for mark, frac in lasting_frac(ride.hours, ride.horizon_h).items()}
    return row | {"out_censored_frac": float(ride.censored.mean()), "out_first_lost": ride.usually_lost}


def payback_row(site: Site, price, change) -> dict:
    """Simple payback of the whole change as `CashFlow` has it, of one design or of arrays. [years]

    NaN where it is never paid back, without [money], and where a new roof has no price.
    """
    money, roof = site.money, price_of_solar(site)
    if money is None or (is_new_solar(site) and roof is None):
        return {"out_simple_payback_y": np.nan * np.asarray(change)}
    price, roof = np.asarray(price, dtype=float), roof or 0.0
    grants = sum(one.pays(price - roof) for one in money.incentives if one.year == 0)
    cost = money.yearly_cost
    if money.solar is not None and roof:
        grants = grants + sum(one.pays(roof) for one in money.solar.incentives if one.year == 0)
        cost += money.solar.yearly_cost
    yearly = -np.asarray(change, dtype=float) - cost
    gains = np.where(yearly > 0.0, yearly, np.nan)
    return {"out_simple_payback_y": (price - grants) / gains}


def run_design(site: Site, houses: Houses, wanted: Wanted) -> dict:
    """One design by itself, as `study` runs it."""
    run = walk_asked(houses.asked(houses.house(site)))
    return row_of(run, ride_through(run) if wanted.outages else None, wanted)


def site_with(site: Site, keys, values) -> Site:
    """The site of a design; a value that is missing (None or NaN) leaves the key as it is."""
    given = {key: value for key, value in zip(keys, values, strict=True) if value is not None and value == value}
    if not given:
        return site
    try:
        return site.with_values(given)
    except BadInput:
        raise
    except (TypeError, ValueError):  # a key that goes on below a number
        raise BadInput("is not a key of the site file", key=", ".join(given), way_out="see keeplit schema") from None


def refused(error: Exception) -> dict:
    """The row of a design that is refused: bad input in its own line, a fault of ours by its kind."""
    return {"error": str(error) if isinstance(error, BadInput) else f"{type(error).__name__}: {error}"}
