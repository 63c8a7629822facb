"""Interval meter files (Green Button, CSV) -> kW on the hour axis, and a sheet on their quality."""

from profiles.meter.axis import meter_kw, meter_years
from profiles.meter.dialect import Dialect
from profiles.meter.document import document, meter_document
from profiles.meter.gaps import fill_gaps
from profiles.meter.meter import Issue, Meter, Point
from profiles.meter.quality import Quality, quality_sheet
from profiles.meter.read import read_meter

__all__ = ["Dialect", "Issue", "Meter", "Point", "document", "fill_gaps", "meter_document", "meter_kw", "meter_years", "Quality", "quality_sheet", "read_meter"]
