"""The load calculation of a dwelling, by the standard and by the optional method."""

from __future__ import annotations

import math
from dataclasses import dataclass

from simulate.site.wiring import Calculation, Service

LIGHTING_VA_PER_FT2 = {2011: 3.0, 2026: 2.0}
"""General lighting by the first edition that it holds from, NEC 220.12/220.41; 2026 from trade-press notes. [VA/ft2]"""

OPTIONAL_FIRST_VA = {2011: 10_000.0, 2026: 8_000.0}
"""First tier of the optional method, NEC 220.82(B); 2026 from trade-press notes. [VA]"""

CIRCUIT_VA = 1500.0
"""A small-appliance or laundry circuit, NEC 220.52. [VA]"""

LIGHTING_TIERS = ((3_000.0, 1.0), (117_000.0, 0.35), (math.inf, 0.25))
"""Demand of general lighting: width of the tier [VA] and factor, NEC Table 220.42 (220.45 from 2023)."""

NEUTRAL_FRAC = 0.7
"""Share of range and dryer demand that the neutral carries, NEC 220.61(B)."""

FIXED_FRAC, FIXED_FROM = 0.75, 4
"""Four or more appliances fastened in place at 75 %, NEC 220.53."""

OPTIONAL_REST_FRAC = 0.4
HEATING_FRAC, HEATING_FRAC_FROM_FOUR = 0.65, 0.4
"""Electric space heating of fewer than four, and of four or more, separately controlled units, NEC 220.82(C)."""

LEAST_DRYER_VA = 5000.0


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
    lines: tuple[tuple[str, float], ...]


def _since(table: dict[int, float], year: int) -> float:
    return table[max(first for first in table if first <= year)]


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
    per_ft2 = _since(LIGHTING_VA_PER_FT2, year)
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


def _neutral_va(rows: Calculation, lighting_va: float) -> float:
    ranges, dryers, fixed = _split(rows)
    at_120 = [one.va for one in fixed if one.volts == 120]
    factor = FIXED_FRAC if len(at_120) >= FIXED_FROM else 1.0
    return lighting_va + NEUTRAL_FRAC * (ranges + dryers) + factor * sum(at_120)


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
    lighting_va = lighting_demand_va(sum(va for _, va in general))
    ranges, dryers, fixed = _split(rows)
    factor = FIXED_FRAC if len(fixed) >= FIXED_FROM else 1.0
    climate = max(rows.heating_va, rows.cooling_va)
    lines = [
        *general,
        ("of these, 3,000 VA at 100 % and the rest at 35 %", lighting_va),
        ("ranges, Table 220.55", ranges),
        ("dryers, nameplate, 5,000 VA at least", dryers),
        (f"appliances in place at {factor:.0%}", factor * sum(one.va for one in fixed)),
        ("heating or cooling, the larger", climate),
    ]
    total = lighting_va + ranges + dryers + factor * sum(one.va for one in fixed) + climate
    return HouseLoad(total, _neutral_va(rows, lighting_va), tuple(lines))


def optional_load(rows: Calculation, year: int = 2023) -> HouseLoad:
    """Service load of a dwelling by the optional method.

    References
    ----------
    NEC 220.82 (120.82 from 2026); Annex D, example D2(a).

    Examples
    --------
    >>> optional_load(Calculation(floor_area_ft2=1_500.0, heating_va=9_000.0, heating_units=5)).va
    12600.0
    """
    general = _general_va(rows, year)
    first_va = _since(OPTIONAL_FIRST_VA, year)
    named = [(one.name, one.va) for one in rows.appliances]
    connected = sum(va for _, va in general + named)
    demand_va = min(connected, first_va) + OPTIONAL_REST_FRAC * max(connected - first_va, 0.0)
    frac = HEATING_FRAC if rows.heating_units < 4 else HEATING_FRAC_FROM_FOUR
    climate = max(rows.heating_va * frac, rows.cooling_va)
    lines = [
        *general,
        *named,
        (f"of these, {first_va:,.0f} VA at 100 % and the rest at 40 %", demand_va),
        (f"heating at {frac:.0%} or cooling at 100 %, the larger", climate),
    ]
    lighting_va = lighting_demand_va(sum(va for _, va in general))
    return HouseLoad(demand_va + climate, _neutral_va(rows, lighting_va), tuple(lines))


def house_load(service: Service, year: int | None) -> tuple[float | None, str]:
    """The house's calculated load and how it is known: as given, else from its rows. [VA]"""
    if service.calculated_load_va is not None:
        return service.calculated_load_va, f"as given, {service.load_method or 'method not stated'}"
    if service.calculation is None or year is None:
        return None, ""
    if service.load_method == "220.82":
        return optional_load(service.calculation, year).va, "optional method"
    return standard_load(service.calculation, year).va, "standard method"
