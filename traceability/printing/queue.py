"""Printing through the system's own commands, where there are any."""

import shutil
import subprocess
from typing import Final

from traceability.printing.barcodes import MM_PER_INCH
from traceability.printing.graphics import as_printer_graphics
from traceability.printing.paper import Printed

PATIENCE_S: Final = 20
"""Seconds until a print queue that does not answer counts as away; common practice, no source."""


class NotPrinted(Exception):
    """The print did not get into the queue; the message says why. Nothing else was lost."""


def send_to_queue(made: Printed, *, queue: str, title: str, graphics: bool = False) -> str:
    """Hand a print to a queue and return what the system says of it.

    `graphics`: as commands of the printer itself, which pass as they are; else as a PDF on paper of
    its very size, which must not be fitted to any other: a queue that takes its labels to be of
    another size turns the print, or moves it (measured).

    Raises:
        NotPrinted: no such command or queue, or it does not answer.
    """
    if graphics:
        data, options = as_printer_graphics(made), ["raw"]
    else:
        data, options = made.pdf, [f"media={_paper(made)}", "print-scaling=none"]
    chosen = [word for option in options for word in ("-o", option)]
    return _said_by("lp", queue, ["-d", queue, "-t", title, *chosen, "-"], data)


def queue_says(queue: str) -> str:
    """Return what the system says of a queue: "printer tags is idle. enabled since ...".

    Raises:
        NotPrinted: no such command or queue, or it does not answer.
    """
    return " ".join(_said_by("lpstat", queue, ["-p", queue], b"").split())


def _paper(made: Printed) -> str:
    """Return the size of the first page, as the command names a size of one's own."""
    tall, wide = (side * MM_PER_INCH / made.dpi for side in made.pages[0].shape)
    return f"Custom.{wide:.2f}x{tall:.2f}mm"


def _said_by(command: str, queue: str, asked: list[str], data: bytes) -> str:
    program = shutil.which(command)
    if program is None:
        raise NotPrinted(f"This system has no printing command ({command}).")
    if not queue or queue.startswith("-"):
        raise NotPrinted("No print queue is named.")
    try:
        done = subprocess.run(  # noqa: S603 - no shell; the queue's name is a setting
            [program, *asked],
            input=data,
            capture_output=True,
            timeout=PATIENCE_S,
            check=False,
        )
    except (OSError, subprocess.TimeoutExpired) as wrong:
        raise NotPrinted(f"The print queue {queue} does not answer.") from wrong
    if done.returncode != 0:
        said = done.stderr.decode("utf-8", "replace").strip().splitlines()
        raise NotPrinted(f"The print queue {queue} did not take it: {(said or ['no reason'])[0]}")
    return done.stdout.decode("utf-8", "replace").strip()
