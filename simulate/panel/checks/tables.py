"""The NEC tables that the checks read, each with its edition and how sure we are of it.

Certainty, table by table: "seen" means read in a third party's reproduction of the table, "memory" means from memory.
Every number is to be confirmed in the edition adopted at the site.
"""

from __future__ import annotations

import math

from profiles.loads.circuit import STANDARD_BREAKERS_A, WIRE_SIZES
from profiles.noun import BadInput

SOURCES = {
    "STANDARD_BREAKERS_A": "NEC 240.6(A), 2023; seen in three independent reproductions",
    "COPPER_AMPACITY_A": "NEC Table 310.16, 2023 (310.15(B)(16) in 2011-2017); seen in two reproductions that agree",
    "ALUMINIUM_AMPACITY_A": "NEC Table 310.16, 2023; memory, and never more than copper one size smaller",
    "AMBIENT_FACTOR": "NEC Table 310.15(B)(1), 2023, base 30 degC; seen in one reproduction",
    "BUNDLING_FACTOR": "NEC Table 310.15(C)(1), 2023; seen in one reproduction",
    "SMALL_CONDUCTOR_A": "NEC 240.4(D), 2023; copper seen in three reproductions, aluminium from memory",
    "OHM_PER_1000_FT": "NEC Chapter 9 Table 8, dc at 75 degC, stranded, uncoated copper; seen in three reproductions",
    "LOCKED_ROTOR_KVA_PER_HP": "NEC Table 430.7(B); seen in three reproductions",
    "FULL_LOAD_A": "NEC Table 430.248; seen in a 1999 copy (430-148) and a current one that agree",
}
"""Where each table comes from."""

COLUMNS_C = (60, 75, 90)

COPPER_AMPACITY_A = {
    "14": (15, 20, 25),
    "12": (20, 25, 30),
    "10": (30, 35, 40),
    "8": (40, 50, 55),
    "6": (55, 65, 75),
    "4": (70, 85, 95),
    "3": (85, 100, 115),
    "2": (95, 115, 130),
    "1": (110, 130, 145),
    "1/0": (125, 150, 170),
    "2/0": (145, 175, 195),
    "3/0": (165, 200, 225),
    "4/0": (195, 230, 260),
}
"""Ampacity at 60, 75 and 90 degC, not more than three current-carrying conductors, 30 degC ambient. [A]"""

_ALUMINIUM_TABLE_A = {
    "12": (15, 20, 25),
    "10": (25, 30, 35),
    "8": (35, 40, 45),
    "6": (40, 50, 55),
    "4": (55, 65, 75),
    "3": (65, 75, 85),
    "2": (75, 90, 100),
    "1": (85, 100, 115),
    "1/0": (100, 120, 135),
    "2/0": (115, 135, 150),
    "3/0": (130, 155, 175),
    "4/0": (150, 180, 205),
}


def _one_size_smaller(awg: str) -> str:
    return WIRE_SIZES[WIRE_SIZES.index(awg) - 1]


ALUMINIUM_AMPACITY_A = {
    awg: tuple(map(min, row, COPPER_AMPACITY_A[_one_size_smaller(awg)])) for awg, row in _ALUMINIUM_TABLE_A.items()
}
"""The table's aluminium columns, cut to copper one size smaller where that is less. [A]"""

AMBIENT_FACTOR = (
    (10, (1.29, 1.20, 1.15)),
    (15, (1.22, 1.15, 1.12)),
    (20, (1.15, 1.11, 1.08)),
    (25, (1.08, 1.05, 1.04)),
    (30, (1.0, 1.0, 1.0)),
    (35, (0.91, 0.94, 0.96)),
    (40, (0.82, 0.88, 0.91)),
    (45, (0.71, 0.82, 0.87)),
    (50, (0.58, 0.75, 0.82)),
    (55, (0.41, 0.67, 0.76)),
    (60, (0.0, 0.58, 0.71)),
)
"""Factor on the ampacity up to each ambient temperature [degC], for the 60, 75 and 90 degC columns."""

BUNDLING_FACTOR = ((3, 1.0), (6, 0.8), (9, 0.7), (20, 0.5), (30, 0.45), (40, 0.4), (math.inf, 0.35))
"""Factor on the ampacity up to each number of current-carrying conductors."""

SMALL_CONDUCTOR_A = {("14", "Cu"): 15, ("12", "Cu"): 20, ("10", "Cu"): 30, ("12", "Al"): 15, ("10", "Al"): 20}
"""The largest breaker of a small conductor outside motors and air conditioning. [A]

Aluminium 10 AWG is 25 A in the rule; here it is taken as copper one size smaller.
"""

