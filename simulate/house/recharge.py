"""Recharge after the utility returns: how fast, how long, what it draws from the service, a second outage."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import inf

import numpy as np

from profiles.noun import BadInput
from profiles.rate.calendar import rate_calendar
from simulate.bill.bill import price_bill
from simulate.house.walked import HouseYear
from simulate.physics.pool import Pool
from simulate.physics.step import fill
from simulate.site.load_calculation import LINE_VOLTS, service_load
from simulate.site.unit import Battery, service_has

MARGIN = 1.25
"""Charging counts at 125 % as a sizing margin; many authorities accept 100 % in the calculation (NEC 215.3, 220)."""
MODES = ("reserve-then-off-peak", "at-once", "off-peak")
SECOND_AFTER_H = 1.0


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


def stored_after_kwh(pool: Pool, after_h: float, *, from_kwh: float = 0.0, wait_h: float = 0.0) -> float:
    """Stored energy so long after the utility returned: what a second outage finds. [kWh]

    Parameters
    ----------
    pool : Pool
    after_h : float
        Time since the utility returned. [h]
    from_kwh : float
        Stored energy when it returned. [kWh]
    wait_h : float
        The units wait so long before they charge. [h]

    Examples
    --------
    >>> pool = Pool(10, charge_kw=5.76, charge_efficiency=0.95)
    >>> round(stored_after_kwh(pool, 1.0), 6), round(stored_after_kwh(pool, 1.0, wait_h=0.25), 6)
    (5.472, 4.104)
    """
    for key, value in (("after_h", after_h), ("from_kwh", from_kwh), ("wait_h", wait_h)):
        if not 0.0 <= value < inf:
            raise BadInput("must be 0 or above and finite", key=key, value=value)
    if from_kwh >= pool.usable_kwh:
        return float(pool.usable_kwh)
    full_kw = pool.charge_kw * pool.charge_efficiency
    return float(fill(float(from_kwh), pool.usable_kwh, full_kw, 0.0, pool.cell, max(after_h - wait_h, 0.0))[0])


def shared_kw(limits_kw, headroom_kw: float) -> np.ndarray:
    """Headroom shared equally among chargers, none above its own limit; what one leaves goes to the others. [kW]

    Parameters
    ----------
    limits_kw : array_like, shape (n_units,)
        What each would draw by itself. [kW]
    headroom_kw : float
        What all together may draw. [kW]

    Examples
    --------
    >>> shared_kw([5.76, 5.76, 5.76], 13.2).round(9).tolist(), shared_kw([1.0, 5.76], 5.0).tolist()
    ([4.4, 4.4, 4.4], [1.0, 4.0])
    """
    limits = np.asarray(limits_kw, dtype=float)
    if not 0.0 <= headroom_kw or not (limits >= 0.0).all():
        raise BadInput("must be 0 or above", key="headroom_kw, limits_kw", value=(headroom_kw, limits.tolist()))
    out, left, n_left = np.zeros(len(limits)), float(headroom_kw), len(limits)
    for k in np.argsort(limits, kind="stable"):
        out[k] = min(limits[k], left / n_left)
        left, n_left = left - out[k], n_left - 1
    return out


def charging_leg_a(groups: tuple[Battery, ...], system: str) -> dict[str, float]:
    """Current on each service leg with all units charging, at unity power factor. [A]"""
    legs = {"A": 0.0, "B": 0.0}
    for group in groups:
        circuit = group.charging_circuit
        amps = group.count * group.unit_charge_kw * 1000.0 / circuit.volts
        for leg in charging_legs(group):
            legs[leg] += amps
    return legs


def charging_legs(group: Battery) -> tuple[str, ...]:
    """Service legs that the charging circuit of a group draws from."""
    if group.charging_circuit.volts != 120:
        return ("A", "B")
    return (group.charging_circuit.leg or (group.leg if group.leg in ("A", "B") else "A"),)


@dataclass(frozen=True)
class ServiceShare:
    """All chargers on one service.

    Attributes
    ----------
    charging_kw, charging_a : float
        Unmanaged: all units at their own limit, and the current on the heavier leg. [kW], [A]
    headroom_kw : float or None
        What all units together may draw beside the house; None where an input is missing. [kW]
    unit_kw : dict
        By battery group, what one unit may draw so that all together fit. [kW]
    exceeds : bool or None
        Unmanaged charging does not fit beside the calculated load.
    text : str
        One or two sentences for the electrician.
    """

    charging_kw: float
    charging_a: float
    headroom_kw: float | None
    unit_kw: dict[str, float]
    exceeds: bool | None
    text: str


def service_share(site) -> ServiceShare:
    """The charging limit that fits the service, shared among the units; a violation is said and never simulated away.

    Parameters
    ----------
    site : Site

    Notes
    -----
    ``(main breaker * V - calculated load) / 1.25`` on each leg; see `MARGIN`. On a leg the units share it equally.
    """
    groups = tuple(group for group in site.battery if group.count)
    service = site.service
    legs = charging_leg_a(groups, service.system)
    heavy = max(legs, key=legs.get)
    kw, amps = sum(g.count * g.unit_charge_kw for g in groups), legs[heavy]
    full = {g.name: g.unit_charge_kw for g in groups}
    said = f"All units charging draw {kw:.2f} kW, {amps:.1f} A on leg {heavy}"
    load = service_load(site)
    missing = ["service.main_breaker_a"] if service.main_breaker_a is None else []
    missing += load.missing
    if missing:
        return ServiceShare(kw, amps, None, full, None, f"{said}. Not assessed: give {', '.join(missing)}.")
    house_a = load.amps
    room_a = max(service.main_breaker_a - house_a, 0.0) / MARGIN
    room_kw = room_a * LINE_VOLTS[service.system] / 1000.0
    unit_kw = _shared_on_legs(groups, room_a)
    if amps <= room_a + 1e-9:
        text = f"{said}; {room_a:.1f} A fit beside the calculated load."
        return ServiceShare(kw, amps, room_kw, unit_kw, False, text)
    limit = ", ".join(f"{share:.2f} kW each for {name}" for name, share in unit_kw.items())
    text = (
        f"{said}; only {room_a:.1f} A ({room_kw:.1f} kW) fit beside the calculated load of {house_a:.1f} A on a main "
        f"breaker of {service.main_breaker_a:g} A. Share a limit ({limit}) or stagger the units."
    )
    return ServiceShare(kw, amps, room_kw, unit_kw, True, text)


def _shared_on_legs(groups: tuple[Battery, ...], room_a: float) -> dict[str, float]:
    """What one unit of each group may draw: the least of its legs' equal shares. [kW]"""
    out = {group.name: group.unit_charge_kw for group in groups}
    for leg in ("A", "B"):
        on = [group for group in groups if leg in charging_legs(group)]
        volts = np.array([group.charging_circuit.volts for group in on for _ in range(group.count)])
        names = [group.name for group in on for _ in range(group.count)]
        amps = np.array([group.unit_charge_kw for group in on for _ in range(group.count)]) * 1000.0 / volts
        for name, kw in zip(names, shared_kw(amps, room_a) * volts / 1000.0, strict=True):
            out[name] = min(out[name], float(kw))
    return out


