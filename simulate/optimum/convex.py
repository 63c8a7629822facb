"""The best possible, compiled: a convex piecewise-linear cost-to-go, kept as sorted slopes with its domain.

One step changes the stored energy by at most four pieces, each a width [kWh DC] and a slope [money/kWh DC]: bought,
filled from surplus, served against import, served beyond it. Stepping back one hour is the infimal convolution of the
cost-to-go with them, that is a merge of sorted slopes (Tseng & Luo 1996; Cruise & Zachary on storage arbitrage).
"""

from __future__ import annotations

import math

import numpy as np

from simulate.physics.compiled import jit

N_COLUMNS = 10
"""Of a stage: width and slope of bought, filled, served and beyond; cost with the battery untouched; DC solar [kWh]."""

ROOM = 64
"""Slopes that the buffer holds at first; it doubles whenever it is full."""


@jit
def write_stages(stages, series, from_utility, modes, wear_per_kwh, cell, h):
    """Write the four pieces of every step.

    Returns the first step whose pieces are out of order (or -1), and whether all thresholds are free of the state.

    Parameters
    ----------
    stages : ndarray, shape (n_steps, 10)
        Written.
    series : ndarrays, shape (n_steps,)
        load_kw, reach_kw, solar_kw, buy_per_kwh, sell_per_kwh, limit_kw, efficiency, charge_kw, dc_kw.
    from_utility : ndarray of bool, shape (n_steps,)
        Whether energy may be bought to charge.
    modes : (bool, bool)
        Whether the pool works in parallel, and whether it then may send its energy to the grid.
    """
    load_kw, reach_kw, solar_kw, buy_per_kwh, sell_per_kwh, limit_kw, efficiency, charge_kw, dc_kw = series
    parallel, export = modes
    per_kwh, refused, plain = 1.0 / cell.charge_efficiency, -1, True
    for t in range(len(load_kw)):
        buy, sell, eta = buy_per_kwh[t], sell_per_kwh[t], efficiency[t]
        most_kwh = cell.usable_kwh + dc_kw[t] * h
        net_kw = load_kw[t] - solar_kw[t] + cell.on_grid_kw
        inverts_kw = cell.discharge_kw if parallel else min(reach_kw[t], cell.discharge_kw)
        # AC at the meter per AC delivered: while the pool inverts it does not take its on-grid draw
        gain = 1.0 + cell.on_grid_kw / inverts_kw if inverts_kw > 0.0 else 1.0
        most_kw = cell.discharge_kw if parallel and export else limit_kw[t]
        offset_kw = min(max(net_kw, 0.0) / gain, most_kw)
        most_in = min(charge_kw[t] * h * cell.charge_efficiency, most_kwh)
        filled = min(max(-net_kw, 0.0) * h * cell.charge_efficiency, most_in)
        bought = most_in - filled if from_utility[t] else 0.0
        dc_h = h / eta
        served, beyond = min(offset_kw * dc_h, most_kwh), min((most_kw - offset_kw) * dc_h, most_kwh)
        bought_slope, filled_slope = -buy * per_kwh, -sell * per_kwh
        served_slope, beyond_slope = wear_per_kwh - buy * eta * gain, wear_per_kwh - sell * eta * gain
        if filled > 0.0 or beyond > 1e-12 * most_kwh:
            plain = False
        if served_slope >= 0.0:
            served = 0.0
        if beyond_slope >= 0.0 or beyond <= 1e-12 * most_kwh:  # rounding leaves crumbs where nothing lies beyond
            beyond = 0.0
        worth = max(-served_slope if served > 0.0 else 0.0, -beyond_slope if beyond > 0.0 else 0.0)
        price = min(-bought_slope if bought > 0.0 else math.inf, -filled_slope if filled > 0.0 else math.inf)
        if worth > price * (1.0 + 1e-12) and refused < 0:
            refused = t
        row = stages[t]
        row[0], row[1], row[2], row[3] = bought, bought_slope, filled, filled_slope
        row[4], row[5], row[6], row[7] = served, served_slope, beyond, beyond_slope
        row[8], row[9] = (buy if net_kw > 0.0 else sell) * net_kw * h, dc_kw[t] * h
    return refused, plain


@jit
def _room(slopes, widths, head, tail):
    """The slopes in the middle of a buffer that has room for five more at either end."""
    size = len(slopes) if 4 * (tail - head) < len(slopes) else 2 * len(slopes)
    more_slopes, more_widths = np.empty(size), np.empty(size)
    start = (size - (tail - head)) // 2
    for k in range(tail - head):
        more_slopes[start + k], more_widths[start + k] = slopes[head + k], widths[head + k]
    return more_slopes, more_widths, start, start + tail - head


