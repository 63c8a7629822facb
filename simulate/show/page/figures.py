"""What the page draws, in numbers: two rulers of hours, the map of month and hour, the steps of the bill."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from simulate.designs.draft import Draft
from simulate.document.answers import hardest_month
from simulate.document.money_answer import printed_steps
from simulate.document.timeline import cannot_start
from simulate.document.words import hours_text, tenths
from simulate.house.ride import RideThrough
from simulate.house.storm import storm_stated
from simulate.physics.outages.spread import nine_in_ten
from simulate.site.pools import leg_of
from simulate.site.site import Site

ROW_PX, LEAST_ROWS, EDGE_PX = 34, 9, 14
"""Height of a circuit's row, rows that a ruler is high at least, and what is left above and below it. [px]"""
WIDTH_PX, RULER_PX = 190, 112
"""Width of a drawn ruler, and how far it stands from the list of its own leg. [px]"""
SCALES_H = (48, 168, 336, 672, 1344, 2000)
TICKS_H = (0, 1, 2, 4, 8, 12, 18, 24, 36, 48, 72, 96, 120, 168, 240, 336, 504, 672, 1008, 1344, 2000)
LEAST_APART_PX = 17
"""Between printed hours of a ruler. [px]"""
BANDS_H = (2, 4, 8, 12, 24, 48, 72, 168)
"""Borders of the map's shades, the same on every site. [h]"""


@dataclass(frozen=True)
class Row:
    """A circuit on the list of its leg: its place in the file, and the height of its row's middle. [px]"""

    index: int
    name: str
    priority: int
    lost: str
    y: float


def lists_of(site: Site, pools) -> dict[str, list[Row]]:
    """Circuits by the leg that they are on, "AB" for two poles, in file order; every circuit of the file."""
    lists: dict[str, list[Row]] = {"A": [], "B": [], "AB": []}
    for k, circuit in enumerate(site.circuit):
        rows = lists[leg_of(circuit, pools)]
        y = (len(rows) + 0.5) * ROW_PX
        rows.append(Row(k, circuit.name, circuit.priority, circuit.if_lost or "", y))
    return lists


def height_px(lists: dict[str, list[Row]]) -> int:
    """Height of both rulers. [px]"""
    return ROW_PX * max(LEAST_ROWS, *(len(rows) for rows in lists.values()))


def hours_in(ride: RideThrough, hours, month: int) -> float:
    """Nine times in ten of a series over the outages of a month. [h]"""
    return nine_in_ten(hours[ride.house.hours.month == month])


def scale_h(*rides: RideThrough) -> int:
    """Where the rulers end: a round number of hours that holds every leg of these rides."""
    most = 0.0
    for ride in rides:
        month = hardest_month(ride)
        most = max(most, *(hours_in(ride, hours, month) for hours in ride.leg_hours.values()), 0.0)
    return next((top for top in SCALES_H if most <= 0.97 * top), SCALES_H[-1])


def rulers_of(draft: Draft, lists: dict[str, list[Row]], top_h: int, *, storms: bool = True) -> dict:
    """Both rulers: ticks, a line for each circuit that is on, and where the leg goes dead; hours by their square root.

    Returns
    -------
    dict
        `legs` by leg: side, height, ticks, lines, dead, storm; `rows` by circuit: what stands beside its name.
    """
    ride, month = draft.ride, hardest_month(draft.ride)
    height = height_px(lists)
    y_of = lambda hours: height - EDGE_PX - (min(hours, top_h) / top_h) ** 0.5 * (height - 2 * EDGE_PX)
    lasts = {int(k): hours_in(ride, own, month) for k, own in zip(ride.house.carried, ride.circuit_hours, strict=True)}
    stalled = cannot_start(draft.site)
    lasts = {k: hours for k, hours in lasts.items() if draft.site.circuit[k].name not in stalled}
    storm = draft.storm if storms and storm_stated(draft.site) and ride.load_case != "storm" else None
    legs = {}
    for leg in "AB":
        legs[leg] = {
            "leg": leg,
            "height": height,
            "width": WIDTH_PX,
            "ruler": RULER_PX if leg == "A" else WIDTH_PX - RULER_PX,
            **_marked(ride, storm, leg, month, top_h, y_of),
            "lines": [
                line for on in (leg, "AB") for row in lists[on] if (line := _line(row, on, leg, lasts, draft, y_of))
            ],
        }
    rows = {row.index: _row_text(row, lasts, draft, ride.horizon_h) for on in lists.values() for row in on}
    return {"legs": legs, "rows": rows, "lasts": lasts, "month": month, "top_h": top_h}


def _marked(ride: RideThrough, storm: RideThrough | None, leg: str, month: int, top_h: int, y_of) -> dict:
    """Where a leg goes dead, as usual and with storm loads, and the ticks; figures are kept apart."""
    dead = _mark(ride, leg, month, y_of)
    wild = None if storm is None else _mark(storm, leg, month, y_of)
    if dead and wild and abs(wild["y"] - dead["y"]) < LEAST_APART_PX:
        wild["said"] = dead["y"] + (LEAST_APART_PX if wild["y"] >= dead["y"] else -LEAST_APART_PX)
    if dead and wild and wild["text"] == dead["text"]:
        wild = None
    taken = [one["said"] for one in (dead, wild) if one]
    return {"dead": dead, "storm": wild, "ticks": ticks(top_h, y_of, taken)}


