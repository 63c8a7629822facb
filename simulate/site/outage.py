"""What a site file asks about outages: how long they are followed, from which charge, how often they come."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from profiles.loads.circuit import Fraction, NotNegative, Positive
from profiles.noun import Noun


class MajorEvents(Noun):
    """Long interruptions apart from the everyday ones."""

    per_year: NotNegative = Field(description="interruptions a year")
    mean_h: Positive = Field(description="hours each [h]")


class Outage(Noun):
    """What outages are asked about."""

    horizon_h: float = Field(336.0, gt=0, le=2000, description="outages are followed for so long [h]")
    start_soc: Literal["as-run", "full"] | Fraction = Field("as-run", description='"as-run", "full" or a fraction')
    load_case: Literal["usual", "frugal", "storm"] = Field("usual", description='"usual", "frugal" or "storm"')
    restart_soc: Fraction = Field(0.0, description="loads are dropped here to keep a grid for solar; 0: no restart")
    reconnect_s: NotNegative = Field(300.0, description="solar waits this long on a new island (IEEE 1547) [s]")
    per_year: NotNegative | None = Field(None, description="interruptions a year (IEEE 1366 SAIFI)")
    mean_h: Positive | None = Field(None, description="hours each (CAIDI) [h]")
    sigma: NotNegative | None = Field(None, description="of the logarithm of the duration")
    major: MajorEvents | None = Field(None, description="major events apart")
    month_weights: tuple[NotNegative, ...] | None = Field(
        None, min_length=12, max_length=12, description="twelve weights by month"
    )
