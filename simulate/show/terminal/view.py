"""What people see on a terminal and in a notebook: the document in the client's words."""

from __future__ import annotations

import calendar
import datetime as dt
from typing import TYPE_CHECKING

import numpy as np

from simulate.bill.bill import KINDS, rounded_to_add
from simulate.bill.four_bills import FourBills
from simulate.document.answers import hardest_month as worst_month
from simulate.document.answers import hours_sentence as answer
from simulate.document.money_answer import change_text, printed_steps
from simulate.document.study import Study
from simulate.document.words import hours_text, refill_text
from simulate.house.recharge import charging_stop
from simulate.house.ride import RideThrough
from simulate.house.storm import storm_stated
from simulate.physics.outages.spread import SEASONS, nine_in_ten
from simulate.site.cautions import ALWAYS, LIFE_SUPPORT, MANUAL, MONEY, SHORT

if TYPE_CHECKING:
    from rich.console import Console

STEPS = {
    "today": "today",
    "rate": "on the new rate",
    "solar": "with solar",
    "battery": "with the battery",
}
"""What each step of the bill is called."""
BILLS = {
    "today": "today",
    "new_rate": "new rate",
    "without_battery": "no battery",
    "with_battery": "with battery",
}
"""What the bills line by line are called."""


WORDS = ("where", "done", "why", "verdict", "leg", "unit")
"""Columns of words, which stand to the left."""
WHY_TEXT = {
    "empty": "the units are empty",
    "overload": "an overload trips a unit",
    "other-leg": "the unit on the other leg stops",
    "held-off": "solar is still held off",
    "never-carried": "no wiring can serve the circuits",
}


def why_text(why_frac: dict[str, float]) -> str:
    """What ends the outages' supply, by share, in words."""
    if not why_frac:
        return "nothing is lost within the horizon"
    ordered = sorted(why_frac.items(), key=lambda item: -item[1])
    text = ", ".join(f"{WHY_TEXT[why]} ({share:.0%})" for why, share in ordered)
    return text + "; more battery units cure only empty ones" if set(why_frac) != {"empty"} else text


def saving_text(bills: FourBills) -> str:
    """What the battery does to the bill in one sentence, as it is."""
    currency, saving = bills.with_battery.currency, bills.saving
    if saving < 0.0:
        return f"The battery adds about {-saving:,.0f} {currency} a year to the bill."
    return f"The bill saving by the battery is about {saving:,.0f} {currency} a year."


def show_study(study: Study, console: Console) -> None:
    """One screen: hours, what is lost, the bill, the checks, the cautions."""
    document = study.document
    console.print(
        f"[bold]{plain(document['site'])}[/bold]  modelled year {study.run.hours.year}, {document['steps']:,} steps"
    )
    show_stop(document["answer"]["stop"], console)
    stated = storm_stated(study.site)
    show_outage(study.ride, console, storm=study.storm if stated else None)
    if not stated:
        console.print("Storm loads not stated.")
    for line in outage_lines(study.ride, document):
        console.print(line)
    if document["weather_years"] is not None:
        console.print(plain(document["weather_years"]["text"]))
    show_bills(study.bills, console)
    if study.bound.captured_frac is not None:
        most = f"{study.bound.saving:,.0f} {study.bills.with_battery.currency}"
        console.print(
            f"With the year known beforehand the most would be {most}; the plan takes {study.bound.captured_frac:.0%}."
        )
    for line in bound_lines(study):
        console.print(plain(line))
    _show_panel(document["panel"], console)
    show_cautions(document["cautions"], console)


def bound_lines(study: Study) -> list[str]:
    """Why no bound is given, and what one more kWh or kW of battery would save at most."""
    more, currency = study.bound.worth_of_more, study.bills.with_battery.currency
    if more is None:
        return list(study.bound.notes)
    saved = lambda each: f"{each:,.2f} {currency} a year" if each >= 0.005 else "nothing"
    worth = f"one more kWh of battery would save {saved(more.per_kwh)} more, one more kW {saved(more.per_kw)}"
    return [*study.bound.notes, f"At best, {worth}."]


