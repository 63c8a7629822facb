"""Plans: what the price calendar alone says."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from profiles.hours import hours_of_year
from profiles.noun import BadInput
from simulate.physics.pool import Pool
from simulate.plans.calendar_plans import hold_mask, price_cycles, reachable_floor, reserve_frac
from simulate.site.operation import HoldFull


def trade(price, round_trip):
    """Gain of buying and selling one kWh over a series by brute force on two states, beginning and ending full."""
    full, empty = 0.0, -np.inf
    for p in price:
        full, empty = max(full, empty - p / round_trip), max(empty, full + p)
    return full


@settings(max_examples=60)
@given(st.lists(st.sampled_from([0.08, 0.1, 0.2, 0.3, 0.45]), min_size=2, max_size=30), st.floats(0.6, 1.0))
def test_cycles_trade_for_the_largest_gain(price, round_trip):
    price = np.array(price)
    cycles = price_cycles(price, round_trip)
    assert not (cycles.fill & cycles.serve).any()
    if not cycles.serve.any():
        assert trade(np.tile(price, 3), round_trip) <= trade(price, round_trip) * 3 + 1e-9
        return
    assert (price[cycles.serve] > cycles.refill_per_kwh[cycles.serve] / round_trip).all()
    assert price[cycles.serve].max() == price.max()


def test_three_periods_fill_off_peak_and_serve_what_is_left_after_the_peak():
    day = np.array([0.11] * 7 + [0.21] * 8 + [0.39] * 5 + [0.21] * 3 + [0.11])
    cycles = price_cycles(np.tile(day, 3), 0.85)
    kinds = "".join(
        "F" if f else "S" if s else "." for f, s in zip(cycles.fill[24:48], cycles.serve[24:48], strict=True)
    )
    assert kinds == "FFFFFFF........SSSSSSSSF"


def test_two_peaks_a_day_are_two_cycles_where_the_middle_is_cheap():
    day = np.array([0.12] * 6 + [0.29] * 4 + [0.12] * 7 + [0.29] * 4 + [0.12] * 3)
    cycles = price_cycles(np.tile(day, 3), 0.85)
    assert cycles.fill[24:48].sum() == 16
    assert cycles.serve[24:48].sum() == 8


def test_wear_raises_the_bar():
    day = np.array([0.10] * 12 + [0.20] * 12)
    assert price_cycles(day, 0.9).serve.any()
    assert not price_cycles(day, 0.9, wear_per_kwh=0.10).serve.any()


def test_flat_prices_only_fill():
    cycles = price_cycles(np.full(24, 0.15), 0.85)
    assert cycles.fill.all() and not cycles.serve.any()


def test_reachable_floor_looks_around_the_years_end():
    floor = np.array([6.0, 0.0, 0.0, 0.0])
    reach = reachable_floor(floor, np.array([True, False, False, False]), np.full(4, 2.0), Pool(10.0), 1.0)
    assert reach.tolist() == [6.0, 4.0, 4.0, 4.0]


def test_reserves_and_holds():
    hours = hours_of_year(2025, "UTC")
    assert reserve_frac(0.3, hours)[0] == 0.3
    assert reserve_frac([0.2] * 11 + [0.9], hours)[-1] == 0.9
    series = np.linspace(0.0, 1.0, hours.n_steps)
    assert np.array_equal(reserve_frac(series, hours), series)
    for wrong in ([0.1, 0.2], 1.5, float("nan")):
        with pytest.raises(BadInput):
            reserve_frac(wrong, hours)
    hold = HoldFull(**{"from": "2025-03-01T00:00", "to": "2025-03-02T00:00"})
    assert hold_mask((hold,), hours).sum() == 24
    with pytest.raises(BadInput, match="after"):
        hold_mask((HoldFull(**{"from": "2025-03-02T00:00", "to": "2025-03-01T00:00"}),), hours)
