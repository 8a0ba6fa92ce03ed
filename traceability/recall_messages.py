"""A recall answer in words.

No answer begins "none" while anything cannot be excluded, and none comes without its coverage. The
scope's own words are in `scope_messages`.
"""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Final
from zoneinfo import ZoneInfo

from traceability.domain.exposure import Shelf
from traceability.domain.parts import Known, PartState
from traceability.domain.spans import Span
from traceability.recall.answered import (
    Answer,
    CircuitRow,
    Coverage,
    MetRow,
    PartRow,
    PatientRow,
    StockRow,
)
from traceability.recall.circuits_seen import CircuitSeen
from traceability.scope_messages import units_words

CAUTION: Final = "This record supports the decision. It does not make it."

REASONS: Final[Mapping[str, str]] = {
    "claim_disputed": "two records claim it, nobody has ruled",
    "contents_unknown": "contents not recorded",
    "date_not_known": "a date that decides is not known",
    "flow_on_not_recorded": "flow on was not recorded",
    "inner_lot_not_known": "inside the pack, inner lot not known",
    "lot_not_recorded": "lot not recorded",
    "lot_text_alike": "text alike, nobody has ruled",
    "maker_not_recorded": "product not recorded",
    "prime_not_ended": "the prime has no recorded end, places of this kind are empty",
    "same_place": "a machine asked for stood in the same place",
    "serial_not_recorded": "serial not recorded",
    "stock_book_incomplete": "lot not recorded, and the stock book cannot narrow it",
    "time_not_known": "how long it was in is not known",
}

SPARED: Final[Mapping[str, str]] = {
    "came_back_unused": "came back unused, seal unbroken",
    "dropped_before_use": "the part was discarded before use",
    "part_in_after_flow_off": "the part went in after flow off",
    "part_out_before_flow_on": "the part was out before flow on",
    "used_in_priming": "used in priming only",
}

EXCLUDED: Final[Mapping[str, str]] = {
    "not_fitted": "no part of this kind fitted",
    "no_such_part": "no part of this kind recorded, and no place for one is empty",
    "other_lot": "every part of this kind is recorded with another lot or product",
    "prime_stopped": "the prime was stopped and never taken; places of this kind were empty",
}

EXPLAIN: Final[Mapping[Shelf, str]] = {
    Shelf.CONFIRMED: "The record says so.",
    Shelf.INFERRED: "Not read from the piece, and there is no other way: a carton, the stock book, "
    "the register or the maker's own statement leaves no choice.",
    Shelf.CANNOT_BE_EXCLUDED: "The record has a gap here.",
    Shelf.EXCLUDED: "Another lot or product, none fitted, or a prime that was stopped; no gap.",
}

NAMES: Final[Mapping[Shelf, str]] = {
    Shelf.CONFIRMED: "Confirmed",
    Shelf.INFERRED: "Inferred",
    Shelf.CANNOT_BE_EXCLUDED: "Cannot be excluded",
    Shelf.EXCLUDED: "Excluded",
}


def head_words(answer: Answer) -> str:
    """Return the one sentence that answers."""
    counts = {shelf: len(answer.circuits_on(shelf)) for shelf in Shelf}
    sure, inferred = counts[Shelf.CONFIRMED], counts[Shelf.INFERRED]
    may_be = counts[Shelf.CANNOT_BE_EXCLUDED]
    what = what_words(answer)
    beside = _beside_words(answer, what)
    if not sure and not inferred and not may_be:
        looked_at = count_words(answer.coverage.circuits, "circuit")
        gaps = answer.coverage.with_gap + answer.coverage.unknown
        told = "no gaps" if not gaps else f"{count_words(gaps, 'gap')} that cannot be it"
        said = f"No circuit held {what}. {looked_at} looked at, {told}."
        return f"{beside} {said}" if beside else said
    more = [f"{inferred} inferred."] if inferred else []
    more += [f"{may_be} cannot be excluded."]
    if not sure:
        first = f"{beside} No circuit is confirmed;" if beside else "None confirmed."
        return f"{first} {' '.join(more)}"
    said = f"{count_words(sure, 'circuit')} held {what}. {' '.join(more)}"
    return f"{said} {beside}" if beside else said


def what_words(answer: Answer) -> str:
    """Return "this lot" for a question about one lot, else "it"."""
    clauses = answer.scope.clauses
    tests = clauses[0].tests if len(clauses) == 1 else ()
    return "this lot" if len(tests) == 1 and units_words(tests[0]).startswith("lot ") else "it"


