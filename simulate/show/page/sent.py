"""The page as one file without a server, to be sent to the client: every design looked up in the file itself."""

from __future__ import annotations

import base64
import calendar
import hashlib
import json
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import markupsafe

from profiles.files import written
from profiles.noun import BadInput
from simulate.show.page.board import TEMPLATES, Board, part
from simulate.show.page.figures import EDGE_PX, ROW_PX, RULER_PX, STEP_NAMES, WIDTH_PX, band_texts, height_px, ticks
from simulate.show.page.grid import TOP_H, Grid, all_parts, grid_of, seconds_of
from simulate.show.page.state import reserve_text
from simulate.site.site import Site

MOST_BYTES = 2_000_000


@dataclass(frozen=True)
class Sent:
    """A file that was written.

    Attributes
    ----------
    path : Path
    n_designs, n_bytes : int
    grid : Grid
    """

    path: Path
    n_designs: int
    n_bytes: int
    grid: Grid


def write_page(
    site: Site | None,
    path: str | Path,
    *,
    most_bytes: int = MOST_BYTES,
    workers: int | None = None,
    says: Callable[[int, float], None] = lambda n, seconds: None,
    seen: Callable[[int], None] = lambda n: None,
) -> Sent:
    """Write the page of a site as one HTML file that needs no server and asks for nothing.

    Parameters
    ----------
    site : Site or None
        The embedded demo site without one.
    path : path
    most_bytes : int
        Reserves, then units, are left out until the file is no larger.
    workers : int, optional
        Processes; one for each core without, 0 for none but this.
    says : callable
        Told before it begins how many designs there are, and about how many seconds they take.
    seen : callable
        Told how many are done.

    Raises
    ------
    BadInput
        A place that cannot be written to, or a site whose single sets of circuits do not fit.
    """
    path = Path(path)
    if path.is_dir() or not path.resolve().parent.is_dir():
        raise BadInput("must name a file in a folder that is there", key="--write", value=str(path))
    board = Board(site)
    grid = grid_of(board)
    says(grid.n_designs, seconds_of(board, grid))
    parts = all_parts(board.first.site, grid, workers, seen)
    text = file_html(board, grid, parts)
    while len(text.encode()) > most_bytes:
        grid = grid.thinner()
        if grid is None:
            raise BadInput("cannot be held in a file of that size", key="--write", value=most_bytes)
        text = file_html(board, grid, parts)
    with written(path) as beside:
        beside.write_text(text, encoding="utf-8")
    return Sent(path, grid.n_designs, len(text.encode()), grid)


def packed(grid: Grid, parts) -> str:
    """The designs as compressed JSON in base64: each text once, and their numbers by design."""
    known: dict[str, int] = {}
    rows = []
    for u in range(len(grid.units)):
        for r in range(len(grid.reserves)):
            rows += [[known.setdefault(text, len(known)) for text in texts] for texts in parts[u, r]]
    columns = [list(column) for column in zip(*rows, strict=True)]
    plain = json.dumps({"texts": list(known), "columns": columns}, separators=(",", ":"), ensure_ascii=False)
    return base64.b64encode(zlib.compress(plain.encode("utf-8"), 9)).decode("ascii")


def file_html(board: Board, grid: Grid, parts) -> str:
    """The whole file as text; style and script are allowed by their hashes and nothing else is."""
    style, script = ((TEMPLATES / name).read_text("utf-8") for name in ("page.css", "file.js"))
    allowed = lambda text: "'sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode() + "'"
    only = f"script-src {allowed(script)}; style-src {allowed(style)}"
    policy = f"default-src 'none'; {only}; base-uri 'none'; form-action 'none'"
    draft, site = board.first, board.first.site
    facts = {
        "switched": list(grid.switched),
        "n_reserves": len(grid.reserves),
        "on": [circuit.on == "sub-panel" for circuit in site.circuit],
        "legs": {leg: [row.index for row in rows] for leg, rows in board.lists.items()},
        "months": list(calendar.month_name),
        "bands": band_texts(),
        "steps": STEP_NAMES,
        "px": {"row": ROW_PX, "edge": EDGE_PX, "width": WIDTH_PX, "ruler": RULER_PX, "height": height_px(board.lists)},
    }
    return part(
        "file",
        site=site,
        year=draft.house.hours.year,
        policy=markupsafe.Markup(f'<meta http-equiv="content-security-policy" content="{policy}">'),
        style=markupsafe.Markup(f"<style>{style}</style>"),
        script=markupsafe.Markup(f"<script>{script}</script>"),
        facts=json.dumps(facts),
        designs=packed(grid, parts),
        lists=board.lists,
        legs=[leg for leg in "AB" if leg == "A" or site.service.system != "120"],
        backed_up=draft.backed_up,
        switched=grid.switched,
        units=[
            ", ".join(f"{n} on {'both legs' if leg == 'both' else leg}" for leg, n in one.items()) for one in grid.units
        ],
        reserves=[_reserve_words(one, draft.reserve) for one in grid.reserves],
        plan=draft.plan,
        load_case=site.outage.load_case,
        left_out=grid.left_out,
        notes=grid.notes,
        n_designs=f"{grid.n_designs:,}",
        cautions=draft.study.cautions,
        bands=band_texts(),
        top_h=TOP_H,
        height=height_px(board.lists),
        ticks=ticks_of(board),
        width=WIDTH_PX,
        ruler=RULER_PX,
    )


def ticks_of(board: Board) -> list[dict]:
    """The ticks of a ruler whose end does not change."""
    height = height_px(board.lists)
    return ticks(TOP_H, lambda hours: height - EDGE_PX - (hours / TOP_H) ** 0.5 * (height - 2 * EDGE_PX), [])


def _reserve_words(reserve, resolved) -> str:
    text = reserve_text(resolved if reserve is None else reserve)
    return "by month, as written" if "," in text else text if text == "best" else f"{text}%"
