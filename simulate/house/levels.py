"""A plan at several reserves, and how one of them was chosen."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, eq=False)
class Choice:
    """How a reserve was chosen for the hours that are to be survived.

    Attributes
    ----------
    hours, share : float
        Wanted: so many hours [h] in this share of the outages. [0 to 1]
    lasting_frac : float
        Share of the outages that last so long at the chosen reserve. [0 to 1]
    met : bool
        Whether any reserve meets what is wanted.
    levels : Levels
        Among which it was chosen.
    """

    hours: float
    share: float
    lasting_frac: float
    met: bool
    levels: Levels

    def document(self, reserve: float) -> dict:
        """Plain numbers, for JSON."""
        return {
            "chosen_reserve": reserve,
            "for_h": self.hours,
            "share": self.share,
            "lasting_frac": self.lasting_frac,
            "met": self.met,
            "curves": [self.levels.document()],
        }

    @property
    def text(self) -> str:
        """One line for the assumptions."""
        got = f"{self.lasting_frac:.1%} of the outages last {self.hours:g} h"
        if self.met:
            return f'reserve = "best": the cheapest at which {self.share:.0%} last {self.hours:g} h; {got}'
        return f'reserve = "best": NO reserve lets {self.share:.0%} of the outages last {self.hours:g} h; full: {got}'


@dataclass(frozen=True, eq=False)
class Levels:
    """A plan at several reserves, each one number all year; arrays have shape (n_levels,).

    Attributes
    ----------
    plan : str
    reserve_frac : ndarray
        Rising. [0 to 1]
    saving : ndarray
        Of the battery on the same rate, a year. [currency]
    hours : ndarray
        Hours that nine outages in ten reach, in the site's own load case. [h]
    lasting_frac : ndarray
        Share of the outages that last `operation.reserve_for_h`. [0 to 1]
    method : str
        "walked at every level", and for the best possible the method that found its targets.
    """

    plan: str
    reserve_frac: np.ndarray
    saving: np.ndarray
    hours: np.ndarray
    lasting_frac: np.ndarray
    method: str

    def document(self) -> dict:
        """Plain numbers, for JSON."""
        return {
            "plan": self.plan,
            "reserve": self.reserve_frac.tolist(),
            "saving": self.saving.tolist(),
            "hours": self.hours.tolist(),
            "lasting_frac": self.lasting_frac.tolist(),
            "method": self.method,
        }

    def cheapest(self, share: float) -> int | None:
        """Level of the largest saving at which this share of the outages lasts; None where there is none.

        Of equal savings the higher reserve.
        """
        meets = np.flatnonzero(self.lasting_frac >= share - 1e-12)
        if not len(meets):
            return None
        best = self.saving[meets].max()
        return int(meets[self.saving[meets] >= best - 1e-9][-1])
