"""The bill against a slow literal twin: row by row, in decimals, with its own calendar. All rates here are invented."""

import datetime as dt
from collections import defaultdict
from decimal import Decimal as D
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from profiles.hours import hours_of_year
from profiles.rate.rate import Rate
from simulate.bill.bill import price_bill

ZONE, YEAR = "America/New_York", 2025
NAMES = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
HOLIDAYS = ("2025-01-01", "2025-07-04", "2025-09-01", "2025-11-27", "2025-12-25")
NEW_YEAR, NEXT_YEAR = dt.date(YEAR, 1, 1), dt.date(YEAR + 1, 1, 1)
DAYS_OF_A_MONTH = D("30.4375")  # 365.25 days in twelve months
ONE_MILLIONTH_OF_A_CENT = 1e-8


# ---- the twin: rows are (local time, import kW, export kW, price or None) --------------------------------------------


def twin_bill(rows, rate, step_h, cycles):
    """Totals of billing cycles (first day, day after the last, whole), in decimals, one row at a time."""
    sums = [cycle_sums([r for r in rows if a <= r[0].date() < b], rate, step_h, (a, b)) for a, b, _ in cycles]
    state = {"bank": D(0), "banked": defaultdict(D), "since": D(0)}
    totals = []
    for k, (a, b, whole) in enumerate(cycles):
        before = [sums[other] for other in eleven_before(k, len(cycles))]
        last = (b - dt.timedelta(days=1)).month
        settles = rate.export.true_up_month == last and not (k + 1 < len(cycles) and last_month(cycles[k + 1]) == last)
        month = {
            "number": last,
            "days": (b - a).days,
            "share": share_of((b - a).days, whole, rate),
            "settles": settles,
            "before": [
                (last_month(cycles[other]), one)
                for other, one in zip(eleven_before(k, len(cycles)), before, strict=True)
            ],
        }
        totals.append(cycle_total(month, sums[k], rate, state))
    return totals


def eleven_before(k, n):
    return [(k - back) % n for back in range(1, min(12, n))]


def last_month(cycle):
    return (cycle[1] - dt.timedelta(days=1)).month


def share_of(days, whole, rate):
    if rate.prorate_days is not None:
        return D(days) / D(rate.prorate_days)
    return D(1) if whole else D(days) / DAYS_OF_A_MONTH


def cycle_sums(rows, rate, step_h, cycle):
    groups, bought, sold, season_days = defaultdict(D), defaultdict(D), defaultdict(D), defaultdict(set)
    bought_on, sold_on = defaultdict(D), defaultdict(D)
    cost, earned = D(0), D(0)
    netting = rate.export.netting or ("month" if rate.export.method == "net-metering" else "step")
    last = cycle[1] - dt.timedelta(days=1)
    for k, (local, kw_in, kw_out, price) in enumerate(rows):
        s, where = period_of(local, rate, last if rate.season_by == "cycle" else local.date())
        season_days[s].add(local.date())
        hour = local.isoformat()[:13] + str(local.utcoffset())
        span = {"step": k, "hour": hour, "day": local.date(), "month": k}[netting]
        groups[span, (s, where), local.month] += (D(kw_in) - D(kw_out)) * step_h
        if netting in ("step", "month"):
            bought[s, where] += D(kw_in) * step_h
            sold[s, where] += D(kw_out) * step_h
            bought_on[local.month] += D(kw_in) * step_h
            sold_on[(s, where), local.month] += D(kw_out) * step_h
        if price is not None:
            cost += D(kw_in) * step_h * D(price[0])
            earned += D(kw_out) * step_h * D(price[0 if rate.export.method == "net-metering" else 1])
    if netting in ("hour", "day"):
        for (_, where, on), net in groups.items():
            bought[where] += max(net, D(0))
            sold[where] += max(-net, D(0))
            bought_on[on] += max(net, D(0))
            sold_on[where, on] += max(-net, D(0))
    peaks = [peak_of(rows, demand, step_h) for demand in rate.demand]
    return {
        "bought": bought,
        "sold": sold,
        "bought_on": bought_on,
        "sold_on": sold_on,
        "peak": peaks,
        "cost": cost,
        "earned": earned,
        "season_days": {s: len(days) for s, days in season_days.items()},
    }


