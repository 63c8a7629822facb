"""What a report stands on: the source and date of its inputs, the meters that were read, how each load is known."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from pathlib import Path

from profiles.loads.bills import BillsLoad
from profiles.loads.load import DailyLoad, DegreeLoad, DesignLoad, MeasuredLoad, MeterLoad, NameplateLoad, ShapedLoad
from profiles.meter import document
from simulate.document.study import Study
from simulate.show.report.table import Table

KNOWN_BY = {
    MeterLoad: "metered",
    MeasuredLoad: "measured",
    BillsLoad: "from bills",
    ShapedLoad: "kWh a year, typical schedule",
    DailyLoad: "stated use",
    NameplateLoad: "nameplate only: low confidence",
    DegreeLoad: "estimated from weather",
    DesignLoad: "estimated from weather",
}
SCHEDULES = "ANSI/RESNET/ICC 301-2022 Addendum C; Building America House Simulation Protocols 2010"
DEMO = "demo site"
"""What `read_site` calls the embedded site."""
DEFAULTS = {
    "round_trip_efficiency": "NREL ATB",
    "losses_frac": "NREL/TP-6A20-62641",
    "power_per_degc": "NREL/TP-6A20-62641",
    "reconnect_s": "IEEE 1547",
    "no_load_w": "engineering range, no citation",
    "on_grid_w": "engineering range, no citation",
    "start_s": "common practice, no source",
    "after_outage_wait_min": "common practice, no source",
    "sigma": "engineering range, no citation",
    "fade_frac_per_year": "engineering range, no citation",
}
"""Where a default comes from, by the last part of its key; the others are choices of ours."""


def with_source(assumption: str) -> str:
    """An assumption with the source of its default, where it has one.

    Examples
    --------
    >>> with_source("outage.reconnect_s = 300.0 (default)")
    'outage.reconnect_s = 300.0 (default: IEEE 1547)'
    """
    key, text, _ = assumption.partition(" = ")
    source = DEFAULTS.get(key.rpartition(".")[2])
    if not (text and source and assumption.endswith("(default)")):
        return assumption
    return assumption.removesuffix("(default)") + f"(default: {source})"


def sources(study: Study) -> Table:
    """Each input with its source and date."""
    header = ("input", "what was used", "source", "date")
    return Table("Inputs with their source and date", header, tuple(_inputs(study)))


def _inputs(study: Study) -> Iterator[tuple[str, str, str, str]]:
    site, run = study.site, study.run
    file, dated = Path(site.file).name, _date(site.file)
    if site.file == DEMO:
        file, dated = "embedded demo site", "comes with keeplit"
    yield "site file", site.site.name, file, dated
    kinds = dict.fromkeys(part for name, load in _loads(study) for part in _parts(load))
    if any(isinstance(part, ShapedLoad | MeasuredLoad) for part in kinds):
        yield "schedules of typical loads", "hourly and monthly shares", SCHEDULES, "2022; 2010"
    for name in dict.fromkeys(part.meter for part in kinds if isinstance(part, MeterLoad)):
        yield "meter", name, "file named by the site file", _date(site.folder / name)
    weather = run.house.sources.weather
    if weather is not None:
        years = "typical year: months of several" if weather.year is None else f"{weather.year}"
        of_years = f"weather.years = {site.weather.years}"
        yield "weather", f"{weather.name}, {weather.format}", site.weather.source or of_years, years
    for key, rate in (("rate", site.rate), ("today's rate", site.rate_today)):
        if rate is not None:
            yield key, rate.name, rate.description or f"as written in {file}", dated
    if site.site.code_edition:
        yield "edition of the Code", site.site.code_edition, "as stated; confirm in the adopted edition", dated
    if study.worth is not None:
        money = site.money
        rates = f"discount rate {money.discount_rate_frac:.1%}, prices rise {money.price_escalation_frac:.1%} a year"
        yield "money", rates, f"as stated in {file}", dated
        for one in money.incentives:
            amount = f"{one.amount:,.2f} {site.rate.currency}"
            ends = "last date not given" if one.last_date is None else f"until {one.last_date}"
            yield "incentive", f"{one.name}, {amount}, year {one.year}", "as stated; ask a tax professional", ends


def _date(path: str | Path) -> str:
    try:
        return dt.datetime.fromtimestamp(Path(path).stat().st_mtime, dt.UTC).date().isoformat()
    except OSError:
        return "not dated"


def meters(study: Study) -> Table:
    """What each meter file holds."""
    rows, site = [], study.site
    loads = dict.fromkeys(part for _, load in _loads(study) for part in _parts(load) if isinstance(part, MeterLoad))
    for load in loads:
        found = document(study.run.house.sources.meter(load, site.site.timezone))
        issues = "; ".join(f"{one['count']} {one['kind']}" for one in found["issues"]) or "none"
        span = f"{found['start']} to {found['end']}"
        rows.append(
            (
                load.meter,
                span,
                f"{found['interval_min']:g}",
                f"{found['readings']:,}",
                f"{found['completeness_frac']:.2%}",
                found["clock"],
                issues,
            )
        )
    header = ("meter file", "span", "interval [min]", "readings", "complete", "clock", "issues")
    return Table("Meter files", header, tuple(rows))


def known(study: Study) -> Table:
    """How the energy of each circuit is known."""
    rows = [(name, _known_by(load)) for name, load in _loads(study)]
    return Table("How the energy of each circuit is known", ("circuit", "known by"), tuple(rows))


def _loads(study: Study) -> list[tuple[str, object]]:
    service = study.site.service
    house = (("other load of the house", service.other_load), ("whole house", service.whole_house))
    return [
        *((circuit.name, circuit.load) for circuit in study.site.circuit),
        *((name, load) for name, load in house if load is not None),
    ]


def _parts(load) -> tuple:
    return load if isinstance(load, tuple) else (load,)


def _known_by(load) -> str:
    return ", ".join(dict.fromkeys(KNOWN_BY.get(type(part), "stated power and time") for part in _parts(load)))
