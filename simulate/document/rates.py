"""The same house on several rates side by side, without and with the battery, each under its best causal plan."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path

from profiles.noun import BadInput
from profiles.rate.rate import Rate
from profiles.rate.source import library_rates, resolve_rate
from simulate.bill.four_bills import FourBills
from simulate.house.asked import prices_of
from simulate.house.bills import bills_of
from simulate.house.house import House, house_of
from simulate.house.targets import causal_plans
from simulate.house.walked import HouseYear
from simulate.house.year import run_year
from simulate.site.site import Site


@dataclass(frozen=True)
class RateRow:
    """One rate: what the year costs on it without and with the battery, and what that changes against today.

    Attributes
    ----------
    rate, source : str
        Its name, and where it was read from; "rate" and "rate_today" are those of the site file.
    is_today : bool
        Is it the rate that is paid now?
    without_battery, with_battery : float
        Bills of the year, solar in both. [currency]
    plan : str
        The plan with the lowest bill of those that know no future.
    change_without, change_with : float
        Against today's bill: negative is less to pay. [currency]
    notes : tuple of str
        What the plan runs as, and what is likely wrong with the rate.
    """

    rate: str
    source: str
    is_today: bool
    without_battery: float
    with_battery: float
    plan: str
    change_without: float
    change_with: float
    notes: tuple[str, ...] = ()

    @property
    def saving(self) -> float:
        """What the battery takes off on this rate. [currency]"""
        return self.without_battery - self.with_battery


@dataclass(frozen=True)
class RatesBeside:
    """Rates side by side; the first is today's.

    Attributes
    ----------
    currency : str
    today : float
        What is paid now. [currency]
    rows : tuple of RateRow
    """

    currency: str
    today: float
    rows: tuple[RateRow, ...]

    @property
    def cheapest_without(self) -> RateRow:
        """The rate to be on without a battery; today's on a tie."""
        return min(self.rows, key=lambda row: (round(row.without_battery, 2), not row.is_today))

    @property
    def cheapest_with(self) -> RateRow:
        """The rate to be on with the battery; today's on a tie."""
        return min(self.rows, key=lambda row: (round(row.with_battery, 2), not row.is_today))

    def document(self) -> dict:
        """`rates` of the document."""
        return {
            "currency": self.currency,
            "today": self.today,
            "rows": [asdict(row) | {"saving": row.saving, "notes": list(row.notes)} for row in self.rows],
            "cheapest_without": self.cheapest_without.rate,
            "cheapest_with": self.cheapest_with.rate,
            "text": self.text,
        }

    @property
    def text(self) -> str:
        """Which rate to be on, without the battery and with it."""
        without, with_ = self.cheapest_without, self.cheapest_with
        return (
            f"Without the battery {self._advice(without, without.change_without)}; "
            f"with it {self._advice(with_, with_.change_with)}."
        )

    def _advice(self, row: RateRow, change: float) -> str:
        verb = "one stays with" if row.is_today else "one changes to"
        cents = round(change, 2)
        against = (
            "as much as today" if cents == 0 else f"{abs(cents):,.2f} {'more' if cents > 0 else 'less'} than today"
        )
        return f"{verb} {row.rate} ({against}, {self.currency} a year)"


