"""The highest 15-minute demand of a meter file, for a load calculation by measured demand."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from profiles.loads.load import MeterLoad
from profiles.meter.read import read_meter

if TYPE_CHECKING:
    from simulate.site.site import Site

WINDOW_S = 900
YEAR_S, MONTH_S = 365 * 86_400, 30 * 86_400
COVERED_FRAC = 0.97
"""Share of a year that must have readings to stand for it: engineering judgement, no citation."""


@dataclass(frozen=True)
class Recorded:
    """A record of demand.

    Attributes
    ----------
    kw : float or None
        Highest mean of 15 minutes. [kW]
    record : {"year", "30-day"} or None
    text : str
        The file and the day, for a reader.
    missing : str
        What would have to be given where `kw` is None.
    """

    kw: float | None
    record: str | None
    text: str
    missing: str = ""


def highest_demand(site: Site) -> Recorded:
    """Highest 15-minute demand of `service.whole_house`; hourly readings do not show it."""
    load = site.service.whole_house
    path = Path(site.folder) / load.meter
    stamp = path.stat().st_mtime_ns if path.exists() else 0
    return _recorded(path, stamp, load, site.site.timezone)


@lru_cache(maxsize=32)
def _recorded(path: Path, stamp: int, load: MeterLoad, timezone: str) -> Recorded:
    meter = read_meter(path, point=load.point, column=load.column, timezone=timezone, dialect=load.dialect)
    if meter.interval_s > WINDOW_S:
        minutes = meter.interval_s // 60
        missing = f"service.highest_demand_kw: {load.meter} has readings of {minutes} minutes, too coarse"
        return Recorded(None, None, load.meter, missing)
    covered_s = int(meter.duration_s.sum())
    record = "year" if covered_s >= COVERED_FRAC * YEAR_S else "30-day" if covered_s >= MONTH_S else None
    if record is None:
        return Recorded(None, None, load.meter, f"service.highest_demand_kw: {load.meter} covers less than 30 days")
    kw, at = highest_window_kw(meter.start_utc, meter.duration_s, meter.kwh)
    return Recorded(kw * load.scale, record, f"{load.meter} ({record}), {meter.local.stamp(at)}")


def highest_window_kw(start_s, duration_s, kwh) -> tuple[float, int]:
    """Highest mean over clock quarters that readings cover whole, and the start of that quarter.

    Parameters
    ----------
    start_s, duration_s : array_like of int, shape (n_readings,)
        Start of each reading and its length, 15 minutes or less. [s]
    kwh : array_like, shape (n_readings,)
        [kWh]

    Examples
    --------
    Three readings of 5 minutes, 0.1, 0.2 and 0.3 kWh, are 0.6 kWh in a quarter of an hour:

    >>> highest_window_kw([0, 300, 600], [300] * 3, [0.1, 0.2, 0.3])
    (2.4, 0)
    """
    start, length, energy = np.asarray(start_s), np.asarray(duration_s), np.asarray(kwh, dtype=float)
    quarter = start // WINDOW_S
    names, place = np.unique(quarter, return_inverse=True)
    covered = np.bincount(place, weights=length)
    kw = np.where(covered >= WINDOW_S, np.bincount(place, weights=energy) * 3600.0 / np.maximum(covered, 1.0), -np.inf)
    best = int(np.argmax(kw))
    return round(float(kw[best]), 12), int(names[best]) * WINDOW_S
