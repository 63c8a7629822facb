"""Money at different times: present value, internal rate of return, annuity, payback."""

from __future__ import annotations

import numpy as np

from profiles.noun import BadInput

LOWEST_IRR, HIGHEST_IRR = -0.99, 10.0


def npv(rate_frac: float, flows) -> float:
    """Net present value of yearly flows; the first is today's and is not discounted.

    Parameters
    ----------
    rate_frac : float
        Discount rate a year, above -1.
    flows : array_like, shape (n_years + 1,)
        Negative is paid. [currency]

    Notes
    -----
    .. math:: \\sum_t F_t (1 + r)^{-t}

    Examples
    --------
    >>> round(npv(0.1, [-100.0, 121.0]), 9)
    10.0
    """
    flows = _flows(flows)
    if not -1.0 < rate_frac < np.inf:
        raise BadInput("must be above -1", key="discount_rate_frac", value=rate_frac, way_out="write 0.05 for 5 %")
    return float(flows @ discount_factors(rate_frac, len(flows)))


def discount_factors(rate_frac: float, n: int) -> np.ndarray:
    """What one unit of currency in year 0, 1, ... is worth today, shape (n,).

    Examples
    --------
    >>> discount_factors(0.25, 3).tolist()
    [1.0, 0.8, 0.64]
    """
    return (1.0 + rate_frac) ** -np.arange(n, dtype=float)


def irr(flows) -> float | None:
    """The rate at which yearly flows are worth nothing today; None where there is none.

    Parameters
    ----------
    flows : array_like, shape (n_years + 1,)
        Negative is paid. [currency]

    Returns
    -------
    float or None
        A year; of several the one nearest to zero. Sought between -99 % and 1,000 %.

    Examples
    --------
    >>> round(irr([-100.0, 0.0, 121.0]), 9)
    0.1
    >>> irr([-100.0, -5.0]) is None
    True
    """
    from scipy.optimize import brentq

    flows = _flows(flows)
    if not (flows.min() < 0 < flows.max()):
        return None
    rates = np.expm1(np.linspace(np.log1p(LOWEST_IRR), np.log1p(HIGHEST_IRR), 2001))
    worth = np.array([npv(rate, flows) for rate in rates])
    at = np.flatnonzero(np.sign(worth[:-1]) * np.sign(worth[1:]) <= 0)
    roots = [brentq(npv, rates[k], rates[k + 1], args=(flows,), xtol=1e-14) for k in at]
    return min(roots, key=abs) if roots else None


def annuity_factor(rate_frac: float, years: int) -> float:
    """Present value of 1 a year, first paid in a year; its inverse is the yearly payment on a loan of 1.

    Notes
    -----
    .. math:: (1 - (1 + r)^{-n}) / r

    Examples
    --------
    >>> annuity_factor(0.0, 10)
    10.0
    >>> round(annuity_factor(0.25, 2), 9)
    1.44
    """
    return float(discount_factors(rate_frac, years + 1)[1:].sum())


def payback_y(flows) -> float | None:
    """Years until the sum of yearly flows is no longer negative, inside the year by proportion; None if never.

    Examples
    --------
    >>> payback_y([-100.0, 40.0, 40.0, 40.0])
    2.5
    >>> payback_y([-100.0, 1.0]) is None
    True
    """
    balance = np.cumsum(_flows(flows))
    if balance[0] >= 0:
        return 0.0
    paid = np.flatnonzero(balance >= 0)
    if not len(paid):
        return None
    year = int(paid[0])
    return year - 1 + float(-balance[year - 1] / (balance[year] - balance[year - 1]))


def _flows(flows) -> np.ndarray:
    array = np.asarray(flows, dtype=float)
    if array.ndim != 1 or not len(array) or not np.isfinite(array).all():
        raise BadInput("must be one finite amount a year", key="flows", value=flows, way_out="shape (n_years + 1,)")
    return array
