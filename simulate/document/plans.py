"""Every plan that a site could be run by without knowing the future: dollars against hours, the client's choice."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from simulate.bill.four_bills import FourBills
from simulate.house.asked import ask_plan
from simulate.house.calendar_windows import switched_over
from simulate.house.candidates import may_switch
from simulate.house.frontier import Outlook
from simulate.house.score import bill_by_month
from simulate.house.targets import causal_plans, with_reserve
from simulate.house.walked import HouseYear, walk_asked
from simulate.physics.outages.spread import nine_in_ten


def plan_rows(run: HouseYear, bills: FourBills) -> list[dict]:
    """One row for each causal plan that the site can run, the one of `run` marked.

    Parameters
    ----------
    run : HouseYear
    bills : FourBills
        Of the same year.

    Returns
    -------
    list of dict
        `plan`, `saving` [currency], `change` (against today), `hours_p10` and `hardest_month_p10` [h],
        `breaks_per_year`, `chosen`.
    """
    asked, house = run.asked, run.house
    if not asked.pools:
        return []
    names, outlook = causal_plans(house, asked.prices), Outlook(house)
    rows = []
    for name in [*names, *([asked.plan] if asked.plan not in (*names, "best-possible") else [])]:
        own = name == asked.plan
        one = run if own else walk_asked(with_reserve(ask_plan(house, asked.prices, name), asked.reserve))
        bill = bills.with_battery.total if own else _bill(one)
        rows.append(_row(one, name, bill, bills, outlook) | {"chosen": own})
    return rows


def _bill(run: HouseYear) -> float:
    return float(bill_by_month(run.house, run.year.import_kw, run.year.export_kw).sum())


def _row(run: HouseYear, name: str, bill: float, bills: FourBills, outlook: Outlook) -> dict:
    hours, month = outlook.hours(run), run.hours.month
    return {
        "plan": name,
        "saving": bills.without_battery.total - bill,
        "change": None if bills.change is None else bills.change + bill - bills.with_battery.total,
        "hours_p10": nine_in_ten(hours),
        "hardest_month_p10": min(nine_in_ten(hours[month == one]) for one in np.unique(month)),
        "breaks_per_year": sum(switches_a_year(run).values()),
    }


def switches_a_year(run: HouseYear) -> dict[str, int]:
    """Breaks a year by circuit that switching for the rate makes: over and back."""
    switched = run.asked.switched
    if switched is None or not len(switched.begin):
        return {}
    served = run.year.pool_discharge_kw.sum(axis=0)[switched.begin] > 0.0
    counts = 2 * (switched.chosen & served).sum(axis=0)
    return {name: int(n) for name, n in zip(run.asked.may_switch, counts, strict=True) if n}


def rate_transfer_rows(run: HouseYear) -> list[dict] | None:
    """What switching each circuit takes off the bill: the bill without switching it less the bill as run.

    Returns
    -------
    list of dict, or None
        `circuit`, `saving` [currency], `breaks_per_year`; None where no circuit can be switched. They need not add.
    """
    asked = run.asked
    if asked.wish.parallel or asked.switched is None:
        return None
    breaks, as_run = switches_a_year(run), _bill(run)
    return [
        {"circuit": name, "saving": _bill(_without(run, name)) - as_run, "breaks_per_year": breaks.get(name, 0)}
        for name in asked.may_switch
    ]


def _without(run: HouseYear, name: str) -> HouseYear:
    """The same year with one circuit left on the utility; mates that share its neutral stay with it."""
    asked, may = run.asked, may_switch(run.house)
    stays = np.isin(np.array(may.names), _mates(may, name))
    column = [asked.may_switch.index(one) for one in may.names]
    begin, end = asked.switched.begin[:, column], asked.switched.end[:, column]
    kept = switched_over(may, begin * ~stays, end * ~stays, run.house.load_kw)
    wish = replace(asked.wish, reach_kw=kept.reach_kw, two_pole_kw=kept.two_pole_kw)
    return walk_asked(replace(asked, wish=wish))


def _mates(may, name: str) -> list[str]:
    if name not in may.names:
        return [name]
    tied = may.tied[may.names.index(name)]
    return [one for one, group in zip(may.names, may.tied, strict=True) if group == tied]
