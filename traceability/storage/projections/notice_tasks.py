"""Tasks of notices: added from answers or by hand, and how far each is."""

from collections.abc import Iterable, Sequence
from typing import Final
from uuid import UUID

from sqlalchemy import insert
from sqlalchemy.orm import Session

from traceability.domain.events import Kind, Recorded
from traceability.domain.notice_tasks import TaskState
from traceability.storage.notice_tasks import NoticeTask, NoticeTaskState
from traceability.storage.projections.registry import projects
from traceability.storage.projections.rows import add_links, open_links, replace

OF_ANSWERS: Final = 1_000_000
"""Lines of states begin here, so that tasks and their states of one event never share a line."""


def add_tasks(
    session: Session, event: Recorded, tasks: Sequence[Recorded], notice_id: UUID
) -> None:
    """Add tasks, to be done; thousands in two statements."""
    if not tasks:
        return
    session.execute(
        insert(NoticeTask),
        [
            {
                "site_id": event.site_id,
                "id": task.key("task"),
                "notice_id": notice_id,
                "row_key": task.text("key"),
                "kind": task.text("kind"),
                "recorded_no": event.number,
            }
            for task in tasks
        ],
    )
    add_links(
        session,
        NoticeTaskState,
        event,
        [
            {
                "task_id": task.key("task"),
                "state": TaskState.TO_DO,
                "kind": task.text("kind"),
                "assignee_id": task.key_or_none("assignee"),
                "due_on": task.day_or_none("due_on"),
                "ending": "",
                "witness_id": None,
                "words_id": None,
                "by_id": event.actor_id,
                "in_answer": not task.flag("by_hand"),
            }
            for task in tasks
        ],
    )


def say_in_answer(
    session: Session, event: Recorded, left: Iterable[str], back: Iterable[str]
) -> None:
    """Say of tasks that their rows left the answer, or are in it again."""
    line = OF_ANSWERS
    for ids, in_answer in ((left, False), (back, True)):
        for each in ids:
            for row in open_links(session, NoticeTaskState, event, task_id=UUID(each)):
                replace(session, row, event, line, in_answer=in_answer)
                line += 1


@projects(Kind.NOTICE_TASK_ADDED)
def notice_task_added(session: Session, event: Recorded) -> None:
    """Add a task that a person thought of."""
    add_tasks(session, event, [event], event.key("notice"))


@projects(Kind.NOTICE_TASK_SAID)
def notice_task_said(session: Session, event: Recorded) -> None:
    """Say how far these tasks are; what is not said stays as it was."""
    words = event.rows("words")
    line = 0
    for each in event.texts("tasks"):
        for row in open_links(session, NoticeTaskState, event, task_id=UUID(each)):
            changes: dict[str, object] = {
                "state": event.text("state"),
                "by_id": event.actor_id,
                "ending": event.text("ending"),
                "kind": event.text_or_none("kind") or row.kind,
                "assignee_id": event.key_or_none("assignee") or row.assignee_id,
                "due_on": event.day_or_none("due_on") or row.due_on,
                "witness_id": event.key_or_none("witness"),
            }
            if words:
                changes["words_id"] = event.inner(words[0]).key("kept")
            replace(session, row, event, line, valid_from=event.happened_at, **changes)
            line += 1
