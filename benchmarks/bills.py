"""Ten thousand rates priced over one year, beside a group-by in pandas. The rates and the load are invented."""

from __future__ import annotations

import datetime as dt
import statistics
import time

import numpy as np
import pandas as pd

from profiles.hours import hours_of_year
from profiles.rate.rate import Rate
from simulate.bill.bill import price_bill

AXIS = hours_of_year(2025, "America/New_York")
HOLIDAYS = ("2025-01-01", "2025-05-26", "2025-07-04", "2025-09-01", "2025-11-27", "2025-12-25")
BATCH = 100
PANDAS_OF_A_BATCH = 10


def random_rate(rng: np.random.Generator) -> Rate:
    """Two seasons, three periods, a demand window, a fixed charge and net billing, with windows of its own."""
    first, last = sorted(rng.choice(np.arange(4, 12), 2, replace=False).tolist())
    summer = tuple(range(first, last + 1))
    seasons = [season("summer", summer, rng), season("winter", tuple(set(range(1, 13)) - set(summer)), rng)]
    start = int(rng.integers(12, 19))
    return Rate.model_validate(
        {
            "fixed_per_month": float(rng.uniform(5, 30)),
            "extra_holidays": HOLIDAYS,
            "season": tuple(seasons),
            "demand": (
                {"per_kw": float(rng.uniform(1, 12)), "days": "weekday", "hours": f"{start}:00-{start + 4}:00"},
            ),
            "export": {"method": "net-billing", "credit_per_kwh": float(rng.uniform(0.02, 0.1))},
        }
    )


def season(name: str, months: tuple[int, ...], rng: np.random.Generator) -> dict:
    start, low = int(rng.integers(12, 19)), float(rng.uniform(0.05, 0.15))
    return {
        "name": name,
        "months": months,
        "periods": (
            {"name": "on", "price_per_kwh": 3 * low, "days": "weekday", "hours": f"{start}:00-{start + 5}:00"},
            {"name": "mid", "price_per_kwh": 2 * low, "hours": "07:00-23:00"},
            {"name": "off", "price_per_kwh": low},
        ),
    }


def frame(import_kw: np.ndarray, export_kw: np.ndarray) -> pd.DataFrame:
    """The year as a table with the columns that every rate needs, made once."""
    local = AXIS.local
    closed = np.isin(local.date, [dt.date.fromisoformat(day) for day in HOLIDAYS])
    return pd.DataFrame(
        {
            "month": local.month,
            "hour": local.hour,
            "workday": (AXIS.weekday < 5) & ~closed,
            "import_kw": import_kw,
            "export_kw": export_kw,
        }
    )


def pandas_total(table: pd.DataFrame, rate: Rate) -> float:
    """The same bill by masks and group-by."""
    period, price = np.full(len(table), -1), []
    for one in rate.season:
        for each in one.periods:
            hit = table["month"].isin(one.months) & in_window(table, each) & (period < 0)
            period[hit.to_numpy()] = len(price)
            price.append(each.price_per_kwh)
    kwh = table.groupby(["month", period])[["import_kw", "export_kw"]].sum()
    energy = (kwh["import_kw"] * np.array(price)[kwh.index.get_level_values(1)]).sum()
    peak = table.loc[in_window(table, rate.demand[0])].groupby("month")["import_kw"].max().sum()
    credit = kwh["export_kw"].sum() * rate.export.credit_per_kwh
    return float(12 * rate.fixed_per_month + energy + peak * rate.demand[0].per_kw - credit)


def in_window(table: pd.DataFrame, window) -> pd.Series:
    start, end = (int(bound.split(":")[0]) for bound in window.hours.split("-"))
    inside = (table["hour"] >= start) & (table["hour"] < end)
    return inside & table["workday"] if window.days == "weekday" else inside


def case_bills(n_rates: int = 10_000) -> dict:
    """Time of `n_rates` whole bills, lines included; `versus` is the time of pandas over ours, per rate.

    Equality to 1e-6 is asserted for every rate that pandas prices, a tenth of all, in turns with ours.
    """
    rng = np.random.default_rng(20250101)
    import_kw, export_kw = rng.gamma(2.0, 0.6, AXIS.n_steps), rng.gamma(1.0, 1.0, AXIS.n_steps)
    export_kw *= rng.random(AXIS.n_steps) < 0.2
    rates = [random_rate(rng) for _ in range(n_rates)]
    table = frame(import_kw, export_kw)
    ours, theirs = [], []
    for at in range(0, n_rates, BATCH):
        batch = rates[at : at + BATCH]
        begin = time.perf_counter()
        totals = [price_bill(import_kw, export_kw, rate, AXIS).total for rate in batch]
        middle = time.perf_counter()
        expected = [pandas_total(table, rate) for rate in batch[:PANDAS_OF_A_BATCH]]
        end = time.perf_counter()
        assert np.allclose(totals[: len(expected)], expected, rtol=0, atol=1e-6)
        ours.append((middle - begin) / len(batch))
        theirs.append((end - middle) / len(expected))
    per_rate = statistics.median(ours)
    return {
        "case": f"bills of {n_rates} rates x {AXIS.n_steps} h",
        "median_ms": per_rate * n_rates * 1e3,
        "per_design_us": per_rate * 1e6,
        "versus": {"pandas": statistics.median(theirs) / per_rate},
    }


if __name__ == "__main__":
    print(case_bills())