def ticks(top_h: int, y_of, taken: list[float]) -> list[dict]:
    """Marks of a ruler; hours are printed where there is room, from the foot up."""
    out, printed = [], list(taken)
    for hours in (h for h in TICKS_H if h <= top_h):
        y = y_of(hours)
        has_room = all(abs(other - y) >= LEAST_APART_PX for other in printed)
        printed += [y] * has_room
        out.append({"y": y, "text": f"{hours}" if has_room else ""})
    return out


def _line(row: Row, on: str, leg: str, lasts: dict, draft: Draft, y_of) -> dict | None:
    """The line of a circuit from its name to the hour at which it is lost; None where it is off."""
    if draft.site.circuit[row.index].on != "sub-panel":
        return None
    own, ruler = on == leg, RULER_PX if leg == "A" else WIDTH_PX - RULER_PX
    from_left = own == (leg == "A")
    carried = row.index in lasts
    kind = " ".join(["own" if own else "across"] + ([] if carried else ["never"]))
    x0 = 0 if from_left else WIDTH_PX
    return {"x0": x0, "y0": row.y, "x1": ruler, "y1": y_of(lasts.get(row.index, 0.0)), "kind": kind}


def _mark(ride: RideThrough, leg: str, month: int, y_of) -> dict | None:
    if leg not in ride.leg_hours:
        return None
    hours = hours_in(ride, ride.leg_hours[leg], month)
    return {"y": y_of(hours), "said": y_of(hours), "text": hours_text(hours, ride.horizon_h)}


def _row_text(row: Row, lasts: dict, draft: Draft, horizon_h: float) -> str:
    if draft.site.circuit[row.index].on != "sub-panel":
        return "main panel"
    if row.index in lasts:
        return hours_text(lasts[row.index], horizon_h)
    return "never carried" if row.name in draft.house.never_carried else "cannot start"


def grid_h(ride: RideThrough) -> np.ndarray:
    """Nine times in ten by month and hour at which the power fails, shape (288,); NaN where there is no outage. [h]"""
    axis = ride.house.hours
    cell = (axis.month - 1) * 24 + axis.minute // 60
    order = np.lexsort((ride.hours, cell))
    counts = np.bincount(cell, minlength=288)
    at = np.cumsum(counts) - counts + np.floor(0.1 * (counts - 1) + 1e-12).astype(int)  # as numpy's method "lower"
    return np.where(counts > 0, ride.hours[order][np.clip(at, 0, len(order) - 1)], np.nan)


def bands(hours) -> np.ndarray:
    """Shade of each cell of the map; -1 where there is none."""
    return np.where(np.isnan(hours), -1, np.searchsorted(BANDS_H, np.nan_to_num(hours), side="right"))


def map_of(ride: RideThrough) -> list[list[dict]]:
    """Twelve rows of twenty-four cells: nine times in ten, its shade, and what is printed."""
    hours = grid_h(ride)
    cells = [
        {"band": band, "short": _short(h), "text": hours_text(h, ride.horizon_h)} if band >= 0 else None
        for h, band in zip(hours.tolist(), bands(hours).tolist(), strict=True)
    ]
    return [cells[m * 24 : m * 24 + 24] for m in range(12)]


def _short(hours: float) -> str:
    return str(int(hours + 1e-9))


def band_texts() -> list[str]:
    """What each shade of the map stands for."""
    between = [f"{low} to {high}" for low, high in zip(BANDS_H[:-1], BANDS_H[1:], strict=True)]
    return [f"under {BANDS_H[0]}", *between, f"{BANDS_H[-1]} and more"]


STEP_NAMES = {"today": "today", "rate": "on the new rate", "solar": "with solar", "battery": "with the battery"}


def steps_of(draft: Draft) -> list[dict]:
    """The bills as steps: where each lies on one axis of money, in thousandths of its width."""
    steps = printed_steps(draft.bills)
    low = min(0.0, *(total for _, total, _ in steps))
    span = max(max(total for _, total, _ in steps) - low, 1e-9)
    at = lambda total: round(1000.0 * (total - low) / span)
    out, before = [], None
    for name, total, change in steps:
        x0 = at(total if before is None else before)
        out.append({"name": STEP_NAMES[name], "total": f"{total:,.2f}", "change": _signed(change, before)})
        out[-1] |= {"x0": min(x0, at(total)), "x1": max(x0, at(total)), "at": at(total), "zero": at(0.0)}
        out[-1]["adds"] = change > 0.0
        before = total
    return out


def _signed(change: float, before) -> str:
    return "" if before is None else f"{change:+,.2f}"


def hours_change(now: float, then: float) -> str:
    """A difference of printed hours, in tenths.

    Examples
    --------
    >>> hours_change(12.68, 13.99)
    '-1.3'
    """
    return f"{float(tenths(now)) - float(tenths(then)):+.1f}"
