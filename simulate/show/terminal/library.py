"""The library on a terminal: what comes along, and one entry with its values and sources."""

from __future__ import annotations

from typing import TYPE_CHECKING

from simulate.show.terminal.view import plain

if TYPE_CHECKING:
    from rich.console import Console

_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def show_library(document: dict, console: Console) -> None:
    """The library on a terminal."""
    console.print("[bold]Load shapes[/bold] (shape = ...): " + ", ".join(document["shapes"]))
    for title in ("rates", "weather"):
        console.print(f"[bold]{title.capitalize()}[/bold] (source = ...)")
        for entry in document[title]:
            console.print(f"  {plain(entry['source'])}: {plain(entry['name'])}")
    console.print("[bold]Appliances[/bold] (typical watts while running; starting points until measured)")
    for one in document["appliances"]:
        medical = " [bold]medical[/bold]" if one["medical"] else ""
        console.print(f"  {plain(one['name'])}: {plain(one['title'])}, {one['running_w']:g} W{medical}")
    console.print("[bold]Circuits[/bold] (appliance = ... on a circuit): " + ", ".join(document["circuits"]))
    units = ", ".join(document["units_and_panels"])
    console.print(f"[bold]Units and panels[/bold], invented (source = ... of a battery, of the sub-panel): {units}")
    console.print("One of them: keeplit library NAME; its figure: --out DIR.")


def show_described(found: list[dict], console: Console) -> None:
    """What the library holds under one name, on a terminal."""
    for one in found:
        {"shape": _show_shape, "appliance": _show_appliance, "rate": _show_rate, "weather": _show_weather}[one["kind"]](
            one, console
        )


def _head(one: dict, console: Console) -> None:
    title = f": {plain(one['title'])}" if one.get("title") else ""
    console.print(f"[bold]{plain(one['name'])}[/bold] ({one['kind']}){title}")
    console.print(f"Source: {plain(one['source'])}")
    console.print("In a site file: " + plain(one["use"].replace("\n", " ")))


def _show_shape(one: dict, console: Console) -> None:
    _head(one, console)
    _row("hour", [f"{h:02d}" for h in range(24)], console)
    same = one["weekday_frac"] == one["weekend_frac"]
    _row("day % " if same else "weekday %", [f"{100 * x:.1f}" for x in one["weekday_frac"]], console)
    if not same:
        _row("weekend %", [f"{100 * x:.1f}" for x in one["weekend_frac"]], console)
    _row("month", [f"{name} {x:.2f}" for name, x in zip(_MONTHS, one["monthly"], strict=True)], console)
    for name, kwh in one.get("end_use_kwh", {}).items():
        console.print(f"  {name}: {kwh:g} kWh a year")


def _row(name: str, cells: list[str], console: Console) -> None:
    console.print(f"  {name}: " + " ".join(cells))


def _show_appliance(one: dict, console: Console) -> None:
    _head(one, console)
    if one["medical"]:
        console.print("[bold red]Medical: life or health may depend on it. Ask the supplier about outages.[/bold red]")
    _value("running", one["running_w"], one["running_w_range"], "W", console)
    _value("starts per hour of use", one["starts_per_hour"], None, "", console)
    _value("minutes per hour of use", one["minutes_per_hour"], None, "", console)
    _value("energy on a day of use", None, one["kwh_per_day_range"], "kWh", console)
    _value("motor start", None, one["start_va_range"], "VA", console)
    _value("locked-rotor current", None, one["locked_rotor_a_range"], f"A at {one['volts'] or 0:g} V", console)
    _value("published list", None, one["listed_w"], "W", console)
    console.print(f"In an outage: {plain(one['outage'])}")
    if one["note"]:
        console.print(f"Note: {plain(one['note'])}")


def _value(name: str, typical, span, unit: str, console: Console) -> None:
    if typical is None and span is None:
        return
    said = "" if typical is None else f"{typical:,g}"
    between = "" if span is None else f"{span[0]:,.4g} to {span[1]:,.4g}"
    joined = f"{said} ({between})" if said and between else said or between
    console.print(f"  {name}: {joined} {unit}".rstrip())


def _show_rate(one: dict, console: Console) -> None:
    _head(one, console)
    currency = one["record"].get("currency", "USD")
    console.print(f"  price of energy: {one['price_low']:.3f} to {one['price_high']:.3f} {currency} per kWh")
    console.print("  periods: " + plain(", ".join(one["periods"])))
    for key, value in one["record"].items():
        console.print(f"  {plain(key)}: {plain(value)}")


def _show_weather(one: dict, console: Console) -> None:
    _head(one, console)
    console.print(f"  {one['latitude']:.2f}, {one['longitude']:.2f}, {one['altitude_m']:g} m; stamps: {one['stamps']}")
    console.print(f"  mean {one['mean_temp_c']:.1f} degC; global irradiation {one['ghi_kwh_m2']:,.0f} kWh/m2 a year")
    _row("degC", [f"{name} {x:.1f}" for name, x in zip(_MONTHS, one["month_temp_c"], strict=True)], console)
    _row("kWh/m2", [f"{name} {x:.0f}" for name, x in zip(_MONTHS, one["month_ghi_kwh_m2"], strict=True)], console)
    for day in one["hardest_days"]:
        console.print(
            f"  {day['why']}: {day['day_of_month']} {_MONTHS[day['month'] - 1]}, {day['temp_c']:.1f} degC, "
            f"{day['ghi_kwh_m2']:.1f} kWh/m2"
        )
    for note in one["notes"]:
        console.print(f"  {plain(note)}")
