"""A printing system of the test's own, and a label printer at the end of its line.

The system's own scheduler (Debian: cups) runs on a socket in the test's folder, with queues of its
own; none that is there is touched. The printer is a port that keeps every byte it gets.
"""

import shutil
import socket
import subprocess
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

PROGRAMS: Final = ("cupsd", "lp", "lpstat", "lpadmin", "lpinfo")
START_S: Final = 10
PRINT_S: Final = 40
RULES: Final = """\
Listen {folder}/cups.sock
DefaultAuthType None
Browsing Off
WebInterface No
<Location />
  Order allow,deny
  Allow all
</Location>
<Location /admin>
  Order allow,deny
  Allow all
</Location>
<Policy default>
  <Limit All>
    Order allow,deny
    Allow all
  </Limit>
</Policy>
"""
FOLDERS: Final = """\
ServerRoot {folder}/root
CacheDir {folder}/cache
RequestRoot {folder}/spool
TempDir {folder}/tmp
StateDir {folder}/state
AccessLog {folder}/access
ErrorLog {folder}/errors
PageLog {folder}/pages
"""


def has_print_system() -> bool:
    """Tell whether the scheduler and its commands are installed."""
    return all(shutil.which(name) for name in PROGRAMS)


@dataclass
class LabelPrinter:
    """A port that takes prints as a label printer on the network does (TCP, all until the end)."""

    listener: socket.socket
    scheduler: Path
    """Socket of the scheduler, as CUPS_SERVER names it."""
    prints: list[bytes] = field(default_factory=list)

    def listen(self) -> None:
        """Keep what comes until the listener is closed."""
        with suppress(OSError):
            while True:
                line, _ = self.listener.accept()
                with line:
                    line.settimeout(START_S)
                    got = b""
                    with suppress(TimeoutError):
                        while piece := line.recv(65536):
                            got += piece
                self.prints.append(got)

    def gets(self, count: int) -> bytes:
        """Return the print of that number once it is whole."""
        end = time.monotonic() + PRINT_S
        while len(self.prints) < count and time.monotonic() < end:
            time.sleep(0.05)
        return self.prints[count - 1]

    def closes_its_queue(self) -> None:
        """Let the queue take no more prints, as when it was removed for repair."""
        self._asks("cupsreject")

    def opens_its_queue(self) -> None:
        """Let it take prints again."""
        self._asks("cupsaccept")

    def _asks(self, command: str) -> None:
        subprocess.run([command, "-h", str(self.scheduler), "tags"], check=True)


@contextmanager
def print_system() -> Iterator[LabelPrinter]:
    """Run it with the queue `tags`, which passes commands on, and `labels`, which takes PDF."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        folder.chmod(0o755)  # started by root, its filters run as another user
        yield from _running(folder)


def _running(folder: Path) -> Iterator[LabelPrinter]:
    for name in ("root", "cache", "spool", "tmp", "state"):
        (folder / name).mkdir()
    (folder / "tmp").chmod(0o1777)  # the same: they write there
    rules, folders = folder / "cupsd.conf", folder / "cups-files.conf"
    rules.write_text(RULES.format(folder=folder))
    folders.write_text(FOLDERS.format(folder=folder))
    with (
        socket.create_server(("127.0.0.1", 0)) as listener,
        subprocess.Popen(["cupsd", "-f", "-c", rules, "-s", folders]) as scheduler,
    ):
        printer = LabelPrinter(listener, folder / "cups.sock")
        thread = threading.Thread(target=printer.listen, daemon=True)
        thread.start()
        try:
            end = time.monotonic() + START_S
            while not (folder / "cups.sock").exists() and time.monotonic() < end:
                time.sleep(0.05)
            port = listener.getsockname()[1]
            _queue(folder, "tags", port, "raw")
            _queue(folder, "labels", port, _label_driver(folder))
            yield printer
        finally:
            scheduler.terminate()
            listener.shutdown(socket.SHUT_RDWR)


def _label_driver(folder: Path) -> str:
    """Return the system's own sample driver that turns pages into our printers' commands."""
    listed = subprocess.run(
        ["lpinfo", "-h", folder / "cups.sock", "-m"], capture_output=True, text=True, check=True
    )
    names = [line.split(" ")[0] for line in listed.stdout.splitlines()]
    return next(name for name in names if name.endswith("sample.drv/zebra.ppd"))


def _queue(folder: Path, name: str, port: int, model: str) -> None:
    device = f"socket://127.0.0.1:{port}/?waiteof=false"
    asked = [
        "lpadmin",
        "-h",
        str(folder / "cups.sock"),
        "-p",
        name,
        "-E",
        "-v",
        device,
        "-m",
        model,
    ]
    subprocess.run(asked, capture_output=True, check=True)
