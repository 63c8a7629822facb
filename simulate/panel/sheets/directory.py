"""Directories of both panels as they are printed and hung in the door, by number and leg."""

from __future__ import annotations

from dataclasses import dataclass
from html import escape

from profiles.loads.circuit import Circuit
from simulate.panel.checks.layout import Layout
from simulate.panel.checks.spaces import free_numbers, main_positions, placed_in_main, slots_of, stab_leg
from simulate.panel.sheets.schedule import STABS, breaker_of, leg_text, number_of, space_of
from simulate.panel.sheets.sheet import BLANK, NONE, breaker_text, sheet

ROW, WIDTH, NUMBER_W = 26, 760, 44


@dataclass(frozen=True)
class Line:
    """One number of a directory.

    Attributes
    ----------
    number : int
    leg, breaker, text : str
    """

    number: int
    leg: str
    breaker: str
    text: str


def main_directory(layout: Layout) -> dict:
    """The main panel before and after, by number; what has no number yet stands below with a blank."""
    before, after = main_lines(layout, after=False), main_lines(layout, after=True)
    first = {line.number: line for line in before}
    rows = []
    for line in after:
        old = first[line.number]
        rows.append([line.number, line.leg, old.text, old.breaker, line.text, line.breaker, BLANK])
    rows += [
        [BLANK, leg_text(layout, c), c.name, breaker_text(c), *_after(layout, c), BLANK] for c in _unnumbered(layout)
    ]
    _, left = placed_in_main(layout)
    rows += [
        [BLANK, one.leg or "A+B", NONE, NONE, one.name, f"{one.breaker_a:g} A {one.poles}-pole", BLANK] for one in left
    ]
    columns = ["space", "leg", "before", "breaker before", "after", "breaker after", "checked"]
    notes = [STABS]
    if layout.site.service.spaces is None:
        notes.append("Numbers come from service.spaces, service.free_at and main_space of each circuit.")
    card = _card("Main panel, after", after) if after else ""
    return sheet("Directory of the main panel", columns, rows, notes, card)


def _unnumbered(layout: Layout) -> list[Circuit]:
    return [circuit for circuit in layout.site.circuit if not main_positions(circuit)]


def _after(layout: Layout, circuit: Circuit) -> list[str]:
    if circuit.on == "sub-panel" and layout.site.subpanel.build == "fed":
        return ["free", NONE]
    note = ", backed up" if circuit.on == "sub-panel" else ""
    return [circuit.name + note, breaker_of(layout, circuit)]


def main_lines(layout: Layout, *, after: bool) -> list[Line]:
    """Every number of the main panel; empty where `service.spaces` is not given."""
    n = layout.site.service.spaces
    if n is None:
        return []
    at = {p: circuit for circuit in layout.site.circuit for p in main_positions(circuit)}
    new = placed_in_main(layout)[0] if after else {}
    free = set(free_numbers(layout)) if after else set(layout.site.service.free_at or ())
    lines = []
    for p in range(1, n + 1):
        leg = stab_leg(p) if layout.legs == ("A", "B") else "A"
        if p in new:
            lines.append(Line(p, leg, f"{new[p].breaker_a:g} A {new[p].poles}-pole", new[p].name))
        elif p in at and p not in free:
            text, breaker = _after(layout, at[p]) if after else [at[p].name, breaker_text(at[p])]
            lines.append(Line(p, leg, breaker, text))
        else:
            lines.append(Line(p, leg, NONE, "free" if p in free else ""))
    return lines


def sub_directory(layout: Layout) -> dict:
    """The sub-panel by number and leg, with what shares a neutral and what must not be the only power."""
    by_name = {circuit.name: circuit for circuit in layout.circuits}
    inside: dict[int, list[Circuit]] = {}
    for name, slot in space_of(layout).items():
        inside.setdefault(slot.number, []).append(by_name[name])
    rows, lines = [], []
    for slot in slots_of(layout):
        there = inside.get(slot.number, [])
        names = " / ".join(circuit.name for circuit in there) or "free"
        breaker = breaker_of(layout, there[0]) if there else NONE
        shares = "shared neutral: both open together" if len(there) == 2 else NONE
        legs = "+".join(dict.fromkeys(leg for one in there for leg in layout.legs_of(one))) or slot.leg or "either"
        rows.append([number_of(slot), legs, names, breaker, shares, BLANK])
        for k, p in enumerate(slot.positions or (slot.number,)):
            leg = stab_leg(p) if slot.positions else legs
            each = there[k].name if len(there) == 2 and slot.positions else names
            lines.append(Line(p, leg, breaker, each))
    notes = [
        "In an outage these circuits are live from the battery units.",
        "After: re-label by switching off, not by the legend.",
    ]
    in_order = sorted(lines, key=lambda one: one.number)
    card = _card("Sub-panel: live from the battery when the utility is off", in_order) if lines else ""
    columns = ["space", "leg", "circuit", "breaker", "neutral", "checked"]
    return sheet("Directory of the sub-panel", columns, rows, notes, card)


def _card(title: str, lines: list[Line]) -> str:
    """A directory card: odd numbers left, even right, as the door shows them."""
    n_rows = (max(line.number for line in lines) + 1) // 2
    height = 40 + ROW * n_rows + 10
    at = {line.number: line for line in lines}
    cells = [_cell(line, _poles(at, line)) for line in lines]
    name = escape(title)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" aria-label="{name}" viewBox="0 0 {WIDTH} {height}" '
        f'width="{WIDTH}" style="max-width: 100%" font-family="sans-serif" font-size="12">\n'
        f'<rect width="{WIDTH}" height="{height}" fill="white"/>\n'
        f'<text x="10" y="24" font-size="16">{name}</text>\n' + "\n".join(cells) + "\n</svg>"
    )


def _poles(at: dict[int, Line], line: Line) -> int:
    """Rows that the words of a number take: two at the head of a two-pole breaker, none at its foot."""
    two = "2-pole" in line.breaker
    same = lambda other: other is not None and (other.text, other.breaker) == (line.text, line.breaker)
    above = 0
    while two and same(at.get(line.number - 2 * (above + 1))):
        above += 1
    if above % 2:
        return 0
    return 2 if two and same(at.get(line.number + 2)) else 1


def _cell(line: Line, rows: int) -> str:
    left, y = line.number % 2 == 1, 40 + ROW * ((line.number - 1) // 2)
    half = WIDTH / 2 - 10
    x = 10 if left else WIDTH / 2
    number_x = x + half - NUMBER_W if left else x
    text_x = x if left else x + NUMBER_W
    said = line.text if line.breaker == NONE else f"{line.text}, {line.breaker}"
    words = escape(said if len(said) <= 52 else said[:51] + "…")
    shade = "#eee" if line.leg == "B" else "white"
    named = (
        f'<rect x="{text_x}" y="{y}" width="{half - NUMBER_W}" height="{rows * ROW}" fill="white" stroke="black"/>'
        f'<text x="{text_x + 6}" y="{y + rows * ROW / 2 + 4:g}">{words}</text>'
    )
    return (
        f'<rect x="{number_x}" y="{y}" width="{NUMBER_W}" height="{ROW}" fill="{shade}" stroke="black"/>'
        f'<text x="{number_x + NUMBER_W / 2}" y="{y + 17}" text-anchor="middle">{line.number} {line.leg}</text>'
        + (named if rows else "")
    )
