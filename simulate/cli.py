"""The command: one verb, one library call, errors in one line."""

from __future__ import annotations

import json
import os
import sys
from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import typer

from profiles.numerals import real, whole

app = typer.Typer(
    name="keeplit",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    help="Hours survived and bill savings of a battery-backed sub-panel, with its checks and sheets.",
)

SiteArg = Annotated[
    Path | None, typer.Argument(help="site file; the embedded demo site without one", show_default=False)
]
SiteFile = Annotated[Path, typer.Argument(help="site file", show_default=False)]
Json = Annotated[bool, typer.Option("--json", help="one JSON document on stdout, nothing else there")]
Out = Annotated[Path | None, typer.Option("--out", help="folder for proposal, report, sheets, tables and figures")]
Cautions = Annotated[bool, typer.Option("--cautions", help="print the cautions in full")]
WIDTH_IN_A_PIPE = 110
WIDEST = 120
"""Columns of the text on a wide terminal: longer lines are hard to read."""


def _version(wanted: bool) -> None:
    if wanted:
        from importlib import metadata

        print(f"keeplit {metadata.version('keeplit')}")
        raise typer.Exit


@app.callback()
def common(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="print it and end")
    ] = False,
) -> None:
    """Hours survived and bill savings of a battery-backed sub-panel, with its checks and sheets."""


def main() -> None:
    """Run the command; bad input ends with 2 and one line, a fault of ours with 1."""
    from simulate.show.terminal.exits import run_to_an_end

    sys.exit(run_to_an_end(app))


def _site(path: Path | None):
    from simulate.site.site import read_site

    return read_site(path)


def _console():
    from rich.console import Console

    asked = os.environ.get("COLUMNS", "")
    console = Console(highlight=False)
    width = console.width if console.is_terminal or asked.isdigit() else WIDTH_IN_A_PIPE
    return Console(highlight=False, width=min(width, WIDEST))


def _foot(document: dict, console, cautions: bool) -> None:
    """What to do next, and the cautions."""
    from simulate.show.terminal.foot import next_lines, show_foot
    from simulate.show.terminal.view import plain

    for line in next_lines(document):
        console.print(plain(line))
    show_foot(document["cautions"], console, cautions)


def _busy(text: str):
    """A sign of life on a terminal, nothing in a pipe."""
    from rich.console import Console

    return Console(stderr=True).status(text)


def _print_json(document: dict) -> None:
    print(json.dumps(document, allow_nan=False, indent=1))


def _part(document: dict, *names: str) -> dict:
    keys = ("site", "steps", "step_h", "answer", *names, "assumptions", "cautions")
    return {key: document[key] for key in keys if key in document}


@app.command()
def study(site: SiteArg = None, as_json: Json = False, out: Out = None, cautions: Cautions = False) -> None:
    """The whole job on one site: hours survived, bills, checks, report."""
    from simulate.document.study import study as study_of

    with _busy("simulating the year and every outage"):
        result = study_of(_site(site))
        if out is not None:
            from simulate.show.report.outputs import write_study

            write_study(result, out)
        document = result.document if out is None else result.summary
    if as_json:
        _print_json(document)
        return
    from simulate.show.terminal.view import show_study

    console = _console()
    show_study(result, console)
    _foot(document, console, cautions)
    if out is not None:
        console.print(f"Written to {out}: proposal.html, report.html, summary.json, sheets, figures, tables.")


@app.command()
def outage(
    site: SiteFile,
    at: Annotated[str | None, typer.Option(help="one outage, from this local time: 2025-01-14T18:00")] = None,
    without: Annotated[list[str] | None, typer.Option(help="a circuit that is switched off in the outage")] = None,
    as_json: Json = False,
    cautions: Cautions = False,
) -> None:
    """Hours survived by an outage that begins at any hour of the year."""
    from simulate.document.study import medical_of, outage_document
    from simulate.document.switch_off import switch_off_of
    from simulate.house.refuel import refuel_of
    from simulate.house.reliability import check_without, reliability_of, second_outage
    from simulate.house.ride import ride_through

    with _busy("simulating every outage"):
        read = _site(site)
        check_without(read, without or ())
        ride = ride_through(read, without=tuple(without or ()))
        document = outage_document(ride, at)
        outage = document["outage"]
        outage["second_outage"], outage["generator"] = second_outage(ride), refuel_of(ride)
        outage["reliability"] = reliability_of(ride) if at is None else None
        outage["medical"] = medical_of(ride.run)
        outage["switch_off"] = switch_off_of(ride).document() if at is None else None
    if as_json:
        _print_json(document)
        return
    from simulate.show.terminal.listing import generator_lines, second_lines, show_reliability, switch_off_lines
    from simulate.show.terminal.view import beside_lines, outage_lines, show_answer, show_one, show_outage, show_stop

    console = _console()
    if at is None:
        show_answer(document["answer"], console)
        show_outage(ride, console)
        for line in outage_lines(ride, document):
            console.print(line)
        generator = generator_lines(outage["generator"]) if outage["generator"] else []
        own = (*second_lines(outage["second_outage"]), *generator, *beside_lines(document["cautions"]))
        for line in (*own, *switch_off_lines(outage["switch_off"])):
            console.print(line, markup=False)
        if outage["reliability"]:
            show_reliability(outage["reliability"], console)
    else:
        show_stop(document["answer"]["stop"], console)
        show_one(document["one"], console)
    _foot(document | {"outage": {}}, console, cautions)


