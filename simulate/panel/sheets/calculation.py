"""The load calculation as a sheet of its own, line by line, for the permit."""

from __future__ import annotations

from simulate.panel.checks.layout import Layout
from simulate.panel.checks.service import chargers
from simulate.panel.sheets.sheet import BLANK, NONE, PLANNING, sheet
from simulate.site.editions import edition_year, section
from simulate.site.load_calculation import ServiceLoad, service_load

COLUMNS = ["line", "load [VA]", "current [A]"]


def load_calculation(layout: Layout) -> dict:
    """The one calculated load of the service by the method that is named, and charging on top of it."""
    load, year = service_load(layout.site), edition_year(layout.site.site.code_edition)
    rows = [[name, round(va, 1), NONE] for name, va in load.lines]
    if load.va is None:
        rows.append(["calculated load: give " + ", ".join(load.missing), BLANK, BLANK])
    else:
        rows.append([f"calculated load, {load.how}", round(load.va, 1), round(load.amps, 2)])
    if load.neutral_va is not None:
        rows.append(["of this, on the neutral", round(load.neutral_va, 1), round(load.neutral_va / load.volts, 1)])
    rows += _charging_rows(layout, load)
    edition = layout.site.site.code_edition or "edition not given"
    notes = [f"{section('load-calculation', year)}, {edition}: confirm in the adopted edition.", *load.notes]
    notes += [f"{one[0].upper()}{one[1:]}." for one in load.doubts]
    notes += [f"Not in the rows, though a circuit suggests it: {one}." for one in load.not_in_rows]
    if year is not None and year >= 2026:
        notes.append("The 2026 figures (2 VA/ft2, first 8 kVA) are from trade-press notes.")
    return sheet("Load calculation", COLUMNS, rows, [*notes, PLANNING])


def _charging_rows(layout: Layout, load: ServiceLoad) -> list[list]:
    """The units' charging on the heaviest leg, at 100 % and at 125 %, against the main breaker."""
    if not layout.groups:
        return []
    amps = chargers(layout).amps
    leg = max(amps, key=amps.get)
    rows = [[f"charging, all units at full rate, leg {leg}", NONE, round(amps[leg], 2)]]
    for factor in (1.0, 1.25):
        total = BLANK if load.amps is None else round(load.amps + factor * amps[leg], 2)
        rows.append([f"with charging at {factor:.0%}, leg {leg}", NONE, total])
    main_a = layout.site.service.main_breaker_a
    return [*rows, ["main breaker", NONE, BLANK if main_a is None else main_a]]
