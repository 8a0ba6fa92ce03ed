"""Keeps child processes alive: those that answer pages, and the one worker.

Each child holds the reading end of a pipe whose writing end only the parent has: when the parent
dies, however it dies, the child reads its end and leaves too. No orphan serves on unseen.
"""

import logging
import os
import select
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Final

log = logging.getLogger(__name__)

FIRST_WAIT_S: Final = 0.2
LONGEST_WAIT_S: Final = 10.0
STEADY_AFTER_S: Final = 30.0
"""One that lived so long starts anew soon; one that died before waits twice as long each time."""
TRIES: Final = 3
"""Starts that may fail before the first success; later ones are tried for ever."""
GRACE_S: Final = 10.0
"""How long a child may finish what it is doing after it was told to leave."""
LOOK_EVERY_S: Final = 0.1


class Told:
    """Whether this process was told to leave.

    A pipe, since a signal can come at any moment: a lock might be held by the very thread that is
    interrupted, and an exception raised there is lost where Python calls back and ignores it.
    """

    def __init__(self) -> None:
        """Begin untold."""
        self._reading, self._writing = os.pipe()

    def tell(self) -> None:
        """Make it so, for good; safe from signal handlers and other threads."""
        os.write(self._writing, b".")

    def wait(self, seconds: float | None) -> bool:
        """Return at once when told, else after so long; tell which. None waits for ever."""
        return bool(select.select([self._reading], [], [], seconds)[0])


class NeverStarted(Exception):
    """A child process ended each time it was started; what it said stands in the log."""


@dataclass(slots=True)
class Child:
    """One process to keep alive, and how it fared."""

    name: str
    arguments: Sequence[str]
    """What follows `python -m traceability`."""
    descriptors: tuple[int, ...] = ()
    """Open files it inherits: sockets, the lock."""
    process: subprocess.Popen[bytes] | None = None
    started_s: float = 0.0
    due_s: float = 0.0
    wait_s: float = FIRST_WAIT_S
    starts: int = 0


@dataclass(slots=True)
class Children:
    """All child processes of this one."""

    kept: list[Child] = field(default_factory=list)
    clock_s: Callable[[], float] = time.monotonic
    _told: Told = field(default_factory=Told)
    _leash: tuple[int, int] = field(default_factory=os.pipe)

    def keep(self, child: Child) -> None:
        """Start the child now and from then on whenever it ends."""
        self.kept.append(child)
        self._start(child)

    def watch(self, *, first_word: int, then: Callable[[], None]) -> None:
        """Start children anew as they end, until a signal says that all have to leave.

        `first_word` is a pipe; once a child has written to it, `then` is called, once.

        Raises:
            NeverStarted: nothing was written to it, and a child ended again and again.
        """
        for number in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP):
            signal.signal(number, lambda *_: self._told.tell())
        heard = False
        while not self._told.wait(LOOK_EVERY_S):
            for child in self.kept:
                self._look_after(child)
            if not heard and select.select([first_word], [], [], 0)[0]:
                heard = True
                then()
            if not heard and any(child.starts > TRIES for child in self.kept):
                raise NeverStarted

    def leave(self) -> None:
        """Tell all children to leave, and wait; those that do not are killed."""
        running = [child.process for child in self.kept if child.process]
        for process in running:
            if process.poll() is None:
                process.terminate()
        give_up_s = self.clock_s() + GRACE_S
        for process in running:
            try:
                process.wait(max(0.0, give_up_s - self.clock_s()))
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()
        for end in self._leash:
            os.close(end)

    def _start(self, child: Child) -> None:
        leash = self._leash[0]
        child.process = subprocess.Popen(  # noqa: S603 - our own command, no shell
            [sys.executable, "-m", "traceability", *child.arguments, "--leash", str(leash)],
            stdin=subprocess.DEVNULL,
            pass_fds=(leash, *child.descriptors),
        )
        child.started_s = self.clock_s()
        child.starts += 1

    def _look_after(self, child: Child) -> None:
        now_s = self.clock_s()
        if child.process is not None:
            ended = child.process.poll()
            if ended is None:
                return
            lived_s = now_s - child.started_s
            child.wait_s = (
                FIRST_WAIT_S if lived_s > STEADY_AFTER_S else min(child.wait_s * 2, LONGEST_WAIT_S)
            )
            log.error(
                "event=child-ended child=%s exit=%s lived_s=%.1f again_in_s=%.1f",
                child.name,
                ended,
                lived_s,
                child.wait_s,
            )
            child.process, child.due_s = None, now_s + child.wait_s
        if now_s >= child.due_s:
            self._start(child)


def follow_parent(leash: int) -> Told:
    """In a child: return what becomes true when the parent is gone, or says to leave.

    Ctrl-C reaches the whole group of processes, and is the parent's to handle.
    """
    told = Told()
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, lambda *_: told.tell())

    def _wait() -> None:
        os.read(leash, 1)
        told.tell()

    threading.Thread(target=_wait, name="leash", daemon=True).start()
    return told
