"""Invented sites drawn at random, as tables of a site file, from a seed."""

import datetime as dt
import random

ZONES = ("America/New_York", "America/Chicago", "America/Phoenix", "Europe/Berlin", "Australia/Adelaide")
WINDOWS = ("08:00-18:00", "22:00-06:00", "06:00-09:00, 17:00-21:00", "00:00-24:00")
CONSEQUENCES = ("food", "flood", "water", "heat", "comfort", None)


def first_day(seed: int) -> int:
    """Day of the year from which some days are compared; every fourth site meets a clock change or a month's end."""
    return {0: 67, 1: 306, 2: 88, 3: 298, 4: 30, 5: 89}.get(seed % 24, seed * 37 % 360)


def random_site(seed: int) -> dict:
    """Tables of a site; a whole number of seed gives the same site for ever."""
    draw = random.Random(seed)
    batteries, legs = units(draw)
    site = {
        "site": {
            "name": f"Invented {seed}", "latitude": 40.0, "longitude": -75.0, "timezone": draw.choice(ZONES),
            "year": draw.choice([2024, 2025]), "step_min": draw.choice([60, 60, 60, 30]),
        },
        "service": {"other_load": {"kw": round(draw.uniform(0.0, 1.5), 3)}},
        "subpanel": {"mode": draw.choice(["transfer", "interactive"])},
        "circuit": [circuit(draw, k, legs) for k in range(draw.randint(1, 5))],
        "battery": batteries,
        "outage": outage(draw),
    }  # fmt: skip
    if draw.random() < 0.6:
        site["subpanel"]["load_control"] = draw.choice(["automatic", "by-hand", "by-hand"])
    if draw.random() < 0.25:
        site["subpanel"]["transfer"] = {"kind": "manual", "at_home": ["17:00-08:00"]}
    elif site["subpanel"]["mode"] == "transfer" and draw.random() < 0.5:
        site["subpanel"]["transfer"] = {"least_stay_min": draw.choice([60.0, 150.0])}
    if site["subpanel"]["mode"] == "interactive" and draw.random() < 0.5:
        site["subpanel"]["export"] = True
    if draw.random() < 0.6:
        site["solar"] = solar(draw)
    site["rate"] = rate(draw)
    site["operation"] = operation(draw, "solar" in site)
    if draw.random() < 0.2:
        day = dt.date(site["site"]["year"], 1, 1) + dt.timedelta(days=first_day(seed) + 1)
        site["operation"]["hold_full"] = [{"from": f"{day}T03:00", "to": f"{day}T20:00"}]
    if not any(c.get("on", "sub-panel") == "sub-panel" for c in site["circuit"]):
        site["circuit"][0]["on"] = "sub-panel"
    if seed % 10 == 7:
        sunny_island(draw, site)
    if seed % 10 == 3:
        crowded(draw, site)
    tapered_and_fed(site)
    return site


def sunny_island(draw, site: dict) -> None:
    """Small cells that run empty, and a roof behind them that brings the loads back."""
    site["solar"] = {**solar(draw), "connected_at": "sub-panel"}
    site["outage"] |= {
        "horizon_h": 30.5,
        "restart_soc": draw.choice([0.0, 0.1, 0.25]),
        "start_soc": draw.choice([0.12, 0.5]),
    }
    site["subpanel"]["load_control"] = "none"
    if len(site["battery"]) > 1 and site["battery"][0]["leg"] != site["battery"][1]["leg"]:
        a, b = site["battery"]
        a["locked_with"], b["locked_with"] = b["name"], a["name"]
        site["outage"] |= {"restart_soc": 0.25, "start_soc": 0.5}
        lights = {"breaker_a": 15, "priority": 1, "load": {"kw": 0.05}}
        site["circuit"] += [{"name": f"Lights {leg}", "leg": leg, **lights} for leg in "AB"]
    for unit in site["battery"]:
        kwh = {"A": 0.5, "B": 6.0}[unit["leg"]] if len(site["battery"]) > 1 else draw.choice([0.5, 2.0])
        unit |= {"takes_back_kw": 3.0, "usable_kwh": kwh, "continuous_kw": 5.0}
        unit.pop("output_breaker_a", None)


def crowded(draw, site: dict) -> None:
    """More load than the outputs carry, on circuits of falling priority that somebody may switch off."""
    site["subpanel"]["load_control"] = draw.choice(["by-hand", "automatic"])
    site["outage"]["load_case"] = "usual"
    for k, one in enumerate(site["circuit"]):
        one |= {"on": "sub-panel", "priority": 1 + k, "load": {"kw": 0.4, "window": draw.choice(WINDOWS)}}
    for unit in site["battery"]:
        unit |= {"continuous_kw": draw.choice([0.5, 0.9]), "count": 1, "usable_kwh": 8.0}


