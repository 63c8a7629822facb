"""Three bills: what is paid today, what the new rate costs, and what the new rate costs with the battery."""

from __future__ import annotations

from dataclasses import dataclass

from profiles.hours import Hours
from profiles.noun import BadInput
from profiles.rate.rate import Rate
from simulate.bill.bill import Bill, price_bill


@dataclass(frozen=True)
class ThreeBills:
    """Bills of the same year; effects are positive where they save.

    Attributes
    ----------
    today : Bill or None
        The load on the rate of today, without the battery; None where no such rate is given.
    without_battery, with_battery : Bill
        On the new rate.
    """

    today: Bill | None
    without_battery: Bill
    with_battery: Bill

    @property
    def saving(self) -> float:
        """Saving of the battery on the same rate: the battery effect. It may be negative. [currency]"""
        return self.without_battery.total - self.with_battery.total

    @property
    def tariff_effect(self) -> float | None:
        """Saving of the change of rate alone, never credited to the battery. [currency]"""
        return None if self.today is None else self.today.total - self.without_battery.total

    @property
    def total_effect(self) -> float | None:
        """Saving of both together. [currency]"""
        return None if self.today is None else self.today.total - self.with_battery.total

    def by_month(self) -> list[dict]:
        """A row for each billing month; today's amount is None where its cycles are not those of the new rate."""
        rows = []
        for month in _keys(self.without_battery.by_month, self.with_battery.by_month):
            rows.append(
                {
                    "month": month,
                    "today": None if self.today is None else self.today.by_month.get(month),
                    "without_battery": self.without_battery.by_month.get(month, 0.0),
                    "with_battery": self.with_battery.by_month.get(month, 0.0),
                }
            )
        return rows

    def by_kind(self) -> list[dict]:
        """A row for each kind of line: fixed, energy, demand, export ..."""
        bills = [bill.by_kind for bill in (self.today, self.without_battery, self.with_battery) if bill is not None]
        return [
            {
                "kind": kind,
                "today": None if self.today is None else self.today.by_kind.get(kind, 0.0),
                "without_battery": self.without_battery.by_kind.get(kind, 0.0),
                "with_battery": self.with_battery.by_kind.get(kind, 0.0),
            }
            for kind in _keys(*bills)
        ]


def three_bills(
    today_rate: Rate | None,
    rate: Rate,
    without_kw: tuple,
    with_kw: tuple,
    hours: Hours,
    *,
    today_kw: tuple | None = None,
) -> ThreeBills:
    """Price one year three times, so that a change of rate is never credited to the battery.

    Parameters
    ----------
    today_rate : Rate or None
        What the client pays now.
    rate : Rate
        The new rate.
    without_kw, with_kw : pair of array_like, each of shape (n_steps,)
        Import and export without and with the battery. [kW]
    hours : Hours
    today_kw : pair of array_like, optional
        Import and export of today; by default those without the battery. [kW]

    Raises
    ------
    BadInput
        Two currencies, or a series that `price_bill` refuses.

    Examples
    --------
    >>> import numpy as np
    >>> from profiles.hours import hours_of_year
    >>> kw, none = np.ones(8760), np.zeros(8760)
    >>> three = three_bills(Rate(price_per_kwh=0.10), Rate(price_per_kwh=0.11), (kw, none), (kw / 2, none),
    ...                     hours_of_year(2025, "UTC"))
    >>> round(three.tariff_effect, 6), round(three.saving, 6)
    (-87.6, 481.8)
    """
    if today_rate is not None and today_rate.currency != rate.currency:
        raise BadInput(
            "must be the currency of the new rate",
            key="rate_today.currency",
            value=today_rate.currency,
            way_out=f'write "{rate.currency}" or convert the prices',
        )
    today = None if today_rate is None else price_bill(*(today_kw or without_kw), today_rate, hours)
    return ThreeBills(today, price_bill(*without_kw, rate, hours), price_bill(*with_kw, rate, hours))


def _keys(*bills: dict) -> list[str]:
    return list(dict.fromkeys(key for bill in bills for key in bill))
