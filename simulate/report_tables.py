"""The tables and the first warnings of the report, every cell a text."""

from __future__ import annotations

import calendar
from dataclasses import dataclass

import numpy as np

from profiles.load import DailyLoad, DegreeLoad, DesignLoad, MeasuredLoad, MeterLoad, NameplateLoad, ShapedLoad
from simulate import cautions, view
from simulate.bill import rounded_to_add
from simulate.document import Study
from simulate.outage import SEASONS, lasting_frac, nine_in_ten
from simulate.outputs import circuits_frame

KNOWN_BY = {
    MeterLoad: "metered", MeasuredLoad: "measured", ShapedLoad: "kWh a year, typical schedule", DailyLoad: "stated use",
    NameplateLoad: "nameplate only: low confidence", DegreeLoad: "estimated from weather",
    DesignLoad: "estimated from weather",
}  # fmt: skip
BILLS = {"today": "today's rate, no battery", "without_battery": "this rate, no battery",
         "with_battery": "this rate, with the battery"}  # fmt: skip
VERDICTS = ("fail", "not-assessed", "marginal", "pass")


@dataclass(frozen=True)
class Table:
    """A table of texts; the first cell of a row names the row, `total` marks the last row as a sum."""

    caption: str
    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    total: bool = False


def tables_of(study: Study) -> dict[str, Table]:
    """The tables of the report by name; what a study has nothing to show in is left out."""
    makers = {
        "seasons": _seasons, "units": _units, "circuits": _circuits, "outages": _outages, "legs": _legs,
        "bills": _bills, "reserve": _reserve, "findings": _findings, "energy": _energy, "money": _money,
        "money_years": _money_years, "known": _known,
    }  # fmt: skip
    return {name: table for name, make in makers.items() if (table := make(study)).rows}


def warnings_of(study: Study) -> list[str]:
    """The three loudest warnings, for the first page; what is never carried stands above them by itself."""
    ride, panel, document = study.ride, study.document["panel"], study.document
    loud = []
    if study.medical:
        loud.append("Medical circuits: " + view.medical_text(study.medical, ride.horizon_h))
    if panel["fail"]:
        loud.append(
            f"{panel['fail']} panel checks are not met and {panel['not_assessed']} are not assessed for want of input."
        )
    if ride.why_frac.get("overload", 0.0) > 0.0:
        share = ride.why_frac["overload"]
        loud.append(f"An overload trips a unit in {share:.0%} of the outages: more units cure only empty ones.")
    loud += [text for text in document["cautions"] if text in (cautions.MANUAL, cautions.SOLAR_OFF)]
    if study.bills.saving < 0.0:
        loud.append(view.saving_text(study.bills))
    loud += [text for text in document["cautions"] if text not in (cautions.LICENSED, cautions.ESTIMATES)]
    return list(dict.fromkeys(loud))[:3]


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
    ride, storm = study.ride, study.storm
    rows = []
    for name, months in _spans(ride).items():
        at = np.isin(ride.house.hours.month, months)
        hours = [_hours(one, value(one.hours[at])) for one in (ride, storm) for value in (nine_in_ten, np.min)]
        rows.append((name, *hours, _why(ride, at)))
    header = ("power fails in", f"{ride.load_case}, nine times in ten", f"{ride.load_case}, worst",
              "storm, nine times in ten", "storm, worst", f"what ends it ({ride.load_case})")  # fmt: skip
    return Table("Hours to the first unserved circuit of priority 1", header, tuple(rows))


def _units(study: Study) -> Table:
    system, rows = study.site.service.system, []
    for group in study.site.battery:
        circuit = group.charging_circuit
        rows.append((group.name, f"{group.count}", "A and B" if group.leg == "both" else group.leg,
                     group.locked_with or "not locked", f"{group.unit_kwh:.2f}", f"{group.unit_kw(system):.2f}",
                     f"{group.unit_charge_kw:.2f}", f"{circuit.breaker_a:g} A, {circuit.volts} V"))  # fmt: skip
    header = ("battery units", "count", "leg", "locked with", "usable, one [kWh]", "continuous, one [kW]",
              "charging, one [kW]", "charging circuit, each")  # fmt: skip
    return Table("Battery units", header, tuple(rows))


