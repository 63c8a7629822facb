"""One house on its hour axis: every series that the year and the outages are made of."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from profiles.hours import Hours, hours_of_year
from profiles.loads.bills import BillsLoad, latest_billed_year
from profiles.loads.circuit import Circuit
from profiles.loads.load import MeterLoad, load_kw
from profiles.meter import fullest_year, meter_years
from profiles.noun import BadInput
from profiles.rate.printed import read_printed_bills
from profiles.solar.log import log_years
from profiles.solar.roof import solar_dc_kw, solar_kw
from simulate.house.notes import (
    below_notes,
    capacity_notes,
    house_cautions,
    shape_notes,
    stamp_notes,
    weather_notes,
)
from simulate.house.sources import SiteSources, in_file
from simulate.site.pools import LegPool, carries_two_pole, leg_of, pool_of, pools_of, share_on_pools
from simulate.site.site import DEFAULT_YEAR, Site

NETS_FRAC = 0.005
"""Energy sent back over energy delivered: above it a meter nets solar, below it is an error of its own; no source."""
HEATED_C = 18.0
UNHEATED_ABOVE_OUTDOOR_C = 5.0
UNHEATED_AT_MOST_C = 30.0


@dataclass(frozen=True, eq=False)
class House:
    """A site's series; time is the last axis.

    Attributes
    ----------
    hours : Hours
    circuit_kw : ndarray, shape (n_circuits, n_steps)
        Every listed circuit, in file order. [kW]
    rest_kw : ndarray, shape (n_steps,)
        What stays on the main panel beside the listed circuits; signed where it is a meter minus circuits. [kW]
    solar_kw : ndarray, shape (n_steps,)
        AC solar at the meter (main panel or sub-panel). [kW]
    solar_dc_kw : ndarray, shape (n_steps,)
        Solar on the cells. [kW]
    cold : ndarray of bool, shape (n_pools, n_steps)
        Cells too cold to charge.
    pools : tuple of LegPool
    notes, cautions : tuple of str
        Assumptions and cautions that arose on the way.
    sources : SiteSources
        The weather and the meters that were read.
    """

    site: Site
    hours: Hours
    circuit_kw: np.ndarray
    rest_kw: np.ndarray
    solar_kw: np.ndarray
    solar_dc_kw: np.ndarray
    cold: np.ndarray
    pools: tuple[LegPool, ...]
    notes: tuple[str, ...]
    cautions: tuple[str, ...]
    sources: SiteSources

    @cached_property
    def load_kw(self) -> np.ndarray:
        """All that the house uses, shape (n_steps,). [kW]"""
        return self.circuit_kw.sum(axis=0) + self.rest_kw

    @cached_property
    def backed(self) -> np.ndarray:
        """Indices of the circuits on the sub-panel."""
        return np.array([k for k, c in enumerate(self.site.circuit) if c.on == "sub-panel"], dtype=int)

    @cached_property
    def backed_up_kw(self) -> np.ndarray:
        """Circuits on the sub-panel, shape (n_steps,). [kW]"""
        return self.circuit_kw[self.backed].sum(axis=0) + np.zeros(self.hours.n_steps)

    @cached_property
    def two_pole(self) -> bool:
        return carries_two_pole(self.site, self.pools)

    @cached_property
    def carried(self) -> np.ndarray:
        """Indices of the backed-up circuits that the wiring can serve at all."""
        return np.array([k for k in self.backed if pool_of(self.site.circuit[k], self.pools, self.two_pole)], dtype=int)

    @cached_property
    def never_carried(self) -> tuple[str, ...]:
        return tuple(self.site.circuit[k].name for k in self.backed if k not in set(self.carried.tolist()))

    @property
    def circuits(self) -> tuple[Circuit, ...]:
        """The carried circuits, in file order."""
        return tuple(self.site.circuit[k] for k in self.carried)

    @cached_property
    def share(self) -> np.ndarray:
        """Share of each carried circuit on each pool, shape (n_pools, n_carried)."""
        return share_on_pools(self.circuits, self.pools, self.two_pole)

    @cached_property
    def carrying(self) -> np.ndarray:
        """Pools that carry a circuit, shape (n_pools,) of bool."""
        return (self.share > 0.0).any(axis=1)

    @cached_property
    def limits(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Share of each carried circuit that each output limit sees, the limits [kW], and the pool of each."""
        rows, kw, pool = [], [], []
        for p, leg_pool in enumerate(self.pools):
            rows.append(self.share[p])
            kw.append(leg_pool.pool.discharge_kw)
            pool.append(p)
            for leg in leg_pool.legs if len(leg_pool.legs) > 1 else "":
                on = [leg_of(c, self.pools) for c in self.circuits]
                rows.append(np.array([1.0 if one == leg else 0.5 if one == "AB" else 0.0 for one in on]))
                kw.append(leg_pool.leg_kw)
                pool.append(p)
        return np.array(rows).reshape(len(kw), len(self.circuits)), np.array(kw), np.array(pool, dtype=int)

    @cached_property
    def withheld_kwh(self) -> np.ndarray | None:
        """Stored energy that cold cells keep back, shape (n_pools, n_steps); None where none do. [kWh]"""
        if not any(_gives_less(group) for pool in self.pools for group in pool.groups):
            return None
        out = np.zeros((len(self.pools), self.hours.n_steps))
        for p, pool in enumerate(self.pools):
            for group in (one for one in pool.groups if _gives_less(one)):
                frac = group.temperature.capacity_frac(cell_c(group, self.hours, self.sources))
                out[p] += group.count * group.unit_kwh * (1.0 - frac)
        return out

    def with_battery_of(self, site: Site) -> House:
        """The same series with the battery groups of another site file that differs in nothing else that they use."""
        pools = pools_of(site)
        kept = {k: v for k, v in vars(self).items() if k in type(self).__dataclass_fields__}
        cold = cold_steps(site, pools, self.hours, self.sources)
        return House(**(kept | {"site": site, "pools": pools, "cold": cold}))


