"""Scenarios for the days ahead, made of nothing but past days and of prices as far ahead as they are published."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from simulate.optimum.expected import Chains
from simulate.optimum.forecast import Calendar
from simulate.physics.compiled import jit

N_CHAINS = 14
"""Past days that are looked at; tried from 10 to 28 on invented houses: a third of a per cent between them."""
N_AHEAD = 3
"""Days that a chain looks ahead, today among them: a peak after a weekend is seen on Friday night."""
HALF_LIFE_DAYS = 10.0
"""Like days so much older count half; tried from 5 on, of little effect."""
LOAD_SPREAD, SUN_SPREAD = 0.3, 0.4
"""By which share today may differ so far from a past day of the same weight; tried from 0.25 to 0.5."""
LEAST_KWH = 0.3
"""Energy below which a difference says nothing yet. [kWh]"""


@dataclass(frozen=True, eq=False)
class Scenarios:
    """Which past days stand for the days ahead.

    Attributes
    ----------
    calendar : Calendar
    picks : ndarray of int, shape (2, n_days, n_chains, N_AHEAD)
        Day of the load, and day of the sun, of each chain as seen on each day; -1 where the past is too short.
    weights : ndarray, shape (n_steps, n_chains)
        Of each chain in each step, adding to 1 where there is one.
    """

    calendar: Calendar
    picks: np.ndarray
    weights: np.ndarray

    @cached_property
    def chains(self) -> Chains:
        """For the compiled fold."""
        first = np.r_[np.searchsorted(self.calendar.day, np.arange(self.calendar.n_days)), len(self.calendar.day)]
        return Chains(self.picks, self.weights, first, self.calendar.slot, self.calendar.step_table())

    def mean(self, values, ahead: int = 0) -> np.ndarray:
        """What the chains expect of a series of loads at midnight of the day on which they begin, shape (n_steps,)."""
        _, _, first, slot, table = self.chains
        day = (self.calendar.day - ahead) % self.calendar.n_days
        picked = self.picks[0, day, :, ahead]
        weight = self.weights[first[day]] * (picked >= 0)
        return (values[table[np.maximum(picked, 0), slot[:, None]]] * weight).sum(axis=1)


def scenarios_of(calendar: Calendar, load_kw, solar_kw, n_chains: int = N_CHAINS) -> Scenarios:
    """Past days for the days ahead: loads of the same kind of day, suns of the last days, weighed by likeness.

    Parameters
    ----------
    calendar : Calendar
    load_kw, solar_kw : ndarray, shape (n_steps,)
        By which today is held against past days, hour by hour as it goes on. [kW]
    n_chains : int

    Returns
    -------
    Scenarios

    Notes
    -----
    The year is no circle here: on its first day there is no scenario, on the second one, and so on.

    Examples
    --------
    >>> from simulate.optimum.forecast import calendar_of
    >>> made = scenarios_of(calendar_of([0, 1, 2], [0, 0, 0], [0, 1, 0]), np.ones(3), np.zeros(3), 2)
    >>> made.picks[0, :, :, 0].tolist()
    [[-1, -1], [0, -1], [0, 0]]
    """
    picks = np.array([_load_days(calendar, n_chains), _sun_days(calendar.n_days, n_chains)])
    weights = np.zeros((len(calendar.day), n_chains))
    _weigh(picks, calendar.step_table(), np.asarray(load_kw, float), np.asarray(solar_kw, float), weights)
    return Scenarios(calendar, picks, weights[calendar.step_table()[calendar.day, calendar.slot]])


def _load_days(calendar: Calendar, n_chains: int) -> np.ndarray:
    out = np.full((calendar.n_days, n_chains, N_AHEAD), -1)
    of_kind = {kind: np.flatnonzero(calendar.kind == kind) for kind in np.unique(calendar.kind)}
    for day in range(1, calendar.n_days):
        for ahead in range(N_AHEAD):
            like = of_kind[calendar.kind[(day + ahead) % calendar.n_days]]
            past = like[: np.searchsorted(like, day)][::-1]
            n = min(n_chains, day)
            out[day, :n, ahead] = np.resize(past if len(past) else np.arange(day)[::-1], n)
    return out


def _sun_days(n_days: int, n_chains: int) -> np.ndarray:
    back = np.arange(n_days)[:, None] - 1 - np.arange(n_chains)
    return np.repeat(np.maximum(back, -1)[:, :, None], N_AHEAD, axis=2)


@jit
def _weigh(picks, table, load_kw, solar_kw, weights):
    """Write each step's weights: by age, and by how far today has gone as the past day had by then."""
    _, n_days, n_chains, _ = picks.shape
    n_slots = table.shape[1]
    for day in range(n_days):
        used, lit = 0.0, 0.0
        used_then, lit_then = np.zeros(n_chains), np.zeros(n_chains)
        per_day = 24.0 / n_slots
        for k in range(n_slots):
            t, total = table[day, k], 0.0
            if k > 0 and t == table[day, k - 1]:
                continue
            for c in range(n_chains):
                a, b = picks[0, day, c, 0], picks[1, day, c, 0]
                if a < 0:
                    weights[t, c] = 0.0
                    continue
                load_off = (used - used_then[c]) / max(LOAD_SPREAD * max(used, used_then[c]), LEAST_KWH)
                sun_off = (lit - lit_then[c]) / max(SUN_SPREAD * max(lit, lit_then[c]), LEAST_KWH)
                likeness = np.exp(-0.5 * (load_off**2 + sun_off**2)) + 1e-9
                weights[t, c] = likeness * 0.5 ** ((day - a) / HALF_LIFE_DAYS)
                total += weights[t, c]
                used_then[c] += load_kw[table[a, k]] * per_day
                lit_then[c] += solar_kw[table[b, k]] * per_day
            for c in range(n_chains):
                weights[t, c] = weights[t, c] / total if total > 0.0 else 0.0
            used += load_kw[t] * per_day
            lit += solar_kw[t] * per_day


