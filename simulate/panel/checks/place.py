"""Where the units stand: sums of nameplate energy by place."""

from __future__ import annotations

from simulate.panel.checks.finding import Figure, Finding, found, missing, pass_or_fail
from simulate.panel.checks.layout import Layout
from simulate.site.editions import edition_year

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

EMERGENCY = "NEC {emergency-disconnect}"
DISCONNECT = "NEC {storage-disconnect}"
EMERGENCY_FROM, STORAGE_FROM = 2020, 2017
RULE = "NFPA 855 ch. 15 / IRC R328.5 by nameplate energy"


def place_findings(layout: Layout) -> list[Finding]:
    """Findings of `location`: each group's unit, and the sum of each place."""
    out = [_unit(group) for group in layout.groups]
    for place in dict.fromkeys(group.place for group in layout.groups if group.place is not None):
        out.append(_sum(layout, place))
    return out + _disconnects(layout)


def _disconnects(layout: Layout) -> list[Finding]:
    """The dwelling's emergency disconnect and the units' own, from the edition on that asks for each."""
    year, service, out = edition_year(layout.site.site.code_edition), layout.site.service, []
    if (year or EMERGENCY_FROM) >= EMERGENCY_FROM and layout.groups:
        out.append(_emergency(service.emergency_disconnect))
    if (year or STORAGE_FROM) >= STORAGE_FROM:
        out += [_own(group) for group in layout.groups]
    return out


def _emergency(there: bool | None) -> Finding:
    subject = "emergency disconnect"
    if there is None:
        return missing("location", subject, ["service.emergency_disconnect"], EMERGENCY)
    text = "An emergency disconnect stands outdoors: its label names the battery units too."
    if not there:
        text = "No emergency disconnect outdoors: asked for where service equipment is replaced; some authorities ask "
        text += "for it with battery units."
    return found("location", subject, "pass" if there else "marginal", Figure(), EMERGENCY, text)


def _own(group) -> Finding:
    subject = f"{group.name}, disconnect"
    if group.disconnect_in_sight is None:
        return missing("location", subject, [f'battery "{group.name}".disconnect_in_sight'], DISCONNECT)
    text = f"{group.name}: disconnect in sight of the units, labelled."
    if not group.disconnect_in_sight:
        text = f"{group.name}: the disconnect is out of sight: it must lock open, with a sign at the units where it is."
    return found("location", subject, "pass" if group.disconnect_in_sight else "marginal", Figure(), DISCONNECT, text)


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
