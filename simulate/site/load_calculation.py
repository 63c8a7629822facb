"""The load calculation of a dwelling by the method that the site file names: one number, and its lines, for every verb.

Comes in: `[service]` with its rows, its number or its meter. Goes out: `ServiceLoad`, or what is missing for it.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from profiles.loads.circuit import Circuit
from simulate.site.demand import highest_demand
from simulate.site.editions import edition_year, numbered, section, since
from simulate.site.wiring import Calculation

if TYPE_CHECKING:
    from simulate.site.site import Site

LIGHTING_VA_PER_FT2 = {2011: 3.0, 2026: 2.0}
"""General lighting by the first edition that it holds from, NEC 220.12/220.41; 2026 from trade-press notes. [VA/ft2]"""

OPTIONAL_FIRST_VA = {2011: 10_000.0, 2026: 8_000.0}
"""First tier of the optional method, NEC 220.82(B); 2026 from trade-press notes. [VA]"""

EXISTING_FIRST_VA = 8_000.0
"""First tier of the method for existing dwellings, NEC 220.83. [VA]"""

LEAST_VEHICLE_VA = {2011: 0.0, 2023: 7_200.0}
"""Least load of electric vehicle supply, NEC 220.57 (2023); before, its nameplate. [VA]"""

CIRCUIT_VA = 1500.0
"""A small-appliance or laundry circuit, NEC 220.52. [VA]"""

LIGHTING_TIERS = ((3_000.0, 1.0), (117_000.0, 0.35), (math.inf, 0.25))
"""Demand of general lighting: width of the tier [VA] and factor, NEC Table 220.42 (220.45 from 2023)."""

NEUTRAL_FRAC = 0.7
"""Share of range and dryer demand that the neutral carries, NEC 220.61(B)."""

FIXED_FRAC, FIXED_FROM = 0.75, 4
"""Four or more appliances fastened in place at 75 %, NEC 220.53."""

REST_FRAC = 0.4
"""What is above the first tier of both optional methods, NEC 220.82(B), 220.83."""

HEATING_FRAC, HEATING_FRAC_FROM_FOUR, STRIPS_FRAC = 0.65, 0.4, 0.65
"""Electric space heating of fewer than four, and of four or more, separately controlled units; supplementary strips of
a heat pump: NEC 220.82(C), from memory."""

LARGEST_MOTOR_FRAC = 0.25
"""On top of the largest motor, NEC 220.50 and 430.24."""

MEASURED_FACTOR = 1.25
"""On the highest demand on record, NEC 220.87."""

LEAST_DRYER_VA = 5000.0
LEAST_OPTIONAL_A = 100.0
"""The optional method is for 3-wire services of 100 A or more, NEC 220.82(A). [A]"""

LINE_VOLTS = {"120/240": 240.0, "120/208": 208.0, "120": 120.0}
Lines = tuple[tuple[str, float], ...]


@dataclass(frozen=True)
class HouseLoad:
    """A load calculation with its lines.

    Attributes
    ----------
    va, neutral_va : float
        [VA]
    lines : tuple of (str, float)
        What was added, in order. [VA]
    """

    va: float
    neutral_va: float
    lines: Lines


@dataclass(frozen=True)
class ServiceLoad:
    """The one load of a service, or what is missing for it.

    Attributes
    ----------
    va, neutral_va : float or None
        [VA]
    how : str
        Where the number comes from, for a reader.
    volts : float
        That the current is counted at. [V]
    lines : tuple of (str, float)
        Of the calculation, for the printed sheet. [VA]
    missing : tuple of str
        Keys to give; only where `va` is None.
    not_in_rows : tuple of str
        Keys of rows that the method asks for and the circuits suggest, with the circuit's name.
    doubts : tuple of str
        What an authority may read otherwise: with one of these the load is never better than marginal.
    notes : tuple of str
        How it was counted where there is a choice.
    """

    va: float | None
    how: str
    volts: float
    neutral_va: float | None = None
    lines: Lines = ()
    missing: tuple[str, ...] = ()
    not_in_rows: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def amps(self) -> float | None:
        """[A]"""
        return None if self.va is None else self.va / self.volts


def range_va(nameplate_va: float) -> float:
    """Demand of one household range.

    Notes
    -----
    Column C of Table 220.55: 8 kVA to 12 kVA of nameplate, 5 % more for each further kVA or major part of it, to 27;
    column A, 80 %, below 3.5 kVA, column B, 80 %, to 8.75 kVA (one range).

    References
    ----------
    NEC Table 220.55 with notes 1 and 3, from memory but for the 12 kW row (Annex D, example D1(a)).

    Examples
    --------
    >>> range_va(12_000.0), range_va(14_000.0), range_va(5_000.0)
    (8000.0, 8800.0, 4000.0)
    """
    kva = nameplate_va / 1000.0
    if kva <= 8.75:
        return 0.8 * nameplate_va
    over = max(math.floor(kva - 12.0 + 0.5), 0)
    return 8000.0 * (1.0 + 0.05 * over)


def _general_va(rows: Calculation, year: int) -> list[tuple[str, float]]:
    per_ft2 = since(LIGHTING_VA_PER_FT2, year)
    return [
        (f"general lighting, {rows.floor_area_ft2:g} ft2 x {per_ft2:g} VA", rows.floor_area_ft2 * per_ft2),
        (f"small-appliance circuits, {rows.small_appliance_circuits}", CIRCUIT_VA * rows.small_appliance_circuits),
        (f"laundry circuits, {rows.laundry_circuits}", CIRCUIT_VA * rows.laundry_circuits),
    ]


def lighting_demand_va(va: float) -> float:
    """Demand of general lighting, small-appliance and laundry circuits together.

    Examples
    --------
    >>> lighting_demand_va(9_000.0)
    5100.0
    """
    demand_va = 0.0
    for width, factor in LIGHTING_TIERS:
        part = min(va, width)
        demand_va, va = demand_va + part * factor, va - part
    return demand_va


def _split(rows: Calculation) -> tuple[float, float, list]:
    """Demand of ranges and of dryers, and the appliances in place."""
    ranges = sum(range_va(one.va) for one in rows.appliances if one.kind == "range")
    dryers = sum(max(one.va, LEAST_DRYER_VA) for one in rows.appliances if one.kind == "dryer")
    return ranges, dryers, [one for one in rows.appliances if one.kind == "fixed"]


def _neutral_va(rows: Calculation, year: int) -> float:
    lighting_va = lighting_demand_va(sum(va for _, va in _general_va(rows, year)))
    ranges, dryers, fixed = _split(rows)
    at_120 = [one.va for one in fixed if one.volts == 120]
    factor = FIXED_FRAC if len(at_120) >= FIXED_FROM else 1.0
    return lighting_va + NEUTRAL_FRAC * (ranges + dryers) + factor * sum(at_120)


def climate_va(rows: Calculation, heating_frac: float, strips_frac: float) -> list[tuple[str, float]]:
    """The selections of heating and cooling, of which the largest counts. [VA]

    Parameters
    ----------
    rows : Calculation
    heating_frac, strips_frac : float
        Factor on electric space heating and on the supplementary strips of a heat pump. [0 to 1]

    Examples
    --------
    A compressor of 4,200 VA and strips of 10,000 VA that run with it:

    >>> max(va for _, va in climate_va(Calculation(floor_area_ft2=1, heat_pump_va=4200, strip_heat_va=1e4), 0.65, 0.65))
    10700.0
    """
    strips = strips_frac * rows.strip_heat_va
    together = rows.heat_pump_va + strips
    pump = together if rows.strips_with_compressor else max(rows.heat_pump_va, strips)
    with_strips = "and" if rows.strips_with_compressor else "or (they cannot run together)"
    return [
        ("air conditioning at 100%", rows.cooling_va),
        (f"heat pump compressor at 100% {with_strips} strips at {strips_frac:.0%}", pump),
        (f"electric space heating at {heating_frac:.0%}", heating_frac * rows.heating_va),
        ("heating expected to be continuous at 100%", rows.continuous_heating_va),
    ]


def _largest(selections: list[tuple[str, float]]) -> tuple[str, float]:
    name, va = max(selections, key=lambda one: one[1])
    return (
        (f"heating or cooling, the largest: {name}", va) if va > 0.0 else ("heating or cooling, none in the rows", 0.0)
    )


def vehicle_va(rows: Calculation, year: int) -> float:
    """Electric vehicle supply, entered by itself: its nameplate, from 2023 on 7,200 VA at least. [VA]

    Examples
    --------
    >>> vehicle_va(Calculation(floor_area_ft2=1_500, ev_va=5_760), 2023)
    7200.0
    """
    return max(rows.ev_va, since(LEAST_VEHICLE_VA, year)) if rows.ev_va > 0.0 else 0.0


def _vehicle_line(rows: Calculation, year: int) -> list[tuple[str, float]]:
    name = f"electric vehicle supply, by itself at 100%, {section('vehicle', year)}"
    return [(name, vehicle_va(rows, year))] if rows.ev_va > 0.0 else []


def standard_load(rows: Calculation, year: int = 2023) -> HouseLoad:
    """Service load of a dwelling by the standard method.

    Parameters
    ----------
    rows : Calculation
    year : int
        Edition of the NEC.

    References
    ----------
    NEC Article 220 Part III (Article 120 from 2026); Annex D, example D1(a).

    Examples
    --------
    >>> from simulate.site.wiring import Nameplate
    >>> kitchen = Nameplate(name="range", va=12_000.0, kind="range")
    >>> laundry = Nameplate(name="dryer", va=5_500.0, kind="dryer")
    >>> load = standard_load(Calculation(floor_area_ft2=1_500.0, appliances=(kitchen, laundry)))
    >>> load.va, load.neutral_va
    (18600.0, 14550.0)
    """
    general = _general_va(rows, year)
    ranges, dryers, fixed = _split(rows)
    factor = FIXED_FRAC if len(fixed) >= FIXED_FROM else 1.0
    counted = [
        ("of these, 3,000 VA at 100% and the rest at 35%", lighting_demand_va(sum(va for _, va in general))),
        (f"ranges, {section('ranges', year)}", ranges),
        ("dryers, nameplate, 5,000 VA at least", dryers),
        (
            f"appliances in place at {factor:.0%}, {section('fixed-demand', year)}",
            factor * sum(one.va for one in fixed),
        ),
        *_vehicle_line(rows, year),
        _largest(climate_va(rows, 1.0, 1.0)),
    ]
    if rows.largest_motor_va > 0.0:
        counted.append(("25% of the largest motor", LARGEST_MOTOR_FRAC * rows.largest_motor_va))
    return HouseLoad(sum(va for _, va in counted), _neutral_va(rows, year), (*general, *counted))


def _tiered(rows: Calculation, year: int, first_va: float) -> tuple[list[tuple[str, float]], float]:
    """Lines of the general part of both optional methods, and its demand."""
    connected = _general_va(rows, year) + [(one.name, one.va) for one in rows.appliances]
    total = sum(va for _, va in connected)
    demand_va = min(total, first_va) + REST_FRAC * max(total - first_va, 0.0)
    return [*connected, (f"of these, {first_va:,.0f} VA at 100% and the rest at 40%", demand_va)], demand_va


def optional_load(rows: Calculation, year: int = 2023) -> HouseLoad:
    """Service load of a dwelling by the optional method.

    References
    ----------
    NEC 220.82 (120.82 from 2026); Annex D, example D2(a); heat pumps by 220.82(C)(2) to (4), from memory.

    Examples
    --------
    >>> optional_load(Calculation(floor_area_ft2=1_500.0, heating_va=9_000.0, heating_units=5)).va
    12600.0
    """
    lines, demand_va = _tiered(rows, year, since(OPTIONAL_FIRST_VA, year))
    frac = HEATING_FRAC if rows.heating_units < 4 else HEATING_FRAC_FROM_FOUR
    climate = _largest(climate_va(rows, frac, STRIPS_FRAC))
    vehicle = _vehicle_line(rows, year)
    va = demand_va + climate[1] + sum(one for _, one in vehicle)
    return HouseLoad(va, _neutral_va(rows, year), (*lines, *vehicle, climate))


def existing_load(rows: Calculation, year: int = 2023) -> HouseLoad:
    """Service load of an existing dwelling: the first 8 kVA, 40 % of the rest, heating or cooling apart at 100 %.

    References
    ----------
    NEC 220.83(B), from memory: where heating or cooling is not added, (A) leaves them in the part at 40 %, which is
    less; the larger of the two is taken here.

    Examples
    --------
    10,000 VA of lighting and appliances, 3,000 VA of air conditioning: 8,000 + 800 + 3,000.

    >>> existing_load(Calculation(floor_area_ft2=1_833 + 1 / 3, cooling_va=3_000.0)).va
    11800.0
    """
    lines, demand_va = _tiered(rows, year, EXISTING_FIRST_VA)
    climate, vehicle = _largest(climate_va(rows, 1.0, 1.0)), _vehicle_line(rows, year)
    va = demand_va + climate[1] + sum(one for _, one in vehicle)
    return HouseLoad(va, _neutral_va(rows, year), (*lines, *vehicle, climate))


METHODS: dict[str, tuple[str, Callable[[Calculation, int], HouseLoad]]] = {
    "standard": ("standard method, {load-calculation}", standard_load),
    "220.82": ("optional method, {optional}", optional_load),
    "220.83": ("existing dwelling, {existing}", existing_load),
}
"""Methods that calculate from rows: how each is called, and what calculates it."""

VEHICLE_NOTE = (
    "Electric vehicle supply is entered by itself at 100%; some authorities take it into the general part of an "
    "optional method."
)
SOME_VOID_IT = (
    "some authorities read the exception of {measured} (renewable energy or peak shaving on the service) for the whole "
    "method"
)


def service_load(site: Site) -> ServiceLoad:
    """The calculated load of a site's service: as given, from its rows, or measured.

    Parameters
    ----------
    site : Site

    Returns
    -------
    ServiceLoad

    Examples
    --------
    >>> from simulate.site.site import read_site
    >>> service_load(read_site()).va, service_load(read_site()).how
    (20400.0, 'as given, 220.83')
    """
    service, volts = site.service, LINE_VOLTS[site.service.system]
    if service.load_method == "220.87":
        return _measured(site, volts)
    if service.calculated_load_va is not None:
        return ServiceLoad(service.calculated_load_va, _given(service), volts, notes=_other_number(site))
    if service.calculation is None:
        return ServiceLoad(None, "", volts, missing=("service.calculated_load_va",))
    return _from_rows(site, volts)


def _given(service) -> str:
    return f"as given, {service.load_method or 'method not stated'}"


def _other_number(site: Site) -> tuple[str, ...]:
    """Where rows stand beside a number that differs from them."""
    rows = _from_rows(site, 1.0) if site.service.calculation is not None else None
    if rows is None or rows.va is None or abs(rows.va - site.service.calculated_load_va) < 1.0:
        return ()
    return (f"The rows of [service.calculation] come to {rows.va:,.0f} VA ({rows.how}); the number given is taken.",)


def _from_rows(site: Site, volts: float) -> ServiceLoad:
    service, year = site.service, edition_year(site.site.code_edition)
    method = service.load_method or "standard"
    if method not in METHODS:
        key = "service.calculated_load_va (load_method is one that is not calculated here)"
        return ServiceLoad(None, method, volts, missing=(key,))
    if year is None:
        return ServiceLoad(None, method, volts, missing=("site.code_edition",))
    if method == "220.82" and _too_small(service):
        key = 'service.load_method = "standard": 220.82 is for 3-wire services of 100 A or more'
        return ServiceLoad(None, method, volts, missing=(key,))
    name, calculate = METHODS[method]
    load = calculate(service.calculation, year)
    unnamed = "" if service.load_method else ", no method named"
    return ServiceLoad(
        load.va,
        numbered(name, year) + unnamed,
        volts,
        load.neutral_va,
        load.lines,
        not_in_rows=_not_in_rows(site),
        notes=_choices(site, method),
    )


def _choices(site: Site, method: str) -> tuple[str, ...]:
    """How it was counted where there is a choice, and the motor that the standard method asks for."""
    rows = site.service.calculation
    motors = [circuit.name for circuit in site.circuit if circuit.motor is not None or circuit.kind == "motor"]
    notes = (VEHICLE_NOTE,) if rows.ev_va > 0.0 and method != "standard" else ()
    if method == "standard" and motors and not rows.largest_motor_va:
        notes += (f"25% of the largest motor (430.24) is not in the rows; motors are on {', '.join(motors)}.",)
    return notes


def _too_small(service) -> bool:
    main_a = service.main_breaker_a
    return service.system == "120" or (main_a is not None and main_a < LEAST_OPTIONAL_A)


def _not_in_rows(site: Site) -> tuple[str, ...]:
    """Rows that the circuits suggest and the calculation does not hold."""
    named = [(_suggested(circuit, site.service.calculation), circuit.name) for circuit in site.circuit]
    return tuple(f"service.calculation.{key} ({name})" for key, name in named if key is not None)


def _suggested(circuit: Circuit, rows: Calculation) -> str | None:
    """The row that a circuit suggests and the calculation does not hold."""
    is_pump, two_pole = "heat pump" in circuit.name.lower() and circuit.kind != "water-heater", circuit.poles == 2
    if circuit.kind == "ev" and not rows.ev_va:
        return "ev_va"
    if is_pump and not rows.heat_pump_va:
        return "heat_pump_va"
    if circuit.kind == "hvac" and two_pole and not rows.heat_pump_va + rows.cooling_va:
        return "heat_pump_va"
    if circuit.kind == "heat" and two_pole and not rows.heating_va + rows.strip_heat_va + rows.continuous_heating_va:
        return "heating_va"
    if circuit.kind in ("cooking", "water-heater") and two_pole and not rows.appliances:
        return "appliances"
    return None


def _measured(site: Site, volts: float) -> ServiceLoad:
    """By the highest demand on record: as given, as read off a meter, or the number that was worked out from it."""
    service = site.service
    if service.calculated_load_va is not None and service.highest_demand_kw is None:
        return _judged(site, service.calculated_load_va, _given(service), service.demand_record, volts)
    if service.highest_demand_kw is not None:
        kw, record, how = service.highest_demand_kw, service.demand_record, "highest demand on record, {measured}"
    elif service.whole_house is not None and hasattr(service.whole_house, "meter"):
        read = highest_demand(site)
        if read.kw is None:
            return ServiceLoad(None, "220.87", volts, missing=(read.missing,))
        kw, record, how = read.kw, read.record, f"highest 15 minutes of {read.text}, {{measured}}"
    else:
        return ServiceLoad(None, "220.87", volts, missing=("service.highest_demand_kw", "service.demand_record"))
    va = MEASURED_FACTOR * kw * 1000.0
    lines = (("highest 15-minute demand, as VA at unity power factor", kw * 1000.0), ("at 125%", va))
    return _judged(site, va, numbered(how, edition_year(site.site.code_edition)), record, volts, lines)


def _judged(site: Site, va: float, how: str, record: str | None, volts: float, lines: Lines = ()) -> ServiceLoad:
    """Whether a measured demand may stand beside solar or a battery that cuts peaks."""
    if not (site.solar is not None or (site.operation.plan != "keep-full" and any(g.count for g in site.battery))):
        return ServiceLoad(va, how, volts, lines=lines)
    if record != "year":
        words = "a 30-day record does not stand beside solar or peak shaving" if record else "how long the record is"
        key = f'service.demand_record = "year" ({words}), or a calculation by 220.82 or 220.83'
        return ServiceLoad(None, how, volts, lines=lines, missing=(key,))
    doubt = numbered(SOME_VOID_IT, edition_year(site.site.code_edition))
    return ServiceLoad(va, how, volts, lines=lines, doubts=(doubt,))
