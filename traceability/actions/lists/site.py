"""The site, its places and its policy."""

import re
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import ClassVar, Final
from uuid import UUID

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from traceability.actions.once import Asked, Done, Sent, Site, answer_once
from traceability.actions.single import one_event
from traceability.domain.events import Kind
from traceability.domain.people import Right
from traceability.domain.scan_checks import CHOICES
from traceability.domain.tags import site_code
from traceability.domain.use_by import Limits
from traceability.errors import BadValue, StaleForm
from traceability.security.roles import service_device
from traceability.storage.circuits import Sheet
from traceability.storage.ledger import LedgerHead, open_ledger
from traceability.storage.site import Place, Policy

SHORT_NAME: Final = re.compile(r"[A-Z0-9]+(-[A-Z0-9]+)*")
"""What a place's symbol can carry."""

PLACE_KINDS: Final = ("console", "box", "shelf", "trolley", "bed", "store", "bin")
STANDS_FOR: Final = ("mounted", "boxed")
DEFAULTS: Final = Limits()
MOST_WANTED: Final = 9
MOST_LEFT_MINUTES: Final = 30 * 24 * 60
"""Longer than any circuit keeps would mean that none ever counts."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteFacts:
    """What tags and pages say of the site."""

    name: str
    unit: str
    ring: str
    """The number to ring, day and night."""
    practice: bool = False


def set_up_site(facts: SiteFacts, *, site: Site) -> int:
    """Make an empty store a site's: its head, its first event and the default policy.

    Returns the number of the first event. A store that has a site keeps it.
    """
    sent = Sent(
        device_id=service_device(site.id), actor_id=None, request_id=site.new_id(site.clock())
    )
    with site.sessions.begin() as session:
        if session.get(LedgerHead, site.id) is not None:
            return 1
        session.add(LedgerHead(site_id=site.id))
        session.flush()
        ledger = open_ledger(session, sent, site_id=site.id, clock=site.clock)
        body = asdict(facts) | {"code": site_code(site.id, practice=facts.practice)}
        number = ledger.append(Kind.SITE_SET_UP, body, happened_at=ledger.now)
        ledger.append(
            Kind.DEVICE_SET,
            {
                "device": service_device(site.id),
                "name": "This service",
                "place": "",
                "owner": "",
                "enrolled": False,
                "token_digest": None,
            },
            happened_at=ledger.now,
        )
        ledger.append(
            Kind.POLICY_SET,
            {"version": 1, "limits": limits_body(Limits()), "target": 2},
            happened_at=ledger.now,
        )
        return number


def limits_body(limits: Limits) -> dict[str, object]:
    """Return limits as plain values; hours may be halves, so they are kept in minutes."""
    body: dict[str, object] = {
        "wet_closed_days": limits.wet_closed_days,
        "dry_days": limits.dry_days,
        "wet_open_days": limits.wet_open_days,
        "blood_minutes": round(limits.blood_hours * 60),
        "parts_expiry_counts": limits.parts_expiry_counts,
        "plasticiser_days": limits.plasticiser_days,
        "check_hours": limits.check_hours,
        "keep_pictures": limits.keep_pictures,
    }
    opened = limits.opened_fluid_hours
    body["opened_fluid_minutes"] = None if opened is None else round(opened * 60)
    return body


@dataclass(frozen=True, slots=True, kw_only=True)
class SetPlace(Asked):
    """Add or change a place."""

    kind: ClassVar[str] = "set-place"
    right: ClassVar[Right | None] = Right.LISTS
    place_id: UUID
    code: str
    name: str
    place_kind: str
    stands_for: str | None = None
    sort: int = 0
    active: bool = True
    wanted: int = 1
    """How many ready circuits have to stand here; only where it stands for something."""
    accepts: tuple[str, ...] = ()
    """Circuit types that are right here; empty: any."""
    least_left_minutes: int = 0
    """So far away the use-by of what is counted here must still be."""


def set_place(asked: SetPlace, *, site: Site) -> Done:
    """Record the place.

    Raises:
        BadValue: a kind, a duty or a circuit type that is not known, an empty name, another
        place's code, a number of circuits or a time that cannot be.
        Nothing was written.
    """
    return answer_once(asked, _set_place, site)


def _set_place(asked: SetPlace, session: Session, site: Site) -> Done:
    if asked.place_kind not in PLACE_KINDS:
        raise BadValue(field="kind", value=asked.place_kind, why="not-one-of", of=PLACE_KINDS)
    if asked.stands_for not in {None, *STANDS_FOR}:
        raise BadValue(field="stands for", value=asked.stands_for, why="not-one-of", of=STANDS_FOR)
    if not asked.name.strip() or not asked.code.strip():
        raise BadValue(field="name", value=asked.name, why="empty")
    if not SHORT_NAME.fullmatch(asked.code):
        raise BadValue(field="short name", value=asked.code, why="short-name")
    same_code = select(Place.id).where(
        Place.site_id == site.id, Place.code == asked.code, Place.id != asked.place_id
    )
    if session.scalar(same_code) is not None:
        raise BadValue(field="code", value=asked.code, why="in-use")
    if not 1 <= asked.wanted <= MOST_WANTED:
        raise BadValue(field="how many", value=str(asked.wanted), why="out-of-range")
    if not 0 <= asked.least_left_minutes <= MOST_LEFT_MINUTES:
        raise BadValue(
            field="least time left", value=str(asked.least_left_minutes), why="out-of-range"
        )
    types = set(session.scalars(select(Sheet.circuit_type).filter_by(site_id=site.id)))
    for each in asked.accepts:
        if each not in types:
            raise BadValue(field="circuit type", value=each, why="not-one-of", of=sorted(types))
    body = {
        "place": asked.place_id,
        "code": asked.code,
        "name": asked.name,
        "kind": asked.place_kind,
        "stands_for": asked.stands_for,
        "sort": asked.sort,
        "active": asked.active,
        "wanted": asked.wanted,
        "accepts": sorted(set(asked.accepts)),
        "least_left_minutes": asked.least_left_minutes,
    }
    return one_event(asked, session, site, Kind.PLACE_SET, body, subject=asked.place_id)


@dataclass(frozen=True, slots=True, kw_only=True)
class SetPolicy(Asked):
    """Set the unit's limits from now on; circuits primed before keep theirs."""

    kind: ClassVar[str] = "set-policy"
    right: ClassVar[Right | None] = Right.LISTS
    wet_closed_days: int
    dry_days: int
    wet_open_days: int
    blood_minutes: int
    opened_fluid_minutes: int | None
    parts_expiry_counts: bool
    plasticiser_days: int = DEFAULTS.plasticiser_days
    check_hours: int = DEFAULTS.check_hours
    keep_pictures: bool = DEFAULTS.keep_pictures
    checks: Mapping[str, str] = field(default_factory=dict)
    """Verdict by finding; what is not named is as usual. See `domain.scan_checks`."""
    read_version: int
    """The version the form was filled in from."""


