"""The tables and the first warnings of the report, every cell a text."""

from __future__ import annotations

import calendar

import numpy as np

from simulate.bill.bill import KINDS, rounded_to_add
from simulate.bill.replay import verdict
from simulate.document.cash_table import cash_cells
from simulate.document.money_lines import money_lines
from simulate.document.rates import rate_cells
from simulate.document.study import Study
from simulate.document.uncertainty import CHOICES, NO_EFFECT, span_of
from simulate.document.words import measured
from simulate.house.storm import storm_stated
from simulate.physics.outages.spread import SEASONS, lasting_frac, nine_in_ten
from simulate.show.frames import circuits_frame
from simulate.show.report.sources import known, meters, sources
from simulate.show.report.table import Table
from simulate.show.report.weather import weather_years_table
from simulate.show.terminal import view

BILLS = {
    "today": "today",
    "new_rate": "this rate, as today else",
    "without_battery": "this rate, no battery",
    "with_battery": "this rate, with the battery",
}
VERDICTS = ("fail", "not-assessed", "marginal", "pass")


def tables_of(study: Study) -> dict[str, Table]:
    """The tables of the report by name; what a study has nothing to show in is left out."""
    makers = {
        "seasons": _seasons,
        "units": _units,
        "circuits": _circuits,
        "outages": _outages,
        "legs": _legs,
        "interruptions": _interruptions,
        "storm_days": _storm_days,
        "weather_years": weather_years_table,
        "replay": _replay,
        "rates": _rates,
        "bills": _bills,
        "plans": _plans,
        "reserve": _reserve,
        "findings": _findings,
        "energy": _energy,
        "ranges": _ranges,
        "money": _money,
        "money_years": _money_years,
        "spans": _spans_varied,
        "sources": sources,
        "meters": meters,
        "known": known,
    }
    return {name: table for name, make in makers.items() if (table := make(study)).rows}


def _cases(study: Study) -> tuple:
    """The load case of the site, and the storm case where the site says what its loads are then."""
    return (study.ride, study.storm) if storm_stated(study.site) else (study.ride,)


def _hours(ride, values) -> str:
    return view.hours_text(float(values), ride.horizon_h)


def _why(ride, at) -> str:
    kinds, counts = np.unique(ride.why[at], return_counts=True)
    parts = [(view.WHY_TEXT.get(str(kind), "outlived the horizon"), n) for kind, n in zip(kinds, counts, strict=True)]
    parts.sort(key=lambda part: -part[1])
    return "; ".join(f"{text} {n / at.sum():.0%}" for text, n in parts)


def _spans(ride) -> dict[str, tuple[int, ...]]:
    month = view.worst_month(ride)
    hardest = {f"hardest month, {calendar.month_name[month]}": (month,)}
    return {"winter (Dec to Feb)": SEASONS["winter"], "summer (Jun to Aug)": SEASONS["summer"], **hardest}


def _seasons(study: Study) -> Table:
    ride, cases, rows = study.ride, _cases(study), []
    for name, months in _spans(ride).items():
        at = np.isin(ride.house.hours.month, months)
        hours = [_hours(one, value(one.hours[at])) for one in cases for value in (nine_in_ten, np.min)]
        rows.append((name, *hours, _why(ride, at)))
    named = [f"{one.load_case}, {what}" for one in cases for what in ("nine times in ten", "worst")]
    header = ("power fails in", *named, f"what ends it ({ride.load_case})")
    return Table("Hours to the first unserved circuit of priority 1", header, tuple(rows))


def _plans(study: Study) -> Table:
    """Every plan that the site can run, the one that is run on top."""
    plans, currency = study.document.get("plans") or [], study.bills.with_battery.currency
    rows = [
        (
            f"{row['plan']} (as run)" if row["chosen"] else row["plan"],
            f"{row['saving']:+,.2f}",
            view.hours_text(row["hours_p10"], study.ride.horizon_h),
            view.hours_text(row["hardest_month_p10"], study.ride.horizon_h),
            f"{row['breaks_per_year']:,.0f}",
        )
        for row in sorted(plans, key=lambda row: not row["chosen"])
    ]
    header = ("plan", f"off the bill [{currency}]", "year, nine times in ten", "hardest month", "breaks a year")
    return Table("What each plan takes off the bill and how long it lasts", header, tuple(rows))


