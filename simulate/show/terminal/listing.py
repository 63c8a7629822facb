"""Lists and tables on a terminal: findings, designs, choices, legs, a meter file."""

from __future__ import annotations

from typing import TYPE_CHECKING

from profiles.meter.readings.meter import estimates_text
from simulate.document.words import hours_text, refill_text
from simulate.show.terminal.view import plain, table_of

if TYPE_CHECKING:
    from rich.console import Console

MARK = {"fail": "[bold red]FAIL[/bold red]", "marginal": "marginal", "pass": "pass", "not-assessed": "not assessed"}
ORDER = ("fail", "marginal", "not-assessed", "pass")


def show_findings(findings, console: Console, *, passes: bool = False) -> None:
    """Findings, fails first; passes only where they are asked for; counts side by side, no overall pass."""
    from rich.padding import Padding

    for verdict in ORDER if passes else [verdict for verdict in ORDER if verdict != "pass"]:
        for one in (f for f in findings if f.verdict == verdict):
            console.print(f"{MARK[verdict]}  [bold]{plain(one.check)}: {plain(one.subject)}[/bold]{_figures(one)}")
            console.print(Padding(f"{plain(one.text)} [dim]\\[{plain(one.basis)}][/dim]", (0, 0, 0, 4)))
    counts = {verdict: sum(f.verdict == verdict for f in findings) for verdict in ORDER}
    console.print(
        f"[bold]{counts['fail']} fail, {counts['not-assessed']} not assessed[/bold], {counts['marginal']} marginal, "
        f"{counts['pass']} pass{'' if passes else ' (--all shows them)'}. "
        "The authority having jurisdiction decides."
    )


def _figures(one) -> str:
    """Value, limit and margin of a finding; nothing where it has none."""
    if one.value is None or one.limit is None:
        return ""
    return f"  {one.value:.4g} {one.unit}, limit {one.limit:.4g}, margin {one.margin:+.4g}"


def show_comparison(document: dict, console: Console) -> None:
    """Designs side by side: hours, what they cover, what they cost, the units; then what is lost first and why."""
    rows, currency = document["rows"], document["currency"]
    console.print("[bold]Hours survived: nine times in ten / middle / worst[/bold]")
    for table in (_hours_table, _covered_table, _worth_table, _units_table):
        console.print(table(rows, currency))
    for row in rows:
        console.print(f"{plain(row['label'])}: first circuit lost {plain(row['first_lost'])}; {plain(row['cure'])}.")
        if row["never_carried"]:
            console.print(f"[bold red]  NEVER CARRIED: {plain(', '.join(row['never_carried']))} (0 hours)[/bold red]")
    console.print(
        "More battery units cure only empty units: not an overload, not a pair that stops with its other leg. Hours of "
        f"the {document['load_case']} load, units at the start: {document['start_soc']}; further hours are nine times "
        "in ten of the year, against the row above."
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
    return [*lines, "It carries the backed-up load here; what else hangs on it takes from its power."]


def second_lines(second: dict) -> list[str]:
    """A second outage before the units are full again, in sentences."""
    lines = [
        f"A second outage {second['after_h']:g} h after the power is back finds {second['stored_kwh']:.2f} of "
        f"{second['usable_kwh']:.2f} kWh and lasts {hours_text(second['hours']['p10'])} nine times in ten, "
        f"{hours_text(second['hours']['worst'])} at worst."
    ]
    if second["chance_frac"] is not None:
        refill = "never" if second["refill_h"] is None else f"{refill_text(second['refill_h'])} after it, on average"
        lines.append(
            f"Full again {refill}; a second interruption before that: {second['chance_frac']:.2%} of the times (taken "
            "as independent: a storm that takes the line down twice is left out)."
        )
    return lines


def switch_off_lines(switch_off: dict) -> list[str]:
    """What the owner may switch off and what each step gains on the leg that dies first."""
    if not switch_off["steps"]:
        return [f"Switched off by hand: {switch_off['note']}"]
    leg = "the legs" if switch_off["leg"] == "both" else f"leg {switch_off['leg']}"
    return [f"Switch off first, hours of {leg} nine times in ten: {step['text']}." for step in switch_off["steps"]]


def show_choice(document: dict, console: Console) -> None:
    """The circuits to back up, the next best set, what each costs."""
    best = document["best"]
    when = f"{document['season']}, {document['load_case']} load"
    target = f"{document['hours']:g} h in {document['share']:.0%} of the outages ({when})"
    met = "meets" if best["met"] else "MISSES"
    chosen = _names(best["circuits"]) if best["circuits"] else "no candidate"
    console.print(f"[bold]{chosen}[/bold] with {_names(document['required'])}: {met} {target}.")
    console.print(
        f"{best['lasting_frac']:.1%} of the outages last so long; nine in ten last {hours_text(best['hours']['p10'])}, "
        f"the worst {hours_text(best['hours']['worst'])}."
    )
    if document["next_best"]:
        other = document["next_best"]
        console.print(f"Next best: {_names(other['circuits'])} ({hours_text(other['hours']['p10'])}).")
    table = table_of("circuit", "hours it costs (nine in ten)")
    for name, hours in sorted(document["costs_h"].items(), key=lambda item: -(item[1] or 0.0)):
        table.add_row(plain(name), _number(hours, 1))
    console.print(table)
    for name, why in document["left_out"].items():
        console.print(f"Left out: {plain(name)}: {plain(why)}")
    if document["switch_off"]:
        console.print(f"To reach the target switch off in an outage: {_names(document['switch_off'])}.")
    for note in document["notes"]:
        console.print(f"[dim]- {plain(note)}[/dim]")


def _names(names) -> str:
    return ", ".join(map(plain, names)) or "none"


def show_assignment(assignment, console: Console) -> None:
    """Legs before and after."""
    data = assignment.table()
    table = table_of(*data["columns"])
    for name, unit, before, after in data["rows"]:
        table.add_row(plain(name), unit, _number(before, 2), _number(after, 2))
    console.print(table)
    moves = ", ".join(f"{plain(name)} to {assignment.legs[name]}" for name in assignment.moved) or "nothing moves"
    rest = "" if assignment.complete or not assignment.n_compared else "; those with a worse running balance were not"
    console.print(f"[bold]{moves}[/bold] ({plain(assignment.method)}{rest}).")
    if assignment.unplaced:
        console.print(f"[bold red]No space for: {_names(assignment.unplaced)}[/bold red]")


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
