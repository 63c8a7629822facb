"""A design that is changed step by step comes to what the whole job on the same site file comes to."""

import re
import tomllib
from pathlib import Path

import numpy as np
import pytest

from profiles.noun import BadInput
from simulate.designs.draft import Draft, counts_on_legs
from simulate.document.study import study
from simulate.house.bills import bills_of
from simulate.house.house import house_of
from simulate.house.ride import ride_through
from simulate.house.year import run_year
from simulate.site.operation import PLANS
from simulate.site.site import site_of
from tests.house.random_house import random_house
from tests.site.small_site import circuit, farmhouse, locked_pair, small_site, unit

CASES = ("usual", "frugal", "storm")
SERIES = ("hours", "censored", "why", "first_lost", "soc_kwh", "begin")


def farm_tables() -> dict:
    return tomllib.loads(Path(__file__).parents[1].joinpath("site/heron_creek.toml").read_text("utf-8"))


def rewritten(tables: dict, is_on: dict, counts: dict, operation: dict, case: str):
    """The site of these tables with other values, read anew: nothing of a draft is used."""
    circuits = []
    for one in tables["circuit"]:
        was = one.get("on", "sub-panel")
        off = "main" if was == "sub-panel" else was
        on = "sub-panel" if is_on[one["name"]] else off
        circuits.append(one if on == was else {**one, "on": on})
    batteries = [{**one, "count": counts[one["leg"]]} for one in tables["battery"]]
    outage = {**tables.get("outage", {}), "load_case": case}
    return site_of(tables | {"circuit": circuits, "battery": batteries, "operation": operation, "outage": outage})


@pytest.mark.long
def test_random_designs_of_the_farmhouse_equal_a_study_of_the_rewritten_file():
    rng, tables = np.random.default_rng(18), farm_tables()
    draft = Draft(farmhouse())
    for _ in range(8):
        is_on = {one["name"]: bool(rng.random() < 0.7) for one in tables["circuit"]}
        counts = {"A": int(rng.integers(0, 3)), "B": int(rng.integers(0, 3))}
        operation = {"plan": str(rng.choice(["keep-full", "time-of-use"])), "reserve": float(rng.choice([0.2, 0.6]))}
        case = str(rng.choice(CASES))
        draft = draft.changed(circuits=is_on, units=counts, load_case=case, **operation)
        fresh = study(rewritten(tables, is_on, counts, tables.get("operation", {}) | operation, case))
        for name in SERIES:
            np.testing.assert_array_equal(getattr(draft.ride, name), getattr(fresh.ride, name))
        assert draft.study.document == fresh.document


def random_change(rng, house) -> dict:
    legs = {group.leg: int(rng.integers(1, 4)) for group in house.site.battery}
    reserve = float(rng.uniform()) if rng.random() < 0.7 else tuple(rng.uniform(size=12).tolist())
    full = {
        "circuits": {one.name: bool(rng.random() < 0.6) for one in house.site.circuit},
        "units": legs,
        "reserve": reserve,
        "plan": str(rng.choice([plan for plan in PLANS if plan not in ("best-possible", "forecast", "demand-limit")])),
        "load_case": str(rng.choice(CASES)),
    }
    return {key: value for key, value in full.items() if rng.random() < 0.4}


@pytest.mark.long
@pytest.mark.parametrize("seed", range(12))
def test_a_chain_of_changes_equals_each_design_run_by_itself(seed):
    """Houses of twenty days of every kind: modes, pools, sun, rates; the figures are equal to the last bit."""
    rng = np.random.default_rng([18, seed])
    house = random_house(rng, str(rng.choice(["keep-full", "time-of-use", "self-consumption"])), quick=True, n_days=20)
    draft = Draft(house)
    for _ in range(6):
        draft = draft.changed(**random_change(rng, house))
        run = run_year(house.with_battery_of(draft.site))
        ride = ride_through(run)
        for name in SERIES:
            np.testing.assert_array_equal(getattr(draft.ride, name), getattr(ride, name))
        for leg, hours in ride.leg_hours.items():
            np.testing.assert_array_equal(draft.ride.leg_hours[leg], hours)
        for name in ("import_kw", "export_kw", "soc_kwh"):
            np.testing.assert_array_equal(getattr(draft.run.year, name), getattr(run.year, name))
        assert draft.run.energy_kwh() == run.energy_kwh()
        np.testing.assert_array_equal(draft.storm.hours, ride_through(run, load_case="storm").hours)


