"""Cycles of a history of states of charge.

Source: ASTM E1049-85 (2017), rainflow example history -2, 1, -3, 5, -1, 3, -4, 4, -2 and its cycle count, read on
mathworks.com (help/signal/ref/rainflow, general-purpose documentation) and computed with the rainflow library. That
equivalent full cycles are discharge over capacity is a definition FROM MEMORY; 23 is derived from the table.
"""

import numpy as np
import pytest

from simulate.bill.ageing import full_cycles

HISTORY = np.array([-2.0, 1, -3, 5, -1, 3, -4, 4, -2])
PRINTED = {3.0: 0.5, 4.0: 1.5, 6.0: 0.5, 8.0: 1.0, 9.0: 0.5}


def test_full_cycles_are_the_printed_ranges_times_their_counts():
    discharged = np.maximum(-np.diff(HISTORY), 0.0)
    capacity = HISTORY.max() - HISTORY.min()
    assert sum(span * count for span, count in PRINTED.items()) == 23.0
    assert full_cycles(discharged, capacity) == pytest.approx(23.0 / 9.0, abs=1e-12)


def test_the_library_counts_the_printed_cycles():
    rainflow = pytest.importorskip("rainflow")
    assert dict(rainflow.count_cycles(HISTORY)) == PRINTED
