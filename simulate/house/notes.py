"""What a site's series rest on and leave out, in words: the notes and cautions of a house."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from profiles.hours import Hours
from profiles.loads.bills import LABEL, BillsLoad
from profiles.solar.roof import solar_dc_kw, solar_kw
from profiles.weather.noon import NOON_TOLERANCE_MIN, noon_shift_min
from profiles.weather.record import Weather
from profiles.weather.weather import far_note, weather_on
from simulate.site.pools import solar_returns
from simulate.site.site import Site

METER_SLACK_KW = 0.1


def weather_notes(site: Site, weather, year) -> list[str]:
    """The weather file, what its year says of itself, how far it lies, and weather years that nothing asks for."""
    said = [f"weather: {weather.name} ({weather.format})", *year.notes]
    return said + list(far_note(weather, site.site.latitude, site.site.longitude)) + _storm_note(site)


def stamp_notes(site: Site, weather: Weather, hours: Hours, made_kwh: float) -> list[str]:
    """Where a weather file's sunny days are not centred on solar noon: by how much, and what that does to the roof.

    Parameters
    ----------
    made_kwh : float
        What the roof makes in the year with the stamps as they are read. [kWh]
    """
    roof, shift_min = site.solar, noon_shift_min(weather)
    if roof is None or roof.series is not None or not abs(shift_min) > NOON_TOLERANCE_MIN or not made_kwh > 0.0:
        return []
    whole_min = 5.0 * round(shift_min / 5.0)
    moved = weather_on(replace(weather, start_min=weather.start_min - whole_min), hours)
    make = solar_dc_kw if roof.connected_at == "battery" else solar_kw
    kwh = float(make(roof, moved, hours).sum()) * hours.step_h
    side = "late" if shift_min > 0 else "early"
    return [
        f"weather: the stamps stand about {abs(shift_min):.0f} min {side} against the sun; read that much "
        f"{'earlier' if shift_min > 0 else 'later'} the roof would make {kwh:,.0f} kWh a year instead of "
        f"{made_kwh:,.0f} ({100 * (kwh / made_kwh - 1):+.1f}%), at other hours of the day: take an NSRDB CSV file or "
        "PVGIS's typical year of the place instead"
    ]


def _storm_note(site: Site) -> list[str]:
    """Where actual weather years were given and nothing asks for them."""
    outage = site.outage
    asked = outage.major is not None or outage.per_year is not None and outage.mean_h is not None
    if site.weather.storm_years is None or asked:
        return []
    return ["weather.storm_years is not used: it needs outage.per_year with mean_h, or outage.major"]


def shape_notes(loads: list) -> list[str]:
    """The home that weighs the end uses of a "whole-house" shape, where the site file does not describe it."""
    mine = [one for one in loads if getattr(one, "shape", None) == "whole-house"]
    defaults = (("floor_area_ft2", "2000 ft2"), ("bedrooms", "3 bedrooms"))
    used = [text for key, text in defaults if any(getattr(one, key, None) is None for one in mine)]
    return [f'shape "whole-house": {" and ".join(used)} (default)'] if used else []


def below_notes(site: Site, hours: Hours, rest, circuit_kw) -> list[str]:
    """The worst step in which the listed circuits take more than the meter of the whole house shows."""
    below = rest < -METER_SLACK_KW
    if not below.any():
        return []
    worst = int(np.argmin(rest))
    largest = site.circuit[int(np.argmax(circuit_kw[:, worst]))].name
    return [
        f"meter minus circuits is below -{METER_SLACK_KW} kW in {int(below.sum())} steps, "
        f"worst {rest[worst]:.2f} kW at {hours.local_text[worst]} (largest circuit then: {largest}); "
        "what may be switched over is cut to the meter"
    ]


def bills_caution(site: Site) -> list[str]:
    """The label of every result of a house that is known by its bills."""
    if not isinstance(site.service.whole_house, BillsLoad):
        return []
    return [
        f"{LABEL}: the house's energy is that of its bills, its hours within a cycle are modelled, not metered; "
        "highest demands and what a rate by hours costs may differ"
    ]


def capacity_notes(site: Site) -> list[str]:
    """How cold cells are taken, where a unit states what they give."""
    if not any(group.count and group.temperature and group.temperature.capacity for group in site.battery):
        return []
    return [
        "temperature.capacity: an outage begins with what the cells give at their temperature in its first step, what "
        "they keep back is not there; the year on the utility is left as it is"
    ]


def house_cautions(site: Site) -> list[str]:
    """Cautions that arise from the site file itself: cold cells without a place, a charger above its circuit."""
    out = bills_caution(site)
    for group in site.battery:
        if group.count and group.temperature and group.temperature.min_charge_c is not None and group.place is None:
            out.append(f'battery "{group.name}": place is not stated, so cold charging is not limited')
        if group.count and group.temperature and group.temperature.capacity is not None and group.place is None:
            out.append(f'battery "{group.name}": place is not stated, so no energy is taken off for cold cells')
        circuit_kw = group.charging_circuit.continuous_kw
        if group.charge_kw is not None and group.charge_kw > circuit_kw and not group.charge_adjustable:
            out.append(
                f'battery "{group.name}": charger of {group.charge_kw:g} kW on a charging circuit of '
                f"{circuit_kw:.2f} kW, simulated as if set to {circuit_kw:.2f} kW"
            )
    if site.outage.restart_soc > 0.0 and not solar_returns(site):
        out.append("outage.restart_soc is ignored: solar cannot return to the island as wired")
    return out
