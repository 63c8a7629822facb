"""Targets from the past only: what they may see, what they equal, and that they never beat the bound."""

import numpy as np
import pytest

from profiles.noun import BadInput
from simulate.optimum.best import best_targets
from simulate.optimum.forecast import calendar_of, forecast_targets, foreseen, sky_errors
from simulate.physics.pool import Pool
from simulate.physics.walk import run_plan

UNIT = Pool(10.0, 3.0, 3.0, 0.95, 0.95)
BUY = np.select([(np.arange(24) >= 16) & (np.arange(24) < 21), np.arange(24) < 6], [0.40, 0.12], 0.25)


def days_of(n_days):
    day, slot = np.repeat(np.arange(n_days), 24), np.tile(np.arange(24), n_days)
    return calendar_of(day, slot, (np.arange(n_days) % 7 >= 5).astype(int))


def house(rng, n_days):
    shape = 0.6 + np.sin(np.arange(24) / 24 * np.pi) ** 2
    load = np.tile(shape, n_days) * rng.uniform(0.6, 1.4, 24 * n_days)
    sun = np.maximum(np.sin((np.arange(24) - 6) / 12 * np.pi), 0) * 4
    return load, np.repeat(rng.uniform(0.2, 1, n_days), 24) * np.tile(sun, n_days)


def walked_cost(targets, load, solar, buy, sell, start):
    year = run_plan(load, np.full(len(load), np.inf), solar, targets, UNIT, soc_kwh=start)
    return float((buy * year.import_kw - sell * year.export_kw).sum()), float(year.pool_kwh[0, -1])


def test_like_days_are_the_last_of_their_kind_before_the_day_of_the_forecast():
    calendar = calendar_of(np.arange(14), np.zeros(14), np.arange(14) % 7 >= 5)
    like = calendar.like_days(2, 2)
    assert like[0, 7].tolist() == [4, 3]  # Monday week, made that morning: Friday and Thursday
    assert like[1, 7].tolist() == [4, 3]  # made on Sunday: the same
    assert like[0, 9].tolist() == [8, 7]
    assert like[1, 9].tolist() == [7, 4]  # made the day before, which has not ended
    assert like[0, 12].tolist() == [6, 5]
    assert like[0, 0].tolist() == [11, 10]  # the year is a circle


def test_a_day_that_lacks_or_repeats_an_hour_keeps_its_place():
    day = np.repeat([0, 1, 2], [4, 3, 5])
    slot = np.r_[[0, 1, 2, 3], [0, 2, 3], [0, 1, 1, 2, 3]]
    calendar = calendar_of(day, slot, [0, 0, 0])
    assert calendar.step_table().tolist() == [[0, 1, 2, 3], [4, 4, 5, 6], [7, 9, 10, 11]]
    late = calendar_of([0, 0, 1], [0, 1, 1], [0, 0])
    assert late.step_table().tolist() == [[0, 1], [2, 2]]
    values = np.arange(12.0)
    assert foreseen(values, calendar, 1, 1)[0, 7:].tolist() == [4.0, 4.0, 4.0, 5.0, 6.0]


def test_only_the_past_is_seen():
    rng = np.random.default_rng(1)
    load, solar = house(rng, 60)
    ask = {"calendar": days_of(60), "floor_kwh": 1.0}
    buy = np.tile(BUY, 60)
    first = forecast_targets(load, np.inf, solar, buy, 0.05, UNIT, **ask)
    later_load, later_solar = load.copy(), solar.copy()
    later_load[24 * 40 : 24 * 45] *= 3.0
    later_solar[24 * 40 : 24 * 45] *= 0.1
    second = forecast_targets(later_load, np.inf, later_solar, buy, 0.05, UNIT, **ask)
    seen = slice(24 * 14, 24 * 40)  # before that the circle of the year stands in for the past
    assert (first[seen] == second[seen]).all()
    assert (first[24 * 41 : 24 * 50] != second[24 * 41 : 24 * 50]).any()


