"""Where the units stand: sums of nameplate energy by place."""

from __future__ import annotations

from simulate.panel.checks.finding import Figure, Finding, found, missing, pass_or_fail
from simulate.panel.checks.layout import Layout

UNIT_KWH = 20.0
"""Largest dwelling unit, NFPA 855 chapter 15 / IRC R328. [kWh]"""

PLACE_KWH = {
    "utility-closet": 40.0,
    "basement": 40.0,
    "garage": 80.0,
    "detached": 80.0,
    "outdoor-wall": 80.0,
    "outdoor-pad": 80.0,
}
"""Sum of nameplate energy by place: closets, storage and utility spaces 40; garages, exterior walls, outdoors 80. [kWh]

The limits were read in excerpts; a basement is taken as a utility space.
"""

RULE = "NFPA 855 ch. 15 / IRC R328.5 by nameplate energy"


def place_findings(layout: Layout) -> list[Finding]:
    """Findings of `location`: each group's unit, and the sum of each place."""
    out = [_unit(group) for group in layout.groups]
    for place in dict.fromkeys(group.place for group in layout.groups if group.place is not None):
        out.append(_sum(layout, place))
    return out


def _unit(group) -> Finding:
    keys = [f'battery "{group.name}".{key}' for key in ("place", "nameplate_kwh") if getattr(group, key) is None]
    if keys:
        return missing("location", group.name, keys, RULE)
    figure = Figure(group.nameplate_kwh, UNIT_KWH, "kWh")
    text = f"{group.name}: {group.nameplate_kwh:g} kWh nameplate a unit, of {UNIT_KWH:g} kWh in a dwelling."
    return found("location", group.name, pass_or_fail(figure), figure, RULE, text)


def _sum(layout: Layout, place: str) -> Finding:
    there = [group for group in layout.groups if group.place == place]
    keys = [f'battery "{group.name}".nameplate_kwh' for group in there if group.nameplate_kwh is None]
    if keys:
        return missing("location", place, keys, RULE)
    total = sum(group.count * group.nameplate_kwh for group in there)
    figure = Figure(total, PLACE_KWH[place], "kWh")
    text = (
        f"{place}: {total:g} kWh nameplate in all, of {figure.limit:g} kWh. Clearances, detection and the listing are "
        "for the authority having jurisdiction."
    )
    return found("location", place, pass_or_fail(figure), figure, RULE, text)