def test_bills_of_a_draft_are_those_of_its_year():
    draft = Draft(farmhouse()).changed(units={"A": 2}, reserve=0.5)
    fresh = bills_of(run_year(house_of(draft.site)))
    assert draft.bills.saving == fresh.saving and draft.bills.with_battery.lines == fresh.with_battery.lines


def test_only_what_the_change_touches_is_worked_out_anew():
    draft = Draft(farmhouse())
    year, bound = draft.run.year, draft.bound
    without = draft.changed(circuits={"Sump pit": False})
    assert without.run.year is year and without.bound is bound
    assert without.run.house.backed_up_kw.sum() < draft.run.house.backed_up_kw.sum()
    switched = draft.changed(circuits={"Study and router": False})  # it is switched for the rate
    assert switched.run.year is not year
    assert draft.changed(load_case="storm").run.year is year
    assert without.changed(circuits={"Sump pit": True}).ride is draft.ride


def test_what_is_put_back_leaves_the_site_as_it_was():
    draft = Draft(farmhouse())
    back = draft.changed(circuits={"Sump pit": False, "Barn freezer": True}).changed(
        circuits={"Sump pit": True, "Barn freezer": False}
    )
    assert [one.on for one in back.site.circuit] == [one.on for one in draft.site.circuit]
    assert back.study.document["assumptions"] == draft.study.document["assumptions"]


def test_names_that_shall_be_backed_up_replace_the_set():
    assert Draft(farmhouse()).changed(circuits=("Barn freezer", "Sump pit")).backed_up == ("Sump pit", "Barn freezer")


def test_no_unit_at_all_and_no_circuit_at_all_are_designs_too():
    draft = Draft(farmhouse())
    assert draft.changed(units={"A": 0, "B": 0}).ride.hours.max() == 0.0
    assert draft.changed(circuits=()).ride.hours.max() == 0.0
    assert draft.changed(circuits=()).study.answer["hours"]["text"] == "No circuit is carried: there are no hours."


def test_units_go_on_the_last_group_of_a_leg():
    site = small_site([circuit("House", 0.5)], [unit("A", count=2), {**unit("A"), "name": "More"}])
    assert counts_on_legs(site, {"A": 5}) == {"Unit A": 2, "More": 3}
    assert counts_on_legs(site, {"A": 1}) == {"Unit A": 1, "More": 0}


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"circuits": {"Sump": False}}, "is not a circuit of the site, not 'Sump'; known: Left"),
        ({"units": {"both": 1}}, "battery.leg has no group of units, not 'both'; give a [[battery]] of leg = \"both\""),
        ({"units": {"A": 100}}, "must be at most 99"),
        ({"units": {"A": -1}}, "must be at least 0"),
        ({"reserve": (0.1, 0.2)}, "must be one number or twelve by month"),
        ({"reserve": 1.2}, "reserve"),
        ({"plan": "guess"}, "operation.plan"),
        ({"load_case": "calm"}, "outage.load_case"),
    ],
)
def test_what_the_site_file_does_not_take_is_refused(change, said):
    draft = Draft(small_site([circuit("Left", 0.5), circuit("Right", 0.2, "B")], locked_pair()))
    with pytest.raises(BadInput, match=re.escape(said)):
        draft.changed(**change)


def test_units_at_the_end_of_their_warranty_are_those_of_the_study():
    draft = Draft(farmhouse()).changed(reserve=0.4)
    assert draft.aged.hours.min() < draft.ride.hours.min()
    without = draft.changed(circuits={"Sump pit": False, "Jet pump": False})
    np.testing.assert_array_equal(without.aged.hours, study(without.site).aged.hours)
    assert without.study.answer == study(without.site).answer
