"""Reads a record of the public utility-rate database (JSON, a local file) and says what it could not carry."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from profiles.files import RECORD_MB, plain_file
from profiles.noun import BadInput, read_noun
from profiles.rate.charges import MOST
from profiles.rate.rate import Rate

ABOUT = {
    "label",
    "utility",
    "eiaid",
    "name",
    "sector",
    "startdate",
    "enddate",
    "source",
    "sourceparent",
    "phasewiring",
    "approved",
    "is_default",
    "description",
    "basicinformationcomments",
    "energycomments",
    "demandcomments",
    "uri",
    "country",
    "servicetype",
    "revisions",
    "supersedes",
    "usenetmetering",
}
CARRIED = ABOUT | {
    "energyratestructure",
    "energyweekdayschedule",
    "energyweekendschedule",
    "fixedchargefirstmeter",
    "fixedmonthlycharge",
    "minmonthlycharge",
    "fixedchargeunits",
    "mincharge",
    "minchargeunits",
    "flatdemandstructure",
    "flatdemandmonths",
    "flatdemandunit",
    "demandratestructure",
    "demandweekdayschedule",
    "demandweekendschedule",
    "demandwindow",
    "demandratchetpercentage",
    "demandrateunit",
    "fueladjustmentsmonthly",
    "dgrules",
}
FIXED = {
    ("fixedchargefirstmeter", "fixedmonthlycharge"): "fixed",
    ("mincharge", "minmonthlycharge"): "minimum",
}
"""Field and older field (records before 2016 or so, from memory) of each charge."""
UNITS = {"fixedchargefirstmeter": "fixedchargeunits", "mincharge": "minchargeunits"}
TIER_UNITS = {"kwh": "kwh_per_month", "kwh daily": "kwh_per_day", "kwh/kw": "kwh_per_kw"}
EXPORT_RULES = {
    "net metering": {"method": "net-metering"},
    "net billing instantaneous": {"method": "net-billing", "netting": "step"},
    "net billing hourly": {"method": "net-billing", "netting": "hour"},
}
STRUCTURES = ("energyratestructure", "flatdemandstructure", "demandratestructure")
MONTHLY = ("flatdemandmonths", "demandratchetpercentage", "fueladjustmentsmonthly")
WINDOWS_MIN = (1, 5, 10, 15, 20, 30, 60)
ALWAYS = (
    "The record has no holidays, half-hours or seasons by date: weekday is Monday to Friday, on the local clock; "
    "read its comments and set what differs beside `source`.",
    "The record is a transcription: replay a bill before you trust it.",
)


def read_rate_record(path: str | Path, *, label: str | None = None) -> Rate:
    """Read a rate-structure record from a local JSON file.

    Parameters
    ----------
    path : path
        One record, a list of them, or {"items": [...]}.
    label : str, optional
        Which record of several.

    Returns
    -------
    Rate
        Its `notes` say what the record holds that could not be carried, and what it does not say.

    Raises
    ------
    BadInput
        No JSON, several records without a label, a unit or a value that has no meaning here.

    Notes
    -----
    Price = rate + adj; tiers are cumulative; a missing sell price is nothing, never the retail price.
    """
    path = Path(path)
    record = _one_record(path, label)
    notes = list(ALWAYS)
    try:
        _check_shapes(record)
        data = {
            "name": str(record.get("name") or record.get("label") or path.stem),
            "description": _description(record),
            **_fixed(record, notes),
            **_energy(record, notes),
            **_demand(record, notes),
            **_riders(record),
        }
        data["export"] = _export(record, data, notes)
    except BadInput as error:
        raise BadInput(error.rule, file=path, key=error.key, value=error.value, way_out=error.way_out) from None
    if data.get("tier_unit") == "kwh_per_kw" and not data["demand"]:
        data["demand"] = [{"name": "metered demand", "per_kw": 0.0}]
        notes.append("Tiers are in kWh/kW and the record has no demand charge: kW are the month's highest hour.")
    left = sorted(key for key, value in record.items() if key not in CARRIED and value not in (None, "", [], {}))
    if left:
        notes.append("Not carried from the record: " + ", ".join(left) + ".")
    for key in ("basicinformationcomments", "energycomments", "demandcomments"):
        if record.get(key):
            notes.append(f"The record comments ({key}): {' '.join(str(record[key]).split())[:300]}")
    return read_noun(Rate, {**data, "notes": notes}, file=path)


def _one_record(path: Path, label: str | None) -> dict:
    try:
        data = json.loads(plain_file(path, RECORD_MB).read_text(encoding="utf-8-sig"))
    except BadInput:
        raise
    except (OSError, ValueError, RecursionError) as error:
        raise BadInput(f"cannot be read as JSON ({error})", file=path, way_out="give one record") from None
    records = data.get("items", [data]) if isinstance(data, dict) else data
    if not isinstance(records, list) or not records or not all(isinstance(one, dict) for one in records):
        raise BadInput("holds no record", file=path, way_out="give one record of the database")
    if label is not None:
        records = [one for one in records if one.get("label") == label]
    if len(records) != 1:
        found = [one.get("label") or one.get("name") for one in records]
        raise BadInput("must be one record", file=path, key="label", value=found, way_out="keep one in the file")
    if "energyratestructure" not in records[0]:
        raise BadInput("is missing", file=path, key="energyratestructure", way_out="give the record in full detail")
    return records[0]


def _check_shapes(record: dict) -> None:
    """Structures are lists of lists of tiers, monthly values are twelve numbers; whatever else is refused."""
    for key in STRUCTURES:
        periods = record.get(key)
        if periods in (None, []) and key != "energyratestructure":
            continue
        tiers = [tier for one in periods for tier in one] if _are(periods, list) else [None]
        if not _are(tiers, dict) or not all(periods):
            raise BadInput(
                "must be a list of periods, each a list of tiers",
                key=key,
                value=periods,
                way_out='write [[{"rate": 0.1}], ...]',
            )
    for key in MONTHLY:
        values = record.get(key)
        if values in (None, []):
            continue
        if not isinstance(values, list) or len(values) != 12:
            raise BadInput("must be 12 numbers", key=key, value=values, way_out="check the record")
        for value in values:
            _number(value, key)


def _are(values: Any, kind: type) -> bool:
    return isinstance(values, list) and bool(values) and all(isinstance(one, kind) for one in values)


def _description(record: dict) -> str:
    parts = [str(record[key]) for key in ("utility", "label", "source", "description") if record.get(key)]
    for key, word in (("startdate", "from"), ("enddate", "until")):
        if record.get(key) is not None:
            parts.append(f"{word} {_day(record[key], key).isoformat()}")
    return "; ".join(" ".join(part.split()) for part in parts)


def _day(value: Any, key: str) -> dt.date:
    try:
        return dt.datetime.fromtimestamp(_number(value, key, most=1e12), dt.UTC).date()
    except (ValueError, OverflowError, OSError):
        raise BadInput("must be seconds since 1970", key=key, value=value, way_out="check the record") from None


def _fixed(record: dict, notes: list[str]) -> dict[str, float]:
    """Fixed and minimum charges; older records have them in other fields, per month."""
    found = {}
    for (key, older), target in FIXED.items():
        if record.get(key) is None and record.get(older) is None:
            continue
        name = older if record.get(key) is None else key
        amount, unit = _number(record[name], name), str(record.get(UNITS.get(name, ""), "$/month"))
        if name == key and record.get(older) is not None and _number(record[older], older) != amount:
            notes.append(f"The record has both {key} and the older {older}, and they differ: {key} is used.")
        per = {
            "$/month": (f"{target}_per_month", 1.0),
            "$/day": (f"{target}_per_day", 1.0),
            "$/year": (f"{target}_per_month", 1 / 12),
        }.get(unit)
        if per is None:
            raise BadInput(
                "is a unit that is not known", key=UNITS[name], value=unit, way_out="$/month, $/day or $/year"
            )
        found[per[0]] = amount * per[1]
    return found


def _energy(record: dict, notes: list[str]) -> dict[str, Any]:
    structure = record["energyratestructure"]
    units = {str(tier.get("unit", "kWh")).lower() for tiers in structure for tier in tiers}
    if len(units) != 1 or not units <= set(TIER_UNITS):
        raise BadInput(
            "must be one of kWh, kWh daily, kWh/kW",
            key="energyratestructure.unit",
            value=sorted(units),
            way_out="write the rate as a TOML file",
        )
    tiers = [_tiers(one, "price_per_kwh", f"energyratestructure[{p}]", notes) for p, one in enumerate(structure)]
    if any(len(one) > 1 for one in tiers) and len(tiers) > 1:
        notes.append("The record does not say whether tiers count each period's kWh or all: read as each period's own.")
    seasons = [
        {"name": name, "months": months, "periods": list(_periods(rows, structure, tiers))}
        for name, months, rows in _month_groups(record, "energy", len(structure))
    ]
    return {"season": seasons, "tier_unit": TIER_UNITS[units.pop()]}


def _periods(rows: tuple, structure: list, tiers: list) -> Iterator[dict[str, Any]]:
    for days, row in rows:
        for index in sorted(set(row)):
            one = tiers[index]
            priced = {"tiers": one} if len(one) > 1 else {"price_per_kwh": one[0]["price_per_kwh"]}
            yield {
                "name": f"period {index}",
                "days": days,
                "hours": _windows(row, index),
                **priced,
                **_sell(structure[index], f"energyratestructure[{index}].sell"),
            }


def _sell(tiers: list, key: str) -> dict[str, float]:
    sells = {None if tier.get("sell") is None else _number(tier["sell"], key) for tier in tiers}
    if len(sells) > 1:
        raise BadInput(
            "must be the same in every tier",
            key=key,
            value=sorted(map(str, sells)),
            way_out="write the rate as a TOML file",
        )
    sell = sells.pop()
    return {} if sell is None else {"credit_per_kwh": sell}


def _tiers(tiers: list, price_key: str, key: str, notes: list[str]) -> list[dict[str, float]]:
    found = []
    for k, tier in enumerate(tiers):
        if tier.get("rate") is None:
            raise BadInput("is missing", key=f"{key}[{k}].rate", way_out="write 0 if it costs nothing")
        price = _number(tier["rate"], f"{key}[{k}].rate") + _number(tier.get("adj") or 0.0, f"{key}[{k}].adj")
        if price < 0:
            raise BadInput("with adj is negative", key=f"{key}[{k}].rate", value=price, way_out="check the record")
        last = k == len(tiers) - 1
        if last and tier.get("max") is not None:
            notes.append(f"The last tier of {key} has a max of {tier['max']}: what lies beyond it is priced like it.")
        end = {} if last else {"up_to": _number(tier.get("max"), f"{key}[{k}].max")}
        found.append({**end, price_key: price})
    return found


def _month_groups(record: dict, kind: str, n_periods: int) -> Iterator[tuple[str, list[int], tuple]]:
    """Months that share both schedules: a name, their numbers, and (days, row of 24 period ids) pairs."""
    weekday, weekend = (_schedule(record, f"{kind}{days}schedule", n_periods) for days in ("weekday", "weekend"))
    groups: dict[tuple, list[int]] = {}
    for month in range(12):
        groups.setdefault((weekday[month], weekend[month]), []).append(month + 1)
    for (on_weekday, on_weekend), months in groups.items():
        name = "all year" if len(groups) == 1 else "months " + ", ".join(map(str, months))
        same = on_weekday == on_weekend
        yield name, months, (("all", on_weekday),) if same else (("weekday", on_weekday), ("weekend", on_weekend))


def _schedule(record: dict, key: str, n_periods: int) -> list[tuple[int, ...]]:
    rows = record.get(key)
    shaped = isinstance(rows, list) and len(rows) == 12 and all(isinstance(r, list) and len(r) == 24 for r in rows)
    if not shaped:
        raise BadInput("must be 12 rows of 24 period numbers", key=key, value=rows, way_out="check the record")
    wrong = sorted({str(p) for row in rows for p in row if type(p) is not int or not 0 <= p < n_periods})
    if wrong:
        raise BadInput(
            f"names periods beyond the {n_periods} of the structure (0-based)",
            key=key,
            value=wrong,
            way_out="check the record",
        )
    return [tuple(row) for row in rows]


def _windows(row: tuple[int, ...], index: int) -> str:
    """Hours of one period in a row of 24 period numbers, as daily windows."""
    starts = [h for h in range(24) if row[h] == index and (h == 0 or row[h - 1] != index)]
    ends = [h + 1 for h in range(24) if row[h] == index and (h == 23 or row[h + 1] != index)]
    return ", ".join(f"{a:02d}:00-{b:02d}:00" for a, b in zip(starts, ends, strict=True))


def _demand(record: dict, notes: list[str]) -> dict[str, list]:
    for key in ("demandrateunit", "flatdemandunit"):
        if str(record.get(key) or "kW").lower() != "kw":
            raise BadInput("must be kW", key=key, value=record[key], way_out="write the rate as a TOML file")
    minutes = _number(record.get("demandwindow") or 60, "demandwindow")
    if minutes not in WINDOWS_MIN:
        raise BadInput(
            "must be one of " + ", ".join(map(str, WINDOWS_MIN)),
            key="demandwindow",
            value=minutes,
            way_out="write the rate as a TOML file",
        )
    common = {"window_min": int(minutes)}
    ratchet = record.get("demandratchetpercentage")
    if ratchet and any(ratchet):
        percent = max(ratchet) > 1
        common["ratchet_frac"] = [_number(one, "demandratchetpercentage") / (100 if percent else 1) for one in ratchet]
        notes.append(f"Ratchet read as {'percent' if percent else 'shares'} of the highest of the 11 months before.")
    charges = [*_flat_demand(record, notes), *_windowed_demand(record, notes)]
    return {"demand": [{**charge, **common} for charge in charges]}


def _flat_demand(record: dict, notes: list[str]) -> Iterator[dict[str, Any]]:
    structure, months = record.get("flatdemandstructure") or [], record.get("flatdemandmonths") or [0] * 12
    wrong = sorted({month for month in months if month not in range(len(structure))}) if structure else []
    if wrong:
        raise BadInput(
            f"names charges beyond the {len(structure)} of the structure (0-based)",
            key="flatdemandmonths",
            value=wrong,
            way_out="check the record",
        )
    for index, tiers in enumerate(structure):
        own = [m + 1 for m in range(12) if months[m] == index]
        priced = _tiers(tiers, "per_kw", f"flatdemandstructure[{index}]", notes)
        if own and any(tier["per_kw"] for tier in priced):
            yield {"name": f"demand {index}", "months": own, **_kw_price(priced)}


def _windowed_demand(record: dict, notes: list[str]) -> Iterator[dict[str, Any]]:
    structure = record.get("demandratestructure") or []
    if not structure:
        return
    for index, tiers in enumerate(structure):
        priced = _tiers(tiers, "per_kw", f"demandratestructure[{index}]", notes)
        if not any(tier["per_kw"] for tier in priced):
            continue
        for name, months, rows in _month_groups(record, "demand", len(structure)):
            windows = [{"days": days, "hours": _windows(row, index)} for days, row in rows if index in row]
            if windows:
                yield {
                    "name": f"period {index} demand, {name}",
                    "months": months,
                    **windows[0],
                    "also": windows[1:],
                    **_kw_price(priced),
                }


def _kw_price(priced: list[dict[str, float]]) -> dict[str, Any]:
    return {"tiers": priced} if len(priced) > 1 else {"per_kw": priced[0]["per_kw"]}


def _riders(record: dict) -> dict[str, list]:
    monthly = record.get("fueladjustmentsmonthly")
    if not monthly or not any(monthly):
        return {"rider": []}
    return {"rider": [{"name": "fuel adjustment", "per_kwh": [_number(m, "fueladjustmentsmonthly") for m in monthly]}]}


def _export(record: dict, data: dict, notes: list[str]) -> dict[str, Any]:
    rule = str(record.get("dgrules") or "").lower()
    sells = [period.get("credit_per_kwh") for season in data["season"] for period in season["periods"]]
    if rule and rule not in EXPORT_RULES:
        notes.append(f'Export rule "{record["dgrules"]}" is not carried: exports earn nothing here.')
    if rule in EXPORT_RULES:
        export = dict(EXPORT_RULES[rule])
    elif not rule and any(sells):
        export = {"method": "net-billing"}
    else:
        notes.append("The record does not say that exports are paid: a missing sell price is not the retail price.")
        return {"method": "none"}
    if export["method"] == "net-metering" and any(sells):
        notes.append("Net metering at the retail price; the record's sell prices are not carried.")
    if export["method"] == "net-billing" and None in sells:
        export["credit_per_kwh"] = 0.0
        notes.append("Where the record has no sell price, an exported kWh earns nothing.")
    return export


def _number(value: Any, key: str, *, most: float = MOST) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not -most <= value <= most:
        raise BadInput("must be a number", key=key, value=value, way_out="check the record")
    return float(value)
