"""A process that answers pages; started and kept alive by `serve`, never by hand."""

import gc
import logging
import os
import socket
import threading
from contextlib import suppress
from dataclasses import replace
from importlib import import_module
from importlib.util import find_spec
from typing import Any, Final

import click
from waitress.server import create_server

from traceability.cli.children import Told, follow_parent
from traceability.cli.exits import NotAvailable
from traceability.cli.store import settings_for
from traceability.cli.tls_front import Application, TlsFront
from traceability.settings import Settings

THREADS: Final = 12
FINISH_S: Final = 5
"""How long answers that are under way may take when the service stops."""
LARGEST_BODY: Final = 32 * 2**20
"""Bytes; a photograph, or a stock list."""


@click.command(hidden=True)
@click.option("--socket", "listening_at", type=int, required=True, help="Open, listening socket.")
@click.option("--leash", type=int, required=True, help="Pipe that ends when the parent does.")
@click.option("--ready", type=int, required=True, help="Pipe to write to once pages are answered.")
@click.option("--chain", default="", help="Certificate file; empty for http.")
@click.option("--key", default="", help="Its key.")
@click.option("--practice", is_flag=True, help="The practice store.")
def web(*, listening_at: int, leash: int, ready: int, chain: str, key: str, practice: bool) -> None:
    """Answer pages on an inherited socket (started by `serve`)."""
    told = follow_parent(leash)
    sockets: dict[int, Any] = {}
    logging.basicConfig(level=logging.INFO, format="%(asctime)s %(levelname)s %(name)s %(message)s")
    logging.getLogger("alembic").setLevel(logging.WARNING)
    settings = settings_for(practice=practice)
    listening = socket.socket(fileno=listening_at)
    if chain:
        settings = replace(settings, secure_cookies=True)
        front = TlsFront(listening, chain=chain, key=key)
        application = front.guard(_application(settings))
        server = _server(
            application, settings, host="127.0.0.1", port=0, url_scheme="https", map=sockets
        )
        front.start(int(server.effective_port))
    else:
        server = _server(_application(settings), settings, sockets=[listening], map=sockets)
    # What stands now stands for good: the collector need not look through it with every page.
    gc.collect()
    gc.freeze()
    with suppress(OSError):  # after a restart nobody reads it any more
        os.write(ready, b".")
    threading.Thread(target=lambda: _leave(told, server, sockets), daemon=True).start()
    server.run()


def _leave(told: Told, server: Any, sockets: dict[int, Any]) -> None:  # noqa: ANN401 - see below
    """When told to leave, let what is under way end, then close: the server's loop ends by that."""
    told.wait(None)
    server.task_dispatcher.shutdown(timeout=FINISH_S)
    server.trigger.pull_trigger(lambda: [each.close() for each in list(sockets.values())])


def _application(settings: Settings) -> Application:
    """Return the application, found by name as any WSGI server does: it stands above this room."""
    for name in ("app", "traceability_app"):  # at the top of the project; once installed
        if find_spec(name) is not None:
            application: Application = import_module(name).create_app(settings)
            return application
    raise NotAvailable("app.py was not found. Start from the project's top folder.")


def _server(application: Application, settings: Settings, **where: Any) -> Any:  # noqa: ANN401 - the server's own options, and no common type
    proxy: dict[str, Any] = {
        "trusted_proxy": "*",
        "trusted_proxy_count": 1,
        "trusted_proxy_headers": {"x-forwarded-for", "x-forwarded-proto"},
    }
    return create_server(
        application,
        threads=THREADS,
        max_request_body_size=LARGEST_BODY,
        connection_limit=500,
        asyncore_use_poll=True,
        ident=None,
        clear_untrusted_proxy_headers=True,
        **(proxy if settings.trusted_proxy else {}),
        **where,
    )
