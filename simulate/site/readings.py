"""Commissioning readings as they come back from the job, and the site re-rated from them."""

from __future__ import annotations

import difflib
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from pydantic import Field

from profiles.files import read_toml
from profiles.loads.circuit import Circuit, NotNegative, Positive
from profiles.loads.load import CyclingLoad, DailyLoad, NameplateLoad, SteadyLoad
from profiles.noun import BadInput, Noun, read_noun
from simulate.site.load_calculation import LINE_VOLTS

if TYPE_CHECKING:
    from simulate.site.site import Site

POWER_KEYS = {SteadyLoad: "kw", DailyLoad: "watts", CyclingLoad: "running_w", NameplateLoad: "nameplate_a"}
"""Loads that are told by their power, and the key that holds it: a reading of the power scales them."""


class CircuitReading(Noun):
    """What was read on one circuit while it ran."""

    name: str = Field(min_length=1, description="the circuit's name in the site file")
    amps: Positive | None = Field(None, description="running current, clamp on one hot [A]")
    volts: Positive | None = Field(None, description="volts at the circuit while it ran [V]")
    start_a: Positive | None = Field(None, description="start current, inrush clamp [A]")
    start_s: Positive | None = Field(None, description="how long the start took [s]")


class LegReading(Noun):
    """What was read on one leg of the sub-panel, on battery, everything running."""

    name: Literal["A", "B"] = Field(description='"A" or "B"')
    amps: NotNegative | None = Field(None, description="current [A]")
    volts: Positive | None = Field(None, description="volts to neutral [V]")


class ChargingReading(Noun):
    """What was read on the charging circuit of one unit at full rate."""

    name: str = Field(min_length=1, description="the battery group's name in the site file")
    amps: Positive = Field(description="current of one unit [A]")
    volts: Positive | None = Field(None, description="volts while it charged [V]")


class Readings(Noun):
    """The commissioning form as it came back."""

    date: str = Field(min_length=1, description='day of the readings, such as "2026-11-20"')
    by: str | None = Field(None, description="who read")
    circuit: tuple[CircuitReading, ...] = Field((), description="readings of circuits, one table each")
    leg: tuple[LegReading, ...] = Field((), description="readings of legs, on battery")
    charging: tuple[ChargingReading, ...] = Field((), description="readings of charging circuits")
    neutral_a: NotNegative | None = Field(None, description="current of the common neutral, on battery [A]")
    leg_to_leg_v: Positive | None = Field(None, description="volts between the legs, on battery [V]")
    break_s: NotNegative | None = Field(None, description="break while it transferred [s]")
    solar_returns_s: NotNegative | None = Field(None, description="solar came back to the island after [s]")

    @property
    def revision(self) -> str:
        """The line that every reissued sheet carries."""
        return f"Revision: as built, readings of {self.date}" + (f" by {self.by}." if self.by else ".")


@dataclass(frozen=True)
class Change:
    """One value of the site file that a reading replaces.

    Attributes
    ----------
    key : str
    was, now : object
    why : str
    """

    key: str
    was: Any
    now: Any
    why: str


@dataclass(frozen=True)
class Built:
    """A site as it was built.

    Attributes
    ----------
    site : Site
        With the readings in place of what was expected.
    readings : Readings
    changes : tuple of Change
    kept : tuple of str
        What a reading did not change, and why.
    """

    site: Site
    readings: Readings
    changes: tuple[Change, ...]
    kept: tuple[str, ...]


def read_readings(path: str | Path, site: Site) -> Readings:
    """Read a file of commissioning readings.

    Raises
    ------
    BadInput
        A file that cannot be read, a key that is not known, a name that is none of the site.
    """
    try:
        data = read_toml(path)
    except OSError as error:
        raise BadInput(f"cannot be read: {error.strerror or error}", file=path, way_out="check the path") from None
    readings = read_noun(Readings, data, file=path)
    _check(readings.circuit, [circuit.name for circuit in site.circuit], "circuit", path)
    _check(readings.charging, [group.name for group in site.battery if group.count], "charging", path)
    _check(readings.leg, ["A"] if site.service.system == "120" else ["A", "B"], "leg", path)
    return readings


