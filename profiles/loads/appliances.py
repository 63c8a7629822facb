"""Common backed-up appliances as small models, and on-off series that show what an hourly mean hides."""

from __future__ import annotations

import difflib
import functools
import tomllib
from importlib import resources

import numpy as np
from pydantic import Field

from profiles.hours import Hours
from profiles.noun import BadInput, Noun, read_noun

ENGINEERING = "engineering range"
CYCLE_SPREAD = 0.2  # of a cycle's length about its mean; engineering judgement, no source


class Appliance(Noun):
    """A starting point for one appliance until it is measured; engineering ranges unless `source` says more."""

    title: str = Field(description="what it is")
    running_w: float = Field(gt=0.0, description="typical input power while it runs [W]")
    running_w_range: tuple[float, float] = Field(description="low and high of that [W]")
    starts_per_hour: float | None = Field(None, gt=0.0, description="typical motor starts in an hour of use [1/h]")
    minutes_per_hour: float | None = Field(None, gt=0.0, le=60.0, description="typical minutes on in an hour of use")
    start_va_range: tuple[float, float] | None = Field(None, description="motor start at rated volts [VA]")
    volts: float | None = Field(None, gt=0.0, description="rated volts of the motor [V]")
    kwh_per_day_range: tuple[float, float] | None = Field(None, description="energy on a day of use [kWh]")
    outage: str = Field(description="how it behaves in an outage")
    note: str = Field("", description="what the figures leave out")
    medical: bool = Field(False, description="life or health may depend on it")
    listed_w: tuple[float, float] | None = Field(None, description="low and high of a published list [W]")
    source: str = Field(ENGINEERING, description="where the figures come from")

    @property
    def locked_rotor_a_range(self) -> tuple[float, float] | None:
        """Low and high of the starting current at rated volts; None without a motor worth naming. [A]"""
        if self.start_va_range is None or self.volts is None:
            return None
        low, high = self.start_va_range
        return low / self.volts, high / self.volts


@functools.cache
def appliances() -> dict[str, Appliance]:
    """The appliances of the library by name.

    Examples
    --------
    >>> appliances()["sump-pump"].running_w
    800.0
    """
    text = (resources.files("profiles.library") / "appliances.toml").read_text(encoding="utf-8")
    return {
        name: read_noun(Appliance, _floats(table), file="appliances.toml", table=name)
        for name, table in tomllib.loads(text).items()
    }


def appliance(name: str) -> Appliance:
    """One appliance of the library.

    Raises
    ------
    BadInput
        Unknown name; the nearest one is handed over.

    Examples
    --------
    >>> [round(a) for a in appliance("refrigerator").locked_rotor_a_range]
    [5, 13]
    """
    if name not in appliances():
        close = difflib.get_close_matches(str(name), appliances(), n=1, cutoff=0.5)
        nearest = f"did you mean {close[0]}? " if close else ""
        raise BadInput(
            "must be an appliance of the library",
            key="appliance",
            value=name,
            way_out=nearest + "keeplit library lists them all",
        )
    return appliances()[name]


def duty_cycle_kw(
    running_w: float, minutes_per_hour, hours: Hours, *, seed: int, starts_per_hour: float = 1.0
) -> np.ndarray:
    """On-off series of an appliance that cycles, with exactly the energy of its minutes.

    Parameters
    ----------
    running_w : float
        Input power while it runs. [W]
    minutes_per_hour : float or array_like, shape (n_steps,)
        Minutes on in each hour, 0 to 60. A series of mean kW has ``60 * mean_kw / (running_w / 1000)``. [min/h]
    hours : Hours
        Meant for steps of 1 and 5 minutes: on longer ones a run shorter than the step still shows as a mean.
    seed : int
        Fixes where the runs fall; the same seed gives the same series.
    starts_per_hour : float
        Mean number of runs in an hour. [1/h]

    Returns
    -------
    ndarray, shape (n_steps,)
        Mean power over each step; equal to `running_w` wherever a run fills the step. [kW]

    Raises
    ------
    BadInput
        A number that is none, or minutes outside 0 to 60.

    Notes
    -----
    The year is cut into windows of one cycle each, their lengths 20 % about the mean. Each window holds one run of
    exactly the window's energy, at a place that the seed chooses. So the energy of the year is exact, runs never
    overlap, and a day differs from it by no more than the cycles at its two ends.

    Examples
    --------
    A pump of 800 W for six minutes an hour: a mean of 80 W, and peaks ten times as high:

    >>> from profiles.hours import hours_of_year
    >>> kw = duty_cycle_kw(800.0, 6.0, hours_of_year(2025, "UTC", 5), seed=1)
    >>> round(float(kw.mean()), 9), round(float(kw.max()), 9)
    (0.08, 0.8)
    """
    for key, value in (("running_w", running_w), ("starts_per_hour", starts_per_hour)):
        if isinstance(value, bool) or not 0.0 < value < np.inf:
            raise BadInput("must be a finite number above 0", key=key, value=value)
    on_frac = _on_frac(minutes_per_hour, hours.n_steps)
    edge_h = np.arange(hours.n_steps + 1) * hours.step_h
    on_h = np.concatenate(([0.0], np.cumsum(on_frac * hours.step_h)))
    begin, end = _runs(edge_h, on_h, starts_per_hour, np.random.default_rng(seed))
    # Time on since New Year is a broken line through the beginnings and ends of the runs.
    done_h = np.concatenate(([0.0], np.cumsum(end - begin)))
    at = np.column_stack((begin, end)).ravel()
    ran_h = np.interp(edge_h, at, np.column_stack((done_h[:-1], done_h[1:])).ravel())
    return running_w / 1000.0 * np.clip(np.diff(ran_h) / hours.step_h, 0.0, 1.0)


def _on_frac(minutes_per_hour, n_steps: int) -> np.ndarray:
    minutes = np.asarray(minutes_per_hour, dtype=float)
    if minutes.ndim and minutes.shape != (n_steps,):
        raise BadInput(
            f"must be one number, or one for each of {n_steps} steps", key="minutes_per_hour", value=minutes.shape
        )
    bad = minutes[~((minutes >= 0.0) & (minutes <= 60.0))]
    if bad.size:
        raise BadInput("must be from 0 to 60", key="minutes_per_hour", value=float(bad.ravel()[0]))
    return np.broadcast_to(minutes / 60.0, (n_steps,))


def _runs(edge_h: np.ndarray, on_h: np.ndarray, starts_per_hour: float, random) -> tuple[np.ndarray, np.ndarray]:
    """Beginning and end of the run in each window, in hours since New Year."""
    count = max(1, round(edge_h[-1] * starts_per_hour))
    length = random.uniform(1.0 - CYCLE_SPREAD, 1.0 + CYCLE_SPREAD, count)
    bound = np.concatenate(([0.0], np.cumsum(length))) * (edge_h[-1] / length.sum())
    bound[-1] = edge_h[-1]
    run_h = np.diff(np.interp(bound, edge_h, on_h))
    begin = bound[:-1] + random.uniform(0.0, 1.0, count) * np.maximum(np.diff(bound) - run_h, 0.0)
    return begin, np.minimum(begin + run_h, bound[1:])


def _floats(table: dict) -> dict:
    """TOML writes 150 for 150.0; ranges are lists of such."""

    def one(value):
        return float(value) if isinstance(value, int) and not isinstance(value, bool) else value

    return {key: tuple(map(one, value)) if isinstance(value, list) else one(value) for key, value in table.items()}
