"""The limit of lanes: the same series streamed through as many operations, and nothing that decides anything."""

from __future__ import annotations

import numpy as np

from simulate.physics.compiled import jit
from simulate.physics.lanes.steps import PITCH, WIDTH

ROWS = 20


@jit
def _least(a, b):
    return a if a < b else b


@jit
def _most(a, b):
    return a if a > b else b


@jit
def _cheap(load_kw, sun_kw, s):
    """An hour that fills: 4 min or max, 10 multiply or add, 6 sums."""
    for j in range(WIDTH):
        e = s[j]
        gain = _most(_least(s[PITCH + j] - e, s[2 * PITCH + j]), 0.0)
        charged = gain * s[3 * PITCH + j]
        net = (load_kw * s[4 * PITCH + j] + s[5 * PITCH + j] - sun_kw * s[6 * PITCH + j]) * s[7 * PITCH + j] + charged
        bought = _most(net, 0.0)
        _book(e + gain, net, charged, bought, s, j)


@jit
def _dear(load_kw, sun_kw, s):
    """An hour that serves: 10 min or max, 22 multiply or add, 7 sums."""
    for j in range(WIDTH):
        e = s[j]
        net = (load_kw * s[4 * PITCH + j] + s[5 * PITCH + j] - sun_kw * s[6 * PITCH + j]) * s[7 * PITCH + j]
        gain = _most(_least(s[PITCH + j] - e, s[2 * PITCH + j]), 0.0)
        sun = _least(_most(-net, 0.0), s[8 * PITCH + j]) * s[9 * PITCH + j] * (1.0 - gain * s[10 * PITCH + j])
        gain += _most(_least(s[PITCH + j] - e - gain, sun), 0.0)
        held = _least((e - s[11 * PITCH + j]) * s[12 * PITCH + j], s[8 * PITCH + j])
        served = _most(_least(held, net * s[3 * PITCH + j]), 0.0)
        charged = gain * s[3 * PITCH + j]
        s[18 * PITCH + j] += served
        net += charged - served * s[9 * PITCH + j]
        _book(e + gain - served * s[12 * PITCH + j], net, charged, _most(net, 0.0), s, j)


@jit
def _book(end, net, charged, bought, s, j):
    s[j] = end
    s[13 * PITCH + j] += charged
    s[14 * PITCH + j] += bought
    s[15 * PITCH + j] += bought - net
    s[16 * PITCH + j] = _most(s[16 * PITCH + j], bought)
    s[17 * PITCH + j] += 1.0 if end <= s[11 * PITCH + j] else 0.0


@jit
def stream(load_kw, sun_kw, dear, n_blocks):
    """Stream the series through so many blocks of lanes; the sum keeps the compiler from leaving anything out."""
    s = np.full(ROWS * PITCH, 0.5)
    total = 0.0
    for _ in range(n_blocks):
        s[:] = 0.5
        for t in range(load_kw.shape[0]):
            if dear[t]:
                _dear(load_kw[t], sun_kw[t], s)
            else:
                _cheap(load_kw[t], sun_kw[t], s)
        for k in range(s.shape[0]):
            total += s[k]
    return total
