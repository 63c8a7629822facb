"""Roof and weather to kW per step by the chain of NREL/TP-6A20-62641; nobody else runs pvlib's models of a roof."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

import numpy as np
from pydantic import Field, model_validator

from profiles.hours import Hours
from profiles.noun import BadInput, Noun
from profiles.solar.log import SolarLog, log_kw
from profiles.weather.weather import WeatherYear

ALBEDO_FRAC = 0.2  # grass and roofs; the default of NREL/TP-6A20-62641
DC_TO_AC = 1.2  # the default ratio of roof to inverter of NREL/TP-6A20-62641 (from memory)
INVERTER_EFFICIENCY = 0.96  # nominal, NREL/TP-6A20-62641
REFERENCE_EFFICIENCY = 0.9637  # of the inverter whose curve NREL/TP-6A20-62641 scales
TRACKER_EFFICIENCY = 0.98  # of the DC converter between roof and battery; engineering judgement, no source
# Glass over cell over glass (King, Boyson, Kratochvil: Photovoltaic Array Performance Model, SAND2004-3535, table 1).
CELL_HEAT = {"roof": {"a": -2.98, "b": -0.0471, "deltaT": 1.0}, "rack": {"a": -3.47, "b": -0.0594, "deltaT": 3.0}}


class Solar(Noun):
    """The [solar] table: a roof, or the log of its inverter."""

    connected_at: Literal["main-panel", "sub-panel", "battery"] = Field(
        description='where it lands: "main-panel", "sub-panel" or "battery" (DC)'
    )
    dc_kw: float | None = Field(
        None, gt=0.0, description="roof rating at 1,000 W/m2 and 25 degC [kW]; without solar leave out [solar]"
    )
    ac_kw: float | None = Field(None, gt=0.0, description="inverter rating, AC; default dc_kw / 1.2 [kW]")
    tilt_deg: float | None = Field(None, ge=0.0, le=90.0, description="slope of the roof, 0 is flat [deg]")
    azimuth_deg: float | None = Field(
        None, ge=0.0, le=360.0, description="where the roof faces, clockwise from north, 180 is south [deg]"
    )
    mount: Literal["roof", "rack"] = Field("roof", description='"roof": close to it | "rack": open behind')
    power_per_degc: float = Field(
        -0.0047,
        ge=-0.01,
        le=0.0,
        description="output per degC of cell temperature; standard module of NREL/TP-6A20-62641 [1/degC]",
    )
    losses_frac: float = Field(0.1408, ge=0.0, lt=1.0, description="system losses, NREL/TP-6A20-62641 [fraction]")
    curtails: Literal["smooth", "steps", "no"] = Field(
        "smooth", description='how it gives way in an island: "smooth" (frequency-watt) | "steps" | "no"'
    )
    breaker_a: int | None = Field(None, gt=0, description="its breaker [A]")
    opposite_end: bool | None = Field(None, description="is its breaker at the far end of the bus from the main?")
    export: bool = Field(True, description="main-panel solar sends its surplus out")
    existing: bool = Field(False, description="true: the roof stands already and is in today's bill; false: it is new")
    series: SolarLog | None = Field(None, description="the inverter's own log instead of a roof: { csv, column }")

    @model_validator(mode="after")
    def _roof_or_log(self) -> Solar:
        roof = {"dc_kw": self.dc_kw, "tilt_deg": self.tilt_deg, "azimuth_deg": self.azimuth_deg}
        if self.series is None:
            for key, value in roof.items():
                if value is None:
                    raise BadInput(
                        "is missing", key=key, way_out=f"it is: {Solar.model_fields[key].description}; or give series"
                    )
        elif self.tilt_deg is not None or self.azimuth_deg is not None:
            raise BadInput("does not go with tilt_deg and azimuth_deg", key="series", way_out="leave one of them out")
        return self

    @property
    def inverter_kw(self) -> float | None:
        """Rated AC output: `ac_kw`, else `dc_kw / 1.2`; None where a log stands alone. [kW]"""
        return self.ac_kw or (self.dc_kw / DC_TO_AC if self.dc_kw else None)


def solar_kw(roof: Solar, weather: WeatherYear | None, hours: Hours, *, folder: str | Path | None = None) -> np.ndarray:
    """AC power that the roof could give, mean over each step, whatever becomes of it.

    Parameters
    ----------
    roof : Solar
        With `series`, the log is returned as it stands and the weather is not looked at.
    weather : WeatherYear or None
        From `weather_on`, on the same hours.
    hours : Hours
    folder : path, optional
        Where a relative path of the log begins.

    Returns
    -------
    ndarray, shape (n_steps,)
        At the inverter's terminals, never above its rating. [kW]

    Raises
    ------
    BadInput
        No weather for a roof, or a log that does not cover the year.

    Notes
    -----
    Plane of array by Perez 1990, reflection off the glass for the beam, cell temperature by the Sandia model, DC
    power, losses and inverter by NREL/TP-6A20-62641.

    References
    ----------
    Dobos, NREL/TP-6A20-62641, 2014. Perez et al., Solar Energy 44 (5), 1990.

    Examples
    --------
    >>> from profiles.hours import hours_of_year
    >>> from profiles.weather.weather import read_weather, weather_on
    >>> hours = hours_of_year(2025, "America/New_York")
    >>> roof = Solar(dc_kw=3.6, ac_kw=3.0, tilt_deg=25.0, azimuth_deg=180.0, connected_at="main-panel")
    >>> kw = solar_kw(roof, weather_on(read_weather("library:piedmont"), hours), hours)
    >>> bool(kw.max() <= 3.0), bool(kw[0] == 0.0)
    (True, True)
    """
    if roof.series is not None:
        return log_kw(roof.series, hours, roof.inverter_kw, folder)
    return inverter_kw(array_dc_kw(roof, _on_axis(weather, hours)), roof.inverter_kw)


def solar_dc_kw(
    roof: Solar, weather: WeatherYear | None, hours: Hours, *, folder: str | Path | None = None
) -> np.ndarray:
    """DC power that the roof could give to a battery: losses and 0.98 for the tracking converter, no inverter.

    Parameters are those of `solar_kw`; a log is taken as the DC kW it says.

    Returns
    -------
    ndarray, shape (n_steps,)
        [kW]

    Examples
    --------
    >>> from profiles.hours import hours_of_year
    >>> from profiles.weather.weather import read_weather, weather_on
    >>> hours = hours_of_year(2025, "America/New_York")
    >>> roof = Solar(dc_kw=3.6, tilt_deg=25.0, azimuth_deg=180.0, connected_at="battery")
    >>> dc_kw = solar_dc_kw(roof, weather_on(read_weather("library:piedmont"), hours), hours)
    >>> bool(dc_kw.max() < 3.6 * 1.2)
    True
    """
    if roof.series is not None:
        return log_kw(roof.series, hours, roof.dc_kw, folder)
    return TRACKER_EFFICIENCY * array_dc_kw(roof, _on_axis(weather, hours))


def array_dc_kw(roof: Solar, weather: WeatherYear) -> np.ndarray:
    """DC power of the roof after system losses, shape (n_steps,). [kW]"""
    absorbed, cell_c = _on_the_cells(roof, weather)
    return (1.0 - roof.losses_frac) * cell_dc_kw(absorbed, cell_c, roof.dc_kw, roof.power_per_degc)


def cell_dc_kw(absorbed_w_m2, cell_c, dc_kw: float, power_per_degc: float) -> np.ndarray:
    """DC power before losses: linear in irradiance and in cell temperature.

    Notes
    -----
    .. math:: P = \\frac{I}{1000} P_{dc0} (1 + \\gamma (T_c - 25))

    References
    ----------
    Dobos, NREL/TP-6A20-62641, 2014, section 8.

    Examples
    --------
    >>> round(float(cell_dc_kw(1000.0, 35.0, 4.0, -0.005)), 3)
    3.8
    """
    from pvlib.pvsystem import pvwatts_dc

    return np.maximum(pvwatts_dc(np.asarray(absorbed_w_m2), np.asarray(cell_c), dc_kw, power_per_degc), 0.0)


def inverter_kw(dc_kw, ac_kw: float) -> np.ndarray:
    """AC power of an inverter of rating `ac_kw`: the part-load curve of NREL/TP-6A20-62641, clipped at the rating.

    References
    ----------
    Dobos, NREL/TP-6A20-62641, 2014, section 10.

    Examples
    --------
    Full DC input gives full output, and more gives no more:

    >>> [round(float(kw), 9) for kw in inverter_kw([0.0, 5.0 / 0.96, 9.0], 5.0)]
    [0.0, 5.0, 5.0]
    """
    from pvlib.inverter import pvwatts

    return pvwatts(
        np.asarray(dc_kw, dtype=float), ac_kw / INVERTER_EFFICIENCY, INVERTER_EFFICIENCY, REFERENCE_EFFICIENCY
    )


def losses_frac(**percent: float) -> float:
    """System losses combined from their parts in percent, those of NREL/TP-6A20-62641 by default.

    Parameters
    ----------
    percent : float
        Any of soiling, shading, snow, mismatch, wiring, connections, lid, nameplate_rating, age, availability. [%]

    Examples
    --------
    >>> round(losses_frac(), 6)
    0.140757
    >>> round(losses_frac(shading=20.0), 4)
    0.2913
    """
    from pvlib.pvsystem import pvwatts_losses

    return float(pvwatts_losses(**percent)) / 100.0


def incidence_deg(tilt_deg: float, azimuth_deg: float, zenith_deg, sun_azimuth_deg) -> np.ndarray:
    """Angle between the sun and the normal of a surface. [deg]

    Examples
    --------
    A flat roof looks at the zenith:

    >>> round(float(incidence_deg(0.0, 180.0, 40.0, 123.0)), 9)
    40.0
    """
    from pvlib.irradiance import aoi

    return aoi(tilt_deg, azimuth_deg, np.asarray(zenith_deg), np.asarray(sun_azimuth_deg))


def _on_the_cells(roof: Solar, weather: WeatherYear) -> tuple[np.ndarray, np.ndarray]:
    """Irradiance that the cells take up, and their temperature. [W/m2], [degC]"""
    from pvlib import iam, temperature

    incidence = incidence_deg(roof.tilt_deg, roof.azimuth_deg, weather.zenith_deg, weather.azimuth_deg)
    beam = weather.dni * np.maximum(np.cos(np.radians(incidence)), 0.0)
    around = _sky(roof, weather) + weather.ghi * ALBEDO_FRAC * (1.0 - np.cos(np.radians(roof.tilt_deg))) / 2.0
    cell_c = temperature.sapm_cell(beam + around, weather.temp_c, weather.wind_m_s, **CELL_HEAT[roof.mount])
    return beam * iam.physical(incidence) + around, cell_c


def _sky(roof: Solar, weather: WeatherYear) -> np.ndarray:
    """Diffuse light of the sky on the roof; while the sun is down, from an even sky. [W/m2]"""
    from pvlib import atmosphere, irradiance

    zenith = np.minimum(weather.zenith_deg, 89.99)
    extra = irradiance.get_extra_radiation(weather.hours.day + 1)
    with np.errstate(divide="ignore", invalid="ignore"):  # pvlib before 0.16 divides by no diffuse light
        sky = irradiance.perez(
            roof.tilt_deg,
            roof.azimuth_deg,
            weather.dhi,
            weather.dni,
            np.asarray(extra),
            zenith,
            weather.azimuth_deg,
            atmosphere.get_relative_airmass(zenith),
        )
    even = weather.dhi * (1.0 + np.cos(np.radians(roof.tilt_deg))) / 2.0
    return np.where((weather.sun.lit_frac > 0.0) & (weather.dhi > 0.0), sky, even)


def _on_axis(weather: WeatherYear | None, hours: Hours) -> WeatherYear:
    if weather is None:
        raise BadInput(
            "is missing: a roof needs weather",
            key="weather.source",
            way_out='write [weather] source = "library:piedmont" (see keeplit library) or a path',
        )
    if weather.hours is not hours and not weather.hours.utc.equals(hours.utc):
        raise ValueError("weather lies on other hours; lay it on these with weather_on")
    return weather