def _circuits(study: Study) -> Table:
    rows, horizon = [], study.ride.horizon_h
    for circuit, row in zip(study.site.circuit, circuits_frame(study).to_dict("records"), strict=True):
        hours = row.get("hours_p10")
        if row["carried"] != "yes":
            hours_text = "NEVER CARRIED, 0 h" if row["carried"] == "never" else "not backed up"
        else:
            hours_text = view.hours_text(float(hours), horizon)
        watts = "not stated" if circuit.running_w is None else f"{circuit.running_w:,.0f}"
        rows.append((circuit.name, circuit.on, "A and B" if row["leg"] == "AB" else row["leg"], f"{circuit.poles}",
                     f"{circuit.breaker_a:g}", f"{circuit.priority}", watts, f"{row['annual_kwh']:,.0f}",
                     circuit.if_lost or "not stated", hours_text))  # fmt: skip
    header = ("circuit", "on", "leg", "poles", "breaker [A]", "priority", "running [W]", "year [kWh]", "if lost",
              "nine times in ten")  # fmt: skip
    return Table("Circuits and legs; hours are to the moment at which the circuit's leg goes dead", header, tuple(rows))


def _outages(study: Study) -> Table:
    rows = []
    for case in dict.fromkeys((study.ride, study.storm)):
        for name, months in {**SEASONS, "whole year": tuple(range(1, 13))}.items():
            at = np.isin(case.house.hours.month, months)
            hours = case.hours[at]
            spans = (hours.min(), nine_in_ten(hours), np.quantile(hours, 0.5, method="lower"))
            lasting = lasting_frac(hours, case.horizon_h)
            of = [lasting[mark] for mark in ("12", "24", "72")]
            shares = ["not followed" if share is None else f"{share:.0%}" for share in of]
            rows.append((f"{name}, {case.load_case}", *(_hours(case, h) for h in spans), *shares, _why(case, at)))
    header = ("power fails in, load", "worst", "nine times in ten", "middle", "last 12 h", "last 24 h", "last 72 h",
              "what ends it")  # fmt: skip
    return Table("Outage performance by season; usual and storm are never blended", header, tuple(rows))


def _legs(study: Study) -> Table:
    rows = []
    for case in dict.fromkeys((study.ride, study.storm)):
        for leg, hours in case.leg_hours.items():
            cells = []
            for months in (SEASONS["winter"], SEASONS["summer"], tuple(range(1, 13))):
                part = hours[np.isin(case.house.hours.month, months)]
                cells += [_hours(case, part.min()), _hours(case, nine_in_ten(part))]
            rows.append((f"leg {leg}, {case.load_case}", *cells))
    header = ("leg, load", "winter, worst", "winter, nine in ten", "summer, worst", "summer, nine in ten",
              "year, worst", "year, nine in ten")  # fmt: skip
    return Table("Hours to the first unserved single-pole circuit on each leg", header, tuple(rows))


def _bills(study: Study) -> Table:
    bills = {name: getattr(study.bills, name) for name in BILLS if getattr(study.bills, name) is not None}
    items = list(dict.fromkeys((line.kind, line.name) for bill in bills.values() for line in bill.lines))
    sums = {name: rounded_to_add([_item(bill, item) for item in items]) for name, bill in bills.items()}
    rows = [(_item_name(item), *(f"{sums[name][k] + 0.0:,.2f}" for name in bills)) for k, item in enumerate(items)]
    rows.append(("total", *(f"{sum(sums[name]):,.2f}" for name in bills)))
    currency = study.bills.with_battery.currency
    return Table(f"The bills of the year, {currency}", ("line", *(f"{BILLS[name]} [{currency}]" for name in bills)),
                 tuple(rows), total=True)  # fmt: skip


