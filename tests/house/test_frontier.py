"""What a reserve costs: every level is a year of its own, and "best" is the cheapest that lasts as asked."""

import numpy as np
import pytest

from profiles.noun import BadInput
from simulate.document.study import study
from simulate.house.bills import bills_of
from simulate.house.frontier import frontier_of
from simulate.house.levels import Levels
from simulate.house.ride import ride_through
from simulate.house.year import run_year
from tests.house.test_year import peaks
from tests.site.small_site import circuit, locked_pair, small_site, unit

LOSSES = {"charge_efficiency": 0.95, "discharge_efficiency": 0.95, "no_load_w": 20.0, "on_grid_w": 5.0}


def lights_site(batteries=None, on="16:00-21:00", **operation):
    loads = [circuit("Lights", 0.4, rate_transfer=True), circuit("Den", 0.2, rate_transfer=True)]
    return small_site(loads, batteries or [unit(**LOSSES)], rate=peaks(on), operation=operation)


def test_every_level_is_the_year_of_that_reserve():
    frontier = frontier_of(lights_site(plan="time-of-use"), n_levels=5)
    for k, reserve in enumerate((0.0, 0.25, 0.5, 0.75, 1.0)):
        run = run_year(lights_site(plan="time-of-use", reserve=reserve))
        hours = ride_through(run).hours
        assert frontier.plan.reserve_frac[k] == reserve
        assert frontier.plan.saving[k] == pytest.approx(bills_of(run).saving, abs=1e-9)
        assert frontier.plan.hours[k] == np.sort(hours)[len(hours) // 10]
        best = run_year(lights_site(plan="best-possible", reserve=reserve))
        assert frontier.best.saving[k] == pytest.approx(bills_of(best).saving, abs=1e-9)


def test_saving_falls_and_hours_rise_with_the_reserve():
    frontier = frontier_of(lights_site(plan="time-of-use"))
    assert len(frontier.plan.reserve_frac) == len(frontier.best.reserve_frac) == 101
    assert (np.diff(frontier.plan.saving) <= 1e-9).all() and (np.diff(frontier.plan.hours) >= -1e-9).all()
    assert (frontier.best.saving >= frontier.plan.saving - 1e-6).all()


def test_the_best_reserve_is_the_cheapest_that_lasts():
    """Derived by hand: the worst outage begins as the peak ends, with the reserve alone against 0.6 kW and its losses."""
    asked = {"plan": "time-of-use", "reserve": "best", "reserve_for_h": 4.0, "reserve_share": 1.0}
    result = study(lights_site(**asked))
    drain_kw = 0.6 / 0.95 + 0.02
    least = 4.0 * drain_kw / 5.0
    assert result.run.asked.reserve == pytest.approx(np.ceil(least * 100) / 100)
    assert result.ride.hours.min() >= 4.0 - 1e-9
    part = result.document["frontier"]
    assert part["met"] and part["chosen_reserve"] == result.run.asked.reserve and part["lasting_frac"] == 1.0
    assert any("100.0% of the outages last 4 h" in line for line in result.document["assumptions"])
    cheaper = study(lights_site(**asked | {"reserve_share": 0.5}))
    assert cheaper.run.asked.reserve < result.run.asked.reserve and cheaper.bills.saving > result.bills.saving


def test_where_no_reserve_lasts_the_units_are_held_full_and_it_is_said():
    result = study(lights_site(plan="time-of-use", reserve="best", reserve_for_h=24.0))
    assert result.run.asked.reserve == 1.0 and not result.document["frontier"]["met"]
    assert any("NO reserve lets 90% of the outages last 24 h" in line for line in result.document["assumptions"])


def test_hours_beyond_the_horizon_are_refused():
    with pytest.raises(BadInput, match=r"operation.reserve_for_h must not exceed outage.horizon_h = 336"):
        run_year(lights_site(reserve="best", reserve_for_h=400.0))


def test_of_equal_savings_the_higher_reserve_is_taken():
    levels = Levels(
        "x", np.array([0.0, 0.5, 1.0]), np.array([9.0, 9.0, 2.0]), np.zeros(3), np.array([0.9, 0.95, 1.0]), ""
    )
    assert [levels.cheapest(share) for share in (0.5, 0.93, 0.97, 1.0)] == [1, 1, 2, 2]
    assert Levels("x", *(np.zeros(3) for _ in range(4)), "").cheapest(0.1) is None


def test_as_a_table_and_as_plain_numbers():
    frontier = frontier_of(run_year(lights_site(locked_pair(**LOSSES), plan="time-of-use")), n_levels=3)
    frame = frontier.to_frame()
    assert list(frame["curve"]) == ["plan"] * 3 + ["best possible"] * 3
    document = frontier.document()
    assert [curve["plan"] for curve in document["curves"]] == ["time-of-use", "best-possible"]
    assert document["curves"][0]["saving"] == frame["saving"][:3].tolist()
    with pytest.raises(BadInput, match="n_levels must be 2 or more"):
        frontier_of(lights_site(), n_levels=1)
