"""`read-image`: the symbols in photos, one JSON object a line for each file."""

import json
from pathlib import Path

import click

from traceability.imaging.apart import ReaderApart
from traceability.imaging.read_symbol import LARGEST_BYTES, ReadSymbol, UnreadablePicture
from traceability.messages import say_unreadable

__all__ = ["read_image"]


@click.command("read-image")
@click.argument("files", nargs=-1, required=True, metavar="FILE...")
def read_image(*, files: tuple[str, ...]) -> None:
    r"""Read the barcodes in photos and PDFs: one JSON line for each FILE, in order.

    \b
    python -m traceability read-image trolley.jpg delivery-note.pdf

    Where "suspect" is true the reading may be wrong: compare with the print. A file that cannot
    be read has a sentence in "error". Exit code 0 when every file was answered.
    """
    with ReaderApart() as reader:
        for name in files:
            click.echo(json.dumps(_answer(reader, name)))


def _answer(reader: ReaderApart, name: str) -> dict[str, object]:
    try:
        with Path(name).open("rb") as file:
            symbols = reader.read(file.read(LARGEST_BYTES + 1))
    except UnreadablePicture as unread:
        return {"file": name, "symbols": [], "error": say_unreadable(unread.code, unread.facts)}
    except (OSError, ValueError):  # a name with a NUL is a ValueError
        return {"file": name, "symbols": [], "error": say_unreadable("no-file", {})}
    several = any(each.page > 1 for each in symbols)
    return {"file": name, "symbols": [_facts(each, several) for each in symbols], "error": None}


def _facts(symbol: ReadSymbol, several_pages: bool) -> dict[str, object]:
    facts: dict[str, object] = {
        "text": symbol.text,
        "symbology_identifier": symbol.symbology_identifier,
        "box": symbol.box,
        "suspect": symbol.suspect,
    }
    return {**facts, "page": symbol.page} if several_pages else facts
