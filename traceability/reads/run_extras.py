"""What belongs to a run besides its circuits, and who keeps a circuit that is kept."""

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from sqlalchemy import ColumnElement, select
from sqlalchemy.orm import Session

from traceability.domain.circuits import Phase
from traceability.storage.base import believed_at
from traceability.storage.circuits import Circuit, CircuitPhase, Prime
from traceability.storage.equipment import EquipmentState, EquipmentUse
from traceability.storage.items import Lot, Product
from traceability.storage.kept_apart import KeptApart
from traceability.storage.run_extras import Custody, RunMode, RunPart
from traceability.storage.runs import CircuitOnRun
from traceability.storage.scans import PrintOrder


@dataclass(frozen=True, slots=True, kw_only=True)
class ModeFacts:
    """A mode and its time."""

    mode: str
    from_: datetime
    until: datetime | None


@dataclass(frozen=True, slots=True, kw_only=True)
class RunPartFacts:
    """A cannula, guide wire or reperfusion line."""

    part_id: UUID
    kind: str
    name: str
    maker: str
    state: str
    lot: str | None
    serial: str | None
    expiry: str | None
    body_site: str
    from_: datetime
    until: datetime | None
    disputed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class UseFacts:
    """A machine's time with a run or a circuit."""

    use_id: UUID
    equipment_id: UUID | None
    kind: str
    model: str
    asset_number: str
    serial: str | None
    from_: datetime
    until: datetime | None
    none_used: bool
    disputed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class KeeperFacts:
    """Who keeps a circuit, since when."""

    keeper: str
    """Empty: the unit itself."""
    reason: str
    from_: datetime
    until: datetime | None


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptFacts:
    """A circuit that is kept for inspection now."""

    number: str
    keeper: KeeperFacts


@dataclass(frozen=True, slots=True, kw_only=True)
class RunExtras:
    """What a run's page says besides its circuits."""

    modes: tuple[ModeFacts, ...]
    parts: tuple[RunPartFacts, ...]
    uses: tuple[UseFacts, ...]
    left: frozenset[UUID]
    """Circuits of the run that came off and are neither discarded nor kept."""


def run_extras(session: Session, site_id: UUID, run_id: UUID) -> RunExtras:
    """Return what belongs to the run, each in the order of time."""
    modes = select(RunMode).filter_by(site_id=site_id, run_id=run_id, superseded_no=None)
    return RunExtras(
        modes=tuple(
            ModeFacts(mode=row.mode, from_=row.valid_from, until=row.valid_to)
            for row in session.scalars(modes.order_by(RunMode.recorded_no, RunMode.line))
        ),
        parts=tuple(_parts(session, site_id, run_id)),
        uses=tuple(uses_where(session, site_id, EquipmentUse.run_id == run_id)),
        left=_left(session, site_id, run_id),
    )


def _left(session: Session, site_id: UUID, run_id: UUID) -> frozenset[UUID]:
    link, phase = CircuitOnRun, CircuitPhase
    circuits = session.scalars(
        select(link.circuit_id).where(
            link.site_id == site_id, link.run_id == run_id, link.superseded_no.is_(None)
        )
    ).all()
    # By circuit: by its phase, SQLite would read all circuits that ever ended.
    rows = session.execute(
        select(phase.circuit_id, phase.phase).where(
            phase.site_id == site_id,
            phase.circuit_id.in_(circuits),
            phase.valid_to.is_(None),
            phase.superseded_no.is_(None),
        )
    )
    return frozenset(row.circuit_id for row in rows if row.phase == Phase.ENDED)


def _parts(session: Session, site_id: UUID, run_id: UUID) -> list[RunPartFacts]:
    rows = session.execute(
        select(RunPart, Product.name, Product.maker, Lot.text)
        .outerjoin(
            Product, (Product.site_id == RunPart.site_id) & (Product.id == RunPart.product_id)
        )
        .outerjoin(Lot, (Lot.site_id == RunPart.site_id) & (Lot.id == RunPart.lot_id))
        .where(RunPart.site_id == site_id, RunPart.run_id == run_id, believed_at(RunPart, None))
        .order_by(RunPart.recorded_no, RunPart.line)
    )
    found = [
        RunPartFacts(
            part_id=part.part_id,
            kind=part.kind,
            name=name or "",
            maker=maker or "",
            state=part.state,
            lot=lot,
            serial=part.serial,
            expiry=part.expiry,
            body_site=part.body_site,
            from_=part.valid_from,
            until=part.valid_to,
            disputed=part.disputed,
        )
        for part, name, maker, lot in rows
    ]
    return sorted(found, key=lambda part: part.from_)


