"""What matters most: Sobol indices, tornado rows, and designs that no other beats."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from profiles.noun import BadInput
from simulate.designs.columns import RESULTS
from simulate.designs.sweep import sweep
from simulate.designs.varied import Distribution, Table, at_quantile, values_in
from simulate.site.site import Site

ANSWERS = ("out_hours_p10", "out_saving")
FEWEST = 16
"""With fewer base designs the indices of a plain sum miss by a factor (measured)."""
LOW_HIGH = (0.1, 0.9)
"""Quantiles between which a tornado swings a key."""


@dataclass(frozen=True, eq=False)
class Sensitivity:
    """How much each varied key matters for each answer.

    Attributes
    ----------
    sobol : DataFrame
        Rows `answer`, `key`, `first_order`, `total`: the share of the answer's variance that the key explains alone,
        and with all that it interacts with.
    tornado : DataFrame
        Rows `answer`, `key`, `low`, `high`, `at_low`, `at_high`, `swing`: the answer with one key at its 10 % and
        90 % quantile and every other at its middle, the largest swing first.
    n_designs : int
    """

    sobol: object
    tornado: object
    n_designs: int


def sensitivity(
    site: Site, vary: Mapping, *, n: int = 64, seed: int = 0, answers=ANSWERS, executor=None, out=None
) -> Sensitivity:
    """Sobol indices and tornado rows of hours survived and saving, in one sweep.

    Parameters
    ----------
    site : Site
    vary : mapping
        Site keys with distributions, or with lists whose members are equally likely.
    n : int
        Base designs, a power of two from 16 up; the sweep runs ``n (d + 2)`` and ``2 d + 1`` more for the tornado.
    seed : int
    answers : sequence of str
        Numeric columns of a sweep.
    executor, out
        As `sweep`.

    Returns
    -------
    Sensitivity

    Raises
    ------
    BadInput
        Fewer than two keys, an n that is no power of two, a design that is refused.

    References
    ----------
    .. [1] Saltelli et al., "Variance based sensitivity analysis of model output", Computer Physics Communications
       181, 2010, as `scipy.stats.sobol_indices` has it.
    """
    unknown = [name for name in answers if name not in RESULTS]
    if unknown or not answers:
        raise BadInput(
            "must be numeric columns of a sweep",
            key="answers",
            value=tuple(unknown),
            way_out="known: " + ", ".join(RESULTS),
        )
    held = {key: v if isinstance(v, Distribution) else values_in(key, v) for key, v in vary.items()}
    if len(held) < 2:
        raise BadInput("must name two keys or more", key="vary", value=tuple(held))
    points, blocks = _points(len(held), n, seed)
    swings = _swings(len(held))
    columns = {key: at_quantile(v, np.r_[points[:, k], swings[:, k]]) for k, (key, v) in enumerate(held.items())}
    told = {key: [v.kind, *v.numbers] if isinstance(v, Distribution) else list(v) for key, v in held.items()}
    designs = Table(columns, {"sensitivity": told, "n": n, "seed": seed})
    starts = lambda *begins: any(name.startswith(begins) for name in answers)
    wanted = {"outages": starts("out_hours", "out_lasting", "out_censored"), "bound": starts("out_bound", "out_capt")}
    table = sweep(site, designs, executor=executor, out=out, **wanted).sort_values("design")
    refused = table["error"].dropna()
    if len(refused):
        raise BadInput(f"a design is refused: {refused.iloc[0]}", key="vary", way_out="narrow what is varied")
    found = {name: table[name].to_numpy(float) for name in answers}
    for name, values in found.items():
        if not np.isfinite(values).all():
            raise BadInput(
                "is not there for every design",
                key="answers",
                value=name,
                way_out="see what the column asks for in notebooks/SWEEPS.md",
            )
    return Sensitivity(_sobol(found, held, blocks), _tornado(found, held, columns, len(points)), len(table))


def _points(d: int, n: int, seed: int):
    """Quantiles of the designs that the indices need: A, B, and A with one column of B each."""
    from scipy.stats import qmc

    if not n >= FEWEST or n & (n - 1):
        raise BadInput(f"must be a power of two, {FEWEST} or above", key="n", value=n, way_out="take 64 or 256")
    both = qmc.Sobol(2 * d, rng=np.random.default_rng(seed)).random_base2(n.bit_length() - 1)
    a, b = both[:, :d], both[:, d:]
    mixed = [np.where(np.arange(d) == k, b, a) for k in range(d)]
    return np.concatenate([a, b, *mixed]), n


def _sobol(found: dict, held: Mapping, n: int):
    import pandas as pd

    rows = []
    for answer, values in found.items():
        first, total = sobol_of(values[: n * (len(held) + 2)], n)
        rows += [(answer, key, float(first[k]), float(total[k])) for k, key in enumerate(held)]
    return pd.DataFrame(rows, columns=["answer", "key", "first_order", "total"])


def sobol_of(values, n: int) -> tuple[np.ndarray, np.ndarray]:
    """First-order and total indices from answers at A, B, and A with one column of B each.

    Parameters
    ----------
    values : array_like, shape (n * (d + 2),)
        In the order of `_points`. An answer that does not vary has indices of NaN.
    n : int
        Base designs.
    """
    from scipy.stats import sobol_indices

    parts = np.asarray(values, dtype=float).reshape(-1, n)
    if np.ptp(parts) <= 1e-12 * max(np.abs(parts).max(), 1.0):
        nothing = np.full(len(parts) - 2, np.nan)
        return nothing, nothing.copy()
    func = {"f_A": parts[:1], "f_B": parts[1:2], "f_AB": parts[2:, None, :]}
    indices = sobol_indices(func=func, n=n)
    return np.ravel(indices.first_order), np.ravel(indices.total_order)


def sobol_of_function(function: Callable, distributions, n: int, seed: int = 0) -> tuple[np.ndarray, np.ndarray]:
    """First-order and total indices of any function of independent inputs.

    Parameters
    ----------
    function : callable
        Takes an array of shape (n_inputs, n_points).
    distributions : sequence of Distribution
    n : int
        Base points, a power of two.

    Examples
    --------
    What is added twice as strongly explains four times the variance:

    >>> from simulate.designs.varied import uniform
    >>> first, _ = sobol_of_function(lambda x: x[0] + 2 * x[1], [uniform(0, 1)] * 2, 1024)
    >>> first.round(2).tolist()
    [0.2, 0.8]
    """
    points, _ = _points(len(distributions), n, seed)
    inputs = np.array([one.at(points[:, k]) for k, one in enumerate(distributions)])
    return sobol_of(function(inputs), n)


def _swings(d: int) -> np.ndarray:
    """Quantiles of the tornado: everything at its middle, then each key low and high."""
    middle = np.full((2 * d + 1, d), 0.5)
    for k in range(d):
        middle[1 + 2 * k : 3 + 2 * k, k] = LOW_HIGH
    return middle


def _tornado(found: dict, held: Mapping, columns: dict, first: int):
    import pandas as pd

    rows = []
    for answer, values in found.items():
        ends = values[first + 1 :].reshape(-1, 2)
        for k, key in enumerate(held):
            low, high = columns[key][first + 1 + 2 * k], columns[key][first + 2 + 2 * k]
            rows.append((answer, key, low, high, ends[k, 0], ends[k, 1], abs(ends[k, 1] - ends[k, 0])))
    frame = pd.DataFrame(rows, columns=["answer", "key", "low", "high", "at_low", "at_high", "swing"])
    order = frame.groupby("answer", sort=False)["swing"].rank(ascending=False, method="first")
    names = {name: k for k, name in enumerate(found)}
    frame = frame.assign(_place=frame["answer"].map(names), _rank=order).sort_values(["_place", "_rank"])
    return frame.drop(columns=["_place", "_rank"]).reset_index(drop=True)


def pareto(table, *, least=("out_installed_price",), most=("out_hours_p10", "out_saving")):
    """The designs of a sweep that no other design beats in one answer without losing in another.

    Parameters
    ----------
    table : DataFrame
        From `sweep`; rows with an error or without one of the answers are left out, and designs that never carry a
        circuit of the first priority or a medical one (`out_stands_apart`).
    least, most : sequence of str
        Columns of which less, and of which more, is better.

    Returns
    -------
    DataFrame
        Rows of `table`, the least of the first column first; equal designs stay together.

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({"price": [1.0, 2.0, 3.0], "hours": [5.0, 9.0, 9.0]})
    >>> pareto(table, least=["price"], most=["hours"]).index.tolist()
    [0, 1]
    """
    for name in (*least, *most):
        if name not in table:
            raise BadInput("is not a column of the table", key="pareto", value=name)
    columns = [*least, *most]
    good = table.dropna(subset=columns)
    if "out_stands_apart" in good:
        good = good[good["out_stands_apart"].fillna("") == ""]
    if not len(good):
        raise BadInput(
            "has no row with every answer",
            key="pareto",
            value=tuple(columns),
            way_out="give installed_price of the units, carry the first priority, or name other answers",
        )
    signs = dict.fromkeys(least, 1.0) | dict.fromkeys(most, -1.0)
    costs = np.column_stack([sign * good[name].to_numpy(float) for name, sign in signs.items()])
    order = np.lexsort(costs.T[::-1])
    front = np.empty((0, costs.shape[1]))
    kept = []
    for k in order:  # what beats a design stands before it in this order
        beaten = (front <= costs[k]).all(axis=1) & (front < costs[k]).any(axis=1)
        if not beaten.any():
            kept.append(k)
            front = np.vstack([front, costs[k]])
    return good.iloc[kept]