def period_of(local, rate, day):
    """Season and name of the period; `day` decides the season."""
    for s, season in enumerate(rate.season or ()):
        if season.months is not None and day.month not in season.months:
            continue
        if season.months is None:
            a, b, today = season.from_, season.to, f"{day:%m-%d}"
            if not (a <= today <= b if a <= b else today >= a or today <= b):
                continue
        for period in season.periods:
            if inside(local, period):
                return s, period.name
        raise AssertionError("no period")
    return 0, "all hours"


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
    """Highest mean of the blocks that lie wholly in one of the windows or several: literal, block by block."""
    n = int(D(demand.window_min) / 60 / step_h)
    counts = [any(inside(row[0], window) for window in (demand, *demand.also)) for row in rows]
    best = D(0)
    for k in range(len(rows) - n + 1):
        if demand.block == "fixed" and rows[k][0].minute % demand.window_min:
            continue
        if all(counts[k : k + n]):
            best = max(best, sum(D(row[1]) for row in rows[k : k + n]) / n)
    return best


def cycle_total(month, sums, rate, state):
    export, kept = rate.export, D(rate.export.nonbypassable_per_kwh)
    method = export.method
    rule = export.unused or ("carry" if method == "net-metering" else "pay")
    bought, sold = dict(sums["bought"]), dict(sums["sold"])
    if method == "net-billing" and export.netting == "month":
        bought, sold = (
            {k: max(a[k] - b[k], D(0)) for k in a}
            for a, b in ((sums["bought"], sums["sold"]), (sums["sold"], sums["bought"]))
        )
    all_bought, all_sold = sum(bought.values()), sum(sold.values())
    # twelve values follow the date, but for a season that follows the cycle and for what is netted over it
    by_date = rate.season_by == "date" and not (method == "net-billing" and export.netting == "month")
    bought_on = sums["bought_on"] if by_date else {month["number"]: all_bought}
    sold_on = sums["sold_on"] if by_date else {(k, month["number"]): kwh for k, kwh in sold.items()}
    billed, true_up_kwh = dict(bought), D(0)
    if method == "net-metering":
        billed = {k: bought[k] - sold[k] for k in bought}
        if rule == "carry-kwh":
            banked = state["banked"]
            for k, net in billed.items():
                used = min(banked[k], max(net, D(0)))
                banked[k] += max(-net, D(0)) - used
                billed[k] = max(net, D(0)) - used
            if month["settles"]:
                true_up_kwh = sum(banked.values())
                banked.clear()
    parts = defaultdict(D)
    parts["fixed"] = D(rate.fixed_per_month) * month["share"] + D(rate.fixed_per_day) * month["days"]
    if rate.hourly_prices is not None:
        parts["energy"] = sums["cost"] - kept * all_bought
        if method == "net-metering":
            parts["energy"] -= sums["earned"] - kept * all_sold
    else:
        parts["energy"] = energy_amount(billed, sums, rate, kept, month)
    parts["nonbypassable"] = kept * all_bought
    for rider in rate.rider:
        parts["rider"] += sum(kwh * by_month(rider.per_kwh, on) for on, kwh in bought_on.items())
    for d, demand in enumerate(rate.demand):
        if demand.months is None or month["number"] in demand.months:
            parts["demand"] += demand_amount(demand, billed_kw(demand, d, sums, month)) * month["share"]
    if method == "net-billing" and rate.hourly_prices is not None and rate.hourly_prices.credit_column:
        parts["export"] = -sums["earned"]
    elif method == "net-billing":
        parts["export"] = -sum(kwh * credit_of(k, rate, on) for (k, on), kwh in sold_on.items())
    net = parts["energy"] + parts["export"]
    if rule == "carry":
        used = min(state["bank"], max(net, D(0)))
        parts["export"] += max(-net, D(0)) - used
        state["bank"] += max(-net, D(0)) - used
        state["since"] += all_sold - all_bought
        if month["settles"]:
            true_up_kwh = max(state["since"], D(0))
            state["bank"] = state["since"] = D(0)
    elif rule == "lose":
        parts["export"] += max(-net, D(0))
    least = D(rate.minimum_per_month) * month["share"] + D(rate.minimum_per_day) * month["days"]
    if least:
        parts["minimum"] = max(least - sum(parts.values()), D(0))
    total = sum(parts.values())
    for tax in rate.tax:
        total += D(tax.frac) * max(sum(parts[kind] for kind in (tax.on or list(parts))), D(0))
    return total - D(export.true_up_per_kwh) * true_up_kwh


