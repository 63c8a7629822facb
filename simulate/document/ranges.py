"""How sure are we: one input at a time from its low to its high."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from profiles.noun import BadInput


@dataclass(frozen=True)
class Range:
    """What one input does to a result while the others stay at their middle.

    Attributes
    ----------
    name : str
    low, mid, high : float
        The input.
    at_low, at_mid, at_high : float
        The result.
    """

    name: str
    low: float
    mid: float
    high: float
    at_low: float
    at_mid: float
    at_high: float

    @property
    def swing(self) -> float:
        """Distance between the largest and the smallest result."""
        return max(self.at_low, self.at_mid, self.at_high) - min(self.at_low, self.at_mid, self.at_high)


def tornado(result: Callable[..., float], inputs: Mapping[str, tuple[float, float, float]]) -> list[Range]:
    """Vary one input at a time; the widest swing comes first.

    Parameters
    ----------
    result : callable
        Takes every input by its name, returns one number.
    inputs : mapping of str to (low, mid, high)

    Returns
    -------
    list of Range

    Raises
    ------
    BadInput
        An input whose low, mid and high are not in order.

    Notes
    -----
    One at a time: inputs that move together (price and escalation) are not seen together.

    Examples
    --------
    >>> rows = tornado(lambda a, b: 10 * a + b, {"b": (0, 1, 2), "a": (0, 1, 2)})
    >>> [(row.name, row.at_low, row.at_high) for row in rows]
    [('a', 1, 21), ('b', 10, 12)]
    """
    for name, (low, mid, high) in inputs.items():
        if not low <= mid <= high:
            raise BadInput("must be low, mid, high in order", key=f"inputs.{name}", value=(low, mid, high))
    middle = {name: mid for name, (_, mid, _) in inputs.items()}
    at_mid = result(**middle)
    rows = [
        Range(name, low, mid, high, result(**{**middle, name: low}), at_mid, result(**{**middle, name: high}))
        for name, (low, mid, high) in inputs.items()
    ]
    return sorted(rows, key=lambda row: -row.swing)
