"""What may be said of a meter file's texts: names, addresses and account numbers never reach a message or a result."""

from __future__ import annotations

import re

LONGEST = 80
_LONG_NUMBER = re.compile(r"\d{5,}|\d(?:[ -]?\d){6,}")
_NUMBER = re.compile(r"[-+]?[\d.]{1,30}(?:[eE][-+]?\d{1,9})?")
_OF_A_PERSON = re.compile(
    r"(?:(?:customer|account|service|premises?|billing|mailing|meter|contact|site) ?)*"
    r"(?:name|address|account|customer|e-?mail|phone|telephone|premises?|owner|number|no\.?|id|#)\W*",
    re.I,
)
_WORDS = (
    "active amount average begin beginning channel code column columns data date datetime day delivered demand "
    "dial end ending energy estimated feed flow forward from gas grid hot hour hourly hours house in interval kva "
    "kvar kvarh kw kwh load local main mean meter mid min minute minutes mwh net off on out peak period point "
    "power primary pv quantity reactive read reading reads received register returned reverse secondary shoulder "
    "solar stamp stand start sub sum surplus therm therms time timestamp to total tou type unit usage used utc "
    "value values volt volts water watt watthour watthours watts wh zaehlerstand "
    "ac air appliances attic balance barn basement bath bathroom battery bed bedroom boiler car charger circuit "
    "circuits clamp conditioner conditioning cooker cooktop ct den dining dishwasher disposal dryer ev family fan "
    "floor freezer fridge furnace garage hall heat heater heating hvac inverter kitchen laundry leg light lighting "
    "lights living mains microwave office other outdoor outlet outlets oven panel phase plug plugs pool porch range "
    "pump refrigerator room septic shed spa stove sump temperature tub unknown upstairs washer washing well workshop "
)
_TRADE = frozenset(_WORDS.split())
_TRADE_STEMS = ("consum", "electric", "export", "generat", "import")
_CODE = re.compile(r"[a-z]\d{0,2}|\d{1,2}")
_BETWEEN = re.compile(r"[\W_]+")


def public_number(text: str | None) -> str:
    """A number as it stands; of anything else only that it is none.

    Examples
    --------
    >>> public_number("-900"), public_number("Jane Doe"), public_number(None)
    ('-900', 'text', 'nothing')
    """
    plain = (text or "").strip()
    return "nothing" if not plain else plain if _NUMBER.fullmatch(plain) else "text"


def is_trade(text: str) -> bool:
    """True where every word is one of the trade's, so that a cell can be shown.

    Examples
    --------
    >>> is_trade("Received kWh"), is_trade("Channel 2"), is_trade("Jane Doe"), is_trade("12 Long Lane")
    (True, True, False, False)
    """
    words = [word for word in _BETWEEN.split(text[: LONGEST + 1].lower()) if word]
    return len(text) <= LONGEST and bool(words) and all(map(_is_known, words))


def _is_known(word: str) -> bool:
    return word in _TRADE or word.startswith(_TRADE_STEMS) or bool(_CODE.fullmatch(word))


def public_names(names: list[str]) -> list[str]:
    """Column names with their long numbers replaced by #1, #2: they may be account or meter numbers.

    Examples
    --------
    >>> public_names(["Date", "kWh 99887766", "kWh 99887767"])
    ['Date', 'kWh #1', 'kWh #2']
    """
    numbers: dict[str, int] = {}

    def numbered(match: re.Match) -> str:
        return f"#{numbers.setdefault(match[0], len(numbers) + 1)}"

    return [_LONG_NUMBER.sub(numbered, name) for name in names]


def is_about_a_person(row: list[str]) -> bool:
    """True for a row such as "Name, Jane Doe": what stands beside the label names no column.

    Examples
    --------
    >>> is_about_a_person(["Account Name", "Jane Doe", ""]), is_about_a_person(["Meter number", "Date", "Time", "kWh"])
    (True, False)
    """
    told = [cell for cell in row if cell]
    named = bool(told) and bool(_OF_A_PERSON.fullmatch(told[0][:LONGEST]))
    return named and 2 <= len(told) <= 3 and not any(map(_names_readings, told[1:]))


def _names_readings(cell: str) -> bool:
    words = r"date|time|start|end\b|hour|kwh|\bkw\b|\bwh\b|usage|energy|reading|value|consum"
    return bool(re.search(words, cell, re.I))


def shown(names: list[str], column: int) -> str:
    """A column's name where every word of it is the trade's, else its place in the file.

    Examples
    --------
    >>> shown(["Start", "Usage (kWh)"], 1), shown(["Start", "Jane Doe"], 1)
    ('Usage (kWh)', 'column 2')
    """
    return names[column] if is_trade(names[column]) else f"column {column + 1}"
