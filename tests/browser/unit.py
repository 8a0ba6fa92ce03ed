"""An invented unit, set up through the real acts: people, places, a sheet and products."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Final
from uuid import UUID, uuid4, uuid5

from traceability.actions.lists.devices import SetDevice, new_enrol_code, set_device
from traceability.actions.lists.people import IssueBadge, SetPerson, issue_badge, set_person
from traceability.actions.lists.products import SetProduct, set_product
from traceability.actions.lists.sheets import SetSheet, set_sheet
from traceability.actions.lists.site import SetPlace, SiteFacts, set_place, set_up_site
from traceability.actions.once import Sent, Site
from traceability.actions.prime.begin import BeginPrime, begin_prime
from traceability.actions.prime.end import EndPrime, end_prime
from traceability.actions.prime.scan import GoOn, ScanPart, go_on, scan_part
from traceability.actions.prime.sign import SignPrime, sign_prime
from traceability.domain.act_cards import Act
from traceability.domain.sheets import Need, Slot, Where
from traceability.domain.tags import (
    SymbolKind,
    badge_symbol,
    circuit_symbol,
    site_code,
    write_symbol,
)
from traceability.domain.trolley import Finding
from traceability.identifiers.checks import hibc_check
from traceability.reads.circuits import circuit_facts
from traceability.security.pins import CHEAP_HASHER, hash_pin
from traceability.security.roles import service_device
from traceability.settings import Settings
from traceability.wiring import Services, wire

SITE: Final = UUID("018f0000-0000-7000-8000-0000000000aa")
PIN: Final = "250917"
TYPE: Final = "Adult 3/8"
SALINE: Final = "Sodium chloride 0.9 %"
GS: Final = "\x1d"

PEOPLE: Final = {
    "E. Lind": ("LIND7K", ("primer",)),
    "J. Ruiz": ("RUIZ4M", ("helper", "bedside and perfusion")),
    "N. Aalto": ("AALTO9", ("charge consultant", "recall coordinator")),
    "S. Berg": ("BERG2X", ("administrator", "stock")),
}
"""Name: badge code and roles."""

SHEET: Final = (
    Slot(id="pack", name="Circuit pack", kind="circuit-pack", where=Where.PACK),
    Slot(id="drainage", name="Drainage line", kind="line", where=Where.DRAINAGE, inside_pack=True),
    Slot(id="pump", name="Pump head", kind="pump-head", where=Where.PUMP, inside_pack=True),
    Slot(id="tap-1", name="Tap by the pump", kind="tap", where=Where.LINK),
    Slot(id="tap-2", name="Tap before the oxygenator", kind="tap", where=Where.LINK),
    Slot(
        id="oxygenator",
        name="Oxygenator",
        kind="oxygenator",
        where=Where.OXYGENATOR,
        inside_pack=True,
    ),
    Slot(id="tap-3", name="Tap after the oxygenator", kind="tap", where=Where.RETURN),
    Slot(id="tap-4", name="Tap in the return line", kind="tap", where=Where.RETURN),
    Slot(id="tap-5", name="Tap by the patient", kind="tap", where=Where.RETURN),
    Slot(
        id="saline",
        name=SALINE,
        kind="fluid",
        where=Where.FLUID,
        count=2,
        substance=SALINE,
        volume_ml=1000,
    ),
    Slot(id="syringe", name="Syringe", kind="syringe", where=Where.TRAY, leaves=True),
    Slot(id="ties", name="Cable ties", kind="tie", where=Where.TRAY, need=Need.TICK, count=6),
)

PACK: Final = "09521234543213"
TAP: Final = "09521234000013"
BAG: Final = "09521234000020"
STRONG: Final = "09521234000037"
SYRINGE: Final = "09521234000044"
UNKNOWN: Final = "09521234000099"
BAG_HIBC: Final = "A999BAG11"
"""GTINs of the demonstration prefix 952 (GS1), a HIBC labeller that is given to nobody."""

_YEAR: Final = datetime.now(UTC).year
LATER: Final = f"{(_YEAR + 3) % 100:02}0331"
"""An expiry far enough off, as symbols carry it."""
EXPIRED: Final = f"{(_YEAR - 1) % 100:02}0131"


def gs1(gtin: str, lot: str, *, expiry: str = LATER, serial: str = "") -> str:
    """Return what a scanner types for a GS1 Data Matrix: lot first, so that a separator follows."""
    text = f"]d201{gtin}10{lot}{GS}17{expiry}"
    return text + (f"21{serial}" if serial else "")


def hibc(device: str, lot: str) -> str:
    """Return what a scanner types for a HIBC label with expiry and lot (ANSI/HIBC 2.6)."""
    bare = f"+{device}/$$3{LATER}{lot}"
    return f"]C0{bare}{hibc_check(bare)}"


def card(act: Act | str) -> str:
    """Return the text of a printed act card."""
    return write_symbol(SymbolKind.ACT, str(act))


def badge(name: str) -> str:
    """Return the text of a person's badge."""
    return badge_symbol(PEOPLE[name][0])


