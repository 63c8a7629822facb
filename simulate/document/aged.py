"""The same year with units at the end of their warranty."""

from __future__ import annotations

from simulate.document.worth import aged_house, asked_again
from simulate.house.walked import HouseYear, walk_asked


def at_end_of_warranty(run: HouseYear) -> HouseYear:
    """The year with what each group's units hold at the end of their warranty; plan and reserve stay as they were.

    Parameters
    ----------
    run : HouseYear
        The year with new units; it is handed back where nothing is lost by then.

    Examples
    --------
    The warranty of the demo site's units promises 70 % at its end:

    >>> from simulate.house.year import run_year
    >>> from simulate.site.site import read_site
    >>> run = run_year(read_site())
    >>> aged = at_end_of_warranty(run)
    >>> [round(a.pool.usable_kwh / n.pool.usable_kwh, 2) for a, n in zip(aged.house.pools, run.house.pools)]
    [0.7, 0.7]
    """
    left = {group.name: group.end_frac for group in run.house.site.battery if group.count}
    if all(frac == 1.0 for frac in left.values()):
        return run
    return walk_asked(asked_again(run.asked, aged_house(run, left)))
