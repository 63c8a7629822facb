"""Reda, Andreas: Solar Position Algorithm for Solar Radiation Applications, NREL/TP-560-34302, 2008, Appendix A.5.

How sure: the printed values were read in six public test files that quote the report (seen-R); the report was not read.
The example: 17 October 2003, 12:30:30 at UTC-7, 39.742476 N, 105.1786 W, 1,830.14 m, 820 mbar, 11 C, delta T 67 s,
surface slope 30 degrees, azimuth rotation -10 degrees.
"""

import numpy as np
import pandas as pd
import pytest

from profiles.solar.roof import incidence_deg
from profiles.weather.sun import sun_seen_deg

TEN_THOUSANDTH_DEG = 1e-4
MOMENT_S = np.array([pd.Timestamp("2003-10-17T12:30:30-07:00").timestamp()])


def test_zenith_and_azimuth_of_the_worked_example():
    zenith, azimuth = sun_seen_deg(39.742476, -105.1786, MOMENT_S, 820.0, 11.0, 67.0)
    assert zenith[0] == pytest.approx(50.11162, abs=TEN_THOUSANDTH_DEG)
    assert azimuth[0] == pytest.approx(194.34024, abs=TEN_THOUSANDTH_DEG)


def test_incidence_angle_of_the_worked_example():
    # The report turns a surface from south, west positive: -10 is 170 degrees clockwise from north.
    zenith, azimuth = sun_seen_deg(39.742476, -105.1786, MOMENT_S, 820.0, 11.0, 67.0)
    assert incidence_deg(30.0, 170.0, zenith, azimuth)[0] == pytest.approx(25.18700, abs=TEN_THOUSANDTH_DEG)
