"""What a site file may say of the price of an installation: prices of the material list, labour, markup."""

from __future__ import annotations

from pydantic import Field

from profiles.loads.circuit import NotNegative
from profiles.noun import Noun


class Extra(Noun):
    """A line of the quote that is no material and no labour."""

    name: str = Field(min_length=1, description="such as a permit or an inspection")
    price: NotNegative = Field(description="price [currency]")


class Quote(Noun):
    """Prices of the material list, labour and markup: together the price that [money] uses."""

    prices: dict[str, NotNegative] = Field(
        default_factory=dict, description="price of one piece or foot, by the item's name on the material list"
    )
    labour_hours: NotNegative = Field(description="hours of work, however many units there are [h]")
    labour_hours_per_unit: NotNegative = Field(0.0, description="hours of work on top, each battery unit [h]")
    labour_per_h: NotNegative = Field(description="price of an hour [currency/h]")
    markup_frac: NotNegative = Field(0.0, description="markup on priced material, not on labour [0 to 1]")
    other: tuple[Extra, ...] = Field((), description="permit, inspection and the like")
