"""The whole job on one site as one document that terminal, JSON, report and tables all read."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from html import escape

import numpy as np

from simulate.bill.four_bills import FourBills
from simulate.bill.replay import ReplayedBill
from simulate.document.aged import at_end_of_warranty
from simulate.document.answers import answer_of
from simulate.document.money_answer import bound_text
from simulate.document.money_lines import paid_text
from simulate.document.observed import observed
from simulate.document.plans import plan_rows, rate_transfer_rows, switches_a_year
from simulate.document.proposal import proposal_of, range_of
from simulate.document.rates import RatesBeside
from simulate.document.switch_off import SwitchOff, switch_off_of
from simulate.document.timeline import who_goes_dark
from simulate.document.uncertainty import Ranges, ranges_of
from simulate.document.worth import PLANS_BY_CALENDAR, Worth, worth_of
from simulate.house.asked import Asked
from simulate.house.bills import bills_of
from simulate.house.bound import Bound, bound_of
from simulate.house.caps import limit_document
from simulate.house.frontier import Frontier, frontier_of
from simulate.house.outage_met import outage_kw
from simulate.house.recharge import recharge_of
from simulate.house.refuel import refuel_of
from simulate.house.reliability import reliability_of, second_outage
from simulate.house.ride import RideThrough, ride_through
from simulate.house.storm import storm_stated
from simulate.house.walked import HouseYear
from simulate.house.weather_years import weather_years
from simulate.house.year import run_year
from simulate.panel.checks.check import check_panel
from simulate.site.cautions import ONE_YEAR, SHARED_NEUTRAL, cautions_of
from simulate.site.pools import solar_returns
from simulate.site.site import Site, defaults_used, read_site

QUICK_STEPS = 36_000
"""Steps of a year up to which a report works out its ranges unasked, some eighty years of it: about a second for hours,
three for quarter-hours."""


def bill_document(bills: FourBills, bound: Bound, asked: Asked) -> dict:
    """The bill part of the study document."""
    return {
        "currency": bills.with_battery.currency,
        "today": bills.today.total,
        "without_battery": bills.without_battery.total,
        "with_battery": bills.with_battery.total,
        "steps": bills.document(),
        "change": bills.change,
        "saving": bills.saving,
        "tariff_effect": bills.tariff_effect,
        "lines": [{"bill": name, **vars(line)} for name, bill in bills.apart.items() for line in bill.lines],
        "bound": bound.saving,
        "best_net": bound.net,
        "bound_method": bound.method,
        "captured_frac": bound.captured_frac,
        "bound_text": bound_text(bound, bills.with_battery.currency),
        "by_month": bills.by_month(),
        "demand_limit": limit_document(asked),
        "worth_of_more": None if bound.worth_of_more is None else vars(bound.worth_of_more),
        "notes": [*bills.with_battery.notes, *bound.notes],
    }


@dataclass(frozen=True, eq=False)
class Study:
    """The whole job on one site.

    Attributes
    ----------
    site : Site
    run : HouseYear
    ride : RideThrough
        The site's load case; `storm` is the storm case, a row of its own.
    bills : FourBills
    weather : tuple of str
        Weather files of other years, for `ranges`.
    thorough : bool
        `ranges` are worked out however long a year takes.
    beside : RatesBeside, optional
        The same house on other rates, for the report.
    replayed : tuple of ReplayedBill
        Printed bills held against ours, for the report.
    """

    site: Site
    run: HouseYear
    ride: RideThrough
    storm: RideThrough
    bills: FourBills
    weather: tuple[str, ...] = ()
    thorough: bool = False
    replayed: tuple[ReplayedBill, ...] = ()
    beside: RatesBeside | None = None

    @cached_property
    def ranges(self) -> Ranges | None:
        """How far uncertain inputs move the results; None where that takes long and the study is not `thorough`."""
        quick = self.run.hours.n_steps <= QUICK_STEPS and self.run.asked.plan in PLANS_BY_CALENDAR
        return ranges_of(self.run, weather=self.weather) if quick or self.thorough or self.weather else None

    @cached_property
    def bound(self) -> Bound:
        """What no plan can beat, and where the plan stands."""
        return bound_of(self.run, self.bills)

    @cached_property
    def frontier(self) -> Frontier:
        """What each reserve costs and lasts, for the plan and the best possible; seconds, so only where asked for."""
        return frontier_of(self.run)

    @cached_property
    def reliability(self) -> dict | None:
        """Interruptions a year and what is ridden through; None where the site names no interruptions."""
        return reliability_of(self.ride, [self.storm])

    @cached_property
    def worth(self) -> Worth | None:
        """Cash flow and worth over the years; None where the site has no [money]."""
        case = None if self.reliability is None else self.reliability["cases"].get(self.ride.load_case)
        return worth_of(self.run, self.bills, unserved_kwh_per_year=case and case["unserved_kwh_per_year"])

    @cached_property
    def weather_years(self) -> dict | None:
        """Hours and bills over the weather years that the site asks for; None without weather."""
        return weather_years(self.ride)

    @cached_property
    def medical(self) -> dict | None:
        """`medical_of` the year."""
        return medical_of(self.run, self.aged)

    @cached_property
    def aged(self) -> RideThrough:
        """Every outage with units at the end of their warranty."""
        return ride_through(at_end_of_warranty(self.run))

    @cached_property
    def switch_off(self) -> SwitchOff:
        """The owner's list: what to switch off in an outage, and what each step gains."""
        return switch_off_of(self.ride)

    @cached_property
    def answer(self) -> dict:
        """The sentences that somebody acts on: what must be put right, hours, money."""
        return answer_of(self.ride, self.aged, self.findings, self.bills)

    @cached_property
    def plans(self) -> list[dict]:
        """A row for each plan that the site can run without knowing the future."""
        return plan_rows(self.run, self.bills)

    @cached_property
    def rate_transfer(self) -> list[dict] | None:
        """What each circuit that is switched for the rate takes off the bill, and its breaks."""
        return rate_transfer_rows(self.run)

    @cached_property
    def findings(self) -> tuple:
        """Findings of the panel checks."""
        return check_panel(self.site, simulated=observed(self.run, switches_a_year(self.run)))

    @cached_property
    def document(self) -> dict:
        """The document of `keeplit study --json`; money and kW are unrounded, ranges are in `summary`."""
        house = self.run.house
        outage = self.ride.document()
        outage["storm"] = {key: value for key, value in self.storm.document().items() if key in ("hours", "by_season")}
        outage["storm"]["stated"] = storm_stated(self.site)
        outage["recharge"] = recharge_of(self.run)
        outage["medical"] = self.medical
        outage["reliability"] = self.reliability
        outage["generator"] = refuel_of(self.ride)
        outage["second_outage"] = second_outage(self.ride)
        outage["switch_off"] = self.switch_off.document()
        choice = self.run.asked.choice
        return {
            "site": self.site.site.name,
            "steps": house.hours.n_steps,
            "step_h": house.hours.step_h,
            "answer": self.answer,
            "energy_kwh": self.run.energy_kwh(),
            "bill": bill_document(self.bills, self.bound, self.run.asked) | {"rate_transfer": self.rate_transfer},
            "outage": outage,
            "frontier": None if choice is None else choice.document(self.run.asked.reserve),
            "panel": {
                "findings": [vars(finding) for finding in self.findings],
                "not_assessed": sum(f.verdict == "not-assessed" for f in self.findings),
                "fail": sum(f.verdict == "fail" for f in self.findings),
            },
            "plans": self.plans,
            "money": None if self.worth is None else self.worth.document() | {"text": paid_text(self.worth)},
            "ranges": None,
            "weather_years": self.weather_years,
            "assumptions": assumptions_of(self.run),
            "cautions": self.cautions,
            "proposal": self.proposal,
        }

    @cached_property
    def proposal(self) -> dict:
        """What the client's proposal says beyond the rest of the document."""
        month, notes = self.answer["hours"]["month"], assumptions_of(self.run)
        return proposal_of(self.ride, self.bills, self.worth, month, notes)

    @property
    def summary(self) -> dict:
        """The document with `ranges` worked out: what `--out` writes, and what `--json` prints in the same run."""
        if self.ranges is None:
            return self.document
        proposal = self.proposal | {"range": range_of(self.ranges)}
        return self.document | {"ranges": self.ranges.document(), "proposal": proposal}

    @cached_property
    def cautions(self) -> list[str]:
        """The cautions of the site, a shared neutral that is wired wrong above all."""
        wrong = [f for f in self.findings if f.check == "shared-neutral" and "do not energi" in f.text.lower()]
        return [SHARED_NEUTRAL] * bool(wrong) + cautions_for(self.run)

    def _repr_html_(self) -> str:
        lines = "".join(f"<p>{escape(text)}</p>" for text in self.answer["text"])
        return lines + self.ride._repr_html_()


