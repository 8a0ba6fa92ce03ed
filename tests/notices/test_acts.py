"""A notice from its letter to its end, act by act, on both databases.

Source of the rules: trade practice settled in review; common practice, no source. Due days: 21 CFR
806.10(b), ten work days after the day one became aware.
"""

import json
from dataclasses import replace
from datetime import date, timedelta
from typing import Any
from uuid import UUID, uuid4

import pytest
from sqlalchemy import select

from tests.make import HOUR, TAP, Ward, code
from tests.notices.work import (
    LETTER,
    asks,
    bodies,
    closes,
    gives,
    newest,
    opens,
    says,
    scope_of,
    scopes,
    tasks_of,
)
from tests.stock_acts import Shelves
from traceability.actions.corrections.correct import Correct, correct
from traceability.actions.lists.work_days import SetWorkDays, set_work_days
from traceability.actions.notice.ask import GiveAnswer, LookAt, give_answer, look_at
from traceability.actions.notice.close import ReopenNotice, left_to_do, reopen_notice
from traceability.actions.notice.files import keep_files, kept_file
from traceability.actions.notice.letters import (
    AddLetter,
    EraseFile,
    OpenNotice,
    add_letter,
    erase_file,
    open_notice,
)
from traceability.actions.notice.scope import SetActedOn, SetScope, set_acted_on, set_scope
from traceability.actions.notice.standing import DueGiven
from traceability.actions.notice.stock import HoldStock, hold_stock
from traceability.domain.notice_tasks import TaskState
from traceability.errors import (
    BadValue,
    FileRefused,
    NotAllowed,
    NoticeClosed,
    NoticeNotDone,
    SamePerson,
    StaleForm,
    UnknownCode,
)
from traceability.reads.notice_answers import asking as asking_of
from traceability.reads.notice_answers import changes_since, given_answers, rows_of
from traceability.reads.notice_stock import leaves
from traceability.reads.notice_tasks import flags
from traceability.reads.notices import letters, notice_facts, notices
from traceability.storage.holds import Hold
from traceability.storage.ledger import LedgerEvent
from traceability.storage.notice_life import Notice
from traceability.storage.rebuild import rebuild


def facts(ward: Ward, number: str = "N-0001") -> Any:
    with ward.reads() as reads:
        return notice_facts(reads, ward.site.id, number, ward.now.date())


def test_an_event_with_three_letters_is_one_notice_and_its_texts_are_kept_apart(
    ward: Ward,
) -> None:
    notice = opens(ward)
    for kind, sender in (("supplier", "Norrvik Supplies"), ("authority", "Agency of Devices")):
        more = AddLetter(
            sent=ward.at("engineer").sent(),
            notice_id=notice,
            letter=replace(LETTER, sender_kind=kind, sender=sender, reference=f"{kind}-1"),
            at=ward.now,
        )
        add_letter(more, site=ward.site)
    found = facts(ward)
    assert found.references == ("OD-26-07", "supplier-1", "authority-1")
    assert found.senders == ("Oskerby Devices", "Norrvik Supplies", "Agency of Devices")
    with ward.reads() as reads:
        first = letters(reads, ward.site.id, notice)[0]
    assert (first.stated_class, first.received_by) == ("urgent, class II", "Recall A.")
    assert "P. Patient" in first.text
    for private in ("P. Patient", "Norrvik Supplies", "leak at the handle"):
        assert private not in bodies(ward)


def test_a_reply_is_due_in_the_work_days_of_the_site(ward: Ward) -> None:
    opens(ward)
    assert facts(ward).due.on == date(2031, 5, 20)  # ten work days after Tuesday 2031-05-06
    assert facts(ward).days_left == 10
    days = SetWorkDays(
        sent=ward.at("pharmacist").sent(),
        days_off=(4, 5, 6),
        holidays=(date(2031, 5, 7), date(2031, 5, 8)),
        read_version=0,
    )
    set_work_days(days, site=ward.site)
    opens(ward)
    assert facts(ward).due.on == date(2031, 5, 20), "what was due before stays due on its day"
    assert facts(ward, "N-0002").due.on == date(2031, 5, 27)
    with pytest.raises(StaleForm):
        set_work_days(replace(days, sent=ward.at("pharmacist").sent()), site=ward.site)
    with pytest.raises(BadValue):
        set_work_days(
            replace(
                days, sent=ward.at("pharmacist").sent(), days_off=tuple(range(7)), read_version=1
            ),
            site=ward.site,
        )


