"""A year on the utility, one step after the other: a plan's four targets, moved to within the limits."""

from dataclasses import dataclass, field

from tests.twins.branches import seen
from tests.twins.cells import charged_kwh
from tests.twins.pools import Cells

CLOSES_KWH = 1e-9
MOST_LAPS = 5
NAMES = ("import_kw", "export_kw", "charge_kw", "discharge_kw", "loss_kw", "curtailed_kw")


@dataclass
class Series:
    """What the year is asked to do, lists of one value a step; by pool first where it says so.

    `targets[p][t]` are export down to, serve down to, fill from solar up to, fill from the utility up to; `over[p][t]`
    is the kW of the circuits that are switched to a pool, `pair[t]` of two-pole circuits on two pools, `on[p][t]`
    whether any circuit is, and `stay[p][t]` the energy that the least stay asks for where a period begins (else -1).
    """

    load: list
    solar: list
    targets: list
    over: list
    pair: list
    stay: list
    parallel: bool
    unit_export: bool
    solar_export: bool
    on_cells: list = field(default_factory=list)
    inside: list = field(default_factory=list)


def run_year(series: Series, pools: list[Cells], h: float) -> dict:
    """Walk the year until it ends as it began; series of flows [kW] and of energy by pool at each step's start."""
    held = [cells.kwh for cells in pools]
    for lap in range(MOST_LAPS):
        out = walk(series, pools, held, h)
        closed = all(abs(path[-1] - start) <= CLOSES_KWH for path, start in zip(out["soc"], held, strict=True))
        held = [path[-1] for path in out["soc"]]
        if closed:
            seen("year closes at once" if lap == 0 else "year walked again")
            break
    return out


def walk(series: Series, pools: list[Cells], held, h: float) -> dict:
    out = {name: [] for name in NAMES} | {"soc": [[kwh] for kwh in held]}
    barred = [False] * len(pools)
    for t in range(len(series.load)):
        flows = step(t, series, pools, [path[-1] for path in out["soc"]], barred, h)
        for path, kwh in zip(out["soc"], flows.pop("kwh"), strict=True):
            path.append(kwh)
        for name in NAMES:
            out[name].append(flows[name] / h)
    return out


def step(t: int, series: Series, pools: list[Cells], kwh: list, barred: list, h: float) -> dict:
    """One step of all pools behind one meter; flows in kWh."""
    moves = [Move(cells, kwh[p], h, series.targets[p][t]) for p, cells in enumerate(pools)]
    sun = [row[t] * h for row in series.on_cells] if series.on_cells else [0.0] * len(pools)
    for move, dc in zip(moves, sun, strict=True):
        move.kwh += dc
        seen("sun on the cells", dc > 0.0)
    spare_kw = series.solar[t] - series.load[t] - sum(cells.on_grid_kw for cells in pools)
    shares = surplus_shares(moves, spare_kw, kwh)
    for p, move in enumerate(moves):
        if series.stay[p][t] >= 0.0:
            barred[p] = seen("waits: too little for the least stay", kwh[p] < series.stay[p][t])
        move.wants(shares[p])
    if series.parallel:
        serve_in_parallel(moves, -spare_kw, series.unit_export)
    else:
        serve_switched(t, series, moves, barred)
    for move, share in zip(moves, shares, strict=True):
        if move.charges:
            move.fill(share)
    return meter(t, series, moves, h)


class Move:
    """What one pool does in one step: charges or serves, never both. kWh, and hours that it inverts."""

    def __init__(self, cells: Cells, kwh: float, h: float, targets):
        self.cells, self.kwh, self.h = cells, kwh, h
        self.export_to, self.serve_to, self.solar_to, self.grid_to = targets
        self.charged = self.served = self.spilled = self.unused = self.lost = self.inverting_h = 0.0
        self.charges = False

    def wants(self, surplus_kw: float) -> None:
        self.charges = self.kwh < self.grid_to or (surplus_kw > 0.0 and self.kwh < self.solar_to)

    def fill(self, surplus_kw: float) -> None:
        """From the utility first, at full power, then from the surplus in what is left of the step."""
        before, spent = self.kwh, 0.0
        if self.kwh < self.grid_to:
            seen("fills from the utility")
            self.kwh, spent = charged_kwh(self.cells, self.kwh, self.grid_to, self.cells.charge_kw, self.h)
        if surplus_kw > 0.0 and self.kwh < self.solar_to and spent < self.h:
            seen("fills from both in a step" if spent else "fills from surplus")
            self.kwh, _ = charged_kwh(self.cells, self.kwh, self.solar_to, surplus_kw, self.h - spent)
        self.charged = (self.kwh - before) / self.cells.eta_c

    def serve(self, ac_kwh: float) -> None:
        """Deliver this much in parallel: the no-load draw and the time inverting go with it."""
        self.served += ac_kwh
        self.kwh -= ac_kwh / self.cells.eta_serving
        self.inverting_h = self.served / self.cells.out_kw

    def close(self) -> None:
        cells = self.cells
        if self.kwh > cells.kwh:
            seen("sun on full cells")
            self.spilled, self.kwh = self.kwh - cells.kwh, cells.kwh
        self.lost += self.charged * (1.0 - cells.eta_c) + self.served * (1.0 / cells.eta_d - 1.0)
        self.lost += cells.no_load_kw * self.inverting_h + cells.on_grid_kw * (self.h - self.inverting_h)


