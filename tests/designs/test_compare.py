"""Numbers of units, other sizes and other sites side by side."""

import io
import json
import textwrap

import numpy as np
import pandas as pd
import pytest
from rich.console import Console

from profiles.noun import BadInput
from simulate.designs.compare import compare_sites, compare_units, compare_values, compared
from simulate.designs.design import cure_text, standing_kwh
from simulate.document.study import study
from simulate.house.ride import ride_through
from simulate.house.year import run_year
from simulate.show.plot import comparison_figures, marginal_hours, survival_curves
from simulate.show.plot.designs import write_comparison
from simulate.show.terminal.listing import show_comparison
from tests.site.small_site import circuit, farmhouse, locked_pair, small_site, unit

PRINTED = 5e-7
FULL = {"start_soc": "full"}
LOSSY = {"usable_kwh": 10.0, "no_load_w": 50.0, "charge_efficiency": 1.0, "discharge_efficiency": 0.95}


def test_s30_units_do_not_add_hours_in_proportion():
    site = small_site([circuit("House", 0.5)], [unit("A", **LOSSY)], outage=FULL)
    rows = compare_units(site, (1, 2, 3)).rows
    assert [row["hours"]["year"]["p10"] for row in rows] == pytest.approx(
        [17.351598, 31.932773, 44.357977], abs=PRINTED
    )
    assert [row["where"] for row in rows] == ["1 on A", "2 on A", "3 on A"]
    assert rows[2]["more_hours"] == pytest.approx(44.357977 - 31.932773, abs=1e-6)


def two_legs(a_kw, b_kw, **more):
    return small_site([circuit("Left", a_kw), circuit("Right", b_kw, "B")], locked_pair(), outage=FULL, **more)


def test_a_further_unit_goes_on_the_leg_that_fails_first():
    wheres = lambda site: [row["where"] for row in compare_units(site, (1, 2, 3, 4)).rows]
    assert wheres(two_legs(0.6, 0.25)) == ["1 on A", "1 on A, 1 on B", "2 on A, 1 on B", "3 on A, 1 on B"]
    assert wheres(two_legs(0.25, 0.6)) == ["1 on B", "1 on A, 1 on B", "1 on A, 2 on B", "1 on A, 3 on B"]
    assert wheres(two_legs(0.3, 0.29))[3] == "2 on A, 2 on B"


def test_only_circuits_of_the_first_priority_draw_a_unit():
    circuits = [circuit("Left", 0.2), circuit("Right", 0.1, "B"), circuit("Toys", 1.0, "B", priority=2)]
    site = small_site(circuits, locked_pair(), outage=FULL)
    assert compare_units(site, (3,)).rows[0]["where"] == "1 on A, 2 on B"  # the toys empty leg B under the first ones
    light = small_site([*circuits[:2], circuit("Toys", 0.05, "B", priority=2)], locked_pair(), outage=FULL)
    assert compare_units(light, (3,)).rows[0]["where"] == "2 on A, 1 on B"


def test_the_worst_tenth_decides_where_the_next_unit_goes():
    heating = {"load": [{"kw": 0.05}, {"kw": 0.9, "months": [1, 2]}]}
    site = small_site([circuit("Boiler", 0.0) | heating, circuit("Right", 0.4, "B")], locked_pair(), outage=FULL)
    assert compare_units(site, (3,)).rows[0]["where"] == "2 on A, 1 on B"


def test_a_leg_without_a_unit_covers_nothing_and_counts_as_unserved():
    site = two_legs(0.6, 0.25)
    site = site.with_values({"outage.per_year": 2.0, "outage.mean_h": 3.0, "outage.sigma": 0.0})
    one, two = compare_units(site, (1, 2)).rows
    assert one["never_carried"] == ["Right"]
    assert one["covered_frac"]["4"] == 0.0
    assert one["ridden_through_frac"] == 0.0
    assert one["unserved_kwh_per_year"] == pytest.approx(0.25 * 6.0)
    assert two["unserved_kwh_per_year"] == pytest.approx(0.0, abs=1e-12)
    assert two["ridden_through_frac"] == 1.0
    assert two["more_hours"] is None  # other circuits, no comparison


