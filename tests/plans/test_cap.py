"""The lowest import cap: against linear programming, the worked demand window, and what redraws may say."""

import numpy as np
import pytest

from profiles.noun import BadInput
from simulate.optimum.equations import Demand
from simulate.optimum.forecast import calendar_of
from simulate.optimum.linear import best_possible
from simulate.physics.pool import Pool
from simulate.physics.walk import Wish, walk_year
from simulate.plans.cap import capped, kept_full, lowest_cap, redraws


def days_of(n_days):
    return calendar_of(np.repeat(np.arange(n_days), 24), np.tile(np.arange(24), n_days), np.arange(n_days) % 7 >= 5)


def test_the_cap_equals_the_least_peak_of_a_linear_programme():
    """Refilling as fast as the cap allows keeps the lowest cap that any use of the pool keeps."""
    rng = np.random.default_rng(1)
    for _ in range(12):
        n = 72
        load = rng.uniform(0.5, 2.0, n) + 4 * (rng.random(n) < 0.15)
        solar = np.maximum(np.sin((np.arange(n) % 24 - 6) / 12 * np.pi), 0) * rng.uniform(0, 3)
        pool = Pool(rng.uniform(2, 8), 2.0, 3.0, 0.93, 0.94, no_load_kw=0.05, on_grid_kw=0.015)
        start = pool.usable_kwh * rng.uniform(0.3, 1)
        cap = lowest_cap(load, solar, pool, period=np.zeros(n, int), calendar=days_of(3), soc_kwh=start, n_redraws=1)
        least = best_possible(
            load,
            np.inf,
            solar,
            0.0,
            0.0,
            pool,
            floor_kwh=0.0,
            start_kwh=start,
            end_kwh=0.0,
            demands=[Demand(1.0, np.zeros(n, int))],
        )
        assert cap.kw[0, 0] == pytest.approx(least.cost, abs=1e-6)
        assert cap.kw[0, 0] <= cap.without_kw[0, 0]


@pytest.mark.parametrize(("window_steps", "before", "after"), [(1, 8.0, 6.0), (4, 6.0, 5.0)])
def test_the_worked_demand_window(window_steps, before, after):
    """S24 of the worked scenarios, 15-minute steps: 8 kW become 6 on a 15-minute window, 6 become 5 on an hour's."""
    load = np.array([4.0, 8.0, 8.0, 4.0, 4.0, 4.0, 4.0, 4.0])
    pool = Pool(1.0, charge_kw=0.0, discharge_kw=3.0)
    cap = lowest_cap(
        load,
        0.0,
        pool,
        period=[0] * 8,
        soc_kwh=1.0,
        step_h=0.25,
        window_steps=window_steps,
        calendar=calendar_of([0] * 8, range(8), [0]),
    )
    assert (cap.without_kw[0, 0], cap.held_frac[0]) == (before, 1.0)
    assert cap.kw[0, 0] == pytest.approx(after, abs=1e-9)


def test_recharging_makes_no_new_peak():
    """S25 of the worked scenarios: refilled at 5.76 kW on 2 kW a new peak of 7.76 kW would leave 0.24 of 2 kW."""
    load = np.array([4.0, 8.0, 8.0, 4.0, 4.0, 4.0, 4.0, 4.0, 2.0, 2.0, 2.0, 2.0])
    ask = {"period": [0] * 12, "soc_kwh": 1.0, "step_h": 0.25, "calendar": calendar_of([0] * 12, range(12), [0])}
    pool = Pool(1.0, charge_kw=5.76, discharge_kw=3.0)
    cap = lowest_cap(load, 0.0, pool, **ask)
    assert cap.kw[0, 0] == pytest.approx(6.0, abs=1e-9)
    wish = Wish(
        np.full((1, 12), 3.0),
        np.zeros(12),
        kept_full([pool], [np.zeros(12)], cap.over_kw),
        np.full((1, 12), -1.0),
        np.full((1, 12), 5.76),
        np.zeros((1, 12)),
        np.zeros((1, 12)),
        True,
    )
    naive = walk_year(load, np.zeros(12), wish, (pool,), [1.0], 0.25)
    limited = walk_year(load, np.zeros(12), capped(wish, [pool], np.zeros((1, 12)), cap.over_kw), (pool,), [1.0], 0.25)
    assert limited.import_kw.max() == pytest.approx(6.0, abs=1e-9)
    assert limited.pool_kwh[0, -1] == pytest.approx(1.0)
    assert naive.import_kw[8:].max() == pytest.approx(2.0)  # refilled at once, in the 4 kW quarter-hours
    assert naive.import_kw[3:8].max() == pytest.approx(8.0)  # 1 kWh in a quarter-hour is 4 kW: the peak is back


