"""The server of the page: on this machine only, for whoever holds the token, and never a change of the site file."""

from __future__ import annotations

import asyncio
import secrets
import socket
import webbrowser
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import uvicorn
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response
from starlette.routing import Route

from profiles.noun import BadInput
from simulate.show.page.board import TEMPLATES, Board, page_of
from simulate.show.page.guard import Guard
from simulate.show.page.paper import write_design
from simulate.site.site import Site

HOST = "127.0.0.1"
IDLE_S = 0.25
"""So long after the last answer the neighbours of a design are worked out beforehand."""
MOST_TABS = 50


class Desk:
    """The board behind the server: the newest request of each tab, what follows in its own time, neighbours while idle.

    Parameters
    ----------
    board : Board
    token : str
    folder : Path or None
        Where designs are written; beside the site file without one.
    """

    def __init__(self, board: Board, token: str, folder: Path | None):
        self.board, self.token, self.folder, self.tabs, self.n_asked = board, token, folder, {}, 0
        self.now, self.later, self.last = (ThreadPoolExecutor(1, name) for name in ("now", "later", "last"))
        self._warm: asyncio.Task | None = None

    async def page(self, request: Request) -> Response:
        """The page itself, with the controls of the written design."""
        return HTMLResponse(page_of(self.board, self.token))

    async def first(self, request: Request) -> Response:
        """What is seen at once."""
        one = asked(request)
        self._arrives(one)
        return await self._answer(self.now, one, lambda: self.board.first_answer(one.design, one.base))

    async def second(self, request: Request) -> Response:
        """Plans, and designs side by side."""
        one = asked(request)
        return await self._answer(self.later, one, lambda: self.board.second_answer(one.design, one.pins))

    async def third(self, request: Request) -> Response:
        """What no plan can beat; then the neighbours are worked out."""
        one = asked(request)
        answer = await self._answer(self.last, one, lambda: self.board.third_answer(one.design))
        if answer.status_code == 200:
            self._warm = asyncio.create_task(self._neighbours(one.design))
        return answer

    async def write(self, request: Request) -> Response:
        """A design as files."""
        text = (await request.body()).decode("utf-8", "strict")
        paths = await _on(self.last, lambda: write_design(self.board.draft(text), self.folder))
        return JSONResponse({"text": f"Written: {paths[0]} and the folder {paths[1]}."})

    def _arrives(self, one: Asked) -> None:
        """A request is here: what was asked before it in the same tab is overtaken."""
        self.n_asked += 1
        if self._warm is not None:
            self._warm.cancel()
        self.tabs[one.tab] = max(one.n, self.tabs.pop(one.tab, 0))
        while len(self.tabs) > MOST_TABS:
            self.tabs.pop(next(iter(self.tabs)))

    async def _answer(self, pool: ThreadPoolExecutor, one: Asked, make) -> Response:
        """What `make` gives; 409 where a newer request of the tab came before it began."""
        is_newest = lambda: self.tabs.get(one.tab, one.n) <= one.n
        made = await _on(pool, lambda: make() if is_newest() else None)
        return JSONResponse({"refused": "overtaken"}, 409) if made is None else JSONResponse(made)

    async def _neighbours(self, text: str) -> None:
        await asyncio.sleep(IDLE_S)
        n_asked = self.n_asked
        for one in await _on(self.last, lambda: self.board.neighbours(text)):
            if self.n_asked != n_asked:
                return
            await _on(self.last, lambda one=one: self.board.prepare(one))

    def close(self) -> None:
        """Nothing more is begun."""
        for pool in (self.now, self.later, self.last):
            pool.shutdown(wait=False, cancel_futures=True)


@dataclass(frozen=True)
class Asked:
    """What a request asks for: a design, the pinned one it is held against, all pins, its tab, its number there."""

    design: str
    base: str
    pins: list[str]
    tab: str
    n: int


def asked(request: Request) -> Asked:
    """What the query of a request says.

    Raises
    ------
    BadInput
        A number that is none.
    """
    q = request.query_params
    n = q.get("n", "0")
    if not n.isascii() or not n.isdigit() or len(n) > 12:
        raise BadInput("must be a whole number", key="n", value=n)
    return Asked(q.get("d", ""), q.get("b", ""), q.getlist("pin"), q.get("tab", "")[:40], int(n))


async def _on(pool: ThreadPoolExecutor, make):
    return await asyncio.get_running_loop().run_in_executor(pool, make)


async def _refused(request: Request, error: Exception) -> Response:
    return JSONResponse({"refused": str(error)}, 400)


def _held(name: str, kind: str) -> Route:
    """A file of the page by its name."""
    text = (TEMPLATES / name).read_text("utf-8")

    async def give(request: Request) -> Response:
        return Response(text, media_type=kind)

    return Route(f"/{name}", give)


def app_of(board: Board, *, token: str, hosts: tuple[str, ...], folder: Path | None = None) -> Guard:
    """The application of one board.

    Parameters
    ----------
    board : Board
    token : str
        Every request has to carry it.
    hosts : tuple of str
        What the `Host` header may say.
    folder : Path, optional
        Where designs are written; beside the site file without one.
    """
    desk = Desk(board, token, folder)
    routes = [
        Route("/", desk.page),
        _held("page.css", "text/css"),
        _held("page.js", "text/javascript"),
        _held("icon.svg", "image/svg+xml"),
        *(Route(f"/{one.__name__}", one) for one in (desk.first, desk.second, desk.third)),
        Route("/write", desk.write, methods=["POST"]),
    ]
    app = Starlette(routes=routes, exception_handlers={BadInput: _refused, UnicodeDecodeError: _refused})
    app.state.desk = desk
    return Guard(app, token=token, hosts=hosts)


def serve(site: Site | None, *, port: int = 0, opens: bool = True, say=print) -> None:
    """Serve the page of a site until Ctrl-C.

    Parameters
    ----------
    site : Site or None
        The embedded demo site without one.
    port : int
        0 for a free one.
    opens : bool
        Open the browser.
    say : callable
        Told the address once the server listens.

    Raises
    ------
    BadInput
        A port that is taken, or a site that cannot be run.
    """
    board, listener = Board(site), listener_on(port)
    board.first_answer("")
    number = listener.getsockname()[1]
    token = secrets.token_urlsafe(24)
    url = f"http://{HOST}:{number}/?token={token}"
    app = app_of(board, token=token, hosts=(f"{HOST}:{number}", f"localhost:{number}"))
    config = uvicorn.Config(app, log_level="error", access_log=False, lifespan="off", server_header=False)

    class Server(uvicorn.Server):
        """Tells the address once it listens."""

        async def startup(self, sockets=None) -> None:
            await super().startup(sockets=sockets)
            say(url)
            if opens:
                await asyncio.get_running_loop().run_in_executor(None, webbrowser.open, url)

    try:
        Server(config).run(sockets=[listener])
    except KeyboardInterrupt:
        pass
    finally:
        app.app.state.desk.close()
        listener.close()


def listener_on(port: int) -> socket.socket:
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((HOST, port))
    except (OSError, OverflowError) as error:
        listener.close()
        raise BadInput(f"cannot be used: {error}", key="--port", value=port, way_out="name another port") from None
    listener.listen(64)
    return listener
