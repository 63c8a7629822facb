"""The timeline of one outage: when each backed-up circuit goes dark, and why."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from simulate.house.house import House
from simulate.house.ride import end_together
from simulate.panel.checks.layout import Layout
from simulate.panel.checks.motor import motor_findings
from simulate.physics.outages.island import WHY, Dark, Trace, follow_outage
from simulate.site.pools import leg_of
from simulate.site.site import Site

if TYPE_CHECKING:
    from simulate.house.ride import RideThrough

"""Two pools end together where so much less energy would have turned round which one ends first. [kWh]"""


def trace_of(ride: RideThrough, start: int, horizon_h: float | None = None) -> Trace:
    """Follow the outage that begins at one step, past the first circuit lost."""
    house = ride.house
    island, _ = ride.island()
    pools = tuple(leg_pool.pool for leg_pool in house.pools)
    return follow_outage(
        island,
        pools,
        ride.soc_kwh[:, start],
        int(ride.begin[start]),
        step_h=house.hours.step_h,
        horizon_h=horizon_h or ride.horizon_h,
    )


def who_goes_dark(ride: RideThrough, start: int) -> list[dict]:
    """Every backed-up circuit in one outage: when it is first unserved and why, the first lost first.

    Returns
    -------
    list of dict
        circuit, leg, priority, hours (None: outlives the horizon), why ("" then). A motor that the units cannot start
        has 0 hours. Where a manual transfer waits for somebody, each circuit has a row of its own for that, and its
        other hours count from the throw.
    """
    house = ride.house
    rows = []
    trace = trace_of(ride, start) if len(house.carried) else None
    dropped = ride.island()[1] if len(house.carried) else None
    stalled = cannot_start(house.site)
    for c, circuit in enumerate(house.circuits):
        on = np.flatnonzero(house.share[:, c] > 0.0)
        pool = int(on[ride.dark.dark_h[start, on].argmin()])
        hours, why = float(ride.dark.dark_h[start, pool]), WHY.get(int(ride.dark.why[start, pool]), "")
        why = "other-leg" if why and len(on) > 1 and not _both_end(ride, start) else why
        shed = _first_drop(house, trace, dropped, c, int(ride.begin[start]))
        if shed < hours:
            hours, why = shed, "overload"
        if ride.begin[start] != start:
            rows.append(_row_of(house, circuit, 0.0, "not-thrown"))
        if circuit.name in stalled:
            hours, why = 0.0, "motor-start"
        rows.append(_row_of(house, circuit, hours if np.isfinite(hours) else None, why))
    never = [circuit for circuit in house.site.circuit if circuit.name in house.never_carried]
    rows += [_row_of(house, circuit, 0.0, "never-carried") for circuit in never]
    return sorted(rows, key=lambda row: np.inf if row["hours"] is None else row["hours"])


def cannot_start(site: Site) -> set[str]:
    """Names of the circuits whose motor the units cannot start, by the check `motor-start`."""
    findings = motor_findings(Layout(site))
    return {finding.subject for finding in findings if finding.verdict == "fail"}


def _both_end(ride: RideThrough, start: int) -> bool:
    """Whether both pools end at once in the outage that begins at one step."""
    house, one = ride.house, slice(start, start + 1)
    dark = Dark(*(getattr(ride.dark, name)[one] for name in ("dark_h", "shed_h", "why", "end_h")))
    asked = {"step_h": house.hours.step_h, "horizon_h": ride.horizon_h, "begin": ride.begin[one]}
    island, pools = ride.island()[0], tuple(leg_pool.pool for leg_pool in house.pools)
    return bool(end_together(island, pools, ride.soc_kwh[:, one], dark, **asked)[0])


def _row_of(house: House, circuit, hours: float | None, why: str) -> dict:
    leg = leg_of(circuit, house.pools)
    return {"circuit": circuit.name, "leg": leg, "priority": circuit.priority, "hours": hours, "why": why}


def _first_drop(house: House, trace: Trace, dropped: dict, circuit: int, begin: int) -> float:
    """Hours to the first step in which load control drops a circuit, infinite where it never does."""
    steps = (begin + np.arange(len(trace.by_hand))) % house.hours.n_steps
    off = np.where(trace.by_hand, dropped[1][circuit, steps], dropped[0][circuit, steps])
    return float(np.flatnonzero(off)[0] * house.hours.step_h) if off.any() else np.inf
