"""Lists and tables on a terminal: findings, designs, choices, legs, a meter file."""

from __future__ import annotations

from typing import TYPE_CHECKING

from profiles.meter.readings.meter import estimates_text
from simulate.document.words import hours_text, measured, refill_text, three_digits
from simulate.show.terminal.view import MORE_UNITS, plain, table_of

if TYPE_CHECKING:
    from rich.console import Console

MARK = {"fail": "[bold red]FAIL[/bold red]", "marginal": "marginal", "pass": "pass"}
VERDICTS = ("fail", "not-assessed", "marginal", "pass")
FULL = ("fail", "marginal")
"""Verdicts whose findings are printed with their text; a check that is not assessed takes one line."""


def show_findings(findings, console: Console, *, passes: bool = False) -> None:
    """The counts, then what is not met, what is marginal and what is not assessed; what is met only where asked for."""
    counts = {verdict: sum(f.verdict == verdict for f in findings) for verdict in VERDICTS}
    console.print(
        f"[bold]{counts['fail']} not met, {counts['not-assessed']} not assessed[/bold], {counts['marginal']} marginal, "
        f"{counts['pass']} met as stated. There is no overall pass: the authority having jurisdiction decides."
    )
    for verdict in FULL:
        _show_full([f for f in findings if f.verdict == verdict], console)
    for one in (f for f in findings if f.verdict == "not-assessed"):
        asks = one.text.removeprefix("Not assessed: ").split(". ")[0].rstrip(".")
        console.print(f"not assessed  {plain(one.check)}, {plain(one.subject)}: {plain(asks)}")
    if passes:
        _show_full([f for f in findings if f.verdict == "pass"], console)
    elif counts["pass"]:
        console.print(f"[dim]The {counts['pass']} that are met as stated: --all.[/dim]")


def _show_full(findings, console: Console) -> None:
    from rich.padding import Padding

    for one in findings:
        console.print(f"{MARK[one.verdict]}  [bold]{plain(one.check)}, {plain(one.subject)}[/bold]{_figures(one)}")
        console.print(Padding(f"{plain(one.text)} [dim]\\[{plain(one.basis)}][/dim]", (0, 0, 0, 4)))


def _figures(one) -> str:
    """Value and limit of a finding; nothing where it has none."""
    if one.value is None or one.limit is None:
        return ""
    return f": {measured(one.value, one.unit)}, limit {measured(one.limit, one.unit)}"


def show_comparison(document: dict, console: Console) -> None:
    """Designs side by side: hours, what they cover, what they cost, the units; then what is lost first and why."""
    rows, currency = document["rows"], document["currency"]
    console.print("[bold]Hours survived: nine times in ten / half of the outages last at least / worst[/bold]")
    adds_units = document["compared"].startswith("battery")
    for table in (_hours_table, _covered_table, _worth_table if adds_units else _money_table, _units_table):
        console.print(table(rows, currency))
    for row in rows:
        console.print(f"{plain(row['label'])}: {plain(row['cure'])}.")
        if row["never_carried"]:
            console.print(f"[bold red]  Never carried: {plain(', '.join(row['never_carried']))} (0 hours)[/bold red]")
    console.print(
        f"{MORE_UNITS} Hours of the {document['load_case']} load, units at the start: {document['start_soc']}"
        + ("; further hours are nine times in ten of the year, against the row above." if adds_units else ".")
    )
    for note in document["notes"]:
        console.print(f"[dim]- {plain(note)}[/dim]")


def _hours_table(rows, currency: str):
    seasons = ("winter", "spring", "summer", "autumn", "year")
    table = table_of("design", *seasons)
    for row in rows:
        apart = [row["why"], *[""] * (len(seasons) - 1)]
        hours = apart if row["stands_apart"] else [_three(row["hours"][season]) for season in seasons]
        table.add_row(_label(row), *map(plain, hours))
    return table


