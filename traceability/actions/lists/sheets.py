"""Build sheets, in versions."""

from dataclasses import dataclass
from typing import ClassVar

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from traceability.actions.once import Asked, Done, Site, answer_once
from traceability.actions.single import one_event
from traceability.domain.events import Kind
from traceability.domain.people import Right
from traceability.domain.sheets import Sheet as BuildSheet
from traceability.domain.sheets import Slot, require_sound, sheet_body
from traceability.domain.use_by import Way
from traceability.errors import BadValue, StaleForm
from traceability.storage.circuits import Sheet


@dataclass(frozen=True, slots=True, kw_only=True)
class SetSheet(Asked):
    """Set a circuit type's sheet from now on; primes begun before keep theirs."""

    kind: ClassVar[str] = "set-sheet"
    right: ClassVar[Right | None] = Right.LISTS
    circuit_type: str
    way: str
    fill_ml: int
    slots: tuple[Slot, ...]
    coating: str = ""
    """What the blood side is coated with; empty: not said."""
    read_version: int
    """The version the form was filled in from; 0 for a new circuit type."""


def set_sheet(asked: SetSheet, *, site: Site) -> Done:
    """Record the next version of the sheet.

    Raises:
        BadValue: the sheet is not sound; says which place and why.
        StaleForm: somebody set another version meanwhile. Nothing was written.
    """
    return answer_once(asked, _set_sheet, site)


def _set_sheet(asked: SetSheet, session: Session, site: Site) -> Done:
    if not asked.circuit_type.strip():
        raise BadValue(field="circuit type", value="", why="empty")
    ways = [way.value for way in Way]
    if asked.way not in ways:
        raise BadValue(field="way", value=asked.way, why="not-one-of", of=ways)
    newest = select(func.max(Sheet.version)).filter_by(
        site_id=site.id, circuit_type=asked.circuit_type
    )
    version = session.scalar(newest) or 0
    if version != asked.read_version:
        raise StaleForm(number=version)
    sheet = BuildSheet(
        circuit_type=asked.circuit_type.strip(),
        version=version + 1,
        way=asked.way,
        fill_ml=asked.fill_ml,
        slots=asked.slots,
        coating=" ".join(asked.coating.split()),
    )
    try:
        require_sound(sheet)
    except ValueError as unsound:
        raise BadValue(field="place", value="", why="said", said=str(unsound)) from None
    return one_event(asked, session, site, Kind.SHEET_SET, sheet_body(sheet))
