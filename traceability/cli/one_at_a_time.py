"""One `serve` at a time on an SQLite file.

Two services would each believe to be the only one: two workers, two sets of leases. The lock is
the kernel's and ends with the last process that holds it, so a killed service leaves none behind.
"""

import fcntl
import os
from pathlib import Path

from traceability.cli.exits import NotAvailable


def hold(path: Path) -> int:
    """Lock the file and return its descriptor, to be handed to child processes.

    Raises:
        NotDone: another process holds it, or the file cannot be made.
    """
    try:
        descriptor = os.open(path, os.O_RDWR | os.O_CREAT, 0o600)
    except OSError as error:
        raise NotAvailable(f"{path} cannot be made: {error.strerror}.") from error
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        holder = os.pread(descriptor, 20, 0).decode("ascii", "replace").strip() or "unknown"
        os.close(descriptor)
        raise NotAvailable(
            f"This store is being served already, by process {holder}. Stop that one first, or "
            "start this one with a TRACEABILITY_VAR_DIR of its own."
        ) from None
    os.ftruncate(descriptor, 0)
    os.pwrite(descriptor, f"{os.getpid()}\n".encode("ascii"), 0)
    return descriptor
