"""Whether the starts of a Green Button file are UTC, as ESPI has it, or local seconds as some exporters write."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from profiles.meter.readings.clock import DAY_S, Clock
from profiles.meter.readings.dialect import Dialect
from profiles.meter.readings.labels import wall_to_utc
from profiles.meter.readings.meter import Issue
from profiles.meter.readings.sequence import Readings
from profiles.noun import BadInput

FEWEST_BLOCKS = 3


def in_utc(readings: Readings, clock: Clock, dialect: Dialect, *, file: object) -> Readings:
    """Starts in UTC: as they are, or from the clock that `dialect.clock` states.

    Raises
    ------
    BadInput
        The starts skip and repeat hours as a local clock does, and the dialect does not say which they are.
    """
    if dialect.clock is None and len(readings):
        _refuse_local(readings, clock, file)
    if dialect.clock in (None, "utc"):
        return readings
    if dialect.clock == "wall":
        start, _ = wall_to_utc(readings.start, clock, np.full(len(readings), -1))
        return replace(readings, start=start)
    first = int(readings.start[0])
    standard = min(clock.offset_at(first), clock.offset_at(first + 182 * DAY_S))
    return replace(readings, start=readings.start - (standard if dialect.clock == "standard" else dialect.offset_s))


def _refuse_local(readings: Readings, clock: Clock, file: object) -> None:
    """On a day of a clock change UTC neither skips nor repeats an hour; starts that do are local seconds."""
    starts, counts = np.unique(readings.start, return_counts=True)
    for change in clock.changes(int(starts[0]) - DAY_S, int(starts[-1]) + DAY_S):
        before, after = clock.offset_at(change - 1), clock.offset_at(change)
        low, high = change + min(before, after), change + max(before, after)
        inside = (starts >= low) & (starts < high)
        around = (starts == high).any() and ((starts < low) & (starts >= low - (high - low))).any()
        skips = after > before and around and not inside.any()
        repeats = after < before and around and inside.any() and bool((counts[inside] == 2).all())
        if skips or repeats:
            when = np.datetime_as_string(np.datetime64(int(low), "s"))
            raise BadInput(
                f"has starts that {'skip' if skips else 'repeat'} the hour from {when}, as {clock} does and UTC "
                "does not",
                file=file,
                key="clock",
                way_out='state dialect.clock = "wall" if the starts are local seconds, "utc" if they are right',
            )


def on_midnights(starts: np.ndarray, lengths: np.ndarray, clock: Clock) -> tuple[str, tuple[Issue, ...]]:
    """What the blocks of whole days say about the clock: words that bear it out, or an issue that doubts it."""
    whole = (lengths >= 23 * 3600) & ((lengths + 3600) % DAY_S <= 7200)
    starts, lengths = starts[whole], lengths[whole]
    if len(starts) < FEWEST_BLOCKS or clock.offset_at(int(starts[0])) == 0:
        return "", ()
    begins = (starts + clock.offsets(starts)) % DAY_S == 0
    ends = (starts + lengths + clock.offsets(starts + lengths)) % DAY_S == 0
    if (begins & ends & (lengths % DAY_S != 0)).any():
        return "; blocks run from local midnight to local midnight over a clock change, which bears it out", ()
    if begins.all():
        return "; blocks begin at local midnight", ()
    if not begins.any() and (starts % DAY_S == 0).all():
        return "", (
            Issue(
                "clock",
                len(starts),
                "blocks of whole days",
                "begin at midnight in UTC, not on the local clock: "
                'if the starts are local seconds state dialect.clock = "wall"',
            ),
        )
    return "", ()
