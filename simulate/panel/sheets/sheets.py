"""All sheets of a job, and their CSV files."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from profiles.files import folder_for, written
from simulate.panel.checks.finding import Finding
from simulate.panel.checks.layout import Layout
from simulate.panel.sheets.calculation import load_calculation
from simulate.panel.sheets.commissioning import commissioning_form
from simulate.panel.sheets.diagram import one_line
from simulate.panel.sheets.directory import main_directory, sub_directory
from simulate.panel.sheets.handover import client_page, replacing
from simulate.panel.sheets.labels import label_set
from simulate.panel.sheets.legsheet import leg_sheet
from simulate.panel.sheets.page import sheets_page
from simulate.panel.sheets.quote import priced_list
from simulate.panel.sheets.readings import readings_sheet
from simulate.panel.sheets.schedule import schedule, space_map
from simulate.panel.sheets.sheet import BLANK, NONE, PLANNING, or_blank, sheet, sheet_csv
from simulate.panel.sheets.visit import site_visit
from simulate.panel.sheets.wirelist import charging_list, neutral_list, wiring_list

if TYPE_CHECKING:
    from simulate.panel.legs.balance import Assignment
    from simulate.site.readings import Built
    from simulate.site.site import Site

TITLE_BLOCK = (
    "job",
    "place (latitude, longitude)",
    "edition of the Code adopted",
    "drawn by",
    "checked by",
    "permit",
    "date",
    "revision",
)
PARTS = ("title", "columns", "rows", "notes", "svg")
ORDER = ("fail", "not-assessed", "marginal", "pass")


def sheets(
    site: Site,
    findings: Sequence[Finding] = (),
    answers: Mapping[str, str] | None = None,
    *,
    assignment: Assignment | None = None,
    switch_off: Sequence[str] | None = None,
) -> dict[str, dict]:
    """The sheets that the crew and the client need, in the order of the job.

    Parameters
    ----------
    site : Site
    findings : sequence of Finding
        Of `check_panel`.
    answers : mapping of question to sentence, optional
        Modelled hours for the client's page.
    assignment : Assignment, optional
        Of `balance_legs`, for the legs before and after.
    switch_off : sequence of str, optional
        What the client may switch off and what each step gains; without it the names alone, lowest priority first.

    Returns
    -------
    dict of name to sheet
        Each a dict of title, columns, rows, notes, svg and html; what is not known is "" and filled in by hand.

    Examples
    --------
    >>> from simulate.site.site import read_site
    >>> list(sheets(read_site()))[:3]
    ['one-line', 'schedule', 'legs']
    """
    layout = Layout(site)
    return {
        "one-line": sheet("One-line diagram", TITLE_BLOCK, [title_block(site)], [PLANNING], one_line(layout)),
        "schedule": schedule(layout),
        "legs": leg_sheet(layout, assignment),
        "spaces": space_map(layout),
        "directory-main": main_directory(layout),
        "directory-sub": sub_directory(layout),
        "wiring": wiring_list(layout),
        "neutrals": neutral_list(layout),
        "charging": charging_list(layout),
        "load-calculation": load_calculation(layout),
        "checks": check_sheet(findings),
        "labels": label_set(layout),
        "materials": priced_list(layout),
        "replacing": replacing(layout),
        "commissioning": commissioning_form(layout),
        "client": client_page(layout, answers, findings, switch_off),
        "site-visit": site_visit(layout),
    }


def stopped(made: Mapping[str, dict], stop: Sequence[str]) -> dict[str, dict]:
    """The sheets with what must be put right first at the head of each.

    Parameters
    ----------
    made : mapping of name to sheet
        Of `sheets`.
    stop : sequence of str
        Sentences such as "Do not build this as drawn: ..."; none leave the sheets as they are.
    """
    if not stop:
        return dict(made)
    return {name: sheet(*(one[key] for key in PARTS), loud=stop) for name, one in made.items()}


def reissued(made: Mapping[str, dict], site: Site, built: Built) -> dict[str, dict]:
    """The sheets with a revision line on each, and what was read against what was expected.

    Parameters
    ----------
    made : mapping of name to sheet
        Of `sheets`, for the site as it was built.
    site : Site
        As it was drawn.
    built : Built
    """
    line, out = built.readings.revision, {}
    for name, one in made.items():
        rows = [[*row[:-1], line] for row in one["rows"]] if name == "one-line" else one["rows"]
        out[name] = sheet(one["title"], one["columns"], rows, [line, *one["notes"]], one["svg"])
    return {**out, "readings": readings_sheet(Layout(site), built)}


def title_block(site: Site) -> list[str]:
    """What stands under the drawing; who checked it, and what [job] does not say, is filled in by hand."""
    place, job = f"{site.site.latitude:g}, {site.site.longitude:g}", site.job
    drawn_by, date = or_blank(job.prepared_by), or_blank(job.date)
    return [site.site.name, place, site.site.code_edition or BLANK, drawn_by, BLANK, BLANK, date, BLANK]


def check_sheet(findings: Sequence[Finding]) -> dict:
    """The findings as a table, fails first; they and what is not assessed are counted, with no overall verdict."""
    columns = ["check", "about", "verdict", "value", "limit", "margin", "unit", "basis", "text"]
    rows = []
    for one in sorted(findings, key=lambda one: ORDER.index(one.verdict)):
        figures = [NONE if x is None else x for x in (one.value, one.limit, one.margin)]
        rows.append([one.check, one.subject, one.verdict, *figures, one.unit or NONE, one.basis, one.text])
    fails = sum(f.verdict == "fail" for f in findings)
    open_ = sum(f.verdict == "not-assessed" for f in findings)
    counts = f"{fails} fail, {open_} not assessed, of {len(findings)} findings. There is no overall verdict."
    return sheet("Checks", columns, rows, [counts, PLANNING])


def write_sheets(
    made: Mapping[str, dict], folder: str | Path, head: Sequence[str] = (), *, form: str = ""
) -> list[Path]:
    """Write every sheet as CSV, its drawing as SVG, and all as one page to print; each beside and renamed.

    Parameters
    ----------
    made : mapping of name to sheet
        Of `sheets`.
    folder : path
        Made where it is not there yet.
    head : sequence of str
        What stands above every sheet of the page: the job, and what must be put right before anything is built.
    form : str
        Of `readings_form`, written as readings.toml to be filled in on the job.

    Returns
    -------
    list of Path

    Raises
    ------
    BadInput
        A folder that cannot be made.
    """
    place, paths = folder_for(folder), []
    for name, one in made.items():
        if one["rows"]:
            paths.append(_write(place / f"{name}.csv", sheet_csv(one)))
        if one["svg"]:
            paths.append(_write(place / f"{name}.svg", one["svg"] + "\n"))
    if form:
        paths.append(_write(place / "readings.toml", form))
    page = sheets_page(made, f"Sheets, {made['one-line']['rows'][0][0]}", head)
    return [*paths, _write(place / "sheets.html", page)]


def _write(path: Path, text: str) -> Path:
    with written(path) as beside:
        beside.write_bytes(text.encode("utf-8"))
    return path
