"""What exports cancel: within a month, from month to month as kWh or as money, and at the true-up."""

from __future__ import annotations

import numpy as np

from profiles.rate.calendar import RateCalendar
from profiles.rate.rate import Rate


def billed_kwh(bought, sold, rate: Rate, calendar: RateCalendar):
    """kWh that are priced as energy, kWh left in the bank at the year's end and kWh settled, by month."""
    none = np.zeros(bought.shape[:-1])
    if rate.export.method != "net-metering":
        return bought, none[..., 0], none
    if rate.export.unused_rule != "carry-kwh":
        return bought - sold, none[..., 0], none
    if not calendar.pieces.is_plain:
        return _banked_by_period(bought, sold, rate, calendar)
    return _banked(bought, sold, rate, calendar)


def netted_over_month(bought, sold, calendar: RateCalendar) -> tuple[np.ndarray, np.ndarray]:
    """Import and export that are left of each period; pieces that differ in dates share what is left of theirs."""
    pieces = calendar.pieces
    if pieces.is_plain:
        return np.maximum(bought - sold, 0.0), np.maximum(sold - bought, 0.0)
    _, of_piece = np.unique(np.stack([pieces.base, pieces.event]), axis=1, return_inverse=True)
    joined = lambda kwh: np.stack([kwh[..., of_piece == k].sum(axis=-1) for k in range(of_piece.max() + 1)], axis=-1)
    both = joined(bought), joined(sold)
    share = lambda kwh, whole: kwh / np.where(whole > 0.0, whole, 1.0)[..., of_piece]
    left = np.maximum(both[0] - both[1], 0.0), np.maximum(both[1] - both[0], 0.0)
    return left[0][..., of_piece] * share(bought, both[0]), left[1][..., of_piece] * share(sold, both[1])


def _banked_by_period(bought, sold, rate: Rate, calendar: RateCalendar):
    """kWh are banked by the rate's own periods; what is billed of one is shared by what its pieces bought."""
    base = calendar.pieces.base
    joined = lambda kwh: np.stack([kwh[..., base == b].sum(axis=-1) for b in range(int(base.max()) + 1)], axis=-1)
    whole = joined(bought)
    billed, left, settled = _banked(whole, joined(sold), rate, calendar)
    part = bought / np.where(whole > 0.0, whole, 1.0)[..., base]
    return billed[..., base] * part, left, settled


def _banked(bought, sold, rate: Rate, calendar: RateCalendar):
    none = np.zeros(bought.shape[:-1])
    net, bank = bought - sold, np.zeros(bought[..., 0, :].shape)
    billed, settled = np.zeros(net.shape), none
    for month in range(calendar.n_months):
        used = np.minimum(bank, np.maximum(net[..., month, :], 0.0))
        billed[..., month, :] = np.maximum(net[..., month, :], 0.0) - used
        bank = bank - used + np.maximum(-net[..., month, :], 0.0)
        if settles(rate, calendar, month):
            settled[..., month] = bank.sum(axis=-1)
            bank = np.zeros(bank.shape)
    return billed, bank.sum(axis=-1), settled


def settles(rate: Rate, calendar: RateCalendar, month: int) -> bool:
    """Is credit settled at the end of this billing month? With two cycles in one month, at the last of them."""
    numbers = calendar.month_number
    last = month + 1 == len(numbers) or numbers[month + 1] != numbers[month]
    return rate.export.true_up_month == numbers[month] and last


def carried_credit(net, rate: Rate, calendar: RateCalendar):
    """Credit put away or used each month, shape (..., M), and what is left at the year's end."""
    carried, bank = np.zeros(net.shape), np.zeros(net.shape[:-1])
    if rate.export.unused_rule == "lose":
        return np.maximum(-net, 0.0), bank
    if rate.export.unused_rule != "carry":
        return carried, bank
    for month in range(calendar.n_months):
        used = np.minimum(bank, np.maximum(net[..., month], 0.0))
        put_away = np.maximum(-net[..., month], 0.0)
        carried[..., month] = put_away - used
        bank = np.zeros(bank.shape) if settles(rate, calendar, month) else bank + put_away - used
    return carried, bank


def surplus_since_true_up(bought, sold, rate: Rate, calendar: RateCalendar) -> np.ndarray:
    settled, since = np.zeros(bought.shape), np.zeros(bought.shape[:-1])
    for month in range(calendar.n_months):
        since = since + sold[..., month] - bought[..., month]
        if settles(rate, calendar, month):
            settled[..., month] = np.maximum(since, 0.0)
            since = np.zeros(since.shape)
    return settled
