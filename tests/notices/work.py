"""What people do with notices, each with its usual values."""

from dataclasses import replace
from datetime import date
from typing import Any
from uuid import UUID

from sqlalchemy import select

from tests.make import TAP, Ward
from traceability.actions.notice.ask import GiveAnswer, give_answer
from traceability.actions.notice.close import CloseNotice, close_notice
from traceability.actions.notice.letters import LetterGiven, OpenNotice, open_notice
from traceability.actions.notice.scope import SetScope, set_scope
from traceability.actions.notice.standing import DueGiven
from traceability.actions.notice.tasks import SayTasks, say_tasks
from traceability.actions.once import Done
from traceability.domain.notice_scope import read_scope
from traceability.reads.notice_answers import AskingFacts, newest_asking
from traceability.reads.notice_tasks import TaskFacts, tasks
from traceability.storage.ledger import LedgerEvent

LETTER = LetterGiven(
    sender_kind="maker",
    sender="Oskerby Devices",
    reference="OD-26-07",
    stated_class="urgent, class II",
    dated_on=date(2031, 5, 5),
    text="Stop using these taps. Ring our office in case of P. Patient.",
)


def scope_of(*lots: str, gtin: str = TAP) -> dict[str, Any]:
    """Return a scope that names lots of the ward's tap."""
    product = {"standard": "gs1", "identifier": gtin, "name": "three-way tap"}
    tests = [{"test": "lots", "texts": list(lots)}]
    return {"any_of": [{"products": [product], "tests": tests}]}


def opens(ward: Ward, **changes: Any) -> UUID:
    """Open a notice as the recall coordinator."""
    usual = OpenNotice(
        sent=ward.at("recall").sent(),
        title="Three-way tap, leak at the handle",
        letter=LETTER,
        due=DueGiven(rule="correction-maker"),
        at=ward.now,
    )
    done = open_notice(replace(usual, **changes), site=ward.site)
    assert done.subject is not None
    return done.subject


def scopes(ward: Ward, notice: UUID, *lots: str, version: int = 0) -> None:
    """Say which lots it is about, and ask."""
    asked = SetScope(
        sent=ward.at("recall").sent(),
        notice_id=notice,
        scope=scope_of(*lots),
        read_version=version,
        source="Typed from the letter",
        at=ward.now,
    )
    set_scope(asked, site=ward.site)
    assert asks(ward, notice, *lots, version=version + 1) is not None


def asks(ward: Ward, notice: UUID, *lots: str, version: int = 1, **more: Any) -> Done | None:
    """Ask its scope; None: nothing changed, and nothing was written."""
    services = replace(ward.services, known_site=ward.site, clock=lambda: ward.now)
    scope = read_scope(scope_of(*lots))
    return services.ask_notice(notice, version, scope, ward.at("recall").sent(), **more)


def newest(ward: Ward, notice: UUID) -> AskingFacts:
    """Return the newest asking."""
    with ward.reads() as reads:
        found = newest_asking(reads, notice, ward.site.id)
    assert found is not None
    return found


def gives(ward: Ward, notice: UUID, to: str = "Oskerby Devices, by mail") -> Done:
    """Give the newest answer."""
    asked = GiveAnswer(
        sent=ward.at("recall").sent(),
        notice_id=notice,
        asked_no=newest(ward, notice).number,
        to=to,
    )
    return give_answer(asked, site=ward.site)


def tasks_of(ward: Ward, notice: UUID) -> dict[tuple[str, str], TaskFacts]:
    """Return the tasks by what people call their rows, and kind."""
    with ward.reads() as reads:
        found = tasks(reads, ward.site.id, notice)
    return {(each.name.name, str(each.kind)): each for each in found}


def says(ward: Ward, name: str, notice: UUID, *task_ids: UUID, **changes: Any) -> Done:
    """Say how far tasks are, as somebody."""
    usual = SayTasks(
        sent=ward.at(name).sent(),
        notice_id=notice,
        task_ids=task_ids,
        state="done",
        at=ward.now,
    )
    return say_tasks(replace(usual, **changes), site=ward.site)


def closes(ward: Ward, notice: UUID, name: str = "recall", **changes: Any) -> Done:
    """Close it."""
    usual = CloseNotice(
        sent=ward.at(name).sent(),
        notice_id=notice,
        end="worked-off",
        words="All taps returned.",
        at=ward.now,
    )
    return close_notice(replace(usual, **changes), site=ward.site)


def bodies(ward: Ward) -> str:
    """Return every body of the ledger as one text."""
    with ward.reads() as reads:
        return "\n".join(reads.scalars(select(LedgerEvent.body)))
