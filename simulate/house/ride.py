"""How a site rides through an outage that begins at any step of its year."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from profiles.loads.circuit import CONSEQUENCES
from simulate.house.first_priority import first_priority
from simulate.house.glance import ride_html
from simulate.house.house import House, without_circuits
from simulate.house.outage_met import HAND_WINDOW, island_of, outage_kw, start_soc_kwh, throw_steps
from simulate.house.walked import HouseYear
from simulate.house.year import run_year
from simulate.physics.outage_walk import HAND_AFTER_H
from simulate.physics.outages.island import WHY, Dark, Island
from simulate.physics.outages.outages import first_dark
from simulate.physics.outages.spread import SEASONS, TOLERANCE_H, lasting_frac, nine_in_ten, spread
from simulate.site.pools import leg_of
from simulate.site.site import Site


@dataclass(frozen=True, eq=False)
class RideThrough:
    """Hours survived from every step of a year; arrays have shape (n_steps,).

    Attributes
    ----------
    run : HouseYear
    load_case : str
    begin : ndarray of int
        Step at which the units take over: the step itself, or the first at which somebody throws a manual transfer.
    hours : ndarray
        To the first moment at which a carried circuit of priority 1 is unserved, the horizon where none is. [h]
    censored : ndarray of bool
        Outlived the horizon: `hours` means "at least".
    why : ndarray of str
        "empty", "overload", "other-leg", "held-off", "never-carried" where the wiring serves no circuit, or "" where
        nothing was lost.
    first_lost : ndarray of int
        Index of the first circuit lost, in the site's order; -1 where none is.
    leg_hours : dict
        By leg, hours to the first unserved single-pole circuit on it, shape (n_steps,). [h]
    """

    run: HouseYear
    load_case: str
    horizon_h: float
    soc_kwh: np.ndarray
    begin: np.ndarray
    hours: np.ndarray
    censored: np.ndarray
    why: np.ndarray
    first_lost: np.ndarray
    leg_hours: dict[str, np.ndarray]
    dark: Dark

    @property
    def house(self) -> House:
        return self.run.house

    def island(self) -> tuple[Island, dict]:
        """What the pools met, and the circuits that load control dropped, as `island_of`; worked out anew each time."""
        return island_of(self.house, self.load_case)

    def name_of(self, index: int) -> str:
        """Name of a circuit, "none" for -1."""
        return self.house.site.circuit[index].name if index >= 0 else "none"

    @cached_property
    def usually_lost(self) -> str:
        """The circuit that is lost first in most outages."""
        lost = self.first_lost[self.first_lost >= 0]
        return self.name_of(int(np.bincount(lost).argmax())) if len(lost) else "none"

    @cached_property
    def first_legs(self) -> np.ndarray:
        """Leg that goes dead first in each outage: "A", "B", "both", "" where none does, shape (n_steps,) of str."""
        pools = self.house.pools
        if not self.dark.dark_h.shape[1]:
            return np.full(len(self.hours), "", dtype="<U4")
        when = np.where(self.house.carrying, self.dark.dark_h, np.inf)
        first = when.min(axis=1)
        dead = np.isfinite(first)[:, None] & (when <= first[:, None] + TOLERANCE_H)
        names = np.array(["both" if len(pool.legs) > 1 else pool.legs for pool in pools], dtype="<U4")
        out = np.where(dead.any(axis=1), names[dead.argmax(axis=1)], "")
        return np.where(dead.sum(axis=1) > 1, "both", out)

    @cached_property
    def circuit_hours(self) -> np.ndarray:
        """Hours to the first moment at which each carried circuit is unserved, shape (n_carried, n_steps). [h]"""
        house, ends = self.house, []
        dropped = None if house.site.subpanel.load_control == "none" or not len(house.carried) else self.island()[1]
        for c in range(len(house.carried)):
            ends.append(np.minimum(self.dark.dark_h[:, house.share[:, c] > 0.0].min(axis=1), self.horizon_h))
            if dropped is not None:
                among = np.arange(len(house.carried)) == c
                ends[-1] = np.minimum(ends[-1], _drop_h(house, dropped, self.begin, among))
        return np.array(ends).reshape(len(ends), len(self.hours))

    @cached_property
    def usual_leg(self) -> str:
        """The leg that goes dead first in most outages, "none" where none does."""
        return most_common(self.first_legs) or "none"

    def in_months(self, months) -> np.ndarray:
        """Hours of the outages that begin in these months."""
        return self.hours[np.isin(self.house.hours.month, months)]

    @cached_property
    def p10_by_month(self) -> np.ndarray:
        """Nine times in ten of each month's outages, shape (12,); infinite for a month without any. [h]"""
        month = self.house.hours.month
        out = np.full(12, np.inf)
        for k in np.unique(month):
            out[k - 1] = nine_in_ten(self.hours[month == k])
        return out

    @cached_property
    def why_frac(self) -> dict[str, float]:
        """Share of outages by what ended them."""
        kinds, counts = np.unique(self.why[self.why != ""], return_counts=True)
        return {str(kind): float(count) / len(self.hours) for kind, count in zip(kinds, counts, strict=True)}

    def document(self) -> dict:
        """The outage part of the study document."""
        months = self.house.hours.month
        outage = self.house.site.outage
        return {
            "simulated": len(self.hours),
            "horizon_h": self.horizon_h,
            "start_soc": outage.start_soc,
            "load_case": self.load_case,
            "hours": spread(self.hours),
            "by_season": {name: spread(self.in_months(m)) for name, m in SEASONS.items()},
            "by_month": [spread(self.hours[months == m]) for m in range(1, 13)],
            "lasting_frac": lasting_frac(self.hours, self.horizon_h),
            "censored_frac": float(self.censored.mean()),
            "first_lost": self.usually_lost,
            "first_lost_leg": self.usual_leg,
            "why": self.why_frac,
            "never_carried": list(self.house.never_carried),
            "legs": {leg: spread(hours) for leg, hours in self.leg_hours.items()},
        }

    def to_frame(self):
        """One row an outage, the columns of outages.csv."""
        import pandas as pd

        axis = self.house.hours
        return pd.DataFrame(
            {
                "start_utc": axis.utc.strftime("%Y-%m-%dT%H:%M:%SZ"),
                "start_local": axis.local_text,
                "soc_kwh": self.soc_kwh.sum(axis=0),
                "hours": self.hours,
                "censored": self.censored,
                "first_lost": [self.name_of(k) for k in self.first_lost],
                "why": self.why,
            }
        )

    def _repr_html_(self) -> str:
        return ride_html(self)


