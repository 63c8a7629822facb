"""The row by which designs stand beside one another: the same figures from every verb, and who is not ranked."""

import pytest

from simulate.designs.compare import compare_units
from simulate.designs.draft import Draft
from simulate.designs.influence import pareto
from simulate.designs.shared_row import Target, on_front, shared_row
from simulate.designs.sweep import sweep
from simulate.document.study import study
from simulate.panel.sheets.price import installed_price
from simulate.physics.outages.spread import nine_in_ten
from tests.site.small_site import circuit, small_site, unit

FULL = {"start_soc": "full"}
YEAR = tuple(range(1, 13))


def two_legs(**tables):
    loads = [circuit("Fridge", 0.25, if_lost="food"), circuit("Furnace", 0.2, "B", if_lost="heat")]
    units = [unit("A", installed_price=1000.0), {**unit("B", installed_price=1000.0), "count": 0}]
    return small_site(loads, units, outage=FULL, **tables)


def test_a_row_says_what_the_study_says():
    site = two_legs(money={"other_installed_price": 400.0})
    done = study(site)
    row = shared_row(done, Target(10.0, 0.9, YEAR, "usual"))
    assert (row["units"], row["circuits"]) == ({"A": 1, "B": 0, "both": 0}, ["Fridge", "Furnace"])
    assert row["hours_p10"] == nine_in_ten(done.ride.hours) == pytest.approx(20.0)
    assert row["end_of_warranty_p10"] == pytest.approx(16.0)  # 2 % a year for ten years
    assert (row["price"], row["change"]) == (1400.0, done.document["bill"]["change"])
    assert row["fails"] == done.document["panel"]["fail"]
    assert row["never_carried"] == ["Furnace"] and row["stands_apart"]
    assert (row["meets"], row["why"]) == (False, "never carries Furnace")


def test_storm_hours_stand_only_where_a_storm_load_is_stated():
    """A pit that runs twice as much in a storm: half of the hours."""
    assert shared_row(study(two_legs()))["storm_p10"] is None
    wet = small_site([circuit("Pit", 0.5, outage_scale={"storm": 2.0})], [unit()], outage=FULL)
    row = shared_row(study(wet))
    assert (row["hours_p10"], row["storm_p10"]) == pytest.approx((10.0, 5.0))


def test_why_a_target_is_missed():
    row = shared_row(study(small_site([circuit("One", 0.5)], [unit()], outage=FULL)), Target(12.0, 0.9, YEAR, "usual"))
    assert (row["meets"], row["why"]) == (False, "90% of the outages last 10 h; 0.0% last 12 h")


def test_a_unit_that_never_carries_heat_is_no_best_buy_and_on_no_front():
    """One unit on leg A never carries the furnace of leg B; it stands apart however long it lasts and costs."""
    found = compare_units(two_legs(), [1, 2])
    lone, pair = found.rows
    assert lone["stands_apart"] and not pair["stands_apart"]
    assert lone["hours_per_1000"] is None and lone["more_hours"] is None
    assert on_front(found.rows) == [False, True]
    table = sweep(two_legs(), {'battery["Unit B"].count': [0, 1]})
    assert table["out_never_carried"].tolist() == table["out_stands_apart"].tolist() == ["Furnace", ""]
    assert pareto(table)["design"].tolist() == [1]


def test_compare_and_sweep_and_draft_make_the_same_row():
    site = two_legs()
    row = compare_units(site, [2]).rows[0]
    drawn = shared_row(Draft(site).changed(units={"A": 1, "B": 1}).study)
    assert {name: row[name] for name in drawn} == drawn
    swept = sweep(site, {'battery["Unit B"].count': [1]}, fails=True).iloc[0]
    names = {"hours_p10": "out_hours_p10", "price": "out_installed_price", "change": "out_change", "fails": "out_fails"}
    assert {name: swept[column] for name, column in names.items()} == pytest.approx({k: drawn[k] for k in names})


def test_no_unit_is_no_installation():
    """Panel, labour and permit go with the units; the sweep and the comparison agree."""
    site = two_legs(money={"other_installed_price": 2400.0})
    none = site.with_values({"battery.count": 0})
    assert installed_price(none) == shared_row(study(none))["price"] == 0.0
    table = sweep(site, {"battery.count": [0, 1]}, outages=False)
    assert table["out_installed_price"].tolist() == [0.0, 2.0 * 1000.0 + 2400.0]
    assert study(none).worth.document()["other_installed_price"] == 0.0
