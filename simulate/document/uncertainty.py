"""How sure are we of one site: its saving, hours and present value while one input at a time takes its low and high."""

from __future__ import annotations

import functools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from profiles.noun import BadInput
from profiles.rate.rate import Rate
from simulate.bill.cash_flow import whole_flow
from simulate.bill.four_bills import FourBills
from simulate.document.ranges import Range, tornado
from simulate.document.words import tenths
from simulate.document.worth import Life, asked_again, life_of, parts_of
from simulate.house.bills import bills_of
from simulate.house.house import House
from simulate.house.ride import ride_through
from simulate.house.sources import SiteSources
from simulate.house.walked import HouseYear, walk_asked
from simulate.house.year import run_year
from simulate.panel.sheets.price import money_of, price_of_solar, price_of_units
from simulate.physics.outages.spread import nine_in_ten
from simulate.site.money import Money
from simulate.site.pools import pools_of
from simulate.site.site import Site


@dataclass(frozen=True)
class Span:
    """How far one input is varied, and on what ground.

    Attributes
    ----------
    low, high : float
        The site's own value lies between them, else the nearer end is moved to it.
    unit, basis : str
    """

    low: float
    high: float
    unit: str
    basis: str


OURS = "our choice, no citation"
ENGINEERING = "engineering range, no citation"
SPANS = {
    "load": Span(0.8, 1.2, "of the stated load", OURS),
    "price spread": Span(0.75, 1.25, "of each price above the season's cheapest", OURS),
    "round-trip efficiency": Span(0.80, 0.92, "AC to AC", ENGINEERING),
    "usable energy": Span(0.80 / 0.95, 1.0 / 0.95, "of the stated energy", ENGINEERING + ": 0.80-1.0 of nameplate"),
    "no-load draw": Span(20.0, 100.0, "W a unit", ENGINEERING),
    "on-grid draw": Span(5.0, 40.0, "W a unit", ENGINEERING),
    "reserve": Span(0.0, 1.0, "of full", "the whole range: it is a choice"),
    "price escalation": Span(0.0, 0.05, "a year", OURS),
    "fade": Span(0.01, 0.035, "a year", ENGINEERING),
}
"""Ranges of the inputs; all may be replaced in `ranges_of`."""
NO_EFFECT = 0.005
"""A swing below half a cent, or below a third of a minute, is no effect."""
CHOICES = ("reserve",)
"""Inputs that somebody sets: what they do is shown, and is no uncertainty."""
MONEY_ONLY = ("price escalation", "fade")


@dataclass(frozen=True)
class Outcome:
    """Results of one variation: saving [currency/year], hours nine times in ten [h], npv [currency] or None."""

    saving: float
    hours: float
    npv: float | None


@dataclass(frozen=True)
class Ranges:
    """Results as ranges: what each input does to them while the others stay as stated.

    Attributes
    ----------
    saving, hours, npv : tuple of Range
        Widest first: bill saving of a first year [currency], hours that nine outages in ten reach or exceed [h], net
        present value [currency]; `npv` is empty where the site gives no prices.
    spans : dict
        By name of the input, what was varied.
    currency : str
    notes : tuple of str
    """

    saving: tuple[Range, ...]
    hours: tuple[Range, ...]
    npv: tuple[Range, ...]
    spans: dict[str, Span]
    currency: str
    notes: tuple[str, ...]

    def document(self) -> dict:
        """The ranges as plain data: low, mid and high of each result, and its inputs."""
        return {
            **{name: result_document(getattr(self, name), self.spans) for name in ("saving", "hours", "npv")},
            "currency": self.currency,
            "notes": list(self.notes),
        }


def span_of(rows: Sequence[Range]) -> tuple[float, float, float]:
    """Lowest, stated and highest result of rows that vary one uncertain input at a time; choices are left out.

    Examples
    --------
    >>> span_of([Range("a", 0, 1, 2, 10.0, 11.0, 14.0), Range("b", 0, 1, 2, 12.0, 11.0, 9.0)])
    (9.0, 11.0, 14.0)
    """
    mid = rows[0].at_mid
    ends = [mid, *(value for row in rows if row.name not in CHOICES for value in (row.at_low, row.at_high))]
    return min(ends), mid, max(ends)


def result_document(rows: Sequence[Range], spans: dict[str, Span]) -> dict | None:
    """One result as plain data; None where nothing was varied."""
    if not rows:
        return None
    low, mid, high = span_of(rows)
    inputs = [{**vars(row), "unit": spans[row.name].unit, "basis": spans[row.name].basis} for row in rows]
    return {"low": low, "mid": mid, "high": high, "inputs": inputs}