def medical_of(run: HouseYear, aged: RideThrough | None = None) -> dict | None:
    """Medical circuits and their shortest hours of the year at end-of-warranty capacity; None without one."""
    site, never_carried = run.house.site, run.house.never_carried
    names = [circuit.name for circuit in run.house.circuits if circuit.is_medical]
    names += [circuit.name for circuit in site.circuit if circuit.is_medical and circuit.name in never_carried]
    if not names:
        return None
    aged = ride_through(at_end_of_warranty(run)) if aged is None else aged
    return {
        "circuits": names,
        "hours_min": 0.0 if set(names) & set(never_carried) else float(aged.hours.min()),
        "break_ms": site.subpanel.transfer.break_ms,
    }


def storm_of(ride: RideThrough) -> RideThrough:
    """The outages of the storm case: the same ones where storms change no load."""
    if np.array_equal(outage_kw(ride.house, "storm"), outage_kw(ride.house, ride.load_case)):
        return replace(ride, load_case="storm")
    return ride_through(ride.run, load_case="storm")


def assumptions_of(run: HouseYear) -> list[str]:
    """Every default that was used and every note that arose, one line each."""
    prices = run.asked.prices
    lines = [*defaults_used(run.house.site), *run.house.notes, *run.notes, *prices.notes]
    if prices.holidays:
        lines.append("holidays that count as weekend: " + ", ".join(str(day) for day in prices.holidays))
    return list(dict.fromkeys([*lines, ONE_YEAR.format(n=run.hours.n_steps)]))


