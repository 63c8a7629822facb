"""Files whose lines are numbered records: 100 header, 200 register, 300 a day, 400 its quality, 500 and 900 no energy.

The interval format of the Australian national market (NEM12). Its days have 24 h of the market's standard time,
UTC+10, without clock changes; the first value of a day is the interval that begins at 00:00.
"""

from __future__ import annotations

import csv
import datetime as dt
import re
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from profiles.meter.readings.clock import DAY_S, Clock, zone_clock
from profiles.meter.readings.meter import Issue, Meter, Point, merged
from profiles.meter.readings.sequence import Readings, Settled, paired, settled
from profiles.noun import BadInput
from profiles.numerals import whole

MARKET = Clock(offset_s=10 * 3600)
INTERVALS_MIN = (5, 15, 30)
UNIT_KWH = {"wh": 1e-3, "kwh": 1.0, "mwh": 1e3}
QUALITY = {"A": 0, "E": 8, "S": 8, "F": 8}
"""Flags as ESPI codes: actual is valid, estimated and substituted (also for good) are estimates."""
DIRECTIONS = {"E": "delivered", "B": "received", "K": "reactive", "Q": "reactive"}
_HEAD = re.compile(r"\s*100\s*,\s*NEM1[23]\b|\s*2[05]0,[^,]{10},[^,]*,")
_FLAG = re.compile(r"[AEFNSV]\d{0,2}")
_EPOCH = dt.date(1970, 1, 1).toordinal()


