"""What a circuit tag says, from the record. Never a patient."""

from dataclasses import replace
from typing import Final
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.domain.at_the_run import ADDITIVE_SLOT
from traceability.domain.parts import PartState
from traceability.domain.sheets import BLOOD_KIND
from traceability.domain.tag_contents import GAPS, ContentsItem, TagContents, alike
from traceability.domain.tags import TagFacts, circuit_symbol
from traceability.reads.circuit_parts import PartFacts
from traceability.reads.circuits import CircuitFacts
from traceability.reads.lists import site_facts
from traceability.storage.items import Product
from traceability.storage.lookup import sheet_of

WAYS: Final = {"wet-closed": "wet, closed", "wet-open": "wet, opened", "dry": "dry, not filled"}


def tag_facts(
    session: Session, circuit: CircuitFacts, *, zone: ZoneInfo, copy: int, reason: str
) -> TagFacts:
    """Return the facts of the circuit's tag; `reason` words the limit that decides its use-by."""
    site = site_facts(session)
    signed = {each.part: each for each in circuit.signatures}
    primer, helper = signed.get("primer"), signed.get("helper")
    oxygenator = next((part for part in circuit.now_in if part.kind == "oxygenator"), None)
    lines = _prime_lines(session, circuit, site.site_id)
    facts = TagFacts(
        site_name=site.name,
        unit=site.unit,
        ring=site.ring,
        number=circuit.number,
        circuit_type=circuit.circuit_type or "Primed elsewhere",
        place=circuit.place,
        way=WAYS.get(circuit.way, ""),
        use_by=circuit.use_by,
        use_by_reason=reason,
        prime_lines=lines,
        primed_at=circuit.ended_at,
        primer=primer.name if primer else circuit.primer,
        helper=helper.name if helper else circuit.helper,
        primer_signed_at=primer.at if primer else None,
        helper_signed_at=helper.at if helper else None,
        parts_line=parts_line(circuit.now_in),
        oxygenator_lot=(oxygenator.lot or "") if oxygenator else "",
        oxygenator_serial=(oxygenator.serial or "") if oxygenator else "",
        copy=copy,
        zone=zone,
        practice=site.practice,
        symbol=circuit_symbol(site.code, circuit.number),
    )
    contents = TagContents(
        site_code=site.code,
        number=circuit.number,
        circuit_type=facts.circuit_type,
        way=facts.way,
        prime=_joined(lines),
        coating=_coating(session, circuit, site.site_id),
        primed_at=circuit.ended_at,
        use_by=circuit.use_by,
        use_by_reason=reason,
        unsigned=facts.unsigned_words,
        site_name=site.name,
        unit=site.unit,
        ring=site.ring,
        items=_items(session, site.site_id, circuit.now_in),
        recorded=circuit.contents == "recorded",
        practice=site.practice,
        zone=zone,
    )
    return replace(facts, contents=contents)


def _coating(session: Session, circuit: CircuitFacts, site_id: UUID) -> str:
    """Return the coating and whence that is known: a part swapped since may have another."""
    sheet = sheet_of(session, site_id, circuit.circuit_type, circuit.sheet_version)
    return f"{sheet.coating} (by its sheet)" if sheet and sheet.coating else ""


def _joined(lines: tuple[str, ...]) -> str:
    """Return the lines about the prime as one text; the field's own name stands before it."""
    said = ". ".join(line.rstrip(".") for line in lines) + "."
    return said.removeprefix("Prime: ").removeprefix("Prime fluid: ")


def _items(
    session: Session, site_id: UUID, parts: tuple[PartFacts, ...]
) -> tuple[ContentsItem, ...]:
    """Return what is in it, pieces of one lot together; what is not fitted is not in it."""
    ids = {part.product_id for part in parts if part.product_id is not None}
    products = {
        product.id: product
        for product in session.scalars(
            select(Product).where(Product.site_id == site_id, Product.id.in_(ids))
        )
    }
    return alike(
        ContentsItem(
            count=1,
            item=_item_of(products.get(part.product_id) if part.product_id else None, part),
            lot=part.lot or "",
            serial=part.serial or "",
            gap="" if part.lot or part.serial else GAPS.get(part.state, ""),
        )
        for part in parts
        if part.state is not PartState.NOT_FITTED
    )


def _item_of(product: Product | None, part: PartFacts) -> str:
    """Return the issuing agency's key; GS1's stands alone, being all digits. Else a name."""
    if product is None:
        return part.name or part.place
    return product.identifier if product.standard == "gs1" else _keyed(product)


def _keyed(product: Product) -> str:
    named = product.identifier or product.name
    return named if product.standard == "none" else f"{product.standard}.{named}"


def parts_line(parts: tuple[PartFacts, ...]) -> str:
    """Return "18 parts: 15 own lot or serial, 3 inside the pack"; gaps are never left out."""
    counted = [part for part in parts if part.state is not PartState.TICKED]
    names = {
        PartState.RECORDED: "own lot or serial",
        PartState.INSIDE_PACK: "inside the pack",
        PartState.LOT_NOT_READABLE: "lot not readable",
        PartState.LOT_NOT_RECORDED: "lot not recorded",
        PartState.NOT_FITTED: "not fitted",
    }
    said = [
        f"{count} {words}"
        for state, words in names.items()
        if (count := sum(part.state is state for part in counted))
    ]
    return f"{len(counted)} parts: {', '.join(said)}" if counted else "Contents not recorded"


def _prime_lines(session: Session, circuit: CircuitFacts, site_id: object) -> tuple[str, ...]:
    if circuit.contents in {"not-recorded", "partly"}:
        return ("Contents not recorded.", "Ask the sending unit for its list.")
    fluids: list[str] = []
    for part in circuit.now_in:
        if part.kind == "fluid" and part.product_id is not None:
            product = session.scalar(select(Product).filter_by(site_id=site_id, id=part.product_id))
            name = (product.substance or product.name) if product else part.name
            if name not in fluids:
                fluids.append(name)
    volume = f", {circuit.fill_ml / 1000:g} L" if circuit.fill_ml else ""
    first = f"Prime: {' and '.join(fluids)}{volume}" if fluids else "Prime fluid: not recorded"
    blood = any(part.kind == BLOOD_KIND for part in circuit.now_in)
    given = [part.name for part in circuit.now_in if part.slot == ADDITIVE_SLOT]
    added = f"Given: {'; '.join(given)}." if given else "No additives recorded."
    return (first, f"{'BLOOD IN THE PRIME' if blood else 'No blood'}. {added}")