def test_each_step_is_the_first_of_the_best_of_its_horizon():
    """Oracle: the horizon written out for single steps and solved by `best_targets`."""
    rng = np.random.default_rng(2)
    n_days, calendar = 40, days_of(40)
    load, _ = house(rng, n_days)
    buy = np.tile(BUY, n_days) * rng.uniform(0.9, 1.1, 24 * n_days)
    floor = np.where(np.arange(24 * n_days) % 50 == 7, 4.0, 1.0)
    targets = forecast_targets(load, np.inf, 0.0, buy, 0.0, UNIT, calendar=calendar, floor_kwh=floor)
    kind = calendar.kind
    for t in rng.integers(24 * 15, 24 * 36, 40):
        steps = np.arange(t, t + 36)
        seen = [load[t]]
        for s in steps[1:]:
            like = [d for d in range(t // 24 - 1, -1, -1) if kind[d] == kind[s // 24]][:5]
            seen.append(np.mean([load[24 * d + s % 24] for d in like]))
        states = {"floor_kwh": floor[steps], "start_kwh": 10.0, "end_kwh": 0.0}
        wanted, _ = best_targets(seen, np.inf, 0.0, buy[steps], 0.0, UNIT, **states)
        assert targets[t] == pytest.approx(wanted[0], abs=1e-9)


def test_equal_days_lose_nothing_against_the_bound():
    rng = np.random.default_rng(3)
    load, _ = house(rng, 1)
    load, buy = np.tile(load, 30), np.tile(BUY, 30)
    targets = forecast_targets(load, np.inf, 0.0, buy, 0.0, UNIT, calendar=days_of(30), floor_kwh=0.0, like_days=3)
    cost, end = walked_cost(targets, load, 0.0, buy, 0.0, 0.0)
    bound = best_targets(load, np.inf, 0.0, buy, 0.0, UNIT, floor_kwh=0.0, start_kwh=0.0, end_kwh=end)[1]
    assert cost == pytest.approx(bound, rel=1e-12)


@pytest.mark.parametrize("error", [None, 0.0, 0.3])
def test_a_forecast_saves_most_of_the_bound_and_never_more(error):
    rng = np.random.default_rng(4)
    load, solar = house(rng, 90)
    buy, sell = np.tile(BUY, 90), 0.05
    ask = {"calendar": days_of(90), "floor_kwh": 1.0, "solar_error_frac": error, "seed": 7}
    targets = forecast_targets(load, np.inf, solar, buy, sell, UNIT, **ask)
    cost, end = walked_cost(targets, load, solar, buy, sell, 5.0)
    states = {"floor_kwh": 1.0, "start_kwh": 5.0, "end_kwh": min(5.0, end)}
    bound = best_targets(load, np.inf, solar, buy, sell, UNIT, **states)[1]
    idle = float(np.where(load > solar, buy * (load - solar), sell * (load - solar)).sum())
    assert bound <= cost
    assert 0.6 < (idle - cost) / (idle - bound) <= 1.0
    assert (targets == forecast_targets(load, np.inf, solar, buy, sell, UNIT, **ask)).all()


def test_whole_circuits_are_served_to_one_threshold():
    rng = np.random.default_rng(5)
    load, solar = house(rng, 40)
    reach = 0.5 * load * np.tile(BUY > 0.3, 40)
    buy = np.tile(BUY, 40)
    targets = forecast_targets(load, reach, solar, buy, 0.0, UNIT, calendar=days_of(40), floor_kwh=1.0)
    assert (targets[:, 0] == 10.0).all()
    assert (targets[reach == 0.0, 1] == 10.0).all()
    year = run_plan(load, reach, solar, targets, UNIT, soc_kwh=1.0)
    idle, cost = (float((buy * kw).sum()) for kw in (np.maximum(load - solar, 0), year.import_kw))
    states = {"floor_kwh": 1.0, "start_kwh": 1.0, "end_kwh": 1.0}
    bound = best_targets(load, reach, solar, buy, 0.0, UNIT, **states)[1]
    assert 0.6 < (idle - cost) / (idle - bound) <= 1.0
    assert (year.pool_kwh[0] >= 1.0 - 1e-9).all()


def test_sky_errors_have_the_spread_that_is_stated():
    factors = sky_errors(days_of(4000), 3, 0.2, 1)
    assert factors.shape == (3, 4000)
    assert factors.mean() == pytest.approx(1.0, abs=4 * 0.2 / np.sqrt(12000))
    assert factors.std() == pytest.approx(0.2, rel=0.05)
    assert (sky_errors(days_of(4000), 1, 2.0, 1) >= 0).all()


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"like_days": 0}, r"like_days must be from 1 to \d+, not 0; the rarest kind of day occurs 8 times"),
        ({"like_days": 8}, r"like_days must be from 1 to \d+, not 8"),
        ({"horizon_h": np.nan}, r"horizon_h must be finite"),
        ({"horizon_h": 24 * 40.0}, r"calendar.day must have one value a step"),
        ({"solar_error_frac": -0.1}, r"solar_error_frac must be finite, at least 0"),
        ({"floor_kwh": 11.0}, r"floor_kwh\[0\]"),
        ({"load_kw": np.full(24 * 30, np.nan)}, r"load_kw\[0\]"),
        ({"solar_kw": -1.0}, r"solar_kw\[0\]"),
    ],
)
def test_bad_input_is_refused_at_the_mouth(change, message):
    given = {
        "load_kw": np.ones(24 * 30),
        "reach_kw": np.inf,
        "solar_kw": 0.0,
        "buy_per_kwh": 0.2,
        "sell_per_kwh": 0.0,
        "pool": UNIT,
        "calendar": days_of(30),
        "floor_kwh": 0.0,
    }
    given.update(change)
    positional = [given.pop(k) for k in ("load_kw", "reach_kw", "solar_kw", "buy_per_kwh", "sell_per_kwh", "pool")]
    with pytest.raises(BadInput, match=message):
        forecast_targets(*positional, **given)


def test_a_calendar_with_a_missing_day_is_refused():
    with pytest.raises(BadInput, match="kind must have one value for each of the days"):
        calendar_of([0, 0, 2], [0, 1, 0], [0, 0, 0])
    with pytest.raises(BadInput, match="slot must have one value a step"):
        calendar_of([0, 0], [0, -1], [0])