def _covered_table(rows, currency: str):
    marks = rows[0]["covered_frac"]
    table = table_of("outages covered", *(f"{mark} h" for mark in marks), plain("unserved [kWh a year]"))
    for row in rows:
        unserved = _number(row["unserved_kwh_per_year"], 1, none="no interruptions stated")
        table.add_row(_label(row), *map(_share, row["covered_frac"].values()), unserved)
    return table


def _money_table(rows, currency: str):
    """What each design saves and costs; a value that is varied adds no hours by the step."""
    table = table_of("money", f"saving [{currency}]", f"change against today [{currency}]", f"price [{currency}]")
    for row in rows:
        price = _number(row["installed_price"], none="not stated")
        table.add_row(_label(row), _number(row["saving"]), _number(row["change"]), price)
    return table


def _worth_table(rows, currency: str):
    table = table_of(
        "money",
        f"saving [{currency}]",
        f"price [{currency}]",
        "further hours",
        f"hours per 1,000 {currency}",
        "further per 1,000",
    )
    for row in rows:
        table.add_row(
            _label(row),
            _number(row["saving"]),
            _number(row["installed_price"], none="not stated"),
            _number(row["more_hours"], 1),
            _number(row["hours_per_1000"], 1),
            _number(row["more_hours_per_1000"], 1),
        )
    return table


def _units_table(rows, currency: str):
    names = ("usable new [kWh]", "at the end [kWh]", "recharge", "service [A]", "no-load [kWh]", "on-grid [kWh]")
    table = table_of("units", *map(plain, names))
    for row in rows:
        over = " exceeded" if row["service_exceeded"] else ""
        refill = "never" if row["recharge_h"] is None else refill_text(row["recharge_h"])
        table.add_row(
            _label(row),
            _number(row["usable_kwh"], 1),
            _number(row["usable_end_kwh"], 1),
            refill,
            _number(row["service_a"]) + over,
            _number(row["no_load_kwh"]),
            _number(row["on_grid_kwh"]),
        )
    return table


def _label(row: dict) -> str:
    return plain(row["label"]) + ("" if row["carries_first_priority"] else " (not all carried)")


def _three(hours: dict) -> str:
    return " / ".join(hours_text(hours[name]).removesuffix(" h") for name in ("p10", "p50", "worst")) + " h"


def _share(value) -> str:
    return "not followed" if value is None else f"{value:.0%}"


def _number(value, digits: int = 0, none: str = "none") -> str:
    return none if value is None else f"{value:,.{digits}f}"


def show_reliability(reliability: dict, console: Console) -> None:
    """What the interruptions of a year do to each load case, the hardest real days, and the pickup."""
    outside = reliability["in"]
    console.print(
        f"Interruptions of the utility: SAIFI {outside['saifi']:.2f} a year, SAIDI {outside['saidi_h']:.1f} h, "
        f"CAIDI {outside['caidi_h']:.1f} h."
    )
    table = table_of(
        "load case",
        "ridden through",
        "lost a year",
        "hours dark a year",
        "hours each",
        plain("unserved [kWh a year]"),
        plain("without a battery [kWh]"),
    )
    for case, row in reliability["cases"].items():
        seen = row["out"]
        table.add_row(
            case,
            _share(row["ridden_through_frac"]),
            f"{seen['saifi']:.3f}",
            f"{seen['saidi_h']:.2f}",
            f"{seen['caidi_h']:.1f}",
            _number(row["unserved_kwh_per_year"], 2),
            _number(row["without_battery_kwh_per_year"], 2),
        )
    console.print(table)
    for day in reliability["storm_days"]:
        console.print(
            f"Storm load on the {day['why'].replace('-', ' ')} day ({day['date']}, {day['temp_c']:.0f} degC): "
            f"{hours_text(day['hours']['p10'])} nine times in ten, {hours_text(day['hours']['min'])} at worst."
        )
    for row in reliability["cold_load_pickup"]["limits"]:
        if row["over_frac"] > 0.0:
            console.print(
                f"When everything starts at once legs {row['legs']} draw up to {row['highest_kw']:.2f} of "
                f"{row['limit_kw']:.2f} kW: over the limit at {row['over_frac']:.0%} of the starts."
            )
    for note in reliability["notes"]:
        console.print(f"[dim]- {plain(note)}[/dim]")


