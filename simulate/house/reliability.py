"""What the interruptions of a year do to a house: energy unserved, outages ridden through, a second outage."""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from math import inf

import numpy as np

from profiles.noun import BadInput
from simulate.house.house import House
from simulate.house.interruptions import (
    MAJOR_SIGMA,
    SIGMA,
    Interruptions,
    indices_in,
    indices_out,
    interruptions_of,
    ridden_frac,
    start_weight,
)
from simulate.house.outage_met import island_of, outage_kw, throw_steps
from simulate.house.recharge import SECOND_AFTER_H, refill_of, stored_after_kwh
from simulate.house.ride import RideThrough, ride_through
from simulate.house.storm import pickup_of, storm_rows
from simulate.physics.compiled import jit
from simulate.physics.outages.island import unserved_by_start
from simulate.physics.outages.outages import first_dark
from simulate.physics.outages.spread import nine_in_ten
from simulate.site.outage import Outage
from simulate.site.site import Site

LOAD_CASES = ("usual", "frugal", "storm")
HOURS_A_YEAR = 8760.0


def unserved_kwh(kw, dark_h, begin, kinds: Sequence[Interruptions], *, step_h: float, horizon_h: float) -> np.ndarray:
    """Energy that interruptions leave unserved in a year, for each start, where what is dark stays dark.

    Parameters
    ----------
    kw : ndarray, shape (n_steps,)
        Load of circuits that go dark together. [kW]
    dark_h : ndarray, shape (n_starts,)
        When they go dark after each start; infinite where they do not. [h]
    begin : ndarray of int, shape (n_starts,)
        Step of each start; the year wraps.
    kinds : sequence of Interruptions
    step_h, horizon_h : float
        Beyond the horizon the mean load stays unserved. [h]

    Returns
    -------
    ndarray, shape (n_starts,)
        kWh a year if all interruptions began there. [kWh]

    Notes
    -----
    ``sum over steps of kW * integral of P(D > t)``, the integral in closed form from `Interruptions.excess_h`.

    Examples
    --------
    Half a kilowatt without a battery, 335.5 minutes a year (SAIDI): 2.796 kWh.

    >>> kinds = [Interruptions(1.405, 335.5 / 60 / 1.405, 1.4)]
    >>> out = unserved_kwh(np.full(24, 0.5), np.zeros(24), np.arange(24), kinds, step_h=1.0, horizon_h=336.0)
    >>> round(float(out[0]), 3)
    2.796
    """
    beyond = lambda t: sum(k.per_year * k.excess_h(t) for k in kinds)
    n, steps = len(kw), int(np.ceil(horizon_h / step_h - 1e-9))
    edges = beyond(np.arange(steps + 1) * step_h)
    first = np.minimum(np.floor(np.asarray(dark_h, dtype=float) / step_h), steps)
    out = np.where(dark_h < horizon_h, kw.mean() * edges[steps], 0.0)
    inside = first < steps
    at = np.where(inside, first, 0).astype(np.int64)
    out += np.where(inside, kw[(begin + at) % n] * (beyond(np.where(inside, dark_h, inf)) - edges[at + 1]), 0.0)
    twice = np.concatenate([kw] * (2 + steps // n)).astype(float)
    _add_later(twice, np.asarray(begin, dtype=np.int64) % n, first.astype(np.int64), edges[:-1] - edges[1:], out)
    return out


@jit
def _add_later(kw, where, first, hours, out):
    """Add the load of the steps after the first dark one, each for the `hours` a year that interruptions last it."""
    for s in range(out.shape[0]):
        for k in range(max(first[s] + 1, 1), hours.shape[0]):
            out[s] += kw[where[s] + k] * hours[k]


def unserved_of(ride: RideThrough, kinds: Sequence[Interruptions]) -> np.ndarray:
    """Energy of the carried circuits that interruptions leave unserved in a year, for each start. [kWh]

    Notes
    -----
    Where nothing that is dark can come back (no restart, no retry, no load control) circuits that need the same pools
    are integrated in closed form (`unserved_kwh`); else every outage is followed to the horizon and each step's
    unserved energy is weighted by the share of interruptions that last so long.
    """
    house = ride.house
    kw = outage_kw(house, ride.load_case)
    n = house.hours.n_steps
    if not len(kw):
        return np.zeros(n)
    if _comes_back(ride):
        return _traced(ride, kinds, kw)
    out = np.zeros(n)
    needs = (house.share > 0.0).T
    for pattern in np.unique(needs, axis=0):
        mine = (needs == pattern).all(axis=1)
        dark = ride.dark.dark_h[:, pattern].min(axis=1)
        out += unserved_kwh(
            kw[mine].sum(axis=0), dark, ride.begin, kinds, step_h=house.hours.step_h, horizon_h=ride.horizon_h
        )
    return out


def _comes_back(ride: RideThrough) -> bool:
    house = ride.house
    retries = not all(leg_pool.latches for leg_pool in house.pools)
    restarts = any(leg_pool.pool.restart_kwh > 0.0 for leg_pool in house.pools)
    return retries or restarts or house.site.subpanel.load_control != "none"


def _traced(ride: RideThrough, kinds, kw) -> np.ndarray:
    house, step_h = ride.house, ride.house.hours.step_h
    island, _ = island_of(house, ride.load_case)
    steps = int(np.ceil(ride.horizon_h / step_h - 1e-9))
    beyond = sum(k.per_year * k.excess_h(np.arange(steps + 1) * step_h) for k in kinds)
    weight = -np.diff(beyond)
    weight[-1] += beyond[-1]  # what is unserved at the horizon stays so
    times = {"step_h": step_h, "horizon_h": ride.horizon_h}
    pools = tuple(leg_pool.pool for leg_pool in house.pools)
    return unserved_by_start(island, pools, ride.soc_kwh, ride.begin, weight, wanted_kw=kw.sum(axis=0), **times)


def outage_load_kwh(house: House, load_case: str, kinds: Sequence[Interruptions]) -> float:
    """Energy of the carried circuits that a year's interruptions fall on: what is unserved where nothing carries it.

    Each start is followed over the hours that come after it, so months that weigh more pass their weight on to the
    hours that their outages last into, and what is unserved can never exceed it. [kWh/year]
    """
    if not len(house.carried):
        return 0.0
    outage, n = house.site.outage, house.hours.n_steps
    kw = outage_kw(house, load_case).sum(axis=0)
    spans = {"step_h": house.hours.step_h, "horizon_h": outage.horizon_h}
    weight = start_weight(house.hours.month, outage.month_weights)
    return float(weight @ unserved_kwh(kw, np.zeros(n), throw_steps(house), kinds, **spans))


def reliability_row(ride: RideThrough, kinds: Sequence[Interruptions]) -> dict:
    """What the interruptions of a year do to one ride: one row of `reliability_of`."""
    outage = ride.house.site.outage
    weight = start_weight(ride.house.hours.month, outage.month_weights)
    hours = np.where(ride.censored, ride.horizon_h, ride.hours)
    return {
        "ridden_through_frac": ridden_frac(hours, kinds, weight),
        "out": indices_out(hours, kinds, weight),
        "unserved_kwh_per_year": float(weight @ unserved_of(ride, kinds)),
        "without_battery_kwh_per_year": outage_load_kwh(ride.house, ride.load_case, kinds),
    }


def second_outage_of(ride: RideThrough, kinds: Sequence[Interruptions], *, n_moments: int = 96) -> dict:
    """Chance that a second interruption begins before the bank is full again after the first emptied it.

    Notes
    -----
    Interruptions are taken as independent (Poisson), so the storm that takes the line down twice is left out: the
    chance is a low one. The refill follows `operation.after_outage`, its hours are the mean of moments spread over
    the year.
    """
    run = ride.run
    n = run.hours.n_steps
    full_h = np.array([refill_of(run, int(k)).full_h for k in np.linspace(0, n, n_moments, endpoint=False)])
    per_h = sum(k.per_year for k in kinds) / HOURS_A_YEAR
    chance = float(np.mean(-np.expm1(-per_h * full_h)))
    mean_h = float(full_h.mean())
    return {
        "refill_h": mean_h if mean_h < inf else None,
        "chance_frac": chance,
        "per_year": chance * per_h * HOURS_A_YEAR,
        "independent": True,
    }


def check_without(site: Site, names: Sequence[str]) -> None:
    """Refuse circuits that cannot be switched off in an outage.

    Raises
    ------
    BadInput
        Not a circuit, not on the sub-panel, or nothing is left on battery.
    """
    backed = [circuit.name for circuit in site.circuit if circuit.on == "sub-panel"]
    known = {circuit.name: circuit.on for circuit in site.circuit}
    for name in names:
        if name not in known:
            raise BadInput(
                f'no circuit is called "{name}"', file=site.file, key="--without:", way_out=nearest(name, backed)
            )
        if name not in backed:
            rule, way_out = "is not on the sub-panel: dark in any outage", "known: " + "; ".join(backed)
            raise BadInput(rule, file=site.file, key="--without", value=name, way_out=way_out)
    if names and not set(backed) - set(names):
        raise BadInput("leaves no circuit on battery", file=site.file, key="--without", value=list(names))


def nearest(name: str, known: Sequence[str]) -> str:
    """The name that was meant, or all that there are.

    Examples
    --------
    >>> nearest("Den televison", ["Den television and chargers", "Pump"]), nearest("x", ["Pump"])
    ('did you mean "Den television and chargers"?', 'known: Pump')
    """
    close = difflib.get_close_matches(name, known, n=1, cutoff=0.5)
    return f'did you mean "{close[0]}"?' if close else "known: " + "; ".join(known)


def second_outage(ride: RideThrough) -> dict:
    """A second outage soon after one that emptied the units: what it finds, how long that lasts, how likely it is.

    Returns
    -------
    dict
        after_h, stored_kwh, usable_kwh, hours (p10, p50, worst) over all steps of the year; refill_h and chance_frac
        of `second_outage_of`, None where the site names no interruptions.
    """
    house, run = ride.house, ride.run
    wait_h = house.site.operation.after_outage_wait_min / 60.0
    pools = tuple(leg_pool.pool for leg_pool in house.pools)
    stored = np.array([stored_after_kwh(pool, SECOND_AFTER_H, wait_h=wait_h) for pool in pools])
    kinds = interruptions_of(house.site.outage)
    chance = second_outage_of(ride, kinds) if kinds and pools else {"refill_h": None, "chance_frac": None}
    return {
        "after_h": SECOND_AFTER_H,
        "stored_kwh": float(stored.sum()),
        "usable_kwh": float(sum(pool.usable_kwh for pool in pools)),
        "hours": _hours_from(ride, np.tile(stored[:, None], (1, run.hours.n_steps))),
        "refill_h": chance["refill_h"],
        "chance_frac": chance["chance_frac"],
    }


def _hours_from(ride: RideThrough, soc_kwh) -> dict[str, float]:
    """Nine in ten, middle and worst of outages that begin with so much in each pool. [h]"""
    house = ride.house
    if not len(house.carried):
        return dict.fromkeys(("p10", "p50", "worst"), 0.0)
    island, _ = island_of(house, ride.load_case)
    pools = tuple(leg_pool.pool for leg_pool in house.pools)
    dark = first_dark(
        island, pools, soc_kwh, step_h=house.hours.step_h, horizon_h=ride.horizon_h, begin=throw_steps(house)
    )
    top = min(circuit.priority for circuit in house.circuits)
    first = (house.share[:, [c.priority == top for c in house.circuits]] > 0.0).any(axis=1)
    hours = np.minimum(dark.dark_h[:, first].min(axis=1), ride.horizon_h)
    middle = float(np.quantile(hours, 0.5, method="lower"))
    return {"p10": nine_in_ten(hours), "p50": middle, "worst": float(hours.min())}


def reliability_of(ride: RideThrough, others: Sequence[RideThrough] = (), *, weather=None) -> dict | None:
    """The reliability part of the study document; None where the site names no interruptions.

    Parameters
    ----------
    ride : RideThrough
        The site's own load case.
    others : sequence of RideThrough
        Rides of other load cases that were simulated already; what is missing is simulated here.
    weather : Weather, optional
        The site's weather file, where it was read already.

    Returns
    -------
    dict or None
        in (saifi, saidi_h, caidi_h of the utility), cases (usual, frugal and storm as rows of their own), storm_days,
        second_outage, cold_load_pickup, notes.
    """
    outage = ride.house.site.outage
    kinds = interruptions_of(outage)
    if not kinds:
        return None
    rides = {one.load_case: one for one in (*others, ride)}
    for case in LOAD_CASES:
        if case not in rides:
            rides[case] = ride_through(ride.run, load_case=case)
    return {
        "in": indices_in(kinds),
        "everyday": vars(kinds[0]) if outage.per_year is not None and outage.mean_h is not None else None,
        "major": vars(kinds[-1]) if outage.major is not None else None,
        "cases": {case: reliability_row(rides[case], kinds) for case in LOAD_CASES},
        "storm_days": storm_rows(rides["storm"], weather),
        "second_outage": second_outage_of(ride, kinds),
        "cold_load_pickup": pickup_of(ride),
        "notes": _notes(ride, outage),
    }


def _notes(ride: RideThrough, outage: Outage) -> list[str]:
    notes = ["expected values of one modelled year and of a lognormal duration; no confidence interval from its steps"]
    if outage.sigma is None:
        notes.append(f"outage.sigma = {SIGMA:g} (engineering range 1.2-1.6)")
    if outage.major is not None:
        notes.append(f"major events spread with sigma {MAJOR_SIGMA:g}: most last half to twice their mean")
    if outage.month_weights is not None:
        notes.append("outage.month_weights weigh expected values only; quantiles of hours are unweighted")
    if ride.censored.any():
        notes.append(f"outages that outlive {ride.horizon_h:g} h count as lost there")
    if ride.house.never_carried:
        notes.append("never-carried circuits are in none of these figures: " + ", ".join(ride.house.never_carried))
    return notes
