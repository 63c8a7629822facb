"""The figures of a cash flow as they are printed, and the sentence about it, whose every number is one of them."""

from __future__ import annotations

from collections.abc import Iterator

from simulate.bill.bill import rounded_to_add
from simulate.bill.discount import npv
from simulate.document.worth import Worth

NAMES = {"rate": "the rate", "solar": "solar", "battery": "the battery", "loan": "the loan"}


def money_lines(worth: Worth, document: dict) -> Iterator[tuple[str, str]]:
    """Name and text of each figure, for terminal and report.

    Parameters
    ----------
    worth : Worth
    document : dict
        `worth.document()`.
    """
    yield from _price_lines(worth, document)
    yield from _saving_lines(worth, document)
    if worth.flow is not None:
        yield from _present_lines(worth)
        yield "internal rate of return", _return_text(document["irr"])
        simple = document["simple_payback_y"]
        yield "simple payback", "never" if simple is None else f"{simple:,.1f} years"
        yield "paid back, interest counted", _paid_back(document["paid_back_year"], worth.money.years)
        ratio = document["savings_to_investment"]
        yield "savings to investment", "not defined" if ratio is None else f"{round(ratio, 2) + 0.0:.2f}"
        yield "cost of a kWh shifted", _amount(document["cost_per_kwh_shifted"])
        yield "cost of a kWh backed up", _amount(document["cost_per_kwh_backed_up"])
    yield "warranty ends", warranty_text(worth)


def paid_text(worth: Worth) -> str:
    """Whether the change pays for itself, in one sentence, with the years and the discount rate that it holds for."""
    flow, years = worth.flow, worth.money.years
    if flow is None:
        return "Without the price of the units it cannot be said whether the change pays for itself."
    back = _paid_back(flow.paid_back_year, years)
    back = f"paid back {back}" if flow.paid_back_year is not None else back.replace("not", "not paid back")
    returns = "no rate of return" if flow.irr is None else f"rate of return {_return_text(flow.irr)}"
    text = (
        f"over {years} year{'s' * (years > 1)}, at a discount rate of {worth.money.discount_rate_frac:.1%}, "
        f"the change is worth {flow.npv:+,.2f} {worth.currency} today: {back}, {returns}."
    )
    if flow.npv < 0.0:
        return f"Bought for outages: {text}"
    return f"Modelled: {text} {_battery_text(worth)}Prices, use and rates will differ."


def _battery_text(worth: Worth) -> str:
    """Said where the change pays and the battery in it does not."""
    own = worth.parts["battery"].npv
    if len(worth.parts) == 1 or own >= 0.0:
        return ""
    return f"The battery in it is worth {own:+,.2f} {worth.currency}: bought for outages. "


def apart_text(worth: Worth) -> str:
    """What the energy served in outages is worth to the client; it stands apart from the money."""
    unit = worth.currency
    return (
        f"Apart from all this: {worth.backed_up_kwh:,.1f} kWh a year served in outages, worth "
        f"{worth.unserved_worth:,.0f} {unit} a year at {worth.money.unserved_worth_per_kwh:g} {unit}/kWh as stated."
    )


def warranty_text(worth: Worth) -> str:
    """When the first warranty ends and by which of its terms."""
    if worth.warranty.by == "none":
        return "not stated"
    words = {"years": "years", "throughput": "throughput", "retention": "loss of capacity"}
    by = words[worth.warranty.by]
    return f"after {worth.warranty.year:.1f} years, ended by {by} first ({worth.warranty_of})"


def _price_lines(worth: Worth, document: dict) -> Iterator[tuple[str, str]]:
    yield "battery units, installed", _amount(document["installed_price"])
    yield "panel, labour, permit", _amount(document["other_installed_price"])
    if "solar" in worth.parts:
        yield "solar, installed", _amount(document["solar_price"])
    if worth.flow is not None and worth.flow.incentive.any():
        yield "incentives, as stated", _amount(float(worth.flow.incentive.sum()))


def _saving_lines(worth: Worth, document: dict) -> Iterator[tuple[str, str]]:
    savings = {name: float(part.saving[1]) for name, part in worth.parts.items()}
    savings["battery"] = document["saving_first_year"]
    for name, saving in savings.items():
        yield f"off the bill in year 1 by {NAMES[name]}", f"{saving + 0.0:+,.2f}"
    last = f"by the battery in year {worth.money.years}, prices of today, {worth.capacity_by_year[-1]:.0%} capacity"
    yield last, f"{document['saving_by_year'][-1]:+,.2f}"


def _present_lines(worth: Worth) -> Iterator[tuple[str, str]]:
    """The present value of the whole, and of each part and the loan where there are several, adding up."""
    flow, rate = worth.flow, worth.money.discount_rate_frac
    yield f"net present value at {rate:.1%}", f"{flow.npv:+,.2f}"
    values = {name: part.npv for name, part in worth.parts.items()}
    if flow.loan.any():
        values["loan"] = npv(rate, flow.loan)
    if len(values) > 1:
        for name, value in zip(values, rounded_to_add(values.values()), strict=True):
            yield f"of it {NAMES[name]}", f"{value + 0.0:+,.2f}"


def _amount(value: float | None) -> str:
    return "not known" if value is None else f"{round(value, 2) + 0.0:,.2f}"  # no minus zero


def _return_text(irr: float | None) -> str:
    return "none" if irr is None else f"{irr:.1%} a year"


def _paid_back(year: int | None, years: int) -> str:
    """When the discounted sum is above zero for good."""
    if year is None:
        return f"not within {years} year{'s' * (years > 1)}"
    return f"in year {year}" if year else "from the start"
