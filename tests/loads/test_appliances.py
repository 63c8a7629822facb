"""Appliances agree with themselves; on-off series keep their energy and show their peaks."""

import numpy as np
import pytest

from profiles.hours import hours_of_year
from profiles.loads.appliances import appliance, appliances, duty_cycle_kw
from profiles.noun import BadInput

FIVE = hours_of_year(2025, "America/New_York", 5)
MINUTE = hours_of_year(2024, "America/New_York", 1)


@pytest.mark.parametrize("name", appliances())
def test_figures_of_an_appliance_agree_with_each_other(name):
    one = appliances()[name]
    for low, high in filter(None, (one.running_w_range, one.start_va_range, one.kwh_per_day_range, one.listed_w)):
        assert 0 <= low <= high
    assert one.running_w_range[0] <= one.running_w <= one.running_w_range[1]
    if one.minutes_per_hour is not None:
        kwh = one.running_w * one.minutes_per_hour / 60 * 24 / 1000
        assert one.kwh_per_day_range[0] <= kwh <= one.kwh_per_day_range[1]
    assert (one.start_va_range is None) == (one.volts is None)
    if one.start_va_range is not None:
        assert one.start_va_range[1] > one.running_w  # a start takes more than running
        assert one.locked_rotor_a_range[0] == one.start_va_range[0] / one.volts


def test_medical_devices_are_marked_and_say_what_to_do():
    medical = [one for one in appliances().values() if one.medical]
    assert {one.title for one in medical} == {"Positive airway pressure machine", "Oxygen concentrator"}
    assert all("Do not rely on this system alone" in one.outage for one in medical)


def test_unknown_appliance_hands_over_the_nearest():
    with pytest.raises(BadInput, match="did you mean sump-pump"):
        appliance("sump pump")


@pytest.mark.parametrize("hours", [FIVE, MINUTE, hours_of_year(2025, "UTC")], ids=["5 min", "1 min", "hour"])
@pytest.mark.parametrize("minutes", [0.3, 1.5, 20.0, 59.0, 60.0])
def test_energy_is_exact_and_power_within_the_rating(hours, minutes):
    kw = duty_cycle_kw(850.0, minutes, hours, seed=3, starts_per_hour=2.0)
    assert kw.sum() * hours.step_h == pytest.approx(0.85 * minutes / 60 * hours.n_steps * hours.step_h, rel=1e-10)
    assert kw.min() >= 0.0 and kw.max() <= 0.85


def test_peaks_appear_that_the_hourly_mean_hides():
    kw = duty_cycle_kw(850.0, 6.0, MINUTE, seed=3)
    hourly = kw.reshape(-1, 60).mean(axis=1)
    assert kw.max() == pytest.approx(0.85, rel=1e-12)
    assert hourly.max() < 0.25  # two whole runs, each a fifth above the mean of 0.085
    assert np.mean((kw > 0.0) & (kw < 0.8499)) < 0.04  # two minutes of each run are partly on


def test_starts_come_as_often_as_asked():
    kw = duty_cycle_kw(600.0, 15.0, MINUTE, seed=5, starts_per_hour=3.0)
    starts = np.count_nonzero((kw[1:] > 0) & (kw[:-1] == 0))
    assert starts / 8784 == pytest.approx(3.0, rel=0.02)


def test_a_series_of_minutes_moves_the_runs_to_its_hours():
    minutes = np.where(FIVE.month == 1, 30.0, 0.0)
    kw = duty_cycle_kw(600.0, minutes, FIVE, seed=7, starts_per_hour=4.0)
    february = FIVE.index_of("2025-02-01T00:00")
    assert kw[february + 4 :].sum() == pytest.approx(0.0, abs=1e-12)  # the last cycle may end up to 18 min late
    day = np.bincount(FIVE.day, kw) * FIVE.step_h
    # Each day has 96 cycles; only those at its two ends can be shared with a neighbour.
    np.testing.assert_allclose(day[:31], 0.3 * 24, rtol=2 / 96)


def test_mean_kw_becomes_minutes():
    mean_kw = 0.1 + 0.05 * np.sin(2 * np.pi * FIVE.day / 365)
    kw = duty_cycle_kw(500.0, 60 * mean_kw / 0.5, FIVE, seed=1)
    assert kw.sum() == pytest.approx(mean_kw.sum(), rel=1e-10)


def test_the_seed_fixes_the_series():
    same = [duty_cycle_kw(500.0, 10.0, FIVE, seed=seed) for seed in (1, 1, 2)]
    np.testing.assert_array_equal(same[0], same[1])
    assert (same[0] != same[2]).any()


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ((float("nan"), 6.0), "running_w"),
        ((0.0, 6.0), "running_w"),
        ((500.0, 61.0), "minutes_per_hour must be from 0 to 60"),
        ((500.0, float("nan")), "minutes_per_hour"),
        ((500.0, [1.0, 2.0]), "one for each of 105120 steps"),
    ],
)
def test_cycle_that_is_none_is_refused(arguments, message):
    with pytest.raises(BadInput, match=message):
        duty_cycle_kw(*arguments, FIVE, seed=1)
    with pytest.raises(BadInput, match="starts_per_hour"):
        duty_cycle_kw(500.0, 6.0, FIVE, seed=1, starts_per_hour=0.0)