def _beside_words(answer: Answer, what: str) -> str:
    """Return how many patients met it without a circuit; empty where none did or may have."""
    own = [row for row in answer.patients if row.parts]
    sure = [row for row in own if row.shelf in {Shelf.CONFIRMED, Shelf.INFERRED}]
    said = [f"{count_words(len(sure), 'patient')} met {what} outside a circuit."] if sure else []
    if may_be := len(own) - len(sure):
        said.append(f"{count_words(may_be, 'patient')} outside a circuit cannot be excluded.")
    return " ".join(said)


def coverage_lines(answer: Answer, zone: ZoneInfo) -> list[str]:
    """Return coverage and cut-off, on negative answers too."""
    cover, cut = answer.coverage, answer.cut
    last = f"last entry {moment(cut.recorded_at, zone)}" if cut.recorded_at else "nothing recorded"
    since = f" since {moment(cover.first_at, zone)}" if cover.first_at else ""
    lines = [
        f"Looked at {count_words(cover.circuits, 'circuit')} and {count_words(cover.runs, 'run')}"
        f"{since}: {cover.complete} circuits with complete lots for this kind of part, "
        f"{cover.with_gap} with a gap, {cover.unknown} with contents not recorded."
        f"{_parts_words(cover)}",
        f"As known on {moment(answer.known_at, zone)}; {last}, entry number {cut.number}.",
    ]
    if answer.contradicted:
        kinds = ", ".join(kind.replace("-", " ") for kind in answer.contradicted)
        lines.append(
            f"The stock book of {kinds} contradicts itself: more of a lot was used than had come. "
            "Nothing was narrowed by it. Mend the book, then ask again."
        )
    elif answer.not_narrowed:
        kinds = ", ".join(kind.replace("-", " ") for kind in answer.not_narrowed)
        lines.append(
            f"Stock book of {kinds} not said to be complete: nothing was narrowed by counting."
        )
    return lines


def _parts_words(cover: Coverage) -> str:
    if not cover.parts:
        return ""
    parts = count_words(cover.parts, "part")
    return f" {parts} of the kind, {cover.parts_with_lot} with their lot."


def why_words(row: CircuitRow | PatientRow) -> str:
    """Return why a row stands where it stands, from the parts that put it there."""
    named = _part_words(row.parts)
    if row.shelf is Shelf.INFERRED:
        return f"{_inferred_words(row.parts)}: {named}."
    if not row.reasons:
        return f"{named}." if named else ""
    said = "; ".join(REASONS.get(code, code) for code in row.reasons)
    narrowed = _may_be_words(row.parts)
    return f"{said[0].upper()}{said[1:]}{': ' if named else ''}{named}.{narrowed}"


def _inferred_words(parts: Sequence[PartRow]) -> str:
    """Return what leaves no other way."""
    alone = [part for part in parts if part.shelf is Shelf.INFERRED]
    if not alone:
        return (
            f"Of {len(parts)} parts without a lot at least one must be it: by the stock book not "
            "enough others were free"
        )
    part = alone[0]
    if part.known == Known.COUNTED:
        return "The carton's code was read once, the pieces were counted by hand"
    if part.state == PartState.INSIDE_PACK:
        return "The maker states what packs of this lot hold"
    lots = _either(lot for _, lot in part.may_be)
    if lots:
        return f"By the stock book it can only have been lot {lots}"
    return "No other unit of the register was free at that time"


def _may_be_words(parts: Sequence[PartRow]) -> str:
    narrowed = next((part for part in parts if part.may_be and not part.lot), None)
    if narrowed is None:
        return ""
    lots = _either(lot for _, lot in narrowed.may_be)
    return f" By the stock book it can be lot {lots}. Its wrapper, or a count, would settle it."


def _part_words(parts: Sequence[PartRow]) -> str:
    groups: dict[tuple[str, str, str], int] = {}
    for part in parts:
        key = (part.kind.replace("-", " "), _identity_words(part), _told_words(part))
        groups[key] = groups.get(key, 0) + 1
    return "; ".join(
        f"{count} × {kind}, {lot}{f', {more}' if more else ''}"
        for (kind, lot, more), count in groups.items()
    )


