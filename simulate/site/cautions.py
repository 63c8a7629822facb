"""The cautions that stand beside results, in plain words."""

from __future__ import annotations

LICENSED = (
    "This is a planning estimate. Design and installation must be done by a licensed electrician under permit where "
    "required. The authority having jurisdiction and the serving utility decide what is acceptable. Rule references "
    "name the edition used, which may not be the one adopted here; follow local code."
)
ENERGIZED = (
    "De-energize, lock out and tag, and verify absence of voltage with a tested meter before working. A battery "
    "inverter can energize conductors when the utility is off; more than one source may be present."
)
ESTIMATES = (
    "Runtimes and savings are modelled from the data listed and typical weather or past years. They are estimates, "
    "not guarantees; use, weather, tariffs and equipment will differ."
)
LIFE_SUPPORT = (
    "Do not rely on this system as the only power for life-sustaining equipment. Make a plan with the clinician, "
    "device supplier and utility, including independent backup and a place to go."
)
BACKFEED = "Never connect a source to premises wiring without transfer equipment that prevents backfeed."
GENERATORS = "Generators run outdoors only, away from openings; carbon monoxide kills."
MONEY = "Not tax, legal or financial advice. Check incentives, dates and interconnection terms."
FIRE = (
    "Follow the listing, clearances, detection and disconnect rules for the location; tell first responders where "
    "the disconnect is."
)
SHORT = (
    "Modelled planning estimate, not a guarantee. De-energize and verify before working. Licensed electrician; local "
    "code and the authority having jurisdiction decide. Never the only power for life support."
)
ALWAYS = (LICENSED, ENERGIZED, ESTIMATES, LIFE_SUPPORT, BACKFEED, FIRE)

TWO_POLE = "Two-pole loads: {names}: served only if both units are locked together. If one stops, both poles must open."
BREAKERS = (
    "Breakers on battery: a short circuit may shut the unit down instead of opening the breaker. Find the fault before "
    "you reset."
)
AFTER_TRIP = (
    "After a trip: if the unit trips, its circuits stay dark until someone resets it. Nobody home: no heat, no sump."
)
HEATERS = "Heaters: a portable heater on any backed-up receptacle can trip the unit or empty it in an hour or two."
SOLAR_OFF = "Solar is off in an outage: the roof makes nothing as wired."
SOLAR_RETURNS = (
    "Solar returns about five minutes after the units form a grid, in daylight, and not once they are empty."
)
WATER_HEATER = "Water heater: set to heat-pump only in an outage; its element alone is 4.5 kW."
GFCI = "A tripped GFCI stays tripped: look at {names} after each transfer."
ENERGY_ONLY = "Power is the mean of a {step_min}-minute step: energy only, short overloads are not seen."
ONE_YEAR = "These are {n:,} starts in one modelled year. They overlap; do not read them as {n:,} years of experience."
SHARED_NEUTRAL = "Shared neutral: do not energise until corrected."
MANUAL = "Hours count from the moment somebody throws the transfer switch."
SWITCHING = (
    "Switching for the rate: these circuits lose power for a moment {n} times a year so that the bill is "
    "lower: {names}."
)


def cautions_of(site, *, returns: bool, switches_a_year: int = 0, switched: tuple[str, ...] = ()) -> list[str]:
    """The cautions that a site calls for, the loudest first.

    Parameters
    ----------
    site : Site
    returns : bool
        Solar can come back to the island.
    switches_a_year : int
        Breaks a year that switching for the rate makes on the circuit with the most.
    switched : tuple of str
        The circuits that are switched.
    """
    backed = [circuit for circuit in site.circuit if circuit.on == "sub-panel"]
    kinds = {circuit.kind for circuit in backed}
    out = []
    if any(circuit.is_medical for circuit in backed):
        out.append(LIFE_SUPPORT)
    if site.subpanel.transfer.kind == "manual":
        out.append(MANUAL)
    if site.solar is not None:
        out.append(SOLAR_RETURNS if returns else SOLAR_OFF)
    if any(circuit.poles == 2 for circuit in backed):
        out.append(TWO_POLE.format(names=_names(circuit for circuit in backed if circuit.poles == 2)))
    if any(group.after_trip == "latches" for group in site.battery):
        out.append(AFTER_TRIP)
    if kinds & {"receptacle", "small-appliance", "laundry", None}:
        out.append(HEATERS)
    if "water-heater" in kinds:
        out.append(WATER_HEATER)
    behind = [circuit for circuit in backed if circuit.gfci in ("breaker", "device")]
    if behind:
        out.append(GFCI.format(names=_names(behind)))
    if switches_a_year:
        out.append(SWITCHING.format(n=switches_a_year, names=", ".join(switched)))
    if site.site.step_min > 5:
        out.append(ENERGY_ONLY.format(step_min=site.site.step_min))
    if site.generator is not None:
        out.append(GENERATORS)
    out += [BREAKERS, *ALWAYS, MONEY]
    return list(dict.fromkeys(out))


def _names(circuits) -> str:
    return ", ".join(circuit.name for circuit in circuits)
