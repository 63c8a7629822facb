"""What a bare name at the end of a notebook cell shows: a site, a year, the outages of a year."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape
from typing import TYPE_CHECKING

from simulate.physics.outages.spread import MARKS_H, SEASONS, lasting_frac, spread
from simulate.site.cautions import SHORT

if TYPE_CHECKING:
    from simulate.house.ride import RideThrough
    from simulate.site.site import Site

SPREADS = {
    "min": "shortest",
    "p10": "nine in ten reach",
    "p50": "half reach",
    "p90": "one in ten reaches",
    "max": "longest",
}
ENERGIES = {
    "load": "house uses",
    "backed_up": "of it the circuits on the sub-panel",
    "solar": "roof could give",
    "import": "bought",
    "export": "sent out",
    "charge": "into the units (AC)",
    "discharge": "out of the units (AC)",
    "loss": "lost in the units, their own draw included",
    "curtailed": "solar that nobody used",
    "stored_change": "stored at the end less at the start",
}


def site_html(site: Site) -> str:
    """A site: what it is, its units, its circuits.

    Examples
    --------
    >>> from simulate.site.site import read_site
    >>> "Well pump" in site_html(read_site())
    True
    """
    place, year = site.site, site.site.year or "the year of its meter"
    head = f"{place.name}: {year} in steps of {place.step_min} min, mode {site.subpanel.mode}, rate {site.rate.name}"
    units = [
        f"{g.count} x {g.name} on leg {g.leg}: {g.unit_kwh:.1f} kWh, {g.unit_kw(site.service.system):.1f} kW each"
        for g in site.battery
        if g.count
    ]
    rows = [
        (c.name, c.on, "A and B" if c.poles == 2 else c.leg or "", f"{c.breaker_a:g}", str(c.priority))
        for c in site.circuit
    ]
    table = _table(("circuit", "on", "leg", "breaker [A]", "priority"), rows)
    return _lines([head, *(units or ["no battery unit"])]) + table


def year_html(energy_kwh: dict[str, float]) -> str:
    """The energy of a year, one line for each flow that there is."""
    rows = [(text, f"{energy_kwh[name]:,.1f}") for name, text in ENERGIES.items() if energy_kwh.get(name)]
    return _table(("energy of the modelled year", "kWh"), rows)


def ride_html(ride: RideThrough) -> str:
    """The outages of a year by season: hours, and shares that last."""
    marks = [mark for mark in MARKS_H if mark <= ride.horizon_h]
    header = ("power fails in", *(f"{text} [h]" for text in SPREADS.values()))
    header += tuple(f"last {mark} h [%]" for mark in marks)
    seasons = {"the year": ride.hours} | {name: ride.in_months(months) for name, months in SEASONS.items()}
    rows = [_season(name, hours, marks, ride.horizon_h) for name, hours in seasons.items() if len(hours)]
    never = [f"Never carried: {', '.join(ride.house.never_carried)}."] if ride.house.never_carried else []
    first = f"Hours survived, {ride.load_case} load; first circuit lost in most outages: {ride.usually_lost}."
    lived = [f"Outages are followed for {ride.horizon_h:g} h: there read at least."] if ride.censored.any() else []
    return _lines([first, *never, *lived]) + _table(header, rows) + f"<p><small>{escape(SHORT)}</small></p>"


def _season(name: str, hours, marks: list[int], horizon_h: float) -> tuple[str, ...]:
    told, lasting = spread(hours), lasting_frac(hours, horizon_h)
    shares = (lasting[str(mark)] for mark in marks)
    return (
        name,
        *(f"{told[key]:.1f}" for key in SPREADS),
        *("" if share is None else f"{100.0 * share:.0f}" for share in shares),
    )


def _lines(texts: Iterable[str]) -> str:
    return "<p>" + "<br>".join(map(escape, texts)) + "</p>"


def _table(header: Iterable[str], rows: Iterable[tuple[str, ...]]) -> str:
    """A table whose first column is text and whose others are numbers or short words."""
    side = lambda k: "left" if k == 0 else "right"
    cell = lambda tag, k, text: f'<{tag} style="text-align:{side(k)}">{escape(text)}</{tag}>'
    line = lambda tag, texts: "<tr>" + "".join(cell(tag, k, text) for k, text in enumerate(texts)) + "</tr>"
    body = "".join(line("td", row) for row in rows)
    return f"<table><thead>{line('th', header)}</thead><tbody>{body}</tbody></table>"
