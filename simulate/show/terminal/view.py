"""What people see on a terminal and in a notebook: the document in the client's words."""

from __future__ import annotations

import calendar
import datetime as dt
from typing import TYPE_CHECKING

import numpy as np

from simulate.bill.bill import KINDS, rounded_to_add
from simulate.bill.four_bills import FourBills
from simulate.document.answers import hardest_month as worst_month
from simulate.document.money_answer import bound_text, change_text, printed_steps
from simulate.document.study import Study
from simulate.document.words import hours_text, refill_text
from simulate.house.ride import RideThrough
from simulate.house.storm import storm_stated
from simulate.physics.outages.spread import SEASONS, nine_in_ten
from simulate.site.cautions import LIFE_SUPPORT

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


MORE_UNITS = (
    "More units help only where the units ran empty, not against an overload, nor for a two-pole circuit whose other "
    "leg is dead."
)
BESIDE = ("Solar", "Switching for the rate", "Shared neutral", 'Period "')
"""How the cautions begin that stand beside the numbers of the site."""


def why_text(why_frac: dict[str, float]) -> str:
    """What ends the outages' supply, by share, in sentences.

    Examples
    --------
    >>> why_text({"empty": 1.0}), why_text({})
    ('the units are empty (100%).', 'nothing is lost within the horizon.')
    """
    if not why_frac:
        return "nothing is lost within the horizon."
    ordered = sorted(why_frac.items(), key=lambda item: -item[1])
    text = ", ".join(f"{WHY_TEXT[why]} ({share:.0%})" for why, share in ordered)
    return f"{text}. {MORE_UNITS}" if set(why_frac) != {"empty"} else f"{text}."


def saving_text(bills: FourBills) -> str:
    """What the battery does to the bill in one sentence, as it is."""
    currency, saving = bills.with_battery.currency, bills.saving
    if saving < 0.0:
        return f"The battery adds about {-saving:,.0f} {currency} a year to the bill."
    return f"The bill saving by the battery is about {saving:,.0f} {currency} a year."


def show_study(study: Study, console: Console) -> None:
    """One screen: the answer, hours by season, the plans, what to do next."""
    document = study.document
    console.print(f"[bold]{plain(document['site'])}[/bold]")
    show_answer(document["answer"], console)
    show_outage(study.ride, console, storm=study.storm)
    for line in outage_lines(study.ride, document):
        console.print(line)
    if document["weather_years"] is not None:
        console.print(plain(document["weather_years"]["text"]))
    show_plans(document.get("plans") or [], study.bills.with_battery.currency, console)
    for line in (*best_lines(study), *beside_lines(document["cautions"])):
        console.print(plain(line))


def show_answer(answer: dict, console: Console) -> None:
    """What must be put right, hours, money: each sentence a line."""
    show_stop(answer["stop"], console)
    for text in answer["text"][len(answer["stop"]) :]:
        console.print(f"[bold]{plain(text)}[/bold]")


def beside_lines(cautions: list[str]) -> list[str]:
    """Cautions about this site that stand beside its numbers; the others wait for `--cautions`."""
    return [text for text in cautions if text.startswith(BESIDE)]


def show_plans(plans: list[dict], currency: str, console: Console) -> None:
    """Every plan that the site can run: dollars against hours is the client's choice."""
    if len(plans) < 2:
        return
    table = table_of("plan", f"off the bill [{currency}]", "nine times in ten", "hardest month", "breaks, all circuits")
    for row in sorted(plans, key=lambda row: not row["chosen"]):
        name = f"{row['plan']} (as run)" if row["chosen"] else row["plan"]
        hours = (hours_text(row[key]) for key in ("hours_p10", "hardest_month_p10"))
        table.add_row(name, f"{row['saving']:+,.0f}", *hours, f"{row['breaks_per_year']:,.0f}")
    console.print(table)


def best_lines(study: Study) -> list[str]:
    """How far the plan is from the best possible, and what more battery would add to that."""
    text = bound_text(study.bound, study.bills.with_battery.currency)
    return [*([text] if text else []), *bound_lines(study)]


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
    """Hours by season: nine times in ten as usual, in a storm and on each leg; half of the outages; the worst."""
    storm = storm if storm_stated(ride.house.site) else None
    names = [ride.load_case, *(["storm"] if storm is not None else []), *(f"leg {leg}" for leg in ride.leg_hours)]
    console.print("Hours survived nine times in ten; then what half of the outages last at least, and the worst:")
    table = table_of("power fails in", *names, "half last", "worst")
    hardest = calendar.month_abbr[worst_month(ride)]
    rows = {
        f"hardest: {hardest}": (worst_month(ride),),
        "winter": SEASONS["winter"],
        "summer": SEASONS["summer"],
        "the year": tuple(range(1, 13)),
    }
    for name, months in rows.items():
        table.add_row(name, *_row(ride, storm, months))
    console.print(table)
    if storm is None:
        console.print("Storm loads not stated.")


def _row(ride: RideThrough, storm, months) -> list[str]:
    horizon, at = ride.horizon_h, np.isin(ride.house.hours.month, months)
    cases = [ride.hours, *([] if storm is None else [storm.hours]), *ride.leg_hours.values()]
    cells = [nine_in_ten(hours[at]) for hours in cases]
    cells += [float(np.quantile(ride.hours[at], 0.5, method="lower")), float(ride.hours[at].min())]
    return [hours_text(value, horizon) for value in cells]


def outage_lines(ride: RideThrough, document: dict) -> list[str]:
    """What is never carried, what ends the outages, the start, medical circuits, how long to full again."""
    site, first = ride.house.site, [one["subject"] for one in document["answer"]["stop"]]
    never = [name for name in ride.house.never_carried if name not in first]
    lines = [f"[bold red]Never carried: {plain(', '.join(never))}: 0 hours.[/bold red]"] if never else []
    start = {"as-run": "as the rate left them", "full": "full"}.get(str(site.outage.start_soc))
    start = start or f"at {site.outage.start_soc} of full"
    lines.append(f"What ends it: {why_text(ride.why_frac)} Units at the start: {start}.")
    medical = document["outage"].get("medical")
    if medical:
        lines.append(f"[bold]{plain(medical_text(medical, ride.horizon_h))}[/bold]")
    return [*lines, *(plain(line) for line in recharge_lines(document["outage"].get("recharge")))]


def recharge_lines(recharge: dict | None) -> list[str]:
    """How long until full again, with one definition, and what the service sees of it."""
    if recharge is None:
        return []
    wait = f"after a wait of {60.0 * recharge['wait_h']:.0f} min" if recharge["wait_h"] else "without a wait"
    lines = [
        f"Full again: {refill_text(recharge['from_empty_h'])} of charging from empty, {wait}; up to "
        f"{recharge['service_a']:.0f} A on a service leg ({recharge['service_a_is']})."
    ]
    if recharge["too_cold_h_per_year"]:
        lines.append(f"Cells are too cold to charge in {recharge['too_cold_h_per_year']:,.0f} hours of the year.")
    return [*lines, recharge["service_text"]] if recharge.get("exceeds") else lines


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