@app.command()
def bill(
    site: SiteFile,
    replay: Annotated[Path | None, typer.Option(help="printed bills (TOML) to hold against ours")] = None,
    ranges: Annotated[bool, typer.Option("--ranges", help="how far uncertain inputs move saving and hours")] = False,
    weather: Annotated[list[str] | None, typer.Option(help="ranges over another weather file too")] = None,
    out: Out = None,
    pdf: Annotated[Path | None, typer.Option(help="print the proposal to this file (needs Chromium)")] = None,
    rates: Annotated[str | None, typer.Option(help="the same house on each: library names or files, commas")] = None,
    as_json: Json = False,
    cautions: Cautions = False,
) -> None:
    """The bills from today's to the one with the battery, line by line, rates side by side, money over the years."""
    from dataclasses import replace

    from simulate.document.study import study as study_of

    with _busy("simulating the year"):
        result = study_of(_site(site))
        result = replace(result, weather=tuple(weather or ()), thorough=ranges, replayed=_replayed(result, replay))
        result = replace(result, beside=_rates_beside(result.site, rates))
        document = _part(result.document, "energy_kwh", "bill", "plans", "money")
        extra = _bill_extras(result, ranges or bool(weather), document)
        if out is not None:
            from simulate.show.report.outputs import write_study

            write_study(result, out)
        if pdf is not None:
            from simulate.show.report.outputs import write_pdf

            write_pdf(result, pdf)
    if as_json:
        _print_json(document)
        return
    _show_bill(result, extra, document, cautions)


def _replayed(result, replay: Path | None) -> tuple:
    from simulate.document.worth import replay_of

    return () if replay is None else replay_of(result.run, replay)


def _rates_beside(site, rates: str | None):
    from simulate.document.rates import rates_beside

    return None if rates is None else rates_beside(site, [one.strip() for one in rates.split(",") if one.strip()])


def _bill_extras(result, ranges: bool, document: dict) -> dict:
    from simulate.bill.replay import verdict
    from simulate.document.audit import sources_of

    extra = {"sources": sources_of(result.run)}
    document["sources"] = extra["sources"].document()
    if result.replayed:
        extra["replay"] = result.replayed
        document["replay"] = [asdict(one) | {"is_close": one.is_close} for one in extra["replay"]]
        document["replay_verdict"] = verdict(extra["replay"])
    if result.beside is not None:
        document["rates"] = result.beside.document()
    if ranges:
        extra["ranges"] = result.ranges
        document["ranges"] = extra["ranges"].document()
    return extra


def _show_bill(result, extra: dict, document: dict, cautions: bool) -> None:
    from simulate.show.terminal.money import show_money, show_ranges, show_rates, show_replay, show_sources
    from simulate.show.terminal.view import beside_lines, best_lines, plain, show_bills, show_lines, show_plans

    console = _console()
    if "replay" in extra:
        show_replay(extra["replay"], console, currency=document["bill"]["currency"])
    show_lines(result.bills, console)
    show_bills(result.bills, console)
    show_plans(document.get("plans") or [], document["bill"]["currency"], console)
    for line in best_lines(result):
        console.print(plain(line))
    if result.beside is not None:
        show_rates(result.beside, console)
    show_sources(extra["sources"], console)
    if result.worth is not None:
        show_money(result.worth, console)
    if "ranges" in extra:
        show_ranges(extra["ranges"], console)
    for line in beside_lines(document["cautions"]):
        console.print(plain(line))
    _foot(document, console, cautions)