@dataclass(frozen=True, eq=False)
class Recharged:
    """One refill, step by step.

    Attributes
    ----------
    charge_kw : ndarray, shape (n_steps,)
        AC, mean over each step of the year; zero outside the refill. [kW]
    reserve_h, full_h : float
        From the return of the utility to the reserve and to full; infinite where it is never reached. [h]
    """

    charge_kw: np.ndarray
    reserve_h: float
    full_h: float


def recharged(pool: Pool, off_peak, begin: int, *, mode: str, step_h: float, wait_h=0.0, from_kwh=0.0, reserve_kwh=0.0):
    """Refill a pool after the utility returned at the start of a step, as `operation.after_outage` says.

    Parameters
    ----------
    pool : Pool
    off_peak : array_like of bool, shape (n_steps,)
        Steps of the lowest price; the year wraps.
    begin : int
        Step at whose start the utility returns.
    mode : {"reserve-then-off-peak", "at-once", "off-peak"}
        At once up to the reserve and the rest off-peak; all at once; all off-peak.
    step_h, wait_h : float
        Length of a step; the units wait so long. [h]
    from_kwh, reserve_kwh : float
        Stored energy at the return; the reserve. [kWh]

    Returns
    -------
    Recharged

    Examples
    --------
    >>> pool = Pool(10, charge_kw=5.0)
    >>> refill = recharged(pool, [False, False, True, True], 0, mode="off-peak", step_h=1.0)
    >>> refill.charge_kw.tolist(), refill.full_h
    ([0.0, 0.0, 5.0, 5.0], 4.0)
    """
    if mode not in MODES:
        raise BadInput("must be one of " + ", ".join(MODES), key="operation.after_outage", value=mode)
    off_peak = np.asarray(off_peak, dtype=bool)
    n, e = len(off_peak), float(from_kwh)
    charge, full_kw = np.zeros(n), pool.charge_kw * pool.charge_efficiency
    reserve_h = 0.0 if e >= reserve_kwh else inf
    full_h = 0.0 if e >= pool.usable_kwh else inf
    for k in range(n):
        if full_h < inf:
            break
        t = (begin + k) % n
        allowed = pool.usable_kwh if mode == "at-once" or off_peak[t] else reserve_kwh if mode == MODES[0] else 0.0
        waited = min(max(wait_h - k * step_h, 0.0), step_h)
        if allowed <= e or waited >= step_h:
            continue
        begun_h = k * step_h + waited
        if e < reserve_kwh <= allowed:
            end, took = fill(e, reserve_kwh, full_kw, 0.0, pool.cell, step_h - waited)
            reserve_h = begun_h + took if end >= reserve_kwh else inf
        end, took = fill(e, allowed, full_kw, 0.0, pool.cell, step_h - waited)
        charge[t] += (end - e) / pool.charge_efficiency / step_h
        e = end
        full_h = begun_h + took if e >= pool.usable_kwh else inf
    return Recharged(charge, reserve_h, full_h)


