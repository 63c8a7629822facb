"""Power checks: worked scenarios S11, S13-S15, S45 and NEC 702.4, 710.15(A); panels invented."""

import pytest

from simulate.panel.checks.layout import Layout, Simulated
from simulate.panel.checks.power import neutral_a, source_kw
from tests.panel.panel_bench import bench, both_unit, circuit, findings, locked_pair, only, unit

S11 = [
    circuit("Fridge", 0.1, "A", kind="cooking", running_w=700, priority=1),
    circuit("Furnace", 0.1, "A", kind="cooking", running_w=800, priority=1),
    circuit("Well", 0.1, "A", kind="cooking", running_w=1500, priority=2),
    circuit("Microwave", 0.1, "A", kind="cooking", running_w=1600, priority=3),
    circuit("Range", 0.1, "A", kind="cooking", running_w=3000, priority=4),
]


def test_everything_on_above_the_limit_fails_and_says_trip():
    one = only(bench(S11, [unit("A", continuous_kw=6.0)]), "inverter-continuous")
    assert (one.subject, one.verdict, one.unit) == ("leg A", "fail", "kW")
    assert one.value == pytest.approx(7.6)
    assert one.margin == pytest.approx(-1.6)
    assert "everything on 7.60 kW" in one.text
    assert "a trip, not a share" in one.text


def test_automatic_load_control_is_marginal_and_names_what_is_off():
    panel = {"load_control": "automatic", "load_control_kw": 5.0}
    one = only(bench(S11, [unit("A", continuous_kw=6.0)], subpanel=panel), "inverter-continuous")
    assert one.verdict == "marginal"
    assert "leaves 4.60 kW with Range off" in one.text


def test_only_the_largest_two_within_is_marginal():
    plugs = [circuit(f"Plugs {k}", 0.1, "A", kind="receptacle", running_w=100, largest_w=1500) for k in range(3)]
    one = only(bench(plugs, [unit("A", continuous_kw=3.5)]), "inverter-continuous")
    assert (one.verdict, one.value) == ("marginal", pytest.approx(4.5))
    assert "the largest two plus what always runs 3.10 kW" in one.text
    assert "everything on trips the unit" in one.text


def test_largest_two_stand_on_top_of_what_always_runs():
    """A steady 2 kW is no appliance that somebody adds: both heaters come on top of it."""
    steady = circuit("Steady", 0.1, "A", kind="heat", running_w=2000)
    plugs = [circuit(f"Plugs {k}", 0.1, "A", kind="receptacle", running_w=100, largest_w=1500) for k in range(2)]
    one = only(bench([steady, *plugs], [unit("A", continuous_kw=4.0)]), "inverter-continuous")
    assert (one.verdict, one.value) == ("fail", pytest.approx(5.0))


def test_everything_within_passes_with_its_margin():
    one = only(bench(S11[:2], [unit("A", continuous_kw=1.5)]), "inverter-continuous")
    assert (one.verdict, one.margin) == ("pass", pytest.approx(0.0))
    assert "everything on fits" in one.text


def test_power_is_never_taken_from_an_average():
    """S45: quarter-hours of 6.5, 0.5, 0.5, 0.5 kW have an hourly mean of 2.0 kW, and 5 kW would seem enough."""
    site = bench([circuit("Kitchen", 2.0, "A", kind="small-appliance")], [unit("A", continuous_kw=5.0)])
    one = only(site, "inverter-continuous", simulated=Simulated(mean_kw={"A": 2.0}, step_h=1.0))
    assert one.verdict == "not-assessed"
    assert 'circuit "Kitchen".running_w' in one.text
    assert 'circuit "Kitchen".largest_w' in one.text
    assert "2.00 kW at 60-minute steps, energy only: short overloads are not seen" in one.text


def test_minute_steps_need_no_warning():
    site = bench(S11[:2], [unit("A")])
    one = only(site, "inverter-continuous", simulated=Simulated(mean_kw={"A": 1.0}, step_h=5 / 60))
    assert one.text.endswith("Simulated mean of the highest step: 1.00 kW.")


def test_largest_is_asked_of_what_is_plugged_in_only():
    site = bench([circuit("Lights", 0.1, "A", kind="lighting", running_w=90)], [unit("A")])
    assert only(site, "inverter-continuous").verdict == "pass"


