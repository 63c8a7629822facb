"""The columns of a sweep: what each one is, and its unit."""

from __future__ import annotations

from simulate.physics.outages.spread import MARKS_H

ENERGIES = (
    "load",
    "backed_up",
    "solar",
    "import",
    "export",
    "charge",
    "discharge",
    "loss",
    "curtailed",
    "stored_change",
)
SPREADS = {
    "min": "shortest outage of the year",
    "p10": "nine times in ten",
    "p50": "half last at least",
    "p90": "one time in ten",
    "max": "longest",
    "mean": "on average",
}
_ENERGY = {
    "load": "all that the house uses",
    "backed_up": "used by the circuits on the sub-panel, whoever serves them",
    "solar": "what the roof could give",
    "import": "bought",
    "export": "sent out",
    "charge": "AC into the units",
    "discharge": "AC out of the units",
    "loss": "lost in the units, their own draw included",
    "curtailed": "solar that nobody used",
    "stored_change": "stored at the year's end less at its start",
}
RESULTS = {
    **{f"out_{name}_kwh": ("kWh a year", _ENERGY[name]) for name in ENERGIES},
    "out_throughput_kwh": ("kWh a year", "delivered by the units, as warranties count it"),
    "out_installed_price": ("currency", "price of the units and of what else is named; none without their price"),
    "out_today": ("currency a year", "bill of today, before the new rate, new solar and the battery"),
    "out_without_battery": ("currency a year", "bill on the site's rate without a battery"),
    "out_with_battery": ("currency a year", "bill on the site's rate with it"),
    "out_saving": ("currency a year", "out_without_battery less out_with_battery"),
    "out_change": ("currency a year", "out_with_battery less out_today: negative is less to pay"),
    "out_fails": ("1", "panel checks that fail; only where --fails asks for them"),
    "out_bound": ("currency a year", "the most that any plan could save; only where --bound asks for it"),
    "out_captured_frac": ("0 to 1", "out_saving over out_bound; only with it"),
    "out_simple_payback_y": (
        "years",
        "price less grants at installation, over saving less yearly costs; none without [money] or a gain",
    ),
    **{f"out_hours_{name}": ("h", f"hours survived, {text}") for name, text in SPREADS.items()},
    **{
        f"out_lasting_{mark}_frac": ("0 to 1", f"share of outages that last {mark} h; none beyond the horizon")
        for mark in MARKS_H
    },
    "out_years_p10": ("h", "hours survived nine times in ten over all weather years; only where the site names them"),
    "out_years_worst_p10": ("h", "the same in the worst of the weather years"),
    "out_years_saving": ("currency a year", "out_saving on average over the weather years"),
    "out_censored_frac": ("0 to 1", "share of outages that outlive the horizon: their hours mean at least"),
}
"""Columns of results that are numbers: unit and meaning. A number that was not asked for or is not there is NaN."""

TEXTS = {
    "out_first_lost": "circuit that goes dark first in most outages",
    "out_never_carried": 'circuits that no wiring can serve in this design, "" where none',
    "out_stands_apart": "those of them of the first priority or medical: the design is on no front and no best one",
    "error": "why the design was refused; none where it was run",
    "input_hash": "hash of the site as it was understood and of the bytes of the files that it names",
}
"""Columns of results that are text."""

UNITS = {
    "_kwh": "kWh",
    "_kwh_ac": "kWh AC",
    "_kw": "kW",
    "_w": "W",
    "_h": "h",
    "_frac": "0 to 1",
    "_efficiency": "0 to 1",
    "_c": "degC",
    "_deg": "deg",
    "_a": "A",
    "_min": "min",
    "_per_kwh": "currency/kWh",
    "_per_month": "currency a month",
}
"""Ends of the names of site keys, and their units."""


def label_of(column: str, currency: str = "currency") -> str:
    """A column in words with its unit, for an axis.

    Parameters
    ----------
    column : str
        `in_*` or `out_*` of a sweep.
    currency : str

    Examples
    --------
    >>> label_of("out_hours_p10"), label_of('in_battery["Left unit"].usable_kwh')
    ('hours survived, nine times in ten [h]', 'Left unit: usable [kWh]')
    """
    if column in RESULTS:
        unit, text = RESULTS[column]
        return f"{_PLAIN.get(column, text)} [{unit}]".replace("currency", currency)
    table, _, name = column.removeprefix("in_").rpartition(".")
    table = table.partition('["')[2].removesuffix('"]') or table
    end = max((end for end in UNITS if name.endswith(end)), key=len, default="")
    name = (name if end == "_efficiency" else name.removesuffix(end)).replace("_", " ")
    plain = f"{table}: {name}" if table else name
    return f"{plain} [{UNITS[end]}]".replace("currency", currency) if end else plain


_PLAIN = {"out_saving": "bill saving", "out_installed_price": "installed price", "out_bound": "largest possible saving"}


def meaning_of(column: str) -> dict[str, str]:
    """Unit and meaning of a column of a sweep, as its Parquet field carries them.

    Examples
    --------
    >>> meaning_of("out_hours_p10")
    {'unit': 'h', 'meaning': 'hours survived, nine times in ten'}
    >>> meaning_of("in_battery.usable_kwh")["unit"]
    'kWh'
    """
    if column in RESULTS:
        unit, meaning = RESULTS[column]
        return {"unit": unit, "meaning": meaning}
    if column in TEXTS:
        return {"unit": "", "meaning": TEXTS[column]}
    unit = next((unit for end, unit in UNITS.items() if column.endswith(end)), "")
    meaning = "number of the design" if column == "design" else "as varied" if column.startswith("in_") else "label"
    return {"unit": unit, "meaning": meaning}
