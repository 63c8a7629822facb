"""The fewest units for a target on a terminal: the answer, price against hours, what would have to change."""

from __future__ import annotations

from typing import TYPE_CHECKING

from simulate.document.words import hours_text
from simulate.show.terminal.view import plain, table_of

if TYPE_CHECKING:
    from rich.console import Console


def show_design(document: dict, console: Console) -> None:
    """What must be put right, the answer, a row for each number of units, what was left out or would have to change."""
    for one in document["stop"]:
        console.print(f"[bold red]{plain(one['text'])}[/bold red]")
    console.print(f"[bold]{plain(document['text'])}[/bold]")
    console.print(_table(document))
    for text in _whys(document["rows"]):
        console.print(plain(text))
    if document["left_out"]:
        console.print(f"Left out: {plain(', '.join(document['left_out']))}.")
    for text in document["changes"]:
        console.print(f"What would have to change: {plain(text)}.")
    for note in document["notes"]:
        console.print(f"[dim]- {plain(note)}[/dim]")


def _table(document: dict):
    """Rows by number of units; a design that stands apart has its reason instead of hours."""
    currency, rows = document["currency"], document["rows"]
    storm = any(row["storm_p10"] is not None for row in rows)
    hours = "hours nine times in ten: new" + " / storm" * storm + " / end of warranty"
    money = (f"price {currency}", f"bill a year {currency}")
    table = table_of("design", hours, "reserve", *money, "service A", "fail / not assessed")
    for row in rows:
        table.add_row(*map(plain, _cells(row)))
    return table


def _cells(row: dict) -> list[str]:
    keys = ("hours_p10", "storm_p10", "end_of_warranty_p10")
    hours = " / ".join(hours_text(row[key]) for key in keys if row[key] is not None)
    reserve = f"{row['reserve']:.0%}" if isinstance(row["reserve"], float | int) else "by month"
    price = "not stated" if row["price"] is None else f"{row['price']:,.0f}"
    change = "none" if row["change"] is None else f"{row['change']:+,.0f}"
    amps = "none" if row["service_a"] is None else f"{row['service_a']:.0f}"
    counts = f"{row['fails']} / {row['not_assessed']}"
    told = row["why"] if row["stands_apart"] else hours
    return [row["label"] + " *" * row["on_front"], told, reserve, price, change, amps, counts]


def _whys(rows: list[dict]) -> list[str]:
    """Why the others miss the target, and what the star is."""
    missed = [f"{row['label']}: {row['why']}." for row in rows if not row["meets"] and not row["stands_apart"]]
    star = ["* no other of these is as cheap and lasts longer."] * any(row["on_front"] for row in rows)
    return [*missed, *star]
