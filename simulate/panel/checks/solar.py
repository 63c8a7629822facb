"""Whether sub-panel solar can live on the island that the battery units make."""

from __future__ import annotations

from simulate.panel.checks.finding import PHYSICAL, Figure, Finding, found, missing
from simulate.panel.checks.layout import Layout

CHECK = "solar-on-island"


def solar_findings(layout: Layout) -> list[Finding]:
    """Findings of `solar-on-island`, for solar that is connected at the sub-panel."""
    solar = layout.site.solar
    if solar is None or solar.connected_at != "sub-panel" or not layout.groups:
        return []
    if layout.legs == ("A", "B") and not layout.carries_two_pole:
        text = "Solar at both legs of the sub-panel needs both legs of a locked pair or of 120/240 V units."
        return [found(CHECK, "solar", "fail", Figure(), PHYSICAL, text)]
    takes_kw = sum(group.count * group.takes_back_kw for group in layout.groups)
    ac_kw = solar.ac_kw
    if takes_kw == 0.0:
        text = "The outputs take no power back (takes_back_kw = 0): the roof makes nothing in an outage as wired."
        return [found(CHECK, "solar", "fail", Figure(ac_kw, 0.0, "kW"), PHYSICAL, text)]
    if ac_kw is None:
        most = layout.simulated.solar_max_kw
        known = "" if most is None else f"The most in a simulated step is {most:.2f} kW."
        return [missing(CHECK, "solar", ["solar.ac_kw"], PHYSICAL, known)]
    return [_surplus(layout, ac_kw, takes_kw)]


def _surplus(layout: Layout, ac_kw: float, takes_kw: float) -> Finding:
    """Units full, load at its lowest, one unit out."""
    load_kw = layout.simulated.lowest_load_kw or 0.0
    units = sum(group.count for group in layout.groups)
    one = max(group.takes_back_kw for group in layout.groups)
    left_kw = (takes_kw - one if units > 1 else takes_kw) + load_kw
    figure = Figure(ac_kw, left_kw, "kW")
    curtails = layout.site.solar.curtails
    text = (
        f"Solar gives {ac_kw:.2f} kW at most; with {'one unit out' if units > 1 else 'the unit up'} and the load at "
        f"its lowest ({load_kw:.2f} kW) the outputs take {left_kw:.2f} kW, with all units {takes_kw + load_kw:.2f} kW. "
    )
    if curtails == "no" and ac_kw > load_kw:
        text += "Once the units are full nothing takes the surplus and the solar inverter does not curtail."
        return found(CHECK, "solar", "fail", Figure(ac_kw, load_kw, "kW"), PHYSICAL, text)
    if ac_kw > takes_kw + load_kw + 1e-9:
        return found(CHECK, "solar", "fail", figure, PHYSICAL, text + "A surplus trips the units.")
    if not figure.met:
        return found(CHECK, "solar", "marginal", figure, PHYSICAL, text + "It holds only while every unit is up.")
    if curtails == "steps":
        text += "At full units it switches on and off in steps."
        return found(CHECK, "solar", "marginal", figure, PHYSICAL, text)
    return found(CHECK, "solar", "pass", figure, PHYSICAL, text + "At full units it curtails by frequency.")
