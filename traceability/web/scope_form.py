"""The form of a scope: what was pasted, loaded, scanned and written, and what a person decided."""

import base64
import binascii
import hashlib
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Final
from zoneinfo import ZoneInfo

from flask import Request
from werkzeug.datastructures import MultiDict

from traceability.domain.days import moment
from traceability.domain.notice_scope import ProductRef
from traceability.domain.scope_build import Draft, build
from traceability.domain.scope_draft import Answers, Choice, Fate, Note, SourceRead
from traceability.exchange.clause_form import FIELDS, ClauseFields, clause_rows
from traceability.exchange.codes import product_code, scan_lines
from traceability.exchange.headings import Column
from traceability.exchange.notice_sources import (
    LARGEST_FILE,
    Hints,
    read_file,
    read_text,
)

__all__ = ["Given", "Looked", "given_of", "look", "many_fields"]

PASSED_OVER: Final = frozenset({"cut", "sheet-cut", "unknown-fields"})
MOST_DECISIONS: Final = 20_000
LONGEST_WRITTEN: Final = 100
MOST_SCANS: Final = 200_000
"""Characters: some 5,000 scans."""


def many_fields(request: Request) -> None:
    """Let this request decide on thousands of rows; call it before anything reads the form."""
    request.max_form_parts = 2 * MOST_DECISIONS


@dataclass(frozen=True, slots=True, kw_only=True)
class Given:
    """All that a person gave; it goes with every page, for nothing is saved."""

    notice: str
    read_version: str
    product: str
    maker: str
    item: str
    name: str
    serials: bool
    pasted: str
    scans: str
    file: bytes
    file_name: str
    clauses: tuple[ClauseFields, ...]
    columns: dict[str, list[str]]
    """What a person said that columns mean, by the name of the table."""
    answers: Answers
    looked: bool
    """The person has looked at what was not read."""

    @property
    def kept(self) -> str:
        """The file as text, for a hidden field."""
        return base64.b64encode(self.file).decode()

    @property
    def source(self) -> str:
        """Where the scope comes from, for the record: kinds, the file's name and digest."""
        digest = hashlib.sha256(self.file).hexdigest()[:16]
        said = [
            "pasted" if self.pasted.strip() else "",
            f"file {self.file_name or 'without a name'}, SHA-256 {digest}" if self.file else "",
            "scanned" if self.scans.strip() else "",
            "written" if any(not each.is_empty for each in self.clauses) else "",
        ]
        return "; ".join(each for each in said if each)[:200]


@dataclass(frozen=True, slots=True, kw_only=True)
class Looked:
    """What was understood of it."""

    given: Given
    of: ProductRef | None
    of_doubts: tuple[str, ...]
    """Codes of what speaks against the product that was given for the whole list."""
    sources: tuple[SourceRead, ...]
    draft: Draft

    @property
    def notes(self) -> list[Note]:
        """What holds for whole sources."""
        return [note for source in self.sources for note in source.notes]

    @property
    def is_empty(self) -> bool:
        """Whether nothing was given."""
        return not self.draft.rows and not self.notes

    @property
    def needs_look(self) -> bool:
        """Whether anything was passed over: then a person says that they looked at it."""
        unread = any(row.fate is Fate.NOT_READ for row in self.draft.rows)
        return unread or any(is_passed_over(note) for note in self.notes)

    @property
    def ready(self) -> bool:
        """Whether a person settled all that was doubtful and looked at all that was not read."""
        looked = self.given.looked or not self.needs_look
        return self.draft.settled and not self.of_doubts and looked


def is_passed_over(note: Note) -> bool:
    """Tell whether a note says that something is no part of what was read."""
    lost = note.code == "encoding" and bool(note.facts["replaced"])
    return lost or note.code.startswith("refused") or note.code in PASSED_OVER


def given_of(request: Request, *, zone: ZoneInfo) -> Given:
    """Return what the request's form holds."""
    form = request.form
    data, name = _file(request)
    scans, scan = form.get("scans", ""), form.get("scan", "").strip("\r\n")
    if scan:
        scans = f"{scans.rstrip()}\n{scan}".lstrip("\n")
    return Given(
        notice=form.get("notice", "")[:60],
        read_version=form.get("read_version", "")[:20],
        serials=form.get("lists") == "serials",
        pasted=form.get("pasted", ""),
        scans=scans,
        file=data,
        file_name=name,
        clauses=tuple(_clauses(form, zone)),
        columns=_columns(form),
        answers=_answers(form),
        looked=form.get("looked") == "1",
        **{each: form.get(each, "").strip()[:400] for each in ("product", "maker", "item", "name")},
    )


