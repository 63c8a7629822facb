"""Small invented sites for the tests, as tables of a site file."""

import copy
from pathlib import Path

from simulate.site.site import Site, read_site, site_of

BASE = {
    "site": {"name": "Test bench", "latitude": 36.0, "longitude": -80.0, "timezone": "America/New_York", "year": 2025},
    "rate": {"price_per_kwh": 0.15},
    "circuit": [],
    "battery": [],
}


def unit(leg="A", **more) -> dict:
    """A loss-free 5 kWh unit."""
    ideal = {
        "usable_kwh": 5.0,
        "continuous_kw": 6.0,
        "charge_efficiency": 1.0,
        "discharge_efficiency": 1.0,
        "no_load_w": 0.0,
        "on_grid_w": 0.0,
        "charging_circuit": {"breaker_a": 30, "volts": 120},
    }
    return {"name": f"Unit {leg}", "leg": leg, **ideal, **more}


def locked_pair(**more) -> list[dict]:
    """Two units on two legs, phase-locked."""
    return [unit("A", locked_with="Unit B", **more), unit("B", locked_with="Unit A", **more)]


def circuit(name, kw, leg="A", **more) -> dict:
    """A circuit of constant power; leg "AB" has two poles."""
    poles = {"poles": 2} if leg == "AB" else {"leg": leg}
    return {"name": name, "breaker_a": 20, "load": {"kw": kw}, **poles, **more}


def small_site(circuits, batteries, **tables) -> Site:
    """A site of these circuits and units; further tables are merged in."""
    data = copy.deepcopy(BASE) | {"circuit": circuits, "battery": batteries}
    for table, values in tables.items():
        data[table] = {**data.get(table, {}), **values} if isinstance(values, dict) and table != "rate" else values
    return site_of(data, file="bench.toml")


def farmhouse() -> Site:
    """A whole invented house: two locked units, nine circuits, a roof, two seasons, three checks that fail."""
    return read_site(Path(__file__).with_name("heron_creek.toml"))
