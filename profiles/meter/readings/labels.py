"""Stamps as a CSV file writes them -> seconds in UTC: which end of the interval they name, and on which clock.

Every reading of the stamps that the file allows is tried. The one that leaves the fewest breaks in the series is
right; where two leave equally few and differ, the file is refused and both are named.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from profiles.meter.readings.clock import DAY_S, Clock, offset_text
from profiles.meter.readings.dialect import Dialect
from profiles.meter.readings.question import Question
from profiles.meter.readings.stamps import NO_OFFSET
from profiles.noun import BadInput

SUNDAY, NIGHT_S = 3, 5 * 3600  # 1 January 1970 was a Thursday


@dataclass(frozen=True, eq=False)
class Labels:
    """What the rows say about time, shape (n_rows,), in the order of time.

    `naive_s` are seconds of the label on the file's clock since 1970; `ordinal` counts the intervals of the local day
    from 0, None where labels are times of day; `kind` is "beginning", "ending", "instant" or None where it is not said.
    """

    naive_s: np.ndarray
    offset_s: np.ndarray
    saving: np.ndarray
    value: np.ndarray
    interval_s: int
    kind: str | None
    ordinal: np.ndarray | None = None
    day: np.ndarray | None = None
    says_clock: str | None = None


@dataclass(frozen=True, eq=False)
class Reading:
    """One way of reading the stamps, and what speaks against it."""

    labels: str
    clock: str
    start_utc: np.ndarray
    keep: np.ndarray
    breaks: int
    text: str


def read_labels(labels: Labels, dialect: Dialect, timezone: Clock | None, *, file: object) -> Reading:
    """The one reading of the stamps that the file, the dialect and the zone leave.

    Raises
    ------
    BadInput
        Two readings remain, each named with the key that decides.
    """
    if (labels.offset_s != NO_OFFSET).any():
        found = _settled_labels(_with_offsets(labels, dialect, timezone, file), labels, dialect, file)
        _refuse_hidden_saving(found, labels, "remove the offsets from the stamps, or correct them", file)
        return found
    clocks = _clocks(labels, dialect, timezone, file)
    kinds = [dialect.labels or labels.kind] if dialect.labels or labels.kind else ["beginning", "ending"]
    tried = [one for clock in clocks for kind in kinds for one in _tries(labels, kind, clock, timezone)]
    if dialect.extra_columns == "sequence" and labels.ordinal is not None:
        tried = [one for one in tried if one.labels == "sequence"] or tried
    fewest = min(one.breaks for one in tried)
    best = [one for one in tried if one.breaks == fewest]
    found = _settled_labels(best, labels, dialect, file, timezone)
    if dialect.clock is None:
        way_out = "give the timezone whose clock the file follows, or state dialect.clock"
        _refuse_hidden_saving(found, labels, way_out, file)
    return found


def _refuse_hidden_saving(found: Reading, labels: Labels, way_out: str, file) -> None:
    """Stamps that skip an hour on one Sunday night and repeat one on another follow a clock with daylight saving."""
    step = np.diff(labels.naive_s)
    unexplained = np.diff(found.start_utc) != labels.interval_s
    night = (labels.naive_s[1:] // DAY_S % 7 == SUNDAY) & (labels.naive_s[1:] % DAY_S <= NIGHT_S)
    skips = np.flatnonzero(night & unexplained & (step == labels.interval_s + 3600))
    repeats = np.flatnonzero(night & unexplained & (step == labels.interval_s - 3600))
    if len(skips) and len(repeats):
        days = [str(np.datetime64(int(labels.naive_s[at[0] + 1]) // DAY_S, "D")) for at in (skips, repeats)]
        raise BadInput(
            f"skips an hour on {days[0]} and repeats one on {days[1]}, as a clock with daylight saving does; "
            f"not so: {found.text}",
            file=file,
            key="clock",
            way_out=way_out,
        )


def _clocks(labels: Labels, dialect: Dialect, timezone: Clock | None, file) -> list[str]:
    if dialect.clock or labels.says_clock:
        stated = dialect.clock or labels.says_clock
        if stated in ("wall", "standard") and timezone is None:
            raise BadInput(
                f"is on a {stated} clock whose zone is not stated",
                file=file,
                key="clock",
                way_out='give timezone, such as "America/New_York"',
            )
        return [stated]
    if timezone is None:
        raise Question(
            "has stamps without a zone, which may be local time or UTC",
            file=file,
            key="clock",
            way_out='give timezone = "America/New_York" or the like, or dialect.clock = "utc" or "-05:00"',
            trial={"clock": "utc"},
        )
    return ["wall", "standard", "utc"]


def _with_offsets(labels: Labels, dialect: Dialect, timezone: Clock | None, file) -> list[Reading]:
    """Each stamp names its own offset: only the end of the interval can be in doubt."""
    known = labels.offset_s != NO_OFFSET
    if dialect.clock is not None and not _agrees(labels, known, dialect, timezone):
        raise BadInput(
            "contradicts the stamps, which name their own offset from UTC",
            file=file,
            key="dialect.clock",
            value=dialect.clock,
            way_out="leave it out",
        )
    utc = labels.naive_s - np.where(known, labels.offset_s, 0)
    found = []
    for kind in [dialect.labels or labels.kind] if dialect.labels or labels.kind else ["beginning", "ending"]:
        start = utc - (labels.interval_s if kind == "ending" else 0)
        found.append(Reading(kind, "offset", start, known, 0, "offsets in the stamps"))
    return found


def _agrees(labels: Labels, known: np.ndarray, dialect: Dialect, timezone: Clock | None) -> bool:
    """True where the stated clock shows the offsets that the stamps name."""
    offsets, utc = labels.offset_s[known], labels.naive_s[known] - labels.offset_s[known]
    if dialect.offset_s is not None:
        return bool((offsets == dialect.offset_s).all())
    if timezone is None:
        return False
    if dialect.clock == "wall":
        return bool((timezone.offsets(utc) == offsets).all())
    first = int(utc[0])
    standard = min(timezone.offset_at(first), timezone.offset_at(first + 182 * DAY_S))
    return bool((offsets == standard).all())


def _tries(labels: Labels, kind: str, clock: str, timezone: Clock | None) -> list[Reading]:
    if clock == "wall":
        found = [_wall(labels, kind, timezone)]
        if kind == "ending":
            found.append(_wall_end(labels, timezone))
        if labels.ordinal is not None:
            found.append(_sequence(labels, timezone))
        return found
    lag = labels.interval_s if kind == "ending" else 0
    if clock == "standard":
        offset = min(
            timezone.offset_at(int(labels.naive_s[0])), timezone.offset_at(int(labels.naive_s[0]) + 182 * DAY_S)
        )
        text = f"standard time all year ({offset_text(offset)})"
    else:
        offset = 0 if clock == "utc" else Dialect(clock=clock).offset_s
        text = "UTC" if clock == "utc" else f"{offset_text(offset)} all year"
    start = labels.naive_s - offset - lag
    return [
        Reading(
            kind,
            clock,
            start,
            np.ones(len(start), bool),
            _breaks(start, labels.interval_s) + _holes(labels, start, lag, timezone),
            text,
        )
    ]


def _holes(labels: Labels, start: np.ndarray, lag: int, timezone: Clock | None) -> int:
    """Hours that the wall clock skips and that the file leaves out or fills with zero: they speak for that clock."""
    if timezone is None:
        return 0
    naive, holes = labels.naive_s - lag, 0
    for change, before, after in _changes(timezone, naive):
        skipped = (naive >= change + before) & (naive < change + after)
        inside = naive.min() < change + before and change + after <= naive.max()
        if after > before and inside:
            holes += not (skipped.any() and (labels.value[skipped] != 0).any())
    return holes


def _changes(clock: Clock, naive: np.ndarray) -> list[tuple[int, int, int]]:
    low, high = int(naive.min()) - 2 * DAY_S, int(naive.max()) + 2 * DAY_S
    return [(at, clock.offset_at(at - 1), clock.offset_at(at)) for at in clock.changes(low, high)]


def _wall(labels: Labels, kind: str, timezone: Clock) -> Reading:
    """Labels name the beginning on the wall clock, or that beginning plus one interval."""
    naive = labels.naive_s - (labels.interval_s if kind == "ending" else 0)
    start, skipped = wall_to_utc(naive, timezone, labels.saving)
    zeros = skipped & ~(labels.value != 0)
    breaks = _breaks(start[~zeros], labels.interval_s) + int((skipped & ~zeros).sum())
    return Reading(kind, "wall", start, ~zeros, breaks, f"wall clock of {timezone}")


def _wall_end(labels: Labels, timezone: Clock) -> Reading:
    """Labels name the instant at which the interval ends, as the wall clock shows it then."""
    end, skipped = wall_to_utc(labels.naive_s, timezone, labels.saving)
    zeros = skipped & ~(labels.value != 0)
    start = end - labels.interval_s
    breaks = _breaks(start[~zeros], labels.interval_s) + int((skipped & ~zeros).sum())
    return Reading(
        "ending", "wall", start, ~zeros, breaks, f"wall clock of {timezone}, as it shows when the interval ends"
    )


def _sequence(labels: Labels, timezone: Clock) -> Reading:
    """Columns count the intervals of the local day, 23, 24 or 25 hours of them."""
    midnight, _ = wall_to_utc(labels.day * DAY_S, timezone, np.full(len(labels.day), -1))
    start = midnight + labels.ordinal * labels.interval_s
    return Reading(
        "sequence",
        "wall",
        start,
        np.ones(len(start), bool),
        _breaks(start, labels.interval_s),
        f"intervals counted from local midnight of {timezone}",
    )


def wall_to_utc(naive_s: np.ndarray, clock: Clock, saving: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Wall-clock seconds to UTC, and where the clock skips the label.

    A label that occurs twice in autumn is the first time (daylight saving) where it first stands in the file and the
    second time where it next stands, unless the file says which.
    """
    changes = _changes(clock, naive_s)
    offsets = np.array([clock.offset_at(int(naive_s.min()) - 3 * DAY_S), *(after for *_, after in changes)])
    early = np.array([at + max(before, after) for at, before, after in changes])
    late = np.array([at + min(before, after) for at, before, after in changes])
    skipped = np.zeros(len(naive_s), bool)
    second = np.zeros(len(naive_s), bool)
    for at, before, after in changes:
        if after > before:
            skipped |= (naive_s >= at + before) & (naive_s < at + after)
        else:
            twice = (naive_s >= at + after) & (naive_s < at + before)
            second |= twice & np.where(saving >= 0, saving == 0, _is_second(naive_s, twice))
    index = np.where(
        second, np.searchsorted(late, naive_s, side="right"), np.searchsorted(early, naive_s, side="right")
    )
    return naive_s - offsets[index], skipped