def by_month(value, number):
    return D(value[number - 1]) if isinstance(value, tuple) else D(value)


def credit_of(key, rate, number):
    s, name = key
    own = next((p.credit_per_kwh for p in rate.season[s].periods if p.name == name), None) if rate.season else None
    return D(own) if own is not None else by_month(rate.export.credit_per_kwh, number)


def billed_kw(demand, d, sums, month):
    highest = max(
        (
            one["peak"][d]
            for number, one in month["before"]
            if demand.ratchet_months is None or number in demand.ratchet_months
        ),
        default=D(0),
    )
    return max(sums["peak"][d], by_month(demand.ratchet_frac, month["number"]) * highest)


def energy_amount(billed, sums, rate, kept, month):
    amount = D(0)
    for (s, name), kwh in billed.items():
        period = next(p for p in rate.season[s].periods if p.name == name) if rate.season else None
        tiers = period.tiers if period else rate.tiers
        if not tiers:
            amount += kwh * (D(period.price_per_kwh if period else rate.price_per_kwh) - kept)
            continue
        fill = sum(k for (s2, _), k in billed.items() if s2 == s) if rate.tier_over == "season" else kwh
        part = D(sums["season_days"][s]) / month["days"]
        first_kw = (sums["peak"] or [D(0)])[0]
        scale = {
            "kwh_per_month": part * month["share"],
            "kwh_per_day": D(sums["season_days"][s]),
            "kwh_per_kw": part * first_kw,
        }[rate.tier_unit]
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


def random_rate(rng, step_min, csv):
    data = {"extra_holidays": HOLIDAYS, "fixed_per_month": money(rng, 30), "demand": demands(rng, step_min)}
    for key, chance, top in (("fixed_per_day", 0.3, 1), ("minimum_per_month", 0.4, 90), ("minimum_per_day", 0.2, 3)):
        if rng.random() < chance:
            data[key] = money(rng, top)
    data["export"] = export(rng)
    if rng.random() < 0.5:
        data["rider"] = (
            {"name": "r", "per_kwh": rng.choice([-0.004, 0.011]).item()},
            {"name": "s", "per_kwh": tuple(rng.random(12) * 0.02)},
        )
    if rng.random() < 0.5:
        data["tax"] = ({"name": "t", "frac": 0.0625}, {"name": "u", "frac": 0.03, "on": ("energy", "fixed", "demand")})
    data.update(cycles(rng))
    if (
        rng.random() < 0.15
        and data["export"].get("netting", "step") == "step"
        and data["export"].get("unused") != "carry-kwh"
    ):
        credit = {"credit_column": "credit"} if data["export"]["method"] == "net-billing" and rng.random() < 0.5 else {}
        data["hourly_prices"] = {"csv": str(csv), "price_column": "price", **credit}
    else:
        data.update(prices(rng, bool(data["demand"]), data["export"]["method"] == "net-billing"))
    return Rate.model_validate(data)


def money(rng, top):
    return round(float(rng.random() * top), 4)


