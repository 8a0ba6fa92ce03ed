"""The shelf as a sheet of paper, as a page that stands still, and as dates of a calendar."""

from collections.abc import Iterator
from datetime import datetime
from typing import Final
from zoneinfo import ZoneInfo

from traceability.domain.circuits import State
from traceability.domain.readiness import Why
from traceability.domain.shelf_list import ShelfLine, ShelfSection, ShelfSheet
from traceability.exchange.calendar import CalendarDate
from traceability.reads.circuits import CircuitFacts
from traceability.reads.lists import SiteFacts
from traceability.reads.shelf import OnShelf, RequiredPlace, Shelf
from traceability.recall_messages import moment
from traceability.shelf_messages import STILL, WAYS, say_findings, say_reasons

CAUTION: Final = "Inspect before use. The record is not the inspection."
_BEADS: Final = {State.ON_HOLD: "shut", State.PAST_USE_BY: "shut"}


def shelf_sheet(found: Shelf, site: SiteFacts, now: datetime, zone: ZoneInfo) -> ShelfSheet:
    """Return the shelf as words; nobody who was told by hand is named."""
    wanted = [line for each in found.required for line in _place(each, zone)]
    sections = [
        ShelfSection(name="Places for a ready circuit", lines=tuple(wanted)),
        ShelfSection(
            name="Primed, at no place for a ready one: not counted",
            lines=tuple(_not_counted(each, zone) for each in found.elsewhere),
        ),
        ShelfSection(
            name="Being primed",
            lines=tuple(_other(each, "Being primed", zone) for each in found.priming),
        ),
        ShelfSection(
            name="Taken, flow on not recorded",
            lines=tuple(_other(each, "Taken", zone, "May come back") for each in found.away),
        ),
        ShelfSection(
            name="On a patient",
            lines=tuple(_other(each, "On a patient", zone) for each in found.on_patient),
        ),
    ]
    at = moment(now, zone)
    return ShelfSheet(
        unit=f"{site.unit}, {site.name}",
        headline=f"{found.ready} of {found.target} ready",
        as_known=at,
        still=STILL.format(at=at),
        ring=site.ring,
        practice=site.practice,
        sections=tuple(section for section in sections if section.lines),
        caution=CAUTION,
    )


def _place(each: RequiredPlace, zone: ZoneInfo) -> Iterator[ShelfLine]:
    for one in each.ready:
        yield _line(one, "whole", "Ready", zone)
    if each.missing:
        since = f"Since {moment(each.missing_since, zone)}" if each.missing_since else ""
        told = [f"Told by hand {moment(one.at, zone)}" for one in each.told]
        count = f"{each.missing} missing" if each.missing > 1 else "Missing"
        yield ShelfLine(
            bead="open",
            place=f"{each.place.name}, {each.place.stands_for}",
            number="",
            state=count,
            use_by="",
            details=tuple(line for line in (since, *told) if line),
        )
    for one in each.not_counted:
        yield _not_counted(one, zone)


def _not_counted(one: OnShelf, zone: ZoneInfo) -> ShelfLine:
    why = say_reasons(one.reasons)
    bead = _BEADS.get(one.circuit.state, "wait")
    return _line(one, bead, f"Not counted: {why}" if why else "Not counted", zone)


def _line(one: OnShelf, bead: str, state: str, zone: ZoneInfo) -> ShelfLine:
    circuit = one.circuit
    looked = (
        f"Last looked at {moment(one.look.at, zone)}: {say_findings(one.look.findings)}"
        if one.look
        else "Not looked at since it was primed"
    )
    due = f"Look due since {moment(one.look_due_at, zone)}" if one.look_overdue else ""
    opened = (
        f"Opened {moment(circuit.opened_at, zone)}: an older tag shows a use-by that is too late"
        if circuit.opened_at
        else ""
    )
    wet = f"Wet for {one.wet_days} days: plasticiser note" if one.wet_days else ""
    kind = ", ".join(word for word in (circuit.circuit_type, WAYS.get(circuit.way, "")) if word)
    soon = "Use-by within 24 h" if one.soon else ""
    return ShelfLine(
        bead=bead,
        place=circuit.place or "no place recorded",
        number=circuit.number,
        state=state,
        use_by=moment(circuit.use_by, zone) if circuit.use_by else "not known",
        details=tuple(line for line in (kind, opened, soon, looked, due, wet) if line),
    )


def _other(circuit: CircuitFacts, state: str, zone: ZoneInfo, more: str = "") -> ShelfLine:
    run = circuit.on_run
    since = run.flow_from or run.taken_at if run else circuit.begun_at
    return ShelfLine(
        bead="open" if circuit.state is State.PRIMING else "known",
        place=circuit.place,
        number=circuit.number,
        state=f"{state} since {moment(since, zone)}",
        use_by=moment(circuit.use_by, zone) if circuit.use_by else "",
        details=tuple(
            line for line in (more, f"Run {run.run}" if run else circuit.circuit_type) if line
        ),
    )


def shelf_dates(found: Shelf) -> Iterator[CalendarDate]:
    """Yield the use-by of each primed circuit and the next look at it; no people."""
    standing = [one for each in found.required for one in (*each.ready, *each.not_counted)] + list(
        found.elsewhere
    )
    for one in standing:
        circuit = one.circuit
        why = say_reasons(one.reasons)
        note = f"Not counted as ready: {why}." if why else ""
        if circuit.use_by is not None:
            yield CalendarDate(
                key=f"use-by-{circuit.id}",
                at=circuit.use_by,
                summary=f"{circuit.number}: use-by ends, {circuit.place or 'no place recorded'}",
                description=" ".join(
                    each for each in (note, "Prime another before, discard this one.") if each
                ),
            )
        if Why.PAST_USE_BY not in one.reasons:
            yield CalendarDate(
                key=f"look-{circuit.id}",
                at=one.look_due_at,
                summary=f"{circuit.number}: look at it, {circuit.place or 'no place recorded'}",
                description=" ".join(
                    each
                    for each in (note, "Seal, clamps, level, connections. Scan its tag.")
                    if each
                ),
            )
