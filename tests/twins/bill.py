"""A year's bill by calendar month, charge by charge, from import and export."""

from collections import defaultdict
from math import fsum

from tests.twins.branches import seen
from tests.twins.prices import applies, by_month, period_of


def bill_by_month(rate: dict, year: int, stamps, holidays, import_kw, export_kw, step_h: float) -> list[float]:
    """Twelve totals. `stamps` may be some days of the year: nothing flows outside them."""
    bank, totals = 0.0, []
    for month in range(1, 13):
        rows = [row for row in zip(stamps, import_kw, export_kw, strict=True) if row[0].month == month]
        total, bank = month_total(rate, month, rows, holidays, step_h, bank)
        totals.append(total)
    return totals


def month_total(rate: dict, month: int, rows, holidays, step_h: float, bank: float) -> tuple[float, float]:
    """Total of one month and the credit carried out of it."""
    bought, sold, table = defaultdict(float), defaultdict(float), {}
    for stamp, kw_in, kw_out in rows:
        season, name, period = period_of(rate, stamp, holidays)
        bought[season, name] += kw_in * step_h
        sold[season, name] += kw_out * step_h
        table[season, name] = period
    export = rate.get("export", {"method": "none"})
    parts = {"fixed": rate.get("fixed_per_month", 0.0), "rider": 0.0, "export": 0.0}
    for rider in rate.get("rider", ()):
        seen("rider")
        parts["rider"] += sum(bought.values()) * by_month(rider["per_kwh"], month)
    parts["demand"] = fsum(demand_amount(one, month, rows, holidays, step_h) for one in rate.get("demand", ()))
    parts["energy"], parts["export"], bank = energy_and_export(export, month, bought, sold, table, bank)
    least = rate.get("minimum_per_month", 0.0)
    parts["minimum"] = max(least - fsum(parts.values()), 0.0) if least > 0.0 else 0.0
    seen("minimum bill", parts["minimum"] > 0.0)
    total = fsum(parts.values())
    for tax in rate.get("tax", ()):
        seen("tax")
        total += tax["frac"] * max(fsum(parts[kind] for kind in tax.get("on", list(parts))), 0.0)
    return total, bank


def energy_and_export(export, month, bought, sold, table, bank) -> tuple[float, float, float]:
    """Energy charge, export credit (negative) and the credit that is carried on."""
    if export["method"] == "net-metering":
        seen("net metering")
        energy = fsum(energy_amount(table[key], bought[key] - sold[key]) for key in bought)
        used = min(bank, max(energy, 0.0))
        gained = max(-energy, 0.0)
        seen("credit carried", used > 0.0 or gained > 0.0)
        return energy, gained - used, bank + gained - used
    energy = fsum(energy_amount(table[key], kwh) for key, kwh in bought.items())
    if export["method"] == "none":
        seen("export earns nothing", sum(sold.values()) > 0.0)
        return energy, 0.0, bank
    seen("net billing")
    seen("credit by month", isinstance(export["credit_per_kwh"], list))
    return energy, -sum(sold.values()) * by_month(export["credit_per_kwh"], month), bank


def energy_amount(table: dict, kwh: float) -> float:
    if "tiers" not in table:
        return kwh * table["price_per_kwh"]
    if kwh <= 0.0:
        return kwh * table["tiers"][0]["price_per_kwh"]
    amount, lower = 0.0, 0.0
    for k, tier in enumerate(table["tiers"]):
        upper = min(kwh, tier.get("up_to", kwh))
        seen("tier" if k == 0 else "second tier", upper > lower)
        amount += max(upper - lower, 0.0) * tier["price_per_kwh"]
        lower = max(lower, upper)
    return amount


def demand_amount(demand: dict, month: int, rows, holidays, step_h: float) -> float:
    """The highest mean of the clock's blocks of `window_min` that lie wholly inside the charge's hours."""
    if month not in demand.get("months", range(1, 13)):
        seen("demand charge of some months")
        return 0.0
    n = round(demand["window_min"] / 60 / step_h)
    highest = 0.0
    for k in range(len(rows) - n + 1):
        block = rows[k : k + n]
        if block[0][0].minute % demand["window_min"] == 0 and all(applies(demand, row[0], holidays) for row in block):
            highest = max(highest, sum(row[1] for row in block) / n)
    seen("demand charge", highest > 0.0)
    return highest * demand["per_kw"]