@dataclass(eq=False)
class Register:
    """One 200 record and the days that follow it."""

    point: str
    suffix: str
    unit: str
    interval_min: int
    serial: str = ""
    days: list[int] = field(default_factory=list)
    values: list[np.ndarray] = field(default_factory=list)
    flags: list[np.ndarray] = field(default_factory=list)
    none: int = 0

    @property
    def direction(self) -> str:
        return DIRECTIONS.get(self.suffix[:1].upper(), "unknown")

    @property
    def usable(self) -> bool:
        return self.unit.lower() in UNIT_KWH and self.direction in ("delivered", "received") and bool(self.days)

    def readings(self) -> Readings:
        """Energy by interval in UTC, values that the file leaves blank or flags as none left out."""
        interval_s = self.interval_min * 60
        slots = np.arange(DAY_S // interval_s) * interval_s
        start = (np.array(self.days)[:, None] * DAY_S + slots - MARKET.offset_s).ravel()
        kwh = np.concatenate(self.values) * UNIT_KWH[self.unit.lower()]
        known = np.isfinite(kwh)
        n = int(known.sum())
        quality = np.concatenate(self.flags)[known]
        return Readings(
            start[known], np.full(n, interval_s), kwh[known], quality, np.full(n, np.nan), np.zeros(n, dtype=np.int64)
        )


def is_numbered_records(head: str) -> bool:
    """True where the first line is a header record of this family, or a 200 record straight away.

    Examples
    --------
    >>> is_numbered_records("100,NEM12,200506081149,UNITEDDP,NEMMCO\\n"), is_numbered_records("Date,kWh\\n")
    (True, False)
    """
    first = head.lstrip("\ufeff").lstrip().partition("\n")[0].replace('"', "")
    return bool(_HEAD.match(first))


def read_numbered_records(
    path: str | Path, text: str, *, point: str | None = None, timezone: str | None = None, source: str = ""
) -> Meter:
    """One point of supply: its register of energy to the house, and beside it that of energy from the house.

    Raises
    ------
    BadInput
        A line that breaks the format, named by its number; several points or registers with none chosen; a file of
        accumulated reads.
    """
    registers = _registers(text, path)
    numbers = {one: k + 1 for k, one in enumerate(dict.fromkeys(r.point for r in registers))}
    chosen = _chosen(registers, numbers, point, path)
    clock = zone_clock(timezone) if timezone else MARKET
    parts = [settled(one.readings(), clock, file=path, interval_s=one.interval_min * 60) for one in chosen]
    main, received, issues = parts[0].readings, None, [issue for part in parts for issue in part.issues]
    if len(parts) == 2:
        main, received, alone = paired(main, parts[1].readings, file=path)
        issues += alone
    none = sum(one.none for one in chosen)
    if none:
        issues.append(Issue("blank", none, "the whole file", "flagged as none: left out, missing is not zero"))
    words = ", ".join(f"register {one.suffix} in {one.unit} every {one.interval_min} min" for one in chosen)
    return Meter(
        source=source,
        start_utc=main.start,
        duration_s=main.duration,
        kwh=main.kwh,
        received_kwh=received,
        quality=main.quality,
        interval_s=parts[0].interval_s,
        readings=len(parts[0].readings) + parts[0].repeated,
        covered_s=parts[0].covered_s,
        repeated=parts[0].repeated,
        local=clock,
        clock="UTC+10:00 all year, the market's standard time: the format has no other"
        + (f"; stamps shown in {timezone}" if timezone else ""),
        dialect=f"interval file of records 100 to 900 (NEM12): {words}",
        timezone=timezone,
        issues=merged(issues),
        points=tuple(
            _point(one, numbers, clock, dict(zip(map(id, chosen), parts, strict=True)).get(id(one)))
            for one in registers
        ),
    )


def _registers(text: str, path) -> list[Register]:
    found: dict[tuple, Register] = {}
    register = None
    for line, row in enumerate(csv.reader(text.splitlines()), 1):
        kind = row[0].strip() if row else ""
        if kind == "100":
            _refuse_other_version(row, path)
        elif kind == "200":
            register = _register(row, line, path)
            register = found.setdefault((register.point, register.suffix, register.interval_min), register)
        elif kind == "300" and register is not None:
            _add_day(register, row, line, path)
        elif kind == "400" and register is not None and register.days:
            _flag_range(register, row, line, path)
        elif kind in ("250", "550"):
            raise _accumulated(path)
        elif kind and kind not in ("500", "900"):
            raise BadInput("must begin with 100, 200, 300, 400, 500 or 900", file=path, key=f"line {line}")
    if not any(one.days for one in found.values()):
        raise BadInput("holds no day of readings (no 300 record)", file=path, way_out="download the interval data")
    return list(found.values())


def _refuse_other_version(row: list[str], path) -> None:
    if len(row) > 1 and row[1].strip().upper() == "NEM13":
        raise _accumulated(path)


def _accumulated(path) -> BadInput:
    return BadInput(
        "is a file of accumulated reads (NEM13, records 250): a dial at each visit, without intervals",
        file=path,
        way_out='give whole_house = { monthly_kwh = [twelve], shape = "whole-house" } from the bills, or download '
        "the interval data (NEM12)",
    )


def _register(row: list[str], line: int, path) -> Register:
    cells = [cell.strip() for cell in row] + [""] * 10
    try:
        interval_min = whole(cells[8])
    except ValueError:
        interval_min = 0
    if interval_min not in INTERVALS_MIN:
        raise BadInput(
            "must name an interval of 5, 15 or 30 min", file=path, key=f"line {line}, record 200", value=cells[8][:12]
        )
    return Register(cells[1], cells[4] or cells[3], cells[7], interval_min, cells[6])


def _add_day(register: Register, row: list[str], line: int, path) -> None:
    n = 1440 // register.interval_min
    key = f"line {line}, record 300"
    flag = row[2 + n].strip().upper() if len(row) > 2 + n else ""
    if not _FLAG.fullmatch(flag):
        raise BadInput(
            f"must hold a date, {n} values of {register.interval_min} min and then a quality flag",
            file=path,
            key=key,
            value=f"{len(row)} fields",
            way_out="download it again, unedited",
        )
    try:
        day = dt.datetime.strptime(row[1].strip(), "%Y%m%d").toordinal() - _EPOCH
        values = np.array([float(cell) if cell.strip() else np.nan for cell in row[2 : 2 + n]])
    except ValueError:
        raise BadInput("needs a date such as 20250131 and numbers", file=path, key=key) from None
    if flag[0] == "N":
        register.none += n
        values = np.full(n, np.nan)
    register.days.append(day)
    register.values.append(values)
    register.flags.append(np.full(n, QUALITY.get(flag[0], -1)))


def _flag_range(register: Register, row: list[str], line: int, path) -> None:
    """Quality of the intervals from one to another, counted from 1."""
    n = len(register.flags[-1])
    try:
        first, last, flag = whole(row[1]), whole(row[2]), row[3].strip().upper()
        if not (1 <= first <= last <= n and _FLAG.fullmatch(flag)):
            raise ValueError
    except (ValueError, IndexError):
        raise BadInput(
            f"must name intervals from 1 to {n} and a quality flag", file=path, key=f"line {line}, record 400"
        ) from None
    mine = slice(first - 1, last)
    register.flags[-1][mine] = QUALITY.get(flag[0], -1)
    if flag[0] == "N":
        register.none += last - first + 1
        register.values[-1][mine] = np.nan


def _name(one: Register, numbers: dict[str, int]) -> str:
    return f"{numbers[one.point]}.{one.suffix}"


def _chosen(registers: list[Register], numbers: dict[str, int], point: str | None, path) -> list[Register]:
    usable = [one for one in registers if one.usable]
    if not usable:
        held = ", ".join(sorted({f"{one.suffix} in {one.unit}" for one in registers}))
        raise BadInput(f"holds no register of energy to or from the house (it holds {held})", file=path)
    listed = "; ".join(f"{_name(one, numbers)} ({_text(one, numbers)})" for one in usable)
    if point is not None:
        named = [one for one in usable if point == _name(one, numbers)]
        usable = named or [one for one in usable if point in (str(numbers[one.point]), one.point)]
        if not usable:
            raise BadInput(
                "is no point of supply in this file", file=path, key="point", value=point, way_out=_ways(listed)
            )
        if len(usable) == 1:
            return usable
    delivered = [one for one in usable if one.direction == "delivered"]
    received = [one for one in usable if one.direction == "received"]
    one_supply = len(delivered) == 1 and len({one.point for one in usable}) == 1
    if one_supply and (not received or [one.interval_min for one in received] == [delivered[0].interval_min]):
        return [*delivered, *received]
    if not delivered:
        raise BadInput(
            "holds only energy received from the house, which is not what the house uses",
            file=path,
            way_out="download the delivered energy too",
        )
    raise BadInput(
        "holds several points of supply or registers, which are never summed", file=path, way_out=_ways(listed)
    )


def _ways(listed: str) -> str:
    return f"choose one with point: {listed}"


def _text(one: Register, numbers: dict[str, int]) -> str:
    return f"meter {numbers[one.point]}, {one.suffix}, {one.direction}, {one.interval_min} min, {len(one.days)} days"


def _point(one: Register, numbers: dict[str, int], clock: Clock, part: Settled | None) -> Point:
    days = one.days or [0]
    begin, end = min(days) * DAY_S - MARKET.offset_s, (max(days) + 1) * DAY_S - MARKET.offset_s
    energy = float(np.round(part.readings.kwh.sum(), 9)) if part else None
    n = len(one.days) * 1440 // one.interval_min
    return Point(
        _name(one, numbers),
        f"meter {numbers[one.point]}, {one.suffix} in {one.unit}",
        one.direction,
        float(one.interval_min),
        n,
        clock.stamp(begin) if one.days else "",
        clock.stamp(end) if one.days else "",
        energy,
        part is not None,
    )
