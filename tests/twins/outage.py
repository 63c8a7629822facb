"""One outage, walked event by event: legs, trips, load control, sun, and when each circuit is dark first."""

import math
from dataclasses import dataclass

from tests.twins.axis import in_window
from tests.twins.branches import seen
from tests.twins.pools import Cells, leg_of

TOLERANCE_KW = 1e-9
SAME_KWH = 1e-9
HAND_WINDOW, HAND_AFTER_H = "07:00-22:00", 0.5
RANK = {"medical": 0, "flood": 1, "heat": 2, "water": 3, "food": 4, "comfort": 5, None: 6}


@dataclass
class Island:
    """What an outage meets: circuits as tables with kW a step in an outage, the pools that feed each, the sun."""

    circuits: list
    kw: list
    feeders: list
    pools: list[Cells]
    stamps: tuple
    control: str
    sun_ac: list
    sun_dc: list
    reconnect_h: float
    restart: list
    h: float
    horizon_h: float


def outage(island: Island, start: int, held: list[float]) -> dict:
    """Hours, censored, first circuit lost and why, of an outage that begins at a step with this much in each pool."""
    lost, why = first_losses(island, start, list(held))
    lowest = min(circuit["priority"] for circuit in island.circuits)
    seen("no priority 1 carried", lowest > 1)
    ends = {k: lost[k] for k, c in enumerate(island.circuits) if c["priority"] == lowest}
    hours = min(ends.values())
    if hours >= island.horizon_h - 1e-9:
        seen("outlives the horizon")
    return {
        "hours": min(hours, island.horizon_h),
        "censored": hours >= island.horizon_h - 1e-9,
        "why": {""}
        if hours >= island.horizon_h - 1e-9
        else reasons_of([why[k] for k in ends if ends[k] <= hours + 1e-9]),
        "first_lost": first_lost(island, start, lost),
        "lost": lost,
        "legs": leg_hours(island, lost),
    }


def reasons_of(reasons: list[str]) -> set:
    """Each reason that holds at that instant; the other leg only where every circuit that is lost has two poles."""
    own = {reason for reason in reasons if reason != "other-leg"}
    seen("other leg is the reason", not own)
    return own or {"other-leg"}


def first_lost(island: Island, start: int, lost) -> str | None:
    """Of the circuits that go dead at the first instant the gravest, then the largest, then the first listed."""
    when = min(lost)
    if when >= island.horizon_h - 1e-9:
        return None
    together = [k for k, hours in enumerate(lost) if hours <= when + 1e-9]
    seen("several go at once", len(together) > 1)
    ranks = {RANK[island.circuits[k].get("if_lost")] for k in together}
    seen("consequence decides", len(ranks) > 1)
    t = (start + int((when + 1e-9) / island.h)) % len(island.stamps)
    return min(together, key=lambda k: (RANK[island.circuits[k].get("if_lost")], -island.kw[k][t], k))


def leg_hours(island: Island, lost) -> dict:
    """Hours to the first unserved single-pole circuit on each leg."""
    found = {}
    for k, circuit in enumerate(island.circuits):
        if circuit.get("poles", 1) == 1:
            leg = leg_of(circuit, island.pools)
            found[leg] = min(found.get(leg, math.inf), min(lost[k], island.horizon_h))
    return found


