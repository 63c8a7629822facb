"""What stands before the page: only this machine's own name, only with the token, only small requests."""

from __future__ import annotations

import hmac
from urllib.parse import parse_qs

MOST_QUERY, MOST_BODY = 8192, 16384
"""Bytes of an address and of a body that are taken."""
HEADERS = {
    "content-security-policy": "default-src 'self'; frame-ancestors 'none'; base-uri 'none'; form-action 'none'",
    "referrer-policy": "no-referrer",
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "cross-origin-resource-policy": "same-origin",
    "cache-control": "no-store",
}


class Guard:
    """An application behind token, `Host` and size checks, with the headers that keep the page to itself.

    Parameters
    ----------
    app : callable
        ASGI application.
    token : str
        In the query (`token`) or in the header `x-token`.
    hosts : tuple of str
    """

    def __init__(self, app, *, token: str, hosts: tuple[str, ...]):
        self.app, self.token, self.hosts = app, token, hosts

    async def __call__(self, scope, receive, send) -> None:
        if scope["type"] != "http":
            return
        refusal = self._refusal(scope)
        if refusal is not None:
            await _say(send, *refusal)
            return
        body = await _body(scope, receive)
        if body is None:
            await _say(send, 413, "the request is too large")
            return
        sent = iter([{"type": "http.request", "body": body, "more_body": False}])

        async def again():
            return next(sent, None) or await receive()

        await self.app(scope, again, _with_headers(send))

    def _refusal(self, scope) -> tuple[int, str] | None:
        headers = dict(scope["headers"])
        if len(scope["query_string"]) > MOST_QUERY:
            return 414, "the address is too long"
        if headers.get(b"host", b"").decode("latin-1") not in self.hosts:
            return 421, "this page answers to this machine only"
        origin = headers.get(b"origin")
        if origin is not None and origin.decode("latin-1") not in [f"http://{host}" for host in self.hosts]:
            return 403, "this page answers to itself only"
        query = parse_qs(scope["query_string"].decode("latin-1"))
        given = headers.get(b"x-token", query.get("token", [""])[0].encode("latin-1", "replace"))
        if not hmac.compare_digest(given, self.token.encode()):
            return 403, "the token is missing or wrong: open the address that keeplit page printed"
        return None


async def _body(scope, receive) -> bytes | None:
    """The whole body, None where it is too large."""
    body, more = b"", True
    while more:
        message = await receive()
        body += message.get("body", b"")
        more = message.get("more_body", False)
        if len(body) > MOST_BODY:
            return None
    return body


def _with_headers(send):
    async def told(message):
        if message["type"] == "http.response.start":
            more = [(key.encode(), value.encode()) for key, value in HEADERS.items()]
            message = {**message, "headers": [*message["headers"], *more]}
        await send(message)

    return told


async def _say(send, status: int, text: str) -> None:
    headers = [(b"content-type", b"text/plain; charset=utf-8")]
    send = _with_headers(send)
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": text.encode()})
