"""Ageing: what is left of a battery in each year, and when its warranty ends."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from profiles.noun import BadInput


@dataclass(frozen=True, eq=False)
class Ageing:
    """Capacity year by year; arrays of shape (n_years,).

    Attributes
    ----------
    capacity_frac : ndarray
        Capacity at the start of each year, of that when new. [0 to 1]
    throughput_kwh : ndarray
        Energy discharged in each year. [kWh]
    """

    capacity_frac: np.ndarray
    throughput_kwh: np.ndarray

    @property
    def year_one_equivalents(self) -> float:
        """Years as good as the first that all years together are worth."""
        return float(self.capacity_frac.sum())


def age(
    years: int,
    *,
    fade_frac_per_year: float,
    throughput_kwh_per_year: float = 0.0,
    fade_frac_per_kwh: float = 0.0,
    shape: str = "linear",
) -> Ageing:
    """Capacity at the start of each year, faded by time and by use.

    Parameters
    ----------
    years : int
    fade_frac_per_year : float
        Loss by calendar time, a year. [0 to 1]
    throughput_kwh_per_year : float
        Energy discharged in the first year; later years discharge in proportion to their capacity. [kWh]
    fade_frac_per_kwh : float
        Loss for each kWh discharged; 0.3 lost over a warranted 15,000 kWh is 0.3 / 15000.
    shape : str
        "linear": losses are of the capacity when new; "compound": of the capacity that is left.

    Returns
    -------
    Ageing
        The first year has the capacity when new.

    Examples
    --------
    Two percent a year leave 9.1 of ten years:

    >>> round(age(10, fade_frac_per_year=0.02).year_one_equivalents, 9)
    9.1
    """
    if shape not in ("linear", "compound"):
        raise BadInput('must be "linear" or "compound"', key="shape", value=shape)
    for key, value in (("fade_frac_per_year", fade_frac_per_year), ("fade_frac_per_kwh", fade_frac_per_kwh)):
        if not 0.0 <= value < 1.0:
            raise BadInput("must be at least 0 and below 1", key=key, value=value, way_out="write 0.02 for 2 % a year")
    capacity, left, throughput = np.zeros(years), 1.0, np.zeros(years)
    for year in range(years):
        capacity[year], throughput[year] = left, throughput_kwh_per_year * left
        lost = fade_frac_per_year + fade_frac_per_kwh * throughput[year]
        left = max(left - lost * (left if shape == "compound" else 1.0), 0.0)
    return Ageing(capacity, throughput)


@dataclass(frozen=True)
class WarrantyEnd:
    """When a warranty ends, and by which of its terms.

    Attributes
    ----------
    year : float
        Years from installation, inf where no term is reached within a century.
    by : str
        "years", "throughput", "retention" or "none".
    """

    year: float
    by: str


def warranty_end(
    *, years: float | None = None, throughput_kwh: float | None = None, retention_frac: float | None = None, **use
) -> WarrantyEnd:
    """When a warranty ends: at the first of its years, its throughput and its retention.

    Parameters
    ----------
    years, throughput_kwh, retention_frac : float, optional
        Terms of the warranty; one that is not stated does not end it. [years], [kWh], [0 to 1]
    **use
        As in `age`: fade_frac_per_year, throughput_kwh_per_year, fade_frac_per_kwh, shape.

    Examples
    --------
    30 MWh at 10 kWh a day, without fade:

    >>> end = warranty_end(years=10, throughput_kwh=30e3, throughput_kwh_per_year=3650.0, fade_frac_per_year=0.0)
    >>> round(end.year, 3), end.by
    (8.219, 'throughput')
    """
    ageing = age(101, **use)
    used = np.concatenate(([0.0], np.cumsum(ageing.throughput_kwh[:-1])))
    ends = [
        (np.inf if years is None else float(years), "years"),
        (_first_at(used, throughput_kwh), "throughput"),
        (_first_at(1.0 - ageing.capacity_frac, None if retention_frac is None else 1.0 - retention_frac), "retention"),
    ]
    year, by = min(ends, key=lambda end: end[0])
    return WarrantyEnd(year, by if year < np.inf else "none")


def _first_at(rising: np.ndarray, limit: float | None) -> float:
    """Year at which a quantity at each year's start reaches its limit, inside the year by proportion."""
    if limit is None or not rising[-1] >= limit:
        return np.inf
    year = int(np.argmax(rising >= limit))
    if year == 0:
        return 0.0
    return year - 1 + float((limit - rising[year - 1]) / (rising[year] - rising[year - 1]))


def full_cycles(discharge_kwh, usable_kwh: float) -> float:
    """Equivalent full cycles: energy discharged over usable capacity, both on the same side of the inverter.

    Parameters
    ----------
    discharge_kwh : array_like, shape (n_steps,)
        [kWh]
    usable_kwh : float
        [kWh]

    Examples
    --------
    >>> full_cycles([5.0, 2.5, 2.5], 10.0)
    1.0
    """
    if not 0.0 < usable_kwh < np.inf:
        raise BadInput("must be above 0", key="usable_kwh", value=usable_kwh, way_out="give kWh")
    return float(np.sum(discharge_kwh) / usable_kwh)