def uses_of_circuit(session: Session, site_id: UUID, circuit_id: UUID) -> list[UseFacts]:
    """Return the machines at a circuit itself, in the order of time."""
    return uses_where(session, site_id, EquipmentUse.circuit_id == circuit_id)


def uses_where(session: Session, site_id: UUID, where: ColumnElement[bool]) -> list[UseFacts]:
    """Return uses of machines, each machine as it is known now."""
    state = EquipmentState
    rows = session.execute(
        select(EquipmentUse, state.model, state.asset_number)
        .outerjoin(
            state,
            (state.site_id == EquipmentUse.site_id)
            & (state.equipment_id == EquipmentUse.equipment_id)
            & state.valid_to.is_(None)
            & state.superseded_no.is_(None),
        )
        .where(EquipmentUse.site_id == site_id, where, believed_at(EquipmentUse, None))
        .order_by(EquipmentUse.recorded_no, EquipmentUse.line)
    )
    found = [
        UseFacts(
            use_id=use.use_id,
            equipment_id=use.equipment_id,
            kind=use.kind,
            model=model or "",
            asset_number=asset_number or "",
            serial=use.serial,
            from_=use.valid_from,
            until=use.valid_to,
            none_used=use.none_used,
            disputed=use.disputed,
        )
        for use, model, asset_number in rows
    ]
    return sorted(found, key=lambda use: use.from_)


def keepers(session: Session, site_id: UUID, circuit_id: UUID) -> list[KeeperFacts]:
    """Return who kept the circuit for inspection, first keeper first."""
    rows = session.execute(
        select(Custody, KeptApart.text)
        .outerjoin(KeptApart, KeptApart.id == Custody.kept_id)
        .where(
            Custody.site_id == site_id,
            Custody.circuit_id == circuit_id,
            believed_at(Custody, None),
        )
        .order_by(Custody.valid_from, Custody.recorded_no)
    )
    return [
        KeeperFacts(
            keeper="" if row.kept_id is None else text or "erased",
            reason=row.reason,
            from_=row.valid_from,
            until=row.valid_to,
        )
        for row, text in rows
    ]


def kept_circuits(session: Session, site_id: UUID) -> list[KeptFacts]:
    """Return the circuits that are kept for inspection, with their last keeper."""
    rows = session.execute(
        select(Circuit.id, Circuit.number)
        .join(
            CircuitPhase,
            (CircuitPhase.site_id == Circuit.site_id) & (CircuitPhase.circuit_id == Circuit.id),
        )
        .where(
            CircuitPhase.site_id == site_id,
            CircuitPhase.phase == Phase.KEPT,
            CircuitPhase.superseded_no.is_(None),
            CircuitPhase.valid_to.is_(None),
        )
        .order_by(Circuit.number)
    )
    return [
        KeptFacts(number=row.number, keeper=keeper)
        for row in rows
        for keeper in keepers(session, site_id, row.id)
        if keeper.until is None
    ]


def tag_is_old(session: Session, site_id: UUID, circuit_id: UUID) -> bool:
    """Tell whether the use-by was decided anew after the tag was printed last."""
    decided = (
        select(Prime.recorded_no)
        .filter_by(site_id=site_id, circuit_id=circuit_id, superseded_no=None)
        .order_by(Prime.recorded_no.desc())
        .limit(1)
    )
    printed = (
        select(PrintOrder.recorded_no)
        .filter_by(site_id=site_id, circuit_id=circuit_id)
        .order_by(PrintOrder.recorded_no.desc())
        .limit(1)
    )
    last, order = session.scalar(decided), session.scalar(printed)
    return last is not None and order is not None and order < last
