"""Starts that slipped by one interval because an exporter changed its clock later than the utility did."""

from __future__ import annotations

import numpy as np

from profiles.meter.readings.clock import DAY_S, Clock
from profiles.meter.readings.meter import Issue

NEAR_S = 4 * 3600


def unslipped(
    start: np.ndarray, duration: np.ndarray, interval_s: int, clock: Clock
) -> tuple[np.ndarray, np.ndarray, list[Issue]]:
    """Put back runs of readings whose starts slipped by one interval around a clock change.

    Some exporters change their own clock some hours after the utility's clock does (they take local time for UTC when
    they look up daylight saving, so eight hours late on the Pacific coast). The readings still stand in order, one for
    each interval, but between the true change and the late one every start is one interval late (spring) or early
    (autumn). The file shows it at both ends: a reading of double or no length at the change, and, within a day, a
    start that occurs twice or an interval with none. Only then, and only where the run begins at a change of the
    file's own clock, are the starts moved back. Every reading keeps its energy, and no interval is left without one.

    Parameters
    ----------
    start, duration : ndarray of int64, shape (n_readings,)
        In the order of the file. [s]
    interval_s : int
        Usual length of a reading. [s]
    clock : Clock
        The clock whose changes count.

    Returns
    -------
    start, duration : ndarray of int64, shape (n_readings,)
        Put back. [s]
    issues : list of Issue
        Both ends of each run, and the run.
    """
    step = np.diff(start)
    odd = np.flatnonzero(step != interval_s)
    first, last = odd[:-1], odd[1:]
    late = (step[first] == 2 * interval_s) & (duration[first] == 2 * interval_s) & (step[last] == 0)
    early = (step[first] == 0) & (duration[first] == 0) & (step[last] == 2 * interval_s)
    near = (last - first) * interval_s <= DAY_S
    issues, moved, lengths = [], start.copy(), duration.copy()
    for k in np.flatnonzero((late | early) & near):
        a, b, is_late = int(first[k]), int(last[k]), bool(late[k])
        if not clock.changes(int(start[a]) - NEAR_S, int(start[a]) + NEAR_S):
            continue
        moved[a + 1 : b + 1] += -interval_s if is_late else interval_s
        lengths[a] = interval_s
        issues += _issues(start, a, b, is_late, moved[b], clock)
    return moved, lengths, issues


def _issues(start: np.ndarray, first: int, last: int, late: bool, freed: int, clock: Clock) -> list[Issue]:
    way = "earlier" if late else "later"
    slipped = Issue(
        "slipped",
        last - first,
        f"{clock.stamp(start[first + 1])} to {clock.stamp(start[last])}",
        f"moved one interval {way}: in the order of the file each then has its own interval, and no energy is lost",
    )
    twice = Issue("repeated", 1, clock.stamp(start[last if late else first]), "two values, both kept: see slipped")
    kind = "double-length" if late else "zero-length"
    length = Issue(kind, 1, clock.stamp(start[first]), "taken as one interval: see slipped")
    gap = [] if late else [Issue("missing", 1, clock.stamp(freed), "nothing filled in: see slipped")]
    return [length, twice, *gap, slipped]