def first_losses(island: Island, start: int, held: list[float]):
    """Hours to the first unserved moment of each circuit, and why, walked in stretches with nothing changing."""
    n = len(island.circuits)
    lost, why = [math.inf] * n, [""] * n
    dead, resting = {}, {}  # pool -> why it went dark; a resting one keeps a grid for the sun
    waits, k = island.reconnect_h, 0
    while k * island.h < island.horizon_h - 1e-12 and math.inf in lost:
        t = (start + k) % len(island.stamps)
        now, left = k * island.h, min(island.h, island.horizon_h - k * island.h)
        tripped = trips(island, t, now, dead, resting)
        while left > 1e-13 and math.inf in lost:
            off = dead.keys() | tripped.keys()
            formed = not off
            lit = formed and island.sun_ac[t] > 0.0
            if not formed:
                waits = island.reconnect_h
            counting = formed and waits > 1e-12 and (lit or not resting)
            seen("sun waits", counting and lit)
            shines = lit and waits <= 1e-12
            for p in [p for p in resting if p not in off and comes_back(island, t, now, p, shines, held)]:
                del resting[p]
            served = carried(island, t, now, serving(island, dead, resting, tripped))
            for c in set(range(n)) - set(served):
                if lost[c] == math.inf:
                    lost[c], why[c] = now, cause(island, c, {**dead, **resting, **tripped})
            if len(off) == len(island.pools):
                break
            part = min(left, waits) if counting else left
            part = stretch(island, t, off, served, shines, counting and lit, held, part, dead, resting)
            if part[1]:
                waits = island.reconnect_h
            elif counting:
                waits = max(waits - part[0], 0.0)
            now, left = now + part[0], left - part[0]
        k += 1
    return lost, why


def serving(island: Island, dead, resting, tripped) -> list[int]:
    return [p for p in range(len(island.pools)) if p not in dead and p not in resting and p not in tripped]


def comes_back(island: Island, t: int, now: float, p: int, shines: bool, held) -> bool:
    """A resting pool takes its loads again once the sun carries them, or an hour of them is stored above the floor."""
    every = carried(island, t, now, list(range(len(island.pools))))
    fill_kw, drain_kw = net_power(island, t, p, every, shines)
    sun = (island.sun_ac[t] if shines else 0.0) + island.sun_dc[t]
    if fill_kw >= drain_kw and sun > 0.0 and held[p] >= island.restart[p]:
        return seen("loads return")
    _, dark_drain = net_power(island, t, p, every, False)
    return seen("loads return", held[p] - island.restart[p] >= dark_drain)


def cause(island: Island, circuit: int, off: dict) -> str:
    """Why a circuit is unserved: its pools' reason, or the other leg where one of its two pools still stands."""
    gone = [p for p in island.feeders[circuit] if p in off]
    if not gone:
        return "shed"
    return off[gone[0]] if len(gone) == len(island.feeders[circuit]) else "other-leg"


def trips(island: Island, t: int, now: float, dead: dict, resting: dict) -> dict:
    """Pools that the load takes off in this step; a pair's mate is judged again without the two-pole circuits."""
    tripped = {}
    for _ in island.pools:
        up = serving(island, dead, resting, tripped)
        served = carried(island, t, now, up)
        for p in up:
            if p not in dead and exceeded(island, t, served, p):
                seen("leg trips")
                tripped[p] = "overload"
                if seen("trip latches", island.pools[p].latches):
                    dead[p] = "overload"
                else:
                    seen("trip is retried")
                break
    return tripped


def carried(island: Island, t: int, now: float, up) -> list[int]:
    """Circuits whose pools are all up, less what load control drops: highest priority number first, whole."""
    served = [c for c, pools in enumerate(island.feeders) if all(p in up for p in pools)]
    seen("other pole opens", len(served) < len(island.feeders) and bool(served) and any(
        len(pools) > 1 and any(p in up for p in pools) and not all(p in up for p in pools) for pools in island.feeders
    ))  # fmt: skip
    by_hand = island.control == "by-hand" and now >= HAND_AFTER_H - 1e-12
    by_hand = by_hand and in_window(island.stamps[t].minute, HAND_WINDOW)
    if island.control != "automatic" and not by_hand:
        return served
    levels = sorted({island.circuits[c]["priority"] for c in range(len(island.circuits))}, reverse=True)[:-1]
    for level in levels:
        over = {leg for leg in "AB" if leg_exceeded(island, t, served, leg)}
        for p, cells in enumerate(island.pools):
            if cells.legs == "AB" and whole_exceeded(island, t, served, p):
                over |= {"A", "B"}
        drop = [c for c in served if island.circuits[c]["priority"] == level and on_legs(island, c) & over]
        if drop:
            seen("dropped by hand" if by_hand else "load control drops")
        served = [c for c in served if c not in drop]
    return served