OHM_PER_1000_FT = {
    "Cu": {
        "14": 3.14,
        "12": 1.98,
        "10": 1.24,
        "8": 0.778,
        "6": 0.491,
        "4": 0.308,
        "3": 0.245,
        "2": 0.194,
        "1": 0.154,
        "1/0": 0.122,
        "2/0": 0.0967,
        "3/0": 0.0766,
        "4/0": 0.0608,
    },
    "Al": {
        "14": 5.17,
        "12": 3.25,
        "10": 2.04,
        "8": 1.28,
        "6": 0.808,
        "4": 0.508,
        "3": 0.403,
        "2": 0.319,
        "1": 0.253,
        "1/0": 0.201,
        "2/0": 0.159,
        "3/0": 0.126,
        "4/0": 0.100,
    },
}
"""Conductor resistance. [ohm per 1000 ft]"""

LOCKED_ROTOR_KVA_PER_HP = {
    "A": (0.0, 3.14),
    "B": (3.15, 3.54),
    "C": (3.55, 3.99),
    "D": (4.0, 4.49),
    "E": (4.5, 4.99),
    "F": (5.0, 5.59),
    "G": (5.6, 6.29),
    "H": (6.3, 7.09),
    "J": (7.1, 7.99),
    "K": (8.0, 8.99),
    "L": (9.0, 9.99),
    "M": (10.0, 11.19),
    "N": (11.2, 12.49),
    "P": (12.5, 13.99),
    "R": (14.0, 15.99),
    "S": (16.0, 17.99),
    "T": (18.0, 19.99),
    "U": (20.0, 22.39),
    "V": (22.4, math.inf),
}
"""Locked-rotor kVA per hp by code letter, low and high end."""

FULL_LOAD_A = {
    1 / 6: (4.4, 2.5, 2.4, 2.2),
    1 / 4: (5.8, 3.3, 3.2, 2.9),
    1 / 3: (7.2, 4.1, 4.0, 3.6),
    1 / 2: (9.8, 5.6, 5.4, 4.9),
    3 / 4: (13.8, 7.9, 7.6, 6.9),
    1.0: (16.0, 9.2, 8.8, 8.0),
    1.5: (20.0, 11.5, 11.0, 10.0),
    2.0: (24.0, 13.8, 13.2, 12.0),
    3.0: (34.0, 19.6, 18.7, 17.0),
    5.0: (56.0, 32.2, 30.8, 28.0),
    7.5: (80.0, 46.0, 44.0, 40.0),
    10.0: (100.0, 57.5, 55.0, 50.0),
}
"""Full-load current of single-phase motors by hp, at 115, 200, 208 and 230 V. [A]"""

LARGEST_HP = 10.0
"""Where the table of full-load currents ends. [hp]"""

FULL_LOAD_VOLTS = (115, 200, 208, 230)

COPPER_K_OHM_CMIL_PER_FT = 12.9
"""Resistivity of copper in the trade's voltage-drop formula (exam-preparation pages). [ohm cmil per ft]"""


def next_standard_breaker_a(amps: float) -> int:
    """The smallest standard rating that is not below a current.

    Parameters
    ----------
    amps : float
        Current that the rating must reach. [A]

    Raises
    ------
    BadInput
        Not a positive number, or above the largest standard rating.

    References
    ----------
    NEC 240.6(A).

    Examples
    --------
    >>> next_standard_breaker_a(31.25)
    35
    """
    if not 0 < amps <= STANDARD_BREAKERS_A[-1]:
        raise BadInput("must be above 0 and at most 6000 A", key="amps", value=amps)
    return next(rating for rating in STANDARD_BREAKERS_A if rating >= amps - 1e-9)


def needed_breaker_a(continuous_a: float, other_a: float = 0.0) -> float:
    """Least breaker rating for a load: the non-continuous part and 125 % of the continuous part.

    Parameters
    ----------
    continuous_a, other_a : float
        Current that is expected for three hours or more, and the rest. [A]

    References
    ----------
    NEC 210.20(A), 215.3.

    Examples
    --------
    >>> needed_breaker_a(12.0, 5.0)
    20.0
    """
    return 1.25 * continuous_a + other_a


def ambient_factor(ambient_c: float, column_c: int) -> float:
    """Correction of an ampacity for the temperature around the conductor.

    Parameters
    ----------
    ambient_c : float
        Ambient temperature. [degC]
    column_c : {60, 75, 90}
        Column of the ampacity table. [degC]

    Raises
    ------
    BadInput
        Above 60 degC, where the table that we hold ends.

    Examples
    --------
    >>> ambient_factor(38.0, 75)
    0.88
    """
    for up_to_c, factors in AMBIENT_FACTOR:
        if ambient_c <= up_to_c:
            return factors[COLUMNS_C.index(column_c)]
    raise BadInput("must be at most 60 degC", key="ambient_c", value=ambient_c)


