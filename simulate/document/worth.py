"""What a system is worth on one site: its price, the saving of each year of its life, the end of its warranty."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from profiles.noun import BadInput
from simulate.bill.ageing import WarrantyEnd, age, warranty_end
from simulate.bill.bill import price_bill
from simulate.bill.cash_flow import CashFlow, cash_flow, with_replacements
from simulate.bill.discount import discount_factors
from simulate.bill.four_bills import FourBills
from simulate.bill.replay import ReplayedBill, replay_bill
from simulate.house.asked import Asked
from simulate.house.house import House
from simulate.house.interruptions import indices_in, interruptions_of, start_weight
from simulate.house.outage_met import outage_kw
from simulate.house.targets import with_reserve
from simulate.house.walked import HouseYear, walk_asked, without_battery_kw
from simulate.house.year import ask
from simulate.site.money import Money
from simulate.site.pools import pools_of
from simulate.site.site import Site

N_SIMULATED = 4
"""Years of a life that are simulated at least; more where the saving bends."""
PLANS_BY_CALENDAR = ("keep-full", "time-of-use", "self-consumption")
"""Plans that read the price calendar and the floor, and no stored energy."""
NEAR_FRAC, NEAR = 0.01, 0.1
"""An interpolated saving is near enough within this share of the first year's, or this much currency."""


@dataclass(frozen=True, eq=False)
class Life:
    """What the units are and do in each year of their life; arrays of shape (n_years,), prices of today.

    Attributes
    ----------
    capacity_frac : ndarray
        Usable energy of all units, of that when new. [0 to 1]
    saving : ndarray
        Bill saving with that year's capacity. [currency/year]
    discharge_kwh : ndarray
        AC energy that the units give for the rate. [kWh/year]
    simulated : tuple of int
        Years that were simulated, 1 is the first.
    """

    capacity_frac: np.ndarray
    saving: np.ndarray
    discharge_kwh: np.ndarray
    simulated: tuple[int, ...]


@dataclass(frozen=True, eq=False)
class Worth:
    """The money of a site.

    Attributes
    ----------
    currency : str
    money : Money
    life : Life
    installed_price : float or None
        Of the battery units; None where a price is missing. [currency]
    flow : CashFlow or None
        None where a price is missing.
    warranty : WarrantyEnd
        The first end among the battery groups; `warranty_of` names that group.
    backed_up_kwh : float or None
        Energy served in the outages of a year; None where it is not known. [kWh/year]
    notes : tuple of str
    """

    currency: str
    money: Money
    life: Life
    installed_price: float | None
    flow: CashFlow | None
    warranty: WarrantyEnd
    warranty_of: str
    backed_up_kwh: float | None
    notes: tuple[str, ...]

    @property
    def unserved_worth(self) -> float | None:
        """What a first year's energy in outages is worth to the client; in none of the other figures. [currency]"""
        return None if self.backed_up_kwh is None else self.backed_up_kwh * self.money.unserved_worth_per_kwh

    def document(self) -> dict:
        """The money part of the study document; what cannot be known is None."""
        figure = lambda name: None if self.flow is None else getattr(self.flow, name)
        return {
            "installed_price": self.installed_price,
            "other_installed_price": self.money.other_installed_price,
            "saving_first_year": float(self.life.saving[0]),
            "npv": figure("npv"),
            "irr": figure("irr"),
            "simple_payback_y": figure("simple_payback_y"),
            "discounted_payback_y": figure("discounted_payback_y"),
            "savings_to_investment": figure("savings_to_investment"),
            "cost_per_kwh_shifted": figure("cost_per_kwh_shifted"),
            "cost_per_kwh_backed_up": figure("cost_per_kwh_backed_up"),
            "warranty_end_y": self.warranty.year if self.warranty.year < np.inf else None,
            "warranty_ends_by": self.warranty.by,
            "warranty_of": self.warranty_of,
            "unserved_worth": self.unserved_worth,
            "by_year": [] if self.flow is None else _rows(self.flow),
            "saving_by_year": [float(saving) for saving in self.life.saving],
            "notes": list(self.notes),
        }


