"""Labels and the directory: what is written on which door."""

from __future__ import annotations

from simulate.panel.checks.layout import Layout, unit_names
from simulate.panel.checks.neutral import LOUD
from simulate.panel.sheets.schedule import breaker_of, leg_text, space_of
from simulate.panel.sheets.sheet import BLANK, sheet
from simulate.site.editions import edition_year, numbered


def label_set(layout: Layout) -> dict:
    """Labels with their place; rules are from memory and named where there is one."""
    year = edition_year(layout.site.site.code_edition)
    rows = [*_service_labels(layout), *_unit_labels(layout), *_circuit_labels(layout)]
    rows = [[where, text, numbered(rule, year), fitted] for where, text, rule, fitted in rows]
    columns = ["where", "text", "rule", "fitted"]
    notes = [
        "Rules from memory: confirm wording and place in the adopted edition.",
        "Re-label both directories: the main panel's and the sub-panel's.",
    ]
    return sheet("Label set", columns, rows, notes)


def _service_labels(layout: Layout) -> list[list]:
    kinds = ", ".join(dict.fromkeys(group.place for group in layout.groups if group.place)) or "________"
    rows = [
        ["service", f"Optional standby source on this site: battery units, {kinds}", "NEC 702.7", BLANK],
        ["service", f"Disconnect of the battery units: {kinds}", "NEC {storage-disconnect}, 705.10", BLANK],
        ["emergency disconnect", f"Emergency disconnect; battery units: {kinds}", "NEC {emergency-disconnect}", BLANK],
        ["main panel", "Available fault current ____ kA, date ____", "NEC 110.9, 408.6", BLANK],
        [
            "main panel",
            "Conductors feed through to another enclosure; nearest disconnect: ________",
            "NEC 312.8",
            BLANK,
        ],
        ["sub-panel", "More than one source: live from the battery when the utility is off", "NEC 705.10", BLANK],
        ["sub-panel", "Circuit directory (below)", "NEC 408.4", BLANK],
    ]
    if layout.legs == ("A", "B") and not layout.carries_two_pole:
        text = "Single 120 V supply. Do not connect multiwire branch circuits"
        rows.append(["sub-panel", text, "NEC {single-120}", BLANK])
    if layout.site.solar is not None:
        at = {"main-panel": "main panel", "sub-panel": "sub-panel", "battery": "battery units"}
        text = f"Solar is connected at the {at[layout.site.solar.connected_at]}"
        rows.append(["service", text, "NEC 705.10", BLANK])
    if layout.site.generator is not None:
        rows.append(["generator inlet", _generator_label(layout), "NEC 702.7", BLANK])
    return rows


def _generator_label(layout: Layout) -> str:
    floats = "floating neutral only. " if layout.site.generator.connection == "interlocked-inlet" else ""
    return f"Generator, {floats}Outdoors only, away from openings; carbon monoxide kills"


def _unit_labels(layout: Layout) -> list[list]:
    rows = []
    for group in layout.groups:
        circuit = group.charging_circuit
        for name in unit_names(group):
            setting = f", set to {group.unit_charge_kw:.2f} kW at most" if group.charge_adjustable else ""
            text = f"Charging circuit of {name}, {circuit.breaker_a:g} A, {circuit.volts} V{setting}"
            rows.append(["main panel", text, "NEC 408.4", BLANK])
            leg = "legs A and B" if group.leg == "both" else f"leg {group.leg}"
            locked = f", locked with {group.locked_with}" if group.locked_with else ""
            rows.append([name, f"{name}: output to {leg} of the sub-panel{locked}", "NEC 408.4", BLANK])
    return rows


def _circuit_labels(layout: Layout) -> list[list]:
    spaces, rows = space_of(layout), []
    for circuit in layout.circuits:
        space = spaces.get(circuit.name)
        number = f"space {space.text}" if space else "space ____"
        text = f"{circuit.name}, {breaker_of(layout, circuit)}, leg {leg_text(layout, circuit)}"
        mate = layout.pair_of(circuit)
        if mate is not None:
            text += f", shares its neutral with {mate.name}"
            text += f". {LOUD}" if mate.on != "sub-panel" else ""
        if circuit.is_medical:
            text += ". Not the only power for life-sustaining equipment"
        rows.append([f"sub-panel directory, {number}", text, "NEC 408.4", BLANK])
        if layout.site.subpanel.build == "pass-through":
            text = f"{circuit.name}: backed up, also live from the battery units"
            rows.append(["main panel directory", text, "NEC 408.4", BLANK])
    return rows
