"""Many designs of one site: a sweep, on this machine or on others, in memory or as a dataset."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, Executor, ThreadPoolExecutor, wait
from contextlib import contextmanager, suppress
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from profiles.noun import BadInput
from simulate.designs.columns import RESULTS, TEXTS
from simulate.designs.dataset import Dataset
from simulate.designs.lane_rows import FEWEST, grouped_rows
from simulate.designs.number_rows import is_number_key, number_columns
from simulate.designs.provenance import made_by
from simulate.designs.row import (
    Houses,
    Wanted,
    asks_for_years,
    input_hash,
    refused,
    run_design,
    site_with,
    version,
)
from simulate.designs.varied import Grid, Table, designs_of
from simulate.physics.compiled import cache_folder
from simulate.site.named_files import contents
from simulate.site.site import Site

if TYPE_CHECKING:
    import pandas as pd

SMALL = 32
"""Sweeps of up to so many designs run in this process: starting others takes longer."""
IN_FLIGHT = 4
"""Parts that wait for a worker, for each worker: enough to keep it busy, few enough for constant memory."""
PART_DESIGNS = (16, 960)
"""Designs of a part, at least and at most."""
BILLS_ONLY = 4032
"""At most, where no outage is simulated and designs take microseconds."""
BLOCK = 96
"""Lanes that are walked together: a block that is not full takes as long as a full one."""
M_TRIM_THRESHOLD, M_MMAP_THRESHOLD, KEPT_BYTES = -1, -3, 32 * 2**20
"""Parameters of mallopt(3) in glibc, and the largest value that the second one takes."""
UNKNOWN_KEY = ("not a known key", "not a key", "not a table", "names no")
"""What the site reader says of a key that no value can mend."""


def sweep(
    site: Site,
    vary,
    *,
    executor: Executor | None = None,
    out: str | Path | None = None,
    n: int | None = None,
    method: str = "latin",
    seed: int = 0,
    outages: bool = True,
    bound: bool = False,
    fails: bool = False,
) -> pd.DataFrame:
    """Run a site for every design that `vary` names, one row a design.

    Parameters
    ----------
    site : Site
    vary : mapping, DataFrame or Fleet
        Site keys such as "battery.count", 'battery["Left unit"].usable_kwh' or 'circuit["Jet pump"].priority', each
        with a list of values or a distribution (`uniform(2, 8)`); or a table with a design in each row, such as
        `read_fleet` gives. Lists alone make a grid, the last key fastest; a distribution, or `n`, makes a sample.
    executor : concurrent.futures.Executor, optional
        Where it runs; all cores of this machine unless given. On a cluster `dask.distributed.Client.get_executor()`.
    out : path, optional
        Folder of Parquet parts. What is finished there is kept: run the same sweep again to take it up.
    n, method, seed
        Of a sample: designs, "latin" (hypercube) or "sobol" (n a power of two), and where it starts.
    outages : bool
        Start an outage at every step of every design too.
    bound : bool
        Solve for the best possible saving too; slow where several pools share a meter.
    fails : bool
        Run the panel checks of every design too and count those that fail; each design is then run by itself.

    Returns
    -------
    DataFrame
        Columns `design`, `in_*` by site key, `out_*` results, `error` (None, or why a design was refused),
        `input_hash`, `version`, and `label_*` of a fleet. A result that was not asked for is NaN. With `out` the whole
        dataset is read back; `run_parts` only writes it, in constant memory.

    Raises
    ------
    BadInput
        A key that the site does not have, an empty list, a folder that holds another sweep.

    Notes
    -----
    Designs with the same series share them; those that differ in numbers only run as lanes. A row equals the study of
    its site to 1e-9.

    Examples
    --------
    >>> from simulate.site.site import read_site
    >>> table = sweep(read_site(), {"battery.count": [1, 2]}, outages=False)
    >>> table["in_battery.count"].tolist(), bool(table["out_saving"].notna().all())
    ([1, 2], True)
    """
    import pandas as pd

    designs = designs_of(vary, n=n, method=method, seed=seed)
    wanted = Wanted(outages, bound, fails)
    parts = dict(run_parts(site, designs, wanted, executor=executor, out=out))
    if out is not None:
        return pd.read_parquet(out)
    return pd.concat([parts[k] for k in sorted(parts)], ignore_index=True)


def run_parts(
    site: Site,
    designs: Grid | Table,
    wanted: Wanted,
    *,
    executor: Executor | None = None,
    out=None,
    progress=None,
    workers: int | None = None,
) -> Iterator[tuple[int, object]]:
    """Run a sweep part by part, in any order; with a folder, parts are written there and given back as None.

    Parameters
    ----------
    progress : callable, optional
        Called with the number of designs that have just been finished, those on disk already at first.
    workers : int, optional
        Processes, where no executor is given; one for each core unless given.
    """
    check_keys(site, designs)
    size = part_size(len(designs), wanted)
    bounds = [(first, min(first + size, len(designs))) for first in range(0, len(designs), size)]
    dataset = None if out is None else Dataset(out, told(site, designs, wanted, size))
    try:
        yield from _run_todo(site, designs, wanted, bounds, dataset, executor, progress, workers)
    finally:
        if dataset is not None:
            dataset.lock.release()


def _run_todo(site: Site, designs: Grid | Table, wanted: Wanted, bounds, dataset, executor, progress, workers):
    """The parts that are not on disk yet."""
    kinds = {f"in_{key}": kind_of(values) for key, values in designs.values.items()}
    todo = [k for k, (a, b) in enumerate(bounds) if dataset is None or not dataset.has(k, b - a)]
    if progress is not None and len(todo) < len(bounds):
        progress(sum(b - a for k, (a, b) in enumerate(bounds) if k not in set(todo)))
    n_todo = sum(bounds[k][1] - bounds[k][0] for k in todo)
    if executor is None and n_todo > SMALL and not is_compiled():
        run_part(site, designs.keys, designs.rows(*bounds[todo[0]])[:FEWEST], 0, wanted)
    with _somewhere(executor, n_todo, workers) as (pool, n_workers):
        tasks = (
            (k, (site, designs.keys, designs.rows(*bounds[k]), bounds[k][0], wanted, made_by()["sources"]))
            for k in todo
        )
        for k, frame in _as_done(pool, tasks, IN_FLIGHT * n_workers):
            for name, values in getattr(designs, "labels", {}).items():
                frame[f"label_{name}"] = [_text(one) for one in values[slice(*bounds[k])]]
            for name, kind in kinds.items():
                frame[name] = frame[name].map(_text).astype(object) if kind is str else frame[name].astype(kind)
            if dataset is not None:
                dataset.write(k, frame)
            if progress is not None:
                progress(len(frame))
            yield k, frame if dataset is None else None
    if dataset is not None:
        dataset.close(len(designs))


def is_compiled() -> bool:
    """Something of the physics is compiled already; else every worker would compile the same for half a minute."""
    return any(Path(cache_folder()).rglob("*.nbi"))


def kind_of(values) -> type:
    """The one kind of a column of inputs, the same in every part: whole numbers, numbers, truths, else text."""
    one = lambda v: bool if isinstance(v, bool) else int if isinstance(v, int) else float if _is_number(v) else str
    kinds = {one(value) for value in values}
    if len(kinds) == 1:
        return kinds.pop()
    return float if kinds == {int, float} else str


def _is_number(value) -> bool:
    return value is None or isinstance(value, float)


def _text(value) -> str | None:
    missing = value is None or value != value
    return None if missing else value if isinstance(value, str) else json.dumps(value, default=str)


def part_size(n_designs: int, wanted: Wanted) -> int:
    """Designs in a part: a 64th of the sweep, in whole blocks of lanes where it is large, and within limits.

    It depends on nothing else, so that a sweep can be resumed.
    """
    low, most = PART_DESIGNS
    high = most if wanted.outages or wanted.one_by_one else BILLS_ONLY
    share = max(low, min(high, -(-n_designs // 64)))
    return share if n_designs < 8 * BLOCK or most < BLOCK else -(-share // BLOCK) * BLOCK


def told(site: Site, designs: Grid | Table, wanted: Wanted, size: int) -> dict:
    """The record of a sweep: what must not change while it is resumed."""
    return {
        "version": version(),
        "made_by": made_by(),
        "vary": designs.told(),
        "designs": len(designs),
        "part_designs": size,
        "wanted": vars(wanted),
        "site": site.model_dump(mode="json", by_alias=True, exclude_none=True),
        "files": contents(site, designs.values),
    }


def check_keys(site: Site, designs: Grid | Table) -> None:
    """Refuse a key that no design can take, before anything runs."""
    first = designs.rows(0, min(len(designs), SMALL))
    for column, key in enumerate(designs.keys):
        errors = []
        for value in dict.fromkeys(row[column] for row in first):
            try:
                site_with(site, (key,), (value,))
            except BadInput as error:
                errors.append(error)
            else:
                errors.clear()
                break
        if errors and any(mark in errors[0].rule for mark in UNKNOWN_KEY):
            raise errors[0]


def run_part(site: Site, keys, rows, first: int, wanted: Wanted, sources: str | None = None):
    """Run the designs of one part; a design that is refused is a row with its error.

    Parameters
    ----------
    sources : str, optional
        Hash of the sources of whoever asks; a worker that holds others refuses.

    Returns
    -------
    DataFrame
    """
    if sources not in (None, made_by()["sources"]):
        raise BadInput(
            "must be what this sweep was begun with",
            key="program of a worker",
            value=made_by()["sources"],
            way_out="install the same version on every worker",
        )
    keep_memory()
    wanted = replace(wanted, years=wanted.outages and asks_for_years(site) and "weather.year" not in keys)
    houses, found = _houses(), Columns(len(rows))
    numbers = [is_number_key(key, site.subpanel.mode) for key in keys]
    pick = lambda values, wants: tuple(v for v, is_number in zip(values, numbers, strict=True) if is_number is wants)
    groups: dict[str, list[int]] = {}
    for k, row in enumerate(rows):
        groups.setdefault(repr(pick(row, False)), []).append(k)
    for index in groups.values():
        columns = None
        try:
            shared = site_with(site, pick(keys, False), pick(rows[index[0]], False))
            columns = number_columns(shared, pick(keys, True), [pick(rows[k], True) for k in index], houses, wanted)
        except Exception:  # noqa: BLE001 - the rows say one by one what is wrong
            columns = None
        if columns is None:
            found.put_rows(index, _rows(site, keys, [rows[k] for k in index], houses, wanted))
        else:
            found.put(index, columns)
    return found.frame(keys, rows, first)


@cache
def keep_memory() -> None:
    """Freed arrays of a year stay with this process where its surroundings ask the C library to hand them back at once.

    The nannies of dask do so (`MALLOC_TRIM_THRESHOLD_`): every array is then new memory, and a design takes 2.7 times
    as long. Only glibc has this switch; elsewhere nothing happens.
    """
    if "MALLOC_TRIM_THRESHOLD_" not in os.environ:
        return
    import ctypes

    with suppress(OSError, AttributeError, TypeError):
        library = ctypes.CDLL(None)
        for threshold in (M_TRIM_THRESHOLD, M_MMAP_THRESHOLD):
            library.mallopt(threshold, KEPT_BYTES)


def _rows(site: Site, keys, rows, houses: Houses, wanted: Wanted) -> list[dict]:
    """Designs that are checked one by one; those that can run side by side do."""
    sites, out = [], []
    for values in rows:
        try:
            own = site_with(site, keys, values)
            row = {"input_hash": input_hash(own)}
        except Exception as error:  # one design must not cost the others; the row says what happened
            own, row = None, refused(error)
        sites.append(own)
        out.append(row)
    good = [k for k, own in enumerate(sites) if own is not None]
    side_by_side = dict(zip(good, grouped_rows([sites[k] for k in good], houses, wanted), strict=True))
    for k in good:
        try:
            out[k] |= side_by_side[k] or run_design(sites[k], houses, wanted)
        except Exception as error:
            out[k] |= refused(error)
    return out


class Columns:
    """The results of a part, column by column; which columns there are does not depend on the designs in it."""

    def __init__(self, n_designs: int):
        self.n_designs = n_designs
        self.held = {name: np.full(n_designs, np.nan) for name in RESULTS}
        self.held |= {name: np.full(n_designs, None, dtype=object) for name in TEXTS}

    def put(self, index, columns: dict) -> None:
        """Set some designs' values of some columns."""
        for name, values in columns.items():
            self.held[name][index] = values

    def put_rows(self, index, rows: list[dict]) -> None:
        """Set some designs from their rows."""
        for k, row in zip(index, rows, strict=True):
            for name, value in row.items():
                self.held[name][k] = np.nan if value is None and name in RESULTS else value

    def frame(self, keys, rows, first: int):
        """The part as a table."""
        import pandas as pd

        inputs = {f"in_{key}": list(values) for key, values in zip(keys, zip(*rows, strict=True), strict=True)}
        design = np.arange(first, first + self.n_designs, dtype=np.int64)
        held = {
            name: pd.Series(values) if name in RESULTS else pd.Series(values, dtype=object)
            for name, values in self.held.items()
        }
        return pd.DataFrame({"design": design, **inputs, **held, "version": version()})


