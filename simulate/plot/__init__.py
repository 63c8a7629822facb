"""Figures by subject, the only place that imports matplotlib; every function returns the axes it drew on.

The names below are loaded when they are first used.
"""

import importlib

_HOME = {
    "survival_curve": "survival", "survival_curves": "survival", "hours_map": "heat", "price_map": "heat",
    "state_of_charge": "outages", "served_and_not": "outages", "three_outages": "outages",
    "monthly_bills": "bills", "stacked_bills": "bills", "average_day": "day", "load_duration": "legs",
    "leg_bars": "legs", "recharge_curve": "recharge", "cash_flow": "money", "tornado": "money",
    "marginal_hours": "units", "frontier": "units", "plates_of": "plates", "write_figures": "plates",
    "comparison_figures": "designs",
    "design_map": "sweep", "parallel_survival": "sweep", "pareto_plot": "sweep", "convergence": "sweep",
    "write_sweep_figures": "sweep",
}  # fmt: skip
__all__ = sorted(_HOME)


def __getattr__(name: str):
    if name not in _HOME:
        raise AttributeError(f"module 'simulate.plot' has no attribute {name!r}")
    return getattr(importlib.import_module(f"simulate.plot.{_HOME[name]}"), name)


def __dir__():
    return __all__