def most_common(names: np.ndarray) -> str:
    """The name that occurs most often, the first of the alphabet where several do; "" where there is none.

    Examples
    --------
    >>> most_common(np.array(["B", "A", "B", ""]))
    'B'
    """
    found, counts = np.unique(names[names != ""], return_counts=True)
    return str(found[counts.argmax()]) if len(found) else ""


def ride_through(
    site: Site | House | HouseYear, *, load_case: str | None = None, without: tuple[str, ...] = ()
) -> RideThrough:
    """Start an outage at every step of the year and follow it to the horizon.

    Parameters
    ----------
    site : Site, House or HouseYear
        A year that was run already is used as it is.
    load_case : "usual", "frugal" or "storm", optional
        By default the site's.
    without : tuple of str
        Circuits that are switched off when the outage begins.

    Returns
    -------
    RideThrough

    Examples
    --------
    >>> from simulate.site.site import read_site
    >>> len(ride_through(read_site()).hours)
    8760
    """
    run = site if isinstance(site, HouseYear) else run_year(site)
    if without:
        run = replace(run, asked=replace(run.asked, house=without_circuits(run.house, without)))
    house = run.house
    outage = house.site.outage
    case = load_case or outage.load_case
    pools = tuple(leg_pool.pool for leg_pool in house.pools)
    soc = start_soc_kwh(run)
    n = house.hours.n_steps
    if not pools or not len(house.carried):
        return _nothing_carried(run, case, soc)
    island, dropped = island_of(house, case)
    begin = throw_steps(house)
    step_h = house.hours.step_h
    asked = {"step_h": step_h, "horizon_h": outage.horizon_h, "begin": begin}
    dark = first_dark(island, pools, soc, **asked)
    hours, censored, why = first_priority(house, dark, outage.horizon_h)
    why = _why_of_both(why, island, pools, soc, dark, **asked)
    return RideThrough(
        run=run,
        load_case=case,
        horizon_h=outage.horizon_h,
        soc_kwh=soc,
        begin=begin % n,
        hours=hours,
        censored=censored,
        why=why,
        first_lost=_first_lost(house, case, dark, dropped, begin),
        leg_hours=_leg_hours(house, dark, dropped, begin),
        dark=dark,
    )


def _nothing_carried(run: HouseYear, case: str, soc) -> RideThrough:
    n = run.hours.n_steps
    dark = Dark(np.zeros((n, 0)), np.zeros((n, 0)), np.zeros((n, 0), np.int64), np.zeros(n))
    return RideThrough(
        run=run,
        load_case=case,
        horizon_h=run.house.site.outage.horizon_h,
        soc_kwh=soc,
        begin=np.arange(n),
        hours=np.zeros(n),
        censored=np.zeros(n, bool),
        why=np.full(n, "never-carried"),
        first_lost=np.full(n, -1),
        leg_hours={},
        dark=dark,
    )


