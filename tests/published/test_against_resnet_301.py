"""ANSI/RESNET/ICC 301-2022 Addendum C, tables C.3(1)-(5), and Building America House Simulation Protocols 2010, figures
16, 23, 24: hourly fractions and monthly multipliers. ANSI/RESNET 301 reference-home equations of end-use energy.

How sure: the schedules were read in a public table that names these sources row by row (seen-R); the standard and the
protocols themselves were not seen. The equations were read in a public rating-test file that quotes the standard
(seen-R); the values for 3 bedrooms and 2,000 ft2 are arithmetic from them (derived).
"""

import numpy as np
import pytest

from profiles.hours import hours_of_year
from profiles.loads.shapes import end_use_kwh, hourly_shape_kw, published_shapes

HALF_OF_THE_LAST_DIGIT = 0.0005
ONE_PER_MILLE = 0.001  # within which a year of the plain rule, without normalising by the axis, keeps its energy
YEAR = hours_of_year(2025, "UTC")

# Sum of the 24 printed fractions, and the hour (1 to 24) of the peak.
SCHEDULES = {
    "refrigerator": (1.001, 19),
    "extra_refrigerator": (1.001, 19),
    "freezer": (1.001, 19),
    "lighting_interior": (1.000, 21),
    "lighting_exterior": (1.000, 21),
    "lighting_garage": (1.000, 20),
    "plug_loads_other": (1.000, 19),
    "plug_loads_tv": (1.000, 21),
    "clothes_washer": (1.000, 10),
    "clothes_dryer": (1.000, 12),
    "dishwasher": (1.000, 20),
    "cooking_range": (1.000, 18),
    "ceiling_fan": (1.000, 1),
    "well_pump": (1.005, 22),
    "pool_pump": (0.999, 11),
    "permanent_spa_pump": (1.002, 17),
    "general_water_use": (1.000, 21),
    "hot_water_fixtures": (1.000, 8),
    "occupants": (1.000, 7),
}
REFRIGERATOR = [
    0.040,
    0.039,
    0.038,
    0.037,
    0.036,
    0.036,
    0.038,
    0.040,
    0.041,
    0.041,
    0.040,
    0.040,
    0.042,
    0.042,
    0.042,
    0.041,
    0.044,
    0.048,
    0.050,
    0.048,
    0.047,
    0.046,
    0.044,
    0.041,
]
WELL_PUMP = [
    0.044,
    0.023,
    0.019,
    0.015,
    0.016,
    0.018,
    0.026,
    0.033,
    0.033,
    0.032,
    0.033,
    0.033,
    0.032,
    0.032,
    0.032,
    0.033,
    0.045,
    0.057,
    0.066,
    0.076,
    0.081,
    0.086,
    0.075,
    0.065,
]
LIGHTING_MONTHS = [1.19, 1.11, 1.02, 0.93, 0.84, 0.80, 0.82, 0.88, 0.98, 1.07, 1.16, 1.20]
# Day-weighted means of the multipliers.
MEANS = {"refrigerator": 1.0009, "lighting_interior": 0.9995, "pool_pump": 0.9992, "permanent_spa_pump": 1.0001}


def test_the_nineteen_schedules_are_there():
    assert set(published_shapes()) == set(SCHEDULES)


@pytest.mark.parametrize("name", SCHEDULES)
def test_peak_hour_of_every_schedule(name):
    kw = hourly_shape_kw(name, 1000.0, YEAR)[:24]
    assert int(kw.argmax()) + 1 == SCHEDULES[name][1]


@pytest.mark.parametrize(("name", "printed"), [("refrigerator", REFRIGERATOR), ("well_pump", WELL_PUMP)])
def test_a_day_follows_the_printed_fractions(name, printed):
    assert sum(printed) == pytest.approx(SCHEDULES[name][0], abs=1e-9)
    kw = hourly_shape_kw(name, 1000.0, YEAR)[:24]
    np.testing.assert_allclose(kw / kw.sum() * sum(printed), printed, atol=1e-12)


def test_months_of_lighting_follow_the_printed_multipliers():
    kw = hourly_shape_kw("lighting_interior", 365.0, YEAR)
    daily = np.array([kw[YEAR.month == month].mean() * 24 for month in range(1, 13)])
    np.testing.assert_allclose(daily / daily[0] * LIGHTING_MONTHS[0], LIGHTING_MONTHS, atol=1e-12)


@pytest.mark.parametrize(("name", "mean"), MEANS.items())
def test_the_plain_rule_gives_the_same_hours_within_one_per_mille(name, mean):
    shape = published_shapes()[name]
    weighted = np.average(shape.monthly, weights=[31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
    assert weighted == pytest.approx(mean, abs=0.00005)
    plain = 1000.0 * shape.monthly[YEAR.month - 1] / mean / 365 * shape.weekday_frac[YEAR.minute // 60]
    np.testing.assert_allclose(hourly_shape_kw(name, 1000.0, YEAR), plain, rtol=ONE_PER_MILLE)
    assert plain.sum() == pytest.approx(1000.0, rel=ONE_PER_MILLE)


@pytest.mark.parametrize(("name", "total"), [(name, row[0]) for name, row in SCHEDULES.items()])
def test_printed_sums_are_as_listed_though_a_shape_is_normalised(name, total):
    import csv
    from importlib import resources

    with (resources.files("profiles.library") / "hourly_shapes.csv").open(newline="", encoding="utf-8") as file:
        row = next(row for row in csv.reader(file) if row[:2] == [name, "weekday"])
    assert sum(map(float, row[2:26])) == pytest.approx(total, abs=HALF_OF_THE_LAST_DIGIT)
    assert published_shapes()[name].weekday_frac.sum() == pytest.approx(1.0, abs=1e-12)


def test_end_uses_of_three_bedrooms_and_2000_square_feet():
    assert end_use_kwh(2000.0, 3) == {
        "lighting_interior": 2055.0,
        "lighting_exterior": 200.0,
        "refrigerator": 691.0,
        "cooking_range": 448.0,
        "clothes_dryer": 971.0,
        "clothes_washer": 68.0,
        "dishwasher": 171.0,
        "plug_loads_other": 1820.0,
        "plug_loads_tv": 620.0,
    }
