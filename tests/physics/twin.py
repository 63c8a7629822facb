"""A slow plain-Python twin of the physics and of an outage: written apart from the compiled code, circuit by circuit."""

import math

MARCH = 2000


def twin_fill(e, goal, in_kw, out_kw, pool, h):
    """Charge towards a goal by a fine march; returns the stored energy at the end."""
    start, end = (1.0, 1.0) if pool.taper is None else (pool.taper["from_soc"], pool.taper["to_frac"])
    full_kw = pool.charge_kw * pool.charge_efficiency
    n = MARCH
    for _ in range(n):
        soc = e / pool.usable_kwh
        limit = in_kw
        if soc > start:
            limit = min(in_kw, full_kw * (1.0 - (1.0 - end) * (soc - start) / (1.0 - start)))
        elif pool.taper is not None:
            limit = min(in_kw, full_kw)
        e = min(e + (limit - out_kw) * h / n, goal)
    return e


def twin_grid_step(e, targets, surplus_kw, charge_kw, reach_kw, efficiency, pool, h):
    """One step on the utility without taper; returns stored energy, AC charged and AC delivered."""
    export_to, serve_to, solar_to, grid_to = targets
    before = e
    if e < grid_to or (surplus_kw > 0 and e < solar_to):
        time = h
        if e < grid_to:
            dc_kw = charge_kw * pool.charge_efficiency
            used = min(time, (grid_to - e) / dc_kw) if dc_kw > 0 else time
            e = grid_to if used < time else e + dc_kw * used
            time -= used
        if time > 0 and surplus_kw > 0 and e < solar_to:
            e = min(solar_to, e + min(surplus_kw, charge_kw) * pool.charge_efficiency * time)
        return e, (e - before) / pool.charge_efficiency, 0.0
    delivered = 0.0
    if e > serve_to:
        delivered = min((e - serve_to) * efficiency, min(reach_kw, pool.discharge_kw) * h)
        e -= delivered / efficiency
    if e > export_to:
        more = min((e - export_to) * efficiency, pool.discharge_kw * h - delivered)
        e, delivered = e - more / efficiency, delivered + more
    return e, 0.0, delivered


class TwinCircuit:
    """A circuit of the twin: constant factor on a series of kW."""

    def __init__(self, name, kw, legs, priority):
        self.name, self.kw, self.legs, self.priority = name, kw, legs, priority


def twin_outage(circuits, pools, limits, soc, start, *, horizon_h, control, latches=True):
    """Hours at which each circuit is first unserved (inf: never within the horizon), at steps of one hour.

    `pools` maps a leg to its pool ("A", "B"; one entry "AB" feeds both), `limits` a leg to its output limit, and
    `control` is True where a priority is dropped as soon as a limit is exceeded. No solar.
    """
    energy, dead = dict(soc), set()
    first = {circuit.name: math.inf for circuit in circuits}
    lowest = min(circuit.priority for circuit in circuits)
    n = len(circuits[0].kw)
    for k in range(math.ceil(horizon_h)):
        t = (start + k) % n
        now, left, tripped = float(k), 1.0, set()
        while left > 1e-15:
            up = [leg for leg in pools if leg not in dead and leg not in tripped]
            served = [c for c in circuits if all(_pool_of(leg, pools) in up for leg in c.legs)]
            if control:
                for level in sorted({c.priority for c in served if c.priority > lowest}, reverse=True):
                    over = _over(served, t, limits, pools)
                    served = [c for c in served if c.priority != level or not (set(c.legs) & over)]
            over = {_pool_of(leg, pools) for leg in _over(served, t, limits, pools)}
            if over:
                tripped |= over
                if latches:
                    dead |= over
                continue
            for c in circuits:
                if c not in served:
                    first[c.name] = min(first[c.name], now)
            drain = {leg: _drain(leg, served, t, pools) for leg in up}
            time = min([left] + [energy[leg] / drain[leg] for leg in up if drain[leg] > 0])
            for leg in up:
                energy[leg] -= drain[leg] * time
                if energy[leg] < 1e-12:
                    dead.add(leg)
            left, now = left - time, now + time
            if not up:
                break
        if not [leg for leg in pools if leg not in dead] and latches:
            for c in circuits:
                first[c.name] = min(first[c.name], now)
            break
    return {name: hours if hours < horizon_h - 1e-9 else math.inf for name, hours in first.items()}


def _pool_of(leg, pools):
    return leg if leg in pools else "AB"


def _over(served, t, limits, pools):
    over = set()
    for leg in ("A", "B"):
        load = sum(c.kw[t] / len(c.legs) for c in served if leg in c.legs)
        if load > limits.get(leg, math.inf) + 1e-9:
            over.add(leg)
    if "AB" in pools and sum(c.kw[t] for c in served) > limits["AB"] + 1e-9:
        over |= {"A", "B"}
    return over


def _drain(leg, served, t, pools):
    pool = pools[leg]
    load = sum(c.kw[t] / len(c.legs) for c in served for one in c.legs if one in leg)
    return load / pool.discharge_efficiency + pool.no_load_kw
