"""The best possible on one house: what no plan can beat, and plans that look ahead."""

from __future__ import annotations

from dataclasses import dataclass

from simulate.house.ideal import least_cost_of
from simulate.house.priced import PricedMeter
from simulate.house.walked import HouseYear, without_battery_kw
from simulate.house.year import run_year
from simulate.optimum.best import METHOD, Worth
from simulate.optimum.linear import LINEAR
from simulate.physics.pool import Pool

ONE_UNIT = 1.0
"""A bound under one unit of currency is too small to take a share of."""
AGREES = 1e-6
WORTH_STEPS = 20_000
"""Steps of a year up to which HiGHS solves twice more, for the worth of one more kWh and kW: a tenth of a second."""


@dataclass(frozen=True)
class Bound:
    """What no plan can beat on the same rate and reserve, and where the plan stands.

    Attributes
    ----------
    saving : float or None
        Largest possible saving of the year. [currency]
    net : float or None
        The same with wear counted, where wear is given. [currency]
    method : str or None
        None where the bill has terms that the bound cannot hold.
    captured_frac : float or None
        Saving of the plan as a share of it.
    worth_of_more : Worth or None
        What one more kWh, and one more kW, would add to the largest possible saving of the year, floors as they are;
        None where that takes long: demand charges, binaries, beyond the exact programme also steps shorter than 30
        minutes. [currency/kWh], [currency/kW]
    notes : tuple of str
        Why there is none, or what it leaves out.
    """

    saving: float | None
    net: float | None
    method: str | None
    captured_frac: float | None
    worth_of_more: Worth | None = None
    notes: tuple[str, ...] = ()


def no_bound(why: str) -> Bound:
    """No bound, and the reason."""
    return Bound(None, None, None, None, notes=(f"no best possible is given: {why}",))


def bound_of(run: HouseYear, bills) -> Bound:
    """What no way of running a house can beat that keeps its reserve and ends as full as it begins, the year known.

    Parameters
    ----------
    run : HouseYear
        Its house, prices and reserve are used, and its saving for `captured_frac`; the plan is not.
    bills : FourBills
        Of the same year.

    Returns
    -------
    Bound
        All None, with a note that says why, where the bill has terms that no line stays below (tiers that may be left,
        a ratchet, netting by the month). A minimum bill and credit that is carried or lost can only add to a bill: they
        are left out, and said.
    """
    meter = PricedMeter(run.asked)
    if not run.asked.pools:
        return no_bound("there is no battery unit")
    if meter.beyond:
        return no_bound(f"not the same with and without the battery: {', '.join(meter.beyond)}")
    without_kw = without_battery_kw(run)
    beside = meter.straight_total(*without_kw) - meter.cost(*without_kw)
    walked_kw = (run.year.import_kw, run.year.export_kw)
    if abs(meter.straight_total(*walked_kw) - meter.cost(*walked_kw) - beside) > AGREES:
        return no_bound("not the same with and without the battery: a part of the bill")
    untouched = bills.without_battery.total - beside
    cost, method = least_cost_of(meter, wear_per_kwh=0.0)
    saving = untouched - cost
    wear = run.house.site.operation.wear_per_kwh
    worn = untouched - least_cost_of(meter, wear)[0] if wear > 0.0 else None
    captured = bills.saving / saving if saving >= ONE_UNIT else None
    quick = method == METHOD or (method == LINEAR and not meter.demands and run.hours.n_steps <= WORTH_STEPS)
    notes = tuple(f"{one} is left out of the best possible, which can only make it larger" for one in meter.left_out)
    return Bound(saving, worn, method, captured, _worth(meter, cost) if quick else None, notes)


def _worth(meter: PricedMeter, cost: float) -> Worth:
    """Forward differences, shared among the pools in proportion to their energy: two more solves."""
    more = (Pool(1.0, 0.0, 0.0), Pool(0.0, 1.0, 1.0))
    return Worth(*(cost - least_cost_of(meter, 0.0, one)[0] for one in more))


def best_year(site) -> HouseYear:
    """The year of a site run as well as anybody could with the year known beforehand.

    Parameters
    ----------
    site : Site

    Returns
    -------
    HouseYear
        Of `operation.plan = "best-possible"`: an upper mark, not a forecast.

    Examples
    --------
    >>> from simulate.site.site import read_site
    >>> best_year(read_site()).asked.plan
    'best-possible'
    """
    return run_year(site.with_values({"operation.plan": "best-possible"}))
