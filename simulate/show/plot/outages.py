"""The course of single outages: stored energy, and what was served and what was not."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes

from simulate.document.timeline import trace_of
from simulate.document.words import hours_text
from simulate.house.outage_met import outage_kw
from simulate.house.ride import RideThrough, worst_middle_best
from simulate.show.plot.paper import DARK, GREY, INK, LIGHT, LINES, MIDDLE, MONTHS, TEXT_PT, is_narrow, name_axes, paper

LEAST_H = 6.0


@dataclass(frozen=True, eq=False)
class Course:
    """One outage, step by step.

    Attributes
    ----------
    title : str
    edges_h : ndarray, shape (n + 1,)
        Hours since the units took over. [h]
    soc_kwh : dict
        By pool name, stored energy at each edge, shape (n + 1,). [kWh]
    load_kw, served_kw, solar_kw : ndarray, shape (n,)
        What the carried circuits ask for, what they get, and what a roof that feeds the island could give. [kW]
    """

    title: str
    edges_h: np.ndarray
    soc_kwh: dict
    load_kw: np.ndarray
    served_kw: np.ndarray
    solar_kw: np.ndarray

    @property
    def unserved_kw(self) -> np.ndarray:
        return np.maximum(self.load_kw - self.served_kw, 0.0)


def course_of(ride: RideThrough, start: int, name: str = "") -> Course:
    """Follow the outage that begins at one step, some way past its first circuit lost."""
    house, axis = ride.house, ride.house.hours
    until_h = min(max(1.3 * float(ride.hours[start]), LEAST_H, float(ride.hours[start]) + 4.0), ride.horizon_h)
    trace = trace_of(ride, start, horizon_h=until_h)
    n = trace.served_kwh.shape[-1]
    steps = (int(ride.begin[start]) + np.arange(n)) % axis.n_steps
    load_kw = outage_kw(house, ride.load_case)[:, steps].sum(axis=0)
    stored = [np.r_[soc, soc[-1]] for soc in trace.soc_kwh]
    comes_back = house.site.solar is not None and trace.charge_kwh.sum() + trace.curtailed_kwh.sum() > 0.0
    solar_kw = (house.solar_kw + house.solar_dc_kw)[steps] if comes_back else np.zeros(n)
    when, lasts = axis.local[start], hours_text(float(ride.hours[start]), ride.horizon_h)
    return Course(
        title=f"{name}, {when.day} {MONTHS[when.month - 1]} {when:%H:%M}: {lasts}".lstrip(", "),
        edges_h=np.arange(n + 1) * axis.step_h,
        soc_kwh={_pool_name(pool.legs): soc for pool, soc in zip(house.pools, stored, strict=True)},
        load_kw=load_kw,
        served_kw=trace.served_kwh.sum(axis=0) / axis.step_h,
        solar_kw=solar_kw,
    )


def _pool_name(legs: str) -> str:
    return "both legs" if legs == "AB" else f"leg {legs}"


def state_of_charge(course: Course, ax: Axes | None = None) -> Axes:
    """Stored energy of each pool through one outage. [kWh]"""
    ax = paper(margins_in=(0.75, 0.15, 0.55, 0.5)) if ax is None else ax
    for k, (name, soc_kwh) in enumerate(course.soc_kwh.items()):
        ax.plot(course.edges_h, soc_kwh, label=f"stored, {name}", linewidth=1.8, **LINES[k])
    ax.set_xlim(0.0, course.edges_h[-1])
    ax.set_ylim(0.0, 1.08 * max(float(soc.max()) for soc in course.soc_kwh.values()) or 1.0)
    name_axes(ax, "hours after the power fails [h]", "stored energy [kWh]")
    ax.set_title(course.title.replace(": ", ":\n"), loc="left", fontsize=TEXT_PT, color=INK)
    return ax


def served_and_not(course: Course, ax: Axes | None = None) -> Axes:
    """What the backed-up circuits ask for: served, not served, and what the roof could give. [kW]"""
    ax = paper() if ax is None else ax
    edges = course.edges_h
    ax.stairs(
        course.load_kw,
        edges,
        fill=True,
        facecolor=LIGHT,
        edgecolor=MIDDLE,
        hatch="////",
        linewidth=0.0,
        label="not served",
    )
    ax.stairs(course.served_kw, edges, fill=True, color=DARK, label="served")
    if course.solar_kw.any():
        ax.stairs(course.solar_kw, edges, color=INK, linewidth=1.2, linestyle=(0, (2, 1.5)), label="roof could give")
    ax.set_xlim(0.0, edges[-1])
    ax.set_ylim(bottom=0.0)
    name_axes(ax, "hours after the power fails [h]", "circuits [kW]")
    return ax


def three_outages(ride: RideThrough) -> np.ndarray:
    """The worst, a middling and the best outage of the year, stored energy above and power below.

    Returns
    -------
    ndarray of Axes, shape (2, 3)
    """
    courses = [course_of(ride, start, name) for name, start in worst_middle_best(ride).items()]
    return draw_courses(courses)


def draw_courses(courses) -> np.ndarray:
    """Several outages side by side on the same scales; shape (2, n) of Axes."""
    down, n = is_narrow(), len(courses)
    if down:
        panels = paper(2 * n, 1, height_in=1.75 * 2 * n, margins_in=(0.6, 0.15, 0.55, 0.95), gap=(0.12, 0.62))
        panels = panels.reshape(n, 2).T
    else:
        panels = paper(2, n, height_in=4.7, margins_in=(0.6, 0.15, 0.55, 0.8), gap=(0.12, 0.12))
    for course, (above, below) in zip(courses, panels.T, strict=True):
        state_of_charge(course, above)
        served_and_not(course, below)
        above.set_xlabel("")
        above.tick_params(labelbottom=False)
    for row in panels:
        top = max(ax.get_ylim()[1] for ax in row)
        for ax in row:
            ax.set_ylim(0.0, top)
        for ax in () if down else row[1:]:
            ax.set_ylabel("")
            ax.tick_params(labelleft=False)
    longest_h = max(course.edges_h[-1] for course in courses)
    for ax in panels.flat:
        ax.set_xlim(0.0, longest_h)
    for ax in panels[1, :]:
        ax.set_xlabel("" if down else "hours [h]")
    panels[1, -1 if down else len(courses) // 2].set_xlabel("hours after the power fails [h]")
    handles, names = [], []
    for ax in (panels[0, 0], *panels[1]):
        for handle, name in zip(*ax.get_legend_handles_labels(), strict=True):
            if name not in names:
                handles.append(handle)
                names.append(name)
    panels[0, 0].figure.legend(
        handles,
        names,
        loc="upper left",
        bbox_to_anchor=(0.06, 0.995),
        ncols=2 if down else 5,
        frameon=False,
        fontsize=TEXT_PT - 0.5,
        handlelength=2.6,
        labelcolor=INK,
        edgecolor=GREY,
    )
    return panels
