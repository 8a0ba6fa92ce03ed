"""From the characters of a scan to a piece of a known product, or to the reason why not yet."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from datetime import date
from typing import Final, Protocol
from uuid import UUID

from sqlalchemy.orm import Session

from traceability.actions.prime.comparing import compare_facts, other_reading
from traceability.actions.prime.personal import is_personal
from traceability.actions.prime.typed import Typed, completed
from traceability.domain.events import Plain
from traceability.domain.keys import lot_key, unit_key
from traceability.domain.part_labels import read_part_of
from traceability.domain.parts import Known
from traceability.domain.tags import read_symbol
from traceability.domain.trolley import Piece
from traceability.identifiers.interpret import interpret
from traceability.identifiers.pairs import join
from traceability.identifiers.reading import Context, Reading, Status
from traceability.storage.items import Product
from traceability.storage.lookup import (
    hold_on,
    packaging_of,
    printed_expiry,
)
from traceability.storage.site import Site
from traceability.storage.unit_lookup import (
    circuit_with_unit,
    opened_before,
    run_with_unit,
)

COMPARE: Final = frozenset({"expiry-far", "serial-like-lot"})
"""Within the standard, and seldom what is printed: a person compares before it is believed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Scan:
    """One scan with all that was said about it so far; it can be judged again."""

    text: str
    symbology_identifier: str | None = None
    channel: str = "physical-keys"
    slot: str = ""
    known: str = Known.SCANNED
    chosen: str = ""
    """ "as-read" or "alternative" once a person compared a suspect reading with the print."""
    units: int = 1
    """How many pieces this one scan stands for, as counted by a person."""
    counted: bool = False
    """The person has said how many."""
    waived: tuple[str, ...] = ()
    typed: Typed = field(default_factory=Typed)
    """What a person typed of the print, where the code does not carry it."""

    def body(self) -> dict[str, object]:
        """Return it as plain values, without the text: the caller decides where that may stand."""
        return {
            "symbology_identifier": self.symbology_identifier,
            "channel": self.channel,
            "slot": self.slot,
            "known": self.known,
            "chosen": self.chosen,
            "units": self.units,
            "counted": self.counted,
            "waived": list(self.waived),
            "typed": asdict(self.typed),
        }


def read_scan(body: Mapping[str, Plain], text: str) -> Scan:
    """Return a stored scan; `text` may have been kept apart."""
    symbology = body["symbology_identifier"]
    waived = body["waived"]
    given = body.get("typed")  # scans of the first versions carry none
    typed = given if isinstance(given, Mapping) else {}
    return Scan(
        text=text,
        symbology_identifier=None if symbology is None else str(symbology),
        channel=str(body["channel"]),
        slot=str(body["slot"]),
        known=str(body["known"]),
        chosen=str(body["chosen"]),
        units=int(str(body["units"])),
        counted=body["counted"] is True,
        waived=tuple(str(each) for each in waived) if isinstance(waived, (list, tuple)) else (),
        typed=Typed(**{name: str(said) for name, said in typed.items()}),
    )


class Holder(Protocol):
    """The circuit that a piece is for; one that has no row yet has an id all the same."""

    @property
    def site_id(self) -> UUID:
        """Whose it is."""

    @property
    def id(self) -> UUID:
        """Its own id: the same piece in another circuit is told."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """Why a scan is not yet a piece; a code and facts for the sentence."""

    code: str
    facts: Mapping[str, Plain]
    product: Product | None = None
    keeps_text: bool = True
    """False for what must never be written: a person's text."""
    harmless: bool = False
    """The text belongs to a known product and may stand in the ledger."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Understood:
    """A piece of a known product."""

    piece: Piece
    product: Product
    level_units: int
    """How many pieces the scanned packaging level holds."""
    lot_id: UUID | None
    unit_id: UUID | None
    expiry_printed: str | None
    made: date | None = None
    """Day of manufacture, where the code says it."""


NOWHERE: Final = UUID(int=0)
"""Stands for no circuit."""

SHORTEST_CODE: Final = 8
"""Digits of the shortest product code there is (EAN-8; GS1 General Specifications, section 5.2).

Fewer digits alone are no product's: most likely somebody's PIN, in the wrong field.
"""


def may_be_kept(scan: Scan, today: date) -> bool:
    """Tell whether the text may stand anywhere: no person's, no badge's or tag's, no PIN."""
    bare = scan.text.strip()
    own = read_symbol(bare)
    if is_personal(bare) or (own is not None and read_part_of(own) is None):
        return False
    if bare.isdigit() and len(bare) < SHORTEST_CODE:
        return False
    return not _interpret(scan, today, None).private


def understand(
    scan: Scan, previous: Scan | None, session: Session, circuit: Holder, today: date
) -> Understood | Question:
    """Return the piece, or what has to be asked first."""
    return understand_at(scan, previous, session, circuit.site_id, today, besides=circuit.id)