def house_of(site: Site, sources: SiteSources | None = None) -> House:
    """Lay a site on its hour axis: loads, solar, pools.

    Raises
    ------
    BadInput
        A load or a roof that needs weather without a file, a meter that does not cover the year, ...
    """
    try:
        return _house_of(site, sources or SiteSources(site))
    except BadInput as error:
        raise error.at(site.file) from None


def _house_of(site: Site, sources: SiteSources) -> House:
    year, notes = _year(site, sources)
    hours = hours_of_year(year, site.site.timezone, site.site.step_min)
    circuit_kw = np.array([_circuit_kw(site, circuit, hours, sources) for circuit in site.circuit])
    solar_kw, solar_dc_kw = _solar(site, hours, sources)
    rest_kw, more = _rest_kw(site, hours, sources, circuit_kw, solar_kw)
    for name, kw in (("circuits", circuit_kw), ("the rest of the house", rest_kw), ("solar", solar_kw + solar_dc_kw)):
        if not np.isfinite(kw).all():
            raise BadInput(f"{name} has a step that is not a number", file=site.file)
    pools = pools_of(site)
    notes += more + sources.notes + shape_notes([one for _, one in _loads(site)]) + capacity_notes(site)
    if sources.weather is not None:
        notes += weather_notes(site, sources.weather, sources.year(hours))
        made_kwh = float((solar_kw + solar_dc_kw).sum()) * hours.step_h
        notes += stamp_notes(site, sources.weather, hours, made_kwh)
    cold = cold_steps(site, pools, hours, sources)
    return House(
        site=site,
        hours=hours,
        circuit_kw=circuit_kw,
        rest_kw=rest_kw,
        solar_kw=solar_kw,
        solar_dc_kw=solar_dc_kw,
        cold=cold,
        pools=pools,
        notes=tuple(dict.fromkeys(notes)),
        cautions=tuple(house_cautions(site)),
        sources=sources,
    )


