"""Every outage at once by shorter routes than a walk from every start, wherever the outcome is the same."""

from __future__ import annotations

from collections import namedtuple
from math import ceil, inf

import numpy as np

from simulate.physics.compiled import jit, jit_inside
from simulate.physics.outage_walk import EMPTY, OVERLOAD
from simulate.physics.outages.island import Dark, cells_of, dark_hours, ends_of
from simulate.physics.outages.sunny import Times, every_sunny_end
from simulate.physics.outages.sunny_pairs import every_pair_end
from simulate.physics.step import drain_kw, lasts_h

PAIR, ALONE = 0, 1
TIE_KWH = 1e-9
"""Energy that is as good as none: which of two things comes first is then left to the walk."""
SHARP_KW = 1e-3
"""A drain of which `TIE_KWH` is no more than milliseconds."""

Sums = namedtuple("Sums", "rates_kw drain_kwh rest_kwh next_trip next_shed trips")
"""By (beside the other or alone, pool, step): drain, its running sum and the sum's rounding, the next step that trips
or drops a circuit, and whether it trips. Of one pool alone the first two axes are left out."""
Found = namedtuple("Found", "dark_h shed_h why end_h walked")
"""What is found of each outage, as in `Dark`; `walked` marks those that only the walk can tell."""


def fast_dark_hours(island, pools, soc_kwh, *, step_h, horizon_h=336.0, begin=None, wrap=True):
    """First dark moment of each pool for an outage at every step, by cumulative drain or from full.

    Parameters
    ----------
    island, pools, soc_kwh, step_h, horizon_h, begin, wrap
        As `outage.dark_hours`.

    Returns
    -------
    Dark or None
        None where only the walk knows: two pools with a restart, or with solar or load control by hand and a taper or
        trips that do not latch.

    Notes
    -----
    With the drain summed from the start of the year, a pool is empty in the first step in which the sum exceeds its
    sum at the start plus its energy. The sums carry a second float, so that a year of kWh costs no digits. That step is
    sought from the one that the last outage ended in, since neighbours end near each other. Where one of two pools
    goes dark the other is sought again from there with what it carries alone; pools that share nothing are looked at
    one by one. Walked are the few starts in which a pool that retries trips beside another, and those that end on the
    border of a step where that decides what comes first.

    Examples
    --------
    >>> from simulate.physics.pool import Pool
    >>> from simulate.physics.outages.island import simple_island
    >>> pool = Pool(10)
    >>> island = simple_island(np.full(48, 0.5), pool)
    >>> float(fast_dark_hours(island, (pool,), np.full((1, 48), 10.0), step_h=1.0).dark_h[0, 0])
    20.0
    """
    asked = {"step_h": step_h, "horizon_h": horizon_h, "begin": begin, "wrap": wrap}
    keeps_some = len(pools) > 1 and any(pool.restart_kwh > 0.0 for pool in pools)
    if keeps_some or (begin is not None and not wrap):
        return None
    if not _drain_is_fixed(island):
        return _sunny(island, pools, soc_kwh, asked)
    soc = np.ascontiguousarray(soc_kwh, dtype=float)
    n_pools, n_starts = soc.shape
    n_steps = island.solar_kw.shape[1]
    begin = asked["begin"] = np.arange(n_starts) if begin is None else np.asarray(begin, dtype=np.int64)
    n_followed = ceil(horizon_h / step_h - 1e-9)
    rates = np.stack([_drains_kw(island.load_kw[0, :, p], pool.cell) for p, pool in enumerate(pools)], axis=1)
    cases = (PAIR, ALONE)[:n_pools]
    given = (rates, island.trips[0], island.sheds[0])
    rates, trips, sheds = (_repeated(one[: len(cases)], n_steps + n_followed + 1 if wrap else n_steps) for one in given)
    drain, rest = np.zeros((2, len(cases), n_pools, rates.shape[2] + 1))
    next_trip, next_shed = np.zeros((2, len(cases), n_pools, rates.shape[2] + 1), np.int64)
    for a in cases:
        for p in range(n_pools):
            _sum_up(rates[a, p] * step_h, drain[a, p], rest[a, p])
            _next(trips[a, p], next_trip[a, p])
            _next(sheds[a, p], next_shed[a, p])
    sums, how = Sums(rates, drain, rest, next_trip, next_shed, trips), (float(step_h), float(horizon_h), n_followed)
    first, floors = begin % n_steps, np.array([pool.restart_kwh for pool in pools])
    dark, shed = np.full((2, n_pools, n_starts), inf)
    why, end_h, walked = np.zeros((n_pools, n_starts), np.int64), np.zeros(n_starts), np.zeros(n_starts, bool)
    if n_pools == 1 or _share_nothing(rates, trips, sheds, island.latches):
        for p in range(n_pools):
            own = Found(dark[p], shed[p], why[p], end_h, walked)
            _every_end_alone(first, soc[p], floors[p], Sums(*(one[0, p] for one in sums)), how, own)
    else:
        found = Found(dark, shed, why, end_h, walked)
        _every_end(first, soc, floors, sums, (*how, bool(island.latches)), found)
    found = Dark(*(np.ascontiguousarray(one.T) for one in (dark, shed, why)), end_h)
    return _walk_some(found, walked, island, pools, soc, asked)