def _why_of_both(why, island: Island, pools, soc, dark: Dark, **asked) -> np.ndarray:
    """A two-pole circuit is lost to the other leg only where that one stops first: not where both end at once."""
    if not (why == "other-leg").any():
        return why
    own = np.array(["", *WHY.values()])[dark.why[np.arange(len(why)), dark.dark_h.argmin(axis=1)]]
    return np.where((why == "other-leg") & end_together(island, pools, soc, dark, **asked), own, why)


def _first_lost(house: House, load_case: str, dark: Dark, dropped: dict, begin) -> np.ndarray:
    """Index in the site of the first circuit lost: of those that go at once the gravest, then the largest kW."""
    kw = outage_kw(house, load_case)
    n, step_h = house.hours.n_steps, house.hours.step_h
    gravity = np.array([-circuit.consequence for circuit in house.circuits], dtype=float).reshape(-1, 1)
    rank = (gravity + len(CONSEQUENCES)) * 1e6 + kw
    drop_h = _drop_h(house, dropped, begin, np.ones(len(house.circuits), bool))
    dark_h = np.where(house.carrying, dark.dark_h, np.inf)
    when = np.minimum(dark_h.min(axis=1), drop_h)
    lost = when < house.site.outage.horizon_h
    step = (begin + np.floor(np.where(lost, when, 0.0) / step_h + TOLERANCE_H).astype(np.int64)) % n
    best, out = np.full(len(when), -1.0), np.full(len(when), -1)
    on_pool = [np.broadcast_to(share[:, None] > 0.0, kw.shape) for share in house.share]
    events = [(dark_h[:, p] <= when + TOLERANCE_H, among) for p, among in enumerate(on_pool)]
    events.append((drop_h <= when + TOLERANCE_H, dropped[_hands(house)]))
    for happened, among in events:
        key = np.where(among, rank, -1.0)
        top, who = key.max(axis=0), key.argmax(axis=0)
        better = happened & lost & (top[step] > best)
        best[better], out[better] = top[step][better], house.carried[who[step[better]]]
    return out


def _hands(house: House) -> int:
    """1 where circuits are dropped by hand, 0 where by load control: the key of what is dropped."""
    return 1 if house.site.subpanel.load_control == "by-hand" else 0


def _drop_h(house: House, dropped: dict, begin, among) -> np.ndarray:
    """Hours to the first step in which one of these circuits is dropped while every pool is up, shape (n_steps,)."""
    step_h, by_hand = house.hours.step_h, _hands(house)
    off = dropped[by_hand][among].any(axis=0)
    if by_hand:
        off &= house.hours.in_windows(HAND_WINDOW)
    steps = np.flatnonzero(np.tile(off, 3))
    if not len(steps):
        return np.full(len(begin), np.inf)
    first = begin + (int(np.ceil(HAND_AFTER_H / step_h - TOLERANCE_H)) if by_hand else 0)
    return (steps[np.searchsorted(steps, first)] - begin) * step_h


def _leg_hours(house: House, dark: Dark, dropped: dict, begin) -> dict[str, np.ndarray]:
    """By leg, hours to its first unserved single-pole circuit; to the first two-pole one where it has no other."""
    out, on = {}, np.array([leg_of(circuit, house.pools) for circuit in house.circuits])
    for p, leg_pool in enumerate(house.pools):
        for leg in leg_pool.legs:
            ends = [dark.dark_h[:, p], dark.shed_h[:, p]]
            if len(leg_pool.legs) > 1 and (on == leg).any():
                ends[1] = _drop_h(house, dropped, begin, on == leg)
            if not (on == leg).any():
                ends = [dark.dark_h.min(axis=1), _drop_h(house, dropped, begin, on == "AB")]
            if np.isin(on, (leg, "AB")).any():
                out[leg] = np.minimum(np.minimum(*ends), house.site.outage.horizon_h)
    return dict(sorted(out.items()))


def worst_middle_best(ride: RideThrough) -> dict[str, int]:
    """Steps at which the worst, a middling and the best outage begin."""
    order = np.argsort(ride.hours, kind="stable")
    return {"worst": int(order[0]), "middle": int(order[(len(order) - 1) // 2]), "best": int(order[-1])}


HAIR_KWH = 1e-7


def end_together(island: Island, pools, soc, dark: Dark, **asked) -> np.ndarray:
    """Outages in which both pools end at once: with a hair less energy the other one would have ended first."""
    out = np.zeros(soc.shape[1], bool)
    for p, q in ((0, 1), (1, 0)) if len(pools) == 2 else ():
        less = soc.copy()
        less[q] = np.maximum(less[q] - HAIR_KWH, 0.0)
        again = first_dark(island, pools, less, **asked)
        out |= (dark.dark_h[:, p] <= dark.dark_h[:, q]) & (again.dark_h[:, q] <= dark.dark_h[:, p] + TOLERANCE_H)
    return out
