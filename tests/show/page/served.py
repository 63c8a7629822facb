"""A page that is served to a test on a free port, by the server that `keeplit page` runs."""

import http.client
import threading
from contextlib import contextmanager
from pathlib import Path

import uvicorn

from simulate.show.page.board import Board
from simulate.show.page.server import app_of, listener_on
from simulate.site.site import Site

TOKEN = "a-token-of-the-test"


class Served:
    """A running page: its address, its board, and plain requests."""

    def __init__(self, board: Board, port: int):
        self.board, self.port = board, port
        self.url = f"http://127.0.0.1:{port}/?token={TOKEN}"

    def ask(self, path: str, *, method="GET", body=None, token=TOKEN, **headers) -> tuple[int, dict, str]:
        """Status, headers and text of one request; a header of None is left out."""
        given = {"host": f"127.0.0.1:{self.port}", "x-token": token} | headers
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=300)
        connection.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
        for key, value in given.items():
            if value is not None:
                connection.putheader(key.replace("_", "-"), value)
        if body is not None:
            connection.putheader("content-length", str(len(body)))
        connection.endheaders(body)
        answer = connection.getresponse()
        out = answer.status, {key.lower(): value for key, value in answer.getheaders()}, answer.read().decode()
        connection.close()
        return out


@contextmanager
def served(site: Site | None = None, folder: Path | None = None):
    """Serve a site until the block ends."""
    board, listener = Board(site), listener_on(0)
    port = listener.getsockname()[1]
    app = app_of(board, token=TOKEN, hosts=(f"127.0.0.1:{port}", f"localhost:{port}"), folder=folder)
    server = uvicorn.Server(uvicorn.Config(app, log_level="error", access_log=False, lifespan="off"))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
    thread.start()
    try:
        one = Served(board, port)
        one.stop = lambda: (setattr(server, "should_exit", True), thread.join(20))
        yield one
    finally:
        server.should_exit = True
        thread.join(20)
        app.app.state.desk.close()
        listener.close()
