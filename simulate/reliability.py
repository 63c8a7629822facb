"""How often and how long: durations, interruption indices in and out, energy that stays unserved in a year."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from math import inf

import numpy as np

from profiles.noun import BadInput
from simulate.compiled import jit
from simulate.island import one_outage
from simulate.outage import Outage
from simulate.recharge import refill_of
from simulate.ride import RideThrough, island_of, outage_kw, ride_through
from simulate.storm import pickup_of, storm_rows

SIGMA, MAJOR_SIGMA = 1.4, 0.6
"""Spread of the logarithm of the duration where none is given: everyday 1.2 to 1.6, major such that most last 24 to 120
hours (engineering ranges, no citation)."""
LOAD_CASES = ("usual", "frugal", "storm")
HOURS_A_YEAR = 8760.0


@dataclass(frozen=True)
class Interruptions:
    """One class of sustained interruptions: how many a year, how long, and how they spread.

    Attributes
    ----------
    per_year : float
    mean_h : float
        Mean duration. [h]
    sigma : float
        Of the logarithm of the duration; 0: all last the mean.
    """

    per_year: float
    mean_h: float
    sigma: float

    def __post_init__(self):
        for name, least in (("per_year", 0.0), ("mean_h", 1e-12), ("sigma", 0.0)):
            if not least <= getattr(self, name) < inf:
                raise BadInput("must be above 0 and finite" if least else "must be 0 or above", key=f"outage.{name}",
                               value=getattr(self, name))

    @property
    def mu(self) -> float:
        """Mean of the logarithm: ``ln(mean_h) - sigma^2 / 2``."""
        return math.log(self.mean_h) - self.sigma**2 / 2.0

    def longer_frac(self, t_h):
        """Share that lasts longer than `t_h`.

        Examples
        --------
        The median of a lognormal lies below its mean:

        >>> round(float(Interruptions(1.0, 4.0, 1.0).longer_frac(4.0 / math.exp(0.5))), 9)
        0.5
        """
        t = np.asarray(t_h, dtype=float)
        if self.sigma == 0.0:
            return np.where(t < self.mean_h, 1.0, 0.0)
        return _above((_log(t) - self.mu) / self.sigma)

    def excess_h(self, t_h):
        """Mean hours beyond `t_h`: ``E[max(D - t, 0)]``, 0 for an infinite t. [h]

        Notes
        -----
        ``mean * Phi((mu + sigma^2 - ln t) / sigma) - t * Phi((mu - ln t) / sigma)``

        Examples
        --------
        >>> float(Interruptions(1.0, 4.0, 1.4).excess_h(0.0)), float(Interruptions(1.0, 4.0, 0.0).excess_h(1.0))
        (4.0, 3.0)
        """
        t = np.asarray(t_h, dtype=float)
        if self.sigma == 0.0:
            return np.maximum(self.mean_h - t, 0.0)
        z = (_log(t) - self.mu) / self.sigma
        beyond = np.where(np.isfinite(t), t, 0.0) * _above(z)
        return np.where(np.isfinite(t), np.maximum(self.mean_h * _above(z - self.sigma) - beyond, 0.0), 0.0)


def _log(t):
    with np.errstate(divide="ignore"):
        return np.log(t)


def _above(z):
    """Upper tail of the normal distribution."""
    from scipy.special import ndtr

    return ndtr(-z)


def spread_through(mean_h: float, share: float, *, long_h: float = 8.0, least_h: float = 1.0) -> float:
    """The spread at which a share of the interruptions of `least_h` or more lasts `long_h` or more.

    Parameters
    ----------
    mean_h : float
        Mean duration. [h]
    share : float
        ``P(D >= long_h | D >= least_h)``. [0 to 1]
    long_h, least_h : float
        [h]

    Returns
    -------
    float
        The smallest such `sigma`.

    Raises
    ------
    BadInput
        No spread up to 4 gives that share.

    Examples
    --------
    >>> sigma = spread_through(2.0, 0.0756)
    >>> durations = Interruptions(1.0, 2.0, sigma)
    >>> round(float(durations.longer_frac(8.0) / durations.longer_frac(1.0)), 9)
    0.0756
    """
    from scipy.optimize import brentq

    def miss(sigma: float) -> float:
        durations = Interruptions(1.0, mean_h, sigma)
        return float(durations.longer_frac(long_h)) - share * float(durations.longer_frac(least_h))

    grid = np.linspace(0.05, 4.0, 80)
    signs = np.sign([miss(sigma) for sigma in grid])
    crossings = np.flatnonzero(signs[:-1] * signs[1:] <= 0.0)
    if not 0.0 < share < 1.0 or not len(crossings):
        raise BadInput("is reached by no spread up to 4", key="share", value=share, way_out=f"mean_h is {mean_h:g}")
    at = int(crossings[0])
    return float(brentq(miss, grid[at], grid[at + 1], xtol=1e-13))


def interruption_indices(customers, hours_each, n_served: float) -> dict[str, float]:
    """SAIFI, SAIDI and CAIDI of a list of interruptions (IEEE 1366).

    Parameters
    ----------
    customers, hours_each : array_like, shape (n_events,)
        Customers interrupted and duration of each sustained interruption; any unit of time.
    n_served : float
        Customers served.

    Returns
    -------
    dict
        saifi [interruptions a customer], saidi and caidi [in the unit of the durations].

    Examples
    --------
    >>> found = interruption_indices([100, 200, 300], [5, 10, 11], 10_000)
    >>> round(found["saifi"], 9), round(found["saidi"], 9), round(found["caidi"], 2)
    (0.06, 0.58, 9.67)
    """
    customers, durations = np.asarray(customers, dtype=float), np.asarray(hours_each, dtype=float)
    if not 0.0 < n_served < inf or not (customers >= 0.0).all() or not (durations >= 0.0).all():
        raise BadInput("must be 0 or above, and customers served above 0", key="customers, hours_each, n_served")
    return _indices(customers.sum() / n_served, (customers * durations).sum() / n_served)


def _indices(saifi: float, saidi: float, unit: str = "") -> dict[str, float]:
    caidi = float(saidi / saifi) if saifi > 0.0 else 0.0
    return {"saifi": float(saifi), f"saidi{unit}": float(saidi), f"caidi{unit}": caidi}


def interruptions_of(outage: Outage) -> tuple[Interruptions, ...]:
    """Everyday interruptions and major events as a site file states them; empty where it states none."""
    kinds = []
    if outage.per_year is not None and outage.mean_h is not None:
        kinds.append(Interruptions(outage.per_year, outage.mean_h, SIGMA if outage.sigma is None else outage.sigma))
    if outage.major is not None:
        kinds.append(Interruptions(outage.major.per_year, outage.major.mean_h, MAJOR_SIGMA))
    return tuple(kinds)


def indices_in(kinds: Sequence[Interruptions]) -> dict[str, float]:
    """What the utility does: saifi, saidi_h and caidi_h (IEEE 1366)."""
    return _indices(sum(k.per_year for k in kinds), sum(k.per_year * k.mean_h for k in kinds), "_h")


def indices_out(hours, kinds: Sequence[Interruptions], weight=None) -> dict[str, float]:
    """What a circuit behind the battery sees: saifi, saidi_h and caidi_h.

    Parameters
    ----------
    hours : array_like, shape (n_starts,)
        Hours survived from each start; infinite where nothing is lost. [h]
    kinds : sequence of Interruptions
    weight : array_like, shape (n_starts,), optional
        Weights of the starts, adding to 1; even without them.

    Notes
    -----
    An interruption of duration D that begins at start s is one only if ``D > hours[s]``, and lasts ``D - hours[s]``.
    Every loss counts, however short, so that without a battery what goes in comes out.

    Examples
    --------
    >>> kinds = [Interruptions(1.4, 4.0, 1.4)]
    >>> indices_out([0.0], kinds) == indices_in(kinds), indices_out([inf], kinds)["saifi"]
    (True, 0.0)
    """
    hours = np.asarray(hours, dtype=float)
    weight = np.full(len(hours), 1.0 / len(hours)) if weight is None else np.asarray(weight, dtype=float)
    saifi = sum(k.per_year * float(weight @ k.longer_frac(hours)) for k in kinds)
    return _indices(saifi, sum(k.per_year * float(weight @ k.excess_h(hours)) for k in kinds), "_h")


def ridden_frac(hours, kinds: Sequence[Interruptions], weight=None) -> float | None:
    """Share of the interruptions that end before the first circuit is lost; None where there are none."""
    total = sum(k.per_year for k in kinds)
    return 1.0 - indices_out(hours, kinds, weight)["saifi"] / total if total > 0.0 else None


def start_weight(month, month_weights=None) -> np.ndarray:
    """Weight of an outage that begins at each step, adding to 1, shape (n_steps,); for expected values only."""
    month = np.asarray(month)
    weight = np.ones(len(month)) if month_weights is None else np.asarray(month_weights, dtype=float)[month - 1]
    if not weight.sum() > 0.0:
        raise BadInput("must not all be 0", key="outage.month_weights", value=month_weights)
    return weight / weight.sum()


def unserved_kwh(kw, dark_h, begin, kinds: Sequence[Interruptions], *, step_h: float, horizon_h: float) -> np.ndarray:
    """Energy that interruptions leave unserved in a year, for each start, where what is dark stays dark.

    Parameters
    ----------
    kw : ndarray, shape (n_steps,)
        Load of circuits that go dark together. [kW]
    dark_h : ndarray, shape (n_starts,)
        When they go dark after each start; infinite where they do not. [h]
    begin : ndarray of int, shape (n_starts,)
        Step of each start; the year wraps.
    kinds : sequence of Interruptions
    step_h, horizon_h : float
        Beyond the horizon the mean load stays unserved. [h]

    Returns
    -------
    ndarray, shape (n_starts,)
        kWh a year if all interruptions began there. [kWh]

    Notes
    -----
    ``sum over steps of kW * integral of P(D > t)``, the integral in closed form from `Interruptions.excess_h`.

    Examples
    --------
    Half a kilowatt without a battery, 335.5 minutes a year (SAIDI): 2.796 kWh.

    >>> kinds = [Interruptions(1.405, 335.5 / 60 / 1.405, 1.4)]
    >>> out = unserved_kwh(np.full(24, 0.5), np.zeros(24), np.arange(24), kinds, step_h=1.0, horizon_h=336.0)
    >>> round(float(out[0]), 3)
    2.796
    """
    beyond = lambda t: sum(k.per_year * k.excess_h(t) for k in kinds)
    n, steps = len(kw), int(np.ceil(horizon_h / step_h - 1e-9))
    edges = beyond(np.arange(steps + 1) * step_h)
    first = np.minimum(np.where(np.isfinite(dark_h), dark_h, inf) // step_h, steps)
    out = np.where(dark_h < horizon_h, kw.mean() * edges[steps], 0.0)
    inside = first < steps
    at = np.where(inside, first, 0).astype(np.int64)
    out += np.where(inside, kw[(begin + at) % n] * (beyond(np.where(inside, dark_h, inf)) - edges[at + 1]), 0.0)
    twice = np.concatenate([kw] * (2 + steps // n))
    where = np.asarray(begin) % n
    for k in range(1, steps):
        out += np.where(first < k, twice[where + k], 0.0) * (edges[k] - edges[k + 1])
    return out


@jit
def _unserved_traced(
    begin, soc_kwh, wanted_kw, load_kw, trips, sheds, hand, solar_kw, dc_kw, may_charge, latches, times, cells,
    weight, out,
):  # fmt: skip
    n_pools, n_steps = solar_kw.shape
    n = weight.shape[0]
    rows = np.zeros((n, 5 * n_pools + 2))
    dark, shed, why = np.zeros(n_pools), np.zeros(n_pools), np.zeros(n_pools, np.int64)
    for s in range(begin.shape[0]):
        rows[:] = 0.0
        dark[:], shed[:] = np.inf, np.inf
        one_outage(
            begin[s], soc_kwh[:, s], load_kw, trips, sheds, hand, solar_kw, dc_kw, may_charge, (latches, True), times,
            cells, dark, shed, why, rows,
        )  # fmt: skip
        total = 0.0
        for k in range(n):
            served = 0.0
            for p in range(n_pools):
                served += rows[k, 2 * n_pools + p]
            total += max(wanted_kw[(begin[s] + k) % n_steps] - served / times[0], 0.0) * weight[k]
        out[s] = total


def unserved_of(ride: RideThrough, kinds: Sequence[Interruptions]) -> np.ndarray:
    """Energy of the carried circuits that interruptions leave unserved in a year, for each start. [kWh]

    Notes
    -----
    Where nothing that is dark can come back (no restart, no retry, no load control) circuits that need the same pools
    are integrated in closed form (`unserved_kwh`); else every outage is followed to the horizon and each step's
    unserved energy is weighted by the share of interruptions that last so long.
    """
    house = ride.house
    kw = outage_kw(house, ride.load_case)
    n = house.hours.n_steps
    if not len(kw):
        return np.zeros(n)
    if _comes_back(ride):
        return _traced(ride, kinds, kw)
    out = np.zeros(n)
    needs = (house.share > 0.0).T
    for pattern in np.unique(needs, axis=0):
        mine = (needs == pattern).all(axis=1)
        dark = ride.dark.dark_h[:, pattern].min(axis=1)
        out += unserved_kwh(kw[mine].sum(axis=0), dark, ride.begin, kinds, step_h=house.hours.step_h,
                            horizon_h=ride.horizon_h)
    return out


def _comes_back(ride: RideThrough) -> bool:
    house = ride.house
    retries = not all(leg_pool.latches for leg_pool in house.pools)
    restarts = any(leg_pool.pool.restart_kwh > 0.0 for leg_pool in house.pools)
    return retries or restarts or house.site.subpanel.load_control != "none"


def _traced(ride: RideThrough, kinds, kw) -> np.ndarray:
    house, step_h = ride.house, ride.house.hours.step_h
    island, _ = island_of(house, ride.load_case)
    cells = np.array([leg_pool.pool.cell for leg_pool in house.pools], dtype=float)
    steps = int(np.ceil(ride.horizon_h / step_h - 1e-9))
    beyond = sum(k.per_year * k.excess_h(np.arange(steps + 1) * step_h) for k in kinds)
    weight = -np.diff(beyond)
    weight[-1] += beyond[-1]  # what is unserved at the horizon stays so
    out = np.zeros(house.hours.n_steps)
    _unserved_traced(
        ride.begin.astype(np.int64), np.ascontiguousarray(ride.soc_kwh, dtype=float), kw.sum(axis=0), island.load_kw,
        island.trips, island.sheds, island.hand, island.solar_kw, island.dc_kw, island.may_charge, island.latches,
        (float(step_h), float(ride.horizon_h), float(island.reconnect_h)), cells, weight, out,
    )  # fmt: skip
    return out


def reliability_row(ride: RideThrough, kinds: Sequence[Interruptions]) -> dict:
    """What the interruptions of a year do to one ride: one row of `reliability_of`."""
    outage = ride.house.site.outage
    weight = start_weight(ride.house.hours.month, outage.month_weights)
    hours = np.where(ride.censored, ride.horizon_h, ride.hours)
    wanted = float(weight @ outage_kw(ride.house, ride.load_case).sum(axis=0)) if len(ride.house.carried) else 0.0
    return {
        "ridden_through_frac": ridden_frac(hours, kinds, weight),
        "out": indices_out(hours, kinds, weight),
        "unserved_kwh_per_year": float(weight @ unserved_of(ride, kinds)),
        "without_battery_kwh_per_year": wanted * indices_in(kinds)["saidi_h"],
    }


def second_outage_of(ride: RideThrough, kinds: Sequence[Interruptions], *, n_moments: int = 96) -> dict:
    """Chance that a second interruption begins before the bank is full again after the first emptied it.

    Notes
    -----
    Interruptions are taken as independent (Poisson), so the storm that takes the line down twice is left out: the
    chance is a low one. The refill follows `operation.after_outage`, its hours are the mean of moments spread over
    the year.
    """
    run = ride.run
    n = run.hours.n_steps
    full_h = np.array([refill_of(run, int(k)).full_h for k in np.linspace(0, n, n_moments, endpoint=False)])
    per_h = sum(k.per_year for k in kinds) / HOURS_A_YEAR
    chance = float(np.mean(-np.expm1(-per_h * full_h)))
    mean_h = float(full_h.mean())
    return {
        "refill_h": mean_h if mean_h < inf else None,
        "chance_frac": chance,
        "per_year": chance * per_h * HOURS_A_YEAR,
        "independent": True,
    }


def reliability_of(ride: RideThrough, others: Sequence[RideThrough] = (), *, weather=None) -> dict | None:
    """The reliability part of the study document; None where the site names no interruptions.

    Parameters
    ----------
    ride : RideThrough
        The site's own load case.
    others : sequence of RideThrough
        Rides of other load cases that were simulated already; what is missing is simulated here.
    weather : Weather, optional
        The site's weather file, where it was read already.

    Returns
    -------
    dict or None
        in (saifi, saidi_h, caidi_h of the utility), cases (usual, frugal and storm as rows of their own), storm_days,
        second_outage, cold_load_pickup, notes.
    """
    outage = ride.house.site.outage
    kinds = interruptions_of(outage)
    if not kinds:
        return None
    rides = {one.load_case: one for one in (*others, ride)}
    for case in LOAD_CASES:
        if case not in rides:
            rides[case] = ride_through(ride.run, load_case=case)
    return {
        "in": indices_in(kinds),
        "everyday": vars(kinds[0]) if outage.per_year is not None and outage.mean_h is not None else None,
        "major": vars(kinds[-1]) if outage.major is not None else None,
        "cases": {case: reliability_row(rides[case], kinds) for case in LOAD_CASES},
        "storm_days": storm_rows(rides["storm"], weather),
        "second_outage": second_outage_of(ride, kinds),
        "cold_load_pickup": pickup_of(ride),
        "notes": _notes(ride, outage),
    }


def _notes(ride: RideThrough, outage: Outage) -> list[str]:
    notes = ["expected values of one modelled year and of a lognormal duration; no confidence interval from its steps"]
    if outage.sigma is None:
        notes.append(f"outage.sigma = {SIGMA:g} (engineering range 1.2-1.6)")
    if outage.major is not None:
        notes.append(f"major events spread with sigma {MAJOR_SIGMA:g}: most last half to twice their mean")
    if outage.month_weights is not None:
        notes.append("outage.month_weights weigh expected values only; quantiles of hours are unweighted")
    if ride.censored.any():
        notes.append(f"outages that outlive {ride.horizon_h:g} h count as lost there")
    if ride.house.never_carried:
        notes.append("never-carried circuits are in none of these figures: " + ", ".join(ride.house.never_carried))
    return notes
