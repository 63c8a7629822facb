"""The folder of a study: summary, tables, the site as understood, report, figures."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np

from profiles.files import folder_for, written
from simulate.document.study import Study
from simulate.house.outage_met import outage_kw
from simulate.site.pools import leg_of
from simulate.site.site import site_toml


def write_study(study: Study, folder: str | Path) -> None:
    """Write all outputs of a study; every file is written beside its place and renamed.

    Parameters
    ----------
    study : Study
    folder : path
        Made where it is not there yet.
    """
    from simulate.show.plot import write_figures
    from simulate.show.report.report import write_report

    out = folder_for(folder)
    _text(out / "summary.json", json.dumps(study.summary, allow_nan=False, indent=1))
    _text(out / "site-used.toml", site_toml(study.site))
    tables = {
        "year.csv": study.run.to_frame(),
        "outages.csv": study.ride.to_frame(),
        "months.csv": months_frame(study),
        "circuits.csv": circuits_frame(study),
    }
    for name, frame in tables.items():
        with written(out / name) as beside:
            frame.to_csv(beside, index=False, lineterminator="\n")
    write_crew_sheets(study, out / "sheets")
    figures = write_figures(study, folder_for(out / "figures"))
    write_report(study, out / "report.html", figures=figures)


def write_pdf(study: Study, path: str | Path) -> None:
    """The client report printed to one PDF file by Chromium."""
    import tempfile

    from simulate.show.report.report import pdf_of, write_report

    with tempfile.TemporaryDirectory() as folder:
        page = Path(folder) / "report.html"
        write_report(study, page)
        pdf_of(page, Path(path))


def write_crew_sheets(study: Study, folder: str | Path, assignment=None) -> None:
    """The sheets that the crew and the client need, each as CSV, and all of them as one page to print."""
    from simulate.panel.sheets.sheets import sheets, write_sheets

    made = sheets(
        study.site, study.findings, client_answers(study), assignment=assignment, switch_off=study.switch_off.text
    )
    write_sheets(made, folder_for(folder))


def client_answers(study: Study) -> dict[str, str]:
    """Modelled hours in sentences for the client's page."""
    from simulate.physics.outages.spread import SEASONS, nine_in_ten
    from simulate.show.terminal.view import answer, hours_text, why_text

    ride, storm = study.ride, study.storm
    out = {"How long does it last?": answer(ride)}
    for name in ("winter", "summer"):
        usual, wild = (hours_text(nine_in_ten(one.in_months(SEASONS[name])), one.horizon_h) for one in (ride, storm))
        out[f"In {name}, nine times in ten"] = f"{usual} as usual; {wild} in the weather that causes outages."
    out["What goes dark first?"] = f"{ride.usually_lost}, mostly: {why_text(ride.why_frac)}."
    if ride.house.never_carried:
        out["What is never carried?"] = ", ".join(ride.house.never_carried)
    return out


def _text(path: Path, text: str) -> None:
    with written(path) as beside:
        beside.write_text(text, encoding="utf-8")


def months_frame(study: Study):
    """One row a billing month, or a billing cycle by its read date: energy, the bills, hours survived."""
    import pandas as pd

    from profiles.rate.calendar import rate_calendar

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
