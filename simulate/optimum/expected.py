"""Expected cost-to-go, compiled: chains of past days folded back from the end of a horizon, averaged hour by hour.

Each chain is one scenario: the hours of today and of some days after it, as past days were, at the prices ahead. Its
cost-to-go is convex and piecewise linear in the stored energy (`convex.fold`), so the mean of several is. What a step
does is read off the mean's slopes: charge below the point where one more kWh is worth what it costs, serve down to the
point where one kWh less costs what it saves.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from simulate.physics.compiled import jit
from simulate.physics.step import dc_per_served

N_CELLS = 128
"""Equal parts between floor and full in which the mean slope is kept; thresholds lie on their bounds."""

MUST = 1e4
"""Slope below the least from which later floors can be kept: charge, whatever it costs. [money/kWh]"""

TIE = 1e-7
"""Slopes so near are equal: then charge early, and serve: what is held may find no room later. [money/kWh]"""

LOAD, SOLAR, REACH, CHARGE, DC, FLOOR, CAP = range(7)
"""Rows of `series`."""

SLOPE, WIDTH = 0, 1
"""Rows of what is held: slopes that rise, and how far each goes. [money/kWh], [kWh]"""

N_PIECES = 6
"""Of a step: bought, filled from surplus, served, sent beyond the house, served over the cap, solar on the cells."""


class Chains(NamedTuple):
    """Past days laid on the days ahead.

    Attributes
    ----------
    picks : ndarray of int, shape (2, n_days, n_chains, n_ahead)
        Past day from which each day of each chain takes its load, and its sun; -1 where there are fewer chains.
    weights : ndarray, shape (n_steps, n_chains)
        Of each chain in each step, adding to 1; a step without any is left as it is.
    first : ndarray of int, shape (n_days + 1,)
        First step of each day, and the end.
    slot : ndarray of int, shape (n_steps,)
    table : ndarray of int, shape (n_days, n_slots)
        Step of each day and slot.
    """

    picks: np.ndarray
    weights: np.ndarray
    first: np.ndarray
    slot: np.ndarray
    table: np.ndarray


class Terms(NamedTuple):
    """What holds in every step.

    Attributes
    ----------
    wear_per_kwh, over_per_kwh : float
        Wear of a kWh DC that is discharged, and what a kWh over the cap costs. [money/kWh]
    step_h : float
    parallel, export, from_utility : bool
        Works in parallel; then may export; the utility may charge.
    """

    wear_per_kwh: float
    over_per_kwh: float
    step_h: float
    parallel: bool
    export: bool
    from_utility: bool


@jit
def expected_targets(series, chains, prices, terms, cell, targets):
    """Write the thresholds of every step that has a weight, of the days that have a chain.

    Parameters
    ----------
    series : ndarray, shape (7, n_steps)
        Rows `LOAD` to `DC` as they came; floor at the end of each step [kWh]; cap on its import [kW].
    chains : Chains
    prices : ndarray, shape (2, n_ahead, n_steps)
        Buy and sell price of each step as seen so many days before; NaN: that of the past day. [money/kWh]
    terms : Terms
    cell : Cell
    targets : ndarray, shape (n_steps, 4)
    """
    picks, weights, first, slot, table = chains
    _, n_days, n_chains, n_ahead = picks.shape
    n_steps, n_slots = series.shape[1], table.shape[1] + 1
    size = 2 * N_PIECES * n_ahead * n_slots + 64
    held, pieces = np.empty((2, size)), np.empty((2, N_PIECES))
    mean = np.empty((n_slots, N_CELLS + 1))
    for day in range(n_days):
        if picks[0, day, 0, 0] < 0:
            continue
        n_today = first[day + 1] - first[day]
        mean[:n_today] = 0.0
        for chain in range(n_chains):
            if picks[0, day, chain, 0] < 0:
                break
            head, tail = size // 2, size // 2 + 1
            lo = series[FLOOR, first[(day + n_ahead - 1) % n_days + 1] - 1]
            held[SLOPE, head], held[WIDTH, head] = 0.0, cell.usable_kwh - lo
            for ahead in range(n_ahead - 1, -1, -1):
                that = (day + ahead) % n_days
                as_day, sunny = picks[0, day, chain, ahead], picks[1, day, chain, ahead]
                for k in range(first[that + 1] - first[that] - 1, -1, -1):
                    t = first[that] + k
                    if ahead == 0 and weights[t, chain] > 0.0:
                        span = (lo, series[FLOOR, t], cell.usable_kwh)
                        _add_slopes(mean, k, weights[t, chain], held, head, tail, span)
                    a, b = table[as_day, slot[t]], table[sunny, slot[t]]
                    buy, sell = prices[0, ahead, t], prices[1, ahead, t]
                    if math.isnan(buy):
                        buy, sell = prices[0, 0, a], prices[1, 0, a]
                    _write_pieces(series, a, b, series[CAP, t], (buy, sell), terms, cell, pieces)
                    before = series[FLOOR, t - 1] if t > 0 else series[FLOOR, n_steps - 1]
                    head, tail, lo = _step_back(held, head, tail, lo, before, pieces)
        for k in range(n_today):
            t = first[day] + k
            if weights[t, 0] > 0.0:
                now = (prices[0, 0, t], prices[1, 0, t])
                _read_thresholds(mean[k], series[FLOOR, t], now, series[REACH, t], terms, cell, targets[t])


@jit
def _write_pieces(series, a, b, cap_kw, prices, terms, cell, pieces):
    """The pieces of a step with the load of step `a` and the sun of step `b`."""
    wear, per_kwh_over, h, parallel, export, from_utility = terms
    buy, sell = prices[0], min(prices[1], prices[0])
    reach = min(series[REACH, a], cell.discharge_kw)
    inverts = cell.discharge_kw if parallel else reach
    gain = 1.0 + cell.on_grid_kw / inverts if inverts > 0.0 else 1.0
    eta = 1.0 / dc_per_served(inverts, cell.dc_per_ac, cell.no_load_kw)
    net = series[LOAD, a] - series[SOLAR, b] + cell.on_grid_kw
    dc = series[DC, b] * h
    most = cell.usable_kwh + dc
    most_kw = reach
    if parallel:
        most_kw = cell.discharge_kw if export else min(cell.discharge_kw, max(net, 0.0) / gain)
    offset = min(max(net, 0.0) / gain, most_kw)
    over = min(max(net - cap_kw, 0.0) / gain, offset)
    most_in = min(series[CHARGE, a] * h * cell.charge_efficiency, most)
    filled = min(max(-net, 0.0) * h * cell.charge_efficiency, most_in)
    room = max(cap_kw - max(net, 0.0), 0.0) * h * cell.charge_efficiency
    per_kwh, at_meter = 1.0 / cell.charge_efficiency, eta * gain
    _put(pieces, 0, min(most_in - filled, room) if from_utility else 0.0, -buy * per_kwh)
    _put(pieces, 1, filled, -sell * per_kwh)
    _put(pieces, 2, min((offset - over) * h / eta, most), wear - buy * at_meter)
    _put(pieces, 3, min((most_kw - offset) * h / eta, most), wear - sell * at_meter)
    _put(pieces, 4, min(over * h / eta, most), wear - (buy + per_kwh_over) * at_meter)
    _put(pieces, 5, dc, 0.0)
    if pieces[WIDTH, 3] < 1e-12 * most:
        pieces[WIDTH, 3] = 0.0
    for i in range(2, 5):
        if pieces[SLOPE, i] >= 0.0:
            pieces[WIDTH, i] = 0.0
        for j in range(2):  # charging and serving at once is none: where it would pay both are made equal
            if pieces[WIDTH, j] > 0.0 and i < 4 and pieces[SLOPE, i] < pieces[SLOPE, j]:
                pieces[SLOPE, i] = pieces[SLOPE, j]


@jit
def _put(pieces, i, width, slope):
    pieces[WIDTH, i], pieces[SLOPE, i] = width, slope


@jit
def _step_back(held, head, tail, lo_kwh, floor_kwh, pieces):
    """Infimal convolution of the cost-to-go with a step's pieces, cut to the floor before it; the new bounds."""
    least, cut = lo_kwh, 0.0
    for piece in range(N_PIECES):
        if pieces[WIDTH, piece] <= 0.0:
            continue
        if piece < 2 or piece == 5:
            least -= pieces[WIDTH, piece]
        else:
            cut += pieces[WIDTH, piece]
        at = head
        while at < tail and held[SLOPE, at] < pieces[SLOPE, piece] - 1e-12:
            at += 1
        if at < tail and held[SLOPE, at] <= pieces[SLOPE, piece] + 1e-12:
            held[WIDTH, at] += pieces[WIDTH, piece]
        elif at - head < tail - at:
            for i in range(head, at):
                held[SLOPE, i - 1], held[WIDTH, i - 1] = held[SLOPE, i], held[WIDTH, i]
            head -= 1
            held[SLOPE, at - 1], held[WIDTH, at - 1] = pieces[SLOPE, piece], pieces[WIDTH, piece]
        else:
            for i in range(tail, at, -1):
                held[SLOPE, i], held[WIDTH, i] = held[SLOPE, i - 1], held[WIDTH, i - 1]
            held[SLOPE, at], held[WIDTH, at] = pieces[SLOPE, piece], pieces[WIDTH, piece]
            tail += 1
    while tail > head and cut >= held[WIDTH, tail - 1]:
        cut -= held[WIDTH, tail - 1]
        tail -= 1
    if tail > head:
        held[WIDTH, tail - 1] -= cut
    lo = max(floor_kwh, least)
    cut = lo - least
    while head < tail and cut >= held[WIDTH, head]:
        cut -= held[WIDTH, head]
        head += 1
    if head < tail:
        held[WIDTH, head] -= cut
    if head < N_PIECES or tail > held.shape[1] - N_PIECES:
        head, tail = _centre(held, head, tail)
    return head, tail, lo