def ranges_of(
    site: Site | HouseYear, *, weather: Sequence[str | Path] = (), spans: dict[str, Span] | None = None
) -> Ranges:
    """Simulate a site again with one input at a time at its low and at its high.

    Parameters
    ----------
    site : Site or HouseYear
        A year that was run already is used as it is.
    weather : sequence of str or Path, optional
        Weather files of other years, each simulated in place of the site's own.
    spans : dict, optional
        Other ranges than `SPANS`, by the same names; what is left out is not varied.

    Returns
    -------
    Ranges

    Raises
    ------
    BadInput
        An unknown name, or weather for a site that uses none.

    Notes
    -----
    One at a time: inputs that move together are not seen together, and the ends are no confidence interval. Plan and
    reserve stay as the site's own year resolved them. Every variation is a year, its outages and its bills.
    """
    base = site if isinstance(site, HouseYear) else None
    site = site if base is None else base.house.site
    spans = SPANS if spans is None else spans
    for name in spans:
        if name not in SPANS:
            raise BadInput(
                "is not an input that can be varied", key="spans", value=name, way_out="known: " + ", ".join(SPANS)
            )
    if weather and site.weather is None:
        raise BadInput(
            "is given for a site that uses none",
            file=site.file,
            key="weather",
            value=str(weather[0]),
            way_out="give [weather] source, or no other years",
        )
    base = base or run_year(site)
    outcome = _outcomes(base)
    applies, notes = _inputs(base, spans)
    physical = {name: ends for name, ends in applies.items() if name not in MONEY_ONLY}
    saving = tornado(lambda **values: outcome(**values).saving, physical)
    hours = tornado(lambda **values: outcome(**values).hours, physical)
    priced = outcome().npv is not None
    npv = tornado(lambda **values: outcome(**values).npv, applies) if priced else []
    if not priced:
        notes.append("npv: not ranged, the site gives no [money] or no price of its units")
    years, more = _weather_rows(base.house, outcome(), weather)
    rows = {name: [*own, *years.get(name, [])] for name, own in (("saving", saving), ("hours", hours), ("npv", npv))}
    by_swing = {name: tuple(sorted(own, key=lambda row: -row.swing)) for name, own in rows.items()}
    known = spans | {"weather year": WEATHER}
    return Ranges(**by_swing, spans=known, currency=site.rate.currency, notes=(*notes, *more))


def _outcomes(base: HouseYear) -> Callable[..., Outcome]:
    """A function from values by name to an outcome; every variation is simulated once."""
    site, mids = base.house.site, _stated(base)
    money, price, roof = money_of(site), price_of_units(site), price_of_solar(site)

    @functools.cache
    def simulated(changed: frozenset) -> tuple[HouseYear, FourBills]:
        run = _varied_year(base, dict(changed)) if changed else base
        return run, bills_of(run)

    @functools.cache
    def hours(changed: frozenset) -> float:
        return nine_in_ten(ride_through(simulated(changed)[0]).hours)

    @functools.cache
    def life(changed: frozenset, fade: float | None) -> Life:
        run, bills = simulated(changed)
        return life_of(run if fade is None else _fading(run, fade), bills, money.years)

    def npv(changed: frozenset, values: dict[str, float]) -> float | None:
        if money is None or price is None:
            return None
        own = money if "price escalation" not in values else _escalating(money, values["price escalation"])
        return whole_flow(own, parts_of(own, life(changed, values.get("fade")), price, roof)).npv

    def outcome(**values: float) -> Outcome:
        changed = {name: value for name, value in values.items() if value != mids[name]}
        physical = frozenset((name, value) for name, value in changed.items() if name not in MONEY_ONLY)
        return Outcome(simulated(physical)[1].saving, hours(physical), npv(physical, changed))

    return outcome


def _inputs(base: HouseYear, spans: dict[str, Span]) -> tuple[dict[str, tuple[float, float, float]], list[str]]:
    """Low, stated and high of every input that the site has, and what is left out."""
    site, mids, notes = base.house.site, _stated(base), []
    out = {}
    for name, span in spans.items():
        why = _left_out(site, name)
        if why:
            notes.append(f"{name}: not varied, {why}")
        else:
            out[name] = (min(span.low, mids[name]), mids[name], max(span.high, mids[name]))
    return out, notes


def _left_out(site: Site, name: str) -> str:
    if name == "price spread" and spread_prices(site.rate, 1.0) is None:
        return "the rate has one price, tiers or a price series"
    if name in MONEY_ONLY and site.money is None:
        return "the site has no [money]"
    if name in ("load", "reserve") or name in MONEY_ONLY or any(group.count for group in site.battery):
        return ""
    return "the site has no battery units" if name != "price spread" else ""


def _stated(base: HouseYear) -> dict[str, float]:
    """The site's own value of every input; of unlike groups their mean by unit."""
    site = base.house.site
    count = np.array([group.count for group in site.battery], dtype=float)
    weight = count / (count.sum() or 1.0)
    mean = lambda value: float(weight @ np.array([value(group) for group in site.battery], dtype=float))
    usable = sum(pool.usable_kwh for pool in base.asked.pools)
    return {
        "load": 1.0,
        "price spread": 1.0,
        "usable energy": 1.0,
        "round-trip efficiency": mean(lambda group: group.eta_charge * group.eta_discharge),
        "no-load draw": mean(lambda group: group.no_load_w),
        "on-grid draw": mean(lambda group: group.on_grid_w),
        "reserve": float(base.asked.floor_kwh.sum(axis=0).mean() / usable) if usable else 0.0,
        "price escalation": site.money.price_escalation_frac if site.money else 0.0,
        "fade": mean(lambda group: group.fade_frac_per_year),
    }


