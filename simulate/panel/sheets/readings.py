"""What was read at commissioning against what was expected, and what was re-rated."""

from __future__ import annotations

import json

from simulate.panel.checks.layout import Layout, power_keys
from simulate.panel.checks.motor import start_of, starts_motor
from simulate.panel.checks.power import leg_amps, neutral_a
from simulate.panel.sheets.sheet import BLANK, NONE, PLANNING, sheet
from simulate.site.readings import Built, CircuitReading, nominal_v

NEAR_FRAC = 0.2
"""Difference up to which a reading is as expected: engineering judgement, no citation."""

VOLTS_FRAC = 0.05
"""Service voltage within 5 % of nominal, ANSI C84.1 range A, from memory."""

COLUMNS = ["what", "unit", "expected", "read", "difference", "so"]
AS_EXPECTED, RE_RATED = "as expected", "differs: re-rated"


def readings_sheet(layout: Layout, built: Built) -> dict:
    """Every reading beside what was expected of the site as it was drawn.

    Parameters
    ----------
    layout : Layout
        Of the site as it was drawn.
    built : Built
    """
    rows = []
    for read in built.readings.circuit:
        rows += _circuit_rows(layout, read)
    rows += _leg_rows(layout, built) + _charging_rows(layout, built) + _other_rows(layout, built)
    changes = [
        f"{one.key}: {NONE if one.was is None else one.was} -> {one.now} ({one.why})."
        for one in built.changes
        if not one.key.endswith(".load")
    ]
    scaled = [f"{one.key}: {one.why}." for one in built.changes if one.key.endswith(".load")]
    notes = [built.readings.revision, *changes, *scaled, *(f"{one}." for one in built.kept), PLANNING]
    return sheet("Commissioning readings", COLUMNS, rows, notes)


def _row(what: str, unit: str, expected: float | None, read: float, so: str = "") -> list:
    if expected is None or expected == 0.0:
        return [what, unit, BLANK if expected is None else 0.0, read, NONE, so or RE_RATED]
    frac = read / expected - 1.0
    said = so or (AS_EXPECTED if abs(frac) <= NEAR_FRAC else RE_RATED)
    return [what, unit, round(expected, 3), read, f"{frac:+.0%}", said]


def _volts_row(what: str, nominal: float, read: float) -> list:
    low, high = nominal * (1.0 - VOLTS_FRAC), nominal * (1.0 + VOLTS_FRAC)
    so = AS_EXPECTED if low <= read <= high else f"outside {low:g}-{high:g} V: find out why"
    return _row(what, "V", nominal, read, so)


def _circuit_rows(layout: Layout, read: CircuitReading) -> list[list]:
    circuit = next(one for one in layout.site.circuit if one.name == read.name)
    nominal, rows = nominal_v(layout.site, circuit), []
    if read.amps is not None:
        expected = None if circuit.running_w is None else circuit.running_w / nominal
        over = f"above its breaker of {circuit.breaker_a:g} A: find out why" if read.amps > circuit.breaker_a else ""
        rows.append(_row(f"{read.name}, running", "A", expected, read.amps, over))
    if read.volts is not None:
        rows.append(_volts_row(f"{read.name}, volts", nominal, read.volts))
    if read.start_a is not None:
        rows.append(_start_row(layout, circuit, read.start_a))
    if read.start_s is not None:
        longest = min((group.surge_s or 0.0 for group in layout.groups), default=0.0)
        over = f"outlasts the units' {longest:g} s" if longest and read.start_s > longest else ""
        expected = 1.0 if circuit.motor is None else circuit.motor.start_s
        rows.append(_row(f"{read.name}, start takes", "s", expected, read.start_s, over))
    return rows


def _start_row(layout: Layout, circuit, read_a: float) -> list:
    """A start is expected within a range, not at a value."""
    start = start_of(circuit, layout.battery_volts(circuit)) if starts_motor(circuit) else []
    what = f"{circuit.name}, start"
    if isinstance(start, list):
        return _row(what, "A", None, read_a)
    inside = start.low_a * (1.0 - NEAR_FRAC) <= read_a <= start.high_a * (1.0 + NEAR_FRAC)
    expected = f"{start.low_a:.1f}-{start.high_a:.1f}" if start.high_a - start.low_a > 0.05 else round(start.low_a, 1)
    return [what, "A", expected, read_a, NONE, AS_EXPECTED if inside else RE_RATED]


