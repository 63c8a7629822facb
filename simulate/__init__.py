"""What happens when hourly profiles meet a battery: hours survived, bills, checks.

The names below are loaded when they are first used.
"""

from typing import TYPE_CHECKING

from profiles.face import face

if TYPE_CHECKING:
    from simulate.bill.bill import price_bill as price_bill
    from simulate.designs.choose import choose_circuits as choose_circuits
    from simulate.designs.compare import compare_units as compare_units
    from simulate.designs.draft import Draft as Draft
    from simulate.designs.fewest import design_site as design_site
    from simulate.designs.fleet import by_group as by_group
    from simulate.designs.fleet import read_fleet as read_fleet
    from simulate.designs.influence import pareto as pareto
    from simulate.designs.influence import sensitivity as sensitivity
    from simulate.designs.sweep import sweep as sweep
    from simulate.designs.varied import normal as normal
    from simulate.designs.varied import triangular as triangular
    from simulate.designs.varied import uniform as uniform
    from simulate.document.study import Study as Study
    from simulate.document.study import study as study
    from simulate.house.bound import best_year as best_year
    from simulate.house.ride import RideThrough as RideThrough
    from simulate.house.ride import ride_through as ride_through
    from simulate.house.walked import HouseYear as HouseYear
    from simulate.house.year import run_year as run_year
    from simulate.optimum.best import best_targets as best_targets
    from simulate.optimum.forecast import forecast_targets as forecast_targets
    from simulate.optimum.linear import best_possible as best_possible
    from simulate.panel.checks.check import check_panel as check_panel
    from simulate.panel.legs.balance import balance_legs as balance_legs
    from simulate.physics.lanes.lanes import Lanes as Lanes
    from simulate.physics.lanes.lanes import Track as Track
    from simulate.physics.lanes.lanes import run_lanes as run_lanes
    from simulate.physics.outages.outages import hours_survived as hours_survived
    from simulate.physics.pool import Pool as Pool
    from simulate.physics.walk import Year as Year
    from simulate.physics.walk import run_plan as run_plan
    from simulate.plans.cap import lowest_cap as lowest_cap
    from simulate.site.site import Site as Site
    from simulate.site.site import read_site as read_site

_HOME = {
    "Draft": "designs.draft",
    "HouseYear": "house.walked",
    "Lanes": "physics.lanes.lanes",
    "Pool": "physics.pool",
    "RideThrough": "house.ride",
    "Site": "site.site",
    "Study": "document.study",
    "Track": "physics.lanes.lanes",
    "Year": "physics.walk",
    "balance_legs": "panel.legs.balance",
    "best_possible": "optimum.linear",
    "best_targets": "optimum.best",
    "best_year": "house.bound",
    "by_group": "designs.fleet",
    "check_panel": "panel.checks.check",
    "choose_circuits": "designs.choose",
    "compare_units": "designs.compare",
    "design_site": "designs.fewest",
    "forecast_targets": "optimum.forecast",
    "hours_survived": "physics.outages.outages",
    "lowest_cap": "plans.cap",
    "normal": "designs.varied",
    "pareto": "designs.influence",
    "price_bill": "bill.bill",
    "read_fleet": "designs.fleet",
    "rates_beside": "document.rates",
    "read_site": "site.site",
    "ride_through": "house.ride",
    "run_lanes": "physics.lanes.lanes",
    "run_plan": "physics.walk",
    "run_year": "house.year",
    "sensitivity": "designs.influence",
    "study": "document.study",
    "sweep": "designs.sweep",
    "triangular": "designs.varied",
    "uniform": "designs.varied",
}
__all__ = sorted(_HOME)
__getattr__, __dir__ = face("simulate", _HOME)
