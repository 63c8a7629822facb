"""The list of findings as a whole: editions, verdicts, what is printed; panels invented."""

import math
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulate.panel.checks.check import check_panel
from simulate.panel.checks.finding import PHYSICS, Figure, by_edition, found
from simulate.panel.checks.layout import Layout
from simulate.panel.checks.tables import SOURCES
from simulate.panel.sheets.sheets import sheets
from simulate.site.editions import edition_year, section
from simulate.site.site import read_site
from tests.panel.panel_bench import bench, circuit, locked_pair, unit

CHECKS = {
    "space",
    "conductor",
    "raceway",
    "feeder",
    "continuous-load",
    "inverter-continuous",
    "one-heater",
    "source-circuit",
    "source-capacity",
    "motor-start",
    "leg-balance",
    "two-pole-source",
    "shared-neutral",
    "charging-circuit",
    "service-headroom",
    "busbar",
    "voltage-drop",
    "solar-on-island",
    "transfer-rating",
    "neutral-bond",
    "protection-kept",
    "fault-clearing",
    "cold-charging",
    "location",
    "generator",
}
EXAMPLES = Path(__file__).parents[3] / "shared" / "examples"


def everything(edition="NEC 2023"):
    """A panel that every check applies to."""
    loads = [
        circuit("Lights", 0.1, "A", kind="lighting", running_w=100),
        circuit("Plugs", 0.1, "A", kind="receptacle", running_w=100, largest_w=1500),
        circuit("West", 0.1, "A", multiwire_with="East", running_w=100),
        circuit("East", 0.1, "B", running_w=100),
        circuit("Pump", 0.1, "AB", kind="motor", running_w=800, motor={"hp": 0.5}),
    ]
    solar = {"dc_kw": 3.6, "tilt_deg": 25.0, "azimuth_deg": 180.0, "connected_at": "sub-panel"}
    generator = {"kw": 4.0, "connection": "interlocked-inlet"}
    return bench(loads, edition=edition, subpanel={"build": "fed"}, solar=solar, generator=generator)


def test_every_check_of_the_list_and_no_other():
    assert {one.check for one in check_panel(everything())} == CHECKS


def test_findings_are_whole():
    for one in check_panel(everything()):
        assert one.verdict in ("pass", "marginal", "fail", "not-assessed")
        assert one.text.endswith(".")
        assert one.basis
        assert list(vars(one)) == ["check", "subject", "verdict", "value", "limit", "margin", "unit", "basis", "text"]
        for number in (one.value, one.limit, one.margin):
            assert number is None or math.isfinite(number), one


def test_without_an_edition_the_codes_own_checks_are_not_assessed():
    with_edition, without = check_panel(everything()), check_panel(everything(None))
    for old, new in zip(with_edition, without, strict=True):
        if new.check in PHYSICS:
            assert (new.check, new.verdict, new.value, new.limit) == (old.check, old.verdict, old.value, old.limit)
        else:
            assert new.verdict == "not-assessed"
            assert "edition not given" in new.basis
            assert old.text[:40] in new.text or old.verdict == "not-assessed"
    one = next(one for one in without if one.check == "fault-clearing")
    assert one.text.startswith("Not assessed: give site.code_edition. As computed: On battery leg A gives")


def test_an_edition_that_is_not_held_is_named():
    one = next(one for one in check_panel(everything("NEC 2008")) if one.check == "fault-clearing")
    assert one.verdict == "not-assessed"
    assert 'site.code_edition "NEC 2008" is not held (NEC 2011 to NEC 2026 are)' in one.text
    assert edition_year("NEC 2024") is None


def test_articles_that_moved():
    """NEC 2026 numbers Article 220 as 120; the ampacity table was 310.15(B)(16) before 2020 (trade press; memory)."""
    assert [section("optional", year) for year in (2023, 2026)] == ["220.82", "120.82"]
    basis = {one.basis for one in check_panel(everything("NEC 2026")) if one.check == "service-headroom"}
    assert basis == {"NEC Article 120, 215.3, 230.42; NEC 2026; confirm in the adopted edition"}


def test_the_basis_names_rule_and_edition_or_common_practice():
    for one in check_panel(everything()):
        assert one.basis == "common practice" or one.basis.startswith(("NEC ", "NFPA ", "physics")), one


def test_common_practice_carries_no_edition():
    old = found("leg-balance", "legs", "marginal", Figure(0.3, 0.2), "common practice", "Apart.")
    assert by_edition(old, "NEC 2023") == old
    assert (
        by_edition(found("space", "s", "pass", Figure(), "common practice", "Fits."), "NEC 2023").basis
        == "common practice"
    )
    assert section("ampacity", 2017) == "310.15(B)(16)"


def test_a_finding_keeps_its_margin_without_an_edition():
    old = found("busbar", "main panel", "fail", Figure(250.0, 240.0, "A"), "NEC 705.12(B)", "Too much.")
    new = by_edition(old, None)
    assert (new.verdict, new.value, new.margin) == ("not-assessed", 250.0, -10.0)