def off_peak_steps(run: HouseYear) -> np.ndarray:
    """Steps at the lowest price of their local day, shape (n_steps,) of bool."""
    price, day = run.asked.prices.buy_per_kwh, run.hours.day
    least = np.full(int(day.max()) + 1, inf)
    np.minimum.at(least, day, price)
    return price <= least[day] + 1e-12


def refill_of(run: HouseYear, begin: int, *, mode: str | None = None) -> Recharged:
    """Refill of the whole bank from the cutoff, the utility returning at a step; the slowest pool counts."""
    operation, off_peak = run.house.site.operation, off_peak_steps(run)
    parts = [
        recharged(
            pool,
            off_peak,
            begin,
            mode=mode or operation.after_outage,
            step_h=run.hours.step_h,
            wait_h=operation.after_outage_wait_min / 60.0,
            reserve_kwh=float(run.asked.floor_kwh[p, begin]),
        )
        for p, pool in enumerate(run.asked.pools)
    ]
    charge = sum((part.charge_kw for part in parts), np.zeros(run.hours.n_steps))
    slowest = lambda name: max((getattr(part, name) for part in parts), default=0.0)
    return Recharged(charge, slowest("reserve_h"), slowest("full_h"))


def demand_consequence(run: HouseYear) -> dict | None:
    """What a refill from the cutoff does to the demand charge at the worst moment; None without such a charge.

    Returns
    -------
    dict or None
        returns_local, mode, peak_kw (import of the dearest step) [kW], bill_change and demand_change [currency].

    Notes
    -----
    The utility is taken to return so that the refill meets the highest import of the charged windows. While they
    refill the units do nothing else. Priced by the whole bill, so tiers and ratchets count.
    """
    house, rate, year = run.house, run.house.site.rate, run.year
    if not rate.demand or not run.asked.pools:
        return None
    on_grid_kw = sum(pool.on_grid_kw for pool in run.asked.pools)
    base = np.maximum(house.load_kw + on_grid_kw - house.solar_kw, 0.0)
    hit = int(np.argmax(np.where(_charged(rate, run.hours), base, -1.0)))
    wait_steps = int(np.ceil(house.site.operation.after_outage_wait_min / 60.0 / run.hours.step_h - 1e-9))
    begin = (hit - wait_steps) % run.hours.n_steps
    refill = refill_of(run, begin)
    n_refill = int(np.ceil(min(refill.full_h / run.hours.step_h, run.hours.n_steps - 1)))
    steps = np.arange(begin, begin + n_refill + 1) % run.hours.n_steps
    bought, sold = year.import_kw.copy(), year.export_kw.copy()
    bought[steps], sold[steps] = base[steps] + refill.charge_kw[steps], 0.0
    before = price_bill(year.import_kw, year.export_kw, rate, run.hours)
    after = price_bill(bought, sold, rate, run.hours)
    return {
        "returns_local": run.hours.local_text[begin],
        "mode": house.site.operation.after_outage,
        "peak_kw": float(bought[steps].max()),
        "bill_change": after.total - before.total,
        "demand_change": after.by_kind.get("demand", 0.0) - before.by_kind.get("demand", 0.0),
    }


