"""What is known about a meter file: the keys that a user may state, and the text of what was found."""

from __future__ import annotations

import re
from typing import Any, Literal

from pydantic import Field, field_validator

from profiles.noun import BadInput, Noun, read_noun
from profiles.numerals import real, whole

_OFFSET = re.compile(r"([+-])(\d{2}):(\d{2})")
UNIT_KWH = {"kWh": 1.0, "Wh": 1e-3, "MWh": 1e3, "kW": 1.0, "W": 1e-3}


class Dialect(Noun):
    """How a meter file is to be read; what is left out is inferred, and what cannot be inferred is asked for.

    Examples
    --------
    >>> Dialect(clock="-05:00").offset_s
    -18000
    """

    layout: Literal["long", "wide"] | None = Field(None, description='"long" (a row a reading) or "wide" (a row a day)')
    delimiter: Literal[",", ";", "\t", "|"] | None = Field(None, description="sign between columns")
    decimal: Literal[".", ","] | None = Field(None, description='decimal sign, "." or ","')
    header_row: int | None = Field(None, ge=0, description="line that holds the column names, from 1; 0 for none")
    time_column: str | None = Field(None, description="column of the stamp, or of the date where the time is apart")
    end_column: str | None = Field(None, description="column of the end of each interval")
    received_column: str | None = Field(None, description="column of the energy received from the house")
    date_order: Literal["ymd", "mdy", "dmy"] | None = Field(None, description='"ymd", "mdy" or "dmy"')
    labels: Literal["beginning", "ending"] | None = Field(
        None, description='whether a stamp is the "beginning" or the "ending" of its interval'
    )
    clock: str | None = Field(
        None, description='"wall" (with clock changes), "standard" (without), "utc", or an offset such as "-05:00"'
    )
    unit: Literal["kWh", "Wh", "MWh", "kW", "W"] | None = Field(
        None, description="unit of the values; kW and W are means"
    )
    readings: Literal["interval", "register"] | None = Field(
        None, description='"interval" (energy or mean power each) or "register" (a dial that rises)'
    )
    register_at: Literal["start", "end"] | None = Field(
        None, description="where in its period a Green Button dial reading stands"
    )
    dial_kwh: float | None = Field(None, gt=0, description="what the dial shows where it turns over to zero [kWh]")
    interval_min: float | None = Field(None, gt=0, le=1440, description="length of an interval [min]")
    repeated_hour: Literal["absent", "sum"] | None = Field(
        None,
        description='what one reading for the repeated hour of autumn is: the second is "absent", or the "sum"',
    )
    extra_columns: Literal["sequence", "repeated-hour"] | None = Field(
        None,
        description='what is counted beyond 24 h on a long day: the end of its "sequence", or the "repeated-hour"',
    )

    @field_validator("clock")
    @classmethod
    def _known_clock(cls, clock: str | None) -> str | None:
        if clock not in (None, "wall", "standard", "utc") and not _OFFSET.fullmatch(clock):
            raise ValueError('must be "wall", "standard", "utc" or an offset such as "-05:00"')
        return clock

    @property
    def offset_s(self) -> int | None:
        """Fixed offset from UTC where the clock names one. [s]"""
        match = _OFFSET.fullmatch(self.clock or "")
        if not match:
            return 0 if self.clock == "utc" else None
        seconds = int(match[2]) * 3600 + int(match[3]) * 60
        return -seconds if match[1] == "-" else seconds


GREEN_BUTTON_KEYS = ("clock", "register_at", "dial_kwh")


def as_dialect(dialect: Any, *, file: object = None) -> Dialect:
    """A Dialect from a Dialect, a table of its keys, or None."""
    if isinstance(dialect, Dialect):
        return dialect
    if dialect is not None and not isinstance(dialect, dict):
        raise BadInput("must be a table of keys", file=file, key="dialect", value=dialect)
    return read_noun(Dialect, dialect or {}, file=file, table="dialect")


def stated_dialect(texts: list[str] | None) -> Dialect | None:
    """A Dialect from texts such as "date_order=mdy", as they are typed on a command line; None where there are none.

    Examples
    --------
    >>> stated_dialect(["unit=kWh", "interval_min=15"]).interval_min
    15.0
    """
    if not texts:
        return None
    known: dict[str, Any] = {}
    for text in texts:
        key, sign, value = text.partition("=")
        if not sign:
            raise BadInput("must be KEY=VALUE", key="--dialect", value=text, way_out='such as "date_order=mdy"')
        known[key.strip()] = _number(value.strip()) if key.strip() in NUMBERS else value.strip()
    return as_dialect(known)


NUMBERS = ("header_row", "dial_kwh", "interval_min")


def _number(text: str) -> float | int | str:
    try:
        return whole(text) if text.isdigit() else real(text)
    except ValueError:
        return text


def refuse_csv_keys(dialect: Dialect, file: object) -> None:
    """A Green Button file says most things itself; a key that would contradict it is refused."""
    refuse_other_keys(dialect, GREEN_BUTTON_KEYS, "a Green Button file", file)


def refuse_other_keys(dialect: Dialect, known: tuple[str, ...], what: str, file: object) -> None:
    """Refuse a stated key that a kind of file does not leave open."""
    for key in Dialect.model_fields:
        if getattr(dialect, key) is not None and key not in known:
            raise BadInput(
                f"says nothing about {what}",
                file=file,
                key=f"dialect.{key}",
                way_out="leave it out" + ("; known here: " + ", ".join(known) if known else ""),
            )