def cautions_for(run: HouseYear) -> list[str]:
    """The cautions of a house and its year, the loudest first."""
    site, switches = run.house.site, switches_a_year(run)
    texts = cautions_of(
        site, returns=solar_returns(site), switches_a_year=max(switches.values(), default=0), switched=tuple(switches)
    )
    return list(dict.fromkeys([*run.house.cautions, *run.asked.prices.cautions, *texts]))


def outage_document(ride: RideThrough, at: str | None = None) -> dict:
    """The document of `keeplit outage --json`; with `at` also the one outage that begins at that local time."""
    house = ride.house
    document = {
        "site": house.site.site.name,
        "steps": house.hours.n_steps,
        "step_h": house.hours.step_h,
        "answer": answer_of(ride, ride_through(at_end_of_warranty(ride.run)), check_panel(house.site)),
        "outage": {**ride.document(), "recharge": recharge_of(ride.run)},
        "assumptions": assumptions_of(ride.run),
        "cautions": cautions_for(ride.run),
    }
    if at is not None:
        start = house.hours.index_of(at, key="--at")
        document["one"] = {
            "asked_local": at,
            "start_local": house.hours.local_text[start],
            "soc_kwh": float(ride.soc_kwh[:, start].sum()),
            "thrown_after_h": float((ride.begin[start] - start) % house.hours.n_steps * house.hours.step_h),
            "hours": float(ride.hours[start]),
            "censored": bool(ride.censored[start]),
            "first_lost": ride.name_of(int(ride.first_lost[start])),
            "why": str(ride.why[start]),
            "circuits": who_goes_dark(ride, start),
        }
    return document


def study(site: Site | None = None) -> Study:
    """Do the whole job on one site: the year, every outage, the bills.

    Parameters
    ----------
    site : Site, optional
        The embedded demo site without one.

    Examples
    --------
    >>> study().document["steps"]
    8760
    """
    site = read_site() if site is None else site
    run = run_year(site)
    ride = ride_through(run)
    return Study(site, run, ride, storm_of(ride), bills_of(run))