def _varied_year(base: HouseYear, changed: dict[str, float]) -> HouseYear:
    house = _varied(base, changed)
    if set(changed) <= {"usable energy", "reserve"}:
        return walk_asked(asked_again(base.asked, house))
    return run_year(house)


def _fading(run: HouseYear, fade: float) -> HouseYear:
    """The same first year with units that lose another share of their energy a year."""
    groups = tuple(_varied_group(group, {"fade": fade}) for group in run.house.site.battery)
    site = run.house.site.model_copy(update={"battery": groups})
    return replace(run, asked=replace(run.asked, house=replace(run.house, site=site)))


def _escalating(money: Money, frac: float) -> Money:
    return money.model_copy(update={"price_escalation_frac": frac})


def _varied(base: HouseYear, changed: dict[str, float]) -> House:
    """The house with changed inputs, its plan and reserve as its own year resolved them."""
    house, site = base.house, base.house.site
    reserve = changed.get("reserve", base.asked.reserve)
    operation = site.operation.model_copy(update={"plan": base.asked.plan, "reserve": reserve})
    groups = tuple(_varied_group(group, changed) for group in site.battery)
    rate = spread_prices(site.rate, changed["price spread"]) if "price spread" in changed else site.rate
    site = site.model_copy(update={"operation": operation, "battery": groups, "rate": rate})
    load = changed.get("load", 1.0)
    return replace(
        house, site=site, pools=pools_of(site), circuit_kw=house.circuit_kw * load, rest_kw=house.rest_kw * load
    )


def _varied_group(group, changed: dict[str, float]):
    update = {"usable_kwh": group.unit_kwh * changed.get("usable energy", 1.0), "usable_kwh_ac": None}
    if "round-trip efficiency" in changed:
        one_way = math.sqrt(changed["round-trip efficiency"])
        update |= {"charge_efficiency": one_way, "discharge_efficiency": one_way, "round_trip_efficiency": None}
    for name, key in (("no-load draw", "no_load_w"), ("on-grid draw", "on_grid_w"), ("fade", "fade_frac_per_year")):
        if name in changed:
            update[key] = changed[name]
    return group.model_copy(update=update)


def spread_prices(rate: Rate, factor: float) -> Rate | None:
    """The rate with every price's distance from the cheapest of its season multiplied; None where it has no periods.

    Examples
    --------
    >>> from profiles.rate.source import read_rate
    >>> wide = spread_prices(read_rate("library:two_period"), 2.0)
    >>> [round(p.price_per_kwh, 3) for p in wide.season[0].periods], spread_prices(read_rate("library:flat"), 2.0)
    ([0.5, 0.1], None)
    """
    periods = [period for season in rate.season or () for period in season.periods]
    if not periods or any(period.tiers for period in periods):
        return None
    seasons = tuple(season.model_copy(update={"periods": _spread(season.periods, factor)}) for season in rate.season)
    return rate.model_copy(update={"season": seasons})


def _spread(periods, factor: float) -> tuple:
    cheapest = min(period.price_per_kwh for period in periods)
    price = lambda period: cheapest + (period.price_per_kwh - cheapest) * factor
    return tuple(period.model_copy(update={"price_per_kwh": price(period)}) for period in periods)


WEATHER = Span(-math.inf, math.inf, "degC, mean of the year", "the weather files that were given")


def _weather_rows(house: House, own: Outcome, files: Sequence[str | Path]) -> tuple[dict[str, list[Range]], list[str]]:
    """A row for each result: the weather years that give the least and the most, named in the notes."""
    if not files:
        return {}, ["weather year: not varied, one year is simulated; give the files of others"]
    site = house.site
    years = {site.weather.source: (own, _mean_c(house))}
    for file in files:
        name = str(file) if str(file).startswith("library:") else str(Path(file).resolve())
        other = site.with_values({"weather.source": name})
        run = run_year(other)
        years[name] = (_outcomes(run)(), _mean_c(run.house))
    names = ("saving", "hours") if own.npv is None else ("saving", "hours", "npv")
    rows = {result: [_weather_row(result, list(years.values()))] for result in names}
    notes = [
        f"weather year {Path(name).name}: saving {one.saving:.2f}, hours nine times in ten {tenths(one.hours)}"
        for name, (one, _) in years.items()
    ]
    return rows, [*notes, "metered loads stay as they are; only solar and weather-driven loads follow the weather year"]


def _weather_row(result: str, years: list[tuple[Outcome, float]]) -> Range:
    value = lambda year: getattr(year[0], result)
    least, most = min(years, key=value), max(years, key=value)
    return Range("weather year", least[1], years[0][1], most[1], value(least), value(years[0]), value(most))


def _mean_c(house: House) -> float:
    return float(SiteSources(house.site).temp_c(house.hours).mean())
