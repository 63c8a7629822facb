"""A site at a glance: what its bare name shows at the end of a notebook cell."""

from __future__ import annotations

from profiles.html import lines_html, table_html


def site_html(site) -> str:
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
    table = table_html(("circuit", "on", "leg", "breaker [A]", "priority"), rows)
    return lines_html([head, *(units or ["no battery unit"])]) + table
