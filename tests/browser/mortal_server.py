"""Serves a unit's store in a process of its own that dies at a chosen moment, as by `kill -9`.

`python -m tests.browser.mortal_server FOLDER PORT`. While the file `die-before` or `die-after`
stands in the folder, the next scan kills the process: before the scan reaches the application, or
after it was committed and before a byte of the answer is sent.
"""

import os
import signal
import sys
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

from waitress import serve

from app import create_app
from traceability.settings import Settings
from traceability.wiring import wire


def mortal(app: Callable[..., Iterable[bytes]], folder: Path) -> Callable[..., Iterable[bytes]]:
    """Return the application that dies when the folder says so."""

    def answer(environ: dict[str, Any], start: Callable[..., Any]) -> Iterable[bytes]:
        scan = environ["REQUEST_METHOD"] == "POST" and environ["PATH_INFO"].endswith("/scan")
        if scan and (folder / "die-before").exists():
            os.kill(os.getpid(), signal.SIGKILL)
        answered = app(environ, start)
        if scan and (folder / "die-after").exists():
            os.kill(os.getpid(), signal.SIGKILL)
        return answered

    return answer


if __name__ == "__main__":
    store = Path(sys.argv[1])
    application = create_app(services=wire(Settings(var_dir=store)))
    serve(mortal(application, store), host="127.0.0.1", port=int(sys.argv[2]), threads=4)
