"""The noun of an interval meter: what was read, on which clock, and what was odd about it."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from profiles.meter.readings.clock import Clock

NO_QUALITY = -1
_NAMED = 3


@dataclass(frozen=True)
class Issue:
    """One kind of oddity: how often it occurs, where it first stands, and what was done about it."""

    kind: str
    count: int
    where: str
    done: str


def where(starts, clock: Clock) -> str:
    """The first few local stamps, and how many more there are."""
    starts = np.asarray(starts)
    named = ", ".join(clock.stamp(start) for start in starts[:_NAMED])
    return named if len(starts) <= _NAMED else f"{named} and {len(starts) - _NAMED} more"


def merged(issues) -> tuple[Issue, ...]:
    """One issue a kind: counts added, places and remedies in a row."""
    by_kind: dict[str, list[Issue]] = {}
    for issue in issues:
        by_kind.setdefault(issue.kind, []).append(issue)
    return tuple(
        Issue(
            kind,
            sum(one.count for one in group),
            "; ".join(dict.fromkeys(one.where for one in group)),
            "; ".join(dict.fromkeys(one.done for one in group)),
        )
        for kind, group in by_kind.items()
    )


def estimates_text(asked: bool) -> str:
    """What is said of a file without a mark of quality: that nothing is there only where it was looked for."""
    return "the file says nothing of estimates" if asked else "marks of estimates were not looked for in a row a day"


@dataclass(frozen=True)
class Point:
    """One set of readings that a file offers, without names, addresses or account numbers."""

    id: str
    kind: str
    direction: str
    interval_min: float
    readings: int
    start: str
    end: str
    energy_kwh: float | None
    chosen: bool = False

    def __str__(self) -> str:
        energy = "no energy" if self.energy_kwh is None else f"{self.energy_kwh:.3f} kWh"
        return (
            f"{self.id} ({self.kind}, {self.direction}, {self.interval_min:g} min, {self.readings} readings, "
            f"{self.start} to {self.end}, {energy})"
        )


@dataclass(frozen=True, eq=False)
class Meter:
    """Readings of one point of supply in the order of time, none overlapping; gaps are left out, never zero.

    Attributes
    ----------
    source : str
        Kind of file and the first digits of its sha256: a file's own name may hold an account number.
    start_utc : ndarray of int64, shape (n_readings,)
        Start of each reading, seconds since 1970 in UTC. [s]
    duration_s : ndarray of int64, shape (n_readings,)
        Its length. [s]
    kwh : ndarray, shape (n_readings,)
        Energy delivered to the house; of a net register, delivered minus received, so it may be negative. [kWh]
    received_kwh : ndarray, shape (n_readings,), or None
        The second register, energy received from the house, where the file keeps one. [kWh]
    quality : ndarray of int, shape (n_readings,)
        ESPI quality code, 0 is valid, -1 where the file says nothing.
    cost : ndarray, shape (n_readings,), or None
        Cost that the file gives for each reading, in `currency`.
    interval_s : int
        The usual length of a reading. [s]
    readings, repeated : int
        Readings in the file, and how many of them were dropped because they stood there twice.
    covered_s : int
        Time that has a reading as the file stamps it, before any repair. [s]
    clock, dialect : str
        Which clock the file is written on and how that is known; how the file was read.
    issues : tuple of Issue
    points : tuple of Point
        Everything that the file offers; the one that was read is `chosen`.
    timezone : str or None
        IANA zone given by the caller.
    filled : ndarray of bool, shape (n_readings,), or None
        True where a gap was filled in.
    estimates_asked : bool
        Whether marks of estimated readings were looked for; in a file of a row a day they are not.
    path : Path or None
        For messages only; it never enters a result.
    """

    source: str
    start_utc: np.ndarray
    duration_s: np.ndarray
    kwh: np.ndarray
    quality: np.ndarray
    interval_s: int
    readings: int
    covered_s: int
    clock: str
    local: Clock
    repeated: int = 0
    received_kwh: np.ndarray | None = None
    cost: np.ndarray | None = None
    currency: str = ""
    dialect: str = ""
    timezone: str | None = None
    issues: tuple[Issue, ...] = ()
    points: tuple[Point, ...] = ()
    filled: np.ndarray | None = field(default=None, repr=False)
    estimates_asked: bool = True
    path: Path | None = field(default=None, repr=False)

    def __post_init__(self):
        for array in (self.start_utc, self.duration_s, self.kwh, self.quality, self.received_kwh, self.cost):
            if array is not None:
                array.flags.writeable = False

    @property
    def energy_kwh(self) -> float:
        """Sum of the readings as read; nothing that was filled in counts. [kWh]"""
        kwh = self.kwh if self.filled is None else self.kwh[~self.filled]
        return float(np.round(kwh.sum(), 9))

    @property
    def span_s(self) -> int:
        """From the first start to the last end. [s]"""
        return int(self.start_utc[-1] + self.duration_s[-1] - self.start_utc[0])

    @property
    def completeness_frac(self) -> float:
        """Share of the span that has a reading as the file stamps it."""
        return self.covered_s / self.span_s

    @property
    def nets_solar(self) -> bool:
        """True where energy flows back through this meter, so that its readings are not what the house uses."""
        received = self.received_kwh is not None and bool((self.received_kwh > 0).any())
        return received or bool((self.kwh < 0).any())

    def register_kwh(self, register: str) -> np.ndarray:
        """Energy by register, interval by interval: "delivered", "received" or "net", shape (n_readings,). [kWh]"""
        received = np.maximum(-self.kwh, 0.0) if self.received_kwh is None else self.received_kwh
        delivered = np.maximum(self.kwh, 0.0) if self.received_kwh is None else self.kwh
        return {"delivered": delivered, "received": received, "net": delivered - received}[register]

    def changed(self, **fields: Any) -> Meter:
        """A copy with some fields replaced."""
        return replace(self, **fields)