def rates_beside(site: Site, rates: Sequence[str | Rate]) -> RatesBeside:
    """Price one house on several rates, without and with the battery.

    Parameters
    ----------
    site : Site
    rates : sequence of str or Rate
        Names of the library ("two_period" or "library:two_period"), paths of rate files, or rates. Today's rate
        (`rate_today`, else `rate`) stands first without being named; the site's own `rate` is "rate".

    Returns
    -------
    RatesBeside

    Raises
    ------
    BadInput
        No rate, one that is not there, another currency.

    Notes
    -----
    The reserve is that of the site; the plan is the one of those without foresight whose bill is lowest on that rate.

    Examples
    --------
    >>> from simulate.site.site import read_site
    >>> beside = rates_beside(read_site(), ["tiered"])
    >>> [row.rate for row in beside.rows][1], len(beside.rows)
    ('Two tiers (invented)', 2)
    """
    if not rates:
        raise BadInput("names no rate", key="--rates", value=list(rates), way_out="give names or files, with commas")
    today = site.rate if site.rate_today is None else site.rate_today
    house = house_of(site)
    named = [("rate" if site.rate_today is None else "rate_today", today)]
    for one in rates:
        source, rate = _read(site, one)
        if rate not in [known for _, known in named]:
            named.append((source, rate))
    rows, paid = [], None
    for source, rate in named:
        run, bills = _best(_on_rate(house, rate, today))
        paid = bills.today.total if paid is None else paid
        rows.append(_row(source, rate, rate is today, run, bills, paid))
    return RatesBeside(today.currency, paid, tuple(_told_apart(rows)))


def _told_apart(rows: list[RateRow]) -> list[RateRow]:
    """Rates of one name have their source beside it."""
    names = [row.rate for row in rows]
    return [replace(row, rate=f"{row.rate}, {row.source}") if names.count(row.rate) > 1 else row for row in rows]


def _read(site: Site, one: str | Rate) -> tuple[str, Rate]:
    """Where a rate is from, and the rate; a file may be named from here or from the site file's folder."""
    if isinstance(one, Rate):
        return one.name, resolve_rate(one, site.folder, site.file)
    if one in ("rate", "rate_today") and getattr(site, one) is not None:
        return one, getattr(site, one)
    source = f"library:{one}" if one in library_rates() else one
    folder = Path(".") if not source.startswith("library:") and Path(source).is_file() else site.folder
    try:
        return source, resolve_rate(Rate(source=source), folder)
    except BadInput as error:
        if error.key != "rate.source":
            raise
        known = ", ".join(library_rates())
        raise BadInput(error.rule, key="--rates", value=one, way_out=f"a file, or of the library: {known}") from None


def _on_rate(house: House, rate: Rate, today: Rate) -> House:
    """The house on a rate; today's stays what it is."""
    keys = {"rate": rate, "rate_today": None if rate == today else today}
    return replace(house, site=house.site.model_copy(update=keys))


def _best(house: House) -> tuple[HouseYear, FourBills]:
    """The year with the lowest bill of those whose plan knows no future; the simplest plan on a tie."""
    prices = prices_of(house)
    runs = [run_year(_with_plan(house, plan), prices) for plan in causal_plans(house, prices)]
    pairs = [(run, bills_of(run)) for run in runs]
    return min(pairs, key=lambda pair: round(pair[1].with_battery.total, 2))


def _with_plan(house: House, plan: str) -> House:
    operation = house.site.operation.model_copy(update={"plan": plan})
    return replace(house, site=house.site.model_copy(update={"operation": operation}))


def _row(source: str, rate: Rate, is_today: bool, run: HouseYear, bills: FourBills, paid: float) -> RateRow:
    without, with_ = bills.without_battery.total, bills.with_battery.total
    return RateRow(
        rate=rate.name,
        source=source,
        is_today=is_today,
        without_battery=without,
        with_battery=with_,
        plan=run.asked.plan,
        change_without=without - paid,
        change_with=with_ - paid,
        notes=(*run.asked.settings, *run.asked.prices.cautions),
    )


def rate_cells(beside: RatesBeside) -> list[tuple[str, ...]]:
    """A row of text for each rate, for terminal and report: changes are differences of printed bills."""
    paid, cents = round(beside.today, 2), lambda total: round(total, 2)
    change = lambda total: f"{round(cents(total) - paid, 2) + 0.0:+,.2f}"
    return [
        (
            f"{row.rate} (today)" if row.is_today else row.rate,
            f"{row.without_battery:,.2f}",
            change(row.without_battery),
            f"{row.with_battery:,.2f}",
            change(row.with_battery),
            row.plan,
        )
        for row in beside.rows
    ]
