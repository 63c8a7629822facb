"""Battery units as they are bought and wired: nameplate, charging circuit, leg, lock, warranty."""

from __future__ import annotations

import math
from typing import Literal

import numpy as np
from pydantic import ConfigDict, Field, field_validator, model_validator

from profiles.loads.circuit import WIRE_SIZES, BreakerNoun, Fraction, NotNegative, Positive, Wire
from profiles.noun import BadInput, Noun, either

CONTINUOUS = 0.8
"""Share of a breaker's rating that a load of three hours or more may draw (NEC 210.20(A), 215.3)."""

WARRANTY_YEARS = 10.0
"""Where the site file names none (JA12 of Title 24 asks for 10 years)."""

ROUND_TRIP_EFFICIENCY = 0.85
"""AC to AC, NREL Annual Technology Baseline 2020 after Cole and Frazier (2020)."""


def service_has(system: str, volts: float) -> bool:
    """The service has this voltage, between a leg and neutral or between its legs.

    Examples
    --------
    >>> service_has("120", 240), service_has("120/208", 208), service_has("120/240", 120)
    (False, True, True)
    """
    return volts in {"120/240": (120, 240), "120/208": (120, 208), "120": (120,)}[system]


class ChargingCircuit(BreakerNoun):
    """The branch circuit of the main panel that recharges one battery unit."""

    breaker_a: Positive = Field(description="breaker rating [A]")
    volts: Literal[120, 208, 240] = Field(description="120, 208 or 240 [V]")
    leg: Literal["A", "B"] | None = Field(None, description="leg of a 120 V circuit")
    wire: Wire | None = Field(None, description="conductor")

    @property
    def continuous_kw(self) -> float:
        """What the circuit carries for three hours or more: 80 % of the breaker, at unity power factor. [kW]"""
        return CONTINUOUS * self.breaker_a * self.volts / 1000.0


class Taper(Noun):
    """How the charge rate falls near full."""

    from_soc: float = Field(gt=0, le=1, description="state of charge at which the rate begins to fall [0 to 1]")
    to_frac: float = Field(gt=0, le=1, description="share of the full rate that is left at full [0 to 1]")


class CellTemperature(Noun):
    """What the cells can do at which temperature."""

    min_charge_c: float | None = Field(None, description="no charging below this cell temperature [degC]")
    capacity: tuple[tuple[float, float], ...] | None = Field(
        None,
        description="pairs of cell temperature [degC] and the share of the usable energy that it gives",
    )

    @field_validator("capacity")
    @classmethod
    def _rises(cls, value):
        if value is None:
            return value
        temps, fracs = [pair[0] for pair in value], [pair[1] for pair in value]
        if not value or temps != sorted(set(temps)) or not all(0.0 < frac <= 1.0 for frac in fracs):
            raise BadInput(
                "must be pairs of a temperature and a share above 0 and at most 1, the coldest first",
                value=value,
                way_out="write [[-10, 0.7], [0, 0.85], [25, 1.0]]",
            )
        return value

    def capacity_frac(self, cell_c: np.ndarray) -> np.ndarray:
        """Share of the usable energy that can be drawn at these cell temperatures, held beyond the ends. [0 to 1]

        Examples
        --------
        >>> float(CellTemperature(capacity=((-10, 0.7), (10, 0.9))).capacity_frac(np.array([0.0]))[0])
        0.8
        """
        if self.capacity is None:
            return np.ones(np.shape(cell_c))
        return np.interp(cell_c, [pair[0] for pair in self.capacity], [pair[1] for pair in self.capacity])


class Warranty(Noun):
    """Where the warranty ends: at the first of these."""

    years: Positive | None = Field(None, description="years")
    throughput_kwh: Positive | None = Field(None, description="energy delivered over the life [kWh]")
    retention_frac: Fraction | None = Field(None, description="share of the usable energy that is promised at the end")


