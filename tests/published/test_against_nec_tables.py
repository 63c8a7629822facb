"""Against the tables of the National Electrical Code (NFPA 70), 2023 edition unless a line says otherwise.

240.6(A), 240.4(D), Table 310.16 with its corrections, Chapter 9 Table 8, Table 430.7(B), Table 430.248, 210.20(A).
How sure: read in third parties' reproductions of each table, two or three that agree, not in the Code itself;
derived values say so. Editions before 2011 print other ampacities for 14, 12, 3 and 1 AWG.
"""

import pytest

from simulate.panel.checks.finding import Figure
from simulate.panel.checks.tables import (
    COPPER_AMPACITY_A,
    COPPER_K_OHM_CMIL_PER_FT,
    FULL_LOAD_A,
    LOCKED_ROTOR_KVA_PER_HP,
    OHM_PER_1000_FT,
    SMALL_CONDUCTOR_A,
    ambient_factor,
    ampacity_a,
    bundling_factor,
    full_load_a,
    locked_rotor_a,
    needed_breaker_a,
    next_standard_breaker_a,
    voltage_drop_v,
)
from simulate.site.unit import ChargingCircuit

HALF_OF_THE_LAST_DIGIT_A = 0.05
EXACT = 1e-12


@pytest.mark.parametrize(
    ("amps", "rating"), [(37.5, 40), (41.25, 45), (55, 60), (115, 125), (15, 15), (31.25, 35), (22.5, 25), (1, 15)]
)
def test_standard_ratings(amps, rating):
    """240.6(A); three independent reproductions."""
    assert next_standard_breaker_a(amps) == rating


def test_every_standard_rating_is_its_own_next():
    """240.6(A) to 6000 A; fuses of 1, 3, 6, 10 and 601 A are left out: they are no breakers of a panel."""
    ratings = (
        "15 20 25 30 35 40 45 50 60 70 80 90 100 110 125 150 175 200 225 250 300 350 400 450 500 600 700 800 1000 1200 "
        "1600 2000 2500 3000 4000 5000 6000"
    )
    for rating in map(int, ratings.split()):
        assert next_standard_breaker_a(rating) == rating
        if rating > 15:
            assert next_standard_breaker_a(rating - 0.5) == rating


@pytest.mark.parametrize(("awg", "breaker"), [("14", 15), ("12", 20), ("10", 30)])
def test_small_copper_conductors(awg, breaker):
    """240.4(D); three reproductions."""
    assert SMALL_CONDUCTOR_A[awg, "Cu"] == breaker


def test_continuous_load():
    """210.20(A): 32 A asks for 40, 48 for 60, 33 for 41.25 and so 45; a 50 A breaker carries 40 A for three hours."""
    assert needed_breaker_a(32.0) == 40.0
    assert needed_breaker_a(48.0) == 60.0
    assert needed_breaker_a(33.0) == 41.25
    assert next_standard_breaker_a(needed_breaker_a(33.0)) == 45
    assert Figure(needed_breaker_a(40.0), 50.0).met
    assert not Figure(needed_breaker_a(40.01), 50.0).met
    assert 32.0 * 0.24 == pytest.approx(7.68, abs=EXACT)


@pytest.mark.parametrize(("volts", "kw"), [(240, 5.760), (208, 4.992), (120, 2.880)])
def test_a_30_amp_charging_circuit(volts, kw):
    """Derived from 210.20(A): 30 A carries 24 A for three hours or more."""
    assert ChargingCircuit(breaker_a=30.0, volts=volts).continuous_kw == pytest.approx(kw, abs=EXACT)


AMPACITY = """
14 15 20 25
12 20 25 30
10 30 35 40
8 40 50 55
6 55 65 75
4 70 85 95
3 85 100 115
2 95 115 130
1 110 130 145
1/0 125 150 170
2/0 145 175 195
3/0 165 200 225
4/0 195 230 260
"""


