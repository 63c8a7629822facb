"""A sweep as the command runs it: texts in, a dataset out, a bar on a terminal, a cluster by its address."""

from __future__ import annotations

import re
import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path

from profiles.files import plain_table, written
from profiles.noun import BadInput
from simulate.designs.fleet import LABEL, SPREAD, SUMMED, by_group, read_fleet
from simulate.designs.row import Wanted
from simulate.designs.sweep import run_parts
from simulate.designs.varied import designs_of, vary_of
from simulate.show.plot.sweep import write_sweep_figures
from simulate.site.cautions import SHORT
from simulate.site.site import Site

FILE_NAME = re.compile(r"[^\w-]+")
FIGURES = "_figures"
"""Folder of the figures beside the parts: readers of the parts pass over names that begin so."""
RETRIES = 3
"""How often a part is tried again on a cluster after its worker has died or failed."""
REACHED_S = 10.0
ADDRESS = re.compile(r"((tcp|tls|ws|wss|ucx)://)?[^\s:/]+:\d+|(tcp|tls)://\[[0-9a-fA-F:]+\]:\d+")
"""Host and port; anything else makes the client wait for long and complain on many lines."""


def sweep_command(
    site: Site,
    vary: Iterable[str],
    out: str | Path,
    *,
    workers: int | None = None,
    dask: str | None = None,
    n: int | None = None,
    method: str = "latin",
    seed: int = 0,
    outages: bool = True,
    bound: bool = False,
    fails: bool = False,
    figures: bool = False,
    by: str | None = None,
) -> dict:
    """Sweep a site into a folder and say what is in it.

    Parameters
    ----------
    site : Site
    vary : iterable of str
        `KEY=VALUES` texts, or one `homes.csv` / `homes.parquet` with a home in each row.
    out : path
        Folder of Parquet parts; taken up where it was left.
    workers : int, optional
        Processes on this machine; one for each core unless given.
    dask : str, optional
        Address of a scheduler such as "tcp://10.0.0.5:8786"; parts of a worker that dies go to another.
    figures : bool
        Draw what was found into the folder `_figures` of `out`.
    by : str, optional
        A label of a fleet: what its groups come to goes to `_by_LABEL.csv` of `out`.

    Returns
    -------
    dict
        `site`, `out`, `designs`, `refused` and `first_error` (None without one), `figures` and `groups` (None where
        they are not asked for) and `cautions`.

    Raises
    ------
    BadInput
        Texts or keys that are not known, a folder that holds another sweep, a scheduler that does not answer.
    """
    if dask is not None and workers is not None:
        raise BadInput(
            "must not stand beside --dask",
            key="--workers",
            value=workers,
            way_out="start as many dask workers as you want",
        )
    for key, value in (("--workers", workers), ("--sample", n)):
        if value is not None and value < 1:
            raise BadInput("must be 1 or above", key=key, value=value)
    designs = designs_of(_vary(list(vary)), n=n, method=method, seed=seed)
    if by is not None and by not in getattr(designs, "labels", {}):
        known = ", ".join(getattr(designs, "labels", {})) or "none, since no fleet is swept"
        raise BadInput("is not a label of the fleet", key="--by", value=by, way_out=f"known: {known}")
    wanted = Wanted(outages, bound, fails)
    with _cluster(dask) as executor, _bar(len(designs)) as progress:
        for _ in run_parts(site, designs, wanted, executor=executor, out=out, progress=progress, workers=workers):
            pass
    drawn = _figures(site, out) if figures else None
    told = {"site": site.site.name, "out": str(out), "designs": len(designs), **_errors_in(out)}
    groups = None if by is None else _groups(out, by)
    return told | {"figures": drawn, "groups": groups, "cautions": [SHORT]}


