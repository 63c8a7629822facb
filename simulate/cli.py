"""The command: one verb, one library call, errors in one line."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Annotated

import typer

app = typer.Typer(
    name="keeplit", no_args_is_help=True, add_completion=False, pretty_exceptions_enable=False,
    help="Hours survived and bill savings of a battery-backed sub-panel, with its checks and sheets.",
)  # fmt: skip

SiteArg = Annotated[
    Path | None, typer.Argument(help="site file; the embedded demo site without one", show_default=False)
]
SiteFile = Annotated[Path, typer.Argument(help="site file", show_default=False)]
Json = Annotated[bool, typer.Option("--json", help="one JSON document on stdout, nothing else there")]
Out = Annotated[Path | None, typer.Option("--out", help="folder for summary, tables, report and figures")]


def main() -> None:
    """Run the command; bad input ends with 2 and one line, a fault of ours with 1."""
    from profiles.noun import BadInput

    try:
        app()
    except BadInput as error:
        print(f"keeplit: {error}", file=sys.stderr)
        sys.exit(2)
    except KeyboardInterrupt:
        print("keeplit: stopped", file=sys.stderr)
        sys.exit(130)


def _site(path: Path | None):
    from simulate.site import read_site

    return read_site(path)


def _console():
    from rich.console import Console

    console = Console(highlight=False)
    return console if console.is_terminal else Console(highlight=False, width=max(console.width, 110))


def _busy(text: str):
    """A sign of life on a terminal, nothing in a pipe."""
    from rich.console import Console

    return Console(stderr=True).status(text)


def _print_json(document: dict) -> None:
    print(json.dumps(document, allow_nan=False, indent=1))


def _part(document: dict, *names: str) -> dict:
    keys = ("site", "steps", "step_h", *names, "assumptions", "cautions")
    return {key: document[key] for key in keys if key in document}


@app.command()
def study(site: SiteArg = None, as_json: Json = False, out: Out = None) -> None:
    """The whole job on one site: hours survived, bills, checks, report."""
    from simulate.document import study as study_of

    with _busy("simulating the year and every outage"):
        result = study_of(_site(site))
        document = result.document
        if out is not None:
            from simulate.outputs import write_study

            write_study(result, out)
    if as_json:
        _print_json(document)
        return
    from simulate.view import show_study

    console = _console()
    show_study(result, console)
    if out is not None:
        console.print(f"Written to {out}: report.html, summary.json, tables and figures.")


@app.command()
def outage(
    site: SiteFile,
    at: Annotated[str | None, typer.Option(help="one outage, from this local time: 2025-01-14T18:00")] = None,
    without: Annotated[list[str] | None, typer.Option(help="a circuit that is switched off in the outage")] = None,
    as_json: Json = False,
) -> None:
    """Hours survived by an outage that begins at any hour of the year."""
    from simulate.document import outage_document
    from simulate.ride import ride_through

    with _busy("simulating every outage"):
        ride = ride_through(_site(site), without=tuple(without or ()))
        document = outage_document(ride, at)
    if as_json:
        _print_json(document)
        return
    from simulate.view import outage_lines, show_cautions, show_one, show_outage

    console = _console()
    if at is None:
        show_outage(ride, console)
        for line in outage_lines(ride, document):
            console.print(line)
    else:
        show_one(document["one"], console)
    show_cautions(document["cautions"], console)


@app.command()
def bill(site: SiteFile, as_json: Json = False) -> None:
    """The three bills of the year, line by line, and the saving."""
    from simulate.document import study as study_of

    with _busy("simulating the year"):
        result = study_of(_site(site))
    if as_json:
        _print_json(_part(result.document, "energy_kwh", "bill"))
        return
    from simulate.view import show_bills, show_cautions, show_lines

    console = _console()
    show_lines(result.bills, console)
    show_bills(result.bills, console)
    show_cautions(result.document["cautions"], console)


@app.command()
def new(file: Annotated[Path, typer.Argument(help="site file to write")]) -> None:
    """Write a commented starter site file."""
    from simulate.starter import write_starter

    write_starter(file)
    print(f"Written: {file}. Edit it, then: keeplit study {file}")


@app.command()
def library(as_json: Json = False) -> None:
    """List the load shapes, rates and weather years that come along."""
    from simulate.starter import library_document, show_library

    document = library_document()
    if as_json:
        _print_json(document)
        return
    show_library(document, _console())


@app.command()
def schema() -> None:
    """Print the JSON Schema of the site file."""
    from simulate.site import Site

    _print_json(Site.model_json_schema(by_alias=True))


if __name__ == "__main__":
    main()