@app.command()
def panel(
    site: SiteFile,
    balance: Annotated[
        bool, typer.Option("--balance", help="propose legs and write a changed copy of the site file beside it")
    ] = False,
    copy: Annotated[Path | None, typer.Option(help="write the changed copy of --balance here")] = None,
    readings: Annotated[
        Path | None, typer.Option("--readings", help="commissioning readings: circuits re-rated, hours and sheets anew")
    ] = None,
    out: Annotated[Path | None, typer.Option("--out", help="folder for the sheets the crew needs")] = None,
    passes: Annotated[bool, typer.Option("--all", help="show the checks that pass too")] = False,
    as_json: Json = False,
    cautions: Cautions = False,
) -> None:
    """Check the panel as it is wired; leg assignment; schedules and sheets."""
    from simulate.document.study import study as study_of

    if copy is not None and not balance:
        from profiles.noun import BadInput

        raise BadInput("goes with --balance", key="--copy", value=str(copy), way_out="add --balance")
    with _busy("checking the panel"):
        if balance:
            from simulate.panel.legs.rewrite import check_copy

            copy = site.with_name(f"{site.stem}-balanced.toml") if copy is None else copy
            check_copy(site, copy)
        drawn = _site(site)
        built = None if readings is None else _as_built(drawn, readings)
        result = study_of(drawn if built is None else built.site)
        document = _part(result.document, "panel")
        if built is not None:
            from simulate.document.as_built import as_built_document

            document["as_built"] = as_built_document(study_of(drawn), result, built)
        assignment = None
        if balance:
            from simulate.designs.legs import assignment_document, balanced

            assignment = balanced(result.site, site, copy)
            document["legs"] = {**assignment_document(assignment), "written": str(copy)}
        if out is not None:
            from simulate.show.report.outputs import write_crew_sheets

            write_crew_sheets(result, out, assignment, built=None if built is None else (drawn, built))
    if as_json:
        _print_json(document)
        return
    from simulate.show.terminal.listing import show_assignment, show_findings
    from simulate.show.terminal.readings import show_as_built
    from simulate.show.terminal.view import show_stop

    console = _console()
    show_stop(document["answer"]["stop"], console)
    show_findings(result.findings, console, passes=passes)
    if "as_built" in document:
        show_as_built(document["as_built"], console)
    if assignment is not None:
        show_assignment(assignment, console)
        console.print(f"Written: {copy}")
    if out is not None:
        console.print(f"Written to {out}: sheets.html, one sheet a page, and each sheet as a table.")
    _foot(document, console, cautions)


def _as_built(drawn, path: Path):
    from simulate.site.readings import as_built, read_readings

    return as_built(drawn, read_readings(path, drawn))


@app.command()
def compare(
    site: SiteFile,
    other: Annotated[Path | None, typer.Argument(help="a second site file", show_default=False)] = None,
    units: Annotated[str | None, typer.Option(help="total numbers of battery units; 1:6 without anything")] = None,
    vary: Annotated[str | None, typer.Option(help="a key and its values, such as battery.usable_kwh=4,5")] = None,
    out: Annotated[Path | None, typer.Option("--out", help="folder for compare.csv, compare.json and figures")] = None,
    as_json: Json = False,
    cautions: Cautions = False,
) -> None:
    """Battery units added one at a time, other values of a key, or two sites side by side."""
    from simulate.designs.compare import compared

    with _busy("comparing designs"):
        comparison = compared(_site(site), other and _site(other), vary, units)
        document = comparison.document()
        files = [] if out is None else _written_comparison(comparison, out)
    if as_json:
        _print_json(document)
        return
    from simulate.show.terminal.listing import show_comparison

    console = _console()
    show_comparison(document, console)
    _foot(document, console, cautions)
    if files:
        console.print(f"Written to {out}: {', '.join(path.name for path in files)}.")


def _written_comparison(comparison, out: Path) -> list[Path]:
    from simulate.show.plot.designs import write_comparison

    return write_comparison(comparison, out)


@app.command()
def choose(
    site: SiteFile,
    hours: Annotated[float, typer.Option(parser=real, metavar="FLOAT", help="hours to be survived")] = 24.0,
    share: Annotated[float, typer.Option(parser=real, metavar="FLOAT", help="in this share of the outages")] = 0.9,
    season: Annotated[str | None, typer.Option(help="winter, spring, summer or autumn")] = None,
    as_json: Json = False,
    cautions: Cautions = False,
) -> None:
    """Which candidate circuits to back up so that a target is met."""
    from simulate.designs.choose import choose_circuits

    with _busy("trying sets of circuits"):
        document = choose_circuits(_site(site), hours=hours, share=share, season=season).document()
    if as_json:
        _print_json(document)
        return
    from simulate.show.terminal.listing import show_choice

    console = _console()
    show_choice(document, console)
    _foot(document, console, cautions)


