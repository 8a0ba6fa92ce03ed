"""`replay`: what would this record have answered? Facts of a story in, its answers out.

Each file is entered into a store of its own by the acts of the service, and answered from what the
store then holds. A file that is no story gets a sentence and does not end the others.
"""

import json
import sys
from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Final

import click

from traceability.cli.stories.answering import Stores
from traceability.cli.stories.form import BadStory, read_story

__all__ = ["replay", "replayed"]

NOT_READABLE: Final = 2


@click.command()
@click.argument("files", metavar="FILE.json...", nargs=-1, required=True, type=click.Path())
def replay(files: tuple[str, ...]) -> None:
    r"""Enter the facts of stories and answer their questions: one JSON line a question.

    \b
    python -m traceability replay story.json

    Nothing of it touches the unit's own store. Exit code 0 when every line was answered, 2 when
    none of the files could be read as a story.
    """
    answered = False
    for line in replayed(files):
        answered = answered or "file" not in line
        click.echo(json.dumps(line))
    if not answered:
        sys.exit(NOT_READABLE)


def replayed(files: tuple[str, ...]) -> Iterator[dict[str, Any]]:
    """Yield one answer a question, files in order; for a bad file what is wrong with it."""
    with TemporaryDirectory(prefix="replay-") as folder:
        stores = Stores(Path(folder))
        for file in files:
            try:
                yield from list(stores.answers(read_story(Path(file).read_bytes())))
            except OSError as error:
                yield _bad(file, f"It cannot be read: {error.strerror}.")
            except BadStory as bad:
                yield _bad(file, f"It is no story that can be replayed: {bad}.")


def _bad(file: str, why: str) -> dict[str, Any]:
    return {"file": file, "error": f"{file}: {why}"}
