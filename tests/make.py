"""A small ward for tests, in the words of its people; every value fixed, every act a real one."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import UUID, uuid4

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.actions.circuit.add_part import AddPart, add_part
from traceability.actions.circuit.additive import GiveAdditive, give_additive
from traceability.actions.circuit.foreign import TakeInForeign, take_in_foreign
from traceability.actions.circuit.hold import PutOnHold, put_on_hold
from traceability.actions.circuit.inspect import (
    KeepForInspection,
    PassCustody,
    keep_for_inspection,
    pass_custody,
)
from traceability.actions.circuit.keep import DiscardCircuit, discard_circuit
from traceability.actions.equipment.register import (
    MoveEquipment,
    SetEquipment,
    move_equipment,
    set_equipment,
)
from traceability.actions.equipment.use import (
    EquipmentOff,
    EquipmentOn,
    equipment_off,
    equipment_on,
)
from traceability.actions.lists.devices import SetDevice, set_device
from traceability.actions.lists.people import IssueBadge, SetPerson, issue_badge, set_person
from traceability.actions.lists.products import Level, SetProduct, set_product
from traceability.actions.lists.sheets import SetSheet, set_sheet
from traceability.actions.lists.site import SetPlace, SiteFacts, set_place, set_up_site
from traceability.actions.once import Done, Sent, Site
from traceability.actions.prime.begin import BeginPrime, begin_prime
from traceability.actions.prime.end import EndPrime, end_prime
from traceability.actions.prime.say import Say, say
from traceability.actions.prime.scan import GoOn, ScanAgain, ScanPart, go_on, scan_again, scan_part
from traceability.actions.prime.sign import SignPrime, sign_prime
from traceability.actions.prime.take_back import Dropped, Undo, dropped, undo
from traceability.actions.run.flow import EndRun, FlowOff, FlowOn, end_run, flow_off, flow_on
from traceability.actions.run.mode import SetMode, set_mode
from traceability.actions.run.parts import RunPartIn, RunPartOut, run_part_in, run_part_out
from traceability.actions.run.patient import SetPatient, set_patient
from traceability.actions.run.swap import SwapPart, swap_part
from traceability.actions.run.take import TakeCircuit, take_circuit
from traceability.domain.moments import Manner
from traceability.domain.sheets import Need, Slot, Where
from traceability.domain.trolley import Finding
from traceability.identifiers.write import write_element_string
from traceability.reads.circuits import CircuitFacts, circuit_facts_by_id
from traceability.security.keys import Keys
from traceability.security.pins import CHEAP_HASHER, hash_pin
from traceability.security.roles import service_device
from traceability.settings import Settings
from traceability.storage.circuits import Circuit
from traceability.wiring import Services, wire

NOON = datetime(2031, 5, 6, 12, 0, tzinfo=UTC)
MINUTE = timedelta(minutes=1)
HOUR = timedelta(hours=1)
SECOND = timedelta(seconds=1)
PIN = "250917"
TYPE = "Adult 3/8"

PACK = "09521234543213"
TAP = "09521234000013"
SALINE = "09521234000020"
STRONG_SALINE = "09521234000037"
SYRINGE = "09521234000044"
OXYGENATOR = "09521234000051"
OTHER_PACK = "09521234000068"
CANNULA = "09521234000211"
ALBUMIN = "09521234000228"
RED_CELLS = "09521234000235"
HEATER = "09521234000242"
TAP_CARTON = "19521234000010"
UNKNOWN = "09521234000099"
"""Numbers under 952, GS1's prefix for demonstrations and examples, with right check digits (GS1
General Specifications, section 7.9)."""

TROLLEY_1, TROLLEY_2 = UUID(int=0xD1), UUID(int=0xD2)

TAPS = ("tap-pump", "tap-middle", "tap-oxygenator")

SLOTS = (
    Slot(id="pack", name="Circuit pack", kind="circuit-pack", where=Where.PACK),
    Slot(id="drain", name="Drainage line", kind="line", where=Where.DRAINAGE, inside_pack=True),
    Slot(
        id="oxygenator",
        name="Oxygenator",
        kind="oxygenator",
        where=Where.OXYGENATOR,
        need=Need.SERIAL,
        inside_pack=True,
    ),
    *(Slot(id=each, name=f"Tap {each[4:]}", kind="tap", where=Where.LINK) for each in TAPS),
    Slot(
        id="saline",
        name="Sodium chloride 0.9 %",
        kind="fluid",
        where=Where.FLUID,
        count=2,
        substance="Sodium chloride 0.9 %",
        volume_ml=1000,
    ),
    Slot(id="syringe", name="Syringe", kind="syringe", where=Where.TRAY, leaves=True),
    Slot(id="ties", name="Cable ties", kind="tie", where=Where.TRAY, need=Need.TICK, count=2),
)


def code(
    gtin: str, lot: str = "", *, expires: str = "330331", serial: str = "", symbol: str = "]d2"
) -> str:
    """Return what a scanner sends for a pack: element strings behind their identifier."""
    elements = [("01", gtin)]
    elements += [("17", expires)] if expires else []
    elements += [("10", lot)] if lot else []
    elements += [("21", serial)] if serial else []
    return symbol + write_element_string(elements)


@dataclass
class Ward:
    """The ward: what its people do, each with its usual values."""

    services: Services
    now: datetime = NOON
    device: UUID = TROLLEY_1
    people: dict[str, UUID] = field(default_factory=dict)
    places: dict[str, UUID] = field(default_factory=dict)
    actor: UUID | None = None

    @property
    def site(self) -> Site:
        """The site with the ward's clock."""
        return replace(self.services.site, clock=lambda: self.now)

    def sent(self, request_id: UUID | None = None, device: UUID | None = None) -> Sent:
        """Return who sends."""
        return Sent(
            device_id=device or self.device,
            actor_id=self.actor,
            request_id=request_id or uuid4(),
        )

    def at(self, name: str) -> "Ward":
        """Return the ward with somebody else signed in; "" is nobody."""
        return replace(self, actor=self.people[name] if name else None)

    def begin(self) -> UUID:
        """Begin a prime and return the circuit."""
        done = begin_prime(
            BeginPrime(
                sent=self.sent(),
                circuit_type=TYPE,
                place_id=self.places["console 3"],
                at=self.now,
                primer_id=self.people["primer"],
                helper_id=self.people["helper"],
            ),
            site=self.site,
        )
        assert done.subject is not None
        return done.subject

    def asks(self, circuit: UUID, text: str, **changes: Any) -> Done:
        """Scan at the trolley and answer nothing; two seconds go by first."""
        self.now += 2 * SECOND
        usual = ScanPart(sent=self.sent(), circuit_id=circuit, text=text, at=self.now)
        return scan_part(replace(usual, **changes), site=self.site)

    def scan(self, circuit: UUID, text: str, **changes: Any) -> Done:
        """Scan at the trolley; where only the book does not know its lot, say that it is right."""
        done = self.asks(circuit, text, **changes)
        if done.code != Finding.NEVER_RECEIVED:
            return done
        sent = replace(changes.get("sent") or self.sent(), request_id=uuid4())
        return self.go_on(circuit, reason="by-hand", sent=sent)

    def go_on(self, circuit: UUID, **changes: Any) -> Done:
        """Answer what the last scan asked."""
        usual = GoOn(sent=self.sent(), circuit_id=circuit, at=self.now)
        return go_on(replace(usual, **changes), site=self.site)

    def again(self, circuit: UUID, times: int) -> Done:
        """The same once more, or a count."""
        asked = ScanAgain(sent=self.sent(), circuit_id=circuit, at=self.now, times=times)
        return scan_again(asked, site=self.site)

    def say(self, circuit: UUID, state: str, slot: str = "", *, all_open: bool = False) -> Done:
        """Say what a place holds."""
        asked = Say(
            sent=self.sent(),
            circuit_id=circuit,
            state=state,
            slot=slot,
            at=self.now,
            all_open=all_open,
        )
        return say(asked, site=self.site)

    def undo(self, circuit: UUID, device: UUID | None = None) -> Done:
        """Undo the last act of the device."""
        asked = Undo(sent=self.sent(device=device), circuit_id=circuit, at=self.now)
        return undo(asked, site=self.site)

    def drop(self, circuit: UUID, slot: str = "") -> Done:
        """A part fell."""
        asked = Dropped(sent=self.sent(), circuit_id=circuit, at=self.now, slot=slot)
        return dropped(asked, site=self.site)

    def put(self, circuit: UUID, text: str) -> Done:
        """Scan a piece that goes in; past an open notice a consultant goes on."""
        done = self.scan(circuit, text)
        if done.code != Finding.IN_NOTICE:
            return done
        return self.go_on(circuit, reason="patient-waits", by=self.people["consultant"])

    def fill(self, circuit: UUID, lot: str = "T77-0B1", bag: str = "4K0O17I1") -> None:
        """Scan everything the sheet asks for."""
        self.put(circuit, code(PACK, "PK26-104"))
        self.put(circuit, code(OXYGENATOR, "3F0117", serial=f"OX-{circuit.hex[-6:]}"))
        for _ in TAPS:
            self.put(circuit, code(TAP, lot))
        for _ in range(2):
            self.put(circuit, code(SALINE, bag))
        self.put(circuit, code(SYRINGE, "SY0B40"))
        self.say(circuit, "ticked", "ties", all_open=True)

    def end(self, circuit: UUID, **changes: Any) -> Done:
        """End the prime."""
        usual = EndPrime(sent=self.sent(), circuit_id=circuit, at=self.now, fill_ml=1500)
        return end_prime(replace(usual, **changes), site=self.site)

    def sign(self, circuit: UUID, part: str, name: str = "") -> Done:
        """Sign as primer or helper."""
        asked = SignPrime(
            sent=self.sent(),
            circuit_id=circuit,
            part=part,
            signer_id=self.people[name or part],
            at=self.now,
        )
        return sign_prime(asked, site=self.site)

    def prime(self, lot: str = "T77-0B1", bag: str = "4K0O17I1") -> UUID:
        """Prime a circuit, start to finish."""
        circuit = self.begin()
        self.fill(circuit, lot, bag)
        self.end(circuit)
        self.sign(circuit, "primer")
        self.sign(circuit, "helper")
        return circuit

    def take(self, circuit: UUID | str, **changes: Any) -> Done:
        """Take it by its tag, in an emergency, with nobody signed in."""
        number = circuit if isinstance(circuit, str) else self.number(circuit)
        usual = TakeCircuit(
            sent=replace(self.sent(), actor_id=None),
            number=number,
            at=self.now,
            manner=Manner.EMERGENCY,
        )
        return take_circuit(replace(usual, **changes), site=self.site)

    def flow_on(self, circuit: UUID, **changes: Any) -> Done:
        """Blood flows."""
        usual = FlowOn(sent=self.sent(), circuit_id=circuit, at=self.now, manner=Manner.PLANNED)
        return flow_on(replace(usual, **changes), site=self.site)

    def flow_off(self, circuit: UUID, **changes: Any) -> Done:
        """The circuit comes off."""
        usual = FlowOff(sent=self.sent(), circuit_id=circuit, at=self.now, manner=Manner.PLANNED)
        return flow_off(replace(usual, **changes), site=self.site)

    def end_run(self, run: UUID) -> Done:
        """The patient's support is over."""
        return end_run(EndRun(sent=self.sent(), run_id=run, at=self.now), site=self.site)

    def patient(self, run: UUID, reference: str = "") -> Done:
        """Tie the run to a patient."""
        asked = SetPatient(sent=self.sent(), run_id=run, reference=reference, at=self.now)
        return set_patient(asked, site=self.site)

    def swap(self, circuit: UUID, slot: str, text: str, **changes: Any) -> Done:
        """Swap a part on a running circuit."""
        usual = SwapPart(
            sent=self.sent(), circuit_id=circuit, slot=slot, ordinal=1, at=self.now, text=text
        )
        return swap_part(replace(usual, **changes), site=self.site)

    def mode(self, run: UUID, mode: str = "VV", **changes: Any) -> Done:
        """The run goes on in this mode."""
        usual = SetMode(sent=self.sent(), run_id=run, mode=mode, at=self.now)
        return set_mode(replace(usual, **changes), site=self.site)

    def part_in(self, run: UUID, text: str = "", **changes: Any) -> Done:
        """A cannula, guide wire or reperfusion line goes in."""
        usual = RunPartIn(sent=self.sent(), run_id=run, at=self.now, text=text)
        return run_part_in(replace(usual, **changes), site=self.site)

    def part_out(self, run: UUID, part: UUID | None, **changes: Any) -> Done:
        """It comes out."""
        usual = RunPartOut(sent=self.sent(), run_id=run, part_id=part or UUID(int=0), at=self.now)
        return run_part_out(replace(usual, **changes), site=self.site)

    def machine(self, serial: str = "HC-1", what: str = "heater-cooler", **changes: Any) -> UUID:
        """Put a machine into the register."""
        usual = SetEquipment(
            sent=self.at("engineer").sent(),
            what=what,
            serial=serial,
            maker="Mellowick Perfusion",
            model="Warm 4",
        )
        done = set_equipment(replace(usual, **changes), site=self.site)
        assert done.subject is not None
        return done.subject

    def move_machine(self, machine: UUID, place: str) -> Done:
        """It stands somewhere else now."""
        asked = MoveEquipment(
            sent=self.sent(), equipment_id=machine, place_id=self.places[place], at=self.now
        )
        return move_equipment(asked, site=self.site)

    def equip(self, **changes: Any) -> Done:
        """A machine serves."""
        usual = EquipmentOn(sent=self.sent(), at=self.now)
        return equipment_on(replace(usual, **changes), site=self.site)

    def unequip(self, use: UUID | None, **changes: Any) -> Done:
        """It serves no longer."""
        usual = EquipmentOff(sent=self.sent(), use_id=use or UUID(int=0), at=self.now)
        return equipment_off(replace(usual, **changes), site=self.site)

    def add_part(self, circuit: UUID, text: str = "", **changes: Any) -> Done:
        """One more piece."""
        usual = AddPart(sent=self.sent(), circuit_id=circuit, at=self.now, text=text)
        return add_part(replace(usual, **changes), site=self.site)

    def give(self, circuit: UUID, **changes: Any) -> Done:
        """Something goes into the prime."""
        usual = GiveAdditive(sent=self.sent(), circuit_id=circuit, at=self.now)
        return give_additive(replace(usual, **changes), site=self.site)

    def keep(self, circuit: UUID, place: str = "trolley 1", **changes: Any) -> Done:
        """Keep it for inspection."""
        usual = KeepForInspection(
            sent=self.sent(), circuit_id=circuit, place_id=self.places[place], at=self.now
        )
        return keep_for_inspection(replace(usual, **changes), site=self.site)

    def pass_on(self, circuit: UUID, to: str = "Technician on call", **changes: Any) -> Done:
        """Somebody else keeps it."""
        usual = PassCustody(
            sent=self.sent(), circuit_id=circuit, to=to, reason="to-look-at", at=self.now
        )
        return pass_custody(replace(usual, **changes), site=self.site)

    def discard(self, circuit: UUID, reason: str = "used") -> Done:
        """Throw it away."""
        asked = DiscardCircuit(sent=self.sent(), circuit_id=circuit, reason=reason, at=self.now)
        return discard_circuit(asked, site=self.site)

    def hold(self, subject: str, subject_id: UUID, notice: str = "N-26-014") -> Done:
        """Put something on hold."""
        asked = PutOnHold(
            sent=self.sent(),
            subject=subject,
            subject_id=subject_id,
            reason="notice",
            notice=notice,
            at=self.now,
        )
        return put_on_hold(asked, site=self.site)

    def foreign(self, sender: str = "Inventium North ICU") -> UUID:
        """A circuit comes in from elsewhere."""
        asked = TakeInForeign(sent=self.sent(), sender=sender, at=self.now)
        done = take_in_foreign(asked, site=self.site)
        assert done.subject is not None
        return done.subject

    def product(self, identifier: str, name: str, kind: str, **changes: Any) -> Done:
        """Say once what a code stands for."""
        usual = SetProduct(
            sent=self.sent(),
            standard="gs1",
            identifier=identifier,
            name=name,
            maker="Oskerby Devices",
            part_kind=kind,
        )
        return set_product(replace(usual, **changes), site=self.site)

    def number(self, circuit: UUID) -> str:
        """Return the circuit's number."""
        return self.facts(circuit).number

    def facts(self, circuit: UUID) -> CircuitFacts:
        """Return what the circuit's page says."""
        with self.reads() as session:
            found = circuit_facts_by_id(session, self.site.id, circuit, self.now)
        assert found is not None
        return found

    def circuits(self) -> list[str]:
        """Return the numbers of all circuits."""
        with self.reads() as session:
            return list(session.scalars(select(Circuit.number).order_by(Circuit.number)))

    def reads(self) -> Session:
        """Open a session that cannot write."""
        return self.services.reads()