def generator_lines(generator: dict) -> list[str]:
    """What the generator can hold, how it runs and what it burns, by season."""
    lines = []
    for season, row in generator["by_season"].items():
        fuel = "" if row["fuel_per_day"] is None else f" Fuel: {row['fuel_per_day']:.1f} a day."
        lines.append(f"Generator of {generator['kw']:g} kW in {season}: {row['text']}{fuel}")
    return [*lines, "It carries the backed-up circuits here; what else hangs on it takes from its power."]


def second_lines(second: dict) -> list[str]:
    """A second outage before the units are full again, in sentences."""
    lines = [
        f"A second outage {second['after_h']:g} h after the power is back finds {second['stored_kwh']:.2f} of "
        f"{second['usable_kwh']:.2f} kWh and lasts {hours_text(second['hours']['p10'])} nine times in ten, "
        f"{hours_text(second['hours']['worst'])} at worst."
    ]
    refill = "Never full again" if second["refill_h"] is None else f"Full again after {refill_text(second['refill_h'])}"
    if second["chance_frac"] is not None:
        often = "never comes" if not second["chance_frac"] else f"is {_one_in(second['chance_frac'])}"
        lines.append(
            f"{refill} on average. A second outage before that {often} if outages come independently; in a storm they "
            "do not."
        )
    return lines


def _one_in(chance_frac: float) -> str:
    """A chance in words.

    Examples
    --------
    >>> _one_in(0.0005), _one_in(0.031), _one_in(0.4)
    ('rare (1 in 2,000)', '1 in 32', '40%')
    """
    if chance_frac > 0.2:
        return f"{chance_frac:.0%}"
    one_in = f"1 in {three_digits(round(1.0 / chance_frac))}"
    return f"rare ({one_in})" if chance_frac < 0.01 else one_in


def switch_off_lines(switch_off: dict) -> list[str]:
    """What the owner may switch off and what each step gains on the leg that dies first."""
    if not switch_off["steps"]:
        return [f"Switched off by hand: {switch_off['note']}"]
    leg = "the legs" if switch_off["leg"] == "both" else f"leg {switch_off['leg']}"
    return [f"Switch off first, hours of {leg} nine times in ten: {step['text']}." for step in switch_off["steps"]]


def show_choice(document: dict, console: Console) -> None:
    """The circuits to back up, the next best set, what each costs."""
    best = document["best"]
    console.print(f"[bold]{plain(document['text'])}[/bold]")
    p10, worst = (hours_text(best["hours"][name]) for name in ("p10", "worst"))
    console.print(f"Nine times in ten they last {p10}, the worst {worst}.")
    console.print(f"Backed up already: {_names(document['required'])}.")
    if document["next_best"]:
        other = document["next_best"]
        others = _names(other["circuits"]) if other["circuits"] else "no candidate"
        console.print(f"Next best: {others}, {hours_text(other['hours']['p10'])} nine times in ten.")
    table = table_of("circuit", "hours it costs, nine times in ten")
    for name, hours in sorted(document["costs_h"].items(), key=lambda item: -(item[1] or 0.0)):
        table.add_row(plain(name), _number(hours, 1))
    console.print(table)
    for name, why in document["left_out"].items():
        console.print(plain(_left_out(name, why)))
    for text in document["else_meets"]:
        console.print(f"Else: {plain(text)}.")
    if document["switch_off"]:
        console.print(f"To reach the target switch off in an outage: {_names(document['switch_off'])}.")
    for note in document["notes"]:
        console.print(f"[dim]- {plain(note)}[/dim]")


def _left_out(name: str, why: str) -> str:
    """Why a candidate was not taken, as a sentence."""
    return f"{name} was {why}." if why.startswith("not tried") else f"{name} is left out: {why.rstrip('.')}."


def _names(names) -> str:
    return ", ".join(map(plain, names)) or "none"


