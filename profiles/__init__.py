"""What is known of a house per step before a battery is asked to do anything: loads, weather, solar, rates.

The names below are loaded when they are first used.
"""

import importlib

_HOME = {
    "BadInput": "noun", "hours_of_year": "hours", "Hours": "hours", "load_kw": "load", "read_meter": "meter",
    "meter_kw": "meter", "read_weather": "weather", "weather_on": "weather", "solar_kw": "solar", "Solar": "solar",
    "read_rate": "rate", "Rate": "rate", "rate_prices": "prices",
}  # fmt: skip
__all__ = sorted(_HOME)


def __getattr__(name: str):
    if name not in _HOME:
        raise AttributeError(f"module 'profiles' has no attribute {name!r}")
    return getattr(importlib.import_module(f"profiles.{_HOME[name]}"), name)


def __dir__():
    return __all__
