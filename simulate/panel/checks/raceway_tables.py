"""Raceways and grounds: areas, fill and equipment grounding conductors, each with its table and how sure we are.

All of it is from memory unless a line says otherwise, and is to be confirmed in the edition adopted at the site.
"""

from __future__ import annotations

from profiles.loads.circuit import WIRE_SIZES

CONDUCTOR_IN2 = {
    "14": 0.0097,
    "12": 0.0133,
    "10": 0.0211,
    "8": 0.0366,
    "6": 0.0507,
    "4": 0.0824,
    "3": 0.0973,
    "2": 0.1158,
    "1": 0.1562,
    "1/0": 0.1855,
    "2/0": 0.2223,
    "3/0": 0.2679,
    "4/0": 0.3237,
}
"""Area of THHN and THWN-2 conductors, NEC Chapter 9 Table 5. [in2]"""

TRADE_SIZES = ("1/2", "3/4", "1", "1-1/4", "1-1/2", "2")
RACEWAY_IN2 = {
    "EMT": (0.304, 0.533, 0.864, 1.496, 2.036, 3.356),
    "PVC-40": (0.285, 0.508, 0.832, 1.453, 1.986, 3.291),
    "RMC": (0.314, 0.549, 0.887, 1.526, 2.071, 3.408),
    "LFMC": (0.314, 0.541, 0.873, 1.528, 1.981, 3.246),
}
"""Whole area by trade size, NEC Chapter 9 Table 4. [in2]"""

FILL_FRAC = {1: 0.53, 2: 0.31}
FILL_FRAC_MORE, FILL_FRAC_NIPPLE = 0.40, 0.60
"""Share of a raceway's area that one, two and more conductors may take, NEC Chapter 9 Table 1; nipples, its note 4."""

GROUND_BY_BREAKER = {
    "Cu": ((15, "14"), (20, "12"), (60, "10"), (100, "8"), (200, "6"), (300, "4"), (400, "3")),
    "Al": ((15, "12"), (20, "10"), (60, "8"), (100, "6"), (200, "4"), (300, "2"), (400, "1")),
}
"""Least equipment grounding conductor up to each breaker rating [A], NEC Table 250.122."""


def ground_awg(breaker_a: float, material: str = "Cu") -> str:
    """Least equipment grounding conductor behind a breaker.

    References
    ----------
    NEC Table 250.122.

    Examples
    --------
    >>> ground_awg(20), ground_awg(30), ground_awg(100), ground_awg(60, "Al")
    ('12', '10', '8', '8')
    """
    return next(awg for up_to, awg in GROUND_BY_BREAKER[material] if breaker_a <= up_to)


def larger_awg(*sizes: str) -> str:
    """The largest of some sizes.

    Examples
    --------
    >>> larger_awg("12", "1/0", "8")
    '1/0'
    """
    return max(sizes, key=WIRE_SIZES.index)


def fill_frac(n_conductors: int, *, nipple: bool = False) -> float:
    """Share of a raceway's area that so many conductors may take.

    Examples
    --------
    >>> fill_frac(2), fill_frac(11), fill_frac(11, nipple=True)
    (0.31, 0.4, 0.6)
    """
    return FILL_FRAC_NIPPLE if nipple else FILL_FRAC.get(n_conductors, FILL_FRAC_MORE)


def least_trade_size(kind: str, sizes: list[str], *, nipple: bool = False) -> str | None:
    """The smallest trade size that holds some conductors; None where none of the table does.

    Parameters
    ----------
    kind : {"EMT", "PVC-40", "RMC", "LFMC"}
    sizes : list of str
        Size of each conductor, grounds too.
    nipple : bool
        24 in or less.

    Examples
    --------
    Nine 12 AWG THHN are the most in 1/2 in EMT (Annex C, Table C.1):

    >>> least_trade_size("EMT", ["12"] * 9), least_trade_size("EMT", ["12"] * 10)
    ('1/2', '3/4')
    """
    return next((size for size in TRADE_SIZES if holds(kind, size, sizes, nipple=nipple)), None)


def holds(kind: str, trade_size: str, sizes: list[str], *, nipple: bool = False) -> bool:
    """A raceway holds some conductors; where all are of one size a decimal of 0.8 counts as one more (note 7).

    Examples
    --------
    >>> holds("EMT", "1", ["12"] * 26), holds("EMT", "1", ["12"] * 27)
    (True, False)
    """
    room = fill_frac(len(sizes), nipple=nipple) * RACEWAY_IN2[kind][TRADE_SIZES.index(trade_size)]
    if len(set(sizes)) == 1:
        return len(sizes) <= int(room / CONDUCTOR_IN2[sizes[0]] + 0.2)
    return sum(CONDUCTOR_IN2[one] for one in sizes) <= room
