"""Weather, meters and bills of one site, each read once, and how a refusal of one of them names the site file."""

from __future__ import annotations

from functools import cached_property

import numpy as np

from profiles.hours import Hours
from profiles.loads.bills import BillsLoad, Cycles, cycles_of_bills
from profiles.loads.load import MeterLoad, Sources
from profiles.meter import meter_kw, meter_notes, meter_on_year, read_meter
from profiles.noun import BadInput
from profiles.rate.printed import read_printed_bills
from profiles.weather.weather import LIBRARY, read_weather, weather_on
from profiles.weather.years import read_weather_years
from simulate.site.site import Site


class SiteSources(Sources):
    """Weather and meter files of one site, each read once."""

    def __init__(self, site: Site):
        self.site, self._meters, self._years = site, {}, {}
        self.notes: list[str] = []

    @cached_property
    def weather(self):
        """The site's weather file, or None where none is named."""
        told = self.site.weather
        if told is None:
            return None
        if told.source is None or told.year is not None:
            return self._of_years(told.year)
        try:
            return read_weather(told, self.site.folder)
        except BadInput as error:
            raise in_file(error, self.site, "" if error.file is None else "weather.source") from None

    @cached_property
    def weather_years(self) -> tuple:
        """The actual years of `weather.years`, none where it names none."""
        if self.site.weather is None or self.site.weather.years is None:
            return ()
        try:
            return read_weather_years(self.site.folder / self.site.weather.years)
        except BadInput as error:
            raise in_file(error, self.site, "" if error.file is None else "weather.years") from None

    def _of_years(self, year: int | None):
        """One of the actual years: the one that is named, else the latest."""
        found = [one for one in self.weather_years if one.year == year] if year is not None else self.weather_years
        if not found:
            known = ", ".join(str(one.year) for one in self.weather_years)
            raise BadInput(
                "is not among weather.years",
                file=self.site.file,
                key="weather.year",
                value=year,
                way_out=f"it has {known}",
            )
        return found[-1]

    def year(self, hours: Hours, asks: str = "a load that follows the weather"):
        """The weather on the hour axis; `asks` names what needs it, where there is none."""
        if self.weather is None:
            known = ", ".join(f'"library:{name}"' for name in LIBRARY)
            raise BadInput(
                f"is missing: {asks} needs it",
                file=self.site.file,
                key="weather.source",
                way_out=f"write [weather] source = one of {known}, or the path of a weather file",
            )
        if hours not in self._years:
            self._years[hours] = weather_on(self.weather, hours)
        return self._years[hours]

    def temp_c(self, hours: Hours, **asks) -> np.ndarray:
        return self.year(hours, **asks).temp_c

    def meter(self, load: MeterLoad, timezone: str):
        """A meter file, read once."""
        key = (load.meter, load.point, load.column, load.dialect)
        if key not in self._meters:
            known = {"point": load.point, "column": load.column, "dialect": load.dialect}
            self._meters[key] = read_meter(self.site.folder / load.meter, timezone=timezone, **known)
        return self._meters[key]

    def cycles(self, load: BillsLoad, hours: Hours) -> Cycles:
        path = self.site.folder / load.bills
        return cycles_of_bills(read_printed_bills(path), hours, file=path)

    def note(self, text: str) -> None:
        self.notes.append(text)

    def meter_kw(self, load: MeterLoad, hours: Hours) -> np.ndarray:
        read = self.meter(load, hours.timezone)
        whole = meter_on_year(read, hours, extend=load.extend, other_year=load.redate, temp_c=self.temp_c)
        self.notes += meter_notes(load.meter, read, whole)
        return meter_kw(whole, hours) * load.scale


def in_file(error: BadInput, site: Site, key: str = "") -> BadInput:
    """A refusal of one load, naming site file and table; where another file is at fault, that file too."""
    error.key = error.key.removeprefix("load").lstrip(".") if key else error.key
    if error.file is None or str(error.file) == str(site.file):
        return error.at(site.file, key)
    rule = f"names {error.file}: {error.key} {error.rule}"
    return BadInput(rule, file=site.file, key=key, value=error.value, way_out=error.way_out)