def cycles(rng):
    """Calendar months, or read dates one to five weeks apart; either may be prorated."""
    data = {}
    if rng.random() < 0.4:
        days = np.cumsum(rng.integers(20, 36, 14)) + int(rng.integers(-20, 15))
        dates = [NEW_YEAR + dt.timedelta(days=int(day)) for day in days]
        data["read_dates"] = tuple(date.isoformat() for date in dates if date < NEXT_YEAR + dt.timedelta(days=20))
    if rng.random() < 0.3:
        data["prorate_days"] = float(rng.choice([30.0, 30.4]))
    if rng.random() < 0.3:
        data["season_by"] = "cycle"
    return data


def prices(rng, has_demand, credits_by_period):
    unit = rng.choice(["kwh_per_month", "kwh_per_day"] + ["kwh_per_kw"] * has_demand).item()
    scale = {"kwh_per_month": 300.0, "kwh_per_day": 10.0, "kwh_per_kw": 60.0}[unit]
    kind = rng.integers(4)
    if kind == 0:
        return {"price_per_kwh": 0.1 + money(rng, 0.4)}
    if kind == 1:
        return {"tiers": tiers(rng, scale), "tier_unit": unit}
    shared = tiers(rng, scale)
    seasons = two_seasons(rng)
    for season in seasons:
        found = list(periods(rng, scale if kind == 2 else None, shared if kind == 3 else None))
        if credits_by_period and rng.random() < 0.7:
            for period in found:
                if period["name"] != "rest":
                    period["credit_per_kwh"] = 0.03 if period["name"] == "p0" else 0.07
        season["periods"] = tuple(found)
    return {"season": tuple(seasons), "tier_unit": unit, "tier_over": "season" if kind == 3 else "period"}


def two_seasons(rng):
    if rng.random() < 0.6:
        cut = int(rng.integers(2, 12))
        return [{"name": "one", "months": tuple(range(1, cut))}, {"name": "two", "months": tuple(range(cut, 13))}]
    first, second = sorted(rng.choice(np.arange(2, 365), 2, replace=False).tolist())
    day = lambda k: (NEW_YEAR + dt.timedelta(days=int(k))).strftime("%m-%d")
    over = {"name": "over New Year", "from": day(second), "to": day(first - 1)}
    return [over, {"name": "between", "from": day(first), "to": day(second - 1)}]


def periods(rng, scale, shared):
    for k in range(int(rng.integers(0, 3))):
        a, b = sorted(rng.choice(24, 2, replace=False).tolist())
        bounds = (a, b) if rng.random() < 0.7 else (b, a)
        one = {
            "name": f"p{k}",
            "hours": f"{bounds[0]:02d}:00-{bounds[1]:02d}:30",
            **price(rng, scale, shared),
            "days": rng.choice(["all", "weekday", "weekend", "mon, wed, sun"]).item(),
        }
        yield one
        if rng.random() < 0.3:  # one period with a second window on other days
            yield {**one, "hours": "04:00-09:30", "days": "weekend"}
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


def demands(rng, step_min):
    return tuple(one_demand(rng, step_min) for _ in range(int(rng.integers(0, 3))))


def one_demand(rng, step_min):
    windows = [minutes for minutes in (15, 30, 60) if minutes >= step_min]
    data = {"window_min": int(rng.choice(windows)), "block": rng.choice(["fixed", "rolling"]).item()}
    data["per_kw"] = money(rng, 12)
    if rng.random() < 0.3:
        del data["per_kw"]
        data["tiers"] = ({"up_to": 3.0, "per_kw": 2.5}, {"per_kw": 7.25})
    if rng.random() < 0.6:
        data["hours"], data["days"] = "15:00-21:00", rng.choice(["all", "weekday"]).item()
        if rng.random() < 0.4:
            data["also"] = ({"hours": "06:00-09:00", "days": "weekday"}, {"hours": "20:00-23:00", "days": "sat"})
    if rng.random() < 0.4:
        data["ratchet_frac"] = 0.6 if rng.random() < 0.5 else tuple(np.round(rng.random(12), 2).tolist())
        if rng.random() < 0.4:
            data["ratchet_months"] = (6, 7, 8, 9)
    if rng.random() < 0.3:
        data["months"] = (5, 6, 7, 8)
    return data


