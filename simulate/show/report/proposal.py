"""The proposal: two printed pages for the client, every number of them under its key in summary.json."""

from __future__ import annotations

import calendar
from pathlib import Path

from profiles.files import written
from simulate.document.study import Study
from simulate.show.report.keyed import Keyed
from simulate.show.report.page import template

PAPERS = {"letter": ("USD", "CAD", "MXN")}
"""Currencies of the places that print on letter; all others print on A4."""
FULL_H = 48.0
"""Hours from which the map of months is lightest. [h]"""
STEPS = {
    "today": "What you pay today",
    "rate": "On the new rate",
    "solar": "With solar",
    "battery": "With the battery",
}


def write_proposal(study: Study, path: str | Path) -> None:
    """Write the proposal as one HTML file, beside its place and renamed.

    Parameters
    ----------
    study : Study
    path : path
    """
    text = proposal_html(study)
    with written(path) as beside:
        beside.write_text(text, encoding="utf-8")


def proposal_html(study: Study, *, paper: str | None = None) -> str:
    """The proposal as text.

    Parameters
    ----------
    study : Study
    paper : str, optional
        "letter" or "A4"; without it as the currency suggests.
    """
    document = study.summary
    said = document["proposal"]
    currency = document["bill"]["currency"]
    return template("proposal.html").render(
        document=document,
        said=said,
        v=Keyed(document),
        currency=currency,
        paper=paper or ("letter" if currency in PAPERS["letter"] else "A4"),
        step_words=STEPS,
        bars=bars_of([step["total"] for step in said["steps"]]),
        cells=[cell_of(hours) for hours in said["hours_by_month"]],
        month_names=list(calendar.month_abbr)[1:],
        halves=halves_of(len(said["circuits"])),
        not_met=[k for k, one in enumerate(document["panel"]["findings"]) if one["verdict"] == "fail"],
        charging=charging_of(said["units"]),
        manual=study.site.subpanel.transfer.kind == "manual",
    )


def bars_of(totals: list[float]) -> list[tuple[float, float]]:
    """Left end and width of each bill's bar, as shares of the widest span; a credit hangs to the left of zero.

    Examples
    --------
    >>> bars_of([100.0, 50.0]), bars_of([-50.0, 50.0])
    ([(0.0, 1.0), (0.0, 0.5)], [(0.0, 0.5), (0.5, 0.5)])
    """
    low, high = min(0.0, *totals), max(0.0, *totals)
    span = (high - low) or 1.0
    return [((min(total, 0.0) - low) / span, abs(total) / span) for total in totals]


def cell_of(hours: float) -> str:
    """Shade of a month, dark is short, pale enough for our ink on every shade; the scale ends at 48 h on every site.

    Examples
    --------
    >>> cell_of(0.0), cell_of(96.0)
    ('#8ba1c0', '#fff3c4')
    """
    share = min(hours / FULL_H, 1.0)
    shade = [round(a + (b - a) * share) for a, b in zip((0x8B, 0xA1, 0xC0), (0xFF, 0xF3, 0xC4), strict=True)]
    return "#" + "".join(f"{one:02x}" for one in shade)


def halves_of(n: int) -> list[range]:
    """Circuits side by side where they are more than six.

    Examples
    --------
    >>> halves_of(3), halves_of(9)
    ([range(0, 3)], [range(0, 5), range(5, 9)])
    """
    middle = (n + 1) // 2
    return [range(n)] if n <= 6 else [range(middle), range(middle, n)]


def charging_of(units: list[dict]) -> list[int]:
    """Places of the groups whose charging circuits differ in breaker or volts."""
    seen = {}
    for k, one in enumerate(units):
        seen.setdefault((one["charging_a"], one["charging_v"]), k)
    return list(seen.values())