@pytest.mark.parametrize(
    ("due", "on"),
    [
        (DueGiven(), None),
        (DueGiven(rule="stated", stated_on=date(2031, 6, 1)), date(2031, 6, 1)),
        (DueGiven(rule="own", days=3, unit="work-days"), date(2031, 5, 9)),
        (DueGiven(rule="event-maker"), date(2031, 6, 5)),
    ],
)
def test_what_is_due_is_kept_with_its_rule(ward: Ward, due: DueGiven, on: date | None) -> None:
    opens(ward, due=due)
    assert facts(ward).due.on == on


@pytest.mark.parametrize(
    "changes",
    [
        {"title": " "},
        {"letter": replace(LETTER, sender=" ")},
        {"letter": replace(LETTER, sender_kind="neighbour")},
        {"due": DueGiven(rule="own", days=0, unit="work-days")},
        {"due": DueGiven(rule="own", days=3, unit="moons")},
        {"due": DueGiven(rule="stated")},
        {"title": "x" * 500},
    ],
)
def test_a_notice_without_its_facts_is_none(ward: Ward, changes: dict[str, Any]) -> None:
    with pytest.raises(BadValue):
        opens(ward, **changes)
    with ward.reads() as reads:
        assert reads.scalars(select(Notice)).all() == []


def test_files_lie_in_var_by_their_digest_and_can_be_erased(ward: Ward) -> None:
    var, request = ward.services.settings.var_dir, uuid4()
    given = [("letter.pdf", b"%PDF-1.7 text"), ("P. Patient.csv", b"lot\nTA-1\n")]
    files = keep_files(given, request, var_dir=var)
    assert files == keep_files(given, request, var_dir=var), "sent again, the same files"
    sent = ward.at("recall").sent(request)
    letter = replace(LETTER, files=files)
    asked = OpenNotice(sent=sent, title="Taps", letter=letter, due=DueGiven(), at=ward.now)
    notice = open_notice(asked, site=ward.site).subject
    assert isinstance(notice, UUID)
    assert "P. Patient" not in bodies(ward)
    erase = EraseFile(sent=ward.at("recall").sent(), file_id=files[1].id, reason="Names somebody")
    erase_file(erase, site=ward.site, var_dir=var)
    assert kept_file(files[1].id, var_dir=var) is None
    assert kept_file(files[0].id, var_dir=var) == b"%PDF-1.7 text"
    with ward.reads() as reads:
        (one,) = letters(reads, ward.site.id, notice)
    found = {each.id: each for each in one.files}
    assert found[files[1].id].erased
    assert found[files[1].id].name == "", "the name goes with the file"
    assert found[files[0].id].name == "letter.pdf"
    with pytest.raises(UnknownCode):
        erase_file(replace(erase, sent=ward.at("recall").sent()), site=ward.site, var_dir=var)


@pytest.mark.parametrize(
    ("name", "data", "fault"),
    [
        ("run.exe", b"MZ\x90\x00", "type"),
        ("letter.pdf", b"MZ\x90\x00", "type"),
        ("page.html", b"<script>alert(1)</script>", "type"),
        ("picture.svg", b"<svg onload='x'/>", "type"),
        ("macros.xlsm", b"PK\x03\x04rest", "type"),
        ("empty.pdf", b"", "empty"),
        ("large.txt", b"a" * (10 * 1024 * 1024 + 1), "too-large"),
    ],
)
def test_what_cannot_be_kept_is_refused_before_anything_is_written(
    ward: Ward, name: str, data: bytes, fault: str
) -> None:
    var = ward.services.settings.var_dir
    with pytest.raises(FileRefused) as refused:
        keep_files([("good.txt", b"text"), (name, data)], uuid4(), var_dir=var)
    assert refused.value.facts["fault"] == fault
    assert not (var / "letters").exists()


