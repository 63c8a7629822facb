"""Sheet 1, the one-line diagram: one drawing by hand, readable in grey and by a screen reader."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from html import escape

from profiles.loads.circuit import Circuit
from simulate.panel.checks.layout import Layout, unit_names
from simulate.panel.sheets.schedule import leg_text, space_of
from simulate.panel.sheets.sheet import breaker_text
from simulate.panel.sheets.wirelist import bond_text

MAIN_X, MAIN_W = 30, 250
SUB_X, SUB_W = 480, 250
LOAD_X, WIDTH = 800, 1180
TOP, LINE, PAD = 150, 15, 14
CHARS = 36
MODES = {
    "transfer": "transfers whole circuits, break before make",
    "interactive": "interactive, parallel with the utility",
}
DASH = {"A": "", "B": ' stroke-dasharray="7 4"', "A+B": ""}


@dataclass(frozen=True)
class Row:
    """One line across the drawing.

    Attributes
    ----------
    main, sub, load : str
        What stands in the main panel, in the sub-panel (or the box between), and at the right end; empty where none.
    between, onward : str
        Written on the wires from main to sub and from sub to load.
    leg : str
        "A", "B", "A+B" or empty.
    kind : str
        "circuit", "stays", "unit", "source", "landing", "solar", "generator", "to units", "neutral"
        or "gap".
    """

    main: str = ""
    sub: str = ""
    load: str = ""
    between: str = ""
    onward: str = ""
    leg: str = ""
    kind: str = "circuit"


def one_line(layout: Layout) -> str:
    """The one-line diagram as SVG with title and description; names are escaped, there is no script."""
    rows = [*_panel_rows(layout), *_unit_rows(layout), *_other_rows(layout)]
    y, placed = TOP, []
    for row in rows:
        height = _height(row)
        placed.append((row, y, height))
        y += height
    parts = [_head(layout), _boxes(placed, y), *(_draw(row, top, height) for row, top, height in placed)]
    parts += [_outputs(placed), _foot(layout, y)]
    height = y + 110
    title = escape(f"One-line diagram, {layout.site.site.name}")
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" aria-labelledby="one-line-title one-line-desc" '
        f'viewBox="0 0 {WIDTH} {height}" width="100%" font-family="sans-serif" font-size="12">\n'
        f'<title id="one-line-title">{title}</title>\n<desc id="one-line-desc">{escape(describe(layout))}</desc>\n'
        f'<rect x="0" y="0" width="{WIDTH}" height="{height}" fill="white"/>\n' + "\n".join(parts) + "\n</svg>"
    )


def describe(layout: Layout) -> str:
    """The drawing in words, for those who do not see it."""
    site, amps = layout.site, layout.site.service.main_breaker_a
    main = "main breaker not given" if amps is None else f"{amps:g} A main"
    words = [f"Service {site.service.system} V, {main}."]
    for circuit in layout.circuits:
        words.append(f"{circuit.name}: {breaker_text(circuit)}, leg {leg_text(layout, circuit)}, on the sub-panel.")
    for group in layout.groups:
        leg = "both legs" if group.leg == "both" else f"leg {group.leg}"
        circuit = group.charging_circuit
        words.append(
            f"{group.count} x {group.name} feeds {leg}, charged by {circuit.breaker_a:g} A at {circuit.volts} V from "
            "the main panel."
        )
    if site.solar is not None:
        words.append(f"Solar is connected at the {site.solar.connected_at.replace('-', ' ')}.")
    return " ".join([*words, bond_text(layout)])


def _wire(circuit: Circuit) -> str:
    wire = circuit.wire
    if wire is None:
        return "____ AWG, ____ ft"
    feet = "____" if wire.length_ft is None else f"{wire.length_ft:g}"
    return f"{wire.awg} AWG {wire.material} {wire.method}, {feet} ft"


def _panel_rows(layout: Layout) -> list[Row]:
    fed, spaces = layout.site.subpanel.build == "fed", space_of(layout)
    rows = [_feeder_row(layout)] if fed else []
    for circuit in layout.circuits:
        slot = spaces.get(circuit.name)
        number = f"space {slot.text}" if slot else "space ____"
        leg = leg_text(layout, circuit)
        breaker = breaker_text(circuit)
        mate = layout.pair_of(circuit)
        name = circuit.name + (f" (neutral with {mate.name})" if mate else "")
        main = "" if fed else f"{breaker}  {circuit.name}"
        sub = f"{number}, leg {leg}" + (f", {breaker}" if fed else "")
        between = "" if fed else "out and back"
        rows.append(Row(main, sub, name, between, _wire(circuit), leg))
    for circuit in layout.site.circuit:
        if circuit.on != "sub-panel":
            stays = "stays" if circuit.on == "main" else "candidate"
            rows.append(Row(main=f"{breaker_text(circuit)}  {circuit.name}, {stays}", kind="stays"))
    return rows


def _feeder_row(layout: Layout) -> Row:
    feeder, legs = layout.site.subpanel.feeder, "+".join(layout.legs)
    if feeder is None:
        return Row("feeder, ____ A", "feeder lugs", between="____ AWG, ____ ft", leg=legs)
    feet = "____" if feeder.length_ft is None else f"{feeder.length_ft:g}"
    wire = f"{feeder.awg} AWG {feeder.material}, {feet} ft"
    return Row(f"{feeder.breaker_a:g} A 2-pole  feeder", "feeder lugs", between=wire, leg=legs)


def _unit_rows(layout: Layout) -> list[Row]:
    """Where sources land; the last of the groups first, so that the runs from the units below do not cross."""
    rows, solar = [], layout.site.solar
    if solar is not None and solar.connected_at == "sub-panel":
        rows.append(Row(sub=f"solar breaker, {_amps(solar.breaker_a)}", kind="landing"))
    for group in reversed(layout.groups):
        leg = "A+B" if group.leg == "both" else group.leg
        output = "____ A" if group.output_breaker_a is None else f"{group.output_breaker_a:g} A"
        awg = "____" if group.output_wire_awg is None else group.output_wire_awg
        rows.append(
            Row(
                sub=f"source lugs, leg {leg}",
                load=f"{group.name} output: {output}, {awg} AWG, ____ ft",
                leg=leg,
                kind="source",
            )
        )
    return rows


def _amps(breaker_a: float | None) -> str:
    return "____ A" if breaker_a is None else f"{breaker_a:g} A"


def _other_rows(layout: Layout) -> list[Row]:
    neutral = f"neutral, {layout.site.subpanel.neutral or '____'}"
    rows = [Row("neutral bar, bonded at the service", "neutral bar, isolated", between=neutral, kind="neutral")]
    rows.append(Row(kind="gap"))
    for group in layout.groups:
        circuit = group.charging_circuit
        poles = "" if circuit.volts == 120 else " 2-pole"
        wire = "____ AWG, ____ ft" if circuit.wire is None else _wire_of(circuit.wire)
        leg = "A+B" if group.leg == "both" else group.leg
        for name in unit_names(group):
            bond = {
                "floating": "neutral floating",
                "bonded": "neutral bonded in the unit",
                "switches": "bonds on battery",
            }.get(group.neutral_bond, "neutral ____")
            text = f"{name}: {group.continuous_kw:g} kW, {group.unit_kwh:g} kWh, {bond}"
            text += f", locked with {group.locked_with}" if group.locked_with else ""
            main = f"{circuit.breaker_a:g} A{poles}  charging, {circuit.volts} V"
            rows.append(Row(main, text, between=wire, leg=leg, kind="unit"))
    return rows + _solar_rows(layout) + _generator_rows(layout)


def _wire_of(wire) -> str:
    feet = "____" if wire.length_ft is None else f"{wire.length_ft:g}"
    return f"{wire.awg} AWG {wire.material}, {feet} ft"


def _solar_rows(layout: Layout) -> list[Row]:
    solar = layout.site.solar
    if solar is None:
        return []
    kw = "solar" if solar.dc_kw is None else f"solar {solar.dc_kw:g} kW DC"
    if solar.connected_at == "main-panel":
        text = f"{kw}, at the main panel: off in an outage"
        return [Row(f"{_amps(solar.breaker_a)}  solar", text, kind="solar")]
    if solar.connected_at == "sub-panel":
        return [Row("", f"{kw}, at the sub-panel", kind="solar")]
    return [Row("", f"{kw}, on the cells of the battery units (DC)", kind="to units")]


def _generator_rows(layout: Layout) -> list[Row]:
    generator = layout.site.generator
    if generator is None:
        return []
    text = f"generator {generator.kw:g} kW, outdoors"
    if generator.connection == "interlocked-inlet":
        return [Row("interlocked inlet", text, kind="generator")]
    return [Row("", f"{text}, at the units' inlet", kind="to units")]


def _lines(text: str, chars: int = CHARS) -> list[str]:
    return textwrap.wrap(text, chars, break_long_words=True) if text else []


def _height(row: Row) -> int:
    most = max(len(_lines(row.main)), len(_lines(row.sub)), len(_lines(row.load, 52)), 1)
    return most * LINE + PAD


def _text(x: float, y: float, lines: list[str], anchor: str = "start", size: int = 12) -> str:
    spans = "".join(f'<tspan x="{x}" y="{y + k * LINE}">{escape(line)}</tspan>' for k, line in enumerate(lines))
    return f'<text text-anchor="{anchor}" font-size="{size}">{spans}</text>'


def _draw(row: Row, top: int, height: int) -> str:
    middle = top + height / 2
    first = lambda lines: middle + 4 - (len(lines) - 1) * LINE / 2
    parts = [_ground(MAIN_X + MAIN_W - 26, middle)] if row.kind == "neutral" else []
    if row.main:
        lines = _lines(row.main)
        parts.append(_text(MAIN_X + 12, first(lines), lines))
    if row.sub:
        lines = _lines(row.sub)
        boxed = row.kind in ("unit", "solar", "generator", "to units")
        if boxed:
            parts.append(
                f'<rect x="{SUB_X}" y="{top + 3}" width="{SUB_W}" height="{height - 6}" fill="white" '
                'stroke="black" rx="6"/>'
            )
        parts.append(_text(SUB_X + 12, first(lines), lines))
    if row.main and row.sub:
        parts.append(_run(MAIN_X + MAIN_W, SUB_X, middle, row))
        if row.between:
            parts.append(_text((MAIN_X + MAIN_W + SUB_X) / 2, middle - 6, [row.between], "middle", 11))
    if row.load and row.kind == "circuit":
        parts.append(_run(SUB_X + SUB_W, LOAD_X + 165, middle, row))
        parts.append(_text(SUB_X + SUB_W + 12, middle - 6, [row.onward], size=11))
        lines = _lines(row.load, 32)
        parts.append(_text(LOAD_X + 172, first(lines), lines))
    elif row.load:
        lines = _lines(row.load, 52)
        parts.append(_text(LOAD_X - 10, first(lines), lines, size=11))
    return "\n".join(parts)


def _ground(x: float, y: float) -> str:
    """The ground symbol beside the neutral bar."""
    bars = [
        f'<line x1="{x - half}" y1="{y + d}" x2="{x + half}" y2="{y + d}" stroke="black"/>'
        for half, d in ((9, 0), (6, 4), (3, 8))
    ]
    return f'<line x1="{x}" y1="{y - 9}" x2="{x}" y2="{y}" stroke="black"/>' + "".join(bars)


def _run(x1: float, x2: float, y: float, row: Row) -> str:
    if row.leg == "A+B":
        pair = [f'<line x1="{x1}" y1="{y + d}" x2="{x2}" y2="{y + d}" stroke="black"/>' for d in (-1.5, 1.5)]
        return "".join(pair)
    thin = ' stroke-width="1"' if row.kind == "neutral" else ' stroke-width="1.5"'
    dash = ' stroke-dasharray="2 3"' if row.kind == "neutral" else DASH.get(row.leg, "")
    return f'<line x1="{x1}" y1="{y}" x2="{x2}" y2="{y}" stroke="black"{thin}{dash}/>'


def _head(layout: Layout) -> str:
    service = layout.site.service
    main = "____ A" if service.main_breaker_a is None else f"{service.main_breaker_a:g} A"
    bus = "____ A" if service.bus_a is None else f"{service.bus_a:g} A"
    x = MAIN_X + MAIN_W - 40
    sub_bus = "____ A" if layout.site.subpanel.bus_a is None else f"{layout.site.subpanel.bus_a:g} A"
    build = f"{layout.site.subpanel.build}; {MODES[layout.site.subpanel.mode]}"
    return "\n".join(
        [
            f'<rect x="{x - 60}" y="10" width="120" height="28" fill="#eee" stroke="black"/>',
            _text(x, 28, [f"utility, {service.system} V"], "middle"),
            f'<line x1="{x}" y1="38" x2="{x}" y2="62" stroke="black" stroke-width="1.5"/>',
            f'<circle cx="{x}" cy="72" r="10" fill="white" stroke="black"/>',
            _text(x, 76, ["M"], "middle"),
            f'<line x1="{x}" y1="82" x2="{x}" y2="{TOP - 20}" stroke="black" stroke-width="1.5"/>',
            _text(MAIN_X, 107, ["MAIN PANEL", f"main breaker {main}, bus {bus}"], size=12),
            _text(SUB_X, 107, ["SUB-PANEL, bus " + sub_bus, build], size=12),
            _text(LOAD_X + 172, 122, ["LOADS"], size=13),
        ]
    )


def _boxes(placed, bottom: int) -> str:
    inside = ("circuit", "stays", "source", "landing", "neutral")
    ends = [top + height for row, top, height in placed if row.kind in inside]
    sub_bottom = max(ends, default=TOP)
    style = 'fill="#f4f4f4" stroke="black" stroke-width="1.5"'
    return (
        f'<rect x="{MAIN_X}" y="{TOP - 20}" width="{MAIN_W}" height="{bottom - TOP + 26}" {style}/>\n'
        f'<rect x="{SUB_X}" y="{TOP - 20}" width="{SUB_W}" height="{sub_bottom - TOP + 22}" {style}/>'
    )


def _outputs(placed) -> str:
    """From each battery unit up to the source lugs of its leg, from other sources to where they land."""
    sources = [(row, top + height / 2) for row, top, height in placed if row.kind == "source"]
    parts, right = [], SUB_X + SUB_W
    units = [(row, top + height / 2) for row, top, height in placed if row.kind == "unit"]
    apart = min(10.0, 50.0 / (len(units) + 2))
    for k, (row, y) in enumerate(units):
        to = next((middle for source, middle in sources if source.load.startswith(_group_of(row, sources))), None)
        if to is None:
            continue
        x = right + 16 + apart * k
        wide = ' stroke-width="3"' if row.leg == "A+B" else ' stroke-width="1.5"'
        parts.append(
            f'<polyline points="{right},{y} {x},{y} {x},{to} {right},{to}" fill="none" stroke="black"{wide}'
            f"{DASH[row.leg]}/>"
        )
    x, down = right + 16 + apart * len(units), 6
    landing = [top + height / 2 for row, top, height in placed if row.kind == "landing"]
    for row, top, height in placed:
        lands = row.kind == "solar" and not row.main
        to = landing if lands else [y + down for _, y in units] if row.kind == "to units" else []
        parts += [_source_run(x, top + height / 2, y) for y in to]
        x, down = (x + apart, down + 5) if to else (x, down)
    return "\n".join(parts)


def _source_run(x: float, y: float, to: float) -> str:
    """From a source that lands on the sub-panel or on the units, both at the right of the drawing."""
    right = SUB_X + SUB_W
    return (
        f'<polyline points="{right},{y} {x},{y} {x},{to} {right},{to}" fill="none" stroke="black" '
        'stroke-width="1.5" stroke-dasharray="10 3 2 3"/>'
    )


def _group_of(row: Row, sources) -> str:
    names = [source.load.split(" output: ")[0] for source, _ in sources]
    unit = row.sub.split(": ")[0]
    return max((name for name in names if unit.startswith(name)), key=len, default=unit)


def _foot(layout: Layout, y: int) -> str:
    lines = [
        "leg A: solid line; leg B: dashed; two poles: double or thick; neutral: dotted; solar and generator to the "
        "units: dash and dot. A blank is filled in on site.",
        bond_text(layout),
        "Planning drawing: a licensed electrician designs and installs; the authority having jurisdiction decides.",
    ]
    return _text(MAIN_X, y + 44, lines, size=12)
