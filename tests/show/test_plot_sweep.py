"""Figures of a sweep: what is drawn equals what was given, nothing is cut off. All data are invented."""

import numpy as np
import pandas as pd
import pytest
from matplotlib.collections import LineCollection

import simulate.show.plot as plot
from profiles.noun import BadInput
from simulate.designs.columns import RESULTS, label_of
from simulate.designs.influence import pareto
from simulate.show.plot.paper import paper
from simulate.show.plot.sweep import MOST_LINES, known_points, write_sweep_figures
from simulate.show.terminal.sweep import sweep_command
from tests.designs.test_sweep import bench
from tests.show.test_plot import key_of, texts_outside

COUNT, RESERVE = "in_battery.count", "in_operation.reserve"


def invented(n: int = 60, seed: int = 1) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    hours = np.sort(rng.gamma(4.0, 12.0, (n, 4)), axis=1)
    table = pd.DataFrame(hours, columns=[f"out_hours_{name}" for name in ("min", "p10", "p50", "max")])
    table["out_hours_p90"] = 0.5 * (table["out_hours_p50"] + table["out_hours_max"])
    for mark in (4, 8, 12, 24, 72, 168):
        shares = [np.interp(mark, [lo, mid, hi], [1.0, 0.5, 0.0]) for lo, mid, hi in hours[:, [0, 2, 3]]]
        table[f"out_lasting_{mark}_frac"] = shares
    table["out_censored_frac"] = 0.0
    table["design"] = np.arange(n)
    table[COUNT] = 1 + np.arange(n) // 10
    table[RESERVE] = (np.arange(n) % 10) / 10.0
    table["out_saving"] = rng.normal(30.0, 25.0, n)
    table["out_installed_price"] = 3600.0 * table[COUNT] + 2400.0
    return table


class TestMap:
    def test_cells_are_the_table(self):
        table = invented()
        ax = plot.design_map(table, x=RESERVE, y=COUNT, value="out_saving", currency="USD")
        cells = ax.collections[0].get_array()
        assert cells.shape == (6, 10)
        assert np.asarray(cells).ravel() == pytest.approx(table["out_saving"].to_numpy())
        assert [text.get_text() for text in ax.texts] == [f"{value:.1f}" for value in table["out_saving"]]
        assert (ax.get_xlabel(), ax.get_ylabel()) == ("operation: reserve", "battery: count")
        assert ax.figure.axes[1].get_ylabel() == "bill saving [USD a year]"

    def test_a_refused_design_is_an_empty_cell_and_others_are_meant(self):
        table = pd.concat([invented(), invented(seed=2)])
        table.loc[table[COUNT] == 3, "out_hours_p10"] = np.nan
        ax = plot.design_map(table, x=RESERVE, y=COUNT)
        cells = ax.collections[0].get_array()
        assert cells.mask[2].all() and cells.mask.sum() == 10
        assert cells[0, 0] == pytest.approx(table.query("design == 0")["out_hours_p10"].mean())
        assert "mean of up to 2 designs" in ax.figure.axes[1].get_ylabel()

    def test_names_stand_where_a_key_has_no_numbers(self):
        table = invented(4).assign(**{COUNT: [1, 1, 2, 2], "in_operation.plan": ["time-of-use", "keep-full"] * 2})
        ax = plot.design_map(table, x="in_operation.plan", y=COUNT)
        assert [tick.get_text() for tick in ax.get_xticklabels()] == ["keep-full", "time-of-use"]

    def test_what_it_cannot_draw_is_refused(self):
        with pytest.raises(BadInput, match="is not a column"):
            plot.design_map(invented(), x="in_a.b", y=COUNT)
        with pytest.raises(BadInput, match="has no result"):
            plot.design_map(invented().assign(out_saving=np.nan), x=RESERVE, y=COUNT, value="out_saving")


class TestSurvival:
    def test_thin_lines_are_the_rows_and_the_thick_one_their_middle(self):
        table = invented(9)
        ax = plot.parallel_survival(table)
        (each,) = [one for one in ax.collections if isinstance(one, LineCollection)]
        for row, drawn in zip(table.to_dict("records"), each.get_segments(), strict=True):
            at_h, share = known_points(row)
            assert np.allclose(drawn, np.column_stack([at_h, 100.0 * share]))
        x, y = ax.lines[0].get_data()
        ours = [np.interp(x[80], *known_points(row), right=0.0) for row in table.to_dict("records")]
        assert y[80] == pytest.approx(100.0 * np.median(ours))

    def test_known_points_never_rise_and_pass_through_the_shares(self):
        for row in invented(40).to_dict("records"):
            at_h, share = known_points(row)
            assert (np.diff(at_h) >= 0.0).all() and (np.diff(share) <= 0.0).all()
            assert share[at_h == row["out_hours_min"]][0] == 1.0 and share[-1] == 0.0

    def test_outages_that_outlive_the_horizon_leave_their_share_at_the_end(self):
        row = {f"out_hours_{name}": 48.0 for name in ("p50", "p90", "max")} | {
            "out_hours_min": 6.0,
            "out_hours_p10": 9.0,
        }
        at_h, share = known_points(
            row | {"out_censored_frac": 0.7, "out_lasting_24_frac": 0.8, "out_lasting_72_frac": np.nan}
        )
        assert (at_h.tolist(), share.tolist()) == ([0.0, 6.0, 9.0, 24.0, 48.0], [1.0, 1.0, 0.9, 0.8, 0.7])

    def test_each_value_of_a_key_has_its_stroke(self):
        ax = plot.parallel_survival(invented(), by=COUNT)
        assert len(ax.lines) == 6 and len({str(line._dash_pattern) for line in ax.lines}) == 6
        assert key_of(ax)[0] == "1, middle of 10" and ax.get_legend().get_title().get_text() == "by battery: count"

    def test_many_designs_become_a_band(self):
        ax = plot.parallel_survival(invented(MOST_LINES + 1))
        assert not [one for one in ax.collections if isinstance(one, LineCollection)]
        assert key_of(ax) == ["all designs, middle of 241, band: eight in ten"]

    def test_without_outages_or_with_too_many_values_it_is_refused(self):
        with pytest.raises(BadInput, match="has no outages"):
            plot.parallel_survival(invented().assign(out_hours_p10=np.nan))
        with pytest.raises(BadInput, match="6 values or fewer"):
            plot.parallel_survival(invented(), by=RESERVE)


