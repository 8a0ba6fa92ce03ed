"""A notice from its letter to its closing, as the people of the unit see it."""

import json
import re
from pathlib import Path

from playwright.sync_api import Browser, expect

from tests.browser.person import Person, person
from tests.browser.unit import GS, LATER, TAP, Unit, by, gs1, key, sent
from tests.notices.answering import by_lot
from traceability.actions.circuit.add_part import AddPart, add_part
from traceability.actions.lists.people import SetPerson, set_person
from traceability.actions.run.flow import FlowOn, flow_on
from traceability.actions.stock.receive import ReceiveStock, receive_stock
from traceability.domain.moments import Manner
from traceability.reads.circuits import circuit_facts

NAMES = {"standard": "gs1", "identifier": TAP, "name": "three-way tap", "maker": "Oskerby Devices"}


def scope(*lots: str) -> str:
    """Return a scope as the pages of scopes send it."""
    clause = {"products": [NAMES], "tests": [{"test": "lots", "texts": list(lots)}]}
    return json.dumps({"any_of": [clause]})


def posts_the_scope(one: Person, *lots: str, version: int) -> None:
    """Send what the pages of scopes send at their end."""
    one.page.evaluate(
        """([scope, version]) => {
          const form = document.createElement("form");
          form.method = "post"; form.action = location.pathname + "/scope";
          const fields = { scope, read_version: version, source: "Pasted, 2 rows", at: "",
                           request_id: crypto.randomUUID() };
          for (const [name, value] of Object.entries(fields)) {
            const field = document.createElement("input");
            field.type = "hidden"; field.name = name; field.value = value; form.append(field);
          }
          document.body.append(form); form.submit();
        }""",
        [scope(*lots), str(version)],
    )
    one.page.wait_for_load_state()
    expect(one.page.locator("main")).to_contain_text(f"Version {version + 1}")


def taps_come_in(unit: Unit, lot: str, pieces: int) -> None:
    asked = ReceiveStock(
        sent=by("S. Berg"),
        text=gs1(TAP, lot),
        packs=pieces,
        place_id=key("B1"),
        at=unit.services.now(),
    )
    receive_stock(asked, site=unit.site)


def goes_to_a_patient(unit: Unit, number: str) -> None:
    with unit.services.reads() as reads:
        circuit = circuit_facts(reads, unit.site.id, number, unit.services.now())
    assert circuit is not None
    asked = FlowOn(
        sent=by("J. Ruiz"), circuit_id=circuit.id, at=unit.services.now(), manner=Manner.ANYWAY
    )
    flow_on(asked, site=unit.site)


def ends(one: Person, subject: str, what: str, words: str = "") -> None:
    """Tick every open task of a subject and say how they ended."""
    section = one.page.locator(f"section#{subject}")
    for box in section.locator("tr:not(.ended) input[type=checkbox]").all():
        box.check()
    section.locator("select[name=do]").select_option(label=what)
    if words:
        section.get_by_label("Why, who decided, where").fill(words)
    with one.page.expect_navigation():
        section.get_by_role("button", name="Record it").click()


