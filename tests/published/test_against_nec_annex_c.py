"""Against NEC Annex C: how many THHN conductors of one size a raceway holds.

Tables C.1 (EMT), C.9 (rigid metal conduit) and C.11 (PVC schedule 40), trade sizes 1/2 to 2. How sure: from memory, the
2017 edition's; not read again. They are made from Chapter 9 Tables 1, 4 and 5 with note 7 (a decimal of 0.8 counts), so
they hold our areas and the fill rule together.
"""

import pytest

from simulate.panel.checks.raceway_tables import TRADE_SIZES, holds, least_trade_size

PRINTED = {
    ("EMT", "14"): (12, 22, 35, 61, 84, 138),
    ("EMT", "12"): (9, 16, 26, 45, 61, 101),
    ("EMT", "10"): (5, 10, 16, 28, 38, 63),
    ("EMT", "8"): (3, 6, 9, 16, 22, 36),
    ("EMT", "6"): (2, 4, 7, 12, 16, 26),
    ("RMC", "14"): (13, 22, 36, 63, 85, 140),
    ("RMC", "12"): (9, 16, 26, 46, 62, 102),
    ("RMC", "10"): (6, 10, 17, 29, 39, 64),
    ("RMC", "8"): (3, 6, 9, 16, 22, 37),
    ("PVC-40", "14"): (11, 21, 34, 60, 82, 135),
    ("PVC-40", "12"): (8, 15, 25, 43, 59, 99),
    ("PVC-40", "10"): (5, 9, 15, 27, 37, 62),
    ("PVC-40", "8"): (3, 5, 9, 16, 21, 36),
    ("PVC-40", "6"): (1, 4, 6, 11, 15, 26),
}


@pytest.mark.parametrize(("kind", "awg"), PRINTED)
def test_how_many_conductors_a_raceway_holds(kind, awg):
    for size, most in zip(TRADE_SIZES, PRINTED[kind, awg], strict=True):
        assert holds(kind, size, [awg] * most), (size, most)
        assert not holds(kind, size, [awg] * (most + 1)), (size, most + 1)


def test_the_least_trade_size_is_the_first_that_holds():
    assert [least_trade_size("EMT", ["12"] * n) for n in (9, 10, 26, 27, 101, 102)] == [
        "1/2",
        "3/4",
        "1",
        "1-1/4",
        "2",
        None,
    ]
