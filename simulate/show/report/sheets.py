"""The sheets of the crew as parts of the report."""

from __future__ import annotations

import re
from dataclasses import dataclass

from simulate.document.study import Study
from simulate.panel.sheets.sheet import text_of
from simulate.show.report.client import sheets_of
from simulate.show.report.table import Table
from simulate.site import cautions

ELSEWHERE = ("checks",)
"""Sheets whose rows the report shows in a part of their own."""
DRAWN = ("one-line",)
"""Sheets whose drawing is a figure of the report; a directory's card is its table again, for the panel's door."""
TWIN = "sheet-wiring"
"""The table that holds the runs of the one-line diagram."""
TALL = 0.8
"""Height by width from which a drawing is larger on an upright page."""
BESIDE = (cautions.ENERGIZED, cautions.LICENSED, cautions.BACKFEED)
CAPTIONS = {
    "one-line": "Title block of the drawing",
    "schedule": "Every circuit before the work and after it",
    "legs": "What each leg carries",
    "spaces": "Space, leg and breaker of every circuit",
    "directory-main": "The main panel by number, before the work and after it",
    "directory-sub": "The sub-panel by number",
    "wiring": "Every run with hots, neutral and ground: from breaker, to space, to load, with its label",
    "neutrals": "Where each neutral and ground lands",
    "charging": "What charges the units, and what to set and measure",
    "load-calculation": "Load of the service",
    "labels": "What is written where",
    "materials": "What to bring",
    "replacing": "What goes dark while one space or one unit is replaced",
    "commissioning": "Tests with the values to expect; what is measured is written beside them",
    "client": "What stays with the client",
    "site-visit": "What is known of the site and what is still asked",
}


@dataclass(frozen=True)
class Part:
    """One sheet as the page shows it: its name and title, its table or None, its notes, its drawing as SVG or ""."""

    name: str
    title: str
    table: Table | None
    notes: tuple[str, ...]
    svg: str

    @property
    def is_tall(self) -> bool:
        """The drawing is printed on an upright page."""
        size = re.search(r'viewBox="0 0 (\d+) ([\d.]+)"', self.svg)
        return size is not None and float(size[2]) > TALL * float(size[1])


def parts_of(study: Study) -> list[Part]:
    """The sheets of a study in the order of the job.

    Parameters
    ----------
    study : Study

    Examples
    --------
    >>> from simulate.document.study import study
    >>> [part.title for part in parts_of(study())][:2]
    ['One-line diagram', 'Circuit schedule, before and after']
    """
    made = sheets_of(study)
    return [_part(name, one) for name, one in made.items() if name not in ELSEWHERE]


def _part(name: str, one: dict) -> Part:
    rows = tuple(tuple(text_of(cell) for cell in row) for row in one["rows"])
    caption = CAPTIONS.get(name, one["title"])
    table = Table(caption, tuple(one["columns"]), rows, form=True) if rows else None
    svg = _own_ids(one["svg"]) if name in DRAWN else ""
    return Part(name, one["title"], table, tuple(one["notes"]), svg)


def _own_ids(svg: str) -> str:
    """A drawing as markup with the ids that the report gives to figures; text in it was escaped when it was drawn."""
    import markupsafe

    svg = re.sub(r' xmlns="[^"]*"| width="100%"', "", svg)
    svg = re.sub(r'(id="|aria-labelledby="|(?<=-title) )one-line-(?=title"|desc"|title )', r"\1plot-one-line-", svg)
    return markupsafe.Markup(svg)
