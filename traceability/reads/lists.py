"""The unit's lists as pages need them."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.domain.people import Role
from traceability.domain.sheets import Sheet as BuildSheet
from traceability.domain.sheets import read_sheet
from traceability.domain.trolley import DEFAULT_CHECKS, Finding, Verdict
from traceability.domain.use_by import Limits
from traceability.security.roles import roles_of
from traceability.security.tag_keys import fingerprint
from traceability.storage.circuits import Sheet
from traceability.storage.items import Packaging, Product
from traceability.storage.people import Device, Person
from traceability.storage.policies import policy_in_force, read_checks, read_limits
from traceability.storage.site import Place, Policy, Site, TagKey


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteFacts:
    """What every page and tag says of the site."""

    site_id: UUID
    name: str
    unit: str
    ring: str
    code: str
    practice: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceFacts:
    """A place."""

    id: UUID
    code: str
    name: str
    kind: str
    stands_for: str | None
    sort: int
    wanted: int = 1
    accepts: tuple[str, ...] = ()
    least_left: timedelta = timedelta(0)


@dataclass(frozen=True, slots=True, kw_only=True)
class PersonFacts:
    """A person, without anything that proves who they are."""

    id: UUID
    name: str
    roles: tuple[Role, ...]
    active: bool
    has_badge: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class DeviceFacts:
    """A device."""

    id: UUID
    name: str
    place: str
    owner: str
    enrolled: bool
    revoked: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class ProductFacts:
    """A product with its packaging levels."""

    id: UUID
    standard: str
    identifier: str
    name: str
    maker: str
    item_number: str
    kind: str
    substance: str
    volume_ml: int | None
    circuit_type: str
    counted: bool
    levels: tuple[tuple[str, int], ...]
    """Identifier and pieces of each packaging level, the piece first."""


def site_facts(session: Session) -> SiteFacts:
    """Return the store's site."""
    site = session.scalars(select(Site)).one()
    return SiteFacts(
        site_id=site.site_id,
        name=site.name,
        unit=site.unit,
        ring=site.ring,
        code=site.code,
        practice=site.practice,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class TagKeyFacts:
    """Another site's public key."""

    public_key: str
    """64 hexadecimal digits."""
    name: str
    unit: str
    code: str
    active: bool

    @property
    def fingerprint(self) -> str:
        """What is compared over the telephone."""
        return fingerprint(bytes.fromhex(self.public_key))


def tag_keys(session: Session, site_id: UUID) -> list[TagKeyFacts]:
    """Return the keys of other sites, withdrawn ones too, by name."""
    rows = select(TagKey).filter_by(site_id=site_id).order_by(TagKey.name, TagKey.public_key)
    return [
        TagKeyFacts(
            public_key=key.public_key,
            name=key.name,
            unit=key.unit,
            code=key.code,
            active=key.active,
        )
        for key in session.scalars(rows)
    ]


def places(session: Session, site_id: UUID, *kinds: str) -> list[PlaceFacts]:
    """Return the active places, of these kinds if any are named, in the unit's order."""
    rows = select(Place).filter_by(site_id=site_id, active=True)
    if kinds:
        rows = rows.where(Place.kind.in_(kinds))
    return [
        PlaceFacts(
            id=place.id,
            code=place.code,
            name=place.name,
            kind=place.kind,
            stands_for=place.stands_for,
            sort=place.sort,
            wanted=place.wanted,
            accepts=tuple(json.loads(place.accepts)),
            least_left=timedelta(minutes=place.least_left_minutes),
        )
        for place in session.scalars(rows.order_by(Place.sort, Place.name))
    ]


def people(session: Session, site_id: UUID) -> list[PersonFacts]:
    """Return everybody, by name."""
    return [
        PersonFacts(
            id=person.id,
            name=person.name,
            roles=roles_of(person),
            active=person.active,
            has_badge=person.badge_digest is not None,
        )
        for person in session.scalars(
            select(Person).filter_by(site_id=site_id).order_by(Person.name)
        )
    ]


def devices(session: Session, site_id: UUID) -> list[DeviceFacts]:
    """Return all devices, by name."""
    rows = select(Device).filter_by(site_id=site_id).order_by(Device.name, Device.id)
    return [
        DeviceFacts(
            id=device.id,
            name=device.name,
            place=device.place,
            owner=device.owner,
            enrolled=device.enrolled,
            revoked=device.revoked,
        )
        for device in session.scalars(rows)
    ]


def products(session: Session, site_id: UUID) -> list[ProductFacts]:
    """Return all products, by kind and name."""
    levels: dict[UUID, list[tuple[str, int]]] = {}
    by_units = select(Packaging).filter_by(site_id=site_id).order_by(Packaging.units)
    for level in session.scalars(by_units):
        levels.setdefault(level.product_id, []).append((level.identifier, level.units))
    rows = select(Product).filter_by(site_id=site_id).order_by(Product.kind, Product.name)
    return [
        ProductFacts(
            id=product.id,
            standard=product.standard,
            identifier=product.identifier,
            name=product.name,
            maker=product.maker,
            item_number=product.item_number,
            kind=product.kind,
            substance=product.substance,
            volume_ml=product.volume_ml,
            circuit_type=product.circuit_type,
            counted=product.counted,
            levels=tuple(levels.get(product.id, [])),
        )
        for product in session.scalars(rows)
    ]


def sheets(session: Session, site_id: UUID) -> list[BuildSheet]:
    """Return the sheet in force of every circuit type, by name."""
    rows = select(Sheet).filter_by(site_id=site_id).order_by(Sheet.circuit_type, Sheet.version)
    newest = {stored.circuit_type: stored for stored in session.scalars(rows)}
    return [read_sheet(json.loads(stored.body)) for stored in newest.values()]


@dataclass(frozen=True, slots=True, kw_only=True)
class PolicyFacts:
    """The policy in force."""

    version: int
    limits: Limits
    checks: Mapping[Finding, Verdict]
    """How hard each check of a scan is."""
    set_at: datetime | None


def policy(session: Session, site_id: UUID) -> PolicyFacts:
    """Return the policy in force."""
    stored = policy_in_force(session, site_id)
    if stored is None:
        return PolicyFacts(version=0, limits=Limits(), checks=DEFAULT_CHECKS, set_at=None)
    return _policy(stored)


def policy_history(session: Session, site_id: UUID) -> list[PolicyFacts]:
    """Return all versions of the policy, newest first."""
    rows = select(Policy).filter_by(site_id=site_id).order_by(Policy.version.desc())
    return [_policy(stored) for stored in session.scalars(rows)]


def _policy(stored: Policy) -> PolicyFacts:
    return PolicyFacts(
        version=stored.version,
        limits=read_limits(stored.body),
        checks=read_checks(stored.body),
        set_at=stored.set_at,
    )


def kinds_in_use(session: Session, site_id: UUID) -> list[str]:
    """Return the kinds of parts that sheets name, each once."""
    kinds = {slot.kind for sheet in sheets(session, site_id) for slot in sheet.slots}
    return sorted(kinds)
