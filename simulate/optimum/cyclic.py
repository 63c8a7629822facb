"""A year that ends as full as it begins: the best start of it, found on a convex function of one number."""

from __future__ import annotations

from collections.abc import Callable

MOST_ROUNDS = 40
"""Each halves what is left, or meets a corner: far more than a year's handful of corners needs."""
STEP_FRAC = 1e-6
"""Of the range, by which a slope is measured."""
FLAT = 1e-12
"""Slope below which a function is level. [money/kWh]"""


def lowest(cost_of: Callable[[float], float], low: float, high: float) -> tuple[float, float]:
    """Where a convex piecewise linear function is least, and its value there.

    Parameters
    ----------
    cost_of : callable
    low, high : float
        Ends of its range.

    Returns
    -------
    at, value : float

    Notes
    -----
    The tangents at the two ends of what is left meet below the function's least; where they meet the next tangent is
    laid (cutting planes in one dimension). On straight pieces it ends at a corner after as many rounds as there are.

    Examples
    --------
    >>> at, value = lowest(lambda x: max(3.0 - x, 0.5 * x), 0.0, 10.0)
    >>> round(at, 9), round(value, 9)
    (2.0, 1.0)
    """
    step = STEP_FRAC * (high - low)
    if not step > 0.0:
        return low, cost_of(low)
    values = {low: cost_of(low), high: cost_of(high)}
    fall, rise = (cost_of(low + step) - values[low]) / step, (values[high] - cost_of(high - step)) / step
    for _ in range(MOST_ROUNDS):
        if fall >= -FLAT or rise <= FLAT or high - low <= 2.0 * step:
            break
        at = (values[high] - values[low] + fall * low - rise * high) / (fall - rise)
        at = min(max(at, low + step), high - step)
        values[at], before, after = cost_of(at), cost_of(at - step), cost_of(at + step)
        left, right = (values[at] - before) / step, (after - values[at]) / step
        if left <= FLAT and right >= -FLAT:
            break
        if right < 0.0:
            low, fall = at, right
        else:
            high, rise = at, left
    best = min(values, key=values.get)
    return best, values[best]
