"""Least-cost in transfer mode: each circuit its own window in a peak, from nothing but the past."""

from dataclasses import replace

import numpy as np
import pytest

from simulate.document.plans import rate_transfer_rows, switches_a_year
from simulate.house.bills import bills_of
from simulate.house.candidates import may_switch
from simulate.house.house import house_of
from simulate.house.year import run_year
from tests.house.test_year import peaks
from tests.site.small_site import circuit, locked_pair, small_site, unit


def evening(name, window, kw=2.0, **more) -> dict:
    return circuit(name, 0.0, rate_transfer=True, **more) | {"load": {"kw": kw, "window": window}}


def two_evenings(plan="least-cost", **tables):
    """Two circuits of 2 kW whose hours overlap and one unit of 3 kW."""
    loads = [evening("One", "16:00-19:00"), evening("Two", "18:00-21:00")]
    units = [unit(usable_kwh=15.0, continuous_kw=3.0)]
    return small_site(loads, units, rate=peaks(), **{"operation": {"plan": plan, "reserve": 0.0}} | tables)


def varied(site, seed=0):
    """The house of a site whose circuits differ from day to day."""
    house, rng = house_of(site), np.random.default_rng(seed)
    days = rng.uniform(0.3, 1.6, (len(house.circuit_kw), house.hours.n_days))[:, house.hours.day]
    return replace(house, circuit_kw=house.circuit_kw * days * rng.uniform(0.7, 1.3, house.circuit_kw.shape))


@pytest.mark.parametrize("plan", ["least-cost", "time-of-use", "forecast"])
def test_two_circuits_take_turns_in_one_peak(plan):
    """By hand: 2 kW for five hours at 0.30 a kWh on 365 evenings; the single set of one of them gives 657."""
    run = run_year(two_evenings(plan))
    assert bills_of(run).saving == pytest.approx(365 * 10.0 * 0.3, abs=1e-6)
    assert switches_a_year(run) == {"One": 730, "Two": 730}
    rows = rate_transfer_rows(run)
    assert [row["breaks_per_year"] for row in rows] == [730, 730]
    assert sum(row["saving"] for row in rows) == pytest.approx(1095.0, abs=1e-6)


def test_every_circuit_goes_over_once_in_a_peak_and_the_output_is_kept():
    site = two_evenings(subpanel={"transfer": {"least_stay_min": 60}})
    run = run_year(varied(site))
    switched, may = run.asked.switched, may_switch(run.house)
    step = np.arange(run.hours.n_steps)
    over = np.zeros(may.kw.shape, int)
    for k in range(len(switched.begin)):
        over += (step >= switched.begin[k][:, None]) & (step < switched.end[k][:, None])
    assert over.max() == 1
    assert (over * may.kw).sum(axis=0).max() <= 3.0 + 1e-9
    assert run.asked.wish.reach_kw[0] == pytest.approx((over * may.kw).sum(axis=0), abs=1e-9)
    goes_over = [np.flatnonzero(np.diff(one, prepend=0) == 1) for one in over]
    assert all(len(np.unique(run.hours.day[at])) == len(at) for at in goes_over)


def test_nothing_later_changes_an_earlier_step():
    house = varied(two_evenings())
    t = 200 * 24 + 18
    later = np.arange(house.hours.n_steps) > t
    other = replace(house, circuit_kw=np.where(later, 0.7 * house.circuit_kw + 0.2, house.circuit_kw))
    ours, theirs = (run_year(one).asked.wish for one in (house, other))
    assert np.array_equal(ours.reach_kw[:, : t + 1], theirs.reach_kw[:, : t + 1])
    assert np.array_equal(ours.targets_kwh[:, : t + 1], theirs.targets_kwh[:, : t + 1])
    assert not np.array_equal(ours.reach_kw[:, t + 1 :], theirs.reach_kw[:, t + 1 :])


def test_mates_of_a_multiwire_circuit_go_over_as_one_or_not_at_all():
    def site(flagged):
        loads = [
            evening("One", "16:00-19:00", 1.0, multiwire_with="Two"),
            circuit("Two", 0.0, "B", rate_transfer=flagged) | {"load": {"kw": 1.0, "window": "18:00-21:00"}},
        ]
        return small_site(loads, locked_pair(), rate=peaks(), operation={"plan": "least-cost", "reserve": 0.0})

    both = run_year(site(True))
    assert both.asked.switched.chosen.any()
    assert np.array_equal(both.asked.switched.begin[:, 0], both.asked.switched.begin[:, 1])
    assert np.array_equal(both.asked.switched.end[:, 0], both.asked.switched.end[:, 1])
    assert may_switch(house_of(site(False))).names == ()


def test_what_cannot_stay_is_not_switched():
    """2 kW for two hours at least, and one kWh in store."""
    site = two_evenings(subpanel={"transfer": {"least_stay_min": 120}})
    small = site.with_values({"battery.usable_kwh": 1.0})
    assert not run_year(small).year.pool_discharge_kw.any()
    assert run_year(site).year.pool_discharge_kw.any()
