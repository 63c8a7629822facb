"""What an installation costs, worked out in one place: units, and what goes with them as stated or as quoted."""

from __future__ import annotations

import difflib
from dataclasses import dataclass

from profiles.noun import BadInput
from simulate.panel.checks.layout import Layout
from simulate.panel.sheets.materials import pieces_of, unit_item
from simulate.site.money import Money
from simulate.site.site import Site


@dataclass(frozen=True)
class Quoted:
    """The material list with its prices, labour and markup.

    Attributes
    ----------
    lines : tuple of (str, float, str, str, float or None)
        Item, quantity (None where it is not known), unit, use, price of one. [currency]
    units, material, markup, labour, other : float
        Battery units and other material before markup, the markup on both, labour, permit and the like. [currency]
    missing : tuple of str
        Items without a price or without a quantity.
    """

    lines: tuple[tuple, ...]
    units: float
    material: float
    markup_frac: float
    labour: float
    other: float
    missing: tuple[str, ...]

    @property
    def markup(self) -> float:
        return self.markup_frac * (self.units + self.material)

    @property
    def beside_units(self) -> float:
        """All but the battery units, markup included: what [money] calls other_installed_price. [currency]"""
        return self.material * (1.0 + self.markup_frac) + self.labour + self.other

    @property
    def total(self) -> float:
        return self.units + self.material + self.markup + self.labour + self.other


def quoted(site: Site) -> Quoted | None:
    """The quote of a site; None where it has no [quote].

    Units without a price in [quote] keep their installed_price, which is taken as it is, without markup.

    Raises
    ------
    BadInput
        A price that stands twice: units' in [quote] and as installed_price, or other_installed_price beside [quote].
    """
    quote = site.quote
    if quote is None:
        return None
    layout = Layout(site)
    pieces = pieces_of(layout)
    _check(site)
    unit_items = {unit_item(group): group for group in layout.groups}
    lines, missing, units, material = [], [], 0.0, 0.0
    for (item, unit, use), n in sorted(pieces.items()):
        price = quote.prices.get(item)
        lines.append((item, n, unit, use, price))
        if item in unit_items and price is None:
            continue
        if price is None or n is None:
            missing.append(f"{item} ({use}{_hint(quote.prices, item, n)})")
        elif item in unit_items:
            units += n * price
        else:
            material += n * price
    count = sum(group.count for group in layout.groups)
    labour = (quote.labour_hours + count * quote.labour_hours_per_unit) * quote.labour_per_h
    other = sum(one.price for one in quote.other)
    return Quoted(tuple(lines), units, material, quote.markup_frac, labour, other, tuple(missing))


def _hint(prices: dict[str, float], item: str, n: float | None) -> str:
    """A price that stands under nearly this name, or that the quantity is what is missing."""
    if n is None:
        return "; its length or size is not in the site file"
    close = difflib.get_close_matches(item, prices, n=1, cutoff=0.85)
    return f'; [quote] has "{close[0]}"' if close and item not in prices else ""


def _check(site: Site) -> None:
    if site.money is not None and site.money.other_installed_price:
        raise BadInput(
            "must be left out beside [quote], which gives it",
            file=site.file,
            key="money.other_installed_price",
            value=site.money.other_installed_price,
        )
    for group in site.battery:
        if unit_item(group) in site.quote.prices and group.installed_price is not None:
            raise BadInput(
                f'must not stand beside the price of "{unit_item(group)}" in [quote]',
                file=site.file,
                key=f'battery "{group.name}".installed_price',
                value=group.installed_price,
            )


def price_of_units(site: Site) -> float | None:
    """Installed price of all battery units; None where one is not given or the quote is not complete. [currency]"""
    return _units(site, quoted(site))


def _units(site: Site, quote: Quoted | None) -> float | None:
    if _not_priced(site, quote):
        return None
    in_quote = set() if quote is None else set(site.quote.prices)
    own = [group for group in site.battery if group.count and unit_item(group) not in in_quote]
    stated = float(sum(group.count * group.installed_price for group in own))
    return stated if quote is None else stated + quote.units * (1.0 + quote.markup_frac)


def not_priced(site: Site) -> list[str]:
    """What has no price: battery groups, and items of a quote."""
    return _not_priced(site, quoted(site))


def _not_priced(site: Site, quote: Quoted | None) -> list[str]:
    groups = [group for group in site.battery if group.count]
    prices = {} if quote is None else site.quote.prices
    names = [g.name for g in groups if g.installed_price is None and unit_item(g) not in prices]
    return names + (list(quote.missing) if quote is not None and groups else [])


def price_of_solar(site: Site) -> float | None:
    """Installed price of a roof that is new; None without one or without its price. [currency]"""
    money, solar = site.money, site.solar
    if money is None or money.solar is None or solar is None or solar.existing:
        return None
    return money.solar.price_of(solar.dc_kw)


def other_price(site: Site) -> float:
    """What goes with the units, as quoted or as stated; nothing without a unit. [currency]"""
    return _other(site, quoted(site))


def _other(site: Site, quote: Quoted | None) -> float:
    if not any(group.count for group in site.battery):
        return 0.0
    if quote is not None:
        return quote.beside_units
    return 0.0 if site.money is None else float(site.money.other_installed_price)


def money_of(site: Site) -> Money | None:
    """The site's [money] with what goes with the units as its other_installed_price."""
    if site.money is None:
        return None
    return site.money.model_copy(update={"other_installed_price": other_price(site)})


def installed_price(site: Site) -> float | None:
    """Price of the units, of what goes with them and of a new roof; None where one is not given. [currency]

    Without a unit it is that of the roof alone, 0 without one. A new roof without a price is left out, as the cash flow
    leaves it out.

    Examples
    --------
    >>> from simulate.site.site import read_site
    >>> site = read_site()
    >>> installed_price(site) - price_of_units(site) == site.money.other_installed_price
    True
    >>> installed_price(site.with_values({"battery.count": 0}))
    0.0
    """
    quote = quoted(site)  # counted once: a sweep asks for thousands of prices
    units = _units(site, quote)
    return None if units is None else units + _other(site, quote) + (price_of_solar(site) or 0.0)
