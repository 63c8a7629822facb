"""Sobol indices against the closed form of the Ishigami function.

T. Ishigami and T. Homma, "An importance quantification technique in uncertainty analysis for computer models",
Proceedings ISUMA '90, 1990; the indices for a = 7, b = 0.1 as printed in I. M. Sobol' and Y. L. Levitan, "On the use of
variance reducing multipliers in Monte Carlo computations of a global sensitivity index", Computer Physics
Communications 117, 1999, and in many handbooks since. How sure: memory, and derived again below from the closed form.
"""

import numpy as np
import pytest

from simulate.designs.influence import sobol_of_function
from simulate.designs.varied import uniform

FIRST = (0.3139, 0.4424, 0.0)
TOTAL = (0.5576, 0.4424, 0.2437)
LAST_DIGIT = 0.5e-4
SAMPLING = 5e-3
"""Error of 2**14 scrambled Sobol points."""
A, B = 7.0, 0.1


def ishigami(x):
    return np.sin(x[0]) + A * np.sin(x[1]) ** 2 + B * x[2] ** 4 * np.sin(x[0])


def test_the_printed_indices_are_those_of_the_closed_form():
    one = 0.5 * (1 + B * np.pi**4 / 5) ** 2
    two, both = A**2 / 8, 8 * B**2 * np.pi**8 / 225
    whole = one + two + both
    assert np.allclose((one / whole, two / whole, 0.0), FIRST, rtol=0.0, atol=LAST_DIGIT)
    assert np.allclose(((one + both) / whole, two / whole, both / whole), TOTAL, rtol=0.0, atol=LAST_DIGIT)


@pytest.mark.parametrize("seed", [0, 1])
def test_first_order_and_total_indices(seed):
    first, total = sobol_of_function(ishigami, [uniform(-np.pi, np.pi)] * 3, 2**14, seed)
    assert np.allclose(first, FIRST, rtol=0.0, atol=SAMPLING)
    assert np.allclose(total, TOTAL, rtol=0.0, atol=SAMPLING)
