"""Readings that are no hourly load: of a day, of a month, of no fixed length. They are refused, never spread."""

from __future__ import annotations

import numpy as np

from profiles.meter.readings.clock import DAY_S
from profiles.noun import BadInput

LONGEST_S = 3600
UNFIT_FRAC = 0.1
"""Share of the time that odd readings may cover, such as double ones at a clock change: engineering judgement."""
BILLS = "give what each month used instead: whole_house = { monthly_kwh = [twelve], shape = "
BILLS += '"whole-house" }, or a file of bills; or download hourly or quarter-hour usage'


def is_fine(duration_s: np.ndarray) -> np.ndarray:
    """True where a reading lasts an hour at most and cuts a day into equal parts."""
    return (duration_s > 0) & (duration_s <= LONGEST_S) & (DAY_S % np.maximum(duration_s, 1) == 0)


def refuse_coarse(duration_s: np.ndarray, interval_s: int, *, file: object) -> None:
    """Refuse readings most of which are no parts of an hourly load.

    Parameters
    ----------
    duration_s : ndarray of int64, shape (n_readings,)
        Length of each reading. [s]
    interval_s : int
        The usual length. [s]

    Raises
    ------
    BadInput
        Readings of more than an hour, of a length that is no divisor of a day, or of many lengths.

    Examples
    --------
    >>> refuse_coarse(np.full(24, 3600), 3600, file="a.csv")
    """
    unfit_s = duration_s[~is_fine(duration_s)].sum()
    if unfit_s <= UNFIT_FRAC * duration_s.sum():
        return
    if interval_s > LONGEST_S:
        rule = f"has readings of {_length(interval_s)}: nothing in them says at what hour the energy was used"
        raise BadInput(rule, file=file, way_out=BILLS)
    if DAY_S % interval_s:
        raise BadInput(
            f"has readings of {interval_s / 60:g} min, which do not cut a day into equal parts",
            file=file,
            way_out="state dialect.interval_min if that is not their length, or download hourly or quarter-hour usage",
        )
    longest = int(duration_s.max())
    raise BadInput(
        f"has readings of many lengths, up to {_length(longest)}: those that are no parts of a day cover "
        f"{100 * unfit_s / duration_s.sum():.0f} % of the time",
        file=file,
        way_out=BILLS,
    )


def _length(seconds: int) -> str:
    if seconds < DAY_S:
        return f"{seconds / 3600:g} h"
    return "a day" if seconds == DAY_S else f"{seconds / DAY_S:.3g} days"
