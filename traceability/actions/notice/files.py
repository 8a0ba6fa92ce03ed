"""Files of letters into `var/`, before the act that records them; refused ones leave nothing."""

from collections.abc import Iterable, Sequence
from pathlib import Path
from uuid import UUID, uuid5

from traceability.actions.notice.letters import FileGiven
from traceability.domain.letter_files import LARGEST, MOST_FILES, media_type
from traceability.errors import FileRefused
from traceability.storage.attachments import read_file, write_file

__all__ = ["keep_files", "kept_file"]


def keep_files(
    given: Sequence[tuple[str, bytes]], request_id: UUID, *, var_dir: Path
) -> tuple[FileGiven, ...]:
    """Write the files and return what the act records of them.

    All are looked at before the first is written. Ids follow from the request, so that sending it
    again writes the same files again.

    Raises:
        FileRefused: one is empty, too large, of a type that is not kept, or there are too many.
    """
    if len(given) > MOST_FILES:
        raise FileRefused(name=given[MOST_FILES][0], fault="too-many")
    types = [_type(name, data) for name, data in given]
    return tuple(_written(given, types, request_id, var_dir))


def _type(name: str, data: bytes) -> str:
    if not data:
        raise FileRefused(name=name, fault="empty")
    if len(data) > LARGEST:
        raise FileRefused(name=name, fault="too-large")
    found = media_type(name, data)
    if found is None:
        raise FileRefused(name=name, fault="type")
    return found


def _written(
    given: Sequence[tuple[str, bytes]], types: Sequence[str], request_id: UUID, var_dir: Path
) -> Iterable[FileGiven]:
    for number, ((name, data), found) in enumerate(zip(given, types, strict=True)):
        file_id = uuid5(request_id, f"file {number}")
        yield FileGiven(
            id=file_id,
            name=name[-200:],
            media_type=found,
            size_bytes=len(data),
            sha256=write_file(var_dir, file_id, data),
        )


def kept_file(file_id: UUID, *, var_dir: Path) -> bytes | None:
    """Return the bytes of a kept file; None where it is not there."""
    return read_file(var_dir, file_id)