def _units(study: Study) -> Table:
    system, rows = study.site.service.system, []
    for group in study.site.battery:
        circuit = group.charging_circuit
        rows.append(
            (
                group.name,
                f"{group.count}",
                "A and B" if group.leg == "both" else group.leg,
                group.locked_with or "not locked",
                f"{group.unit_kwh:.2f}",
                f"{group.unit_kw(system):.2f}",
                f"{group.unit_charge_kw:.2f}",
                f"{circuit.breaker_a:g} A, {circuit.volts} V",
            )
        )
    header = (
        "battery units",
        "count",
        "leg",
        "locked with",
        "usable, one [kWh]",
        "continuous, one [kW]",
        "charging, one [kW]",
        "charging circuit, each",
    )
    return Table("Battery units", header, tuple(rows))


def _circuits(study: Study) -> Table:
    rows, horizon = [], study.ride.horizon_h
    for circuit, row in zip(study.site.circuit, circuits_frame(study).to_dict("records"), strict=True):
        hours = row.get("hours_p10")
        if row["carried"] != "yes":
            hours_text = "never carried, 0 h" if row["carried"] == "never" else "not backed up"
        else:
            hours_text = view.hours_text(float(hours), horizon)
        watts = "not stated" if circuit.running_w is None else f"{circuit.running_w:,.0f}"
        rows.append(
            (
                circuit.name,
                circuit.on,
                "A and B" if row["leg"] == "AB" else row["leg"],
                f"{circuit.poles}",
                f"{circuit.breaker_a:g}",
                f"{circuit.priority}",
                watts,
                f"{row['annual_kwh']:,.0f}",
                circuit.if_lost or "not stated",
                hours_text,
            )
        )
    header = (
        "circuit",
        "on",
        "leg",
        "poles",
        "breaker [A]",
        "priority",
        "running [W]",
        "year [kWh]",
        "if lost",
        "nine times in ten",
    )
    return Table("Circuits and legs; hours are to the moment at which the circuit's leg goes dead", header, tuple(rows))


def _outages(study: Study) -> Table:
    rows = []
    for case in _cases(study):
        for name, months in {**SEASONS, "whole year": tuple(range(1, 13))}.items():
            at = np.isin(case.house.hours.month, months)
            hours = case.hours[at]
            spans = (hours.min(), nine_in_ten(hours), np.quantile(hours, 0.5, method="lower"))
            lasting = lasting_frac(hours, case.horizon_h)
            of = [lasting[mark] for mark in ("12", "24", "72")]
            shares = ["not followed" if share is None else f"{share:.0%}" for share in of]
            rows.append((f"{name}, {case.load_case}", *(_hours(case, h) for h in spans), *shares, _why(case, at)))
    header = (
        "power fails in, load",
        "worst",
        "nine times in ten",
        "half last at least",
        "last 12 h",
        "last 24 h",
        "last 72 h",
        "what ends it",
    )
    return Table("Outage performance by season; usual and storm are never blended", header, tuple(rows))


def _legs(study: Study) -> Table:
    rows = []
    for case in _cases(study):
        for leg, hours in case.leg_hours.items():
            cells = []
            for months in (SEASONS["winter"], SEASONS["summer"], tuple(range(1, 13))):
                part = hours[np.isin(case.house.hours.month, months)]
                cells += [_hours(case, part.min()), _hours(case, nine_in_ten(part))]
            rows.append((f"leg {leg}, {case.load_case}", *cells))
    header = (
        "leg, load",
        "winter, worst",
        "winter, nine times in ten",
        "summer, worst",
        "summer, nine times in ten",
        "year, worst",
        "year, nine times in ten",
    )
    return Table("Hours to the first unserved single-pole circuit on each leg", header, tuple(rows))