def _item(bill, item: tuple[str, str]) -> float:
    return sum(line.amount for line in bill.lines if (line.kind, line.name) == item)


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
        rows.append((calendar.month_name[m], f"{share:.0%}", f"{stored.mean():.2f}",
                     *(_hours(one, nine_in_ten(one.hours[at])) for one in (ride, study.storm)),
                     _hours(ride, ride.hours[at].min())))  # fmt: skip
    header = ("month", "reserve, share of full", "stored at the start, mean [kWh]", f"{ride.load_case}, nine in ten",
              "storm, nine in ten", f"{ride.load_case}, worst")  # fmt: skip
    return Table("Reserve by month and the hours that it leaves", header, tuple(rows))


def _findings(study: Study) -> Table:
    rows = []
    findings = study.document["panel"]["findings"]
    for finding in sorted(findings, key=lambda one: VERDICTS.index(one["verdict"])):
        number = lambda key, one=finding: "" if one[key] is None else f"{one[key]:.4g} {one['unit']}".strip()
        rows.append((finding["verdict"], finding["check"], finding["subject"], number("value"), number("limit"),
                     number("margin"), finding["basis"], finding["text"]))  # fmt: skip
    header = ("verdict", "check", "subject", "value", "limit", "margin", "basis", "what was found")
    return Table("Panel checks, what is not met first", header, tuple(rows))


def _energy(study: Study) -> Table:
    energy = study.document["energy_kwh"]
    names = {"solar": 1, "import": 1, "export": -1, "load": -1, "loss": -1, "curtailed": -1, "stored_change": -1}
    printed = rounded_to_add([sign * energy[name] for name, sign in names.items()], total=0.0, digits=0)
    words = {"solar": "solar, what the roof could give", "import": "bought", "export": "sold",
             "load": "used by the house", "loss": "lost in the units", "curtailed": "solar not used",
             "stored_change": "more stored at the end than at the start"}  # fmt: skip
    rows = [(words[name], f"{kwh:+,.0f}") for name, kwh in zip(names, printed, strict=True)]
    rows.append(("left over", f"{abs(energy['residual']):.6f}"))
    return Table("Energy of the year, in and out of the house", ("", "[kWh]"), tuple(rows), total=True)


def _money(study: Study) -> Table:
    money = study.document["money"] or {}
    rows = [(_words(key), _value(value)) for key, value in money.items()
            if value is None or isinstance(value, int | float | str)]  # fmt: skip
    return Table("Money", ("", f"[{study.bills.with_battery.currency}, years, shares]"), tuple(rows))


def _money_years(study: Study) -> Table:
    by_year = (study.document["money"] or {}).get("by_year") or []
    header = tuple(by_year[0]) if by_year else ()
    rows = tuple(tuple(_value(row[key]) for key in header) for row in by_year)
    return Table("Cash flow by year; what is paid is negative", tuple(map(_words, header)), rows)


def _words(key: str) -> str:
    return key.replace("_frac", " [0 to 1]").replace("_per_kwh", " per kWh").replace("_", " ")


def _value(value) -> str:
    if value is None:
        return "none"
    return f"{value:,.2f}" if isinstance(value, float) else f"{value}"


def _known(study: Study) -> Table:
    rows = [(circuit.name, _known_by(circuit.load)) for circuit in study.site.circuit]
    service = study.site.service
    for name, load in (("other load of the house", service.other_load), ("whole house", service.whole_house)):
        if load is not None:
            rows.append((name, _known_by(load)))
    return Table("How the energy of each circuit is known", ("circuit", "known by"), tuple(rows))


def _known_by(load) -> str:
    parts = load if isinstance(load, tuple) else (load,)
    return ", ".join(dict.fromkeys(KNOWN_BY.get(type(part), "stated power and time") for part in parts))
