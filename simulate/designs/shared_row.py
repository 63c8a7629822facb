"""The row by which designs stand beside one another in `compare`, `choose`, `design` and on the drawing board."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from simulate.designs.draft import units_on_legs
from simulate.document.answers import lost_first
from simulate.document.study import Study
from simulate.document.words import hours_text
from simulate.house.recharge import recharge_of
from simulate.house.ride import RideThrough
from simulate.house.storm import storm_stated
from simulate.panel.sheets.price import installed_price
from simulate.physics.outages.spread import TOLERANCE_H, nine_in_ten


@dataclass(frozen=True)
class Target:
    """Hours [h] that a share of the outages of some months must last, and the load case."""

    hours: float
    share: float
    months: tuple[int, ...]
    load_case: str

    def in_months(self, ride: RideThrough) -> np.ndarray:
        """Hours of the outages that begin in its months. [h]"""
        return ride.in_months(self.months)

    def needed(self, n: int) -> int:
        """How many of n outages must last so long."""
        return int(np.ceil(self.share * n - 1e-9))

    def met_by(self, hours: np.ndarray) -> bool:
        """So many hours in so large a share of these outages."""
        return int((hours >= self.hours - TOLERANCE_H).sum()) >= self.needed(len(hours))


def shared_row(study: Study, target: Target | None = None) -> dict:
    """One design as a row: hours, what is never carried, checks, price, bill, service amperes.

    Parameters
    ----------
    study : Study
        Of the design.
    target : Target, optional
        `meets` is None without it.

    Returns
    -------
    dict
        units by leg, circuits (all that are backed up), reserve, hours_p10, end_of_warranty_p10 and storm_p10 (None
        where no storm load is stated) of the year [h], never_carried, stands_apart (never carries a circuit of the
        first priority or a medical one: it is not ranked), fails, not_assessed (panel checks), price [currency],
        change of the bill against today [currency/year], service_a (None where the units cannot charge), meets, why.

    Examples
    --------
    >>> from simulate.document.study import study
    >>> row = shared_row(study())
    >>> row["units"], row["never_carried"], row["meets"]
    ({'A': 1, 'B': 1, 'both': 0}, [], None)
    """
    site, ride = study.site, study.ride
    recharge = recharge_of(study.run)
    apart = [circuit.name for circuit in lost_first(site, ride.house.never_carried)]
    meets = None if target is None else not apart and target.met_by(target.in_months(ride))
    return {
        "units": {"A": 0, "B": 0, "both": 0} | units_on_legs(site),
        "circuits": [circuit.name for circuit in site.circuit if circuit.on == "sub-panel"],
        "reserve": study.run.asked.reserve,
        "hours_p10": nine_in_ten(ride.hours),
        "end_of_warranty_p10": nine_in_ten(study.aged.hours),
        "storm_p10": nine_in_ten(study.storm.hours) if storm_stated(site) else None,
        "never_carried": list(ride.house.never_carried),
        "stands_apart": bool(apart),
        "fails": sum(one.verdict == "fail" for one in study.findings),
        "not_assessed": sum(one.verdict == "not-assessed" for one in study.findings),
        "price": installed_price(site),
        "change": study.bills.change,
        "service_a": None if recharge is None else recharge["service_a"],
        "meets": meets,
        "why": _why(ride, target, apart, meets),
    }


def _why(ride: RideThrough, target: Target | None, apart: list[str], meets: bool | None) -> str:
    """Why a design stands apart or misses the target; "" where it does neither."""
    if apart:
        return f"never carries {', '.join(apart)}"
    if target is None or meets:
        return ""
    hours = target.in_months(ride)
    lasting = float(np.mean(hours >= target.hours - TOLERANCE_H))
    reached = float(np.sort(hours)[::-1][target.needed(len(hours)) - 1])
    least = f"{target.share:.0%} of the outages last {hours_text(reached, ride.horizon_h)}"
    return f"{least}; {lasting:.1%} last {target.hours:g} h"


def ranked(rows: list[dict]) -> list[dict]:
    """Rows that may be called best or stand on a front: those that carry every first-priority and medical circuit."""
    return [row for row in rows if not row["stands_apart"]]


def on_front(rows: list[dict]) -> list[bool]:
    """Whether no other row is as cheap and lasts longer, or lasts as long for less; what stands apart is not on it.

    Examples
    --------
    >>> row = lambda price, hours, apart=False: {"price": price, "hours_p10": hours, "stands_apart": apart}
    >>> on_front([row(1.0, 5.0), row(2.0, 5.0), row(3.0, 9.0), row(0.5, 20.0, True)])
    [True, False, True, False]
    """
    good = [row for row in ranked(rows) if row["price"] is not None]
    beats = lambda a, b: (
        a["price"] <= b["price"]
        and a["hours_p10"] >= b["hours_p10"]
        and (a["price"] < b["price"] or a["hours_p10"] > b["hours_p10"])
    )
    return [any(row is one for one in good) and not any(beats(one, row) for one in good) for row in rows]