def test_a_leg_without_a_group_is_named_and_gets_no_unit():
    site = small_site([circuit("Left", 0.2), circuit("Right", 0.3, "B")], [unit("A")])
    found = compare_units(site, (2,))
    assert found.rows[0]["where"] == "2 on A"
    assert any("leg B" in note and "count = 0" in note for note in found.notes)
    with_group = small_site([circuit("Left", 0.2), circuit("Right", 0.3, "B")], [unit("A"), unit("B", count=0)])
    assert compare_units(with_group, (2,)).rows[0]["where"] == "1 on A, 1 on B"


def test_groups_on_one_leg_fill_in_file_order():
    groups = [unit("A", usable_kwh=2.0), unit("A", usable_kwh=7.0) | {"name": "Large"}]
    site = small_site([circuit("House", 0.5)], groups, outage=FULL)
    rows = compare_units(site, (1, 2, 3)).rows
    assert [row["usable_kwh"] for row in rows] == [2.0, 9.0, 16.0]
    assert [row["as_written"] for row in rows] == [False, True, False]


def test_units_on_both_legs():
    both = unit("both", charging_circuit={"breaker_a": 30, "volts": 240})
    site = small_site([circuit("Left", 0.2), circuit("Pump", 0.3, "AB")], [both], outage=FULL)
    row = compare_units(site, (2,)).rows[0]
    assert row["where"] == "2 on both legs"
    assert row["hours"]["year"]["p50"] == pytest.approx(20.0)


def test_more_energy_does_not_cure_an_overload():
    site = small_site([circuit("Kettle", 3.0)], [unit("A", continuous_kw=2.0)], outage=FULL)
    row = compare_values(site, "battery.usable_kwh", [5.0, 50.0]).rows[1]
    assert row["why_frac"] == {"overload": 1.0}
    assert row["more_units_cure_frac"] == 0.0
    assert "cures none" in row["cure"]
    assert cure_text({"empty": 0.5, "held-off": 0.5}).startswith("more energy cures only empty units (50%")
    assert "horizon" in cure_text({})


def test_an_extra_unit_can_cost_hours():
    """No-load draw of a small unit against what it stores: nothing may prune by "more units last longer"."""
    small = unit("A", usable_kwh=0.2, no_load_w=60.0) | {"name": "Small"}
    site = small_site([circuit("Shelf", 0.05)], [unit("A", no_load_w=30.0), small], outage=FULL)
    rows = compare_values(site, 'battery["Small"].count', [0, 1]).rows
    assert rows[0]["hours"]["year"]["p50"] == pytest.approx(5.0 / 0.08)
    assert rows[1]["hours"]["year"]["p50"] == pytest.approx(5.2 / 0.14)
    assert rows[1]["more_hours"] < -25.0


def test_flat_rate_costs_the_on_grid_draw():
    site = small_site([circuit("Shelf", 0.1)], [unit("A", on_grid_w=15.0)])
    row = compare_units(site, (2,)).rows[0]
    assert row["on_grid_kwh"] == pytest.approx(2 * 131.4)
    assert row["no_load_kwh"] == pytest.approx(0.0, abs=1e-9)
    assert row["saving"] == pytest.approx(-2 * 131.4 * 0.15)


def test_standing_draw_against_the_walk_in_parallel():
    periods = [{"name": "peak", "price_per_kwh": 0.4, "hours": "16:00-21:00"}, {"name": "off", "price_per_kwh": 0.1}]
    rate = {"season": [{"name": "all", "months": list(range(1, 13)), "periods": periods}]}
    units = [unit("A", count=2, no_load_w=40.0, on_grid_w=10.0, charge_efficiency=0.94, discharge_efficiency=0.95)]
    site = small_site([circuit("House", 1.0)], units, rate=rate, subpanel={"mode": "interactive"})
    run = run_year(site)
    no_load, on_grid = standing_kwh(run)
    inverting_h = run.year.discharge_kw.sum() / run.asked.pools[0].discharge_kw
    assert inverting_h > 100.0
    assert no_load == pytest.approx(0.080 * inverting_h, rel=1e-9)
    assert on_grid == pytest.approx(0.020 * (run.hours.n_steps - inverting_h), rel=1e-9)


