"""The door for what makers send: a paste or a file in, what it says out."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import Final

from traceability.domain.scope_draft import Entry, Note, NotRead, SourceRead, TableRead
from traceability.exchange.columns import find_heading, guess
from traceability.exchange.decoding import decode
from traceability.exchange.epcis import epcis_entries, is_epcis
from traceability.exchange.headings import Column
from traceability.exchange.lines import entries_of_lines, shorter_than_others
from traceability.exchange.rows import entries_of
from traceability.exchange.scope_file import BadJson, form_entries, load_json
from traceability.exchange.spreadsheet import read_workbook
from traceability.exchange.spreadsheet_guard import Unusable
from traceability.exchange.tables import Table, split_text

__all__ = ["LARGEST_FILE", "MOST_CHARACTERS", "Hints", "read_file", "read_text"]

LARGEST_FILE: Final = 4 * 1024 * 1024
"""Bytes. A spreadsheet of 50,000 rows has 0.7 MB (measured with the tests' own file)."""
MOST_CHARACTERS: Final = 4_000_000

OTHER_FILES: Final = (
    (b"%PDF", "pdf"),
    (b"\xd0\xcf\x11\xe0", "old-spreadsheet"),
    (b"\x89PNG", "picture"),
    (b"\xff\xd8\xff", "picture"),
    (b"{\\rtf", "word"),
)


class Hints:
    """What a person said beside the source: maker, and what columns mean."""

    def __init__(
        self,
        *,
        today: date,
        maker: str = "",
        serials: bool = False,
        columns: Mapping[str, Sequence[str]] | None = None,
    ) -> None:
        """Keep them. `columns` are by the table's name, "" for a column that says nothing."""
        self.today, self.maker, self.serials = today, maker, serials
        self.columns = columns or {}


def read_text(text: str, hints: Hints) -> SourceRead:
    """Return what a pasted text says: JSON, a table, or lines of lots."""
    if len(text) > MOST_CHARACTERS:
        return _refused("too-large")
    return _text(text, hints, file=False)


def read_file(data: bytes, hints: Hints) -> SourceRead:
    """Return what a file says; its kind is told by its first bytes and never by its name."""
    for start, kind in OTHER_FILES:
        if data.startswith(start):
            return _refused(kind)
    if data.startswith(b"PK"):
        return _spreadsheet(data, hints)
    found = decode(data)
    if not found.is_text:
        return _refused("no-text")
    facts = {"encoding": found.encoding, "sure": found.sure, "replaced": found.replaced}
    read = _text(found.text, hints, file=True)
    return replace(read, notes=(Note("encoding", facts), *read.notes))


def _refused(code: str, **facts: object) -> SourceRead:
    return SourceRead(kind="none", entries=(), notes=(Note(f"refused-{code}", facts),))


def _text(text: str, hints: Hints, *, file: bool) -> SourceRead:
    if text.lstrip()[:1] == "<":
        return _refused("markup")
    if text.lstrip()[:1] in {"{", "["} and not text.lstrip().startswith("[)>"):
        return _json(text)
    name = "file line" if file else "line"
    table = split_text(text, name=name, file=file)
    if table is None:
        lines = entries_of_lines(text, today=hints.today, serials=hints.serials, name=name)
        return SourceRead(kind="lots", entries=tuple(shorter_than_others(list(lines))))
    return _tables("table", [table], hints, [])


def _json(text: str) -> SourceRead:
    try:
        body = load_json(text)
    except BadJson as wrong:
        return _refused("json", where=str(wrong))
    if isinstance(body, dict) and is_epcis(body):
        entries, notes = epcis_entries(body)
        return SourceRead(kind="epcis", entries=tuple(entries), notes=tuple(notes))
    others = (
        sorted(str(name)[:80] for name in body if name != "any_of")
        if isinstance(body, dict)
        else []
    )
    passed = (Note("unknown-fields", {"names": others, "count": len(others)}),) if others else ()
    return SourceRead(kind="form", entries=tuple(form_entries(body)), notes=passed)


def _spreadsheet(data: bytes, hints: Hints) -> SourceRead:
    try:
        book = read_workbook(data)
    except Unusable as wrong:
        return _refused(wrong.code, **wrong.facts)
    notes = []
    for sheet in book.sheets:
        for code, so in (
            ("hidden", sheet.hidden),
            ("filtered", sheet.filtered),
            ("cut", sheet.cut),
        ):
            if so:
                notes.append(Note(f"sheet-{code}", {"name": sheet.table.name}))
    return _tables("spreadsheet", [sheet.table for sheet in book.sheets], hints, notes)


def _tables(kind: str, tables: Sequence[Table], hints: Hints, notes: list[Note]) -> SourceRead:
    entries: list[Entry] = []
    reads: list[TableRead] = []
    headed = {table.name: find_heading(table.rows) for table in tables}
    told = any(headed.values()) or bool(hints.columns)
    for table in tables:
        heading = headed[table.name]
        after = heading[0] + 1 if heading else 0
        said = hints.columns.get(table.name)
        if said is not None:
            columns: list[Column | None] = [
                Column(each) if each in set(Column) else None for each in said
            ]
        elif heading:
            columns = heading[1]
        else:
            columns = [] if told else guess(table.rows)
        if hints.serials and not heading and said is None:
            columns = [Column.SERIAL if each is Column.LOT else each for each in columns]
        guessed = said is None and heading is None
        reads.append(_told(table, columns, after, guessed=guessed))
        if not any(columns):
            first = table.place(table.rows[0].number) if table.rows else table.name
            given = "  ".join(reads[-1].first)[:300]
            entries.append(
                Entry(place=first, given=given, why=NotRead.NOT_A_LIST, detail=str(len(table.rows)))
            )
            continue
        entries += entries_of(
            table, columns, after=after, guessed=guessed, today=hints.today, maker=hints.maker
        )
    entries = list(shorter_than_others(entries))
    return SourceRead(kind=kind, entries=tuple(entries), notes=tuple(notes), tables=tuple(reads))


def _told(
    table: Table, columns: Sequence[Column | None], after: int, *, guessed: bool
) -> TableRead:
    width = max((len(row.cells) for row in table.rows[:200]), default=0)

    def _texts(index: int) -> tuple[str, ...]:
        cells = table.rows[index].cells if 0 <= index < len(table.rows) else ()
        return tuple(cells[at].text[:60] if at < len(cells) else "" for at in range(width))

    return TableRead(
        name=table.name,
        headings=_texts(after - 1) if after else ("",) * width,
        columns=tuple(str(columns[at] or "") if at < len(columns) else "" for at in range(width)),
        guessed=guessed,
        first=_texts(after),
    )