def _interruptions(study: Study) -> Table:
    found, rows = study.document["outage"]["reliability"], []
    for case, row in (found or {"cases": {}})["cases"].items():
        rows.append(
            (
                f"{case} load",
                f"{row['ridden_through_frac']:.0%}",
                f"{row['out']['saifi']:.2f}",
                f"{row['out']['saidi_h']:.1f}",
                f"{row['without_battery_kwh_per_year']:.1f}",
                f"{row['unserved_kwh_per_year']:.1f}",
            )
        )
    header = (
        "load case",
        "interruptions ridden through",
        "felt, a year",
        "hours dark, a year [h]",
        "not served without battery [kWh a year]",
        "not served with battery [kWh a year]",
    )
    return Table("Interruptions of an average year, expected values", header, tuple(rows))


def _storm_days(study: Study) -> Table:
    found, horizon = study.document["outage"]["reliability"], study.storm.horizon_h
    rows = [
        (
            f"{day['why'].replace('-', ' ')} day, {day['date']}",
            f"{day['temp_c']:.0f}",
            f"{day['ghi_kwh_m2']:.1f}",
            *(view.hours_text(day["hours"][name], horizon) for name in ("min", "p50")),
        )
        for day in (found or {}).get("storm_days") or ()
    ]
    header = (
        "power fails on the",
        "outdoors, mean [degC]",
        "sun on flat ground [kWh/m2]",
        "worst",
        "half last at least",
    )
    weather = study.site.weather
    source = "modelled weather" if weather is None or weather.storm_years is None else "actual years"
    return Table(f"Storm load on the hardest days of the {source}", header, tuple(rows))


def _replay(study: Study) -> Table:
    rows = []
    for one in study.replayed:
        theirs, more = rounded_to_add([one.theirs, one.ours - one.theirs])
        share = f"{(one.ours - one.theirs) / abs(one.theirs):+.1%}" if one.theirs else "not defined"
        said = "; ".join(("within 1%",) * one.is_close + (*one.because, *one.notes))
        rows.append((one.label, f"{theirs:,.2f}", f"{theirs + more:,.2f}", share, said))
    currency = study.bills.with_battery.currency
    header = ("printed bill", f"theirs [{currency}]", f"ours [{currency}]", "difference", "what it comes from")
    title = f"{verdict(study.replayed)} Printed bills beside ours" if study.replayed else ""
    return Table(title, header, tuple(rows))


def _rates(study: Study) -> Table:
    beside = study.beside
    currency = "" if beside is None else beside.currency
    header = ("rate", "no battery", "change", "with battery", "change", "best plan")
    rows = () if beside is None else tuple(rate_cells(beside))
    return Table(f"The same house on each rate, and the change against today [{currency} a year]", header, rows)


def _bills(study: Study) -> Table:
    bills = study.bills.apart
    named = {name: bill.by_item for name, bill in bills.items()}
    items = sorted(dict.fromkeys(item for own in named.values() for item in own), key=lambda item: KINDS.index(item[0]))
    sums = {name: rounded_to_add([own.get(item, 0.0) for item in items]) for name, own in named.items()}
    cell = lambda name, k: f"{sums[name][k] + 0.0:,.2f}" if items[k] in named[name] else "none"
    rows = [(_item_name(item), *(cell(name, k) for name in bills)) for k, item in enumerate(items)]
    rows.append(("total", *(f"{sum(sums[name]):,.2f}" for name in bills)))
    currency = study.bills.with_battery.currency
    return Table(
        f"The bills of the year, {currency}",
        ("line", *(f"{BILLS[name]} [{currency}]" for name in bills)),
        tuple(rows),
        total=True,
    )


def _item_name(item: tuple[str, str]) -> str:
    return f"energy, {item[1]}" if item[0] == "energy" else item[1]


def _reserve(study: Study) -> Table:
    ride, asked = study.ride, study.run.asked
    usable = sum(leg_pool.pool.usable_kwh for leg_pool in study.run.house.pools)
    month, rows = study.run.hours.month, []
    for m in range(1, 13):
        at = month == m
        share = asked.floor_kwh[:, at].sum(axis=0).mean() / usable if usable else 0.0
        stored = ride.soc_kwh[:, at].sum(axis=0)
        rows.append(
            (
                calendar.month_name[m],
                f"{share:.0%}",
                f"{stored.mean():.2f}",
                *(_hours(one, nine_in_ten(one.hours[at])) for one in _cases(study)),
                _hours(ride, ride.hours[at].min()),
            )
        )
    header = (
        "month",
        "reserve, share of full",
        "stored at the start, mean [kWh]",
        *(f"{one.load_case}, nine times in ten" for one in _cases(study)),
        f"{ride.load_case}, worst",
    )
    return Table("Reserve by month and the hours that it leaves", header, tuple(rows))


