"""Readings as they stand in a file -> one series in the order of time: repeats, overlaps, odd lengths, slipped clocks.

Nothing is summed or dropped in silence. Every oddity becomes an `Issue` that says what was done.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from profiles.meter.readings.clock import Clock
from profiles.meter.readings.espi import QUALITY_RANK
from profiles.meter.readings.meter import Issue, where
from profiles.meter.readings.slips import unslipped
from profiles.noun import BadInput


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

    @property
    def in_order(self) -> bool:
        """True where every reading starts after the one before it."""
        return bool((np.diff(self.start) > 0).all())

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
    if interval_s is None or (readings.duration > 0).any() and not (readings.duration == interval_s).any():
        interval_s = _usual(readings.duration)
    issues, repeated = [], 0
    readings, n = _without_same(readings, clock, issues)
    repeated += n
    covered_s = _covered(readings)
    start, duration, slipped = unslipped(readings.start, readings.duration, interval_s, clock)
    readings, issues = replace(readings, start=start, duration=duration), issues + slipped
    if not readings.in_order:
        readings = readings.at(np.lexsort((readings.duration, readings.start)))
        readings, n = _without_conflicts(readings, clock, issues)
        repeated += n
    readings = _zero_lengths(readings, interval_s, clock, issues)
    readings = _without_overlaps(readings, clock, issues, file)
    issues += _odd_lengths(readings, interval_s, clock) + missing(readings, interval_s, clock)
    return Settled(readings, interval_s, covered_s, repeated, tuple(issues))


def paired(main: Readings, other: Readings, *, file: object) -> tuple[Readings, np.ndarray, list[Issue]]:
    """Delivered readings and the received energy beside them, where both registers have the same interval.

    Raises
    ------
    BadInput
        They never share an interval.
    """
    both, mine, theirs = np.intersect1d(main.start, other.start, assume_unique=True, return_indices=True)
    if not len(both):
        raise BadInput("has delivered and received readings that never share an interval", file=file)
    alone = len(main) + len(other) - 2 * len(both)
    text = "delivered or received without the other"
    issues = [Issue("unpaired", alone, text, "left out: missing is not zero")] if alone else []
    return main.at(mine), other.kwh[theirs], issues


def most_common(values: np.ndarray) -> int:
    """The value that occurs most often; of equals the smallest."""
    middle = int(np.median(values[:: max(len(values) // 999, 1)]))
    if (values == middle).mean() > 0.5:
        return middle
    found, counts = np.unique(values, return_counts=True)
    return int(found[counts.argmax()])


def _usual(duration: np.ndarray) -> int:
    known = duration[duration > 0]
    return most_common(known) if len(known) else 3600


def _covered(readings: Readings) -> int:
    """Seconds that at least one reading covers as stamped."""
    start, end = readings.start, readings.start + readings.duration
    if not readings.in_order:
        order = np.argsort(start, kind="stable")
        start, end = start[order], end[order]
    reached = np.concatenate(([start[0]], np.maximum.accumulate(end)[:-1]))
    return int(np.maximum(end - np.maximum(start, reached), 0).sum())


def _without_same(readings: Readings, clock: Clock, issues: list) -> tuple[Readings, int]:
    """Drop a reading whose start, length and value stand in the file already."""
    if readings.in_order:
        return readings, 0
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


def _odd_lengths(readings: Readings, interval_s: int, clock: Clock) -> list[Issue]:
    """Readings of an unusual length."""
    double = readings.duration == 2 * interval_s
    odd = (readings.duration != interval_s) & ~double
    return [
        Issue(kind, int(mask.sum()), where(readings.start[mask], clock), "spread evenly over its length")
        for kind, mask in (("double-length", double), ("odd-length", odd))
        if mask.any()
    ]


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
    none = readings.duration == 0
    if not none.any():
        return readings
    begin, end = readings.start, readings.start + np.where(none, interval_s, readings.duration)
    before = np.concatenate(([np.iinfo(np.int64).min], np.maximum.accumulate(end)[:-1]))
    after = np.concatenate((begin[1:], [np.iinfo(np.int64).max]))
    free = none & (before <= begin) & (after >= end)
    left_out = none & ~free
    if free.any():
        issues.append(Issue("zero-length", int(free.sum()), where(begin[free], clock), "taken as one interval"))
    if left_out.any():
        kwh = readings.kwh[left_out].sum()
        done = f"left out: its interval has another reading ({kwh:.3f} kWh not counted)"
        issues.append(Issue("zero-length", int(left_out.sum()), where(begin[left_out], clock), done))
    duration = np.where(free, interval_s, readings.duration)
    return replace(readings, duration=duration).at(np.flatnonzero(duration > 0))


def _without_overlaps(readings: Readings, clock: Clock, issues: list, file: object) -> Readings:
    """Leave out long readings that shorter ones cover wholly; refuse those that overlap in part."""
    if not len(readings):
        raise BadInput("holds no readings that last any time", file=file)
    start, duration = readings.start, readings.duration
    end = start + duration
    if (start[1:] >= end[:-1]).all():
        return readings
    beyond = np.searchsorted(start, end)  # the first reading that begins after this one ends
    holds_others = np.flatnonzero(beyond > np.arange(1, len(readings) + 1))
    keep = np.ones(len(readings), bool)
    for i in holds_others[np.argsort(duration[holds_others], kind="stable")]:
        first = int(np.searchsorted(start, start[i]))
        inside = np.arange(first, beyond[i])
        inside = inside[keep[inside] & (inside != i) & (duration[inside] <= duration[i])]
        if (end[inside] > end[i]).any() or duration[inside].sum() != duration[i]:
            if len(inside):
                raise _overlap(start[i], clock, file)
            continue
        keep[i] = False
    kept, dropped = readings.at(np.flatnonzero(keep)), start[~keep]
    clash = np.flatnonzero(kept.start[1:] < (kept.start + kept.duration)[:-1])
    if len(clash):
        raise _overlap(kept.start[clash[0] + 1], clock, file)
    if keep.all():
        return readings
    issues.append(
        Issue("overlap", len(dropped), where(dropped, clock), "left out: shorter readings cover the same time")
    )
    return kept


def _overlap(start: int, clock: Clock, file: object) -> BadInput:
    return BadInput(
        "has readings that overlap in part",
        file=file,
        key=clock.stamp(start),
        way_out="give one download for each stretch of time",
    )


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