_KEPT: dict[int, Houses] = {}


def _houses() -> Houses:
    """The houses of this thread: a worker keeps them from part to part."""
    import threading

    return _KEPT.setdefault(threading.get_ident(), Houses())


@contextmanager
def _somewhere(executor: Executor | None, n_designs: int, workers: int | None = None):
    """The executor that was given, or one of our own that is shut down at the end."""
    if executor is not None:
        yield executor, _workers_of(executor)
        return
    own, n_workers = _own_executor(n_designs, workers)
    try:
        yield own, n_workers
    except BaseException:
        own.shutdown(wait=False, cancel_futures=True)
        for process in list((getattr(own, "_processes", None) or {}).values()):
            process.terminate()
        raise
    own.shutdown()


def _own_executor(n_designs: int, workers: int | None = None) -> tuple[Executor, int]:
    import multiprocessing
    from concurrent.futures import ProcessPoolExecutor

    workers = workers or os.cpu_count() or 1
    if n_designs <= SMALL or workers == 1:
        return ThreadPoolExecutor(1), 1
    fresh = multiprocessing.get_context("spawn")
    return ProcessPoolExecutor(workers, mp_context=fresh, initializer=_leave_with_parent), workers


def _leave_with_parent() -> None:
    """A worker leaves an interrupt to its parent, and does not outlive it."""
    import multiprocessing
    import signal
    import threading

    def watch() -> None:
        multiprocessing.parent_process().join()
        os._exit(1)

    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=watch, daemon=True).start()


def _workers_of(executor: Executor) -> int:
    known = getattr(executor, "_max_workers", None)
    if known is None and hasattr(executor, "_client"):
        known = sum(executor._client.nthreads().values())
    return max(int(known or 8), 1)


def _as_done(pool: Executor, tasks, most: int) -> Iterator[tuple[int, object]]:
    """Results as they come, with at most so many parts under way."""
    waiting, tasks, more = {}, iter(tasks), True
    try:
        while True:
            while more and len(waiting) < most:
                task = next(tasks, None)
                if task is None:
                    more = False
                    break
                waiting[pool.submit(run_part, *task[1])] = task[0]
            if not waiting:
                return
            for future in wait(waiting, return_when=FIRST_COMPLETED).done:
                yield waiting.pop(future), future.result()
    except BrokenExecutor as error:
        raise RuntimeError(
            "a worker process ended early: out of memory, killed, or the script that calls sweep() lacks "
            'an `if __name__ == "__main__":` above the call'
        ) from error
    finally:
        for future in waiting:
            future.cancel()
