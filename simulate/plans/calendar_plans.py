"""What the operator wants: states of charge to move towards. No physics and no circuits."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from profiles.hours import Hours
from profiles.noun import BadInput
from simulate.physics.pool import Pool


def reserve_frac(reserve, hours: Hours) -> np.ndarray:
    """Reserve on the hour axis: one number, twelve by month, or a series.

    Returns
    -------
    ndarray, shape (n_steps,)
        Share of usable energy at the end of each step. A month's reserve is there when the month begins, so where it
        rises it binds the step before. [0 to 1]

    Examples
    --------
    >>> from profiles.hours import hours_of_year
    >>> float(reserve_frac((0.5,) * 11 + (0.8,), hours_of_year(2025, "UTC"))[-1])
    0.8
    """
    frac = np.atleast_1d(np.asarray(reserve, dtype=float))
    if not ((frac >= 0.0) & (frac <= 1.0)).all():
        raise BadInput("must lie between 0 and 1", key="operation.reserve", value=reserve)
    if len(frac) == 1:
        return np.full(hours.n_steps, frac[0])
    if len(frac) == 12:
        by_month = frac[hours.month - 1]
        return np.maximum(by_month, np.roll(by_month, -1))
    if len(frac) == hours.n_steps:
        return frac.copy()
    raise BadInput("must be one number, twelve by month or one a step", key="operation.reserve", value=len(frac))


def hold_mask(holds, hours: Hours) -> np.ndarray:
    """True in the windows that ask for full units, shape (n_steps,)."""
    mask = np.zeros(hours.n_steps, bool)
    for hold in holds:
        start = hours.index_of(hold.start, key="operation.hold_full.from")
        end = hours.index_of(hold.end, key="operation.hold_full.to")
        if end <= start:
            raise BadInput("must come after from", key="operation.hold_full.to", value=hold.end)
        mask[start:end] = True
    return mask


@dataclass(frozen=True, eq=False)
class Cycles:
    """When the price calendar says to fill, to serve and to hold; all of shape (n_steps,).

    `refill_per_kwh` is the price at which energy used in the step is bought back.
    """

    fill: np.ndarray
    serve: np.ndarray
    refill_per_kwh: np.ndarray


def price_cycles(buy_per_kwh, round_trip: float, wear_per_kwh: float = 0.0) -> Cycles:
    """Fill in the cheapest steps before the dear ones, serve in the dearest, from the price calendar alone.

    Parameters
    ----------
    buy_per_kwh : ndarray, shape (n_steps,)
        Price of energy in each step of a year that repeats.
    round_trip : float
        AC to AC efficiency. [0 to 1]
    wear_per_kwh : float
        Wear per kWh of energy delivered.

    Returns
    -------
    Cycles

    Notes
    -----
    One stored kWh is bought and sold again and again for the largest gain: a dynamic programme with two states over
    the runs of equal price. It knows the published prices and no load. A cycle pays where
    ``p_high > p_low / round_trip + wear``. After the dearest run of a cycle what is left serves the next dearer
    steps that still pay, since no dearer ones come before the refill.

    Examples
    --------
    >>> price = np.array([0.1] * 16 + [0.3] * 5 + [0.1] * 3)
    >>> cycles = price_cycles(np.tile(price, 4), 0.81)
    >>> np.flatnonzero(cycles.serve[24:48]).tolist()
    [16, 17, 18, 19, 20]
    >>> bool(price_cycles(np.where(np.tile(price, 4) > 0.2, 0.12, 0.1), 0.81).serve.any())
    False
    """
    prices = np.ascontiguousarray(buy_per_kwh, dtype=float).tobytes()
    return _price_cycles(prices, float(round_trip), float(wear_per_kwh))


@lru_cache(maxsize=32)
def _price_cycles(prices: bytes, round_trip: float, wear_per_kwh: float) -> Cycles:
    """Kept, since many designs of a site meet the same prices; read-only."""
    buy_per_kwh = np.frombuffer(prices)
    n = len(buy_per_kwh)
    starts = np.flatnonzero(np.r_[True, np.diff(buy_per_kwh) != 0.0])
    runs = buy_per_kwh[starts]
    thrice = np.tile(runs, 3)
    fill, serve, refill = _mark(thrice, *_trades(thrice, round_trip, wear_per_kwh), round_trip, wear_per_kwh)
    middle = slice(len(runs), 2 * len(runs))
    lengths = np.diff(np.r_[starts, n])
    found = [np.repeat(x[middle], lengths) for x in (fill, serve, refill)]
    for one in found:
        one.flags.writeable = False
    return Cycles(*found)


def _trades(price, round_trip, wear) -> tuple[list[int], list[int]]:
    """Runs at which to buy and to sell one kWh, alternating, beginning and ending full."""
    empty, full = -np.inf, 0.0
    sell, buy = np.zeros(len(price), bool), np.zeros(len(price), bool)
    for r in range(len(price) - 1, -1, -1):
        gain_full, gain_empty = price[r] - wear + empty, full - price[r] / round_trip
        sell[r], buy[r] = gain_full > full + 1e-12, gain_empty >= empty
        full, empty = max(full, gain_full), max(empty, gain_empty)
    buys, sells, is_full = [], [], True
    for r in range(len(price)):
        if is_full and sell[r]:
            sells.append(r)
            is_full = False
        elif not is_full and buy[r]:
            buys.append(r)
            is_full = True
    return buys, sells


def _mark(price, buys, sells, round_trip, wear):
    """Spread the trades to all runs that are as good: fill, serve and refill price by run."""
    n = len(price)
    fill, serve, refill = np.zeros(n, bool), np.zeros(n, bool), np.zeros(n)
    edges = [0, *buys, n]
    last_peak = -1
    for k, sale in enumerate(sells):
        low, high = edges[k], edges[k + 1]
        same = np.flatnonzero(price[max(low, last_peak + 1) : high] == price[sale]) + max(low, last_peak + 1)
        first, last = int(same[0]), int(same[-1])
        if k:
            gap = np.arange(last_peak + 1, first)
            fill[gap] = price[gap] == price[low]
            _serve_tail(price, serve, refill, gap, fill, price[low], round_trip, wear)
        serve[same] = True
        refill[first : last + 1] = price[high]
        last_peak = last
    if not sells:
        fill[price == price.min()] = True
    return fill, serve, refill


def _serve_tail(price, serve, refill, gap, fill, low, round_trip, wear):
    """After the dearest run, serve what still pays until the first fill run of the gap."""
    until = gap[fill[gap]][0] if fill[gap].any() else gap[-1] + 1
    tail = gap[gap < until]
    pays = price[tail] > low / round_trip + wear + 1e-12
    serve[tail[pays]] = True
    refill[tail] = low


def reachable_floor(floor_kwh, fill, charge_kw, pool: Pool, step_h: float) -> np.ndarray:
    """Least stored energy at the end of each step from which every later floor can be met in the fill steps.

    Parameters
    ----------
    floor_kwh : ndarray, shape (n_steps,)
        Floor at the end of each step. [kWh]
    fill : ndarray of bool, shape (n_steps,)
        Steps in which the utility may be drawn on.
    charge_kw : ndarray, shape (n_steps,)
        AC charging limit. [kW]

    Notes
    -----
    ``L[t] = max(floor[t], L[t+1] - eta_c Pc[t+1] h)``, the year taken as a circle.

    Examples
    --------
    >>> floor = np.array([2.0, 2.0, 2.0, 6.0])
    >>> fill = np.array([False, False, False, True])
    >>> reachable_floor(floor, fill, np.full(4, 3.0), Pool(10), 1.0).tolist()
    [3.0, 3.0, 3.0, 6.0]
    """
    if (floor_kwh == floor_kwh[0]).all():
        return floor_kwh.copy()
    gain = np.where(fill, np.minimum(charge_kw * pool.charge_efficiency * step_h, pool.usable_kwh), 0.0)
    risen, wanted = np.cumsum(np.tile(gain, 2)), np.tile(floor_kwh, 2)
    wanted[-1] = floor_kwh.max()
    reach = np.maximum.accumulate((wanted - risen)[::-1])[::-1] + risen
    return np.maximum(reach[: len(floor_kwh)], floor_kwh)


def keep_full(pool: Pool, n_steps: int, *, from_utility: bool = True) -> np.ndarray:
    """Targets that keep the pool full, shape (n_steps, 4). [kWh]"""
    full = pool.usable_kwh
    return np.tile([full, full, full, full if from_utility else 0.0], (n_steps, 1))


def self_consumption(pool: Pool, floor_kwh, *, from_utility: bool = True) -> np.ndarray:
    """Targets that store solar and serve the load down to the floor, shape (n_steps, 4). [kWh]"""
    full = np.full(len(floor_kwh), pool.usable_kwh)
    return np.column_stack([full, floor_kwh, full, floor_kwh if from_utility else 0.0 * full])


def time_of_use(pool: Pool, floor_kwh, cycles: Cycles, *, from_utility=True, parallel=True) -> np.ndarray:
    """Targets that serve down to the floor in dear steps and fill to full in the cheapest before.

    Parameters
    ----------
    pool : Pool
    floor_kwh : ndarray, shape (n_steps,)
        `reachable_floor`. [kWh]
    cycles : Cycles
    from_utility : bool
        The utility may charge; else only solar does.
    parallel : bool
        Solar still fills in dear steps (it is what the house leaves); in transfer mode the circuits are served.

    Returns
    -------
    ndarray, shape (n_steps, 4)
        Export down to, serve down to, fill from solar up to, fill from the utility up to. [kWh]
    """
    full = np.full(len(floor_kwh), pool.usable_kwh)
    serve_to = np.where(cycles.serve, floor_kwh, full)
    solar_to = full if parallel else np.where(cycles.serve, floor_kwh, full)
    grid_to = np.where(cycles.fill, full, floor_kwh) if from_utility else 0.0 * full
    return np.column_stack([full, serve_to, solar_to, grid_to])


def export_where_it_pays(targets, sell_per_kwh, cycles: Cycles, floor_kwh, pool: Pool, wear_per_kwh=0.0) -> np.ndarray:
    """Targets with export down to the floor where the credit beats the refill, shape (n_steps, 4). [kWh]"""
    eta = pool.charge_efficiency / pool.dc_per_ac
    pays = cycles.serve & (sell_per_kwh > cycles.refill_per_kwh / eta + wear_per_kwh * pool.dc_per_ac)
    out = targets.copy()
    out[pays, 0] = floor_kwh[pays]
    return out
