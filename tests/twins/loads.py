"""Loads as tables of a site file, in kW per step."""

from collections import Counter

from tests.twins.axis import in_window, is_day
from tests.twins.branches import seen


def load_kw(load, stamps, year, step_h: float) -> list[float]:
    """Mean kW in each of `stamps`, which are part of the whole `year`."""
    if isinstance(load, list):
        seen("load list")
        parts = [load_kw(one, stamps, year, step_h) for one in load]
        return [sum(kw) for kw in zip(*parts, strict=True)]
    power = power_of(load, year, step_h)
    return [power(stamp) if is_on(load, stamp) else 0.0 for stamp in stamps]


def is_on(load: dict, stamp) -> bool:
    """Window, kind of day and months; holidays change nobody's habits."""
    if "months" in load and not seen("load by months", stamp.month in load["months"]):
        return False
    if load.get("days", "all") != "all" and not seen("load by weekday", is_day(stamp.weekday, load["days"])):
        return False
    return in_window(stamp.minute, load["window"]) if "window" in load else True


def power_of(load: dict, year, step_h: float):
    """kW while the load is on, as a function of the step's stamp."""
    if "kw" in load:
        seen("load kw")
        return lambda stamp: load["kw"]
    if "minutes_per_hour" in load:
        seen("load minutes an hour")
        return lambda stamp: load["running_w"] / 1000 * load["minutes_per_hour"] / 60
    if "nameplate_a" in load:
        seen("load nameplate")
        return lambda stamp: load["nameplate_a"] * load.get("volts", 120.0) / 1000 * load["duty_frac"]
    steps_on = Counter(stamp.date for stamp in year if is_on(load, stamp))
    if "hours_per_day" in load:
        seen("load hours a day")
        return lambda stamp: load["watts"] / 1000 * load["hours_per_day"] / (steps_on[stamp.date] * step_h)
    seen("load measured")
    # the energy of days on which it is used: it recurs at that daily rate on its own days only
    kw = load["measured_kwh"] / load["over_days"] * len(steps_on) / (sum(steps_on.values()) * step_h)
    return lambda stamp: kw