def test_a_scope_is_amended_from_the_version_that_was_read(ward: Ward) -> None:
    notice = opens(ward)
    scopes(ward, notice, "T77-0B1")
    scopes(ward, notice, "T77-0B1", "T78", version=1)
    late = SetScope(
        sent=ward.at("engineer").sent(),
        notice_id=notice,
        scope=scope_of("T99"),
        read_version=1,
        source="",
        at=ward.now,
    )
    with pytest.raises(StaleForm):
        set_scope(late, site=ward.site)
    with pytest.raises(BadValue, match="bad-value"):
        set_scope(replace(late, scope={"any_of": []}, read_version=2), site=ward.site)


def test_an_answer_proposes_what_is_to_be_done_about_each_thing(ward: Ward) -> None:
    shelves = Shelves(ward)
    shelves.receive(code(TAP, "T77-0B1"), packs=10)
    ready, used = ward.prime(), ward.prime()
    ward.take(used)
    ward.flow_on(used)
    notice = opens(ward)
    scopes(ward, notice, "T77-0B1")
    found = tasks_of(ward, notice)
    assert {(name, kind) for name, kind in found} == {
        (ward.number(ready), "hold"),
        (ward.number(used), "change-out"),
        ("R-0001", "inform"),
        ("Lot T77-0B1", "quarantine"),
    }
    assert all(each.state is TaskState.TO_DO for each in found.values())
    asked = newest(ward, notice)
    assert (asked.count("circuit", "confirmed"), asked.count("units", "confirmed")) == (2, 4)
    assert asks(ward, notice, "T77-0B1") is None, "nothing is written for nothing new"
    assert asks(ward, notice, "T77-0B1", in_any_case=True) is not None


def test_what_leaves_the_answer_keeps_its_task_until_a_person_closes_it(ward: Ward) -> None:
    circuit = ward.prime("T77-0B1")
    number = ward.number(circuit)
    notice = opens(ward)
    scopes(ward, notice, "T77-0B1")
    scopes(ward, notice, "T99", version=1)
    task = tasks_of(ward, notice)[(number, "hold")]
    assert (task.in_answer, task.done, task.shelf) == (False, False, None)
    says(
        ward,
        "consultant",
        notice,
        task.id,
        ending="not-held",
        words="The notice no longer names it",
    )
    scopes(ward, notice, "T99", "T77-0B1", version=2)
    again = tasks_of(ward, notice)[(number, "hold")]
    assert (again.in_answer, again.done) == (True, True), "what was decided stays decided"


def test_a_circuit_that_goes_to_a_patient_asks_for_another_task(ward: Ward) -> None:
    circuit = ward.prime()
    notice = opens(ward)
    scopes(ward, notice, "T77-0B1")
    ward.take(circuit)
    asks(ward, notice, "T77-0B1")
    kinds = {kind for name, kind in tasks_of(ward, notice) if name == ward.number(circuit)}
    assert kinds == {"hold", "change-out"}


@pytest.mark.parametrize(
    ("name", "changes", "refusal"),
    [
        ("recall", {"ending": "held"}, NotAllowed),
        ("recall", {"task_kind": "no-action", "ending": "no-action", "words": "x"}, NotAllowed),
        ("consultant", {"ending": "not-held"}, BadValue),
        ("consultant", {"ending": "told-patient"}, BadValue),
        ("consultant", {"task_kind": "change-out", "ending": "monitored"}, BadValue),
        ("consultant", {"ending": "held", "state": "finished"}, BadValue),
    ],
)
def test_a_primed_circuit_is_the_consultants_to_decide(
    ward: Ward, name: str, changes: dict[str, Any], refusal: type[Exception]
) -> None:
    circuit = ward.prime()
    notice = opens(ward)
    scopes(ward, notice, "T77-0B1")
    task = tasks_of(ward, notice)[(ward.number(circuit), "hold")]
    with ward.reads() as reads:
        assert [each.circuit for each in flags(reads, ward.site.id)] == [ward.number(circuit)]
    with pytest.raises(refusal):
        says(ward, name, notice, task.id, **changes)
    says(ward, "recall", notice, task.id, state="under-way")
    says(ward, "consultant", notice, task.id, ending="held")
    assert ward.facts(circuit).standing.on_hold
    assert ward.facts(circuit).hold == "N-0001"
    with ward.reads() as reads:
        assert flags(reads, ward.site.id) == []


