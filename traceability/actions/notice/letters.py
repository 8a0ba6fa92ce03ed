"""Open a notice with its first letter, add further letters about the same event, erase a file."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import ClassVar, Final
from uuid import UUID

from sqlalchemy.orm import Session

from traceability.actions.notice.standing import (
    DueGiven,
    apart,
    line,
    the_open_notice,
    what_is_due,
)
from traceability.actions.once import Asked, Done, Site, answer_once, entered, ledger_of
from traceability.domain.events import Kind
from traceability.domain.letter_files import MOST_FILES
from traceability.domain.moments import believed_moment
from traceability.domain.notices import Sender, due_body
from traceability.domain.people import Right
from traceability.errors import BadValue, FileRefused, UnknownCode
from traceability.storage.attachments import remove_file
from traceability.storage.kept_apart import erase_kept
from traceability.storage.ledger import OpenLedger
from traceability.storage.lookup import next_number
from traceability.storage.notice_life import NoticeFile
from traceability.storage.notice_lookup import work_calendar

LETTER: Final = "N"
"""Letter of the series of notices."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FileGiven:
    """A file that was written to `var/` already."""

    id: UUID
    name: str
    media_type: str
    size_bytes: int
    sha256: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LetterGiven:
    """What a letter says of itself."""

    sender_kind: str
    sender: str
    reference: str = ""
    stated_class: str = ""
    """As the letter states it; never computed."""
    dated_on: date | None = None
    text: str = ""
    files: Sequence[FileGiven] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenNotice(Asked):
    """A letter came about an event that nobody has told of yet."""

    kind: ClassVar[str] = "open-notice"
    right: ClassVar[Right | None] = Right.NOTICES
    title: str
    letter: LetterGiven
    due: DueGiven
    at: datetime
    """When it was received."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AddLetter(Asked):
    """Another letter came about the same event."""

    kind: ClassVar[str] = "add-letter"
    right: ClassVar[Right | None] = Right.NOTICES
    notice_id: UUID
    letter: LetterGiven
    at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class EraseFile(Asked):
    """A file must not be kept any longer; that there was one stays on record."""

    kind: ClassVar[str] = "erase-letter-file"
    right: ClassVar[Right | None] = Right.NOTICE_REPLIES
    file_id: UUID
    reason: str


def open_notice(asked: OpenNotice, *, site: Site) -> Done:
    """Record the notice and its first letter; `facts` hold its number.

    Raises:
        BadValue: a title, sender or rule that cannot be. FileRefused: too many files.
        Nothing was written.
    """
    return answer_once(asked, _open, site)


def add_letter(asked: AddLetter, *, site: Site) -> Done:
    """Record the letter.

    Raises:
        UnknownCode, NoticeClosed, BadValue, FileRefused: nothing was written.
    """
    return answer_once(asked, _add, site)


def erase_file(asked: EraseFile, *, site: Site, var_dir: Path) -> Done:
    """Record that the file is erased, with its name, then remove it from `var/`.

    Raises:
        UnknownCode: no such file, or erased already. BadValue: no reason. Nothing was written.
    """
    done = answer_once(asked, _erase, site)
    remove_file(var_dir, asked.file_id)
    return done


def _open(asked: OpenNotice, session: Session, site: Site) -> Done:
    title = line(asked.title, "what it is about", needed=True)
    _check(asked.letter)
    ledger = ledger_of(asked, session, site)
    at, noted = believed_moment(asked.at, now=ledger.now)
    _, calendar = work_calendar(session, site.id)
    due = what_is_due(asked.due, at.astimezone(site.zone).date(), calendar)
    notice_id, number = site.new_id(ledger.now), next_number(session, site.id, LETTER)
    body = {
        "notice": notice_id,
        "number": number,
        "title": apart(session, title, ledger.now),
        "due": due_body(due),
        "device_at": asked.at,
        "cautions": noted,
    }
    first = ledger.append(Kind.NOTICE_OPENED, body, happened_at=at)
    last = _append_letter(ledger, session, site, notice_id, asked.letter, at)
    return Done(
        first_no=first,
        last_no=last,
        subject=notice_id,
        code=Kind.NOTICE_OPENED,
        facts={"number": number},
        cautions=noted,
    )


def _add(asked: AddLetter, session: Session, site: Site) -> Done:
    notice = the_open_notice(session, site, asked.notice_id)
    _check(asked.letter)
    ledger = ledger_of(asked, session, site)
    at, noted = believed_moment(asked.at, now=ledger.now)
    number = _append_letter(ledger, session, site, notice.id, asked.letter, at, noted)
    return Done(
        first_no=number,
        last_no=number,
        subject=notice.id,
        code=Kind.NOTICE_LETTER_ADDED,
        facts={"number": notice.number},
        cautions=noted,
    )


def _check(letter: LetterGiven) -> None:
    if letter.sender_kind not in set(Sender):
        raise BadValue(field="sender", value=letter.sender_kind, why="not-one-of", of=[*Sender])
    line(letter.sender, "sender", needed=True)
    if len(letter.files) > MOST_FILES:
        raise FileRefused(name=letter.files[MOST_FILES].name, fault="too-many")


def _append_letter(
    ledger: OpenLedger,
    session: Session,
    site: Site,
    notice_id: UUID,
    letter: LetterGiven,
    at: datetime,
    noted: tuple[str, ...] = (),
) -> int:
    body = {
        "letter": site.new_id(ledger.now),
        "notice": notice_id,
        "sender_kind": letter.sender_kind,
        "sender": apart(session, line(letter.sender, "sender"), ledger.now),
        "reference": line(letter.reference, "reference"),
        "stated_class": line(letter.stated_class, "class"),
        "dated_on": letter.dated_on and letter.dated_on.isoformat(),
        "text": apart(session, letter.text, ledger.now),
        "files": [
            {
                "file": each.id,
                "name": apart(session, each.name, ledger.now),
                "media_type": each.media_type,
                "size_bytes": each.size_bytes,
                "sha256": each.sha256,
            }
            for each in letter.files
        ],
        "cautions": noted,
    }
    return ledger.append(Kind.NOTICE_LETTER_ADDED, body, happened_at=at)


def _erase(asked: EraseFile, session: Session, site: Site) -> Done:
    file = session.get(NoticeFile, (site.id, asked.file_id))
    if file is None or file.superseded_no is not None:
        raise UnknownCode(what="file", value=str(asked.file_id))
    reason = line(asked.reason, "why", needed=True)
    ledger = ledger_of(asked, session, site)
    erase_kept(session, file.name_id)
    body = {"file": file.id, "reason": apart(session, reason, ledger.now), "cautions": ()}
    return entered(ledger, Kind.NOTICE_FILE_ERASED, body, at=ledger.now, subject=file.id)
