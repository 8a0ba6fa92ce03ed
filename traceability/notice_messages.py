"""Notices in words: letters, what is due, answers and what changed, tasks, exceptions."""

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from typing import Final
from zoneinfo import ZoneInfo

from traceability.domain.deadlines import Rule, Unit
from traceability.domain.events import Kind
from traceability.domain.exposure import Shelf
from traceability.domain.known_rows import Because, Change, KnownRow, Subject, key_of
from traceability.domain.notice_tasks import Ending, TaskKind, TaskState
from traceability.domain.notices import Due, NoticeEnd, Sender
from traceability.domain.spans import Span
from traceability.reads.exceptions import ExceptionKind
from traceability.reads.notice_answers import AskingFacts

SENDERS: Final[Mapping[str, str]] = {
    Sender.MAKER: "maker",
    Sender.SUPPLIER: "supplier",
    Sender.AUTHORITY: "authority",
    Sender.OTHER: "other",
}

NOTICE_ENDS: Final[Mapping[str, str]] = {
    NoticeEnd.WORKED_OFF: "Worked off",
    NoticeEnd.NOTHING_OF_OURS: "Concerns nothing of ours",
    NoticeEnd.WITHDRAWN: "Withdrawn by the sender",
    NoticeEnd.SAME_AS_ANOTHER: "Same event as another notice",
}

RULES: Final[Mapping[str, str]] = {
    "device-death-user": "report of a death to the authority and the maker",
    "device-injury-user": "report of a serious injury to the maker",
    "event-maker": "a maker's report of an event",
    "remedial-maker": "a maker's report of an event that calls for action",
    "correction-maker": "a maker's report of a correction or removal",
    "tracked-where": "where tracked devices are that went to nobody yet",
    "tracked-patient": "patients of tracked devices",
    "own": "rule of this site",
}
"""Published limits by what they are for; which one binds is for the site to say."""

WEEKDAYS: Final = (
    "Monday",
    "Tuesday",
    "Wednesday",
    "Thursday",
    "Friday",
    "Saturday",
    "Sunday",
)

TASKS: Final[Mapping[str, str]] = {
    TaskKind.HOLD: "Hold it, or say why not",
    TaskKind.CHANGE_OUT: "Change-out: the clinician decides",
    TaskKind.INFORM: "Inform",
    TaskKind.QUARANTINE: "Quarantine",
    TaskKind.RETURN: "Return",
    TaskKind.DESTROY: "Destroy, with a witness",
    TaskKind.KEEP_WITH_LABEL: "Keep, with a warning label",
    TaskKind.CORRECT_ON_SITE: "Correct on site",
    TaskKind.INSPECT: "Inspect",
    TaskKind.NO_ACTION: "No action, with reason",
}

STATES: Final[Mapping[str, str]] = {
    TaskState.TO_DO: "to do",
    TaskState.UNDER_WAY: "under way",
    TaskState.DONE: "done",
}

ENDINGS: Final[Mapping[str, str]] = {
    Ending.DONE: "Done",
    Ending.HELD: "Held",
    Ending.NOT_HELD: "Not held: why",
    Ending.CHANGED_OUT: "Changed out",
    Ending.STAYS: "Stays: the change is the greater risk",
    Ending.MONITORED: "Stays, monitored",
    Ending.TOLD_PATIENT: "Patient told",
    Ending.TOLD_FAMILY: "Family told",
    Ending.DIED: "Died: who decided",
    Ending.NOT_TOLD: "Not told: why",
    Ending.RECEIVING_HOSPITAL: "Receiving hospital told: which",
    Ending.NOTHING_WRONG: "Inspected, nothing wrong",
    Ending.FAULT_FOUND: "Inspected, fault found: what",
    Ending.SENT_TO_MAKER: "Sent to the maker",
    Ending.NOT_FOUND: "Not found: where was looked",
    Ending.NO_ACTION: "No action: why",
}

SUBJECTS: Final[Mapping[str, str]] = {
    Subject.CIRCUIT: "Circuits",
    Subject.PATIENT: "Patients",
    Subject.RUN: "Runs whose patient nobody has named",
    Subject.STOCK: "Stock",
    Subject.MACHINE: "Machines",
}

SHELVES: Final[Mapping[str, str]] = {
    Shelf.CONFIRMED: "confirmed",
    Shelf.INFERRED: "inferred",
    Shelf.CANNOT_BE_EXCLUDED: "cannot be excluded",
    Shelf.EXCLUDED: "excluded",
}

CHANGES: Final[Mapping[str, str]] = {
    Change.NEW: "New",
    Change.SHELF: "Changed shelf",
    Change.TIMES: "Changed times",
    Change.COUNT: "Changed number",
    Change.GONE: "No longer in the answer",
}

