"""Figures: what is drawn equals what was given, nothing is cut off, every axis has its unit."""

import re
import xml.etree.ElementTree as ElementTree
from dataclasses import replace
from pathlib import Path

import matplotlib
import numpy as np
import pandas as pd
import pytest
import scipy.stats
from matplotlib.text import Text

import simulate.show.plot as plot
from profiles.hours import hours_of_year
from profiles.noun import BadInput
from simulate.bill.bill import Bill, Line
from simulate.document.study import study
from simulate.house.recharge import charging_leg_a, refill_h
from simulate.physics.outages.spread import nine_in_ten
from simulate.show.plot import heat, outages, paper, recharge, survival
from simulate.show.plot.bills import stacked_bills
from simulate.show.plot.day import average_by_hour
from simulate.show.plot.outages import Course, draw_courses
from simulate.show.plot.paper import narrow
from simulate.show.plot.plates import AS_PNG_TOO, plates_of, write_figures
from tests.site.small_site import farmhouse

RNG = np.random.default_rng(20250114)
MONTHS = [f"2025-{m:02d}" for m in range(1, 13)]
HALF_PIXEL = 0.5


@pytest.fixture(scope="module")
def demo():
    return study(farmhouse())


@pytest.fixture(scope="module")
def plates(demo):
    return plates_of(demo)


def texts_outside(figure) -> list[str]:
    """Visible texts that reach over the edge of their figure."""
    figure.canvas.draw()
    edge, undrawn = figure.bbox, labels_out_of_range(figure)
    out = []
    for text in figure.findobj(Text):
        if text.get_visible() and text.get_text().strip() and id(text) not in undrawn:
            box = text.get_window_extent()
            if (
                box.x0 < edge.x0 - HALF_PIXEL
                or box.x1 > edge.x1 + HALF_PIXEL
                or box.y0 < edge.y0 - HALF_PIXEL
                or box.y1 > edge.y1 + HALF_PIXEL
            ):
                out.append(text.get_text())
    return out


def labels_out_of_range(figure) -> set[int]:
    """Tick labels that matplotlib keeps beyond the ends of an axis and never draws."""
    out = set()
    for axis in (axis for ax in figure.axes for axis in (ax.xaxis, ax.yaxis)):
        low, high = sorted(axis.get_view_interval())
        slack = 1e-9 * (high - low)
        for tick in (*axis.majorTicks, *axis.minorTicks):
            if not low - slack <= tick.get_loc() <= high + slack:
                out |= {id(tick.label1), id(tick.label2)}
    return out


def key_of(ax) -> list[str]:
    return [text.get_text() for text in ax.get_legend().get_texts()]


def standalone() -> dict:
    """A figure from each function, with wide names; its data are invented."""
    zero = np.zeros(9)
    course = Course(
        "", np.arange(10.0), {"leg A": np.arange(10.0), "leg B": np.ones(10)}, zero + 2.0, zero + 1.0, zero + 3.0
    )
    one, two = RNG.gamma(4.0, 5.0, 500), np.minimum(RNG.gamma(4.0, 60.0, 500), 336.0)
    return {
        "survival_curve": plot.survival_curve(one),
        "survival_curves": plot.survival_curves({f"{n} battery units": one * n for n in range(1, 5)} | {"solar": two}),
        "three_outages": draw_courses(
            [replace(course, title=f"{name}, 28 Nov 22:00: at least 336 h") for name in ("worst", "middle", "best")]
        )[0, 0],
        "hours_map": plot.hours_map(RNG.uniform(0.0, 336.0, (12, 24))),
        "price_map": plot.price_map(RNG.uniform(0.0, 1.0, (12, 24)), currency="CAD"),
        "monthly_bills": plot.monthly_bills(MONTHS, without_battery=np.arange(12) * 9e3, with_battery=-np.ones(12)),
        "average_day": plot.average_day(np.ones(24), np.arange(24.0), dear=np.arange(24) > 16, title="summer weekday"),
        "load_duration": plot.load_duration(one, limits={"continuous [kW]": 6.0, "motor start [kVA]": 30.0}),
        "leg_bars": plot.leg_bars({"everything on": {"A": 3.4}, "mean": {"A": 1.0, "B": 0.5}}, {"A": 3.0, "B": 3.0}),
        "cash_flow": plot.cash_flow(np.r_[-12000.0, np.full(25, 700.0)]),
        "tornado": plot.tornado(
            [("usable energy of each unit", 9.0, 12.0, 15.0), ("load", 14.0, 12.0, 8.0)],
            what="hours survived, nine times in ten [h]",
        ),
        "marginal_hours": plot.marginal_hours([1, 2, 3, 4], [6.0, 13.0, 19.0, 18.0], hours_p50=[9.0, 18.0, 30.0, 36.0]),
        "frontier": plot.frontier(
            [8.0, 12.0, 16.0],
            [310.0, 220.0, -40.0],
            labels=["20 %", "50 %", "100 %"],
            others={"by month": ([9.0, 15.0], [300.0, 150.0])},
        ),
    }