def _year(site: Site, sources: SiteSources) -> tuple[int, list[str]]:
    """The simulated year: as stated, else the year that the meter files cover, else 2025."""
    if site.site.year is not None:
        return site.site.year, []
    for key, load in _meter_loads(site):
        try:
            meter = sources.meter(load, site.site.timezone)
        except BadInput as error:
            raise in_file(error, site, key) from None
        years = meter_years(meter, site.site.timezone)
        if years:
            return int(years[-1]), [f"site.year = {years[-1]} (the year that {load.meter} covers)"]
        if load.extend is not None or load.redate:
            year = fullest_year(meter, site.site.timezone)
            return year, [f"site.year = {year} (the year of which {load.meter} holds most)"]
    for load in (one for _, one in _loads(site) if isinstance(one, BillsLoad) and one.bills is not None):
        year = latest_billed_year(read_printed_bills(site.folder / load.bills))
        return year, [f"site.year = {year} (the latest year of which {load.bills} holds most)"]
    if site.solar is not None and site.solar.series is not None:
        years = log_years(site.solar.series, site.site.timezone, site.folder)
        if years:
            return int(years[-1]), [f"site.year = {years[-1]} (the year that the inverter's log covers)"]
    return DEFAULT_YEAR, [f"site.year = {DEFAULT_YEAR} (default)"]


def _loads(site: Site) -> list[tuple[str, object]]:
    """The loads of a site one by one, each with the key that names it."""
    service = site.service
    nouns = [("service.whole_house", service.whole_house), ("service.other_load", service.other_load)]
    nouns += [(f'circuit "{circuit.name}".load', circuit.load) for circuit in site.circuit]
    return [(key, one) for key, noun in nouns for one in (noun if isinstance(noun, tuple) else (noun,))]


def _meter_loads(site: Site) -> list[tuple[str, MeterLoad]]:
    """The meters of a site, each with the key that names it."""
    return [(key, one) for key, one in _loads(site) if isinstance(one, MeterLoad)]


def _circuit_kw(site: Site, circuit: Circuit, hours: Hours, sources: SiteSources) -> np.ndarray:
    key = f'circuit "{circuit.name}".load'
    try:
        kw = load_kw(circuit.load, hours, sources)
    except BadInput as error:
        raise in_file(error, site, "" if error.key.startswith("weather") else key) from None
    below = kw < 0.0
    if not below.any():
        return kw
    back_kwh = -float(kw[below].sum()) * hours.step_h
    if back_kwh > NETS_FRAC * float(kw[~below].sum()) * hours.step_h:
        raise BadInput(
            f"has {int(below.sum())} steps below zero ({back_kwh:.1f} kWh): a circuit gives nothing back",
            file=site.file,
            key=key,
            way_out="turn the clamp round in the log, or choose another column",
        )
    sources.notes.append(f"{key}: {int(below.sum())} steps below zero ({back_kwh:.3f} kWh) taken as zero")
    return np.maximum(kw, 0.0)


def _with_roof(load, kw: np.ndarray, site: Site, sources: SiteSources, solar_kw: np.ndarray, key: str):
    """A load whose meter nets solar with what the roof made added, where that was asked for; asked about otherwise."""
    flat = load if isinstance(load, tuple) else (load,)
    for one in (one for one in flat if isinstance(one, MeterLoad)):
        meter = sources.meter(one, site.site.timezone)
        back, used = (float(meter.register_kwh(name).sum()) for name in ("received", "delivered"))
        if back <= NETS_FRAC * used:
            continue
        if one.add_solar is None:
            raise BadInput(
                f"nets solar ({back:,.1f} kWh flowed back through it), so it does not show what the house uses",
                file=site.file,
                key=f"{key}.meter",
                value=one.meter,
                way_out="describe the roof under [solar] and state add_solar = true beside the file's name; "
                "add_solar = false takes the readings as they are",
            )
        if one.add_solar:
            if not solar_kw.any():
                raise BadInput(
                    "needs the roof that stood behind the meter, feeding AC",
                    file=site.file,
                    key=f"{key}.add_solar",
                    value=True,
                    way_out='describe it under [solar] with connected_at "main-panel" or "sub-panel"',
                )
            kw = kw + solar_kw
            sources.notes.append(
                f"{one.meter}: the house's use is the meter plus what [solar] makes, the roof that stood behind it then"
            )
    return kw