def _file(request: Request) -> tuple[bytes, str]:
    """Return the file that was chosen now, else the one that goes along, and its name."""
    upload, form = request.files.get("file"), request.form
    if upload is not None and upload.filename:
        data = upload.stream.read(LARGEST_FILE + 1)
        upload.close()
        return data, upload.filename[:120]
    if "kept" not in form:
        return b"", ""
    try:
        data = base64.b64decode(form["kept"], validate=True)[: LARGEST_FILE + 1]
    except (binascii.Error, ValueError):
        data = b""
    return data, form.get("kept_name", "")[:120] or "file"


def _clauses(form: MultiDict[str, str], zone: ZoneInfo) -> Iterator[ClauseFields]:
    numbers = {int(found[1]) for name in form if (found := re.match(r"c([0-9]{1,4})-", name))}
    for number in sorted(numbers):
        before = f"c{number}-"
        yield ClauseFields(
            texts={name: form.get(before + name, "") for name in FIELDS}
            | {f"used_{end}": form.get(f"{before}used_{end}", "")[:30] for end in ("from", "to")},
            containing=form.get(f"{before}containing") == "1",
            used_from=_moment(form.get(f"{before}used_from", ""), zone),
            used_to=_moment(form.get(f"{before}used_to", ""), zone),
        )


def _moment(text: str, zone: ZoneInfo) -> datetime | None:
    try:
        given = datetime.fromisoformat(text.strip()) if text.strip() else None
        if given is None:
            return None
        return given if given.tzinfo else moment(given, zone)
    except (ValueError, OverflowError):
        return None


def _columns(form: MultiDict[str, str]) -> dict[str, list[str]]:
    found = {}
    for number in range(40):
        name = form.get(f"table-{number}")
        if name is None:
            break
        if form.get(f"columns-{number}") == "1":
            known = {str(each) for each in Column}
            said = form.getlist(f"column-{number}")[:64]
            found[name] = [each if each in known else "" for each in said]
    return found


def _answers(form: MultiDict[str, str]) -> Answers:
    rows, groups, written = {}, {}, {}
    choices = {str(each): each for each in Choice}
    for name in list(form)[:MOST_DECISIONS]:
        kind, _, of = name.partition(":")
        text = form[name].strip()
        if kind == "row" and text in choices:
            rows[of] = choices[text]
        elif kind == "group" and text in choices:
            groups[of] = choices[text]
        elif kind == "written" and 0 < len(text) <= LONGEST_WRITTEN:
            written[of] = text
    return Answers(rows=rows, groups=groups, written=written)


def look(given: Given, *, today: date) -> Looked:
    """Return what was understood of it, and what waits for a person."""
    of, doubts = _product(given, today)
    hints = Hints(today=today, maker=given.maker, serials=given.serials, columns=given.columns)
    sources = []
    if given.pasted.strip():
        sources.append(read_text(given.pasted, hints))
    if len(given.file) > LARGEST_FILE:
        sources.append(_refused("too-large"))
    elif given.file:
        sources.append(read_file(given.file, hints))
    elif given.file_name:
        sources.append(_refused("empty"))
    if len(given.scans) > MOST_SCANS:
        sources.append(_refused("many-scans"))
    elif given.scans.strip():
        scans = tuple(scan_lines(given.scans, today=today))
        sources.append(SourceRead(kind="scans", entries=scans))
    written = tuple(clause_rows(given.clauses, of=of, today=today))
    if written:
        sources.append(SourceRead(kind="clauses", entries=written))
    entries = [entry for source in sources for entry in source.entries]
    draft = build(entries, given.answers, of=of)
    return Looked(given=given, of=of, of_doubts=doubts, sources=tuple(sources), draft=draft)


def _refused(code: str) -> SourceRead:
    return SourceRead(kind="none", entries=(), notes=(Note(f"refused-{code}", {}),))


def _product(given: Given, today: date) -> tuple[ProductRef | None, tuple[str, ...]]:
    """Return the product that the whole list is of, and what speaks against its code."""
    more = {"maker": given.maker, "item_number": given.item, "name": given.name}
    if given.product:
        read = product_code(given.product, today=today)
        if not read.products:
            return None, ("private" if read.private else "code",)
        return replace(read.products[0], **more), tuple(str(each.code) for each in read.doubts)
    if given.maker and given.item:
        return ProductRef(**more), ()
    return None, ()