def understand_at(
    scan: Scan,
    previous: Scan | None,
    session: Session,
    site_id: UUID,
    today: date,
    *,
    besides: UUID = NOWHERE,
) -> Understood | Question:
    """Return the same for a scan that belongs to no circuit, as on the shelves.

    `besides` is the circuit in whose hands the piece may be.
    """
    own = read_symbol(scan.text.strip())
    part = read_part_of(own)
    if part:
        # Another site's label of its own names an item that only that site knows.
        if part.site_code != session.get_one(Site, site_id).code:
            return Question(code="own-symbol", facts={}, keeps_text=False)
        labelled = Reading(
            text=scan.text,
            status=Status.OK,
            device_identifier=part.item,
            lot=part.lot,
            expiry=part.expiry,
        )
        return _product_of(labelled, scan, None, session, site_id, today, besides)
    if own is not None:
        return Question(code="own-symbol", facts={}, keeps_text=False)
    reading = _interpret(scan, today, previous.text if previous else None)
    if is_personal(scan.text) or reading.private:
        return Question(code="wristband", facts={}, keeps_text=False)
    return _product_of(reading, scan, previous, session, site_id, today, besides)


def _product_of(
    reading: Reading,
    scan: Scan,
    previous: Scan | None,
    session: Session,
    site_id: UUID,
    today: date,
    besides: UUID,
) -> Understood | Question:
    whole = previous and join(_interpret(previous, today, None), reading, today)
    if whole and whole.device_identifier and not reading.device_identifier:
        reading = whole
    if reading.status is Status.REJECTED:
        code = reading.reason_codes[0] if reading.reason_codes else "unreadable"
        if code == "missing-required" and (reading.lot or reading.expiry or reading.serial):
            return Question(code="half-label", facts={}, harmless=True)
        return Question(
            code="unreadable", facts={"reason": code}, keeps_text=may_be_kept(scan, today)
        )
    odd = reading.status is Status.SUSPECT or not COMPARE.isdisjoint(reading.cautions)
    other = other_reading(reading, today)
    if odd and (not scan.chosen or (scan.chosen == "alternative" and other is None)):
        return Question(code="compare", facts=compare_facts(reading, other))
    if scan.chosen == "alternative" and other is not None:
        reading = other
    if reading.status is Status.UNSTRUCTURED and not scan.text.rstrip("\r\n\t").isprintable():
        return Question(code="unreadable", facts={"reason": "bad-charset"})
    if reading.device_identifier is None and reading.status is not Status.UNSTRUCTURED:
        return Question(code="half-label", facts={}, harmless=True)
    standard = "none" if reading.status is Status.UNSTRUCTURED else str(reading.standard)
    identifier = reading.device_identifier or scan.text
    found = packaging_of(session, site_id, standard, identifier)
    if found is None:
        # A code of no agency may be anything, a person's too: its text stays kept apart.
        named = None if standard == "none" else identifier
        return Question(
            code="unknown-product",
            facts={"standard": standard, "identifier": named},
            keeps_text=may_be_kept(scan, today),
        )
    product, units = found
    reading = completed(reading, scan.typed)
    return _understood(reading, scan, product, units, session, site_id, besides)


def _interpret(scan: Scan, today: date, previous: str | None) -> Reading:
    typed = scan.channel == "keyboard"
    return interpret(
        scan.text,
        symbology_identifier=scan.symbology_identifier,
        today=today,
        context=Context(previous=previous, channel="keyboard" if typed else None),
    )


def _understood(
    reading: Reading,
    scan: Scan,
    product: Product,
    level_units: int,
    session: Session,
    site_id: UUID,
    besides: UUID,
) -> Understood:
    lot_id = lot_key(product.id, reading.lot) if reading.lot else None
    unit_id = unit_key(product.id, reading.serial) if reading.serial else None
    hold = hold_on(session, site_id, lot_id, product.id)
    elsewhere = unit_id and (
        circuit_with_unit(session, site_id, unit_id, besides)
        or run_with_unit(session, site_id, unit_id, besides)
    )
    piece = Piece(
        product_id=product.id,
        name=product.name,
        kind=product.kind,
        maker=product.maker,
        substance=product.substance,
        volume_ml=product.volume_ml,
        circuit_type=product.circuit_type,
        lot=reading.lot,
        serial=reading.serial,
        expiry=reading.expiry,
        on_hold=(hold.notice or hold.reason) if hold else "",
        elsewhere=elsewhere or None,
        opened=(unit_id and opened_before(session, site_id, unit_id, besides)) or "",
        known=Known(scan.known),
    )
    return Understood(
        piece=piece,
        product=product,
        level_units=level_units,
        lot_id=lot_id,
        unit_id=unit_id,
        expiry_printed=printed_expiry(reading.expiry, day_given=reading.expiry_day_given),
        made=reading.made,
    )
