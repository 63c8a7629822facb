"""A house by its bills: each billing cycle's energy spread over its hours by a schedule, or by schedule and weather."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Annotated

import numpy as np
from pydantic import Field, model_validator

from profiles.hours import Hours
from profiles.loads.shapes import hourly_shape_kw
from profiles.meter.on_axis.degree_days import BALANCE_C, fit_text, fitted
from profiles.noun import BadInput, Noun

LABEL = "from bills"
MONTHS = 12
NotNegative = Annotated[float, Field(ge=0)]


class BillsLoad(Noun):
    """What the bills say, by month or by billing cycle."""

    monthly_kwh: tuple[NotNegative, ...] | None = Field(
        None, description="energy of the twelve months, January first [kWh]"
    )
    bills: str | None = Field(
        None, min_length=1, description='or a file of [[bill]] tables with "from", "to", "kwh" and "amount"'
    )
    shape: str = Field("whole-house", description="schedule of the library that spreads a cycle over its hours")
    floor_area_ft2: Annotated[float, Field(gt=0)] | None = Field(
        None, description='conditioned floor area of a "whole-house" [ft2]'
    )
    bedrooms: int | None = Field(None, ge=0, lt=100, description='bedrooms of a "whole-house"')
    degree_days: bool = Field(
        False, description="true: heating and cooling are told from the rest by the weather (needs [weather])"
    )

    @model_validator(mode="after")
    def _one_of_both(self) -> BillsLoad:
        if (self.monthly_kwh is None) == (self.bills is None):
            raise BadInput("must stand alone: either monthly_kwh or bills", key="monthly_kwh")
        if self.monthly_kwh is not None and len(self.monthly_kwh) != MONTHS:
            raise BadInput(
                "must hold twelve numbers, January first", key="monthly_kwh", value=f"{len(self.monthly_kwh)} of them"
            )
        return self

    def kw_on(self, hours: Hours, sources) -> np.ndarray:
        cycles = cycles_of_months(self.monthly_kwh, hours) if self.bills is None else sources.cycles(self, hours)
        home = {key: value for key in ("floor_area_ft2", "bedrooms") if (value := getattr(self, key)) is not None}
        schedule = hourly_shape_kw(self.shape, 1.0, hours, **home)
        temp_c = np.asarray(sources.temp_c(hours), dtype=float) if self.degree_days else None
        kw, text = bills_kw(cycles, hours, schedule, temp_c)
        sources.note(f"{LABEL}: {cycles.text}; {text}")
        return kw


@dataclass(frozen=True, eq=False)
class Cycles:
    """Billing cycles laid on the days of a year.

    Attributes
    ----------
    of_day : ndarray of int, shape (n_days,)
        Cycle that each local day belongs to.
    kwh : ndarray, shape (n_cycles,)
        Energy of the days of a cycle that lie in the year. [kWh]
    text : str
        What they are, in words.
    """

    of_day: np.ndarray
    kwh: np.ndarray
    text: str


def cycles_of_months(monthly_kwh, hours: Hours) -> Cycles:
    """Calendar months as cycles.

    Examples
    --------
    >>> from profiles.hours import hours_of_year
    >>> cycles_of_months([30.0] * 12, hours_of_year(2025, "UTC")).kwh.sum()
    np.float64(360.0)
    """
    first = np.searchsorted(hours.day, np.arange(hours.n_days))
    kwh = np.array(monthly_kwh, dtype=float)
    return Cycles(hours.month[first] - 1, kwh, f"twelve months, {kwh.sum():,.1f} kWh")


def cycles_of_bills(bills, hours: Hours, *, file: object = None) -> Cycles:
    """Printed bills laid on a year: its own dates first, then the same dates of the latest year that was billed.

    Parameters
    ----------
    bills : sequence of PrintedBill
        `from` is the read date that begins a cycle, `to` the one that ends it.
    hours : Hours

    Raises
    ------
    BadInput
        A bill without kWh, or dates that no bill covers.
    """
    spans = [(dt.date.fromisoformat(bill.from_), dt.date.fromisoformat(bill.to)) for bill in bills]
    energy = [_kwh_of(bill, file) for bill in bills]
    of_day = np.array([_cycle_of(hours.year, day, spans) for day in range(hours.n_days)])
    missing = np.flatnonzero(of_day < 0)
    if len(missing):
        date = dt.date(hours.year, 1, 1) + dt.timedelta(days=int(missing[0]))
        raise BadInput(
            f"covers {hours.n_days - len(missing)} of the {hours.n_days} dates of the year, the first that no bill "
            f"covers is {date:%d %B}",
            file=file,
            way_out="add the bills of the rest of a year, or give monthly_kwh",
        )
    days = np.bincount(of_day, minlength=len(bills))
    length = np.array([(end - begin).days for begin, end in spans])
    moved = int(sum(not _inside(hours.year, day, spans[of_day[day]]) for day in range(hours.n_days)))
    kwh = np.array(energy) * days / length
    text = f"{int((days > 0).sum())} billing cycles, {kwh.sum():,.1f} kWh"
    return Cycles(of_day, kwh, text + (f", {moved} days by the bills of other years" if moved else ""))


def latest_billed_year(bills) -> int:
    """The calendar year of which printed bills hold most days; of equals the latest."""
    days: dict[int, int] = {}
    for bill in bills:
        begin, end = dt.date.fromisoformat(bill.from_), dt.date.fromisoformat(bill.to)
        for year in range(begin.year, end.year + 1):
            first, last = max(begin, dt.date(year, 1, 1)), min(end, dt.date(year + 1, 1, 1))
            days[year] = days.get(year, 0) + max((last - first).days, 0)
    return max(days, key=lambda year: (days[year], year))


def _kwh_of(bill, file) -> float:
    if bill.kwh is None and bill.kwh_by_period is None:
        raise BadInput("is missing: the energy of the cycle", file=file, key=f"bill of {bill.from_}: kwh")
    return bill.kwh if bill.kwh is not None else sum(bill.kwh_by_period.values())


def _cycle_of(year: int, day: int, spans: list) -> int:
    """The bill that covers a date, of its own year or else of the latest; -1 where none does."""
    years = sorted({date.year for span in spans for date in span}, reverse=True)
    for one in (year, *years):
        date = _same_date(one, year, day)
        for k, (begin, end) in enumerate(spans):
            if begin <= date < end:
                return k
    return -1


def _same_date(other: int, year: int, day: int) -> dt.date:
    date = dt.date(year, 1, 1) + dt.timedelta(days=day)
    return date.replace(year=other, day=28) if (date.month, date.day) == (2, 29) else date.replace(year=other)


def _inside(year: int, day: int, span: tuple[dt.date, dt.date]) -> bool:
    return span[0] <= dt.date(year, 1, 1) + dt.timedelta(days=day) < span[1]


def bills_kw(cycles: Cycles, hours: Hours, schedule_kw: np.ndarray, temp_c=None) -> tuple[np.ndarray, str]:
    """Each cycle's energy spread over its hours, and how, in words.

    Parameters
    ----------
    cycles : Cycles
    hours : Hours
    schedule_kw : ndarray, shape (n_steps,)
        A year of the schedule at any scale. [kW]
    temp_c : ndarray, shape (n_steps,), optional
        Outdoor temperature: base, heating and cooling are told apart by degree days over the cycles. [degC]

    Returns
    -------
    kw : ndarray, shape (n_steps,)
        Sums to the cycle's energy over each cycle. [kW]
    text : str

    Notes
    -----
    Energy of a cycle is taken as ``a days + b HDD + c CDD`` with a, b, c >= 0 fitted over the cycles, degree days being
    degree hours over 24. Within a cycle a follows the schedule, b and c the degrees of the hour; the sum is then scaled
    to what was billed.

    Examples
    --------
    >>> from profiles.hours import hours_of_year
    >>> hours = hours_of_year(2025, "UTC")
    >>> kw, _ = bills_kw(cycles_of_months([31.0] * 12, hours), hours, np.ones(8760))
    >>> round(float(kw[:744].sum()), 9)
    31.0
    """
    of_step = cycles.of_day[hours.day]
    weight, text = schedule_kw, "the hours of each cycle by a typical schedule"
    if temp_c is not None:
        weight, text = _by_weather(cycles, hours, schedule_kw, temp_c)
    total = np.bincount(of_step, weights=weight, minlength=len(cycles.kwh)) * hours.step_h
    empty = (total <= 0.0) & (cycles.kwh > 0.0)
    if empty.any():
        raise BadInput(
            f"is zero in all of cycle {int(np.argmax(empty)) + 1}, which was billed {cycles.kwh[empty][0]:g} kWh",
            key="shape",
            way_out='choose another schedule, such as "whole-house"',
        )
    factor = np.divide(cycles.kwh, total, out=np.zeros(len(total)), where=total > 0)
    return weight * factor[of_step], text


def _by_weather(cycles: Cycles, hours: Hours, schedule_kw, temp_c) -> tuple[np.ndarray, str]:
    if not np.isfinite(temp_c).all():
        raise BadInput("needs a finite temperature on every step", key="temp_c")
    of_step = cycles.of_day[hours.day]
    heating, cooling = np.maximum(BALANCE_C - temp_c, 0.0), np.maximum(temp_c - BALANCE_C, 0.0)
    degrees = [np.ones(hours.n_steps), heating, cooling]
    terms = np.column_stack(
        [np.bincount(of_step, weights=one, minlength=len(cycles.kwh)) * hours.step_h / 24.0 for one in degrees]
    )
    billed = terms[:, 0] > 0
    fit, explained = fitted(terms[billed], cycles.kwh[billed])
    base = schedule_kw / schedule_kw.mean()
    weight = (fit[0] * base + fit[1] * heating + fit[2] * cooling) / 24.0
    shares = (fit * terms[billed].sum(axis=0)) / max(float((terms[billed] @ fit).sum()), 1e-12)
    text = (
        f"{fit_text(fit)}, fitted to {int(billed.sum())} cycles (R2 {explained:.2f}): base "
        f"{100 * shares[0]:.0f} %, heating {100 * shares[1]:.0f} %, cooling {100 * shares[2]:.0f} %; base by a typical "
        "schedule, heating and cooling by the temperature of the hour"
    )
    return weight, text