class Battery(BreakerNoun):
    """A group of equal battery units on one leg, or on both."""

    model_config = ConfigDict(json_schema_extra=either(("source",), ("continuous_kw", "charging_circuit")))

    name: str | None = Field(None, min_length=1, description="name of the group, once only in the file")
    source: str | None = Field(None, description='file that describes one unit, or "library:NAME"; keys beside it win')
    count: int = Field(1, ge=0, le=99, description="number of equal units")
    leg: Literal["A", "B", "both"] = Field("A", description='"A", "B", or "both" for a unit with 120/240 V output')
    locked_with: str | None = Field(None, description="the group whose output is phase-locked 180 degrees apart")
    usable_kwh: Positive | None = Field(None, description="DC energy in the cells above the cutoff, one unit [kWh]")
    usable_kwh_ac: Positive | None = Field(None, description="or: AC energy that one full unit delivers [kWh]")
    nameplate_kwh: Positive | None = Field(None, description="nameplate energy, one unit [kWh]")
    continuous_kw: Positive = Field(description="continuous output, one whole unit [kW]")
    continuous_kw_per_leg: Positive | None = Field(None, description="of a 120/240 V unit; default half [kW]")
    output_breaker_a: Positive | None = Field(None, description="breaker of the output, one unit [A]")
    output_wire_awg: Literal[WIRE_SIZES] | None = Field(None, description="conductor of the output, AWG copper")
    surge_kva: Positive | None = Field(None, description="start power, one whole unit [kVA]")
    surge_kva_per_leg: Positive | None = Field(None, description="of a 120/240 V unit; default half [kVA]")
    surge_s: Positive | None = Field(None, description="how long the start power lasts [s]")
    after_trip: Literal["latches", "retries"] = Field("latches", description="what an overload trip does in an outage")
    charge_kw: Positive | None = Field(None, description="the charger's own AC limit, one unit [kW]")
    charge_adjustable: bool = Field(False, description="the charge rate can be set")
    charge_efficiency: float | None = Field(None, gt=0, le=1, description="one way, AC to cells [0 to 1]")
    discharge_efficiency: float | None = Field(None, gt=0, le=1, description="one way, cells to AC [0 to 1]")
    round_trip_efficiency: float | None = Field(
        None, gt=0, le=1, description="or: AC to AC, split as its square root on each side [0 to 1]"
    )
    no_load_w: NotNegative = Field(50.0, description="DC draw while inverting, one unit [W]")
    on_grid_w: NotNegative = Field(15.0, description="AC draw on the utility while not inverting, one unit [W]")
    taper: Taper | None = Field(None, description="how the charge rate falls near full")
    takes_back_kw: NotNegative = Field(0.0, description="AC power the output accepts while islanded, one unit [kW]")
    temperature: CellTemperature | None = Field(None, description="temperature limits of the cells")
    place: Literal["garage", "basement", "utility-closet", "outdoor-wall", "outdoor-pad", "detached"] | None = Field(
        None, description="where the units stand"
    )
    heated: bool | None = Field(None, description="the place is heated")
    terminals_c: Literal[60, 75] = Field(60, description="marking of its terminals [degC]")
    disconnect_in_sight: bool | None = Field(None, description="its disconnect is in sight of the units")
    output_length_ft: Positive | None = Field(None, description="one-way length of the output circuit [ft]")
    neutral_bond: Literal["floating", "bonded", "switches"] | None = Field(None, description="neutral of the output")
    warranty: Warranty | None = Field(None, description="where the warranty ends")
    fade_frac_per_year: Fraction = Field(
        0.02, description="usable energy lost each year (engineering range 0.01-0.035)"
    )
    installed_price: NotNegative | None = Field(None, description="price of one unit, installed")
    charging_circuit: ChargingCircuit = Field(description="the circuit that recharges one unit")

    @model_validator(mode="after")
    def _agrees(self):
        if (self.usable_kwh is None) == (self.usable_kwh_ac is None):
            raise BadInput(
                "must be given, or usable_kwh_ac, and not both", key="usable_kwh", way_out="give one of the two"
            )
        one_way = self.charge_efficiency is not None or self.discharge_efficiency is not None
        if self.round_trip_efficiency is not None and one_way:
            raise BadInput(
                "must not stand beside charge_efficiency or discharge_efficiency",
                key="round_trip_efficiency",
                value=self.round_trip_efficiency,
                way_out="give one or the other",
            )
        if self.usable_kwh is not None and self.nameplate_kwh is not None and self.usable_kwh > self.nameplate_kwh:
            raise BadInput(
                f"must not exceed nameplate_kwh, which is {self.nameplate_kwh:g}",
                key="usable_kwh",
                value=self.usable_kwh,
                way_out="one of the two was misread",
            )
        return self

    @property
    def eta_charge(self) -> float:
        """One-way efficiency AC to cells."""
        return self.charge_efficiency if self.charge_efficiency is not None else math.sqrt(self._round_trip())

    @property
    def eta_discharge(self) -> float:
        """One-way efficiency cells to AC."""
        return self.discharge_efficiency if self.discharge_efficiency is not None else math.sqrt(self._round_trip())

    def _round_trip(self) -> float:
        return ROUND_TRIP_EFFICIENCY if self.round_trip_efficiency is None else self.round_trip_efficiency

    @property
    def unit_kwh(self) -> float:
        """DC energy in the cells of one unit. [kWh]"""
        return self.usable_kwh if self.usable_kwh is not None else self.usable_kwh_ac / self.eta_discharge

    @property
    def unit_charge_kw(self) -> float:
        """AC charging limit of one unit: the smaller of its circuit's continuous power and its charger. [kW]"""
        circuit_kw = self.charging_circuit.continuous_kw
        return circuit_kw if self.charge_kw is None else min(circuit_kw, self.charge_kw)

    @property
    def end_frac(self) -> float:
        """Share of the usable energy at the end of the warranty: as promised, else what the yearly fade leaves."""
        if self.warranty is not None and self.warranty.retention_frac is not None:
            return self.warranty.retention_frac
        years = WARRANTY_YEARS if self.warranty is None or self.warranty.years is None else self.warranty.years
        return max(1.0 - self.fade_frac_per_year * years, 0.0)

    def output_volts(self, system: str) -> float:
        """Volts across the whole output of one unit."""
        if self.leg != "both":
            return 120.0
        return 208.0 if system == "120/208" else 240.0

    def unit_kw(self, system: str) -> float:
        """Continuous output of one unit: its rating, or 80 % of its output breaker if that is less. [kW]"""
        if self.output_breaker_a is None:
            return self.continuous_kw
        return min(self.continuous_kw, CONTINUOUS * self.output_breaker_a * self.output_volts(system) / 1000.0)

    def unit_kw_per_leg(self, system: str) -> float:
        """Continuous output of one unit on each leg it feeds. [kW]"""
        if self.leg != "both":
            return self.unit_kw(system)
        whole = self.unit_kw(system)
        half = self.continuous_kw / 2.0 if self.continuous_kw_per_leg is None else self.continuous_kw_per_leg
        breaker_kw = math.inf if self.output_breaker_a is None else CONTINUOUS * self.output_breaker_a * 0.12
        return min(half, whole, breaker_kw)
