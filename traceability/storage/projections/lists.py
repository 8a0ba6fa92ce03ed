"""The unit's lists: site, people, devices, places, policy, products, sheets."""

import json
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.domain.events import Kind, Plain, Recorded
from traceability.storage.circuits import Sheet
from traceability.storage.items import Packaging, Product, ProductKind
from traceability.storage.people import Device, Person
from traceability.storage.projections.registry import no_rows, projects
from traceability.storage.site import Place, Policy, Site, TagKey

projects(Kind.PIN_SET)(no_rows)


@projects(Kind.SITE_SET_UP)
def site_set_up(session: Session, event: Recorded) -> None:
    """Add or change the site."""
    session.merge(
        Site(
            site_id=event.site_id,
            name=event.text("name"),
            unit=event.text("unit"),
            ring=event.text("ring"),
            code=event.text("code"),
            practice=event.flag("practice"),
        )
    )


@projects(Kind.PERSON_SET)
def person_set(session: Session, event: Recorded) -> None:
    """Add or change a person; the badge stays."""
    person = session.get(Person, (event.site_id, event.key("person")))
    if person is None:
        person = Person(site_id=event.site_id, id=event.key("person"), badge_digest=None)
        session.add(person)
    person.name = event.text("name")
    person.roles = event.text("roles")
    person.active = event.flag("active")


@projects(Kind.BADGE_ISSUED)
def badge_issued(session: Session, event: Recorded) -> None:
    """Give a person a badge; the one before no longer works."""
    person = session.get_one(Person, (event.site_id, event.key("person")))
    person.badge_digest = event.text("badge_digest")


@projects(Kind.DEVICE_SET)
def device_set(session: Session, event: Recorded) -> None:
    """Add or change a device."""
    session.merge(
        Device(
            site_id=event.site_id,
            id=event.key("device"),
            name=event.text("name"),
            place=event.text("place"),
            owner=event.text("owner"),
            enrolled=event.flag("enrolled"),
            revoked=False,
            token_digest=event.text_or_none("token_digest"),
        )
    )


@projects(Kind.DEVICE_REVOKED)
def device_revoked(session: Session, event: Recorded) -> None:
    """A device may do nothing more."""
    device = session.get_one(Device, (event.site_id, event.key("device")))
    device.revoked, device.enrolled, device.token_digest = True, False, None


@projects(Kind.PLACE_SET)
def place_set(session: Session, event: Recorded) -> None:
    """Add or change a place."""
    session.merge(
        Place(
            site_id=event.site_id,
            id=event.key("place"),
            code=event.text("code"),
            name=event.text("name"),
            kind=event.text("kind"),
            stands_for=event.text_or_none("stands_for"),
            sort=event.number_of("sort"),
            active=event.flag("active"),
            wanted=event.number_of("wanted", 1),
            accepts=text_of(event.body.get("accepts", [])),
            least_left_minutes=event.number_of("least_left_minutes", 0),
        )
    )


@projects(Kind.TAG_KEY_SET)
def tag_key_set(session: Session, event: Recorded) -> None:
    """Believe another site's key, or no longer."""
    session.merge(
        TagKey(
            site_id=event.site_id,
            public_key=event.text("public_key"),
            name=event.text("name"),
            unit=event.text("unit"),
            code=event.text("code"),
            active=event.flag("active"),
            recorded_no=event.number,
        )
    )


@projects(Kind.POLICY_SET)
def policy_set(session: Session, event: Recorded) -> None:
    """Add a version of the policy."""
    session.add(
        Policy(
            site_id=event.site_id,
            version=event.number_of("version"),
            body=text_of(event.body["limits"]),
            set_at=event.happened_at,
            recorded_no=event.number,
        )
    )


@projects(Kind.PRODUCT_SET)
def product_set(session: Session, event: Recorded) -> None:
    """Add or change a product and its packaging levels."""
    product_id = event.key("product")
    session.merge(
        Product(
            site_id=event.site_id,
            id=product_id,
            standard=event.text("standard"),
            identifier=event.text("identifier"),
            name=event.text("name"),
            maker=event.text("maker"),
            item_number=event.text("item_number"),
            kind=event.text("kind"),
            substance=event.text("substance"),
            volume_ml=event.number_of("volume_ml") if event.body.get("volume_ml") else None,
            circuit_type=event.text("circuit_type"),
            counted=event.flag("counted"),
        )
    )
    session.flush()
    _follow_kind(session, event, product_id)
    for row in event.rows("packaging"):
        level = event.inner(row)
        session.merge(
            Packaging(
                site_id=event.site_id,
                standard=event.text("standard"),
                identifier=level.text("identifier"),
                product_id=product_id,
                units=level.number_of("units"),
            )
        )


def _follow_kind(session: Session, event: Recorded, product_id: UUID) -> None:
    """Keep the kind where it is another than the last one said."""
    said = select(ProductKind.kind).filter_by(site_id=event.site_id, product_id=product_id)
    if session.scalar(said.order_by(ProductKind.recorded_no.desc()).limit(1)) != event.text("kind"):
        session.add(
            ProductKind(
                site_id=event.site_id,
                product_id=product_id,
                recorded_no=event.number,
                kind=event.text("kind"),
            )
        )


@projects(Kind.SHEET_SET)
def sheet_set(session: Session, event: Recorded) -> None:
    """Add a version of a build sheet."""
    session.add(
        Sheet(
            site_id=event.site_id,
            circuit_type=event.text("circuit_type"),
            version=event.number_of("version"),
            body=text_of(event.body),
            recorded_no=event.number,
        )
    )


def text_of(value: Plain) -> str:
    """Return plain JSON as text, keys sorted: the same on every rebuild."""
    return json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=True)
