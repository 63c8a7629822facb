"""Durations, indices in and out, unserved energy, second outages, storm days and pickup."""

import io
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.console import Console

from profiles.noun import BadInput
from simulate.house import reliability
from simulate.house.interruptions import (
    Interruptions,
    indices_in,
    indices_out,
    interruptions_of,
    ridden_frac,
    spread_through,
    start_weight,
)
from simulate.house.outage_met import outage_kw
from simulate.house.reliability import (
    check_without,
    reliability_of,
    second_outage,
    second_outage_of,
    unserved_kwh,
    unserved_of,
)
from simulate.house.ride import ride_through
from simulate.house.storm import pickup_kw, pickup_of, storm_rows
from simulate.show.terminal.listing import second_lines, show_reliability
from simulate.site.outage import Outage
from tests.site.small_site import circuit, farmhouse, locked_pair, small_site, unit

OFTEN = {"per_year": 1.3, "mean_h": 4.0, "sigma": 1.4, "major": {"per_year": 0.1, "mean_h": 40.0}}
means, sigmas, times = st.floats(0.2, 60.0), st.floats(0.0, 2.5), st.floats(0.0, 500.0)


@given(means, sigmas.filter(lambda s: s > 0.05))
def test_lognormal_against_scipy(mean_h, sigma):
    from scipy.stats import lognorm

    mine, t = Interruptions(1.0, mean_h, sigma), np.array([0.1, 1.0, 8.0, 100.0])
    theirs = lognorm(s=sigma, scale=math.exp(math.log(mean_h) - sigma**2 / 2.0))
    assert mine.longer_frac(t) == pytest.approx(theirs.sf(t), rel=1e-9, abs=1e-15)
    assert theirs.mean() == pytest.approx(mean_h, rel=1e-12)


@given(means, sigmas, times)
def test_mean_excess_is_the_integral_of_what_lasts_longer(mean_h, sigma, t):
    mine = Interruptions(1.0, mean_h, sigma)
    grid = np.linspace(t, t + 5.0, 4001)
    area = np.trapezoid(mine.longer_frac(grid), grid)
    steps = 5.0 / 4000 if sigma == 0.0 else 2e-4 * max(1.0, 5.0 / max(sigma, 0.01))
    assert float(mine.excess_h(t) - mine.excess_h(t + 5.0)) == pytest.approx(area, abs=steps)
    assert float(mine.excess_h(0.0)) == pytest.approx(mean_h, rel=1e-12)
    assert float(mine.excess_h(np.inf)) == 0.0


def test_without_a_battery_what_goes_in_comes_out():
    kinds = interruptions_of(Outage.model_validate(OFTEN))
    assert indices_out(np.zeros(12), kinds) == pytest.approx(indices_in(kinds))
    assert indices_in(kinds)["saidi_h"] == pytest.approx(1.3 * 4.0 + 0.1 * 40.0)
    assert ridden_frac(np.zeros(12), kinds) == pytest.approx(0.0)
    assert ridden_frac(np.full(12, np.inf), kinds) == 1.0
    assert interruptions_of(Outage()) == ()


def test_a_duration_without_spread_is_ridden_through_or_not():
    kinds = [Interruptions(2.0, 5.0, 0.0)]
    assert ridden_frac([4.0, 5.0, 6.0, 7.0], kinds) == 0.75
    assert indices_out([4.0, 5.0, 6.0, 7.0], kinds) == pytest.approx({"saifi": 0.5, "saidi_h": 0.5, "caidi_h": 1.0})


def test_month_weights_weigh_expected_values_only():
    month = np.repeat([1, 7], 10)
    weights = [1.0] + [0.0] * 11
    weight = start_weight(month, weights)
    assert weight.sum() == pytest.approx(1.0)
    kinds = [Interruptions(1.0, 5.0, 0.0)]
    assert ridden_frac(np.repeat([1.0, 9.0], 10), kinds, weight) == 0.0
    with pytest.raises(BadInput, match="month_weights"):
        start_weight(month, [0.0] * 12)


def test_unserved_energy_of_a_sampled_year():
    """Ten thousand drawn interruptions of a house that goes dark after 3 h 20 min."""
    kinds = [Interruptions(1.0, 5.0, 1.2)]
    hour = np.arange(96) % 24
    kw = np.where(hour < 12, 0.3, 0.9)
    exact = unserved_kwh(kw, np.full(96, 10 / 3), np.arange(96), kinds, step_h=1.0, horizon_h=336.0)[7]
    rng = np.random.default_rng(5)
    energy = np.r_[0.0, np.cumsum(np.tile(kw, 200)[7:])]
    used = lambda t: np.interp(t, np.arange(len(energy)), energy)
    durations = np.minimum(np.exp(kinds[0].mu + 1.2 * rng.standard_normal(10_000)), 3000.0)
    drawn = np.where(durations > 10 / 3, used(durations) - used(10 / 3), 0.0)
    assert exact == pytest.approx(drawn.mean(), abs=4.0 * drawn.std() / 100.0)