def _is_second(naive_s: np.ndarray, twice: np.ndarray) -> np.ndarray:
    """True at every second occurrence of a label, in the order of the file."""
    seen: dict[int, int] = {}
    found = np.zeros(len(naive_s), bool)
    for i in np.flatnonzero(twice):
        label = int(naive_s[i])
        seen[label] = seen.get(label, 0) + 1
        found[i] = seen[label] % 2 == 0
    return found


def _breaks(start: np.ndarray, interval_s: int) -> int:
    if len(start) < 2:
        return 0
    step = np.diff(start)
    if (step < 0).any():
        step = np.diff(np.sort(start))
    return int((step != interval_s).sum())


def _settled_labels(
    best: list[Reading], labels: Labels, dialect: Dialect, file, timezone: Clock | None = None
) -> Reading:
    """Take the one reading that is left; equal starts are one reading, whatever they are called."""
    unlike: list[Reading] = []
    for one in best:
        if not any(np.array_equal(one.start_utc[one.keep], other.start_utc[other.keep]) for other in unlike):
            unlike.append(one)
    if len({one.labels for one in unlike}) > 1:
        unlike = _on_whole_days(unlike, labels)
    if len(unlike) == 1:
        return unlike[0]
    kinds, clocks = {one.labels for one in unlike}, {one.clock for one in unlike}
    if "sequence" in kinds and len(kinds) == 2 and clocks == {"wall"}:
        raise Question(
            "counts beyond 24 h on the long day, which may be the last of that day or the hour that occurs twice",
            file=file,
            key="labels",
            way_out='state dialect.extra_columns = "sequence" or "repeated-hour"',
            trial={"extra_columns": "sequence"},
        )
    if len(kinds) > 1:
        raise Question(
            "has stamps that may begin or end their intervals",
            file=file,
            key="labels",
            way_out='state dialect.labels = "beginning" or "ending"',
            trial={"labels": "beginning"},
        )
    no_change = timezone is not None and not timezone.changes(*_span(unlike[0]))
    walls = [one for one in unlike if one.clock == "wall"]
    if len(walls) == 1 and no_change:  # no clock change inside: the caller's zone is the statement that decides
        return walls[0]
    if len(clocks) > 1:
        ways = " or ".join(f'dialect.clock = "{one.clock}" ({one.text})' for one in unlike)
        raise Question(
            "runs over a clock change in a way that fits several clocks",
            file=file,
            key="clock",
            way_out=f"state {ways}",
            trial={"clock": unlike[0].clock},
        )
    raise BadInput(
        "has stamps at a clock change that can be read in several ways: " + " or ".join(one.text for one in unlike),
        file=file,
        key="clock",
        way_out="give a file with offsets, or with start and end of each interval",
    )


def _span(one: Reading) -> tuple[int, int]:
    return int(one.start_utc.min()), int(one.start_utc.max())


def _on_whole_days(found: list[Reading], labels: Labels) -> list[Reading]:
    """Files run from midnight to midnight: keep the readings that make this one do so, if any."""

    def whole(one: Reading) -> bool:
        lag = labels.interval_s if one.labels == "ending" else 0
        first, last = int(labels.naive_s.min()) - lag, int(labels.naive_s.max()) - lag + labels.interval_s
        return one.labels == "sequence" or first % DAY_S == 0 and last % DAY_S == 0

    kept = [one for one in found if whole(one)]
    return kept or found