class TestSurvival:
    def test_equals_the_product_limit_estimate(self):
        """Kaplan & Meier 1958 as SciPy computes it, outages beyond the horizon censored."""
        hours = np.minimum(np.round(RNG.gamma(3.0, 40.0, 400), 1), 168.0)
        lived = hours >= 168.0
        assert lived.any()
        sample = scipy.stats.CensoredData(uncensored=hours[~lived], right=hours[lived])
        theirs = scipy.stats.ecdf(sample).sf
        at_h, share = survival.survival_steps(hours, 168.0)
        ours_after = [share[at_h > one][0] if (at_h > one).any() else share[-1] for one in theirs.quantiles]
        died = theirs.quantiles < 168.0
        assert np.allclose(np.array(ours_after)[died], theirs.probabilities[died], atol=1e-12)

    def test_line_is_the_data_and_marks_stand_at_4_12_24_72(self):
        hours = np.array([2.0, 4.0, 4.0, 80.0])
        ax = plot.survival_curve(hours, name="demo")
        line = next(line for line in ax.lines if line.get_label() == "demo")
        at_h, share = survival.survival_steps(hours, 336.0)
        assert line.get_xdata().tolist() == at_h.tolist()
        assert line.get_ydata().tolist() == (100.0 * share).tolist()
        marks = [line.get_xdata()[0] for line in ax.lines if line.get_label() == "_mark"]
        assert marks == [4.0, 12.0, 24.0, 72.0]

    @pytest.mark.parametrize(("longest", "marked"), [(335.9, False), (336.0, True)])
    def test_censor_mark_only_where_an_outage_outlived_the_horizon(self, longest, marked):
        ax = plot.survival_curve([5.0, longest])
        assert (">" in [line.get_marker() for line in ax.lines]) == marked
        assert ("modelled outages, 50% at least 336 h" in key_of(ax)) == marked

    def test_each_design_has_a_line_of_its_own_stroke(self):
        ax = plot.survival_curves({str(n): [n + 1.0, n + 2.0] for n in range(6)})
        drawn = [line for line in ax.lines if line.get_label() in "012345"]
        assert len(drawn) == 6
        assert len({(line.get_linestyle(), str(line._dash_pattern)) for line in drawn}) == 6

    def test_not_a_number_is_refused(self):
        with pytest.raises(BadInput, match="hours must be finite"):
            plot.survival_curve([1.0, np.nan])