def test_copper_ampacity():
    """Table 310.16, copper, 60/75/90 degC; two reproductions of the 2023 edition agree."""
    rows = [line.split() for line in AMPACITY.split("\n") if line]
    assert {awg: tuple(map(int, amps)) for awg, *amps in rows} == COPPER_AMPACITY_A
    for awg, *amps in rows:
        assert [ampacity_a(awg, column_c=column) for column in (60, 75, 90)] == list(map(float, amps))


AMBIENT = """
10 1.29 1.20 1.15
15 1.22 1.15 1.12
20 1.15 1.11 1.08
25 1.08 1.05 1.04
30 1.00 1.00 1.00
35 0.91 0.94 0.96
40 0.82 0.88 0.91
45 0.71 0.82 0.87
50 0.58 0.75 0.82
55 0.41 0.67 0.76
"""


@pytest.mark.parametrize("line", [line for line in AMBIENT.split("\n") if line])
def test_ambient_corrections(line):
    """Table 310.15(B)(1), base 30 degC; one reproduction. Each row's upper bound belongs to it."""
    up_to_c, *factors = map(float, line.split())
    assert [ambient_factor(up_to_c, column) for column in (60, 75, 90)] == factors
    assert [ambient_factor(up_to_c - 0.5, column) for column in (60, 75, 90)] == factors


def test_ambient_at_the_end_of_the_table():
    """60 degC conductors have no row at 56 to 60 degC."""
    assert [ambient_factor(60.0, column) for column in (60, 75, 90)] == [0.0, 0.58, 0.71]


@pytest.mark.parametrize(
    ("conductors", "factor"),
    [
        (1, 1.0),
        (3, 1.0),
        (4, 0.8),
        (6, 0.8),
        (7, 0.7),
        (9, 0.7),
        (10, 0.5),
        (20, 0.5),
        (21, 0.45),
        (30, 0.45),
        (31, 0.4),
        (40, 0.4),
        (41, 0.35),
        (90, 0.35),
    ],
)
def test_bundling(conductors, factor):
    """Table 310.15(C)(1); one reproduction."""
    assert bundling_factor(conductors) == factor


def test_worked_correction():
    """12 AWG, 75 degC column, 40 degC: 25 A x 0.88 = 22 A, as printed."""
    assert ampacity_a("12", column_c=75, ambient_c=40.0) == pytest.approx(22.0, abs=EXACT)


OHMS = """
14 3.14 5.17
12 1.98 3.25
10 1.24 2.04
8 0.778 1.28
6 0.491 0.808
4 0.308 0.508
3 0.245 0.403
2 0.194 0.319
1 0.154 0.253
1/0 0.122 0.201
2/0 0.0967 0.159
3/0 0.0766 0.126
4/0 0.0608 0.100
"""


def test_conductor_resistance():
    """Chapter 9 Table 8, stranded, uncoated copper and aluminium, ohm per 1000 ft; three reproductions."""
    for line in filter(None, OHMS.split("\n")):
        awg, copper, aluminium = line.split()
        assert (OHM_PER_1000_FT["Cu"][awg], OHM_PER_1000_FT["Al"][awg]) == (float(copper), float(aluminium))


@pytest.mark.parametrize(("cmil", "printed_v", "printed_frac"), [(6530, 7.9, 0.066), (16510, 3.1, 0.026)])
def test_voltage_drop_by_circular_mils(cmil, printed_v, printed_frac):
    """2 K I L / cmil with K = 12.9, 20 A over 100 ft at 120 V; two exam-preparation pages."""
    drop_v = 2 * COPPER_K_OHM_CMIL_PER_FT * 20 * 100 / cmil
    assert drop_v == pytest.approx(printed_v, abs=0.05)
    assert drop_v / 120 == pytest.approx(printed_frac, abs=0.0005)


def test_voltage_drop_by_table_8():
    """Derived: 20 A, 100 ft of 12 AWG 7.92 V; 24 A, 50 ft of 10 AWG 2.976 V, 1.24 % of 240 V, 71.4 W lost."""
    assert voltage_drop_v(20.0, "12", 100.0) == pytest.approx(7.92, abs=EXACT)
    charging_v = voltage_drop_v(24.0, "10", 50.0)
    assert charging_v == pytest.approx(2.976, abs=EXACT)
    assert charging_v / 240 == pytest.approx(0.0124, abs=EXACT)
    assert charging_v * 24 == pytest.approx(71.4, abs=0.05)