def _rest_kw(site: Site, hours: Hours, sources: SiteSources, circuit_kw, solar_kw) -> tuple[np.ndarray, list[str]]:
    service = site.service
    if service.whole_house is None:
        if service.other_load is None:
            return np.zeros(hours.n_steps), ["service.other_load: none given, the house is the listed circuits only"]
        try:
            other = load_kw(service.other_load, hours, sources)
        except BadInput as error:
            raise in_file(error, site, "service.other_load") from None
        return _with_roof(service.other_load, other, site, sources, solar_kw, "service.other_load"), []
    try:
        meter = load_kw(service.whole_house, hours, sources)
    except BadInput as error:
        raise in_file(error, site, "service.whole_house") from None
    meter = _with_roof(service.whole_house, meter, site, sources, solar_kw, "service.whole_house")
    rest = meter - circuit_kw.sum(axis=0)
    return rest, below_notes(site, hours, rest, circuit_kw)


def _solar(site: Site, hours: Hours, sources: SiteSources) -> tuple[np.ndarray, np.ndarray]:
    none = np.zeros(hours.n_steps)
    if site.solar is None:
        return none, none
    roof = site.solar
    needs_weather = roof.series is None
    weather = sources.year(hours, asks="a roof without a log of its own") if needs_weather else None
    try:
        if roof.connected_at == "battery":
            return none, solar_dc_kw(roof, weather, hours, folder=site.folder)
        return solar_kw(roof, weather, hours, folder=site.folder), none
    except BadInput as error:
        raise in_file(error, site, "" if error.key.startswith("solar") else "solar") from None


def cold_steps(site: Site, pools, hours: Hours, sources: SiteSources) -> np.ndarray:
    """Steps in which the coldest group of a pool may not charge, shape (n_pools, n_steps)."""
    cold = np.zeros((len(pools), hours.n_steps), bool)
    for p, leg_pool in enumerate(pools):
        for group in leg_pool.groups:
            least = group.temperature.min_charge_c if group.temperature else None
            if least is None or group.place is None:
                continue
            cold[p] |= cell_c(group, hours, sources) < least
    return cold


def _gives_less(group) -> bool:
    """The unit states what its cells give in the cold, and where it stands."""
    return group.temperature is not None and group.temperature.capacity is not None and group.place is not None


def cell_c(group, hours: Hours, sources: SiteSources) -> np.ndarray:
    """Cell temperature by place: heated 18 degC; unheated inside outdoor + 5 degC, 30 at most; outside outdoor.

    Returns
    -------
    ndarray, shape (n_steps,)
        [degC], common practice, no source
    """
    if group.heated:
        return np.full(hours.n_steps, HEATED_C)
    outdoor = sources.temp_c(hours, asks=f'the temperature limit of battery "{group.name}"')
    if group.place.startswith("outdoor"):
        return outdoor
    return np.maximum(np.minimum(outdoor + UNHEATED_ABOVE_OUTDOOR_C, UNHEATED_AT_MOST_C), outdoor)


def without_circuits(house: House, names: tuple[str, ...]) -> House:
    """The house with some circuits switched off in the outage (still on the panel, drawing nothing there)."""
    known = [circuit.name for circuit in house.site.circuit]
    for name in names:
        if name not in known:
            raise BadInput(
                "is not a circuit of the site",
                file=house.site.file,
                key="--without",
                value=name,
                way_out="known: " + ", ".join(known),
            )
    circuits = tuple(c.model_copy(update={"on": "main"}) if c.name in names else c for c in house.site.circuit)
    site = house.site.model_copy(update={"circuit": circuits})
    site._file, site._folder = house.site.file, house.site.folder
    return replace(house, site=site)