def on_legs(island: Island, c: int) -> set:
    return set(leg_of(island.circuits[c], island.pools))


def leg_kw(island: Island, t: int, served, leg: str) -> float:
    return sum(island.kw[c][t] / len(on_legs(island, c)) for c in served if leg in on_legs(island, c))


def leg_exceeded(island: Island, t: int, served, leg: str) -> bool:
    limit = sum(cells.leg_kw for cells in island.pools if leg in cells.legs)
    return leg_kw(island, t, served, leg) > limit + TOLERANCE_KW


def whole_exceeded(island: Island, t: int, served, p: int) -> bool:
    return sum(island.kw[c][t] for c in served) > island.pools[p].out_kw + TOLERANCE_KW


def exceeded(island: Island, t: int, served, p: int) -> bool:
    """A pool's load is above its output, on a leg or in all: judged without the help of the sun."""
    legs = island.pools[p].legs
    return any(leg_exceeded(island, t, served, leg) for leg in legs) or (
        len(legs) > 1 and whole_exceeded(island, t, served, p)
    )


def stretch(island: Island, t: int, off, served, shines: bool, held_off: bool, held, hours: float, dead, resting):
    """Let the pools run until the first is at its floor, at most `hours`; how long, and whether one went to rest."""
    net, floor, first = {}, {}, None
    for p in range(len(island.pools)):
        if p in off:
            continue
        net[p] = net_power(island, t, p, [] if p in resting else served, shines)
        floor[p] = 0.0 if p in resting else island.restart[p]
        fall = net[p][1] - net[p][0]
        if fall > 0.0 and held[p] - fall * hours < floor[p]:
            hours, first = max(held[p] - floor[p], 0.0) / fall, p
    for p, (fill_kw, drain_kw) in net.items():
        held[p] = after(island.pools[p], held[p], fill_kw, drain_kw, hours)
    if first is None:
        return hours, False
    rests = False
    for p, (fill_kw, drain_kw) in net.items():
        if p == first or (drain_kw > fill_kw and held[p] <= floor[p] + SAME_KWH):
            held[p] = floor[p]
            rests |= goes_dark(island, t, p, served, held_off, dead, resting)
    return hours, rests


def goes_dark(island: Island, t: int, p: int, served, held_off: bool, dead, resting) -> bool:
    """A pool at its floor is dead, or keeps the rest for the sun; returns whether it rests."""
    seen("leg empties", p not in resting)
    load = sum(island.kw[c][t] / len(island.feeders[c]) for c in served if p in island.feeders[c])
    sun = island.sun_ac[t] / len(island.pools)
    reason = "held-off" if seen("sun held off", held_off and sun >= load and sun > 0.0) else "empty"
    if p in resting or not island.restart[p] > 0.0:
        dead[p] = resting.pop(p, None) or reason
        return False
    resting[p] = reason
    return seen("kept for a restart")


def net_power(island: Island, t: int, p: int, served, shines: bool) -> tuple[float, float]:
    """DC power into and out of a pool: the sun that lands on it, and its share of the circuits with the no-load draw."""
    cells, n = island.pools[p], len(island.pools)
    load = sum(island.kw[c][t] / len(island.feeders[c]) for c in served if p in island.feeders[c])
    sun = island.sun_ac[t] / n if shines else 0.0
    seen("sun carries the island", sun > load > 0.0)
    back = min(max(sun - load, 0.0), cells.takes_back_kw)
    dc = island.sun_dc[t] * cells.kwh / sum(one.kwh for one in island.pools)
    return back * cells.eta_c + dc, max(load - sun, 0.0) / cells.eta_d + cells.no_load_kw


def after(cells: Cells, held: float, fill_kw: float, drain_kw: float, hours: float) -> float:
    """Energy after `hours`, full cells curtailing what is too much."""
    end = held + (fill_kw - drain_kw) * hours
    seen("cells full in the island", end > cells.kwh)
    return min(end, cells.kwh)
