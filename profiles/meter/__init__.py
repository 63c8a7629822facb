"""Interval meter files (Green Button, CSV) -> kW on the hour axis, and a sheet on their quality."""

from profiles.meter.axis import covered_kw, meter_kw, meter_years
from profiles.meter.clean import clean_csv
from profiles.meter.days import Days, days_of
from profiles.meter.dialect import Dialect, stated_dialect
from profiles.meter.document import document, meter_document
from profiles.meter.gaps import fill_gaps
from profiles.meter.meter import Issue, Meter, Point
from profiles.meter.on_year import fullest_year, meter_notes, meter_on_year
from profiles.meter.other_years import extend_year, redate
from profiles.meter.quality import Quality, quality_sheet
from profiles.meter.read import read_meter

__all__ = [
    "Days",
    "Dialect",
    "Issue",
    "Meter",
    "Point",
    "Quality",
    "clean_csv",
    "covered_kw",
    "days_of",
    "document",
    "extend_year",
    "fill_gaps",
    "fullest_year",
    "meter_document",
    "meter_kw",
    "meter_notes",
    "meter_on_year",
    "meter_years",
    "quality_sheet",
    "read_meter",
    "redate",
    "stated_dialect",
]