def _share_nothing(rates, trips, sheds, latches: bool) -> bool:
    """Two pools that meet the same whether the other is up or dark; none comes back from a trip."""
    same = all((one[PAIR] == one[ALONE]).all() for one in (rates, trips, sheds))
    return same and (latches or not trips.any())


def _sunny(island, pools, soc_kwh, asked: dict):
    """Pools whose state matters: sun on the island, or load control by hand; None where only the walk knows."""
    (n_pools, n_starts), n_steps, step_h = soc_kwh.shape, island.solar_kw.shape[1], asked["step_h"]
    if n_pools > 1 and not _sums_tell_all(island, pools):
        return None
    n_followed = ceil(asked["horizon_h"] / step_h - 1e-9)
    n = n_steps + n_followed + 1 if asked["wrap"] else n_steps
    cases = [[_laid(island, a, p, n) for p in range(n_pools)] for a in range(n_pools)]
    series, marks, dropped = (np.array([[one[k] for one in row] for row in cases]) for k in range(3))
    given = asked["begin"]
    begin = asked["begin"] = (np.arange(n_starts) if given is None else np.asarray(given, dtype=np.int64)) % n_steps
    soc, cells = np.ascontiguousarray(soc_kwh, dtype=float), cells_of(pools)
    ends, end_h, walked = ends_of((n_starts, n_pools)), np.zeros(n_starts), np.zeros(n_starts, bool)
    times, found = Times(float(step_h), float(asked["horizon_h"]), n_followed, island.reconnect_h), (*ends, end_h)
    if n_pools == 1:
        every_sunny_end(begin, soc[0], series[0, 0], marks[0, 0], dropped[0, 0], cells, times, Found(*found, walked))
    else:
        sheds = np.ascontiguousarray(dropped[:, :, 1]), np.ascontiguousarray(dropped[PAIR, :, 0] > 0)
        every_pair_end(begin, soc, series, marks, sheds, cells, times, Found(*found, walked))
    return _walk_some(Dark(*found), walked, island, pools, soc_kwh, asked)


def _sums_tell_all(island, pools) -> bool:
    """Whether two pools can be sought without the walk: trips that latch or never come, and no taper."""
    never = not island.trips.any()
    return len(pools) == 2 and (island.latches or never) and all(pool.taper is None for pool in pools)


def _laid(island, alone: int, p: int, n: int):
    """Series, marks and what load control drops of one pool, beside the other or alone, for `sunny_outages`."""
    series, marks, sheds = np.zeros((6, n + 1)), np.zeros((4, n + 1), np.int64), np.zeros((2, n + 1), np.int64)
    solar = island.solar_kw[p] * (1 - alone)  # solar returns only to an island of all pools
    rows = (*island.load_kw[:, alone, p], solar, island.dc_kw[p], island.may_charge[p])
    series[:5, :n] = _repeated(np.array(rows), n)
    marks[:3, :n] = _repeated(np.array([*island.trips[:, alone, p], island.hand]), n)
    dropped = _repeated(island.sheds[:, alone, p], n)
    sheds[0, :n] = dropped[0]
    _next(np.where(marks[2, :n], marks[1, :n], marks[0, :n]), marks[3])
    _next(np.where(marks[2, :n], dropped[1], dropped[0]), sheds[1])
    return series, marks, sheds


def _walk_some(found, walked, island, pools, soc_kwh, asked: dict):
    """Walk the outages that are marked, and put them in their place."""
    if walked.any():
        some = dark_hours(island, pools, soc_kwh[:, walked], **asked | {"begin": asked["begin"][walked]})
        for name in ("dark_h", "shed_h", "why", "end_h"):
            getattr(found, name)[walked] = getattr(some, name)
    return found


