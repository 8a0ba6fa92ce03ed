"""A recall answer in words.

No answer begins "none" while any circuit cannot be excluded, and none comes without its coverage.
"""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Final
from zoneinfo import ZoneInfo

from traceability.domain.exposure import Shelf
from traceability.domain.parts import Known, PartState
from traceability.domain.spans import Span
from traceability.recall.answer import Answer
from traceability.recall.on_runs import PieceRow
from traceability.recall.question import ProductNamed, Question
from traceability.recall.sort_shelves import CircuitRow, RunRow, was_dropped

CAUTION: Final = "This record supports the decision. It does not make it."

REASONS: Final[Mapping[str, str]] = {
    "claim_disputed": "two records claim it, nobody has ruled",
    "contents_unknown": "contents not recorded",
    "flow_on_not_recorded": "flow on was not recorded",
    "inner_lot_not_known": "inside the pack, inner lot not known",
    "lot_not_recorded": "lot not recorded",
    "lot_text_alike": "lot text alike",
    "maker_not_recorded": "product not recorded",
    "prime_not_ended": "the prime has no recorded end, places of this kind are empty",
    "serial_not_recorded": "serial not recorded",
    "serial_text_alike": "serial text alike",
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

EXPLAIN: Final = {
    "confirmed": "The record says so.",
    "inferred": "None: this answer does not count stock. What a count would show stands below.",
    "cannot": "The record has a gap here.",
    "excluded": "Another lot or product, none fitted, or a prime that was stopped; no gap.",
}


def question_words(question: Question) -> str:
    """Return the question as a sentence that names each product with what is asked of it."""
    named = "; ".join(_asked_of(product, question) for product in question.products)
    return f"Which circuits held {named}, and who was connected to them?"


def product_words(product: ProductNamed) -> str:
    """Return a product's name with its maker and item number."""
    if not product.known:
        return f"code {product.identifier}, a product not known here"
    named = f"{product.name} of {product.maker}"
    return f"{named}, item {product.item_number}" if product.item_number else named


def _asked_of(product: ProductNamed, question: Question) -> str:
    lots = [lot.text for lot in question.lots if lot.product.id == product.id]
    serials = [unit.serial for unit in question.units if unit.product.id == product.id]
    what = [_listed("lot", lots)] if lots else []
    what += [_listed("serial", serials)] if serials else []
    return f"{product_words(product)}, {' or '.join(what) or 'any lot'}"


def _listed(word: str, texts: Sequence[str]) -> str:
    return f"{word}{'' if len(texts) == 1 else 's'} {', '.join(texts)}"


def subject_words(question: Question) -> str:
    """Return the short name of the question for headers."""
    lots = ", ".join(lot.text for lot in question.lots[:3])
    more = f" and {len(question.lots) - 3} more" if len(question.lots) > 3 else ""  # noqa: PLR2004
    if lots:
        return f"Lot {lots}{more}"
    if question.units:
        return f"Serial {question.units[0].serial}"
    return question.products[0].name or f"Code {question.products[0].identifier}"


def head_words(answer: Answer) -> str:
    """Return the one sentence that answers."""
    sure, may_be = len(answer.confirmed), len(answer.cannot_be_excluded)
    what = "this lot" if len(answer.question.lots) == 1 else "it"
    beside = _beside_words(answer, what)
    if not sure and not may_be:
        looked_at = _count(answer.coverage.circuits, "circuit")
        said = f"No circuit held {what}. {looked_at} looked at, no gaps."
        return f"{beside} {said}" if beside else said
    open_words = f"{may_be} cannot be excluded."
    if not sure:
        return (
            f"{beside} No circuit is confirmed; {open_words}"
            if beside
            else (f"None confirmed. {open_words}")
        )
    return f"{_count(sure, 'circuit')} held {what}. {open_words}{' ' if beside else ''}{beside}"


def _beside_words(answer: Answer, what: str) -> str:
    """Return how many runs met it without a circuit; empty where none did or may have."""
    sure = {row.piece.run_id or row.piece.circuit for row in answer.pieces_on(Shelf.CONFIRMED)}
    open_rows = answer.pieces_on(Shelf.CANNOT_BE_EXCLUDED)
    may_be = {row.piece.run_id or row.piece.circuit for row in open_rows} - sure
    said = [f"{_count(len(sure), 'run')} met {what} outside a circuit."] if sure else []
    said += (
        [f"{_count(len(may_be), 'run')} outside a circuit cannot be excluded."] if may_be else []
    )
    return " ".join(said)


def coverage_lines(answer: Answer, zone: ZoneInfo) -> list[str]:
    """Return coverage and cut-off, on negative answers too."""
    cover, cut = answer.coverage, answer.cut
    last = f"last entry {moment(cut.recorded_at, zone)}" if cut.recorded_at else "nothing recorded"
    return [
        f"Looked at {_count(cover.circuits, 'circuit')}: {cover.complete} with complete lots for "
        f"this kind of part, {cover.with_gap} with a gap, "
        f"{cover.unknown} with contents not recorded.",
        f"As known on {moment(answer.known_at, zone)}; {last}, entry number {cut.number}.",
    ]


def why_words(row: CircuitRow) -> str:
    """Return why a circuit stands where it stands, from the parts that put it there."""
    if row.reasons:
        said = "; ".join(REASONS.get(code, code) for code in row.reasons)
        named = _part_words(row)
        return f"{said[0].upper()}{said[1:]}{': ' if named else ''}{named}."
    return f"{_part_words(row)}."


def _part_words(row: CircuitRow) -> str:
    groups: dict[tuple[str, str, str], int] = {}
    for part in row.parts:
        lot = f"lot {part.lot}" if part.lot else _STATES.get(part.state, "lot not recorded")
        if part.serial:
            lot += f", serial {part.serial}"
        gone = "discarded before use" if was_dropped(part, row.circuit) else "taken out again"
        out = gone if part.end is not None else ""
        stays = "its fluid may have stayed in" if part.stays and part.end is not None else ""
        used = "used in priming" if part.leaves else ""
        told = "stated by the sending hospital" if part.known == Known.STATED else ""
        more = ", ".join(word for word in (told, out, stays, used) if word)
        key = (part.kind.replace("-", " "), lot, more)
        groups[key] = groups.get(key, 0) + 1
    return "; ".join(
        f"{count} × {kind}, {lot}{f', {more}' if more else ''}"
        for (kind, lot, more), count in groups.items()
    )


def piece_why(row: PieceRow) -> str:
    """Return what the run part or machine is, and why it stands where it stands."""
    piece = row.piece
    kind = piece.kind.replace("-", " ") if not piece.machine else piece.kind
    lot = f"lot {piece.lot}" if piece.lot else ""
    if not piece.machine and not lot:
        lot = _STATES.get(piece.state, "lot not recorded")
    serial = f"serial {piece.serial}" if piece.serial else ""
    if piece.machine and not serial:
        serial = "serial not recorded"
    named = ", ".join(each for each in (kind, lot, serial) if each)
    doubts = "; ".join(REASONS.get(code, code) for code in row.reasons)
    said = f"{doubts}: {named}" if doubts else named
    return f"{said[0].upper()}{said[1:]}."


def piece_where(row: PieceRow) -> str:
    """Return where it lies or served, as far as is recorded."""
    piece = row.piece
    if piece.machine:
        return f"With circuit {piece.circuit}" if piece.circuit else "With the run"
    return piece.body_site.capitalize()


def piece_times(row: PieceRow, zone: ZoneInfo) -> str:
    """Return when the run met it: sure times, and longer possible ones apart."""
    sure, possible = row.exposure.sure, row.exposure.possible
    said = [spans_words(sure, zone)] if sure else []
    if possible and possible != sure:
        said.append(f"possible {spans_words(possible, zone)}")
    return ". ".join(said) or "On no run"


_STATES: Final = {
    PartState.INSIDE_PACK: "inside the pack, inner lot not known",
    PartState.LOT_NOT_READABLE: "lot not readable",
    PartState.LOT_NOT_RECORDED: "lot not recorded",
    PartState.TICKED: "ticked as fitted, no lot asked for",
}


def where_words(row: CircuitRow, zone: ZoneInfo) -> str:
    """Return where the circuit is now."""
    circuit = row.circuit
    since = f" since {moment(circuit.phase_since, zone)}" if circuit.phase_since else ""
    state = circuit.phase.capitalize() or "Not known"
    if circuit.phase == "primed":
        state, since = "On the shelf", ""
    return f"{state}{since}{', ' if circuit.place else ''}{circuit.place}"


def run_words(run: RunRow, zone: ZoneInfo) -> str:
    """Return when a run met the part: sure times, and longer possible ones apart; or why not."""
    if run.shelf is Shelf.EXCLUDED:
        return f"excluded: {'; '.join(SPARED.get(code, code) for code in run.reasons)}"
    sure, possible = run.exposure.sure, run.exposure.possible
    said = []
    if sure:
        said.append(spans_words(sure, zone))
    if run.exposure.longer_possible or not sure:
        said.append(f"possible {spans_words(possible, zone)}")
    if run.reasons:
        said.append("; ".join(REASONS.get(code, code) for code in run.reasons))
    if run.run.transferred:
        said.append("goes on beyond our record: transferred out")
    return ". ".join(said)


def spans_words(spans: Sequence[Span], zone: ZoneInfo) -> str:
    """Return times as words, zone shown."""
    return " and ".join(
        f"{moment(each.start, zone)} to {moment(each.end, zone) if each.end else 'not ended'}"
        for each in spans
    )


def moment(at: datetime | None, zone: ZoneInfo) -> str:
    """Return `2026-11-25 03:40 CET`."""
    return f"{at.astimezone(zone):%Y-%m-%d %H:%M %Z}" if at else ""


def _count(number: int, word: str) -> str:
    return f"{number} {word}{'' if number == 1 else 's'}"