def worth_of(run: HouseYear, bills: FourBills, *, unserved_kwh_per_year: float | None = None) -> Worth | None:
    """What a site's system is worth over the years of its [money] table.

    Parameters
    ----------
    run : HouseYear
    bills : FourBills
        Of the same year.
    unserved_kwh_per_year : float, optional
        Energy of the backed-up circuits that outages still leave unserved with the battery, in the site's own load
        case; the rest of what outages would take counts as backed up. [kWh/year]

    Returns
    -------
    Worth or None
        None where the site has no [money].

    Raises
    ------
    BadInput
        More unserved energy than the outages would take without a battery.

    Notes
    -----
    A first year's saving times years overstates: `life_of` simulates the year again with aged units. Warranted
    throughput is what the plan discharges in a year; outages add little to it and are left out.

    Examples
    --------
    >>> from simulate.house.bills import bills_of
    >>> from simulate.site.site import read_site
    >>> from simulate.house.year import run_year
    >>> run = run_year(read_site())
    >>> worth_of(run, bills_of(run)).installed_price
    5600.0
    """
    site = run.house.site
    if site.money is None:
        return None
    life = life_of(run, bills, site.money.years)
    missing = [group.name for group in site.battery if group.count and group.installed_price is None]
    price = price_of_units(site)
    served = backed_up_kwh(run, unserved_kwh_per_year)
    flow = None if price is None else flow_of(site.money, life, price, served or 0.0)
    end, group = _first_warranty(run)
    notes = tuple(_notes(run, life, missing, served))
    return Worth(bills.with_battery.currency, site.money, life, price, flow, end, group, served, notes)


def price_of_units(site: Site) -> float | None:
    """Installed price of all battery units; None where one is not given. [currency]"""
    groups = [group for group in site.battery if group.count]
    if any(group.installed_price is None for group in groups):
        return None
    return float(sum(group.count * group.installed_price for group in groups))


def flow_of(money: Money, life: Life, installed_price: float, backed_up_kwh_per_year: float = 0.0) -> CashFlow:
    """Cash flow of a life; a replacement that renews the capacity begins it again.

    Parameters
    ----------
    money : Money
    life : Life
        Of `money.years` years.
    installed_price : float
        Battery units; `money.other_installed_price` comes on top. [currency]
    backed_up_kwh_per_year : float
        Of the first year; it fades with the capacity. [kWh/year]
    """
    fade = with_replacements(money, life.capacity_frac)
    worth_now = discount_factors(money.discount_rate_frac, money.years + 1)[1:]
    shifted = with_replacements(money, life.discharge_kwh) @ worth_now / (fade @ worth_now)
    return cash_flow(
        money,
        saving_per_year=with_replacements(money, life.saving),
        installed_price=installed_price,
        capacity_frac=life.capacity_frac,
        shifted_kwh_per_year=float(shifted),
        backed_up_kwh_per_year=backed_up_kwh_per_year,
    )


def life_of(run: HouseYear, bills: FourBills, years: int, *, n_simulated: int = N_SIMULATED) -> Life:
    """Simulate a site's year again with the capacity that its units have left in later years.

    Parameters
    ----------
    run : HouseYear
        The first year.
    bills : FourBills
        Of the same year.
    years : int
    n_simulated : int
        Years that are simulated at least, the first and the last among them.

    Returns
    -------
    Life

    Notes
    -----
    Plan and reserve stay as in the first year; a reserve is a share of what is left. The saving is nearly linear in
    the capacity and bends where the load, not the cells, becomes the limit. Years between simulated ones are
    interpolated linearly; where the slopes on both sides leave room for more than `NEAR_FRAC` of the first year's
    saving in between, the middle year is simulated too. Years around a group's end are always simulated.
    """
    groups = [group for group in run.house.site.battery if group.count]
    left = np.array([_capacity_frac(run, group, years) for group in groups]).reshape(len(groups), years)
    kwh = np.array([group.count * group.unit_kwh for group in groups])
    total = kwh @ left if kwh.sum() > 0.0 else np.ones(years)
    known = {year: _year_of(run, bills, groups, left[:, year]) for year in _first_years(left, years, n_simulated)}
    near = max(NEAR_FRAC * abs(bills.saving), NEAR)
    while (year := _where_it_bends({at: one[0] for at, one in known.items()}, near)) is not None:
        known[year] = _year_of(run, bills, groups, left[:, year])
    at = sorted(known)
    saving, discharge = (np.interp(np.arange(years), at, [known[year][k] for year in at]) for k in (0, 1))
    return Life(total / total[0], saving, discharge, tuple(year + 1 for year in at))