def tapered_and_fed(site: dict) -> None:
    """The twin's island knows no taper: cells that the sub-panel's sun feeds have none."""
    if site.get("solar", {}).get("connected_at") == "sub-panel":
        for unit in site["battery"]:
            unit.pop("taper", None)


def circuit(draw, k: int, legs: str) -> dict:
    found = {
        "name": f"Circuit {k}", "breaker_a": draw.choice([15, 20, 30]), "load": loads(draw),
        "priority": draw.choice([1, 1, 1, 2, 3]), "rate_transfer": draw.random() < 0.6,
        "on": draw.choice(["sub-panel"] * 4 + ["main", "candidate"]),
    }  # fmt: skip
    kind = draw.random()
    if kind < 0.2:
        found["poles"] = 2
    elif kind < 0.8:
        found["leg"] = draw.choice(legs)
    lost = draw.choice(CONSEQUENCES)
    if lost:
        found["if_lost"] = lost
    if draw.random() < 0.3:
        found["outage_scale"] = draw.choice([0.5, {"usual": 0.8, "frugal": 0.4, "storm": 3.0}])
    return found


def loads(draw):
    kinds = [draw_load(draw) for _ in range(draw.choice([1, 1, 2]))]
    return kinds if len(kinds) > 1 else kinds[0]


def draw_load(draw) -> dict:
    load = draw.choice([
        {"kw": round(draw.uniform(0.0, 1.2), 3)},
        {"watts": round(draw.uniform(10, 900)), "hours_per_day": round(draw.uniform(0.1, 2.5), 2)},
        {"running_w": round(draw.uniform(50, 1500)), "minutes_per_hour": round(draw.uniform(0, 60), 1)},
        {"nameplate_a": round(draw.uniform(0.5, 12), 1), "duty_frac": round(draw.uniform(0, 1), 2)},
        {"measured_kwh": round(draw.uniform(0.1, 12), 2), "over_days": draw.choice([1, 7, 30])},
    ])  # fmt: skip
    if draw.random() < 0.5:
        load["window"] = draw.choice(WINDOWS)
    if draw.random() < 0.2:
        load["days"] = draw.choice(["weekday", "weekend"])
    if draw.random() < 0.15:
        load["months"] = draw.choice([[11, 12, 1, 2, 3, 4], [5, 6, 7, 8, 9, 10], list(range(1, 12))])
    return load


def units(draw) -> tuple[list[dict], str]:
    """Battery tables, and the legs that have a unit."""
    kind = draw.choice(["one", "one", "pair", "pair", "loose", "two groups", "both"])
    losses = {
        "charge_efficiency": round(draw.uniform(0.8, 1.0), 3), "discharge_efficiency": round(draw.uniform(0.8, 1.0), 3),
        "takes_back_kw": draw.choice([0.0, 1.0, 3.0]), "after_trip": draw.choice(["latches", "retries"]),
    }  # fmt: skip
    if draw.random() < 0.3:
        losses["taper"] = {"from_soc": draw.choice([0.5, 0.8]), "to_frac": draw.choice([0.1, 0.4])}
    if kind == "both":
        return [unit(draw, "Unit", "both", losses)], "AB"
    if kind in ("pair", "loose"):
        a, b = unit(draw, "Unit A", "A", losses), unit(draw, "Unit B", "B", losses)
        if draw.random() < 0.5:
            b = {**a, "name": "Unit B", "leg": "B"}
        for one in (a, b):  # two empty units without a draw end at no instant of their own
            one["no_load_w"] = one["no_load_w"] or 15.0
        if kind == "pair":
            a["locked_with"], b["locked_with"] = "Unit B", "Unit A"
        return [a, b], "AB"
    leg = draw.choice("AB")
    more = [unit(draw, "Second", leg, losses)] if kind == "two groups" else []
    return [unit(draw, "First", leg, losses), *more], leg


def unit(draw, name: str, leg: str, losses: dict) -> dict:
    found = {
        "name": name, "leg": leg, "count": draw.choice([1, 1, 2]), "usable_kwh": round(draw.uniform(0.5, 12.0), 2),
        "continuous_kw": round(draw.uniform(0.4, 5.0), 2), "no_load_w": draw.choice([0.0, 28.0, 60.0]),
        "on_grid_w": draw.choice([0.0, 9.0, 20.0]), **losses,
        "charging_circuit": {"breaker_a": draw.choice([20, 30]), "volts": 240 if leg == "both" else 120},
    }  # fmt: skip
    if draw.random() < 0.5:
        found["charge_kw"] = round(draw.uniform(0.3, 4.0), 2)
    if draw.random() < 0.3:
        found["output_breaker_a"] = draw.choice([15, 20, 30])
    return found


