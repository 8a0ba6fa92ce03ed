"""A recall answer as a trace, so that the same pictures are drawn of it.

Only what is not excluded is in it. Whose patients they are is left out unless it is asked for.
"""

from collections.abc import Sequence
from typing import Final
from uuid import UUID

from traceability.domain.exposure import Shelf
from traceability.domain.spans import without
from traceability.domain.trace import Link, Listed, Node, Sort, Stay, StayKind, Sure, Trace
from traceability.recall.answered import Answer, CircuitRow, MetRow, PatientRow

SURE: Final = {
    Shelf.CONFIRMED: Sure.SURE,
    Shelf.INFERRED: Sure.INFERRED,
    Shelf.CANNOT_BE_EXCLUDED: Sure.POSSIBLE,
    Shelf.EXCLUDED: Sure.APART,
}


def trace_of(
    answer: Answer, label: str, *, patients: bool, shown: int = 40, detail: str = ""
) -> Trace:
    """Return the answer as a trace.

    `label`: what was asked, in the words of who shows it. `shown`: circuits that are nodes; all
    are counted.
    """
    subject = Node(sort=Sort.SCOPE, id=answer.digest, label=label, detail=detail)
    rows = sorted(answer.circuits[:shown], key=lambda row: (row.begun_at, row.number))
    in_picture = {row.circuit_id for row in rows}
    people = [
        row for row in answer.patients if not row.circuit_ids or in_picture & {*row.circuit_ids}
    ][:shown]
    links = [
        Link(source=subject.key, target=_circuit(row).key, sure=SURE[row.shelf]) for row in rows
    ]
    links += [_link(row, each) for row in rows for each in row.met]
    runs = {node.key: node for row in rows for each in row.met for node in [_run(each)]}
    runs |= {node.key: node for row in people for node in _runs(row)}
    links += [link for row in people for link in _without_circuit(subject, row)]
    lists = {
        Sort.CIRCUIT: Listed(
            nodes=tuple(_circuit(row) for row in rows), total=len(answer.circuits)
        ),
        Sort.RUN: Listed(nodes=tuple(runs.values()), total=len({*answer.run_ids, *runs_of(rows)})),
    }
    if patients:
        named = [row for row in people if row.patient_id]
        lists[Sort.PATIENT] = Listed(
            nodes=tuple(_patient(row) for row in named), total=_named(answer)
        )
        links += [
            Link(source=node.key, target=_patient(row).key) for row in named for node in _runs(row)
        ]
    return Trace(
        subject=subject,
        lists=lists,
        links=tuple(links),
        stays=(
            *(stay for row in rows for stay in _stays(row)),
            *(stay for row in people for stay in _beside(row)),
        ),
        over_time=_by_month(answer.circuits) if len(answer.circuits) > shown else {},
        cut_no=answer.cut.number,
        recorded_at=answer.cut.recorded_at,
    )


def runs_of(rows: Sequence[CircuitRow]) -> set[UUID]:
    """Return all runs that these circuits were on."""
    return {each.run_id for row in rows for each in row.met}


def _named(answer: Answer) -> int:
    return len({row.patient_id for row in answer.patients if row.patient_id})


def _circuit(row: CircuitRow) -> Node:
    return Node(sort=Sort.CIRCUIT, id=str(row.circuit_id), label=row.number, start=row.begun_at)


def _runs(row: PatientRow) -> list[Node]:
    return [
        Node(sort=Sort.RUN, id=str(run_id), label=number)
        for run_id, number in zip(row.run_ids, row.runs, strict=True)
    ]


def _patient(row: PatientRow) -> Node:
    number = row.runs[0] if row.runs else ""
    return Node(sort=Sort.PATIENT, id=str(row.patient_id), label=f"Patient of {number}", of=number)


def _run(met: MetRow) -> Node:
    return Node(sort=Sort.RUN, id=str(met.run_id), label=met.run)


def _link(row: CircuitRow, met: MetRow) -> Link:
    return Link(
        source=_circuit(row).key,
        target=_run(met).key,
        sure=SURE[met.shelf],
        start=met.flow_from or met.taken_at,
        end=met.end,
    )


def _without_circuit(subject: Node, row: PatientRow) -> list[Link]:
    """Return links to the runs of run parts and machines, which met them without a circuit."""
    if not row.parts and row.circuit_ids:
        return []
    return [Link(source=subject.key, target=node.key, sure=SURE[row.shelf]) for node in _runs(row)]


def _beside(row: PatientRow) -> list[Stay]:
    """Return when a run part or a machine met a patient whom no circuit of the answer met."""
    nodes = _runs(row)
    if row.circuit_ids or not nodes:
        return []
    times = [(each, Sure.POSSIBLE) for each in without(row.possible, row.sure)]
    times += [(each, Sure.SURE) for each in row.sure]
    return [
        Stay(
            lane=nodes[0].key,
            kind=StayKind.ON_PATIENT,
            start=each.start,
            end=each.end,
            sure=sure,
            label=", ".join(row.runs),
        )
        for each, sure in times
    ]


def _stays(row: CircuitRow) -> list[Stay]:
    lane = _circuit(row).key
    times = {(part.start, part.end): SURE[part.shelf] for part in reversed(row.parts)}
    if not row.parts:
        times[row.begun_at, None] = SURE[row.shelf]
    found = [
        Stay(
            lane=lane,
            kind=StayKind.IN_CIRCUIT,
            start=start,
            end=end,
            sure=sure,
            label="" if row.parts else "contents not recorded",
        )
        for (start, end), sure in times.items()
    ]
    for met in row.met:
        sure = Sure.INFERRED if met.shelf is Shelf.INFERRED else Sure.SURE
        for spans, how in (
            (without(met.possible, met.sure), Sure.POSSIBLE),
            (met.sure, sure),
        ):
            found += [
                Stay(
                    lane=lane,
                    kind=StayKind.ON_PATIENT,
                    start=each.start,
                    end=each.end,
                    sure=how,
                    label=met.run,
                )
                for each in spans
            ]
    return found


def _by_month(rows: Sequence[CircuitRow]) -> dict[str, tuple[int, int]]:
    found: dict[str, tuple[int, int]] = {}
    for row in sorted(rows, key=lambda each: each.begun_at):
        month = f"{row.begun_at:%Y-%m}"
        begun, taken = found.get(month, (0, 0))
        found[month] = (begun + 1, taken + bool(row.run_ids))
    return found
