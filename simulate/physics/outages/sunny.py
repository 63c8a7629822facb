"""Every outage of one pool whose state matters: a walk between floor and full, and from full its end is known already.

Once solar is back and people have switched off what they can, the stored energy is the sum of what each step adds, as
long as it stays between floor and full. The step in which it leaves is sought over the lowest and highest sums of 8 and
of 64 steps. An outage that is full goes on as any other that is full there.
"""

from __future__ import annotations

import math
from collections import namedtuple

import numpy as np

from simulate.physics.compiled import jit, jit_inside
from simulate.physics.meter_step import cell_at
from simulate.physics.outage_walk import EMPTY, HAND_AFTER_H, HELD_OFF, OVERLOAD
from simulate.physics.step import island_step, lasts_h, net_in_kw

NEVER = -1
TIE = -1
"""Instead of a reason: rounding decides what comes first, so the walk has to say it."""
TIE_KWH = 1e-9
SHORT, LONG = 8, 64
"""Sums in a stretch whose lowest and highest are kept."""
LOAD, SOLAR, ON_CELLS, MAY_CHARGE, SUMS = 0, 2, 3, 4, 5
"""Rows of the series: load before and after hands have done their work, solar, solar on the cells, whether the cells
may be charged, and what the steps before have added. One array, since every array that a small function takes out of a
tuple costs it as much as its work."""
TRIPS, HAND, NEXT_TRIP = 0, 2, 3
"""Rows of the marks: overload before and after hands, people are up, and the next overload after hands."""
LEAST_KW = 1e-3
"""A slower drain is left to the walk: rounding of the sums would be seconds of it."""

Times = namedtuple("Times", "step_h horizon_h n_followed reconnect_h")
Limits = namedtuple("Limits", "floor_kwh ceiling_kwh plain by_hand h")
"""Between floor and ceiling the sums tell all (`plain`); people switch off by hand."""
LOW, HIGH = 0, 1
"""Rows of the extremes over short stretches, then over long ones."""


@jit
def sum_up(series, marks, cell, h):
    """Fill the row of what the steps add to the cells from the first on, floor and full aside. [kWh]

    Solar is back and hands have done their work. The sums carry a second float. False where the taper's limit also
    holds back solar that carries the load itself: such steps are no sum.
    """
    rest, plain, whole = 0.0, True, 0.0
    tapers = cell.taper_to_frac < 1.0 and cell.taper_from_kwh < cell.usable_kwh
    for t in range(series.shape[1] - 1):
        kw, sun_kw, dc_kw = series[LOAD + marks[HAND, t], t], series[SOLAR, t], series[ON_CELLS, t]
        back_kw, dc_kw, out_kw = net_in_kw(kw, sun_kw, dc_kw, series[MAY_CHARGE, t], cell)
        in_kw = back_kw + dc_kw
        if tapers and in_kw >= out_kw and in_kw > cell.charge_kw * cell.charge_efficiency:
            plain = False
        part = (in_kw - out_kw) * h
        more = whole + part
        back = more - whole
        rest += (whole - (more - back)) + (part - back)
        whole = more
        series[SUMS, t + 1] = whole + rest
    return plain