def show_stop(stop: list[dict], console: Console) -> None:
    """What must be put right before anything is built: the first thing on the screen."""
    for one in stop:
        console.print(f"[bold red]{plain(one['text'])}[/bold red]")


def show_outage(ride: RideThrough, console: Console, storm: RideThrough | None = None) -> None:
    """The answer and its table by season."""
    if ride.house.site.subpanel.transfer.kind == "manual":
        console.print(f"[bold]{MANUAL}[/bold]")
    console.print(f"[bold]{answer(ride)}[/bold]")
    table = table_of("power fails in", "nine in ten", "middle", "worst")
    if storm is not None:
        table.add_column("storm 9/10", justify="right")
    for leg in ride.leg_hours:
        table.add_column(f"leg {leg} 9/10", justify="right")
    month = worst_month(ride)
    rows = {
        "winter": SEASONS["winter"],
        "summer": SEASONS["summer"],
        f"worst month ({calendar.month_abbr[month]})": (month,),
    }
    for name, months in rows.items():
        table.add_row(name, *_row(ride, storm, months))
    table.add_row("whole year", *_row(ride, storm, tuple(range(1, 13))))
    console.print(table)


def _row(ride: RideThrough, storm, months) -> list[str]:
    horizon, at = ride.horizon_h, np.isin(ride.house.hours.month, months)
    hours = ride.hours[at]
    cells = [nine_in_ten(hours), float(np.quantile(hours, 0.5, method="lower")), float(hours.min())]
    if storm is not None:
        cells.append(nine_in_ten(storm.hours[at]))
    cells += [nine_in_ten(leg[at]) for leg in ride.leg_hours.values()]
    return [hours_text(value, horizon) for value in cells]


def outage_lines(ride: RideThrough, document: dict) -> list[str]:
    """What is lost first and why, what is never carried, solar, the start."""
    lines = []
    site = ride.house.site
    for name in ride.house.never_carried:
        lines.append(f"[bold red]NEVER CARRIED: {plain(name)} - no wiring can serve it as drawn (0 hours)[/bold red]")
    lines.append(f"First circuit lost, mostly: {plain(ride.usually_lost)}. What ends it: {why_text(ride.why_frac)}.")
    start = {"as-run": "as the rate left them", "full": "full"}.get(
        str(site.outage.start_soc), f"{site.outage.start_soc}"
    )
    lines.append(
        f"Units at the start: {start}. Load: {ride.load_case}. Hours run to the first unserved priority-1 circuit."
    )
    for text in document["cautions"]:
        if text.startswith("Solar"):
            lines.append(text)
    medical = document["outage"].get("medical")
    if medical:
        lines.append(f"[bold]{plain(medical_text(medical, ride.horizon_h))}[/bold]")
    recharge = document["outage"].get("recharge")
    if recharge:
        lines.append(
            f"Recharge from the cutoff: {refill_text(recharge['from_empty_h'])} at {recharge['charge_kw']:.2f} kW; "
            f"up to {recharge['service_a']:.0f} A on a service leg ({recharge['service_a_is']})."
        )
        if recharge["too_cold_h_per_year"]:
            lines.append(f"Cells are too cold to charge in {recharge['too_cold_h_per_year']:,.0f} hours of the year.")
    else:
        lines.append(f"[bold red]Recharge: none. {plain(charging_stop(site) or '')}[/bold red]")
    if recharge and recharge.get("exceeds"):
        lines.append(f"[bold red]{plain(recharge['service_text'])}[/bold red]")
    return lines


def medical_text(medical: dict, horizon_h: float) -> str:
    """The shortest hours of medical circuits with the life-support caution on the same line."""
    breaks = "break time not stated" if medical["break_ms"] is None else f"break {medical['break_ms']:g} ms"
    least = hours_text(medical["hours_min"], horizon_h)
    names = ", ".join(medical["circuits"])
    return f"{names}: {least} at the least, units at the end of their warranty; {breaks}. {LIFE_SUPPORT}"


