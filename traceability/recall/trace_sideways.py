"""What else shared a circuit, a day, a machine or a place with what was asked about.

Bounded: a few days, machines and places, each with its own count. They are those of the circuits
that the page lists.
"""

from collections.abc import Iterable, Mapping, Sequence
from typing import Final
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.domain.days import end_of_day, start_of_day
from traceability.domain.trace import Listed, Node, Sideways, Sort
from traceability.recall.asked_about import COUNT_MOST, Subject
from traceability.recall.cut import Cut
from traceability.recall.record import blocks
from traceability.recall.touched import circuit_ids
from traceability.recall.touched_then import circuits_begun_between, on_runs_between, stood_with
from traceability.recall.trace_beside import place_names
from traceability.recall.trace_circuits import CircuitTraced
from traceability.recall.trace_parts import parts_inside
from traceability.storage.base import believed_at
from traceability.storage.circuits import Circuit, CircuitPlace
from traceability.storage.runs import CircuitOnRun

WAYS: Final = 5
"""Days, machines or places that are followed, the newest first."""

EACH: Final = 20
"""Circuits that are named of each; all are counted."""


def sideways(
    session: Session,
    subject: Subject,
    seen: Sequence[CircuitTraced],
    mine: Sequence[UUID],
    lists: Mapping[Sort, Listed],
    cut: Cut,
    zone_name: str,
) -> tuple[Sideways, ...]:
    """Return what else there was; `mine` are the circuits that were asked about."""
    newest, own = list(reversed(seen)), set(mine)
    found: list[Sideways] = []
    if subject.node.sort in {Sort.LOT, Sort.UNIT, Sort.PRODUCT}:
        found += _in_the_same_circuits(session, subject, seen, cut)
    if subject.node.sort in {Sort.RUN, Sort.PATIENT}:
        found += _at_the_same_time(session, lists, own, cut)
    if subject.node.sort is not Sort.SPAN:
        found += _on_the_same_day(session, newest, own, cut, ZoneInfo(zone_name))
    if subject.node.sort is not Sort.MACHINE:
        found += _by_the_same_machine(session, lists, own, cut)
    if subject.node.sort is not Sort.PLACE:
        found += _in_the_same_place(session, newest, own, cut)
    return tuple(each for each in found if each.listed.total)


def _named(session: Session, ids: Iterable[UUID], cut: Cut) -> Listed:
    """Return these circuits by number, newest first; the first few are named."""
    every = sorted(set(ids), reverse=True)
    rows = select(Circuit.id, Circuit.number, Circuit.circuit_type, Circuit.begun_at).where(
        Circuit.site_id.in_(cut.sites), Circuit.id.in_(every[:EACH])
    )
    nodes = [
        Node(
            sort=Sort.CIRCUIT,
            id=str(row.id),
            label=row.number,
            detail=row.circuit_type,
            start=row.begun_at,
        )
        for row in (session.execute(rows) if every else ())
    ]
    nodes.sort(key=lambda node: node.id, reverse=True)
    return Listed(
        nodes=tuple(nodes), total=min(len(every), COUNT_MOST), exact=len(every) <= COUNT_MOST
    )


def _in_the_same_circuits(
    session: Session, subject: Subject, seen: Sequence[CircuitTraced], cut: Cut
) -> list[Sideways]:
    found, _ = parts_inside(session, seen, cut, whole=True)
    nodes = [node for each in found.values() for node in each.nodes]
    if subject.node.sort is Sort.PRODUCT:
        mine = {node.key for node in nodes if node.of == subject.node.id}
    else:
        mine = {subject.node.key}
    others = [node for node in nodes if node.key not in mine]
    if not others:
        return []
    listed = Listed(nodes=tuple(others[:EACH]), total=len(others))
    through = seen[0].number if len(seen) == 1 else ""
    return [Sideways(by="circuit", through=through, listed=listed)]


def _on_the_same_day(
    session: Session, newest: Sequence[CircuitTraced], own: set[UUID], cut: Cut, zone: ZoneInfo
) -> list[Sideways]:
    days = list(dict.fromkeys(each.begun_at.astimezone(zone).date() for each in newest))[:WAYS]
    return [
        Sideways(
            by="day",
            through=day.isoformat(),
            listed=_named(
                session,
                set(
                    circuits_begun_between(
                        session, start_of_day(day, zone), end_of_day(day, zone), cut
                    )
                )
                - own,
                cut,
            ),
        )
        for day in days
    ]


def _at_the_same_time(
    session: Session, lists: Mapping[Sort, Listed], own: set[UUID], cut: Cut
) -> list[Sideways]:
    found = []
    runs = lists.get(Sort.RUN, Listed()).nodes
    for node in list(reversed(runs))[:WAYS]:
        rows = select(CircuitOnRun.valid_from, CircuitOnRun.valid_to).where(
            CircuitOnRun.site_id.in_(cut.sites),
            CircuitOnRun.run_id == UUID(node.id),
            believed_at(CircuitOnRun, cut.number),
        )
        met: set[UUID] = set()
        for start, end in session.execute(rows):
            last = end or cut.recorded_at or start
            links = on_runs_between(session, start, max(last, start), cut)
            met |= {link.circuit_id for link in links if str(link.run_id) != node.id}
        found.append(
            Sideways(by="time", through=node.label, listed=_named(session, met - own, cut))
        )
    return found


def _by_the_same_machine(
    session: Session, lists: Mapping[Sort, Listed], own: set[UUID], cut: Cut
) -> list[Sideways]:
    found = []
    for node in lists.get(Sort.MACHINE, Listed()).nodes[:WAYS]:
        kind, colon, _ = node.id.partition(":")
        if colon and node.id.endswith(":"):
            continue  # its serial was not recorded: it may be any machine
        key = () if colon else (UUID(node.id),)
        ids = circuit_ids(session, Subject(node=node, ids=key, kind=kind if colon else ""), cut)
        listed = _named(session, set(ids) - own, cut)
        found.append(Sideways(by="machine", through=node.label, listed=listed))
    return found


def _in_the_same_place(
    session: Session, newest: Sequence[CircuitTraced], own: set[UUID], cut: Cut
) -> list[Sideways]:
    names = place_names(session, cut)
    stays = []
    for block in blocks([each.id for each in newest[:WAYS]]):
        rows = (
            select(CircuitPlace.place_id, CircuitPlace.valid_from, CircuitPlace.valid_to)
            .where(
                CircuitPlace.site_id.in_(cut.sites),
                CircuitPlace.circuit_id.in_(block),
                believed_at(CircuitPlace, cut.number),
            )
            .order_by(CircuitPlace.valid_from.desc())
        )
        stays += [(row.place_id, row.valid_from, row.valid_to) for row in session.execute(rows)]
    met: dict[UUID, set[UUID]] = {}
    for place_id, start, end in stays[: 2 * WAYS]:
        met.setdefault(place_id, set()).update(stood_with(session, place_id, start, end, cut))
    return [
        Sideways(by="place", through=names.get(place, ""), listed=_named(session, ids - own, cut))
        for place, ids in met.items()
    ]