KEYS = Keys(digest=b"k" * 32, signing=b"s" * 32)

ROLES = {
    "primer": ("primer",),
    "helper": ("helper",),
    "consultant": ("charge consultant",),
    "pharmacist": ("pharmacist",),
    "bedside": ("bedside and perfusion",),
    "recall": ("recall coordinator",),
    "stock": ("stock",),
    "auditor": ("auditor",),
    "administrator": ("administrator",),
    "engineer": ("biomedical engineer",),
}
PLACES = {
    "console 3": ("console", "mounted"),
    "box 3": ("box", "boxed"),
    "trolley 1": ("trolley", None),
    "bed 4": ("bed", None),
}


@contextmanager
def opened_ward(url: str, var: Path) -> Iterator[Ward]:
    """Open a set-up ward on a store that has its tables."""
    settings = Settings(database_url=url, var_dir=var)
    services = wire(settings, clock=lambda: NOON, keys=KEYS)
    site = services.site_of(UUID(int=0x5), lambda: NOON - 24 * HOUR)
    facts = SiteFacts(name="Norrvik Sound Hospital", unit="Intensive care 2", ring="ext. 5512")
    set_up_site(facts, site=site)
    services.known_site = site
    ward = Ward(services)
    service = replace(ward, device=service_device(site.id))
    _fill(service)
    ward.people, ward.places = service.people, service.places
    ward.actor = ward.people["primer"]
    try:
        yield ward
    finally:
        services.close()