def test_destroying_needs_a_second_person_and_informing_its_words(ward: Ward) -> None:
    Shelves(ward).receive(code(TAP, "T77-0B1"), packs=2)
    circuit = ward.prime()
    ward.take(circuit)
    ward.flow_on(circuit)
    notice = opens(ward)
    scopes(ward, notice, "T77-0B1", "T78")
    found = tasks_of(ward, notice)
    stock = found[("Lot T77-0B1", "inspect")].id, "pharmacist"
    destroyed = {"task_kind": "destroy", "ending": "done"}
    with pytest.raises(BadValue):
        says(ward, stock[1], notice, stock[0], **destroyed)
    with pytest.raises(SamePerson):
        says(ward, stock[1], notice, stock[0], witness_id=ward.people["pharmacist"], **destroyed)
    says(ward, stock[1], notice, stock[0], witness_id=ward.people["stock"], **destroyed)
    inform = found[("R-0001", "inform")].id
    with pytest.raises(NotAllowed):
        says(ward, "pharmacist", notice, inform, ending="told-patient")
    for ending in ("died", "not-told", "receiving-hospital"):
        with pytest.raises(BadValue):
            says(ward, "bedside", notice, inform, ending=ending)
    says(ward, "bedside", notice, inform, ending="died", words="Dr. B decided to tell the family")
    done = tasks_of(ward, notice)
    assert done[("Lot T77-0B1", "destroy")].witness == "Stock A."
    assert done[("R-0001", "inform")].words == "Dr. B decided to tell the family"
    assert "Dr. B" not in bodies(ward)


def test_all_stock_is_held_in_one_act_and_it_is_said_before_what_that_leaves(ward: Ward) -> None:
    shelves = Shelves(ward)
    circuit = ward.prime()
    shelves.receive(code(TAP, "T77-0B1"), packs=9)
    shelves.receive(code(TAP, "T78"), packs=3, place="bed 4")
    notice = opens(ward)
    scopes(ward, notice, "T77-0B1", "T78")
    with ward.reads() as reads:
        rows = rows_of(reads, ward.site.id, notice)
        left = leaves(
            reads,
            ward.site.id,
            rows,
            frozenset({ward.number(circuit)}),
            ward.now,
            ward.services.settings.zone_info,
        )
        assert reads.scalars(select(Hold)).all() == [], "asking holds nothing"
    assert (left.ready, left.ready_without, left.target) == (1, 0, 2)
    ((_, before, after),) = left.primes
    assert (before, after) == (4, 0), "12 taps, three a prime, and then none"
    asked = HoldStock(
        sent=ward.at("pharmacist").sent(),
        notice_id=notice,
        asked_no=newest(ward, notice).number,
        at=ward.now,
    )
    done = hold_stock(asked, site=ward.site)
    assert done == hold_stock(asked, site=ward.site)
    assert done.facts["held"] == 2
    with ward.reads() as reads:
        held = reads.scalars(select(Hold)).all()
    assert {(each.subject, each.notice) for each in held} == {("lot", "N-0001")}
    assert len(held) == 2
    with pytest.raises(BadValue):
        hold_stock(replace(asked, sent=ward.at("pharmacist").sent()), site=ward.site)
    with pytest.raises(NotAllowed):
        hold_stock(replace(asked, sent=ward.at("primer").sent()), site=ward.site)