def _check(read, known: list[str], table: str, path) -> None:
    names = [one.name for one in read]
    for name in names:
        if name not in known:
            close = difflib.get_close_matches(name, known, n=1)
            way_out = f'did you mean "{close[0]}"?' if close else "known: " + ", ".join(known)
            raise BadInput("is not of the site file", file=path, key=f"{table}.name", value=name, way_out=way_out)
        if names.count(name) > 1:
            raise BadInput("must be there once only", file=path, key=f"{table}.name", value=name)


def as_built(site: Site, readings: Readings) -> Built:
    """The site with its circuits, charging circuits and transfer re-rated from what was read.

    Notes
    -----
    Watts are amperes times volts, unity power factor (the nominal volts where none were read). A load that the site
    file tells by its power is scaled with it; one that was measured as energy stays as it is.
    """
    changes, kept = [], []
    for read in readings.circuit:
        circuit = next(one for one in site.circuit if one.name == read.name)
        changes += _circuit_changes(site, circuit, read, kept)
    for read in readings.charging:
        group = next(one for one in site.battery if one.name == read.name)
        kw = round(read.amps * (read.volts or float(group.charging_circuit.volts)) / 1000.0, 4)
        changes.append(Change(f'battery["{read.name}"].charge_kw', group.charge_kw, kw, "charging current as read"))
    if readings.break_s is not None:
        was = site.subpanel.transfer.break_ms
        changes.append(Change("subpanel.transfer.break_ms", was, 1000.0 * readings.break_s, "break as read"))
    if readings.solar_returns_s is not None and site.solar is not None:
        was = site.outage.reconnect_s
        changes.append(Change("outage.reconnect_s", was, readings.solar_returns_s, "return of solar as read"))
    new = site.with_values({one.key: one.now for one in changes})
    return Built(new, readings, tuple(changes), tuple(kept))


def nominal_v(site: Site, circuit: Circuit) -> float:
    """Volts that a circuit is rated at on the utility. [V]"""
    return LINE_VOLTS[site.service.system] if circuit.poles == 2 else 120.0


def _circuit_changes(site: Site, circuit: Circuit, read: CircuitReading, kept: list[str]) -> list[Change]:
    changes, key = [], f'circuit["{circuit.name}"]'
    if read.amps is not None:
        watts = round(read.amps * (read.volts or nominal_v(site, circuit)), 1)
        changes.append(Change(f"{key}.running_w", circuit.running_w, watts, "running current as read"))
        if circuit.largest_w is not None and circuit.largest_w < watts:
            changes.append(Change(f"{key}.largest_w", circuit.largest_w, watts, "not below what runs"))
        changes += _load_changes(circuit, watts, key, kept)
    if read.start_a is not None:
        motor = circuit.motor
        was = None if motor is None else motor.inrush_a
        changes.append(Change(f"{key}.motor.inrush_a", was, read.start_a, "start current as read"))
        volts = read.volts or nominal_v(site, circuit)
        changes.append(Change(f"{key}.motor.at_volts", motor and motor.at_volts, volts, "volts of that reading"))
    if read.start_s is not None:
        was = 1.0 if circuit.motor is None else circuit.motor.start_s
        changes.append(Change(f"{key}.motor.start_s", was, read.start_s, "duration of the start as read"))
    return changes


def _load_changes(circuit: Circuit, watts: float, key: str, kept: list[str]) -> list[Change]:
    """The loads that are told by their power, scaled with it."""
    loads = circuit.load if isinstance(circuit.load, tuple) else (circuit.load,)
    if circuit.running_w is None or circuit.running_w <= 0.0 or not any(type(one) in POWER_KEYS for one in loads):
        told = "energy" if circuit.running_w else "no running_w"
        kept.append(f"{circuit.name}: its load is told by {told}, so its energy stays as it was")
        return []
    ratio = watts / circuit.running_w
    new = [_scaled(one, ratio) for one in loads]
    value = new if isinstance(circuit.load, tuple) else new[0]
    return [Change(f"{key}.load", "as in the site file", value, f"scaled by {ratio:.3g} with the running power")]


def _scaled(load: Noun, ratio: float) -> dict:
    data = load.model_dump(by_alias=True, exclude_unset=True)
    power = POWER_KEYS.get(type(load))
    if power is not None:
        data[power] = data[power] * ratio
    return data
