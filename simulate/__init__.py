"""What happens when hourly profiles meet a battery: hours survived, bills, checks.

The names below are loaded when they are first used.
"""

import importlib

_HOME = {
    "Pool": "battery",
    "best_targets": "best",
    "price_bill": "bill",
    "lowest_cap": "cap",
    "choose_circuits": "choose",
    "compare_units": "compare",
    "sweep": "designs",
    "by_group": "fleet",
    "read_fleet": "fleet",
    "Study": "document",
    "study": "document",
    "forecast_targets": "forecast",
    "best_year": "foresight",
    "Lanes": "lanes",
    "Track": "lanes",
    "run_lanes": "lanes",
    "best_possible": "linear",
    "hours_survived": "outage",
    "balance_legs": "panel.balance",
    "check_panel": "panel.check",
    "RideThrough": "ride",
    "ride_through": "ride",
    "pareto": "influence",
    "sensitivity": "influence",
    "Site": "site",
    "read_site": "site",
    "normal": "varied",
    "triangular": "varied",
    "uniform": "varied",
    "Year": "walk",
    "run_plan": "walk",
    "HouseYear": "year",
    "run_year": "year",
}
__all__ = sorted(_HOME)


def __getattr__(name: str):
    if name not in _HOME:
        raise AttributeError(f"module 'simulate' has no attribute {name!r}")
    return getattr(importlib.import_module(f"simulate.{_HOME[name]}"), name)


def __dir__():
    return __all__