def show_assignment(assignment, console: Console) -> None:
    """Legs before and after."""
    data = assignment.table()
    table = table_of(*data["columns"])
    for name, unit, before, after in data["rows"]:
        table.add_row(plain(name), unit, _number(before, 2), _number(after, 2))
    console.print(table)
    if assignment.outcomes:
        console.print(_outcomes_table(assignment.outcomes))
    moves = ", ".join(f"{plain(name)} to {assignment.legs[name]}" for name in assignment.moved) or "nothing moves"
    rest = "" if assignment.complete or not assignment.n_compared else "; those with a worse running balance were not"
    console.print(f"[bold]{moves}[/bold] ({plain(assignment.method)}{rest}).")
    if assignment.unplaced:
        console.print(f"[bold red]No space for: {_names(assignment.unplaced)}[/bold red]")


OUTCOMES = {
    "hours_p10": "first priority, nine times in ten",
    "hours_p50": "first priority, half of the outages last at least",
    "storm_p10": "in a storm, nine times in ten",
    "first_leg_p10": "whichever leg goes dead first, nine times in ten",
}


def _outcomes_table(outcomes: dict):
    """What a proposal does to the hours, before and after; the leg that goes dead first with its circuits."""
    table = table_of("hours", "before", "after")
    before, after = outcomes["before"], outcomes["after"]
    for key, name in OUTCOMES.items():
        if before[key] is not None:
            table.add_row(name, hours_text(before[key]), hours_text(after[key]))
    leg = lambda one: f"{one['first_leg'] or 'none'}: {', '.join(one['first_circuits'])}"
    table.add_row("goes dead first, hardest month", plain(leg(before)), plain(leg(after)))
    return table


def show_meter(document: dict, console: Console) -> None:
    """What a meter file holds, its gaps and its quality."""
    console.print(
        f"[bold]{document['energy_kwh']:,.3f} kWh[/bold] in {document['readings']:,} readings of "
        f"{document['interval_min']:g} min, {document['start']} to {document['end']}, "
        f"{document['completeness_frac']:.2%} complete"
    )
    console.print(f"Clock: {plain(document['clock'])}")
    if document.get("dialect"):
        console.print(f"Read as: {plain(document['dialect'])}")
    for line in _quality_lines(document["quality"]):
        console.print(line)
    table = table_of("issue", "count", "where", "done")
    for issue in document["issues"]:
        table.add_row(plain(issue["kind"]), str(issue["count"]), plain(issue["where"]), plain(issue["done"]))
    if document["issues"]:
        console.print(table)
    if len(document["points"]) > 1:
        for point in document["points"]:
            console.print("Point: " + ", ".join(f"{key} {plain(value)}" for key, value in point.items() if value))


def _change_days(days: list | None) -> str:
    if days is None:
        return "not looked for, the zone is not known (--timezone)"
    return ", ".join(f"{date} {hours:g} h" for date, hours in days) or "none inside"


def _quality_lines(sheet: dict) -> list[str]:
    """What a careful reader asks of a meter file: the year, estimates, gaps, runs of zero, clock changes, the night."""
    annual, estimated = sheet["annual_kwh"], sheet["estimated_frac"]
    year = "no whole calendar year" if annual is None else f"{annual:,.1f} kWh in the latest whole calendar year"
    unsaid = estimates_text(sheet["estimates_asked"])
    trust = unsaid if estimated is None else f"{estimated:.2%} of the readings estimated"
    days = _change_days(sheet["clock_change_days"])
    lines = [
        f"{year}; {trust}; {sheet['repeated']:,} repeated; {sheet['negative']:,} below zero; "
        f"{sheet['zero_frac']:.2%} exactly zero",
        f"Days of a clock change: {days}. Lowest hour of the mean day: {sheet['overnight_minimum_h']:02d}:00.",
    ]
    for name, runs in (("Gaps", sheet["gaps"]), ("Runs of zero", sheet["zero_runs"])):
        if runs:
            longest = sorted(runs, key=lambda run: -run[1])[:3]
            told = ", ".join(f"{start} {hours:g} h" for start, hours in longest)
            total = sum(hours for _, hours in runs)
            lines.append(f"{name}: {len(runs)}, {total:,.4g} h in all; longest: {told}")
    return lines
