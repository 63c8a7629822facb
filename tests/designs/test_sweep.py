"""Sweeps: what is varied, rows that equal the single run, folders that are taken up where they were left."""

import json
import os
import signal
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from profiles.noun import BadInput
from simulate.designs import sweep as designs_module
from simulate.designs.dataset import Dataset
from simulate.designs.fleet import by_group, read_fleet
from simulate.designs.lane_rows import grouped_rows
from simulate.designs.row import Houses, Wanted, row_of, run_design
from simulate.designs.sweep import BLOCK, kind_of, part_size, run_parts, sweep
from simulate.designs.varied import Distribution, designs_of, normal, triangular, uniform, values_of, vary_of
from simulate.document.study import study
from simulate.house.ride import ride_through
from simulate.house.year import run_year
from simulate.physics.lanes.steps import WIDTH
from simulate.show.terminal.sweep import sweep_command
from tests.site.small_site import circuit, farmhouse, small_site, unit

ROW = 1e-9
"""Agreement asked of a sweep row and the study of its site, relative, and absolute below 1."""

PEAK = {
    "name": "peak",
    "holidays": "none",
    "export": {"method": "net-billing", "credit_per_kwh": 0.04},
    "season": [
        {
            "name": "all",
            "months": list(range(1, 13)),
            "periods": [
                {"name": "on", "price_per_kwh": 0.4, "days": "all", "hours": "16:00-21:00"},
                {"name": "off", "price_per_kwh": 0.1, "days": "all", "hours": "00:00-24:00"},
            ],
        }
    ],
    "demand": [{"name": "all", "per_kw": 2.0}],
}


def bench(mode="transfer", **tables):
    """An invented house with one unit of real losses."""
    loads = [
        circuit("Fridge", 0.15),
        circuit("Lights", 0.3, rate_transfer=True, priority=2),
        circuit("Den", 0.0, rate_transfer=True, load={"watts": 400, "hours_per_day": 5.0, "window": "15:00-22:00"}),
    ]
    losses = {"charge_efficiency": 0.93, "discharge_efficiency": 0.94, "no_load_w": 40.0, "on_grid_w": 12.0}
    more = {"subpanel": {"mode": mode}, "rate": PEAK, "outage": {"horizon_h": 48.0}}
    operation = {"plan": "time-of-use", **tables.pop("operation", {})}
    return small_site(loads, [unit(**losses)], operation=operation, **(more | tables))


def study_row(site) -> dict:
    document = study(site).document
    hours, bill = document["outage"]["hours"], document["bill"]
    row = {f"out_{k}_kwh": v for k, v in document["energy_kwh"].items() if k != "residual"}
    row |= {f"out_hours_{k}": v for k, v in hours.items()}
    row |= {f"out_lasting_{k}_frac": v for k, v in document["outage"]["lasting_frac"].items()}
    row |= {f"out_{k}": bill[k] for k in ("today", "without_battery", "with_battery", "saving")}
    row["out_simple_payback_y"] = (document["money"] or {}).get("simple_payback_y")
    return row | {"out_censored_frac": document["outage"]["censored_frac"]}


def assert_row(found, expected: dict):
    for name, value in expected.items():
        there, here = (np.nan if one is None else one for one in (found[name], value))
        if isinstance(here, str):
            assert there == here, name
            continue
        assert there == pytest.approx(here, rel=ROW, abs=ROW, nan_ok=True), name


@pytest.mark.parametrize(
    ("text", "values"),
    [
        ("2,4,8", [2, 4, 8]),
        ("1:4", [1, 2, 3, 4]),
        ("0:1:0.1", [0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0]),
        ("2:8:2", [2, 4, 6, 8]),
        ("1:2:0.4", [1.0, 1.4, 1.8]),
        ("0.2", [0.2]),
        ("true,false", [True, False]),
        ("library:piedmont", ["library:piedmont"]),
        ('"1",usual', ["1", "usual"]),
        (" a , b ", ["a", "b"]),
        ("1e3,-2", [1000.0, -2]),
    ],
)
def test_values_as_the_command_line_writes_them(text, values):
    assert values_of(text) == values


