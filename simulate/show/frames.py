"""Months and circuits of a study as tables."""

from __future__ import annotations

import numpy as np

from profiles.rate.calendar import rate_calendar
from simulate.document.study import Study
from simulate.house.outage_met import outage_kw
from simulate.site.pools import leg_of


def months_frame(study: Study):
    """One row a billing month, or a billing cycle by its read date: energy, the bills, hours survived."""
    import pandas as pd

    step_h, year = study.run.hours.step_h, study.run.year
    calendar = rate_calendar(study.site.rate, study.run.hours)
    rows = []
    bills = study.bills
    for m, label in enumerate(calendar.labels):
        at = calendar.month == m
        row = {"month": label}
        for name in ("load", "solar", "import", "export", "charge", "discharge", "loss", "curtailed"):
            row[f"{name}_kwh"] = float(getattr(year, f"{name}_kw")[at].sum() * step_h)
        row["without_battery"] = bills.without_battery.by_month.get(label, 0.0)
        row["with_battery"] = bills.with_battery.by_month.get(label, 0.0)
        if at.any():
            hours = study.ride.hours[at]
            row["hours_p10"] = float(np.quantile(hours, 0.1, method="lower"))
            row["hours_p50"], row["hours_min"] = float(np.quantile(hours, 0.5, method="lower")), float(hours.min())
        rows.append(row)
    return pd.DataFrame(rows)


def circuits_frame(study: Study):
    """One row a circuit: wiring, energy, hours to its leg's end."""
    import pandas as pd

    house, ride = study.run.house, study.ride
    annual = house.circuit_kw.sum(axis=1) * house.hours.step_h
    in_outage = dict(zip(house.carried.tolist(), outage_kw(house, ride.load_case), strict=True))
    position = {index: c for c, index in enumerate(house.carried.tolist())}
    rows = []
    for k, circuit in enumerate(house.site.circuit):
        row = {
            "name": circuit.name,
            "on": circuit.on,
            "kind": circuit.kind,
            "poles": circuit.poles,
            "leg": leg_of(circuit, house.pools),
            "breaker_a": circuit.breaker_a,
            "priority": circuit.priority,
            "annual_kwh": float(annual[k]),
            "largest_mean_kw": float(house.circuit_kw[k].max()),
        }
        if k in position:
            pools = np.flatnonzero(house.share[:, position[k]] > 0.0)
            hours = np.minimum(ride.dark.dark_h[:, pools].min(axis=1), ride.horizon_h)
            row |= {
                "outage_mean_kw": float(in_outage[k].mean()),
                "hours_min": float(hours.min()),
                "hours_p10": float(np.quantile(hours, 0.1, method="lower")),
                "hours_p50": float(np.quantile(hours, 0.5, method="lower")),
            }
        row["carried"] = "yes" if k in position else "never" if circuit.on == "sub-panel" else "not on the sub-panel"
        rows.append(row)
    return pd.DataFrame(rows)
