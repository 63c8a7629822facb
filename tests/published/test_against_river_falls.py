"""Time-of-day bill examples of a city utility.

Source: River Falls Municipal Utilities, Wisconsin, page "Time of Day rates" (wi-riverfalls.civicplus.com/606), rates as
of 29 September 2020. Prices, dollars and savings: read on the publisher's own page. Derived, not printed: the fixed
charge of $14.00, which reproduces every cell; that "shift 10 % of on-peak energy" means ten percent of ALL energy
(45 % -> 35 % on-peak; the literal reading gives $92.78, not the printed $88.14).
"""

import numpy as np
import pytest

from profiles.hours import hours_of_year
from profiles.rate.rate import Rate
from simulate.bill.bill import price_bill

AXIS = hours_of_year(2021, "America/Chicago")
KWH = 675.54
HOLIDAYS = ("2021-01-01", "2021-05-31", "2021-07-04", "2021-09-06", "2021-11-25", "2021-12-25")
TIME_OF_DAY = Rate.model_validate(
    {
        "fixed_per_month": 14.0,
        "extra_holidays": HOLIDAYS,
        "season": (
            {
                "name": "all year",
                "months": tuple(range(1, 13)),
                "periods": (
                    {"name": "on-peak", "price_per_kwh": 0.1910, "days": "weekday", "hours": "08:00-20:00"},
                    {"name": "off-peak", "price_per_kwh": 0.0660},
                ),
            },
        ),
    }
)
STANDARD = Rate(price_per_kwh=0.1110, fixed_per_month=14.0)
JUNE = AXIS.month == 6
ON_PEAK = JUNE & (AXIS.weekday < 5) & (AXIS.minute >= 8 * 60) & (AXIS.minute < 20 * 60)
HALF_A_CENT = 0.005


def june(on_kwh, off_kwh, rate):
    off_peak = JUNE & ~ON_PEAK
    kw = ON_PEAK * on_kwh / ON_PEAK.sum() + off_peak * off_kwh / off_peak.sum()
    return price_bill(kw, np.zeros(AXIS.n_steps), rate, AXIS).by_month["2021-06"]


@pytest.mark.parametrize(
    ("share", "printed", "printed_saving"),
    [(0.45, 96.58, -7.60), (0.35, 88.14, 0.84), (0.30, 83.92, 5.07), (0.25, 79.70, 9.29)],
)
def test_bill_against_river_falls(share, printed, printed_saving):
    bill = june(share * KWH, (1 - share) * KWH, TIME_OF_DAY)
    assert bill == pytest.approx(printed, abs=HALF_A_CENT)
    standard = june(share * KWH, (1 - share) * KWH, STANDARD)
    assert standard == pytest.approx(88.98, abs=HALF_A_CENT)
    assert standard - bill == pytest.approx(printed_saving, abs=HALF_A_CENT)


def test_a_battery_that_moves_a_fifth_of_the_use():
    """Derived: lossless it saves $16.89; at 85 % round trip the bill is $81.27."""
    moved = 0.20 * KWH
    before = june(0.45 * KWH, 0.55 * KWH, TIME_OF_DAY)
    lossless = june(0.25 * KWH, 0.75 * KWH, TIME_OF_DAY)
    lossy = june(0.25 * KWH, 0.55 * KWH + moved / 0.85, TIME_OF_DAY)
    assert before - lossless == pytest.approx(16.89, abs=HALF_A_CENT)
    assert lossy == pytest.approx(81.27, abs=HALF_A_CENT)
    assert (before - lossy) / moved == pytest.approx(0.191 - 0.066 / 0.85, abs=1e-9)


def test_cycling_pays_where_the_price_ratio_exceeds_one_over_the_round_trip():
    """Derived: 0.191 / 0.066 = 2.894 is above 1 / 0.85 = 1.176."""
    assert june(100.0, 0.0, TIME_OF_DAY) > june(0.0, 100.0 / 0.85, TIME_OF_DAY)
