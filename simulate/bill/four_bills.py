"""Four bills: what is paid today, then the new rate, then solar, then the battery, each step beside its change."""

from __future__ import annotations

import functools
from dataclasses import dataclass

from profiles.hours import Hours
from profiles.noun import BadInput
from profiles.rate.rate import Rate
from simulate.bill.bill import Bill, price_bill


@dataclass(frozen=True)
class Step:
    """One of the bills on the way from today's to the one that will be paid.

    Attributes
    ----------
    name : str
        today, rate, solar or battery.
    bill : Bill
    change : float
        Its total minus that of the step before; 0 for today. [currency]
    """

    name: str
    bill: Bill
    change: float


@dataclass(frozen=True)
class FourBills:
    """Bills of the same year; effects are positive where they save, changes where more is paid.

    Attributes
    ----------
    today : Bill
        What is paid now: the rate of today, with a roof that stands already, without the battery.
    new_rate : Bill or None
        The same house on the new rate; None where the rate does not change.
    without_battery, with_battery : Bill
        On the new rate, with solar.
    adds_solar, adds_battery : bool
        Is solar, is a battery a step?
    """

    today: Bill
    new_rate: Bill | None
    without_battery: Bill
    with_battery: Bill
    adds_solar: bool = False
    adds_battery: bool = True

    @functools.cached_property
    def steps(self) -> tuple[Step, ...]:
        """Today's bill and each step that the site has, in order."""
        bills = {"today": self.today, "rate": self.new_rate}
        bills |= {"solar": self.without_battery} if self.adds_solar else {}
        bills |= {"battery": self.with_battery} if self.adds_battery else {}
        steps: list[Step] = []
        for name, bill in bills.items():
            if bill is not None:
                steps.append(Step(name, bill, bill.total - steps[-1].bill.total if steps else 0.0))
        return tuple(steps)

    @property
    def change(self) -> float | None:
        """What is paid in the end minus what is paid today: negative is less; None with one bill only. [currency]"""
        return self.steps[-1].bill.total - self.today.total if len(self.steps) > 1 else None

    @property
    def without_solar(self) -> Bill:
        """The bill that solar is held against: the step before it; with none, that without the battery."""
        before = self.today if self.new_rate is None else self.new_rate
        return before if self.adds_solar else self.without_battery

    @property
    def solar_effect(self) -> float:
        """Saving of new solar on the new rate; 0 where none is new. [currency]"""
        return self.without_solar.total - self.without_battery.total

    @property
    def saving(self) -> float:
        """Saving of the battery on the same rate: the battery effect. It may be negative. [currency]"""
        return self.without_battery.total - self.with_battery.total

    @property
    def tariff_effect(self) -> float | None:
        """Saving of the change of rate alone, never credited to the battery; None without one. [currency]"""
        return None if self.new_rate is None else self.today.total - self.new_rate.total

    @property
    def total_effect(self) -> float:
        """Saving of all steps together. [currency]"""
        return self.today.total - self.with_battery.total

    @functools.cached_property
    def apart(self) -> dict[str, Bill]:
        """The bills that are not another of them by name: today and new_rate only where they differ in kind."""
        known = {"today": self.today, "new_rate": self.new_rate}
        return {
            **{name: bill for name, bill in known.items() if bill is not None and bill is not self.without_battery},
            "without_battery": self.without_battery,
            "with_battery": self.with_battery,
        }

    def document(self) -> list[dict]:
        """`bill.steps`: name, total and change of each step."""
        return [{"name": one.name, "total": one.bill.total, "change": one.change} for one in self.steps]

    def by_month(self) -> list[dict]:
        """A row for each billing month; today's amount is None where its cycles are not those of the new rate."""
        return [
            {
                "month": month,
                "today": self.today.by_month.get(month),
                "without_battery": self.without_battery.by_month.get(month, 0.0),
                "with_battery": self.with_battery.by_month.get(month, 0.0),
            }
            for month in _keys(self.without_battery.by_month, self.with_battery.by_month)
        ]

    def by_kind(self) -> list[dict]:
        """A row for each kind of line: fixed, energy, demand, export ..."""
        bills = {"today": self.today, "without_battery": self.without_battery, "with_battery": self.with_battery}
        kinds = _keys(*(bill.by_kind for bill in bills.values()))
        return [{"kind": kind} | {name: bill.by_kind.get(kind, 0.0) for name, bill in bills.items()} for kind in kinds]


def four_bills(
    today_rate: Rate | None,
    rate: Rate,
    without_kw: tuple,
    with_kw: tuple,
    hours: Hours,
    *,
    without_solar_kw: tuple | None = None,
    adds_battery: bool = True,
) -> FourBills:
    """Price one year up to four times, so that no step is credited with what another changes.

    Parameters
    ----------
    today_rate : Rate or None
        What the client pays now; None: the rate does not change.
    rate : Rate
        The new rate.
    without_kw, with_kw : pair of array_like, each of shape (n_steps,)
        Import and export without and with the battery, with all solar. [kW]
    hours : Hours
    without_solar_kw : pair of array_like, optional
        Import and export of today where solar is new; by default today has the solar that there is, if any. [kW]
    adds_battery : bool
        Is there a battery at all?

    Raises
    ------
    BadInput
        Two currencies, or a series that `price_bill` refuses.

    Examples
    --------
    >>> import numpy as np
    >>> from profiles.hours import hours_of_year
    >>> kw, none = np.ones(8760), np.zeros(8760)
    >>> four = four_bills(Rate(price_per_kwh=0.10), Rate(price_per_kwh=0.11), (kw, none), (kw / 2, none),
    ...                   hours_of_year(2025, "UTC"))
    >>> [(one.name, round(one.change, 6)) for one in four.steps], round(four.change, 6)
    ([('today', 0.0), ('rate', 87.6), ('battery', -481.8)], -394.2)
    """
    if today_rate is not None and today_rate.currency != rate.currency:
        raise BadInput(
            "must be the currency of the new rate",
            key="rate_today.currency",
            value=today_rate.currency,
            way_out=f'write "{rate.currency}" or convert the prices',
        )
    priced = lambda flows, on: price_bill(*flows, on, hours)
    without = priced(without_kw, rate)
    bare = without if without_solar_kw is None else priced(without_solar_kw, rate)
    today = bare if today_rate is None else priced(without_solar_kw or without_kw, today_rate)
    return FourBills(
        today=today,
        new_rate=None if today_rate is None else bare,
        without_battery=without,
        with_battery=priced(with_kw, rate),
        adds_solar=without_solar_kw is not None,
        adds_battery=adds_battery,
    )


def _keys(*bills: dict) -> list[str]:
    return list(dict.fromkeys(key for bill in bills for key in bill))
