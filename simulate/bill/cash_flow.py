"""Cash flow year by year: savings that fade and escalate, costs, incentives, replacements and a loan."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from profiles.noun import BadInput
from simulate.bill.discount import annuity_factor, discount_factors, irr, npv, payback_y
from simulate.site.money import Money, Replacement, SolarMoney


@dataclass(frozen=True, eq=False)
class CashFlow:
    """Money by year, year 0 being the installation; arrays of shape (n_years + 1,), what is paid is negative.

    Attributes
    ----------
    saving, yearly_cost, investment, incentive, replacement, loan : ndarray
        Parts of `net`. [currency]
    net, cumulative, discounted_cumulative : ndarray
        [currency]
    capacity_frac : ndarray
        Of the battery in each year; year 0 is 1. [0 to 1]
    npv : float
        Of `net`. [currency]
    irr : float or None
        Of `net`, a year; None where there is none.
    simple_payback_y : float or None
        Investment less incentives of year 0, over the first year's saving less its yearly cost.
    discounted_payback_y : float or None
        First time that the discounted sum is not negative; the loan is left out, as it is of simple payback.
    paid_back_year : int or None
        First year from which on the discounted sum, loan and all, stays above zero.
    savings_to_investment : float or None
        Present value of savings less yearly costs, over that of investment and replacements less incentives.
    cost_per_kwh_shifted, cost_per_kwh_backed_up : float or None
        Present value of all costs less incentives, over the discounted kWh. [currency/kWh]
    unserved_worth : ndarray
        Worth of what outages did not take, printed apart and in none of the figures above. [currency]
    """

    saving: np.ndarray
    yearly_cost: np.ndarray
    investment: np.ndarray
    incentive: np.ndarray
    replacement: np.ndarray
    loan: np.ndarray
    capacity_frac: np.ndarray
    unserved_worth: np.ndarray
    discount_rate_frac: float
    cost_per_kwh_shifted: float | None
    cost_per_kwh_backed_up: float | None

    @property
    def net(self) -> np.ndarray:
        return self.saving + self.yearly_cost + self.investment + self.incentive + self.replacement + self.loan

    @property
    def cumulative(self) -> np.ndarray:
        return np.cumsum(self.net)

    @property
    def discounted_cumulative(self) -> np.ndarray:
        return np.cumsum(self.net * discount_factors(self.discount_rate_frac, len(self.net)))

    @property
    def npv(self) -> float:
        return npv(self.discount_rate_frac, self.net)

    @property
    def irr(self) -> float | None:
        return irr(self.net)

    @property
    def simple_payback_y(self) -> float | None:
        yearly = float(self.saving[1] + self.yearly_cost[1])
        return float(-(self.investment[0] + self.incentive[0]) / yearly) if yearly > 0 else None

    @property
    def discounted_payback_y(self) -> float | None:
        return payback_y((self.net - self.loan) * discount_factors(self.discount_rate_frac, len(self.net)))

    @property
    def paid_back_year(self) -> int | None:
        """First year from which on the discounted sum, loan and all, is never below zero; None where it ends below."""
        behind = np.flatnonzero(self.discounted_cumulative < 0.0)
        year = int(behind[-1]) + 1 if len(behind) else 0
        return year if year < len(self.net) else None

    @property
    def savings_to_investment(self) -> float | None:
        spent = -npv(self.discount_rate_frac, self.investment + self.replacement + self.incentive)
        return npv(self.discount_rate_frac, self.saving + self.yearly_cost) / spent if spent > 0 else None

    def to_frame(self):
        """A pandas table with a row for each year."""
        import pandas as pd

        parts = (
            "saving",
            "yearly_cost",
            "investment",
            "incentive",
            "replacement",
            "loan",
            "net",
            "cumulative",
            "discounted_cumulative",
            "capacity_frac",
            "unserved_worth",
        )
        return pd.DataFrame({part: getattr(self, part) for part in parts}).rename_axis("year")


def cash_flow(
    money: Money,
    *,
    saving_per_year,
    installed_price: float,
    capacity_frac=None,
    shifted_kwh_per_year: float = 0.0,
    backed_up_kwh_per_year: float = 0.0,
) -> CashFlow:
    """Cash flow of battery units alone from their first year's bill saving, the loan in it.

    Parameters
    ----------
    money : Money
    saving_per_year, installed_price, capacity_frac, shifted_kwh_per_year, backed_up_kwh_per_year
        As `battery_flow` takes them.

    Returns
    -------
    CashFlow

    Raises
    ------
    BadInput
        A series of another length, a number that is not finite.

    Examples
    --------
    >>> flow = cash_flow(Money(years=2, discount_rate_frac=0.0), saving_per_year=60.0, installed_price=100.0)
    >>> flow.net.tolist(), flow.npv, round(flow.simple_payback_y, 3)
    ([-100.0, 60.0, 60.0], 20.0, 1.667)
    """
    battery = battery_flow(
        money,
        saving_per_year=saving_per_year,
        installed_price=installed_price,
        capacity_frac=capacity_frac,
        shifted_kwh_per_year=shifted_kwh_per_year,
        backed_up_kwh_per_year=backed_up_kwh_per_year,
    )
    return whole_flow(money, {"battery": battery})


def battery_flow(
    money: Money,
    *,
    saving_per_year,
    installed_price: float,
    capacity_frac=None,
    shifted_kwh_per_year: float = 0.0,
    backed_up_kwh_per_year: float = 0.0,
) -> CashFlow:
    """The battery's part of a cash flow; the loan is of the whole.

    Parameters
    ----------
    money : Money
    saving_per_year : float, or array_like of shape (n_years,)
        Bill saving at today's prices; it may be negative. One number is the first year's and fades with the capacity;
        a series is taken as it is, each year simulated with its own capacity. [currency/year]
    installed_price : float
        Battery units; `money.other_installed_price` comes on top. [currency]
    capacity_frac : array_like, shape (n_years,), optional
        Capacity in each year, as `age` gives it; by default no fade. [0 to 1]
    shifted_kwh_per_year, backed_up_kwh_per_year : float
        Energy that the battery gives in a first year for the rate, and in outages. [kWh/year]

    Notes
    -----
    Saving of year k: ``saving * capacity_frac[k] * (1 + escalation) ** (k - 1)``. Flows fall at the end of their year;
    year 0 is today. A loss (on-grid draw dearer than the saving) fades like a saving where one number is given.

    References
    ----------
    .. [1] Terms as in NIST Handbook 135 and ASTM E917, E964, E1121 (from memory).
    """
    if not 0.0 <= installed_price < np.inf:
        raise BadInput("must not be negative", key="installed_price", value=installed_price, way_out="give the price")
    price = installed_price + money.other_installed_price
    part = _part_flow(money, money, saving_per_year, price, capacity_frac)
    discount = discount_factors(money.discount_rate_frac, money.years + 1)
    spent = -float((part.investment + part.yearly_cost + part.incentive + part.replacement) @ discount)
    fade = np.concatenate(([0.0], part.capacity_frac[1:]))
    return replace(
        part,
        unserved_worth=fade * backed_up_kwh_per_year * money.unserved_worth_per_kwh,
        cost_per_kwh_shifted=_levelised(spent, shifted_kwh_per_year * fade @ discount),
        cost_per_kwh_backed_up=_levelised(spent, backed_up_kwh_per_year * fade @ discount),
    )


def solar_flow(money: Money, *, saving_per_year, installed_price: float, output_frac=None) -> CashFlow:
    """The part of a new roof in a cash flow, by `money.solar`.

    Parameters
    ----------
    money : Money
        With `solar`.
    saving_per_year : float, or array_like of shape (n_years,)
        What the roof alone takes off the bill, at today's prices; as for `battery_flow`. [currency/year]
    installed_price : float
        [currency]
    output_frac : array_like, shape (n_years,), optional
        Output in each year, of that when new; by default no fade. [0 to 1]

    Examples
    --------
    >>> money = Money(years=2, discount_rate_frac=0.0, solar={"installed_price": 900.0})
    >>> solar_flow(money, saving_per_year=500.0, installed_price=900.0).net.tolist()
    [-900.0, 500.0, 500.0]
    """
    return _part_flow(money, money.solar, saving_per_year, installed_price, output_frac)


def rate_flow(money: Money, saving_per_year: float) -> CashFlow:
    """The part of a change of rate in a cash flow: it costs nothing and does not fade, prices rise.

    Examples
    --------
    >>> rate_flow(Money(years=2, price_escalation_frac=0.5), -10.0).net.tolist()
    [0.0, -10.0, -15.0]
    """
    return _part_flow(money, None, saving_per_year, 0.0, None)


def whole_flow(money: Money, parts: dict[str, CashFlow]) -> CashFlow:
    """The cash flow of the whole change: its parts added, and the loan.

    Parameters
    ----------
    money : Money
    parts : dict
        "rate", "solar", "battery" -> CashFlow, those that there are.
    """
    flows = list(parts.values())
    battery = parts.get("battery", flows[-1])
    total = lambda name: np.sum([getattr(flow, name) for flow in flows], axis=0)
    added = {name: total(name) for name in ("saving", "yearly_cost", "investment", "incentive", "replacement")}
    return replace(battery, **added, loan=_loan_flow(money, money.years))


def _part_flow(money: Money, terms: Money | SolarMoney | None, saving_per_year, price: float, left_frac) -> CashFlow:
    """One part without a loan; `terms` hold its yearly cost, incentives and replacements."""
    n, year = money.years, np.arange(money.years + 1)
    replaced = () if terms is None else terms.replacements
    left = with_replacements(replaced, _per_year(1.0 if left_frac is None else left_frac, n, "capacity_frac"))
    saving = _per_year(saving_per_year, n, "saving_per_year")
    if np.ndim(saving_per_year) == 0:
        saving = saving * left
    rises = lambda frac: (1.0 + frac) ** np.arange(n)
    cost = 0.0 if terms is None else terms.yearly_cost
    incentives = () if terms is None else terms.incentives
    return CashFlow(
        saving=np.concatenate(([0.0], saving * rises(money.price_escalation_frac))),
        yearly_cost=np.concatenate(([0.0], -cost * rises(money.yearly_cost_escalation_frac))),
        investment=np.where(year == 0, -price, 0.0),
        incentive=_dated([(one.year, one.pays(price)) for one in incentives], n),
        replacement=_dated([(one.year, -one.price) for one in replaced], n),
        loan=np.zeros(n + 1),
        capacity_frac=np.concatenate(([1.0], left)),
        unserved_worth=np.zeros(n + 1),
        discount_rate_frac=money.discount_rate_frac,
        cost_per_kwh_shifted=None,
        cost_per_kwh_backed_up=None,
    )


def _per_year(values, n: int, key: str) -> np.ndarray:
    array = np.asarray(values, dtype=float)
    if array.shape not in ((), (n,)) or not np.isfinite(array).all():
        raise BadInput(
            f"must be one finite number, or one for each of {n} years",
            key=key,
            value=values,
            way_out="or change money.years",
        )
    return np.broadcast_to(array, n).copy()


def with_replacements(replacements: Sequence[Replacement], by_year: np.ndarray) -> np.ndarray:
    """A series by year, shape (n_years,), that begins anew in the year after what fades is renewed."""
    lived = np.arange(len(by_year))
    for year in sorted(one.year for one in replacements if one.renews_capacity):
        lived[year:] = np.arange(len(lived) - year)
    return by_year[lived]


def _dated(pairs: list[tuple[int, float]], n: int) -> np.ndarray:
    flow = np.zeros(n + 1)
    for year, amount in pairs:
        flow[year] += amount
    return flow


def _loan_flow(money: Money, n: int) -> np.ndarray:
    flow = np.zeros(n + 1)
    if money.loan is not None:
        payment = money.loan.amount / annuity_factor(money.loan.rate_frac, money.loan.years)
        flow[0] = money.loan.amount
        flow[1 : money.loan.years + 1] -= payment
    return flow


def _levelised(spent: float, kwh: float) -> float | None:
    return float(spent / kwh) if kwh > 0 else None
