"""The battery groups of a site as energy pools on legs, and which circuits each can carry."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from profiles.loads.circuit import Circuit
from simulate.physics.pool import Pool
from simulate.site.site import Site
from simulate.site.unit import Battery


@dataclass(frozen=True)
class LegPool:
    """Units that share their energy, and the legs they feed.

    Attributes
    ----------
    pool : Pool
    legs : str
        "A", "B" or "AB".
    leg_kw : float
        Continuous output on each leg. [kW]
    groups : tuple of Battery
    """

    pool: Pool
    legs: str
    leg_kw: float
    groups: tuple[Battery, ...]

    @property
    def n_units(self) -> int:
        return sum(group.count for group in self.groups)

    @property
    def latches(self) -> bool:
        return self.groups[0].after_trip == "latches"


def pools_of(site: Site) -> tuple[LegPool, ...]:
    """Pools of a site: units on one leg form one, units with 120/240 V output one for both legs.

    Restart energy is kept only where solar can come back to the island (`solar_returns`).
    """
    pools = []
    for leg in ("A", "B", "both"):
        groups = tuple(group for group in site.battery if group.leg == leg and group.count)
        if groups:
            pools.append(_pool(site, leg, groups))
    return tuple(pools)


def _pool(site: Site, leg: str, groups: tuple[Battery, ...]) -> LegPool:
    total = lambda value: sum(group.count * value(group) for group in groups)
    usable = total(lambda g: g.unit_kwh)
    system = site.service.system
    pool = Pool(
        usable_kwh=usable,
        charge_kw=total(lambda g: g.unit_charge_kw),
        discharge_kw=total(lambda g: g.unit_kw(system)),
        charge_efficiency=groups[0].eta_charge,
        discharge_efficiency=groups[0].eta_discharge,
        no_load_kw=total(lambda g: g.no_load_w) / 1000.0,
        takes_back_kw=total(lambda g: g.takes_back_kw),
        taper=groups[0].taper,
        restart_kwh=site.outage.restart_soc * usable if solar_returns(site) else 0.0,
        on_grid_kw=total(lambda g: g.on_grid_w) / 1000.0,
    )
    return LegPool(pool, "AB" if leg == "both" else leg, total(lambda g: g.unit_kw_per_leg(system)), groups)


def are_locked(site: Site) -> bool:
    """The units on leg A and those on leg B are phase-locked, as the site file states."""
    leg = {group.name: group.leg for group in site.battery if group.count}
    return any({group.leg, leg.get(group.locked_with)} == {"A", "B"} for group in site.battery if group.count)


def carries_two_pole(site: Site, pools: tuple[LegPool, ...]) -> bool:
    """Two-pole circuits can be carried: by a unit on both legs, or by a locked pair."""
    legs = {pool.legs for pool in pools}
    return "AB" in legs or (legs == {"A", "B"} and are_locked(site))


def solar_returns(site: Site) -> bool:
    """Solar can come back to the island: on the cells, or through outputs that take power back."""
    if site.solar is None:
        return False
    units = [group for group in site.battery if group.count]
    if site.solar.connected_at == "battery":
        return bool(units)
    takes_back = any(group.takes_back_kw > 0.0 for group in units)
    legs = {group.leg for group in units}
    return site.solar.connected_at == "sub-panel" and takes_back and (legs != {"A", "B"} or are_locked(site))


def leg_of(circuit: Circuit, pools: tuple[LegPool, ...]) -> str:
    """Leg of a circuit: as stated, else the only leg that has a unit, else "A"; "AB" for two poles."""
    if circuit.poles == 2:
        return "AB"
    fed = {pool.legs for pool in pools}
    return circuit.leg or ("B" if fed == {"B"} else "A")


def pool_of(circuit: Circuit, pools: tuple[LegPool, ...], two_pole: bool) -> tuple[int, ...]:
    """Indices of the pools that must be up for a circuit; empty where no wiring can serve it."""
    leg = leg_of(circuit, pools)
    if leg == "AB":
        return tuple(range(len(pools))) if two_pole else ()
    return tuple(k for k, pool in enumerate(pools) if leg in pool.legs)


def share_on_pools(circuits, pools: tuple[LegPool, ...], two_pole: bool) -> np.ndarray:
    """Share of each circuit's power that each pool carries, shape (n_pools, n_circuits)."""
    share = np.zeros((len(pools), len(circuits)))
    for c, circuit in enumerate(circuits):
        needed = pool_of(circuit, pools, two_pole)
        for k in needed:
            share[k, c] = 1.0 / len(needed)
    return share