@given(st.floats(0.0, 30.0), st.floats(0.5, 2.0))
def test_unserved_energy_does_not_depend_on_the_step(dark_h, sigma):
    kinds = [Interruptions(1.2, 6.0, sigma)]
    hourly = np.where(np.arange(48) % 24 < 8, 0.2, 1.0)
    out = [
        unserved_kwh(np.repeat(hourly, k), np.full(1, dark_h), np.zeros(1, int), kinds, step_h=1 / k, horizon_h=240.0)[
            0
        ]
        for k in (1, 4)
    ]
    assert out[0] == pytest.approx(out[1], rel=1e-9)


def resilient(**tables):
    circuits = [circuit("Boiler", 0.3), circuit("Fridge", 0.1, "B"), circuit("Pump", 0.2, "AB", priority=2)]
    return small_site(circuits, locked_pair(), outage=OFTEN, **tables)


@pytest.mark.long
def test_following_every_outage_agrees_with_the_closed_form():
    ride = ride_through(resilient())
    kinds = interruptions_of(ride.house.site.outage)
    exact = unserved_of(ride, kinds)
    traced = reliability._traced(ride, kinds, outage_kw(ride.house, "usual"))
    assert traced == pytest.approx(exact, rel=0.01)
    assert exact.mean() > 0.0


@pytest.mark.long
def test_what_comes_back_in_the_morning_is_not_unserved():
    sun = {"dc_kw": 3.0, "connected_at": "sub-panel", "tilt_deg": 30.0, "azimuth_deg": 180.0}
    more = {"solar": sun, "weather": {"source": "library:south-florida"}}
    units = [unit("A", takes_back_kw=3.0)]
    at_floor = {"outage": OFTEN | {"restart_soc": 0.1}}
    stays = small_site([circuit("House", 0.8)], units, outage=OFTEN, **more)
    returns = small_site([circuit("House", 0.8)], units, **more, **at_floor)
    kwh = [
        unserved_of(ride, interruptions_of(ride.house.site.outage)).mean()
        for ride in map(ride_through, (stays, returns))
    ]
    assert kwh[1] < 0.8 * kwh[0]


def test_overload_that_retries_serves_more_than_one_that_latches():
    peak = {"load": [{"kw": 0.2}, {"kw": 9.0, "window": "12:00-13:00"}]}
    kwh = {}
    for after_trip in ("latches", "retries"):
        site = small_site([circuit("House", 0.0) | peak], [unit("A", after_trip=after_trip)], outage=OFTEN)
        ride = ride_through(site)
        kwh[after_trip] = unserved_of(ride, interruptions_of(site.outage)).mean()
    assert kwh["retries"] < kwh["latches"]


def test_document_keeps_the_load_cases_apart():
    scale = {"usual": 1.0, "frugal": 0.5, "storm": 2.0}
    site = small_site([circuit("Sump", 0.3, outage_scale=scale)], [unit("A")], outage=OFTEN)
    found = reliability_of(ride_through(site))
    cases = found["cases"]
    order = [cases[case]["unserved_kwh_per_year"] for case in ("frugal", "usual", "storm")]
    assert order == sorted(order)
    assert cases["usual"]["without_battery_kwh_per_year"] == pytest.approx(0.3 * 9.2)
    assert cases["usual"]["out"]["saidi_h"] < found["in"]["saidi_h"]
    assert found["storm_days"] == []
    assert any("confidence" in note for note in found["notes"])
    assert reliability_of(ride_through(small_site([circuit("Shelf", 0.1)], [unit("A")]))) is None


def test_second_outage_before_full():
    often = OFTEN | {"per_year": 8760.0 / 24.0}  # one a day: the chance in t hours is 1 - exp(-t / 24)
    site = small_site(
        [circuit("Shelf", 0.1)],
        [unit("A", charge_kw=1.0)],
        outage={k: often[k] for k in ("per_year", "mean_h")},
        operation={"after_outage_wait_min": 60.0},
    )
    ride = ride_through(site)
    found = second_outage_of(ride, interruptions_of(site.outage))
    assert found["refill_h"] == pytest.approx(6.0)
    assert found["chance_frac"] == pytest.approx(1.0 - math.exp(-6.0 / 24.0))


def test_storm_days_are_real_days_of_the_file():
    site = farmhouse()
    storm = ride_through(site, load_case="storm")
    rows = {row["why"]: row for row in storm_rows(storm)}
    assert set(rows) == {"coldest", "darkest", "hottest", "cold-and-dark"}
    assert rows["coldest"]["hours"]["p50"] < np.median(storm.hours)  # the boiler runs all day
    assert rows["coldest"]["temp_c"] < rows["cold-and-dark"]["temp_c"] < rows["hottest"]["temp_c"]