def _repeated(series, n: int) -> np.ndarray:
    """A series of shape (..., n_steps) that goes on with its own beginning, to `n` steps."""
    out = np.empty((*series.shape[:-1], n), series.dtype)
    for first in range(0, n, series.shape[-1]):
        out[..., first : first + series.shape[-1]] = series[..., : n - first]
    return out


def _drain_is_fixed(island) -> bool:
    if island.solar_kw.any() or island.dc_kw.any():
        return False
    same = all((one[0] == one[1]).all() for one in (island.load_kw, island.trips, island.sheds))
    return same or not island.hand.any()


@jit
def _drains_kw(load_kw, cell):
    out = np.empty(load_kw.shape)
    for a in range(load_kw.shape[0]):
        for t in range(load_kw.shape[1]):
            out[a, t] = drain_kw(load_kw[a, t], cell.dc_per_ac, cell.no_load_kw)
    return out


@jit
def _sum_up(parts, sums, rest):
    """Running sums with their rounding kept apart (two-sum)."""
    for k in range(parts.shape[0]):
        whole = sums[k] + parts[k]
        back = whole - sums[k]
        rest[k + 1] = rest[k] + ((sums[k] - (whole - back)) + (parts[k] - back))
        sums[k + 1] = whole


@jit
def _next(marks, out):
    """First marked step at or after each; the last index where none is."""
    out[marks.shape[0]] = marks.shape[0] + 1
    for k in range(marks.shape[0] - 1, -1, -1):
        out[k] = k if marks[k] else out[k + 1]


@jit_inside
def _used(sums, rest, a, b):
    return (sums[b] - sums[a]) + (rest[b] - rest[a])


@jit_inside
def _empties(sums, rest, begin, held_kwh, guess, last):
    """Step, from `begin` to before `last`, in which more than `held_kwh` has been used; `last` where there is none.

    The guess is moved by what is over or short at the mean drain, then step by step.
    """
    m = min(max(guess, begin), last)
    n = sums.shape[0] - 1
    mean_kwh = sums[n] / n
    if mean_kwh > 0.0:
        m = min(max(m + int(max(min((held_kwh - _used(sums, rest, begin, m)) / mean_kwh, n), -n)), begin), last)
    while m > begin and _used(sums, rest, begin, m) > held_kwh:
        m -= 1
    while m < last and _used(sums, rest, begin, m + 1) <= held_kwh:
        m += 1
    return m


@jit
def _every_end_alone(begin, soc, floor, sums, how, found):
    """`_every_end` for one pool, with nothing beside it.

    What empties it on the border of two steps empties it there, if both take energy and the border brings nothing else.
    """
    h, horizon_h, n_followed = how
    rate, drain, rest, next_trip, next_shed, _ = sums
    dark, shed, why, end_h, walked = found
    m = 0
    for k in range(begin.shape[0]):
        first = begin[k]
        last = min(first + n_followed, rate.shape[0])
        held = max(soc[k] - floor, 0.0)
        m = _empties(drain, rest, first, held, m, last)
        kept = held - _used(drain, rest, first, m)
        near = m < last and rate[m] * h - kept < TIE_KWH
        trip = next_trip[first]
        if near or (abs(kept) < TIE_KWH and m > first):
            b = m + 1 if near else m
            sharp = first < b < last and min(rate[b - 1], rate[b]) > SHARP_KW and (b - first) * h < horizon_h - 1e-9
            if not sharp or trip == b or next_shed[first] == b or (near and abs(kept) < TIE_KWH):
                walked[k] = True
                continue
            m, kept = b, 0.0
        trips_first = trip < last and trip <= m
        ends_h = (trip - first) * h if trips_first else (m - first) * h + (lasts_h(kept, rate[m]) if m < last else 0.0)
        until = trip - 1 if trips_first else min(m, last - 1)
        if next_shed[first] <= until:
            shed[k] = (next_shed[first] - first) * h
        follows_h = (last - first) * h
        if (trips_first or m < last) and ends_h < horizon_h:
            dark[k], why[k] = ends_h, OVERLOAD if trips_first else EMPTY
            follows_h = ((trip if trips_first else m) - first + 1) * h
        end_h[k] = max(end_h[k], min(follows_h, horizon_h))