@pytest.mark.parametrize(
    "text",
    [
        "",
        " , ",
        "1,,2",
        "5:2",
        "1:5:0",
        "1:5:-1",
        "1.5:3",
        "0:nan:1",
        "0:1:inf",
        "1:2:3:4",
        "1:b",
        "1:1000000001",
        "0:1:1e-9",
        "3:1:0.5",
    ],
)
def test_values_that_name_nothing_are_refused(text):
    with pytest.raises(BadInput) as refused:
        values_of(text)
    assert "--vary" in str(refused.value)


def test_keys_with_names_in_brackets():
    assert vary_of(['circuit["A = b.c"].priority=1,2', "battery.usable_kwh=uniform(2, 8)"]) == {
        'circuit["A = b.c"].priority': [1, 2],
        "battery.usable_kwh": uniform(2, 8),
    }
    for bad in ("battery.count", "=3"):
        with pytest.raises(BadInput, match="must be KEY=VALUES"):
            vary_of([bad])
    for bad in ("gauss(2, 3)", "uniform(a, 2)", "uniform()", "uniform(8, 2)", "normal(5, 0)", "normal(inf, 1)"):
        with pytest.raises(BadInput):
            vary_of([f"battery.usable_kwh={bad}"])
    with pytest.raises(BadInput, match="each key once"):
        vary_of(["battery.count=1", "battery.count=2"])


def test_a_grid_changes_its_last_key_fastest():
    grid = designs_of({"a.b": [1, 2], "c.d": "0:1:0.5", "e.f": ["x"]})
    rows = [(a, c, "x") for a in (1, 2) for c in (0.0, 0.5, 1.0)]
    assert len(grid) == 6 and grid.rows(0, 6) == rows and grid.rows(2, 5) == rows[2:5]


@pytest.mark.parametrize("method", ["latin", "sobol"])
def test_a_sample_covers_every_stratum_once(method):
    table = designs_of({"a.b": uniform(2, 8), "c.d": ["x", "y"]}, n=64, method=method, seed=3)
    drawn = np.array([row[0] for row in table.rows(0, 64)])
    assert (np.sort(np.floor((drawn - 2) / 6 * 64).astype(int)) == np.arange(64)).all()
    assert [row[1] for row in table.rows(0, 64)].count("x") == 32
    again = designs_of({"a.b": uniform(2, 8), "c.d": ["x", "y"]}, n=64, method=method, seed=3)
    assert again.rows(5, 9) == table.rows(5, 9)


def test_distributions_have_their_moments():
    q = (np.arange(100_000) + 0.5) / 100_000
    for distribution, mean, variance in (
        (uniform(2, 8), 5.0, 3.0),
        (normal(5, 2), 5.0, 4.0),
        (triangular(0, 3, 6), 3.0, 1.5),
    ):
        drawn = distribution.at(q)
        assert drawn.mean() == pytest.approx(mean, abs=1e-3) and drawn.var() == pytest.approx(variance, rel=1e-3)
    for bad in ((3.0, 2.0), (1.0,), (np.nan, 2.0), (2.0, 2.0)):
        with pytest.raises(BadInput):
            Distribution("uniform", bad)
    with pytest.raises(BadInput, match="power of two"):
        designs_of({"a.b": uniform(0, 1)}, n=100, method="sobol")
    with pytest.raises(BadInput, match="seed must be 0 or above"):
        designs_of({"a.b": uniform(0, 1)}, seed=-1)


@pytest.mark.parametrize("mode", ["transfer", "interactive"])
def test_rows_equal_the_study_of_their_site(mode):
    site = bench(mode, rate_today={"price_per_kwh": 0.2})
    money = {"other_installed_price": 700.0, "yearly_cost": 4.0, "incentives": [{"name": "grant", "amount": 300.0}]}
    site = site.with_values({"battery.installed_price": 900.0, "money": money})
    vary = {"battery.usable_kwh": [3.0, 6.0], "operation.reserve": [0.1, 0.9], "battery.count": [1, 2]}
    table = sweep(site, vary)
    assert table["error"].isna().all() and len(table) == 8
    for k in (0, 3, 6, 7):
        row = table.iloc[k]
        own = site.with_values({key: row[f"in_{key}"].item() for key in vary})
        assert_row(row, study_row(own))


VARIED = {
    "battery.count": [1, 2, 3],
    "operation.reserve": [0.0, 0.35, 1.0],
    "battery.charge_kw": [0.5, 1.5],
}


