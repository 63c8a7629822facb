"""Against NEC 710.15(A) and 702: what a stand-alone and an optional standby source must carry.

710.15(A), 2017 edition, read in a reproduction (thenecwiki.com, Article 710): "The capacity of the stand-alone supply
shall be equal to or greater than the load posed by the largest single utilization equipment connected to the system."
702, code-panel proposal 13-168 of 2008, read in a reproduction: manual transfer, all equipment intended to be operated at
one time; automatic transfer, the full load or what a load-management system connects. Section numbers from memory.
The loads are those of the check, derived from the text.
"""

import pytest

from tests.panel.panel_bench import bench, circuit, only, unit

LOADS = [
    circuit("Lights", 0.1, "A", kind="lighting", running_w=700),
    circuit("Pump", 0.1, "A", kind="motor", running_w=1500),
    circuit("Water heater", 0.1, "A", kind="water-heater", running_w=5500),
]


def capacity(kw, **panel):
    return only(bench(LOADS, [unit("A", continuous_kw=kw)], subpanel=panel), "source-capacity")


def test_stand_alone_carries_the_largest_single_equipment():
    """0.7, 1.5 and 5.5 kW: 5.4 kW is too small and names the 5.5 kW circuit; 5.5 kW passes though the sum is 7.7."""
    small = capacity(5.4, mode="interactive")
    assert (small.verdict, small.value) == ("fail", 5.5)
    assert "Water heater" in small.text
    enough = capacity(5.5, mode="interactive")
    assert (enough.verdict, enough.margin) == ("pass", 0.0)
    assert "full load would be 7.70 kW" in enough.text


@pytest.mark.parametrize(
    ("panel", "required_kw"),
    [
        ({"transfer": {"kind": "manual"}, "at_one_time": ["Lights", "Pump"]}, 2.2),
        ({"transfer": {"kind": "automatic"}}, 7.7),
        ({"transfer": {"kind": "automatic"}, "load_control": "automatic", "load_control_kw": 4.0}, 4.0),
    ],
    ids=["manual", "automatic", "managed"],
)
def test_optional_standby_by_kind_of_transfer(panel, required_kw):
    """Manual: the selected set; automatic: all; managed: the cap."""
    assert capacity(required_kw, **panel).value == pytest.approx(required_kw)
    assert capacity(required_kw, **panel).verdict == "pass"
    assert capacity(required_kw - 0.1, **panel).verdict == "fail"
