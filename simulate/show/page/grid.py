"""The designs of a page that is sent away: every set of some circuits, with some units and some reserves."""

from __future__ import annotations

import os
import statistics
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass, replace
from itertools import product
from multiprocessing import get_context

from simulate.document.money_answer import printed_steps
from simulate.show.page.board import Board
from simulate.show.page.figures import EDGE_PX, bands, grid_h, height_px, rulers_of
from simulate.show.page.state import reserve_text
from simulate.site.site import Site

MOST_SWITCHED = 8
RESERVES = (0.2, 0.5, 0.8)
"""Reserves beside the one that is written."""
TOP_H = 336
"""Where the rulers of a page that is sent away end, whatever the design. [h]"""
TRIED = 7
"""Designs that are run to say how long all of them will take."""


@dataclass(frozen=True)
class Grid:
    """Which designs are worked out.

    Attributes
    ----------
    switched : tuple of int
        Places in the file of the circuits that may be switched on and off.
    left_out : tuple of str
        Circuits that stay as they are written, though they might be switched.
    units : tuple of dict
        Units by leg, the written ones first.
    reserves : tuple
        The written one first.
    notes : tuple of str
        What was thinned out.
    """

    switched: tuple[int, ...]
    left_out: tuple[str, ...]
    units: tuple[dict[str, int], ...]
    reserves: tuple
    notes: tuple[str, ...] = ()

    @property
    def n_sets(self) -> int:
        return 1 << len(self.switched)

    @property
    def n_designs(self) -> int:
        return self.n_sets * len(self.units) * len(self.reserves)

    def thinner(self) -> Grid | None:
        """The same with fewer reserves, then with fewer units; None where nothing is left to take out."""
        if len(self.reserves) > 1:
            note = f"reserve {reserve_text(self.reserves[-1])}% is left out to keep the file small"
            return replace(self, reserves=self.reserves[:-1], notes=(*self.notes, note))
        if len(self.units) > 1:
            words = ", ".join(f"{n} on {leg}" for leg, n in self.units[-1].items())
            note = f"units {words} are left out to keep the file small"
            return replace(self, units=self.units[:-1], notes=(*self.notes, note))
        return None


def grid_of(board: Board) -> Grid:
    """Up to eight circuits, the least needed first; one unit less and one more on each leg; a few reserves.

    Medical circuits, and those that the site file keeps on the main panel, stay as they are written.
    """
    draft = board.first
    may = [k for k, circuit in enumerate(draft.site.circuit) if circuit.on != "main" and not circuit.is_medical]
    ranked = sorted(may, key=lambda k: (draft.site.circuit[k].on != "candidate", -draft.site.circuit[k].priority, k))
    chosen = tuple(sorted(ranked[:MOST_SWITCHED]))
    left_out = tuple(draft.site.circuit[k].name for k in may if k not in chosen)
    return Grid(chosen, left_out, _units(draft.units), _reserves(draft))


def _units(now: dict[str, int]) -> tuple[dict[str, int], ...]:
    near = [[n, n + 1, *([n - 1] if n else [])] for n in now.values()]
    every = [dict(zip(now, counts, strict=True)) for counts in product(*near)]
    mixed = lambda one: bool(one.get("both")) and bool(one.get("A", 0) + one.get("B", 0))
    some = [one for one in every if sum(one.values()) and not mixed(one)]
    return tuple(sorted(some, key=lambda one: sum(abs(n - now[leg]) for leg, n in one.items())))


def _reserves(draft) -> tuple:
    written = draft.site.operation.reserve
    if draft.plan == "keep-full":  # the units are full whatever the reserve
        return (written,)
    return (written, *(one for one in RESERVES if one != draft.reserve))


