"""Which files may be kept with a letter, told by their first bytes and not by their names.

A name can say anything. What is shown inside a page's window is a document without a program or a
picture; all else is only ever handed out as a download, and nothing is opened or run here.
Source of the first bytes: ISO 32000-1, 7.5.2 (PDF); ISO/IEC 15948, 5.2 (PNG); ISO/IEC 10918-1,
B.1.1.3 (JPEG); the ZIP file format specification, 4.3.7, from memory.
"""

from typing import Final

__all__ = ["IN_WINDOW", "LARGEST", "MOST_FILES", "media_type"]

LARGEST: Final = 10 * 1024 * 1024
"""Bytes of one file. Own choice: a letter of many scanned pages stays below it."""
MOST_FILES: Final = 10

_BEGINNINGS: Final = (
    (b"%PDF-", "application/pdf"),
    (b"\x89PNG\r\n\x1a\n", "image/png"),
    (b"\xff\xd8\xff", "image/jpeg"),
)
_SHEET: Final = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
_TEXTS: Final = {".csv": "text/csv", ".txt": "text/plain", ".json": "application/json"}
_TEXTS_XML: Final = (".xml",)

IN_WINDOW: Final = frozenset({"application/pdf", "image/png", "image/jpeg", "text/plain"})
"""Types that a browser may show; all others are only downloaded."""


def media_type(name: str, data: bytes) -> str | None:
    """Return the type of a file by its bytes and ending; None: such a file is not kept."""
    for beginning, found in _BEGINNINGS:
        if data.startswith(beginning):
            return found
    ending = f".{name.rpartition('.')[2].lower()}"
    if data.startswith(b"PK\x03\x04"):
        return _SHEET if ending == ".xlsx" else None
    if ending in _TEXTS_XML and _is_text(data):
        return "application/xml"
    return _TEXTS.get(ending) if _is_text(data) else None


def _is_text(data: bytes) -> bool:
    """Tell whether the bytes are a text: UTF-8 or a one-byte alphabet, without control bytes."""
    return not any(byte < 32 and byte not in b"\t\r\n\x0c" for byte in data)  # noqa: PLR2004