BECAUSE: Final[Mapping[str, str]] = {
    Because.AMENDMENT: "the notice was amended",
    Because.ENTRIES: "later entries",
    Because.BOTH: "the notice was amended, and later entries touch it",
    Because.ELSEWHERE: "entries about other things: a count, a ruling, a notice on packs",
}

EXCEPTIONS: Final[Mapping[str, str]] = {
    ExceptionKind.OVERRIDE: "Went on past a caution or a stop",
    ExceptionKind.ONE_SIGNATURE: "Primes without two signatures",
    ExceptionKind.LATE: "Entered more than 24 h late",
    ExceptionKind.TYPED: "Lots typed or read from a photo",
    ExceptionKind.REPRINT: "Tags printed again",
    ExceptionKind.DISPUTED: "Claims that clash",
    ExceptionKind.VOID: "Entries voided",
    ExceptionKind.POLICY: "Policy and work days changed",
    ExceptionKind.NOT_NAMED: "Acts that nobody has put a name to",
}

RINGS_NOBODY: Final = "This service rings nobody. “Told” is what a person entered."


def due_words(due: Due) -> str:
    """Return until when a reply is due and by which rule."""
    if due.on is None:
        return "No reply is asked for"
    if due.rule is None:
        return f"Reply due {due.on.isoformat()}, as the letter states"
    return f"Reply due {due.on.isoformat()}: {rule_words(due.rule)}"


def rule_words(rule: Rule) -> str:
    """Return a rule as "10 work days, report of ... (source)"."""
    unit = "work day" if rule.unit is Unit.WORK_DAYS else "calendar day"
    count = f"{rule.days} {unit}{'' if rule.days == 1 else 's'}"
    source = f" ({rule.source})" if rule.code != "own" else ""
    return f"{count}, {RULES.get(rule.code, rule.code)}{source}"


def left_words(days_left: int | None, *, is_open: bool) -> str:
    """Return how long there is; empty where nothing is due or the notice is closed."""
    if days_left is None or not is_open:
        return ""
    if days_left < 0:
        return f"{_count(-days_left, 'work day')} over"
    return "due today" if days_left == 0 else f"{_count(days_left, 'work day')} left"


def answer_words(asking: AskingFacts) -> str:
    """Return the answer in one sentence; never "none" alone while anything cannot be excluded."""
    sure, inferred, open_ = (
        asking.count("circuit", shelf)
        for shelf in (Shelf.CONFIRMED, Shelf.INFERRED, Shelf.CANNOT_BE_EXCLUDED)
    )
    people = asking.count("patient", Shelf.CONFIRMED) + asking.count("patient", Shelf.INFERRED)
    may = asking.count("patient", Shelf.CANNOT_BE_EXCLUDED)
    said = [f"{_count(sure, 'circuit')} confirmed" if sure else "No circuit confirmed"]
    if inferred:
        said.append(f"{inferred} inferred")
    said.append(f"{open_} cannot be excluded")
    met = f"{_count(people, 'patient')} exposed, {may} cannot be excluded"
    units = sum(asking.count("units", shelf) for shelf in SHELVES)
    return f"{', '.join(said)}. {met}. {_count(units, 'piece')} in stock."


def coverage_words(asking: AskingFacts, zone: ZoneInfo) -> list[str]:
    """Return how much of the record stands behind the answer, and where it was cut."""
    cover = asking.coverage
    lines = [
        f"Looked at {_count(_number(cover, 'circuits'), 'circuit')} and "
        f"{_count(_number(cover, 'runs'), 'run')}: {cover.get('complete', 0)} complete, "
        f"{cover.get('with_gap', 0)} with a gap, {cover.get('unknown', 0)} with contents not "
        f"recorded. {cover.get('parts_with_lot', 0)} of {_count(_number(cover, 'parts'), 'part')} "
        "of this kind carry a lot.",
        f"As known at entry {asking.cut_no}"
        + (f", {moment(asking.cut_at, zone)}." if asking.cut_at else "."),
    ]
    first = cover.get("first_at")
    if isinstance(first, str):
        began = datetime.fromisoformat(first)
        lines.append(f"The record begins {moment(began, zone)}.")
    for name, words in (
        ("not_narrowed", "The stock book is not complete, so nothing was ruled out by counting"),
        ("contradicted", "The stock book contradicts itself; a count mends it"),
    ):
        kinds = cover.get(name)
        if isinstance(kinds, list | tuple) and kinds:
            lines.append(f"{words}: {', '.join(str(each) for each in kinds)}.")
    return lines


def change_words(
    change: Change, before: KnownRow | None, after: KnownRow | None, zone: ZoneInfo
) -> str:
    """Return what is different about a row, in words."""
    match change:
        case Change.NEW:
            return SHELVES[after.shelf] if after else ""
        case Change.GONE:
            return f"was {SHELVES[before.shelf]}" if before else ""
        case Change.SHELF if before and after:
            return f"was {SHELVES[before.shelf]}, is now {SHELVES[after.shelf]}"
        case Change.COUNT if before and after:
            return f"was {before.quantity or 0}, is now {after.quantity or 0}"
        case Change.TIMES if before and after:
            return f"was {times_words(before, zone)}; is now {times_words(after, zone)}"
        case _:
            return ""


