"""The bound of a whole house: no plan beats it, whatever the pools, the sun, the rate and the operation."""

from dataclasses import replace

import numpy as np
import pytest

from profiles.noun import BadInput
from simulate.document.study import study
from simulate.house.bills import bills_of
from simulate.house.bound import bound_of
from simulate.house.house import house_of
from simulate.house.year import run_year
from simulate.optimum.best import worth_of_more
from simulate.physics.pool import Pool
from simulate.site.operation import PLANS
from tests.house.random_house import random_house
from tests.house.test_year import peaks
from tests.site.small_site import circuit, locked_pair, small_site, unit

OF_THE_CURRENCY = 1e-6
CLOSES_KWH = 1e-6


def with_plan(house, plan):
    """The same house run by another plan."""
    site = house.site.model_copy(update={"operation": house.site.operation.model_copy(update={"plan": plan})})
    site._file, site._folder = house.site.file, house.site.folder
    return replace(house, site=site)


def check_house(house, plans=PLANS) -> tuple[float | None, int]:
    """How far the savings of all plans stand above the one bound (None without one), and how many could be run."""
    runs = [run for plan in plans if (run := run_of(house, plan)) is not None]
    bound = bound_of(runs[0], bills_of(runs[0]))
    again = bound_of(runs[-1], bills_of(runs[-1]))
    assert (bound.saving is None) == (again.saving is None)
    assert bound.saving is None or again.saving == pytest.approx(bound.saving, abs=1e-9)
    most = -np.inf
    for run in runs:
        assert abs(run.energy_kwh()["residual"]) < CLOSES_KWH
        missing = max(-run.year.stored_change_kwh, 0.0) * dearest(run)
        saving, wish = bills_of(run).saving - missing, run.asked.wish
        most = max(most, saving)
        if bound.net is not None and not wish.dc_kw.any() and not wish.inside_kw.any():
            down_kwh = np.maximum(-np.diff(run.year.pool_kwh, axis=1), 0.0).sum()  # no-load draw is discharged too
            worn = saving - house.site.operation.wear_per_kwh * down_kwh
            assert worn <= bound.net + OF_THE_CURRENCY, (run.asked.plan, worn, bound)
        assert bound.saving is None or saving <= bound.saving + OF_THE_CURRENCY, (run.asked.plan, saving, bound)
    return None if bound.saving is None else most - bound.saving, len(runs)


def dearest(run) -> float:
    """What a missing kWh may have taken off the bill: the dearest price, and a kW of every demand charge for an hour."""
    shaved = sum(one.per_kw for one in run.house.site.rate.demand) / run.hours.step_h
    return (float(run.asked.prices.buy_per_kwh.max()) + shaved) * max(
        pool.discharge_efficiency for pool in run.asked.pools
    )


def run_of(house, plan):
    """A year under a plan, None where the site cannot run it."""
    try:
        return run_year(with_plan(house, plan))
    except BadInput as error:
        assert (error.key, error.value) == ("operation.plan", "demand-limit")
        return None


@pytest.mark.long
@pytest.mark.parametrize("seed", range(12))
def test_no_plan_beats_the_bound(seed):
    """A month of each house, from any day of the year."""
    above, n_plans = check_house(random_house(np.random.default_rng([seed, 78]), n_days=31))
    assert above is not None and n_plans >= len(PLANS) - 1


@pytest.mark.parametrize("seed", range(2))
def test_no_plan_beats_the_bound_of_a_year(seed):
    above, _ = check_house(random_house(np.random.default_rng([seed, 79]), quick=True))
    assert above is not None


@pytest.mark.hours
@pytest.mark.parametrize("start", range(0, 500, 50))
def test_no_plan_beats_the_bound_on_five_hundred_houses(start):
    above = [
        check_house(random_house(np.random.default_rng([seed, 77]), n_days=31))[0] for seed in range(start, start + 50)
    ]
    assert sum(one is not None for one in above) == 50


def sunny_house(rng, takes_back_kw):
    """Sub-panel solar that is far above the circuits it is switched over with."""
    loads = [circuit("Lights", 0.3, rate_transfer=True)]
    site = small_site(
        loads,
        [unit(takes_back_kw=takes_back_kw, no_load_w=20.0, on_grid_w=10.0)],
        rate=peaks("09:00-20:00"),
        operation={"plan": "time-of-use", "reserve": 0.2, "charge_from": str(rng.choice(["any", "solar"]))},
    )
    house = random_house(rng, "time-of-use", quick=True)
    sun = {"connected_at": "sub-panel", "series": {"csv": "unread.csv", "column": "kw"}}
    lit = small_site(loads, [unit()], solar=sun).solar
    day = np.resize(np.maximum(np.sin((np.arange(24) - 6) / 12 * np.pi), 0.0), 8760) * rng.uniform(0.0, 3.0, 8760)
    return replace(house_of(site), site=site.model_copy(update={"solar": lit}), solar_kw=day, rest_kw=house.rest_kw)


