"""Money on a terminal: printed bills beside ours, the cash flow, what charged the units, how sure we are."""

from __future__ import annotations

import calendar
from typing import TYPE_CHECKING

from simulate.bill.bill import rounded_to_add
from simulate.bill.replay import verdict
from simulate.document.cash_table import cash_cells
from simulate.document.money_lines import apart_text, money_lines, paid_text
from simulate.document.rates import RatesBeside, rate_cells
from simulate.document.uncertainty import NO_EFFECT, span_of
from simulate.document.words import hours_text
from simulate.show.terminal.view import plain, table_of
from simulate.site.cautions import MONEY

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rich.console import Console

    from simulate.bill.replay import ReplayedBill
    from simulate.document.audit import Sources
    from simulate.document.ranges import Range
    from simulate.document.uncertainty import Ranges
    from simulate.document.worth import Worth


def show_replay(replayed: Sequence[ReplayedBill], console: Console, *, currency: str = "USD") -> None:
    """Ours beside theirs for each printed bill; a difference above one percent is named.

    Parameters
    ----------
    replayed : sequence of ReplayedBill
        As `simulate.document.worth.replay_of` returns them.
    console : Console
    currency : str
    """
    name = f' on "{plain(replayed[0].rate)}"' if replayed[0].rate else ""
    table = table_of(f"printed bill{name} [{currency}]", "theirs", "ours", "difference", "their kWh", "our kWh")
    for one in replayed:
        theirs, less = rounded_to_add([one.theirs, one.ours - one.theirs])
        kwh = "not printed" if one.their_kwh is None else f"{one.their_kwh:,.1f}"
        table.add_row(
            one.label,
            f"{theirs:,.2f}",
            f"{theirs + less:,.2f}",
            f"{less:+,.2f}{_share(one)}",
            kwh,
            f"{one.our_kwh:,.1f}",
        )
    console.print(table)
    for one in replayed:
        for reason in (*one.because, *one.notes):
            console.print(f"{plain(one.label)}: {plain(reason)}")
    console.print(f"[bold]{plain(verdict(replayed))}[/bold]")


def show_rates(beside: RatesBeside, console: Console) -> None:
    """Each rate without and with the battery, the change against today, and which one to be on."""
    title = f"rate, today pays {beside.today:,.2f} [{beside.currency} a year]"
    table = table_of(title, "no battery", "change", "with battery", "change", "best plan")
    for cells in rate_cells(beside):
        table.add_row(*map(plain, cells))
    console.print(table)
    console.print(f"[bold]{plain(beside.text)}[/bold]")
    for row in beside.rows:
        for note in row.notes:
            console.print(f"[dim]- {plain(row.rate)}: {plain(note)}[/dim]")


def _share(one: ReplayedBill) -> str:
    return f" ({(one.ours - one.theirs) / abs(one.theirs):+.1%})" if one.theirs else ""


def show_money(worth: Worth, console: Console) -> None:
    """The money in a table and a sentence, then what stands apart from it."""
    document, unit = worth.document(), worth.currency
    header, rows = cash_cells(document["by_year"])
    if rows:
        years = table_of(f"{header[0]} [{unit}]", *header[1:])
        for row in rows:
            years.add_row(*row)
        console.print(years)
    table = table_of(f"money over {worth.money.years} years [{unit}]", "")
    for name, text in money_lines(worth, document):
        table.add_row(name, plain(text))
    console.print(table)
    console.print(f"[bold]{paid_text(worth)}[/bold]")
    if worth.unserved_worth:
        console.print(apart_text(worth))
    for note in worth.notes:
        console.print(f"[dim]- {plain(note)}[/dim]")
    console.print(f"[dim]{MONEY}[/dim]")


