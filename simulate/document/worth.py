"""What a system is worth on one site: its price, the saving of each year of its life, the end of its warranty."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from profiles.noun import BadInput
from simulate.bill.ageing import WarrantyEnd, age, warranty_end
from simulate.bill.bill import price_bill
from simulate.bill.cash_flow import CashFlow, battery_flow, rate_flow, solar_flow, whole_flow, with_replacements
from simulate.bill.discount import discount_factors
from simulate.bill.four_bills import FourBills
from simulate.bill.replay import ReplayedBill, replay_bill
from simulate.house.asked import Asked, ask_plan
from simulate.house.house import House
from simulate.house.interruptions import interruptions_of
from simulate.house.reliability import outage_load_kwh
from simulate.house.targets import with_reserve
from simulate.house.walked import HouseYear, is_new_solar, walk_asked, without_battery_kw, without_solar_kw
from simulate.house.year import ask
from simulate.panel.sheets.price import money_of, not_priced, price_of_solar, price_of_units
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
        Bill saving by the battery with that year's capacity. [currency/year]
    discharge_kwh : ndarray
        AC energy that the units give for the rate. [kWh/year]
    simulated : tuple of int
        Years that were simulated, 1 is the first.
    solar_frac : ndarray
        Output of a roof that fades, of that when new. [0 to 1]
    solar_saving : ndarray
        What a new roof alone takes off the bill. [currency/year]
    rate_saving : float or None
        What the change of rate alone takes off; None where the rate does not change. [currency/year]
    """

    capacity_frac: np.ndarray
    saving: np.ndarray
    discharge_kwh: np.ndarray
    simulated: tuple[int, ...]
    solar_frac: np.ndarray
    solar_saving: np.ndarray
    rate_saving: float | None


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
    solar_price : float or None
        Of a new roof; None where there is none or its price is missing. [currency]
    parts : dict
        Cash flow of "rate", "solar" and "battery", those that there are and whose price is known, without the loan.
    flow : CashFlow or None
        Of the whole change: the parts and the loan; None where a price of the units is missing.
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
    solar_price: float | None
    parts: dict[str, CashFlow]
    flow: CashFlow | None
    warranty: WarrantyEnd
    warranty_of: str
    backed_up_kwh: float | None
    notes: tuple[str, ...]

    @property
    def saving_by_year(self) -> np.ndarray:
        """Bill saving by the battery in each year, renewed where its cells are; prices of today. [currency/year]"""
        return with_replacements(self.money.replacements, self.life.saving)

    @property
    def capacity_by_year(self) -> np.ndarray:
        """Capacity in each year, renewed where its cells are. [0 to 1]"""
        return with_replacements(self.money.replacements, self.life.capacity_frac)

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
            "solar_price": self.solar_price,
            "saving_first_year": float(self.life.saving[0]),
            "npv": figure("npv"),
            "irr": figure("irr"),
            "simple_payback_y": figure("simple_payback_y"),
            "discounted_payback_y": figure("discounted_payback_y"),
            "paid_back_year": figure("paid_back_year"),
            "savings_to_investment": figure("savings_to_investment"),
            "cost_per_kwh_shifted": figure("cost_per_kwh_shifted"),
            "cost_per_kwh_backed_up": figure("cost_per_kwh_backed_up"),
            "warranty_end_y": self.warranty.year if self.warranty.year < np.inf else None,
            "warranty_ends_by": self.warranty.by,
            "warranty_of": self.warranty_of,
            "unserved_worth": self.unserved_worth,
            "parts": [_part(name, flow) for name, flow in self.parts.items()],
            "by_year": [] if self.flow is None else _rows(self.flow, self.parts),
            "saving_by_year": [float(saving) for saving in self.saving_by_year],
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
    >>> worth = worth_of(run, bills_of(run))
    >>> worth.installed_price, list(worth.parts)
    (5600.0, ['rate', 'battery'])
    """
    site, money = run.house.site, money_of(run.house.site)
    if money is None:
        return None
    life = life_of(run, bills, money.years)
    missing = not_priced(site)
    price, roof = price_of_units(site), price_of_solar(site)
    served = backed_up_kwh(run, unserved_kwh_per_year)
    parts = parts_of(money, life, price, roof, served or 0.0)
    flow = whole_flow(money, parts) if "battery" in parts else None
    notes = tuple(_notes(run, life, missing, served))
    return Worth(
        bills.with_battery.currency, money, life, price, roof, parts, flow, *_first_warranty(run), served, notes
    )


def parts_of(
    money: Money,
    life: Life,
    installed_price: float | None,
    solar_price: float | None,
    backed_up_kwh_per_year: float = 0.0,
) -> dict[str, CashFlow]:
    """Cash flow of the rate, of solar and of the battery, those that there are and whose price is known.

    Parameters
    ----------
    money : Money
    life : Life
        Of `money.years` years.
    installed_price, solar_price : float or None
        Of battery units (`money.other_installed_price` comes on top) and of a new roof. [currency]
    backed_up_kwh_per_year : float
        Of the first year; it fades with the capacity. [kWh/year]

    Notes
    -----
    A replacement that renews the capacity begins the battery's life again; the roof beside it is taken to have faded
    as far as it had in the year of the battery's life that is repeated.
    """
    parts = {}
    if life.rate_saving is not None:
        parts["rate"] = rate_flow(money, life.rate_saving)
    if solar_price is not None:
        saving = with_replacements(money.solar.replacements, life.solar_saving)
        parts["solar"] = solar_flow(
            money, saving_per_year=saving, installed_price=solar_price, output_frac=life.solar_frac
        )
    if installed_price is not None:
        parts["battery"] = _battery_part(money, life, installed_price, backed_up_kwh_per_year)
    return parts


def _battery_part(money: Money, life: Life, installed_price: float, backed_up_kwh_per_year: float) -> CashFlow:
    fade = with_replacements(money.replacements, life.capacity_frac)
    worth_now = discount_factors(money.discount_rate_frac, money.years + 1)[1:]
    shifted = with_replacements(money.replacements, life.discharge_kwh) @ worth_now / (fade @ worth_now)
    return battery_flow(
        money,
        saving_per_year=with_replacements(money.replacements, life.saving),
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
    roof = solar_left(run.house.site, years)
    first = _first_years(np.vstack([left, roof]), years, n_simulated)
    known = {year: _year_of(run, bills, groups, left[:, year], roof[year]) for year in first}
    near = max(NEAR_FRAC * abs(bills.saving), NEAR)
    while (year := _where_it_bends({at: one[0] for at, one in known.items()}, near)) is not None:
        known[year] = _year_of(run, bills, groups, left[:, year], roof[year])
    at = sorted(known)
    saving, discharge, solar = (np.interp(np.arange(years), at, [known[year][k] for year in at]) for k in range(3))
    return Life(
        capacity_frac=total / total[0],
        saving=saving,
        discharge_kwh=discharge,
        simulated=tuple(year + 1 for year in at),
        solar_frac=roof,
        solar_saving=solar,
        rate_saving=bills.tariff_effect,
    )


def solar_left(site: Site, years: int) -> np.ndarray:
    """Output of a new roof in each year, of that when new; 1 for one that stands already or without [money.solar]."""
    solar = None if site.money is None else site.money.solar
    if solar is None or site.solar is None or site.solar.existing:
        return np.ones(years)
    return age(years, fade_frac_per_year=solar.fade_frac_per_year).capacity_frac


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


def _year_of(run: HouseYear, bills: FourBills, groups, left, roof: float) -> tuple[float, float, float]:
    """Saving, discharged energy and saving by solar of a year with so much left of each group and of the roof."""
    discharged = lambda run: float(run.year.discharge_kw.sum() * run.hours.step_h)
    if roof == 1.0 and (left == 1.0).all():
        return bills.saving, discharged(run), bills.solar_effect
    frac = {group.name: float(share) for group, share in zip(groups, left, strict=True)}
    house = aged_house(run, frac)
    if roof < 1.0:
        house = replace(house, solar_kw=house.solar_kw * roof, solar_dc_kw=house.solar_dc_kw * roof)
    aged = walk_asked(ask(house, run.asked.prices) if roof < 1.0 else asked_again(run.asked, house))
    priced = lambda flows: price_bill(*flows, run.house.site.rate, run.hours).total
    without = bills.without_battery.total if roof == 1.0 else priced(without_battery_kw(aged))
    solar = bills.without_solar.total - without if bills.adds_solar else 0.0
    return without - priced((aged.year.import_kw, aged.year.export_kw)), discharged(aged), solar


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
    cells, import caps and plans that know the year do. What least-cost was found to run stays as it is.
    """
    if asked.plan == "least-cost":
        again = replace(ask_plan(house, asked.prices, asked.plan), settings=asked.settings, runs=asked.runs)
        again = replace(again, caps_kw=asked.caps_kw)
        return with_reserve(again, house.site.operation.reserve)
    if house.solar_dc_kw.any() or asked.plan not in PLANS_BY_CALENDAR:
        return ask(house, asked.prices)
    return with_reserve(replace(asked, house=house), house.site.operation.reserve)