def _leg_rows(layout: Layout, built: Built) -> list[list]:
    rows, known = [], not power_keys(layout.circuits, largest=False)
    for read in built.readings.leg:
        if read.amps is not None:
            rated_a = layout.leg_kw(read.name) * 1000.0 / 120.0
            over = f"above the units' {rated_a:.1f} A" if read.amps > rated_a + 1e-9 else ""
            expected = leg_amps(layout, read.name)[0] if known else None
            so = over or ("" if expected is None else _near(expected, read.amps))
            rows.append(_row(f"leg {read.name}, all running, on battery", "A", expected, read.amps, so))
        if read.volts is not None:
            rows.append(_volts_row(f"leg {read.name} to neutral, on battery", 120.0, read.volts))
    if built.readings.neutral_a is not None and known and layout.legs == ("A", "B"):
        expected = neutral_a(*(leg_amps(layout, leg)[1] for leg in layout.legs), layout.site.service.system)
        read_a = built.readings.neutral_a
        rows.append(_row("common neutral, on battery", "A", expected, read_a, _near(expected, read_a)))
    return rows


def _near(expected: float, read: float) -> str:
    near = abs(read - expected) <= NEAR_FRAC * max(expected, 1.0)
    return AS_EXPECTED if near else "differs: look which circuit it is"


def _charging_rows(layout: Layout, built: Built) -> list[list]:
    rows, groups = [], {group.name: group for group in layout.groups}
    for read in built.readings.charging:
        group = groups[read.name]
        most = 0.8 * group.charging_circuit.breaker_a
        over = f"stop: above {most:g} A for three hours, set the charger" if read.amps > most + 1e-9 else ""
        expected = group.unit_charge_kw * 1000.0 / group.charging_circuit.volts
        rows.append(_row(f"charging, {read.name}, each unit", "A", expected, read.amps, over))
        if read.volts is not None:
            rows.append(_volts_row(f"charging, {read.name}, volts", float(group.charging_circuit.volts), read.volts))
    return rows


def _other_rows(layout: Layout, built: Built) -> list[list]:
    read, rows = built.readings, []
    if read.leg_to_leg_v is not None:
        nominal = layout.battery_line_volts if layout.carries_two_pole else 0.0
        if nominal:
            rows.append(_volts_row("leg to leg, on battery", nominal, read.leg_to_leg_v))
        else:
            rows.append(
                ["leg to leg, on battery", "V", NONE, read.leg_to_leg_v, NONE, "no two-pole circuit is carried"]
            )
    if read.break_s is not None:
        break_ms = layout.site.subpanel.transfer.break_ms
        rows.append(_row("break at transfer", "s", None if break_ms is None else break_ms / 1000.0, read.break_s))
    if read.solar_returns_s is not None:
        rows.append(_row("solar returns after", "s", layout.site.outage.reconnect_s, read.solar_returns_s))
    return rows


def readings_form(layout: Layout) -> str:
    """A file of readings to be filled in: every circuit, leg and charging circuit, what is expected beside it.

    Its lines are comments until a value is written, so that it reads as no reading at all.
    """
    known = not power_keys(layout.circuits, largest=False)
    lines = [
        "# Commissioning readings: take the sign # off a line, write what was read, then",
        "# keeplit panel SITE --readings readings.toml --out sheets",
        'date = "____-__-__"',
        '# by = ""',
        "# neutral_a =          # common neutral, on battery [A]",
        "# leg_to_leg_v =       # on battery [V]",
        "# break_s =            # break at transfer [s]",
        "# solar_returns_s =    # solar back on the island after [s]",
    ]
    for circuit in layout.circuits:
        nominal = nominal_v(layout.site, circuit)
        amps = "____" if circuit.running_w is None else f"{circuit.running_w / nominal:.1f}"
        lines += ["", "[[circuit]]", f"name = {json.dumps(circuit.name, ensure_ascii=False)}"]
        lines += [
            f"# amps =             # running, expected {amps} A",
            f"# volts =            # expected {nominal:g} V",
        ]
        if starts_motor(circuit):
            lines += ["# start_a =          # inrush clamp [A]", "# start_s =          # [s]"]
    for leg in layout.fed_legs:
        amps = f"{leg_amps(layout, leg)[0]:.1f}" if known else "____"
        lines += [
            "",
            "[[leg]]",
            f'name = "{leg}"',
            f"# amps =             # all running, on battery, expected {amps} A",
        ]
        lines.append("# volts =            # to neutral, on battery, expected 120 V")
    for group in layout.groups:
        amps = group.unit_charge_kw * 1000.0 / group.charging_circuit.volts
        lines += ["", f"# [[charging]]         # {group.name}, each unit, expected {amps:.1f} A"]
        lines += [f"# name = {json.dumps(group.name, ensure_ascii=False)}", "# amps =", "# volts ="]
    return "\n".join(lines) + "\n"
