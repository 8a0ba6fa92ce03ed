"""The first day: site, devices, people, places, products, circuit types and policy."""

from typing import Final

from traceability.actions.lists.devices import SetDevice, new_enrol_code, set_device
from traceability.actions.lists.people import IssueBadge, SetPerson, issue_badge, set_person
from traceability.actions.lists.products import Level, SetProduct, set_product
from traceability.actions.lists.sheets import SetSheet, set_sheet
from traceability.actions.lists.site import (
    SetPlace,
    SetPolicy,
    SiteFacts,
    set_place,
    set_policy,
    set_up_site,
)
from traceability.actions.once import Sent
from traceability.domain.use_by import Limits
from traceability.security.pins import CHEAP_HASHER, hash_pin
from traceability.security.roles import service_device
from traceability.wiring import Services

from .beside import register
from .catalogue import Product, sheets
from .hospital import (
    DESK,
    NAME,
    PEOPLE,
    PIN,
    RING,
    SCREENS,
    SITE_ID,
    STANDS,
    UNIT,
    VENN,
    WAHL,
    Colleague,
)
from .stage import Stage, Story

FIRST_LIMIT_DAYS: Final = 9
"""The unit's own limit in the first year; then it took over the default."""


def set_up(stage: Stage, services: Services, products: dict[str, Product]) -> None:
    """Make the empty store the hospital's, and open the stage for it."""
    site = services.site_of(SITE_ID, stage.clock)
    facts = SiteFacts(name=NAME, unit=UNIT, ring=RING, practice=services.settings.practice)
    set_up_site(facts, site=site)
    stage.open(services)
    _devices(stage)
    _people(stage)
    _places(stage)
    _products(stage, products)
    _sheets(stage)
    register(stage)
    set_limit(stage, FIRST_LIMIT_DAYS, read_version=1, sent=_by_service(stage))


def set_limit(stage: Stage, days: int, *, read_version: int, sent: Sent | None = None) -> None:
    """Set how long a wet, closed circuit may stand."""
    limits = Limits()
    asked = SetPolicy(
        sent=sent or stage.sent(DESK, VENN),
        wet_closed_days=days,
        dry_days=limits.dry_days,
        wet_open_days=limits.wet_open_days,
        blood_minutes=round(limits.blood_hours * 60),
        opened_fluid_minutes=None,
        parts_expiry_counts=limits.parts_expiry_counts,
        read_version=read_version,
    )
    set_policy(asked, site=stage.site)


def wahl_leaves(stage: Stage) -> Story[None]:
    """Somebody leaves: signs no more, and what was signed stays."""
    _person(stage, WAHL, active=False)
    yield stage.minutes(0, 0)


def _by_service(stage: Stage) -> Sent:
    return Sent(device_id=service_device(SITE_ID), actor_id=None, request_id=stage.new_id())


def _devices(stage: Stage) -> None:
    for screen in SCREENS:
        asked = SetDevice(
            sent=_by_service(stage),
            set_id=screen.id,
            name=screen.name,
            place=screen.place,
            enrolled=True,
        )
        set_device(asked, site=stage.site)
        new_enrol_code(screen.id, site=stage.site, expires_at=None, code=screen.enrol_code)


def _people(stage: Stage) -> None:
    for colleague in PEOPLE:
        _person(stage, colleague, active=True)
        asked = IssueBadge(
            sent=_by_service(stage),
            person_id=colleague.id,
            badge_code=colleague.badge,
            pin_hash=hash_pin(PIN, CHEAP_HASHER),
        )
        issue_badge(asked, site=stage.site)


def _person(stage: Stage, colleague: Colleague, *, active: bool) -> None:
    asked = SetPerson(
        sent=_by_service(stage),
        person_id=colleague.id,
        name=colleague.name,
        roles=colleague.roles,
        active=active,
    )
    set_person(asked, site=stage.site)


def _places(stage: Stage) -> None:
    for number, stand in enumerate(STANDS, start=1):
        asked = SetPlace(
            sent=_by_service(stage),
            place_id=stand.id,
            code=stand.code,
            name=stand.name,
            place_kind=stand.kind,
            stands_for=stand.stands_for,
            sort=number,
        )
        set_place(asked, site=stage.site)


def _products(stage: Stage, products: dict[str, Product]) -> None:
    for product in products.values():
        cartons = [Level(identifier=product.carton, units=product.carton_units)]
        asked = SetProduct(
            sent=_by_service(stage),
            standard=product.standard,
            identifier=product.identifier,
            name=product.name,
            maker=product.maker,
            part_kind=product.kind,
            item_number=product.item_number,
            substance=product.substance,
            volume_ml=product.volume_ml,
            circuit_type=product.circuit_type,
            counted=product.counted,
            levels=cartons if product.carton else (),
        )
        set_product(asked, site=stage.site)


def _sheets(stage: Stage) -> None:
    for sheet in sheets():
        asked = SetSheet(
            sent=_by_service(stage),
            circuit_type=sheet.circuit_type,
            way=sheet.way,
            fill_ml=sheet.fill_ml,
            coating=sheet.coating,
            slots=sheet.slots,
            read_version=0,
        )
        set_sheet(asked, site=stage.site)
