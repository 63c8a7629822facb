"""Designs as columns of numbers: a row equals the single run, refusals stay with their row, hashes are the same."""

import numpy as np
import pytest

from simulate.designs.lane_rows import grouped_rows
from simulate.designs.number_rows import is_number_key, number_columns
from simulate.designs.row import Houses, Wanted, input_hash, run_design, site_with
from simulate.designs.sweep import Columns, run_part
from tests.designs.test_sweep import PEAK, ROW, bench
from tests.site.small_site import circuit, farmhouse, locked_pair, small_site

LOSSES = {"charge_efficiency": 0.93, "discharge_efficiency": 0.94, "no_load_w": 40.0, "on_grid_w": 12.0}
PRICED = {"installed_price": 3000.0}
MONEY = {"other_installed_price": 700.0, "yearly_cost": 4.0}
KEYS = {
    "battery.usable_kwh": lambda rng: float(rng.uniform(1.0, 9.0)),
    'battery["Unit A"].charge_kw': lambda rng: float(rng.uniform(0.3, 4.0)),
    "operation.reserve": lambda rng: float(rng.choice([0.0, 1.0, rng.uniform()])),
    "battery.installed_price": lambda rng: int(rng.integers(1000, 5000)),
}
IN_PARALLEL = {
    "battery.no_load_w": lambda rng: float(rng.uniform(5.0, 90.0)),
    "battery.on_grid_w": lambda rng: int(rng.integers(0, 30)),
}


def pair_bench(mode="transfer", **tables):
    """An invented house with a locked pair of units of real losses and two-pole circuits."""
    loads = [
        circuit("Fridge", 0.15),
        circuit("Lights", 0.3, "B", rate_transfer=True, priority=2),
        circuit("Den", 0.0, rate_transfer=True, load={"watts": 400, "hours_per_day": 5.0, "window": "15:00-22:00"}),
        circuit("Pump", 0.2, "AB", rate_transfer=True, priority=2),
    ]
    more = {"subpanel": {"mode": mode}, "rate": PEAK, "outage": {"horizon_h": 48.0}, "money": MONEY}
    return small_site(loads, locked_pair(**LOSSES, **PRICED), **(more | tables))


SUN = {"dc_kw": 3.0, "tilt_deg": 30.0, "azimuth_deg": 180.0, "connected_at": "main-panel"}
SITES = {
    "one unit": lambda: bench().with_values({f"battery.{k}": v for k, v in PRICED.items()}),
    "one unit, in parallel, tapers": lambda: bench("interactive").with_values(
        {"battery.taper": {"from_soc": 0.8, "to_frac": 0.2}}
    ),
    "locked pair": pair_bench,
    "locked pair, in parallel": lambda: pair_bench("interactive"),
    "locked pair, own use": lambda: pair_bench(operation={"plan": "self-consumption"}),
    "locked pair with a roof": lambda: pair_bench(
        "interactive", solar=SUN, weather={"source": "library:piedmont"}, operation={"plan": "self-consumption"}
    ),
    "locked pair with a roof that returns": lambda: pair_bench(
        solar=SUN | {"connected_at": "sub-panel"},
        weather={"source": "library:piedmont"},
        rate_today={"price_per_kwh": 0.2},
        outage={"horizon_h": 24.0, "restart_soc": 0.1},
    ).with_values({"battery.takes_back_kw": 2.0}),
}


@pytest.mark.long
@pytest.mark.parametrize("name", SITES)
def test_a_column_of_numbers_equals_the_single_runs(name):
    site, rng = SITES[name](), np.random.default_rng(sum(map(ord, name)))
    drawn = KEYS | (IN_PARALLEL if site.subpanel.mode == "interactive" else {})
    if "parallel, tapers" in name:  # an installed price on a site without one leaves the row without a price
        drawn = {key: draw for key, draw in drawn.items() if "price" not in key}
    rows = [tuple(draw(rng) for draw in drawn.values()) for _ in range(6)]
    houses, wanted = Houses(), Wanted()
    columns = number_columns(site, tuple(drawn), rows, houses, wanted)
    assert columns is not None
    for k, values in enumerate(rows):
        own = site_with(site, tuple(drawn), values)
        alone = run_design(own, houses, wanted) | {"input_hash": input_hash(own)}
        assert set(alone) <= set(columns)
        for column, value in alone.items():
            if isinstance(value, str):
                assert columns[column][k] == value, column
            else:
                here = np.nan if value is None else value
                assert columns[column][k] == pytest.approx(here, rel=ROW, abs=ROW, nan_ok=True), (column, k)


