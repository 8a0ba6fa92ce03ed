"""Reads pictures in a child process that can be ended without taking anything else down."""

import base64
import json
import subprocess
import sys
import threading
from types import TracebackType
from typing import Any, BinaryIO, Final, Self, cast

from traceability.imaging.read_symbol import Point, ReadSymbol, UnreadablePicture
from traceability.imaging.reader_process import ASKED, LENGTH, Ask

LONGEST_S: Final = 20.0
"""For one picture or PDF, from when it is sent; one picture takes a fraction of a second."""


class ReaderApart:
    """A reader of pictures; starts its process with the first picture, and anew when it ended.

    One picture at a time; callers on several threads wait for each other.
    """

    def __init__(self, longest_s: float = LONGEST_S) -> None:
        """Keep the time that one picture may take, in seconds; nothing is started yet."""
        self._longest_s = longest_s
        self._process: subprocess.Popen[bytes] | None = None
        self._one_at_a_time = threading.Lock()

    def __enter__(self) -> Self:
        """Return itself; `with` ends the process at its end."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        raised: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """End the process."""
        self.close()

    def read(self, data: bytes, *, live: bool = False) -> tuple[ReadSymbol, ...]:
        """Return the symbols in the picture.

        Args:
            data: a file's bytes, whatever they are.
            live: it is one frame of a camera's, and the next comes soon: less is spent on it.

        Raises:
            UnreadablePicture: also when the reader took too long or ended; the next picture
                meets a new one.
        """
        answer = self._answer(data, Ask.FRAME if live else Ask.READ)
        return tuple(
            ReadSymbol(
                text=text,
                symbology_identifier=name,
                box=_corners(box),
                suspect=suspect,
                way=way,
                page=page,
            )
            for text, name, box, suspect, way, page in answer["symbols"]
        )

    def bare(self, data: bytes) -> bytes:
        """Return the picture as an upright JPEG with nothing in it but its dots.

        Raises:
            UnreadablePicture: as `read`.
        """
        return base64.b64decode(self._answer(data, Ask.BARE)["picture"])

    def close(self) -> None:
        """End the process, if there is one."""
        process, self._process = self._process, None
        if process is not None:
            process.kill()
            process.communicate()

    def _answer(self, data: bytes, what: Ask) -> dict[str, Any]:
        if not data:
            raise UnreadablePicture("empty-file", bytes=0)
        with self._one_at_a_time:
            answer: dict[str, Any] = json.loads(self._asked(data, what))
        if "code" in answer:
            raise UnreadablePicture(answer["code"], **answer["facts"])
        return answer

    def _asked(self, data: bytes, what: Ask) -> bytes:
        process = self._running()
        late = threading.Event()

        def _end() -> None:
            late.set()
            process.kill()

        alarm = threading.Timer(self._longest_s, _end)
        alarm.start()
        try:
            to, back = cast("BinaryIO", process.stdin), cast("BinaryIO", process.stdout)
            to.write(ASKED.pack(what, len(data)) + data)
            to.flush()
            head = back.read(LENGTH.size)
            answer = back.read(LENGTH.unpack(head)[0]) if len(head) == LENGTH.size else b""
        except OSError:  # it ended while the picture was being sent
            answer = b""
        finally:
            alarm.cancel()
        if answer:
            return answer
        self.close()
        if late.is_set():
            raise UnreadablePicture("took-too-long", seconds=round(self._longest_s))
        raise UnreadablePicture("reader-ended", bytes=len(data))

    def _running(self) -> subprocess.Popen[bytes]:
        if self._process is not None and self._process.poll() is not None:
            self.close()
        if self._process is None:
            self._process = subprocess.Popen(
                [sys.executable, "-m", "traceability.imaging.reader_process"],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
            )
        return self._process


class Readers:
    """Two readers, so that nobody who holds a pack to a camera waits for somebody's photo."""

    def __init__(self) -> None:
        """Start nothing yet."""
        self.frames = ReaderApart()
        self.photos = ReaderApart()

    def close(self) -> None:
        """End the processes, where there are any."""
        self.frames.close()
        self.photos.close()


def _corners(box: list[list[int]]) -> tuple[Point, Point, Point, Point]:
    first, second, third, fourth = ((x, y) for x, y in box)
    return first, second, third, fourth
