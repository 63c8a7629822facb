"""The priced part of a house's bill, as the programmes of the best possible take it."""

from __future__ import annotations

from functools import cached_property

import numpy as np

from profiles.rate.calendar import rate_calendar
from profiles.rate.prices import tax_on
from simulate.house.asked import Asked
from simulate.optimum.equations import Demand


class PricedMeter:
    """The priced part of a house's bill that the best possible works on."""

    def __init__(self, asked: Asked):
        self.asked, self.house, self.site = asked, asked.house, asked.house.site

    @cached_property
    def exports(self) -> bool:
        solar = self.site.solar
        main = solar is not None and solar.connected_at == "main-panel"
        return solar.export if main else self.site.subpanel.export

    @cached_property
    def sell_per_kwh(self) -> np.ndarray:
        sell = self.asked.prices.sell_per_kwh
        return sell if self.exports else np.zeros_like(sell)

    @cached_property
    def demands(self) -> tuple[Demand, ...]:
        """Demand charges as the programme takes them: the first tier, without ratchet, and none that roll."""
        rate = self.site.rate
        calendar, taxed = rate_calendar(rate, self.house.hours), 1.0 + tax_on(rate, "demand")
        demands = []
        for charge, blocks in zip(rate.demand, calendar.demand, strict=True):
            per_kw = charge.per_kw if charge.tiers is None else charge.tiers[0].per_kw
            if not is_held(blocks) or per_kw == 0.0:
                continue
            period = np.where(blocks.of_step >= 0, blocks.month[np.maximum(blocks.of_step, 0)], -1)
            if charge.months is not None:
                period = np.where(np.isin(calendar.month_number[np.maximum(period, 0)], charge.months), period, -1)
            if (period >= 0).any():
                _, own = np.unique(period, return_inverse=True)
                demands.append(Demand(per_kw * taxed, own - bool((period < 0).any()), int(blocks.n_steps[0])))
        return tuple(demands)

    @cached_property
    def beyond(self) -> tuple[str, ...]:
        """Terms of the rate that the programme cannot hold, in plain words."""
        rate, export = self.site.rate, self.site.rate.export
        calendar = rate_calendar(rate, self.house.hours)
        charged = [one for one in rate.demand if one.tiers is not None or one.per_kw > 0.0]
        rolls = [
            one in charged and not is_held(blocks) for one, blocks in zip(rate.demand, calendar.demand, strict=True)
        ]
        credits = export.method != "none"
        terms = {
            "energy tiers": any(period.tiers for period in rate.periods),
            "demand tiers": any(one.tiers for one in charged),
            "a demand ratchet": any(np.any(one.ratchet_frac) for one in charged),
            "demand blocks that roll or differ in length": any(rolls),
            "a minimum bill": rate.minimum_per_month > 0.0 or rate.minimum_per_day > 0.0,
            "carried credit": credits and export.unused_rule in ("carry", "carry-kwh"),
            "credit that is lost": credits and export.unused_rule == "lose",
            "netting by the month": export.method == "net-billing" and export.netting_interval == "month",
            "billing cycles that are not months": bool((calendar.share != 1.0).any()),
        }
        return tuple(name for name, is_there in terms.items() if is_there)

    def cost(self, import_kw, export_kw) -> float:
        """Energy and demand charges of a year at the meter. [currency]"""
        h = self.house.hours.step_h
        energy = float((self.asked.prices.buy_per_kwh * import_kw - self.sell_per_kwh * export_kw).sum() * h)
        return energy + sum(self._charge(one, import_kw) for one in self.demands)

    def _charge(self, demand: Demand, import_kw) -> float:
        n = len(import_kw) // demand.window_steps * demand.window_steps
        means = import_kw[:n].reshape(-1, demand.window_steps).mean(axis=1)
        period = demand.period[: n : demand.window_steps]
        return demand.per_kw * sum(float(means[period == k].max()) for k in range(int(period.max()) + 1))


def is_held(blocks) -> bool:
    """Whether the programme can hold these demand blocks: none that roll, all of one length."""
    return blocks.of_step is not None and len(set(blocks.n_steps.tolist())) <= 1


def inside_kw(asked: Asked) -> np.ndarray:
    takes_back = np.array([pool.takes_back_kw > 0.0 for pool in asked.pools]).reshape(-1, 1)
    return asked.wish.inside_kw * takes_back


def case_of(meter: PricedMeter, wear: float) -> tuple[tuple, dict]:
    """A house as `checked_case` takes it."""
    asked, house = meter.asked, meter.house
    wish, n = asked.wish, house.hours.n_steps
    reach = np.full(wish.reach_kw.shape, np.inf) if wish.parallel else np.maximum(wish.reach_kw - inside_kw(asked), 0.0)
    options = {
        "wear_per_kwh": wear,
        "export": wish.export,
        "step_h": house.hours.step_h,
        "charge_ok": (~house.cold.all(axis=0)).astype(float),
        "utility_ok": np.full(n, meter.site.operation.charge_from == "any"),
        "dc_kw": wish.dc_kw,
        "two_pole_kw": wish.two_pole_kw,
        "demands": meter.demands,
    }
    prices = (asked.prices.buy_per_kwh, meter.sell_per_kwh)
    return (house.load_kw, reach, house.solar_kw, *prices, asked.pools), options


def usable_kwh(asked: Asked) -> np.ndarray:
    return np.array([pool.usable_kwh for pool in asked.pools]).reshape(-1, 1)
