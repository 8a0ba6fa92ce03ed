"""How tests ask for lots, pieces and scopes, and read what the answer says."""

from collections.abc import Sequence
from uuid import UUID

from sqlalchemy.orm import Session

from tests.make import Ward
from traceability.domain.exposure import Shelf
from traceability.domain.keys import product_key
from traceability.domain.notice_scope import Scope
from traceability.recall.answer import Answer, answer
from traceability.recall.answered import CircuitRow, PatientRow
from traceability.recall.question import Question, question_of, scope_of


def key(gtin: str) -> UUID:
    """Return the product's id."""
    return product_key("gs1", gtin, site_id=UUID(int=0))


def answered(session: Session, ward: Ward, scope: Scope, as_of_no: int | None = None) -> Answer:
    """Return the answer, asked at the ward's own time."""
    return answer(session, scope, zone=ward.site.zone, now=ward.now, as_of_no=as_of_no)


def told(ward: Ward, scope: Scope, as_of_no: int | None = None) -> Answer:
    """Return the answer in a session of its own."""
    with ward.reads() as session:
        return answered(session, ward, scope, as_of_no)


def asked(
    ward: Ward, gtin: str, lot: str = "", serial: str = "", as_of_no: int | None = None
) -> Answer:
    """Ask for a lot or a piece of a product, or for the whole product."""
    lots = [(key(gtin), lot)] if lot else []
    serials = [(key(gtin), serial)] if serial else []
    with ward.reads() as session:
        question = question_of(session, [key(gtin)], lots, serials=serials)
        assert question is not None
        return answered(session, ward, scope_of(question), as_of_no)


def scopes(questions: Sequence[Question | None]) -> list[Scope]:
    """Return the questions as scopes; none of them may be without meaning."""
    assert all(questions)
    return [scope_of(each) for each in questions if each]


def confirmed(found: Answer) -> tuple[CircuitRow, ...]:
    """Return the circuits of the first shelf."""
    return found.circuits_on(Shelf.CONFIRMED)


def may_be(found: Answer) -> tuple[CircuitRow, ...]:
    """Return the circuits that cannot be excluded."""
    return found.circuits_on(Shelf.CANNOT_BE_EXCLUDED)


def numbers(rows: Sequence[CircuitRow]) -> list[str]:
    """Return the circuits' numbers."""
    return [row.number for row in rows]


def beside(found: Answer) -> list[PatientRow]:
    """Return the patients who met something that was in no circuit, or may have."""
    return [row for row in found.patients if row.parts]