def test_a_leg_without_a_unit_fails_by_name():
    one = only(bench([circuit("Den", 0.1, "B", running_w=90)], [unit("A")]), "inverter-continuous")
    assert (one.subject, one.verdict) == ("leg B", "fail")
    assert one.text.startswith("No battery unit feeds leg B: Den never carried.")


def test_a_unit_on_both_legs_has_limits_per_leg_and_together():
    loads = [circuit("A load", 0.1, "A", running_w=2500), circuit("Pump", 0.1, "AB", running_w=2000)]
    seen = {one.subject: one for one in findings(bench(loads, [both_unit()]), "inverter-continuous")}
    assert (seen["leg A"].value, seen["leg A"].limit, seen["leg A"].verdict) == (3.5, 3.0, "fail")
    assert (seen["leg B"].value, seen["leg B"].verdict) == (1.0, "pass")
    assert (seen["both legs"].value, seen["both legs"].limit, seen["both legs"].verdict) == (4.5, 6.0, "pass")


def test_the_output_breaker_limits_a_unit():
    one = only(bench(S11[:2], [unit("A", continuous_kw=6.0, output_breaker_a=20)]), "inverter-continuous")
    assert one.limit == pytest.approx(0.8 * 20 * 0.12)


def test_one_heater_trips_a_leg_and_costs_hours():
    plugs = circuit("Plugs", 0.1, "A", kind="receptacle", running_w=160, largest_w=300)
    base = circuit("Furnace", 0.1, "A", kind="hvac", running_w=500)
    one = only(
        bench([plugs, base], [unit("A", continuous_kw=2.0)]), "one-heater", simulated=Simulated(average_kw={"A": 0.5})
    )
    assert (one.subject, one.verdict) == ("Plugs", "fail")
    assert one.value == pytest.approx(1.5 + 0.16 + 0.5)
    assert "trips leg A (2.00 kW)" in one.text
    assert "One hour of it takes 1.50 kWh from the cells: 3.0 h of the average load." in one.text
    assert only(bench([plugs, base], [unit("A", continuous_kw=2.2)]), "one-heater").verdict == "pass"
    assert "does not trip" in only(bench([plugs, base], [unit("A", continuous_kw=2.2)]), "one-heater").text


def test_one_heater_cost_counts_losses_and_no_load_draw():
    plugs = circuit("Plugs", 0.1, "A", kind="receptacle", running_w=100, largest_w=300)
    site = bench([plugs], [unit("A", discharge_efficiency=0.9, no_load_w=100.0)])
    text = only(site, "one-heater", simulated=Simulated(average_kw={"A": 0.45})).text
    assert "takes 1.67 kWh from the cells: 2.8 h" in text


def test_one_heater_is_asked_of_receptacles_only():
    assert findings(bench(S11, [unit("A")]), "one-heater") == []
    plugs = circuit("Plugs", 0.1, "A", kind="receptacle")
    assert 'give circuit "Plugs".running_w' in only(bench([plugs], [unit("A")]), "one-heater").text


def capacity(kw, mode="transfer", **panel):
    return only(bench(S11, [unit("A", continuous_kw=kw)], subpanel={"mode": mode, **panel}), "source-capacity")


def test_automatic_transfer_carries_the_full_load():
    assert (capacity(7.6).verdict, capacity(7.5).verdict) == ("pass", "fail")
    one = capacity(7.6)
    assert one.basis == "NEC 702.4; NEC 2023; confirm in the adopted edition"
    assert "the full transferred load must be carried (702.4): 7.60 kW of 7.60 kW" in one.text
    assert "By 710.15(A) it would be Range, 3.00 kW. Some authorities apply the other article." in one.text


def test_automatic_load_control_states_its_cap():
    assert capacity(5.0, load_control="automatic", load_control_kw=5.0).verdict == "pass"
    small = capacity(4.0, load_control="automatic", load_control_kw=5.0)
    assert (small.verdict, small.value) == ("fail", 5.0)
    assert "the most that it connects must be carried" in small.text
    one = capacity(5.0, load_control="automatic")
    assert (one.verdict, "subpanel.load_control_kw" in one.text) == ("not-assessed", True)


