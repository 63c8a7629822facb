"""What the client pays against today, in one sentence with its parts; and what nobody could take off."""

from __future__ import annotations

from simulate.bill.four_bills import FourBills
from simulate.house.bound import Bound

SUBJECTS = {"rate": "the rate", "solar": "solar", "battery": "the battery"}


def printed_steps(bills: FourBills, digits: int = 2) -> list[tuple[str, float, float]]:
    """Name, total and change of each step as printed: changes are differences of printed totals. [currency]

    Examples
    --------
    >>> from simulate.bill.bill import Bill, Line
    >>> bill = lambda total: Bill("USD", (Line("2025-01", "energy", "all", 1.0, "kWh", total, total),))
    >>> printed_steps(FourBills(bill(10.004), None, bill(10.004), bill(9.996)))
    [('today', 10.0, 0.0), ('battery', 10.0, 0.0)]
    """
    totals = [round(one.bill.total, digits) + 0.0 for one in bills.steps]
    changes = [0.0, *(round(after - before, digits) for before, after in zip(totals[:-1], totals[1:], strict=True))]
    names = [one.name for one in bills.steps]
    return list(zip(names, totals, changes, strict=True))


def change_text(bills: FourBills, digits: int = 2) -> str:
    """What the client pays against today, with the part of each step.

    Parameters
    ----------
    bills : FourBills
    digits : int
        Of the printed amounts: 2 for cents, 0 for whole units.

    Examples
    --------
    >>> from simulate.bill.bill import Bill, Line
    >>> bill = lambda total: Bill("USD", (Line("2025-01", "energy", "all", 1.0, "kWh", total, total),))
    >>> change_text(FourBills(bill(1230.67), bill(1299.20), bill(1299.20), bill(1260.87)))
    'You would pay 30.20 USD a year more than today: the rate adds 68.53, the battery takes 38.33 off.'
    """
    steps, unit = printed_steps(bills, digits), bills.with_battery.currency
    money = lambda amount: f"{amount:,.{digits}f}"
    if len(steps) == 1:
        return f"Nothing changes the bill: it stays at {money(steps[0][1])} {unit} a year."
    change = round(steps[-1][1] - steps[0][1], digits)
    parts = ", ".join(_part_text(name, amount, money) for name, _, amount in steps[1:])
    if change == 0.0:
        return f"You would pay what you pay today, {money(steps[0][1])} {unit} a year: {parts}."
    return f"You would pay {money(abs(change))} {unit} a year {'more' if change > 0 else 'less'} than today: {parts}."


def _part_text(name: str, change: float, money) -> str:
    if change == 0.0:
        return f"{SUBJECTS[name]} changes nothing"
    return f"{SUBJECTS[name]} adds {money(change)}" if change > 0 else f"{SUBJECTS[name]} takes {money(-change)} off"


def bound_text(bound: Bound, currency: str) -> str:
    """What nobody could take off the bill, and how much of it the plan takes; "" where no bound is given.

    Examples
    --------
    >>> bound_text(Bound(782.4, None, "exact", 0.983), "USD").rpartition("could take ")[2]
    'more than 782 USD a year off; the plan takes 98% of it.'
    """
    if bound.saving is None:
        return ""
    if bound.saving < 0.0:
        return f"However these units are run they add {-bound.saving:,.0f} {currency} a year or more to the bill."
    share = "" if bound.captured_frac is None else f"; the plan takes {bound.captured_frac:.0%} of it"
    which = "No way of running these units and circuits that keeps this reserve, even knowing the year"
    return f"{which}, could take more than {bound.saving:,.0f} {currency} a year off{share}."
