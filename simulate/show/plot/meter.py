"""A meter file as pictures: every hour of every day with its gaps, and the daily shape by season and kind of day."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import PolyCollection

from profiles.files import folder_for, plain_cell, written
from profiles.meter import Days, Meter, days_of
from profiles.noun import BadInput
from simulate.show.plot.heat import SHADES
from simulate.show.plot.paper import GREY, INK, LINES, MONTHS, TEXT_PT, drawing, key_above, name_axes, paper, write_png
from simulate.show.plot.plate import Plate, plate

SEASONS = {"winter": (12, 1, 2), "spring": (3, 4, 5), "summer": (6, 7, 8), "autumn": (9, 10, 11)}
FINE_S = 900
ALARM = "#b3001b"
LEAST_FRAC = 1 / 150
"""A gap is drawn at least so wide, so that one lost day of a year is seen."""
_FEW_DAYS, _SOME_DAYS, _MANY_DAYS = 31, 120, 800


def hours_of_days(days: Days, *, ax: Axes | None = None) -> Axes:
    """Mean power of every hour of every day; hatched where readings are missing, marked where the clock changes.

    Parameters
    ----------
    days : Days
        With 24 slots.
    ax : Axes, optional
    """
    if days.kw.shape[1] != 24 or not np.isfinite(days.kw).any():
        raise BadInput("must have 24 slots a day and a reading", key="days", value=days.kw.shape)
    ax = paper(height_in=3.8, margins_in=(0.75, 0.05, 0.55, 0.42)) if ax is None else ax
    ax.grid(False)
    n = len(days.dates)
    whole = np.ma.masked_where(days.gap.T | ~np.isfinite(days.kw.T), days.kw.T)
    drawn = whole if whole.count() else np.ma.masked_invalid(days.kw.T)
    shown = ax.pcolormesh(np.arange(n + 1), np.arange(25), drawn, cmap=SHADES, rasterized=n > _SOME_DAYS)
    _outline_gaps(ax, days.gap)
    ax.set_xlim(0, n)
    ax.set_ylim(24, 0)
    ax.set_yticks(range(0, 25, 3), [f"{h:02d}:00" for h in range(0, 25, 3)])
    ax.set_xticks(*_day_ticks(days.dates))
    for date, _ in days.changes:
        ax.axvline((date - days.dates[0]).days + 0.5, ymin=1.0, ymax=1.025, color=INK, linewidth=1.4, clip_on=False)
    bar = ax.figure.colorbar(shown, ax=ax, fraction=0.14, pad=0.02, aspect=18, anchor=(0.0, 0.5))
    bar.ax.tick_params(labelsize=TEXT_PT, colors=INK)
    bar.set_label("mean power [kW]", fontsize=TEXT_PT, color=INK)
    bar.outline.set_edgecolor(GREY)
    ax.set_title(_headline(days), loc="left", fontsize=TEXT_PT, color=INK, pad=9)
    years = sorted({date.year for date in days.dates})
    name_axes(ax, f"day, {years[0]}" + (f" to {years[-1]}" if len(years) > 1 else ""), "local hour [h]")
    return ax


def _outline_gaps(ax: Axes, gap: np.ndarray) -> None:
    """White, hatched and edged in red over each block of hours with missing readings."""
    boxes, open_runs = [], {}
    for day, runs in enumerate([*map(_runs, gap), set()]):
        for run in [run for run in open_runs if run not in runs]:
            begin, (low, high) = open_runs.pop(run), run
            wider = max(LEAST_FRAC * len(gap) - (day - begin), 0.0) / 2.0
            left, right = begin - wider, day + wider
            boxes.append(((left, low), (left, high), (right, high), (right, low)))
        open_runs |= {run: day for run in runs if run not in open_runs}
    ax.add_collection(PolyCollection(boxes, facecolors="white", edgecolors=ALARM, linewidths=0.4, hatch="////"))


def _runs(missing: np.ndarray) -> set[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate(([0], missing.astype(np.int8), [0]))))
    return set(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))


def _headline(days: Days) -> str:
    without = f"white, edged in red: no reading ({days.gap_h:,.4g} h in all)"
    parts = [without if days.gap.any() else "no hour without a reading"]
    parts += [f"{date.day} {MONTHS[date.month - 1]} has {hours:g} h" for date, hours in days.changes[:2]]
    return "; ".join(parts) + (" ..." if len(days.changes) > 2 else "")


def _day_ticks(dates: tuple[dt.date, ...]) -> tuple[list[float], list[str]]:
    """Days of a short file, months of a year, quarters of several years."""
    if len(dates) <= _FEW_DAYS:
        step = max(len(dates) // 6, 1)
        at = list(range(0, max(len(dates) - step // 2, 1), step))
        return [k + 0.5 for k in at], [f"{dates[k].day} {MONTHS[dates[k].month - 1]}" for k in at]
    firsts = [k for k, date in enumerate(dates) if date.day == 1]
    if len(dates) > _MANY_DAYS:
        firsts = [k for k in firsts if dates[k].month in ((1,) if len(dates) > 3 * _MANY_DAYS else (1, 7))]
    names = [MONTHS[dates[k].month - 1] for k in firsts]
    if len(dates) > _MANY_DAYS or len({date.year for date in dates}) > 1 and len(firsts) <= 6:
        names = [f"{name} {dates[k].year}" for name, k in zip(names, firsts, strict=True)]
    return [float(k) for k in firsts], names


def daily_shapes(days: Days) -> np.ndarray:
    """Mean power through the day, weekdays and weekends, one panel for each season that the file touches.

    Parameters
    ----------
    days : Days

    Returns
    -------
    ndarray of Axes, shape (n_panels,)
    """
    seasons = [name for name in SEASONS if np.isfinite(_both(days, name)).any()]
    rows, columns = (1, len(seasons)) if len(seasons) < 3 else (2, 2)
    made = paper(rows, columns, height_in=3.0 if rows == 1 else 4.8, gap=(0.08, 0.42))
    panels = np.atleast_1d(np.asarray(made, dtype=object)).ravel()
    for unused in panels[len(seasons) :]:
        unused.set_visible(False)
    for k, (ax, name) in enumerate(zip(panels, seasons, strict=False)):
        _shape(ax, days, name, first=k % columns == 0)
    for ax in panels[: len(seasons)]:
        ax.set_ylim(*_span(panels[: len(seasons)]))
    key_above(panels[0])
    return panels[: len(seasons)]


def _both(days: Days, season: str) -> np.ndarray:
    return np.array([days.mean_kw(SEASONS[season], weekend) for weekend in (False, True)])


def _shape(ax: Axes, days: Days, season: str, first: bool) -> None:
    edges = np.linspace(0.0, 24.0, days.kw.shape[1] + 1)
    for weekend, kw, style in zip((False, True), _both(days, season), LINES, strict=False):
        if np.isfinite(kw).any():
            ax.stairs(kw, edges, label="weekend" if weekend else "weekday", linewidth=1.7, baseline=None, **style)
    ax.set_xlim(0, 24)
    ax.set_xticks(range(0, 25, 6), [f"{h:02d}:00" for h in range(0, 24, 6)] + [""])
    name_axes(ax, f"local hour, {season} ({_named(season)}) [h]", "mean power [kW]" if first else "")
    ax.tick_params(labelleft=first)


def _named(season: str) -> str:
    months = SEASONS[season]
    return f"{MONTHS[months[0] - 1]} to {MONTHS[months[-1] - 1]}"


def _span(panels) -> tuple[float, float]:
    values = np.concatenate([patch.get_data().values for ax in panels for patch in ax.patches])
    low, high = float(np.nanmin(values)), float(np.nanmax(values))
    return min(1.08 * low, 0.0), max(1.12 * high, 0.1 if low >= 0.0 else 0.0)


def meter_plates(meter: Meter, timezone: str | None = None) -> tuple[Plate, ...]:
    """The two figures of a meter file, each with its words and its table twin."""
    days = days_of(meter, timezone=timezone)
    fine = days_of(meter, slots=96, timezone=timezone) if meter.interval_s <= FINE_S else days
    with drawing():
        return _every_hour(days), _daily(fine)


def _every_hour(days: Days) -> Plate:
    said = f"Every hour from {days.dates[0]} to {days.dates[-1]}, on the local clock. {_headline(days)}."
    header = ("date", "hours read", "hours on the clock", "mean kW")
    rows = []
    for k, date in enumerate(days.dates):
        read = days.read_h[k]
        mean = float((np.nan_to_num(days.kw[k]) * read).sum() / read.sum()) if read.sum() else float("nan")
        rows.append((str(date), f"{read.sum():g}", f"{days.clock_h[k].sum():g}", f"{mean:.3f}"))
    return plate("meter-hours", "Every hour of the meter file", said, hours_of_days(days), header, rows)


def _daily(days: Days) -> Plate:
    seasons = [name for name in SEASONS if np.isfinite(_both(days, name)).any()]
    kinds = ("weekday", "weekend")
    columns = [(f"{name}, {kind}", kw) for name in seasons for kind, kw in zip(kinds, _both(days, name), strict=True)]
    minutes = round(60 * days.slot_h)
    rows = [
        (f"{k * minutes // 60:02d}:{k * minutes % 60:02d}", *(f"{kw[k]:.3f}" for _, kw in columns))
        for k in range(days.kw.shape[1])
    ]
    said = "Mean power through the day by season, on weekdays and at weekends, of what was read; nothing is filled in."
    header = ("from", *(f"{name} [kW]" for name, _ in columns))
    return plate("meter-days", "Daily shape by season", said, daily_shapes(days), header, rows)


def write_meter_figures(meter: Meter, folder: str | Path, timezone: str | None = None) -> tuple[Path, ...]:
    """Write both figures as SVG and PNG and their tables as CSV, each beside its place and renamed.

    Parameters
    ----------
    meter : Meter
    folder : path
        Made where it is not there yet.
    """
    return write_plates(meter_plates(meter, timezone), folder)


def write_plates(plates: tuple[Plate, ...], folder: str | Path) -> tuple[Path, ...]:
    """Write plates as SVG, PNG and CSV; the paths that were written."""
    import csv

    folder, made = folder_for(folder), []
    for one in plates:
        paths = [folder / f"{one.name}.{kind}" for kind in ("svg", "png", "csv")]
        with written(paths[0]) as beside:
            beside.write_text(f'<?xml version="1.0" encoding="UTF-8"?>\n{one.svg}', encoding="utf-8")
        with written(paths[1]) as beside:
            write_png(one.figure, beside)
        with written(paths[2]) as beside, open(beside, "w", newline="", encoding="utf-8") as file:
            csv.writer(file, lineterminator="\n").writerows([map(plain_cell, row) for row in (one.header, *one.rows)])
        made += paths
    return tuple(made)