def test_by_hand_load_control_is_no_load_management():
    assert capacity(5.0, load_control="by-hand").verdict == "fail"


def test_manual_transfer_carries_what_runs_at_one_time():
    manual = {"transfer": {"kind": "manual"}}
    assert "subpanel.at_one_time" in capacity(5.0, **manual).text
    one = capacity(5.0, at_one_time=["Fridge", "Furnace", "Range"], **manual)
    assert (one.verdict, one.value) == ("pass", pytest.approx(4.5))
    assert "Manual transfer: what is intended to run at one time" in one.text
    assert "which is not on the sub-panel" in capacity(5.0, at_one_time=["Frige"], **manual).text


def test_interactive_mode_carries_the_largest_single_equipment():
    assert (capacity(3.0, "interactive").verdict, capacity(2.9, "interactive").verdict) == ("pass", "fail")
    one = capacity(2.9, "interactive")
    assert "The largest single equipment, Range at 3.00 kW, must be carried (710.15(A))" in one.text
    assert "By 702.4 the full load would be 7.60 kW. Some authorities apply the other article." in one.text
    assert one.basis.startswith("NEC 710.15(A)")


def test_source_capacity_needs_power_keys():
    site = bench([circuit("Den", 0.1)], [unit("A")])
    assert 'give circuit "Den".running_w' in only(site, "source-capacity").text
    assert source_kw(Layout(site))[0] is None


def test_s14_currents_and_the_neutral():
    """S14: A 1200 W, B 600 W, two-pole 1440 W: 16 A, 11 A, neutral 5 A."""
    loads = [
        circuit("A", 0.1, "A", running_w=1200),
        circuit("B", 0.1, "B", running_w=600),
        circuit("Two-pole", 0.1, "AB", running_w=1440),
    ]
    text = only(bench(loads), "leg-balance").text
    assert "(16.0 A)" in text
    assert "(11.0 A)" in text
    assert "neutral 5.0 A" in text


def test_neutral_of_two_legs_of_a_wye():
    """sqrt(A^2 + B^2 - A B): equal legs leave a full current in the neutral, one leg alone its own."""
    assert neutral_a(10.0, 10.0, "120/208") == pytest.approx(10.0)
    assert neutral_a(10.0, 0.0, "120/208") == pytest.approx(10.0)
    assert neutral_a(10.0, 10.0, "120/240") == 0.0


@pytest.mark.parametrize(("b_w", "verdict"), [(800, "pass"), (799, "marginal"), (0, "marginal")])
def test_balance_is_common_practice_and_never_fails(b_w, verdict):
    loads = [circuit("A", 0.1, "A", running_w=1000), circuit("B", 0.1, "B", running_w=b_w)]
    one = only(bench(loads), "leg-balance")
    assert (one.verdict, one.basis) == (verdict, "common practice")
    assert "of the larger apart" in one.text


def test_balance_asks_for_two_fed_legs_and_running_power():
    assert findings(bench([circuit("A", 0.1, "A", running_w=1000)], [unit("A")]), "leg-balance") == []
    assert "running_w" in only(bench([circuit("A", 0.1, "A")], locked_pair()), "leg-balance").text


def test_two_pole_circuits_that_are_never_carried_load_no_leg():
    loads = [circuit("A", 0.1, "A", running_w=1000), circuit("Pump", 0.1, "AB", running_w=4000)]
    one = only(bench(loads, [unit("A", continuous_kw=1.2)]), "inverter-continuous")
    assert (one.subject, one.verdict, one.value) == ("leg A", "pass", 1.0)


def test_the_heater_test_includes_medical_circuits_and_plugs_of_a_kilowatt():
    """A 1,500 W heater may be plugged into what a medical device hangs on, and into any plug that takes 1,000 W."""
    loads = [
        circuit("Oxygen", 0.1, kind="medical", running_w=350),
        circuit("Counter", 0.1, kind="small-appliance", running_w=100, largest_w=1000),
        circuit("Small plug", 0.1, kind="small-appliance", running_w=100, largest_w=900),
        circuit("Lights", 0.1, kind="lighting", running_w=100),
    ]
    found = findings(bench(loads, [unit("A", continuous_kw=6.0)]), "one-heater")
    assert [one.subject for one in found] == ["Oxygen", "Counter"]
