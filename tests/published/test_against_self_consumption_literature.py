"""Self-consumption and self-sufficiency against the literature on photovoltaics with batteries.

1. R. Luthander, J. Widen, D. Nilsson, J. Palm, Photovoltaic self-consumption in buildings: a review, Applied Energy 142
   (2015) 80-94. Abstract, read on the publisher's page (seen-P): self-consumption is the share of the generated energy
   that is used on site; 0.5-1 kWh of storage for each kW of PV raises it by 13-24 percentage points. The abstract gives
   neither the houses nor the size of the roofs: ours is one typical house, the roof sized to its year. This is a check
   of plausibility, not of digits.
2. P. Branchetti et al. (ENEA), International Journal of Sustainable Development and Planning 17(2) (2022) 659-667.
   Abstract, read on the publisher's page (seen-P): with PV equal to the year's use, self-consumption equals
   self-sufficiency. Its 35 % without and 68 % with a battery "of the average gap" are not checked: the abstract gives
   neither the loads nor what the gap is (our house stands at 44 % without).
3. Self-sufficiency as load met by PV or by PV-charged storage, over load: the wording of German studies, read in a third
   party's text (seen-R).
"""

from dataclasses import replace

import numpy as np
import pytest

from simulate.document.audit import sources_of
from simulate.house.house import House, house_of
from simulate.house.year import run_year
from simulate.site.pools import pools_of
from tests.site.small_site import circuit, small_site, unit

POINTS = 0.5  # half the last printed digit [percentage points]
EXACT = 1e-9


@pytest.fixture(scope="module")
def house() -> House:
    """A typical house and a kilowatt of roof under one weather year, shared by every case below."""
    one_kw = {"dc_kw": 1.0, "ac_kw": 1.0, "tilt_deg": 30.0, "azimuth_deg": 180.0, "connected_at": "main-panel"}
    return house_of(
        small_site(
            [circuit("Other", 0.0)],
            [unit("both", charging_circuit={"breaker_a": 60, "volts": 240}, continuous_kw=11.0)],
            weather={"source": "library:piedmont"},
            subpanel={"mode": "interactive"},
            solar=one_kw,
            service={"other_load": {"shape": "whole-house", "annual_kwh": 10000}},
            operation={"plan": "self-consumption", "charge_from": "solar", "reserve": 0.0},
        )
    )


def roof_kw(house: House) -> float:
    """The roof that makes in a year what the house uses. [kW]"""
    return float(house.load_kw.sum() / house.solar_kw.sum())


def sources(house: House, usable_kwh: float):
    units = tuple(group.model_copy(update={"usable_kwh": usable_kwh}) for group in house.site.battery)
    site = house.site.model_copy(update={"battery": units})
    sun_kw = house.solar_kw * roof_kw(house)
    return sources_of(run_year(replace(house, site=site, pools=pools_of(site), solar_kw=sun_kw)))


@pytest.mark.parametrize("kwh_per_kw", [0.5, 1.0])
def test_storage_raises_self_consumption_by_13_to_24_points(house, kwh_per_kw):
    bare, stored = (sources(house, kwh * roof_kw(house)).self_consumption_frac for kwh in (0.0, kwh_per_kw))
    assert 13 - POINTS <= 100 * (stored - bare) <= 24 + POINTS


@pytest.mark.parametrize("kwh_per_kw", [0.0, 0.5, 1.0, 2.0])
def test_self_consumption_is_self_sufficiency_where_solar_equals_the_load(house, kwh_per_kw):
    found = sources(house, kwh_per_kw * roof_kw(house))
    assert found.kwh("solar") == pytest.approx(found.kwh("load"))
    assert found.self_consumption_frac == pytest.approx(found.self_sufficiency_frac, abs=EXACT)


def test_definitions_from_the_series(house):
    found = sources(house, 0.0)
    sun, load = house.solar_kw * roof_kw(house), house.load_kw
    both = np.minimum(sun, load).sum()
    assert found.self_consumption_frac == pytest.approx(both / sun.sum(), abs=EXACT)
    assert found.self_sufficiency_frac == pytest.approx(both / load.sum(), abs=EXACT)
    with_cells = sources(house, roof_kw(house))
    met = load.sum() - (with_cells.load_kw - with_cells.direct_kw - with_cells.delivered_kw).sum()
    assert with_cells.self_sufficiency_frac == pytest.approx(met / load.sum(), abs=EXACT)  # nothing is charged by night
    sold = with_cells.unused_kw.sum()
    assert with_cells.self_consumption_frac == pytest.approx(1 - sold / sun.sum(), abs=EXACT)
