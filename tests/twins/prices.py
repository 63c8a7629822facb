"""A rate's price of a kWh bought and its worth when sold, step by step."""

import datetime as dt

from tests.twins.axis import federal_holidays, in_window, is_day
from tests.twins.branches import seen


def rate_days(rate: dict, year: int) -> set:
    """Days that the rate counts as weekend."""
    days = set(federal_holidays(year)) if rate.get("holidays", "none") == "US" else set()
    days |= {dt.date.fromisoformat(text) for text in rate.get("extra_holidays", ())}
    return days - {dt.date.fromisoformat(text) for text in rate.get("removed_holidays", ())}


def applies(window: dict, stamp, holidays: set) -> bool:
    """Whether a period's or a demand charge's days and hours hold a step."""
    is_holiday = stamp.date in holidays and stamp.weekday < 5 and window.get("days", "all") != "all"
    weekday = 6 if seen("holiday is a weekend", is_holiday) else stamp.weekday
    if window.get("days", "all") == "weekday":
        seen("period of weekdays")
    return is_day(weekday, window.get("days", "all")) and in_window(stamp.minute, window.get("hours", "00:00-24:00"))


def period_of(rate: dict, stamp, holidays: set) -> tuple[str, str, dict]:
    """Season, name and table of the period that a step falls in: the first that fits."""
    if "season" not in rate:
        seen("flat price")
        return "", "all", rate
    for season in rate["season"]:
        if stamp.month in season["months"]:
            seen("season")
            for period in season["periods"]:
                if applies(period, stamp, holidays):
                    return season["name"], period["name"], period
    raise AssertionError("no period holds this step")


def first_price(table: dict) -> float:
    return table["tiers"][0]["price_per_kwh"] if "tiers" in table else table["price_per_kwh"]


def by_month(value, month: int) -> float:
    return value[month - 1] if isinstance(value, list) else value


def margins(rate: dict, stamps, holidays: set) -> tuple[list[float], list[float]]:
    """What one more kWh bought costs and one more sold earns in each step, riders and taxes included."""
    export, taxed = rate.get("export", {"method": "none"}), 1.0 + sum(tax["frac"] for tax in rate.get("tax", ()))
    buy, sell = [], []
    for stamp in stamps:
        energy = first_price(period_of(rate, stamp, holidays)[2])
        riders = sum(by_month(rider["per_kwh"], stamp.month) for rider in rate.get("rider", ()))
        buy.append((energy + riders) * taxed)
        credit = (
            energy if export["method"] == "net-metering" else by_month(export.get("credit_per_kwh", 0.0), stamp.month)
        )
        sell.append(credit * taxed)
    return buy, sell
