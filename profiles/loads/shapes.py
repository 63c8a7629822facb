"""The library of published daily schedules: annual kWh spread over the steps of a year."""

from __future__ import annotations

import csv
import difflib
import functools
from dataclasses import dataclass
from importlib import resources

import numpy as np

from profiles.hours import Hours
from profiles.noun import BadInput

WHOLE_HOUSE = "whole-house"


@dataclass(frozen=True, eq=False)
class Shape:
    """One schedule: 24 fractions for weekdays and weekends, 12 monthly multipliers, and where they were published."""

    name: str
    weekday_frac: np.ndarray
    weekend_frac: np.ndarray
    monthly: np.ndarray
    source: str


def shape_names() -> tuple[str, ...]:
    """Names that `shape = "..."` accepts.

    Examples
    --------
    >>> shape_names()[:2], shape_names()[-1]
    (('refrigerator', 'extra_refrigerator'), 'whole-house')
    """
    return (*published_shapes(), WHOLE_HOUSE)


def hourly_shape_kw(
    name: str, annual_kwh: float, hours: Hours, *, floor_area_ft2: float = 2000.0, bedrooms: int = 3, key: str = "shape"
) -> np.ndarray:
    """Annual energy spread over the year by a published schedule of the hours and months.

    Parameters
    ----------
    name : str
        One of `shape_names()`.
    annual_kwh : float
        Energy over the whole year of `hours`. [kWh]
    hours : Hours
        The axis. Schedules are on the local wall clock: hour 1 of a schedule is 00:00 to 01:00.
    floor_area_ft2, bedrooms : optional
        Only for "whole-house": they weigh its end uses. The defaults are an assumption, not a standard. [ft2], [count]
    key : str, optional
        Named in the message.

    Returns
    -------
    ndarray, shape (n_steps,)
        Mean power over each step. [kW]

    Raises
    ------
    BadInput
        Unknown name, or an energy, area or count that is not a finite number of at least 0.

    Notes
    -----
    ``kw[t] = annual_kwh * w[t] / (step_h * sum(w))`` with ``w = multiplier[month] * fraction[hour]``. Dividing by the
    sum keeps the energy exact though some published schedules add to 1.005, whatever the days and clock changes.

    References
    ----------
    The schedules name theirs row by row in `library/hourly_shapes.csv` (ANSI/RESNET/ICC 301-2022 Addendum C; Building
    America House Simulation Protocols 2010).

    Examples
    --------
    >>> from profiles.hours import hours_of_year
    >>> kw = hourly_shape_kw("refrigerator", 620.0, hours_of_year(2025, "America/New_York"))
    >>> round(float(kw.sum()), 9), int(kw[:24].argmax())
    (620.0, 18)
    """
    if isinstance(annual_kwh, bool) or not 0.0 <= annual_kwh < np.inf:
        raise BadInput("must be a finite number, at least 0", key="annual_kwh", value=annual_kwh)
    if name == WHOLE_HOUSE:
        weight = _whole_house_weight(hours, floor_area_ft2, bedrooms)
    else:
        weight = _weight(_published(name, key), hours)
    return annual_kwh * weight / (weight.sum() * hours.step_h)


def end_use_kwh(floor_area_ft2: float = 2000.0, bedrooms: int = 3) -> dict[str, float]:
    """Reference annual energy of each electric end use of a home, heating, cooling and hot water left out.

    Parameters
    ----------
    floor_area_ft2 : float
        Conditioned floor area. [ft2]
    bedrooms : int
        Number of bedrooms.

    Returns
    -------
    dict of float
        By the name of the end use's schedule. [kWh]

    References
    ----------
    ANSI/RESNET 301 reference-home equations, as quoted by a public rating test: the edition that pairs the dryer's
    524 + 149 with the washer's 38 + 10 and the dishwasher's 78 + 31 (another edition has other numbers for these).

    Examples
    --------
    >>> end_use_kwh(2000, 3)["refrigerator"]
    691.0
    """
    if not 0.0 < floor_area_ft2 < np.inf:
        raise BadInput("must be a finite number above 0", key="floor_area_ft2", value=floor_area_ft2)
    if isinstance(bedrooms, bool) or not 0 <= bedrooms < 100:
        raise BadInput("must be a number of bedrooms", key="bedrooms", value=bedrooms)
    return {
        "lighting_interior": 455.0 + 0.80 * floor_area_ft2,
        "lighting_exterior": 100.0 + 0.05 * floor_area_ft2,
        "refrigerator": 637.0 + 18.0 * bedrooms,
        "cooking_range": 331.0 + 39.0 * bedrooms,
        "clothes_dryer": 524.0 + 149.0 * bedrooms,
        "clothes_washer": 38.0 + 10.0 * bedrooms,
        "dishwasher": 78.0 + 31.0 * bedrooms,
        "plug_loads_other": 0.91 * floor_area_ft2,
        "plug_loads_tv": 413.0 + 69.0 * bedrooms,
    }


@functools.cache
def published_shapes() -> dict[str, Shape]:
    """The schedules of `library/hourly_shapes.csv` by name, in file order."""
    rows: dict[str, dict[str, list[str]]] = {}
    with (resources.files("profiles.library") / "hourly_shapes.csv").open(newline="", encoding="utf-8") as file:
        for name, kind, *values in csv.reader(file):
            if name != "name":
                rows.setdefault(name, {})[kind] = values
    return {name: _shape(name, kinds) for name, kinds in rows.items()}


def _shape(name: str, kinds: dict[str, list[str]]) -> Shape:
    days = [np.array(kinds[kind][:24], dtype=float) for kind in ("weekday", "weekend")]
    # A schedule without a monthly row (the ceiling fan) is taken as the same in every month.
    monthly = np.array(kinds["monthly"][:12], dtype=float) if "monthly" in kinds else np.ones(12)
    return Shape(name, *(day / day.sum() for day in days), monthly, kinds["weekday"][24])


def _published(name: str, key: str) -> Shape:
    shapes = published_shapes()
    if name in shapes:
        return shapes[name]
    spelled = str(name).strip().lower().replace("-", "_").replace(" ", "_")
    by_spelling = {known.replace("-", "_"): known for known in shape_names()}
    close = difflib.get_close_matches(spelled, by_spelling, n=1, cutoff=0.5)
    nearest = f"did you mean {by_spelling[close[0]]}? " if close else ""
    raise BadInput(
        "must be a shape of the library", key=key, value=name, way_out=nearest + "keeplit library lists them all"
    )


def _weight(shape: Shape, hours: Hours) -> np.ndarray:
    hour = hours.minute // 60
    frac = np.where(hours.weekday < 5, shape.weekday_frac[hour], shape.weekend_frac[hour])
    return frac * shape.monthly[hours.month - 1]


def _whole_house_weight(hours: Hours, floor_area_ft2: float, bedrooms: int) -> np.ndarray:
    shapes = published_shapes()
    total = np.zeros(hours.n_steps)
    for name, kwh in end_use_kwh(floor_area_ft2, bedrooms).items():
        weight = _weight(shapes[name], hours)
        total += kwh * weight / weight.sum()
    return total
