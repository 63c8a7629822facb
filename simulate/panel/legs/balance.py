"""Which leg each single-pole circuit goes on: limits first, then the leg that dies first, then balance."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from simulate.panel.checks.spaces import Slot, items_of, seats, slots_of
from simulate.panel.legs.bench import Bench, LegFigures, bench_of
from simulate.panel.legs.programme import best_choices

if TYPE_CHECKING:
    from simulate.site.site import Site


@dataclass(frozen=True)
class Assignment:
    """Legs for the single-pole circuits of a sub-panel.

    Attributes
    ----------
    legs : dict of circuit to "A" or "B"
    slots : tuple of Slot
        The spaces with what sits in each; none where the site file lists no spaces.
    before, after : LegFigures
    moved : tuple of str
        Circuits that change their leg.
    unplaced : tuple of str
        Circuits without a space.
    method : str
    n_compared : int
        Assignments whose hours were compared; 0 where hours were not asked for.
    complete : bool
        True where no assignment was left out of that comparison.
    outcomes : dict or None
        What the simulation says of both: `before` and `after`, hours in plain data; None where it was not asked.
    """

    legs: dict[str, str]
    slots: tuple[Slot, ...]
    before: LegFigures
    after: LegFigures
    moved: tuple[str, ...]
    unplaced: tuple[str, ...]
    method: str
    n_compared: int
    complete: bool
    outcomes: dict | None = None

    def table(self) -> dict:
        """Before and after as plain data: columns and rows."""
        pairs = zip(self.before.table(), self.after.table(), strict=True)
        rows = [[name, unit, before, after] for (name, unit, before), (_, _, after) in pairs]
        return {"columns": ["figure", "unit", "before", "after"], "rows": rows}


def balance_legs(
    site: Site, hours_of_leg: Callable[[dict[str, str]], float] | None = None, *, candidates: int = 32
) -> Assignment:
    """Put the single-pole circuits of the sub-panel on legs.

    Parameters
    ----------
    site : Site
    hours_of_leg : callable, optional
        Takes legs by circuit and returns the hours of the leg that dies first. [h]
    candidates : int
        How many assignments, those with the best running balance first, have their hours compared.

    Returns
    -------
    Assignment

    Raises
    ------
    BadInput
        A service with one leg, or a circuit without the powers that the balance is made from.

    Notes
    -----
    In this order: every circuit has a space; no limit of a leg exceeded (running, everything on, motor starts), by the
    sum of what is exceeded; the longest time for the leg that dies first; the running loads alike; the fewest moves.
    Mates of a multiwire circuit stay on opposite legs in one two-pole space. Mixed-integer programme solved by HiGHS,
    one objective after the other; without `hours_of_leg` its own objective is left out.

    Examples
    --------
    >>> from simulate.site.site import read_site
    >>> assignment = balance_legs(read_site())
    >>> assignment.after.imbalance_frac <= assignment.before.imbalance_frac
    True
    """
    bench = bench_of(site)
    current = {circuit.name: bench.layout.legs_of(circuit)[0] for circuit in bench.circuits}
    choices, complete = best_choices(bench, candidates if hours_of_leg else 1)
    legs = [bench.legs(choice) for choice in choices]
    before = bench.figures(current)
    if hours_of_leg is None:
        best, after = legs[0], bench.figures(legs[0])
    else:
        hours = [hours_of_leg(one) for one in legs]
        best = legs[_longest(bench, legs, hours)]
        after = replace(bench.figures(best), hours=hours[legs.index(best)])
        before = replace(before, hours=hours_of_leg(current))
    slots, unplaced = seat(bench, best)
    moved = tuple(name for name, leg in best.items() if leg != current[name])
    n_compared = len(legs) if hours_of_leg else 0
    method = "mixed-integer programme (HiGHS)" + (f", hours of {n_compared} compared" if n_compared else "")
    return Assignment(best, slots, before, after, moved, unplaced, method, n_compared, complete)


def _longest(bench: Bench, legs: list[dict[str, str]], hours: list[float]) -> int:
    figures = [bench.figures(one) for one in legs]

    def rank(k: int):
        return (-hours[k], round(figures[k].imbalance_frac, 9), bench.moves(legs[k]), k)

    return min(range(len(legs)), key=rank)


def seat(bench: Bench, legs: dict[str, str]) -> tuple[tuple[Slot, ...], tuple[str, ...]]:
    """The spaces with what sits in each under some legs, and the circuits without one."""
    slots = slots_of(bench.layout)
    if not slots:
        return (), ()
    seated, left = seats(slots, items_of(bench.layout, legs))
    full = tuple(
        replace(slot, circuits=tuple(c.name for c in seated[slot.number].circuits)) if slot.number in seated else slot
        for slot in slots
    )
    return full, tuple(circuit.name for item in left for circuit in item.circuits)
