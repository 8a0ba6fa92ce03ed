"""Printing through the system's own command, where there is one. Nothing is rendered by it anew."""

import shutil
import subprocess
from typing import Final

PATIENCE_S: Final = 20
"""Seconds until a print queue that does not answer counts as away; common practice, no source."""


class NotPrinted(Exception):
    """The print did not get into the queue; the message says why. Nothing else was lost."""


def can_print() -> bool:
    """Tell whether this system has the command."""
    return shutil.which("lp") is not None


def send_to_queue(data: bytes, *, queue: str, title: str, graphics: bool = False) -> str:
    """Hand a print to a queue and return what the system says of it.

    `graphics`: the data are commands of the printer itself and pass as they are; else they are a
    PDF, which must not be fitted to any page.

    Raises:
        NotPrinted: no such command or queue, or it does not answer.
    """
    program = shutil.which("lp")
    if program is None:
        raise NotPrinted("This system has no printing command (lp).")
    if not queue or queue.startswith("-"):
        raise NotPrinted("No print queue is named.")
    options = ["-o", "raw"] if graphics else ["-o", "print-scaling=none", "-o", "fit-to-page=false"]
    asked = [program, "-d", queue, "-t", title, *options, "-"]
    try:
        done = subprocess.run(  # noqa: S603 - no shell; the queue's name is a setting
            asked, input=data, capture_output=True, timeout=PATIENCE_S, check=False
        )
    except (OSError, subprocess.TimeoutExpired) as wrong:
        raise NotPrinted(f"The print queue {queue} does not answer.") from wrong
    if done.returncode != 0:
        said = done.stderr.decode("utf-8", "replace").strip().splitlines()
        raise NotPrinted(f"The print queue {queue} did not take it: {(said or ['no reason'])[0]}")
    return done.stdout.decode("utf-8", "replace").strip()