class TestFront:
    def test_points_are_the_front_and_the_rest(self):
        table = invented()
        front = pareto(table)
        beaten, best = plot.pareto_plot(table, currency="USD").collections[:2]
        assert np.allclose(best.get_offsets()[:, 1], front["out_hours_p10"])
        moved = np.abs(best.get_offsets()[:, 0] - front["out_installed_price"])
        assert moved.max() < 0.1 * np.ptp(table["out_installed_price"])
        places = np.vstack([best.get_offsets(), beaten.get_offsets()])
        assert len(np.unique(places.round(6), axis=0)) == len(table)  # none lies under another
        assert np.allclose(best.get_array(), front["out_saving"])
        assert len(beaten.get_offsets()) == len(table) - len(front) > 0
        assert best.get_clim() == beaten.get_clim()

    def test_one_saving_for_all_still_has_shades(self):
        ax = plot.pareto_plot(invented().assign(out_saving=5.0))
        assert ax.collections[-1].get_clim() == (5.0, 6.0)


class TestConvergence:
    def test_mean_and_error_are_those_of_the_designs_so_far(self):
        table = invented(50).sample(frac=1.0, random_state=3)
        ax = plot.convergence(table, value="out_saving")
        found = table.sort_values("design")["out_saving"].to_numpy()
        n, mean = ax.lines[0].get_data()
        assert n.tolist() == list(range(2, 51))
        assert mean[[0, 20, -1]] == pytest.approx([found[:k].mean() for k in (2, 22, 50)])
        band = ax.collections[0].get_paths()[0].vertices
        error = 2.0 * found.std(ddof=1) / np.sqrt(50)
        at_end = band[band[:, 0] == 50.0, 1]
        assert (at_end.min(), at_end.max()) == pytest.approx((found.mean() - error, found.mean() + error))

    def test_two_designs_do_not_settle(self):
        with pytest.raises(BadInput, match="three designs or more"):
            plot.convergence(invented(2))


def test_every_function_takes_axes_and_gives_them_back():
    table = invented()
    for draw in (
        lambda ax: plot.design_map(table, x=RESERVE, y=COUNT, ax=ax),
        lambda ax: plot.parallel_survival(table, ax=ax),
        lambda ax: plot.pareto_plot(table, ax=ax),
        lambda ax: plot.convergence(table, ax=ax),
    ):
        own = paper()
        assert draw(own) is own


def test_nothing_reaches_over_the_edge():
    long = 'in_battery["Right unit in the garage"].usable_kwh'
    table = invented().rename(columns={RESERVE: long})
    figures = [
        plot.design_map(table, x=long, y=COUNT, currency="USD"),
        plot.design_map(table, x=COUNT, y=long, value="out_saving"),
        plot.design_map(table.assign(**{COUNT: "library:three_period"}), x=long, y=COUNT),
        plot.parallel_survival(table, by=COUNT),
        plot.pareto_plot(table),
        plot.convergence(table),
    ]
    for ax in figures:
        assert texts_outside(ax.figure) == []


def test_every_column_has_a_label_with_its_unit():
    assert all(label_of(name).endswith("]") for name in RESULTS)
    assert label_of("in_rate.source") == "rate: source"
    assert label_of('in_circuit["Jet pump"].priority') == "Jet pump: priority"


def test_the_command_draws_beside_the_parts(tmp_path):
    out = tmp_path / "swept"
    told = sweep_command(bench(), ["battery.count=1,2", "operation.reserve=0.1,0.5,0.9"], out, figures=True)
    assert told["figures"] == ["hours-map", "saving-map", "survival"]
    assert {path.name for path in (out / "_figures").iterdir()} == {
        f"{name}.{kind}" for name in told["figures"] for kind in ("svg", "png")
    }
    assert len(pd.read_parquet(out)) == 6
    again = sweep_command(bench(), ["battery.count=1,2", "operation.reserve=0.1,0.5,0.9"], out, figures=True)
    assert again["figures"] == told["figures"]


def test_a_sample_shows_how_it_settles_and_refusals_draw_nothing(tmp_path):
    sampled = [*["battery.usable_kwh=uniform(2, 8)"], "battery.installed_price=uniform(1000, 2000)"]
    sweep_command(bench(), sampled, tmp_path / "a", n=8, outages=False)
    assert write_sweep_figures(tmp_path / "a", tmp_path / "f") == ["convergence"]
    sweep_command(bench(), ["operation.reserve=7,8"], tmp_path / "b")
    assert write_sweep_figures(tmp_path / "b", tmp_path / "g") == []
