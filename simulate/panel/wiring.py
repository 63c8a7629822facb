"""The service, the sub-panel and the generator as nouns of the site file."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from profiles.circuit import BreakerNoun, NotNegative, Positive
from profiles.load import AnyLoads, MeterLoad
from profiles.noun import Noun, tagged


class Service(BreakerNoun):
    """The service and the main panel."""

    system: Literal["120/240", "120/208", "120"] = Field(
        "120/240", description='"120/240", "120/208" (two legs and neutral of a wye) or "120"'
    )
    main_breaker_a: Positive | None = Field(None, description="main breaker [A]")
    bus_a: Positive | None = Field(None, description="bus rating of the main panel [A]")
    free_spaces: int | None = Field(None, ge=0, description="free spaces in the main panel")
    calculated_load_va: NotNegative | None = Field(None, description="load calculation of the house as it is [VA]")
    load_method: Literal["220.82", "220.83", "220.87", "other"] | None = Field(
        None, description="how the load was calculated"
    )
    other_load: AnyLoads | None = Field(None, description="what stays on the main panel beside the listed circuits")
    whole_house: MeterLoad | None = Field(None, description="meter of the whole house, listed circuits included")


class Space(Noun):
    """Equal spaces of the sub-panel."""

    poles: Literal[1, 2] = Field(description="1 or 2")
    max_breaker_a: Positive = Field(description="the most that a space takes [A]")
    count: int = Field(1, ge=1, description="number of such spaces")


class Feeder(BreakerNoun):
    """The feeder of a sub-panel that has its own breakers."""

    breaker_a: Positive = Field(description="breaker rating [A]")
    awg: str = Field(description="conductor size, AWG")
    material: Literal["Cu", "Al"] = Field("Cu", description='"Cu" or "Al"')
    method: Literal["NM", "conduit", "cable"] = Field("conduit", description="wiring method")
    length_ft: Positive | None = Field(None, description="one-way length [ft]")


class Raceway(Noun):
    """A raceway between the two panels."""

    length_in: Positive = Field(description="length [in]")
    conductors: int = Field(ge=1, description="current-carrying conductors in it")
    ambient_c: float = Field(30.0, description="ambient temperature [degC]")


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

    mode: Literal["transfer", "interactive"] = Field(
        "transfer", description='"transfer": whole circuits, break before make; "interactive": parallel with the utility'
    )
    build: Literal["pass-through", "fed"] = Field("pass-through", description='"pass-through" or "fed" by a feeder')
    bus_a: Positive | None = Field(None, description="bus rating [A]")
    spaces: tuple[Space, ...] | None = Field(None, description="what the panel can take")
    feeder: Feeder | None = Field(None, description='feeder, only where build = "fed"')
    raceways: tuple[Raceway, ...] | None = Field(None, description="raceways between the two panels")
    neutral: Literal["solid", "switched"] | None = Field(None, description='"solid" or "switched" by the transfer')
    load_control: Literal["none", "by-hand", "automatic"] = Field("none", description="what drops low priorities")
    transfer: Transfer = Field(Transfer(), description="the transfer equipment")
    export: bool = Field(False, description="battery and solar behind it may export (only interactive)")


class Generator(Noun):
    """A generator and how it reaches the battery units."""

    kw: Positive = Field(description="continuous power [kW]")
    connection: Literal["interlocked-inlet", "unit-inlet"] = Field(
        description='"interlocked-inlet" (main panel) or "unit-inlet"; never a receptacle or branch circuit'
    )
    neutral_bonded: bool | None = Field(None, description="its neutral is bonded to its frame")
    fuel_per_h: Positive | None = Field(None, description="fuel at half load, per hour")


tagged("MeterLoad", MeterLoad)
