"""Which machine is meant: by its label of ours, its maker's code, its asset number or serial."""

from dataclasses import dataclass
from datetime import date
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.actions.once import Site
from traceability.actions.prime.personal import is_personal
from traceability.actions.prime.scanned import (
    Question,
    Scan,
    Understood,
    may_be_kept,
    understand,
)
from traceability.domain.at_the_run import EQUIPMENT_KINDS
from traceability.domain.tags import OwnSymbol, SymbolKind, read_symbol, site_and_name
from traceability.errors import BadScan, BadValue, UnknownCode
from traceability.storage.circuits import Circuit
from traceability.storage.equipment import EquipmentState
from traceability.storage.runs import Run
from traceability.storage.site import Site as SiteRow


@dataclass(frozen=True, slots=True, kw_only=True)
class Machine:
    """A machine, registered or not."""

    kind: str
    equipment_id: UUID | None = None
    product_id: UUID | None = None
    serial: str | None = None
    active: bool = True
    on_hold: str = ""

    @property
    def name(self) -> str:
        """Return its kind and serial as people say it."""
        return f"{self.kind} {self.serial or ''}".strip()


def machine_of(
    session: Session,
    site: Site,
    *,
    equipment_id: UUID | None,
    text: str,
    what: str,
    on: Circuit | Run,
    today: date,
    refusable: bool,
) -> Machine:
    """Return the machine that was pointed at, scanned or typed; without any, one of that kind.

    Raises:
        UnknownCode: no such machine in the register. BadValue: nothing says what it is.
        BadScan: a person's text, or another symbol of ours, whatever the manner: neither may be
        written. Only if refusable: a code that cannot be read. Nothing was written.
    """
    if what not in ("", *EQUIPMENT_KINDS):
        raise BadValue(field="kind", value=what, why="not-one-of", of=EQUIPMENT_KINDS)
    if equipment_id is not None:
        found = _state(session, site, equipment_id=equipment_id)
        if found is None:
            raise UnknownCode(what="equipment", value="")
        return _registered(found)
    given = text.strip()
    if not given:
        if not what:
            raise BadValue(field="kind", value="", why="not-one-of", of=EQUIPMENT_KINDS)
        return Machine(kind=what)
    return _by_text(session, site, given, what, on, today, refusable)


def _by_text(
    session: Session,
    site: Site,
    given: str,
    what: str,
    on: Circuit | Run,
    today: date,
    refusable: bool,
) -> Machine:
    own = read_symbol(given)
    if own is not None:
        return _by_symbol(session, site, own)
    if is_personal(given):
        raise BadScan(why="wristband")
    found = _state(session, site, asset_number=given.upper()) or _state(session, site, serial=given)
    if found is not None:
        return _registered(found)
    scan = Scan(text=given, chosen="as-read", counted=True)
    read = understand(scan, None, session, on, today)
    if isinstance(read, Question):
        return _typed(scan, read, what, today, refusable)
    return _by_code(session, site, read, what, refusable)


def _by_symbol(session: Session, site: Site, own: object) -> Machine:
    if isinstance(own, OwnSymbol) and own.kind is SymbolKind.PART:
        code, number = site_and_name(own.body)
        found = (
            _state(session, site, asset_number=number) if code == _own_code(session, site) else None
        )
        if found is None:
            raise UnknownCode(what="equipment", value=number)
        return _registered(found)
    raise BadScan(why="own-symbol")


def _by_code(session: Session, site: Site, read: Understood, what: str, refusable: bool) -> Machine:
    piece, kind = read.piece, what
    if piece.kind in EQUIPMENT_KINDS:
        kind = piece.kind
    elif refusable:
        raise BadValue(field=piece.name, value=piece.kind, why="not-equipment")
    if piece.serial:
        found = _state(session, site, product_id=piece.product_id, serial=piece.serial)
        if found is not None:
            return _registered(found)
    return Machine(
        kind=kind or EQUIPMENT_KINDS[0],
        product_id=piece.product_id,
        serial=piece.serial,
        on_hold=piece.on_hold,
    )


def _typed(scan: Scan, read: Question, what: str, today: date, refusable: bool) -> Machine:
    """A serial as printed, of a machine that is not in the register."""
    if read.code == "wristband" or not may_be_kept(scan, today):
        raise BadScan(why="wristband")
    plain = read.code == "unknown-product" and read.facts.get("identifier") is None
    if refusable and not plain:
        raise BadScan(why=read.code, **read.facts)
    if not what:
        raise BadValue(field="kind", value="", why="not-one-of", of=EQUIPMENT_KINDS)
    return Machine(kind=what, serial=scan.text)


def _registered(state: EquipmentState) -> Machine:
    return Machine(
        kind=state.kind,
        equipment_id=state.equipment_id,
        product_id=state.product_id,
        serial=state.serial or None,
        active=state.active,
    )


def _state(session: Session, site: Site, **by: object) -> EquipmentState | None:
    rows = select(EquipmentState).filter_by(
        site_id=site.id, valid_to=None, superseded_no=None, **by
    )
    return session.scalar(rows.order_by(EquipmentState.recorded_no).limit(1))


def _own_code(session: Session, site: Site) -> str:
    """Return what our symbols carry; a practice store's is not that of the real one."""
    return session.get_one(SiteRow, site.id).code
