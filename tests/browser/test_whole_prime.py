"""A whole prime of 25 parts by keys alone: no mouse, and nothing typed but scans and PINs."""

import re
from pathlib import Path

from playwright.sync_api import Browser, expect

from tests.browser.person import Person, person
from tests.browser.unit import (
    BAG,
    LATER,
    PACK,
    PIN,
    SALINE,
    SITE,
    SYRINGE,
    TAP,
    TYPE,
    Unit,
    badge,
    by,
    card,
    gs1,
    key,
    sent,
)
from traceability.actions.lists.people import IssueBadge, issue_badge
from traceability.actions.lists.products import Level, SetProduct, set_product
from traceability.actions.lists.sheets import SetSheet, set_sheet
from traceability.domain.act_cards import Act
from traceability.domain.sheets import Need, Slot, Where
from traceability.domain.tags import badge_symbol, place_symbol, site_code
from traceability.identifiers.checks import gs1_check
from traceability.security.pins import CHEAP_HASHER, hash_pin


def gtin(item: int) -> str:
    """Return a GTIN under 952, GS1's prefix for demonstrations."""
    bare = f"0952123400{item:03}"
    return bare + gs1_check(bare)


FILTER, CONNECTOR, CAP, RESERVOIR = (gtin(item) for item in (301, 302, 303, 304))
CONNECTOR_CARTON = "1" + CONNECTOR[1:13] + gs1_check("1" + CONNECTOR[1:13])
INSIDE = {
    "drainage": ("Drainage line", "line", Where.DRAINAGE, 1),
    "inlet": ("Pump inlet connector", "inlet", Where.DRAINAGE, 1),
    "pump": ("Pump head", "pump-head", Where.PUMP, 1),
    "link": ("Line to the oxygenator", "line", Where.LINK, 1),
    "oxygenator": ("Oxygenator", "oxygenator", Where.OXYGENATOR, 1),
    "return": ("Return line", "line", Where.RETURN, 1),
}
LOOSE = {
    "tap-link": ("Tap before the oxygenator", "tap", Where.LINK, 2),
    "tap-return": ("Tap after the oxygenator", "tap", Where.RETURN, 3),
    "connectors": ("Straight connector", "connector", Where.RETURN, 4),
    "caps": ("Cap", "cap", Where.RETURN, 5),
    "filter": ("Gas filter 0.2 micron", "gas-filter", Where.GAS, 1),
}


CARTON = (Level(identifier=CONNECTOR_CARTON, units=50),)


def sheet_of_25() -> tuple[Slot, ...]:
    """Return a sheet of 25 counted parts: 6 in the pack, 15 on the path, 2 bags, 2 on the tray."""
    slots = [Slot(id="pack", name="Circuit pack", kind="circuit-pack", where=Where.PACK)]
    for inside, rows in ((True, INSIDE), (False, LOOSE)):
        slots += [
            Slot(id=id_, name=name, kind=kind, where=where, count=count, inside_pack=inside)
            for id_, (name, kind, where, count) in rows.items()
        ]
    bag = Slot(id="saline", name=SALINE, kind="fluid", where=Where.FLUID, count=2, substance=SALINE)
    syringe = Slot(id="syringe", name="Syringe", kind="syringe", where=Where.TRAY, leaves=True)
    reservoir = Slot(id="bag", name="Prime bag", kind="prime-bag", where=Where.TRAY, leaves=True)
    ties = Slot(id="ties", name="Cable ties", kind="tie", where=Where.TRAY, need=Need.TICK, count=6)
    return (*slots, bag, syringe, reservoir, ties)


def stocks(unit: Unit) -> None:
    """Enter the sheet and what it asks for."""
    for identifier, name, kind, levels in (
        (FILTER, "Gas filter 0.2 micron", "gas-filter", ()),
        (
            CONNECTOR,
            "Straight connector",
            "connector",
            (Level(identifier=CONNECTOR_CARTON, units=50),),
        ),
        (CAP, "Cap", "cap", ()),
        (RESERVOIR, "Prime bag", "prime-bag", ()),
        (SYRINGE, "Syringe 50 ml", "syringe", ()),
    ):
        asked = SetProduct(
            sent=sent(f"of 25 {identifier}"),
            standard="gs1",
            identifier=identifier,
            name=name,
            maker="Oskerby Devices",
            part_kind=kind,
            levels=levels,
        )
        set_product(asked, site=unit.site)
    sheet = SetSheet(
        sent=sent("sheet of 25"),
        circuit_type=TYPE,
        way="wet-closed",
        fill_ml=1500,
        slots=sheet_of_25(),
        read_version=1,
    )
    set_sheet(sheet, site=unit.site)


