"""The service, the sub-panel and the generator as nouns of the site file."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator

from profiles.loads.circuit import WIRE_SIZES, BreakerNoun, NotNegative, Positive
from profiles.loads.load import AnyLoads, MeterLoad, WholeHouse
from profiles.noun import BadInput, Noun, tagged


class Nameplate(Noun):
    """One appliance of the load calculation."""

    name: str = Field(min_length=1, description="name of the appliance")
    va: Positive = Field(description="nameplate rating [VA]")
    kind: Literal["range", "dryer", "fixed"] = Field("fixed", description='"range", "dryer" or "fixed" (in place)')
    volts: Literal[120, 208, 240] = Field(240, description="120 V appliances load the neutral [V]")


class Calculation(Noun):
    """Rows of a load calculation of the dwelling."""

    floor_area_ft2: Positive = Field(description="floor area [ft2]")
    small_appliance_circuits: int = Field(2, ge=2, description="small-appliance branch circuits")
    laundry_circuits: int = Field(1, ge=0, description="laundry branch circuits")
    appliances: tuple[Nameplate, ...] = Field((), description="nameplates of ranges, dryers and appliances in place")
    heating_va: NotNegative = Field(0.0, description="electric space heating, not that of a heat pump [VA]")
    heating_units: int = Field(1, ge=1, description="separately controlled units of electric space heating")
    continuous_heating_va: NotNegative = Field(
        0.0, description="electric thermal storage and other heating expected to be continuous at full nameplate [VA]"
    )
    cooling_va: NotNegative = Field(0.0, description="air conditioning [VA]")
    heat_pump_va: NotNegative = Field(0.0, description="compressor of a heat pump [VA]")
    strip_heat_va: NotNegative = Field(0.0, description="supplementary strips of a heat pump [VA]")
    strips_with_compressor: bool = Field(True, description="false: strips and compressor cannot run together")
    ev_va: NotNegative = Field(0.0, description="electric vehicle supply, nameplate, all together [VA]")
    largest_motor_va: NotNegative = Field(0.0, description="the largest motor, of the standard method [VA]")


class Service(BreakerNoun):
    """The service and the main panel."""

    system: Literal["120/240", "120/208", "120"] = Field(
        "120/240", description='"120/240", "120/208" (two legs and neutral of a wye) or "120"'
    )
    main_breaker_a: Positive | None = Field(None, description="main breaker [A]")
    bus_a: Positive | None = Field(None, description="bus rating of the main panel [A]")
    free_spaces: int | None = Field(None, ge=0, description="free spaces in the main panel")
    spaces: int | None = Field(None, ge=2, le=84, description="spaces of the main panel in all; odd left, even right")
    free_at: tuple[int, ...] | None = Field(None, description="numbers of the free spaces of the main panel")
    gutter_in2: Positive | None = Field(
        None, description="cross section of the main panel's wiring space, where it is narrowest [in2]"
    )
    calculated_load_va: NotNegative | None = Field(None, description="load calculation of the house as it is [VA]")
    load_method: Literal["220.82", "standard", "220.83", "220.87", "other"] | None = Field(
        None,
        description='how the load is calculated: "220.82" (optional), "standard", "220.83" (existing dwelling), '
        '"220.87" (measured demand) or "other" (only with calculated_load_va)',
    )
    highest_demand_kw: Positive | None = Field(
        None, description='of load_method = "220.87": highest 15-minute demand on record [kW]'
    )
    demand_record: Literal["year", "30-day"] | None = Field(
        None, description='of load_method = "220.87": how long the record is, "year" or "30-day"'
    )
    calculation: Calculation | None = Field(None, description="or: rows that the load is calculated from")
    other_load: AnyLoads | None = Field(None, description="what stays on the main panel beside the listed circuits")
    whole_house: WholeHouse | None = Field(
        None, description="meter or bills of the whole house, listed circuits included"
    )
    terminals_c: Literal[60, 75] = Field(60, description="marking of the main panel's terminals [degC]")
    fault_current_ka: Positive | None = Field(None, description="available fault current at the main panel [kA]")
    interrupting_ka: Positive | None = Field(None, description="least interrupting rating of its breakers [kA]")
    emergency_disconnect: bool | None = Field(None, description="an emergency disconnect stands outdoors (dwelling)")


class Space(Noun):
    """Equal spaces of the sub-panel."""

    poles: Literal[1, 2] = Field(description="1 or 2")
    max_breaker_a: Positive = Field(description="the most that a space takes [A]")
    count: int = Field(1, ge=1, description="number of such spaces")
    leg: Literal["A", "B"] | None = Field(None, description="leg that a single-pole space sits on; none: either")

    @model_validator(mode="after")
    def _agrees(self):
        if self.poles == 2 and self.leg is not None:
            raise BadInput("must be left out: a two-pole space has both legs", key="leg", value=self.leg)
        return self


class Feeder(BreakerNoun):
    """The feeder of a sub-panel that has its own breakers."""

    breaker_a: Positive = Field(description="breaker rating [A]")
    awg: Literal[WIRE_SIZES] = Field(description="conductor size, AWG")
    material: Literal["Cu", "Al"] = Field("Cu", description='"Cu" or "Al"')
    method: Literal["NM", "conduit", "cable"] = Field("conduit", description="wiring method")
    length_ft: Positive | None = Field(None, description="one-way length [ft]")


class Raceway(Noun):
    """A raceway between the two panels."""

    length_in: Positive = Field(description="length [in]")
    conductors: int | None = Field(
        None, ge=1, description="current-carrying conductors in it; not given: counted from what runs in it"
    )
    circuits: tuple[str, ...] | None = Field(
        None, description="circuits that run in it; not given: all of the sub-panel (asked for with several raceways)"
    )
    charging: tuple[str, ...] = Field((), description="battery groups whose charging circuits run in it too")
    trade_size: Literal["1/2", "3/4", "1", "1-1/4", "1-1/2", "2"] | None = Field(None, description="trade size [in]")
    type: Literal["EMT", "PVC-40", "RMC", "LFMC"] = Field(
        "EMT", description='"EMT", "PVC-40" (schedule 40), "RMC" or "LFMC" (liquidtight flexible metal)'
    )
    ambient_c: float = Field(30.0, le=60.0, description="ambient temperature [degC]")
    awg: Literal[WIRE_SIZES] | None = Field(None, description="conductor size in it; not given: that of each circuit")
    material: Literal["Cu", "Al"] = Field("Cu", description='"Cu" or "Al", where awg is given')


class Transfer(Noun):
    """How a circuit goes from the utility to the battery."""

    kind: Literal["automatic", "manual"] = Field("automatic", description='"automatic" or "manual"')
    break_ms: NotNegative | None = Field(None, description="break while it transfers [ms]")
    least_stay_min: NotNegative = Field(0.0, description="least time on the battery once switched for the rate [min]")
    rated_a: Positive | None = Field(None, description="rated current of a pole [A]")
    rated_hp: Positive | None = Field(None, description="rated motor power of a pole [hp]")
    rated_operations: Positive | None = Field(None, description="operations that it is rated for")
    at_home: tuple[str, ...] = Field((), description='of a manual transfer: when somebody is there, ["17:00-08:00"]')


class Subpanel(BreakerNoun):
    """The backed-up sub-panel."""

    source: str | None = Field(None, description='file that describes the panel, or "library:NAME"; keys beside it win')
    mode: Literal["transfer", "interactive"] = Field(
        "transfer", description='"transfer": whole circuits, break before make | "interactive": parallel with utility'
    )
    build: Literal["pass-through", "fed"] = Field("pass-through", description='"pass-through" or "fed" by a feeder')
    bus_a: Positive | None = Field(None, description="bus rating [A]")
    terminals_c: Literal[60, 75] = Field(60, description="marking of its terminals [degC]")
    parallel_units: bool | None = Field(
        None,
        description="its listing takes several units in parallel on one leg; asked for only where there are several",
    )
    surge_protection: bool | None = Field(None, description="it has surge protection")
    spaces: tuple[Space, ...] | None = Field(None, description="what the panel can take")
    feeder: Feeder | None = Field(None, description='feeder, only where build = "fed"')
    raceways: tuple[Raceway, ...] | None = Field(None, description="raceways between the two panels")
    neutral: Literal["solid", "switched"] | None = Field(None, description='"solid" or "switched" by the transfer')
    load_control: Literal["none", "by-hand", "automatic"] = Field("none", description="what drops low priorities")
    load_control_kw: Positive | None = Field(None, description="the most that automatic load control connects [kW]")
    at_one_time: tuple[str, ...] | None = Field(
        None, description="of a manual transfer: circuits that are intended to run at one time"
    )
    power_control: bool = Field(False, description="a listed power control system limits the busbars (NEC 705.13)")
    transfer: Transfer = Field(Transfer(), description="the transfer equipment")
    export: bool = Field(False, description="battery and solar behind it may export (only interactive)")


class Generator(Noun):
    """A generator and how it reaches the battery units."""

    kw: Positive = Field(description="continuous power [kW]")
    connection: Literal["interlocked-inlet", "unit-inlet"] = Field(
        description='"interlocked-inlet" (main panel) or "unit-inlet"; never a receptacle or branch circuit'
    )
    volts: Literal[120, 240] | None = Field(
        None, description="output: 120 (one pole) or 240 with neutral; not given: both legs of the service [V]"
    )
    inlet_a: Positive | None = Field(None, description="rating of its inlet and of the breaker behind it [A]")
    neutral_bonded: bool | None = Field(None, description="its neutral is bonded to its frame")
    fuel_per_h: Positive | None = Field(None, description="fuel at half load, per hour")


tagged("MeterLoad", MeterLoad)
