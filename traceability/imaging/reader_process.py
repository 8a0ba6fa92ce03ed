"""The reader in a process of its own: bytes of pictures come in, symbols or bare dots go out.

Pictures are anybody's, and the libraries that open them are large: here a fault of theirs, or a
picture that takes all memory, ends this process and nothing else. `apart` starts it and keeps time.
"""

import base64
import json
import resource
import struct
import sys
from enum import IntEnum
from typing import Any, BinaryIO, Final

from traceability.imaging.read_symbol import UnreadablePicture

LENGTH: Final = struct.Struct(">Q")
"""In front of each answer: its length in bytes."""
ASKED: Final = struct.Struct(">BQ")
"""In front of each picture: what is asked of it; its length in bytes."""
MEMORY: Final = 3_000_000_000
"""Bytes of address space: libraries and threads take half of it before the first picture."""


class Ask(IntEnum):
    """What is asked of a picture."""

    READ = 0
    """Its symbols."""
    FRAME = 1
    """The same of one frame of a live camera: the next comes soon, so less is spent on it."""
    BARE = 2
    """The picture itself, with nothing but its dots."""


def main(asked: BinaryIO, answers: BinaryIO) -> None:
    """Read pictures until no more come."""
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    import cv2  # noqa: PLC0415 - after the limits, so that they hold for it

    from traceability.imaging.bare import bare_picture  # noqa: PLC0415
    from traceability.imaging.symbols import FRAME, PICTURE, read_symbols  # noqa: PLC0415

    cv2.setNumThreads(1)  # several pictures are several processes
    while len(head := asked.read(ASKED.size)) == ASKED.size:
        what, length = ASKED.unpack(head)
        data = asked.read(length)
        answer: dict[str, Any]
        try:
            if what == Ask.BARE:
                answer = {"picture": base64.b64encode(bare_picture(data)).decode()}
            else:
                spend = FRAME if what == Ask.FRAME else PICTURE
                answer = {
                    "symbols": [
                        [
                            each.text,
                            each.symbology_identifier,
                            each.box,
                            each.suspect,
                            each.way,
                            each.page,
                        ]
                        for each in read_symbols(data, spend=spend)
                    ]
                }
        except UnreadablePicture as unread:
            answer = {"code": unread.code, "facts": unread.facts}
        except (MemoryError, cv2.error):
            answer = {"code": "reader-ended", "facts": {}}
        message = json.dumps(answer).encode()
        answers.write(LENGTH.pack(len(message)) + message)
        answers.flush()


if __name__ == "__main__":
    main(sys.stdin.buffer, sys.stdout.buffer)
