"""A pack of a picture, filled in: judged again as a scan, and recorded as an act of its own."""

from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar, Final
from uuid import UUID

from sqlalchemy.orm import Session

from traceability.actions.once import Asked, Done, Site, answer_once
from traceability.actions.prime.scan import process_scan
from traceability.actions.prime.scanned import Scan
from traceability.domain.parts import Known
from traceability.domain.people import Right
from traceability.errors import BadValue

MOST_TEXTS: Final = 2
"""Symbols of one pack that are scanned for it: product, and what it lacks."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FillPictured(Asked):
    """A person lets one pack of a picture be filled in."""

    kind: ClassVar[str] = "scan-part-in-picture"
    right: ClassVar[Right | None] = Right.ACT
    circuit_id: UUID
    texts: tuple[tuple[str, str], ...]
    """Text and symbology identifier of what is scanned for it: one symbol, or product and rest."""
    at: datetime
    picture: str
    """SHA-256 of the file that was sent, 64 hexadecimal digits; the file itself is not kept."""
    boxes: tuple[int, ...]
    """Numbers of its symbols in the picture."""
    slot: str = ""
    compared: bool = False
    """A person has compared what was read with the print."""


def fill_pictured(asked: FillPictured, *, site: Site) -> Done:
    """Judge the pack as a scan; link the part if it is accepted; record it in any case.

    Raises:
        UnknownCode: no such circuit. BadValue: no text, or too many. Nothing was written.
    """
    return answer_once(asked, _fill, site)


def _fill(asked: FillPictured, session: Session, site: Site) -> Done:
    if not 1 <= len(asked.texts) <= MOST_TEXTS:
        raise BadValue(field="texts", value=str(len(asked.texts)), why="not-one-of", of="12")
    *first, last = [scan_of(each, slot=asked.slot, compared=asked.compared) for each in asked.texts]
    said = {
        "picture": asked.picture,
        "boxes": list(asked.boxes),
        "compared": asked.compared,
    }
    return process_scan(
        last,
        asked,
        asked.circuit_id,
        asked.at,
        session,
        site,
        said,
        same_scan_counts=True,
        other_half=first[0] if first else None,
    )


def scan_of(symbol: tuple[str, str], *, slot: str = "", compared: bool = False) -> Scan:
    """Return a symbol of a picture, text and identifier, as a scan."""
    text, symbology_identifier = symbol
    return Scan(
        text=text,
        symbology_identifier=symbology_identifier or None,
        channel="photo",
        slot=slot,
        known=Known.PHOTO,
        chosen="as-read" if compared else "",
    )
