"""Bytes of a file into text: which encoding was taken, how sure that is, and what was replaced.

Unicode says itself what it is: by its mark at the start, or because other bytes hardly ever happen
to be UTF-8. All else is taken as Windows-1252, which is a guess and told as one. Byte order marks
and their meaning: The Unicode Standard, section 23.8 (from memory).
"""

import codecs
from dataclasses import dataclass
from typing import Final

__all__ = ["Decoded", "decode"]

MARKS: Final = (
    (codecs.BOM_UTF8, "utf-8", "UTF-8"),
    (codecs.BOM_UTF16_LE, "utf-16-le", "UTF-16"),
    (codecs.BOM_UTF16_BE, "utf-16-be", "UTF-16"),
)
ZEROS: Final = 0.3
"""Share of zero bytes at one side from which unmarked text is taken as UTF-16."""
LOOKED_AT: Final = 4096
STRANGE: Final = 0.02
"""Share of control characters from which this is no text."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Decoded:
    """A text and how it came about."""

    text: str
    encoding: str
    """As people name it."""
    sure: bool
    """False where it was guessed and the guess matters: there are letters beyond ASCII."""
    replaced: int = 0
    """Bytes that stand for no character and show as U+FFFD."""
    is_text: bool = True
    """False: so many control characters that this is some other kind of file."""


def decode(data: bytes) -> Decoded:
    """Return the text of a file. Never raises."""
    for mark, codec, name in MARKS:
        if data.startswith(mark):
            return _made(data[len(mark) :], codec, name, sure=True)
    wide = _looks_wide(data)
    if wide is not None:
        return _made(data, wide, "UTF-16 without its mark", sure=False)
    try:
        return _told(data.decode("utf-8"), "UTF-8", sure=True)
    except UnicodeDecodeError:
        return _made(data, "cp1252", "Windows-1252", sure=False)


def _looks_wide(data: bytes) -> str | None:
    head = data[:LOOKED_AT]
    half = len(head) // 2
    if not half:
        return None
    if head[1::2].count(0) > ZEROS * half and head[::2].count(0) < ZEROS * half / 4:
        return "utf-16-le"
    if head[::2].count(0) > ZEROS * half and head[1::2].count(0) < ZEROS * half / 4:
        return "utf-16-be"
    return None


def _made(data: bytes, codec: str, name: str, *, sure: bool) -> Decoded:
    return _told(data.decode(codec, errors="replace"), name, sure=sure)


def _told(text: str, name: str, *, sure: bool) -> Decoded:
    controls = sum(
        1 for char in text[:LOOKED_AT] if ord(char) < ord(" ") and char not in "\t\r\n\x1d"
    )
    return Decoded(
        text=text,
        encoding="ASCII" if text.isascii() and name == "UTF-8" else name,
        sure=sure or text.isascii(),
        replaced=text.count("\ufffd"),
        is_text=controls <= STRANGE * len(text[:LOOKED_AT]),
    )
