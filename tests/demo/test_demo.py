"""The invented hospital: whole, deterministic, and as its papers say."""

import json
import re
import shutil
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import select

from demo_data.catalogue import carton_code, code_of, products
from demo_data.history import SEED, first_day
from demo_data.hospital import (
    BOX_3,
    CONSOLE_3,
    PEOPLE,
    PIN,
    RUIZ,
    SCREENS,
    SITE_ID,
    TROLLEY_2,
    WAHL,
)
from demo_data.stock import LOOK_ALIKE_LOT, NOTICE_LOT
from tests.recall.asking import confirmed, may_be, numbers
from traceability.actions.lists.devices import enrol
from traceability.actions.once import Sent
from traceability.actions.prime.scan import ScanPart, scan_part
from traceability.domain.circuits import State
from traceability.domain.keys import product_key
from traceability.errors import WrongCredentials
from traceability.identifiers.interpret import interpret
from traceability.identifiers.reading import Status
from traceability.reads.can_prime import can_prime
from traceability.reads.shelf import shelf
from traceability.reads.stock import stock
from traceability.reads.trolley import trolley
from traceability.recall.answer import answer
from traceability.recall.question import question_of, scope_of
from traceability.settings import Settings
from traceability.storage.items import Lot
from traceability.storage.ledger import LedgerEvent, first_break
from traceability.storage.rebuild import rebuild
from traceability.wiring import Services, wire

TODAY = datetime(2026, 11, 25, tzinfo=UTC).date()
README = Path(__file__).parents[2] / "demo_data" / "README.md"


@pytest.fixture
def plan(demo_folder: Path) -> dict[str, Any]:
    told: dict[str, Any] = json.loads((demo_folder / "plan.json").read_text(encoding="utf-8"))
    return told


def test_the_plan_has_what_a_unit_sees_in_two_years(plan: dict[str, Any]) -> None:
    print(f"made in {plan['wall_s']:.0f} s, {plan['processor_s']:.0f} s of them on the processor")
    assert 130 <= len(plan["primes"]) <= 170
    assert 38 <= len(plan["runs"]) <= 48
    assert plan["in_order"]
    assert plan["told"][-1][0] in {729, 730}
    for what in (
        "change-out",
        "swap",
        "discarded: past-use-by",
        "a tap was dropped",
        "a lot was not readable",
        "a wrong fluid was stopped",
        "a short-dated bag was kept",
        "the consultant went past a hold",
        "the prime was stopped",
        "lots were not recorded",
        "transferred in",
        "transferred out",
        "came back unused",
        "take withdrawn",
        "flow on entered late",
        "flow on not recorded",
        "stock received",
        "stock counted",
        "stock moved",
        "stock taken out",
        "drill of the week",
        "drill for people",
    ):
        assert plan["acts"].get(what), what


def test_the_chain_is_whole_and_time_only_went_forward(services: Services) -> None:
    with services.reads() as session:
        assert first_break(session, SITE_ID) is None
        events = session.execute(
            select(LedgerEvent.recorded_at, LedgerEvent.body).order_by(LedgerEvent.number)
        ).all()
    assert [each.recorded_at for each in events] == sorted(each.recorded_at for each in events)
    assert not any("clock_set_back_from" in each.body for each in events)


def test_a_rebuild_changes_nothing(services: Services) -> None:
    with services.writes() as session:
        found = rebuild(session, SITE_ID)
        session.rollback()
    assert found.changed == ()
    assert found.events > 3000


