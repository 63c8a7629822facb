"""The storm as a row of its own: outages on the hardest real days, and the pickup when everything starts at once."""

from __future__ import annotations

import numpy as np

from profiles.loads.circuit import OutageScale
from profiles.noun import BadInput
from profiles.weather.storms import storm_days
from profiles.weather.years import read_weather_years
from simulate.house.house import house_of
from simulate.house.outage_met import outage_kw
from simulate.house.ride import RideThrough, ride_through
from simulate.house.sources import SiteSources
from simulate.house.year import run_year
from simulate.physics.outages.spread import spread
from simulate.site.site import Site

STARTS_TOGETHER = ("motor", "hvac", "heat", "water-heater")
"""Kinds that lose their diversity while the power is off: all of them are on when it returns."""

PICKUP_FACTOR, PICKUP_MIN = 2.0, 30.0
"""Load of such circuits over their mean right after an interruption, and for how long: engineering ranges 1.5 to 5 and
minutes to an hour, no citation."""


def storm_stated(site: Site) -> bool:
    """A storm load is stated: a circuit that is backed up has a storm factor, or actual years give storm days.

    Examples
    --------
    >>> from simulate.site.site import read_site
    >>> storm_stated(read_site().with_values({"circuit.outage_scale": {"storm": 2.0}}))
    True
    """
    if site.weather is not None and site.weather.storm_years is not None:
        return True
    scales = [circuit.outage_scale for circuit in site.circuit if circuit.on == "sub-panel"]
    return any(isinstance(scale, OutageScale) and "storm" in scale.model_fields_set for scale in scales)


def storm_rows(ride: RideThrough, weather=None) -> list[dict]:
    """Hours survived by outages that begin on the hardest days of the weather file or files, one row a day.

    Parameters
    ----------
    ride : RideThrough
        Of the storm load case.
    weather : Weather, optional
        The site's weather file, where it was read already; read otherwise.

    Returns
    -------
    list of dict
        why ("coldest", "darkest", "hottest", "cold-and-dark"), date, temp_c [degC], ghi_kwh_m2 and hours [h]; empty
        without a weather file.

    Notes
    -----
    Cold, light and load are those of the same day; nothing is drawn apart. A typical year leaves the worst storms out.
    Where the site names a folder of actual years, each day is simulated in the weather of its own year, laid on the
    site's year by month and day.
    """
    site, hours = ride.house.site, ride.house.hours
    if site.weather is not None and site.weather.storm_years is not None:
        return _rows_of_years(ride)
    if site.weather is None and weather is None:
        return []
    weather = _weather(site) if weather is None else weather
    rows = []
    for day in storm_days(weather, count=1):
        on = (hours.month == day.month) & (hours.local.day == day.day_of_month)
        if on.any():
            rows.append(
                {
                    "why": day.why,
                    "date": f"{hours.year}-{day.month:02d}-{day.day_of_month:02d}",
                    "temp_c": day.temp_c,
                    "ghi_kwh_m2": day.ghi_kwh_m2,
                    "hours": spread(ride.hours[on]),
                }
            )
    return rows


def _rows_of_years(ride: RideThrough) -> list[dict]:
    """The hardest days of all the actual years in the site's folder, each in the weather of its own year."""
    site, hours = ride.house.site, ride.house.hours
    try:
        years = read_weather_years(site.folder / site.weather.storm_years, key="weather.storm_years")
    except BadInput as error:
        raise error.at(site.file) from None
    rows, rides = {}, {}
    for day in storm_days(*years, count=2):  # two, as the site's year may lack 29 February
        on = (hours.month == day.month) & (hours.local.day == day.day_of_month)
        if day.why in rows or not on.any():
            continue
        if day.weather not in rides:
            rides[day.weather] = _ride_in(ride, years[day.weather])
        rows[day.why] = {
            "why": day.why,
            "date": f"{day.year or hours.year}-{day.month:02d}-{day.day_of_month:02d}",
            "temp_c": day.temp_c,
            "ghi_kwh_m2": day.ghi_kwh_m2,
            "hours": spread(rides[day.weather].hours[on]),
        }
    return list(rows.values())


def _ride_in(ride: RideThrough, weather) -> RideThrough:
    """The same house and load case in another year's weather."""
    sources = SiteSources(ride.house.site)
    sources.weather = weather
    return ride_through(run_year(house_of(ride.house.site, sources)), load_case=ride.load_case)


def _weather(site):
    return SiteSources(site).weather


def pickup_kw(mean_kw, running_kw, factor: float) -> np.ndarray:
    """Load of a circuit when everything on it starts together: its mean times a factor, no more than it draws when on.

    Parameters
    ----------
    mean_kw : array_like, shape (n_steps,)
        Mean of each step. [kW]
    running_kw : float or None
        What it draws when on, where that is known. [kW]
    factor : float
        At least 1.

    Examples
    --------
    >>> pickup_kw([0.1, 0.4], 0.5, 3.0).round(9).tolist()
    [0.3, 0.5]
    """
    mean = np.asarray(mean_kw, dtype=float)
    if not 1.0 <= factor < np.inf:
        raise BadInput("must be at least 1", key="factor", value=factor)
    return np.maximum(np.minimum(mean * factor, np.inf if running_kw is None else running_kw), mean)


def pickup_of(ride: RideThrough, *, factor: float = PICKUP_FACTOR, minutes: float = PICKUP_MIN) -> dict:
    """What cold-load pickup adds at the start of an outage: loss of diversity for a stated time.

    Parameters
    ----------
    ride : RideThrough
    factor : float
        Load of thermostatic and motor circuits over their mean.
    minutes : float
        How long it lasts. [min]

    Returns
    -------
    dict
        factor, minutes, circuits, and a row for each output limit: legs, limit_kw, highest_kw, over_frac (share of
        starts at which the pickup trips it), extra_kwh and hours_lost (of the mean outage).
    """
    house = ride.house
    kw = outage_kw(house, ride.load_case) if len(house.carried) else np.zeros((0, house.hours.n_steps))
    together = [c.motor is not None or c.kind in STARTS_TOGETHER for c in house.circuits]
    lifted = kw.copy()
    for k, circuit in enumerate(house.circuits):
        if together[k]:
            running = None if circuit.running_w is None else circuit.running_w / 1000.0
            lifted[k] = pickup_kw(kw[k], running, factor)
    on_leg, limits, pool_of = house.limits
    rows = []
    for row, limit_kw, p in zip(on_leg, limits, pool_of, strict=True):
        at_start, mean = row @ lifted, row @ kw
        pool = house.pools[p].pool
        extra_kwh = float((at_start - mean).mean()) * minutes / 60.0
        taken_kw = pool.drain_kw(float(mean.mean()))
        rows.append(
            {
                "legs": house.pools[p].legs,
                "limit_kw": float(limit_kw),
                "highest_kw": float(at_start.max()),
                "over_frac": float((at_start > limit_kw + 1e-9).mean()),
                "extra_kwh": extra_kwh,
                "hours_lost": extra_kwh * pool.dc_per_ac / taken_kw if taken_kw > 0.0 else 0.0,
            }
        )
    names = [c.name for c, one in zip(house.circuits, together, strict=True) if one]
    return {"factor": factor, "minutes": minutes, "circuits": names, "limits": rows}