def show_one(one: dict, console: Console) -> None:
    """One outage: who goes dark when, and why."""
    lasts = "outlives the horizon" if one["censored"] else f"lasts {hours_text(one['hours'])}"
    console.print(
        f"[bold]If the power fails at {one['start_local']}[/bold] with {one['soc_kwh']:.2f} kWh stored, it {lasts}."
    )
    start = dt.datetime.fromisoformat(one["start_local"])
    asked = dt.datetime.fromisoformat(one["asked_local"])
    if asked.replace(tzinfo=None) != start.replace(tzinfo=None) and asked.tzinfo is None:
        console.print(f"{one['asked_local']} lies in the step that begins then: an outage begins with a step.")
    if one["thrown_after_h"]:
        dark = f"[bold]Everything is dark for the first {hours_text(one['thrown_after_h'])}[/bold]"
        console.print(f"{dark}, until somebody is home to throw the transfer switch; hours count from then.")
    table = table_of("circuit", "leg", "priority", "dark after", "why")
    for row in one["circuits"]:
        after = "not within the horizon" if row["hours"] is None else hours_text(row["hours"])
        table.add_row(plain(row["circuit"]), row["leg"], str(row["priority"]), after, row["why"])
    console.print(table)


def printed_bills(bills: FourBills) -> tuple[float, float]:
    """The year without and with the battery as bills print it; the printed saving is their difference. [currency]"""
    return round(bills.without_battery.total, 2), round(bills.with_battery.total, 2)


def show_bills(bills: FourBills, console: Console) -> None:
    """The bills from today's to the last, what each step changes, and the change against today."""
    table = table_of(f"bill of the year [{bills.with_battery.currency}]", "total", "change")
    for name, total, change in printed_steps(bills):
        table.add_row(STEPS[name], f"{total:,.2f}", "" if name == "today" else f"{change:+,.2f}")
    console.print(table)
    console.print(f"[bold]{change_text(bills)}[/bold]")


def show_lines(bills: FourBills, console: Console) -> None:
    """Line items of the year by kind, for each bill."""
    named = {BILLS[name]: bill for name, bill in bills.apart.items()}
    found = dict.fromkeys((line.kind, line.name) for bill in named.values() for line in bill.lines)
    items = sorted(found, key=lambda item: KINDS.index(item[0]))
    sums = {name: bill.by_item for name, bill in named.items()}
    printed = {name: rounded_to_add([sums[name].get(item, 0.0) for item in items]) for name in named}
    table = table_of("line of the year", *named)
    for k, item in enumerate(items):
        table.add_row(item[1], *(f"{printed[name][k]:,.2f}" if item in sums[name] else "none" for name in named))
    table.add_row("total", *(f"{sum(printed[name]):,.2f}" for name in named))
    console.print(table)


def _show_panel(panel: dict, console: Console) -> None:
    if panel["findings"]:
        console.print(
            f"Panel checks: {panel['fail']} fail, {panel['not_assessed']} not assessed (keeplit panel lists them)."
        )


def show_cautions(cautions: list[str], console: Console) -> None:
    """The cautions that results always stand beside: those of the site, then the usual ones in short."""
    usual = (*ALWAYS, MONEY)
    for text in cautions:
        if text not in usual and not text.startswith("Solar"):
            console.print(f"[dim]- {plain(text)}[/dim]")
    console.print(f"[bold]{SHORT}[/bold] [dim]In full: --json, or report.html of --out.[/dim]")


def plain(text: object) -> str:
    """Text from files, with nothing in it taken for markup."""
    from rich.markup import escape

    return escape(str(text))


def table_of(first: str, *others: str):
    """A plain table: the first column to the left, the others to the right."""
    from rich.box import SIMPLE_HEAD
    from rich.table import Table

    table = Table(box=SIMPLE_HEAD, pad_edge=False)
    table.add_column(first)
    for name in others:
        table.add_column(name, justify="left" if name in WORDS else "right")
    return table