@pytest.mark.parametrize("takes_back_kw", [0.0, 0.5, 4.0])
def test_solar_that_charges_the_pool_behind_its_own_circuits_stays_below_the_bound(takes_back_kw):
    rng = np.random.default_rng(7)
    for _ in range(4):
        above, _ = check_house(sunny_house(rng, takes_back_kw))
        assert above is not None


def test_the_best_possible_takes_all_of_an_exact_bound():
    """One pool without taper, in parallel: what the walk saves with the year known is the bound itself."""
    loads = [circuit("Lights", 0.7), circuit("Oven", 0.0) | {"load": {"kw": 2.0, "window": "17:00-20:00"}}]
    units = [unit(charge_efficiency=0.95, discharge_efficiency=0.94, no_load_w=30.0, on_grid_w=10.0)]
    site = small_site(
        loads,
        units,
        rate=peaks(),
        subpanel={"mode": "interactive"},
        operation={"plan": "best-possible", "reserve": 0.2},
    )
    part = study(site).document["bill"]
    assert part["bound_method"] == "exact convex programme"
    assert part["saving"] == pytest.approx(part["bound"], abs=1e-6)
    assert part["captured_frac"] == pytest.approx(1.0, abs=1e-9)


def test_worth_of_more_is_a_difference_of_bounds():
    loads = [circuit("Lights", 0.7), circuit("Oven", 0.0) | {"load": {"kw": 2.0, "window": "17:00-20:00"}}]
    tables = {
        "rate": peaks(),
        "subpanel": {"mode": "interactive"},
        "operation": {"plan": "time-of-use", "reserve": 0.0},
    }
    run = run_year(small_site(loads, [unit()], **tables))
    bound = bound_of(run, bills_of(run))
    load, n = run.house.load_kw, run.hours.n_steps
    start, end = run.year.pool_kwh[0, [0, -1]]
    by_series = worth_of_more(
        load,
        np.inf,
        0.0,
        run.asked.prices.buy_per_kwh,
        0.0,
        run.asked.pools[0],
        floor_kwh=np.zeros(n),
        start_kwh=start,
        end_kwh=end,
    )
    assert vars(bound.worth_of_more) == pytest.approx(vars(by_series), abs=1e-9)
    assert bound.worth_of_more.per_kwh == pytest.approx(365 * 0.3, rel=0.01)  # a kWh a day from 0.1 to 0.4, by hand
    two = run_year(
        small_site([circuit("Lights", 0.7)], locked_pair(), **tables | {"rate": peaks(demand=[{"per_kw": 5.0}])})
    )
    assert bound_of(two, bills_of(two)).worth_of_more is None  # that would take long


def test_worth_of_more_of_two_pools_is_a_difference_of_bounds():
    """Two units that nothing couples but the house: one more kWh between them, against a site that has it."""
    tables = {"rate": peaks(), "operation": {"plan": "time-of-use", "reserve": 0.0}}
    loads = [circuit("One", 0.9, "A", rate_transfer=True), circuit("Two", 0.8, "B", rate_transfer=True)]
    small, larger = (
        run_year(small_site(loads, [unit("A", usable_kwh=kwh), unit("B", usable_kwh=kwh)], **tables))
        for kwh in (3.0, 3.5)
    )
    bound, more = (bound_of(run, bills_of(run)) for run in (small, larger))
    assert bound.worth_of_more is not None
    assert bound.worth_of_more.per_kwh == pytest.approx(more.saving - bound.saving, abs=1e-3)


def test_a_larger_pool_is_never_worth_less():
    rng = np.random.default_rng(3)
    for _ in range(6):
        run = run_year(random_house(rng, "time-of-use", quick=True))
        worth = bound_of(run, bills_of(run)).worth_of_more
        if worth is not None:
            assert worth.per_kwh >= -1e-9


TIERS = [{"up_to": 500.0, "price_per_kwh": 0.10}, {"price_per_kwh": 0.40}]
NEVER_LEFT = [{"up_to": 5000.0, "price_per_kwh": 0.10}, {"price_per_kwh": 0.40}]
DEMAND_TIERS = [{"up_to": 1.0, "per_kw": 5.0}, {"per_kw": 9.0}]
RATCHET = {"per_kw": 5.0, "ratchet_frac": 0.9}
CARRY = {"method": "net-metering", "unused": "carry"}


