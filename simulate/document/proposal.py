"""What the client's proposal says beyond the rest of the document: whole units of money, months, circuits."""

from __future__ import annotations

import hashlib
from importlib import metadata

import numpy as np

from simulate.bill.four_bills import FourBills
from simulate.document.answers import gravest_first
from simulate.document.money_answer import change_text, printed_steps
from simulate.document.uncertainty import Ranges, span_of
from simulate.document.worth import Worth
from simulate.house.ride import RideThrough
from simulate.physics.outages.spread import nine_in_ten
from simulate.site.pools import leg_of
from simulate.site.site import Site, site_toml

SOLAR_AT = {"main-panel": "at the main panel", "sub-panel": "at the sub-panel", "battery": "at the battery units"}
START = {"as-run": "as charged as the rate leaves them", "full": "full"}


def proposal_of(ride: RideThrough, bills: FourBills, worth: Worth | None, hardest_month: int, notes: list[str]) -> dict:
    """The `proposal` of the document.

    Parameters
    ----------
    ride : RideThrough
    bills : FourBills
    worth : Worth or None
    hardest_month : int
        1 to 12, that of `answer.hours`.
    notes : list of str
        What the series of the house rest on; the first of them is among the five lines.

    Returns
    -------
    dict
        job, valid_until, site_sha256, version, steps and change in whole units of currency that add up, price,
        hours_by_month [h], circuits, units, assumed (five lines); `range` is filled in where ranges are worked out.
    """
    site = ride.house.site
    steps = printed_steps(bills, 0)
    return {
        "job": site.job.model_dump(),
        "valid_until": site.job.valid_until,
        "site_sha256": hashlib.sha256(site_toml(site).encode("utf-8")).hexdigest(),
        "version": metadata.version("keeplit"),
        "steps": [{"name": name, "total": total, "change": change} for name, total, change in steps],
        "change": steps[-1][1] - steps[0][1],
        "change_text": change_text(bills, 0),
        "price": _price(worth),
        "worth": _worth(worth),
        "range": None,
        "hours_by_month": [nine_in_ten(ride.in_months((month,))) for month in range(1, 13)],
        "circuits": _circuits(ride, hardest_month),
        "units": [_unit(site, group) for group in site.battery if group.count],
        "n_units": sum(group.count for group in site.battery),
        "usable_kwh": float(sum(group.count * group.unit_kwh for group in site.battery)),
        "n_circuits": sum(circuit.on == "sub-panel" for circuit in site.circuit),
        "main_breaker_a": site.service.main_breaker_a,
        "solar_kw": None if site.solar is None else site.solar.dc_kw,
        "solar_at": None if site.solar is None else SOLAR_AT[site.solar.connected_at],
        "assumed": _assumed(ride, bills, notes),
    }


def _price(worth: Worth | None) -> dict | None:
    """Whole units of currency: what the work costs, what others pay of it, what is left to pay."""
    if worth is None or worth.flow is None:
        return None
    installed = round(-float(worth.flow.investment[0]))
    others = round(float(worth.flow.incentive.sum()))
    return {"installed": installed, "incentives": others, "left": installed - others}


def _worth(worth: Worth | None) -> dict | None:
    """What the whole change is worth over the years, the present value in whole units of currency."""
    if worth is None or worth.flow is None:
        return None
    return {
        "npv": round(worth.flow.npv),
        "irr": worth.flow.irr,
        "paid_back_year": worth.flow.paid_back_year,
        "years": worth.money.years,
        "discount_rate_frac": worth.money.discount_rate_frac,
    }


def range_of(ranges: Ranges) -> dict:
    """Low, stated and high of saving and present value in whole units of currency and of the hours; None where none."""
    whole = lambda rows: [round(value) for value in span_of(rows)] if rows else None
    hours = list(span_of(ranges.hours)) if ranges.hours else None
    return {"saving": whole(ranges.saving), "hours": hours, "npv": whole(ranges.npv)}


def _circuits(ride: RideThrough, month: int) -> list[dict]:
    """Circuits on the sub-panel, what is lost first with the gravest consequence on top; hours of the hardest month."""
    house, at = ride.house, ride.house.hours.month == month
    position = {house.site.circuit[index].name: c for c, index in enumerate(house.carried.tolist())}
    rows = []
    for circuit in gravest_first(circuit for circuit in house.site.circuit if circuit.on == "sub-panel"):
        hours = 0.0
        if circuit.name in position:
            pools = np.flatnonzero(house.share[:, position[circuit.name]] > 0.0)
            dark_h = np.minimum(ride.dark.dark_h[:, pools].min(axis=1), ride.horizon_h)
            hours = nine_in_ten(dark_h[at])
        rows.append(
            {
                "name": circuit.name,
                "leg": leg_of(circuit, house.pools),
                "if_lost": circuit.if_lost,
                "hours": hours,
                "is_carried": circuit.name in position,
            }
        )
    return rows


def _unit(site: Site, group) -> dict:
    return {
        "name": group.name,
        "count": group.count,
        "leg": group.leg,
        "usable_kwh": group.unit_kwh,
        "continuous_kw": group.unit_kw(site.service.system),
        "charging_a": group.charging_circuit.breaker_a,
        "charging_v": group.charging_circuit.volts,
    }


def _assumed(ride: RideThrough, bills: FourBills, notes: list[str]) -> list[str]:
    """What a reader must know before the numbers, in five lines."""
    site = ride.house.site
    today = site.rate_today.name if site.rate_today is not None else f"{site.rate.name} (none stated for today)"
    sun = "none" if site.solar is None else f"{site.solar.dc_kw or 0:g} kW {SOLAR_AT[site.solar.connected_at]}"
    weather = next((note for note in notes if note.startswith("weather")), "weather: none is used")
    start = START.get(str(site.outage.start_soc), f"at {site.outage.start_soc} of full")
    return [
        f"Outages: one from every step of {ride.house.hours.year}, {len(ride.hours):,} in all; they overlap. The units "
        f"are {start} when the power fails; loads are those of the {ride.load_case} case.",
        f"Rates: today {today}; then {site.rate.name}. Prices are in {bills.with_battery.currency} and will change.",
        f"Use: {ride.house.load_kw.sum() * ride.house.hours.step_h:,.0f} kWh a year, of it "
        f"{ride.house.backed_up_kw.sum() * ride.house.hours.step_h:,.0f} kWh on the sub-panel. Solar: {sun}.",
        weather[0].upper() + weather[1:] + ".",
        f"Power is the mean of {ride.house.hours.step_min}-minute steps. Units are as new in the first year and lose "
        "capacity with age.",
    ]