@pytest.mark.parametrize(
    ("mode", "tables"),
    [
        ("transfer", {"operation": {"plan": "time-of-use"}}),
        ("transfer", {"operation": {"plan": "self-consumption"}}),
        ("interactive", {"operation": {"plan": "self-consumption"}}),
        ("interactive", {"operation": {"plan": "keep-full", "charge_from": "any"}, "outage": {"start_soc": "full"}}),
        ("interactive", {"subpanel": {"mode": "interactive", "export": True}}),
    ],
)
def test_designs_side_by_side_equal_designs_alone(mode, tables):
    site = bench(mode, **tables)
    sites = [site.with_values(dict(zip(VARIED, row, strict=True))) for row in designs_of(VARIED).rows(0, 18)]
    wanted, houses = Wanted(outages=False), Houses()
    rows = grouped_rows(sites, houses, wanted)
    assert all(row is not None for row in rows)
    for own, row in zip(sites, rows, strict=True):
        alone = run_design(own, houses, wanted)
        assert set(row) == set(alone)
        assert_row(row, alone)


def test_taper_and_outages_side_by_side():
    site = bench("interactive").with_values({"battery.taper": {"from_soc": 0.8, "to_frac": 0.2}})
    sites = [site.with_values({"battery.usable_kwh": kwh}) for kwh in (2.0, 3.0, 4.0, 5.0)]
    wanted, houses = Wanted(), Houses()
    for own, row in zip(sites, grouped_rows(sites, houses, wanted), strict=True):
        assert row["out_first_lost"] == ride_through(own).usually_lost
        assert_row(row, {k: v for k, v in run_design(own, houses, wanted).items() if k != "out_first_lost"})


def test_designs_that_change_the_plan_of_service_are_kept_apart():
    site = bench("transfer")
    sites = [site.with_values({"battery.continuous_kw": kw}) for kw in (0.3, 0.6, 1.0, 2.0)]
    assert grouped_rows(sites, Houses(), Wanted(outages=False)) == [None] * 4
    table = sweep(site, {"battery.continuous_kw": [0.3, 0.6, 1.0, 2.0]}, outages=False)
    for k, own in enumerate(sites):
        assert_row(table.iloc[k], row_of(run_year(own), None, Wanted(outages=False)))


def test_the_embedded_site_in_a_sweep():
    site = farmhouse()
    table = sweep(site, {"battery.count": [2], "operation.reserve": [0.3], "rate_today.price_per_kwh": [0.11]})
    own = site.with_values({"battery.count": 2, "operation.reserve": 0.3, "rate_today.price_per_kwh": 0.11})
    ride = ride_through(own)
    assert table["out_hours_p10"][0] == pytest.approx(float(np.quantile(ride.hours, 0.1, method="lower")), rel=ROW)
    assert table["out_installed_price"][0] == 4 * 3600.0 + 2400.0


def test_two_legs_with_a_reserve_by_month_share_their_plan_and_keep_their_rows():
    site, houses, wanted = farmhouse(), Houses(), Wanted(outages=False)
    months = [0.7, 0.7, 0.5, 0.4, 0.4, 0.5, 0.5, 0.6, 0.6, 0.4, 0.5, 0.7]
    varied = [
        {"battery.usable_kwh": kwh, "operation.reserve": reserve, "battery.no_load_w": watts, "battery.charge_kw": kw}
        for kwh, kw in ((3.0, 0.7), (5.0, 2.0))
        for reserve in (0.2, months)
        for watts in (20.0, 60.0)
    ]
    for values in varied:
        own = site.with_values(values)
        assert_row(run_design(own, houses, wanted), row_of(run_year(own), None, wanted))
    assert len(houses._plans) == 2


def test_the_bound_is_solved_where_it_is_asked_for():
    site = bench("interactive", rate={k: v for k, v in PEAK.items() if k != "demand"})
    table = sweep(site, {"battery.count": [1]}, outages=False, bound=True)
    assert table["out_saving"][0] <= table["out_bound"][0] + 1e-6
    assert np.isnan(sweep(site, {"battery.count": [1]}, outages=False)["out_bound"][0])


def test_a_key_below_a_number_is_refused():
    with pytest.raises(BadInput, match="operation.reserve.x is not a key of the site file"):
        sweep(bench(operation={"reserve": 0.5}), {"operation.reserve.x": [1]}, outages=False)