@jit
def fold(stages, rows, floor_kwh, end_kwh, usable_kwh, start_kwh, targets):
    """Fold the cost-to-go from the last step to the first.

    The cost-to-go at the end of a step lives on [lo, usable]; `slopes[head:tail]` and `widths` hold it, `value` is its
    value at lo. One loop, without calls: five times the speed of the same in small functions.

    Parameters
    ----------
    stages : ndarray, shape (any, 10)
    rows : ndarray of int, shape (n_steps,)
        The stage of each step.
    floor_kwh : ndarray, shape (any,)
        Binds the end of each stage's step.
    targets : ndarray, shape (n_steps, 4) or (1, 4)
        Written: every step's thresholds, or the first step's alone.

    Returns
    -------
    lo_kwh, cost : float
        The start, or where it is below the least from which all can be kept that least one, and the cost from there.
    """
    last, final = len(targets) - 1, rows[len(rows) - 1]
    slopes, widths = np.empty(ROOM), np.empty(ROOM)
    head, lo, value = ROOM // 2, max(end_kwh, floor_kwh[final]), 0.0
    slopes[head], widths[head], tail = 0.0, usable_kwh - lo, head + 1
    for t in range(len(rows) - 1, -1, -1):
        row, into = rows[t], min(t, last)
        if head < 4 or tail + 5 > len(slopes):
            slopes, widths, head, tail = _room(slopes, widths, head, tail)
        at, below, least, cut, full = head, lo, lo - stages[row, 9], 0.0, 0.0
        if stages[row, 9] > 0.0:  # DC solar comes first; what is over at the end of the step is spilled
            slopes[tail], widths[tail], tail = 0.0, stages[row, 9], tail + 1
        for piece in range(4):
            width, slope = stages[row, 2 * piece], stages[row, 2 * piece + 1]
            if width <= 0.0:
                targets[into, 3 - piece] = full if piece < 2 else usable_kwh + stages[row, 9]
                continue
            while at < tail and slopes[at] < slope:
                below += widths[at]
                at += 1
            if piece < 2:  # charge where it is worth more than it costs ...
                targets[into, 3 - piece] = full = min(below, usable_kwh)  # whatever rounding adds
                least -= width
                value -= width * slope
            else:
                cut += width
            if at < tail and slopes[at] == slope:
                below += widths[at]
                widths[at] += width
                at += 1
            elif at - head < tail - at:
                for k in range(head, at):
                    slopes[k - 1], widths[k - 1] = slopes[k], widths[k]
                slopes[at - 1], widths[at - 1] = slope, width
                head -= 1
            else:
                for k in range(tail, at, -1):
                    slopes[k], widths[k] = slopes[k - 1], widths[k - 1]
                slopes[at], widths[at] = slope, width
                tail, at = tail + 1, at + 1
            if piece >= 2:  # ... and discharge only where it pays, not where it is all the same
                targets[into, 3 - piece] = min(below, usable_kwh)
        while tail > head and cut >= widths[tail - 1]:
            cut -= widths[tail - 1]
            tail -= 1
        if tail > head:
            widths[tail - 1] -= cut
        lo = max(floor_kwh[rows[t - 1]] if t > 0 else start_kwh, least, 0.0)
        cut = lo - least
        while head < tail and cut >= widths[head]:
            cut -= widths[head]
            value += slopes[head] * widths[head]
            head += 1
        if head < tail:
            widths[head] -= cut
            value += slopes[head] * cut
        value += stages[row, 8]
    return lo, value


@jit
def follow(stages, limit_dc_kwh, start_kwh, usable_kwh, targets, path):
    """Walk the thresholds forward, and pin them to the path where a step that is not split asks for it.

    A walk charges flat out to the utility's threshold before it takes the sun's, and serves whole circuits even where
    the sun already covers a part of them; the optimum of the step's mean may stop between. There the thresholds are
    set to where the optimum ends.

    Parameters
    ----------
    limit_dc_kwh : ndarray, shape (n_steps,)
        What the walk can serve in a step, DC; negative where the pool is in transfer mode. [kWh]
    targets : ndarray, shape (n_steps, 4)
        Changed where the walk needs it.
    path : ndarray, shape (n_steps + 1,)
        Written: stored energy at the start of each step and at the end. [kWh]

    Returns
    -------
    float
        Cost of the path.
    """
    e, cost = start_kwh, 0.0
    path[0] = e
    for t in range(len(stages)):
        row, goal = stages[t], targets[t]
        e += row[9]
        filled = min(max(goal[2] - e, 0.0), row[2])
        bought = min(max(goal[3] - e - filled, 0.0), row[0])
        served = min(max(e - goal[1], 0.0), row[4])
        beyond = min(max(e - served - goal[0], 0.0), row[6])
        cost += row[8] - filled * row[3] - bought * row[1] + served * row[5] + beyond * row[7]
        end = e + filled + bought - served - beyond
        if row[2] > 0.0 and goal[3] > e:
            if bought > 0.0:
                goal[2] = goal[3]
            else:
                goal[3] = e
        if limit_dc_kwh[t] < 0.0:
            if row[4] == 0.0:
                goal[1] = goal[0]
            elif row[4] < -limit_dc_kwh[t] and served + beyond > 0.0:
                goal[1] = end
            goal[0] = usable_kwh + row[9]
        e = min(end, usable_kwh)
        path[t + 1] = e
    return cost


@jit
def roll(stages, day, n_days, floor_kwh, usable_kwh, n_horizon, targets):
    """The first thresholds of a horizon that begins at each step in turn, the year taken as a circle.

    Parameters
    ----------
    stages : ndarray, shape ((n_ahead + 1) * n_steps, 10)
        Each step as foreseen on its own day, the day before, ..., and last as it is when it comes.
    day : ndarray of int, shape (n_steps,)
    floor_kwh : ndarray, shape ((n_ahead + 1) * n_steps,)
    n_horizon : int
        Steps of a horizon.
    targets : ndarray, shape (n_steps, 4)
        Written.
    """
    n = len(day)
    now = len(stages) - n
    rows = np.empty(n_horizon, np.int64)
    for t in range(n):
        rows[0] = now + t
        for k in range(1, n_horizon):
            ahead = t + k if t + k < n else t + k - n
            rows[k] = (day[ahead] - day[t]) % n_days * n + ahead
        fold(stages, rows, floor_kwh, 0.0, usable_kwh, 0.0, targets[t : t + 1])
