"""The bill against a slow literal twin: row by row, in decimals, with its own calendar. All rates here are invented."""

import datetime as dt
from collections import defaultdict
from decimal import Decimal as D
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from profiles.hours import hours_of_year
from profiles.rate import Rate
from simulate.bill import price_bill

ZONE, YEAR = "America/New_York", 2025
NAMES = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
HOLIDAYS = ("2025-01-01", "2025-07-04", "2025-09-01", "2025-11-27", "2025-12-25")
ONE_MILLIONTH_OF_A_CENT = 1e-8


# ---- the twin -------------------------------------------------------------------------------------------------------

def twin_bill(rows, rate, step_h):
    """Months' totals of rows (local time, import kW, export kW), in decimals, one row at a time."""
    months = sorted({local.month for local, _, _ in rows})
    sums = {m: month_sums([r for r in rows if r[0].month == m], rate, step_h) for m in months}
    totals, bank = {}, D(0)
    banked = defaultdict(D)
    for m in months:
        before = [sums[k]["peak"] for k in months if k != m]
        totals[m], bank = month_total(m, sums[m], before, rate, bank, banked)
    return totals


def month_sums(rows, rate, step_h):
    groups = defaultdict(D)
    bought, sold = defaultdict(D), defaultdict(D)
    netting = rate.export.netting or ("month" if rate.export.method == "net-metering" else "step")
    for k, (local, kw_in, kw_out) in enumerate(rows):
        where = period_of(local, rate)
        hour = local.isoformat()[:13] + str(local.utcoffset())
        span = {"step": k, "hour": hour, "day": local.date(), "month": k}[netting]
        groups[span, where] += (D(kw_in) - D(kw_out)) * step_h
        if netting in ("step", "month"):
            bought[where] += D(kw_in) * step_h
            sold[where] += D(kw_out) * step_h
    if netting in ("hour", "day"):
        for (_, where), net in groups.items():
            bought[where] += max(net, D(0))
            sold[where] += max(-net, D(0))
    peaks = [peak_of(rows, demand, step_h) for demand in rate.demand]
    days = len({local.date() for local, _, _ in rows})
    return {"bought": bought, "sold": sold, "peak": peaks, "days": days}


def period_of(local, rate):
    for s, season in enumerate(rate.season or ()):
        if season.months is not None and local.month not in season.months:
            continue
        if season.months is None:
            a, b, today = season.from_, season.to, f"{local:%m-%d}"
            if not (a <= today <= b if a <= b else today >= a or today <= b):
                continue
        for p, period in enumerate(season.periods):
            if inside(local, period):
                return s, p
        raise AssertionError("no period")
    return 0, 0


def inside(local, window):
    weekday = 6 if local.date().isoformat() in HOLIDAYS else local.weekday()
    if window.days == "weekday" and weekday > 4 or window.days == "weekend" and weekday < 5:
        return False
    if window.days not in ("all", "weekday", "weekend") and NAMES[weekday] not in window.days:
        return False
    clock = f"{local:%H:%M}"
    for part in window.hours.split(","):
        a, b = (text.strip() for text in part.split("-"))
        if a <= clock < b if a < b else clock >= a or clock < b:
            return True
    return False


def peak_of(rows, demand, step_h):
    """Highest mean of the blocks that lie wholly in the window: literal, block by block."""
    n = int(D(demand.window_min) / 60 / step_h)
    best = D(0)
    for k in range(len(rows) - n + 1):
        if demand.block == "fixed" and rows[k][0].minute % demand.window_min:
            continue
        block = rows[k:k + n]
        if all(inside(local, demand) for local, _, _ in block):
            best = max(best, sum(D(kw) for _, kw, _ in block) / n)
    return best


