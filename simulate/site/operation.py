"""How a site file says that the system is run on the utility: plan, reserve, charging source."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from profiles.loads.circuit import Fraction, NotNegative
from profiles.noun import Noun

PLANS = (
    "keep-full",
    "self-consumption",
    "time-of-use",
    "demand-limit",
    "forecast",
    "least-cost",
    "best-possible",
)


class HoldFull(Noun):
    """A time in which the units are kept full, such as the days before a storm."""

    start: str = Field(alias="from", description="local start, 2025-09-10T00:00")
    end: str = Field(alias="to", description="local end")


class Operation(Noun):
    """How the system is run on the utility."""

    plan: Literal[PLANS] | None = Field(None, description="one of " + ", ".join(PLANS))
    reserve: Fraction | tuple[Fraction, ...] | Literal["best"] | None = Field(
        None, description='floor of rate-driven operation: one share of full, twelve by month, or "best" [0 to 1]'
    )
    reserve_for_h: NotNegative = Field(12.0, description='of reserve = "best": hours to be survived [h]')
    reserve_share: float = Field(0.9, ge=0, le=1, description='of reserve = "best": in this share of outages')
    charge_from: Literal["any", "solar"] = Field("any", description='"any" or "solar"')
    wear_per_kwh: NotNegative = Field(0.0, description="wear counted against cycling, per kWh DC discharged")
    after_outage: Literal["reserve-then-off-peak", "at-once", "off-peak"] = Field(
        "reserve-then-off-peak", description="how the units refill after an outage"
    )
    after_outage_wait_min: NotNegative = Field(15.0, description="wait after the utility returns [min]")
    hold_full: tuple[HoldFull, ...] = Field((), description="times in which the units are kept full")
