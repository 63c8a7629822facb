"""Dial readings that only ever rise -> energy between one and the next."""

from __future__ import annotations

import numpy as np

from profiles.meter.readings.meter import Issue
from profiles.meter.readings.sequence import Readings
from profiles.noun import BadInput

FEW_FALLS, FALL_FRAC = 2, 0.01


def differenced(
    readings: Readings, *, at: str = "end", dial_kwh: float | None = None, file: object = None
) -> tuple[Readings, tuple[Issue, ...]]:
    """Energy between successive dial readings.

    Parameters
    ----------
    readings : Readings
        `kwh` holds what the dial shows. [kWh]
    at : str
        Whether a value stands at the "end" or the "start" of its reading's period.
    dial_kwh : float, optional
        What the dial shows where it turns over to zero. [kWh]
    file : path, optional
        Named in the message.

    Returns
    -------
    Readings, tuple of Issue
        One reading fewer; an interval over which the dial fell is left out and listed, unless the dial turned over.

    Raises
    ------
    BadInput
        The values fall in more than 1 % of the readings, and more than twice: no dial does.
    """
    if len(readings) < 2:
        return readings.at(np.arange(0)), ()
    stands = readings.start + (readings.duration if at == "end" else 0)
    order = np.argsort(stands, kind="stable")
    order = order[np.concatenate(([True], np.diff(stands[order]) > 0))]
    sorted_, stands = readings.at(order), stands[order]
    used = np.diff(sorted_.kwh)
    fell = used < 0
    issues = [
        Issue("register", len(used), "the whole file", f"dial readings, taken at the {at} of each period: differenced")
    ]
    if dial_kwh and fell.any():
        used = np.where(fell, used + dial_kwh, used)
        issues.append(
            Issue("turned-over", int(fell.sum()), "the dial fell", f"taken as turned over at {dial_kwh:g} kWh")
        )
        fell = used < 0
    if fell.sum() > max(FEW_FALLS, FALL_FRAC * len(used)):
        raise BadInput(
            f"is declared as dial readings but falls in {int(fell.sum())} of {len(used)} intervals, as no dial does",
            file=file,
            way_out="download usage by interval, or state dialect.dial_kwh if the dial turns over that often",
        )
    if fell.any():
        issues.append(
            Issue("dial-fell", int(fell.sum()), "the dial fell", "left out: a new meter, or the dial turned over")
        )
    kept = np.flatnonzero(~fell)
    later = sorted_.at(np.arange(1, len(sorted_)))
    energy = Readings(stands[:-1], np.diff(stands), used, later.quality, later.cost, later.rank)
    return energy.at(kept), tuple(issues)
