"""One design among others: its label, its outages, and its row of plain data."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from simulate.designs.shared_row import shared_row
from simulate.document.study import Study, storm_of
from simulate.house.bills import bills_of
from simulate.house.house import House
from simulate.house.interruptions import indices_in, interruptions_of, start_weight
from simulate.house.recharge import recharge_of
from simulate.house.reliability import reliability_row
from simulate.house.ride import RideThrough
from simulate.house.walked import HouseYear
from simulate.panel.sheets.price import installed_price
from simulate.physics.outages.spread import SEASONS, TOLERANCE_H, nine_in_ten
from simulate.site.site import Site

MARKS_H = (4, 8, 12, 24, 72)


@dataclass(frozen=True, eq=False)
class Design:
    """One design that was compared.

    Attributes
    ----------
    label : str
        Such as "3 units: 2 on A, 1 on B".
    ride : RideThrough
        Every outage of its year, the year inside.
    row : dict
        Its figures as plain data; see `Comparison`.
    """

    label: str
    ride: RideThrough
    row: dict


def where_text(house: House) -> str:
    """Units by leg in words.

    Examples
    --------
    >>> from simulate.site.site import read_site
    >>> from simulate.house.house import house_of
    >>> where_text(house_of(read_site()))
    '1 on A, 1 on B'
    """
    words = {"AB": "both legs"}
    return ", ".join(f"{pool.n_units} on {words.get(pool.legs, pool.legs)}" for pool in house.pools)


def design_of(label: str, ride: RideThrough, written: Site, before: Design | None) -> Design:
    """One design with its row; what it adds is against the design before it, where both carry the same circuits."""
    study = Study(ride.house.site, ride.run, ride, storm_of(ride), bills_of(ride.run))
    row = {"label": label, **_battery_row(ride, written), **_hours_row(ride), **_year_row(study), **shared_row(study)}
    p10, price = row["hours"]["year"]["p10"], row["price"]
    row["hours_per_1000"] = 1000.0 * p10 / price if price and not row["stands_apart"] else None
    row["more_hours"] = row["more_hours_per_1000"] = None
    if before is not None and before.row["never_carried"] == row["never_carried"] and not row["stands_apart"]:
        row["more_hours"] = p10 - before.row["hours"]["year"]["p10"]
        paid = (price or 0.0) - (before.row["price"] or 0.0)
        row["more_hours_per_1000"] = 1000.0 * row["more_hours"] / paid if price and paid > 0.0 else None
    return Design(label, ride, row)


def _battery_row(ride: RideThrough, written: Site) -> dict:
    house = ride.house
    groups = [group for group in house.site.battery if group.count]
    counts = [(group.name, group.count) for group in house.site.battery]
    return {
        "n_units": sum(group.count for group in groups),
        "where": where_text(house),
        "by_leg": {pool.legs: pool.n_units for pool in house.pools},
        "as_written": house.site == written or counts == [(group.name, group.count) for group in written.battery],
        "usable_kwh": sum(pool.pool.usable_kwh for pool in house.pools),
        "usable_end_kwh": sum(group.count * group.unit_kwh * group.end_frac for group in groups),
        "installed_price": installed_price(house.site),
    }


def _hours_row(ride: RideThrough) -> dict:
    months = {"year": tuple(range(1, 13)), **SEASONS}
    ended = sum(ride.why_frac.values())
    last = ride.horizon_h + TOLERANCE_H
    carries = not never_carries_the_first(ride.house)
    hours = ride.hours * carries
    return {
        "carries_first_priority": carries,
        "hours": {name: three(ride.in_months(m)) for name, m in months.items()},
        "leg_hours": {leg: three(hours) for leg, hours in ride.leg_hours.items()},
        "censored_frac": float(ride.censored.mean()),
        "first_lost": ride.usually_lost,
        "why_frac": ride.why_frac,
        "more_units_cure_frac": ride.why_frac.get("empty", 0.0) / ended if ended else 0.0,
        "cure": cure_text(ride.why_frac),
        "covered_frac": {
            str(mark): float(np.mean(hours >= mark - TOLERANCE_H)) if mark <= last else None for mark in MARKS_H
        },
    }


def never_carries_the_first(house: House) -> bool:
    """A backed-up circuit of the first priority can be served by no wiring."""
    backed = [house.site.circuit[k] for k in house.backed]
    top = min((circuit.priority for circuit in backed), default=0)
    return any(circuit.priority == top and circuit.name in house.never_carried for circuit in backed)


def three(hours) -> dict[str, float]:
    """Nine in ten, middle and worst of hours survived. [h]

    Examples
    --------
    >>> three([3.0, 1.0, 2.0])
    {'p10': 1.0, 'p50': 2.0, 'worst': 1.0}
    """
    middle = float(np.quantile(hours, 0.5, method="lower"))
    return {"p10": nine_in_ten(hours), "p50": middle, "worst": float(np.min(hours))}


def cure_text(why_frac: dict[str, float]) -> str:
    """What more units can do about what ends the outages.

    Examples
    --------
    >>> cure_text({"overload": 1.0})
    'more energy cures none of it: overload'
    """
    others = ", ".join(sorted(why for why in why_frac if why != "empty"))
    if not why_frac:
        return "nothing is lost within the horizon"
    if not others:
        return "the units are empty: more energy adds hours"
    if "empty" not in why_frac:
        return f"more energy cures none of it: {others}"
    return f"more energy cures only empty units ({why_frac['empty']:.0%} of outages), not: {others}"


def _year_row(study: Study) -> dict:
    ride, run = study.ride, study.run
    no_load, on_grid = standing_kwh(run)
    recharge = recharge_of(run)
    return {
        **_reliability(ride),
        "recharge_h": None if recharge is None else _finite(recharge["from_empty_h"]),
        "service_exceeded": None if recharge is None else recharge["exceeds"],
        "no_load_kwh": no_load,
        "on_grid_kwh": on_grid,
        "saving": study.bills.saving,
    }


def _reliability(ride: RideThrough) -> dict:
    """Share ridden through and energy unserved, over all backed-up circuits so that designs can be compared."""
    house = ride.house
    kinds = interruptions_of(house.site.outage)
    if not kinds:
        return {"ridden_through_frac": None, "unserved_kwh_per_year": None}
    row = reliability_row(ride, kinds)
    never = [k for k in house.backed if house.site.circuit[k].name in house.never_carried]
    factor = [house.site.circuit[k].outage_factor(ride.load_case) for k in never]
    weight = start_weight(house.hours.month, house.site.outage.month_weights)
    never_kw = float(weight @ (house.circuit_kw[never].T @ np.array(factor))) if never else 0.0
    return {
        "ridden_through_frac": 0.0 if never_carries_the_first(house) else row["ridden_through_frac"],
        "unserved_kwh_per_year": row["unserved_kwh_per_year"] + never_kw * indices_in(kinds)["saidi_h"],
    }


def _finite(value: float) -> float | None:
    return value if np.isfinite(value) else None


def standing_kwh(run: HouseYear) -> tuple[float, float]:
    """No-load draw and on-grid draw of a year on the utility, what inverting and waiting cost. [kWh]

    Notes
    -----
    What conversion does not lose is one of the two, and the units invert or wait, so one unknown time is left; exact
    where the units are equal.
    """
    year, pools = run.year, run.asked.pools
    if not pools:
        return 0.0, 0.0
    h = year.step_h
    delivered = year.pool_discharge_kw.sum(axis=1) * h
    conversion = year.charge_kw.sum() * h * (1.0 - pools[0].charge_efficiency)
    conversion += sum(kwh * (pool.dc_per_ac - 1.0) for kwh, pool in zip(delivered, pools, strict=True))
    rest = year.loss_kw.sum() * h - conversion
    idle_kw, on_grid_kw = sum(pool.drain_kw(0.0) for pool in pools), sum(pool.on_grid_kw for pool in pools)
    hours = len(year.load_kw) * h
    inverting_h = (rest - on_grid_kw * hours) / (idle_kw - on_grid_kw) if idle_kw != on_grid_kw else 0.0
    no_load = idle_kw * inverting_h
    return float(no_load), float(rest - no_load)
