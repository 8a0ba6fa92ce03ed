"""What has to be done about each row of an answer, who may do it, and how it can end.

Tasks are proposed from the answer and never dropped: what left the answer is said to have left it,
and a person closes it. Source: trade practice settled in review; common practice, no source.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Final
from uuid import UUID, uuid5

from traceability.domain.circuits import Phase
from traceability.domain.exposure import Shelf
from traceability.domain.known_rows import KnownRow, Subject, key_of
from traceability.domain.people import Right

__all__ = [
    "ENDS",
    "MAY",
    "NEEDS_WITNESS",
    "NEEDS_WORDS",
    "Ending",
    "Proposal",
    "TaskKind",
    "TaskState",
    "kinds_for",
    "may_do",
    "proposals",
    "task_key",
    "ways_on",
]


class TaskKind(StrEnum):
    """What is to be done."""

    HOLD = "hold"
    """A primed circuit on the shelf: the consultant holds it, or says why not."""
    CHANGE_OUT = "change-out"
    """A circuit on a patient: the treating clinician weighs a change against staying."""
    INFORM = "inform"
    QUARANTINE = "quarantine"
    RETURN = "return"
    DESTROY = "destroy"
    KEEP_WITH_LABEL = "keep-with-label"
    CORRECT_ON_SITE = "correct-on-site"
    INSPECT = "inspect"
    NO_ACTION = "no-action"


class TaskState(StrEnum):
    """How far a task is."""

    TO_DO = "to-do"
    UNDER_WAY = "under-way"
    DONE = "done"


class Ending(StrEnum):
    """How a task ended."""

    DONE = "done"
    HELD = "held"
    NOT_HELD = "not-held"
    CHANGED_OUT = "changed-out"
    STAYS = "stays"
    """The risk of the change is the greater one."""
    MONITORED = "monitored"
    TOLD_PATIENT = "told-patient"
    TOLD_FAMILY = "told-family"
    DIED = "died"
    """The patient died; who decided whom to tell is said."""
    NOT_TOLD = "not-told"
    RECEIVING_HOSPITAL = "receiving-hospital"
    NOTHING_WRONG = "nothing-wrong"
    FAULT_FOUND = "fault-found"
    SENT_TO_MAKER = "sent-to-maker"
    NOT_FOUND = "not-found"
    NO_ACTION = "no-action"


_HANDLED: Final = (Ending.DONE, Ending.NOT_FOUND)

ENDS: Final[Mapping[TaskKind, tuple[Ending, ...]]] = {
    TaskKind.HOLD: (Ending.HELD, Ending.NOT_HELD),
    TaskKind.CHANGE_OUT: (Ending.CHANGED_OUT, Ending.STAYS, Ending.MONITORED),
    TaskKind.INFORM: (
        Ending.TOLD_PATIENT,
        Ending.TOLD_FAMILY,
        Ending.DIED,
        Ending.NOT_TOLD,
        Ending.RECEIVING_HOSPITAL,
    ),
    TaskKind.QUARANTINE: _HANDLED,
    TaskKind.RETURN: _HANDLED,
    TaskKind.DESTROY: _HANDLED,
    TaskKind.KEEP_WITH_LABEL: _HANDLED,
    TaskKind.CORRECT_ON_SITE: _HANDLED,
    TaskKind.INSPECT: (
        Ending.NOTHING_WRONG,
        Ending.FAULT_FOUND,
        Ending.SENT_TO_MAKER,
        Ending.NOT_FOUND,
    ),
    TaskKind.NO_ACTION: (Ending.NO_ACTION,),
}
"""Endings of each kind; g.22 of the trade notes for *inform*."""

NEEDS_WORDS: Final = frozenset(
    {
        Ending.NOT_HELD,
        Ending.STAYS,
        Ending.DIED,
        Ending.NOT_TOLD,
        Ending.RECEIVING_HOSPITAL,
        Ending.NO_ACTION,
        Ending.FAULT_FOUND,
        Ending.NOT_FOUND,
    }
)
"""Endings that need words: why, who decided, which hospital, what was found."""

NEEDS_WITNESS: Final = frozenset({TaskKind.DESTROY})
"""A second person saw it."""

MAY: Final[Mapping[TaskKind, frozenset[Right]]] = {
    TaskKind.HOLD: frozenset({Right.HOLD_CIRCUIT}),
    TaskKind.CHANGE_OUT: frozenset({Right.HOLD_CIRCUIT}),
    TaskKind.INFORM: frozenset({Right.SEE_PATIENTS}),
}
"""Any one of these rights ends such a task; of the kinds not named: `Right.NOTICES`."""


def may_do(kind: TaskKind, rights: Iterable[Right]) -> bool:
    """Tell whether someone with these rights may end such a task."""
    return bool(MAY.get(kind, frozenset({Right.NOTICES})) & frozenset(rights))


def kinds_for(subject: Subject) -> tuple[TaskKind, ...]:
    """Return what can be done about such a row, the likeliest first."""
    if subject in {Subject.PATIENT, Subject.RUN}:
        return (TaskKind.INFORM, TaskKind.NO_ACTION)
    things = (
        TaskKind.QUARANTINE,
        TaskKind.RETURN,
        TaskKind.DESTROY,
        TaskKind.KEEP_WITH_LABEL,
        TaskKind.CORRECT_ON_SITE,
        TaskKind.INSPECT,
        TaskKind.NO_ACTION,
    )
    if subject is Subject.CIRCUIT:
        return (TaskKind.HOLD, TaskKind.CHANGE_OUT, TaskKind.INFORM, *things)
    return things


def ways_on(subject: Subject, kind: TaskKind) -> tuple[TaskKind, ...]:
    """Return as what a task of this kind can end: a circuit on the shelf is not a patient's."""
    never = {
        TaskKind.HOLD: {TaskKind.CHANGE_OUT, TaskKind.INFORM},
        TaskKind.CHANGE_OUT: {TaskKind.HOLD, TaskKind.INFORM},
    }.get(kind, set())
    return tuple(each for each in kinds_for(subject) if each not in never)


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """A task that an answer asks for."""

    key: str
    kind: TaskKind


