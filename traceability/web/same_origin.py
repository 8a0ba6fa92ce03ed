"""Forms are taken from our own pages only: told by the headers that browsers set themselves.

Sec-Fetch-Site first, then Origin. No tokens: a queue is sent hours after its page was loaded. A
client that sends neither header is no browser, and holds no cookie of a person who did not give it.
"""

from urllib.parse import urlsplit

from flask import Flask, abort, request

SAFE = frozenset({"GET", "HEAD", "OPTIONS"})


def register(app: Flask) -> None:
    """Refuse writing requests from other sites' pages with 403."""

    @app.before_request
    def _check() -> None:
        if request.method in SAFE:
            return
        fetched_from = request.headers.get("Sec-Fetch-Site")
        if fetched_from is not None:
            if fetched_from not in {"same-origin", "none"}:
                abort(403)
            return
        origin = request.headers.get("Origin")
        if origin is not None and urlsplit(origin).netloc != request.host:
            abort(403)
