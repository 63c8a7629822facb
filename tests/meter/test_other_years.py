"""Any 365 days on the year of a site: what was read is used before anything is invented. The readings are invented."""

import datetime as dt

import numpy as np
import pytest

from profiles.hours import hours_of_year
from profiles.meter import fullest_year, meter_kw, meter_notes, meter_on_year, read_meter
from profiles.noun import BadInput

ZONE = "America/New_York"
HALF_A_PERCENT = 0.005
ONE_DAY_OF_184 = 1 / 184  # half a year begins and ends on another weekday: a day at either end is another


def house_kw(hours, year_factor):
    """A house by season, weekday and hour with the noise of real days; each calendar year has a factor of its own."""
    day = hours.day
    season = 1.0 + 0.5 * np.cos(2 * np.pi * (day - 20) / 365.0)
    noise = 1.0 + 0.2 * np.sin(1.7 * day + hours.year)
    return year_factor * season * noise * (0.8 + 0.4 * (hours.minute // 60 == 19) + 0.2 * (hours.weekday >= 5))


def span_csv(tmp_path, first, last, drop=()):
    """An hourly file from one date to another (included), with offsets in its stamps."""
    rows = []
    for year in range(first.year, last.year + 1):
        hours = hours_of_year(year, ZONE)
        kw = house_kw(hours, {2023: 1.0, 2024: 1.0, 2025: 1.1}[year])
        for text, value, day in zip(hours.local_text, kw.tolist(), hours.day.tolist(), strict=True):
            date = dt.date(year, 1, 1) + dt.timedelta(days=day)
            if first <= date <= last and date not in drop:
                rows.append(f"{text},{value!r}")
    path = tmp_path / "usage.csv"
    path.write_text("\n".join(["start,kWh", *rows]))
    return read_meter(path)


@pytest.mark.parametrize("year", [2023, 2024, 2025, 2026])
def test_twelve_months_over_two_calendar_years_keep_their_energy(tmp_path, year):
    """366 days from July to June: on any year within half a percent of what was read, and nothing invented."""
    meter = span_csv(tmp_path, dt.date(2024, 7, 1), dt.date(2025, 7, 1))
    hours = hours_of_year(year, ZONE)
    used = meter_on_year(meter, hours, other_year=True)
    days = 365 + (hours.n_days == 366)
    assert meter_kw(used, hours).sum() == pytest.approx(meter.energy_kwh * days / 366, rel=HALF_A_PERCENT)
    assert not used.filled.any()
    assert any("0.0 of" in note and "kWh were filled in, not read" in note for note in meter_notes("f", meter, used))
    redated = next(issue for issue in used.issues if issue.kind == "redated")
    assert "by weekday and season" in redated.done and " whole days hold " in redated.done


def test_readings_of_the_year_itself_stay_on_their_dates(tmp_path):
    meter = span_csv(tmp_path, dt.date(2024, 7, 1), dt.date(2025, 6, 30))
    hours = hours_of_year(2025, ZONE)
    kw = meter_kw(meter_on_year(meter, hours, other_year=True), hours)
    first_half = hours.day < 181
    assert kw[first_half] == pytest.approx(house_kw(hours, 1.1)[first_half])
    theirs = hours_of_year(2024, ZONE)
    later = house_kw(theirs, 1.0)[theirs.month >= 7]
    assert kw[~first_half].sum() == pytest.approx(later.sum(), rel=ONE_DAY_OF_184 * 2)
    weekend = hours.weekday >= 5
    same = theirs.weekday[theirs.month >= 7] >= 5
    assert kw[~first_half & weekend].mean() == pytest.approx(later[same].mean(), rel=0.02)


def test_thirteen_months_leave_no_date_to_invention(tmp_path):
    """Of 2025 six months were read, the other six in 2024: with either word each date takes what stands in the file."""
    meter = span_csv(tmp_path, dt.date(2024, 6, 1), dt.date(2025, 6, 30))
    hours = hours_of_year(2025, ZONE)
    redated = meter_on_year(meter, hours, other_year=True)
    extended = meter_on_year(meter, hours, extend="like-weekdays")
    assert np.array_equal(redated.kwh, extended.kwh)
    assert not extended.filled.any()
    assert [issue.kind for issue in extended.issues] == ["redated"]
    assert redated.kwh[hours.month == 6] == pytest.approx(house_kw(hours, 1.1)[hours.month == 6])


def test_a_season_that_was_read_stands_in_before_any_is_invented(tmp_path):
    """July 2024 to February 2025 on 2025: March to June are invented, July to December are not."""
    meter = span_csv(tmp_path, dt.date(2024, 7, 1), dt.date(2025, 2, 28))
    hours = hours_of_year(2025, ZONE)
    used = meter_on_year(meter, hours, extend="like-weekdays")
    assert set(hours.month[used.filled].tolist()) == {3, 4, 5, 6}
    assert {issue.kind for issue in used.issues} == {"redated", "extended"}
    added = used.kwh[used.filled].sum()
    assert f"{added:,.1f} of {used.kwh.sum():,.1f} kWh were filled in, not read" in "\n".join(
        meter_notes("f", meter, used)
    )


def test_the_latest_of_several_years_is_laid_on_the_year(tmp_path):
    meter = span_csv(tmp_path, dt.date(2023, 1, 1), dt.date(2025, 3, 31))
    hours = hours_of_year(2027, ZONE)
    used = meter_on_year(meter, hours, other_year=True)
    redated = next(issue for issue in used.issues if issue.kind == "redated")
    assert "readings of 2024-04-02 to 2025-03-31 on the days of 2027" in redated.done  # the 1st is the day never used
    last = house_kw(hours_of_year(2025, ZONE), 1.1)[: 90 * 24].sum()
    assert used.kwh[hours.day < 90].sum() == pytest.approx(last, rel=0.02)


def test_a_gap_of_some_days_is_not_filled_by_redating(tmp_path):
    lost = [dt.date(2024, 10, day) for day in (3, 4, 5)]
    meter = span_csv(tmp_path, dt.date(2024, 7, 1), dt.date(2025, 6, 30), drop=lost)
    hours = hours_of_year(2025, ZONE)
    with pytest.raises(BadInput, match="3 days of the year were read in no year, the first is 03 October"):
        meter_on_year(meter, hours, other_year=True)
    used = meter_on_year(meter, hours, other_year=True, extend="like-weekdays")
    assert used.filled.sum() == 72
    thirteen = span_csv(tmp_path, dt.date(2023, 10, 1), dt.date(2025, 6, 30), drop=lost)
    assert not meter_on_year(thirteen, hours, other_year=True).filled.any()


def test_an_hour_that_was_filled_stays_marked_where_it_is_laid(tmp_path):
    meter = span_csv(tmp_path, dt.date(2024, 1, 1), dt.date(2024, 12, 31), drop=[dt.date(2024, 5, 15)])
    hours = hours_of_year(2025, ZONE)
    used = meter_on_year(meter, hours, other_year=True)
    assert used.filled.sum() == 24


def test_a_year_that_begins_in_july_says_how_to_use_it(tmp_path):
    meter = span_csv(tmp_path, dt.date(2024, 7, 1), dt.date(2025, 6, 30))
    with pytest.raises(BadInput, match="it holds a year all the same: state redate = true"):
        meter_on_year(meter, hours_of_year(2025, ZONE))
    assert fullest_year(meter, ZONE) == 2024
    with pytest.raises(BadInput, match="has no whole day of 2026; state redate = true"):
        meter_on_year(meter, hours_of_year(2026, ZONE), extend="like-weekdays")
