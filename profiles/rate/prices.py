"""Prices per step: what one more kWh bought or sold costs or earns at every step of the year."""

from __future__ import annotations

import datetime as dt
import functools
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from profiles.files import CSV_MB, plain_file
from profiles.hours import Hours
from profiles.noun import BadInput
from profiles.rate.calendar import RateCalendar, rate_calendar
from profiles.rate.charges import MOST
from profiles.rate.rate import Rate

PER_KWH = {"per_kwh": 1.0, "per_mwh": 1e-3, "cents_per_kwh": 1e-2}


@dataclass(frozen=True, eq=False)
class Prices:
    """A rate laid on an hour axis; arrays are read-only.

    Attributes
    ----------
    buy_per_kwh, sell_per_kwh : ndarray, shape (n_steps,)
        What one more kWh bought costs and one more sold earns, riders and taxes included. [currency/kWh]
    period : ndarray of int, shape (n_steps,)
        Index into `period_names`.
    period_names : tuple of str
        Such as "summer on-peak".
    holidays : tuple of date
        Days that were counted as weekend.
    notes : tuple of str
        What these series leave out of the bill, in plain words.
    """

    buy_per_kwh: np.ndarray
    sell_per_kwh: np.ndarray
    period: np.ndarray
    period_names: tuple[str, ...]
    holidays: tuple[dt.date, ...]
    notes: tuple[str, ...]


def rate_prices(rate: Rate, hours: Hours) -> Prices:
    """Lay a rate on an hour axis.

    Parameters
    ----------
    rate : Rate
        First match wins, among seasons and among the periods of a season; holidays count as weekend.
    hours : Hours
        Windows are on its local wall clock.

    Returns
    -------
    Prices

    Raises
    ------
    BadInput
        A month or hour that no period covers, named; a bound inside a step; a rider that makes a price negative.

    Notes
    -----
    With tiers the price is that of the first tier; demand charges, fixed and minimum charges and carried credit
    are on the bill only.

    Examples
    --------
    >>> from profiles.hours import hours_of_year
    >>> prices = rate_prices(Rate(price_per_kwh=0.2), hours_of_year(2025, "UTC"))
    >>> float(prices.buy_per_kwh[0]), float(prices.sell_per_kwh[0])
    (0.2, 0.0)
    """
    calendar = rate_calendar(rate, hours)
    if rate.hourly_prices is not None:
        buy, sell = _series(rate, calendar)
    else:
        buy, sell = (table.ravel()[calendar.bucket] for table in _tables(rate, calendar))
        if (buy < 0).any():
            raise BadInput(
                "make a price negative",
                key="rate.rider",
                value=float(buy.min()),
                way_out="only hourly_prices may be negative; check the sign and the unit [currency/kWh]",
            )
        if (sell < 0).any():
            raise BadInput(
                "exceeds a price",
                key="rate.export.nonbypassable_per_kwh",
                value=rate.export.nonbypassable_per_kwh,
                way_out="it is a part of price_per_kwh",
            )
    for array in (buy, sell):
        array.flags.writeable = False
    return Prices(buy, sell, calendar.period, rate.period_names, calendar.holidays, _notes(rate, calendar))


def tax_on(rate: Rate, kind: str) -> float:
    """Share that taxes add to a line of this kind. [0 to 1]"""
    return sum(tax.frac for tax in rate.tax if tax.on is None or kind in tax.on)


def rider_per_kwh(rate: Rate, month_number: np.ndarray) -> np.ndarray:
    """Every rider's price in each billing month, shape (n_riders, n_months) [currency/kWh]."""
    table = [np.broadcast_to(np.asarray(r.per_kwh, float), 12)[month_number - 1] for r in rate.rider]
    return np.array(table).reshape(len(rate.rider), len(month_number))


def credit_per_kwh(rate: Rate, month_number: np.ndarray) -> np.ndarray:
    """What net billing pays, shape (n_months, n_periods) [currency/kWh]."""
    credit = 0.0 if rate.export.credit_per_kwh is None else rate.export.credit_per_kwh
    by_month = np.broadcast_to(np.asarray(credit, float), 12)[month_number - 1]
    own = [p.credit_per_kwh for p in rate.periods]
    return np.stack([by_month if one is None else np.full(len(month_number), one) for one in own], axis=1)


