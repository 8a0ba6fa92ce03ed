"""Files that came with letters: taken in with their forms, shown or handed out, erased."""

from uuid import UUID

from flask import Blueprint, Response, redirect, request, url_for
from flask.typing import ResponseReturnValue
from werkzeug.exceptions import NotFound

from traceability.actions.notice.files import keep_files, kept_file
from traceability.actions.notice.letters import EraseFile, FileGiven, erase_file
from traceability.domain.letter_files import IN_WINDOW, LARGEST
from traceability.domain.people import Right
from traceability.reads.notices import letter_file
from traceability.web import session

pages = Blueprint("notice_files", __name__)


def files_given() -> tuple[FileGiven, ...]:
    """Keep the files of the form and return what the act records of them.

    Raises:
        FileRefused: one cannot be kept; none was.
    """
    session.need(Right.NOTICES)
    given = [
        (each.filename, each.stream.read(LARGEST + 1))
        for each in request.files.getlist("files")
        if each.filename
    ]
    request_id = session.key(request.form.get("request_id"), "request id")
    return keep_files(given, request_id, var_dir=session.services().settings.var_dir)


@pages.get("/notices/<number>/files/<uuid:file_id>")
def file(number: str, file_id: UUID) -> ResponseReturnValue:
    """Give a file: a document or picture may be shown, all else is only handed out."""
    session.need(Right.ASK)
    ours = session.services()
    with ours.reads() as reads:
        found = letter_file(reads, ours.site.id, number, file_id)
    data = kept_file(file_id, var_dir=ours.settings.var_dir) if found else None
    if found is None or found.erased or data is None:
        raise NotFound
    shown = found.media_type in IN_WINDOW
    answer = Response(data, mimetype=found.media_type if shown else "application/octet-stream")
    answer.headers.set(
        "Content-Disposition", "inline" if shown else "attachment", filename=found.name
    )
    # It came from outside: whatever it holds may load nothing and run nothing as a page of ours.
    answer.headers["Content-Security-Policy"] = "default-src 'none'; frame-ancestors 'none'"
    answer.headers["Content-Type"] = answer.headers["Content-Type"].split(";")[0]
    return answer


@pages.post("/notices/<number>/files/<uuid:file_id>/erase")
def erase(number: str, file_id: UUID) -> ResponseReturnValue:
    """Erase a file; that there was one stays on record."""
    asked = EraseFile(
        sent=session.sent(request.form.get("request_id")),
        file_id=file_id,
        reason=request.form.get("reason", ""),
    )
    erase_file(asked, site=session.site(), var_dir=session.services().settings.var_dir)
    return redirect(url_for("notices.page", number=number))
