"""What a moved circuit keeps: its GFCI and AFCI, and what the room that it serves asks for."""

from __future__ import annotations

from profiles.loads.circuit import Circuit
from simulate.panel.checks.finding import Figure, Finding, found, missing
from simulate.panel.checks.layout import PLUGGED_KINDS, Layout
from simulate.site.editions import EDITIONS_HELD, edition_year, since

KEPT = "NEC 210.8, 210.12, {afci-extension}"

GFCI_ROOMS = {
    2011: frozenset({"bath", "kitchen", "garage", "basement", "outdoor"}),
    2014: frozenset({"bath", "kitchen", "garage", "basement", "outdoor", "laundry"}),
}
"""Rooms whose receptacles ask for GFCI by the first edition, NEC 210.8(A), from memory."""

AFCI_ROOMS = {
    2011: frozenset({"bedroom", "living"}),
    2014: frozenset({"bedroom", "living", "kitchen", "laundry"}),
}
"""Rooms whose 120 V, 15 A and 20 A circuits ask for AFCI by the first edition, NEC 210.12(A), from memory."""

AFCI_LARGEST_A = 20.0
EXTENSION_IN = 72.0
"""An extension of branch wiring up to 6 ft outside enclosures without new outlets asks for no AFCI, NEC 210.12. [in]"""

BY_ROOM = (*PLUGGED_KINDS, "lighting", "medical", "motor", None)
"""Kinds whose protection follows the room; of the others the room decides nothing here."""


def protection_findings(layout: Layout) -> list[Finding]:
    """Findings of `protection-kept`, one for each circuit of the sub-panel."""
    return [_kept(layout, circuit) for circuit in layout.circuits]


def _kept(layout: Layout, circuit: Circuit) -> Finding:
    name = circuit.name
    keys = [f'circuit "{name}".{key}' for key in ("gfci", "afci") if getattr(circuit, key) is None]
    asks = circuit.poles == 1 and circuit.kind in BY_ROOM and "none" in (circuit.gfci, circuit.afci)
    keys += [f'circuit "{name}".room'] if asks and circuit.room is None else []
    if keys:
        return missing(
            "protection-kept", name, keys, KEPT, "A moved circuit keeps its GFCI and AFCI; the room asks too."
        )
    at_breaker = [key.upper() for key in ("gfci", "afci") if getattr(circuit, key) == "breaker"]
    asked = _asked(layout, circuit) if asks else None
    if asked is not None:
        return asked
    if layout.site.subpanel.build == "fed" and at_breaker:
        text = f"The {' and '.join(at_breaker)} breaker of {name} stays behind: fit the same in the sub-panel."
        return found("protection-kept", name, "marginal", Figure(), KEPT, text)
    kept = {"GFCI": circuit.gfci, "AFCI": circuit.afci}
    has = [f"{key} at the {where}" for key, where in kept.items() if where != "none"]
    text = (
        f"{name} keeps {' and '.join(has)}."
        if has
        else f"{name} has no GFCI or AFCI to keep, and its room asks for none."
    )
    return found("protection-kept", name, "pass", Figure(), KEPT, text)


def _asked(layout: Layout, circuit: Circuit) -> Finding | None:
    """What the room asks for and the circuit lacks; None where nothing is lacking."""
    name, year = circuit.name, edition_year(layout.site.site.code_edition) or EDITIONS_HELD[-1]
    if circuit.afci == "none" and circuit.room in since(AFCI_ROOMS, year) and circuit.breaker_a <= AFCI_LARGEST_A:
        longest_in = _extension_in(layout)
        if longest_in is None:
            known = f"{name} serves a {circuit.room} without AFCI: an extension of more than 6 ft asks for it."
            return missing("protection-kept", name, ["subpanel.raceways"], KEPT, known)
        figure = Figure(longest_in, EXTENSION_IN, "in")
        if not figure.met:
            text = (
                f"{name} serves a {circuit.room}, has no AFCI and is extended by {figure.value:g} in, over 6 ft: it "
                "needs AFCI ({afci-extension})."
            )
            return found("protection-kept", name, "fail", figure, KEPT, text)
    if circuit.gfci == "none" and circuit.room in since(GFCI_ROOMS, year) and circuit.kind != "lighting":
        text = (
            f"{name} serves a {circuit.room} and has no GFCI: new and replaced receptacles there need it (210.8(A)); "
            "work that stands may stay until it is changed."
        )
        return found("protection-kept", name, "marginal", Figure(), KEPT, text)
    return None


def _extension_in(layout: Layout) -> float | None:
    """How far branch wiring is extended outside the panels: the longest raceway, else the feeder. [in]"""
    panel = layout.site.subpanel
    if panel.raceways is not None:
        return max((raceway.length_in for raceway in panel.raceways), default=0.0)
    if panel.build == "fed" and panel.feeder is not None and panel.feeder.length_ft is not None:
        return 12.0 * panel.feeder.length_ft
    return None
