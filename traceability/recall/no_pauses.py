"""A large answer is made without the collector of cyclic garbage looking through it while it grows.

It would find nothing there and take half of the time: an answer is made of records that name each
other in one direction only. The collector is the process's own, so uses are counted.
"""

import gc
import threading
from collections.abc import Iterator
from contextlib import contextmanager

__all__ = ["no_pauses"]

_lock = threading.Lock()
_users = 0


@contextmanager
def no_pauses() -> Iterator[None]:
    """Let the collector rest until the last user is through; one that was off stays off."""
    global _users, _was_on  # noqa: PLW0603 - the collector is one for the whole process
    with _lock:
        if _users == 0:
            _was_on = gc.isenabled()
            gc.disable()
        _users += 1
    try:
        yield
    finally:
        with _lock:
            _users -= 1
            if _users == 0 and _was_on:
                gc.enable()


_was_on = True