@app.command()
def design(
    site: SiteFile,
    hours: Annotated[float, typer.Option(help="hours to be survived")] = 24.0,
    share: Annotated[float, typer.Option(help="in this share of the outages")] = 0.9,
    most_units: Annotated[int, typer.Option(help="as many battery units are tried")] = 6,
    as_json: Json = False,
    cautions: Cautions = False,
) -> None:
    """The fewest units, their legs, the circuits and the reserve that reach a target."""
    from simulate.designs.fewest import design_site

    with _busy("trying units, circuits and reserves"):
        document = design_site(_site(site), hours=hours, share=share, most_units=most_units).document()
    if as_json:
        _print_json(document)
        return
    from simulate.show.terminal.designed import show_design

    console = _console()
    show_design(document, console)
    _foot(document, console, cautions)


@app.command()
def page(
    site: SiteArg = None,
    port: Annotated[int, typer.Option(help="port on this machine; 0 for a free one")] = 0,
    no_open: Annotated[bool, typer.Option("--no-open", help="print the address, open no browser")] = False,
    write: Annotated[Path | None, typer.Option(help="one HTML file that needs no server, for the client")] = None,
    as_json: Json = False,
) -> None:
    """The drawing board in the browser: move circuits, units and reserve, and see hours and dollars move."""
    if write is not None:
        _write_page(_site(site), write, as_json)
        return
    from simulate.show.page.server import serve

    def say(url: str) -> None:
        text = json.dumps({"url": url}) if as_json else f"{url}\nCtrl-C ends it. The site file is not changed."
        print(text, flush=True)

    serve(_site(site), port=port, opens=not no_open, say=say)


def _write_page(site, path: Path, as_json: bool) -> None:
    from rich.console import Console
    from rich.progress import Progress

    from simulate.show.page.sent import write_page

    errors = Console(stderr=True)
    with Progress(console=errors, disable=not errors.is_terminal) as bar:
        task = bar.add_task("designs", total=None)

        def says(n: int, seconds: float) -> None:
            print(f"{n:,} designs, about {seconds:,.0f} s on this machine", file=sys.stderr, flush=True)
            bar.update(task, total=n)

        sent = write_page(site, path, says=says, seen=lambda n: bar.update(task, completed=n))
    document = {"file": str(sent.path), "designs": sent.n_designs, "bytes": sent.n_bytes}
    document |= {"left_as_drawn": list(sent.grid.left_out), "thinned": list(sent.grid.notes)}
    if as_json:
        _print_json(document)
        return
    kept = f" Left as drawn: {', '.join(sent.grid.left_out)}." if sent.grid.left_out else ""
    thinned = "".join(f" {note.capitalize()}." for note in sent.grid.notes)
    print(f"Written: {sent.path}, {sent.n_designs:,} designs, {sent.n_bytes:,} bytes.{kept}{thinned}")


@app.command()
def sweep(
    site: SiteFile,
    vary: Annotated[list[str], typer.Option(help="KEY=VALUES, once for each key; or one table of homes")],
    out: Annotated[Path, typer.Option("--out", help="folder of Parquet parts; taken up where it was left")],
    workers: Annotated[
        int | None,
        typer.Option(parser=whole, metavar="INTEGER", help="processes on this machine; one for each core without"),
    ] = None,
    dask: Annotated[str | None, typer.Option(help="address of a dask scheduler")] = None,
    sample: Annotated[int | None, typer.Option(parser=whole, metavar="INTEGER", help="designs of a sample")] = None,
    method: Annotated[str, typer.Option(help='of a sample: "latin" or "sobol"')] = "latin",
    seed: Annotated[int, typer.Option(parser=whole, metavar="INTEGER", help="of a sample")] = 0,
    outages: Annotated[bool, typer.Option(help="start an outage at every step of every design")] = True,
    bound: Annotated[bool, typer.Option(help="solve for the best possible saving too")] = False,
    fails: Annotated[bool, typer.Option("--fails", help="count the panel checks that each design fails too")] = False,
    figures: Annotated[bool, typer.Option(help="draw what was found into OUT/_figures")] = False,
    by: Annotated[str | None, typer.Option(help="label of a table of homes: what its groups come to")] = None,
    as_json: Json = False,
) -> None:
    """Many designs of one site, or many homes, into a folder of Parquet."""
    from simulate.show.terminal.sweep import sweep_command, sweep_lines

    document = sweep_command(
        _site(site),
        vary,
        out,
        workers=workers,
        dask=dask,
        n=sample,
        method=method,
        seed=seed,
        outages=outages,
        bound=bound,
        fails=fails,
        figures=figures,
        by=by,
    )
    if as_json:
        _print_json(document)
        return
    print("\n".join(sweep_lines(document)))


