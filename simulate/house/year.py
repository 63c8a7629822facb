"""A year of one house: its series and its plan, walked until the year closes on itself."""

from __future__ import annotations

from typing import TYPE_CHECKING

from profiles.rate.prices import Prices
from simulate.house.asked import Asked, ask_plan, plan_and_reserve, prices_of
from simulate.house.frontier import choose_reserve
from simulate.house.house import House, house_of
from simulate.house.targets import with_reserve
from simulate.house.walked import HouseYear, walk_asked
from simulate.site.site import Site

if TYPE_CHECKING:
    pass

"""Units of currency a year by which another plan must do better than least-cost to be run in its place."""


def run_year(site: Site | House, prices: Prices | None = None) -> HouseYear:
    """Simulate one year of a site on the utility.

    Parameters
    ----------
    site : Site or House
    prices : Prices, optional
        Of the site's rate, where they are known already.

    Returns
    -------
    HouseYear

    Raises
    ------
    BadInput
        What the site file lacks or contradicts.

    Examples
    --------
    >>> from simulate.site.site import read_site
    >>> abs(run_year(read_site()).energy_kwh()["residual"]) < 1e-6
    True
    """
    house = site if isinstance(site, House) else house_of(site)
    return walk_asked(ask(house, prices))


def ask(house: House, prices: Prices | None = None) -> Asked:
    """Work out what the operator wants of the pools in every step of the year."""
    if prices is None:
        prices = prices_of(house)
    plan, reserve = plan_and_reserve(house.site, prices)
    asked = ask_plan(house, prices, plan)
    if reserve == "best":
        return choose_reserve(asked)
    return with_reserve(asked, reserve)