def test_a_given_answer_stays_as_given_and_what_changed_since_says_why(ward: Ward) -> None:
    first = ward.prime("T77-0B1")
    notice = opens(ward)
    scopes(ward, notice, "T77-0B1")
    given = newest(ward, notice)
    gives(ward, notice)
    as_given = _rows(ward, notice, given.number)
    second = ward.prime("T77-0B1")  # a later entry
    asks(ward, notice, "T77-0B1")
    assert _why(ward, notice, given.number) == {
        (ward.number(second), "new", "entries"),
    }
    third = ward.prime("T78")
    scopes(ward, notice, "T77-0B1", "T78", version=1)  # an amendment, and entries
    gives(ward, notice)
    scopes(ward, notice, "T78", version=2)  # nothing but an amendment
    assert _why(ward, notice, _given(ward, notice)) == {
        (ward.number(first), "gone", "amendment"),
        (ward.number(second), "gone", "amendment"),
    }
    assert ward.number(third) in {name for name, _ in tasks_of(ward, notice)}
    assert _rows(ward, notice, given.number) == as_given, "exactly as it was given"


def _rows(ward: Ward, notice: UUID, number: int) -> list[Any]:
    with ward.reads() as reads:
        return rows_of(reads, ward.site.id, notice, number)


def _given(ward: Ward, notice: UUID) -> int:
    with ward.reads() as reads:
        return given_answers(reads, ward.site.id, notice)[0].asked_no


def _why(ward: Ward, notice: UUID, since: int) -> set[tuple[str, str, str]]:
    with ward.reads() as reads:
        before = asking_of(reads, ward.site.id, notice, since)
        assert before is not None
        count, found = changes_since(reads, ward.site.id, notice, before, newest(ward, notice))
    assert count == len(found)
    return {(each.name.name, str(each.change), str(each.because)) for each in found}


def test_an_old_screen_gives_nothing_and_looks_at_nothing(ward: Ward) -> None:
    notice = opens(ward)
    scopes(ward, notice, "T77-0B1")
    old = newest(ward, notice).number
    ward.prime("T77-0B1")
    asks(ward, notice, "T77-0B1")
    sent = ward.at("recall").sent
    with pytest.raises(StaleForm):
        give_answer(
            GiveAnswer(sent=sent(), notice_id=notice, asked_no=old, to="maker"), site=ward.site
        )
    with pytest.raises(StaleForm):
        look_at(LookAt(sent=sent(), notice_id=notice, asked_no=old), site=ward.site)
    look_at(
        LookAt(sent=sent(), notice_id=notice, asked_no=newest(ward, notice).number),
        site=ward.site,
    )


def test_closing_says_first_what_is_left_and_a_closed_notice_takes_nothing(ward: Ward) -> None:
    ward.prime("T77-0B1")
    notice = opens(ward)
    scopes(ward, notice, "T77-0B1")
    with pytest.raises(NoticeNotDone) as refused:
        closes(ward, notice)
    assert refused.value.facts == {"number": "N-0001", "tasks": 1, "waiting": 0, "unanswered": 1}
    gives(ward, notice)
    ward.prime("T77-0B1")
    asks(ward, notice, "T77-0B1")
    with ward.reads() as reads:
        assert left_to_do(reads, reads.get_one(Notice, (ward.site.id, notice))) == {
            "tasks": 2,
            "waiting": 1,
            "unanswered": 0,
        }
    done = closes(ward, notice, anyway=True)
    assert set(done.cautions) == {"notice-tasks", "notice-waiting"}
    assert facts(ward).ended == "worked-off"
    with pytest.raises(NoticeClosed):
        asks(ward, notice, "T77-0B1", in_any_case=True)
    with pytest.raises(NotAllowed):
        _reopens(ward, "pharmacist", notice)
    _reopens(ward, "recall", notice)
    assert facts(ward).is_open
    with pytest.raises(BadValue):
        _reopens(ward, "recall", notice)


