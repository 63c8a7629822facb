"""What comes along: load shapes, rates, weather years and appliances, listed and described one by one."""

from __future__ import annotations

import difflib
from dataclasses import asdict

import numpy as np

from profiles.hours import hours_of_year
from profiles.loads.appliances import appliance, appliances
from profiles.loads.shapes import WHOLE_HOUSE, end_use_kwh, hourly_shape_kw, published_shapes, shape_names
from profiles.noun import BadInput
from profiles.rate.prices import rate_prices
from profiles.rate.source import library_rates, read_rate
from profiles.weather.check import MONTH_DAYS
from profiles.weather.storms import storm_days
from profiles.weather.weather import LIBRARY, read_weather
from simulate.site.templates import circuit_templates, library_sources

YEAR, ZONE = 2025, "UTC"


def library_document() -> dict:
    """What comes along, as plain data: load shapes, rates, weather years, appliances, circuits, units and panels."""
    rates = {name: read_rate(f"library:{name}").name for name in library_rates()}
    return {
        "shapes": list(shape_names()),
        "rates": [{"source": f"library:{name}", "name": title} for name, title in rates.items()],
        "weather": [{"source": f"library:{name}", "name": text} for name, (_, text) in LIBRARY.items()],
        "appliances": [
            {"name": name, "title": one.title, "running_w": one.running_w, "medical": one.medical}
            for name, one in appliances().items()
        ],
        "circuits": list(circuit_templates()),
        "units_and_panels": [f"library:{name}" for name in library_sources()],
    }


def library_names() -> dict[str, tuple[str, ...]]:
    """Kind -> names that can be described.

    Examples
    --------
    >>> library_names()["weather"]
    ('piedmont', 'alaska-coast', 'south-florida')
    """
    return {
        "shape": shape_names(),
        "appliance": tuple(appliances()),
        "rate": library_rates(),
        "weather": tuple(LIBRARY),
    }


def described(name: str) -> list[dict]:
    """Everything of that name in the library, with its values and where they come from.

    Parameters
    ----------
    name : str
        Such as "well_pump" (a shape), "well-pump" (an appliance), "library:flat" (a rate) or "piedmont" (weather).

    Raises
    ------
    BadInput
        Nothing of that name; the nearest one is handed over.

    Examples
    --------
    >>> [one["kind"] for one in described("refrigerator")]
    ['shape', 'appliance']
    """
    plain = name.removeprefix("library:").lower()
    makers = {"shape": _shape, "appliance": _appliance, "rate": _rate, "weather": _weather}
    names = library_names()
    found = [makers[kind](plain) for kind, known in names.items() if plain in known]
    if not found:
        every = [one for known in names.values() for one in known]
        close = difflib.get_close_matches(plain, every, n=1, cutoff=0.5)
        way_out = (f"did you mean {close[0]}? " if close else "") + "keeplit library lists it all"
        raise BadInput("is not in the library", key="NAME", value=name, way_out=way_out)
    return found


def _shape(name: str) -> dict:
    use = f'load = {{ shape = "{name}", annual_kwh = 500 }}'
    if name != WHOLE_HOUSE:
        one = published_shapes()[name]
        values = {key: getattr(one, key).tolist() for key in ("weekday_frac", "weekend_frac", "monthly")}
        return {"kind": "shape", "name": name, "source": one.source, "use": use, **values}
    hours = hours_of_year(YEAR, ZONE)
    kw = hourly_shape_kw(name, 1.0, hours)
    by_hour = [
        [float(kw[mine & (hours.minute == 60 * h)].mean()) for h in range(24)]
        for mine in (hours.weekday < 5, hours.weekday >= 5)
    ]
    by_month = np.array([kw[hours.month == month].mean() for month in range(1, 13)])
    return {
        "kind": "shape",
        "name": name,
        "use": use,
        "source": "the end uses below, each by its own schedule, weighed by the ANSI/RESNET 301 reference-home "
        "equations for 3 bedrooms and 2,000 ft2",
        "weekday_frac": (np.array(by_hour[0]) / sum(by_hour[0])).tolist(),
        "weekend_frac": (np.array(by_hour[1]) / sum(by_hour[1])).tolist(),
        "monthly": (by_month / by_month.mean()).tolist(),
        "end_use_kwh": end_use_kwh(),
    }


def _appliance(name: str) -> dict:
    one = appliance(name)
    start_a = one.locked_rotor_a_range
    values = one.model_dump() | {"locked_rotor_a_range": None if start_a is None else list(start_a)}
    values = {key: list(value) if isinstance(value, tuple) else value for key, value in values.items()}
    return {"kind": "appliance", "name": name, "use": f"load = {{ {_load_keys(one)} }}"} | values


def _load_keys(one) -> str:
    """Keys of a load for a site file: minutes an hour where they are known, else hours a day."""
    if one.minutes_per_hour is not None:
        return f"running_w = {one.running_w:g}, minutes_per_hour = {one.minutes_per_hour:g}"
    if one.kwh_per_day_range is None:
        return f"watts = {one.running_w:g}, hours_per_day = 1.0"  # one hour: to be replaced by the site's own
    hours = min(sum(one.kwh_per_day_range) / 2.0 / (one.running_w / 1000.0), 24.0)
    return f"watts = {one.running_w:g}, hours_per_day = {hours:.2g}"


def _rate(name: str) -> dict:
    rate = read_rate(f"library:{name}")
    prices = rate_prices(rate, hours_of_year(YEAR, ZONE))
    kept = rate.model_dump(mode="json", by_alias=True, exclude_defaults=True, exclude={"name"})
    return {
        "kind": "rate",
        "name": name,
        "title": rate.name,
        "use": f'[rate]\nsource = "library:{name}"',
        "source": "invented for examples; no utility's rate",
        "price_low": float(prices.buy_per_kwh.min()),
        "price_high": float(prices.buy_per_kwh.max()),
        "periods": list(prices.period_names),
        "record": kept,
    }


def _weather(name: str) -> dict:
    one = read_weather(f"library:{name}")
    temp_c, ghi_kwh = monthly(one)
    return {
        "kind": "weather",
        "name": name,
        "title": LIBRARY[name][1],
        "use": f'[weather]\nsource = "library:{name}"',
        "source": f"{one.format} that comes with pvlib-python: {one.name}",
        "latitude": one.latitude,
        "longitude": one.longitude,
        "altitude_m": one.altitude_m,
        "utc_offset_h": one.utc_offset_h,
        "stamps": one.convention,
        "mean_temp_c": float(one.temp_c.mean()),
        "month_temp_c": temp_c,
        "ghi_kwh_m2": float(sum(ghi_kwh)),
        "month_ghi_kwh_m2": ghi_kwh,
        "hardest_days": [asdict(day) for day in storm_days(one, count=1)],
        "notes": list(one.notes),
    }


def monthly(weather) -> tuple[list[float], list[float]]:
    """Mean temperature [degC] and global irradiation [kWh/m2] of each month of a weather file."""
    rows_a_day = 1440 // weather.step_min
    edges = np.concatenate(([0], np.cumsum(MONTH_DAYS + (np.arange(12) == 1) * (weather.n_days == 366)))) * rows_a_day
    parts = [slice(a, b) for a, b in zip(edges[:-1], edges[1:], strict=True)]
    hours = weather.step_min / 60.0
    ghi = [float(weather.ghi[part].sum() * hours / 1000.0) for part in parts]
    return [float(weather.temp_c[part].mean()) for part in parts], ghi
