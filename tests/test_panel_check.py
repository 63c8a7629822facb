"""The list of findings as a whole: editions, verdicts, what is printed; panels invented."""

import math
from pathlib import Path

import pytest

from simulate.panel.check import check_panel
from simulate.panel.finding import PHYSICS, Figure, by_edition, edition_year, found, section
from simulate.panel.layout import Layout
from simulate.panel.tables import SOURCES
from simulate.site import read_site
from tests.panel_bench import bench, circuit, unit

CHECKS = {
    "space", "conductor", "raceway", "feeder", "continuous-load", "inverter-continuous", "one-heater", "source-circuit",
    "source-capacity", "motor-start", "leg-balance", "two-pole-source", "shared-neutral", "charging-circuit",
    "service-headroom", "busbar", "voltage-drop", "solar-on-island", "transfer-rating", "neutral-bond",
    "protection-kept", "fault-clearing", "cold-charging", "location", "generator",
}  # fmt: skip
EXAMPLES = Path("/work/shared/examples")


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
            assert new == old
        else:
            assert new.verdict == "not-assessed"
            assert "edition not given" in new.basis
            assert old.text in new.text or old.verdict == "not-assessed"
    one = next(one for one in without if one.check == "fault-clearing")
    assert one.text.startswith("Not assessed: give site.code_edition. As computed: On battery leg A gives")


def test_an_edition_that_is_not_held_is_named():
    one = next(one for one in check_panel(everything("CSA 2021")) if one.check == "fault-clearing")
    assert one.verdict == "not-assessed"
    assert 'site.code_edition "CSA 2021" is not held (NEC 2011 to NEC 2026 are)' in one.text
    assert edition_year("NEC 2024") is None


def test_articles_that_moved():
    """NEC 2026 numbers Article 220 as 120; the ampacity table was 310.15(B)(16) before 2020 (trade press; memory)."""
    assert section("NEC 220.82, 220.83, 215.3", 2026) == "NEC 120.82, 120.83, 215.3"
    assert section("NEC 220.82", 2023) == "NEC 220.82"
    basis = {one.basis for one in check_panel(everything("NEC 2026")) if one.check == "service-headroom"}
    assert basis == {"NEC 120.82, 120.83, 215.3; NEC 2026; confirm in the adopted edition"}


def test_the_basis_names_rule_and_edition_or_common_practice():
    for one in check_panel(everything()):
        assert one.basis == "common practice" or one.basis.startswith(("NEC ", "NFPA ", "physics")), one


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