def _findings(study: Study) -> Table:
    rows = []
    findings = study.document["panel"]["findings"]
    for finding in sorted(findings, key=lambda one: VERDICTS.index(one["verdict"])):
        number = lambda key, one=finding: measured(one[key], one["unit"])
        rows.append(
            (
                finding["verdict"],
                finding["check"],
                finding["subject"],
                number("value"),
                number("limit"),
                number("margin"),
                finding["basis"],
                finding["text"],
            )
        )
    header = ("verdict", "check", "subject", "value", "limit", "margin", "basis", "what was found")
    return Table("Panel checks, what is not met first", header, tuple(rows))


def _energy(study: Study) -> Table:
    energy = study.document["energy_kwh"]
    names = {"solar": 1, "import": 1, "export": -1, "load": -1, "loss": -1, "curtailed": -1, "stored_change": -1}
    printed = rounded_to_add([sign * energy[name] for name, sign in names.items()], total=0.0, digits=0)
    words = {
        "solar": "solar, what the roof could give",
        "import": "bought",
        "export": "sold",
        "load": "used by the house",
        "loss": "lost in the units",
        "curtailed": "solar not used",
        "stored_change": "more stored at the end than at the start",
    }
    rows = [(words[name], f"{kwh:+,.0f}" if energy[name] else "none") for name, kwh in zip(names, printed, strict=True)]
    rows.append(("left over", f"{abs(energy['residual']):,.0f}"))
    return Table("Energy of the year, in and out of the house", ("flow", "[kWh]"), tuple(rows), total=True)


def _ranges(study: Study) -> Table:
    """Low, stated and high of the saving, the hours and the present value."""
    ranges, currency, rows = study.ranges, study.bills.with_battery.currency, []
    whole = lambda value: f"{value:,.0f} {currency}"
    hours = lambda value: view.hours_text(value, study.ride.horizon_h)
    for name, results, word in (
        ()
        if ranges is None
        else (
            ("bill saving of a first year", ranges.saving, whole),
            ("hours, nine times in ten", ranges.hours, hours),
            ("net present value", ranges.npv, whole),
        )
    ):
        if results:
            low, mid, high = map(word, span_of(results))
            moved = [row.name for row in results if row.swing >= NO_EFFECT and row.name not in CHOICES]
            rows.append((name, low, mid, high, moved[0] if moved else "none"))
    header = ("result", "low", "as stated", "high", "moved most by")
    return Table("Results as ranges, one uncertain input at a time", header, tuple(rows))


def _spans_varied(study: Study) -> Table:
    ranges = study.ranges
    rows = {} if ranges is None else {row.name: row for row in (*ranges.npv, *ranges.saving, *ranges.hours)}
    cells = [
        (name, f"{row.low:.3g}", f"{row.mid:.3g}", f"{row.high:.3g}", ranges.spans[name].unit, ranges.spans[name].basis)
        for name, row in rows.items()
    ]
    return Table(
        "What was varied, and on what ground", ("input", "low", "as stated", "high", "unit", "ground"), tuple(cells)
    )


def _money(study: Study) -> Table:
    worth = study.worth
    rows = () if worth is None else tuple(money_lines(worth, worth.document()))
    years = "" if worth is None else f" over {worth.money.years} years"
    header = ("figure", f"[{study.bills.with_battery.currency}], or as named")
    return Table(f"Money{years}, all inputs as stated", header, rows)


def _money_years(study: Study) -> Table:
    """The cash flow, its printed cells adding up in both directions; a part that never occurs is left out."""
    header, rows = cash_cells((study.document["money"] or {}).get("by_year") or [])
    currency = study.bills.with_battery.currency
    return Table(f"Cash flow by year [{currency}]; what is paid is negative", header, tuple(rows))
