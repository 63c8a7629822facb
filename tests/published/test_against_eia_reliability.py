"""Against the reliability tables of the US Energy Information Administration, and a study of long outages.

Sources: EIA Electric Power Annual, Table 11.1 (years 2014 to 2023) and Table 11.3 (states, any method), read on the
publisher's page; the 2023 triple "any method, without major events" was cut off and is left out. Long outages: Do et al.,
Nature Communications 14:2470 (2023), abstract read on the publisher's page; they are county events, not households.
The unserved energy is derived from the table, it is not printed there.
"""

import numpy as np
import pytest

from simulate.house.interruptions import Interruptions, indices_in, indices_out, spread_through
from simulate.house.reliability import unserved_kwh

PRINTED_MIN, STATE_MIN = 0.2, 0.3  # rounding of the printed SAIDI and SAIFI carried into CAIDI [min]

YEARS = {
    2014: "236.2 1.257 188 114.2 1.038 110 244.8 1.202 203.7 219 1.22 179.6 109.7 1.019 107.7",
    2015: "209 1.275 163.9 117 1.073 109.1 198.2 1.163 170.4 205 1.246 164.5 113.1 1.046 108.1",
    2016: "268.4 1.327 202.2 119.8 1.082 110.7 257 1.23 209 249.2 1.292 192.9 116.9 1.062 110",
    2017: "505.9 1.42 356.2 117 1.023 114.3 489.6 1.254 390.6 473.1 1.394 339.3 114.4 1.007 113.6",
    2018: "349.2 1.34 260.5 121.4 1.051 115.5 338.5 1.193 283.8 346.4 1.325 261.5 117.2 1.028 114",
    2019: "295.5 1.332 221.8 122.2 1.04 117.5 289.1 1.189 243 284.6 1.325 214.8 118.6 1.017 116.6",
    2020: "456.1 1.385 329.3 116 1.013 114.5 460.5 1.238 371.9 491.9 1.44 341.7 119 1.037 114.7",
    2021: "475.8 1.436 331.2 125.7 1.039 120.9 404.5 1.294 312.6 440 1.425 308.8 121.5 1.025 118.5",
    2022: "333 1.426 233.5 131.1 1.09 120.2 324.7 1.315 246.9 335.5 1.405 238.8 125.7 1.064 118.1",
    2023: "366.6 1.348 271.8 123.9 1.022 121.3 357.7 1.242 288 342 1.333 256.6",
}
STATES_2023_2022 = (
    (1863, 3.314, 562.2),
    (963.6, 3.001, 321.1),
)
TRIPLES = [
    (year, *map(float, row.split()[k : k + 3])) for year, row in YEARS.items() for k in range(0, len(row.split()), 3)
]


def test_every_complete_triple_is_there():
    assert len(TRIPLES) == 49


@pytest.mark.parametrize(("year", "saidi_min", "saifi", "caidi_min"), TRIPLES)
def test_caidi_is_saidi_over_saifi(year, saidi_min, saifi, caidi_min):
    kinds = [Interruptions(saifi, saidi_min / saifi / 60.0, 1.4)]
    found = indices_out(np.zeros(3), kinds)  # a circuit without a battery sees what the utility does
    assert found["caidi_h"] * 60.0 == pytest.approx(caidi_min, abs=PRINTED_MIN)
    assert found["saidi_h"] * 60.0 == pytest.approx(saidi_min, rel=1e-12)
    assert indices_in(kinds)["saifi"] == saifi


@pytest.mark.parametrize(("saidi_min", "saifi", "caidi_min"), STATES_2023_2022)
def test_maine(saidi_min, saifi, caidi_min):
    assert indices_in([Interruptions(saifi, saidi_min / saifi / 60.0, 1.0)])["caidi_h"] * 60.0 == pytest.approx(
        caidi_min, abs=STATE_MIN
    )


def test_unserved_energy_of_half_a_kilowatt_in_2022():
    saidi_min, saifi = 335.5, 1.405
    for sigma in (0.0, 1.0, 1.4, 1.8):
        kinds = [Interruptions(saifi, saidi_min / saifi / 60.0, sigma)]
        kwh = unserved_kwh(np.full(8760, 0.5), np.zeros(9), np.arange(9), kinds, step_h=1.0, horizon_h=336.0)
        assert kwh == pytest.approx(np.full(9, 2.796), abs=5e-4)


def test_share_of_long_outages():
    """17,484 of 231,174 outages of an hour or more lasted eight or more: 7.56 %."""
    share = 17_484 / 231_174
    sigma = spread_through(2.0, share)
    durations = Interruptions(1.0, 2.0, sigma)
    drawn = np.exp(durations.mu + sigma * np.random.default_rng(11).standard_normal(400_000))
    counted = (drawn >= 8.0).sum() / (drawn >= 1.0).sum()
    sampling = np.sqrt(share * (1.0 - share) / (drawn >= 1.0).sum())
    assert counted == pytest.approx(0.0756, abs=4.0 * sampling + 5e-5)
    assert drawn.mean() == pytest.approx(2.0, rel=0.03)
