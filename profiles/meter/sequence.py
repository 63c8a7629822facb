"""Readings as they stand in a file -> one series in the order of time: repeats, overlaps, odd lengths, slipped clocks.

Nothing is summed or dropped in silence. Every oddity becomes an `Issue` that says what was done.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from profiles.meter.clock import DAY_S, Clock
from profiles.meter.espi import QUALITY_RANK
from profiles.meter.meter import Issue
from profiles.noun import BadInput

_NAMED = 3


@dataclass(frozen=True, eq=False)
class Readings:
    """Parallel arrays of one set of readings, shape (n_readings,); `rank` grows with later downloads."""

    start: np.ndarray
    duration: np.ndarray
    kwh: np.ndarray
    quality: np.ndarray
    cost: np.ndarray
    rank: np.ndarray

    def __len__(self) -> int:
        return len(self.start)

    def at(self, index: np.ndarray) -> Readings:
        return Readings(*(getattr(self, name)[index] for name in self.__dataclass_fields__))


@dataclass(frozen=True, eq=False)
class Settled:
    """A series in the order of time, with what was found on the way."""

    readings: Readings
    interval_s: int
    covered_s: int
    repeated: int
    issues: tuple[Issue, ...]


def where(starts, clock: Clock) -> str:
    """The first few local stamps, and how many more there are."""
    starts = np.asarray(starts)
    named = ", ".join(clock.stamp(start) for start in starts[:_NAMED])
    return named if len(starts) <= _NAMED else f"{named} and {len(starts) - _NAMED} more"


def settled(readings: Readings, clock: Clock, *, file: object, interval_s: int | None = None) -> Settled:
    """Sort, drop what stands twice, mend what slipped at a clock change, and list all of it.

    Parameters
    ----------
    readings : Readings
        In the order of the file.
    clock : Clock
        For the stamps in messages, and for where its changes lie.
    interval_s : int, optional
        Usual length of a reading, for files that name it. [s]

    Raises
    ------
    BadInput
        No reading left, or two readings that overlap in part.
    """
    if not len(readings):
        raise BadInput("holds no readings", file=file)
    interval_s = interval_s or _usual(readings.duration)
    issues, repeated = [], 0
    readings, n = _without_same(readings, clock, issues)
    repeated += n
    covered_s, lengths = _covered(readings), _odd_lengths(readings, interval_s, clock)
    readings, slipped = _unslipped(readings, interval_s, clock)
    if slipped:
        issues += lengths(_SLIP_LENGTH) + slipped
    readings = readings.at(np.lexsort((readings.duration, readings.start)))
    readings, n = _without_conflicts(readings, clock, issues)
    repeated += n
    readings = _zero_lengths(readings, interval_s, clock, issues)
    readings = _without_overlaps(readings, clock, issues, file)
    if not slipped:
        issues += lengths(_SPREAD)
    return Settled(
        readings, interval_s, covered_s, repeated, tuple(issues) + tuple(missing(readings, interval_s, clock))
    )


def _usual(duration: np.ndarray) -> int:
    values, counts = np.unique(duration[duration > 0], return_counts=True)
    return int(values[counts.argmax()]) if len(values) else 3600


def _covered(readings: Readings) -> int:
    """Seconds that at least one reading covers as stamped."""
    order = np.argsort(readings.start, kind="stable")
    start, end = readings.start[order], (readings.start + readings.duration)[order]
    reached = np.concatenate(([start[0]], np.maximum.accumulate(end)[:-1]))
    return int(np.maximum(end - np.maximum(start, reached), 0).sum())


def _without_same(readings: Readings, clock: Clock, issues: list) -> tuple[Readings, int]:
    """Drop a reading whose start, length and value stand in the file already."""
    order = np.lexsort((readings.kwh, readings.duration, readings.start))
    sorted_ = readings.at(order)
    same = np.zeros(len(readings), bool)
    same[1:] = (np.diff(sorted_.start) == 0) & (np.diff(sorted_.duration) == 0) & (np.diff(sorted_.kwh) == 0)
    if not same.any():
        return readings, 0
    issues.append(
        Issue("repeated", int(same.sum()), where(sorted_.start[same], clock), "same value twice: counted once")
    )
    return readings.at(np.sort(order[~same])), int(same.sum())


_SLIP_LENGTH = "taken as one interval: see slipped"
_SPREAD = "spread evenly over its length"


def _odd_lengths(readings: Readings, interval_s: int, clock: Clock):
    """Issues for readings of an unusual length, with what was done filled in later."""
    kinds = {
        "double-length": readings.duration == 2 * interval_s,
        "odd-length": (readings.duration != interval_s)
        & (readings.duration != 2 * interval_s)
        & (readings.duration > 0),
    }
    if (readings.duration % interval_s == 0).all() and not kinds["double-length"].any():
        kinds["odd-length"] = kinds["double-length"]
    found = [
        (kind, int(mask.sum()), where(readings.start[mask], clock)) for kind, mask in kinds.items() if mask.any()
    ]
    return lambda done: [Issue(*one, done) for one in found]


def _unslipped(readings: Readings, interval_s: int, clock: Clock) -> tuple[Readings, list[Issue]]:
    """Put back runs of readings whose starts slipped by one interval around a clock change.

    Some exporters change their own clock some hours after the utility's clock does. The readings still stand in
    order, one for each interval, but between the true change and the late one every start is one interval late
    (spring) or early (autumn). The file shows it at both ends: a reading of double or no length at the change, and,
    within a day, a start that occurs twice or an interval with none. Only then, and only where the run begins at a
    change of the file's own clock, are the starts moved back; every reading keeps its energy.
    """
    step = np.diff(readings.start)
    odd = np.flatnonzero(step != interval_s)
    issues, start, duration = [], readings.start, readings.duration
    for first, last in zip(odd[:-1], odd[1:], strict=True):
        late = step[first] == 2 * interval_s and duration[first] == 2 * interval_s and step[last] == 0
        early = step[first] == 0 and duration[first] == 0 and step[last] == 2 * interval_s
        near = (last - first) * interval_s <= DAY_S and _at_change(int(readings.start[first]), clock)
        if not (late or early) or not near:
            continue
        start, duration = start.copy(), duration.copy()
        run = slice(first + 1, last + 1)
        start[run] += -interval_s if late else interval_s
        duration[first] = interval_s
        issues += _slip_issues(readings, start, first, last, late, clock)
    return Readings(start, duration, readings.kwh, readings.quality, readings.cost, readings.rank), issues


def _at_change(start: int, clock: Clock) -> bool:
    return bool(clock.changes(start - 4 * 3600, start + 4 * 3600))


def _slip_issues(
    readings: Readings, start: np.ndarray, first: int, last: int, late: bool, clock: Clock
) -> list[Issue]:
    n, way = int(last - first), "earlier" if late else "later"
    run = f"{clock.stamp(readings.start[first + 1])} to {clock.stamp(readings.start[last])}"
    slipped = Issue(
        "slipped",
        n,
        run,
        f"moved one interval {way}: in the order of the file each then has its own interval, and no energy is lost",
    )
    twice = Issue(
        "repeated", 1, clock.stamp(readings.start[last if late else first]), "two values, both kept: see slipped"
    )
    if late:
        return [twice, slipped]
    none = Issue("zero-length", 1, clock.stamp(readings.start[first]), _SLIP_LENGTH)
    gap = Issue("missing", 1, clock.stamp(start[last]), "nothing filled in: see slipped")
    return [none, twice, gap, slipped]


def _without_conflicts(readings: Readings, clock: Clock, issues: list) -> tuple[Readings, int]:
    """Of readings alike but for their values keep the best quality, then the latest download."""
    same = np.zeros(len(readings), bool)
    same[1:] = (np.diff(readings.start) == 0) & (np.diff(readings.duration) == 0) & (readings.duration[1:] > 0)
    if not same.any():
        return readings, 0
    worst = np.array([QUALITY_RANK.get(int(code), 99) for code in readings.quality])
    order = np.lexsort((-np.arange(len(readings)), -readings.rank, worst, readings.duration, readings.start))
    keep = order[np.concatenate(([True], ~same[1:]))]
    issues.append(
        Issue(
            "repeated",
            int(same.sum()),
            where(readings.start[same], clock),
            "different values: the better quality kept, else the later download, else the later in the file",
        )
    )
    return readings.at(np.sort(keep)), int(same.sum())


def _zero_lengths(readings: Readings, interval_s: int, clock: Clock, issues: list) -> Readings:
    """A reading of no length gets its interval where that is free, else it is left out, and listed with its energy."""
    for i in np.flatnonzero(readings.duration == 0):
        begin, end = readings.start[i], readings.start[i] + interval_s
        others = np.arange(len(readings)) != i
        taken = others & (readings.start < end) & (readings.start + np.maximum(readings.duration, 1) > begin)
        done = "taken as one interval"
        if taken.any():
            done = f"left out: its interval has another reading ({readings.kwh[i]:.3f} kWh not counted)"
        else:
            readings.duration[i] = interval_s
        issues.append(Issue("zero-length", 1, clock.stamp(begin), done))
    return readings.at(np.flatnonzero(readings.duration > 0))


def _without_overlaps(readings: Readings, clock: Clock, issues: list, file: object) -> Readings:
    """Leave out long readings that shorter ones cover wholly; refuse those that overlap in part."""
    end = readings.start + readings.duration
    if not len(readings):
        raise BadInput("holds no readings that last any time", file=file)
    if (readings.start[1:] >= end[:-1]).all():
        return readings
    keep = np.ones(len(readings), bool)
    for i in np.flatnonzero(
        np.concatenate((readings.start[1:] < np.maximum.accumulate(end)[:-1], [False])) | _contains(readings)
    ):
        inside = (readings.start >= readings.start[i]) & (end <= end[i]) & (readings.duration < readings.duration[i])
        if readings.duration[inside].sum() == readings.duration[i]:
            keep[i] = False
    dropped, readings = readings.start[~keep], readings.at(np.flatnonzero(keep))
    clash = np.flatnonzero(readings.start[1:] < (readings.start + readings.duration)[:-1])
    if len(clash):
        raise BadInput(
            "has readings that overlap in part",
            file=file,
            key=clock.stamp(readings.start[clash[0] + 1]),
            way_out="give one download for each stretch of time",
        )
    if len(dropped):
        issues.append(
            Issue("overlap", len(dropped), where(dropped, clock), "left out: shorter readings cover the same time")
        )
    return readings


def _contains(readings: Readings) -> np.ndarray:
    next_start = np.concatenate((readings.start[1:], [np.iinfo(np.int64).max]))
    return next_start < readings.start + readings.duration


def missing(readings: Readings, interval_s: int, clock: Clock) -> list[Issue]:
    """Intervals without a reading between the first and the last, as one issue."""
    end = readings.start + readings.duration
    gaps = np.flatnonzero(readings.start[1:] > end[:-1])
    if not len(gaps):
        return []
    lengths = readings.start[gaps + 1] - end[gaps]
    n = int(-(-lengths // interval_s).sum())
    longest = float(lengths.max()) / 3600.0
    done = (
        f"not counted as zero (longest {longest:g} h): filled in up to 1 h, from like days up to 24 h, refused beyond"
    )
    return [Issue("missing", n, where(end[gaps], clock), done)]