def _identity_words(part: PartRow) -> str:
    is_machine = not part.slot and part.lot is None and part.serial is not None
    lot = f"lot {part.lot}" if part.lot else _STATES.get(part.state, "lot not recorded")
    if is_machine:
        return f"serial {part.serial}"
    return f"{lot}, serial {part.serial}" if part.serial else lot


def _told_words(part: PartRow) -> str:
    gone = "discarded before use" if part.dropped else "taken out again"
    said = (
        "stated by the sending hospital" if part.known == Known.STATED else "",
        "counted by hand from a carton" if part.known == Known.COUNTED else "",
        gone if part.end is not None else "",
        "its fluid may have stayed in" if part.stays and part.end is not None else "",
        "used in priming" if part.leaves else "",
        part.body_site,
    )
    return ", ".join(word for word in said if word)


_STATES: Final[Mapping[str, str]] = {
    PartState.INSIDE_PACK: "inside the pack, inner lot not known",
    PartState.LOT_NOT_READABLE: "lot not readable",
    PartState.LOT_NOT_RECORDED: "lot not recorded",
    PartState.TICKED: "ticked as fitted, no lot asked for",
}


def where_words(seen: CircuitSeen, zone: ZoneInfo) -> str:
    """Return where a circuit is now."""
    since = f" since {moment(seen.phase_since, zone)}" if seen.phase_since else ""
    state = seen.phase.capitalize() or "Not known"
    if seen.phase == "primed":
        state, since = "On the shelf", ""
    return f"{state}{since}{', ' if seen.place else ''}{seen.place}"


def met_words(met: MetRow, zone: ZoneInfo) -> str:
    """Return when a run met the circuit's part: sure times and longer possible ones; or why not."""
    if met.shelf is Shelf.EXCLUDED:
        return f"excluded: {'; '.join(SPARED.get(code, code) for code in met.reasons)}"
    said = times_words(met.shelf, met.sure, met.possible, zone)
    if met.reasons:
        said.append("; ".join(REASONS.get(code, code) for code in met.reasons))
    if met.transferred:
        said.append("goes on beyond our record: transferred out")
    return ". ".join(said)


def patient_times(row: PatientRow, zone: ZoneInfo) -> str:
    """Return when a patient met it, over all circuits and runs."""
    said = times_words(row.shelf, row.sure, row.possible, zone)
    if row.continues_beyond_our_record:
        said.append("goes on beyond our record: transferred out")
    return ". ".join(said)


def times_words(
    shelf: Shelf, sure: Sequence[Span], possible: Sequence[Span], zone: ZoneInfo
) -> list[str]:
    """Return sure times, and possible ones where they are longer; what is inferred says so."""
    said = [spans_words(sure, zone)] if sure else []
    if tuple(possible) != tuple(sure):
        word = "inferred" if shelf is Shelf.INFERRED else "possible"
        said.append(f"{word} {spans_words(possible, zone)}")
    return said


def stock_words(row: StockRow) -> str:
    """Return what is on a shelf, and whether it is held."""
    lot = f"lot {row.lot}" if row.lot else "no lot"
    doubts = "; ".join(REASONS.get(code, code) for code in row.reasons)
    held = "on hold" if row.on_hold else "not on hold"
    return ", ".join(word for word in (f"{row.quantity} of {lot}", doubts, held) if word)


def left_words(answer: Answer) -> list[str]:
    """Return how many units of each lot asked for can be left, by the stock book."""
    said = []
    for (_, lot), left in answer.stock_left.items():
        if left is None:
            continue
        least, most = left
        how_many = str(least) if least == most else f"{least} to {most}"
        said.append(f"Of lot {lot} {how_many} must be left by the stock book.")
    return said


def spans_words(spans: Sequence[Span], zone: ZoneInfo) -> str:
    """Return times as words, zone shown."""
    return " and ".join(
        f"{moment(each.start, zone)} to {moment(each.end, zone) if each.end else 'not ended'}"
        for each in spans
    )


def moment(at: datetime | None, zone: ZoneInfo) -> str:
    """Return `2026-11-25 03:40 CET`."""
    return f"{at.astimezone(zone):%Y-%m-%d %H:%M %Z}" if at else ""


def count_words(number: int, word: str) -> str:
    """Return "1 circuit", "2 circuits"."""
    return f"{number} {word}{'' if number == 1 else 's'}"


def _either(words: Iterable[str]) -> str:
    return " or ".join(sorted(set(words)))