WATCH_HANDS = """
window.hands = [];
for (const kind of ["pointerdown", "mousedown", "touchstart"])
  addEventListener(kind, () => window.hands.push(kind), true);
"""


def signs(one: Person, text: str, part: str) -> None:
    """Scan a badge, type the PIN."""
    expect(one.page.get_by_role("button", name=f"Sign as {part}")).to_be_visible()
    one.scans(text)
    one.types(PIN)
    with one.page.expect_navigation():
        one.page.keyboard.press("Enter")


def begins(one: Person) -> str:
    """Scan where it will stand and the card of the next step."""
    one.signs_in("J. Ruiz", then="/prime")
    one.scans(gs1(PACK, "PK26-104"))
    one.reads("Nothing was added: this prime has not begun.")
    one.scans(place_symbol(site_code(SITE), "C3"))
    one.scans(card(Act.NEXT))
    one.page.wait_for_url(re.compile(r"/prime/C-\d+$"))
    return one.page.url.rsplit("/", 1)[1]


def counts_the_parts(one: Person) -> None:
    """Scan, count, take the same again, join two symbols; until 25 are in."""
    one.scans(gs1(PACK, "PK26-104"))
    one.counts(6)
    one.scans(gs1(TAP, "T77-0B1"))
    one.scans(card(Act.COUNT))
    one.sees("Look again", "How many more of the last one?")
    one.scans(card("COUNT-3"))
    one.counts(10)
    one.scans(gs1(TAP, "T81-002"))
    one.sees("Accepted")  # one place is left: nothing to ask
    one.scans(gs1(CONNECTOR_CARTON, "K4"))
    one.sees("Look again", "A carton of 50. How many go in?")
    one.scans(card("COUNT-4"))
    one.counts(15)
    one.scans(gs1(CAP, "CP9"))
    for _ in range(4):
        one.scans(card(Act.SAME))
    one.counts(20)
    one.scans(gs1(FILTER, "F5"))
    one.scans(f"]C101{SYRINGE}")
    one.sees("Look again", "Lot is not in this code")
    one.scans(f"]C117{LATER}10SY0B40")  # the second symbol of the same pack
    one.sees("Accepted")
    one.scans(gs1(RESERVOIR, "R2"))
    one.scans(gs1(BAG, "4K0O17I1"))
    one.scans(card(Act.SAME))
    one.counts(25)


def ends(one: Person) -> None:
    """Tick the ties, and go on to the signatures."""
    next_step = one.page.locator("[data-next]")
    expect(next_step).to_contain_text("Missing: 6 × Cable ties")
    expect(next_step).not_to_have_class(re.compile(r"\bmain\b"))
    one.scans(card(Act.TICK))
    expect(next_step).to_contain_text("Nothing is missing")
    expect(next_step).to_have_class(re.compile(r"\bmain\b"))
    one.scans(card(Act.NEXT))
    one.page.wait_for_url(re.compile(r"/end$"))
    one.scans(card(Act.NEXT))
    one.page.wait_for_url(re.compile(r"/sign$"))


def test_25_parts_by_keys_alone(unit: Unit, base: str, chromium: Browser, seen: Path) -> None:
    stocks(unit)
    with person(chromium, base, seen) as one:
        one.context.add_init_script(WATCH_HANDS)
        number = begins(one)
        counts_the_parts(one)
        ends(one)
        signs(one, badge("E. Lind"), "primer")
        one.reads("Two different people sign.")
        second = IssueBadge(
            sent=by("S. Berg"),
            person_id=key("E. Lind"),
            badge_code="LIND8K",
            pin_hash=hash_pin(PIN, CHEAP_HASHER),
        )
        issue_badge(second, site=unit.site)
        signs(one, badge_symbol("LIND8K"), "helper")
        one.reads("E. Lind cannot sign both")
        one.opens(f"/circuits/{number}")
        one.reads("Awaiting signatures")
        status, kind, _ = one.fetches(f"/circuits/{number}/tag.png")
        assert (status, kind) == (200, "image/png"), "its tag prints all the same"
        one.opens(f"/circuits/{number}/sign")
        signs(one, badge("J. Ruiz"), "helper")
        one.page.wait_for_url(re.compile(rf"/circuits/{number}$"))
        one.reads("Ready")
        assert one.page.evaluate("window.hands") == [], "no mouse, no touch"
        refused = [each for each in one.troubles if "422" in each or "409" in each]
        assert len(one.troubles) == len(refused) <= 1, one.troubles
    lots = unit.lots_in(number)
    assert len(lots) == 1 + 25 - 6, "the pack itself, and all but what lies in it"
    assert set(lots) == {
        *("PK26-104", "T77-0B1", "T81-002", "K4", "CP9", "F5", "SY0B40", "R2", "4K0O17I1")
    }
