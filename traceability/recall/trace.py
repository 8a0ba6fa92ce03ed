"""A trace: what a thing touched, forwards to patients, backwards to lots, and sideways.

No recall answer: it follows what is recorded and says nothing about what is not. Times and doubts
are judged by the same functions as an answer's. The number of circuits is found through indexes;
everything else is read for the circuits of one page.
"""

from collections.abc import Sequence
from datetime import datetime
from typing import Final
from uuid import UUID

from sqlalchemy.orm import Session

from traceability.domain.spans import without
from traceability.domain.trace import Link, Listed, Node, Sort, Stay, StayKind, Sure, Trace
from traceability.recall.asked_about import COUNT_MOST, Subject
from traceability.recall.cut import Cut, cut_at
from traceability.recall.known_meetings import Claim
from traceability.recall.touched import circuit_ids, has_more_lots, run_ids
from traceability.recall.trace_beside import machines_beside, people_beside, places_beside
from traceability.recall.trace_circuits import (
    CircuitTraced,
    PieceIn,
    circuits_traced,
    claim_sure,
    met,
    pieces_in,
)
from traceability.recall.trace_parts import (
    own_run_parts,
    parts_inside,
    run_parts_inside,
)
from traceability.recall.trace_people import entries_of, patients_met
from traceability.recall.trace_runs import over_time, run_nodes
from traceability.recall.trace_sideways import sideways
from traceability.storage.circuits import Part

SHOWN: Final = 40
"""Nodes of one sort on a page."""

OF_PARTS: Final = {Sort.LOT, Sort.UNIT, Sort.PRODUCT}


def trace(
    session: Session,
    subject: Subject,
    *,
    zone_name: str,
    as_of_no: int | None = None,
    first: int = 0,
    patients: bool = False,
    shown: int = SHOWN,
) -> Trace:
    """Return what a thing touched, as of a ledger number; `first` circuits are passed over.

    `zone_name`: whose days count. `patients`: whether who asks may see that there are any; their
    texts are never in a trace.
    """
    cut = cut_at(session, as_of_no)
    ids = circuit_ids(session, subject, cut)
    counted, page = ids[:COUNT_MOST], ids[first : first + shown]
    seen = circuits_traced(session, page, cut)
    own_runs, runs_through, taken = run_ids(session, subject, counted, cut)
    is_exact = len(ids) <= COUNT_MOST and not has_more_lots(session, subject, cut)
    rows = _rows(session, subject, page, cut) if subject.node.sort in OF_PARTS else {}
    begun = sorted(seen.values(), key=lambda each: (each.begun_at, each.number))
    lists = {
        Sort.CIRCUIT: Listed(
            nodes=tuple(circuit_node(each) for each in begun),
            total=len(counted),
            first=first,
            exact=is_exact,
        )
    }
    links = [link for each in begun for link in _links(subject, each, rows.get(each.id))]
    of_shown = {run.run_id: None for each in begun for run in each.claims}
    mine = own_runs if first == 0 else []
    all_runs = list(dict.fromkeys([*own_runs, *runs_through]))
    shown_runs = list(dict.fromkeys([*mine[:shown], *of_shown]))
    nodes = run_nodes(session, shown_runs[: 2 * shown], cut)
    lists[Sort.RUN] = Listed(nodes=nodes, total=len(all_runs), first=first, exact=is_exact)
    runs = [UUID(node.id) for node in nodes]
    if subject.node.sort in OF_PARTS:
        links += own_run_parts(session, subject, runs, cut)
    else:
        for found, met in (
            parts_inside(session, begun, cut, whole=subject.node.sort is Sort.CIRCUIT),
            run_parts_inside(session, runs, cut),
        ):
            for sort, each in found.items():
                lists[sort] = _joined(lists.get(sort), each)
            links += met
    for sort, (listed, met) in {
        Sort.MACHINE: machines_beside(session, [each.id for each in begun], runs, cut),
        Sort.PLACE: places_beside(session, [each.id for each in begun], cut),
        Sort.PERSON: people_beside(session, [each.id for each in begun], cut),
    }.items():
        if sort is not Sort.PERSON or subject.node.sort in {Sort.CIRCUIT, Sort.RUN, Sort.PERSON}:
            lists[sort], links = listed, [*links, *met]
    if patients:
        lists[Sort.PATIENT], met = patients_met(session, subject, runs, all_runs, cut)
        links += met
    if subject.node.sort in {Sort.PERSON, Sort.SPAN}:
        links += _plain(subject, begun, links)
    known = {subject.node.key} | {node.key for each in lists.values() for node in each.nodes}
    return Trace(
        subject=subject.node,
        lists={
            sort: _without(each, subject.node)
            for sort, each in lists.items()
            if sort is not subject.node.sort or sort is Sort.CIRCUIT or len(each.nodes) > 1
        },
        links=tuple(
            link
            for link in dict.fromkeys(links)
            if {link.source, link.target} <= known and link.source != link.target
        ),
        stays=tuple(stay for each in begun for stay in _stays(each, rows.get(each.id))),
        over_time=over_time(session, counted, taken, cut, zone_name) if len(ids) > shown else {},
        sideways=sideways(session, subject, begun, counted, lists, cut, zone_name),
        entries=entries_of(session, subject, cut),
        cut_no=cut.number,
        recorded_at=cut.recorded_at,
    )