def export(rng):
    kind = rng.integers(4)
    if kind == 0:
        return {"method": "none"}
    true_up = (
        {"true_up_month": int(rng.integers(1, 13)), "true_up_per_kwh": money(rng, 0.05)} if rng.random() < 0.4 else {}
    )
    if kind == 1:
        credit = money(rng, 0.2) if rng.random() < 0.6 else tuple(rng.random(12) * 0.2)
        unused = rng.choice(["pay", "carry", "lose"]).item()
        return {
            "method": "net-billing",
            "credit_per_kwh": credit,
            "unused": unused,
            "netting": rng.choice(["step", "hour", "day", "month"]).item(),
            **(true_up if unused == "carry" else {}),
        }
    kept = money(rng, 0.05) if kind == 3 else 0.0
    unused = rng.choice(["carry", "carry-kwh", "pay", "lose"]).item()
    return {
        "method": "net-metering",
        "unused": unused,
        "nonbypassable_per_kwh": kept,
        **(true_up if unused.startswith("carry") else {}),
    }


# ---- the comparison -------------------------------------------------------------------------------------------------


def axis(step_min):
    utc = dt.datetime(YEAR, 1, 1, tzinfo=ZoneInfo(ZONE)).astimezone(dt.UTC)
    end = dt.datetime(YEAR + 1, 1, 1, tzinfo=ZoneInfo(ZONE)).astimezone(dt.UTC)
    stamps = []
    while utc < end:
        stamps.append(utc.astimezone(ZoneInfo(ZONE)))
        utc += dt.timedelta(minutes=step_min)
    return stamps


AXIS = {step: axis(step) for step in (30, 15)}
PRICES = np.round(np.random.default_rng(9).normal(0.06, 0.08, (8760, 2)), 4)  # a third of them negative


@pytest.fixture(scope="module")
def csv(tmp_path_factory):
    path = tmp_path_factory.mktemp("prices") / "prices.csv"
    hours = [stamp.isoformat() for stamp in AXIS[30][::2]]
    rows = [f"{stamp},{buy},{credit}" for stamp, (buy, credit) in zip(hours, PRICES.tolist(), strict=True)]
    path.write_text("start,price,credit\n" + "\n".join(rows) + "\n")
    return path


def cycles_of(rate):
    """First day, day after the last, and whether the cycle lies between two read dates (or is a calendar month)."""
    if rate.read_dates is None:
        firsts = [dt.date(YEAR, month, 1) for month in range(1, 13)] + [NEXT_YEAR]
        return [(a, b, True) for a, b in zip(firsts[:-1], firsts[1:], strict=True)]
    reads = [dt.date.fromisoformat(text) for text in rate.read_dates]
    inner = [date for date in reads if NEW_YEAR < date < NEXT_YEAR]
    edges = [NEW_YEAR, *inner, NEXT_YEAR]
    return [(a, b, a in reads and b in reads) for a, b in zip(edges[:-1], edges[1:], strict=True)]


