"""Many designs side by side against the single walk, design by design."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from profiles.hours import hours_of_year
from profiles.noun import BadInput
from profiles.rate.calendar import DemandBlocks, rate_calendar
from profiles.rate.meter_sums import meter_sums
from profiles.rate.rate import Rate
from simulate.physics.lanes.lanes import CODE_POOL, Lanes, Track, every_step, run_lanes
from simulate.physics.pool import Pool
from simulate.physics.walk import Wish, run_plan, walk_year
from simulate.plans.calendar_plans import price_cycles, self_consumption, time_of_use

KWH = 1e-9
"""Agreement asked of a sum over the year, relative, and absolute below 1 kWh."""

STYLES = ("parallel", "export", "transfer", "sub-panel solar", "solar on the cells")


def close(found, expected):
    return np.testing.assert_allclose(found, expected, rtol=KWH, atol=KWH)


def drawn(seed: int, style: str, tapers: bool, n_steps: int = 240, n_designs: int = 7):
    """A random track with random lanes: invented numbers, chosen to meet every branch."""
    rng = np.random.default_rng(seed)
    hour = np.arange(n_steps) % 24
    step_h = float(rng.choice([1.0, 0.5, 0.25]))
    load = rng.uniform(0.0, 3.0, n_steps)
    sun = np.maximum(np.sin((hour - 6) / 12 * np.pi), 0.0) * rng.uniform(0.0, 6.0, n_steps)
    solar = sun if rng.random() < 0.7 else np.zeros(n_steps)
    floor = np.ones(n_steps)
    price = np.select([(hour >= 16) & (hour < 21), hour < 6], [0.4, 0.1], 0.2)
    parallel = style in ("parallel", "export")
    codes = time_of_use(CODE_POOL, floor, price_cycles(price, 0.85), parallel=parallel)
    if rng.random() < 0.3:
        codes = self_consumption(CODE_POOL, floor, from_utility=rng.random() < 0.5)
    elif rng.random() < 0.3:
        codes = np.sort(rng.integers(0, 3, (n_steps, 2)), axis=1)[:, [1, 1, 1, 0]]
    if style == "export":
        codes[:, 0] = np.where(rng.random(n_steps) < 0.5, codes[:, 1], 2)
    reach = None if parallel else np.where(rng.random(n_steps) < 0.8, load * rng.uniform(0, 1, n_steps), 0.0)
    take = lambda low, high: rng.uniform(low, high, n_designs)
    no_load = rng.choice([0.0, 0.05])
    lanes = Lanes(
        usable_kwh=take(1.0, 15.0),
        charge_kw=take(0.3, 6.0),
        discharge_kw=take(0.3, 4.0),
        charge_efficiency=take(0.85, 1.0),
        discharge_efficiency=take(0.85, 1.0),
        no_load_kw=no_load * take(0.0, 2.0),
        on_grid_kw=take(0.0, 0.05),
        takes_back_kw=take(0.0, 4.0),
        reserve_frac=rng.choice([0.0, 1.0, 0.3, 0.7], n_designs),
        taper_from_frac=take(0.5, 0.99) if tapers else 1.0,
        taper_to_frac=take(0.05, 1.0) if tapers else 1.0,
        load_scale=take(0.5, 1.5),
        solar_scale=take(0.0, 2.0),
    )
    more = {}
    if style == "sub-panel solar":
        more["inside_kw"] = solar
    if style == "solar on the cells":
        more["dc_kw"] = sun
    if style in ("transfer", "sub-panel solar"):
        starts = rng.random(n_steps) < 0.1
        more["stay_kwh"] = np.where(starts, rng.uniform(0.0, 2.0, n_steps), -1.0)
        more["stay_h"] = np.where(starts, rng.uniform(0.0, 1.0, n_steps), 0.0)
        more["stay_to"] = np.where(starts, rng.integers(0, 3, n_steps), 0)
    track = Track(
        load,
        solar,
        codes,
        reach,
        step_h,
        bucket=rng.integers(0, 4, n_steps),
        buy_per_kwh=rng.uniform(0, 1, n_steps),
        sell_per_kwh=rng.uniform(0, 0.3, n_steps),
        demand=(every_step(np.arange(n_steps) * 3 // n_steps),),
        may_charge=rng.random(n_steps) > 0.1,
        pool_exports=style == "export",
        **more,
    )
    return track, lanes, take(0.0, 1.0) * lanes.usable_kwh


def alone(track: Track, lanes: Lanes, design: int, start_kwh: float):
    """The same design by itself through the walk that the year of a house takes."""
    own = {name: float(values[design]) for name, values in vars(lanes).items() if isinstance(values, np.ndarray)}
    pool = Pool(
        own["usable_kwh"],
        own["charge_kw"],
        own["discharge_kw"],
        own["charge_efficiency"],
        own["discharge_efficiency"],
        own["no_load_kw"],
        own["takes_back_kw"],
        {"from_soc": own["taper_from_frac"], "to_frac": own["taper_to_frac"]},
        on_grid_kw=own["on_grid_kw"],
    )
    n, one = track.n_steps, (1, track.n_steps)
    level = np.array([0.0, own["reserve_frac"] * own["usable_kwh"], own["usable_kwh"]])
    none, sun = np.zeros(n), own["solar_scale"]
    load = track.load_kw * own["load_scale"]
    reach = np.inf if track.reach_kw is None else track.reach_kw * own["load_scale"]
    stay = np.full(n, -1.0)
    if track.stay_kwh is not None:
        least = track.stay_kwh * own["load_scale"] / own["discharge_efficiency"] + own["no_load_kw"] * track.stay_h
        stay = np.where(track.stay_kwh >= 0.0, level[track.stay_to] + least, -1.0)
    wish = Wish(
        reach_kw=np.minimum(reach, pool.discharge_kw) + np.zeros(one),
        two_pole_kw=none,
        targets_kwh=level[track.codes.astype(int)].reshape(1, n, 4),
        stay_kwh=stay.reshape(one),
        charge_kw=np.where(track.may_charge, pool.charge_kw, 0.0).reshape(one),
        dc_kw=(none if track.dc_kw is None else track.dc_kw * sun).reshape(one),
        inside_kw=(none if track.inside_kw is None else track.inside_kw * sun).reshape(one),
        parallel=track.reach_kw is None,
        export=track.pool_exports,
    )
    return walk_year(load, track.solar_kw * sun, wish, (pool,), [start_kwh], track.step_h, track.surplus_exports)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.integers(0, 10**6), st.sampled_from(STYLES), st.booleans())
def test_every_lane_equals_the_single_walk(seed, style, tapers):
    track, lanes, start = drawn(seed, style, tapers)
    years = run_lanes(track, lanes, start_kwh=start, workers=1, keep_stored=True)
    for d in range(lanes.n_designs):
        year = alone(track, lanes, d, start[d])
        kwh = year.energy_kwh()
        close(years.stored_kwh[d], year.pool_kwh[0])
        close([years.start_kwh[d], years.end_kwh[d]], [start[d], year.pool_kwh[0, -1]])
        names = ("charge", "discharge", "loss", "curtailed")
        close([getattr(years, f"{name}_kwh")[d] for name in names], [kwh[name] for name in names])
        bought, sold = year.import_kw * track.step_h, year.export_kw * track.step_h
        close(years.import_kwh[d], np.bincount(track.bucket, bought, 4))
        close(years.export_kwh[d], np.bincount(track.bucket, sold, 4))
        close(years.cost[d], np.bincount(track.bucket, bought * track.buy_per_kwh - sold * track.sell_per_kwh, 4))
        month = track.demand[0].month
        close(years.peak_kw[d, 0], [year.import_kw[month == m].max() for m in range(3)])
        floor = lanes.reserve_frac[d] * lanes.usable_kwh[d]
        near = np.abs(year.pool_kwh[0, 1:] - floor - 1e-9) < 1e-11
        low = year.pool_kwh[0, 1:] <= floor + 1e-9
        assert (low & ~near).sum() <= years.reserve_h[d] / track.step_h + 1e-9 <= (low | near).sum() + 2e-9


def check_vectors(track, lanes, start):
    """The loops with vectors give what the loop that calls the physics gives."""
    plain = run_lanes(track, lanes, start_kwh=start, workers=1)
    track.ready.needs_exact = True
    exact = run_lanes(track, lanes, start_kwh=start, workers=1)
    for name, values in vars(plain).items():
        if isinstance(values, np.ndarray) and name != "reserve_h":
            close(values, getattr(exact, name))


@pytest.mark.long
@settings(max_examples=20, deadline=None, derandomize=True)
@given(st.integers(0, 10**6), st.sampled_from(STYLES))
def test_the_loops_with_vectors_equal_the_loop_that_calls_the_physics(seed, style):
    track, lanes, start = drawn(seed, style, tapers=False)
    check_vectors(track, lanes, start)


def test_lanes_equal_run_plan_on_a_year():
    rng = np.random.default_rng(5)
    n = 8760
    price = np.where((np.arange(n) % 24 >= 16) & (np.arange(n) % 24 < 21), 0.36, 0.12)
    cycles, load = price_cycles(price, 0.85), rng.uniform(0.2, 3.0, n)
    usable = rng.uniform(2.0, 20.0, 100)
    years = run_lanes(
        Track(load, np.zeros(n), time_of_use(CODE_POOL, np.ones(n), cycles)),
        Lanes(usable, charge_kw=2.0, discharge_kw=2.5, charge_efficiency=0.92, no_load_kw=0.04, reserve_frac=0.25),
    )
    for d in (0, 42, 95, 96, 99):
        pool = Pool(usable[d], 2.0, 2.5, 0.92, no_load_kw=0.04)
        targets = time_of_use(pool, np.full(n, 0.25 * usable[d]), cycles)
        year = run_plan(load, np.inf, 0.0, targets, pool, soc_kwh=usable[d])
        close(years.import_kwh[d, 0], year.import_kw.sum())
        close(years.loss_kwh[d], year.loss_kw.sum())


def test_years_close_on_themselves_as_the_single_year_does():
    n = 48
    load = np.r_[np.ones(40), np.zeros(8)]
    codes = [[2, 0, 2, 0]] * 40 + [[2, 2, 2, 2]] * 8
    lanes = Lanes([4.0, 20.0, 30.0], charge_kw=1.0, discharge_kw=1.0)
    years = run_lanes(Track(load, np.zeros(n), codes), lanes, laps=5)
    close(years.start_kwh, [4.0, 8.0, 8.0])
    close(years.end_kwh, years.start_kwh)
    close(years.discharge_kwh, [4.0, 8.0, 8.0])
    once = run_lanes(Track(load, np.zeros(n), codes), lanes)
    close(once.discharge_kwh, [4.0, 20.0, 30.0])


def test_sums_are_those_of_the_rates_own_meter():
    rng = np.random.default_rng(2)
    rate = Rate.model_validate(
        {
            "season": (
                {
                    "name": "s",
                    "months": tuple(range(1, 13)),
                    "periods": (
                        {"name": "on", "price_per_kwh": 0.4, "days": "weekday", "hours": "16:00-21:00"},
                        {"name": "off", "price_per_kwh": 0.1, "days": "all", "hours": "00:00-24:00"},
                    ),
                },
            ),
            "demand": (
                {"name": "all", "per_kw": 5.0},
                {"name": "half", "per_kw": 5.0, "window_min": 30, "days": "weekday", "hours": "16:00-21:00"},
            ),
        }
    )
    hours = hours_of_year(2025, "America/New_York", 15)
    calendar = rate_calendar(rate, hours)
    n = hours.n_steps
    track = Track(
        rng.uniform(0, 3, n),
        rng.uniform(0, 3, n),
        np.tile([2, 1, 2, 1], (n, 1)),
        step_h=hours.step_h,
        bucket=calendar.bucket,
        demand=calendar.demand,
    )
    lanes = Lanes([5.0, 9.0], charge_kw=2.0, discharge_kw=2.0, charge_efficiency=0.9, reserve_frac=0.1)
    found = run_lanes(track, lanes).meter_sums(calendar.n_months, calendar.n_periods)
    for d in range(2):
        targets = self_consumption(Pool(lanes.usable_kwh[d]), np.full(n, 0.1 * lanes.usable_kwh[d]))
        pool = Pool(lanes.usable_kwh[d], 2.0, 2.0, 0.9)
        year = run_plan(track.load_kw, np.inf, track.solar_kw, targets, pool, soc_kwh=pool.usable_kwh, step_h=0.25)
        expected = meter_sums(year.import_kw, year.export_kw, rate, calendar)
        close(found.bought_kwh[d], expected.bought_kwh)
        close(found.sold_kwh[d], expected.sold_kwh)
        close(found.peak_kw[d], expected.peak_kw)


def test_one_price_a_bucket_needs_no_sums_in_the_loop():
    track, lanes, start = drawn(3, "parallel", tapers=False)
    by_bucket = np.array([0.1, 0.2, 0.3, 0.4])[track.bucket]
    flat = Track(
        **{**{k: v for k, v in vars(track).items() if k != "ready"}, "buy_per_kwh": by_bucket, "sell_per_kwh": 0.05}
    )
    years = run_lanes(flat, lanes, start_kwh=start)
    assert years.bought_cost is None
    close(years.cost, years.import_kwh * [0.1, 0.2, 0.3, 0.4] - years.export_kwh * 0.05)


def test_blocks_and_workers_change_nothing():
    track, _, _ = drawn(4, "parallel", tapers=False)
    lanes = Lanes(np.linspace(1.0, 12.0, 300), charge_kw=2.0, discharge_kw=2.0, reserve_frac=0.2)
    one, three = (run_lanes(track, lanes, workers=workers) for workers in (1, 3))
    assert (one.import_kwh == three.import_kwh).all() and (one.end_kwh == three.end_kwh).all()
    order = np.random.default_rng(0).permutation(300)
    mixed = run_lanes(track, Lanes(lanes.usable_kwh[order], charge_kw=2.0, discharge_kw=2.0, reserve_frac=0.2))
    assert (mixed.import_kwh == one.import_kwh[order]).all()


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"usable_kwh": [5.0, np.nan]}, "Lanes.usable_kwh must be 0 or above and finite, not nan"),
        ({"charge_efficiency": 1.2}, "Lanes.charge_efficiency must lie between 0 and 1, not 1.2"),
        ({"taper_to_frac": 0.0}, "Lanes.taper_to_frac must lie between 0 and 1, not 0.0"),
        ({"reserve_frac": [0.1, 0.2, 0.3]}, "Lanes must have one value a design, not [2, 3]"),
    ],
)
def test_lanes_out_of_range_are_refused(change, message):
    with pytest.raises(BadInput) as refused:
        Lanes(**({"usable_kwh": [5.0, 6.0]} | change))
    assert str(refused.value) == message


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"codes": [[3, 0, 0, 0]] * 4}, "Track.codes must have shape (n_steps, 4) of 0, 1 and 2, not (4, 4)"),
        ({"load_kw": [1.0, np.nan, 1.0, 1.0]}, "Track.load_kw must be 0 or above and finite in step 1, not nan"),
        ({"step_h": 0.0}, "Track.step_h must be above 0, not 0.0"),
        ({"buy_per_kwh": np.nan}, "Track.buy_per_kwh, sell_per_kwh must be finite"),
        (
            {"demand": (DemandBlocks(np.arange(3), np.full(3, 2), np.zeros(3, int), None),)},
            "Track.demand must not roll; run such designs one by one",
        ),
    ],
)
def test_tracks_out_of_range_are_refused(change, message):
    given = {"load_kw": np.ones(4), "solar_kw": np.zeros(4), "codes": [[2, 1, 2, 1]] * 4}
    with pytest.raises(BadInput) as refused:
        run_lanes(Track(**(given | change)), Lanes([5.0]))
    assert str(refused.value) == message


def test_a_start_beyond_full_is_refused():
    track = Track(np.ones(4), np.zeros(4), [[2, 1, 2, 1]] * 4)
    with pytest.raises(BadInput) as refused:
        run_lanes(track, Lanes([5.0]), start_kwh=6.0)
    assert str(refused.value) == "start_kwh must lie between 0 and usable_kwh, not 6.0"