def _tables(rate: Rate, calendar: RateCalendar) -> tuple[np.ndarray, np.ndarray]:
    """Buy and sell price of each billing month and period."""
    price = np.array([p.price_per_kwh if p.tiers is None else p.tiers[0].price_per_kwh for p in rate.periods])
    kept = rate.export.nonbypassable_per_kwh
    netted = (price - kept) * (1 + tax_on(rate, "energy"))
    rider = rider_per_kwh(rate, calendar.month_number).sum(axis=0) * (1 + tax_on(rate, "rider"))
    buy = netted + kept * (1 + tax_on(rate, "nonbypassable")) + rider[:, None]
    if rate.export.method == "net-metering":
        sell = np.broadcast_to(netted, buy.shape)
    elif rate.export.method == "net-billing":
        sell = credit_per_kwh(rate, calendar.month_number) * (1 + tax_on(rate, "export"))
    else:
        sell = np.zeros(buy.shape)
    return buy, sell


def _series(rate: Rate, calendar: RateCalendar) -> tuple[np.ndarray, np.ndarray]:
    price, credit = price_series(rate, calendar.hours)
    rider = rider_per_kwh(rate, calendar.month_number).sum(axis=0)[calendar.month] * (1 + tax_on(rate, "rider"))
    kept = rate.export.nonbypassable_per_kwh
    netted = (price - kept) * (1 + tax_on(rate, "energy"))
    buy = netted + kept * (1 + tax_on(rate, "nonbypassable")) + rider
    if rate.export.method == "net-metering":
        return buy, netted
    if rate.export.method == "none":
        return buy, np.zeros(len(buy))
    if credit is None:
        credit = credit_per_kwh(rate, calendar.month_number).ravel()[calendar.bucket]
    return buy, credit * (1 + tax_on(rate, "export"))


def price_series(rate: Rate, hours: Hours) -> tuple[np.ndarray, np.ndarray | None]:
    """Price and, where the file has one, credit of a rate with hourly prices.

    Parameters
    ----------
    rate : Rate
        With `hourly_prices`, its path made absolute by `resolve_rate` or relative to the current folder.
    hours : Hours

    Returns
    -------
    price, credit : ndarray, shape (n_steps,); credit may be None
        Before riders and taxes. [currency/kWh]

    Raises
    ------
    BadInput
        No such file or column, a cell that is no number, an hour that is missing or there twice.
    """
    path = Path(rate.hourly_prices.csv)
    try:
        changed = plain_file(path, CSV_MB, file=path, key="rate.hourly_prices.csv").stat().st_mtime_ns
    except OSError as error:
        raise BadInput(
            f"cannot be read ({error.strerror})", key="rate.hourly_prices.csv", value=str(path), way_out="check it"
        ) from None
    return _read_series(rate.hourly_prices, hours, changed)


@functools.lru_cache(maxsize=8)
def _read_series(source, hours: Hours, changed: int) -> tuple[np.ndarray, np.ndarray | None]:
    import pandas as pd

    try:
        frame = pd.read_csv(source.csv, encoding="utf-8-sig", compression=None)
    except (OSError, ValueError) as error:  # empty, not UTF-8, an open quote, a folder: pandas raises one of these
        raise BadInput(
            f"cannot be read as CSV ({str(error).splitlines()[0]})",
            file=source.csv,
            key="hourly_prices",
            way_out="give a table with a row of column names",
        ) from None
    wanted = [source.time_column, source.price_column] + [source.credit_column] * (source.credit_column is not None)
    for column in wanted:
        if column not in frame:
            raise BadInput(
                "is not a column of the file",
                file=source.csv,
                key="hourly_prices",
                value=column,
                way_out="columns: " + ", ".join(map(str, frame.columns)),
            )
    rows = _row_of_step(frame[source.time_column], hours, source.csv)
    unit = PER_KWH[source.price_unit]
    price = _numbers(frame, source.price_column, source.csv)[rows] * unit + source.adder_per_kwh
    if source.credit_column is None:
        return price, None
    return price, _numbers(frame, source.credit_column, source.csv)[rows] * unit


