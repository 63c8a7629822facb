"""The priced part of a house's bill, as the programmes of the best possible take it."""

from __future__ import annotations

from functools import cached_property

import numpy as np

from profiles.rate.calendar import rate_calendar
from profiles.rate.meter_sums import meter_sums
from profiles.rate.prices import tax_on
from simulate.bill.amounts import bill_amounts
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
        """Terms of the rate that no straight line stays below, in plain words."""
        rate, export = self.site.rate, self.site.rate.export
        calendar = rate_calendar(rate, self.house.hours)
        charged = [one for one in rate.demand if one.tiers is not None or one.per_kw > 0.0]
        rolls = [
            one in charged and not is_held(blocks) for one, blocks in zip(rate.demand, calendar.demand, strict=True)
        ]
        nets = export.method == "net-billing" and export.netting_interval == "month"
        terms = {
            "energy tiers": self._may_leave_first_tiers(calendar),
            "demand tiers": any(one.tiers for one in charged),
            "a demand ratchet": any(np.any(one.ratchet_frac) for one in charged),
            "demand blocks that roll or differ in length": any(rolls),
            "netting by the month": nets,
            "netting within hours or days": not nets and calendar.net_group is not None,
            "surplus that is settled": bool(export.true_up_month) and export.true_up_per_kwh > 0.0,
            "demand as a mean of several days": any(one.days_meant > 1 for one in charged),
            "a rider with tiers": any(one.tiers for one in rate.rider),
            "a fixed charge by use": rate.fixed_by_use is not None and len(rate.fixed_by_use) > 1,
            "event rebates": any(one.rebate_per_kwh for one in rate.event),
            "credits that are a share of what exports earn": self._credit_on_exports(),
            "billing cycles that are not months": bool((calendar.share != 1.0).any()) and bool(charged),
        }
        return tuple(name for name, is_there in terms.items() if is_there)

    @cached_property
    def left_out(self) -> tuple[str, ...]:
        """Terms that can only add to a bill."""
        rate, export = self.site.rate, self.site.rate.export
        credits = export.method != "none" and (self.house.solar_kw.any() or self.site.subpanel.export)
        terms = {
            "a minimum bill": rate.minimum_per_month > np.min(rate.fixed_per_month)
            or rate.minimum_per_day > rate.fixed_per_day,
            "carried credit": credits and export.unused_rule in ("carry", "carry-kwh"),
            "credit that is lost": credits and export.unused_rule == "lose",
            "a credit that exceeds a bill": any(one.beyond_bill in ("carry", "lose") for one in rate.credit),
        }
        return tuple(name for name, is_there in terms.items() if is_there)

    def _credit_on_exports(self) -> bool:
        """Whether a share of a bill is taken off that exports may turn below zero, where it ends."""
        may_export = self.house.solar_kw.any() or self.site.subpanel.export
        on_exports = any(one.frac and (one.on is None or "export" in one.on) for one in self.site.rate.credit)
        return bool(on_exports and may_export and self.site.rate.export.method != "none")

    def _may_leave_first_tiers(self, calendar) -> bool:
        """Whether the house and all that its pools can draw may use more than the first tiers hold."""
        rate = self.site.rate
        ends = [period.tiers[0].up_to for period in rate.periods if period.tiers and len(period.tiers) > 1]
        if not ends or rate.tier_unit != "kwh_per_month":
            return bool(ends)
        charge_kw = sum(min(pool.charge_kw, 1e6) for pool in self.asked.pools)
        most_kwh = (np.maximum(self.house.load_kw, 0.0) + charge_kw) * self.house.hours.step_h
        shares = np.minimum(calendar.season_days / np.maximum(calendar.days[:, None], 1), 1.0)
        least_share = np.min(shares, where=calendar.used, initial=1.0)
        return bool(np.bincount(calendar.month, most_kwh).max() > min(ends) * least_share)

    def straight_total(self, import_kw, export_kw) -> float:
        """The bill of a year without what can only add to it: no other bill of the rate is lower. [currency]"""
        rate = self.site.rate
        export = rate.export
        if export.method != "none":
            export = export.model_copy(update={"unused": "pay", "true_up_month": None})
        credit = tuple(one.model_copy(update={"beyond_bill": "pay"}) for one in rate.credit)
        keys = {"minimum_per_month": 0.0, "minimum_per_day": 0.0, "export": export, "credit": credit}
        straight = rate.model_copy(update=keys)
        calendar = rate_calendar(rate, self.house.hours)
        sums = meter_sums(import_kw, export_kw, straight, calendar)
        return float(bill_amounts(sums, straight, calendar).total)

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
    """Whether the programme can hold these demand blocks: none that roll, all of one length, one day's highest."""
    return blocks.of_step is not None and blocks.days_meant == 1 and len(set(blocks.n_steps.tolist())) <= 1


def inside_kw(asked: Asked) -> np.ndarray:
    takes_back = np.array([pool.takes_back_kw > 0.0 for pool in asked.pools]).reshape(-1, 1)
    return asked.wish.inside_kw * takes_back


def usable_kwh(asked: Asked) -> np.ndarray:
    return np.array([pool.usable_kwh for pool in asked.pools]).reshape(-1, 1)
