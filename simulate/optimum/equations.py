"""Pools that share one meter, written as sparse linear equations: columns, rows, and where binaries are needed."""

from __future__ import annotations

from dataclasses import dataclass, field
from math import inf

import numpy as np
from scipy.sparse import coo_array, csc_array

from simulate.physics.pool import Pool


@dataclass(frozen=True, eq=False)
class Demand:
    """A charge on the largest mean import of each of its billing periods.

    Parameters
    ----------
    per_kw : float
        [money/kW]
    period : ndarray of int, shape (n_steps,)
        Billing period of each step, 0, 1, 2 ...; -1 where the charge does not look.
    window_steps : int
        Steps over which import is averaged, counted from the first step.
    """

    per_kw: float
    period: np.ndarray
    window_steps: int = 1


@dataclass(frozen=True, eq=False)
class Case:
    """Checked series of pools that share a meter; `n_pools` first, time last.

    `reach_kw` holds the single-pole circuits of each pool, `two_pole_kw` those that take half from each of a pair.
    """

    load_kw: np.ndarray
    reach_kw: np.ndarray
    two_pole_kw: np.ndarray
    solar_kw: np.ndarray
    buy_per_kwh: np.ndarray
    sell_per_kwh: np.ndarray
    pools: tuple[Pool, ...]
    charge_kw: np.ndarray
    dc_kw: np.ndarray
    utility_ok: np.ndarray
    parallel: bool
    export: bool
    wear_per_kwh: float
    step_h: float
    demands: tuple[Demand, ...] = ()

    @property
    def n_steps(self) -> int:
        return len(self.load_kw)

    @property
    def draw_kw(self) -> float:
        return sum(pool.on_grid_kw for pool in self.pools)

    def served(self, p: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Limit [kW] of what pool p serves, DC and meter energy per AC delivered, each of shape (n_steps,)."""
        pool = self.pools[p]
        most_kw = np.full(self.n_steps, pool.discharge_kw)
        reach_kw = np.minimum(self.reach_kw[p], most_kw)
        inverts_kw = most_kw if self.parallel else reach_kw
        some_kw = np.where(inverts_kw > 0.0, inverts_kw, inf)
        held_kw = (pool.usable_kwh / self.step_h + self.dc_kw[p]) / pool.dc_per_ac
        limit_kw = np.minimum(most_kw if self.parallel and self.export else reach_kw, held_kw)
        return limit_kw, pool.dc_per_served(inverts_kw), 1.0 + pool.on_grid_kw / some_kw

    def most_in_kw(self, p: int) -> np.ndarray:
        """AC that pool p can take in a step at most, shape (n_steps,). [kW]"""
        pool = self.pools[p]
        return np.minimum(self.charge_kw[p], pool.usable_kwh / pool.charge_efficiency / self.step_h)


@dataclass(eq=False)
class Equations:
    """A programme under construction: blocks of columns by name, rows as triplets."""

    columns: dict = field(default_factory=dict)
    parts: list = field(default_factory=list)
    n_columns: int = 0
    n_rows: int = 0
    rows: list = field(default_factory=list)

    def add_columns(self, name, n, low, high, price, *, integral=False) -> np.ndarray:
        index = np.arange(self.n_columns, self.n_columns + n)
        self.columns[name] = index
        self.n_columns += n
        self.parts.append([np.broadcast_to(np.asarray(x, float), n) for x in (low, high, price, float(integral))])
        return index

    def add_rows(self, low, high, *terms) -> None:
        """Rows low <= sum(value * column) <= high; each term is (row numbers, columns, values)."""
        n = max(int(rows.max(initial=-1)) + 1 for rows, _, _ in terms)
        bounds = [np.broadcast_to(np.asarray(x, float), n) for x in (low, high)]
        placed = [(row + self.n_rows, columns, np.broadcast_to(values, len(row))) for row, columns, values in terms]
        self.rows.append((bounds, placed))
        self.n_rows += n

    def arrays(self):
        """Matrix by columns, and low, high, price and integrality of the columns, low and high of the rows."""
        low, high, price, integral = (np.concatenate(part) for part in zip(*self.parts, strict=True))
        row_low, row_high = (np.concatenate(part) for part in zip(*(bounds for bounds, _ in self.rows), strict=True))
        triplets = [one for _, many in self.rows for one in many]
        rows, columns, values = (np.concatenate(part) for part in zip(*triplets, strict=True))
        matrix = csc_array(coo_array((values, (rows, columns)), shape=(self.n_rows, self.n_columns)))
        return matrix, low, high, price, integral, row_low, row_high


def equations(case: Case, clashes=None, *, may_split: bool = True, cyclic: bool = False) -> Equations:
    """Columns and rows of a case; floors, start and end are bounds that the solver sets.

    `clashes`, bool of shape (n_pools, n_steps), names steps beyond the `offending` ones that need a binary; without
    `may_split` charging and serving only share the time of those steps.

    Columns by name: `charge p`, `serve p`, `stored p` (n_steps + 1), `spill p`, `import`, `export`, `pair` (share of
    the step in which two-pole circuits are served), `peak d`, `mode p` and `way` (binaries).
    """
    made, n, h = Equations(), case.n_steps, case.step_h
    step = np.arange(n)
    meter = []
    for p, pool in enumerate(case.pools):
        limit, dc, at_meter = case.served(p)
        charge = made.add_columns(f"charge {p}", n, 0.0, case.most_in_kw(p), 0.0)
        serve = made.add_columns(f"serve {p}", n, 0.0, limit, case.wear_per_kwh * dc * h)
        stored = made.add_columns(f"stored {p}", n + 1, 0.0, pool.usable_kwh, 0.0)
        spill = made.add_columns(f"spill {p}", n, 0.0, case.dc_kw[p], 0.0)
        meter += [(step, charge, -1.0), (step, serve, at_meter)]
    bought = made.add_columns("import", n, 0.0, inf, case.buy_per_kwh * h)
    sold = made.add_columns("export", n, 0.0, inf, -case.sell_per_kwh * h)
    pairs = case.two_pole_kw > 0.0
    pair = made.add_columns("pair", n, 0.0, pairs.astype(float), _pair_wear(case))
    whole = sum(case.reach_kw) + case.two_pole_kw + case.draw_kw
    net = case.load_kw + case.draw_kw - case.solar_kw
    made.add_rows(net, net, *meter, (step, bought, 1.0), (step, sold, -1.0), (step, pair, np.where(pairs, whole, 0.0)))
    for p, pool in enumerate(case.pools):
        charge, serve, stored, spill = (made.columns[f"{name} {p}"] for name in ("charge", "serve", "stored", "spill"))
        made.add_rows(
            case.dc_kw[p] * h,
            case.dc_kw[p] * h,
            (step, stored[1:], 1.0),
            (step, stored[:-1], -1.0),
            (step, spill, h),
            (step, charge, -pool.charge_efficiency * h),
            (step, serve, case.served(p)[1] * h),
            (step, pair, np.where(pairs, _pair_dc_kw(case, p), 0.0) * h),
        )
        _share_the_step(made, case, p, np.flatnonzero(pairs & (case.reach_kw[p] > 0.0)))
    _limit_flows(made, case, net)
    _add_binaries(made, case, net, np.zeros((len(case.pools), n), bool) if clashes is None else clashes, may_split)
    add_peaks(made, case, made.columns["import"])
    if cyclic:
        add_circle(made, len(case.pools))
    return made


def add_circle(made: Equations, n_pools: int) -> None:
    """Each pool ends as full as it begins."""
    row = np.zeros(1, np.int64)
    for p in range(n_pools):
        stored = made.columns[f"stored {p}"]
        made.add_rows(0.0, inf, (row, stored[-1:], 1.0), (row, stored[:1], -1.0))


def _pair_dc_kw(case: Case, p: int) -> np.ndarray:
    pool = case.pools[p]
    return pool.drain_kw(case.reach_kw[p] + 0.5 * case.two_pole_kw)


def _pair_wear(case: Case) -> np.ndarray:
    return case.wear_per_kwh * case.step_h * sum(_pair_dc_kw(case, p) for p in range(len(case.pools)))


def _share_the_step(made: Equations, case: Case, p: int, steps) -> None:
    """A leg serves its own circuits with the two-pole ones or, in another part of the step, alone."""
    if len(steps):
        row = np.arange(len(steps))
        serve = (row, made.columns[f"serve {p}"][steps], 1.0 / case.reach_kw[p, steps])
        made.add_rows(-inf, 1.0, serve, (row, made.columns["pair"][steps], 1.0))


def _limit_flows(made: Equations, case: Case, net_kw) -> None:
    """Without export the pools follow what solar leaves; what may not be bought comes from the surplus."""
    n, pools = case.n_steps, range(len(case.pools))
    step = np.arange(n)
    if case.parallel and not case.export:
        served = [(step, made.columns[f"serve {p}"], case.served(p)[2]) for p in pools]
        made.add_rows(-inf, np.maximum(net_kw, 0.0), *served)
    steps = np.flatnonzero(~case.utility_ok)
    if len(steps):
        row = np.arange(len(steps))
        made.add_rows(
            -inf, np.maximum(-net_kw, 0.0)[steps], *((row, made.columns[f"charge {p}"][steps], 1.0) for p in pools)
        )


def offending(case: Case, p: int) -> np.ndarray:
    """Steps in which charging and serving at once would pay, so that only a binary forbids it; shape (n_steps,).

    One DC kWh that goes around takes `k` AC from the meter: it pays where k and the price differ in sign.
    """
    pool = case.pools[p]
    limit, dc, at_meter = case.served(p)
    k = np.where(limit > 0.0, 1.0 / pool.charge_efficiency - at_meter / dc, 0.0)
    gains = [price * k for price in (case.buy_per_kwh, case.sell_per_kwh)]
    return (np.min(gains, axis=0) + case.wear_per_kwh < -1e-12) & (case.most_in_kw(p) > 0.0)


def _add_binaries(made: Equations, case: Case, net_kw, clashes, may_split) -> None:
    pairs = case.two_pole_kw > 0.0
    for p in range(len(case.pools)):
        limit = case.served(p)[0]
        steps = np.flatnonzero(offending(case, p) | clashes[p])
        if not len(steps):
            continue
        row = np.arange(len(steps))
        mode = made.add_columns(f"mode {p}", len(steps), 0.0, 1.0, 0.0, integral=may_split)
        most = case.most_in_kw(p)[steps]
        made.add_rows(-inf, 0.0, (row, made.columns[f"charge {p}"][steps], 1.0), (row, mode, -most))
        made.add_rows(-inf, limit[steps], (row, made.columns[f"serve {p}"][steps], 1.0), (row, mode, limit[steps]))
        made.add_rows(-inf, 1.0, (row, made.columns["pair"][steps], 1.0), (row, mode, 1.0))
    steps = np.flatnonzero(case.sell_per_kwh > case.buy_per_kwh)
    if len(steps):
        row = np.arange(len(steps))
        way = made.add_columns("way", len(steps), 0.0, 1.0, 0.0, integral=True)
        most_in, most_out = np.maximum(net_kw, 0.0)[steps], np.maximum(-net_kw, 0.0)[steps]
        for p, pool in enumerate(case.pools):
            limit, _, at_meter = case.served(p)
            most_in += case.most_in_kw(p)[steps]
            most_out += (limit * at_meter + case.reach_kw[p] * pairs + pool.on_grid_kw)[steps]
        most_out += case.two_pole_kw[steps]
        made.add_rows(-inf, 0.0, (row, made.columns["import"][steps], 1.0), (row, way, -most_in))
        made.add_rows(-inf, most_out, (row, made.columns["export"][steps], 1.0), (row, way, most_out))


def add_peaks(made: Equations, case: Case, bought, per_kw: float = 1.0) -> None:
    """One column a billing period, above the mean import of each of its windows.

    `bought` names the import column of each step (those that a charge looks at), in units of `per_kw` a kW.
    """
    for d, demand in enumerate(case.demands):
        period = demand.period[:: demand.window_steps]
        windows = np.flatnonzero(period >= 0)
        peak = made.add_columns(f"peak {d}", int(demand.period.max()) + 1, 0.0, inf, demand.per_kw)
        if not len(windows):
            continue
        row = np.repeat(np.arange(len(windows)), demand.window_steps)
        steps = (windows[:, None] * demand.window_steps + np.arange(demand.window_steps)).ravel()
        mean = (row, bought[steps], 1.0 / (demand.window_steps * per_kw))
        made.add_rows(-inf, 0.0, mean, (np.arange(len(windows)), peak[period[windows]], -1.0))