def test_margins_are_what_is_left():
    assert Figure(3.0, 5.0).margin == 2.0
    assert Figure(3.0, 5.0, at_least=True).margin == -2.0
    assert Figure(None, 5.0).margin is None
    assert not Figure(None, 5.0).met
    assert Figure(20.0 + 1e-12, 20.0).met
    assert not Figure(math.nan, 5.0).met


def test_no_word_that_promises():
    words = " ".join(one.text + one.basis for one in check_panel(everything())).lower()
    for promise in ("safe", "compliant", "guarantee", "score"):
        assert promise not in words


def test_names_are_data_and_stay_as_they_are():
    site = bench([circuit("<script>alert(1)</script>", 0.1)], [unit("A")])
    assert any("<script>" in one.subject for one in check_panel(site))


def test_the_only_leg_with_a_unit_is_the_default():
    loads = [{"name": "One", "breaker_a": 20, "load": {"kw": 0.1}}]
    assert Layout(bench(loads, [unit("B")])).legs_of(bench(loads, [unit("B")]).circuit[0]) == ("B",)
    assert Layout(bench(loads)).legs_of(bench(loads).circuit[0]) == ("A",)


def test_every_table_has_a_source_and_a_certainty():
    for name, source in SOURCES.items():
        assert "NEC" in source, name
        assert "seen" in source or "memory" in source, name


maybe = lambda strategy: st.one_of(st.none(), strategy)
watts = st.integers(0, 6000)
MOTORS = st.fixed_dictionaries(
    {},
    optional={
        "hp": st.sampled_from([0.25, 0.5, 1.0, 3.0]),
        "code_letter": st.sampled_from("AGKV"),
        "lra_a": st.floats(1, 200),
        "inrush_a": st.floats(1, 200),
        "at_volts": st.sampled_from([115.0, 120.0, 230.0]),
        "soft_start": st.booleans(),
        "start_s": st.floats(0.1, 5.0),
    },
)
CIRCUITS = st.fixed_dictionaries(
    {
        "on": st.sampled_from(["sub-panel", "sub-panel", "main", "candidate"]),
        "breaker_a": st.sampled_from([15, 20, 30, 50]),
        "poles": st.sampled_from([1, 1, 2]),
        "load": st.just({"kw": 0.1}),
    },
    optional={
        "kind": st.sampled_from(["lighting", "receptacle", "motor", "hvac", "heat", "ev"]),
        "running_w": watts,
        "largest_w": watts,
        "priority": st.integers(1, 3),
        "motor": MOTORS,
        "mca_a": st.floats(1, 60),
        "mocp_a": st.floats(15, 60),
        "wire": st.fixed_dictionaries(
            {"awg": st.sampled_from(["12", "10", "6", "1/0"])},
            optional={"material": st.sampled_from(["Cu", "Al"]), "length_ft": st.floats(1, 300)},
        ),
        "gfci": st.sampled_from(["breaker", "device", "none"]),
        "afci": st.sampled_from(["breaker", "none"]),
        "room": st.sampled_from(["kitchen", "bedroom", "other", "garage"]),
        "main_space": st.integers(1, 12),
    },
)
UNITS = st.fixed_dictionaries(
    {"count": st.integers(0, 3), "continuous_kw": st.floats(0.5, 12.0)},
    optional={
        "surge_kva": st.floats(1, 30),
        "surge_s": st.floats(0.1, 5),
        "output_breaker_a": st.sampled_from([20, 35, 60]),
        "output_wire_awg": st.sampled_from(["10", "6"]),
        "charge_kw": st.floats(0.5, 9),
        "charge_adjustable": st.booleans(),
        "takes_back_kw": st.floats(0, 9),
        "nameplate_kwh": st.floats(5, 30),
        "place": st.sampled_from(["garage", "basement"]),
        "heated": st.booleans(),
        "temperature": st.just({"min_charge_c": 0.0}),
        "neutral_bond": st.sampled_from(["floating", "bonded", "switches"]),
    },
)
PANELS = st.fixed_dictionaries(
    {},
    optional={
        "mode": st.sampled_from(["transfer", "interactive"]),
        "build": st.sampled_from(["fed", "pass-through"]),
        "bus_a": st.sampled_from([60, 125]),
        "neutral": st.sampled_from(["solid", "switched"]),
        "load_control": st.sampled_from(["none", "by-hand", "automatic"]),
        "load_control_kw": st.floats(0.1, 9),
        "feeder": st.just({"breaker_a": 60, "awg": "6", "length_ft": 20.0}),
        "raceways": st.sampled_from(
            [
                [{"length_in": 40.0, "conductors": 8}],
                [{"length_in": 80.0, "awg": "10", "trade_size": "3/4"}],
                [{"length_in": 20.0}, {"length_in": 30.0}],
            ]
        ),
        "parallel_units": st.booleans(),
        "surge_protection": st.booleans(),
        "terminals_c": st.sampled_from([60, 75]),
        "power_control": st.booleans(),
        "transfer": st.just({"kind": "manual", "rated_a": 20}),
        "spaces": st.just([{"poles": 1, "max_breaker_a": 20, "count": 3}, {"poles": 2, "max_breaker_a": 30}]),
    },
)
SERVICES = st.fixed_dictionaries(
    {"system": st.sampled_from(["120/240", "120/208"])},
    optional={
        "main_breaker_a": st.sampled_from([60, 100, 200]),
        "bus_a": st.sampled_from([100, 200]),
        "calculated_load_va": st.floats(0, 60000),
        "free_spaces": st.integers(0, 6),
        "spaces": st.sampled_from([12, 30]),
        "free_at": st.sampled_from([[], [9, 11], [9, 10, 11, 12]]),
        "gutter_in2": st.floats(0.1, 9),
        "fault_current_ka": st.floats(1, 30),
        "interrupting_ka": st.sampled_from([10.0, 22.0]),
        "emergency_disconnect": st.booleans(),
        "load_method": st.sampled_from(["220.82", "standard", "220.83", "220.87", "other"]),
        "calculation": st.just({"floor_area_ft2": 1500.0, "heat_pump_va": 4000.0}),
    },
)
SOLARS = st.fixed_dictionaries(
    {
        "dc_kw": st.floats(1, 12),
        "tilt_deg": st.just(20.0),
        "azimuth_deg": st.just(180.0),
        "connected_at": st.sampled_from(["main-panel", "sub-panel", "battery"]),
    },
    optional={
        "ac_kw": st.floats(1, 12),
        "curtails": st.sampled_from(["smooth", "steps", "no"]),
        "opposite_end": st.booleans(),
    },
)


