"""A drawing of lines across three columns, main panel, sub-panel and loads, as SVG: readable in grey, no script."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from html import escape

MAIN_X, MAIN_W = 30, 250
SUB_X, SUB_W = 480, 250
LOAD_X, WIDTH = 800, 1180
TOP, LINE, PAD = 150, 15, 14
CHARS, BETWEEN_CHARS = 36, 32
BARS = {"neutral": ' stroke-dasharray="2 3"', "ground": ' stroke-dasharray="14 4"'}
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
    out : str
        Of a unit: the leg of its output; `leg` is that of its charging circuit.
    kind : str
        "circuit", "stays", "unit", "source", "landing", "solar", "generator", "to units", "neutral", "ground" or "gap".
    """

    main: str = ""
    sub: str = ""
    load: str = ""
    between: str = ""
    onward: str = ""
    leg: str = ""
    kind: str = "circuit"
    out: str = ""


@dataclass(frozen=True)
class Head:
    """What stands above the panels.

    Attributes
    ----------
    utility, main, sub, build : str
    legs : tuple of str
        Of the service.
    """

    utility: str
    main: str
    sub: str
    build: str
    legs: tuple[str, ...]


def drawn(title: str, description: str, rows: list[Row], head: Head, foot: list[str]) -> str:
    """The drawing as SVG with title and description; names are escaped, there is no script."""
    y, placed = TOP, []
    for row in rows:
        height = _height(row)
        placed.append((row, y, height))
        y += height
    parts = [_head(head), _boxes(placed, y), *(_draw(row, top, height) for row, top, height in placed)]
    parts += [_outputs(placed), _foot(foot, y)]
    height = y + 110
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" aria-labelledby="one-line-title one-line-desc" '
        f'viewBox="0 0 {WIDTH} {height}" width="100%" font-family="sans-serif" font-size="12">\n'
        f'<title id="one-line-title">{escape(title)}</title>\n<desc id="one-line-desc">{escape(description)}</desc>\n'
        f'<rect x="0" y="0" width="{WIDTH}" height="{height}" fill="white"/>\n' + "\n".join(parts) + "\n</svg>"
    )


def _lines(text: str, chars: int = CHARS) -> list[str]:
    return textwrap.wrap(text, chars, break_long_words=True) if text else []


def _height(row: Row) -> int:
    most = max(len(_lines(row.main)), len(_lines(row.sub)), len(_lines(row.load, 52)), 1)
    most = max(most, 2 if len(_lines(row.between, BETWEEN_CHARS)) > 1 else 1)
    return most * LINE + PAD


def _text(x: float, y: float, lines: list[str], anchor: str = "start", size: int = 12) -> str:
    spans = "".join(f'<tspan x="{x}" y="{y + k * LINE}">{escape(line)}</tspan>' for k, line in enumerate(lines))
    return f'<text text-anchor="{anchor}" font-size="{size}">{spans}</text>'


def _draw(row: Row, top: int, height: int) -> str:
    middle = top + height / 2
    first = lambda lines: middle + 4 - (len(lines) - 1) * LINE / 2
    parts = [_ground(MAIN_X + MAIN_W - 26, middle)] if row.kind in ("neutral", "ground") else []
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
            middle_x, lines = (MAIN_X + MAIN_W + SUB_X) / 2, _lines(row.between, BETWEEN_CHARS)
            parts.append(_text(middle_x, middle - 6, lines[:1], "middle", 11))
            parts += [_text(middle_x, middle + 14, lines[1:], "middle", 11)] if lines[1:] else []
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
    thin = ' stroke-width="1"' if row.kind in BARS else ' stroke-width="1.5"'
    dash = BARS.get(row.kind) or DASH.get(row.leg, "")
    return f'<line x1="{x1}" y1="{y}" x2="{x2}" y2="{y}" stroke="black"{thin}{dash}/>'


def _head(head: Head) -> str:
    x, two = MAIN_X + MAIN_W - 40, len(head.legs) == 2
    apart = (-2, 2) if two else (0,)
    down = lambda top, bottom: "".join(
        f'<line x1="{x + d}" y1="{top}" x2="{x + d}" y2="{bottom}" stroke="black" stroke-width="1.5"/>' for d in apart
    )
    return "\n".join(
        [
            f'<rect x="{x - 60}" y="10" width="120" height="28" fill="#eee" stroke="black"/>',
            _text(x, 28, [head.utility], "middle"),
            down(38, 62),
            f'<circle cx="{x}" cy="72" r="10" fill="white" stroke="black"/>',
            _text(x, 76, ["M"], "middle"),
            down(82, TOP - 20),
            _text(MAIN_X, 107, ["MAIN PANEL", head.main], size=12),
            _text(SUB_X, 107, [head.sub, head.build], size=12),
            _text(LOAD_X + 172, 122, ["LOADS"], size=13),
        ]
    )


def _boxes(placed, bottom: int) -> str:
    inside = ("circuit", "stays", "source", "landing", "neutral", "ground")
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
        wide = ' stroke-width="3"' if row.out == "A+B" else ' stroke-width="1.5"'
        parts.append(
            f'<polyline points="{right},{y} {x},{y} {x},{to} {right},{to}" fill="none" stroke="black"{wide}'
            f"{DASH[row.out]}/>"
        )
    x, down = right + 16 + apart * len(units), 6
    landing = [top + height / 2 for row, top, height in placed if row.kind == "landing"]
    for row, top, height in placed:
        lands = row.kind == "solar" and not row.main
        to = landing if lands else [y + down for _, y in units] if row.kind == "to units" else []
        parts += [_source_run(x, top + height / 2, y, two=row.leg == "A+B") for y in to]
        x, down = (x + apart, down + 5) if to else (x, down)
    return "\n".join(parts)


def _source_run(x: float, y: float, to: float, *, two: bool) -> str:
    """From a source that lands on the sub-panel or on the units, both at the right of the drawing."""
    right = SUB_X + SUB_W
    return (
        f'<polyline points="{right},{y} {x},{y} {x},{to} {right},{to}" fill="none" stroke="black" '
        f'stroke-width="{3 if two else 1.5}" stroke-dasharray="10 3 2 3"/>'
    )


def _group_of(row: Row, sources) -> str:
    names = [source.load.split(" output: ")[0] for source, _ in sources]
    unit = row.sub.split(": ")[0]
    return max((name for name in names if unit.startswith(name)), key=len, default=unit)


def _foot(lines: list[str], y: int) -> str:
    return _text(MAIN_X, y + 44, lines, size=12)