@app.command()
def meter(
    file: Annotated[Path, typer.Argument(help="interval meter file: Green Button XML or CSV", show_default=False)],
    point: Annotated[str | None, typer.Option(help="point of supply, where a file holds several")] = None,
    column: Annotated[str | None, typer.Option(help="column of a CSV file")] = None,
    timezone: Annotated[str | None, typer.Option(help="IANA zone of the meter")] = None,
    dialect: Annotated[
        list[str] | None, typer.Option(help="what is known about the file, such as date_order=mdy; once for each key")
    ] = None,
    clean: Annotated[Path | None, typer.Option(help="write the readings as a clean CSV file")] = None,
    out: Annotated[Path | None, typer.Option("--out", help="folder for the heat map and the daily shapes")] = None,
    as_json: Json = False,
) -> None:
    """What a meter file holds, its gaps and its quality."""
    from profiles.meter import clean_csv, document, read_meter, stated_dialect
    from profiles.noun import BadInput
    from simulate.show.terminal.options import in_options

    with _busy("reading the meter file"):
        try:
            known = stated_dialect(dialect)
            readings = read_meter(file, point=point, column=column, timezone=timezone, dialect=known)
        except BadInput as error:
            raise in_options(error) from None
        found = document(readings)
        if clean is not None:
            clean_csv(readings, clean)
        if out is not None:
            from simulate.show.plot.meter import write_meter_figures

            write_meter_figures(readings, out, timezone)
    if as_json:
        _print_json(found)
        return
    from simulate.show.terminal.listing import show_meter

    console = _console()
    show_meter(found, console)
    if clean is not None:
        console.print(f"Written: {clean}")
    if out is not None:
        console.print(f"Written to {out}: every hour with its gaps, the daily shape by season, and both as tables.")


@app.command()
def new(
    file: Annotated[Path, typer.Argument(help="site file to write")],
    circuits: Annotated[int | None, typer.Option(help="with so many circuits from the library")] = None,
    from_directory: Annotated[
        Path | None, typer.Option(help="with the circuits of a panel's directory: CSV with name, breaker_a, poles, leg")
    ] = None,
    as_json: Json = False,
) -> None:
    """Write a commented starter site file."""
    from simulate.site.starter import asked_starter, write_starter

    write_starter(file, asked_starter(circuits, from_directory))
    if as_json:
        _print_json({"written": str(file)})
        return
    print(f"Written: {file}. Edit it, then: keeplit study {file}")


@app.command()
def library(
    name: Annotated[str | None, typer.Argument(help="one entry, with its sources", show_default=False)] = None,
    out: Annotated[Path | None, typer.Option("--out", help="folder for figures of the entry, or of all")] = None,
    as_json: Json = False,
) -> None:
    """List, describe and plot the load shapes, rates, weather years and appliances that come along."""
    from simulate.show.library import described, library_document, library_names
    from simulate.show.terminal.library import show_described, show_library

    found = None if name is None else described(name)
    document = library_document() if name is None else {"name": name, "found": found}
    if out is not None:
        from simulate.show.plot.library import write_library_figures

        with _busy("drawing"):
            all_names = [one for names in library_names().values() for one in names]
            write_library_figures(all_names if name is None else [name], out)
    if as_json:
        _print_json(document)
        return
    console = _console()
    if found is None:
        show_library(document, console)
    else:
        show_described(found, console)
    if out is not None:
        console.print(f"Written to {out}: figures, and their tables.")


@app.command()
def schema(
    table: Annotated[
        str | None, typer.Argument(help="with --text: one table, such as battery", show_default=False)
    ] = None,
    text: Annotated[bool, typer.Option("--text", help="every key in words instead")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="the same: it is JSON as it is")] = False,
) -> None:
    """Print the JSON Schema of the site file, or every key in words."""
    if text or table is not None:
        from simulate.site.described import schema_text

        told = schema_text(table)
        _print_json({"table": table, "text": told}) if as_json else print(told)
        return
    from simulate.site.site import Site

    _print_json(Site.model_json_schema(by_alias=True))


if __name__ == "__main__":
    main()
