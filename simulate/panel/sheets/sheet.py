"""A sheet for the crew as plain data, and the same as an HTML fragment and as CSV."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from html import escape

from profiles.files import plain_cell
from profiles.loads.circuit import Circuit, Wire

BLANK = ""
"""A cell that is filled in by hand: nothing is guessed."""

NONE = "-"
"""A cell that stays empty because nothing belongs there."""


PLANNING = "Planning estimate: a licensed electrician designs and installs; the authority having jurisdiction decides."


def sheet(
    title: str, columns: Sequence[str], rows: Sequence[Sequence], notes: Sequence[str] = (), svg="", loud=()
) -> dict:
    """One sheet.

    Parameters
    ----------
    title : str
    columns : sequence of str
        Headings, with the unit in brackets where there is one.
    rows : sequence of sequences
        Text, numbers, "" to be filled in by hand, "-" where nothing belongs.
    notes : sequence of str
        Sentences under the table, cautions among them.
    svg : str
        A drawing above the table.
    loud : sequence of str
        Sentences above all the rest: what must be put right before anything is built.

    Returns
    -------
    dict
        title, columns, rows, notes, svg, html; only plain data.

    Examples
    --------
    >>> sheet("Legs", ["leg", "load [kW]"], [["A", 1.5]])["rows"]
    [['A', 1.5]]
    """
    plain = {"title": title, "columns": list(columns), "rows": [list(row) for row in rows]}
    plain["notes"] = [*loud, *notes]
    for row in plain["rows"]:
        if len(row) != len(columns):
            raise ValueError(f"sheet {title!r}: {len(columns)} columns, not {len(row)}: {row!r}")
    return {**plain, "svg": svg, "html": sheet_html(plain, svg, loud)}


def sheet_html(plain: dict, svg: str = "", loud: Sequence[str] = ()) -> str:
    """A sheet as an HTML fragment: what is loud, drawing, table, notes; names are escaped, there is no script."""
    head = "".join(f'<th scope="col">{escape(str(column))}</th>' for column in plain["columns"])
    body = "".join("<tr>" + "".join(map(_cell, row)) + "</tr>\n" for row in plain["rows"])
    notes = "".join(f"<li>{escape(note)}</li>\n" for note in plain["notes"][len(loud) :])
    first = "".join(f'<p class="stop">{escape(one)}</p>\n' for one in loud)
    title = escape(plain["title"])
    table = f'<table aria-label="{title}"><thead><tr>{head}</tr></thead>\n<tbody>\n{body}</tbody></table>\n'
    return (
        f'<section class="sheet"><h3>{title}</h3>\n{first}{svg}\n'
        + (table if plain["rows"] else "")
        + (f'<ul class="notes">\n{notes}</ul>\n' if notes else "")
        + "</section>\n"
    )


def _cell(value) -> str:
    if value == BLANK and isinstance(value, str):
        return '<td class="fill"><span aria-label="fill in by hand">____</span></td>'
    number = isinstance(value, int | float) and not isinstance(value, bool)
    return f'<td class="number">{text_of(value)}</td>' if number else f"<td>{escape(text_of(value))}</td>"


def text_of(value) -> str:
    """A cell as a reader needs it: four digits of a small number, two decimals of hundreds, none of thousands.

    Examples
    --------
    >>> text_of(0.0123456), text_of(148.45), text_of(24800.0), text_of(15.0), text_of("free")
    ('0.01235', '148.45', '24800', '15', 'free')
    """
    if not isinstance(value, float):
        return str(value)
    if abs(value) >= 1000.0:
        return f"{value:.0f}"
    return f"{value:.5g}" if abs(value) >= 100.0 else f"{value:.4g}"


def sheet_csv(plain: dict) -> str:
    """A sheet's table as CSV text.

    Examples
    --------
    >>> sheet_csv(sheet("Legs", ["leg", "load [kW]"], [["A", 1.5]])).splitlines()
    ['leg,load [kW]', 'A,1.5']
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(map(plain_cell, plain["columns"]))
    writer.writerows(
        [f"{one:.12g}" if isinstance(one, float) else plain_cell(one) for one in row] for row in plain["rows"]
    )
    return out.getvalue()


def wire_text(wire: Wire | None) -> str:
    """Size, material and method; blank where it is not known."""
    return BLANK if wire is None else f"{wire.awg} AWG {wire.material} {wire.method}"


def length_text(wire: Wire | None) -> str | float:
    """One-way length; blank where it is not known. [ft]"""
    return BLANK if wire is None or wire.length_ft is None else wire.length_ft


def or_blank(value):
    """A value, or a blank to be filled in."""
    return BLANK if value is None else value


def breaker_text(circuit: Circuit) -> str:
    """Breaker with its poles, such as "20 A" or "30 A 2-pole"."""
    return f"{circuit.breaker_a:g} A" + (" 2-pole" if circuit.poles == 2 else "")
