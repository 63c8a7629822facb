"""Against worked numbers of the IEEE 1366 indices.

Source: definitions of IEEE 1366 (SAIFI, SAIDI, CAIDI) as printed by the US EIA and a utility; the two worked lists are
printed on a university course page. Certainty: seen in a reproduction, and they reproduce. The standard was not read.
"""

import pytest

from simulate.house.interruptions import interruption_indices

LAST_DIGIT = 0.005


def test_three_interruptions_of_ten_thousand_customers():
    found = interruption_indices([100, 200, 300], [5.0, 10.0, 11.0], 10_000)
    assert found["saifi"] == pytest.approx(0.06, abs=1e-12)
    assert found["saidi"] == pytest.approx(0.58, abs=1e-12)
    assert found["caidi"] == pytest.approx(9.67, abs=LAST_DIGIT)


def test_sums_of_a_thousand_customers():
    """Printed: customer minutes 4,400, customers interrupted 140, served 1,000."""
    found = interruption_indices([140], [4400 / 140], 1000)
    assert found["saidi"] == pytest.approx(4.40, abs=1e-12)
    assert found["saifi"] == pytest.approx(0.14, abs=1e-12)
    assert found["caidi"] == pytest.approx(31.43, abs=LAST_DIGIT)
