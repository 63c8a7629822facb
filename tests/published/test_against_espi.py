"""Against NAESB REQ.21 ESPI (Energy Services Provider Interface), the open standard behind Green Button files.

Sources
-------
1. ESPI XML schema 4.0.20231213, Apache-2.0: codes of uom, powerOfTenMultiplier, cost, DstRuleType, quality. Seen as
   printed in the project's notes (seen-P); the day-of-month arithmetic of a rule is derived from its bit fields.
2. Two sample files of the Green Button programme (EnergyOS, Apache-2.0), unedited, checked by sha256; read where they
   lie beside the checkout. Totals are sums of the printed values (derived: a bare regular expression gives the same).
"""

import hashlib
import re
from pathlib import Path

import numpy as np
import pytest

from profiles.hours import hours_of_year
from profiles.meter import meter_document, meter_kw, meter_years, quality_sheet, read_meter
from profiles.meter.readings.clock import ChangeRule
from profiles.meter.readings.espi import COST_UNIT, ReadingType

LAST_DIGIT_KWH = 5e-10
SAMPLES = Path(__file__).resolve().parents[3] / "shared" / "data"
SHA256 = {
    "coastal-household-2011.xml": "809ecb455be9d054f65540b32be0ff206cbb7963f5449106f5305e40c4782be1",
    "quarter-hour-15-days.xml": "0c4e798f46b1978c3f8d331ba639193777ff02b068c807d182efd08e50482080",
}


@pytest.mark.parametrize(
    "unit, power_of_ten, value, kwh",
    [(72, 0, 325, 0.325), (72, 3, 2, 2.0), (72, -3, 1234, 0.001234), (38, 0, 1300, 0.325)],
)
def test_units_and_multipliers(unit, power_of_ten, value, kwh):
    """uom 72 is Wh, 38 is W (a mean over the 900 s); quantity = value x 10^n."""
    assert ReadingType(unit=unit, power_of_ten=power_of_ten).kwh(value, 900) == pytest.approx(kwh, abs=LAST_DIGIT_KWH)


def test_a_quarter_hour_of_325_wh_is_1300_w():
    assert ReadingType(unit=72).kwh(325, 900) / 0.25 == pytest.approx(1.3)


def test_cost_is_in_hundred_thousandths():
    assert 8192 * COST_UNIT == pytest.approx(0.08192, abs=5e-8)


@pytest.mark.parametrize(
    "text, words, year, local",
    [
        ("360E2000", "second Sunday of March 02:00", 2025, "2025-03-09T02:00:00"),
        ("360E2000", "second Sunday of March 02:00", 2012, "2012-03-11T02:00:00"),
        ("B40E2000", "first Sunday of November 02:00", 2025, "2025-11-02T02:00:00"),
        ("B40E2000", "first Sunday of November 02:00", 2011, "2011-11-06T02:00:00"),
    ],
)
def test_rules_of_the_clock_change(text, words, year, local):
    rule = ChangeRule.from_hex(text)
    assert str(rule) == words
    assert rule.local(year).isoformat() == local


def test_no_change_is_all_ones():
    assert ChangeRule.from_hex("FFFFFFFF") is None


@pytest.mark.parametrize(
    "operator, day, weekday, year, expected",
    [
        (0, 15, 0, 2025, 15),
        (1, 8, 7, 2025, 9),
        (2, 0, 7, 2025, 2),
        (6, 0, 7, 2025, 30),
        (7, 0, 7, 2025, 30),
        (7, 0, 1, 2025, 31),
    ],
)
def test_operators_of_a_rule(operator, day, weekday, year, expected):
    """Date, weekday on or after, first, fifth, last: against the calendar of March 2025 (derived)."""
    bits = 3 << 28 | operator << 25 | day << 20 | weekday << 17 | 2 << 12
    assert ChangeRule.from_hex(f"{bits:08X}").local(year).day == expected


def sample(name):
    path = SAMPLES / name
    if not path.exists():
        pytest.skip("sample file not beside the checkout")
    assert hashlib.sha256(path.read_bytes()).hexdigest() == SHA256[name]
    return path


def test_quarter_hours_of_fifteen_days():
    path = sample("quarter-hour-15-days.xml")
    meter = read_meter(path)
    values = [int(v) for v in re.findall(r"<value>(\d+)</value>\s*</IntervalReading>", path.read_text())]
    assert (meter.readings, len(values)) == (1340, 1340)
    assert meter.energy_kwh == 1397.734 == sum(values) / 1000
    assert meter.cost.sum() == pytest.approx(150.41, abs=0.005)
    assert meter.currency == "USD"
    assert meter.completeness_frac == 1.0
    assert meter.issues == ()
    assert quality_sheet(meter).clock_change_days == (("2012-03-11", 23.0),)
    assert "bears it out" in meter.clock


def test_a_household_of_2011_with_its_clock_changes():
    """Every oddity is listed, no energy is lost, and the year comes out whole."""
    path = sample("coastal-household-2011.xml")
    document = meter_document(path)
    assert document["energy_kwh"] == 6562.977
    assert document["readings"] == 8760
    assert document["interval_min"] == 60.0
    assert (document["start"], document["end"]) == ("2011-01-01T00:00:00-08:00", "2012-01-01T00:00:00-08:00")
    counts = {issue["kind"]: issue["count"] for issue in document["issues"]}
    assert counts == {"double-length": 1, "zero-length": 1, "repeated": 2, "missing": 1, "slipped": 15}
    assert all(issue["where"] and issue["done"] for issue in document["issues"])
    assert document["completeness_frac"] == pytest.approx(8759 / 8760)


def test_the_household_of_2011_on_its_own_year():
    meter = read_meter(sample("coastal-household-2011.xml"), timezone="America/Los_Angeles")
    assert meter_years(meter, "America/Los_Angeles") == (2011,)
    assert (np.diff(meter.start_utc) == 3600).all()
    hours = hours_of_year(2011, "America/Los_Angeles")
    kw = meter_kw(meter, hours)
    assert kw.sum() == pytest.approx(6562.977, abs=1e-9)
    values = [int(v) for v in re.findall(r"<value>(\d+)</value>\s*</IntervalReading>", meter.path.read_text())]
    assert np.abs(kw - np.array(values) / 1000).max() < 1e-12  # in the order of the file, an hour each


def test_the_slipped_hours_are_smooth_once_put_back():
    """Evidence that the run slipped: as stamped one hour would use twice its neighbours, as read none differs by a third."""
    meter = read_meter(sample("coastal-household-2011.xml"))
    for day in ("2011-03-13", "2011-11-06"):
        kwh = meter.kwh[[meter.local.stamp(s).startswith(day) for s in meter.start_utc]]
        assert len(kwh) == {"2011-03-13": 23, "2011-11-06": 25}[day]
        assert (kwh[1:] / kwh[:-1]).max() < 4 / 3
