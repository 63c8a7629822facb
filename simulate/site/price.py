"""What an installation costs, worked out in one place."""

from __future__ import annotations

from simulate.site.money import Money
from simulate.site.site import Site


def price_of_units(site: Site) -> float | None:
    """Installed price of all battery units; None where one is not given. [currency]"""
    groups = [group for group in site.battery if group.count]
    if any(group.installed_price is None for group in groups):
        return None
    return float(sum(group.count * group.installed_price for group in groups))


def price_of_solar(site: Site) -> float | None:
    """Installed price of a roof that is new; None without one or without its price. [currency]"""
    money, solar = site.money, site.solar
    if money is None or money.solar is None or solar is None or solar.existing:
        return None
    return money.solar.price_of(solar.dc_kw)


def money_of(site: Site) -> Money | None:
    """The site's [money]; without a unit nothing goes with them (panel, labour, permit)."""
    if site.money is None or any(group.count for group in site.battery):
        return site.money
    return site.money.model_copy(update={"other_installed_price": 0.0})


def installed_price(site: Site) -> float | None:
    """Price of the units and of what goes with them; None where a unit's is not given, 0 without a unit. [currency]

    Examples
    --------
    >>> from simulate.site.site import read_site
    >>> site = read_site()
    >>> installed_price(site) - price_of_units(site) == site.money.other_installed_price
    True
    >>> installed_price(site.with_values({"battery.count": 0}))
    0.0
    """
    units, money = price_of_units(site), money_of(site)
    return None if units is None else units + (0.0 if money is None else float(money.other_installed_price))
