"""The lots, pieces and gaps inside the circuits and runs of a trace."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final, TypeAlias
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.domain.parts import PartState
from traceability.domain.trace import Link, Listed, Node, Sort, Sure
from traceability.recall.asked_about import Subject
from traceability.recall.cut import Cut
from traceability.recall.record import blocks
from traceability.recall.touched import run_parts_of
from traceability.recall.trace_circuits import CircuitTraced, PieceIn, pieces_in
from traceability.storage.base import believed_at
from traceability.storage.items import Lot, Product
from traceability.storage.run_extras import RunPart

MOST: Final = 40
"""Lots, pieces or gaps that are listed; of more it says how many."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """A part of a circuit or of a run, for some time."""

    kind: str
    state: str
    product_id: UUID | None
    lot_id: UUID | None
    lot: str | None
    serial: str | None
    start: datetime
    end: datetime | None
    disputed: bool


def _of_circuit(part: PieceIn, over: datetime | None) -> Piece:
    """Return the piece; it leaves with the circuit's end, a fluid never before."""
    return Piece(
        kind=part.kind,
        state=part.state,
        product_id=part.product_id,
        lot_id=part.lot_id,
        lot=part.lot,
        serial=part.serial,
        start=part.start,
        end=part.end or over,
        disputed=part.disputed,
    )


def _of_run(row: RunPart, lot: str | None) -> Piece:
    return Piece(
        kind=row.kind,
        state=row.state,
        product_id=row.product_id,
        lot_id=row.lot_id,
        lot=lot,
        serial=row.serial,
        start=row.valid_from,
        end=row.valid_to,
        disputed=row.disputed,
    )


Beside: TypeAlias = tuple[Mapping[Sort, Listed], list[Link]]
NOT_IN: Final = {PartState.NOT_FITTED, PartState.TICKED}
"""States of places that hold nothing anybody could be asked about by name."""


def parts_inside(
    session: Session, found: Sequence[CircuitTraced], cut: Cut, *, whole: bool
) -> Beside:
    """Return what is or was in these circuits; the lots of one circuit are all listed (`whole`)."""
    ends = {each.id: each.end for each in found}
    parts = pieces_in(session, [each.id for each in found], cut)
    names = product_names(session, {part.product_id for part in parts}, cut)
    nodes: dict[str, Node] = {}
    links: dict[tuple[str, str], Link] = {}
    for part in sorted(parts, key=lambda each: (each.start, each.slot, each.ordinal)):
        if part.state in NOT_IN:
            continue
        piece = _of_circuit(part, ends.get(part.circuit_id))
        node = part_node(piece, names)
        nodes[node.key] = node
        target = f"{Sort.CIRCUIT}:{part.circuit_id}"
        keep(links, node.key, target, piece)
    return _sorted_out(nodes, 10 * MOST if whole else MOST), list(links.values())


def keep(links: dict[tuple[str, str], Link], source: str, target: str, piece: Piece) -> None:
    """Join a piece's time to the link of the same two nodes; sure if any of them is."""
    start, end = piece.start, piece.end
    sure = Sure.POSSIBLE if piece.disputed else Sure.SURE
    was = links.get((source, target))
    if was is not None and was.start is not None:
        sure = Sure.SURE if Sure.SURE in {sure, was.sure} else sure
        start = min(start, was.start)
        end = None if end is None or was.end is None else max(end, was.end)
    links[source, target] = Link(source=source, target=target, sure=sure, start=start, end=end)


def part_node(piece: Piece, names: Mapping[UUID, tuple[str, str]]) -> Node:
    """Return the node of a piece: its own serial, its lot, or what is not known of it."""
    kind = piece.kind.replace("-", " ")
    name, maker = names.get(piece.product_id, ("", "")) if piece.product_id else ("", "")
    detail = ", ".join(word for word in (name or kind, maker) if word)
    if piece.serial and piece.product_id:
        return Node(
            sort=Sort.UNIT,
            id=f"{piece.product_id}:{piece.serial}",
            label=piece.serial,
            detail=detail,
            of=str(piece.product_id),
        )
    if piece.lot_id is not None and piece.lot:
        return Node(
            sort=Sort.LOT,
            id=str(piece.lot_id),
            label=piece.lot,
            detail=detail,
            of=str(piece.product_id or ""),
        )
    return Node(
        sort=Sort.GAP,
        id=f"{piece.state}:{piece.kind}:{piece.product_id or ''}",
        label=name or kind,
        detail=piece.state,
    )


def product_names(
    session: Session, ids: Iterable[UUID | None], cut: Cut
) -> dict[UUID, tuple[str, str]]:
    """Return name and maker of products; a fluid by its substance in full."""
    found: dict[UUID, tuple[str, str]] = {}
    for block in blocks(sorted({each for each in ids if each is not None})):
        rows = select(Product.id, Product.name, Product.substance, Product.maker).where(
            Product.site_id.in_(cut.sites), Product.id.in_(block)
        )
        found |= {row.id: (row.substance or row.name, row.maker) for row in session.execute(rows)}
    return found


def _sorted_out(nodes: Mapping[str, Node], most: int) -> dict[Sort, Listed]:
    found: dict[Sort, Listed] = {}
    for sort in (Sort.LOT, Sort.UNIT, Sort.GAP):
        mine = [node for node in nodes.values() if node.sort is sort]
        mine.sort(key=lambda node: (node.detail, node.label, node.id))
        if mine:
            found[sort] = Listed(nodes=tuple(mine[:most]), total=len(mine))
    return found


def run_parts_inside(session: Session, run_ids: Sequence[UUID], cut: Cut) -> Beside:
    """Return what lies or lay in the patients of these runs."""
    rows: list[tuple[UUID, Piece]] = []
    for block in blocks(run_ids):
        select_ = (
            select(RunPart, Lot.text)
            .outerjoin(Lot, (Lot.site_id == RunPart.site_id) & (Lot.id == RunPart.lot_id))
            .where(
                RunPart.site_id.in_(cut.sites),
                RunPart.run_id.in_(block),
                believed_at(RunPart, cut.number),
            )
        )
        rows += [(row.run_id, _of_run(row, lot)) for row, lot in session.execute(select_)]
    names = product_names(session, {piece.product_id for _, piece in rows}, cut)
    nodes: dict[str, Node] = {}
    links: dict[tuple[str, str], Link] = {}
    for run_id, piece in rows:
        node = part_node(piece, names)
        nodes[node.key] = node
        keep(links, node.key, f"{Sort.RUN}:{run_id}", piece)
    return _sorted_out(nodes, MOST), list(links.values())


def own_run_parts(
    session: Session, subject: Subject, run_ids: Sequence[UUID], cut: Cut
) -> list[Link]:
    """Return the links from a lot or piece to the runs in whose patients it lies or lay."""
    shown = set(run_ids)
    links: dict[tuple[str, str], Link] = {}
    for row in run_parts_of(session, subject, cut):
        if row.run_id in shown:
            piece = _of_run(row, None)
            keep(links, subject.node.key, f"{Sort.RUN}:{row.run_id}", piece)
    return list(links.values())
