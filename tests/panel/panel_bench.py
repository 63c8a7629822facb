"""Findings of small invented panels, for the tests of the panel checks."""

from simulate.panel.checks.check import check_panel
from simulate.panel.checks.finding import Finding
from tests.site.small_site import circuit, locked_pair, small_site, unit


def bench(circuits, batteries=None, *, edition="NEC 2023", **tables):
    """A site with an edition; a locked pair of units unless others are given."""
    place = {"code_edition": edition} if edition else {}
    tables["site"] = place | tables.get("site", {})
    return small_site(circuits, batteries or locked_pair(), **tables)


def findings(site, check: str, simulated=None) -> list[Finding]:
    """Findings of one check."""
    return [one for one in check_panel(site, simulated=simulated) if one.check == check]


def only(site, check: str, subject: str | None = None, simulated=None) -> Finding:
    """The one finding of a check, about one subject where it is named."""
    there = [one for one in findings(site, check, simulated) if subject in (None, one.subject)]
    assert len(there) == 1, there
    return there[0]


def both_unit(**more) -> dict:
    """One loss-free unit with 120/240 V output."""
    charging = {"breaker_a": 30, "volts": 240}
    return unit("both", **{"continuous_kw": 6.0, "charging_circuit": charging, **more})


__all__ = ["bench", "both_unit", "circuit", "findings", "locked_pair", "only", "unit"]
