"""The balance of the legs before and after an assignment."""

from __future__ import annotations

from simulate.panel.checks.layout import Layout, power_keys
from simulate.panel.legs.balance import Assignment
from simulate.panel.legs.bench import bench_of
from simulate.panel.sheets.sheet import BLANK, NONE, sheet

COLUMNS = ["figure", "unit", "before", "after"]


def leg_sheet(layout: Layout, assignment: Assignment | None = None) -> dict:
    """Running, everything on, starts and neutral by leg; blank where powers are missing.

    Parameters
    ----------
    layout : Layout
    assignment : Assignment, optional
        Of `balance_legs`; without it the columns "after" are "-".
    """
    notes = ["Balance is common practice, not a rule; energy decides where each leg has its own units."]
    if layout.legs != ("A", "B"):
        return sheet("Legs", COLUMNS, [], ["The service has one leg."])
    if assignment is not None:
        rows = [[name, unit, _cell(old), _cell(new)] for name, unit, old, new in assignment.table()["rows"]]
        changes = [["leg", name, _other(assignment.legs[name]), assignment.legs[name]] for name in assignment.moved]
        notes.append(f"{len(assignment.moved)} circuits change their leg; {assignment.method}.")
        return sheet("Legs", COLUMNS, rows + changes, notes)
    if power_keys(layout.circuits):
        rows = [[f"running, leg {leg}", "kW", BLANK, NONE] for leg in layout.legs]
        return sheet("Legs", COLUMNS, rows, notes)
    bench = bench_of(layout.site)
    figures = bench.figures({circuit.name: layout.legs_of(circuit)[0] for circuit in bench.circuits})
    return sheet("Legs", COLUMNS, [[name, unit, _cell(value), NONE] for name, unit, value in figures.table()], notes)


def _cell(value):
    return NONE if value is None else round(value, 4)


def _other(leg: str) -> str:
    return "B" if leg == "A" else "A"
