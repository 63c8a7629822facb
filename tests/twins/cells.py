"""What a pool does in a stretch of time at constant power: charge against a taper, serve down to a floor."""

import math

from tests.twins.branches import seen
from tests.twins.pools import Cells


def charged_kwh(cells: Cells, kwh: float, goal: float, ac_kw: float, hours: float, limit_kw: float | None = None):
    """Energy in the cells after `hours` of charging at up to `ac_kw`, and the hours until the goal was met.

    Two phases: constant power as long as the taper leaves it, then a rate that falls in proportion to what is
    missing, whose solution is an exponential.
    """
    limit_kw = cells.charge_kw if limit_kw is None else limit_kw
    power = min(ac_kw, limit_kw) * cells.eta_c
    if power <= 0.0 or kwh >= goal:
        return kwh, 0.0 if kwh >= goal else hours
    knee = bend(cells, power)
    spent = 0.0
    if kwh < knee:
        spent = (min(goal, knee) - kwh) / power
        if spent >= hours:
            return kwh + power * hours, hours
        kwh = min(goal, knee)
        if kwh >= goal:
            seen("full inside the step", goal >= cells.kwh)
            return goal, spent
    seen("taper binds")
    rate_at = lambda e: cells.charge_kw * cells.eta_c * cells.taper_frac(e)
    slope = (rate_at(kwh) - rate_at(cells.kwh)) / (cells.kwh - kwh) if kwh < cells.kwh else 0.0
    level = kwh + rate_at(kwh) / slope if slope > 0.0 else math.inf  # where the line of the taper meets zero
    end = level - (level - kwh) * math.exp(-slope * (hours - spent))
    if end >= goal:
        return goal, spent + math.log((level - kwh) / (level - goal)) / slope
    return end, hours


def bend(cells: Cells, power: float) -> float:
    """Energy above which the taper leaves less than this DC power; the capacity where it never does."""
    if cells.taper is None:
        return cells.kwh
    start, end = cells.taper["from_soc"], cells.taper["to_frac"]
    frac = power / (cells.charge_kw * cells.eta_c)
    if frac <= end:
        return cells.kwh
    return cells.kwh * (start + (1.0 - min(frac, 1.0)) / (1.0 - end) * (1.0 - start))
