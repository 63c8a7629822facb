"""Interruptions of the utility: how often, how long, and the indices of IEEE 1366 in and out."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from math import inf

import numpy as np

from profiles.noun import BadInput
from simulate.site.outage import Outage

SIGMA, MAJOR_SIGMA = 1.4, 0.6
"""Spread of the logarithm of the duration where none is given: everyday 1.2 to 1.6, major such that most last 24 to 120
hours (engineering ranges, no citation)."""


@dataclass(frozen=True)
class Interruptions:
    """One class of sustained interruptions: how many a year, how long, and how they spread.

    Attributes
    ----------
    per_year : float
    mean_h : float
        Mean duration. [h]
    sigma : float
        Of the logarithm of the duration; 0: all last the mean.
    """

    per_year: float
    mean_h: float
    sigma: float

    def __post_init__(self):
        for name, least in (("per_year", 0.0), ("mean_h", 1e-12), ("sigma", 0.0)):
            if not least <= getattr(self, name) < inf:
                raise BadInput(
                    "must be above 0 and finite" if least else "must be 0 or above",
                    key=f"outage.{name}",
                    value=getattr(self, name),
                )

    @property
    def mu(self) -> float:
        """Mean of the logarithm: ``ln(mean_h) - sigma^2 / 2``."""
        return math.log(self.mean_h) - self.sigma**2 / 2.0

    def longer_frac(self, t_h):
        """Share that lasts longer than `t_h`.

        Examples
        --------
        The median of a lognormal lies below its mean:

        >>> round(float(Interruptions(1.0, 4.0, 1.0).longer_frac(4.0 / math.exp(0.5))), 9)
        0.5
        """
        t = np.asarray(t_h, dtype=float)
        if self.sigma == 0.0:
            return np.where(t < self.mean_h, 1.0, 0.0)
        return _above((_log(t) - self.mu) / self.sigma)

    def excess_h(self, t_h):
        """Mean hours beyond `t_h`: ``E[max(D - t, 0)]``, 0 for an infinite t. [h]

        Notes
        -----
        ``mean * Phi((mu + sigma^2 - ln t) / sigma) - t * Phi((mu - ln t) / sigma)``

        Examples
        --------
        >>> float(Interruptions(1.0, 4.0, 1.4).excess_h(0.0)), float(Interruptions(1.0, 4.0, 0.0).excess_h(1.0))
        (4.0, 3.0)
        """
        t = np.asarray(t_h, dtype=float)
        if self.sigma == 0.0:
            return np.maximum(self.mean_h - t, 0.0)
        z = (_log(t) - self.mu) / self.sigma
        beyond = np.where(np.isfinite(t), t, 0.0) * _above(z)
        return np.where(np.isfinite(t), np.maximum(self.mean_h * _above(z - self.sigma) - beyond, 0.0), 0.0)


def _log(t):
    with np.errstate(divide="ignore"):
        return np.log(t)


def _above(z):
    """Upper tail of the normal distribution."""
    from scipy.special import ndtr

    return ndtr(-z)


def spread_through(mean_h: float, share: float, *, long_h: float = 8.0, least_h: float = 1.0) -> float:
    """The spread at which a share of the interruptions of `least_h` or more lasts `long_h` or more.

    Parameters
    ----------
    mean_h : float
        Mean duration. [h]
    share : float
        ``P(D >= long_h | D >= least_h)``. [0 to 1]
    long_h, least_h : float
        [h]

    Returns
    -------
    float
        The smallest such `sigma`.

    Raises
    ------
    BadInput
        No spread up to 4 gives that share.

    Examples
    --------
    >>> sigma = spread_through(2.0, 0.0756)
    >>> durations = Interruptions(1.0, 2.0, sigma)
    >>> round(float(durations.longer_frac(8.0) / durations.longer_frac(1.0)), 9)
    0.0756
    """
    from scipy.optimize import brentq

    def miss(sigma: float) -> float:
        durations = Interruptions(1.0, mean_h, sigma)
        return float(durations.longer_frac(long_h)) - share * float(durations.longer_frac(least_h))

    grid = np.linspace(0.05, 4.0, 80)
    signs = np.sign([miss(sigma) for sigma in grid])
    crossings = np.flatnonzero(signs[:-1] * signs[1:] <= 0.0)
    if not 0.0 < share < 1.0 or not len(crossings):
        raise BadInput("is reached by no spread up to 4", key="share", value=share, way_out=f"mean_h is {mean_h:g}")
    at = int(crossings[0])
    return float(brentq(miss, grid[at], grid[at + 1], xtol=1e-13))


def interruption_indices(customers, hours_each, n_served: float) -> dict[str, float]:
    """SAIFI, SAIDI and CAIDI of a list of interruptions (IEEE 1366).

    Parameters
    ----------
    customers, hours_each : array_like, shape (n_events,)
        Customers interrupted and duration of each sustained interruption; any unit of time.
    n_served : float
        Customers served.

    Returns
    -------
    dict
        saifi [interruptions a customer], saidi and caidi [in the unit of the durations].

    Examples
    --------
    >>> found = interruption_indices([100, 200, 300], [5, 10, 11], 10_000)
    >>> round(found["saifi"], 9), round(found["saidi"], 9), round(found["caidi"], 2)
    (0.06, 0.58, 9.67)
    """
    customers, durations = np.asarray(customers, dtype=float), np.asarray(hours_each, dtype=float)
    if not 0.0 < n_served < inf or not (customers >= 0.0).all() or not (durations >= 0.0).all():
        raise BadInput("must be 0 or above, and customers served above 0", key="customers, hours_each, n_served")
    return _indices(customers.sum() / n_served, (customers * durations).sum() / n_served)


def _indices(saifi: float, saidi: float, unit: str = "") -> dict[str, float]:
    caidi = float(saidi / saifi) if saifi > 0.0 else 0.0
    return {"saifi": float(saifi), f"saidi{unit}": float(saidi), f"caidi{unit}": caidi}


def interruptions_of(outage: Outage) -> tuple[Interruptions, ...]:
    """Everyday interruptions and major events as a site file states them; empty where it states none."""
    kinds = []
    if outage.per_year is not None and outage.mean_h is not None:
        kinds.append(Interruptions(outage.per_year, outage.mean_h, SIGMA if outage.sigma is None else outage.sigma))
    if outage.major is not None:
        kinds.append(Interruptions(outage.major.per_year, outage.major.mean_h, MAJOR_SIGMA))
    return tuple(kinds)


def indices_in(kinds: Sequence[Interruptions]) -> dict[str, float]:
    """What the utility does: saifi, saidi_h and caidi_h (IEEE 1366)."""
    return _indices(sum(k.per_year for k in kinds), sum(k.per_year * k.mean_h for k in kinds), "_h")


def indices_out(hours, kinds: Sequence[Interruptions], weight=None) -> dict[str, float]:
    """What a circuit behind the battery sees: saifi, saidi_h and caidi_h.

    Parameters
    ----------
    hours : array_like, shape (n_starts,)
        Hours survived from each start; infinite where nothing is lost. [h]
    kinds : sequence of Interruptions
    weight : array_like, shape (n_starts,), optional
        Weights of the starts, adding to 1; even without them.

    Notes
    -----
    An interruption of duration D that begins at start s is one only if ``D > hours[s]``, and lasts ``D - hours[s]``.
    Every loss counts, however short, so that without a battery what goes in comes out.

    Examples
    --------
    >>> kinds = [Interruptions(1.4, 4.0, 1.4)]
    >>> indices_out([0.0], kinds) == indices_in(kinds), indices_out([inf], kinds)["saifi"]
    (True, 0.0)
    """
    hours = np.asarray(hours, dtype=float)
    weight = np.full(len(hours), 1.0 / len(hours)) if weight is None else np.asarray(weight, dtype=float)
    saifi = sum(k.per_year * float(weight @ k.longer_frac(hours)) for k in kinds)
    return _indices(saifi, sum(k.per_year * float(weight @ k.excess_h(hours)) for k in kinds), "_h")


def ridden_frac(hours, kinds: Sequence[Interruptions], weight=None) -> float | None:
    """Share of the interruptions that end before the first circuit is lost; None where there are none."""
    total = sum(k.per_year for k in kinds)
    return 1.0 - indices_out(hours, kinds, weight)["saifi"] / total if total > 0.0 else None


def start_weight(month, month_weights=None) -> np.ndarray:
    """Weight of an outage that begins at each step, adding to 1, shape (n_steps,); for expected values only."""
    month = np.asarray(month)
    weight = np.ones(len(month)) if month_weights is None else np.asarray(month_weights, dtype=float)[month - 1]
    if not weight.sum() > 0.0:
        raise BadInput("must not all be 0", key="outage.month_weights", value=month_weights)
    return weight / weight.sum()