@jit
def _every_end(begin, soc, floors, sums, how, found):
    """Fill `found` of two pools: stretch by stretch, from one thing that takes a pool off to the next."""
    rates, drain, rest, _, next_shed, trips = sums
    dark, shed, why, end_h, walked = found
    h, horizon_h, n_followed, latches = how
    n_pools, n_steps = soc.shape[0], rates.shape[2]
    guess = np.zeros((2, n_pools), np.int64)
    up = np.ones(n_pools, np.bool_)
    held = np.zeros(n_pools)
    for k in range(begin.shape[0]):
        first = begin[k]
        last = min(first + n_followed, n_steps)
        now, inside_h, mid = first, 0.0, False  # where the present stretch begins: step, time in it, after its start
        up[:] = True
        for p in range(n_pools):
            held[p] = max(soc[p, k] - floors[p], 0.0)
        alone = PAIR
        left = n_pools
        while left > 0:
            step, at_h, who, trip, tie = _first_end((now, inside_h, mid), last, alone, up, held, sums, guess, h)
            if tie:
                walked[k] = True
                break
            _note_sheds((first, now + mid, step, trip, last), alone, up, next_shed, h, shed[:, k])
            if step >= last or (step - first) * h + at_h >= horizon_h:
                break
            if trip and n_pools > 1 and not latches:
                walked[k] = True
                break
            for p in range(n_pools):
                if up[p]:
                    sums_of = rates[alone, p], drain[alone, p], rest[alone, p]
                    held[p] -= _drawn((now, inside_h, mid), step, at_h, sums_of, h)
            if trip:
                left -= _trip_off(step, alone, up, trips, (step - first) * h, dark[:, k], why[:, k])
            else:
                up[who], left = False, left - 1
                dark[who, k], why[who, k] = (step - first) * h + at_h, EMPTY
            now, inside_h, mid, alone = step, at_h, not trip, ALONE
        followed = now - first + 1 if left == 0 else last - first
        end_h[k] = min(followed * h, horizon_h)


@jit_inside
def _first_end(moment, last, alone, up, held, sums, guess, h):
    """The next thing that takes a pool off: step, time in it, pool, and whether it is a trip at the step's start."""
    now, inside_h, mid = moment
    rates, drain, rest, next_trip, _, _ = sums
    after = now + mid
    step, at_h, who, trip, tie = last, 0.0, -1, False, False
    for p in range(up.shape[0]):
        if not up[p]:
            continue
        rate = rates[alone, p]
        m, t = now, inside_h
        rest_kwh = rate[now] * (h - inside_h) if mid else 0.0
        kept = held[p] - rest_kwh
        if kept < 0.0:
            t = inside_h + lasts_h(held[p], rate[now])
        else:
            m = _empties(drain[alone, p], rest[alone, p], after, kept, guess[alone, p], last)
            guess[alone, p] = m
            kept -= _used(drain[alone, p], rest[alone, p], after, m)
            if m < last:
                t = lasts_h(kept, rate[m])
                tie = tie or rate[m] * h - kept < TIE_KWH
        tie = tie or (abs(kept) < TIE_KWH and (m > now or mid))
        tie = tie or (m == step and m < last and abs(t - at_h) * rate[m] < TIE_KWH)
        if m < step or (m == step and who >= 0 and t < at_h):
            step, at_h, who = m, t, p
    for p in range(up.shape[0]):
        if up[p]:
            m = next_trip[alone, p, after]
            if m < last and (m < step or (m == step and not trip)):
                step, at_h, who, trip = m, 0.0, p, True
    return step, at_h, who, trip, tie


@jit_inside
def _drawn(moment, step, at_h, sums, h):
    """DC energy drawn from one moment to another. [kWh]"""
    now, inside_h, mid = moment
    rate, drain, rest = sums
    if mid and step == now:
        return rate[now] * (at_h - inside_h)
    used = rate[now] * (h - inside_h) if mid else 0.0
    return used + _used(drain, rest, now + mid, step) + (rate[step] * at_h if at_h > 0.0 else 0.0)


@jit_inside
def _trip_off(step, alone, up, trips, now_h, dark, why):
    """Take off what trips at the start of a step, and what then trips alone; how many pools that are."""
    n_off = 0
    for _ in range(up.shape[0]):
        for p in range(up.shape[0]):
            beside = alone
            for q in range(up.shape[0]):
                if q != p and not up[q]:
                    beside = ALONE
            if up[p] and trips[beside, p, step]:
                up[p] = False
                dark[p], why[p] = now_h, OVERLOAD
                n_off += 1
    return n_off


@jit_inside
def _note_sheds(span, alone, up, next_shed, h, shed):
    """The first step of a stretch in which load control drops a circuit, on pools that are still up."""
    first, start, step, trip, last = span
    until = step - 1 if trip else step
    for p in range(up.shape[0]):
        if up[p]:
            m = next_shed[alone, p, start]
            if m <= until and m < last:
                shed[p] = min(shed[p], (m - first) * h)
