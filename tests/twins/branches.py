"""Which branches of the twin a run went through: a comparison that never meets a case says nothing about it."""

from collections import Counter

SEEN: Counter = Counter()


def seen(branch: str, happened: bool = True) -> bool:
    """Count a branch where it happened; returns whether it did."""
    if happened:
        SEEN[branch] += 1
    return happened


EVERY = (
    # hour axis
    "clock goes forward", "clock goes back", "window over midnight", "day of 24 equal hours",
    # loads
    "load kw", "load hours a day", "load minutes an hour", "load nameplate", "load measured", "load by weekday",
    "load by months", "load list",
    # pools
    "pool on leg A", "pool on leg B", "pool on both legs", "two groups on one leg", "charger below its circuit",
    "circuit below its charger", "output breaker limits", "locked pair", "two legs not locked",
    # plans
    "plan keep-full", "plan self-consumption", "plan time-of-use", "no price pays", "reserve by month", "held full",
    "only the sun charges", "floor rises ahead", "units may export", "wear counts",
    # the step on the utility
    "fills from the utility", "fills from surplus", "fills from both in a step", "taper binds", "full inside the step",
    "serves in parallel", "serves to the floor", "exports from the cells", "surplus shared by room",
    "need shared", "stands by", "switched over", "switched over to the floor", "pair serves two poles",
    "surplus goes out", "surplus is curtailed", "waits: too little for the least stay", "year closes at once",
    "year walked again", "sun on the cells", "sun on full cells", "sub-panel sun while switched over",
    # the outage
    "leg empties", "leg trips", "trip latches", "trip is retried", "load control drops", "dropped by hand",
    "other pole opens", "outlives the horizon", "storm load", "sun carries the island", "sun waits",
    "cells full in the island", "starts full", "starts at a share", "thrown by hand", "never carried",
    "no priority 1 carried", "several go at once", "consequence decides", "kept for a restart", "loads return",
    "sun held off", "other leg is the reason",
    # the bill
    "flat price", "season", "period of weekdays", "holiday is a weekend", "tier", "second tier", "demand charge",
    "demand charge of some months", "rider", "tax", "minimum bill", "net metering", "credit carried", "net billing",
    "export earns nothing", "credit by month",
)  # fmt: skip
"""Every branch that the hundred sites of the default suite must have met."""