@jit
def _centre(held, head, tail):
    """Move the slopes back to the middle of their buffer."""
    start = (held.shape[1] - (tail - head)) // 2
    kept = held[:, head:tail].copy()
    held[:, start : start + tail - head] = kept
    return start, start + tail - head


@jit
def _add_slopes(means, row, weight, held, head, tail, span):
    """Add one chain's slopes to the mean, as differences from cell to cell; the last entry is beyond full."""
    mean, (lo_kwh, floor_kwh, usable_kwh) = means[row], span
    per_kwh = N_CELLS / (usable_kwh - floor_kwh) if usable_kwh > floor_kwh else 0.0
    mean[0] -= weight * MUST
    at, before = max(lo_kwh - floor_kwh, 0.0), -MUST
    for i in range(head, tail):
        x = min(at * per_kwh, float(N_CELLS))
        k = int(x)
        part = x - k
        if i == head and part > 0.0:  # the floor that is needed is rounded up
            k, part = min(k + 1, N_CELLS), 0.0
        jump = weight * (held[SLOPE, i] - before)
        mean[k] += jump * (1.0 - part)
        if part > 0.0:
            mean[k + 1] += jump * part
        before = held[SLOPE, i]
        at += held[WIDTH, i]


@jit
def _read_thresholds(mean, floor_kwh, prices, reach_kw, terms, cell, target):
    """From the mean's slopes to the thresholds of one step."""
    buy, sell = prices[0], min(prices[1], prices[0])
    wear_per_kwh, _, _, parallel, export, from_utility = terms
    inverts = cell.discharge_kw if parallel else min(reach_kw, cell.discharge_kw)
    gain = 1.0 + cell.on_grid_kw / inverts if inverts > 0.0 else 1.0
    eta = 1.0 / dc_per_served(inverts, cell.dc_per_ac, cell.no_load_kw)
    buys, fills = -buy / cell.charge_efficiency, -sell / cell.charge_efficiency
    serves, sends = wear_per_kwh - buy * eta * gain, wear_per_kwh - sell * eta * gain
    slope, n_buy, n_fill, n_serve, n_send = 0.0, 0, 0, 0, 0
    for i in range(N_CELLS):
        slope += mean[i]
        n_buy += slope <= buys + TIE and (slope < -TIE or buy < 0.0)
        n_fill += slope <= fills + TIE
        n_serve += slope < serves - TIE
        n_send += slope < sends - TIE
    full, one = cell.usable_kwh, (cell.usable_kwh - floor_kwh) / N_CELLS
    target[3] = min(floor_kwh + n_buy * one, full) if from_utility else 0.0
    target[2] = max(min(floor_kwh + n_fill * one, full), target[3])
    target[1] = max(min(floor_kwh + n_serve * one, full) if serves < 0.0 else full, target[3])
    target[0] = max(min(floor_kwh + n_send * one, full) if export and sends < 0.0 else full, target[1])
