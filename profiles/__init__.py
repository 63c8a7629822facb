"""What is known of a house per step before a battery is asked to do anything: loads, weather, solar, rates.

The names below are loaded when they are first used.
"""

from typing import TYPE_CHECKING

from profiles.face import face

if TYPE_CHECKING:
    from profiles.hours import Hours as Hours
    from profiles.hours import hours_of_year as hours_of_year
    from profiles.loads.load import load_kw as load_kw
    from profiles.meter import meter_kw as meter_kw
    from profiles.meter import read_meter as read_meter
    from profiles.noun import BadInput as BadInput
    from profiles.rate.prices import rate_prices as rate_prices
    from profiles.rate.rate import Rate as Rate
    from profiles.rate.source import read_rate as read_rate
    from profiles.solar.roof import Solar as Solar
    from profiles.solar.roof import solar_kw as solar_kw
    from profiles.weather.weather import read_weather as read_weather
    from profiles.weather.weather import weather_on as weather_on

_HOME = {
    "BadInput": "noun",
    "Hours": "hours",
    "Rate": "rate.rate",
    "Solar": "solar.roof",
    "hours_of_year": "hours",
    "load_kw": "loads.load",
    "meter_kw": "meter",
    "rate_prices": "rate.prices",
    "read_meter": "meter",
    "read_rate": "rate.source",
    "read_weather": "weather.weather",
    "solar_kw": "solar.roof",
    "weather_on": "weather.weather",
}
__all__ = sorted(_HOME)
__getattr__, __dir__ = face("profiles", _HOME)
