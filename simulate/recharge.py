"""Recharge after the utility returns: how fast, how long, and what it draws from the service."""

from __future__ import annotations

from math import inf

from simulate.battery import Pool, fill
from simulate.unit import Battery
from simulate.year import HouseYear


def refill_h(pool: Pool, from_kwh: float = 0.0) -> float:
    """Hours from a stored energy to full at the charging limit, taper included; infinite without a charger.

    Examples
    --------
    A 10 kWh pool on a 30 A circuit at 240 V (24 A continuous), with no wait:

    >>> round(refill_h(Pool(10, charge_kw=5.76, charge_efficiency=0.95)), 6)
    1.827485
    """
    if pool.usable_kwh <= from_kwh:
        return 0.0
    end, t = fill(float(from_kwh), pool.usable_kwh, pool.charge_kw * pool.charge_efficiency, 0.0, pool.cell, 1e6)
    return float(t) if end >= pool.usable_kwh else inf


def charging_leg_a(groups: tuple[Battery, ...], system: str) -> dict[str, float]:
    """Current on each service leg with all units charging, at unity power factor. [A]"""
    legs = {"A": 0.0, "B": 0.0}
    for group in groups:
        circuit = group.charging_circuit
        amps = group.count * group.unit_charge_kw * 1000.0 / circuit.volts
        own = circuit.leg or (group.leg if group.leg in legs else "A")
        for leg in (own,) if circuit.volts == 120 else legs:
            legs[leg] += amps
    return legs


def recharge_of(run: HouseYear) -> dict:
    """The recharge part of the study document: AC kW of the bank, hours from the cutoff to full, service amperes."""
    house = run.house
    service = house.site.service
    groups = tuple(group for group in house.site.battery if group.count)
    charging = max(charging_leg_a(groups, service.system).values(), default=0.0)
    volts = {"120/240": 240.0, "120/208": 208.0, "120": 120.0}[service.system]
    house_a = None if service.calculated_load_va is None else service.calculated_load_va / volts
    hours = [refill_h(leg_pool.pool) for leg_pool in house.pools]
    return {
        "charge_kw": sum(leg_pool.pool.charge_kw for leg_pool in house.pools),
        "from_empty_h": max(hours, default=0.0),
        "wait_h": house.site.operation.after_outage_wait_min / 60.0,
        "service_a": charging + (house_a or 0.0),
        "service_a_is": "charging alone: service.calculated_load_va is not given" if house_a is None
        else "all units charging on top of service.calculated_load_va",
    }  # fmt: skip