def _row_of_step(stamps, hours: Hours, file: str) -> np.ndarray:
    """Row whose interval holds each step; intervals are as long as the commonest distance between rows."""
    utc = _utc(stamps, hours, file)
    order = np.argsort(utc, kind="stable")
    sorted_utc = utc[order]
    gaps = np.diff(sorted_utc)
    if len(utc) < 2 or (gaps == 0).any():
        again = stamps.iloc[int(order[int(np.argmax(gaps == 0))])] if len(utc) > 1 else None
        raise BadInput(
            "is there twice, or the file has one row only",
            file=file,
            key="start",
            value=again,
            way_out="give every interval one row, with its UTC offset where the clock goes back",
        )
    length = int(np.median(gaps))
    if length % (hours.step_min * 60_000_000_000):
        raise BadInput(
            f"are {length / 6e10:g} min apart, which steps of {hours.step_min} min do not divide",
            file=file,
            key="start",
            way_out="choose a site.step_min that divides the interval of the prices",
        )
    wanted = hours.utc.asi8
    at = np.searchsorted(sorted_utc, wanted, side="right") - 1
    missing = (at < 0) | (wanted - sorted_utc[np.maximum(at, 0)] >= length)
    if missing.any():
        first = hours.local_text[int(np.argmax(missing))]
        raise BadInput(
            f"has no price at {first}",
            file=file,
            key="start",
            way_out=f"the file must cover {hours.year}; {int(missing.sum())} steps are missing",
        )
    return order[at]


def _utc(stamps, hours: Hours, file: str) -> np.ndarray:
    import pandas as pd

    text = stamps.astype(str)
    has_offset = text.str.contains(r"(?:Z|[+-]\d\d:?\d\d)$", regex=True)
    try:
        if has_offset.all():
            return pd.DatetimeIndex(pd.to_datetime(text, format="ISO8601", utc=True)).as_unit("ns").asi8
        local = pd.DatetimeIndex(pd.to_datetime(text, format="ISO8601"))
        return local.tz_localize(hours.timezone, ambiguous="infer").tz_convert("UTC").as_unit("ns").asi8
    except Exception as error:  # what pandas raises for a clock change differs between its versions
        raise BadInput(
            f"cannot be read as times of {hours.timezone} ({error})",
            file=file,
            key="start",
            way_out="write ISO stamps with their UTC offset",
        ) from None


def _numbers(frame, column: str, file: str) -> np.ndarray:
    import pandas as pd

    values = pd.to_numeric(frame[column], errors="coerce").to_numpy(float)
    fits = np.abs(values) <= MOST
    if not fits.all():
        row = int(np.argmin(fits))
        raise BadInput(
            "must be a number",
            file=file,
            key=f"{column}, data row {row + 1}",
            value=str(frame[column].iloc[row]),
            way_out="fill the gap or drop the file",
        )
    return values


def _notes(rate: Rate, calendar: RateCalendar) -> tuple[str, ...]:
    notes = list(rate.notes)
    if any(p.tiers for p in rate.periods):
        notes.append("The rate has tiers: prices per step are those of the first tier; the bill uses all of them.")
    if rate.demand:
        notes.append("Demand charges are on the bill, not in the prices per step.")
    if rate.export.method == "net-metering" and rate.export.nonbypassable_per_kwh == 0:
        notes.append(
            "Exports earn the retail price without riders, netted over each month; unused credit: "
            f"{rate.export.unused_rule}."
        )
    used = {name for name, on in zip(rate.period_names, calendar.used.any(axis=0), strict=True) if on}
    unused = [name for name in dict.fromkeys(rate.period_names) if name not in used]
    notes += [f'Period "{name}" of the rate is never reached in {calendar.hours.year}.' for name in unused]
    cut = rate.read_dates is not None and rate.prorate_days is None
    if cut:
        notes.append("Cycles cut by New Year pay monthly charges in proportion to 30.4375 days.")
    if any(np.any(np.asarray(d.ratchet_frac) > 0) for d in rate.demand):
        notes.append("Demand ratchets look 11 months back round the modelled year: December stands before January.")
    return tuple(notes)