_OF_PHASE: Final[Mapping[Phase, TaskKind]] = {
    Phase.PRIMING: TaskKind.HOLD,
    Phase.PRIMED: TaskKind.HOLD,
    Phase.TAKEN: TaskKind.CHANGE_OUT,
    Phase.ON_PATIENT: TaskKind.CHANGE_OUT,
    Phase.ENDED: TaskKind.NO_ACTION,
    Phase.DISCARDED: TaskKind.NO_ACTION,
    Phase.TRANSFERRED_OUT: TaskKind.INFORM,
    Phase.KEPT: TaskKind.INSPECT,
}
"""What is likeliest; a person may end the task in another way."""


def proposals(rows: Iterable[KnownRow], phases: Mapping[UUID, Phase]) -> tuple[Proposal, ...]:
    """Return the tasks that these rows ask for; `phases` by circuit, as they are now.

    A row on the shelf *excluded* asks for none. Stock that the book owes has to be looked for
    first. A circuit that went on from the shelf to a patient asks for another task beside the old.
    """
    found = []
    for row in rows:
        if row.shelf is Shelf.EXCLUDED:
            continue
        key = key_of(row.key)
        match key.subject:
            case Subject.PATIENT | Subject.RUN:
                kind = TaskKind.INFORM
            case Subject.STOCK:
                kind = TaskKind.QUARANTINE if (row.quantity or 0) > 0 else TaskKind.INSPECT
            case Subject.MACHINE:
                kind = TaskKind.INSPECT
            case Subject.CIRCUIT:
                phase = phases.get(key.ids[0]) if key.ids[0] else None
                kind = _OF_PHASE[phase] if phase else TaskKind.INSPECT
        found.append(Proposal(key=row.key, kind=kind))
    return tuple(found)


def task_key(notice_id: UUID, key: str, kind: TaskKind) -> UUID:
    """Return the id of a notice's task of this kind about this row: asked again, the same one."""
    return uuid5(notice_id, f"{key} {kind}")
