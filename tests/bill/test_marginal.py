"""Property: on random invented rates the price of a step is what one more kWh there changes the bill by.

The rates hold seasons by date, events, riders by date and period, losses, taxes on taxes, shares taken off, exports by
month and by hour, billing cycles; they hold nothing that bends (tiers, minima, demand, credit that is carried or lost).
"""

import numpy as np
import pytest

from profiles.hours import hours_of_year
from profiles.noun import read_noun
from profiles.rate.calendar import rate_calendar
from profiles.rate.meter_sums import meter_sums
from profiles.rate.prices import rate_prices
from profiles.rate.rate import Rate
from simulate.bill.amounts import bill_amounts
from simulate.bill.bill import price_bill

AXIS = hours_of_year(2025, "America/New_York")
MONTHS = list(range(1, 13))
A_MILLIONTH = 1e-6


def random_rate(rng) -> Rate:
    maybe = lambda share, value: value if rng.random() < share else None
    pick = lambda *values: values[rng.integers(len(values))]
    periods = [
        {"name": "on", "price_per_kwh": 0.3, "days": pick("all", "weekday"), "hours": "16:00-21:00"},
        {"name": "off", "price_per_kwh": 0.1},
    ]
    event = {"name": "c", "dates": ["2025-07-14", "2025-12-31"], "hours": "12:00-20:00"}
    keys = {
        "season": [
            {"name": "s", "from": "06-10", "to": "09-20", "periods": periods},
            {"name": "w", "months": MONTHS, "periods": periods},
        ],
        "read_dates": maybe(0.5, [f"2025-{m:02d}-{int(rng.integers(1, 28)):02d}" for m in MONTHS]),
        "season_by": maybe(0.3, "cycle"),
        "export": random_export(rng, pick),
        "event": maybe(0.6, [event | {pick("price_per_kwh", "adder_per_kwh"): 0.8}]),
        "rider": [
            {"name": "a", "per_kwh": [0.001 * k for k in MONTHS], "from": "11-15", "to": "02-10", "with_losses": True},
            {"name": "b", "per_kwh": 0.01, "periods": ["on"]},
        ],
        "loss_factor": maybe(0.5, 1.05),
        "tax": maybe(
            0.5,
            [
                {"name": "x", "frac": 0.1, "on_taxes": ["y"]},
                {"name": "y", "frac": 0.05, "on": ["energy", "rider", "export"]},
            ],
        ),
        "credit": maybe(0.5, [{"name": "p", "frac": 0.2, "taxed": bool(rng.random() < 0.5), "beyond_bill": "pay"}]),
        "holidays": pick("none", "US", "CA-ON", ["new-year", "christmas"]),
    }
    return read_noun(Rate, {key: value for key, value in keys.items() if value is not None}, table="rate")


def random_export(rng, pick) -> dict:
    method = pick("none", "net-metering", "net-billing")
    if method == "none":
        return {"method": method}
    if method == "net-metering":
        return {"method": method, "unused": "pay"}
    export = {
        "method": method,
        "credit_per_kwh": pick(0.05, [0.01 * k for k in MONTHS]),
        "netting": pick("step", "hour"),
    }
    if rng.random() < 0.5:
        by_hour = [{"months": [7, 8], "days": "weekend", "credit_per_kwh": [0.01 * k for k in range(24)]}]
        export |= {"netting": "step", "by_hour": by_hour}
    return export


@pytest.mark.parametrize("seed", range(40))
def test_the_price_of_a_step_is_what_one_more_kwh_changes_the_bill_by(seed):
    rng = np.random.default_rng(seed)
    rate = random_rate(rng)
    sold = np.where(rng.random(8760) < 0.2, rng.gamma(1.0, 1.0, 8760), 0.0)
    bought = np.where(sold > 0.0, 0.0, rng.gamma(1.0, 1.5, 8760))
    prices, before = rate_prices(rate, AXIS), price_bill(bought, sold, rate, AXIS).total
    for step in rng.integers(0, 8760, 5):
        more = np.zeros(8760)
        more[step] = 1.0
        if sold[step] > 0.0:
            change = before - price_bill(bought, sold + more, rate, AXIS).total
            price = prices.sell_per_kwh[step]
        else:
            change = price_bill(bought + more, sold, rate, AXIS).total - before
            price = prices.buy_per_kwh[step]
        assert change == pytest.approx(price, abs=A_MILLIONTH), (AXIS.local_text[step], rate)


@pytest.mark.parametrize("seed", range(40))
def test_lines_of_every_month_add_to_the_amounts(seed):
    rng = np.random.default_rng(seed)
    rate = random_rate(rng)
    bought, sold = rng.gamma(1.0, 1.0, (2, 8760))
    calendar = rate_calendar(rate, AXIS)
    amounts = bill_amounts(meter_sums(bought, sold, rate, calendar), rate, calendar).by_month
    bill = price_bill(bought, sold, rate, AXIS).by_month
    assert [bill.get(label, 0.0) for label in calendar.labels] == pytest.approx(list(amounts), abs=1e-8)
