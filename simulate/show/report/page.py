"""Templates of the pages, and the printing of a page to PDF."""

from __future__ import annotations

import functools
import os
import shutil
import subprocess
import tempfile
from pathlib import Path

from profiles.files import written
from profiles.noun import BadInput

TEMPLATES = Path(__file__).parent / "templates"
CHROMIUM = ("chromium", "chromium-browser")
PDF_S = 120.0
QUIET = (
    "--headless",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-sync",
    "--disable-background-networking",
    "--disable-component-update",
    "--no-pdf-header-footer",
)


@functools.cache
def template(name: str):
    """A template by its file name; texts are escaped, an unknown name is an error."""
    import jinja2

    pages = jinja2.Environment(
        loader=jinja2.FileSystemLoader(TEMPLATES),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=jinja2.StrictUndefined,
    )
    return pages.get_template(name)


def pdf_of(page_path: str | Path, pdf_path: str | Path) -> None:
    """Print a page to PDF with Chromium, where it is on the machine.

    Parameters
    ----------
    page_path, pdf_path : path

    Raises
    ------
    BadInput
        No Chromium, no page, or a print that failed.
    """
    browser = next(filter(None, map(shutil.which, CHROMIUM)), None)
    if browser is None:
        raise BadInput(
            "needs Chromium, which is not on this machine",
            key="pdf",
            way_out="open the HTML file in a browser and print it",
        )
    page = Path(page_path).resolve()
    if not page.is_file():
        raise BadInput("is not there", key="pdf", value=str(page_path), way_out="write the page first")
    with written(Path(pdf_path).resolve()) as beside, tempfile.TemporaryDirectory() as profile:
        command = [
            browser,
            *QUIET,
            f"--user-data-dir={profile}",
            f"--print-to-pdf={beside}",
            page.as_uri(),
        ]
        if os.geteuid() == 0:  # as root its sandbox refuses to start
            command.insert(1, "--no-sandbox")
        try:
            done = subprocess.run(command, capture_output=True, timeout=PDF_S, check=False)
        except subprocess.TimeoutExpired:
            raise BadInput(
                f"took Chromium longer than {PDF_S:.0f} s",
                key="pdf",
                value=str(page_path),
                way_out="open the HTML file in a browser and print it",
            ) from None
        if done.returncode or not beside.is_file():
            said = done.stderr.decode("utf-8", "replace").strip().splitlines()[-1:]
            raise BadInput(
                f"could not be printed by Chromium: {' '.join(said)}",
                key="pdf",
                value=str(page_path),
                way_out="open the HTML file in a browser and print it",
            )