@pytest.mark.parametrize("product", products().values(), ids=lambda product: product.key)
def test_every_product_carries_an_identifier_that_its_standard_accepts(product: Any) -> None:
    expiry = TODAY + timedelta(days=300)
    for code in (code_of(product), code_of(product, lot="T77-0B1", expiry=expiry)):
        reading = interpret(code.text, symbology_identifier=code.symbology_identifier, today=TODAY)
        assert reading.status is Status.OK, reading.reason_codes
        assert (reading.standard, reading.device_identifier) == (
            product.standard,
            product.identifier,
        )
    assert (reading.lot, reading.expiry) == ("T77-0B1", expiry)
    if product.carton:
        code = carton_code(product, lot="T77-0B1", expiry=expiry)
        reading = interpret(code.text, symbology_identifier=code.symbology_identifier, today=TODAY)
        assert (reading.status, reading.device_identifier) == (Status.OK, product.carton)


def test_the_shelf_shows_a_real_morning(services: Services, plan: dict[str, Any]) -> None:
    now = datetime.fromisoformat(plan["ends"])
    with services.reads() as session:
        found = shelf(session, SITE_ID, now)
        under_way = trolley(session, SITE_ID, found.priming[0].number, TROLLEY_2.id)
    assert (found.ready, found.target) == (1, 2)
    at = {each.place.name: each for each in found.required}
    assert at[BOX_3.name].circuit is not None
    assert at[CONSOLE_3.name].circuit is None
    missing_since = at[CONSOLE_3.name].missing_since
    assert missing_since is not None
    assert timedelta(hours=7.9) < now - missing_since < timedelta(hours=8.1)
    assert sorted((each.circuit.place, each.circuit.state) for each in found.elsewhere) == [
        ("box 1", State.ON_HOLD),
        ("trolley 1", State.AWAITING_SIGNATURES),
    ]
    assert (len(found.priming), len(found.on_patient), len(found.away)) == (1, 1, 0)
    assert under_way is not None
    assert (under_way.recorded, under_way.of) == (16, 18)


def test_the_shelves_stand_as_the_paper_says(services: Services, plan: dict[str, Any]) -> None:
    now = datetime.fromisoformat(plan["ends"])
    zone = services.settings.zone_info
    with services.reads() as session:
        products_there = stock(session, SITE_ID, now, zone)
        adult = next(
            each
            for each in can_prime(session, SITE_ID, now, zone, weeks=8)
            if each.circuit_type == "Adult 3/8"
        )
    levels = [level for product in products_there for level in product.levels]
    assert adult.primes is not None
    assert adult.primes.count == 3
    assert [need.name for need in adult.needs if need.limits] == ["Circuit pack Adult 3/8"]
    assert next(need.to_order for need in adult.needs if need.limits) > 0
    assert next(need.too_short for need in adult.needs if need.kind == "gas-line") == 4
    assert [(each.lot, each.quantity) for each in levels if each.hold] == [(NOTICE_LOT, 17)]
    assert [each.name for each in products_there if each.to_count] == ["CO₂ filter 0.2 µm"]


@pytest.mark.parametrize("lot", [NOTICE_LOT, LOOK_ALIKE_LOT])
def test_recall_finds_the_circuits_of_the_plan(
    services: Services, plan: dict[str, Any], lot: str
) -> None:
    tap = products()["tap"]
    tap_id = product_key(tap.standard, tap.identifier, site_id=SITE_ID)
    with services.reads() as session:
        question = question_of(session, [], [(tap_id, lot)])
        assert question is not None
        found = answer(
            session,
            scope_of(question),
            zone=services.settings.zone_info,
            now=datetime.fromisoformat(plan["ends"]),
        )
    sure = confirmed(found)
    assert sorted(numbers(sure)) == plan["tap_lots"][lot]
    # The foreign circuit, whose contents nobody recorded, is never excluded.
    assert "X-0001" in numbers(may_be(found))
    assert sum(row.going_on for row in sure) == (lot == NOTICE_LOT)


def test_the_notice_s_lot_is_in_as_many_circuits_as_the_paper_says(plan: dict[str, Any]) -> None:
    assert "It is in ten circuits" in README.read_text(encoding="utf-8").replace("\n  ", " ")
    assert len(plan["tap_lots"][NOTICE_LOT]) == 10