def month_total(month, sums, before, rate, bank, banked):
    export, kept = rate.export, D(rate.export.nonbypassable_per_kwh)
    method = export.method
    rule = export.unused or ("carry" if method == "net-metering" else "pay")
    bought, sold = dict(sums["bought"]), dict(sums["sold"])
    if method == "net-billing" and export.netting == "month":
        bought, sold = ({k: max(a[k] - b[k], D(0)) for k in a}
                        for a, b in ((sums["bought"], sums["sold"]), (sums["sold"], sums["bought"])))
    billed = dict(bought)
    if method == "net-metering":
        billed = {k: bought[k] - sold[k] for k in bought}
        if rule == "carry-kwh":
            for k, net in billed.items():
                used = min(banked[k], max(net, D(0)))
                banked[k] += max(-net, D(0)) - used
                billed[k] = max(net, D(0)) - used
    peaks = [max(peak, D(demand.ratchet_frac) * max((b[d] for b in before), default=D(0)))
             for d, (demand, peak) in enumerate(zip(rate.demand, sums["peak"], strict=True))]
    parts = defaultdict(D)
    parts["fixed"] = D(rate.fixed_per_month) + D(rate.fixed_per_day) * sums["days"]
    parts["energy"] = energy_amount(billed, sums, rate, kept)
    all_bought = sum(bought.values())
    parts["nonbypassable"] = kept * all_bought
    for rider in rate.rider:
        per_kwh = rider.per_kwh if isinstance(rider.per_kwh, float) else rider.per_kwh[month - 1]
        parts["rider"] += all_bought * D(per_kwh)
    for demand, peak in zip(rate.demand, peaks, strict=True):
        if demand.months is None or month in demand.months:
            parts["demand"] += demand_amount(demand, peak)
    if method == "net-billing":
        credit = export.credit_per_kwh
        parts["export"] = -sum(sold.values()) * D(credit if isinstance(credit, float) else credit[month - 1])
    net = parts["energy"] + parts["export"]
    if rule == "carry":
        used = min(bank, max(net, D(0)))
        parts["export"] += max(-net, D(0)) - used
        bank += max(-net, D(0)) - used
    elif rule == "lose":
        parts["export"] += max(-net, D(0))
    least = D(rate.minimum_per_month) + D(rate.minimum_per_day) * sums["days"]
    if least:
        parts["minimum"] = max(least - sum(parts.values()), D(0))
    total = sum(parts.values())
    for tax in rate.tax:
        total += D(tax.frac) * max(sum(parts[kind] for kind in (tax.on or list(parts))), D(0))
    return total, bank


def energy_amount(billed, sums, rate, kept):
    amount = D(0)
    for (s, p), kwh in billed.items():
        period = rate.season[s].periods[p] if rate.season else None
        tiers = period.tiers if period else rate.tiers
        if not tiers:
            amount += kwh * (D(period.price_per_kwh if period else rate.price_per_kwh) - kept)
            continue
        fill = sum(k for (s2, _), k in billed.items() if s2 == s) if rate.tier_over == "season" else kwh
        first_kw = (sums["peak"] or [D(0)])[0]
        scale = {"kwh_per_month": D(1), "kwh_per_day": D(sums["days"]), "kwh_per_kw": first_kw}[rate.tier_unit]
        if fill <= 0:
            amount += kwh * (D(tiers[0].price_per_kwh) - kept)
            continue
        lower = D(0)
        for tier in tiers:
            upper = fill if tier.up_to is None else min(fill, D(tier.up_to) * scale)
            amount += kwh / fill * max(upper - lower, D(0)) * (D(tier.price_per_kwh) - kept)
            lower = max(lower, upper)
    return amount


def demand_amount(demand, peak):
    if demand.tiers is None:
        return D(demand.per_kw) * peak
    amount, lower = D(0), D(0)
    for tier in demand.tiers:
        upper = peak if tier.up_to is None else min(peak, D(tier.up_to))
        amount += max(upper - lower, D(0)) * D(tier.per_kw)
        lower = max(lower, upper)
    return amount


# ---- random rates, invented -----------------------------------------------------------------------------------------

def random_rate(rng):
    data = {"extra_holidays": HOLIDAYS, "fixed_per_month": money(rng, 30), "demand": demands(rng)}
    if rng.random() < 0.3:
        data["fixed_per_day"] = money(rng, 1)
    if rng.random() < 0.4:
        data["minimum_per_month"] = money(rng, 90)
    data["export"] = export(rng)
    if rng.random() < 0.5:
        data["rider"] = ({"name": "r", "per_kwh": rng.choice([-0.004, 0.011]).item()},
                         {"name": "s", "per_kwh": tuple(rng.random(12) * 0.02)})
    if rng.random() < 0.5:
        data["tax"] = ({"name": "t", "frac": 0.0625}, {"name": "u", "frac": 0.03, "on": ("energy", "fixed", "demand")})
    data.update(prices(rng, bool(data["demand"])))
    return Rate.model_validate(data)


def money(rng, top):
    return round(float(rng.random() * top), 4)


def prices(rng, has_demand):
    unit = rng.choice(["kwh_per_month", "kwh_per_day"] + ["kwh_per_kw"] * has_demand).item()
    scale = {"kwh_per_month": 300.0, "kwh_per_day": 10.0, "kwh_per_kw": 60.0}[unit]
    kind = rng.integers(4)
    if kind == 0:
        return {"price_per_kwh": 0.1 + money(rng, 0.4)}
    if kind == 1:
        return {"tiers": tiers(rng, scale), "tier_unit": unit}
    shared = tiers(rng, scale)
    cut = int(rng.integers(2, 12))
    seasons = [{"name": "one", "months": tuple(range(1, cut))}, {"name": "two", "months": tuple(range(cut, 13))}]
    for season in seasons:
        season["periods"] = tuple(periods(rng, scale if kind == 2 else None, shared if kind == 3 else None))
    return {"season": tuple(seasons), "tier_unit": unit, "tier_over": "season" if kind == 3 else "period"}