class TestMaps:
    def test_a_wide_span_gets_square_root_shades_that_say_so(self):
        grid = np.full((12, 24), 300.0)
        grid[0] = 10.0
        for values, wide in ((grid, True), (grid / 10.0 + 15.0, False)):
            ax = plot.hours_map(values)
            assert ("square root]" in ax.figure.axes[-1].get_ylabel()) == wide

    def test_cells_equal_a_pandas_group(self):
        axis = hours_of_year(2025, "America/New_York")
        values = RNG.uniform(0.0, 50.0, axis.n_steps)
        ours = heat.by_month_and_hour(values, axis.month, axis.minute // 60, nine_in_ten)
        frame = pd.DataFrame({"v": values, "m": axis.month, "h": axis.minute // 60})
        theirs = frame.groupby(["m", "h"]).v.quantile(0.1, interpolation="lower").unstack().to_numpy()
        assert np.array_equal(ours, theirs)

    def test_drawn_cells_are_the_grid_and_the_worst_is_named(self):
        grid = np.full((12, 24), 20.0)
        grid[1, 7] = 3.0
        ax = plot.hours_map(grid)
        assert np.array_equal(ax.collections[0].get_array().reshape(12, 24), grid)
        assert ax.get_title(loc="left") == "shortest: Feb 07:00, 3 h"
        assert (1.0, 7.0) in [(patch.get_y(), patch.get_x()) for patch in ax.patches]
        written = {text.get_position(): text.get_text() for text in ax.texts}
        assert len(written) == 288 and written[7.5, 1.5] == "3" and written[0.5, 0.5] == "20"

    def test_maps_of_hours_have_one_scale_on_every_site(self):
        for longest, ends in ((5.0, 48.0), (48.0, 48.0), (49.0, 336.0)):
            drawn = plot.hours_map(np.full((12, 24), longest)).collections[0]
            assert drawn.get_clim() == (0.0, ends)

    def test_on_a_telephone_months_run_across_and_hours_down(self):
        grid = np.full((12, 24), 20.0)
        grid[1, 7] = 3.0
        with narrow():
            ax = plot.hours_map(grid)
        assert ax.collections[0].get_array().shape == (24, 12) and ax.figure.get_figwidth() < 4.0
        assert (7.0, 1.0) in [(patch.get_y(), patch.get_x()) for patch in ax.patches]

    def test_shades_grow_lighter_all_the_way(self):
        shades = matplotlib.colormaps[heat.SHADES](np.linspace(0.0, 1.0, 256))
        assert (np.diff([luminance(shade) for shade in shades]) > -1e-4).all()
        assert luminance(shades[-1]) > 10 * luminance(shades[0])

    def test_a_grid_of_another_shape_is_refused(self):
        with pytest.raises(BadInput, match="shape"):
            plot.hours_map(np.zeros((24, 12)))


def luminance(color) -> float:
    """Relative luminance, WCAG 2.2."""
    rgb = np.asarray(matplotlib.colors.to_rgb(color))
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


def test_bars_are_told_apart_by_lightness_alone():
    dark, middle, light = sorted(map(luminance, (paper.DARK, paper.MIDDLE, paper.LIGHT)))
    assert (middle + 0.05) / (dark + 0.05) > 1.8
    assert (light + 0.05) / (middle + 0.05) > 1.8


def bar_tops(ax) -> dict:
    """Foot and top of the bars of each collection, by label."""
    out = {}
    for drawn in ax.collections:
        corners = np.array([path.vertices[:4, 1] for path in drawn.get_paths()])
        out.setdefault(drawn.get_label(), []).append(corners[:, [0, 1]])
    return out


class TestBills:
    def test_bars_are_the_amounts(self):
        without, with_ = RNG.uniform(20.0, 200.0, 12), RNG.uniform(20.0, 200.0, 12)
        ax = plot.monthly_bills(MONTHS, without_battery=without, with_battery=with_)
        tops = bar_tops(ax)
        assert np.allclose(tops["without battery"][0][:, 1], without)
        assert np.allclose(tops["with battery"][0][:, 1], with_)
        assert [text.get_text() for text in ax.get_xticklabels()] == list(paper.MONTHS)

    def test_stacks_add_up_to_the_bill_with_credits_below_zero(self):
        lines = [
            Line(month, "energy", name, 1.0, "kWh", amount, amount)
            for month in MONTHS
            for name, amount in (("on-peak", 30.0), ("off-peak", 20.0))
        ]
        lines += [
            Line(month, kind, kind, 1.0, "", amount, amount)
            for month in MONTHS
            for kind, amount in (("fixed", 12.5), ("export", -7.0))
        ]
        bill = Bill("USD", tuple(lines))
        ax = plot.stacked_bills({"without_battery": bill, "with_battery": bill})
        ends = np.concatenate([part for parts in bar_tops(ax).values() for part in parts])
        assert ends[:, 1].max() == pytest.approx(62.5)
        assert ends[:, 1].min() == pytest.approx(-7.0)
        assert (ends[:, 1] - ends[:, 0]).sum() == pytest.approx(2 * bill.total)

    def test_many_items_fold_into_other_and_nothing_is_lost(self):
        lines = tuple(Line("2025-01", "energy", f"p{k}", 1.0, "kWh", k + 1.0, k + 1.0) for k in range(20))
        ax = plot.stacked_bills({"with_battery": Bill("USD", lines)})
        ends = np.concatenate([part for parts in bar_tops(ax).values() for part in parts])
        assert (ends[:, 1] - ends[:, 0]).sum() == pytest.approx(210.0)
        assert "other" in key_of(ax)


def test_average_day_equals_a_pandas_group():
    axis = hours_of_year(2025, "America/New_York", 30)
    kw = RNG.uniform(0.0, 5.0, axis.n_steps)
    ours = average_by_hour(kw, axis, (12, 1, 2))
    at = np.isin(axis.month, (12, 1, 2)) & (axis.weekday < 5)
    theirs = pd.Series(kw[at]).groupby(axis.local[at].hour).mean().to_numpy()
    assert np.allclose(ours, theirs, atol=1e-12)
    ax = plot.average_day(ours, ours / 2)
    drawn = {patch.get_label(): patch.get_data().values for patch in ax.patches}
    assert np.array_equal(drawn["without battery"], ours)
    assert np.array_equal(drawn["with battery"], ours / 2)


class TestLegs:
    def test_duration_curve_falls_and_limits_are_lines(self):
        kw = RNG.uniform(0.5, 3.0, 1000)
        ax = plot.load_duration(kw, limits={"continuous [kW]": 3.5})
        assert ax.lines[0].get_ydata().tolist() == sorted(kw, reverse=True)
        assert ax.lines[1].get_ydata()[0] == 3.5
        assert ax.get_yscale() == "linear"

    def test_a_load_far_below_its_limit_keeps_the_scale_of_the_limit(self):
        ax = plot.load_duration([0.2, 0.4, 0.0], limits={"continuous [kW]": 6.0})
        assert ax.get_yscale() == "linear" and ax.get_ylim()[0] == 0.0 and ax.get_ylim()[1] > 6.0

    def test_bars_and_limits_are_the_figures(self):
        ax = plot.leg_bars({"everything on": {"A": 2.5, "B": 1.5}}, {"A": 3.0, "B": 2.0})
        assert [patch.get_width() for patch in ax.patches] == [2.5, 1.5]
        assert [line.get_xdata()[0] for line in ax.lines] == [3.0, 2.0]


class TestMoney:
    def test_cash_flow_bars_and_running_sum(self):
        net = np.array([-1000.0, 300.0, 400.0, 500.0])
        ax = plot.cash_flow(net)
        assert sorted(patch.get_height() for patch in ax.patches) == sorted(net)
        assert ax.lines[-1].get_ydata().tolist() == [-1000.0, -700.0, -300.0, 200.0]

    def test_tornado_puts_the_widest_on_top_and_bars_end_at_the_results(self):
        ax = plot.tornado([("small", 11.0, 12.0, 13.0), ("large", 6.0, 12.0, 20.0)], what="hours [h]")
        assert [text.get_text() for text in ax.get_yticklabels()] == ["large", "small"]
        ends = [patch.get_x() + patch.get_width() for patch in ax.patches]
        assert ends == [6.0, 20.0, 11.0, 13.0]

    def test_marginal_hours_are_the_differences(self):
        ax = plot.marginal_hours([1, 2, 3], [6.0, 13.0, 12.0])
        assert [text.get_text() for text in ax.get_xticklabels()] == ["1\n+6.0 h", "2\n+7.0 h", "3\n-1.0 h"]

    def test_frontier_points(self):
        ax = plot.frontier([8.0, 12.0], [300.0, -20.0], labels=["20 %", "80 %"])
        assert ax.lines[0].get_xydata().tolist() == [[8.0, 300.0], [12.0, -20.0]]
        assert [text.get_text() for text in ax.texts] == ["20 %", "80 %"]


class TestRecharge:
    def test_full_when_the_closed_form_says_so(self, demo):
        refill, pools = recharge.refill_of(demo.run), demo.run.asked.pools
        wait_h = demo.site.operation.after_outage_wait_min / 60.0
        for pool, stored in zip(pools, refill.soc_kwh.values(), strict=True):
            assert (stored[refill.at_h < wait_h] == 0.0).all()
            full = refill.at_h[stored >= pool.usable_kwh - 1e-9][0]
            assert full - recharge.STEP_H <= wait_h + refill_h(pool) <= full + 1e-9

    def test_current_makes_up_the_energy_that_was_stored(self, demo):
        """The integral of charging current x volts x efficiency is what the cells took (within the drawing's step)."""
        refill = recharge.refill_of(demo.run)
        base = demo.site.service.calculated_load_va / 240.0
        for leg, leg_pool in zip("AB", demo.run.house.pools, strict=True):
            amps = refill.service_a[leg] - base
            assert amps.max() == pytest.approx(charging_leg_a(leg_pool.groups, "120/240")[leg])
            taken = np.trapezoid(amps, refill.at_h) * 0.12 * leg_pool.pool.charge_efficiency
            assert taken == pytest.approx(leg_pool.pool.usable_kwh, rel=0.03)

    def test_lines_are_the_arrays(self, demo):
        refill = recharge.refill_of(demo.run)
        above, below = plot.recharge_curve(refill)
        assert np.array_equal(above.lines[0].get_ydata(), refill.soc_kwh["leg A"])
        assert np.array_equal(below.lines[1].get_ydata(), refill.service_a["B"])


class TestOutages:
    def test_the_worst_course_goes_dark_when_the_ride_says_so(self, demo):
        start = int(np.argmin(demo.ride.hours))
        course = outages.course_of(demo.ride, start, "worst")
        short = np.flatnonzero(course.unserved_kw > 1e-9)[0]
        assert course.edges_h[short] <= demo.ride.hours[start] <= course.edges_h[short + 1]

    def test_panels_draw_the_course_on_one_scale(self, demo):
        course = outages.course_of(demo.ride, 0)
        panels = outages.draw_courses([course, outages.course_of(demo.ride, 4000)])
        assert np.array_equal(panels[0, 0].lines[0].get_ydata(), course.soc_kwh["leg A"])
        served = next(patch for patch in panels[1, 0].patches if patch.get_label() == "served")
        assert np.array_equal(served.get_data().values, course.served_kw)
        assert panels[0, 0].get_ylim() == panels[0, 1].get_ylim()

    def test_stored_energy_never_rises_without_solar(self, demo):
        course = outages.course_of(demo.ride, 1000)
        assert not course.solar_kw.any()
        for stored in course.soc_kwh.values():
            assert (np.diff(stored) <= 1e-12).all()


class TestEveryFigure:
    @pytest.mark.long
    def test_nothing_is_cut_off(self, plates):
        cut = {plate.name: texts_outside(plate.figure) for plate in plates}
        cut |= {name: texts_outside(ax.figure) for name, ax in standalone().items()}
        assert {name: texts for name, texts in cut.items() if texts} == {}

    def test_a_text_that_is_cut_off_would_be_seen(self):
        ax = plot.cash_flow([-1.0, 2.0])
        ax.text(0.99, 0.5, "over the edge of the figure", transform=ax.transAxes)
        assert texts_outside(ax.figure) == ["over the edge of the figure"]

    def test_every_axis_names_its_unit_or_what_it_counts(self, plates):
        plain = {"month", "battery units", "year, 0 is the installation", ""}
        for figure in [plate.figure for plate in plates] + [ax.figure for ax in standalone().values()]:
            for ax in figure.axes:
                for label in (ax.get_xlabel(), ax.get_ylabel()):
                    assert label in plain or re.search(r"\[[^\]]+\]$", label), label
            assert any("[" in label for ax in figure.axes for label in (ax.get_xlabel(), ax.get_ylabel()))

    def test_no_key_lies_on_the_data(self, plates):
        for figure in [plate.figure for plate in plates] + [ax.figure for ax in standalone().values()]:
            figure.canvas.draw()
            keys = [ax.get_legend() for ax in figure.axes if ax.get_legend()] + figure.legends
            for key in keys:
                box = key.get_window_extent()
                for ax in figure.axes:
                    data = ax.get_window_extent()
                    apart = box.y0 >= data.y1 - 1 or box.y1 <= data.y0 + 1 or box.x0 >= data.x1 or box.x1 <= data.x0
                    assert apart, [text.get_text() for text in key.get_texts()]

    def test_a_given_axes_is_drawn_on_and_returned(self):
        ax = paper.paper()
        assert plot.survival_curve([1.0, 2.0], ax=ax) is ax
        assert plot.load_duration([1.0, 2.0], ax=ax) is ax

    def test_settings_are_left_alone_and_pyplot_is_not_used(self, demo):
        before = dict(matplotlib.rcParams)
        plates_of(demo)
        assert dict(matplotlib.rcParams) == before
        for file in Path(plot.__file__).parent.glob("*.py"):
            assert "pyplot" not in file.read_text("utf-8").replace("never through pyplot", "")


class TestSvg:
    def test_title_description_and_ids(self, plates):
        assert len({plate.name for plate in plates}) == len(plates) >= 9
        seen: set[str] = set()
        for plate in plates:
            root = ElementTree.fromstring(plate.svg)
            ids = [node.get("id") for node in root.iter() if node.get("id")]
            assert len(ids) == len(set(ids))
            assert not seen & set(ids)
            seen |= set(ids)
            assert root.get("role") == "img"
            named = [
                next(node.text for node in root.iter() if node.get("id") == one)
                for one in root.get("aria-labelledby").split()
            ]
            assert named == [plate.title, plate.text]
            used = re.findall(r"url\(#([^)]+)\)", plate.svg) + re.findall(r'href="#([^"]+)"', plate.svg)
            assert set(used) <= set(ids)

    def test_nothing_is_fetched_and_text_stays_text(self, plates):
        for plate in plates:
            bare = plate.svg.replace('xmlns="http://www.w3.org/2000/svg"', "")
            assert "http" not in bare
            assert "<text" in bare

    def test_table_twins_have_a_cell_for_every_column(self, plates):
        for plate in plates:
            assert plate.rows, plate.name
            assert {len(row) for row in plate.rows} == {len(plate.header)}

    def test_names_from_a_file_are_text_whatever_they_hold(self):
        name = "<b>$x$ & \\frac"
        svg = paper.as_svg(plot.survival_curve([1.0, 2.0], name=name).figure, "f", name, name)
        root = ElementTree.fromstring(svg)
        shown = ["".join(node.itertext()) for node in root.iter() if node.tag.endswith("text")]
        assert name in shown
        assert not [node for node in root.iter() if node.tag.endswith("}b")]

    def test_the_same_study_draws_the_same_bytes(self, demo, plates):
        assert [plate.svg for plate in plates_of(demo)] == [plate.svg for plate in plates]

    def test_files_are_whole_and_nothing_else_is_left(self, demo, tmp_path):
        written = write_figures(demo, tmp_path / "figures")
        names = {f"{plate.name}.svg" for plate in written} | {f"{name}.png" for name in AS_PNG_TOO}
        assert {path.name for path in (tmp_path / "figures").iterdir()} == names
        for path in (tmp_path / "figures").glob("*.svg"):
            ElementTree.parse(path)
        for path in (tmp_path / "figures").glob("*.png"):
            assert path.read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"


def test_a_long_key_is_never_cut_off():
    """Items as long as a public record names them."""
    names = [f"months 1, 2, 3, 4, 5, 10, 11, 12 period {k} of the weekday" for k in range(7)]
    lines = [Line("2025-01", "energy", name, 1.0, "kWh", 1.0, 1.0 + k) for k, name in enumerate(names)]
    ax = stacked_bills({"today": Bill("USD", tuple(lines)), "with_battery": Bill("USD", tuple(lines[:3]))})
    figure = ax.figure
    key = ax.get_legend().get_window_extent(figure.canvas.get_renderer())
    assert 0 <= key.x0 and key.x1 <= figure.bbox.x1 and key.y1 <= figure.bbox.y1
    assert len(ax.get_legend().get_texts()) == len(names)
