"""Files of letters and pictures of primes, in `var/`: written whole, read back, erased.

Nothing here looks inside a file. What the record knows of one is its digest and its size.
"""

import hashlib
import os
from pathlib import Path
from typing import Final
from uuid import UUID

LETTERS: Final = "letters"
PICTURES: Final = "pictures"


def file_path(var_dir: Path, file_id: UUID, folder: str = LETTERS) -> Path:
    """Return where a file lies; its name says nothing of it."""
    return var_dir / folder / file_id.hex


def write_file(var_dir: Path, file_id: UUID, data: bytes, folder: str = LETTERS) -> str:
    """Write the bytes whole and return their SHA-256; the same file again changes nothing.

    Raises:
        OSError: it cannot be written.
    """
    path = file_path(var_dir, file_id, folder)
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    draft = path.with_name(f"{path.name}.{os.getpid()}")
    with draft.open("wb") as out:
        out.write(data)
        out.flush()
        os.fsync(out.fileno())
    draft.chmod(0o600)
    draft.replace(path)
    return hashlib.sha256(data).hexdigest()


def read_file(var_dir: Path, file_id: UUID, folder: str = LETTERS) -> bytes | None:
    """Return the bytes; None where the file is not there."""
    try:
        return file_path(var_dir, file_id, folder).read_bytes()
    except FileNotFoundError:
        return None


def remove_file(var_dir: Path, file_id: UUID, folder: str = LETTERS) -> None:
    """Remove the file, if it is there."""
    file_path(var_dir, file_id, folder).unlink(missing_ok=True)