def periods(rng, scale, shared):
    for k in range(int(rng.integers(0, 3))):
        a, b = sorted(rng.choice(24, 2, replace=False).tolist())
        bounds = (a, b) if rng.random() < 0.7 else (b, a)
        yield {"name": f"p{k}", "hours": f"{bounds[0]:02d}:00-{bounds[1]:02d}:00", **price(rng, scale, shared),
               "days": rng.choice(["all", "weekday", "weekend", "mon, wed, sun"]).item()}
    yield {"name": "rest", **price(rng, scale, shared)}


def price(rng, scale, shared):
    if shared is not None:
        return {"tiers": tuple({**tier, "price_per_kwh": 0.1 + money(rng, 0.4)} for tier in shared)}
    if scale is not None and rng.random() < 0.5:
        return {"tiers": tiers(rng, scale)}
    return {"price_per_kwh": 0.1 + money(rng, 0.4)}


def tiers(rng, scale):
    ends = np.cumsum(rng.random(int(rng.integers(1, 3))) * scale + 0.01 * scale).tolist()
    return tuple({**({"up_to": end} if end else {}), "price_per_kwh": 0.1 + money(rng, 0.4)} for end in [*ends, None])


def demands(rng):
    return tuple(one_demand(rng) for _ in range(int(rng.integers(0, 3))))


def one_demand(rng):
    data = {"window_min": int(rng.choice([30, 60])), "block": rng.choice(["fixed", "rolling"]).item()}
    data["per_kw"] = money(rng, 12)
    if rng.random() < 0.3:
        del data["per_kw"]
        data["tiers"] = ({"up_to": 3.0, "per_kw": 2.5}, {"per_kw": 7.25})
    if rng.random() < 0.6:
        data["hours"], data["days"] = "15:00-21:00", rng.choice(["all", "weekday"]).item()
    if rng.random() < 0.3:
        data["ratchet_frac"] = 0.6
    if rng.random() < 0.3:
        data["months"] = (5, 6, 7, 8)
    return data


def export(rng):
    kind = rng.integers(4)
    if kind == 0:
        return {"method": "none"}
    if kind == 1:
        credit = money(rng, 0.2) if rng.random() < 0.6 else tuple(rng.random(12) * 0.2)
        unused = rng.choice(["pay", "carry", "lose"]).item()
        return {"method": "net-billing", "credit_per_kwh": credit, "unused": unused,
                "netting": rng.choice(["step", "hour", "day", "month"]).item()}
    kept = money(rng, 0.05) if kind == 3 else 0.0
    return {"method": "net-metering", "unused": rng.choice(["carry", "carry-kwh", "pay", "lose"]).item(),
            "nonbypassable_per_kwh": kept}


# ---- the comparison -------------------------------------------------------------------------------------------------

def axis(step_min):
    utc = dt.datetime(YEAR, 1, 1, tzinfo=ZoneInfo(ZONE)).astimezone(dt.UTC)
    end = dt.datetime(YEAR + 1, 1, 1, tzinfo=ZoneInfo(ZONE)).astimezone(dt.UTC)
    stamps = []
    while utc < end:
        stamps.append(utc.astimezone(ZoneInfo(ZONE)))
        utc += dt.timedelta(minutes=step_min)
    return stamps


AXIS = {step: axis(step) for step in (30,)}


def compare(seed, months):
    rng = np.random.default_rng(seed)
    rate, stamps = random_rate(rng), AXIS[30]
    rng_kw = np.random.default_rng(seed + 10**6)
    on = np.isin([local.month for local in stamps], months)
    bought = np.where(on, rng_kw.gamma(1.0, 1.2, len(stamps)), 0.0)
    sold = np.where(on & (rng_kw.random(len(stamps)) < 0.4), rng_kw.gamma(1.0, 2.0, len(stamps)), 0.0)
    rows = [row for row in zip(stamps, bought.tolist(), sold.tolist(), strict=True) if row[0].month in months]
    expected = twin_bill(rows, rate, D(30) / 60)
    bill = price_bill(bought, sold, rate, hours_of_year(YEAR, ZONE, 30))
    for month, amount in expected.items():
        found = bill.by_month[f"{YEAR}-{month:02d}"]
        assert abs(found - float(amount)) < ONE_MILLIONTH_OF_A_CENT, (seed, month, found, float(amount), rate)


@pytest.mark.parametrize("seed", range(60))
def test_bill_equals_the_literal_twin_for_one_month(seed):
    compare(seed, (1 + seed % 12,))


@pytest.mark.long
@pytest.mark.parametrize("seed", range(1000))
def test_bill_equals_the_literal_twin_for_one_month_a_thousand_times(seed):
    compare(10_000 + seed, (1 + seed % 12,))


@pytest.mark.parametrize("seed", range(2))
def test_bill_equals_the_literal_twin_for_a_year(seed):
    compare(500 + seed, tuple(range(1, 13)))


@pytest.mark.long
@pytest.mark.parametrize("seed", range(10))
def test_bill_equals_the_literal_twin_for_ten_years(seed):
    compare(600 + seed, tuple(range(1, 13)))
