"""The choice of legs as a mixed-integer programme; the only file of this room that calls the solver."""

from __future__ import annotations

import math

import numpy as np

from profiles.noun import BadInput
from simulate.panel.checks.layout import peak_w
from simulate.panel.checks.spaces import Item, items_of, slots_of, takes
from simulate.panel.legs.bench import Bench

SOLVED, INFEASIBLE = 0, 2
"""Statuses of `scipy.optimize.milp`. The HiGHS of SciPy 1.17 ends some of these programmes with "solve error" after its
presolve and solves them without: that is no proof of infeasibility, so it is asked again."""

TOLERANCE_KW = 1e-5
"""What an objective may give away when the next one is sought; HiGHS itself works to 1e-6. [kW]"""


class Rows:
    """Constraints and variables as they are added; solved by `scipy.optimize.milp`."""

    def __init__(self):
        self.cost: list[float] = []
        self.whole: list[int] = []
        self.rows: list[tuple[dict[int, float], float, float]] = []

    def binary(self) -> int:
        self.cost.append(0.0)
        self.whole.append(1)
        return len(self.cost) - 1

    def positive(self) -> int:
        self.cost.append(0.0)
        self.whole.append(0)
        return len(self.cost) - 1

    def add(self, terms: dict[int, float], low: float, high: float) -> None:
        """low <= sum of terms <= high."""
        self.rows.append((terms, low, high))

    def solve(self, cost: dict[int, float]) -> np.ndarray | None:
        """The cheapest point, or None where there is none."""
        from scipy.optimize import Bounds, LinearConstraint, milp

        n = len(self.cost)
        matrix = np.zeros((len(self.rows), n))
        for k, (terms, _, _) in enumerate(self.rows):
            for column, factor in terms.items():
                matrix[k, column] += factor
        price = np.zeros(n)
        for column, factor in cost.items():
            price[column] = factor
        whole = np.array(self.whole)
        bounds = Bounds(0.0, np.where(whole == 1, 1.0, np.inf))
        within = LinearConstraint(matrix, [row[1] for row in self.rows], [row[2] for row in self.rows])
        for presolve in (True, False):
            options = {"mip_rel_gap": 0.0, "presolve": presolve}
            result = milp(price, integrality=whole, bounds=bounds, constraints=within, options=options)
            if result.status in (SOLVED, INFEASIBLE):
                return result.x if result.status == SOLVED else None
        raise RuntimeError(f"the solver gave up on the assignment of legs: {result.message}")


def best_choices(bench: Bench, n: int) -> tuple[list[tuple[int, ...]], bool]:
    """The best `n` choices of legs, those with the least limits exceeded only, the best running balance first.

    Returns
    -------
    tuple
        Choices as `Bench.legs` takes them, and whether there are no more of them.

    Raises
    ------
    BadInput
        The solver found no answer, which a panel cannot cause.
    """
    rows, pick, (unplaced, excess), apart = _model(bench)
    for cost, slack in ((unplaced, 0.5), (excess, TOLERANCE_KW)):
        point = rows.solve(cost)
        if point is None:
            raise BadInput("has no assignment of legs", file=bench.layout.site.file, key="circuit.leg")
        if cost:
            rows.add(cost, -math.inf, sum(factor * point[column] for column, factor in cost.items()) + slack)
    choices: list[tuple[int, ...]] = []
    while len(choices) < n:
        point = rows.solve({apart: 1.0})
        if point is None:
            return choices, True
        if not choices:
            point = _fewest_moves(bench, rows, pick, apart, point[apart])
        choice = tuple(int(round(point[column])) for column in pick)
        choices.append(choice)
        rows.add({c: 1.0 if v == 0 else -1.0 for c, v in zip(pick, choice, strict=True)}, 1.0 - sum(choice), math.inf)
        if not pick:
            return choices, True
    return choices, rows.solve({apart: 1.0}) is None


def _fewest_moves(bench: Bench, rows: Rows, pick: list[int], apart: int, least: float) -> np.ndarray:
    """Among the best balanced, the one that moves the fewest circuits."""
    cost = {}
    for column, item in zip(pick, bench.items, strict=True):
        stay = sum(bench.layout.legs_of(c)[0] != "AB"[k % 2] for k, c in enumerate(item.circuits))
        swap = sum(bench.layout.legs_of(c)[0] != "BA"[k % 2] for k, c in enumerate(item.circuits))
        cost[column] = float(swap - stay)
    rows.rows.append(({apart: 1.0}, -math.inf, least + TOLERANCE_KW))
    point = rows.solve(cost)
    rows.rows.pop()
    return point