@pytest.mark.long
@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("solar.dc_kw", 6.0),
        ("battery.usable_kwh", 2.0),
        ("operation.reserve", 0.9),
        ("outage.restart_soc", 0.1),
        ('circuit["Boiler"].priority', 2),
        ("rate.fixed_per_month", 3.0),
        ("subpanel.load_control", "automatic"),
    ],
)
def test_a_row_equals_the_single_run_of_that_site(key, value):
    solar = {"dc_kw": 2.0, "connected_at": "sub-panel", "tilt_deg": 30.0, "azimuth_deg": 180.0}
    circuits = [circuit("Boiler", 0.4, rate_transfer=True), circuit("Range", 0.9, priority=2)]
    site = small_site(
        circuits,
        [unit("A", takes_back_kw=2.0, usable_kwh=3.0)],
        solar=solar,
        weather={"source": "library:piedmont"},
        outage={"horizon_h": 48.0},
    )
    changed = site.with_values({key: value})
    row, alone = compare_values(site, key, [value]).rows[0], study(changed).document
    assert row["saving"] == alone["bill"]["saving"]
    assert row["hours"]["winter"]["p10"] == alone["outage"]["by_season"]["winter"]["p10"]
    assert row["service_a"] == alone["outage"]["recharge"]["service_a"]


def test_compared_units_equal_a_site_written_so():
    site = farmhouse()
    row = compare_units(site, (3,)).rows[0]
    changed = site.with_values({'battery["Left unit"].count': 2})
    assert row["where"] == "2 on A, 1 on B"
    assert row["hours"]["year"]["p10"] == pytest.approx(
        float(np.quantile(ride_through(changed).hours, 0.1, method="lower"))
    )
    assert row["usable_end_kwh"] == pytest.approx(3 * 4.6 * 0.7)
    assert row["installed_price"] == pytest.approx(3 * 3600.0 + 2400.0)


def test_document_and_frame():
    found = compare_units(two_legs(0.6, 0.25), (2, 1))
    text = json.dumps(found.document(), allow_nan=False)
    assert json.loads(text)["rows"][0]["n_units"] == 2
    frame = found.to_frame()
    assert frame["hours.winter.p10"].tolist() == [row["hours"]["winter"]["p10"] for row in found.rows]
    assert any("estimate" in caution for caution in found.document()["cautions"])


def test_two_sites():
    one, other = two_legs(0.6, 0.25), two_legs(0.3, 0.25)
    rows = compare_sites(one, other).rows
    assert rows[1]["more_hours"] == pytest.approx(5.0 / 0.3 - 5.0 / 0.6)
    with pytest.raises(BadInput, match="currency"):
        compare_sites(one, one.with_values({"rate": {"price_per_kwh": 0.1, "currency": "CAD"}}))


@pytest.mark.parametrize("totals", [(), (0,), (100,), (1.5,), ("2",)])
def test_totals_that_are_no_numbers_of_units(totals):
    with pytest.raises(BadInput, match="1:6"):
        compare_units(two_legs(0.6, 0.25), totals)


def test_every_row_of_the_comparison_is_in_table_json_and_csv(tmp_path):
    site = two_legs(0.6, 0.25).with_values({"outage.per_year": 2.0, "outage.mean_h": 3.0})
    found = compare_units(site, (1, 2, 3))
    names = [path.name for path in write_comparison(found, tmp_path / "new")]
    assert names == [
        "compare.json",
        "compare.csv",
        "survival-curves.png",
        "survival-curves.svg",
        "marginal-hours.png",
        "marginal-hours.svg",
    ]
    assert sorted(one.name for one in (tmp_path / "new").iterdir()) == sorted(names)
    document = json.loads((tmp_path / "new" / "compare.json").read_text("utf-8"))
    assert document == json.loads(json.dumps(found.document()))
    table = pd.read_csv(tmp_path / "new" / "compare.csv")
    seasons = [f"hours.{s}.{q}" for s in ("winter", "spring", "summer", "autumn") for q in ("p10", "p50", "worst")]
    figures = [
        "usable_kwh",
        "usable_end_kwh",
        "first_lost",
        "cure",
        "covered_frac.24",
        "unserved_kwh_per_year",
        "recharge_h",
        "service_a",
        "no_load_kwh",
        "on_grid_kwh",
        "saving",
        "hours_per_1000",
    ]
    assert set(seasons + figures) <= set(table.columns)
    assert table["never_carried"].tolist()[0] == "Right"
    for row, line in zip(document["rows"], table.to_dict("records"), strict=True):
        assert line["hours.winter.p10"] == row["hours"]["winter"]["p10"]
        assert line["unserved_kwh_per_year"] == row["unserved_kwh_per_year"]
    shown = Console(record=True, width=120, file=io.StringIO())
    show_comparison(document, shown)
    text = shown.export_text()
    for word in (
        "winter",
        "autumn",
        "usable new [kWh]",
        "at the end [kWh]",
        "unserved [kWh a year]",
        "service [A]",
        "no-load [kWh]",
        "on-grid [kWh]",
        "recharge",
        "saving [USD]",
        "price [USD]",
        "Never carried: Right",
        "more units help only where the units ran empty",
    ):
        assert word.lower() in text.lower(), word


