"""The sentence about what is paid against today: every number in it is a number of the table. Amounts are invented."""

import re

import pytest

from simulate.bill.bill import Bill, Line
from simulate.bill.four_bills import FourBills
from simulate.document.money_answer import change_text, printed_steps


def bill(total):
    return Bill("USD", (Line("2025-01", "energy", "all hours", 1.0, "kWh", total, total),))


def four(today, rate, without, with_battery, **more):
    return FourBills(bill(today), rate and bill(rate), bill(without), bill(with_battery), **more)


def test_s54_the_rate_adds_more_than_the_battery_takes_off():
    assert change_text(four(1230.67, 1299.20, 1299.20, 1260.87)) == (
        "You would pay 30.20 USD a year more than today: the rate adds 68.53, the battery takes 38.33 off."
    )


def test_all_four_steps():
    text = change_text(four(1500.0, 1600.0, 1100.0, 1000.0, adds_solar=True))
    assert text == (
        "You would pay 500.00 USD a year less than today: "
        "the rate adds 100.00, solar takes 500.00 off, the battery takes 100.00 off."
    )


@pytest.mark.parametrize("digits", [0, 2])
def test_parts_add_to_the_change_as_printed(digits):
    bills = four(1000.004, 1000.026, 900.4949, 870.006, adds_solar=True)
    steps = printed_steps(bills, digits)
    assert round(sum(change for _, _, change in steps), digits) == round(steps[-1][1] - steps[0][1], digits)
    numbers = [float(text.replace(",", "")) for text in re.findall(r"[\d,]*\d\.?\d*", change_text(bills, digits))]
    table = {abs(change) for _, _, change in steps} | {round(steps[0][1] - steps[-1][1], digits)}
    assert set(numbers) <= table


def test_a_bill_that_stays():
    assert "pay what you pay today, 100.00 USD a year: the battery changes nothing" in change_text(
        four(100.0, None, 100.0, 100.001)
    )
    alone = change_text(four(100.0, None, 100.0, 100.0, adds_battery=False))
    assert alone == "Nothing changes the bill: it stays at 100.00 USD a year."
