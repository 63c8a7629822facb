"""Every plan that does not know the future beside the bound, on invented houses and rates; what least-cost takes.

Run with  python -m benchmarks.plans
"""

from __future__ import annotations

import time
from dataclasses import replace
from functools import cache
from pathlib import Path
from tempfile import mkdtemp

import numpy as np

from profiles.noun import BadInput
from simulate.house.bills import bills_of
from simulate.house.bound import bound_of
from simulate.house.house import House, house_of
from simulate.house.year import run_year
from simulate.optimum.best import best_cost
from simulate.optimum.programme import programme
from simulate.site.site import site_of

PLANS = ("keep-full", "time-of-use", "self-consumption", "demand-limit", "forecast", "least-cost", "best-possible")
ALL_YEAR = list(range(1, 13))
NET_BILLING = {"method": "net-billing", "credit_per_kwh": 0.04}
UNIT = {"usable_kwh": 5.0, "continuous_kw": 3.0, "charging_circuit": {"breaker_a": 30, "volts": 120}}
BOTH = {"usable_kwh": 10.0, "continuous_kw": 5.0, "charging_circuit": {"breaker_a": 30, "volts": 240}, "leg": "both"}
ROOF = {"connected_at": "main-panel", "export": True, "series": {"csv": "drawn", "column": "kw"}}


def peaks(high: float, low: float, hours="16:00-21:00", **more) -> dict:
    """An invented rate of two periods."""
    periods = [
        {"name": "on", "price_per_kwh": high, "hours": hours},
        {"name": "off", "price_per_kwh": low},
    ]
    return {"season": [{"name": "all", "months": ALL_YEAR, "periods": periods}], "export": NET_BILLING, **more}


