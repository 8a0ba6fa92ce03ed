"""What belongs to a run, recorded at the bedside by wedge: mode, cannula, machine, an extra tap."""

import re
from pathlib import Path

from playwright.sync_api import Browser, Page, expect

from tests.browser.person import Person, person
from tests.browser.unit import GS, LATER, PEOPLE, TAP, Unit, gs1, key, sent
from traceability.actions.lists.people import SetPerson, set_person
from traceability.actions.lists.products import SetProduct, set_product
from traceability.domain.tags import SymbolKind, site_code, write_symbol

CANNULA = "09521234000211"
HEATER = "09521234000242"


def with_products(unit: Unit) -> None:
    """Put a cannula and a heater-cooler into the list, and make E. Lind an engineer as well."""
    for identifier, name, kind in (
        (CANNULA, "Cannula 21 Fr", "cannula"),
        (HEATER, "Heater-cooler", "heater-cooler"),
    ):
        asked = SetProduct(
            sent=sent(identifier),
            standard="gs1",
            identifier=identifier,
            name=name,
            maker="Mellowick Perfusion",
            part_kind=kind,
        )
        set_product(asked, site=unit.site)
    roles = (*PEOPLE["E. Lind"][1], "biomedical engineer")
    engineer = SetPerson(
        sent=sent("engineer"), person_id=key("E. Lind"), name="E. Lind", roles=roles
    )
    set_person(engineer, site=unit.site)


def form(page: Page, action: str) -> None:
    """Open the form of an act and stand in its scan field, if it has one."""
    page.evaluate(
        """(end) => {
          const form = document.querySelector(`form[action$='${end}']`);
          form.closest("details")?.setAttribute("open", "");
          form.querySelector("[data-scan]")?.focus();
        }""",
        action,
    )


def scans_into(one: Person, action: str, text: str) -> None:
    """Scan into the form of an act; the field holds the whole code before anybody goes on."""
    form(one.page, action)
    one.scans(text)
    expect(one.page.locator(f"form[action$='{action}'] [data-scan]")).not_to_have_value("")


def registers_a_heater_cooler(one: Person) -> None:
    one.opens("/equipment")
    one.fills(
        kind="heater-cooler",
        asset_number="bme-7",
        serial="HC-0B1",
        maker="Mellowick Perfusion",
        model="Warm 4",
        serviced_on="2026-01-12",
    )
    one.presses_the_main_button()
    one.reads("BME-7")
    one.page.locator("form[action$='/move'] select").select_option(label="console 3")
    one.submits("move")
    one.reads("Stands in console 3.")


def test_a_run_from_its_mode_to_a_circuit_kept_for_inspection(
    unit: Unit, base: str, chromium: Browser, seen: Path
) -> None:
    with_products(unit)
    tag = unit.ready_circuit()[1]
    other, other_tag = unit.ready_circuit()
    with person(chromium, base, seen) as one:
        one.signs_in("E. Lind")
        registers_a_heater_cooler(one)
        one.looks("machine-new")
        one.opens("/take")
        one.scans(tag)
        one.reads("R-0001")
        one.opens("/runs/R-0001")
        one.page.get_by_role("button", name="Flow on now").click()
        records_what_is_beside_the_circuit(one, unit)
        swaps_and_changes(one, other_tag)
        one.looks("run-with-all")
        one.unfolds()
        one.looks("run-with-forms")
        one.opens("/runs/R-0001")
        one.submits("end")
        one.reads("Ended")
        keeps(one, other)
        looks_back(one)
        assert one.troubles == []


def records_what_is_beside_the_circuit(one: Person, unit: Unit) -> None:
    one.opens("/runs/R-0001")
    form(one.page, "/mode")
    one.page.locator("form[action$='/mode'] select").select_option("VV")
    one.submits("mode")
    one.reads("Mode VV since")
    form(one.page, "/part-in")
    one.page.locator("form[action$='/part-in'] [name=site]").select_option("right femoral vein")
    scans_into(one, "/part-in", gs1(CANNULA, "CN-0I7", serial="S1"))
    one.submits("part-in")
    one.reads("right femoral vein")
    scans_into(
        one, "/equipment-on", write_symbol(SymbolKind.PART, f"{site_code(unit.site.id)}.BME-7")
    )
    one.submits("equipment-on")
    one.reads("HC-0B1")
    scans_into(one, "/add-part", gs1(TAP, "TX-9"))
    one.submits("add-part")
    one.reads("Added at the bedside")
    one.reads("TX-9")
    one.looks("circuit-with-an-extra-tap")


def swaps_and_changes(one: Person, tag: str) -> None:
    one.opens("/runs/R-0001")
    form(one.page, "/swap")
    one.page.locator("form[action$='/swap'] select").select_option(label="Tap by the pump")
    scans_into(one, "/swap", gs1(TAP, "SW-1"))
    one.submits("swap")
    scans_into(one, "/change", tag)
    one.submits("change")
    one.reads("C-0002")


def keeps(one: Person, number: str) -> None:
    one.opens(f"/circuits/{number}")
    form(one.page, "/keep")
    one.page.locator("form[action$='/keep'] select").select_option(label="box 1")
    one.submits("keep")
    one.reads("Do not use it, and do not throw it away.")
    form(one.page, "/custody")
    one.page.locator("form[action$='/custody'] [name=to]").fill("K. Holm, engineering")
    one.page.locator("form[action$='/custody'] select").select_option("to-look-at")
    one.submits("custody")
    one.reads("K. Holm, engineering")
    one.looks("circuit-kept")


def looks_back(one: Person) -> None:
    one.opens("/equipment")
    one.looks("equipment")
    one.page.locator("main table a").first.click()
    expect(one.page.locator("main")).to_contain_text("R-0001")
    one.looks("machine")
    one.opens("/recall?q=cannula&lot=CN-0I7")
    one.reads(re.compile(r"1 patient met this lot outside a circuit"))
    one.looks("recall-of-the-cannula")


def test_a_second_claim_on_a_machine_is_told_and_kept(
    unit: Unit, base: str, chromium: Browser, seen: Path
) -> None:
    with_products(unit)
    tags = [unit.ready_circuit()[1] for _ in range(2)]
    heater = f"]d201{HEATER}17{LATER}21HC-1{GS}"
    with person(chromium, base, seen) as one:
        one.signs_in("E. Lind")
        for run, tag in enumerate(tags, start=1):
            one.opens("/take")
            one.scans(tag)
            one.reads(f"R-000{run}")
            one.opens(f"/runs/R-000{run}")
            scans_into(one, "/equipment-on", heater)
            one.submits("equipment-on")
        one.reads("is recorded on run R-0001")
        one.looks("machine-busy")
        one.page.get_by_role("button", name="Record it anyway").click()
        one.reads("disputed")
        # A browser complains of every page that is an answer of 422.
        assert [each for each in one.troubles if "422" not in each] == []


def test_blood_in_the_prime_is_given_on_its_own_page(
    unit: Unit, base: str, chromium: Browser, seen: Path
) -> None:
    number, _ = unit.ready_circuit()
    with person(chromium, base, seen) as one:
        one.signs_in("E. Lind")
        one.opens(f"/circuits/{number}/additive")
        one.fills(name="Red cells", dose="250", unit="ml")
        one.page.get_by_label("It is blood or a blood component").check()
        one.presses_the_main_button()
        one.reads("blood prime, 4")
        one.looks("additive")
        one.opens(f"/circuits/{number}")
        one.reads("Red cells, 250 ml")
        one.looks("circuit-with-blood")
        assert one.troubles == []
