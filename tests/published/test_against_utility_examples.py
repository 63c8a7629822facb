"""Worked residential examples that utilities print on their own pages.

Sources, each read on the publisher's own page unless said otherwise:
  T-02  jcpb.com, "calcBill": (9975 - 8865) = 1,110 kWh at $0.0951 and a $18.48 charge; the total is derived.
  T-04a core.coop (?p=34553): $3/kW on the highest 60-minute demand from 16:00 to 20:00; oven 4 kW + dryer 4 kW.
  T-04b ameren.com, Missouri rate options, FAQ: highest hour from 06:00 to 22:00; 5 kW at $3.37 and at $8.16.
  T-09  uec.coop, "Net Metering Rate - Single Phase": $30.95 a month, 5.718 c/kWh, credit 3.734 c/kWh, the minimum is
        the customer charge. No worked bill is printed: the totals here are derived.
  T-11  cpuc.ca.gov, General.aspx?id=12188: ten washer loads of 1 kWh, one after the other or at once.
"""

import numpy as np
import pytest

from profiles.hours import hours_of_year
from profiles.rate.rate import Rate
from simulate.bill.bill import price_bill

AXIS = hours_of_year(2025, "America/Chicago")
NONE = np.zeros(AXIS.n_steps)
EXACT = 1e-9


def at(**kw_by_stamp):
    """A year with kW at hours of January, written d14h18=4.0."""
    kw = NONE.copy()
    for key, value in kw_by_stamp.items():
        day, hour = key[1:].split("h")
        kw[AXIS.index_of(f"2025-01-{int(day):02d}T{int(hour):02d}:00")] = value
    return kw


def january(bought, rate, sold=NONE):
    bill = price_bill(bought, sold, rate, AXIS)
    return bill, {line.kind: line.amount for line in bill.lines if line.month == "2025-01"}


def spread(kwh):
    return np.where(AXIS.month == 1, kwh / 744, 0.0)


def test_flat_bill_to_the_cent():
    bill, _ = january(spread(9975 - 8865), Rate(price_per_kwh=0.0951, fixed_per_month=18.48))
    printed = bill.printed()
    assert [line.amount for line in printed.lines if line.month == "2025-01"] == [18.48, 105.56]
    assert printed.by_month["2025-01"] == pytest.approx(124.04, abs=EXACT)


@pytest.mark.parametrize(
    ("kw", "amount"),
    [
        ({"d14h18": 8.0}, 24.0),
        ({"d14h17": 4.0, "d14h18": 4.0}, 12.0),
        ({"d14h18": 8.0, "d15h17": 7.0, "d16h19": 7.0}, 24.0),
        ({"d14h18": 8.0, "d15h20": 12.0, "d16h15": 12.0}, 24.0),
    ],
)
def test_evening_hour_demand(kw, amount):
    rate = Rate.model_validate({"price_per_kwh": 0.0, "demand": ({"per_kw": 3.0, "hours": "16:00-20:00"},)})
    assert january(at(**kw), rate)[1]["demand"] == pytest.approx(amount, abs=EXACT)


@pytest.mark.parametrize(("month", "amount"), [(1, 16.85), (7, 40.80)])
def test_seasonal_daytime_demand(month, amount):
    summer = (6, 7, 8, 9)
    rate = Rate.model_validate(
        {
            "price_per_kwh": 0.0,
            "demand": (
                {"name": "summer", "per_kw": 8.16, "hours": "06:00-22:00", "months": summer},
                {
                    "name": "other",
                    "per_kw": 3.37,
                    "hours": "06:00-22:00",
                    "months": tuple(set(range(1, 13)) - set(summer)),
                },
            ),
        }
    )
    kw = NONE.copy()
    kw[AXIS.index_of(f"2025-{month:02d}-14T21:00")], kw[AXIS.index_of(f"2025-{month:02d}-14T22:00")] = 5.0, 9.0
    assert price_bill(kw, NONE, rate, AXIS).by_month[f"2025-{month:02d}"] == pytest.approx(amount, abs=EXACT)


@pytest.mark.parametrize(
    ("bought_kwh", "sold_kwh", "total", "before_minimum"), [(600, 200, 57.79, 57.79), (100, 500, 30.95, 18.0)]
)
def test_net_billing_with_a_minimum_against_derived_totals(bought_kwh, sold_kwh, total, before_minimum):
    rate = Rate.model_validate(
        {
            "price_per_kwh": 0.05718,
            "fixed_per_month": 30.95,
            "minimum_per_month": 30.95,
            "export": {"method": "net-billing", "credit_per_kwh": 0.03734},
        }
    )
    bill, kinds = january(spread(bought_kwh), rate, spread(sold_kwh))
    assert bill.by_month["2025-01"] == pytest.approx(total, abs=0.005)
    assert bill.by_month["2025-01"] - kinds.get("minimum", 0.0) == pytest.approx(before_minimum, abs=0.005)


def test_ten_washers_use_the_same_energy_and_ten_times_the_demand():
    rate = Rate.model_validate({"price_per_kwh": 0.0, "demand": ({"per_kw": 0.0},)})
    one_by_one = at(**{f"d14h{hour}": 1.0 for hour in range(8, 18)})
    billed = [january(kw, rate)[0].lines for kw in (one_by_one, at(d14h8=10.0))]
    quantities = [{line.kind: line.quantity for line in lines if line.month == "2025-01"} for lines in billed]
    assert quantities == [{"energy": 10.0, "demand": 1.0}, {"energy": 10.0, "demand": 10.0}]