def _where_it_bends(known: dict[int, float], near: float) -> int | None:
    """The middle of a gap in which a curve that bends one way may lie further from its chord than `near`."""
    at = sorted(known)
    slope = [(known[b] - known[a]) / (b - a) for a, b in zip(at[:-1], at[1:], strict=True)]
    if len(slope) < 2:
        return None
    for k, (a, b) in enumerate(zip(at[:-1], at[1:], strict=True)):
        bends = [abs(slope[k] - slope[other]) for other in (k - 1, k + 1) if 0 <= other < len(slope)]
        least = bends[0] if len(bends) == 1 else bends[0] * bends[1] / ((bends[0] + bends[1]) or 1.0)
        if b - a > 1 and least * (b - a) > near:
            return (a + b) // 2
    return None


def _capacity_frac(run: HouseYear, group, years: int) -> np.ndarray:
    try:
        return age(years, fade_frac_per_year=group.fade_frac_per_year).capacity_frac
    except BadInput as error:
        raise error.at(run.house.site.file, f'battery "{group.name}"') from None


def _first_years(left: np.ndarray, years: int, n: int) -> list[int]:
    """Years by index from 0: evenly spread, and those around the moment at which a group has nothing left."""
    if (left == 1.0).all():
        return [0]
    spread = np.linspace(0, years - 1, min(n, years)).round()
    gone = [int(np.argmax(row == 0.0)) for row in left if (row == 0.0).any()]
    return sorted({int(year) for year in (*spread, *gone, *(year - 1 for year in gone))})


def _year_of(run: HouseYear, bills: FourBills, groups, left) -> tuple[float, float]:
    """Saving and discharged energy of a year with so much capacity left in each group."""
    if (left < 1.0).any():
        frac = {group.name: float(share) for group, share in zip(groups, left, strict=True)}
        run = walk_asked(asked_again(run.asked, aged_house(run, frac)))
        year, rate = run.year, run.house.site.rate
        total = price_bill(year.import_kw, year.export_kw, rate, run.hours).total
        saving = bills.without_battery.total - total
    else:
        saving = bills.saving
    return saving, float(run.year.discharge_kw.sum() * run.hours.step_h)


def aged_house(run: HouseYear, frac: dict[str, float]) -> House:
    """The house with a share of each group's energy left, its plan and reserve as they were resolved."""
    site = run.house.site
    groups = tuple(
        group.model_copy(update={"usable_kwh": group.unit_kwh * frac.get(group.name, 1.0), "usable_kwh_ac": None})
        for group in site.battery
    )
    operation = site.operation.model_copy(update={"plan": run.asked.plan, "reserve": run.asked.reserve})
    aged = site.model_copy(update={"battery": groups, "operation": operation})
    return replace(run.house, site=aged, pools=pools_of(aged))


def asked_again(asked: Asked, house: House) -> Asked:
    """The same plan and reserve for units that hold more or less; what they ask of the calendar is not worked out anew.

    Parameters
    ----------
    asked : Asked
    house : House
        The same but for the energy of its units and `operation.reserve`.

    Notes
    -----
    Limits, cycles and the circuits that are switched over do not depend on stored energy; only a share of solar on the
    cells, import caps and plans that know the year do.
    """
    if house.solar_dc_kw.any() or asked.plan not in PLANS_BY_CALENDAR:
        return ask(house, asked.prices)
    return with_reserve(replace(asked, house=house), house.site.operation.reserve)