def test_a_notice_from_its_letter_to_its_closing(  # noqa: PLR0915 - one story, told whole
    unit: Unit, base: str, chromium: Browser, seen: Path
) -> None:
    unit.services.answering = by_lot
    taps_come_in(unit, "T77-0B1", 12)
    mounted, _ = unit.ready_circuit()  # lots of its taps were not recorded
    away, _ = unit.ready_circuit()
    goes_to_a_patient(unit, away)
    with person(chromium, base, seen) as one:
        one.signs_in("N. Aalto")
        one.page.get_by_role("link", name="Notices").click()
        one.reads("No open notice.")
        one.looks("notices-none")
        one.page.get_by_role("link", name="A letter came").click()
        one.fills(
            title="Three-way tap TAP3, leak at the handle",
            sender="Oskerby Devices",
            reference="OD-26-07",
            stated_class="urgent, class II",
            text="Stop using these lots.\nSend them back.",
            rule="correction-maker",
        )
        one.page.locator("#files").set_input_files(
            {"name": "letter.pdf", "mimeType": "application/pdf", "buffer": b"%PDF-1.7 letter"}
        )
        one.looks("notice-new")
        one.presses_the_main_button()
        one.page.wait_for_url(re.compile("/notices/N-0001$"))
        one.reads("10 work days left")
        one.reads("Nobody has said it yet.")
        expect(one.page.get_by_role("link", name="Enter the scope")).to_have_attribute(
            "href", "/scope?notice=N-0001"
        )
        posts_the_scope(one, "T77-0B1", version=0)
        one.reads("Lot T77-0B1 of three-way tap, Oskerby Devices, code 09521234000013.")
        one.reads("12 pieces in stock")
        one.reads("0 of 1 done")
        one.looks("notice")

        one.page.get_by_role("link", name="Stock first").click()
        one.reads("Leaves 1 of 2 ready")
        one.looks("notice-stock")
        one.presses_the_main_button()
        one.reads("on hold")
        expect(one.page.get_by_role("button", name="Hold all of it")).to_have_count(0)
        status, kind, data = one.fetches("/notices/N-0001/pick.pdf")
        assert (status, kind, data[:5]) == (200, "application/pdf", b"%PDF-")

        one.opens("/notices/N-0001")
        one.page.get_by_label("The answer was given to").fill("Oskerby Devices, by mail")
        one.page.get_by_role("button", name="Record that it was given").click()
        one.reads("to Oskerby Devices, by mail")

        # The notice grows; two circuits hold the new lot.
        for number in (mounted, away):
            _swap_in(unit, number, "T78-0B1")
        posts_the_scope(one, "T77-0B1", "T78-0B1", version=1)
        one.reads(re.compile(r"The answer changed since it was last given: \d rows?"))
        one.reads("the notice was amended, and later entries touch it")
        one.reads("1 primed circuit is in this answer and on the shelf")
        one.looks("notice-grown")
        one.page.get_by_role("button", name="I have looked at it").click()
        expect(one.page.locator("main")).not_to_contain_text("The answer changed since")
        one.opens("/")
        one.reads("named by notice N-0001")
        one.looks("shelf-with-a-flag")
        one.opens("/notices/N-0001/answer")
        one.looks("notice-answer")

        one.opens("/notices/N-0001/tasks")
        one.looks("notice-tasks")
        ends(one, "circuit", "Stays, monitored")
        one.reads("choose one of")  # a primed circuit is held, or not: another end than a run's
        one.page.go_back()
        section = one.page.locator("section#circuit")
        section.get_by_role("checkbox", name=re.compile(mounted)).check()
        section.get_by_role("checkbox", name=re.compile(away)).uncheck()
        section.locator("select[name=do]").select_option(label="Held")
        with one.page.expect_navigation():
            section.get_by_role("button", name="Record it").click()
        expect(one.page.locator("section#circuit")).to_contain_text("on hold")
        ends(one, "circuit", "Stays, monitored")
        ends(one, "run", "Family told")
        ends(one, "stock", "Return: done")
        one.reads(re.compile(r"(\d) of \1 done"))
        one.opens("/")
        expect(one.page.locator("main")).not_to_contain_text("named by notice")

        one.opens("/notices/N-0001")
        one.page.get_by_label("The answer was given to").fill("Oskerby Devices, by mail")
        one.page.get_by_role("button", name="Record that it was given").click()
        one.page.get_by_role("button", name="Make a reply").click()
        one.reads("reply by lot, 2 lots")
        one.unfolds()
        one.page.get_by_label("Outcome").select_option(label="Worked off")
        one.page.get_by_label("In words").fill("All taps went back.")
        with one.page.expect_navigation():
            one.page.get_by_role("button", name="Close it").click()
        one.reads("Closed: Worked off. All taps went back.")
        one.looks("notice-closed")
        one.opens("/notices")
        one.reads("No open notice.")
        one.looks("notices")
        assert [each for each in one.troubles if "422" not in each] == []


def _swap_in(unit: Unit, number: str, lot: str) -> None:
    """A tap of the lot goes into a circuit, as one more piece."""
    with unit.services.reads() as reads:
        circuit = circuit_facts(reads, unit.site.id, number, unit.services.now())
    assert circuit is not None
    asked = AddPart(
        sent=by("J. Ruiz"),
        circuit_id=circuit.id,
        at=unit.services.now(),
        text=f"]d201{TAP}10{lot}{GS}17{LATER}",
    )
    add_part(asked, site=unit.site)


def test_a_primed_circuits_page_says_which_notice_names_it(
    unit: Unit, base: str, chromium: Browser, seen: Path
) -> None:
    unit.services.answering = by_lot
    number, _ = unit.ready_circuit()
    _swap_in(unit, number, "T78-0B1")
    with person(chromium, base, seen) as one:
        one.signs_in("N. Aalto", "/notices/new")
        one.fills(title="Taps", sender="Oskerby Devices")
        one.presses_the_main_button()
        one.page.wait_for_url(re.compile("/notices/N-0001$"))
        posts_the_scope(one, "T78-0B1", version=0)
        one.opens(f"/circuits/{number}")
        one.reads("Named by notice N-0001")
        one.looks("circuit-with-a-flag")
        assert one.troubles == []


def test_the_auditor_sees_the_exceptions_of_a_period_and_work_days_are_set_by_hand(
    unit: Unit, base: str, chromium: Browser, seen: Path
) -> None:
    roles = ("charge consultant", "recall coordinator", "auditor")
    auditor = SetPerson(
        sent=sent("auditor"), person_id=key("N. Aalto"), name="N. Aalto", roles=roles
    )
    set_person(auditor, site=unit.site)
    number, tag = unit.ready_circuit()
    with person(chromium, base, seen) as one:
        one.opens("/take")
        one.enrols(unit.enrol_code())
        one.opens("/take")
        one.scans(tag)  # nobody is signed in
        one.reads("R-0001")
        one.signs_in("N. Aalto", "/lists")
        one.page.get_by_role("link", name="Exceptions").click()
        one.reads("Acts that nobody has put a name to: 1")
        one.reads(number)
        one.looks("exceptions")
        one.fills(**{"from": "2020-01-01", "to": "2020-01-31"})
        one.presses_the_main_button()
        one.reads("Exceptions, 2020-01-01 to 2020-01-31")
        expect(one.page.locator("main")).not_to_contain_text(number)
        one.opens("/work-days")
        one.page.get_by_label("Holidays").fill("2031-12-25\n2031-12-26")
        one.page.get_by_label("Friday").check()
        one.presses_the_main_button()
        one.reads("Version 1.")
        expect(one.page.get_by_label("Friday")).to_be_checked()
        one.looks("work-days")
        assert one.troubles == []