@dataclass(frozen=True, eq=False)
class PricesAhead:
    """Prices as far ahead as they are published.

    Attributes
    ----------
    at_midnight, at_noon : ndarray, shape (2, N_AHEAD, n_steps)
        Buy and sell price of each step as seen on that day, the day before and two days before, in the first and in
        the second half of a day; NaN where only the past days' own prices are known. [money/kWh]
    """

    at_midnight: np.ndarray
    at_noon: np.ndarray

    @property
    def changes(self) -> bool:
        """Whether noon brings news."""
        return not np.array_equal(self.at_midnight, self.at_noon, equal_nan=True)


def published(buy_per_kwh, sell_per_kwh, usual=None, *, day_ahead: bool = False) -> PricesAhead:
    """Prices that stand in the calendar, or become known at noon of the day before.

    Parameters
    ----------
    buy_per_kwh, sell_per_kwh : ndarray, shape (n_steps,)
    usual : ndarray, shape (2, n_steps), optional
        What the calendar says before an event is called; the prices themselves unless given.
    day_ahead : bool
        Known at noon of the day before only: until then past days stand for them.

    Examples
    --------
    >>> ahead = published(np.array([0.1, 0.2]), np.zeros(2), day_ahead=True)
    >>> ahead.at_midnight[0].tolist(), ahead.at_noon[0, 1].tolist()
    ([[0.1, 0.2], [nan, nan], [nan, nan]], [0.1, 0.2])
    """
    known = np.array([buy_per_kwh, sell_per_kwh], dtype=float)
    before = np.full_like(known, np.nan) if day_ahead else known if usual is None else np.asarray(usual, float)
    return PricesAhead(np.stack([known, before, before], axis=1), np.stack([known, known, before], axis=1))
