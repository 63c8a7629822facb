"""Figures of a meter file: every hour at its place, gaps seen, days of a clock change right, no label cut off.

The meter file is invented.
"""

import csv
import datetime as dt
import zoneinfo

import numpy as np
import pytest
from matplotlib.collections import PolyCollection, QuadMesh
from matplotlib.text import Text

from profiles.hours import hours_of_year
from profiles.meter import days_of, read_meter
from profiles.noun import BadInput
from simulate.show.plot.meter import daily_shapes, hours_of_days, meter_plates, write_meter_figures

ZONE = "America/New_York"


def meter_of(tmp_path, minutes=60, zone=ZONE, keep=None, kw=None, year=2025):
    hours = hours_of_year(year, zone, minutes)
    kw = 0.5 + hours.minute / 1440.0 + 0.25 * (hours.weekday >= 5) if kw is None else kw(hours)
    keep = np.ones(hours.n_steps, bool) if keep is None else keep(hours)
    path, ends = tmp_path / "year.csv", hours.utc.as_unit("s").asi8
    local = [
        dt.datetime.fromtimestamp(int(s), zoneinfo.ZoneInfo(zone)).isoformat() for s in [*ends, ends[-1] + 60 * minutes]
    ]
    rows = [f"{local[k]},{local[k + 1]},{float(kw[k]) * minutes / 60!r}" for k in np.flatnonzero(keep)]
    path.write_text("\n".join(["start,end,kWh", *rows]))
    return read_meter(path, timezone=zone), hours, kw


def rows_of(path):
    with path.open() as file:
        return list(csv.reader(file))


def texts_outside(figure):
    """Visible texts over the edge of their figure; labels of ticks beyond their axis are never drawn."""
    figure.canvas.draw()
    edge, out, undrawn = figure.bbox, [], set()
    for axis in (axis for ax in figure.axes for axis in (ax.xaxis, ax.yaxis)):
        low, high = sorted(axis.get_view_interval())
        undrawn |= {
            id(one)
            for tick in axis.majorTicks
            if not low <= tick.get_loc() <= high
            for one in (tick.label1, tick.label2)
        }
    for text in figure.findobj(Text):
        if text.get_visible() and text.get_text().strip() and id(text) not in undrawn:
            box = text.get_window_extent()
            if box.x0 < edge.x0 - 0.5 or box.x1 > edge.x1 + 0.5 or box.y0 < edge.y0 - 0.5 or box.y1 > edge.y1 + 0.5:
                out.append(text.get_text())
    return out


def test_every_hour_lies_at_its_day_and_hour(tmp_path):
    meter, hours, kw = meter_of(tmp_path)
    days = days_of(meter)
    assert days.kw.shape == (365, 24) and days.dates[0] == dt.date(2025, 1, 1)
    usual = [k for k in range(365) if days.dates[k] not in (dt.date(2025, 3, 9), dt.date(2025, 11, 2))]
    grid = np.array([kw[hours.day == k] for k in usual])
    assert np.abs(days.kw[usual] - grid).max() < 1e-9
    assert not days.gap.any() and days.gap_h == pytest.approx(0.0, abs=1e-9)
    assert days.read_h.sum() == pytest.approx(8760.0)


def test_the_skipped_hour_is_no_gap_and_the_repeated_one_is_the_mean_of_both(tmp_path):
    meter, hours, kw = meter_of(tmp_path, kw=lambda h: np.arange(h.n_steps) % 97 / 10)
    days = days_of(meter)
    spring, autumn = (days.dates.index(date) for date in (dt.date(2025, 3, 9), dt.date(2025, 11, 2)))
    assert np.isnan(days.kw[spring, 2]) and days.clock_h[spring, 2] == 0.0 and not days.gap[spring, 2]
    both = kw[(hours.day == autumn) & (hours.minute == 60)]
    assert len(both) == 2 and days.kw[autumn, 1] == pytest.approx(both.mean()) and days.clock_h[autumn, 1] == 2.0
    assert days.changes == ((dt.date(2025, 3, 9), 23.0), (dt.date(2025, 11, 2), 25.0))