def test_a_bad_design_is_a_row_with_its_error():
    table = sweep(bench(), {"battery.count": [1, -1, "two"], "operation.reserve": [0.2, 1.5]}, outages=False)
    assert table["error"].isna().tolist() == [True, False, False, False, False, False]
    assert "operation.reserve" in table["error"][1] and "battery" in table["error"][2]
    assert table["out_saving"].isna().tolist() == [False, True, True, True, True, True]


def test_an_unknown_key_is_refused_before_anything_runs():
    for key, hint in (
        ("battery.counts", "count"),
        ('circuit["Frige"].priority', "Fridge"),
        ("batery.count", "battery"),
    ):
        with pytest.raises(BadInput) as refused:
            sweep(bench(), {key: [1, 2]})
        assert hint in str(refused.value)


def test_any_executor_and_any_order_give_the_same_table():
    vary = {"battery.count": [1, 2], "operation.reserve": "0:0.9:0.05"}
    with ThreadPoolExecutor(1) as executor:
        plain = sweep(bench(), vary, outages=False, executor=executor)
    with ThreadPoolExecutor(3) as executor:
        pd.testing.assert_frame_equal(sweep(bench(), vary, outages=False, executor=executor), plain)


@pytest.mark.parametrize("mode", ["transfer", "interactive"])
def test_order_and_chunking_change_nothing(monkeypatch, mode):
    rng = np.random.default_rng(5)
    frame = pd.DataFrame(
        {
            "battery.usable_kwh": rng.uniform(1.0, 9.0, 40),
            "operation.reserve": rng.uniform(0.0, 1.2, 40),
            "battery.count": rng.integers(1, 3, 40),
            "battery.no_load_w": rng.choice([20.0, 40.0], 40),
        }
    )
    with ThreadPoolExecutor(1) as one:
        plain = sweep(bench(mode), frame, executor=one).drop(columns="design")
        turned = rng.permutation(40)
        for low, high in ((1, 1), (3, 7), (40, 40)):
            monkeypatch.setattr(designs_module, "PART_DESIGNS", (low, high))
            again = sweep(bench(mode), frame.iloc[turned].reset_index(drop=True), executor=one).drop(columns="design")
            again.index = turned
            pd.testing.assert_frame_equal(again.sort_index(), plain, rtol=ROW, atol=ROW)
    assert plain["error"].notna().sum() == (frame["operation.reserve"] > 1.0).sum() > 0


@pytest.mark.parametrize(
    ("values", "kind"),
    [((1, 2), int), ((1, 2.5), float), ((True,), bool), (("a", 1), str), ((0.5, None), float), (((1, 2),), str)],
)
def test_a_column_of_inputs_has_one_kind(values, kind):
    assert kind_of(values) is kind


def test_a_dataset_is_taken_up_where_it_was_left(tmp_path, monkeypatch):
    vary, out = {"operation.reserve": "0:0.47:0.01"}, tmp_path / "swept"
    with ThreadPoolExecutor(1) as one:
        whole = sweep(bench(), vary, outages=False, executor=one)
    calls = []
    part = designs_module.run_part

    def stops_in_the_third(*given):
        calls.append(given[3])
        if len(calls) == 3:
            raise KeyboardInterrupt
        return part(*given)

    monkeypatch.setattr(designs_module, "run_part", stops_in_the_third)
    with ThreadPoolExecutor(1) as one, pytest.raises(KeyboardInterrupt):
        sweep(bench(), vary, outages=False, out=out, executor=one)
    held = sorted(path.name for path in out.glob("[!_.]*"))
    assert 0 < len(held) < 3 and not (out / "_done.json").exists()
    calls.clear()
    calls.extend([0] * 10)
    with ThreadPoolExecutor(1) as one:
        again = sweep(bench(), vary, outages=False, out=out, executor=one)
    assert len(calls) - 10 == 3 - len(held)
    texts = ["out_first_lost", "error"]
    pd.testing.assert_frame_equal(again.drop(columns=texts), whole.drop(columns=texts), check_dtype=False)
    assert again[texts].isna().all(axis=None) and whole[texts].isna().all(axis=None)
    assert json.loads((out / "_done.json").read_text()) == {"designs": 48}