def test_curves_of_designs_on_one_axis_and_what_each_unit_adds():
    found = compare_units(two_legs(0.6, 0.25), (1, 2, 3))
    figures = comparison_figures(found)
    curves = figures["survival-curves"].axes[0]
    drawn = {line.get_label(): line for line in curves.lines if not line.get_label().startswith("_")}
    assert list(drawn) == ["1 unit: 1 on A, not all carried", "2 units: 1 on A, 1 on B", "3 units: 2 on A, 1 on B"]
    assert drawn["2 units: 1 on A, 1 on B"].get_xdata()[-1] == pytest.approx(5.0 / 0.6)
    assert max(drawn["1 unit: 1 on A, not all carried"].get_xdata()) == 0.0
    marks = [line.get_xdata()[0] for line in curves.lines if line.get_label() == "_mark"]
    assert marks == [4.0, 12.0]  # the axis ends where the data end
    ticks = [tick.get_text() for tick in figures["marginal-hours"].axes[0].get_xticklabels()]
    assert ticks == ["1\n+0.0 h", "2\n+8.3 h", "3\n+8.3 h"]
    assert list(comparison_figures(compare_values(two_legs(0.6, 0.25), "battery.usable_kwh", [5.0]))) == [
        "survival-curves"
    ]


def test_what_stood_before_the_first_number_is_not_made_up():
    ax = marginal_hours([2, 4], [8.0, 12.0])
    assert [tick.get_text() for tick in ax.get_xticklabels()] == ["2", "4\n+4.0 h"]
    assert "fewer units" in ax.get_legend_handles_labels()[1][0]


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"units": "a"}, "--units must be whole numbers from 1 to 99"),
        ({"units": ""}, "--units must name a value"),
        ({"units": "1:2", "vary": "solar.dc_kw=1"}, "takes one of a second site"),
        ({"vary": "solar.dc_kw"}, "KEY=VALUES"),
    ],
)
def test_what_the_verb_refuses(asked, said):
    with pytest.raises(BadInput, match=said):
        compared(two_legs(0.6, 0.25), **asked)


def test_the_verb_compares_one_to_six_units_without_anything():
    assert [row["n_units"] for row in compared(two_legs(0.6, 0.25)).rows] == [1, 2, 3, 4, 5, 6]
    assert compared(two_legs(0.6, 0.25), vary="battery.usable_kwh=3,6").compared == "battery.usable_kwh"
    assert compared(two_legs(0.6, 0.25), two_legs(0.5, 0.25)).compared == "sites"


def test_no_label_of_the_key_is_cut():
    long = "A rather long name of a design (folder/with-a-long-name.toml), not all carried, and so on"
    hours = np.array([1.0, 2.0, 5.0])
    for names in ([long, long + " again"], [f"{k} units: {k} on A, {k} on B" for k in range(6)], ["1 unit"]):
        wrapped = {textwrap.fill(name, 44): hours for name in names}
        for horizon_h in (336.0, 5.0):
            figure = survival_curves(wrapped, horizon_h=horizon_h).figure
            figure.canvas.draw()
            box = figure.axes[0].get_legend().get_window_extent()
            assert box.y1 <= figure.bbox.y1
            assert box.x1 <= figure.bbox.x1
            assert box.y0 >= figure.axes[0].bbox.y1 - 1.0, "the key lies above the data"
