"""Targets that cost least on average over what the past makes likely: a good operator who does not know the future."""

from __future__ import annotations

from math import inf

import numpy as np

from profiles.noun import BadInput
from simulate.optimum.expected import Terms, expected_targets
from simulate.optimum.forecast import Calendar
from simulate.optimum.programme import charge_limit_kw, number, series
from simulate.optimum.scenarios import PricesAhead, Scenarios, published, scenarios_of
from simulate.physics.pool import Pool, works_in_parallel


def least_cost_targets(
    load_kw, reach_kw, solar_kw, buy_per_kwh, sell_per_kwh, pool: Pool, *, calendar: Calendar, floor_kwh,
    step_h=1.0, dc_kw=0.0, charge_ok=None, day_one=None, **options,
):  # fmt: skip
    """Targets of an operator who weighs, in each step, every likely course of the next days.

    Parameters
    ----------
    load_kw, reach_kw, solar_kw, buy_per_kwh, sell_per_kwh, pool, floor_kwh, step_h, dc_kw, charge_ok
        As `best_targets`; of load, sun and what may be switched only the past is used. Any prices.
    calendar : Calendar
        From `calendar_of`.
    day_one : array_like, shape (n_steps, 4), optional
        Targets of the steps that have no past; unless given they store the sun and serve down to the floor. [kWh DC]
    **options
        `wear_per_kwh`, `export` as `best_targets`; `from_utility`, whether the utility may charge; `cap_kw`, a cap on
        the import of each step, and `over_per_kwh`, what a kWh above it costs; `ahead`, a `PricesAhead`;
        `scenarios`, where they are known.

    Returns
    -------
    ndarray, shape (n_steps, 4)
        [kWh DC]

    Raises
    ------
    BadInput
        A series of another length, NaN or out of range.

    Notes
    -----
    One chain is a past day's hours from now on and the days after it, at the prices ahead; its cost-to-go is the exact
    convex one. The mean over the chains says what one kWh more in store is worth at every state, and so the step's
    thresholds. Where selling is dearer than buying, or charging and serving at once would pay, the two are taken as
    equal. A mean forecast would not do: a kWh that finds no room is lost at the export price, one that is missing
    costs the retail price, and only an average of costs sees that.

    Examples
    --------
    Days of a cheap and a dear half: fill in the one, serve in the other:

    >>> from simulate.optimum.forecast import calendar_of
    >>> calendar = calendar_of(np.repeat(np.arange(4), 2), np.tile([0, 1], 4), np.zeros(4))
    >>> targets = least_cost_targets([0.1] * 8, 9, 0, [0.1, 0.3] * 4, 0.0, Pool(2.0), calendar=calendar, floor_kwh=0.0,
    ...                              step_h=12.0)
    >>> float(targets[4, 3]), float(targets[5, 1])
    (2.0, 0.0)
    """
    load = series(load_kw, "load_kw", least=-inf)
    n = len(load)
    reach, solar = series(reach_kw, "reach_kw", n, infinite=True), series(solar_kw, "solar_kw", n)
    buy, sell = (
        series(x, name, n, least=-inf) for x, name in ((buy_per_kwh, "buy_per_kwh"), (sell_per_kwh, "sell_per_kwh"))
    )
    floor = series(floor_kwh, "floor_kwh", n, most=pool.usable_kwh)
    if len(calendar.day) != n:
        raise BadInput("must have one value a step of load_kw", key="calendar.day", value=len(calendar.day))
    rows = np.array([
        load, solar, np.minimum(reach, 1e9), np.minimum(charge_limit_kw(pool, charge_ok, n), 1e9),
        series(dc_kw, "dc_kw", n), floor, series(options.pop("cap_kw", inf), "cap_kw", n, infinite=True),
    ])  # fmt: skip
    ahead = options.pop("ahead", None) or published(buy, sell)
    scenarios = options.pop("scenarios", None) or scenarios_of(calendar, load, solar + rows[4])
    targets = _stored_and_served(pool, floor) if day_one is None else np.array(day_one, dtype=float)
    worn, over = (number(options.pop(name, 0.0), name) for name in ("wear_per_kwh", "over_per_kwh"))
    modes = (
        works_in_parallel(load, reach),
        bool(options.pop("export", False)),
        bool(options.pop("from_utility", True)),
    )
    if options:
        raise TypeError(f"unknown options {sorted(options)}")
    terms = Terms(worn, over, number(step_h, "step_h", least=1e-6), *modes)
    _fold(rows, scenarios, ahead, terms, pool, targets)
    return targets


def _fold(rows, scenarios: Scenarios, ahead: PricesAhead, terms: Terms, pool: Pool, targets) -> None:
    """Fold once, or for the first and the second half of each day by themselves."""
    afternoon, chains = scenarios.calendar.slot * 2 > scenarios.calendar.slot.max(), scenarios.chains
    halves = [(ahead.at_midnight, ~afternoon), (ahead.at_noon, afternoon)]
    for prices, now in halves if ahead.changes else [(ahead.at_noon, np.ones_like(afternoon))]:
        mine = chains._replace(weights=chains.weights * now[:, None])
        expected_targets(rows, mine, prices, terms, pool.cell, targets)


def _stored_and_served(pool: Pool, floor) -> np.ndarray:
    full = np.full(len(floor), pool.usable_kwh)
    return np.column_stack([full, floor, full, floor])
