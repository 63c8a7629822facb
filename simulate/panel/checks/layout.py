"""The sub-panel as it is wired: which circuit hangs on which leg, and what feeds each leg on battery."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

from profiles.loads.circuit import Circuit
from simulate.site.pools import are_locked
from simulate.site.unit import Battery

if TYPE_CHECKING:
    from simulate.site.site import Site

PLUGGED_KINDS = ("receptacle", "small-appliance", "laundry")
"""Kinds that anything may be plugged into: `largest_w` is asked of them."""

LEG_VOLTS = 120.0


@dataclass(frozen=True)
class Simulated:
    """What only the simulation knows, shown beside the figures of the checks and never a verdict of its own.

    Attributes
    ----------
    mean_kw : mapping of leg to float
        The highest mean of a step on each leg over the year. [kW]
    average_kw : mapping of leg to float
        The mean of the year on each leg. [kW]
    step_h : float or None
        Length of a step. [h]
    switches_per_year : mapping of circuit to float
        How often each circuit is switched for the rate in a year.
    lowest_cell_c : mapping of battery group to float
        Lowest cell temperature of the year. [degC]
    solar_max_kw : float or None
        The most that solar gives in a step. [kW]
    house_peak_kw : float or None
        The highest import of the house in a step, batteries not charging. [kW]
    lowest_load_kw : float or None
        The least that the sub-panel draws in a step. [kW]
    """

    mean_kw: Mapping[str, float] = field(default_factory=dict)
    average_kw: Mapping[str, float] = field(default_factory=dict)
    step_h: float | None = None
    switches_per_year: Mapping[str, float] = field(default_factory=dict)
    lowest_cell_c: Mapping[str, float] = field(default_factory=dict)
    solar_max_kw: float | None = None
    house_peak_kw: float | None = None
    lowest_load_kw: float | None = None


@dataclass(frozen=True)
class Layout:
    """A site's sub-panel with every leg resolved."""

    site: Site
    simulated: Simulated = Simulated()

    @cached_property
    def circuits(self) -> tuple[Circuit, ...]:
        """Circuits on the sub-panel, in file order."""
        return tuple(circuit for circuit in self.site.circuit if circuit.on == "sub-panel")

    @cached_property
    def groups(self) -> tuple[Battery, ...]:
        """Battery groups that have a unit."""
        return tuple(group for group in self.site.battery if group.count)

    @property
    def legs(self) -> tuple[str, ...]:
        """Legs of the service."""
        return ("A",) if self.site.service.system == "120" else ("A", "B")

    @property
    def line_volts(self) -> float:
        """Volts between the two legs on the utility; 0 on a 120 V service."""
        return {"120/240": 240.0, "120/208": 208.0, "120": 0.0}[self.site.service.system]

    @cached_property
    def both(self) -> bool:
        """The units have 120/240 V outputs."""
        return any(group.leg == "both" for group in self.groups)

    @cached_property
    def fed_legs(self) -> tuple[str, ...]:
        """Legs that a battery unit feeds."""
        if self.both:
            return self.legs
        return tuple(leg for leg in self.legs if any(group.leg == leg for group in self.groups))

    @cached_property
    def carries_two_pole(self) -> bool:
        """On battery both legs are up and phase-locked."""
        return self.legs == ("A", "B") and (self.both or (self.fed_legs == ("A", "B") and are_locked(self.site)))

    def legs_of(self, circuit: Circuit) -> tuple[str, ...]:
        """Legs of a circuit: both for two poles, else as stated, else the only leg that has a unit, else "A"."""
        if circuit.poles == 2:
            return ("A", "B")
        return (circuit.leg or ("B" if self.fed_legs == ("B",) else "A"),)

    @cached_property
    def never_carried(self) -> tuple[Circuit, ...]:
        """Two-pole circuits without a locked pair and circuits on a leg without a unit: no wiring can serve them."""
        return tuple(
            circuit
            for circuit in self.circuits
            if (not self.carries_two_pole if circuit.poles == 2 else self.legs_of(circuit)[0] not in self.fed_legs)
        )

    @cached_property
    def carried(self) -> tuple[Circuit, ...]:
        """Circuits on the sub-panel that the wiring can serve at all."""
        return tuple(circuit for circuit in self.circuits if circuit not in self.never_carried)

    def share(self, circuit: Circuit, leg: str) -> float:
        """Share of a circuit's power that a leg carries on battery; 0 for a two-pole circuit that is never carried."""
        legs = self.legs_of(circuit)
        if leg not in legs or (circuit.poles == 2 and not self.carries_two_pole):
            return 0.0
        return 1.0 / len(legs)

    def on_leg(self, leg: str) -> list[Circuit]:
        """Circuits that draw from a leg on battery."""
        return [circuit for circuit in self.circuits if self.share(circuit, leg)]

    def volts(self, circuit: Circuit) -> float:
        """Volts that a circuit runs at on the utility."""
        return self.line_volts if circuit.poles == 2 else LEG_VOLTS

    @property
    def battery_line_volts(self) -> float:
        """Volts between the legs on battery: a pair locked 180 degrees apart gives 240 V on any service."""
        return self.line_volts if self.both else 2.0 * LEG_VOLTS

    def battery_volts(self, circuit: Circuit) -> float:
        """Volts that a circuit runs at on battery."""
        return self.battery_line_volts if circuit.poles == 2 else LEG_VOLTS

    def groups_on(self, leg: str) -> list[Battery]:
        """Battery groups that feed a leg."""
        return [group for group in self.groups if group.leg in (leg, "both")]

    def leg_kw(self, leg: str) -> float:
        """Continuous output on a leg, all its units. [kW]"""
        system = self.site.service.system
        return sum(group.count * group.unit_kw_per_leg(system) for group in self.groups_on(leg))

    @property
    def whole_kw(self) -> float:
        """Continuous output of all units. [kW]"""
        return sum(group.count * group.unit_kw(self.site.service.system) for group in self.groups)

    def pair_of(self, circuit: Circuit) -> Circuit | None:
        """The circuit that shares its neutral, wherever it hangs and whichever of the two names the other."""
        for other in self.site.circuit:
            if other is not circuit and (circuit.multiwire_with == other.name or other.multiwire_with == circuit.name):
                return other
        return None