def outage(draw) -> dict:
    found = {"horizon_h": draw.choice([6.0, 24.0, 24.0, 30.5]), "reconnect_s": draw.choice([300, 5400])}
    found["load_case"] = draw.choice(["usual", "usual", "storm", "frugal"])
    if draw.random() < 0.4:
        found["start_soc"] = draw.choice(["full", 0.5])
    if draw.random() < 0.3:
        found["restart_soc"] = draw.choice([0.1, 0.25])
    return found


def solar(draw) -> dict:
    where = draw.choice(["main-panel", "main-panel", "sub-panel", "battery"])
    return {"connected_at": where, "export": draw.random() < 0.7, "series": {"csv": "sun.csv", "column": "kw"}}


def operation(draw, sunny: bool) -> dict:
    plans = ["time-of-use", "time-of-use", "keep-full"] + ["self-consumption"] * sunny
    found = {"plan": draw.choice(plans), "charge_from": draw.choice(["any", "any", "solar"])}
    found["reserve"] = draw.choice([0.03, 0.2, round(draw.random(), 2), [round(draw.random(), 2) for _ in range(12)]])
    if draw.random() < 0.2:
        found["wear_per_kwh"] = 0.04
    return found


def rate(draw) -> dict:
    found = {"fixed_per_month": round(draw.uniform(0, 20), 2), "export": export(draw)}
    low = round(draw.uniform(0.05, 0.2), 3)
    if draw.random() < 0.25:
        found["price_per_kwh"] = low
    else:
        found["season"] = seasons(draw, low)
        found["holidays"] = draw.choice(["none", "US"])
    if draw.random() < 0.3:
        found["minimum_per_month"] = round(draw.uniform(0, 60), 2)
    if draw.random() < 0.3:
        found["demand"] = [demand(draw) for _ in range(draw.choice([1, 2]))]
        for k, one in enumerate(found["demand"]):
            one["name"] = f"demand {k}"
    if draw.random() < 0.3:
        found["rider"] = [{"name": "adjustment", "per_kwh": draw.choice([0.011, [0.001 * m for m in range(12)]])}]
    if draw.random() < 0.3:
        found["tax"] = [{"name": "tax", "frac": 0.0625}]
    return found


def seasons(draw, low: float) -> list[dict]:
    cut = draw.randint(3, 10)
    summer, rest = list(range(cut, cut + 3)), [m for m in range(1, 13) if not cut <= m < cut + 3]
    return [
        {"name": name, "months": months, "periods": periods(draw, low)}
        for name, months in (("summer", summer), ("winter", rest))
    ]


def periods(draw, low: float) -> list[dict]:
    days = draw.choice(["all", "weekday"])
    peak = draw.choice(["16:00-21:00", "06:00-09:00, 17:00-20:00", "13:00-19:00", "21:00-02:00"])
    top = {"name": "on-peak", "days": days, "hours": peak, "price_per_kwh": round(low + draw.uniform(0.0, 0.4), 3)}
    middle = {"name": "mid-peak", "hours": "09:00-22:00", "price_per_kwh": round(low + draw.uniform(0.0, 0.1), 3)}
    base = {"name": "off-peak", "price_per_kwh": low}
    if draw.random() < 0.2:
        end = round(draw.uniform(20, 300), 1)
        base = {"name": "off-peak", "tiers": [{"up_to": end, "price_per_kwh": low}, {"price_per_kwh": low + 0.05}]}
    return [top, *([middle] if draw.random() < 0.4 else []), base]


def demand(draw) -> dict:
    found = {
        "per_kw": round(draw.uniform(1, 12), 2),
        "window_min": 60,
        "hours": draw.choice(["00:00-24:00", "15:00-21:00"]),
    }
    found["days"] = draw.choice(["all", "weekday"])
    if draw.random() < 0.4:
        found["months"] = [6, 7, 8, 9]
    return found


def export(draw) -> dict:
    credit = round(draw.uniform(0.0, 0.05), 3)
    return draw.choice([
        {"method": "none"}, {"method": "net-metering"}, {"method": "net-billing", "credit_per_kwh": credit},
        {"method": "net-billing", "credit_per_kwh": [round(0.004 * m, 3) for m in range(1, 13)]},
        {"method": "net-billing", "credit_per_kwh": 0.12},
    ])  # fmt: skip