def drawn(circuits, units, output, panel, service, solar):
    loads = []
    for k, one in enumerate(circuits):
        leg = {} if one["poles"] == 2 else {"leg": "AB"[k % 2]}
        loads.append({"name": f"C{k}", **one, **leg})
    both = {"charging_circuit": {"breaker_a": 30, "volts": 120 if service["system"] == "120/208" else 240}}
    batteries = {
        "A": [unit("A", **units)],
        "locked": locked_pair(**units),
        "AB": [unit("A", **units), unit("B", **units)],
        "both": [unit("both", **units | both)],
    }[output]
    tables = {"solar": solar} if solar else {}
    return bench(loads, batteries, subpanel=panel, service=service, **tables)


ANY_SITE = st.tuples(
    st.lists(CIRCUITS, min_size=1, max_size=6),
    UNITS,
    st.sampled_from(["A", "locked", "AB", "both"]),
    PANELS,
    SERVICES,
    maybe(SOLARS),
)


@settings(max_examples=80)
@given(ANY_SITE)
def test_any_panel_gets_findings_that_agree_with_themselves(parts):
    """No panel breaks a check; a pass has nothing missing from its margin, a fail has."""
    site = drawn(*parts)
    for one in check_panel(site):
        assert one.check in CHECKS
        for number in (one.value, one.limit, one.margin):
            assert number is None or math.isfinite(number), one
        if one.margin is not None and one.verdict == "pass":
            assert one.margin >= -1e-9, one
        if one.margin is not None and one.verdict == "fail":
            assert one.margin < 0, one
        if one.verdict == "not-assessed":
            assert "give " in one.text, one
    made = sheets(site, check_panel(site))
    assert "<svg" in made["one-line"]["svg"]


@settings(max_examples=25)
@given(ANY_SITE)
def test_the_order_of_the_circuits_changes_no_finding(parts):
    """Every figure and verdict stays; where two conductors are equally tight in a raceway, either may be named."""
    site = drawn(*parts)
    turned = site.model_copy(update={"circuit": site.circuit[::-1]})
    turned._file = site.file
    key = lambda one: (
        one.check,
        one.subject,
        one.verdict,
        one.unit,
        *(round(x, 9) if x is not None else None for x in (one.value, one.limit)),
    )
    same = lambda s: sorted(map(str, (key(one) for one in check_panel(s) if one.check != "raceway")))
    assert same(site) == same(turned)


@pytest.mark.skipif(not EXAMPLES.exists(), reason="the worked examples are not on this machine")
def test_a_worked_site():
    """Margins of an invented job, added up by hand."""
    seen = {(one.check, one.subject): one for one in check_panel(read_site(EXAMPLES / "quarry-hill.toml"))}
    assert seen["inverter-continuous", "leg B"].value == pytest.approx(0.52 + 1.5 + 0.85 + 1.5 + 0.725)
    assert seen["inverter-continuous", "leg B"].verdict == "fail"
    assert seen["raceway", "raceway 1"].verdict == "pass"
    assert seen["shared-neutral", "Kitchen counter west / Kitchen counter east"].verdict == "pass"
    assert seen["source-circuit", "Leg A unit"].value == pytest.approx(3200 / 120 * 1.25)
    assert seen["service-headroom", "service"].value == pytest.approx(21400 / 240 + 1.25 * 2800 / 120)
    assert seen["busbar", "main panel"].value == pytest.approx(200 + 1.25 * 12.5)


@pytest.mark.skipif(not EXAMPLES.exists(), reason="the worked examples are not on this machine")
def test_the_least_site_passes_nothing_that_it_cannot_know():
    for one in check_panel(read_site(EXAMPLES / "one-unit.toml")):
        assert one.verdict == "not-assessed", one
