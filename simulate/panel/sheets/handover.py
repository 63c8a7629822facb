"""The client's page, and what goes dark while a space or a unit is replaced."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from simulate.panel.checks.finding import Finding
from simulate.panel.checks.layout import Layout, unit_names
from simulate.panel.sheets.commissioning import reserve_text
from simulate.panel.sheets.schedule import space_of
from simulate.panel.sheets.sheet import BLANK, NONE, sheet
from simulate.panel.sheets.wirelist import ENERGIZED
from simulate.site.cautions import AFTER_TRIP, GFCI, HEATERS, LIFE_SUPPORT, SOLAR_OFF, SOLAR_RETURNS
from simulate.site.pools import solar_returns


def client_page(
    layout: Layout,
    answers: Mapping[str, str] | None = None,
    findings: Sequence[Finding] = (),
    switch_off: Sequence[str] | None = None,
) -> dict:
    """What the client keeps: hours, what not to run, what happens at empty and after a trip, whom to call.

    Parameters
    ----------
    layout : Layout
    answers : mapping of question to sentence, optional
        Modelled hours, such as {"Winter": "nine times in ten at least 9 h"}; without it those lines are blank.
    findings : sequence of Finding
        Of `check_panel`: what a heater trips.
    switch_off : sequence of str, optional
        Modelled: what to switch off first and what each step gains.
    """
    rows = [["How long (modelled)", question, answer] for question, answer in (answers or _blank_hours()).items()]
    rows.append(["How long (modelled)", "for life support", LIFE_SUPPORT])
    rows += _what_happens(layout, findings) + _circuits(layout)
    rows += [
        ["Switch off first", str(k + 1), name]
        for k, name in enumerate(_first_off(layout) if switch_off is None else switch_off)
    ]
    rows += _settings(layout) + _care()
    notes = ["Hours are modelled, not promised. An outage in a storm is harder than the average one."]
    return sheet("For the client", ["about", "what", "answer"], rows, notes)


def _blank_hours() -> dict[str, str]:
    return {"winter": BLANK, "summer": BLANK, "hardest month": BLANK, "storm": BLANK}


def _what_happens(layout: Layout, findings: Sequence[Finding]) -> list[list]:
    """What not to run, what happens at empty, after a trip, after a transfer and to the roof."""
    rows = [["Do not run", "portable heaters", HEATERS]]
    trips = [f.subject for f in findings if f.check == "one-heater" and f.verdict == "fail"]
    if trips:
        rows.append(["Do not run", "a heater on these: it trips a unit", ", ".join(trips)])
    restart = layout.site.outage.restart_soc if solar_returns(layout.site) else 0.0
    empty = (
        f"Loads are dropped at {restart:.0%}; they return once the sun has refilled the units."
        if restart
        else "Empty units stay dark until the utility returns."
    )
    rows.append(["What happens", "when the units are empty", empty])
    latches = any(group.after_trip == "latches" for group in layout.groups)
    back = "A tripped unit comes back by itself once the load is below its rating: switch something off."
    rows.append(["What happens", "after a trip", AFTER_TRIP if latches else back])
    behind = ", ".join(one.name for one in layout.circuits if one.gfci in ("breaker", "device"))
    rows.append(["What happens", "after each transfer", GFCI.format(names=behind or "everything behind one")])
    if layout.site.solar is not None:
        rows.append(["What happens", "to the roof", SOLAR_RETURNS if solar_returns(layout.site) else SOLAR_OFF])
    return rows


def _circuits(layout: Layout) -> list[list]:
    rows = []
    for circuit in sorted(layout.circuits, key=lambda one: one.priority):
        carried = "never carried as wired" if circuit in layout.never_carried else f"priority {circuit.priority}"
        if circuit.is_medical and carried.startswith("priority"):
            carried += f". {LIFE_SUPPORT}"
        rows.append(["Backed up", circuit.name, carried])
    for circuit in layout.site.circuit:
        if circuit.on != "sub-panel":
            rows.append(["Not backed up", circuit.name, "dark in an outage"])
    return rows


def _first_off(layout: Layout) -> list[str]:
    """Lowest priority first, the largest draw first; never the first priority, nor medical, flood or heat."""
    may = [one for one in layout.circuits if one.may_be_switched_off and one not in layout.never_carried]
    may.sort(key=lambda one: (-one.priority, -(one.running_w or 0.0)))
    return [circuit.name for circuit in may] or ["nothing: every circuit that is carried is kept on"]


def _settings(layout: Layout) -> list[list]:
    site = layout.site
    return [
        ["Settings left", "plan", site.operation.plan or BLANK],
        ["Settings left", "reserve", reserve_text(site.operation.reserve)],
        ["Settings left", "charge from", site.operation.charge_from],
        ["Settings left", "export", "on" if site.subpanel.export else "off"],
        ["Settings left", "who may change them", BLANK],
        ["Call", "electrician", BLANK],
        ["Call", "utility, outage number", BLANK],
        ["Call", "fire department is told where the disconnect is", BLANK],
    ]


def _care() -> list[list]:
    tasks = ("transfer test", "heat and smoke detectors", "labels", "settings and firmware", "one full charge")
    return [["Look after it", task, BLANK] for task in tasks] + [["Look after it", "next review", BLANK]]


def replacing(layout: Layout) -> dict:
    """What goes dark, and what is not backed up, while one space or one unit is replaced."""
    rows = [_space_row(layout, number, names) for number, names in _by_space(layout).items()]
    rows += [_unit_row(layout, group, name) for group in layout.groups for name in unit_names(group)]
    columns = ["replacing", "open first", "dark meanwhile", "served by the utility, not backed up meanwhile"]
    return sheet("Replacing one space or one unit", columns, rows, [ENERGIZED])


def _by_space(layout: Layout) -> dict:
    spaces, by_space = space_of(layout), {}
    for circuit in layout.circuits:
        slot = spaces.get(circuit.name)
        key = f"space {slot.text}" if slot else f"the space of {circuit.name}"
        by_space.setdefault(key, []).append(circuit.name)
    return by_space


def _space_row(layout: Layout, key: str, names: list[str]) -> list:
    outputs = ", ".join(f"output of {name}" for group in layout.groups for name in unit_names(group))
    if layout.site.subpanel.build == "fed":
        everything = ", ".join(circuit.name for circuit in layout.circuits)
        return [key, f"feeder breaker, {outputs}", everything, NONE]
    return [key, f"main panel breaker of {' and '.join(names)}, {outputs}", ", ".join(names), _others(layout, names)]


def _others(layout: Layout, names: list[str]) -> str:
    return ", ".join(circuit.name for circuit in layout.circuits if circuit.name not in names) or NONE


def _unit_row(layout: Layout, group, name: str) -> list:
    lost = [circuit.name for circuit in layout.circuits if _loses(layout, circuit, group)]
    none = "none" if lost else "none; the other units carry the rest with less energy and power"
    return [name, f"charging breaker and output of {name}", none, ", ".join(lost) or NONE]


def _loses(layout: Layout, circuit, group) -> bool:
    """No unit is left for a circuit while one of the group is out."""
    if circuit in layout.never_carried:
        return False
    for leg in layout.legs_of(circuit):
        if group.leg in (leg, "both") and sum(one.count for one in layout.groups_on(leg)) == 1:
            return True
    return False
