"""What a change of a site must do to its results, whatever the site is: no twin is needed to know it."""

import copy

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.twins.both import product_of, write_sun
from tests.twins.random_site import first_day, random_site

SMALL = 1e-9
PROFILE = settings(
    max_examples=8, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
SEEDS = st.integers(min_value=5000, max_value=5999)


@pytest.fixture
def results(tmp_path):
    def run(site: dict, seed: int):
        site = copy.deepcopy(site)
        if "solar" in site:
            write_sun(site, tmp_path)
        return product_of(site, tmp_path, "site", first_day(seed), 3)

    return run


def flows(run) -> np.ndarray:
    names = ("import_kw", "export_kw", "charge_kw", "discharge_kw", "loss_kw", "curtailed_kw")
    return np.array([getattr(run.year, name) for name in names])


@PROFILE
@given(seed=SEEDS)
def test_the_order_of_circuits_and_units_changes_nothing(results, seed):
    """Flows and hours are the same whichever way round the tables stand."""
    site = random_site(seed)
    other = {**site, "circuit": site["circuit"][::-1], "battery": site["battery"][::-1]}
    (run, ride), (run_2, ride_2) = results(site, seed), results(other, seed)
    assert np.allclose(flows(run), flows(run_2), atol=SMALL)
    assert np.allclose(ride.hours, ride_2.hours, atol=SMALL)


@pytest.mark.long
@PROFILE
@given(seed=SEEDS)
def test_names_change_nothing(results, seed):
    """New names for circuits, units and the site."""
    site = random_site(seed)
    other = copy.deepcopy(site)
    other["site"]["name"] = "Another"
    new = {unit["name"]: f"Renamed {k}" for k, unit in enumerate(other["battery"])}
    for k, one in enumerate(other["circuit"]):
        one["name"] = f"Renamed circuit {k}"
    for unit in other["battery"]:
        unit["name"] = new[unit["name"]]
        if "locked_with" in unit:
            unit["locked_with"] = new[unit["locked_with"]]
    (run, ride), (run_2, ride_2) = results(site, seed), results(other, seed)
    assert (flows(run) == flows(run_2)).all()
    assert (ride.hours == ride_2.hours).all()


@PROFILE
@given(seed=SEEDS)
def test_the_legs_may_be_called_the_other_way_round(results, seed):
    """Everything on A moves to B and the reverse: the legs' hours change places, nothing else moves."""
    site = random_site(seed)
    other = copy.deepcopy(site)
    turned = {"A": "B", "B": "A"}
    fed = {unit["leg"] for unit in site["battery"]}
    for one in other["circuit"]:
        if one.get("poles", 1) == 1:
            one["leg"] = turned[one.get("leg") or ("B" if fed == {"B"} else "A")]
    for unit in other["battery"]:
        unit["leg"] = turned.get(unit["leg"], "both")
    (run, ride), (run_2, ride_2) = results(site, seed), results(other, seed)
    assert np.allclose(flows(run), flows(run_2), atol=SMALL)
    assert np.allclose(ride.hours, ride_2.hours, atol=SMALL)
    for leg, hours in ride.leg_hours.items():
        assert np.allclose(hours, ride_2.leg_hours[turned[leg]], atol=SMALL)


@PROFILE
@given(seed=SEEDS, factor=st.sampled_from([0.5, 2.0, 4.0]))
def test_twice_the_money_is_twice_the_money(results, seed, factor):
    """Every price times a factor: the same year, and bills times the factor."""
    site = random_site(seed)
    other = {**site, "rate": dearer(site["rate"], factor), "operation": {**site["operation"]}}
    if "wear_per_kwh" in other["operation"]:
        other["operation"]["wear_per_kwh"] *= factor
    (run, _), (run_2, _) = results(site, seed), results(other, seed)
    assert np.allclose(flows(run), flows(run_2), atol=SMALL)
    assert np.allclose(run.asked.prices.buy_per_kwh * factor, run_2.asked.prices.buy_per_kwh, rtol=1e-12)
    assert np.allclose(run.asked.prices.sell_per_kwh * factor, run_2.asked.prices.sell_per_kwh, rtol=1e-12)


def dearer(table, factor: float):
    """Every price of a rate times a factor; sizes of tiers and shares of taxes stay."""
    if isinstance(table, list):
        return [dearer(one, factor) if isinstance(one, dict | list) else one * factor for one in table]
    priced = ("price_per_kwh", "credit_per_kwh", "per_kwh", "per_kw", "fixed_per_month", "minimum_per_month")
    found = {}
    for key, value in table.items():
        if key in priced:
            found[key] = [one * factor for one in value] if isinstance(value, list) else value * factor
        elif isinstance(value, dict) or (isinstance(value, list) and value and isinstance(value[0], dict)):
            found[key] = dearer(value, factor)
        else:
            found[key] = value
    return found


@PROFILE
@given(seed=SEEDS)
def test_a_circuit_that_draws_nothing_changes_no_hour_of_the_others(results, seed):
    """One more circuit of the last priority, on the main panel: nothing moves at all."""
    site = random_site(seed)
    more = {"name": "Spare", "breaker_a": 20, "load": {"kw": 0.0}, "on": "main", "priority": 9}
    (run, ride), (run_2, ride_2) = results(site, seed), results({**site, "circuit": [*site["circuit"], more]}, seed)
    assert (flows(run) == flows(run_2)).all()
    assert (ride.hours == ride_2.hours).all()


@PROFILE
@given(seed=SEEDS)
def test_a_longer_horizon_only_tells_more(results, seed):
    """Hours within the shorter horizon are the same; what outlived it lasts at least as long."""
    site = random_site(seed)
    site["outage"]["horizon_h"] = 8.0
    other = {**site, "outage": {**site["outage"], "horizon_h": 20.0}}
    (_, ride), (_, ride_2) = results(site, seed), results(other, seed)
    assert np.allclose(np.minimum(ride_2.hours, 8.0), ride.hours, atol=SMALL)


@PROFILE
@given(seed=SEEDS)
def test_half_steps_give_the_same_outages_from_the_same_charge(results, seed):
    """Steps of 30 minutes instead of 60: hours from the full hours are the same, started full."""
    site = random_site(seed)
    site["site"]["step_min"] = 60
    site["outage"] |= {"start_soc": "full", "horizon_h": 24.0}
    site["subpanel"]["load_control"] = "none"
    site["circuit"] = [{**one, "load": {"kw": 0.2, "window": "06:00-18:00"}} for one in site["circuit"]]
    site.pop("solar", None)
    other = copy.deepcopy(site)
    other["site"]["step_min"] = 30
    if site["operation"]["plan"] == "self-consumption":
        site["operation"]["plan"] = other["operation"]["plan"] = "keep-full"
    (_, ride), (_, ride_2) = results(site, seed), results(other, seed)
    assert np.allclose(ride.hours, ride_2.hours[::2], atol=SMALL)
