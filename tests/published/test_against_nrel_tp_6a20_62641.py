"""Dobos, NREL/TP-6A20-62641, 2014: losses, DC power, inverter.

How sure: the loss parts were read on pvlib's documentation page that cites the manual (seen-P there); the combined
value, the DC example and the inverter's table are pvlib's (lib). The manual itself was not read.
"""

import numpy as np
import pytest

from profiles.solar.roof import Solar, cell_dc_kw, inverter_kw, losses_frac

HALF_OF_THE_LAST_DIGIT_W = 0.00005
WATTS = [
    (100, 73.6738),
    (500, 465.5504),
    (1000, 953.6531),
    (2000, 1924.0491),
    (3000, 2886.6988),
    (4000, 3841.6025),
    (4166.67, 4000.0),
    (5000, 4000.0),
]


def test_default_losses():
    parts = {
        "soiling": 2,
        "shading": 3,
        "snow": 0,
        "mismatch": 2,
        "wiring": 2,
        "connections": 0.5,
        "lid": 1.5,
        "nameplate_rating": 1,
        "age": 0,
        "availability": 3,
    }
    assert losses_frac(**parts) == pytest.approx(0.140757, abs=5e-7)
    assert losses_frac() == losses_frac(**parts)
    assert losses_frac() == pytest.approx(1 - np.prod([1 - part / 100 for part in parts.values()]), abs=1e-12)


def test_default_of_a_roof_is_that_figure_rounded():
    assert Solar.model_fields["losses_frac"].default == pytest.approx(losses_frac(), abs=5e-5)


def test_dc_power():
    assert cell_dc_kw(800.0, 45.0, 4.0, -0.0047) == pytest.approx(2.8992, abs=1e-12)


@pytest.mark.parametrize(("dc_w", "ac_w"), WATTS)
def test_inverter_of_four_kilowatts(dc_w, ac_w):
    assert 1000 * inverter_kw(dc_w / 1000, 4.0) == pytest.approx(ac_w, abs=HALF_OF_THE_LAST_DIGIT_W)