def test_the_embedded_site_with_two_units_runs_as_lanes():
    site, houses, wanted = farmhouse().with_values({"operation.reserve": 0.3}), Houses(), Wanted(outages=False)
    rows = [(kwh, 0.1 * kwh) for kwh in (2.0, 3.0, 4.0, 5.0)]
    assert number_columns(site, ("battery.usable_kwh", "operation.reserve"), rows, houses, wanted) is not None
    sites = [site.with_values({"battery.usable_kwh": kwh, "operation.reserve": 0.5}) for kwh in (1.0, 2.0, 3.0, 4.0)]
    side_by_side = grouped_rows(sites, houses, wanted)
    for own, row in zip(sites, side_by_side, strict=True):
        alone = run_design(own, houses, wanted)
        told = {
            c: v if isinstance(v, str) else pytest.approx(v, rel=ROW, abs=ROW, nan_ok=True) for c, v in alone.items()
        }
        assert all(row[c] == v for c, v in told.items() if alone[c] is not None)


def test_keys_that_are_numbers_of_a_lane():
    for key in ("operation.reserve", "battery.usable_kwh", 'battery["Unit A"].charge_kw'):
        assert is_number_key(key, "transfer")
    for key in ("battery.count", "battery.leg", "rate.source", "solar.dc_kw", 'circuit["Fridge"].priority', "battery"):
        assert not is_number_key(key, "interactive")
    assert is_number_key("battery.no_load_w", "interactive") and not is_number_key("battery.no_load_w", "transfer")


@pytest.mark.parametrize(
    "values",
    [
        (0.2, 0.3, 0.4, 1.5),
        (0.2, 0.3, 0.4, "best"),
        (0.2, 0.3, 0.4, True),
        (0.2, 0.3, 0.4, None),
        (0.2, 0.3, 0.4, float("nan")),
        (0.2, 0.3, 0.4, (0.5,) * 12),
        (0.2, 0.3, 0.4),
    ],
)
def test_what_is_no_plain_number_in_range_is_run_row_by_row(values):
    rows = [(value,) for value in values]
    assert number_columns(bench(), ("operation.reserve",), rows, Houses(), Wanted(outages=False)) is None


def test_every_value_of_a_part_is_checked_not_its_ends_only():
    values = [0.1, 0.2, 0.3, 0.4, 7.0, 0.5]
    frame = run_part(bench(), ("operation.reserve",), [(one,) for one in values], 0, Wanted(outages=False))
    assert frame["error"].notna().tolist() == [False] * 4 + [True, False]
    assert frame["out_saving"].isna().tolist() == [False] * 4 + [True, False]
    assert len(set(frame["input_hash"].dropna())) == 5


def test_a_bad_shared_value_costs_its_own_rows_only():
    rows = [(count, reserve) for count in (1, -1) for reserve in (0.1, 0.2, 0.3, 0.4, 0.5)]
    frame = run_part(bench(), ("battery.count", "operation.reserve"), rows, 20, Wanted(outages=False))
    assert frame["error"].notna().tolist() == [False] * 5 + [True] * 5
    assert frame["design"].tolist() == list(range(20, 30))


def test_columns_are_the_same_whatever_is_in_a_part():
    refused = run_part(bench(), ("operation.reserve",), [(9.0,)], 0, Wanted())
    whole = run_part(bench(), ("operation.reserve",), [(0.1 * k,) for k in range(6)], 0, Wanted(outages=False))
    assert refused.columns.tolist() == whole.columns.tolist()
    assert refused.dtypes.tolist() == whole.dtypes.tolist()
    assert Columns(0).held.keys() <= set(whole.columns)