def _model(bench: Bench) -> tuple[Rows, list[int], tuple[dict[int, float], dict[int, float]], int]:
    """Rows, the choices, what counts as unplaced and as exceeded, and the difference of the running loads."""
    rows = Rows()
    pick = [rows.binary() for _ in bench.items]
    excess: dict[int, float] = {}
    for leg in ("A", "B"):
        running, base = _on_leg(bench, pick, leg, lambda c: c.running_w)
        everything, most = _on_leg(bench, pick, leg, peak_w)
        limit = bench.layout.leg_kw(leg)
        _at_most(rows, excess, running, limit - base)
        _at_most(rows, excess, everything, limit - most)
        _starts(bench, rows, excess, leg, (pick, running, base))
    unplaced = _seats(bench, rows, pick)
    apart = rows.positive()
    a, base_a = _on_leg(bench, pick, "A", lambda c: c.running_w)
    b, base_b = _on_leg(bench, pick, "B", lambda c: c.running_w)
    gap = {column: a[column] - b[column] for column in a}
    rows.add(gap | {apart: -1.0}, -math.inf, base_b - base_a)
    rows.add(gap | {apart: 1.0}, base_b - base_a, math.inf)
    return rows, pick, (unplaced, excess), apart


def _on_leg(bench: Bench, pick: list[int], leg: str, watts) -> tuple[dict[int, float], float]:
    """Power on a leg as terms of the choices and a constant. [kW]"""
    terms, base = {}, bench.two_pole_kw(watts)
    for column, item in zip(pick, bench.items, strict=True):
        first = watts(item.circuits[0]) / 1000.0
        second = watts(item.circuits[1]) / 1000.0 if len(item.circuits) == 2 else 0.0
        on_pick, else_on = (second, first) if leg == "A" else (first, second)
        terms[column] = on_pick - else_on
        base += else_on
    return terms, base


def _at_most(rows: Rows, excess: dict[int, float], terms: dict[int, float], limit: float) -> int:
    """terms <= limit, or what exceeds it counts."""
    over = rows.positive()
    excess[over] = 1.0
    if limit < math.inf:
        rows.add(terms | {over: -1.0}, -math.inf, limit)
    return over


def _starts(bench: Bench, rows: Rows, excess: dict[int, float], leg: str, running) -> None:
    """The largest start on a leg counts once; a motor on the other leg does not count."""
    pick, terms, base = running
    limit = bench.limit_kva(leg)
    if limit == math.inf:
        return
    over = rows.positive()
    excess[over] = 1.0
    where = {
        c.name: (column, k) for column, item in zip(pick, bench.items, strict=True) for k, c in enumerate(item.circuits)
    }
    most = base + sum(abs(factor) for factor in terms.values()) + max(bench.start_kva.values(), default=0.0)
    for circuit in bench.layout.circuits:
        if circuit.name not in bench.start_kva:
            continue
        added = bench.start_kva[circuit.name] - circuit.running_w * (0.5 if circuit.poles == 2 else 1.0) / 1000.0
        row, slack = dict(terms), 0.0
        if circuit.poles == 1:
            column, k = where[circuit.name]
            if (k == 0) == (leg == "B"):
                row[column], slack = row[column] + most, most
            else:
                row[column] = row[column] - most
        rows.add(row | {over: -1.0}, -math.inf, limit - base - added + slack)


def _seats(bench: Bench, rows: Rows, pick: list[int]) -> dict[int, float]:
    """One space for each item, else it counts; single-pole spaces may sit on a leg."""
    slots, unplaced = slots_of(bench.layout), {}
    if not slots:
        return {}
    columns = {item.circuits[0].name: column for column, item in zip(pick, bench.items, strict=True)}
    taken: dict[int, dict[int, float]] = {slot.number: {} for slot in slots}
    for item in items_of(bench.layout):
        unplaced[_seat_one(rows, item, columns.get(item.circuits[0].name), (slots, taken))] = 1.0
    for terms in taken.values():
        if terms:
            rows.add(terms, -math.inf, 1.0)
    return unplaced


def _seat_one(rows: Rows, item: Item, column: int | None, panel) -> int:
    slots, taken = panel
    left = rows.binary()
    terms = {left: 1.0}
    for slot in slots:
        if not takes(slot, Item(item.circuits, item.poles, item.breaker_a)):
            continue
        sits = rows.binary()
        terms[sits] = taken[slot.number][sits] = 1.0
        if slot.leg is not None and column is not None:
            on_b = slot.leg == "B"
            rows.add({sits: 1.0, column: -1.0 if on_b else 1.0}, -math.inf, 0.0 if on_b else 1.0)
    rows.add(terms, 1.0, 1.0)
    return left
