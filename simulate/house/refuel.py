"""A generator that recharges the units in a long outage: duty, fuel a day, and what it can hold."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import inf, nan

from profiles.noun import BadInput
from simulate.house.outage_met import outage_kw
from simulate.physics.outages.spread import SEASONS
from simulate.physics.pool import Pool
from simulate.physics.step import fill

START_FRAC, STOP_FRAC = 0.2, 0.9
"""It is started at a fifth of full and stopped at nine tenths, where charging slows (common practice, no source)."""


@dataclass(frozen=True)
class Refuel:
    """A generator that runs between two states of charge.

    Attributes
    ----------
    holds : bool
        It carries the load and charges the units at the same time.
    on_h, off_h : float
        Each run, and the time on battery between two runs; infinite where no cycle closes. [h]
    duty_frac : float
        Share of the time that it runs. [0 to 1]
    charge_kw : float
        AC to the chargers while it runs, from the start to the stop, mean. [kW]
    fuel_per_day : float or None
        In the unit of `fuel_per_h`, at the consumption given; it is given at half load, so this is a range's middle.
    most_load_kw : float
        The largest steady load that it can hold. [kW]
    text : str
        One or two sentences.
    """

    holds: bool
    on_h: float
    off_h: float
    duty_frac: float
    charge_kw: float
    fuel_per_day: float | None
    most_load_kw: float
    text: str


def refuel(
    pool: Pool,
    *,
    generator_kw: float,
    load_kw: float,
    between_kwh: tuple[float, float],
    fuel_per_h: float | None = None,
    adjustable: bool = True,
) -> Refuel:
    """Run a generator between two states of charge: the load is carried by it while it runs, by the units between.

    Parameters
    ----------
    pool : Pool
        `charge_kw` is the chargers' own AC limit; taper included.
    generator_kw : float
        Continuous power. [kW]
    load_kw : float
        Steady load of the house on the generator and on the units. [kW]
    between_kwh : tuple of float
        Stored energy at which it is started and at which it is stopped. [kWh]
    fuel_per_h : float, optional
        While it runs, per hour.
    adjustable : bool
        The charge rate can be set. If it cannot be set below what the generator has left, the generator stalls.

    Returns
    -------
    Refuel

    Raises
    ------
    BadInput
        Not 0 <= start < stop <= usable_kwh, or a power that is not above 0.

    Notes
    -----
    ``on = (stop - start) / (eta_c (P_gen - P_load))`` where the charger does not limit, ``off = (stop - start) /
    (P_load / eta_d + P_noload)``, ``duty = on / (on + off)``.

    Examples
    --------
    >>> pool = Pool(10, charge_efficiency=0.95, discharge_efficiency=0.95)
    >>> run = refuel(pool, generator_kw=4.0, load_kw=1.0, between_kwh=(2.0, 9.0), fuel_per_h=0.5)
    >>> round(run.on_h, 6), round(run.off_h, 6), round(run.duty_frac, 6), round(run.fuel_per_day, 4)
    (2.45614, 6.65, 0.269724, 3.2367)
    """
    start_kwh, stop_kwh = between_kwh
    _check(pool, generator_kw, load_kw, between_kwh)
    if not adjustable and pool.charge_kw + load_kw > generator_kw + 1e-9:
        text = (
            f"The chargers take {pool.charge_kw:.2f} kW on top of {load_kw:.2f} kW and cannot be set lower: a "
            f"generator of {generator_kw:g} kW stalls. The charge rate must be settable below its power."
        )
        return _never(text, max(generator_kw - pool.charge_kw, 0.0))
    spare_kw = min(generator_kw - load_kw, pool.charge_kw)
    if spare_kw <= 0.0:
        text = f"A load of {load_kw:.2f} kW leaves a generator of {generator_kw:g} kW nothing to charge with."
        return _never(text, generator_kw)
    end, on_h = fill(float(start_kwh), float(stop_kwh), spare_kw * pool.charge_efficiency, 0.0, pool.cell, 1e6)
    if end < stop_kwh:
        return _never("The units never reach the stop: their charging falls to nothing before it.", generator_kw)
    taken_kw = pool.drain_kw(load_kw)
    off_h = (stop_kwh - start_kwh) / taken_kw if taken_kw > 0.0 else inf
    duty = on_h / (on_h + off_h)
    fuel = None if fuel_per_h is None else 24.0 * duty * fuel_per_h
    charge_kw = (stop_kwh - start_kwh) / pool.charge_efficiency / on_h
    text = (
        f"It runs {on_h:.1f} h at a time, {duty:.0%} of the time, and charges at {charge_kw:.2f} kW beside a load of "
        f"{load_kw:.2f} kW; set the charge rate to {spare_kw:.2f} kW at most."
    )
    return Refuel(True, float(on_h), off_h, duty, charge_kw, fuel, generator_kw, text)


def _never(text: str, most_load_kw: float) -> Refuel:
    return Refuel(False, inf, 0.0, nan, 0.0, None, most_load_kw, text)


def _check(pool: Pool, generator_kw: float, load_kw: float, between_kwh: tuple[float, float]) -> None:
    if not 0.0 < generator_kw < inf:
        raise BadInput("must be above 0", key="generator.kw", value=generator_kw)
    if not 0.0 <= load_kw < inf:
        raise BadInput("must be 0 or above", key="load_kw", value=load_kw)
    if not 0.0 <= between_kwh[0] < between_kwh[1] <= pool.usable_kwh:
        raise BadInput("must be start and stop, 0 <= start < stop <= usable_kwh", key="between_kwh", value=between_kwh)


def bank_of(house) -> Pool:
    """All units of a house as one pool: a generator charges them together."""
    pools = [leg_pool.pool for leg_pool in house.pools]
    total = lambda name: sum(getattr(pool, name) for pool in pools)
    return replace(
        pools[0],
        usable_kwh=total("usable_kwh"),
        charge_kw=total("charge_kw"),
        discharge_kw=total("discharge_kw"),
        no_load_kw=total("no_load_kw"),
        takes_back_kw=total("takes_back_kw"),
        restart_kwh=0.0,
    )


def refuel_of(ride) -> dict | None:
    """What the site's generator does in each season of a ride; None without a generator or a unit.

    Parameters
    ----------
    ride : RideThrough
        Its load case gives the backed-up load.

    Returns
    -------
    dict or None
        connection, charge_settable, by season what `refuel` found, and a verdict: "fail" where it cannot hold a
        season's mean load, "marginal" where only the highest step exceeds it.
    """
    import numpy as np

    house = ride.house
    generator = house.site.generator
    if generator is None or not house.pools:
        return None
    bank = bank_of(house)
    adjustable = all(group.charge_adjustable for group in house.site.battery if group.count)
    kw = outage_kw(house, ride.load_case).sum(axis=0) + np.zeros(house.hours.n_steps)
    rows = {}
    for name, months in SEASONS.items():
        mean_kw = float(kw[np.isin(house.hours.month, months)].mean())
        run = refuel(
            bank,
            generator_kw=generator.kw,
            load_kw=mean_kw,
            between_kwh=(START_FRAC * bank.usable_kwh, STOP_FRAC * bank.usable_kwh),
            fuel_per_h=generator.fuel_per_h,
            adjustable=adjustable,
        )
        rows[name] = {"load_kw": mean_kw, **_plain(run)}
    verdict = "pass" if kw.max() <= generator.kw else "marginal"
    return {
        "kw": generator.kw,
        "connection": generator.connection,
        "charge_settable": adjustable,
        "verdict": verdict if all(row["holds"] for row in rows.values()) else "fail",
        "start_frac": START_FRAC,
        "stop_frac": STOP_FRAC,
        "by_season": rows,
        "highest_step_kw": float(kw.max()),
    }


def _plain(run: Refuel) -> dict:
    """Numbers that JSON can hold: what is infinite or no number becomes None."""
    finite = lambda value: not isinstance(value, float) or abs(value) < inf
    return {name: value if finite(value) else None for name, value in vars(run).items()}