def test_a_changed_sweep_into_an_old_folder_is_refused(tmp_path):
    out = tmp_path / "swept"
    sweep(bench(), {"operation.reserve": [0.1, 0.2]}, outages=False, out=out)
    changed = [
        (bench(), {"operation.reserve": [0.1, 0.3]}, {}, "vary.grid.operation.reserve[2] was 0.2 and is now 0.3"),
        (bench(), {"operation.reserve": [0.1, 0.2]}, {"bound": True}, "wanted.bound was false and is now true"),
        (bench("interactive"), {"operation.reserve": [0.1, 0.2]}, {}, 'site.subpanel.mode was "transfer" and is now'),
    ]
    for site, vary, more, message in changed:
        with pytest.raises(BadInput) as refused:
            sweep(site, vary, outages=False, out=out, **more)
        assert message in str(refused.value)
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "notes.txt").write_text("keep me")
    with pytest.raises(BadInput, match="holds files that are no sweep"):
        sweep(bench(), {"operation.reserve": [0.1]}, out=tmp_path / "mine")


def test_a_full_disk_keeps_what_is_finished(tmp_path, monkeypatch):
    vary, out = {"operation.reserve": "0:0.47:0.01"}, tmp_path / "swept"
    replace_, done = os.replace, []

    def fills_up(source, target):
        if str(target).endswith(".parquet"):
            if done:
                raise OSError(28, "No space left on device")
            done.append(target)
        replace_(source, target)

    monkeypatch.setattr(os, "replace", fills_up)
    with ThreadPoolExecutor(1) as one, pytest.raises(BadInput) as refused:
        sweep(bench(), vary, outages=False, out=out, executor=one)
    assert "No space left on device" in str(refused.value) and "what is finished is kept" in str(refused.value)
    assert [path.name for path in out.glob("[!_.]*")] == [Path(done[0]).name] and not list(out.glob("_part*"))
    monkeypatch.undo()
    with ThreadPoolExecutor(1) as one:
        assert len(sweep(bench(), vary, outages=False, out=out, executor=one)) == 48


def test_parts_without_an_error_and_with_one_read_as_one_table(tmp_path):
    values = [0.01 * k for k in range(20)] + [2.0, 3.0]
    table = sweep(bench(), {"operation.reserve": values}, outages=False, out=tmp_path / "swept")
    assert len(list((tmp_path / "swept").glob("part-*"))) == 2 and table["error"].notna().sum() == 2
    assert table["design"].tolist() == list(range(22))


def test_half_written_parts_are_cleared_and_never_read(tmp_path):
    told = {"vary": 1}
    data = Dataset(tmp_path / "swept", told)
    data.write(0, pd.DataFrame({"design": [0], "error": [None]}))
    (tmp_path / "swept" / "_part-000001.parquet.99").write_text("half")
    assert pd.read_parquet(tmp_path / "swept")["design"].tolist() == [0]
    data.lock.release()
    Dataset(tmp_path / "swept", told)
    assert not list((tmp_path / "swept").glob("_part*"))


FAULTS = """
import resource, sys
sys.path.insert(0, {tests!r})
from simulate.designs.row import Wanted
from simulate.designs.sweep import run_part
from tests.designs.test_sweep import bench
run = lambda: run_part(bench(), ("operation.reserve",), [(0.01 * k,) for k in range(64)], 0, Wanted())
run()
before = resource.getrusage(resource.RUSAGE_SELF).ru_minflt
run()
print(resource.getrusage(resource.RUSAGE_SELF).ru_minflt - before)
"""


@pytest.mark.long
@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="a switch of the C library on Linux")
def test_workers_that_are_told_to_trim_memory_keep_it():
    script = FAULTS.format(tests=str(Path(__file__).parents[2]))
    told = os.environ | {"MALLOC_TRIM_THRESHOLD_": "65536"}
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True, env=told)
    assert int(done.stdout) < 10_000, "each array of a year is new memory: 64 designs take some 100,000 page faults"


KILLED = """
import sys
sys.path.insert(0, {tests!r})
from tests.designs.test_sweep import bench
from simulate.show.terminal.sweep import sweep_command
if __name__ == "__main__":
    sweep_command(bench(), ["operation.reserve=0:0.499:0.001"], {out!r}, workers=2, outages=False)
"""