@jit
def extremes(sums):
    """Lowest and highest of each short stretch of sums, and of each long one, shape (4, n_short)."""
    out = np.empty((4, -(-sums.shape[0] // SHORT)))
    for k in range(2):
        n = LONG if k else SHORT
        for b in range(-(-sums.shape[0] // n)):
            part = sums[b * n : (b + 1) * n]
            out[2 * k + LOW, b], out[2 * k + HIGH, b] = part.min(), part.max()
    return out


@jit_inside
def leaves(first, stop, low, high, series, ends):
    """The first step from `first` to before `stop` that ends below `low` or at `high`; `stop` where there is none."""
    i, last = first + 1, stop + 1
    while i < last:
        if i % SHORT == 0:
            if i % LONG == 0 and ends[2 + LOW, i // LONG] >= low and ends[2 + HIGH, i // LONG] < high:
                i += LONG
                continue
            if ends[LOW, i // SHORT] >= low and ends[HIGH, i // SHORT] < high:
                i += SHORT
                continue
        end = min((i // SHORT + 1) * SHORT, last)
        while i < end:
            if series[SUMS, i] < low or series[SUMS, i] >= high:
                return i - 1
            i += 1
    return stop


@jit_inside
def _glide(span, e, series, marks, ends, limits):
    """From step `start` to what ends it or to the ceiling: step, time in it, why, and the energy at the step's start.

    The reason is 0 where the ceiling is met within the step, or where nothing ends it: then the step is `stop`.
    """
    start, stop = span
    floor, ceiling, h = limits.floor_kwh, limits.ceiling_kwh, limits.h
    at = series[SUMS, start]
    if e < floor + TIE_KWH:  # nothing to lose: dark as soon as a step takes any
        return start, 0.0, TIE if at - series[SUMS, start + 1] > -TIE_KWH else 0, e
    low, high = at - (e - floor) + TIE_KWH, at + (ceiling - e)
    m = min(leaves(start, stop, low, high, series, ends), stop)
    trip = marks[NEXT_TRIP, start]
    if trip <= m and trip < stop:
        return trip, 0.0, OVERLOAD, e
    if m >= stop:
        return stop, 0.0, 0, e
    held, taken = e + (series[SUMS, m] - at), series[SUMS, m] - series[SUMS, m + 1]
    if e + (series[SUMS, m + 1] - at) >= ceiling:
        return m, 0.0, 0, held
    if held - floor > taken - TIE_KWH or taken < LEAST_KW * h or held - floor < TIE_KWH:
        return m, 0.0, TIE, held
    return m, lasts_h(held - floor, taken) * h, EMPTY, held


@jit_inside
def one_step(t, by_hand, e, wait_h, series, floor, cell, h):
    """One step of one pool that serves: energy at its end, what is left of solar's wait, and the time it went dark.

    The time is infinite where it did not; the last value says why. As `island._part`, for a pool with none beside it.
    """
    left, kw, sunny = h, series[LOAD + by_hand, t], series[SOLAR, t] > 0.0
    while left > 0.0:
        waits = wait_h > 0.0
        stretch = min(left, wait_h) if waits else left
        sun_kw = series[SOLAR, t] if sunny and not waits else 0.0
        dc_kw, may_charge = series[ON_CELLS, t], series[MAY_CHARGE, t]
        e, served_h, _, _ = island_step(e, floor, kw, sun_kw, dc_kw, may_charge, cell, stretch)
        if served_h < stretch:
            return e, wait_h, h - left + served_h, HELD_OFF if waits and sunny and series[SOLAR, t] >= kw else EMPTY
        if waits:
            wait_h = max(wait_h - stretch, 0.0)
        left -= stretch
        if left < 1e-13:
            left = 0.0
    return e, wait_h, math.inf, 0


@jit_inside
def follow(span, e, wait_h, series, marks, ends, how, known):
    """Walk from step `start` to what ends it or to full: (step, time in it, why); step NEVER where nothing does.

    `span` is (step at which the outage began, `start`, `stop`, the step beyond which it is known how an outage goes on
    from full); nobody switches anything off by hand in its first half hour. `how` is (`Limits`, `Cell`), `ends` the
    extremes of the sums.
    """
    first, start, stop, known_from = span
    limits, cell = how
    h = limits.h
    floor, ceiling = limits.floor_kwh, limits.ceiling_kwh
    t = start
    while t < stop:
        settled = wait_h <= 0.0 and (not limits.by_hand or (t - first) * h >= HAND_AFTER_H - 1e-12)
        if settled and e >= cell.usable_kwh and t > known_from:
            return int(known[0, t]), known[1, t], int(known[2, t])
        if limits.plain and settled and e <= ceiling:
            t, at_h, why, e = _glide((t, stop), e, series, marks, ends, limits)
            if why != 0:
                return t, at_h, why
            if t >= stop:
                break
            if ceiling >= cell.usable_kwh and e >= floor + TIE_KWH:  # full at the end of this step
                if t + 1 >= stop:
                    break
                return int(known[0, t + 1]), known[1, t + 1], int(known[2, t + 1])
        by_hand = 1 if marks[HAND, t] and (t - first) * h >= HAND_AFTER_H - 1e-12 else 0
        if marks[TRIPS + by_hand, t]:
            return t, 0.0, OVERLOAD
        e, wait_h, at_h, why = one_step(t, by_hand, e, wait_h, series, floor, cell, h)
        if why != 0:
            return t, at_h, why
        t += 1
    return NEVER, 0.0, 0


@jit
def ends_from_full(series, marks, ends, how, known):
    """Fill `known`: how an outage that is full at the start of each step, solar back already, ends.

    Full again is the next sum that is no lower; where the lowest until then stays above the floor, the end is the one
    that is known there. Sums in between are passed over in the leaps of the steps after. Returns those next sums.
    """
    limits, cell = how
    floor = limits.floor_kwh
    n_steps, leaps = known.shape[1], limits.plain and limits.ceiling_kwh >= cell.usable_kwh
    again, lowest = np.full(n_steps + 1, n_steps + 1), np.full(n_steps + 1, math.inf)
    begun_long_ago = -1 - int(HAND_AFTER_H / limits.h)
    for t in range(n_steps - 1, -1, -1):
        at, j, low = series[SUMS, t], t + 1, series[SUMS, t + 1]
        while leaps and j <= n_steps and series[SUMS, j] < at:
            low, j = min(low, lowest[j]), again[j]
        again[t], lowest[t] = j, low
        if leaps and cell.usable_kwh + (low - at) >= floor + TIE_KWH and marks[NEXT_TRIP, t] >= min(j, n_steps):
            for k in range(3):
                known[k, t] = known[k, j] if j < n_steps else 0.0
            known[0, t] = known[0, t] if j < n_steps else NEVER
            continue
        span = (t + begun_long_ago, t, n_steps, t)
        known[0, t], known[1, t], known[2, t] = follow(span, cell.usable_kwh, 0.0, series, marks, ends, how, known)
    return again


@jit
def every_sunny_end(begin, soc, series, marks, sheds, cells, times, found):
    """Outages of one pool from every start: fills `found` (`sums.Found`), and marks there what is to be walked.

    `sheds` is whether load control drops a circuit in each step before people's hands have done their work, and the
    next step that does after.
    """
    h, horizon_h, n_followed, reconnect_h = times
    dark, shed, why, end_h, walked = found
    n_steps, cell = series.shape[1] - 1, cell_at(cells, 0)
    tapers = cell.taper_to_frac < 1.0 and cell.taper_from_kwh < cell.usable_kwh
    ceiling, floor = cell.taper_from_kwh if tapers else cell.usable_kwh, cell.restart_kwh
    limits = Limits(floor, ceiling, sum_up(series, marks, cell, h), marks[HAND].any(), h)
    how, ends, known = (limits, cell), extremes(series[SUMS]), np.zeros((3, n_steps))
    ends_from_full(series, marks, ends, how, known)
    for k in range(begin.shape[0]):
        first = begin[k]
        last = min(first + n_followed, n_steps)
        step, at_h, reason = follow((first, first, n_steps, -1), soc[k], reconnect_h, series, marks, ends, how, known)
        if reason == TIE:
            walked[k] = True
            continue
        ends_h = (step - first) * h + at_h
        is_dark = step != NEVER and step < last and ends_h < horizon_h
        end_h[k] = min((last - first) * h, horizon_h)
        until = last
        if is_dark:
            dark[k, 0], why[k, 0] = ends_h, reason
            end_h[k] = min((step - first + 1) * h, horizon_h)
            until = step if reason == OVERLOAD else step + 1
        t = first
        while t < until and (t - first) * h < HAND_AFTER_H - 1e-12 and not sheds[0, t]:
            t += 1
        t = sheds[1, t] if t < until and (t - first) * h >= HAND_AFTER_H - 1e-12 else t
        if t < until:
            shed[k, 0] = (t - first) * h
