"""What happens when hourly profiles meet a battery: hours survived, bills, checks.

The names below are loaded when they are first used.
"""

import importlib

_HOME = {
    "Pool": "battery", "read_site": "site", "Site": "site", "run_year": "year", "HouseYear": "year", "Year": "walk",
    "run_plan": "walk", "ride_through": "ride", "RideThrough": "ride", "hours_survived": "outage",
    "best_targets": "best", "best_possible": "linear", "forecast_targets": "forecast", "lowest_cap": "cap", "price_bill": "bill", "study": "document", "Study": "document",
}  # fmt: skip
__all__ = sorted(_HOME)


def __getattr__(name: str):
    if name not in _HOME:
        raise AttributeError(f"module 'simulate' has no attribute {name!r}")
    return getattr(importlib.import_module(f"simulate.{_HOME[name]}"), name)


def __dir__():
    return __all__