def backed_up_kwh(run: HouseYear, unserved_kwh_per_year: float | None) -> float | None:
    """Energy of the carried circuits that a year's outages would take, less what stays unserved. [kWh/year]

    Returns None where the site names no interruptions or the unserved energy is not given.
    """
    outage = run.house.site.outage
    kinds = interruptions_of(outage)
    if not kinds or unserved_kwh_per_year is None:
        return None
    wanted = outage_load_kwh(run.house, outage.load_case, kinds)
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
    """Printed bills beside ours: the house as it is today, on the rate that it pays now.

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
    flows = without_solar_kw(run) if is_new_solar(site) else without_battery_kw(run)
    return replay_bill(bills, *flows, rate, run.hours)


def _part(name: str, flow: CashFlow) -> dict:
    """What one part of the change pays and costs."""
    return {
        "name": name,
        "price": float(-flow.investment[0]) + 0.0,
        "saving_first_year": float(flow.saving[1]),
        "npv": flow.npv,
        "irr": flow.irr,
        "paid_back_year": flow.paid_back_year,
    }


def _rows(flow: CashFlow, shares: dict[str, CashFlow]) -> list[dict]:
    """A row a year as plain numbers, the saving of each part beside the whole; year 0 is the installation."""
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
    columns = {part: getattr(flow, part) for part in parts}
    columns |= {f"saving_{name}": share.saving for name, share in shares.items()}
    plain = {part: (values + 0.0).tolist() for part, values in columns.items()}  # + 0.0: no minus zero
    return [{"year": year, **{part: plain[part][year] for part in plain}} for year in range(len(flow.net))]


def _notes(run: HouseYear, life: Life, missing: list[str], served: float | None):
    money = run.house.site.money
    if missing:
        names = ", ".join(f'"{name}"' for name in missing)
        yield f"no cash flow: no price (battery installed_price, or [quote]) for {names}"
    yield from _solar_notes(run.house.site)
    if len(life.simulated) > 1:
        which = ", ".join(map(str, life.simulated))
        between = "; the years between are interpolated" if len(life.simulated) < money.years else ""
        yield f"the saving of years {which} is simulated with the capacity that is left then{between}"
    else:
        yield "nothing fades: every year is as the first"
    yield f"prices of energy rise by {money.price_escalation_frac:.1%} a year from the second year on"
    if served is None:
        yield "cost_per_kwh_backed_up: not known, the energy that outages take is not given (outage.per_year, mean_h)"
    elif money.unserved_worth_per_kwh:
        yield "unserved_worth is of a first year; it is in neither the saving nor the cash flow"
    incentives = (*money.incentives, *(money.solar.incentives if money.solar else ()))
    if incentives:
        yield "incentives as stated in the site file: confirm programme, amount and last date"
    for one in incentives:
        if one.last_date is not None:
            yield f'incentive "{one.name}" is granted until {one.last_date}, as stated'


def _solar_notes(site: Site):
    """What the cash flow leaves out of solar, and where its saving stands."""
    solar, priced = site.solar, site.money.solar is not None
    if priced and (solar is None or solar.existing):
        yield "money.solar is not counted: " + ("there is no roof" if solar is None else "the roof stands already")
    if solar is None or solar.existing:
        return
    if not priced:
        yield "the cash flow leaves solar out: money.solar gives no price of the new roof"
    elif price_of_solar(site) is None:
        yield "the cash flow leaves solar out: money.solar.price_per_kw needs solar.dc_kw"
    elif solar.connected_at == "battery":
        yield "the roof works through the battery: what it saves stands under the battery, its price under solar"
