"""Hours survived: to the first moment at which a circuit of the first priority is unserved."""

from __future__ import annotations

import numpy as np

from simulate.house.house import House
from simulate.physics.outages.island import WHY, Dark


def first_priority(house: House, dark: Dark, horizon_h: float):
    """Hours to the first moment at which a circuit of the first priority is unserved, and why."""
    top = [k for k, c in enumerate(house.circuits) if c.priority == min(one.priority for one in house.circuits)]
    needs = (house.share[:, top] > 0.0).T
    single = np.array([(needs[:, p] & (needs.sum(axis=1) == 1)).any() for p in range(needs.shape[1])])
    needed_h = np.where(needs.any(axis=0), dark.dark_h, np.inf)
    pool = needed_h.argmin(axis=1)
    rows = np.arange(len(pool))
    hours = needed_h[rows, pool]
    censored = ~np.isfinite(hours)
    why = np.array(["", *WHY.values()])[dark.why[rows, pool]]
    why = np.where(single[pool] | (len(house.pools) == 1), why, "other-leg")
    return np.where(censored, dark.end_h if len(rows) else horizon_h, hours), censored, np.where(censored, "", why)
