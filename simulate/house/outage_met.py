"""What an outage meets: loads as people run them then, trips, load control, solar, the charge at its start."""

from __future__ import annotations

import numpy as np

from profiles.noun import BadInput
from simulate.house.house import House
from simulate.house.walked import HouseYear
from simulate.physics.outages.island import Island
from simulate.physics.outages.load_control import control_load
from simulate.site.pools import solar_returns

HAND_WINDOW = "07:00-22:00"


def start_soc_kwh(run: HouseYear) -> np.ndarray:
    """Energy that each pool can give when an outage begins at each step, shape (n_pools, n_steps). [kWh]

    Where a unit states what its cells give in the cold (`temperature.capacity`), what they keep back at the temperature
    of that step is not there, as if the cutoff stood higher.
    """
    stored, withheld = _stored_kwh(run), run.house.withheld_kwh
    return stored if withheld is None else np.maximum(stored - withheld, 0.0)


def _stored_kwh(run: HouseYear) -> np.ndarray:
    start = run.house.site.outage.start_soc
    if start == "as-run":
        return run.year.pool_kwh[:, :-1]
    share = 1.0 if start == "full" else float(start)
    usable = np.array([leg_pool.pool.usable_kwh for leg_pool in run.house.pools]).reshape(-1, 1)
    return np.tile(share * usable, (1, run.hours.n_steps))


def throw_steps(house: House) -> np.ndarray:
    """Step at which the units take over after an outage begins, shape (n_steps,); may run over the year's end."""
    n = house.hours.n_steps
    transfer = house.site.subpanel.transfer
    if transfer.kind == "automatic" or not transfer.at_home:
        return np.arange(n)
    home = house.hours.in_windows(", ".join(transfer.at_home), key="subpanel.transfer.at_home")
    if not home.any():
        raise BadInput("leaves no step", file=house.site.file, key="subpanel.transfer.at_home", value=transfer.at_home)
    steps = np.flatnonzero(np.r_[home, home])
    return steps[np.searchsorted(steps, np.arange(n))]


def outage_kw(house: House, load_case: str) -> np.ndarray:
    """Carried circuits as people run them in an outage, shape (n_carried, n_steps). [kW]"""
    factor = np.array([circuit.outage_factor(load_case) for circuit in house.circuits]).reshape(-1, 1)
    return house.circuit_kw[house.carried] * factor


def island_of(house: House, load_case: str) -> tuple[Island, dict]:
    """What the pools meet in an outage, and the circuits that load control drops, by (by hand, other pool dark)."""
    kw = outage_kw(house, load_case)
    priority = np.array([circuit.priority for circuit in house.circuits])
    control = house.site.subpanel.load_control
    n_pools, n = len(house.pools), house.hours.n_steps
    load, trips, sheds = (np.zeros((2, 2, n_pools, n), kind) for kind in (float, bool, bool))
    dropped = {}
    on_leg, limit_kw, pool_of_limit = house.limits
    for hand in (0, 1):
        drops = control == "automatic" or (control == "by-hand" and hand == 1)
        both = control_load(kw, priority, house.share, on_leg, (limit_kw, pool_of_limit), sheds=drops)
        load[hand, 0], trips[hand, 0] = both.load_kw, both.trips
        dropped[hand] = both.dropped
        for p in range(n_pools):
            mine = house.share[p] == 1.0
            sheds[hand, 0, p] = both.dropped[mine].any(axis=0)
            alone = control_load(
                kw * mine[:, None], priority, house.share, on_leg * mine, (limit_kw, pool_of_limit), sheds=drops
            )
            load[hand, 1, p], trips[hand, 1, p] = alone.load_kw[p], alone.trips[p]
            sheds[hand, 1, p] = alone.dropped[mine].any(axis=0)
    returns = solar_returns(house.site)
    hand = house.hours.in_windows(HAND_WINDOW) if control == "by-hand" else np.zeros(n, bool)
    island = Island(
        load_kw=load,
        trips=trips,
        sheds=sheds,
        hand=hand,
        solar_kw=np.tile(house.solar_kw / n_pools if _comes_back(house) else np.zeros(n), (n_pools, 1)),
        dc_kw=_usable_share(house) * (house.solar_dc_kw if returns else np.zeros(n)),
        may_charge=(~house.cold).astype(float),
        latches=all(leg_pool.latches for leg_pool in house.pools),
        reconnect_h=house.site.outage.reconnect_s / 3600.0,
    )
    return island, dropped


def _comes_back(house: House) -> bool:
    solar = house.site.solar
    return solar is not None and solar.connected_at == "sub-panel" and solar_returns(house.site)


def _usable_share(house: House) -> np.ndarray:
    usable = np.array([leg_pool.pool.usable_kwh for leg_pool in house.pools])
    return (usable / (usable.sum() or 1.0)).reshape(-1, 1)