@pytest.mark.long
def test_a_killed_sweep_goes_on_where_it_was(tmp_path):
    out = tmp_path / "swept"
    (tmp_path / "run.py").write_text(KILLED.format(tests=str(Path(__file__).parents[2]), out=str(out)))
    running = subprocess.Popen(
        [sys.executable, str(tmp_path / "run.py")],
        cwd=Path(__file__).parents[2],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        until = time.monotonic() + 90
        while len(list(out.glob("part-*"))) < 2 and running.poll() is None and time.monotonic() < until:
            time.sleep(0.01)
    finally:
        running.send_signal(signal.SIGKILL)
        running.wait()
    held = {path.name: path.stat().st_mtime_ns for path in out.glob("part-*")}
    assert len(held) >= 2, "nothing was written before the kill"
    message = sweep_command(bench(), ["operation.reserve=0:0.499:0.001"], out, workers=1, outages=False)
    assert message["designs"] == 500 and message["refused"] == 0
    assert all((out / name).stat().st_mtime_ns == stamp for name, stamp in held.items())
    table = pd.read_parquet(out)
    assert table["design"].tolist() == list(range(500)) and table["out_saving"].notna().all()


def test_the_command_says_what_it_did(tmp_path):
    told = sweep_command(bench(), ["battery.count=1:2", "operation.reserve=0.2,7"], tmp_path / "swept", outages=False)
    assert told["designs"] == 4 and told["refused"] == 2 and "operation.reserve" in told["first_error"]
    with pytest.raises(BadInput, match="--workers must not stand beside --dask"):
        sweep_command(bench(), ["battery.count=1"], tmp_path / "other", workers=2, dask="tcp://127.0.0.1:1")
    for more, message in (({"workers": 0}, "--workers must be 1 or above"), ({"n": 0}, "--sample must be 1 or above")):
        with pytest.raises(BadInput, match=message):
            sweep_command(bench(), ["battery.count=1"], tmp_path / "other", **more)
    assert not (tmp_path / "other").exists()


def test_a_fleet_is_a_row_a_home(tmp_path):
    pd.DataFrame(
        {
            "home": ["a", "b", "c"],
            "street": ["Elm", "Oak", "Elm"],
            "battery.count": [1, None, 3],
            'circuit["Lights"].priority': [1, 2, 2],
            "operation.reserve": [0.2, 0.3, 9.0],
        }
    ).to_csv(tmp_path / "homes.csv", index=False)
    fleet = read_fleet(tmp_path / "homes.csv")
    table = sweep(bench(), fleet, outages=False)
    assert table["label_street"].tolist() == ["Elm", "Oak", "Elm"] and table["label_home"].tolist() == ["a", "b", "c"]
    assert table["error"].isna().tolist() == [True, True, False]
    one = sweep(bench(), {"operation.reserve": [0.3]}, outages=False)
    assert table["out_saving"][1] == pytest.approx(one["out_saving"][0], rel=1e-12)
    groups = by_group(table, "street")
    assert groups["street"].tolist() == ["Elm", "Oak"] and groups["homes"].tolist() == [2, 1]
    assert groups["refused"].tolist() == [1, 0]
    assert groups["out_saving_sum"][0] == pytest.approx(table["out_saving"][0])
    pd.read_csv(tmp_path / "homes.csv").to_parquet(tmp_path / "homes.parquet")
    assert read_fleet(tmp_path / "homes.parquet").designs.equals(fleet.designs)
    with pytest.raises(BadInput, match="is not a label of the fleet"):
        by_group(table, "town")
    pd.DataFrame({"home": ["a"]}).to_csv(tmp_path / "bad.csv", index=False)
    with pytest.raises(BadInput, match="a column for each site key"):
        read_fleet(tmp_path / "bad.csv")


def test_parts_depend_on_the_sweep_only():
    assert [part_size(n, Wanted()) for n in (1, 700, 1000, 10_000, 10**6)] == [16, 16, 96, 192, 960]
    assert [part_size(n, Wanted(outages=False)) for n in (1, 700, 1000, 10_000, 10**6)] == [16, 16, 96, 192, 4032]
    assert BLOCK == WIDTH
    designs = designs_of({"operation.reserve": "0:0.4:0.01"})
    frames = dict(run_parts(bench(), designs, Wanted(outages=False), workers=1))
    assert [len(frames[k]) for k in sorted(frames)] == [16, 16, 9]
