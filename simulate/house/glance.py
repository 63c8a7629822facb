"""The outages of a year at a glance: what their bare name shows at the end of a notebook cell."""

from __future__ import annotations

from html import escape

from profiles.html import lines_html, table_html
from simulate.physics.outages.spread import MARKS_H, SEASONS, lasting_frac, spread
from simulate.site.cautions import SHORT

SPREADS = {
    "min": "shortest",
    "p10": "nine times in ten",
    "p50": "half last at least",
    "p90": "one time in ten",
    "max": "longest",
}


def ride_html(ride) -> str:
    """The outages of a year by season: hours, and shares that last."""
    marks = [mark for mark in MARKS_H if mark <= ride.horizon_h]
    header = ("power fails in", *(f"{text} [h]" for text in SPREADS.values()))
    header += tuple(f"last {mark} h [%]" for mark in marks)
    seasons = {"the year": ride.hours} | {name: ride.in_months(months) for name, months in SEASONS.items()}
    rows = [_season(name, hours, marks, ride.horizon_h) for name, hours in seasons.items() if len(hours)]
    never = [f"Never carried: {', '.join(ride.house.never_carried)}."] if ride.house.never_carried else []
    first = f"Hours survived, {ride.load_case} load; what is lost first in most outages: {ride.usually_lost}."
    lived = [f"Outages are followed for {ride.horizon_h:g} h: there read at least."] if ride.censored.any() else []
    return lines_html([first, *never, *lived]) + table_html(header, rows) + f"<p><small>{escape(SHORT)}</small></p>"


def _season(name: str, hours, marks: list[int], horizon_h: float) -> tuple[str, ...]:
    told, lasting = spread(hours), lasting_frac(hours, horizon_h)
    shares = (lasting[str(mark)] for mark in marks)
    return (
        name,
        *(f"{told[key]:.1f}" for key in SPREADS),
        *("" if share is None else f"{100.0 * share:.0f}" for share in shares),
    )