def compare(seed, months, csv, step=30):
    rng = np.random.default_rng(seed)
    rate, stamps = random_rate(rng, step, csv), AXIS[step]
    rng_kw = np.random.default_rng(seed + 10**6)
    on = np.isin([local.month for local in stamps], months)
    bought = np.where(on, rng_kw.gamma(1.0, 1.2, len(stamps)), 0.0)
    sold = np.where(on & (rng_kw.random(len(stamps)) < 0.4), rng_kw.gamma(1.0, 2.0, len(stamps)), 0.0)
    price = PRICES.repeat(60 // step, axis=0).tolist() if rate.hourly_prices else [None] * len(stamps)
    every = cycles_of(rate)
    busy = [any(month in months for month in {a.month, (b - dt.timedelta(days=1)).month}) for a, b, _ in every]
    rows = [
        row
        for row in zip(stamps, bought.tolist(), sold.tolist(), price, strict=True)
        if any(a <= row[0].date() < b for (a, b, _), is_busy in zip(every, busy, strict=True) if is_busy)
    ]
    bill = price_bill(bought, sold, rate, hours_of_year(YEAR, ZONE, step))
    chosen = every if all(busy) else [one for one, is_busy in zip(every, busy, strict=True) if is_busy]
    if not all(busy) and any(demand.ratchet_frac for demand in rate.demand):
        chosen = every  # idle months count as months without a peak
    expected = twin_bill(rows, rate, D(step) / 60, chosen)
    for (a, b, _), amount in zip(chosen, expected, strict=True):
        if a in {first for (first, _, _), is_busy in zip(every, busy, strict=True) if is_busy}:
            label = f"{a:%Y-%m}" if rate.read_dates is None else b.isoformat()
            found = bill.by_month[label]
            assert abs(found - float(amount)) < ONE_MILLIONTH_OF_A_CENT, (seed, label, found, float(amount), rate)


@pytest.mark.parametrize("seed", range(40))
def test_bill_equals_the_literal_twin_for_one_month(seed, csv):
    compare(seed, (1 + seed % 12,), csv)


@pytest.mark.parametrize("seed", range(40, 50))
def test_bill_equals_the_literal_twin_for_one_month_of_quarter_hours(seed, csv):
    compare(seed, (1 + seed % 12,), csv, step=15)


@pytest.mark.hours
@pytest.mark.parametrize("seed", range(1000))
def test_bill_equals_the_literal_twin_for_one_month_a_thousand_times(seed, csv):
    compare(10_000 + seed, (1 + seed % 12,), csv, step=15 if seed % 4 == 0 else 30)


def test_bill_equals_the_literal_twin_for_a_year(csv):
    compare(501, tuple(range(1, 13)), csv)


@pytest.mark.hours
@pytest.mark.parametrize("seed", range(10))
def test_bill_equals_the_literal_twin_for_ten_years(seed, csv):
    compare(600 + seed, tuple(range(1, 13)), csv, step=15 if seed % 2 else 30)


KINDS = {
    "tiers by period": lambda rate: any(p.tiers for p in rate.periods) and rate.season is not None,
    "tiers a day": lambda rate: rate.tier_unit == "kwh_per_day" and any(p.tiers for p in rate.periods),
    "tiers a kW": lambda rate: rate.tier_unit == "kwh_per_kw" and any(p.tiers for p in rate.periods),
    "tiers of a season": lambda rate: rate.tier_over == "season",
    "ratchet": lambda rate: any(np.any(d.ratchet_frac) for d in rate.demand),
    "rolling block": lambda rate: any(d.block == "rolling" and d.window_min > 15 for d in rate.demand),
    "several windows": lambda rate: any(d.also for d in rate.demand),
    "season over New Year": lambda rate: any(s.from_ and s.from_ > s.to for s in rate.season or ()),
    "season by cycle": lambda rate: rate.season_by == "cycle" and rate.read_dates and rate.season,
    "netting within a day": lambda rate: rate.export.netting == "day",
    "true-up": lambda rate: rate.export.true_up_month and rate.export.true_up_per_kwh,
    "read dates": lambda rate: rate.read_dates,
    "proration": lambda rate: rate.prorate_days,
    "negative prices": lambda rate: rate.hourly_prices,
    "minimum with credit": lambda rate: (
        rate.minimum_per_month and rate.export.unused_rule == "carry" and rate.export.method != "none"
    ),
    "two windows of one name": lambda rate: len(set(rate.period_names)) < len(rate.period_names),
    "credit by period": lambda rate: any(p.credit_per_kwh for p in rate.periods),
}


@pytest.mark.parametrize("kind", KINDS)
def test_the_random_rates_hold_every_kind(kind, csv):
    """What is compared: each kind is among the rates that run in every suite."""
    assert sum(bool(KINDS[kind](random_rate(np.random.default_rng(seed), 30, csv))) for seed in range(40)) >= 1, kind
