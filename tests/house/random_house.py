"""Invented houses of every kind that the site file allows, drawn at random: pools, sun, rate, plan."""

from dataclasses import replace

import numpy as np

from profiles.hours import Hours
from simulate.house.house import House, house_of
from simulate.site.operation import PLANS
from tests.house.test_year import peaks
from tests.site.small_site import circuit, locked_pair, small_site, unit

HOUR = np.arange(24)


def random_house(rng, plan: str | None = None, quick: bool = False, n_days: int | None = None) -> House:
    """A house of one year of hours, or of so many days of it.

    `plan` is drawn where it is not given, `quick` leaves demand charges out.
    """
    plan = plan or rng.choice(PLANS)
    mode = rng.choice(["transfer", "transfer", "interactive"])
    first = None if n_days is None else int(rng.integers(0, 365 - n_days))
    loads = [
        circuit(f"Circuit {k}", 0.0, rng.choice(["A", "B", "AB"]), rate_transfer=bool(rng.random() < 0.7))
        for k in range(rng.integers(1, 5))
    ]
    export = bool(rng.random() < 0.5)
    where = rng.choice(["none", "main-panel", "sub-panel", "battery"])
    sun = {"connected_at": str(where), "export": export, "series": {"csv": "unread.csv", "column": "kw"}}
    site = small_site(
        loads,
        _units(rng),
        rate=_rate(rng, plan, quick),
        operation={"plan": str(plan), **_operation(rng, 252 if first is None else first + 2)},
        subpanel={
            "mode": str(mode),
            "export": bool(mode == "interactive" and rng.random() < 0.5),
            "transfer": {"least_stay_min": float(rng.choice([0.0, 0.0, 30.0, 90.0]))},
        },
    )
    house = house_of(site)
    if n_days is not None:
        house = replace(house, hours=some_days(house.hours, first, n_days))
        n = house.hours.n_steps
        house = replace(house, cold=house.cold[:, :n], solar_dc_kw=house.solar_dc_kw[:n])
    if where != "none":
        lit = small_site(loads, [unit()], solar=sun).solar
        site = site.model_copy(update={"solar": lit})
    return _with_series(rng, replace(house, site=site), str(where))


def some_days(hours: Hours, first: int, n_days: int) -> Hours:
    """Some days of a year as an axis of their own, its days counted from 0."""
    kept = (hours.day >= first) & (hours.day < first + n_days)
    series = {name: getattr(hours, name)[kept] for name in ("utc", "local", "month", "day", "weekday", "minute")}
    return replace(hours, **series | {"day": series["day"] - first})


def _with_series(rng, house: House, where: str) -> House:
    n = house.hours.n_steps
    shape = lambda: np.resize(rng.uniform(0.0, 1.0, 24), n) * rng.uniform(0.2, 2.0) * rng.uniform(0.5, 1.0, n)
    kw = np.array([shape() for _ in house.site.circuit])
    day = np.maximum(np.sin((HOUR - 6) / 12 * np.pi), 0.0) * rng.uniform(0.5, 6.0)
    solar = np.resize(day, n) * np.resize(np.repeat(rng.uniform(0.0, 1.0, 366), 24), n) * (where != "none")
    on_cells = where == "battery"
    return replace(
        house,
        circuit_kw=kw,
        rest_kw=shape() * rng.uniform(0.0, 1.0),
        solar_kw=solar * (not on_cells),
        solar_dc_kw=solar * on_cells,
    )


def _units(rng) -> list[dict]:
    def losses():
        more = {"taper": {"from_soc": 0.8, "to_frac": 0.2}} if rng.random() < 0.3 else {}
        return {
            "usable_kwh": rng.uniform(0.5, 15.0),
            "continuous_kw": rng.uniform(0.5, 6.0),
            "charge_efficiency": rng.uniform(0.8, 1.0),
            "discharge_efficiency": rng.uniform(0.8, 1.0),
            "no_load_w": rng.uniform(0.0, 90.0),
            "on_grid_w": rng.uniform(0.0, 40.0),
            "takes_back_kw": rng.choice([0.0, 0.0, 2.0]),
            **more,
        }

    kind = rng.choice(["one", "pair", "unequal", "both"])
    if kind == "pair":
        return locked_pair(**losses())
    if kind == "unequal":
        a, b = locked_pair()
        return [{**a, **losses()}, {**b, **losses()}]
    if kind == "both":
        return [unit("both", **losses(), charging_circuit={"breaker_a": 30, "volts": 240})]
    return [unit(**losses())]


def _rate(rng, plan: str, quick: bool) -> dict:
    on = str(rng.choice(["16:00-21:00", "06:00-09:00, 17:00-20:00", "12:00-20:00"]))
    low = rng.uniform(0.05, 0.2)
    export = [{"method": "none"}, {"method": "net-billing", "credit_per_kwh": rng.uniform(0.0, low)}]
    demand = [
        {"name": "evening", "per_kw": rng.uniform(1, 15), "hours": on},
        {"name": "any time", "per_kw": rng.uniform(1, 9)},
    ]
    n_demands = rng.choice([0, 0, 0, 1, 2]) if plan != "demand-limit" else rng.integers(1, 3)
    n_demands *= not quick
    return peaks(
        on,
        rng.uniform(low, 0.6),
        low,
        str(rng.choice(["all", "weekday"])),
        export=export[rng.integers(0, 2)],
        demand=[demand[k] for k in rng.permutation(2)[:n_demands]],
    )


def _operation(rng, hold_day: int) -> dict:
    reserve = float(rng.uniform()) if rng.random() < 0.6 else rng.uniform(size=12).tolist()
    start, end = (f"{np.datetime64('2025-01-01') + day}T00:00" for day in (hold_day, hold_day + 3))
    hold = [{"from": start, "to": end}] if rng.random() < 0.3 else []
    return {
        "reserve": reserve,
        "charge_from": str(rng.choice(["any", "any", "solar"])),
        "hold_full": hold,
        "wear_per_kwh": float(rng.choice([0.0, 0.0, 0.04])),
    }
