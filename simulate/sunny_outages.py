"""Every outage of one pool whose state matters: each is walked until it ends or is full, and full is known already."""

from __future__ import annotations

import math

import numpy as np

from simulate.battery import island_step
from simulate.compiled import jit
from simulate.island import EMPTY, HAND_AFTER_H, HELD_OFF, OVERLOAD
from simulate.walk import _cell

NEVER = -1
TIE = -1
"""Instead of a reason: rounding decides what comes first, so the walk has to say it."""
TIE_KWH = 1e-9


@jit
def _net_kwh(series, hand, cell, h):
    """What each step adds to the cells once solar is back, before floor and full. [kWh]"""
    load, solar, dc, may_charge = series
    net = np.zeros(solar.shape[0])
    for t in range(solar.shape[0]):
        kw = load[1 if hand[t] else 0, t]
        out_kw = max(kw - solar[t], 0.0) / cell.discharge_efficiency + cell.no_load_kw
        dc_kw = dc[t] if may_charge[t] > 0.0 else min(dc[t], out_kw)
        back_kw = min(max(solar[t] - kw, 0.0), cell.takes_back_kw) * may_charge[t]
        net[t] = (back_kw * cell.charge_efficiency + dc_kw - out_kw) * h
    return net


@jit
def _glide(start, stop, e, wait_h, given, floor, full, h, known):
    """Steps that hold no wait of solar, with one addition each: where they end, as `_follow`, and the energy there.

    The reason is 0 where the next step has to be cut in two for the wait.
    """
    solar, net, next_trip = given[0][1], given[3], given[4]
    lasts = min(stop, next_trip[start])
    for t in range(start, lasts):
        if wait_h > 0.0:
            return t, 0.0, 0, e
        after = e + net[t]
        if net[t] < 0.0 and after < floor + TIE_KWH:
            if after > floor - TIE_KWH:
                return t, 0.0, TIE, e
            return t, max(e - floor, 0.0) / (-net[t]) * h, EMPTY, e
        e = after
        if e >= full:
            e = full
            if t + 1 < stop:
                return int(known[t + 1, 0]), known[t + 1, 1], int(known[t + 1, 2]), e
    return (lasts, 0.0, OVERLOAD, e) if lasts < stop else (NEVER, 0.0, 0, e)


@jit
def _one_step(t, by_hand, e, wait_h, series, floor, cell, h):
    """One step of one pool that serves: energy at its end, what is left of solar's wait, and the time it went dark.

    The time is infinite where it did not; the last value says why. As `island._part`, for a pool with none beside it.
    """
    load, solar, dc, may_charge = series
    left, kw, sunny = h, load[by_hand, t], solar[t] > 0.0
    while left > 0.0:
        waits = wait_h > 0.0
        stretch = min(left, wait_h) if waits else left
        sun_kw = solar[t] if sunny and not waits else 0.0
        e, served_h, _, _ = island_step(e, floor, kw, sun_kw, dc[t], may_charge[t], cell, stretch)
        if served_h < stretch:
            return e, wait_h, h - left + served_h, HELD_OFF if waits and sunny and solar[t] >= kw else EMPTY
        if waits:
            wait_h = max(wait_h - stretch, 0.0)
        left -= stretch
        if left < 1e-13:
            left = 0.0
    return e, wait_h, math.inf, 0


@jit
def _follow(first, start, stop, e, wait_h, given, floor, cell, h, known):
    """Walk from step `start` to what ends it or to full: (step, time in it, why); step NEVER where nothing does.

    `first` is where the outage began; nobody switches anything off by hand in its first half hour.
    """
    series, trips, hand, glides = given[0], given[1], given[2], given[5]
    t = start
    while t < stop:
        settled = (t - first) * h >= HAND_AFTER_H - 1e-12
        if glides and settled:
            step, at_h, why, e = _glide(t, stop, e, wait_h, given, floor, cell.usable_kwh, h, known)
            if why != 0 or step == NEVER:
                return step, at_h, why
            t = step
        by_hand = 1 if hand[t] and settled else 0
        if trips[by_hand, t]:
            return t, 0.0, OVERLOAD
        e, wait_h, at_h, why = _one_step(t, by_hand, e, wait_h, series, floor, cell, h)
        if why != 0:
            return t, at_h, why
        t += 1
        settled = wait_h <= 0.0 and (t - first) * h >= HAND_AFTER_H - 1e-12
        if settled and e >= cell.usable_kwh and t < stop:
            return int(known[t, 0]), known[t, 1], int(known[t, 2])
    return NEVER, 0.0, 0


@jit
def _ends_from_full(n_steps, given, floor, cell, h, known):
    """Fill `known`: how an outage that is full at the start of each step, solar back already, ends."""
    begun_long_ago = -1 - int(HAND_AFTER_H / h)
    for t in range(n_steps - 1, -1, -1):
        step, at_h, why = _follow(t + begun_long_ago, t, n_steps, cell.usable_kwh, 0.0, given, floor, cell, h, known)
        known[t, 0], known[t, 1], known[t, 2] = step, at_h, why


@jit
def every_sunny_end(
    begin, soc, load, solar, dc, may_charge, trips, next_trip, sheds, hand, cells, how, dark, shed, why, end_h, walked
):
    """Outages of one pool from every start: fills `dark`, `shed`, `why` and `end_h`, and marks what is to be walked.

    `how` is (step, horizon, steps followed, reconnect); `next_trip` is the next step that trips by people's hand.
    """
    h, horizon_h, n_followed, reconnect_h = how
    n_steps, cell = solar.shape[0], _cell(cells, 0)
    series = (load, solar, dc, may_charge)
    glides = cell.taper_to_frac >= 1.0 or cell.taper_from_kwh >= cell.usable_kwh
    given = (series, trips, hand, _net_kwh(series, hand, cell, h), next_trip, glides)
    known = np.zeros((n_steps, 3))
    _ends_from_full(n_steps, given, cell.restart_kwh, cell, h, known)
    for k in range(begin.shape[0]):
        first = begin[k]
        last = min(first + n_followed, n_steps)
        floor = cell.restart_kwh
        step, at_h, reason = _follow(first, first, n_steps, soc[k], reconnect_h, given, floor, cell, h, known)
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
        while t < until:
            by_hand = 1 if hand[t] and (t - first) * h >= HAND_AFTER_H - 1e-12 else 0
            if sheds[by_hand, t]:
                shed[k, 0] = (t - first) * h
                break
            t += 1
