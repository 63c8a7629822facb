"""After the power is back: how the stored energy returns, and what it draws from the service."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from simulate.house.recharge import charging_leg_a, refill_h, stored_after_kwh
from simulate.show.plot.paper import GREY, INK, LINES, TEXT_PT, key_above, name_axes, paper
from simulate.site.load_calculation import service_load

STEP_H = 0.05


@dataclass(frozen=True, eq=False)
class Refill:
    """From the cutoff to full.

    Attributes
    ----------
    at_h : ndarray, shape (n,)
        Hours since the utility returned. [h]
    soc_kwh : dict
        By pool name, stored energy, shape (n,). [kWh]
    service_a : dict
        By service leg, current of the charging circuits on top of the house, shape (n,). [A]
    limit_a : float or None
        Main breaker. [A]
    on_top_of : str
        What the current is counted on top of.
    """

    at_h: np.ndarray
    soc_kwh: dict
    service_a: dict
    limit_a: float | None
    on_top_of: str


def refill_of(run) -> Refill | None:
    """The refill of a `HouseYear`'s pools from empty, all units charging at once; None where nothing charges."""
    house = run.house
    service, wait_h = house.site.service, house.site.operation.after_outage_wait_min / 60.0
    longest_h = max((refill_h(leg_pool.pool) for leg_pool in house.pools), default=np.inf)
    if not np.isfinite(longest_h):
        return None
    at_h = np.arange(0.0, wait_h + 1.1 * longest_h + STEP_H, STEP_H)
    soc_kwh, house_a = {}, service_load(house.site).amps
    base = house_a or 0.0
    amps = {leg: np.full(len(at_h), base) for leg in (("A",) if service.system == "120" else ("A", "B"))}
    for leg_pool in house.pools:
        stored = np.array([stored_after_kwh(leg_pool.pool, h, wait_h=wait_h) for h in at_h])
        share = _charging_share(leg_pool.pool, stored) * (at_h >= wait_h)
        soc_kwh["both legs" if leg_pool.legs == "AB" else f"leg {leg_pool.legs}"] = stored
        for leg, full_a in charging_leg_a(leg_pool.groups, service.system).items():
            if leg in amps:
                amps[leg] += full_a * share
    house_too = house_a is not None
    return Refill(
        at_h,
        soc_kwh,
        amps,
        service.main_breaker_a if house_too else None,
        "the calculated load of the house" if house_too else "nothing: the house is not given",
    )


def _charging_share(pool, stored: np.ndarray) -> np.ndarray:
    """Charging power as a share of the most: less where it tapers, nothing once full."""
    cell, share = pool.cell, np.ones(len(stored))
    span = cell.usable_kwh - cell.taper_from_kwh
    if span > 0.0:
        share -= (1.0 - cell.taper_to_frac) * np.clip((stored - cell.taper_from_kwh) / span, 0.0, 1.0)
    return np.where(stored < pool.usable_kwh - 1e-9, share, 0.0)


def recharge_curve(refill: Refill, axes=None) -> np.ndarray:
    """Stored energy against hours after the power is back, and the current on each service leg below.

    Parameters
    ----------
    refill : Refill
    axes : two Axes, optional

    Returns
    -------
    ndarray of Axes, shape (2,)
    """
    above, below = paper(2, 1, height_in=4.2, gap=(0.1, 0.32))[:, 0] if axes is None else axes
    for k, (name, soc_kwh) in enumerate(refill.soc_kwh.items()):
        above.plot(refill.at_h, soc_kwh, label=f"stored, {name}", linewidth=1.8, **LINES[k])
    for k, (leg, amps) in enumerate(refill.service_a.items()):
        below.plot(refill.at_h, amps, drawstyle="steps-post", label=f"service leg {leg}", linewidth=1.8, **LINES[k])
    most = max(float(amps.max()) for amps in refill.service_a.values())
    if refill.limit_a is not None:
        below.axhline(refill.limit_a, color=INK, linewidth=1.4, linestyle=(0, (6, 2, 1, 2)))
        below.annotate(
            f"main breaker: {refill.limit_a:g} A",
            (1.0, refill.limit_a),
            xytext=(-2, -3),
            xycoords=("axes fraction", "data"),
            textcoords="offset points",
            ha="right",
            va="top",
            fontsize=TEXT_PT,
            color=INK,
        )
        most = max(most, refill.limit_a)
    for ax in (above, below):
        ax.set_xlim(0.0, refill.at_h[-1])
        ax.spines["bottom"].set_color(GREY)
    above.set_ylim(0.0, 1.1 * max(float(soc.max()) for soc in refill.soc_kwh.values()))
    below.set_ylim(0.0, 1.1 * most)
    name_axes(above, "", "stored energy [kWh]")
    name_axes(below, "hours after the power is back [h]", "service current [A]")
    key_above(above)
    key_above(below)
    return np.array([above, below])