@pytest.mark.parametrize("zone", ["Asia/Kolkata", "America/St_Johns", "Australia/Lord_Howe", "Asia/Almaty"])
def test_odd_zones_keep_every_hour(tmp_path, zone):
    """Half-hour zones, a change of half an hour, and a zone that moved for good in 2024."""
    meter, hours, kw = meter_of(tmp_path, 30, zone, year=2024)
    days = days_of(meter)
    assert (days.kw.shape, days.dates[0]) == ((366, 24), dt.date(2024, 1, 1))
    assert np.nansum(days.kw * days.read_h) == pytest.approx(kw.sum() / 2)
    assert days.gap_h == pytest.approx(0.0, abs=1e-9)


def test_gaps_are_outlined_and_counted(tmp_path):
    meter, hours, _ = meter_of(
        tmp_path, 15, keep=lambda h: ~np.isin(h.day, range(200, 206)) & ~((h.day == 100) & (h.minute == 735))
    )
    days = days_of(meter)
    assert (days.gap.sum(), days.gap_h) == (6 * 24 + 1, pytest.approx(6 * 24 + 0.25))
    ax = hours_of_days(days)
    (outlined,) = [one for one in ax.collections if isinstance(one, PolyCollection)]
    boxes = [path.get_extents() for path in outlined.get_paths()]
    assert sorted((round(box.y0), round(box.y1)) for box in boxes) == [(0, 24), (12, 13)]
    wide = next(box for box in boxes if box.height == 24)
    assert (wide.x0, wide.x1) == (200, 206)
    assert min(box.width for box in boxes) > 365 / 200
    (mesh,) = [one for one in ax.collections if isinstance(one, QuadMesh)]
    assert np.ma.getmaskarray(mesh.get_array()).reshape(24, 365)[12, 100]
    assert "no reading (144.2 h in all)" in ax.get_title(loc="left") and "9 Mar has 23 h" in ax.get_title(loc="left")


def test_shapes_tell_weekdays_from_weekends_season_by_season(tmp_path):
    meter, hours, kw = meter_of(tmp_path)
    panels = daily_shapes(days_of(meter))
    assert len(panels) == 4
    for ax, months in zip(panels, ((12, 1, 2), (3, 4, 5), (6, 7, 8), (9, 10, 11)), strict=True):
        for patch, weekend in zip(ax.patches, (False, True), strict=True):
            mine = np.isin(hours.month, months) & ((hours.weekday >= 5) == weekend)
            expected = [kw[mine & (hours.minute == 60 * h)].mean() for h in range(24)]
            assert patch.get_data().values == pytest.approx(expected)
    assert len({ax.get_ylim() for ax in panels}) == 1 and panels[0].get_ylim()[0] == 0.0


@pytest.mark.parametrize(
    "n_days, names", [(3, ["1 Jul"]), (15, ["1 Jul", "3 Jul"]), (200, ["Jan"]), (365, ["Jan", "Feb"])]
)
def test_a_file_of_any_length_has_days_on_its_axis(tmp_path, n_days, names):
    first = 181 if n_days < 100 else 0
    meter, *_ = meter_of(tmp_path, keep=lambda h: (h.day >= first) & (h.day < first + n_days))
    for one in meter_plates(meter):
        assert texts_outside(one.figure) == []
    labels = [text.get_text() for text in hours_of_days(days_of(meter)).get_xticklabels()]
    assert labels[: len(names)] == names


def test_the_folder_holds_figures_and_tables(tmp_path):
    meter, _, kw = meter_of(tmp_path, 15, kw=lambda h: 0.6 - 2.0 * ((h.minute > 600) & (h.minute < 900)))
    written = write_meter_figures(meter, tmp_path / "out")
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == sorted(path.name for path in written)
    assert {path.name for path in written} == {
        f"meter-{kind}.{end}" for kind in ("days", "hours") for end in ("svg", "png", "csv")
    }
    rows = rows_of(tmp_path / "out" / "meter-days.csv")
    assert len(rows) == 97 and rows[0][:2] == ["from", "winter, weekday [kW]"] and rows[49][:2] == ["12:00", "-1.400"]
    by_day = rows_of(tmp_path / "out" / "meter-hours.csv")
    assert by_day[68] == ["2025-03-09", "23", "23", f"{kw[:96].mean() * 96 / 92 - 0.6 * 4 / 92:.3f}"]


def test_no_reading_is_no_figure(tmp_path):
    meter, *_ = meter_of(tmp_path)
    with pytest.raises(BadInput, match="must have 24 slots a day"):
        hours_of_days(days_of(meter, slots=96))
