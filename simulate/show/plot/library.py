"""What the library holds, as pictures: a shape by hour, an appliance by minute, a rate's prices, a weather year."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from profiles.hours import Hours, hours_of_year
from profiles.loads.appliances import appliance, duty_cycle_kw
from profiles.rate.prices import rate_prices
from profiles.rate.source import read_rate
from simulate.show.library import YEAR, ZONE, described
from simulate.show.plot.heat import by_month_and_hour, price_map
from simulate.show.plot.meter import write_plates
from simulate.show.plot.paper import DARK, LIGHT, LINES, MONTHS, bars, drawing, key_above, name_axes, paper
from simulate.show.plot.plate import Plate, plate

FIXED = 20250114
"""Of the appliances' runs: the same name gives the same day."""


def library_plates(name: str) -> tuple[Plate, ...]:
    """The figures of everything of that name in the library.

    Raises
    ------
    BadInput
        Nothing of that name.
    """
    makers = {"shape": _shape, "appliance": _appliance, "rate": _rate, "weather": _weather}
    with drawing():
        return tuple(makers[one["kind"]](one) for one in described(name))


def write_library_figures(names, folder: str | Path) -> tuple[Path, ...]:
    """Write the figures of library entries as SVG and PNG with their tables as CSV.

    Parameters
    ----------
    names : iterable of str
    folder : path
        Made where it is not there yet.
    """
    plates = {one.name: one for name in names for one in library_plates(name)}
    return write_plates(tuple(plates.values()), folder)


def _shape(one: dict) -> Plate:
    panels = paper(1, 2, height_in=3.0, gap=0.3)[0]
    edges = np.arange(25)
    for key, style in zip(("weekday", "weekend"), LINES, strict=False):
        percent = 100.0 * np.array(one[f"{key}_frac"])
        panels[0].stairs(percent, edges, label=key, linewidth=1.7, baseline=None, **style)
    panels[0].set_xlim(0, 24)
    panels[0].set_ylim(0.0, None)
    panels[0].set_xticks(range(0, 25, 6), [f"{h:02d}:00" for h in range(0, 24, 6)] + [""])
    name_axes(panels[0], "local hour [h]", "share of the day [%]")
    key_above(panels[0])
    bars(panels[1], np.arange(12), one["monthly"], 0.8, color=LIGHT)
    panels[1].set_xticks(range(0, 12, 2), MONTHS[::2])
    panels[1].set_ylim(0.0, 1.1 * max(one["monthly"]))
    name_axes(panels[1], "month", "month over the mean [-]")
    rows = [
        (f"{h:02d}:00", f"{a:.4f}", f"{b:.4f}")
        for h, (a, b) in enumerate(zip(one["weekday_frac"], one["weekend_frac"], strict=True))
    ]
    said = f"Share of a day's energy by local hour, and each month over the mean month. Source: {one['source']}."
    header = ("from", "weekday share", "weekend share")
    return plate(f"shape-{one['name']}", f"Load shape {one['name']}", said, panels, header, rows)


def appliance_day_kw(name: str) -> tuple[np.ndarray, Hours] | None:
    """One day of an appliance that cycles, by minute, shape (1440,), and its axis; None where it does not. [kW]"""
    one = appliance(name)
    if one.minutes_per_hour is None:
        return None
    hours = hours_of_year(YEAR, ZONE, 1)
    starts = one.starts_per_hour or 1.0
    return duty_cycle_kw(one.running_w, one.minutes_per_hour, hours, seed=FIXED, starts_per_hour=starts)[:1440], hours


def _appliance(one: dict) -> Plate:
    ax = paper(height_in=3.0)
    low, high = (watts / 1000.0 for watts in one["running_w_range"])
    ax.fill_between([0, 24], low, high, color=LIGHT, alpha=0.55, linewidth=0, label="range while it runs")
    cycle = appliance_day_kw(one["name"])
    if cycle is None:
        ax.plot([0, 24], [one["running_w"] / 1000.0] * 2, linewidth=1.7, label="typical while it runs", **LINES[0])
        kw, rows = None, [("running", f"{one['running_w'] / 1000.0:.3f}")]
        said = f"{one['title']}: power while it runs; how long it runs is for the site file to say."
    else:
        kw = cycle[0]
        ax.fill_between(np.arange(1440) / 60.0, kw, step="post", color=DARK, linewidth=0, label="minute by minute")
        mean = kw.reshape(24, 60).mean(axis=1)
        ax.stairs(mean, np.arange(25), baseline=None, linewidth=1.7, label="mean of the hour", **LINES[1])
        rows = [(f"{m // 60:02d}:{m % 60:02d}", f"{value:.4f}") for m, value in enumerate(kw)]
        said = f"{one['title']}: one day at 1-minute steps, {kw.sum() / 60.0:.2f} kWh. Hourly means hide the peaks."
    ax.set_xlim(0, 24)
    ax.set_ylim(0.0, 1.15 * max(high, one["running_w"] / 1000.0))
    ax.set_xticks(range(0, 25, 3), [f"{h:02d}:00" for h in range(0, 24, 3)] + [""])
    name_axes(ax, f"hour of a day, {one['title']} [h]", "power [kW]")
    key_above(ax)
    said += f" Source: {one['source']}." + (" Medical: life or health may depend on it." if one["medical"] else "")
    return plate(f"appliance-{one['name']}", one["title"], said, ax, ("from", "kW"), rows)


def _rate(one: dict) -> Plate:
    hours = hours_of_year(YEAR, ZONE)
    prices = rate_prices(read_rate(f"library:{one['name']}"), hours).buy_per_kwh
    grid = by_month_and_hour(prices, hours.month, hours.minute // 60)
    ax = price_map(grid, currency=one["record"].get("currency", "USD"))
    rows = [(name, *(f"{x:.4f}" for x in row)) for name, row in zip(MONTHS, grid, strict=True)]
    said = f"{one['title']}: mean price of energy by month and local hour. {one['source']}."
    return plate(f"rate-{one['name']}", one["title"], said, ax, ("month", *(f"{h:02d}:00" for h in range(24))), rows)


def _weather(one: dict) -> Plate:
    panels = paper(1, 2, height_in=3.0, gap=0.3)[0]
    panels[0].plot(range(12), one["month_temp_c"], marker="o", markersize=4, linewidth=1.7, **LINES[0])
    bars(panels[1], np.arange(12), one["month_ghi_kwh_m2"], 0.8, color=LIGHT)
    panels[1].set_ylim(0.0, 1.1 * max(one["month_ghi_kwh_m2"]))
    for ax, y in zip(panels, ("mean air temperature [degC]", "global irradiation [kWh/m2]"), strict=True):
        ax.set_xticks(range(0, 12, 2), MONTHS[::2])
        name_axes(ax, "month", y)
    rows = [
        (name, f"{c:.2f}", f"{kwh:.2f}")
        for name, c, kwh in zip(MONTHS, one["month_temp_c"], one["month_ghi_kwh_m2"], strict=True)
    ]
    said = f"{one['title']}: mean temperature and global irradiation by month. A typical year, not the worst."
    header = ("month", "mean degC", "kWh/m2")
    return plate(f"weather-{one['name']}", one["title"], said, panels, header, rows)
