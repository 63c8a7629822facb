"""Taxes in their order, and credits before and after them, on a month's charges."""

from __future__ import annotations

import datetime as dt

import numpy as np

from profiles.noun import BadInput
from profiles.rate.calendar import RateCalendar
from profiles.rate.credit import Credit
from profiles.rate.rate import Rate, taxes_in_order

A_CENT = 0.005
"""A credit exceeds a bill where it does by more than rounding."""


def credits_of(kinds: dict, rate: Rate, calendar: RateCalendar) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Taxes, credits and what carried credit the year's end finds unused.

    Parameters
    ----------
    kinds : dict
        Amount of each kind of line of a month, the minimum among them, each of shape (..., M). [currency]
    rate : Rate
    calendar : RateCalendar

    Returns
    -------
    tax, credit : ndarray, shape (..., n_taxes, M) and (..., n_credits, M)
        A credit is negative. [currency]
    left : ndarray, shape (...)
        [currency]

    Raises
    ------
    BadInput
        A credit that exceeds a bill and does not say what becomes of the rest.

    Notes
    -----
    Credits that are taxed come off before taxes, in the order of the rate, the others after them.
    """
    if not rate.credit:
        shape = kinds["export"].shape
        return taxes_on(kinds, rate), np.zeros((*shape[:-1], 0, shape[-1])), np.zeros(shape[:-1])
    total = sum(kinds.values())
    credit = np.zeros((*total.shape[:-1], len(rate.credit), total.shape[-1]))
    left = np.zeros(total.shape[:-1])
    rest = total
    for index, one in enumerate(rate.credit):
        if one.taxed:
            credit[..., index, :], more = _taken_off(one, kinds, rest, calendar)
            rest, left = rest + credit[..., index, :], left + more
    kinds = kinds | {"credit": credit.sum(axis=-2)}
    tax = taxes_on(kinds, rate)
    rest = rest + tax.sum(axis=-2)
    for index, one in enumerate(rate.credit):
        if not one.taxed:
            credit[..., index, :], more = _taken_off(one, kinds, rest, calendar)
            rest, left = rest + credit[..., index, :], left + more
    return tax, credit, left


def taxes_on(kinds: dict, rate: Rate) -> np.ndarray:
    """Each tax of each month, none on a negative sum, shape (..., n_taxes, M) [currency]."""
    shape = kinds["export"].shape
    tax = np.zeros((*shape[:-1], len(rate.tax), shape[-1]))
    names = [one.name for one in rate.tax]
    for index in taxes_in_order(rate.tax):
        one = rate.tax[index]
        base = sum(kinds[kind] for kind in (kinds if one.on is None else one.on) if kind in kinds)
        base = base + sum(tax[..., names.index(name), :] for name in one.on_taxes)
        tax[..., index, :] = one.frac * np.maximum(base, 0.0)
    return tax


def _taken_off(one: Credit, kinds: dict, rest, calendar: RateCalendar) -> tuple[np.ndarray, np.ndarray]:
    """What a credit takes off each month, negative, and what is left of it at the year's end."""
    wanted, room = _amount(one, kinds, calendar), np.maximum(rest, 0.0)
    none = np.zeros(rest.shape[:-1])
    if one.beyond_bill == "pay":
        return -wanted, none
    if one.beyond_bill == "lose":
        return -np.minimum(wanted, room), none
    if one.beyond_bill == "carry":
        return _carried(wanted, room)
    over = wanted - room > A_CENT
    if over.any():
        month = int(np.argmax(over.reshape(-1, over.shape[-1]).any(axis=0)))
        raise BadInput(
            f"exceeds the bill of {calendar.labels[month]} and may not take it below zero",
            key=f'rate.credit "{one.name}"',
            value=round(float(np.max(wanted[..., month])), 2),
            way_out='say what becomes of the rest: beyond_bill = "pay", "carry" or "lose"',
        )
    return -wanted, none


def _carried(wanted, room) -> tuple[np.ndarray, np.ndarray]:
    taken, bank = np.zeros(wanted.shape), np.zeros(wanted.shape[:-1])
    for month in range(wanted.shape[-1]):
        bank = bank + wanted[..., month]
        used = np.minimum(bank, room[..., month])
        taken[..., month], bank = -used, bank - used
    return taken, bank


def _amount(one: Credit, kinds: dict, calendar: RateCalendar) -> np.ndarray:
    """What a credit would take off each month, not negative, shape (..., M)."""
    shape = kinds["export"].shape
    on = np.isin(calendar.month_number, one.months or range(1, 13))
    if one.frac is not None:
        known = [kind for kind in kinds if kind != "credit"] if one.on is None else one.on
        base = sum((kinds[kind] for kind in known if kind in kinds), np.zeros(shape))
        return one.frac * np.maximum(base, 0.0) * on
    if one.per_month is not None:
        return np.broadcast_to(one.per_month * calendar.share * on, shape)
    return np.broadcast_to(one.amount * _times(one, calendar), shape)


def _times(one: Credit, calendar: RateCalendar) -> np.ndarray:
    """How many of its dates each billing month holds, shape (M,)."""
    first, ends = dt.date(calendar.hours.year, 1, 1), np.cumsum(calendar.days)
    days = np.array([(dt.date.fromisoformat(text) - first).days for text in one.dates])
    month = np.searchsorted(ends, days, side="right")
    return np.bincount(month[(days >= 0) & (month < len(ends))], minlength=len(ends))