def bundling_factor(n_conductors: int) -> float:
    """Adjustment of an ampacity for the number of current-carrying conductors that lie together.

    Examples
    --------
    >>> bundling_factor(18)
    0.5
    """
    return next(factor for up_to, factor in BUNDLING_FACTOR if n_conductors <= up_to)


def ampacity_a(awg: str, material: str = "Cu", *, column_c: int = 60, ambient_c: float = 30.0, n_conductors: int = 3):
    """Ampacity of a conductor with its corrections.

    Parameters
    ----------
    awg : str
        Size, "14" to "4/0".
    material : {"Cu", "Al"}
    column_c : {60, 75, 90}
        Temperature column. [degC]
    ambient_c : float
        Ambient temperature. [degC]
    n_conductors : int
        Current-carrying conductors together.

    Returns
    -------
    float
        Ampacity. [A]

    Raises
    ------
    BadInput
        A size that the table does not hold.

    References
    ----------
    NEC Table 310.16 and 310.15(B), (C); see `SOURCES`.

    Examples
    --------
    >>> ampacity_a("12", column_c=75, ambient_c=40.0)
    22.0
    """
    table = COPPER_AMPACITY_A if material == "Cu" else ALUMINIUM_AMPACITY_A
    if awg not in table:
        raise BadInput(f"is not in the table for {material}", key="awg", value=awg, way_out="use " + ", ".join(table))
    factor = ambient_factor(ambient_c, column_c) * bundling_factor(n_conductors)
    return table[awg][COLUMNS_C.index(column_c)] * factor


def locked_rotor_a(hp: float, letter: str, at_volts: float) -> tuple[float, float]:
    """Locked-rotor current of a single-phase motor from its code letter, low and high end.

    Parameters
    ----------
    hp : float
        Rated power. [hp]
    letter : str
        Code letter of the nameplate.
    at_volts : float
        Rated voltage. [V]

    Returns
    -------
    tuple of float
        Low and high end; letter V has no high end and gives infinity. [A]

    Notes
    -----
    ``1000 * kVA per hp * hp / V``

    References
    ----------
    NEC Table 430.7(B).

    Examples
    --------
    >>> [round(amps, 1) for amps in locked_rotor_a(1.0, "K", 230.0)]
    [34.8, 39.1]
    """
    low, high = LOCKED_ROTOR_KVA_PER_HP[letter]
    return 1000.0 * low * hp / at_volts, 1000.0 * high * hp / at_volts


def full_load_a(hp: float, at_volts: float) -> float:
    """Full-load current of a single-phase motor; between two ratings the larger motor's.

    Parameters
    ----------
    hp : float
        Rated power. [hp]
    at_volts : float
        Voltage; 120 V reads the 115 V column, 220 to 240 V the 230 V column. [V]

    Raises
    ------
    BadInput
        More than 10 hp, or a voltage that the table does not hold.

    References
    ----------
    NEC Table 430.248.

    Examples
    --------
    >>> full_load_a(1.0, 240.0)
    8.0
    """
    column = next((k for k, volts in enumerate(FULL_LOAD_VOLTS) if abs(volts - at_volts) <= 0.05 * volts), None)
    if at_volts in FULL_LOAD_VOLTS:
        column = FULL_LOAD_VOLTS.index(at_volts)
    if column is None:
        raise BadInput("must be near 115, 200, 208 or 230 V", key="at_volts", value=at_volts)
    row = next((amps for power, amps in FULL_LOAD_A.items() if power >= hp - 1e-9), None)
    if row is None:
        raise BadInput("must be at most 10 hp", key="hp", value=hp)
    return row[column]


def voltage_drop_v(amps: float, wire_awg: str, length_ft: float, material: str = "Cu") -> float:
    """Voltage lost on a two-wire run, there and back.

    Parameters
    ----------
    amps : float
        Current. [A]
    wire_awg : str
        Size.
    length_ft : float
        One-way length. [ft]
    material : {"Cu", "Al"}

    Notes
    -----
    ``2 * length / 1000 * R * I`` with dc resistance at 75 degC; reactance is left out, it matters above 1/0 only.

    References
    ----------
    NEC Chapter 9 Table 8.

    Examples
    --------
    >>> round(voltage_drop_v(24.0, "10", 50.0), 3)
    2.976
    """
    return 2.0 * length_ft / 1000.0 * OHM_PER_1000_FT[material][wire_awg] * amps
