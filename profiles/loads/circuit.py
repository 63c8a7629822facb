"""A branch circuit as it is wired: poles, leg, breaker, what hangs on it, and what it draws when on."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import ConfigDict, Field, field_validator, model_validator

from profiles.loads.load import AnyLoads
from profiles.noun import BadInput, Noun, either

STANDARD_BREAKERS_A = (
    15,
    20,
    25,
    30,
    35,
    40,
    45,
    50,
    60,
    70,
    80,
    90,
    100,
    110,
    125,
    150,
    175,
    200,
    225,
    250,
    300,
    350,
    400,
    450,
    500,
    600,
    700,
    800,
    1000,
    1200,
    1600,
    2000,
    2500,
    3000,
    4000,
    5000,
    6000,
)
"""Standard ampere ratings of overcurrent devices, NEC 240.6(A). [A]"""

WIRE_SIZES = ("14", "12", "10", "8", "6", "4", "3", "2", "1", "1/0", "2/0", "3/0", "4/0")
CONSEQUENCES = ("medical", "flood", "heat", "water", "food", "comfort", None)
"""What is lost with a circuit, the gravest first; used wherever circuits tie or are ranked (our own order)."""
NEVER_BY_HAND = ("medical", "flood", "heat")
"""What an owner is never asked to switch off."""

ROOMS_OF_A_HOUSE = (
    "kitchen",
    "bedroom",
    "living",
    "bath",
    "laundry",
    "garage",
    "basement",
    "outdoor",
    "other",
)
CIRCUIT_KINDS = (
    "lighting",
    "receptacle",
    "small-appliance",
    "motor",
    "hvac",
    "heat",
    "water-heater",
    "cooking",
    "laundry",
    "ev",
    "medical",
)


def standard_breaker(rating: float) -> float:
    """A breaker rating that NEC 240.6(A) lists, else BadInput with the ratings on either side."""
    if rating not in STANDARD_BREAKERS_A:
        near = [str(a) for a in STANDARD_BREAKERS_A if a < rating][-1:] + [
            str(a) for a in STANDARD_BREAKERS_A if a > rating
        ][:1]
        raise BadInput(
            "must be a standard rating of NEC 240.6(A)", value=rating, way_out="use " + " or ".join(near) + " A"
        )
    return rating


class BreakerNoun(Noun):
    """Base of nouns that have a `breaker_a`."""

    @field_validator("breaker_a", "output_breaker_a", "main_breaker_a", check_fields=False)
    @classmethod
    def _listed(cls, value):
        return value if value is None else standard_breaker(value)


Positive = Annotated[float, Field(gt=0)]
NotNegative = Annotated[float, Field(ge=0)]
Fraction = Annotated[float, Field(ge=0, le=1)]
Leg = Literal["A", "B"]


class Wire(Noun):
    """The conductors of one circuit."""

    awg: Literal[WIRE_SIZES] = Field(description="conductor size, AWG")
    material: Literal["Cu", "Al"] = Field("Cu", description='"Cu" or "Al"')
    method: Literal["NM", "conduit", "cable"] = Field("NM", description='wiring method: "NM", "conduit" or "cable"')
    length_ft: Positive | None = Field(None, description="one-way length [ft]")


class Motor(Noun):
    """What is known of a motor's start."""

    hp: Positive | None = Field(None, description="rated power [hp]")
    code_letter: Literal[tuple("ABCDEFGHJKLMNPRSTUV")] | None = Field(
        None, description="locked-rotor code letter of the nameplate (NEC Table 430.7(B))"
    )
    lra_a: Positive | None = Field(None, description="locked-rotor current as printed [A]")
    inrush_a: Positive | None = Field(None, description="start current as measured with an inrush clamp [A]")
    start_va_range: tuple[Positive, Positive] | None = Field(
        None, description="or: low and high of an engineering range of the start; never better than marginal [VA]"
    )
    at_volts: Positive | None = Field(None, description="voltage that the figures are given at [V]")
    start_s: Positive = Field(1.0, description="duration of a start [s]")
    soft_start: bool = Field(False, description="has a soft starter")


class OutageScale(Noun):
    """What people make of a load in an outage, one factor per load case."""

    usual: NotNegative = Field(1.0, description="factor on the load in the usual case")
    frugal: NotNegative = Field(1.0, description="factor when people save")
    storm: NotNegative = Field(1.0, description="factor in the weather that caused the outage")


