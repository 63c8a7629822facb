"""From a request to the page's answer, by kind of change, over HTTP on this machine, against the whole job done anew.

The demo site (invented): ten circuits, two units, solar, steps of an hour. Every design is asked for once, and nothing
of it is known beforehand; a sentence that is not that of `study` of the same site is not timed. Busy cores stretch the
clock, so the processor's time stands beside it.
"""

from __future__ import annotations

import json
import threading
import time
import urllib.request
from contextlib import contextmanager
from urllib.parse import quote

import numpy as np

from simulate.document.study import study
from simulate.show.page.board import Board
from simulate.show.page.server import app_of, listener_on
from simulate.show.page.state import text_of

TOKEN = "benchmark"


@contextmanager
def served():
    """A board and a function that asks it over HTTP."""
    import uvicorn

    board, listener = Board(), listener_on(0)
    host = f"127.0.0.1:{listener.getsockname()[1]}"
    app = app_of(board, token=TOKEN, hosts=(host,))
    server = uvicorn.Server(uvicorn.Config(app, log_level="error", access_log=False, lifespan="off"))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
    thread.start()

    def ask(path: str, design: str) -> dict:
        request = urllib.request.Request(f"http://{host}/{path}?d={quote(design)}", headers={"x-token": TOKEN})
        with urllib.request.urlopen(request, timeout=300) as got:
            return json.load(got)

    try:
        yield board, ask
    finally:
        server.should_exit = True
        thread.join()
        app.app.state.desk.close()


def changes(board: Board, rng, n: int) -> dict[str, list[str]]:
    """Designs by kind of change, each another one."""
    first, out = board.first, {}
    plain = [c.name for c in first.site.circuit if c.name not in first.switched]
    rated = [c.name for c in first.site.circuit if c.name in first.switched]
    drawn = lambda names: {name: bool(rng.random() < 0.6) for name in names}
    kinds = {
        "a circuit on or off": lambda: {"circuits": drawn(plain)},
        "a circuit that is switched for the rate": lambda: {"circuits": drawn(rated)},
        "the load case": lambda: {"circuits": drawn(plain), "load_case": str(rng.choice(["frugal", "storm"]))},
        "units": lambda: {"units": {leg: int(rng.integers(1, 9)) for leg in first.units}},
        "the reserve": lambda: {"reserve": round(float(rng.random()), 3)},
    }
    for plan in board.plans:
        kinds[f"units under {plan}"] = lambda plan=plan: {"plan": plan, "units": {"A": int(rng.integers(1, 9)), "B": 2}}
    for kind, change in kinds.items():
        texts = dict.fromkeys(text_of(first.changed(**change())) for _ in range(4 * n))
        out[kind] = [text for text in texts if text != board.written][:n]
    return out


def case_page(n: int = 20, parts: tuple[str, ...] = ("first", "second", "third")) -> list[dict]:
    """The first answer (sentence, legs, map, bills, checks), the second (side by side), the third (the bound)."""
    rows = []
    with served() as (board, ask):
        ask("first", board.written)
        for kind, texts in changes(board, np.random.default_rng(18), n).items():
            rows += _rows(kind, texts, board, ask, parts)
    return rows


def _rows(kind: str, texts: list[str], board: Board, ask, parts) -> list[dict]:
    start = time.perf_counter()
    whole = study(board.draft(texts[-1]).site)
    said = whole.answer["hours"]["text"]
    anew_ms = (time.perf_counter() - start) * 1e3
    times = {part: [] for part in parts}
    for text in texts:
        for path, seen in times.items():
            begun, used = time.perf_counter(), time.process_time()
            answer = ask(path, text)
            seen.append(((time.perf_counter() - begun) * 1e3, (time.process_time() - used) * 1e3))
            assert path != "first" or text != texts[-1] or said.split("'")[0] in answer["answer"]
    return [_row(f"page, {kind}: {path} answer", seen, anew_ms) for path, seen in times.items()]


def _row(name: str, seen: list[tuple[float, float]], anew_ms: float) -> dict:
    clock, processor = np.array(seen).T
    high = f"95 in 100 within {np.quantile(clock, 0.95):.0f} ms, processor {np.quantile(processor, 0.95):.0f} ms"
    median = float(np.median(clock))
    return {
        "case": f"{name} ({high})",
        "median_ms": median,
        "per_design_us": None,
        "versus": {"study anew": anew_ms / median},
    }
