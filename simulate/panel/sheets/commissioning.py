"""The commissioning form: what to measure, what to expect, and who saw it."""

from __future__ import annotations

from simulate.panel.checks.layout import Layout, demand, power_keys
from simulate.panel.checks.motor import start_of, starts_motor
from simulate.panel.checks.neutral import bonds
from simulate.panel.checks.power import leg_amps, neutral_a
from simulate.panel.checks.service import chargers
from simulate.panel.sheets.sheet import BLANK, NONE, sheet
from simulate.panel.sheets.wirelist import ENERGIZED


def commissioning_form(layout: Layout) -> dict:
    """Sixteen tests in order, with expected values from the site file; blanks are filled in on site."""
    rows = []
    for step in (_papers, _volts, _charging, _outage, _start, _legs, _solar, _utility, _end):
        rows += step(layout)
    numbered = [[k + 1, *row, BLANK, BLANK] for k, row in enumerate(rows)]
    columns = ["no.", "test", "expected", "measured", "seen by"]
    notes = [
        ENERGIZED,
        "Commissioning documents may not be asked for in a one- or two-family dwelling (NEC 706.7, from memory): do it "
        "anyway and leave a copy.",
        "A tripped GFCI stays tripped: look at sump and refrigerator after the outage test.",
    ]
    return sheet("Commissioning form", columns, numbered, notes)


def _papers(layout: Layout) -> list[list]:
    return [
        ["photographs of labels and nameplates", "kept with this form"],
        ["torque of every termination, recorded on the wiring list", "by each terminal's label"],
        ["each circuit verified by switching off, recorded on the schedule", f"{len(layout.site.circuit)} circuits"],
    ]


def _volts(layout: Layout) -> list[list]:
    rows = [
        [f"volts leg {leg} to neutral, on the utility and on battery", "114-126 V (120 V, 5% either way)"]
        for leg in layout.legs
    ]
    if layout.legs == ("A", "B"):
        utility = layout.line_volts
        on_battery = f"{layout.battery_line_volts:g} V" if layout.carries_two_pole else "no two-pole circuit is carried"
        rows.append(["volts leg to leg", f"utility {utility:g} V; battery {on_battery}"])
    neutral, words = layout.site.subpanel.neutral, [group.neutral_bond for group in layout.groups]
    expected = BLANK
    if neutral is not None and None not in words:
        each = [group.neutral_bond for group in layout.groups for _ in range(group.count)]
        expected = "1 each way (from the site file: {} on the utility, {} on battery)".format(*bonds(neutral, each))
    rows.append(["bonds of neutral and ground, counted on the utility and on battery", expected])
    rows.append(["current sensors, direction and leg", "import reads positive on both legs"])
    rows.append(["clock and time zone of every device", layout.site.site.timezone])
    return rows


def _charging(layout: Layout) -> list[list]:
    rows = []
    for group in layout.groups:
        amps = group.unit_charge_kw * 1000.0 / group.charging_circuit.volts
        most = 0.8 * group.charging_circuit.breaker_a
        rows.append([f"charging current of {group.name}, each unit", f"{amps:.1f} A expected, {most:.1f} A at most"])
    for leg, amps in chargers(layout).amps.items():
        rows.append([f"charging current of all units together, service leg {leg}", f"{amps:.1f} A"])
    return rows


def _outage(layout: Layout) -> list[list]:
    transfer = layout.site.subpanel.transfer
    break_ms = BLANK if transfer.break_ms is None else f"{transfer.break_ms:g} ms"
    live = len(layout.circuits) - len(layout.never_carried)
    dead = sum(circuit.on != "sub-panel" for circuit in layout.site.circuit) + len(layout.never_carried)
    kind = "by hand" if transfer.kind == "manual" else break_ms
    return [
        ["outage test by opening the main: break at transfer", kind],
        ["each backed-up circuit is live on battery", f"{live} circuits"],
        ["each other circuit is dead on battery", f"{dead} listed circuits, and the rest of the main panel"],
    ]


def _start(layout: Layout) -> list[list]:
    known = {}
    for circuit in layout.circuits:
        if starts_motor(circuit) and circuit not in layout.never_carried:
            start = start_of(circuit, layout.battery_volts(circuit))
            if not isinstance(start, list):
                known[circuit.name] = start
    if not known:
        return [["start of the largest motor with the base load on", NONE if not _motors(layout) else BLANK]]
    name = max(known, key=lambda one: known[one].low_a)
    start = known[name]
    return [[f"start of {name} with the base load on, clamp reading", f"{start.low_a:.0f}-{start.high_a:.0f} A"]]


def _motors(layout: Layout) -> bool:
    return any(starts_motor(circuit) for circuit in layout.circuits)


def _legs(layout: Layout) -> list[list]:
    if power_keys(layout.circuits):
        return [["currents of each leg and the neutral with everything on, on battery", BLANK]]
    rows = []
    for leg in layout.fed_legs:
        power = demand(layout, (leg,))
        kw = f"{power.running_kw:.2f} kW running, {power.everything_kw:.2f} kW everything on"
        rows.append([f"current of leg {leg} on battery", f"{leg_amps(layout, leg)[0]:.1f} A running ({kw})"])
    if layout.fed_legs == ("A", "B"):
        amps = neutral_a(*(leg_amps(layout, leg)[1] for leg in layout.legs), layout.site.service.system)
        rows.append(["current of the common neutral on battery, all running", f"{amps:.1f} A"])
    return rows


def _solar(layout: Layout) -> list[list]:
    solar, panel = layout.site.solar, layout.site.subpanel
    if solar is None:
        return []
    takes = sum(group.count * group.takes_back_kw for group in layout.groups) > 0
    back = solar.connected_at == "battery" or (solar.connected_at == "sub-panel" and takes)
    wait = f"returns after about {layout.site.outage.reconnect_s:g} s in daylight" if back else "stays off as wired"
    rows = [["solar on loss of the utility", f"drops within 2 s, {wait}"]]
    if back:
        rows.append(["solar with full units", "curtails, no trip"])
    allowed = solar.export if solar.connected_at == "main-panel" else panel.export
    rows.append(["export under light load", "as agreed with the utility" if allowed else "none"])
    return rows


def _utility(layout: Layout) -> list[list]:
    wait = "solar reconnects after about 300 s" if layout.site.solar is not None else "every circuit is back"
    return [["return of the utility", wait]]


def _end(layout: Layout) -> list[list]:
    held = reserve_text(layout.site.operation.reserve)
    after = {group.after_trip for group in layout.groups}
    trip = "dark until reset by hand" if "latches" in after else "returns when the load is below the rating"
    return [
        ["reserve is honoured in daily operation", held],
        [
            "low-battery cutoff and restart",
            f"restart at {layout.site.outage.restart_soc:.0%}"
            if layout.site.outage.restart_soc
            else "empty stays dark until the utility returns",
        ],
        ["after an overload trip", trip],
        ["directories, signs, operation of the disconnect", "by the label set"],
        ["client shown: what is backed up, how to shed, how to reset; signature", BLANK],
    ]


def reserve_text(reserve) -> str:
    """The reserve as a sheet prints it."""
    if reserve is None:
        return BLANK
    if isinstance(reserve, str):
        return "as chosen by the study"
    if isinstance(reserve, tuple):
        return "by month " + ", ".join(f"{one:.0%}" for one in reserve)
    return f"{reserve:.0%}"
