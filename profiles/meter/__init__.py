"""Interval meter files (Green Button, CSV) -> kW on the hour axis, and a sheet on their quality.

The names below are loaded when they are first used.
"""

from typing import TYPE_CHECKING

from profiles.face import face

if TYPE_CHECKING:
    from profiles.meter.clean import clean_csv as clean_csv
    from profiles.meter.on_axis.axis import covered_kw as covered_kw
    from profiles.meter.on_axis.axis import meter_kw as meter_kw
    from profiles.meter.on_axis.days import Days as Days
    from profiles.meter.on_axis.days import days_of as days_of
    from profiles.meter.on_axis.gaps import fill_gaps as fill_gaps
    from profiles.meter.on_axis.on_year import meter_notes as meter_notes
    from profiles.meter.on_axis.on_year import meter_on_year as meter_on_year
    from profiles.meter.on_axis.other_years import extend_year as extend_year
    from profiles.meter.on_axis.other_years import redate as redate
    from profiles.meter.on_axis.quality import Quality as Quality
    from profiles.meter.on_axis.quality import quality_sheet as quality_sheet
    from profiles.meter.on_axis.years import fullest_year as fullest_year
    from profiles.meter.on_axis.years import meter_years as meter_years
    from profiles.meter.read import read_meter as read_meter
    from profiles.meter.readings.dialect import Dialect as Dialect
    from profiles.meter.readings.dialect import stated_dialect as stated_dialect
    from profiles.meter.readings.meter import Issue as Issue
    from profiles.meter.readings.meter import Meter as Meter
    from profiles.meter.readings.meter import Point as Point
    from profiles.meter.sheet import document as document
    from profiles.meter.sheet import meter_document as meter_document

_HOME = {
    "Days": "on_axis.days",
    "Dialect": "readings.dialect",
    "Issue": "readings.meter",
    "Meter": "readings.meter",
    "Point": "readings.meter",
    "Quality": "on_axis.quality",
    "clean_csv": "clean",
    "covered_kw": "on_axis.axis",
    "days_of": "on_axis.days",
    "document": "sheet",
    "extend_year": "on_axis.other_years",
    "fill_gaps": "on_axis.gaps",
    "fullest_year": "on_axis.years",
    "meter_document": "sheet",
    "meter_kw": "on_axis.axis",
    "meter_notes": "on_axis.on_year",
    "meter_on_year": "on_axis.on_year",
    "meter_years": "on_axis.years",
    "quality_sheet": "on_axis.quality",
    "read_meter": "read",
    "redate": "on_axis.other_years",
    "stated_dialect": "readings.dialect",
}
__all__ = sorted(_HOME)
__getattr__, __dir__ = face("profiles.meter", _HOME)
