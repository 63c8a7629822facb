"""The part of a panel's document that tells what readings changed: circuits re-rated, hours before and after."""

from __future__ import annotations

from simulate.document.study import Study
from simulate.panel.checks.layout import Layout
from simulate.panel.sheets.readings import readings_sheet
from simulate.physics.outages.spread import nine_in_ten
from simulate.site.readings import Built


def as_built_document(drawn: Study, built_study: Study, built: Built) -> dict:
    """Readings beside what was expected, what was re-rated, and the hours anew.

    Parameters
    ----------
    drawn, built_study : Study
        Of the site as it was drawn and as it was built.
    built : Built
    """
    made = readings_sheet(Layout(drawn.site), built)
    return {
        "revision": built.readings.revision,
        "readings": [dict(zip(made["columns"], row, strict=True)) for row in made["rows"]],
        "rerated": [{"key": one.key, "was": one.was, "now": one.now, "why": one.why} for one in built.changes],
        "kept": list(built.kept),
        "hours_p10": {"drawn": nine_in_ten(drawn.ride.hours), "built": nine_in_ten(built_study.ride.hours)},
        "fail": {name: _fails(one) for name, one in (("drawn", drawn), ("built", built_study))},
    }


def _fails(study: Study) -> int:
    return sum(finding.verdict == "fail" for finding in study.findings)
