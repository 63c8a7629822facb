"""The assignable circuits of a panel, what an assignment of legs comes to, and the limits that it meets."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from profiles.loads.circuit import Circuit
from profiles.noun import BadInput
from simulate.panel.checks.layout import LEG_VOLTS, Layout, peak_w, power_keys
from simulate.panel.checks.motor import start_of, starts_motor, surge_kva
from simulate.panel.checks.power import neutral_a
from simulate.panel.checks.spaces import Item, items_of

if TYPE_CHECKING:
    from simulate.site.site import Site

LEGS = ("A", "B")


@dataclass(frozen=True)
class LegFigures:
    """What an assignment of legs comes to; pairs are leg A and leg B.

    Attributes
    ----------
    running_kw, everything_kw : tuple of float
        All running, and everything on. [kW]
    start_kva : tuple of float
        The largest motor start on top of what else runs; 0 without a motor. [kVA]
    neutral_a : float
        Running current of the common neutral. [A]
    imbalance_frac : float
        Difference of the running loads over the larger.
    excess_kw : float
        By how much limits are exceeded, running, everything on and starts of both legs added up. [kW]
    hours : float or None
        Hours of the leg that dies first, where they were asked for. [h]
    """

    running_kw: tuple[float, float]
    everything_kw: tuple[float, float]
    start_kva: tuple[float, float]
    neutral_a: float
    imbalance_frac: float
    excess_kw: float
    hours: float | None = None

    def table(self) -> list[tuple[str, str, float | None]]:
        """Name, unit and value of every figure, for a reader."""
        return [
            ("running, leg A", "kW", self.running_kw[0]),
            ("running, leg B", "kW", self.running_kw[1]),
            ("everything on, leg A", "kW", self.everything_kw[0]),
            ("everything on, leg B", "kW", self.everything_kw[1]),
            ("largest start, leg A", "kVA", self.start_kva[0]),
            ("largest start, leg B", "kVA", self.start_kva[1]),
            ("neutral, running", "A", self.neutral_a),
            ("running loads apart", "frac", self.imbalance_frac),
            ("limits exceeded by", "kW", self.excess_kw),
            ("hours of the leg that dies first", "h", self.hours),
        ]


@dataclass(frozen=True)
class Bench:
    """The assignable circuits of a panel and the limits that they meet, as the search sees them.

    Attributes
    ----------
    layout : Layout
    items : tuple of Item
        Single-pole circuits and multiwire pairs: one choice each.
    """

    layout: Layout
    items: tuple[Item, ...]

    @cached_property
    def circuits(self) -> tuple[Circuit, ...]:
        return tuple(circuit for item in self.items for circuit in item.circuits)

    @cached_property
    def start_kva(self) -> dict[str, float]:
        """Start of each motor on one leg, its high end (its low end where there is no high one). [kVA]"""
        out = {}
        for circuit in self.layout.circuits:
            if not starts_motor(circuit) or circuit in self.layout.never_carried and circuit.poles == 2:
                continue
            start = start_of(circuit, self.layout.battery_volts(circuit))
            if not isinstance(start, list):
                amps = start.high_a if start.high_a < math.inf else start.low_a
                out[circuit.name] = amps * LEG_VOLTS / 1000.0
        return out

    def limit_kva(self, leg: str) -> float:
        """What a leg starts; no limit where no surge is given. [kVA]"""
        surge = surge_kva(self.layout, leg)
        return max(surge, self.layout.leg_kw(leg)) if surge else math.inf

    def legs(self, choice: tuple[int, ...]) -> dict[str, str]:
        """Legs by circuit: choice 0 puts a circuit, or the first mate of a pair, on leg A."""
        return {
            circuit.name: LEGS[(pick + k) % 2]
            for item, pick in zip(self.items, choice, strict=True)
            for k, circuit in enumerate(item.circuits)
        }

    def choice(self, legs: dict[str, str]) -> tuple[int, ...]:
        """The nearest choice to some legs: the first mate of a pair decides for both."""
        return tuple(LEGS.index(legs[item.circuits[0].name]) for item in self.items)

    def moves(self, legs: dict[str, str]) -> int:
        """How many circuits change their leg."""
        return sum(self.layout.legs_of(circuit)[0] != legs[circuit.name] for circuit in self.circuits)

    def two_pole_kw(self, watts: Callable[[Circuit], float]) -> float:
        """What two-pole circuits put on each leg. [kW]"""
        layout = self.layout
        return sum(watts(c) * layout.share(c, "A") for c in layout.circuits if c.poles == 2) / 1000.0

    def figures(self, legs: dict[str, str]) -> LegFigures:
        """What an assignment comes to."""
        running = tuple(self._leg_kw(legs, leg, _running_w) for leg in LEGS)
        everything = tuple(self._leg_kw(legs, leg, peak_w) for leg in LEGS)
        starts = tuple(self._start_kva(legs, leg) for leg in LEGS)
        limits = [self.layout.leg_kw(leg) for leg in LEGS]
        pairs = [*zip(running, limits, strict=True), *zip(everything, limits, strict=True)]
        pairs += zip(starts, map(self.limit_kva, LEGS), strict=True)
        larger = max(running)
        alone = [1000.0 * (kw - self.two_pole_kw(_running_w)) / LEG_VOLTS for kw in running]
        return LegFigures(
            running,
            everything,
            starts,
            neutral_a(*alone, self.layout.site.service.system),
            abs(running[0] - running[1]) / larger if larger > 0 else 0.0,
            sum(max(value - limit, 0.0) for value, limit in pairs),
        )

    def _leg_kw(self, legs: dict[str, str], leg: str, watts: Callable[[Circuit], float]) -> float:
        alone = sum(watts(circuit) for circuit in self.circuits if legs[circuit.name] == leg) / 1000.0
        return alone + self.two_pole_kw(watts)

    def _start_kva(self, legs: dict[str, str], leg: str) -> float:
        running = self._leg_kw(legs, leg, _running_w)
        worst = 0.0
        for circuit in self.layout.circuits:
            if circuit.name in self.start_kva and (circuit.poles == 2 or legs[circuit.name] == leg):
                own = circuit.running_w * (0.5 if circuit.poles == 2 else 1.0) / 1000.0
                worst = max(worst, running - own + self.start_kva[circuit.name])
        return worst


def _running_w(circuit: Circuit) -> float:
    return circuit.running_w


def bench_of(site: Site) -> Bench:
    """The assignable circuits of a site.

    Raises
    ------
    BadInput
        A service with one leg, or a circuit without `running_w`.
    """
    layout = Layout(site)
    if layout.legs != LEGS:
        raise BadInput(
            "has one leg, so there is nothing to balance",
            file=site.file,
            key="service.system",
            value=site.service.system,
        )
    keys = power_keys(layout.circuits)
    if keys:
        raise BadInput("is missing", file=site.file, key=keys[0], way_out="legs are balanced on power, not on averages")
    return Bench(layout, tuple(item for item in items_of(layout) if item.circuits[0].poles == 1))
