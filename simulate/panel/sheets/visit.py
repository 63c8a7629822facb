"""What the site visit must bring back: what the site file holds already, and a blank for the rest."""

from __future__ import annotations

from simulate.panel.checks.layout import Layout, power_keys
from simulate.panel.sheets.sheet import BLANK, sheet
from simulate.site.load_calculation import service_load


def site_visit(layout: Layout) -> dict:
    """Questions of the site visit; a blank is what nobody has written down yet."""
    rows = [*_goal(layout), *_service(layout), *_circuits(layout), *_place(layout), *_sources(layout)]
    notes = [
        "A photograph of every label and nameplate goes with this sheet.",
        "Which wire feeds what is verified by switching off, not by the legend.",
    ]
    return sheet("Site visit", ["about", "question", "known", "checked"], [[*row, BLANK] for row in rows], notes)


def _known(value, unit: str = "") -> str:
    return BLANK if value is None else f"{value:g}{unit}" if isinstance(value, int | float) else str(value)


def _goal(layout: Layout) -> list[list]:
    medical = ", ".join(circuit.name for circuit in layout.site.circuit if circuit.is_medical)
    return [
        ["goal", "a night, days, the bill, or which mix", BLANK],
        ["goal", "who depends on a medical device, and on which circuit", medical],
        ["goal", "other plan for life support: clinician, utility, a place to go", BLANK],
    ]


def _service(layout: Layout) -> list[list]:
    service = layout.site.service
    return [
        ["service", "system", f"{service.system} V"],
        ["service", "main breaker", _known(service.main_breaker_a, " A")],
        ["service", "bus rating", _known(service.bus_a, " A")],
        ["service", "free spaces", _known(service.free_spaces)],
        ["service", "load calculation", _load(layout)],
        ["service", "panel listing and condition, available fault current", BLANK],
        ["service", "utility, meter type, edition adopted", _known(layout.site.site.code_edition)],
    ]


def _load(layout: Layout) -> str:
    load = service_load(layout.site)
    return BLANK if load.va is None else f"{load.va:,.0f} VA ({load.how})"


IN_WORDS = {
    "running_w": "watts when it runs",
    "largest_w": "largest single appliance",
    "kind": "kind of circuit",
    "wire": "wire",
    "gfci": "GFCI",
    "afci": "AFCI",
    "also_on_wire": "what else is on the wire",
}


def _circuits(layout: Layout) -> list[list]:
    rows = []
    for circuit in layout.site.circuit:
        open_ = [key.rsplit(".", 1)[1] for key in power_keys([circuit])]
        names = ("kind", "wire", "gfci", "afci", "also_on_wire")
        open_ += [name for name in names if getattr(circuit, name) is None]
        if circuit.wire is not None and circuit.wire.length_ft is None:
            open_.append("wire length")
        asked = "still to find: " + ", ".join(IN_WORDS.get(one, one) for one in open_) if open_ else "all known"
        rows.append([f"circuit {circuit.name}", asked, BLANK if open_ else "yes"])
    return rows


def _place(layout: Layout) -> list[list]:
    rows = []
    for group in layout.groups:
        heated = {True: "heated", False: "unheated", None: ""}[group.heated]
        place = ", ".join(part for part in (group.place, heated) if part)
        rows.append([group.name, "where it stands", place])
        rows.append([group.name, "clearances, doors and windows, detection, flood level, vehicles", BLANK])
    rows.append(["units", "path and length from the main panel, wall, disconnect", BLANK])
    return rows


def _sources(layout: Layout) -> list[list]:
    solar, generator, rows = layout.site.solar, layout.site.generator, []
    if solar is not None:
        rows += [
            ["solar", "connected at", solar.connected_at],
            ["solar", "inverter rating", _known(solar.ac_kw, " kW")],
            ["solar", "how it curtails on an island, by its setting", solar.curtails],
        ]
    if generator is not None:
        bonded = {True: "bonded", False: "floating", None: BLANK}[generator.neutral_bonded]
        rows += [
            ["generator", "rating and connection", f"{generator.kw:g} kW, {generator.connection}"],
            ["generator", "neutral", bonded],
            ["generator", "where it runs outdoors, away from openings; fuel", BLANK],
        ]
    return rows
