"""Every outage of two pools whose state matters: sun on the island, or load control by hand.

While both serve, each goes its own way between floor and full, since sun and load are parted between them. The first
that goes dark takes the sun with it, and the other goes on alone from what it then holds. Both stretches are sought as
for one pool (`sunny_outages`). Left to the walk: what happens before solar is back and hands have done their work, two
events at once, trips that do not latch.
"""

from __future__ import annotations

import math

import numpy as np

from simulate.physics.compiled import jit, jit_inside
from simulate.physics.meter_step import cell_at
from simulate.physics.outage_walk import HAND_AFTER_H, OVERLOAD
from simulate.physics.outages.sunny import (
    HAND,
    NEVER,
    SHORT,
    SUMS,
    TIE,
    TRIPS,
    Limits,
    ends_from_full,
    extremes,
    follow,
    leaves,
    one_step,
    sum_up,
)

PAIR, ALONE = 0, 1
TIE_H = 1e-7
"""Two events as close as this are left to the walk."""


@jit_inside
def _held_at(span, e, full, series, again, ends):
    """Energy at the start of a later step, on a way that does not meet the floor before. [kWh]"""
    t, step = span
    at = series[SUMS, t]
    j = leaves(t, step, -math.inf, at + (full - e), series, ends)
    if j >= step:
        return e + (series[SUMS, step] - at)
    j += 1
    while again[j] <= step:
        j = again[j]
    return full + (series[SUMS, step] - series[SUMS, j])


@jit
def _note_shed(first, start, until, next_shed, h, shed, p):
    m = next_shed[start]
    if m <= until:
        shed[p] = min(shed[p], (m - first) * h)


@jit
def _prepare(series, marks, ends, cells, h, known, again):
    """Fill sums, their extremes and the ends from full of each pool, beside the other and alone."""
    for a in range(2):
        for p in range(2):
            cell, own = cell_at(cells, p), series[a, p]
            sum_up(own, marks[a, p], cell, h)
            ends[a, p] = extremes(own[SUMS])
            how = (Limits(0.0, cell.usable_kwh, True, marks[a, p, HAND].any(), h), cell)
            again[a, p] = ends_from_full(own, marks[a, p], ends[a, p], how, known[a, p])


@jit
def every_pair_end(begin, soc, series, marks, sheds, cells, times, found):
    """Outages of two pools from every start: fills `found` (`sums.Found`), and marks there what is to be walked.

    `series` and `marks` are those of `sunny`, by (beside the other or alone, pool); `sheds` is the next step in which
    load control drops a circuit once hands have done their work, shape (2, 2, n), and whether it does before, shape
    (2, n). A trip latches.
    """
    h, horizon_h, n_followed, reconnect_h = times
    next_shed, early_shed = sheds
    dark, shed, why, end_h, walked = found
    n_steps = series.shape[3] - 1
    again = np.zeros((2, 2, n_steps + 1), np.int64)
    ends, known = np.empty((2, 2, 4, -(-(n_steps + 1) // SHORT))), np.zeros((2, 2, 3, n_steps))
    _prepare(series, marks, ends, cells, h, known, again)
    by_people = marks[0, 0, HAND].any()
    e, step, at_h, reason = np.zeros(2), np.zeros(2, np.int64), np.zeros(2), np.zeros(2, np.int64)
    for k in range(begin.shape[0]):
        first = begin[k]
        last = min(first + n_followed, n_steps)
        end_h[k] = min((last - first) * h, horizon_h)
        t, wait_h, early = first, reconnect_h, False
        e[0], e[1] = soc[0, k], soc[1, k]
        while t < last and not early and (wait_h > 0.0 or (by_people and (t - first) * h < HAND_AFTER_H - 1e-12)):
            by_hand = 1 if marks[0, 0, HAND, t] and (t - first) * h >= HAND_AFTER_H - 1e-12 else 0
            left_h = wait_h
            for p in range(2):
                early = early or marks[PAIR, p, TRIPS + by_hand, t] > 0
                early = early or (next_shed[PAIR, p, t] == t if by_hand else early_shed[p, t])
                e[p], left_h, _, why_p = one_step(t, by_hand, e[p], wait_h, series[PAIR, p], 0.0, cell_at(cells, p), h)
                early = early or why_p != 0
            wait_h = left_h
            t += 1
        if early:
            walked[k] = True
            continue
        if t >= last:
            continue
        for p in range(2):
            cell = cell_at(cells, p)
            how = (Limits(0.0, cell.usable_kwh, True, by_people, h), cell)
            given = (series[PAIR, p], marks[PAIR, p], ends[PAIR, p], how, known[PAIR, p])
            step[p], at_h[p], reason[p] = follow((first, t, n_steps, t - 1), e[p], 0.0, *given)
            if step[p] == NEVER:
                step[p] = n_steps
        who = 0 if step[0] < step[1] or (step[0] == step[1] and at_h[0] <= at_h[1]) else 1
        other, m = 1 - who, step[who]
        if m >= last or (m - first) * h + at_h[who] >= horizon_h:
            for p in range(2):
                _note_shed(first, t, last - 1, next_shed[PAIR, p], h, shed[k], p)
            walked[k] = (m < last and reason[who] == TIE) or (reason[other] == TIE and step[other] < last)
            continue
        if reason[who] == TIE or (m == step[other] and abs(at_h[0] - at_h[1]) < TIE_H):
            walked[k] = True
            continue
        trip = reason[who] == OVERLOAD
        cell = cell_at(cells, other)
        held = _held_at((t, m), e[other], cell.usable_kwh, series[PAIR, other], again[PAIR, other], ends[PAIR, other])
        for p in range(2):
            _note_shed(first, t, m - 1 if trip else m, next_shed[PAIR, p], h, shed[k], p)
        dark[k, who], why[k, who] = (m - first) * h + at_h[who], reason[who]
        now, rest_h = m, 0.0
        if not trip:  # what is left of the step is carried alone
            part = at_h[who] / h
            held = min(held + (series[PAIR, other, SUMS, m + 1] - series[PAIR, other, SUMS, m]) * part, cell.usable_kwh)
            rest_h = h - at_h[who]
            taken = (series[ALONE, other, SUMS, m] - series[ALONE, other, SUMS, m + 1]) / h
            now = m + 1
            if abs(held - taken * rest_h) < 1e-9:
                walked[k] = True
                continue
            if taken * rest_h > held:
                dark[k, other], why[k, other] = (m - first) * h + at_h[who] + max(held, 0.0) / taken, 1
                if dark[k, other] >= horizon_h:
                    dark[k, other], why[k, other] = math.inf, 0
                end_h[k] = min((m - first + 1) * h, horizon_h)
                continue
            held = min(held - taken * rest_h, cell.usable_kwh)
        if now >= last:
            continue
        how = (Limits(0.0, cell.usable_kwh, True, by_people, h), cell)
        given = (series[ALONE, other], marks[ALONE, other], ends[ALONE, other], how, known[ALONE, other])
        stops, at, because = follow((first, now, n_steps, now - 1), held, 0.0, *given)
        if because == TIE:
            walked[k] = True
            continue
        until = last - 1
        if stops != NEVER and stops < last and (stops - first) * h + at < horizon_h:
            dark[k, other], why[k, other] = (stops - first) * h + at, because
            end_h[k] = min((stops - first + 1) * h, horizon_h)
            until = stops - 1 if because == OVERLOAD else stops
        _note_shed(first, now, until, next_shed[ALONE, other], h, shed[k], other)