@cache
def hourly_csv() -> str:
    """Invented prices of every hour: two humps a day, dearer days and cheaper ones."""
    rng, hours = np.random.default_rng(5), np.arange(8760)
    hump = lambda at, width: np.exp(-(((hours % 24 - at) / width) ** 2))
    price = 0.09 + 0.05 * hump(8, 2) + 0.14 * hump(18.5, 2.5)
    price *= np.exp(rng.normal(0, 0.2, 8760) + rng.normal(0, 0.25, 365)[hours // 24])
    path = Path(mkdtemp(prefix="keeplit-")) / "hourly.csv"
    stamps = np.datetime64("2025-01-01T05:00") + hours * np.timedelta64(1, "h")
    rows = [f"{stamp}Z,{one:.5f}" for stamp, one in zip(stamps, price, strict=True)]
    path.write_text("\n".join(["start,price", *rows]))
    return str(path)


def rates() -> dict[str, dict]:
    """Invented rates of every kind."""
    tiers = [{"up_to": 350.0, "price_per_kwh": 0.14}, {"price_per_kwh": 0.28}]
    return {
        "0.42/0.33": peaks(0.42, 0.33),
        "0.40/0.10": peaks(0.40, 0.10),
        "three periods": {"source": "library:three_period"},
        "net metering": {"source": "library:two_period"},
        "tiers": {"tiers": tiers, "export": NET_BILLING},
        "demand": {"source": "library:demand"},
        "hourly": {
            "hourly_prices": {"csv": hourly_csv(), "time_column": "start", "price_column": "price"},
            "export": NET_BILLING,
        },
    }


def circuits(rng) -> list[dict]:
    names = ("Kitchen", "Den", "Laundry", "Water heater", "Study", "Freezer")
    legs = ("A", "B", "A", "AB", "B", "A")
    return [
        {"name": name, "breaker_a": 20, "load": {"kw": 0.0}, "rate_transfer": True}
        | ({"poles": 2} if leg == "AB" else {"leg": leg})
        for name, leg in zip(names, legs, strict=True)
    ]


def houses() -> dict[str, dict]:
    """Tables of invented sites: what is behind the meter, and how it is connected."""
    a, b = {"name": "One", "leg": "A", **UNIT}, {"name": "Two", "leg": "B", **UNIT}
    pair = [a | {"locked_with": "Two"}, b | {"locked_with": "One"}]
    inside = {"subpanel": {"mode": "interactive"}}
    return {
        "interactive, 6 kW roof": {**inside, "battery": [BOTH], "solar": ROOF},
        "interactive, no roof": {**inside, "battery": [BOTH]},
        "interactive, roof on the cells": {
            "subpanel": {"mode": "interactive", "export": True},
            "battery": [BOTH],
            "solar": ROOF | {"connected_at": "battery"},
        },
        "transfer, two legs": {"subpanel": {"mode": "transfer"}, "battery": [a, b]},
        "transfer, locked pair": {"subpanel": {"mode": "transfer"}, "battery": pair},
        "transfer, 6 kW roof": {"subpanel": {"mode": "transfer"}, "battery": [BOTH], "solar": ROOF},
    }


def house_with(table: dict, rate: dict, plan: str, n_days: int = 365) -> House:
    """A house of invented series that differ from day to day."""
    rng = np.random.default_rng(8)
    data = {
        "site": {"name": "Bench", "latitude": 36.0, "longitude": -80.0, "timezone": "America/New_York", "year": 2025},
        "circuit": circuits(rng),
        "rate": rate,
        "operation": {"plan": plan},
        **{key: value for key, value in table.items() if key != "solar"},
    }
    dark = house_of(site_of(data, file="bench.toml"))
    site = dark.site
    if "solar" in table:
        site = site_of(data | {"solar": table["solar"]}, file="bench.toml")
    n, hour, day = dark.hours.n_steps, dark.hours.minute // 60, dark.hours.day
    kw = _circuit_kw(rng, hour, day)
    rest = (
        (0.35 + 0.4 * np.exp(-(((hour - 19) / 3.0) ** 2))) * rng.lognormal(0, 0.3, n) * rng.lognormal(0, 0.15, 365)[day]
    )
    sun = _sun_kw(rng, hour, day) * ("solar" in table)
    on_cells = table.get("solar", {}).get("connected_at") == "battery"
    return replace(
        dark, site=site, circuit_kw=kw, rest_kw=rest, solar_kw=sun * (not on_cells), solar_dc_kw=sun * on_cells
    )


def _circuit_kw(rng, hour, day) -> np.ndarray:
    hump = lambda at, width: np.exp(-(((hour - at) / width) ** 2))
    means = [
        0.15 + 0.7 * hump(18, 1.5),
        0.05 + 0.35 * hump(20, 2.0),
        0.9 * hump(17, 1.5),
        0.1 + 1.3 * hump(19, 1.5) + 1.0 * hump(7, 1.2),
        0.06 + 0.2 * hump(14, 3.0),
        0.09 + 0.0 * hour,
    ]
    varied = lambda mean: mean * rng.lognormal(0, 0.35, len(hour)) * rng.lognormal(0, 0.2, 365)[day]
    return np.array([varied(mean) for mean in means])


def _sun_kw(rng, hour, day) -> np.ndarray:
    declination = np.radians(23.45) * np.sin(2 * np.pi * (284 + day) / 365)
    height = np.sin(np.radians(36.0)) * np.sin(declination)
    height = height + np.cos(np.radians(36.0)) * np.cos(declination) * np.cos((hour + 0.5 - 12) * np.pi / 12)
    clear = 1.0 / (1.0 + np.exp(-0.9 - np.convolve(rng.normal(0, 1.0, 366), [0.8, 0.4])[:365]))
    return (
        6.0 * 0.82 * np.maximum(height, 0.0) ** 1.15 * clear[day] * np.minimum(rng.lognormal(0, 0.15, len(hour)), 1.2)
    )


def saving_of(table: dict, rate: dict, plan: str) -> tuple[float | None, object]:
    """What a plan takes off the bill, None where the house cannot run it; and its year."""
    try:
        run = run_year(house_with(table, rate, plan))
    except BadInput:
        return None, None
    return bills_of(run).saving, run


def row_of(house: str, rate: str) -> dict:
    """One house on one rate under every plan."""
    table, rate_table = houses()[house], rates()[rate]
    row = {"house": house, "rate": rate}
    for plan in PLANS:
        row[plan], run = saving_of(table, rate_table, plan)
        if plan == "least-cost":
            row["bound"], row["settings"] = bound_of(run, bills_of(run)).saving, run.asked.settings
    return row


def cost_ratio(repeats: int = 5) -> float:
    """Time of the least-cost targets of an hourly year over that of one exact optimum of it."""
    from simulate.house.caps import days_of
    from simulate.optimum.least_cost import least_cost_targets

    house = house_with(houses()["interactive, 6 kW roof"], rates()["0.40/0.10"], "keep-full")
    pool = house.pools[0].pool
    buy = np.where((house.hours.minute // 60 >= 16) & (house.hours.minute // 60 < 21), 0.4, 0.1)
    given, calendar = (house.load_kw, np.inf, house.solar_kw, buy, 0.04, pool), days_of(house.hours)
    floor = np.full(house.hours.n_steps, 2.0)

    def seconds(run) -> float:
        start = time.process_time()
        run()
        return time.process_time() - start

    ours = lambda: least_cost_targets(*given, calendar=calendar, floor_kwh=floor)
    one = lambda: best_cost(programme(*given), floor_kwh=floor, start_kwh=5.0, end_kwh=5.0)
    ours(), one()
    return float(
        np.median([seconds(ours) for _ in range(repeats)]) / np.median([seconds(one) for _ in range(repeats * 5)])
    )


def table_text(rows: list[dict]) -> str:
    """The rows as lines of a table: plans as shares of the bound, or in currency where there is none."""
    lines = ["| house | rate | bound | " + " | ".join(PLANS) + " |", "|---" * (3 + len(PLANS)) + "|"]
    for row in rows:
        cells = [row["house"], row["rate"], "none" if row["bound"] is None else f"{row['bound']:.0f}"]
        lines.append("| " + " | ".join(cells + [_share(row[plan], row["bound"]) for plan in PLANS]) + " |")
    return "\n".join(lines)


def _share(saving: float | None, bound: float | None) -> str:
    if saving is None:
        return ""
    return f"{saving / bound:.3f}" if bound else f"{saving:.0f}"


def rows_of(chosen=None) -> list[dict]:
    """All cases, or the named pairs of house and rate."""
    return [row_of(house, rate) for house, rate in chosen or [(h, r) for h in houses() for r in rates()]]


if __name__ == "__main__":
    rows = rows_of()
    print(table_text(rows))
    for row in rows:
        for setting in row["settings"]:
            print(f"{row['house']}, {row['rate']}: {setting}")
    print(f"a year of least-cost in {cost_ratio():.0f} times one exact optimum")