def _reopens(ward: Ward, name: str, notice: UUID) -> None:
    asked = ReopenNotice(
        sent=ward.at(name).sent(), notice_id=notice, words="Another lot came up", at=ward.now
    )
    reopen_notice(asked, site=ward.site)


@pytest.mark.parametrize("name", ["primer", "consultant", "stock", "auditor", "administrator"])
def test_nobody_else_works_on_notices(ward: Ward, name: str) -> None:
    notice = opens(ward)
    with pytest.raises(NotAllowed):
        opens(ward, sent=ward.at(name).sent())
    with pytest.raises(NotAllowed):
        closes(ward, notice, name)
    for allowed in ("pharmacist", "engineer"):
        opens(ward, sent=ward.at(allowed).sent())
        with pytest.raises(NotAllowed):
            closes(ward, notice, allowed)


def test_open_notices_come_first_and_the_nearest_due_day_before_others(ward: Ward) -> None:
    closed = opens(ward, due=DueGiven())
    opens(ward, due=DueGiven())
    opens(ward, due=DueGiven(rule="remedial-maker"))
    opens(ward, due=DueGiven(rule="tracked-where"))
    closes(ward, closed, anyway=True)
    acted = SetActedOn(sent=ward.at("engineer").sent(), notice_id=closed, acted_on=date(2031, 5, 6))
    with pytest.raises(NoticeClosed):
        set_acted_on(acted, site=ward.site)
    with ward.reads() as reads:
        found = notices(reads, ward.site.id, ward.now.date())
    assert [each.number for each in found] == ["N-0004", "N-0003", "N-0002", "N-0001"]


def test_every_row_of_a_notice_follows_from_the_ledger(ward: Ward) -> None:
    Shelves(ward).receive(code(TAP, "T77-0B1"), packs=9)
    circuit = ward.prime()
    notice = opens(ward)
    scopes(ward, notice, "T77-0B1")
    gives(ward, notice)
    ward.now += HOUR
    ward.take(circuit)
    ward.flow_on(circuit)
    ward.now += timedelta(days=3)
    asks(ward, notice, "T77-0B1")
    scopes(ward, notice, "T99", version=1)
    one = tasks_of(ward, notice)[("Lot T77-0B1", "quarantine")].id
    says(ward, "pharmacist", notice, one, ending="done", due_on=date(2031, 6, 1))
    closes(ward, notice, anyway=True)
    with ward.services.writes.begin() as session:
        assert rebuild(session, ward.site.id).changed == ()
        kinds = set(session.scalars(select(LedgerEvent.kind)))
    assert {"notice-asked", "answer-given", "notice-task-said", "notice-closed"} <= kinds


def test_a_correction_after_an_answer_was_given_changes_it_and_is_named(ward: Ward) -> None:
    circuit = ward.begin()
    ward.scan(circuit, code(TAP, "T77-0B1"))
    with ward.reads() as reads:
        rows = select(LedgerEvent).where(LedgerEvent.kind == "part-placed")
        placed = reads.scalars(rows.order_by(LedgerEvent.number.desc())).first()
        assert placed is not None
        (part,) = json.loads(placed.body)["parts"]
    notice = opens(ward)
    scopes(ward, notice, "T77-0B1")
    gives(ward, notice)
    given = newest(ward, notice).number
    mended = Correct(
        sent=ward.at("consultant").sent(),
        of=placed.number,
        reason="other",
        parts=(UUID(part["part"]),),
        state="recorded",
        product_id=UUID(part["product"]),
        lot="T78",
    )
    number = correct(mended, site=ward.site).last_no
    asks(ward, notice, "T77-0B1")
    assert _why(ward, notice, given) == {(ward.number(circuit), "gone", "entries")}
    with ward.reads() as reads:
        before = asking_of(reads, ward.site.id, notice, given)
        assert before is not None
        _, (changed,) = changes_since(reads, ward.site.id, notice, before, newest(ward, notice))
    assert [entry.number for entry in changed.entries] == [number]