def circuit_node(circuit: CircuitTraced) -> Node:
    """Return a circuit as a node."""
    return Node(
        sort=Sort.CIRCUIT,
        id=str(circuit.id),
        label=circuit.number,
        detail=circuit.circuit_type,
        start=circuit.begun_at,
        end=circuit.end,
    )


def _plain(subject: Subject, begun: Sequence[CircuitTraced], links: Sequence[Link]) -> list[Link]:
    """Return a link to each circuit that has none: taken by the person, or of those days."""
    linked = {link.target for link in links if link.source == subject.node.key}
    keys = [circuit_node(each).key for each in begun]
    return [Link(source=subject.node.key, target=key) for key in keys if key not in linked]


def _joined(one: Listed | None, other: Listed) -> Listed:
    nodes = {node.key: node for each in (one or Listed(), other) for node in each.nodes}
    return Listed(nodes=tuple(nodes.values()), total=max(len(nodes), (one or other).total))


def _without(listed: Listed, subject: Node) -> Listed:
    """Return the list without what was asked about, which stands apart; a circuit stays in it."""
    if subject.sort is Sort.CIRCUIT or subject.key not in {node.key for node in listed.nodes}:
        return listed
    rest = tuple(node for node in listed.nodes if node.key != subject.key)
    return Listed(nodes=rest, total=listed.total - 1, first=listed.first, exact=listed.exact)


def _rows(
    session: Session, subject: Subject, page: Sequence[UUID], cut: Cut
) -> dict[UUID, list[PieceIn]]:
    """Return the parts asked about in the circuits of a page."""
    match subject.node.sort:
        case Sort.UNIT:
            parts = pieces_in(session, page, cut, Part.unit_id.in_(subject.ids))
        case Sort.LOT:
            parts = pieces_in(session, page, cut, Part.lot_id.in_(subject.ids))
        case _:
            parts = pieces_in(session, page, cut, Part.product_id.in_(subject.ids))
    of_circuit: dict[UUID, list[PieceIn]] = {}
    for part in sorted(parts, key=lambda each: (each.start, each.slot, each.ordinal)):
        of_circuit.setdefault(part.circuit_id, []).append(part)
    return of_circuit


def _links(
    subject: Subject, circuit: CircuitTraced, pieces: Sequence[PieceIn] | None
) -> list[Link]:
    node = circuit_node(circuit).key
    found = [
        Link(
            source=node,
            target=f"{Sort.RUN}:{claim.run_id}",
            sure=claim_sure(claim, pieces),
            start=claim.flow_from or claim.taken_at,
            end=claim.end,
        )
        for claim in circuit.claims
    ]
    if pieces:
        ends = [piece.end or circuit.end for piece in pieces]
        found.append(
            Link(
                source=subject.node.key,
                target=node,
                sure=Sure.POSSIBLE if all(each.disputed for each in pieces) else Sure.SURE,
                start=min(each.start for each in pieces),
                end=None if None in ends else max(end for end in ends if end),
            )
        )
    return found


def _stays(circuit: CircuitTraced, pieces: Sequence[PieceIn] | None) -> list[Stay]:
    lane = circuit_node(circuit).key
    inside = [(each.start, each.end or circuit.end, each.disputed) for each in pieces or ()]
    inside = inside or [(circuit.begun_at, circuit.end, False)]
    found = [
        Stay(
            lane=lane,
            kind=StayKind.IN_CIRCUIT,
            start=start,
            end=end,
            sure=Sure.POSSIBLE if disputed else Sure.SURE,
        )
        for start, end, disputed in dict.fromkeys(inside)
    ]
    for claim in circuit.claims:
        found += _of_claim(lane, claim, circuit.runs[claim.run_id], pieces)
    return found


def _of_claim(lane: str, claim: Claim, run: str, pieces: Sequence[PieceIn] | None) -> list[Stay]:
    def stay(kind: StayKind, start: datetime, end: datetime | None, sure: Sure) -> Stay:
        return Stay(lane=lane, kind=kind, start=start, end=end, sure=sure, label=run)

    doubt = Sure.POSSIBLE if claim.disputed else Sure.SURE
    flow, found = claim.flow_from, []
    if flow is None or flow > claim.taken_at:
        # Until flow on is recorded the patient may have been on it since it was taken.
        taken = Sure.POSSIBLE if flow is None and not claim.came_back else doubt
        found.append(stay(StayKind.TAKEN, claim.taken_at, flow or claim.end, taken))
    if flow is None or claim.came_back:
        return found
    if pieces is None:
        return [*found, stay(StayKind.ON_PATIENT, flow, claim.end, doubt)]
    sure, possible = met(claim, pieces)
    on = StayKind.ON_PATIENT
    found += [stay(on, each.start, each.end, Sure.POSSIBLE) for each in without(possible, sure)]
    return [*found, *(stay(on, each.start, each.end, Sure.SURE) for each in sure)]