def year_of_days(rng, n_days):
    load = np.tile(np.where(np.arange(24) == 18, 4.0, 1.0), n_days)
    return load * np.repeat(rng.uniform(0.8, 1.2, n_days), 24)


def test_equal_days_always_hold_and_uneven_ones_do_not():
    rng = np.random.default_rng(2)
    pool, calendar = Pool(2.0, 1.0, 3.0, 0.95, 0.95), days_of(56)
    period = np.repeat([0, 1], 24 * 28)
    ask = {"period": period, "calendar": calendar, "soc_kwh": 2.0}
    even = lowest_cap(np.tile(year_of_days(rng, 1), 56), 0.0, pool, **ask)
    assert even.held_frac.tolist() == [1.0, 1.0]
    load = year_of_days(rng, 56)
    uneven = lowest_cap(load, 0.0, pool, **ask)
    assert (uneven.kw < uneven.without_kw).all()
    assert uneven.held_frac.min() >= 0.3  # the day that sets the cap is drawn again or not: it mostly holds
    assert (lowest_cap(load, 0.0, pool, **ask).held_frac == uneven.held_frac).all()


def test_a_run_of_hard_days_may_break_what_one_hard_day_kept():
    """A cap that rests on a quiet day after the hard one fails where two hard days meet."""
    hard, quiet = np.full(24, 2.0), np.full(24, 0.5)
    load = np.concatenate([quiet, hard, quiet, hard, quiet, hard, quiet])
    pool = Pool(12.0, 1.0, 3.0)
    calendar = calendar_of(np.repeat(np.arange(7), 24), np.tile(np.arange(24), 7), np.zeros(7))
    cap = lowest_cap(load, 0.0, pool, period=np.zeros(168, int), calendar=calendar, soc_kwh=12.0)
    assert cap.kw[0, 0] == pytest.approx(1.5, abs=1e-9)
    assert 0.0 < cap.held_frac[0] < 0.5


def test_a_floor_is_not_drawn_on_and_uncounted_hours_are_free():
    load = np.tile(np.where(np.arange(24) == 18, 4.0, 1.0), 2)
    pool = Pool(2.0, 1.0, 3.0)
    ask = {"period": np.zeros(48, int), "calendar": days_of(2), "soc_kwh": 2.0}
    assert lowest_cap(load, 0.0, pool, floor_kwh=2.0, **ask).kw[0, 0] == pytest.approx(4.0)
    assert lowest_cap(load, 0.0, pool, floor_kwh=1.0, **ask).kw[0, 0] == pytest.approx(3.0)
    quiet = lowest_cap(load, 0.0, pool, counted=np.tile(np.arange(24) != 18, 2), **ask)
    assert quiet.without_kw[0, 0] == 1.0


def test_redraws_stay_among_like_days_of_the_month():
    calendar, period = days_of(28), np.repeat([0, 1], 24 * 14)
    drawn = redraws(calendar, np.array([0, 336, 672]), 50, 3)
    assert (period[drawn] == period).all()
    assert (calendar.kind[calendar.day[drawn]] == calendar.kind[calendar.day]).all()
    assert (calendar.slot[drawn] == calendar.slot).all()
    assert len(np.unique(drawn[:, 0])) > 5


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"period": [1, 0]}, "period must be in order of time"),
        ({"period": [0, 2]}, "period must have one value a step"),
        ({"soc_kwh": 3.0}, "soc_kwh must be finite"),
        ({"n_redraws": -1}, "n_redraws of 0 or more"),
        ({"window_steps": 3}, "a window that divides the steps"),
        ({"counted": [1.0, 0.5]}, "counted must hold only true and false"),
    ],
)
def test_bad_input_is_refused_at_the_mouth(change, message):
    given = {
        "pool": Pool(1.0),
        "period": [0, 0],
        "soc_kwh": 1.0,
        "calendar": calendar_of([0, 0], [0, 1], [0]),
    }
    given.update(change)
    with pytest.raises(BadInput, match=message):
        lowest_cap([1.0, 2.0], 0.0, given.pop("pool"), **given)
