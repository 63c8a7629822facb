"""What a reserve costs: the bill saving of a year against the hours that its outages last, reserve by reserve."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from profiles.noun import BadInput
from profiles.rate.calendar import rate_calendar
from profiles.rate.meter_sums import meter_sums
from simulate.bill.amounts import bill_amounts
from simulate.house.asked import Asked, ask_plan, plan_and_reserve, prices_of
from simulate.house.first_priority import first_priority
from simulate.house.foreseen import BestPlanner
from simulate.house.house import House, house_of
from simulate.house.levels import Choice, Levels
from simulate.house.outage_met import island_of, start_soc_kwh, throw_steps
from simulate.house.targets import with_reserve
from simulate.house.walked import HouseYear, walk_asked, without_battery_kw
from simulate.physics.outages.outages import first_dark
from simulate.physics.outages.spread import TOLERANCE_H, nine_in_ten
from simulate.site.site import Site

FINE, COARSE = 101, 11
"""Reserve levels from empty to full: where a year takes milliseconds, and where it takes a second."""
FINE_PLANS = ("keep-full", "time-of-use", "self-consumption")
BEST = "best-possible"


@dataclass(frozen=True, eq=False)
class Frontier:
    """What a reserve costs, for the site's plan and for the best possible.

    Attributes
    ----------
    plan, best : Levels
        `best` is what the same circuits save where the whole year is known beforehand, walked like any plan.
    for_h, share : float
        What `operation` asks of a reserve. [h], [0 to 1]
    currency : str
    """

    plan: Levels
    best: Levels
    for_h: float
    share: float
    currency: str

    @cached_property
    def chosen_frac(self) -> float | None:
        """The cheapest reserve of the plan that lasts as asked; None where there is none."""
        level = self.plan.cheapest(self.share)
        return None if level is None else float(self.plan.reserve_frac[level])

    def document(self) -> dict:
        """Plain numbers, for JSON."""
        return {
            "currency": self.currency,
            "for_h": self.for_h,
            "share": self.share,
            "chosen_reserve": self.chosen_frac,
            "curves": [self.plan.document(), self.best.document()],
        }

    def to_frame(self):
        """One row a level and curve."""
        import pandas as pd

        rows = [
            pd.DataFrame(
                {
                    "curve": name,
                    "plan": levels.plan,
                    "reserve_frac": levels.reserve_frac,
                    "saving": levels.saving,
                    "hours_p10": levels.hours,
                    "lasting_frac": levels.lasting_frac,
                }
            )
            for name, levels in (("plan", self.plan), ("best possible", self.best))
        ]
        return pd.concat(rows, ignore_index=True)


def frontier_of(site: Site | HouseYear, n_levels: int | None = None) -> Frontier:
    """What saving each reserve gives up for the hours that it adds.

    Parameters
    ----------
    site : Site or HouseYear
        Of a year that was run already only the house and its prices are used.
    n_levels : int, optional
        Reserve levels from 0 to 1, 2 or more; 101 where every year is exact and fast, else 11.

    Returns
    -------
    Frontier

    Raises
    ------
    BadInput
        Fewer than two levels; whatever a year of the site refuses.

    Notes
    -----
    Every level is a year of its own: planned, walked until it closes, priced, and cut off at every step. Nothing is
    interpolated. Outages start as `outage.start_soc` says; where that is not "as-run" a reserve adds no hours.

    Examples
    --------
    >>> from simulate.site.site import read_site
    >>> frontier = frontier_of(read_site(), n_levels=2)
    >>> bool(frontier.plan.saving[0] > frontier.plan.saving[1])
    True
    """
    if n_levels is not None and not n_levels >= 2:
        raise BadInput("must be 2 or more", key="n_levels", value=n_levels)
    house = site.house if isinstance(site, HouseYear) else house_of(site)
    prices = site.asked.prices if isinstance(site, HouseYear) else prices_of(house)
    operation, name = house.site.operation, plan_and_reserve(house.site, prices)[0]
    outlook = Outlook(house)
    plan = levels_of(ask_plan(house, prices, name), n_levels, outlook)
    best = plan if name == BEST else levels_of(ask_plan(house, prices, BEST), n_levels, outlook)
    return Frontier(plan, best, operation.reserve_for_h, operation.reserve_share, house.site.rate.currency)


def levels_of(base: Asked, n_levels: int | None = None, outlook: Outlook | None = None) -> Levels:
    """A plan at each reserve level.

    Parameters
    ----------
    base : Asked
        From `year.ask_plan`.
    n_levels : int, optional
        As `frontier_of`.
    outlook : Outlook, optional
        Of the same house.
    """
    planner, method = None, "walked at every level"
    fine = base.plan in FINE_PLANS
    if base.plan == BEST:
        planner = BestPlanner(base)
        method, fine = f"{method}, targets by the {planner.method}", planner.is_exact
    reserve, outlook = np.linspace(0.0, 1.0, n_levels or (FINE if fine else COARSE)), outlook or Outlook(base.house)
    rows = [outlook.level(with_reserve(base, float(one), planner)) for one in reserve]
    return Levels(base.plan, reserve, *np.array(rows).T, method)


class Outlook:
    """Saving and hours of one house at any reserve: what the levels share is worked out once."""

    def __init__(self, house: House):
        self.house, self.rate = house, house.site.rate
        self.calendar = rate_calendar(self.rate, house.hours)
        if house.pools and len(house.carried):
            self.island, self.begin = island_of(house, house.site.outage.load_case)[0], throw_steps(house)
        self._last, self._without = (np.zeros(0), np.zeros(0)), None

    def bill(self, import_kw, export_kw) -> float:
        """What a year of import and export costs. [currency]"""
        try:
            sums = meter_sums(import_kw, export_kw, self.rate, self.calendar)
            return float(bill_amounts(sums, self.rate, self.calendar).total)
        except BadInput as error:
            raise error.at(self.house.site.file) from None

    def hours(self, run: HouseYear) -> np.ndarray:
        """Hours survived from every step, shape (n_steps,). [h]"""
        if not self.house.pools or not len(self.house.carried):
            return np.zeros(self.house.hours.n_steps)
        soc, outage = start_soc_kwh(run), self.house.site.outage
        if not np.array_equal(soc, self._last[0]):
            times = {"step_h": self.house.hours.step_h, "horizon_h": outage.horizon_h, "begin": self.begin}
            dark = first_dark(self.island, run.asked.pools, soc, **times)
            self._last = (soc, first_priority(self.house, dark, outage.horizon_h)[0])
        return self._last[1]

    def level(self, asked: Asked) -> tuple[float, float, float]:
        """Saving, hours nine times in ten, and the share of outages that last as asked, of one year."""
        run = walk_asked(asked)
        hours = self.hours(run)
        lasting = float((hours >= self.house.site.operation.reserve_for_h - TOLERANCE_H).mean())
        if self._without is None:
            self._without = self.bill(*without_battery_kw(run))
        saving = self._without - self.bill(run.year.import_kw, run.year.export_kw)
        return saving, nine_in_ten(hours), lasting


def choose_reserve(base: Asked) -> Asked:
    """The cheapest reserve at which enough outages last as long as asked: `reserve = "best"`.

    Parameters
    ----------
    base : Asked
        From `year.ask_plan`.

    Returns
    -------
    Asked
        Where no reserve meets what is asked it is held full, and `Choice.text` says so loudly.
    """
    operation, horizon_h = base.house.site.operation, base.house.site.outage.horizon_h
    if not operation.reserve_for_h <= horizon_h:
        raise BadInput(
            f"must not exceed outage.horizon_h = {horizon_h:g}",
            file=base.house.site.file,
            key="operation.reserve_for_h",
            value=operation.reserve_for_h,
        )
    levels = levels_of(base)
    level = levels.cheapest(operation.reserve_share)
    met = level is not None
    level = level if met else len(levels.reserve_frac) - 1
    lasting = float(levels.lasting_frac[level])
    choice = Choice(operation.reserve_for_h, operation.reserve_share, lasting, met, levels)
    return replace(with_reserve(base, float(levels.reserve_frac[level])), choice=choice)