def set_policy(asked: SetPolicy, *, site: Site) -> Done:
    """Record the next version of the policy.

    Raises:
        BadValue: a limit below one. StaleForm: somebody set another version meanwhile.
    """
    return answer_once(asked, _set_policy, site)


def _set_policy(asked: SetPolicy, session: Session, site: Site) -> Done:
    newest = session.scalar(select(func.max(Policy.version)).filter_by(site_id=site.id)) or 0
    if newest != asked.read_version:
        raise StaleForm(number=newest)
    try:
        limits = Limits(
            wet_closed_days=asked.wet_closed_days,
            dry_days=asked.dry_days,
            wet_open_days=asked.wet_open_days,
            blood_hours=asked.blood_minutes / 60,
            opened_fluid_hours=(
                None if asked.opened_fluid_minutes is None else asked.opened_fluid_minutes / 60
            ),
            parts_expiry_counts=asked.parts_expiry_counts,
            plasticiser_days=asked.plasticiser_days,
            check_hours=asked.check_hours,
            keep_pictures=asked.keep_pictures,
        )
    except ValueError:
        raise BadValue(field="limit", value="", why="too-small") from None
    limits_said = limits_body(limits) | {"checks": _checks(asked.checks)}
    body = {"version": newest + 1, "limits": limits_said, "target": 2}
    return one_event(asked, session, site, Kind.POLICY_SET, body)


def _checks(asked: Mapping[str, str]) -> dict[str, str]:
    """Return what is not as usual; refuse what no policy may say."""
    for finding, verdict in asked.items():
        allowed = next((each.may_be for each in CHOICES if each.finding == finding), ())
        if verdict not in allowed:
            raise BadValue(field=finding, value=verdict, why="not-one-of", of=allowed)
    usual = {str(each.finding): str(each.usual) for each in CHOICES}
    return {name: said for name, said in sorted(asked.items()) if said != usual[name]}
