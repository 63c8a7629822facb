"""Commissioning readings on a terminal: read against expected, what was re-rated, hours before and after."""

from __future__ import annotations

from typing import TYPE_CHECKING

from simulate.show.terminal.view import plain, table_of

if TYPE_CHECKING:
    from rich.console import Console


def show_as_built(part: dict, console: Console) -> None:
    """The part `as_built` of a panel's document."""
    console.print(f"[bold]{plain(part['revision'])}[/bold]")
    if part["readings"]:
        table = table_of(*part["readings"][0])
        for row in part["readings"]:
            table.add_row(*(plain(f"{cell:g}" if isinstance(cell, float) else str(cell)) for cell in row.values()))
        console.print(table)
    for one in part["rerated"]:
        now = one["why"] if isinstance(one["now"], list | dict) else f"{one['now']} ({one['why']})"
        console.print(f"{plain(one['key'])}: {plain(str(one['was']))} -> {plain(str(now))}")
    for line in part["kept"]:
        console.print(plain(f"{line}."))
    hours, fail = part["hours_p10"], part["fail"]
    console.print(
        f"Nine times in ten: {hours['drawn']:.1f} h as drawn, [bold]{hours['built']:.1f} h as built[/bold]. "
        f"Checks that fail: {fail['drawn']} as drawn, {fail['built']} as built."
    )