def surplus_shares(moves, spare_kw: float, kwh) -> list[float]:
    """Surplus that each pool may take: all of it where all have room, else by their room."""
    if spare_kw <= 0.0:
        return [0.0] * len(moves)
    room = [
        min(m.cells.charge_kw, max(m.solar_to - e, 0.0) / (m.cells.eta_c * m.h))
        for m, e in zip(moves, kwh, strict=True)
    ]
    if len(moves) < 2 or sum(room) <= spare_kw:
        return [spare_kw] * len(moves)
    seen("surplus shared by room")
    return [spare_kw * one / sum(room) for one in room]


def serve_in_parallel(moves, need_kw: float, may_export: bool) -> None:
    """What solar leaves of house and on-grid draws, shared by what each pool can deliver; then the export."""
    can = [min(m.cells.out_kw, max(m.kwh - m.serve_to, 0.0) * m.cells.eta_serving / m.h) for m in moves]
    # a pool that serves has that much less of its on-grid draw: it need not be served
    asked = sum(kw * (1.0 + m.cells.on_grid_kw / m.cells.out_kw) for kw, m in zip(can, moves, strict=True))
    share = 1.0 if asked <= need_kw or asked <= 0.0 else max(need_kw, 0.0) / asked
    seen("need shared", len(moves) > 1 and 0.0 < share < 1.0)
    for move, kw in zip(moves, can, strict=True):
        if move.charges:
            continue
        if kw * share > 0.0:
            seen("serves in parallel")
            seen("serves to the floor", share == 1.0)
            move.serve(kw * share * move.h)
        if may_export and move.kwh > move.export_to:
            left = move.cells.out_kw * move.h - move.served
            more = min((move.kwh - move.export_to) * move.cells.eta_serving, left)
            if more > 1e-12:
                seen("exports from the cells")
                move.serve(more)
        seen("stands by", move.served == 0.0)


def serve_switched(t: int, series: Series, moves, barred) -> None:
    """Whole circuits on the units until the floor: a locked pair's two-pole circuits until the first is there."""
    h = moves[0].h if moves else 0.0
    kw = [0.0 if barred[p] else series.over[p][t] for p in range(len(moves))]
    ready = [not m.charges and m.kwh > m.serve_to and not barred[p] for p, m in enumerate(moves)]
    paired_h = 0.0
    if series.pair[t] > 0.0 and all(ready):
        paired_h = min(time_to_floor(m, kw[p] + series.pair[t] / 2, series.inside[t], h) for p, m in enumerate(moves))
        seen("pair serves two poles")
    for p, move in enumerate(moves):
        if not ready[p]:
            continue
        inside = series.inside[t]
        if paired_h > 0.0:
            switched(move, kw[p] + series.pair[t] / 2, inside, paired_h)
        if kw[p] > 0.0 and paired_h < h and move.kwh > move.serve_to:
            rest = time_to_floor(move, kw[p], inside, h - paired_h)
            seen("switched over to the floor" if rest < h - paired_h else "switched over")
            switched(move, kw[p], inside, rest)


def time_to_floor(move, kw: float, inside_kw: float, h: float) -> float:
    taken = drain_kw(move, kw, inside_kw)
    return min((move.kwh - move.serve_to) / taken, h) if taken > 0.0 else h


def drain_kw(move, kw: float, inside_kw: float) -> float:
    """Net DC power out of the cells of circuits that are over, sub-panel sun with them."""
    cells = move.cells
    used = inside_kw if cells.takes_back_kw > 0.0 else 0.0
    back = min(max(used - kw, 0.0), cells.takes_back_kw)
    return max(kw - used, 0.0) / cells.eta_d + cells.no_load_kw - back * cells.eta_c


def switched(move, kw: float, inside_kw: float, hours: float) -> None:
    """Circuits of `kw` are on the unit for `hours`."""
    cells = move.cells
    used = inside_kw if cells.takes_back_kw > 0.0 else 0.0
    seen("sub-panel sun while switched over", inside_kw > 0.0)
    back = min(max(used - kw, 0.0), cells.takes_back_kw)
    before = move.kwh
    if drain_kw(move, kw, inside_kw) >= 0.0:
        move.kwh -= drain_kw(move, kw, inside_kw) * hours
    else:
        move.kwh = fed_back_kwh(move, back, hours)
        back = (move.kwh - before + cells.no_load_kw * hours) / cells.eta_c / hours
    move.charged += back * hours
    move.served += max(kw - used, 0.0) * hours
    move.unused += (max(used - kw, 0.0) - back + inside_kw - used) * hours
    move.inverting_h += hours


def fed_back_kwh(move, back_kw: float, hours: float) -> float:
    """Energy after `hours` of AC fed back against the no-load draw, without a taper."""
    cells = move.cells
    return min(move.kwh + (back_kw * cells.eta_c - cells.no_load_kw) * hours, cells.kwh)


def meter(t: int, series: Series, moves, h: float) -> dict:
    """What goes through the meter and what is lost on the way, kWh."""
    for move in moves:
        move.close()
    on_grid = sum(m.cells.on_grid_kw * (h - m.inverting_h) for m in moves)
    unused = sum(m.unused for m in moves)
    net = (series.load[t] - series.solar[t]) * h + on_grid + unused
    net += sum(m.charged - m.served for m in moves)
    going = max(-net, 0.0)
    curtailed = unused + sum(m.spilled for m in moves)
    if going > 0.0:
        seen("surplus goes out" if series.solar_export else "surplus is curtailed")
    return {
        "kwh": [m.kwh for m in moves],
        "import_kw": max(net, 0.0),
        "export_kw": going if series.solar_export else 0.0,
        "charge_kw": sum(m.charged for m in moves),
        "discharge_kw": sum(m.served for m in moves),
        "loss_kw": sum(m.lost for m in moves),
        "curtailed_kw": curtailed + (0.0 if series.solar_export else going),
    }