def test_badges_pins_and_device_codes_are_those_of_the_paper(
    demo_folder: Path, tmp_path: Path
) -> None:
    shutil.copytree(demo_folder, tmp_path / "copy")
    services = wire(Settings(var_dir=tmp_path / "copy"))
    door = services.door()
    text = README.read_text(encoding="utf-8")
    pin = re.search(r"PIN is \*\*(\d+)\*\*", text)
    assert pin is not None
    assert pin[1] == PIN
    badges = dict(re.findall(r"^\| ([A-Z]+) \| ([A-Z]\. \w+) \|", text, re.MULTILINE))
    assert badges == {each.badge: each.name for each in PEOPLE if each is not WAHL}
    for colleague in PEOPLE:
        if colleague is WAHL:
            with pytest.raises(WrongCredentials):
                door.check(colleague.badge, pin[1], SCREENS[0].id)
        else:
            assert door.check(colleague.badge, pin[1], SCREENS[0].id) == colleague.id
    codes = dict(re.findall(r"^\| ([\w ]+) \| (NSH2-\w{4}) \|", text, re.MULTILINE))
    assert len(codes) == len(SCREENS)
    for screen in SCREENS:
        request_id = services.site.new_id(services.now())
        token = door.digest(screen.name)
        enrolled = enrol(codes[screen.name], token, site=services.site, request_id=request_id)
        assert enrolled == screen.id
    services.close()


def test_what_the_paper_says_to_paste_comes_to_what_it_says(
    demo_folder: Path, tmp_path: Path
) -> None:
    shutil.copytree(demo_folder, tmp_path / "copy")
    services = wire(Settings(var_dir=tmp_path / "copy"))
    with services.reads() as session:
        under_way = shelf(session, SITE_ID, services.now()).priming[0]
    text = README.read_text(encoding="utf-8")
    pasted = re.findall(r"^\| `(\]d2[^`]+)` \| (.+) \|$", text, re.MULTILINE)
    came_to = {}
    for code, said in pasted:
        asked = ScanPart(
            sent=Sent(
                device_id=TROLLEY_2.id,
                actor_id=RUIZ.id,
                request_id=services.site.new_id(services.now()),
            ),
            circuit_id=under_way.id,
            text=code,
            at=services.now(),
        )
        done = scan_part(asked, site=services.site)
        came_to[said] = (done.verdict, done.code)
    services.close()
    assert came_to == {
        "sodium chloride 0.9 %, 1 L: the bag that is missing": ("accepted", "placed"),
        "sodium chloride 3 %: stop": ("stop", "wrong-fluid"),
        "a tap of the lot on hold: stop": ("stop", "on-hold"),
        "the syringe that is missing": ("accepted", "placed"),
    }


def test_the_same_seed_tells_the_same_story(tmp_path: Path) -> None:
    ends = datetime(2026, 11, 25, 9, 30, tzinfo=UTC)
    stories = [_sixty_days(tmp_path / name, ends, SEED) for name in ("one", "two")]
    assert stories[0] == stories[1]
    assert len(stories[0]) > 300
    assert _sixty_days(tmp_path / "other", ends, SEED + 1) != stories[0]


def _sixty_days(folder: Path, ends: datetime, seed: int) -> list[object]:
    """Return what happened when, and all lots; ids are random and left out."""
    folder.mkdir()
    services = wire(Settings(var_dir=folder))
    services.create_tables()
    ward = first_day(services, ends=ends, seed=seed)
    ward.stage.play(ward.stage.now + timedelta(days=60), lambda: None)
    with services.reads() as session:
        rows = select(
            LedgerEvent.kind,
            LedgerEvent.device_id,
            LedgerEvent.actor_id,
            LedgerEvent.happened_at,
            LedgerEvent.recorded_at,
        ).order_by(LedgerEvent.number)
        told: list[object] = [tuple(row) for row in session.execute(rows)]
        told += sorted(session.scalars(select(Lot.text)))
    services.close()
    return told + ward.chronicle.primes