def sweep_lines(document: dict) -> list[str]:
    """What a sweep came to as lines for a terminal, the groups of a fleet as a table.

    Parameters
    ----------
    document : dict
        From `sweep_command`.
    """
    refused = f", {document['refused']} refused (first: {document['first_error']})" if document["refused"] else ""
    lines = [f"{document['designs']} designs in {document['out']}{refused}. Read them with pandas.read_parquet."]
    if document["figures"] is not None:
        names = ", ".join(document["figures"]) or "none that these designs can fill"
        lines.append(f"Figures in {document['out']}/{FIGURES}: {names}.")
    if document["groups"]:
        label = next(iter(document["groups"][0]))
        lines.append(f"{label:20}  homes  refused  saving a year  nine times in ten, median home [h]")
        lines += [_group_line(row, label) for row in document["groups"]]
    return [*lines, *document["cautions"]]


def _group_line(row: dict, label: str) -> str:
    number = lambda name, wide: f"{'-':>{wide}}" if row.get(name) is None else f"{row[name]:{wide},.1f}"
    name = "(none)" if row[label] is None else str(row[label])
    saving, hours = number("out_saving_sum", 13), number("out_hours_p10_median", 10)
    return f"{name:20}  {row['homes']:5}  {row['refused']:7}  {saving}  {hours}"


def _groups(out: str | Path, by: str) -> list[dict]:
    """What the groups of a fleet come to, written beside the parts too."""
    import pandas as pd

    table = pd.read_parquet(out, columns=list(dict.fromkeys([f"{LABEL}{by}", "error", *SUMMED, *SPREAD])))
    found = by_group(table, by)
    with written(Path(out) / f"_by_{FILE_NAME.sub('-', by)}.csv") as beside:
        plain_table(found).to_csv(beside, index=False)
    return [{key: None if one != one else one for key, one in row.items()} for row in found.to_dict("records")]


def _figures(site: Site, out: str | Path) -> list[str]:
    """Names of the figures that were drawn."""
    return write_sweep_figures(out, Path(out) / FIGURES, currency=site.rate.currency)


def _vary(texts: list[str]):
    if len(texts) == 1 and "=" not in texts[0]:
        return read_fleet(texts[0])
    return vary_of(texts)


def _errors_in(out: str | Path) -> dict:
    """How many designs were refused, and why the first one was; read part by part."""
    import pyarrow.dataset as ds
    from pyarrow.types import is_null

    parts = ds.dataset(str(out), format="parquet")
    refused, first = 0, None
    for batch in parts.to_batches(columns=["error"]):
        column = batch.column(0)
        if is_null(column.type) or column.null_count == len(column):
            continue
        errors = [text for text in column.to_pylist() if text is not None]
        refused, first = refused + len(errors), first or errors[0]
    return {"refused": refused, "first_error": first}


@contextmanager
def _cluster(address: str | None) -> Iterator:
    """An executor on a cluster, or None for this machine."""
    if address is None:
        yield None
        return
    try:
        from distributed import Client
    except ImportError:
        raise BadInput("needs dask", key="--dask", value=address, way_out="pip install 'keeplit[cluster]'") from None
    if not ADDRESS.fullmatch(address):
        raise BadInput(
            "must be the address of a scheduler", key="--dask", value=address, way_out="write tcp://10.0.0.5:8786"
        )
    try:
        client = Client(address, timeout=REACHED_S, set_as_default=False)
    except (OSError, TimeoutError, ValueError) as error:
        raise BadInput(
            f"cannot be reached: {error}", key="--dask", value=address, way_out="start one with: dask scheduler"
        ) from None
    with client:
        yield client.get_executor(retries=RETRIES, pure=False)


@contextmanager
def _bar(n_designs: int) -> Iterator:
    """A bar with rate and time left on a terminal; nothing in a pipe."""
    if not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (
        TextColumn("designs"),
        BarColumn(),
        MofNCompleteColumn(),
        TextColumn("{task.fields[rate]}"),
        TimeRemainingColumn(elapsed_when_finished=True),
    )
    with Progress(*columns, console=Console(stderr=True)) as bar:
        task = bar.add_task("designs", total=n_designs, rate="")

        def progress(done: int) -> None:
            bar.advance(task, done)
            speed = bar.tasks[0].speed
            bar.update(task, rate=f"{speed:.1f} a second" if speed else "")

        yield progress
