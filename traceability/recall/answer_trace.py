"""A recall answer as a trace, so that the same pictures are drawn of it.

Only what is not excluded is in it. Whose patients they are is left out unless it is asked for.
"""

from collections.abc import Sequence
from typing import Final

from traceability.domain.exposure import Shelf
from traceability.domain.spans import without
from traceability.domain.trace import Link, Listed, Node, Sort, Stay, StayKind, Sure, Trace
from traceability.recall.answered import Answer, CircuitRow, PartRow, PatientRow

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
    links += [link for row in people for link in _met(subject, row, rows)]
    runs = {node.key: node for row in people for node in _runs(row)}
    lists = {
        Sort.CIRCUIT: Listed(
            nodes=tuple(_circuit(row) for row in rows), total=len(answer.circuits)
        ),
        Sort.RUN: Listed(
            nodes=tuple(runs.values()),
            total=len({run for row in answer.patients for run in row.run_ids}),
        ),
    }
    if patients:
        lists[Sort.PATIENT] = Listed(
            nodes=tuple(_patient(row) for row in people if row.patient_id), total=_named(answer)
        )
        links += [
            Link(source=node.key, target=_patient(row).key)
            for row in people
            if row.patient_id
            for node in _runs(row)
        ]
    return Trace(
        subject=subject,
        lists=lists,
        links=tuple(links),
        stays=(*_in_circuits(rows), *(stay for row in people for stay in _exposed(row, patients))),
        over_time=_by_month(answer.circuits) if len(answer.circuits) > shown else {},
        cut_no=answer.cut.number,
        recorded_at=answer.cut.recorded_at,
    )


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


def _met(subject: Node, row: PatientRow, circuits: Sequence[CircuitRow]) -> list[Link]:
    sure = SURE[row.shelf]
    found = [
        Link(source=_circuit(each).key, target=f"{Sort.RUN}:{run}", sure=sure)
        for each in circuits
        if each.circuit_id in row.circuit_ids
        for run in each.run_ids
        if run in row.run_ids
    ]
    # A run part or a machine met the run itself, without a circuit between.
    linked = {link.target for link in found}
    for run in _runs(row):
        if run.key not in linked and (row.parts or not row.circuit_ids):
            found.append(Link(source=subject.key, target=run.key, sure=sure))
    return found


def _in_circuits(rows: Sequence[CircuitRow]) -> list[Stay]:
    found: list[Stay] = []
    for row in rows:
        parts: Sequence[PartRow] = row.parts
        times = {(part.start, part.end): SURE[part.shelf] for part in reversed(parts)}
        if not parts:
            times[row.begun_at, None] = SURE[row.shelf]
        found += [
            Stay(
                lane=_circuit(row).key,
                kind=StayKind.IN_CIRCUIT,
                start=start,
                end=end,
                sure=sure,
                label="" if parts else "contents not recorded",
            )
            for (start, end), sure in times.items()
        ]
    return found


def _exposed(row: PatientRow, patients: bool) -> list[Stay]:
    nodes = _runs(row)
    if not nodes:
        return []
    lane = _patient(row).key if patients and row.patient_id else nodes[0].key
    label = ", ".join(row.runs)
    sure = Sure.INFERRED if row.shelf is Shelf.INFERRED else Sure.SURE
    return [
        Stay(
            lane=lane,
            kind=StayKind.ON_PATIENT,
            start=span.start,
            end=span.end,
            sure=how,
            label=label,
        )
        for spans, how in (
            (without(row.possible, row.sure), Sure.POSSIBLE),
            (row.sure, sure),
        )
        for span in spans
    ]


def _by_month(rows: Sequence[CircuitRow]) -> dict[str, tuple[int, int]]:
    found: dict[str, tuple[int, int]] = {}
    for row in sorted(rows, key=lambda each: each.begun_at):
        month = f"{row.begun_at:%Y-%m}"
        begun, taken = found.get(month, (0, 0))
        found[month] = (begun + 1, taken + bool(row.run_ids))
    return found
