"""The server of the page: on this machine only, for whoever holds the token, and never a change of the site file."""

from __future__ import annotations

import asyncio
import secrets
import socket
import webbrowser
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

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
    """The board behind the server: one request at a time, the newest of each tab, neighbours while idle."""

    def __init__(self, board: Board):
        self.board, self.tabs, self.n_asked = board, {}, 0
        self.now, self.later = ThreadPoolExecutor(1, "now"), ThreadPoolExecutor(1, "later")
        self._warm: asyncio.Task | None = None

    def arrives(self, tab: str, n: int) -> None:
        """A request is here: what was asked before it in the same tab is overtaken."""
        self.n_asked += 1
        if self._warm is not None:
            self._warm.cancel()
        self.tabs[tab] = max(n, self.tabs.pop(tab, 0))
        while len(self.tabs) > MOST_TABS:
            self.tabs.pop(next(iter(self.tabs)))

    async def answer(self, pool: ThreadPoolExecutor, tab: str, n: int, make):
        """What `make` gives, None where a newer request of the tab came before it began."""
        newest = lambda: self.tabs.get(tab, n) <= n
        return await asyncio.get_running_loop().run_in_executor(pool, lambda: make() if newest() else None)

    def warm(self, text: str) -> None:
        """Begin to work out the neighbours of a design, until the next request."""
        self._warm = asyncio.create_task(self._neighbours(text))

    async def _neighbours(self, text: str) -> None:
        await asyncio.sleep(IDLE_S)
        loop, asked = asyncio.get_running_loop(), self.n_asked
        for one in await loop.run_in_executor(self.later, self.board.neighbours, text):
            if self.n_asked != asked:
                return
            await loop.run_in_executor(self.later, self.board.prepare, one)

    def close(self) -> None:
        """Nothing more is begun."""
        for pool in (self.now, self.later):
            pool.shutdown(wait=False, cancel_futures=True)


def app_of(board: Board, *, token: str, hosts: tuple[str, ...], folder: Path | None = None):
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
    from starlette.applications import Starlette
    from starlette.responses import HTMLResponse, JSONResponse, Response
    from starlette.routing import Route

    desk = Desk(board)

    def asked(request) -> dict:
        q = request.query_params
        n = q.get("n", "0")
        return {
            "d": q.get("d", ""),
            "b": q.get("b", ""),
            "pins": q.getlist("pin"),
            "tab": q.get("tab", "")[:40],
            "n": _n(n),
        }

    async def page(request):
        return HTMLResponse(page_of(board, token))

    def held(name: str, kind: str):
        text = (TEMPLATES / name).read_text("utf-8")

        async def give(request):
            return Response(text, media_type=kind)

        return give

    async def first(request):
        one = asked(request)
        desk.arrives(one["tab"], one["n"])
        made = await desk.answer(desk.now, one["tab"], one["n"], lambda: board.first_answer(one["d"], one["b"]))
        return JSONResponse(made) if made is not None else JSONResponse({"refused": "overtaken"}, 409)

    def follows(make, is_last: bool):
        async def give(request):
            one = asked(request)
            made = await desk.answer(desk.later, one["tab"], one["n"], lambda: make(one))
            if made is None:
                return JSONResponse({"refused": "overtaken"}, 409)
            if is_last:
                desk.warm(one["d"])
            return JSONResponse(made)

        return give

    async def write(request):
        body = (await request.body()).decode("utf-8", "strict")
        loop = asyncio.get_running_loop()
        paths = await loop.run_in_executor(desk.later, lambda: write_design(board.draft(body), folder))
        return JSONResponse({"text": f"Written: {paths[0]} and the folder {paths[1]}."})

    async def refused(request, error):
        return JSONResponse({"refused": str(error)}, 400)

    routes = [
        Route("/", page),
        Route("/page.css", held("page.css", "text/css")),
        Route("/page.js", held("page.js", "text/javascript")),
        Route("/icon.svg", held("icon.svg", "image/svg+xml")),
        Route("/first", first),
        Route("/second", follows(lambda one: board.second_answer(one["d"], one["pins"]), False)),
        Route("/third", follows(lambda one: board.third_answer(one["d"]), True)),
        Route("/write", write, methods=["POST"]),
    ]
    errors = {BadInput: refused, UnicodeDecodeError: refused}
    app = Starlette(routes=routes, exception_handlers=errors)
    app.state.desk = desk
    return Guard(app, token=token, hosts=hosts)


def _n(text: str) -> int:
    if not text.isascii() or not text.isdigit() or len(text) > 12:
        raise BadInput("must be a whole number", key="n", value=text)
    return int(text)


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
    import uvicorn

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
