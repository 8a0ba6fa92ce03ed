"""A notice's tasks as its page needs them, and circuits that a notice names and nobody held yet."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from traceability.domain.circuits import Phase
from traceability.domain.exposure import Shelf
from traceability.domain.known_rows import KnownRow, Subject, key_of
from traceability.domain.notice_tasks import TaskKind, TaskState
from traceability.reads.notices import kept_text, person_name
from traceability.reads.row_names import RowName, names_of_keys, open_holds
from traceability.storage.circuits import Circuit, CircuitPhase
from traceability.storage.notice_life import Notice, NoticeState
from traceability.storage.notice_lookup import known_rows, phases_of, tasks_of
from traceability.storage.notice_tasks import NoticeTask, NoticeTaskState


@dataclass(frozen=True, slots=True, kw_only=True)
class TaskFacts:
    """One task."""

    id: UUID
    key: str
    subject: Subject
    name: RowName
    kind: TaskKind
    """What is to be done, or was done."""
    state: TaskState
    assignee: str
    due_on: date | None
    ending: str
    words: str
    witness: str
    by: str
    said_at: datetime
    in_answer: bool
    shelf: Shelf | None
    """In the newest answer; None: it is not in it."""
    phase: str
    """Of a circuit, as it is now; empty for all else."""

    @property
    def done(self) -> bool:
        """Whether a person ended it."""
        return self.state is TaskState.DONE

    @property
    def is_flag(self) -> bool:
        """A primed circuit that nobody decided about: neither held, nor kept with a reason."""
        return (
            self.kind is TaskKind.HOLD
            and not self.done
            and not self.name.on_hold
            and self.phase == Phase.PRIMED
        )


def tasks(
    session: Session,
    site_id: UUID,
    notice_id: UUID,
    *,
    subject: Subject | None = None,
    kind: TaskKind | None = None,
    done: bool | None = None,
    most: int | None = None,
) -> list[TaskFacts]:
    """Return the notice's tasks, all or those asked for: open ones first, by name.

    `kind` is what is to be done by now; `done` None asks for open and ended ones.
    """
    notice = session.get_one(Notice, (site_id, notice_id))
    wanted = tasks_of(notice)
    if subject is not None:
        wanted = wanted.where(NoticeTask.row_key.startswith(f"{subject} "))
    if kind is not None:
        wanted = wanted.where(NoticeTaskState.kind == kind)
    ended = NoticeTaskState.state == TaskState.DONE
    if done is not None:
        wanted = wanted.where(ended if done else ~ended)
    in_order = wanted.order_by(None).order_by(ended, NoticeTask.recorded_no, NoticeTask.id)
    found = [(task, state) for task, state in session.execute(in_order.limit(most))]
    keys = list(dict.fromkeys(task.row_key for task, _ in found))
    rows = {row.key: row for row in known_rows(session, notice, keys=keys)}
    names = names_of_keys(session, site_id, keys, rows)
    phases = phases_of(session, site_id, keys)
    made = [_task(session, task, state, names, rows, phases) for task, state in found]
    return sorted(made, key=lambda each: (each.done, each.name.name, each.kind))


@dataclass(frozen=True, slots=True, kw_only=True)
class TaskCount:
    """How many tasks of one kind are how far."""

    subject: Subject
    kind: TaskKind
    state: TaskState
    in_answer: bool
    count: int


def task_counts(session: Session, site_id: UUID, notice_id: UUID) -> list[TaskCount]:
    """Return how many tasks there are, by subject, kind and how far."""
    notice = session.get_one(Notice, (site_id, notice_id))
    found = []
    for subject in Subject:
        rows = (
            tasks_of(notice)
            .where(NoticeTask.row_key.startswith(f"{subject} "))
            .with_only_columns(
                NoticeTaskState.kind,
                NoticeTaskState.state,
                NoticeTaskState.in_answer,
                func.count(),
            )
            .order_by(None)
            .group_by(NoticeTaskState.kind, NoticeTaskState.state, NoticeTaskState.in_answer)
        )
        found += [
            TaskCount(
                subject=subject,
                kind=TaskKind(kind),
                state=TaskState(state),
                in_answer=in_answer,
                count=count,
            )
            for kind, state, in_answer, count in session.execute(rows)
        ]
    return found


def flagged(session: Session, site_id: UUID, notice_id: UUID) -> list[TaskFacts]:
    """Return the tasks about primed circuits of which nobody has decided."""
    open_ones = tasks(session, site_id, notice_id, kind=TaskKind.HOLD, done=False)
    return [each for each in open_ones if each.is_flag]


def _task(
    session: Session,
    task: NoticeTask,
    state: NoticeTaskState,
    names: dict[str, RowName],
    rows: dict[str, KnownRow],
    phases: dict[UUID, Phase],
) -> TaskFacts:
    key, row = key_of(task.row_key), rows.get(task.row_key)
    circuit = key.ids[0] if key.subject is Subject.CIRCUIT else None
    return TaskFacts(
        id=task.id,
        key=task.row_key,
        subject=key.subject,
        name=names[task.row_key],
        kind=TaskKind(state.kind),
        state=TaskState(state.state),
        assignee=person_name(session, task.site_id, state.assignee_id),
        due_on=state.due_on,
        ending=state.ending,
        words=kept_text(session, state.words_id),
        witness=person_name(session, task.site_id, state.witness_id),
        by=person_name(session, task.site_id, state.by_id),
        said_at=state.valid_from,
        in_answer=state.in_answer,
        shelf=row.shelf if row else None,
        phase=str(phases[circuit]) if circuit in phases else "",
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Flag:
    """A primed circuit that an open notice names and about which nobody has decided."""

    circuit: str
    notice: str


def flags(session: Session, site_id: UUID, circuit_ids: Iterable[UUID] | None = None) -> list[Flag]:
    """Return the flags, of these circuits or of all; by circuit."""
    rows = (
        select(NoticeTask.row_key, Notice.number)
        .join(
            NoticeTaskState,
            (NoticeTaskState.site_id == NoticeTask.site_id)
            & (NoticeTaskState.task_id == NoticeTask.id),
        )
        .join(Notice, (Notice.site_id == NoticeTask.site_id) & (Notice.id == NoticeTask.notice_id))
        .join(
            NoticeState,
            (NoticeState.site_id == Notice.site_id) & (NoticeState.notice_id == Notice.id),
        )
        .where(
            NoticeTaskState.site_id == site_id,
            NoticeTaskState.state != TaskState.DONE,
            NoticeTaskState.superseded_no.is_(None),
            NoticeTaskState.kind == TaskKind.HOLD,
            NoticeState.superseded_no.is_(None),
            NoticeState.ended == "",
        )
    )
    named: dict[UUID, list[str]] = {}
    for row_key, number in session.execute(rows):
        circuit_id = key_of(row_key).ids[0]
        if circuit_id is not None:
            named.setdefault(circuit_id, []).append(number)
    wanted = sorted(named if circuit_ids is None else named.keys() & set(circuit_ids))
    held = open_holds(session, site_id, set(wanted))
    found = []
    for circuit_id in wanted:
        if circuit_id in held:
            continue
        primed = select(Circuit.number).join(
            CircuitPhase,
            (CircuitPhase.site_id == Circuit.site_id) & (CircuitPhase.circuit_id == Circuit.id),
        )
        circuit = session.scalar(
            primed.where(
                Circuit.site_id == site_id,
                Circuit.id == circuit_id,
                CircuitPhase.phase == Phase.PRIMED,
                CircuitPhase.superseded_no.is_(None),
                CircuitPhase.valid_to.is_(None),
            )
        )
        found += [Flag(circuit=circuit, notice=each) for each in named[circuit_id] if circuit]
    return sorted(found, key=lambda each: (each.circuit, each.notice))
