"""What a meter file holds, as one document."""

from __future__ import annotations

from dataclasses import asdict

from profiles.meter.on_axis.quality import quality_sheet
from profiles.meter.read import read_meter
from profiles.meter.readings.meter import Meter


def meter_document(
    path, *, point: str | None = None, column: str | None = None, timezone: str | None = None, dialect=None
) -> dict:
    """The document of `meter --json`: energy, span, interval, completeness, clock, points and issues.

    Raises
    ------
    BadInput
        As `read_meter`.
    """
    return document(read_meter(path, point=point, column=column, timezone=timezone, dialect=dialect))


def document(meter: Meter) -> dict:
    """The same document of a meter that has been read."""
    end = int(meter.start_utc[-1] + meter.duration_s[-1])
    return {
        "energy_kwh": meter.energy_kwh,
        "start": meter.local.stamp(meter.start_utc[0]),
        "end": meter.local.stamp(end),
        "interval_min": meter.interval_s / 60.0,
        "readings": meter.readings,
        "completeness_frac": meter.completeness_frac,
        "clock": meter.clock,
        "points": [asdict(point) for point in meter.points],
        "issues": [asdict(issue) for issue in meter.issues],
        "source": meter.source,
        "dialect": meter.dialect,
        "quality": quality_sheet(meter).to_dict(),
    }