class Circuit(BreakerNoun):
    """A branch circuit: one breaker and all that hangs on its wire."""

    model_config = ConfigDict(json_schema_extra=either(("appliance",), ("breaker_a", "load")))

    name: str = Field(min_length=1, description="name of the circuit, once only in the file")
    appliance: str | None = Field(
        None, description="what of the library it is like: kind, breaker, watts, motor and load are taken from there"
    )
    count: int = Field(1, ge=1, le=40, description="number of equal circuits that the table stands for")
    on: Literal["sub-panel", "main", "candidate"] = Field(
        "sub-panel", description='"sub-panel", "main" or "candidate" (on the main panel until chosen)'
    )
    kind: Literal[CIRCUIT_KINDS] | None = Field(None, description="what it feeds: " + ", ".join(CIRCUIT_KINDS))
    breaker_a: Positive = Field(description="breaker rating [A]")
    poles: Literal[1, 2] = Field(1, description="1 or 2; a two-pole circuit needs both legs")
    leg: Leg | None = Field(None, description='"A" or "B"; only for single-pole circuits')
    priority: int = Field(1, ge=1, le=99, description="1 is kept longest")
    running_w: NotNegative | None = Field(None, description="what it draws when on [W]")
    largest_w: NotNegative | None = Field(
        None, description="the largest single appliance that may be switched on or plugged in [W]"
    )
    load: AnyLoads = Field(description="its energy: one load table or a list that is summed")
    outage_scale: NotNegative | OutageScale = Field(
        1.0, description="factor on the load in an outage, or one per load case"
    )
    motor: Motor | None = Field(None, description="what is known of a motor's start")
    mca_a: Positive | None = Field(None, description="minimum circuit ampacity from the nameplate [A]")
    mocp_a: Positive | None = Field(None, description="largest breaker that the nameplate allows [A]")
    wire: Wire | None = Field(None, description="conductor")
    gfci: Literal["breaker", "device", "none"] | None = Field(None, description="where its GFCI is")
    afci: Literal["breaker", "device", "none"] | None = Field(None, description="where its AFCI is")
    room: Literal[ROOMS_OF_A_HOUSE] | None = Field(
        None, description="room that it serves: " + ", ".join(ROOMS_OF_A_HOUSE) + "; GFCI and AFCI follow it"
    )
    main_space: int | None = Field(
        None, ge=1, le=84, description="number of its space in the main panel; of two poles the smaller one"
    )
    if_lost: Literal["food", "flood", "water", "heat", "medical", "comfort"] | None = Field(
        None, description="what is lost with it"
    )
    rate_transfer: bool = Field(False, description="may be switched to battery for the rate")
    multiwire_with: str | None = Field(None, description="the circuit that shares its neutral")
    also_on_wire: str | None = Field(None, description="what else is on the same wire")

    @model_validator(mode="after")
    def _agrees(self):
        if self.poles == 2 and self.leg is not None:
            raise BadInput(
                "must be left out where poles = 2: a two-pole circuit needs both legs", key="leg", value=self.leg
            )
        medical = 'if_lost = "medical"' if self.if_lost == "medical" else 'kind = "medical"'
        if self.is_medical and self.priority != 1:
            raise BadInput(f"must be 1 where {medical}", key="priority", value=self.priority)
        if self.is_medical and self.rate_transfer:
            raise BadInput(f"must be false where {medical}", key="rate_transfer", value=True)
        return self

    @property
    def is_medical(self) -> bool:
        return self.if_lost == "medical" or self.kind == "medical"

    @property
    def consequence(self) -> int:
        """Place in `CONSEQUENCES` of what is lost with it: 0 is the gravest."""
        return CONSEQUENCES.index("medical" if self.is_medical else self.if_lost)

    @property
    def may_be_switched_off(self) -> bool:
        """An owner may be asked to switch it off in an outage: below the first priority, no medical, flood or heat."""
        return self.priority > 1 and not self.is_medical and self.if_lost not in NEVER_BY_HAND

    def outage_factor(self, load_case: str) -> float:
        """Factor on the load in an outage of that load case."""
        scale = self.outage_scale
        return getattr(scale, load_case) if isinstance(scale, OutageScale) else scale