def backed_up_kwh(run: HouseYear, unserved_kwh_per_year: float | None) -> float | None:
    """Energy of the carried circuits that a year's outages would take, less what stays unserved. [kWh/year]

    Returns None where the site names no interruptions or the unserved energy is not given.
    """
    house, outage = run.house, run.house.site.outage
    kinds = interruptions_of(outage)
    if not kinds or unserved_kwh_per_year is None:
        return None
    weight = start_weight(run.hours.month, outage.month_weights)
    kw = outage_kw(house, outage.load_case).sum(axis=0) if len(house.carried) else np.zeros(run.hours.n_steps)
    wanted = float(weight @ kw) * indices_in(kinds)["saidi_h"]
    if not 0.0 <= unserved_kwh_per_year <= wanted * (1.0 + 1e-6) + 1e-9:
        raise BadInput(
            f"must lie between 0 and the {wanted:.3f} kWh that a year's outages would take",
            key="unserved_kwh_per_year",
            value=unserved_kwh_per_year,
            way_out="give that of the site's own load case",
        )
    return max(wanted - unserved_kwh_per_year, 0.0)


def _first_warranty(run: HouseYear) -> tuple[WarrantyEnd, str]:
    """The warranty that ends first and the group it is of; "none" without a group where no term is stated."""
    ends = [(WarrantyEnd(np.inf, "none"), "")]
    for leg_pool, kw in zip(run.house.pools, run.year.pool_discharge_kw, strict=True):
        per_kwh = float(kw.sum() * run.hours.step_h) / leg_pool.pool.usable_kwh if leg_pool.pool.usable_kwh else 0.0
        for group in leg_pool.groups:
            terms = {} if group.warranty is None else group.warranty.model_dump()
            use = {"fade_frac_per_year": group.fade_frac_per_year, "throughput_kwh_per_year": per_kwh * group.unit_kwh}
            ends.append((warranty_end(**terms, **use), group.name))
    return min(ends, key=lambda end: end[0].year)


def replay_of(run: HouseYear, bills) -> tuple[ReplayedBill, ...]:
    """Printed bills beside ours: the house without the battery, on the rate that it pays now.

    Parameters
    ----------
    run : HouseYear
    bills : path or sequence of PrintedBill
        As `simulate.bill.replay.read_printed_bills` reads them.

    Returns
    -------
    tuple of ReplayedBill
        On `rate_today` where the site names one, else on `rate`.
    """
    site = run.house.site
    rate = site.rate if site.rate_today is None else site.rate_today
    return replay_bill(bills, *without_battery_kw(run), rate, run.hours)


def _rows(flow: CashFlow) -> list[dict]:
    """A row a year as plain numbers; year 0 is the installation."""
    parts = (
        "saving",
        "yearly_cost",
        "investment",
        "incentive",
        "replacement",
        "loan",
        "net",
        "cumulative",
        "discounted_cumulative",
        "capacity_frac",
    )
    columns = {part: (getattr(flow, part) + 0.0).tolist() for part in parts}  # + 0.0: no minus zero
    return [{"year": year, **{part: columns[part][year] for part in parts}} for year in range(len(flow.net))]


def _notes(run: HouseYear, life: Life, missing: list[str], served: float | None):
    money = run.house.site.money
    if missing:
        names = ", ".join(f'"{name}"' for name in missing)
        yield f"no cash flow: battery installed_price is not given for {names}"
    if len(life.simulated) > 1:
        which = ", ".join(map(str, life.simulated))
        between = "; the years between are interpolated" if len(life.simulated) < money.years else ""
        yield f"the saving of years {which} is simulated with the capacity that is left then{between}"
    else:
        yield "fade_frac_per_year = 0: every year is as the first"
    yield f"prices of energy rise by {money.price_escalation_frac:.1%} a year from the second year on"
    if served is None:
        yield "cost_per_kwh_backed_up: not known, the energy that outages take is not given (outage.per_year, mean_h)"
    elif money.unserved_worth_per_kwh:
        yield "unserved_worth is of a first year; it is in neither the saving nor the cash flow"
    if money.incentives:
        yield "incentives as stated in the site file: confirm programme, amount and last date"
    for one in money.incentives:
        if one.last_date is not None:
            yield f'incentive "{one.name}" is granted until {one.last_date}, as stated'
