"""The owner's list: what to switch off by hand in an outage, and what each step gains on the leg that dies first."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from simulate.document.answers import first_dead, hardest_month
from simulate.document.words import hours_text
from simulate.house.ride import RideThrough, ride_through
from simulate.physics.outages.spread import SEASONS, nine_in_ten

LEAST_GAIN_H = 0.05
"""A step that gains less is not printed: hours are shown in tenths. [h]"""
IN = ("winter", "summer")


@dataclass(frozen=True)
class Step:
    """One circuit that is switched off after those before it; hours nine times in ten, by season. [h]"""

    circuit: str
    before_h: dict[str, float]
    after_h: dict[str, float]
    horizon_h: float

    @property
    def text(self) -> str:
        """Such as "Study off: 11 h -> 13 h in winter, 14 h -> 17 h in summer"."""
        told = lambda hours: hours_text(hours, self.horizon_h)
        gains = (f"{told(self.before_h[name])} -> {told(self.after_h[name])} in {name}" for name in IN)
        return f"{self.circuit} off: {', '.join(gains)}"

    def document(self) -> dict:
        """Plain data."""
        return {"circuit": self.circuit, "before_h": self.before_h, "after_h": self.after_h, "text": self.text}


@dataclass(frozen=True)
class SwitchOff:
    """The owner's list.

    Attributes
    ----------
    leg : str or None
        The leg that dies first in the hardest month.
    steps : tuple of Step
        By the hours that each regains alone, printed cumulatively.
    note : str
        Why there is none, or "".
    """

    leg: str | None
    steps: tuple[Step, ...]
    note: str = ""

    @property
    def text(self) -> list[str]:
        """A line a step, or why there is none."""
        return [step.text for step in self.steps] or [self.note]

    def document(self) -> dict:
        """Plain data."""
        return {"leg": self.leg, "steps": [step.document() for step in self.steps], "note": self.note}


def switch_off_of(ride: RideThrough) -> SwitchOff:
    """What to switch off in an outage, in the order of the hours that it regains on the leg that dies first.

    Parameters
    ----------
    ride : RideThrough
        With everything on. Each circuit is switched off by itself from the start of every outage and simulated; the
        one that regains the most, winter and summer together, comes first, then what is printed is simulated again
        with all before it off.

    Examples
    --------
    >>> from simulate.site.site import read_site
    >>> [step.circuit for step in switch_off_of(ride_through(read_site())).steps]
    ['Living room and television', 'Room heat pump', 'Well pump']
    """
    leg = first_dead(ride, hardest_month(ride))[0]
    if leg is None:
        return SwitchOff(None, (), "Nothing goes dead within the hours that are followed.")
    pools = [p for p, pool in enumerate(ride.house.pools) if leg == "both" or leg in pool.legs]
    on = [c for k, c in enumerate(ride.house.circuits) if (ride.house.share[pools, k] > 0.0).any()]
    may = [circuit.name for circuit in on if circuit.may_be_switched_off]
    if not may:
        return SwitchOff(leg, (), _none_text(ride))
    hours = lambda off: _leg_hours(ride_through(ride.run, load_case=ride.load_case, without=off), pools)
    start = _leg_hours(ride, pools)
    gain = {name: sum(hours((name,)).values()) - sum(start.values()) for name in may}
    order = sorted((name for name in may if gain[name] >= LEAST_GAIN_H), key=lambda name: -gain[name])
    steps, before = [], start
    for k, name in enumerate(order):
        after = hours(tuple(order[: k + 1]))
        steps.append(Step(name, before, after, ride.horizon_h))
        before = after
    return SwitchOff(leg, tuple(steps), "" if steps else "Switching off what may be switched off gains no hours.")


def _none_text(ride: RideThrough) -> str:
    if all(circuit.priority == 1 for circuit in ride.house.circuits):
        return "Every backed-up circuit has priority 1: none is named to be switched off."
    return "No circuit on the leg that dies first may be switched off: first priority, medical, flood or heat."


def _leg_hours(ride: RideThrough, pools: list[int]) -> dict[str, float]:
    """Hours until these pools leave a leg dark, nine times in ten, by season. [h]"""
    if not ride.dark.dark_h.shape[1]:
        return dict.fromkeys(IN, ride.horizon_h)
    hours = np.minimum(ride.dark.dark_h[:, pools].min(axis=1), ride.horizon_h)
    months = ride.house.hours.month
    return {name: nine_in_ten(hours[np.isin(months, SEASONS[name])]) for name in IN}