@dataclass(frozen=True, slots=True, kw_only=True)
class Unit:
    """A store with the invented unit in it."""

    services: Services
    site: Site

    def lots_in(self, number: str) -> list[str]:
        """Return the lots that the record says are in a circuit now, place by place."""
        with self.services.reads() as reads:
            circuit = circuit_facts(reads, SITE, number, self.services.now())
        assert circuit is not None
        return [part.lot for part in circuit.now_in if part.lot]

    def ready_circuit(self) -> tuple[str, str]:
        """Prime and sign a circuit in a moment; return its number and its tag's text."""
        at, site = self.services.now() - timedelta(hours=2), self.site
        begun = begin_prime(
            BeginPrime(sent=by("J. Ruiz"), circuit_type=TYPE, place_id=key("C3"), at=at), site=site
        )
        circuit_id, number = begun.subject, str(begun.facts["number"])
        assert circuit_id is not None
        pack = ScanPart(
            sent=by("J. Ruiz"), circuit_id=circuit_id, text=gs1(PACK, "PK26-104"), at=at
        )
        if scan_part(pack, site=site).code == Finding.NEVER_RECEIVED:
            right = GoOn(sent=by("J. Ruiz"), circuit_id=circuit_id, at=at, reason="by-hand")
            go_on(right, site=site)
        end_prime(
            EndPrime(
                sent=by("J. Ruiz"),
                circuit_id=circuit_id,
                at=at + timedelta(minutes=40),
                fill_ml=1500,
                lots_not_recorded=True,
            ),
            site=site,
        )
        for part, name in (("primer", "E. Lind"), ("helper", "J. Ruiz")):
            signed = SignPrime(
                sent=by(name),
                circuit_id=circuit_id,
                part=part,
                signer_id=key(name),
                at=at + timedelta(minutes=50),
            )
            sign_prime(signed, site=site)
        return number, circuit_symbol(site_code(SITE), number)

    def enrol_code(self) -> str:
        """Return a one-time code that makes a browser the unit's telephone."""
        return new_enrol_code(key("phone"), site=self.site, expires_at=LONG_AFTER)


LONG_AFTER: Final = datetime(2999, 1, 1, tzinfo=UTC)


def key(name: str) -> UUID:
    """Return an id that is the same in every run."""
    return uuid5(SITE, name)


def make_unit(
    folder: Path, *, name: str = "Norrvik Sound Hospital", practice: bool = False
) -> Unit:
    """Set the unit up in a new SQLite store in the folder."""
    services = wire(Settings(var_dir=folder))
    services.create_tables()
    site = services.site_of(SITE)
    set_up_site(SiteFacts(name=name, unit="ICU 2", ring="5512", practice=practice), site=site)
    _people(site)
    _places(site)
    _products(site)
    asked = SetSheet(
        sent=sent("sheet"),
        circuit_type=TYPE,
        way="wet-closed",
        fill_ml=1500,
        slots=SHEET,
        read_version=0,
    )
    set_sheet(asked, site=site)
    phone = SetDevice(
        sent=sent("device"), set_id=key("phone"), name="Unit telephone", place="ICU 2"
    )
    set_device(phone, site=site)
    return Unit(services=services, site=site)


def sent(name: str) -> Sent:
    """Return what an act of the service itself is sent with."""
    return Sent(device_id=service_device(SITE), actor_id=None, request_id=key(f"sent {name}"))


def by(name: str) -> Sent:
    """Return what an act of a person is sent with."""
    return Sent(device_id=service_device(SITE), actor_id=key(name), request_id=uuid4())


def _people(site: Site) -> None:
    for name, (code, roles) in PEOPLE.items():
        set_person(
            SetPerson(sent=sent(name), person_id=key(name), name=name, roles=roles), site=site
        )
        issued = IssueBadge(
            sent=sent(f"badge {name}"),
            person_id=key(name),
            badge_code=code,
            pin_hash=hash_pin(PIN, CHEAP_HASHER),
        )
        issue_badge(issued, site=site)


def _places(site: Site) -> None:
    for code, name, kind, duty in (
        ("C3", "console 3", "console", "mounted"),
        ("B1", "box 1", "box", "boxed"),
    ):
        asked = SetPlace(
            sent=sent(code),
            place_id=key(code),
            code=code,
            name=name,
            place_kind=kind,
            stands_for=duty,
        )
        set_place(asked, site=site)


def _products(site: Site) -> None:
    fluid = {"part_kind": "fluid", "maker": "Farrowend Fluids", "volume_ml": 1000}
    for standard, identifier, rest in (
        ("gs1", PACK, {"name": "Circuit pack adult", "part_kind": "circuit-pack"}),
        ("gs1", TAP, {"name": "Three-way tap", "part_kind": "tap"}),
        ("gs1", BAG, {"name": "Sodium chloride bag", "substance": SALINE, **fluid}),
        ("hibc", BAG_HIBC, {"name": "Sodium chloride bag", "substance": SALINE, **fluid}),
        ("gs1", STRONG, {"name": "Strong", "substance": "Sodium chloride 3 %", **fluid}),
    ):
        given: dict[str, object] = {"maker": "Oskerby Devices", **rest}
        if rest["part_kind"] == "circuit-pack":
            given["circuit_type"] = TYPE
        asked = SetProduct(
            sent=sent(identifier),
            standard=standard,
            identifier=identifier,
            **given,  # type: ignore[arg-type]
        )
        set_product(asked, site=site)