def billed(rate, load_kw=2.0, plan="time-of-use", **tables):
    """A house with one unit whose load is 2 kW by day in winter and as much by night in summer, and its bound."""
    loads = [
        circuit("By day", 0.0) | {"load": {"kw": load_kw, "window": "08:00-21:00"}},
        circuit("Summer", 0.0) | {"load": {"kw": load_kw, "window": "15:00-21:00", "months": [6, 7, 8]}},
    ]
    given = {"subpanel": {"mode": "interactive"}, "operation": {"plan": plan, "reserve": 0.2}} | tables
    run = run_year(small_site(loads, [unit()], rate=rate, **given))
    bills = bills_of(run)
    return bills, bound_of(run, bills)


@pytest.mark.parametrize(
    ("rate", "left_out"),
    [
        ({"tiers": NEVER_LEFT}, None),
        (peaks(minimum_per_month=1.0), "a minimum bill"),
        (peaks(minimum_per_month=150.0), "a minimum bill"),
        (peaks(demand=[{"per_kw": 0.0, "block": "rolling"}]), None),
        (peaks(export=CARRY), None),
    ],
)
def test_terms_that_can_only_add_to_a_bill_do_not_stand_in_the_way(rate, left_out):
    bills, bound = billed(rate)
    assert bound.saving is not None and bound.method is not None
    assert bills.saving <= bound.saving + OF_THE_CURRENCY
    said = f"{left_out} is left out of the best possible, which can only make it larger"
    assert bound.notes == (() if left_out is None else (said,))


def tiered_peaks() -> dict:
    rate = peaks()
    rate["season"][0]["periods"][0] = {
        "name": "on",
        "hours": "16:00-21:00",
        "tiers": [{"up_to": 100.0, "price_per_kwh": 0.4}, {"price_per_kwh": 0.5}],
    }
    return rate


@pytest.mark.parametrize(
    ("rate", "terms"),
    [
        ({"tiers": TIERS}, "energy tiers"),
        (tiered_peaks(), "energy tiers"),
        (peaks(demand=[{"tiers": DEMAND_TIERS}]), "demand tiers"),
        (peaks(demand=[{"per_kw": 5.0, "block": "rolling"}]), "demand blocks that roll or differ in length"),
        (peaks(demand=[RATCHET]), "a demand ratchet"),
    ],
)
def test_a_bound_that_cannot_be_held_says_why(rate, terms):
    _, bound = billed(rate)
    assert (bound.saving, bound.net, bound.method, bound.captured_frac) == (None, None, None, None)
    assert bound.notes == (f"no best possible is given: not the same with and without the battery: {terms}",)


def lit(site, connected_at):
    """The house of a site with 5 kW of sun from 08:00 to 16:00."""
    sun = {"connected_at": connected_at, "export": True, "series": {"csv": "unread.csv", "column": "kw"}}
    solar = small_site([circuit("Lights", 0.3)], [unit()], solar=sun).solar
    hour = np.arange(8760) % 24
    house = house_of(site)
    return replace(
        house, site=site.model_copy(update={"solar": solar}), solar_kw=np.where((hour >= 8) & (hour < 16), 5.0, 0.0)
    )


def test_lost_credit_and_a_pair_that_is_backfed_stay_below_the_bound():
    rate = peaks(export={"method": "net-metering", "unused": "lose"})
    tables = {"subpanel": {"mode": "interactive"}, "operation": {"plan": "self-consumption", "reserve": 0.0}}
    run = run_year(
        lit(small_site([circuit("Lights", 1.0)], [unit(discharge_efficiency=0.5)], rate=rate, **tables), "main-panel")
    )
    lost = bound_of(run, bills_of(run))
    assert bills_of(run).saving <= lost.saving
    assert lost.notes == ("credit that is lost is left out of the best possible, which can only make it larger",)
    loads = [circuit("Lights", 0.2, rate_transfer=True), circuit("Pump", 0.3, "AB", rate_transfer=True)]
    site = small_site(
        loads, locked_pair(takes_back_kw=3.0), rate=peaks("09:00-20:00"), operation={"plan": "time-of-use"}
    )
    assert check_house(lit(site, "sub-panel"))[0] <= OF_THE_CURRENCY


def test_pools_are_enlarged_in_proportion():
    from simulate.house.ideal import _enlarged

    made = _enlarged((Pool(1.0, 2.0, 3.0), Pool(3.0, 2.0, 3.0)), Pool(1.0, 0.0, 0.0))
    assert [pool.usable_kwh for pool in made] == [1.25, 3.75] and made[0].charge_kw == 2.0
