"""A list of parts that is filled in line by line in one form, and sent as one act.

Each scan comes as a form of its own; the lines read so far travel with it in hidden fields. So
the page needs no script, nothing is written before all of it is sent, and a lost network loses
one scan at most.
"""

import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from typing import Final
from uuid import UUID

from flask import request

from traceability.actions.prime.pieces import NO_CIRCUIT, read_piece
from traceability.actions.prime.placing import understood_facts
from traceability.actions.prime.scanned import Question, Understood
from traceability.domain.parts import Known, PartState
from traceability.domain.trolley import Verdict
from traceability.errors import BadValue
from traceability.messages import Said, say_verdict
from traceability.reads.lists import ProductFacts, products
from traceability.web import session
from traceability.web.forms import whole

MOST_LINES: Final = 200
LONGEST_CODE: Final = 400
LONGEST_FIELD: Final = 80


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One part of the list, as plain values."""

    kind: str
    name: str = ""
    maker: str = ""
    product: str = ""
    """Id of the product; empty: not known."""
    lot: str = ""
    serial: str = ""
    expiry: str = ""
    volume: int = 0
    state: str = ""
    known: str = Known.SCANNED
    slot: str = ""
    ordinal: int = 0

    @property
    def product_id(self) -> UUID | None:
        """The product, if it is known."""
        return UUID(self.product) if self.product else None

    @property
    def text(self) -> str:
        """The line as it travels in the form."""
        return json.dumps(asdict(self), ensure_ascii=True)


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """The list as it stands in the form, and what was said of the last scan."""

    lines: tuple[Line, ...] = ()
    said: Said | None = None
    verdict: str = ""
    asked: str = ""
    """Code of the scan that was asked back, to be answered."""
    answers: tuple[tuple[str, str], ...] = ()
    """Values and labels of the buttons that answer it."""
    unknown: tuple[str, str] | None = None
    """Standard and identifier of a product that is not known here."""
    added: tuple[Line, ...] = ()
    """What this step added, not yet among the lines: the page gives each its place."""


def given_lines() -> tuple[Line, ...]:
    """Return the lines of the form.

    Raises:
        BadValue: a line that this page did not write.
    """
    texts = request.form.getlist("line")
    if len(texts) > MOST_LINES:
        raise BadValue(field="lines", value="", why="too-long")
    return tuple(_line(text) for text in texts)


def _line(text: str) -> Line:
    try:
        said = json.loads(text)
        line = Line(**said)
        _ = line.product_id
        sound = all(
            isinstance(value, int if name in {"volume", "ordinal"} else str)
            for name, value in asdict(line).items()
        )
    except (TypeError, ValueError, RecursionError):
        sound = False
    if not sound:
        raise BadValue(field="line of the list", value="", why="no-line")
    return line


def stepped(*, circuit_id: UUID = NO_CIRCUIT) -> Draft | None:
    """Do what was pressed short of sending the list: scan, type, take out; None: send it.

    Without a pressed button it is a scan: so a scanner's Enter works.
    """
    do, lines = request.form.get("do", "scan"), given_lines()
    if do == "scan" and not request.form.get("scan", "").strip():
        # Enter in one of the fields for typing presses the page's first button.
        typed = ("typed_lot", "typed_serial", "typed_expiry")
        do = "type" if any(request.form.get(name, "").strip() for name in typed) else do
    if do == "save":
        return None
    if do.startswith("out:"):
        return Draft(lines=tuple(line for n, line in enumerate(lines) if do != f"out:{n}"))
    if do == "type":
        return Draft(lines=lines, added=_typed())
    return _scanned(lines, do, circuit_id)


def _scanned(lines: tuple[Line, ...], do: str, circuit_id: UUID) -> Draft:
    ours, before = session.services(), request.form.get("asked", "")
    text = before if do in {"as-read", "alternative", "no-lot"} else request.form.get("scan", "")
    if not text.strip():
        return Draft(lines=lines)
    if len(text) > LONGEST_CODE:
        facts: dict[str, object] = {"reason": "too-long"}
        return Draft(lines=lines, said=say_verdict("look-again", "unreadable", facts))
    today = ours.now().astimezone(ours.settings.zone_info).date()
    with ours.reads() as reads:
        found = read_piece(
            reads,
            ours.site.id,
            text,
            today=today,
            previous=before if do == "scan" else "",
            chosen=do if do in {"as-read", "alternative"} else "",
            circuit_id=circuit_id,
        )
    if isinstance(found, Question):
        return _asked_back(lines, text, found)
    piece = found.piece
    if not piece.lot and not piece.serial and do != "no-lot":
        code, facts = "lot-not-in-code", dict(understood_facts(found))
        return Draft(
            lines=lines,
            said=say_verdict(Verdict.LOOK_AGAIN, code, facts),
            verdict=Verdict.LOOK_AGAIN,
            asked=text,
            answers=(("no-lot", "Add it: lot not readable"),),
        )
    return Draft(lines=lines, added=_times(_read(found)), verdict=Verdict.ACCEPTED)


def _asked_back(lines: tuple[Line, ...], text: str, question: Question) -> Draft:
    answers: tuple[tuple[str, str], ...] = ()
    if question.code == "compare":
        answers = (("as-read", "As read"),)
        if question.facts.get("has_other"):
            answers += (("alternative", f"Lot {question.facts.get('other_lot')}"),)
    identifier = question.facts.get("identifier")
    unknown = question.code == "unknown-product" and identifier
    keeps = question.keeps_text and question.code in {"compare", "half-label"}
    return Draft(
        lines=lines,
        said=say_verdict(Verdict.LOOK_AGAIN, question.code, dict(question.facts)),
        verdict=Verdict.LOOK_AGAIN,
        asked=text if keeps else "",
        answers=answers,
        unknown=(str(question.facts["standard"]), str(identifier)) if unknown else None,
    )


def _read(found: Understood) -> Line:
    piece = found.piece
    return Line(
        kind=piece.kind,
        name=piece.substance or piece.name,
        maker=piece.maker,
        product=str(found.product.id),
        lot=piece.lot or "",
        serial=piece.serial or "",
        expiry=found.expiry_printed or "",
        volume=piece.volume_ml or 0,
        state="" if piece.lot or piece.serial else PartState.LOT_NOT_READABLE,
    )


def _typed() -> tuple[Line, ...]:
    """Return the line that was typed.

    Raises:
        BadValue: a product that is not known, a text too long, no kind.
    """
    lot, serial, expiry = (
        request.form.get(f"typed_{name}", "").strip() for name in ("lot", "serial", "expiry")
    )
    for name, text in (("lot", lot), ("serial", serial), ("expiry", expiry)):
        if len(text) > LONGEST_FIELD or not (text.isprintable() or not text):
            raise BadValue(field=name, value="", why="too-long")
    chosen, kind = request.form.get("typed_product", ""), request.form.get("typed_kind", "")
    product = _product(session.key(chosen, "product")) if chosen else None
    if product is None and (lot or serial):
        raise BadValue(field="product", value="", why="empty")
    if product is None and not kind:
        raise BadValue(field="product", value="", why="empty")
    line = Line(
        kind=product.kind if product else kind,
        name=(product.substance or product.name) if product else "",
        maker=product.maker if product else "",
        product=str(product.id) if product else "",
        lot=lot,
        serial=serial,
        expiry=expiry,
        volume=(product.volume_ml or 0) if product else 0,
        state="" if lot or serial else PartState.LOT_NOT_RECORDED,
        known=Known.TYPED,
        slot=request.form.get("typed_slot", ""),
    )
    return _times(line)


def _product(product_id: UUID) -> ProductFacts:
    ours = session.services()
    with ours.reads() as reads:
        found = [each for each in products(reads, ours.site.id) if each.id == product_id]
    if not found:
        raise BadValue(field="product", value="", why="empty")
    return found[0]


def _times(line: Line) -> tuple[Line, ...]:
    """Return the line as often as was counted; one piece with a serial is one piece."""
    times = whole("times", default=1)
    if not 1 <= times <= 40 or (line.serial and times > 1):  # noqa: PLR2004 - as at the trolley
        raise BadValue(field="how many", value=str(times), why="out-of-range")
    counted = Known.COUNTED if times > 1 and line.known == Known.SCANNED else line.known
    return (replace(line, known=counted),) * times


def known_products() -> Sequence[ProductFacts]:
    """Return the products that a line can be typed with."""
    ours = session.services()
    with ours.reads() as reads:
        return products(reads, ours.site.id)