def test_pickup_is_held_at_what_a_circuit_draws_when_on():
    assert pickup_kw([0.2, 0.5], 0.5, 4.0).tolist() == [0.5, 0.5]
    assert pickup_kw([0.2], None, 4.0).tolist() == [0.8]
    with pytest.raises(BadInput, match="factor"):
        pickup_kw([0.2], None, 0.5)


def test_pickup_can_trip_a_leg_that_the_mean_does_not():
    pump = circuit("Pump", 0.9, kind="motor", running_w=1400.0)
    site = small_site([pump, circuit("Light", 0.3)], [unit("A", continuous_kw=1.5)])
    found = pickup_of(ride_through(site), factor=3.0, minutes=30.0)
    row = found["limits"][0]
    assert found["circuits"] == ["Pump"]
    assert row["highest_kw"] == pytest.approx(1.7)
    assert row["over_frac"] == 1.0
    assert row["extra_kwh"] == pytest.approx(0.25)
    assert row["hours_lost"] == pytest.approx(0.25 / 1.2)


def test_bad_durations_name_the_key():
    for values, key in (
        ((1.0, 0.0, 1.0), "mean_h"),
        ((-1.0, 2.0, 1.0), "per_year"),
        ((1.0, 2.0, float("nan")), "sigma"),
    ):
        with pytest.raises(BadInput, match=key):
            Interruptions(*values)
    with pytest.raises(BadInput, match="share"):
        spread_through(2.0, 0.999)


def test_a_second_outage_finds_what_an_hour_of_charging_stored():
    """1 h less 15 min of wait at 2.88 kW on each leg: 2.16 kWh, so 0.5 kW last 4.32 h and 0.25 kW 8.64 h."""
    site = small_site([circuit("Left", 0.5), circuit("Right", 0.25, "B")], locked_pair(), outage={"horizon_h": 40.0})
    found = second_outage(ride_through(site))
    assert found["stored_kwh"] == pytest.approx(2 * 2.16)
    assert (found["after_h"], found["usable_kwh"]) == (1.0, 10.0)
    assert found["hours"]["p10"] == pytest.approx(4.32)
    assert found["chance_frac"] is None
    lines = " ".join(second_lines(found))
    assert "1 h after the power is back finds 4.32 of 10.00 kWh and lasts 4.3 h" in lines


def test_the_chance_of_a_second_outage_is_said_with_what_it_leaves_out():
    site = small_site([circuit("Left", 0.5)], [unit("A")], outage={"per_year": 1.4, "mean_h": 4.0})
    found = second_outage(ride_through(site))
    assert found["chance_frac"] == pytest.approx(-math.expm1(-1.4 / 8760.0 * found["refill_h"]), rel=0.05)
    assert "if outages come independently; in a storm they do not" in " ".join(second_lines(found))


@pytest.mark.parametrize(
    ("names", "said"),
    [
        (["Nope"], '--without: no circuit is called "Nope"; known: Left; Right'),
        (["Rihgt"], 'no circuit is called "Rihgt"; did you mean "Right"'),
        (["Dryer"], "is not on the sub-panel"),
        (["Left", "Right"], "leaves no circuit on battery"),
    ],
)
def test_what_cannot_be_switched_off_in_an_outage(names, said):
    stays = circuit("Dryer", 0.1) | {"on": "main"}
    with pytest.raises(BadInput, match=said):
        check_without(small_site([circuit("Left", 0.5), circuit("Right", 0.2), stays], [unit("A")]), names)


def shown(show, *things) -> str:
    console = Console(record=True, width=120, file=io.StringIO())
    show(*things, console)
    return " ".join(console.export_text().split())


def test_the_terminal_shows_every_load_case_the_storm_days_and_the_pickup():
    pump = circuit("Pump", 1.0, kind="motor", running_w=3000.0)
    site = small_site([pump], [unit("A", continuous_kw=1.5)], outage=OFTEN, weather={"source": "library:piedmont"})
    found = reliability_of(ride_through(site))
    text = shown(show_reliability, found)
    assert "SAIFI 1.40 a year, SAIDI 9.2 h" in text
    for row in ("usual", "frugal", "storm", "coldest day", "darkest day", "hottest day", "cold and dark day"):
        assert row in text, row
    assert "When everything starts at once legs A draw up to 2.00 of 1.50 kW" in text
    assert f"{found['cases']['usual']['unserved_kwh_per_year']:,.2f}" in text


def test_outages_that_outlive_the_horizon_leave_nothing_unserved_and_warn_of_nothing():
    kinds = [Interruptions(1.4, 4.0, 1.4)]
    out = unserved_kwh(np.full(24, 0.5), np.array([np.inf, 0.0]), np.array([0, 0]), kinds, step_h=1.0, horizon_h=48.0)
    assert out.tolist() == [0.0, pytest.approx(0.5 * 5.6)]