def test_the_two_ways_to_voltage_drop_agree():
    """K = 12.9 and Table 8 are within 1 % of each other for 12 AWG."""
    assert 2 * COPPER_K_OHM_CMIL_PER_FT * 20 * 100 / 6530 == pytest.approx(voltage_drop_v(20.0, "12", 100.0), rel=0.01)


LETTERS = """
A 0 3.14
B 3.15 3.54
C 3.55 3.99
D 4.0 4.49
E 4.5 4.99
F 5.0 5.59
G 5.6 6.29
H 6.3 7.09
J 7.1 7.99
K 8.0 8.99
L 9.0 9.99
M 10.0 11.19
N 11.2 12.49
P 12.5 13.99
R 14.0 15.99
S 16.0 17.99
T 18.0 19.99
U 20.0 22.39
"""


def test_locked_rotor_letters():
    """Table 430.7(B), kVA per hp; three reproductions. B starts at 3.15; many copies on the web print 3.55."""
    rows = {
        letter: (float(low), float(high)) for letter, low, high in map(str.split, filter(None, LETTERS.split("\n")))
    }
    assert rows == {letter: ends for letter, ends in LOCKED_ROTOR_KVA_PER_HP.items() if letter != "V"}
    assert LOCKED_ROTOR_KVA_PER_HP["V"][0] == 22.4
    assert not set("IOQ") & set(LOCKED_ROTOR_KVA_PER_HP)


@pytest.mark.parametrize(
    ("letter", "low_a", "high_a"),
    [("G", 24.3, 27.3), ("H", 27.4, 30.8), ("J", 30.9, 34.7), ("K", 34.8, 39.1), ("L", 39.1, 43.4)],
)
def test_locked_rotor_current_of_one_hp(letter, low_a, high_a):
    """Derived: 1 hp at 230 V, 1000 x kVA/hp x hp / V."""
    low, high = locked_rotor_a(1.0, letter, 230.0)
    assert low == pytest.approx(low_a, abs=HALF_OF_THE_LAST_DIGIT_A)
    assert high == pytest.approx(high_a, abs=HALF_OF_THE_LAST_DIGIT_A)


FULL_LOAD = """
0.16667 4.4 2.5 2.4 2.2
0.25 5.8 3.3 3.2 2.9
0.33333 7.2 4.1 4.0 3.6
0.5 9.8 5.6 5.4 4.9
0.75 13.8 7.9 7.6 6.9
1 16 9.2 8.8 8.0
1.5 20 11.5 11.0 10
2 24 13.8 13.2 12
3 34 19.6 18.7 17
5 56 32.2 30.8 28
7.5 80 46.0 44.0 40
10 100 57.5 55.0 50
"""


def test_full_load_current():
    """Table 430.248, 115/200/208/230 V; a 1999 copy (430-148) and a current one agree."""
    rows = [list(map(float, line.split())) for line in FULL_LOAD.split("\n") if line]
    assert len(rows) == len(FULL_LOAD_A)
    for hp, *amps in rows:
        assert [full_load_a(hp - 1e-4, volts) for volts in (115.0, 200.0, 208.0, 230.0)] == amps


def test_motor_conductor():
    """430.22, 125 % of the table: 1 hp at 230 V asks for 10 A."""
    assert 1.25 * full_load_a(1.0, 230.0) == 10.0


def test_bad_questions_are_refused():
    from profiles.noun import BadInput

    for ask in (
        lambda: next_standard_breaker_a(float("nan")),
        lambda: next_standard_breaker_a(6001.0),
        lambda: ambient_factor(61.0, 60),
        lambda: ampacity_a("14", "Al"),
        lambda: full_load_a(11.0, 230.0),
        lambda: full_load_a(1.0, 480.0),
    ):
        with pytest.raises(BadInput):
            ask()