def _charged(rate, hours) -> np.ndarray:
    """Steps that lie in a block of any demand charge, shape (n_steps,) of bool."""
    charged = np.zeros(hours.n_steps, bool)
    for blocks in rate_calendar(rate, hours).demand:
        for start, n in zip(blocks.start, blocks.n_steps, strict=True):
            charged[start : start + n] = True
    return charged


def charging_stop(site) -> str | None:
    """Why the units cannot be charged as drawn: a charging circuit at volts that the service does not have."""
    for group in (group for group in site.battery if group.count):
        if not service_has(site.service.system, group.charging_circuit.volts):
            volts = group.charging_circuit.volts
            return f"{group.name}: a {site.service.system} V service has no {volts} V to charge from."
    return None


def cold_h(house) -> float:
    """Hours of the year in which the cells of some pool are too cold to charge. [h]"""
    return float(house.cold.any(axis=0).sum() * house.hours.step_h) if len(house.cold) else 0.0


def recharge_of(run: HouseYear) -> dict | None:
    """The recharge part of the study document: AC kW of the bank, hours from the cutoff to full, service amperes.

    None where `charging_stop` names a circuit: nothing is charged from volts that are not there.
    """
    house = run.house
    site = house.site
    if charging_stop(site) is not None:
        return None
    share, load = service_share(site), service_load(site)
    wait_h = site.operation.after_outage_wait_min / 60.0
    pools = run.asked.pools
    return {
        "charge_kw": sum(pool.charge_kw for pool in pools),
        "from_empty_h": max((refill_h(pool) for pool in pools), default=0.0),
        "wait_h": wait_h,
        "too_cold_h_per_year": cold_h(house),
        "after_outage": site.operation.after_outage,
        "service_a": share.charging_a + (load.amps or 0.0),
        "service_a_is": _service_a_is(load),
        "exceeds": share.exceeds,
        "headroom_kw": share.headroom_kw,
        "shared_unit_kw": share.unit_kw,
        "shared_from_empty_h": _shared_refill_h(house.pools, share),
        "service_text": share.text,
        "second_outage": {
            "after_h": SECOND_AFTER_H,
            "stored_kwh": sum(stored_after_kwh(pool, SECOND_AFTER_H, wait_h=wait_h) for pool in pools),
        },
        "demand": demand_consequence(run),
    }


def _service_a_is(load) -> str:
    if load.va is None:
        return f"charging alone: give {', '.join(load.missing)}"
    return f"all units charging on top of the calculated load, {load.amps:.1f} A ({load.how})"


def _shared_refill_h(leg_pools, share: ServiceShare) -> float:
    """Hours from the cutoff to full with every unit at its share of the service; the slowest pool. [h]"""

    hours = [
        refill_h(replace(leg_pool.pool, charge_kw=sum(g.count * share.unit_kw[g.name] for g in leg_pool.groups)))
        for leg_pool in leg_pools
    ]
    return max(hours, default=0.0)