def unit_names(group: Battery) -> list[str]:
    """One name per unit of a group."""
    return [group.name] if group.count == 1 else [f"{group.name} no. {k + 1}" for k in range(group.count)]


def peak_w(circuit: Circuit) -> float:
    """The larger of what a circuit draws when on and its largest single appliance. [W]"""
    return max(circuit.running_w, circuit.largest_w or 0.0)


def power_keys(circuits, *, largest: bool = True) -> list[str]:
    """Keys that a power check needs and does not find."""
    keys = []
    for circuit in circuits:
        if circuit.running_w is None:
            keys.append(f'circuit "{circuit.name}".running_w')
        if largest and circuit.largest_w is None and circuit.kind in PLUGGED_KINDS:
            keys.append(f'circuit "{circuit.name}".largest_w')
    return keys


@dataclass(frozen=True)
class Demand:
    """Power on one leg or on the whole sub-panel, from what circuits draw and never from an average.

    Attributes
    ----------
    running_kw, largest_two_kw, everything_kw : float
        All running; the two largest appliances on top of that; everything on. [kW]
    """

    running_kw: float
    largest_two_kw: float
    everything_kw: float


def demand(layout: Layout, legs: tuple[str, ...], circuits=None) -> Demand:
    """Demand of circuits (all that are carried, by default) on some legs; each must have the keys of `power_keys`."""
    circuits = layout.carried if circuits is None else circuits
    rows = [(circuit, sum(layout.share(circuit, leg) for leg in legs)) for circuit in circuits]
    running = sum(circuit.running_w * share for circuit, share in rows)
    steps = sorted(((peak_w(circuit) - circuit.running_w) * share for circuit, share in rows), reverse=True)
    return Demand(running / 1000.0, (running + sum(steps[:2])) / 1000.0, (running + sum(steps)) / 1000.0)