def times_words(row: KnownRow, zone: ZoneInfo) -> str:
    """Return when a patient met it, sure times first; of a circuit, when the parts were in it."""
    if key_of(row.key).subject not in {Subject.PATIENT, Subject.RUN}:
        return _spans(row.possible, zone) or "no time"
    said = [_spans(row.sure, zone)] if row.sure else []
    if row.possible and row.possible != row.sure:
        said.append(f"possible {_spans(row.possible, zone)}")
    return ", ".join(said) or "no time"


def _spans(spans: Sequence[Span], zone: ZoneInfo) -> str:
    return " and ".join(
        f"{moment(each.start, zone)} to {moment(each.end, zone) if each.end else 'not ended'}"
        for each in spans
    )


def moment(at: datetime, zone: ZoneInfo) -> str:
    """Return `2026-11-25 03:40 CET`."""
    return f"{at.astimezone(zone):%Y-%m-%d %H:%M %Z}"


def leaves_words(
    ready: int, target: int, primes: Sequence[tuple[str, int | None, int | None]]
) -> str:
    """Return what holding leaves: ready circuits, and primes by circuit type, before and after."""
    said = [f"Leaves {ready} of {target} ready"]
    for circuit_type, before, after in primes:
        if before is not None and after is not None and before != after:
            said.append(f"{circuit_type}: {_count(after, 'more prime')}, was {before}")
    return f"{'. '.join(said)}."


def say_notice(kind: str, body: Mapping[str, object]) -> str:
    """Return what an event about a notice was about; empty for events of other kinds."""
    words = _EVENTS.get(kind)
    return words(body) if words else ""


def _letter(body: Mapping[str, object]) -> str:
    reference = str(body.get("reference") or "")
    sender = SENDERS.get(str(body.get("sender_kind")), "")
    return f"{sender}{', reference ' if reference else ''}{reference}"


def _asked(body: Mapping[str, object]) -> str:
    rows, gone, tasks = (_length(body.get(name)) for name in ("rows", "gone", "tasks"))
    return (
        f"as known at entry {body.get('cut_no')}, {_count(rows + gone, 'row')} changed, "
        f"{_count(tasks, 'task')} added"
    )


def _tasks_said(body: Mapping[str, object]) -> str:
    ending = ENDINGS.get(str(body.get("ending")), "").split(":")[0]
    state = STATES.get(str(body.get("state")), "")
    return f"{_count(_length(body.get('tasks')), 'task')}, {ending or state}"


_EVENTS: Final[Mapping[str, Callable[[Mapping[str, object]], str]]] = {
    Kind.NOTICE_OPENED: lambda body: str(body.get("number")),
    Kind.NOTICE_LETTER_ADDED: _letter,
    Kind.NOTICE_SCOPE_SET: lambda body: f"version {body.get('version')}",
    Kind.NOTICE_ACTED_ON: lambda body: str(body.get("on")),
    Kind.NOTICE_ASKED: _asked,
    Kind.ANSWER_GIVEN: lambda body: (
        f"as known at entry {body.get('cut_no')}, digest {body.get('digest')}"
    ),
    Kind.NOTICE_TASK_ADDED: lambda body: TASKS.get(str(body.get("kind")), ""),
    Kind.NOTICE_TASK_SAID: _tasks_said,
    Kind.NOTICE_REPLY_MADE: lambda body: _count(_length(body.get("lines")), "lot"),
    Kind.NOTICE_CLOSED: lambda body: NOTICE_ENDS.get(str(body.get("end")), ""),
    Kind.WORK_DAYS_SET: lambda body: f"version {body.get('version')}",
}


def not_done_words(facts: Mapping[str, object]) -> str:
    """Return what speaks against closing a notice."""
    said = []
    tasks = facts.get("tasks")
    if isinstance(tasks, int) and tasks:
        said.append(f"{_count(tasks, 'task')} not done")
    if facts.get("waiting"):
        said.append("a change of the answer that nobody has looked at")
    if facts.get("unanswered"):
        said.append("no answer given yet (that nothing is affected is one too)")
    return f"{facts.get('number')} has {', and '.join(said)}. Look at it first."


def _number(cover: Mapping[str, object], name: str) -> int:
    value = cover.get(name)
    return value if isinstance(value, int) else 0


def _length(value: object) -> int:
    return len(value) if isinstance(value, list | tuple) else 0


def _count(number: int, word: str) -> str:
    return f"{number} {word}{'' if number == 1 else 's'}"
