"""https in front of the web server, which itself speaks only http.

Runs on a thread of its own in the same process: it ends TLS, passes the bytes on over the loopback
interface, and remembers whom each passed-on connection belongs to. Handshakes and slow tablets
keep this loop waiting and never a thread that answers pages; docs/stack.md says why this and not a
web server that does both.
"""

import asyncio
import logging
import socket
import ssl
import threading
from collections.abc import Callable, Iterable, MutableMapping
from contextlib import closing, suppress
from typing import Any, Final

log = logging.getLogger(__name__)

END_S: Final = 0.5
"""How long connections may take to end when the front is stopped."""
HANDSHAKE_S: Final = 10
AT_ONCE: Final = 64 * 1024

Environ = MutableMapping[str, Any]
StartResponse = Callable[..., Any]
Application = Callable[[Environ, StartResponse], Iterable[bytes]]


class TlsFront:
    """Passes https connections on to a port of this machine."""

    def __init__(self, listening: socket.socket, *, chain: str, key: str) -> None:
        """Take over a listening socket; `chain` and `key` name PEM files.

        Raises:
            ssl.SSLError, OSError: they cannot be read, or do not belong together.
        """
        self._listening = listening
        self._context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        self._context.minimum_version = ssl.TLSVersion.TLSv1_2
        self._context.load_cert_chain(chain, key)
        self._callers: dict[int, str] = {}
        """Port of the passed-on connection, and the address of whoever it is passed on for."""
        self._behind = 0
        self._loop = asyncio.new_event_loop()
        self._up = threading.Event()
        self._thread = threading.Thread(target=self._run, name="tls", daemon=True)

    def start(self, port: int) -> None:
        """Begin to pass connections on to `port` of this machine; return once it does.

        Raises:
            RuntimeError: it could not begin; the reason was logged by the thread.
        """
        self._behind = port
        self._thread.start()
        while not self._up.wait(0.1):
            if not self._thread.is_alive():
                raise RuntimeError("the TLS front has not begun")

    def stop(self) -> None:
        """Close the listening socket and all connections."""
        self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join()

    def guard(self, application: Application) -> Application:
        """Return the application as it has to be served behind this front.

        It sees the caller's own address. Who comes to the port behind past the front, some other
        program on this machine, is turned away: it would pass for an https caller.
        """

        def _guarded(environ: Environ, start_response: StartResponse) -> Iterable[bytes]:
            caller = self._callers.get(int(environ.get("REMOTE_PORT", 0)))
            if caller is None:
                start_response("403 Forbidden", [("Content-Type", "text/plain")])
                return [b"This port is for the service itself.\n"]
            environ["REMOTE_ADDR"] = environ["REMOTE_HOST"] = caller
            return application(environ, start_response)

        return _guarded

    def _run(self) -> None:
        asyncio.set_event_loop(self._loop)
        with closing(self._loop):
            server = self._loop.run_until_complete(
                asyncio.start_server(
                    self._pass_on,
                    sock=self._listening,
                    ssl=self._context,
                    ssl_handshake_timeout=HANDSHAKE_S,
                )
            )
            self._loop.call_soon(self._up.set)
            self._loop.run_forever()
            self._loop.run_until_complete(self._end_all(server))

    async def _end_all(self, server: asyncio.Server) -> None:
        """Let connections end that are ending anyway, then cut off the others."""
        # What was accepted a moment ago has to begin first: under a closed server it never would,
        # and would keep its socket.
        self._loop.remove_reader(self._listening)
        await asyncio.sleep(0)
        server.close()
        under_way = asyncio.all_tasks() - {asyncio.current_task()}
        if under_way:
            _, lasting = await asyncio.wait(under_way, timeout=END_S)
            for each in lasting:
                each.cancel()
            await asyncio.gather(*lasting, return_exceptions=True)
        await asyncio.sleep(0)  # what was closed lets go of its socket

    async def _pass_on(self, caller: asyncio.StreamReader, answer: asyncio.StreamWriter) -> None:
        try:
            behind, ask = await asyncio.open_connection("127.0.0.1", self._behind)
        except OSError:
            log.exception("event=tls-behind-unreachable port=%s", self._behind)
            answer.close()
            return
        port = ask.get_extra_info("sockname")[1]
        self._callers[port] = answer.get_extra_info("peername")[0]
        try:
            # Whichever side ends first ends both: http leaves nothing worth waiting for.
            both = {
                asyncio.ensure_future(_pump(caller, ask)),
                asyncio.ensure_future(_pump(behind, answer)),
            }
            _, waiting = await asyncio.wait(both, return_when=asyncio.FIRST_COMPLETED)
            for each in waiting:
                each.cancel()
            await asyncio.gather(*both, return_exceptions=True)
        except asyncio.CancelledError:
            log.debug("event=tls-cut-off")  # the service is leaving
        finally:
            for writer in (ask, answer):
                writer.close()
                with suppress(OSError, asyncio.CancelledError):
                    await writer.wait_closed()
            self._callers.pop(port, None)


async def _pump(source: asyncio.StreamReader, target: asyncio.StreamWriter) -> None:
    """Pass bytes on until the source ends; a target that is slow holds the source back."""
    with suppress(OSError):
        while data := await source.read(AT_ONCE):
            target.write(data)
            await target.drain()
