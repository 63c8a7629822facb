"""Designs whose varied values are all plain numbers of lanes: checked, run and written as columns, not one by one."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

import numpy as np

from profiles.noun import BadInput
from simulate.designs.lane_rows import FEWEST, lane_columns, lane_key, pool_of_lane, road_of
from simulate.designs.row import (
    Houses,
    Wanted,
    files_text,
    hash_of,
    payback_row,
    sha256_text,
    site_with,
    table_texts,
)
from simulate.house.asked import plan_and_reserve, prices_of
from simulate.house.house import House
from simulate.panel.sheets.price import installed_price
from simulate.physics.lanes.lanes import Lanes
from simulate.site.pools import LegPool
from simulate.site.site import Site
from simulate.site.unit import Battery

KEY = re.compile(r'battery(?:\["([^"]*)"\])?\.(\w+)')
ALWAYS = ("usable_kwh", "usable_kwh_ac", "charge_kw", "installed_price")
IN_PARALLEL = ("no_load_w", "on_grid_w")
"""In transfer mode these decide which circuits are switched over, so each value has a road of its own."""
RESERVE = "operation.reserve"
MARK = 1.2345678901e200
"""Stands for a varied number in the text of a table that is then cut there; no site holds such a one."""


def is_number_key(key: str, mode: str) -> bool:
    """A key whose values can differ between the lanes of one road."""
    match = KEY.fullmatch(key)
    known = ALWAYS + (IN_PARALLEL if mode == "interactive" else ())
    return key == RESERVE or (match is not None and match[2] in known)


@dataclass(frozen=True, eq=False)
class Numbers:
    """Designs on one site that differ in numbers only.

    Attributes
    ----------
    site : Site
        With the least of every number.
    columns : dict
        Site key -> its values, shape (n_designs,).
    """

    site: Site
    columns: dict[str, np.ndarray]

    def of_group(self, group: Battery, name: str, default):
        """What a field of a battery group is in each design; one number where it does not vary."""
        for key, values in self.columns.items():
            match = KEY.fullmatch(key)
            if match and match[2] == name and match[1] in (None, group.name):
                default = values
        return default


def numbers_of(site: Site, keys, rows) -> Numbers | None:
    """The designs as columns, or None where a value is no number or is out of its range."""
    columns = {}
    for key, values in zip(keys, zip(*rows, strict=True), strict=True):
        if not all(type(value) in (int, float) for value in values):
            return None
        columns[key] = np.array(values, dtype=float)
        if not np.isfinite(columns[key]).all():
            return None
    try:
        least, _ = (site_with(site, keys, [float(end(one)) for one in columns.values()]) for end in (np.min, np.max))
    except BadInput:
        return None
    return Numbers(least, columns)


def number_columns(site: Site, keys, rows, houses: Houses, wanted: Wanted) -> dict[str, np.ndarray] | None:
    """Columns of designs that differ in numbers only; None where they have to be run as rows.

    Parameters
    ----------
    site : Site
        What they share.
    keys : sequence of str
        Keys of which each `is_number_key`.
    rows : list of tuple
        Their values.
    """
    if wanted.one_by_one or len(rows) < FEWEST or not keys:
        return None
    numbers = numbers_of(site, keys, rows)
    if numbers is None:
        return None
    house = houses.house(numbers.site)
    prices = prices_of(house)
    key = lane_key(house, prices)
    if key is None or (len(house.pools) > 1 and house.solar_dc_kw.any()):
        return None
    lanes, paid = _lanes(house, numbers, prices), _paid(numbers, len(rows))
    columns = lane_columns(road_of(house, prices, houses, key), lanes, paid, wanted, _houses_of(house, lanes))
    columns |= payback_row(numbers.site, columns["out_installed_price"], columns["out_change"])
    return columns | {"input_hash": _hashes(numbers, len(rows))}


def _lanes(house: House, numbers: Numbers, prices) -> Lanes:
    reserve = numbers.columns.get(RESERVE, plan_and_reserve(house.site, prices)[1])
    n_designs = len(next(iter(numbers.columns.values())))
    each = [_pool_numbers(own, numbers) for own in house.pools]
    base = Lanes.of_pools([tuple(own.pool for own in house.pools)])
    varied = {name: np.array([np.broadcast_to(one[name], (n_designs,)) for one in each]) for name in each[0]}
    same = {name: getattr(base, name) for name in type(base).__dataclass_fields__ if not name.endswith("scale")}
    return Lanes(**(same | varied | {"reserve_frac": np.broadcast_to(reserve, varied["usable_kwh"].shape)}))


def _pool_numbers(own: LegPool, numbers: Numbers) -> dict:
    """Sums over the groups of a pool, as `pools_of` has them."""
    total = lambda value: sum(group.count * value(group) for group in own.groups)
    watts = lambda name: total(lambda group: numbers.of_group(group, name, getattr(group, name))) / 1000.0
    return {
        "usable_kwh": total(lambda group: _unit_kwh(group, numbers)),
        "charge_kw": total(lambda group: _unit_charge_kw(group, numbers)),
        "no_load_kw": watts("no_load_w"),
        "on_grid_kw": watts("on_grid_w"),
    }


def _unit_kwh(group: Battery, numbers: Numbers):
    if group.usable_kwh is not None:
        return numbers.of_group(group, "usable_kwh", group.usable_kwh)
    return numbers.of_group(group, "usable_kwh_ac", group.usable_kwh_ac) / group.eta_discharge


def _unit_charge_kw(group: Battery, numbers: Numbers):
    circuit_kw = group.charging_circuit.continuous_kw
    own_kw = circuit_kw if group.charge_kw is None else group.charge_kw
    return np.minimum(circuit_kw, numbers.of_group(group, "charge_kw", own_kw))


def _paid(numbers: Numbers, n_designs: int) -> np.ndarray:
    """What the units and the rest cost, as `installed_price` has it."""
    least = installed_price(numbers.site)
    if least is None:
        return np.full(n_designs, np.nan)
    paid = np.full(n_designs, least)
    for group in numbers.site.battery:
        if group.count and group.installed_price is not None:
            own = group.installed_price
            paid += group.count * (numbers.of_group(group, "installed_price", own) - own)
    return paid


def _houses_of(house: House, lanes: Lanes):
    """From the index of a design to its house."""
    restart_soc = house.site.outage.restart_soc

    def house_of(k: int) -> House:
        pools = tuple(
            replace(own, pool=pool_of_lane(own.pool, lanes, p, k, restart_soc)) for p, own in enumerate(house.pools)
        )
        return replace(house, pools=pools)

    return house_of


def _hashes(numbers: Numbers, n_designs: int) -> np.ndarray:
    """The input hash of every design: only the tables that differ are written anew."""
    from pydantic_core import to_json

    told = {key: to_json(values.tolist()).decode()[1:-1].split(",") for key, values in numbers.columns.items()}
    marks = {key: MARK * (2 + k) for k, key in enumerate(told)}
    plain = table_texts(numbers.site)
    cut = table_texts(_marked(numbers.site, marks))
    tables = {name: sha256_text(text) for name, text in plain.items()}
    files = files_text(plain, numbers.site.folder)
    pieces = {name: _pieces(text, marks) for name, text in cut.items() if text != plain[name]}
    out = []
    for k in range(n_designs):
        own = {
            name: sha256_text("".join(told[one][k] if is_key else one for is_key, one in parts))
            for name, parts in pieces.items()
        }
        out.append(hash_of(tables | own, files))
    return np.array(out, dtype=object)


def _marked(site: Site, marks: dict[str, float]) -> Site:
    """The site with a mark for each varied number; it is only written, never run."""
    groups = list(site.battery)
    for key, mark in marks.items():
        match = KEY.fullmatch(key)
        if match:
            groups = [
                group.model_copy(update={match[2]: mark}) if match[1] in (None, group.name) else group
                for group in groups
            ]
    operation = site.operation.model_copy(update={"reserve": marks[RESERVE]}) if RESERVE in marks else site.operation
    marked = site.model_copy(update={"battery": tuple(groups), "operation": operation})
    marked._file, marked._folder = site.file, site.folder
    return marked


def _pieces(text: str, marks: dict[str, float]) -> list[tuple[bool, str]]:
    """The text of a table cut at its marks: (False, text) and (True, key) in turn."""
    from pydantic_core import to_json

    key_of = {to_json(mark).decode(): key for key, mark in marks.items()}
    parts = re.split("(" + "|".join(map(re.escape, key_of)) + ")", text)
    return [(part in key_of, key_of.get(part, part)) for part in parts]
