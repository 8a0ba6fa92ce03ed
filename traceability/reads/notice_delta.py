"""How a new answer differs from the one that is kept, and which tasks that adds or takes away."""

from collections.abc import Iterable
from dataclasses import dataclass
from uuid import UUID

from sqlalchemy.orm import Session

from traceability.domain.known_rows import KnownRow
from traceability.domain.notice_tasks import Proposal, proposals
from traceability.storage.notice_life import Notice
from traceability.storage.notice_lookup import known_rows, newest_answer, phases_of, tasks_of
from traceability.storage.notice_tasks import NoticeTask, NoticeTaskState


@dataclass(frozen=True, slots=True, kw_only=True)
class Delta:
    """What is to be written down about an answer."""

    base_no: int
    """The asking it was compared with; 0: there was none."""
    base_cut_no: int
    base_version: int
    changed: tuple[KnownRow, ...]
    """New and changed rows, by key."""
    gone: tuple[str, ...]
    tasks: tuple[Proposal, ...]
    left: tuple[UUID, ...]
    """Tasks whose rows are no longer in the answer; excluded rows are not in it."""
    back: tuple[UUID, ...]

    @property
    def is_empty(self) -> bool:
        """Whether the answer is the one that is kept already."""
        return bool(self.base_no) and not (
            self.changed or self.gone or self.tasks or self.left or self.back
        )


def delta(session: Session, site_id: UUID, notice_id: UUID, rows: Iterable[KnownRow]) -> Delta:
    """Return how the rows differ from those kept."""
    notice = session.get_one(Notice, (site_id, notice_id))
    last = newest_answer(session, notice)
    new = {row.key: row for row in rows}
    old = {row.key: row for row in known_rows(session, notice)}
    wanted = proposals(new.values(), phases_of(session, site_id, new))
    asks_for = {each.key for each in wanted}
    there, left, back = set(), [], []
    known = tasks_of(notice).with_only_columns(
        NoticeTask.id, NoticeTask.row_key, NoticeTask.kind, NoticeTaskState.in_answer
    )
    for task_id, row_key, kind, in_answer in session.execute(known):
        there.add((row_key, kind))
        if in_answer and row_key not in asks_for:
            left.append(task_id)
        elif not in_answer and row_key in asks_for:
            back.append(task_id)
    return Delta(
        base_no=last.recorded_no if last else 0,
        base_cut_no=last.cut_no if last else 0,
        base_version=last.scope_version if last else 0,
        changed=tuple(row for key, row in sorted(new.items()) if old.get(key) != row),
        gone=tuple(sorted(old.keys() - new.keys())),
        tasks=tuple(each for each in wanted if (each.key, str(each.kind)) not in there),
        left=tuple(left),
        back=tuple(back),
    )