def part_of(board: Board, grid: Grid, units: dict[str, int], reserve) -> list[list[str]]:
    """Every set of circuits with these units and this reserve, each as the texts that the page shows."""
    first, names = board.first, [circuit.name for circuit in board.first.site.circuit]
    base = first.changed(units=units, reserve=reserve)
    out = []
    for bits in range(grid.n_sets):
        is_on = {names[place]: bool(bits >> k & 1) for k, place in enumerate(grid.switched)}
        out.append(texts_of(board, base.changed(circuits=is_on)))
    return out


def texts_of(board: Board, draft) -> list[str]:
    """What a design shows, text by text: stops, hours, money, month, circuits, legs, map, bills, checks."""
    answer, ride = draft.study.answer, draft.ride
    rulers = rulers_of(draft, board.lists, TOP_H, storms=False)
    height = height_px(board.lists) - 2 * EDGE_PX
    high = lambda mark: round(1000 * (height + EDGE_PX - mark["y"]) / height)
    ends = [one["dead"] for one in rulers["legs"].values()]
    fails = [f"{one.check}: {one.subject}. {one.text}" for one in draft.study.findings if one.verdict == "fail"]
    return [
        "\n".join(one["text"] for one in answer["stop"]),
        answer["hours"]["text"],
        answer["money"]["text"],
        str(answer["hours"]["month"]),
        "\n".join(_circuits(draft, rulers)),
        "\n".join("" if mark is None else f"{high(mark)}|{mark['text']}" for mark in ends),
        "".join("-" if band < 0 else str(band) for band in bands(grid_h(ride)).tolist()),
        "\n".join(f"{name}|{total:,.2f}|{change:+,.2f}" for name, total, change in printed_steps(draft.bills)),
        "\n".join(fails),
    ]


def _circuits(draft, rulers) -> list[str]:
    """By circuit: how high its line ends in thousandths of the ruler, and what stands beside its name."""
    high = {k: str(round(1000 * (min(h, TOP_H) / TOP_H) ** 0.5)) for k, h in rulers["lasts"].items()}
    return [f"{high.get(k, '')}|{rulers['rows'][k]}" for k in range(len(draft.site.circuit))]


_WORKER: dict = {}


def _begin(site: Site) -> None:
    _WORKER["board"] = Board(site)


def _work(grid: Grid, u: int, r: int) -> tuple[int, int, list[list[str]]]:
    return u, r, part_of(_WORKER["board"], grid, grid.units[u], grid.reserves[r])


def seconds_of(board: Board, grid: Grid) -> float:
    """How long all designs will take on this machine, from a few of them. [s]"""
    names = [board.first.site.circuit[k].name for k in grid.switched]
    each = []
    for k in range(TRIED):
        start, bits = time.perf_counter(), (1 + k * 2654435761) % grid.n_sets
        texts_of(board, board.first.changed(circuits={name: bool(bits >> j & 1) for j, name in enumerate(names)}))
        each.append(time.perf_counter() - start)
    return statistics.median(each) * grid.n_designs / (os.cpu_count() or 1)


def all_parts(
    site: Site, grid: Grid, workers: int | None = None, seen: Callable[[int], None] = lambda n: None
) -> dict[tuple[int, int], list[list[str]]]:
    """The designs of a grid by (units, reserve), on all cores; `seen` is told how many are done.

    Parameters
    ----------
    workers : int, optional
        Processes; one for each core without; 0 works in this one.
    """
    todo = list(product(range(len(grid.units)), range(len(grid.reserves))))
    out = {}
    for u, r, part in _worked(site, grid, todo, workers):
        out[u, r] = part
        seen(len(out) * grid.n_sets)
    return out


def _worked(site: Site, grid: Grid, todo, workers: int | None) -> Iterator[tuple]:
    if workers == 0:
        _begin(site)
        yield from (_work(grid, u, r) for u, r in todo)
        return
    how = {"mp_context": get_context("spawn"), "initializer": _begin, "initargs": (site,)}
    with ProcessPoolExecutor(workers or os.cpu_count(), **how) as pool:
        for done in as_completed([pool.submit(_work, grid, u, r) for u, r in todo]):
            yield done.result()
