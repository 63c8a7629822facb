"""Codes of NAESB REQ.21 ESPI, and what a reading type makes of a value."""

from __future__ import annotations

from dataclasses import dataclass, replace

from profiles.meter.readings.private import public_number
from profiles.numerals import whole

WH, W = 72, 38
UNITS = {
    72: "Wh",
    38: "W",
    61: "VA",
    71: "VAh",
    63: "var",
    73: "varh",
    29: "V",
    5: "A",
    33: "Hz",
    42: "m3",
    119: "ft3",
    132: "Btu",
    169: "therm",
    80: "money",
    111: "count",
    0: "no unit",
}
SERVICES = {0: "electricity", 1: "gas", 2: "water"}
COMMODITIES = {0: "electricity", 1: "electricity", 2: "electricity", 7: "gas"}
DIRECTIONS = {1: "delivered", 19: "received", 4: "net", 20: "total", 0: "delivered"}
DELTA, INSTANT, REGISTERS = 4, 12, (1, 2, 3, 9)
QUALITIES = {
    0: "valid",
    7: "edited by hand",
    8: "estimated from a like day",
    9: "estimated linearly",
    10: "questionable",
    11: "derived",
    12: "projected",
    13: "mixed",
    14: "raw",
    15: "weather-normalised",
    16: "other",
    17: "validated",
    18: "verified",
    19: "revenue quality",
}
ESTIMATED = (7, 8, 9, 10, 12, 13)
_BEST_FIRST = (19, 18, 17, 0, -1, 14, 11, 15, 16, 13, 7, 9, 8, 12, 10)
QUALITY_RANK = {code: rank for rank, code in enumerate(_BEST_FIRST)}
CURRENCIES = {840: "USD", 124: "CAD", 978: "EUR", 826: "GBP", 36: "AUD"}
COST_UNIT = 1e-5
LARGEST_POWER = 12
LONGEST_S = 366 * 86_400


@dataclass(frozen=True)
class ReadingType:
    """What the values of one meter reading are.

    Examples
    --------
    325 Wh in a quarter of an hour, and a mean of 1,300 W over it:

    >>> round(ReadingType(unit=72).kwh(325, 900), 9), round(ReadingType(unit=38).kwh(1300, 900), 9)
    (0.325, 0.325)
    >>> ReadingType(unit=72, power_of_ten=3).kwh(2, 900)
    2.0
    """

    unit: int = WH
    power_of_ten: int = 0
    interval_s: int | None = None
    flow: int = 1
    behaviour: int = DELTA
    kind: int = 12
    commodity: int = 1
    qualifier: int = 12
    default_quality: int = -1
    currency: int = 0

    @classmethod
    def from_fields(cls, fields: dict[str, str]) -> ReadingType:
        """From the texts of an ESPI ReadingType; ValueError where one is not a whole number of its range."""
        names = {
            "unit": "uom",
            "power_of_ten": "powerOfTenMultiplier",
            "interval_s": "intervalLength",
            "flow": "flowDirection",
            "behaviour": "accumulationBehaviour",
            "kind": "kind",
            "commodity": "commodity",
            "qualifier": "dataQualifier",
            "default_quality": "defaultQuality",
            "currency": "currency",
        }
        read = cls(**{name: _whole(key, fields[key]) for name, key in names.items() if fields.get(key)})
        if abs(read.power_of_ten) > LARGEST_POWER:
            raise ValueError(f"powerOfTenMultiplier {read.power_of_ten}")
        if read.interval_s is not None and not 0 <= read.interval_s <= LONGEST_S:
            raise ValueError(f"intervalLength {read.interval_s}")
        return read if read.interval_s else replace(read, interval_s=None)

    @property
    def direction(self) -> str:
        return DIRECTIONS.get(self.flow, f"flow {self.flow}")

    @property
    def is_register(self) -> bool:
        return self.behaviour in REGISTERS and self.unit == WH

    @property
    def is_energy(self) -> bool:
        """True where the values can be turned into kWh per interval."""
        return (
            self.unit in (WH, W)
            and self.commodity in (0, 1, 2)
            and self.qualifier not in (8, 9)
            and self.kind in (0, 12, 37)
            and self.flow in DIRECTIONS
        )

    def kwh(self, value, duration_s):
        """Energy of a value over its duration; mean power is multiplied by its hours. [kWh]"""
        k = self.power_of_ten - 3
        value = value * 10.0**k if k >= 0 else value / 10.0**-k
        return value * (duration_s / 3600.0) if self.unit == W else value

    def __str__(self) -> str:
        kind = "register" if self.is_register else "mean power" if self.unit == W else "energy"
        if self.unit not in (W, WH) or self.kind not in (0, 12, 37) or self.qualifier in (8, 9):
            what = {4: "current", 8: "demand", 12: "energy", 54: "voltage"}.get(self.kind, "readings")
            kind = {8: "highest ", 9: "lowest "}.get(self.qualifier, "") + what
        commodity = COMMODITIES.get(self.commodity, f"commodity {self.commodity}")
        return f"{commodity} {kind} in {UNITS.get(self.unit, self.unit)}"


def _whole(key: str, text: str) -> int:
    try:
        return whole(text)
    except ValueError:
        raise ValueError(f"{key} {public_number(text)}") from None
