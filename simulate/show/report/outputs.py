"""The folder of a study: summary, tables, the site as understood, report, figures."""

from __future__ import annotations

import json
import tempfile
from pathlib import Path

from profiles.files import folder_for, plain_table, written
from simulate.document.study import Study
from simulate.panel.checks.layout import Layout
from simulate.panel.sheets.readings import readings_form
from simulate.panel.sheets.sheets import write_sheets
from simulate.show.frames import circuits_frame, months_frame
from simulate.show.plot.plates import write_figures
from simulate.show.report.client import job_line, sheets_of
from simulate.show.report.page import pdf_of
from simulate.show.report.proposal import write_proposal
from simulate.show.report.report import write_report
from simulate.site.site import site_toml


def write_study(study: Study, folder: str | Path) -> None:
    """Write all outputs of a study; every file is written beside its place and renamed.

    Parameters
    ----------
    study : Study
    folder : path
        Made where it is not there yet.
    """
    out = folder_for(folder)
    _text(out / "summary.json", json.dumps(study.summary, allow_nan=False, indent=1))
    _text(out / "site-used.toml", site_toml(study.site))
    tables = {
        "year.csv": study.run.to_frame(),
        "outages.csv": study.ride.to_frame(),
        "months.csv": months_frame(study),
        "circuits.csv": circuits_frame(study),
    }
    for name, frame in tables.items():
        with written(out / name) as beside:
            plain_table(frame).to_csv(beside, index=False, lineterminator="\n")
    write_crew_sheets(study, out / "sheets")
    figures = write_figures(study, folder_for(out / "figures"))
    write_report(study, out / "report.html", figures=figures)
    write_proposal(study, out / "proposal.html")


def write_pdf(study: Study, path: str | Path) -> None:
    """The proposal printed to one PDF file by Chromium."""
    with tempfile.TemporaryDirectory() as folder:
        page = Path(folder) / "proposal.html"
        write_proposal(study, page)
        pdf_of(page, Path(path))


def write_crew_sheets(study: Study, folder: str | Path, assignment=None, *, built: tuple | None = None) -> None:
    """The sheets that the crew and the client need, each as CSV, and all of them as one page to print.

    Parameters
    ----------
    study : Study
    folder : path
    assignment : Assignment, optional
    built : (Site, Built), optional
        The site as it was drawn and what readings made of it: the sheets are reissued.
    """
    job, form = job_line(study.site), readings_form(Layout(study.site)) if built is None else ""
    write_sheets(sheets_of(study, assignment, built), folder_for(folder), [job] if job else [], form=form)


def _text(path: Path, text: str) -> None:
    with written(path) as beside:
        beside.write_text(text, encoding="utf-8")