def _fill(ward: Ward) -> None:
    for number, (name, roles) in enumerate(ROLES.items(), start=0xA0):
        person = ward.people[name] = UUID(int=number)
        asked = SetPerson(
            sent=ward.sent(), person_id=person, name=f"{name.title()} A.", roles=roles
        )
        set_person(asked, site=ward.site)
        badge = IssueBadge(
            sent=ward.sent(),
            person_id=person,
            badge_code=f"{name.upper()}1",
            pin_hash=hash_pin(PIN, CHEAP_HASHER),
        )
        issue_badge(badge, site=ward.site)
    for number, (name, (kind, duty)) in enumerate(PLACES.items(), start=0xB0):
        ward.places[name] = UUID(int=number)
        place = SetPlace(
            sent=ward.sent(),
            place_id=ward.places[name],
            code=name.replace(" ", "-").upper(),
            name=name,
            place_kind=kind,
            stands_for=duty,
        )
        set_place(place, site=ward.site)
    for number in (0xD1, 0xD2):
        device = SetDevice(
            sent=ward.sent(),
            set_id=UUID(int=number),
            name=f"Trolley {number - 0xD0}",
            place="ICU",
            enrolled=True,
        )
        set_device(device, site=ward.site)
    sheet = SetSheet(
        sent=ward.sent(),
        circuit_type=TYPE,
        way="wet-closed",
        fill_ml=1500,
        slots=SLOTS,
        read_version=0,
    )
    set_sheet(sheet, site=ward.site)
    ward.product(PACK, "Circuit pack", "circuit-pack", circuit_type=TYPE)
    ward.product(OTHER_PACK, "Circuit pack", "circuit-pack", circuit_type="Neonatal 1/4")
    ward.product(TAP, "Three-way tap", "tap", levels=(Level(identifier=TAP_CARTON, units=25),))
    for gtin, strength in ((SALINE, "0.9 %"), (STRONG_SALINE, "3 %")):
        ward.product(
            gtin,
            "Saline",
            "fluid",
            substance=f"Sodium chloride {strength}",
            volume_ml=1000,
            maker="Farrowend Fluids",
        )
    ward.product(CANNULA, "Cannula 21 Fr", "cannula")
    ward.product(ALBUMIN, "Albumin", "additive", maker="Farrowend Fluids")
    ward.product(RED_CELLS, "Red cells", "blood", maker="Farrowend Fluids")
    ward.product(HEATER, "Heater-cooler", "heater-cooler")
    ward.product(SYRINGE, "Syringe 50 ml", "syringe")
    ward.product(OXYGENATOR, "Oxygenator", "oxygenator", maker="Mellowick Perfusion")