def show_sources(sources: Sources, console: Console) -> None:
    """What charged the units month by month, what was lost, and how much solar stayed in the house."""
    table = table_of("charged [kWh]", "bought", "from solar", "on the cells", "given")
    rows = sources.by_month()
    columns = ("from_grid", "from_solar", "on_cells", "discharge")
    printed = {name: rounded_to_add([row[name] for row in rows], digits=0) for name in columns}
    for k, row in enumerate(rows):
        table.add_row(calendar.month_abbr[row["month"]], *(f"{printed[name][k]:,.0f}" for name in columns))
    table.add_row("year", *(f"{sum(printed[name]):,.0f}" for name in columns))
    console.print(table)
    words = {"charge": "charging", "discharge": "discharging", "no_load": "no-load draw", "on_grid": "on-grid draw"}
    lost = dict(zip(words.values(), rounded_to_add([sources.lost_kwh[name] for name in words], digits=0), strict=True))
    console.print(
        f"Lost in the units: {sum(lost.values()):,.0f} kWh a year: "
        + ", ".join(f"{name} {kwh:,.0f}" for name, kwh in lost.items())
        + f". Solar not used: {sources.lost_kwh['curtailed']:,.0f} kWh."
    )
    for line in source_lines(sources):
        console.print(line)


def source_lines(sources: Sources) -> list[str]:
    """What solar did and what it cost to store, and whether charging from solar alone was kept."""
    lines = []
    if sources.self_consumption_frac is not None and sources.self_sufficiency_frac is not None:
        lines.append(
            f"{sources.self_consumption_frac:.0%} of the solar is used on site; solar meets "
            f"{sources.self_sufficiency_frac:.0%} of the load."
        )
    if sources.kwh("from_solar") > 0.0:
        lines.append(
            f"Stored solar is not free: {sources.kwh('from_solar'):,.0f} kWh would have earned "
            f"{sources.credit_lost:,.2f} {sources.currency} of export credit."
        )
    if sources.solar_only and sources.is_solar_only:
        lines.append('charge_from = "solar" is kept: 0 kWh were charged from the utility.')
    elif sources.solar_only:
        bought = sources.kwh("from_grid")
        lines.append(f'[bold]charge_from = "solar" is NOT kept: {bought:,.3f} kWh were bought to charge.[/bold]')
    return lines


def show_ranges(ranges: Ranges, console: Console) -> None:
    """The results as ranges, what each input does to them, and on what ground it was varied."""
    unit = ranges.currency
    money = lambda value: f"{round(value):,}"
    for name, rows, words in (
        (f"bill saving [{unit} a year]", ranges.saving, money),
        ("hours, nine times in ten", ranges.hours, hours_text),
        (f"net present value [{unit}]", ranges.npv, money),
    ):
        if rows:
            console.print(f"[bold]{plain(range_text(name, rows, words))}[/bold]")
            console.print(_ranges_table(rows, words, ranges))
    for basis in dict.fromkeys(span.basis for span in ranges.spans.values()):
        names = [name for name, span in ranges.spans.items() if span.basis == basis and name in _varied(ranges)]
        if names:
            console.print(f"[dim]- {plain(', '.join(names))}: {plain(basis)}[/dim]")
    for note in ranges.notes:
        console.print(f"[dim]- {plain(note)}[/dim]")
    console.print("[dim]One input at a time: inputs that move together can go further.[/dim]")


def _varied(ranges: Ranges) -> set[str]:
    return {row.name for row in (*ranges.saving, *ranges.hours, *ranges.npv)}


def range_text(name: str, rows: Sequence[Range], words) -> str:
    """A result as its range, the stated inputs in the middle.

    Examples
    --------
    >>> from simulate.document.ranges import Range
    >>> range_text("saving", [Range("load", 0.8, 1.0, 1.2, 90.0, 100.0, 110.0)], lambda value: f"{value:.0f}")
    'saving: 90 to 110, 100 as stated'
    """
    low, mid, high = span_of(rows)
    return f"{name}: {words(low)} to {words(high)}, {words(mid)} as stated"


def _ranges_table(rows: Sequence[Range], words, ranges: Ranges):
    table = table_of("one input at a time", "at its low", "result", "at its high", "result")
    for row in rows:
        if row.swing >= NO_EFFECT:
            name = f"{row.name} [{ranges.spans[row.name].unit}]"
            table.add_row(plain(name), f"{row.low:.3g}", words(row.at_low), f"{row.high:.3g}", words(row.at_high))
    still = [row.name for row in rows if row.swing < NO_EFFECT]
    if still:
        table.caption = "no effect: " + ", ".join(still)
    return table
