"""Figures by subject, the only place that imports matplotlib; every function returns the axes it drew on.

The names below are loaded when they are first used.
"""

from typing import TYPE_CHECKING

from profiles.face import face

if TYPE_CHECKING:
    from simulate.show.plot.bills import monthly_bills as monthly_bills
    from simulate.show.plot.bills import stacked_bills as stacked_bills
    from simulate.show.plot.day import average_day as average_day
    from simulate.show.plot.designs import comparison_figures as comparison_figures
    from simulate.show.plot.designs import write_comparison as write_comparison
    from simulate.show.plot.heat import hours_map as hours_map
    from simulate.show.plot.heat import price_map as price_map
    from simulate.show.plot.legs import leg_bars as leg_bars
    from simulate.show.plot.legs import load_duration as load_duration
    from simulate.show.plot.money import cash_flow as cash_flow
    from simulate.show.plot.money import tornado as tornado
    from simulate.show.plot.outages import served_and_not as served_and_not
    from simulate.show.plot.outages import state_of_charge as state_of_charge
    from simulate.show.plot.outages import three_outages as three_outages
    from simulate.show.plot.plates import plates_of as plates_of
    from simulate.show.plot.plates import write_figures as write_figures
    from simulate.show.plot.recharge import recharge_curve as recharge_curve
    from simulate.show.plot.survival import survival_curve as survival_curve
    from simulate.show.plot.survival import survival_curves as survival_curves
    from simulate.show.plot.sweep import convergence as convergence
    from simulate.show.plot.sweep import design_map as design_map
    from simulate.show.plot.sweep import parallel_survival as parallel_survival
    from simulate.show.plot.sweep import pareto_plot as pareto_plot
    from simulate.show.plot.sweep import write_sweep_figures as write_sweep_figures
    from simulate.show.plot.units import frontier as frontier
    from simulate.show.plot.units import marginal_hours as marginal_hours

_HOME = {
    "average_day": "day",
    "cash_flow": "money",
    "comparison_figures": "designs",
    "convergence": "sweep",
    "design_map": "sweep",
    "frontier": "units",
    "hours_map": "heat",
    "leg_bars": "legs",
    "load_duration": "legs",
    "marginal_hours": "units",
    "monthly_bills": "bills",
    "parallel_survival": "sweep",
    "pareto_plot": "sweep",
    "plates_of": "plates",
    "price_map": "heat",
    "recharge_curve": "recharge",
    "served_and_not": "outages",
    "stacked_bills": "bills",
    "state_of_charge": "outages",
    "survival_curve": "survival",
    "survival_curves": "survival",
    "three_outages": "outages",
    "tornado": "money",
    "write_comparison": "designs",
    "write_figures": "plates",
    "write_sweep_figures": "sweep",
}
__all__ = sorted(_HOME)
__getattr__, __dir__ = face("simulate.show.plot", _HOME)
