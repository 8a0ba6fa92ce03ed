"""Papers that go with a circuit, from what its page shows."""

from dataclasses import replace

from flask import Response

from traceability.domain.contents_file import ContentsFile
from traceability.domain.papers import CircuitPaper, PaperPart
from traceability.domain.tags import circuit_symbol
from traceability.messages import say_limit
from traceability.moves_messages import GAPS, HOW
from traceability.printing.circuit_paper import render_circuit_paper
from traceability.printing.words import NO_BREAK
from traceability.reads.circuits import CircuitFacts
from traceability.reads.lists import site_facts
from traceability.reads.moves import contents_facts
from traceability.reads.steps import steps_by_number
from traceability.reads.tags import WAYS
from traceability.step_papers import steps_words
from traceability.web import session
from traceability.web.filters import moment


def pdf(data: bytes, name: str) -> Response:
    """Return a PDF that the browser shows."""
    answer = Response(data, mimetype="application/pdf")
    answer.headers["Content-Disposition"] = f'inline; filename="{name}.pdf"'
    return answer


def circuit_paper(
    circuit: CircuitFacts,
    *,
    title: str,
    head: str,
    facts: tuple[tuple[str, str], ...],
    blanks: tuple[str, ...],
    caution: str,
    foot: str,
) -> Response:
    """Return the sheet that goes with a circuit; never a patient, never a name."""
    ours = session.services()
    with ours.reads() as reads:
        contents, site = contents_facts(reads, ours.site.id, circuit.id), site_facts(reads)
        steps = steps_by_number(reads, ours.site.id, circuit.number)
    use_by = f"{moment(circuit.use_by)} ({say_limit(circuit.decides)})" if circuit.use_by else ""
    signed = f"{len(circuit.signatures)} of 2" if circuit.ended_at else ""
    paper = CircuitPaper(
        title=title,
        unit=f"{site.name}, {site.unit}",
        ring=site.ring,
        number=circuit.number,
        symbol=ours.own_keys.carrying(circuit_symbol(site.code, circuit.number)),
        practice=site.practice,
        head=head,
        facts=(
            ("Circuit type", circuit.circuit_type or "not recorded"),
            ("Primed", _primed(circuit)),
            ("Use by", use_by or "not known"),
            ("Signatures", signed),
            ("Steps of the prime", steps_words(steps)),
            *facts,
        ),
        contents=_contents(circuit, contents),
        parts=tuple(_part(contents)),
        blanks=blanks,
        caution=caution,
        foot=foot,
    )
    return pdf(
        render_circuit_paper(paper), f"{circuit.number}-{title.split(maxsplit=1)[0].lower()}"
    )


def _primed(circuit: CircuitFacts) -> str:
    if circuit.ended_at is None:
        return "elsewhere, not recorded here" if circuit.origin == "foreign" else "not recorded"
    fill = f", {circuit.fill_ml} ml" if circuit.fill_ml else ""
    taken = "; ".join(moment(each) for each in circuit.handed_over)
    hands = f"; taken over by another pair {taken}" if taken else ""
    return f"{moment(circuit.ended_at)}, {WAYS.get(circuit.way, circuit.way)}{fill}{hands}"


def _contents(circuit: CircuitFacts, contents: ContentsFile) -> str:
    count = f"{len(contents.parts)} parts"
    if contents.complete and circuit.listed is not None:
        return f"Contents: {count}, all of it, stated by the hospital that primed it."
    if contents.complete:
        return f"Contents: {count}, every place of the circuit."
    if contents.parts:
        return f"Contents: {count} are known. THE LIST IS NOT COMPLETE."
    return "CONTENTS NOT RECORDED."


def _part(contents: ContentsFile) -> list[PaperPart]:
    found: list[PaperPart] = []
    for part in contents.parts:
        product = part.product
        item = " ".join(
            word
            for word in (
                (product.substance or product.name) if product else "",
                f"({product.maker})" if product and product.maker else "",
            )
            if word
        )
        place = f"{part.place}, used in priming only" if part.priming_only else part.place
        found.append(
            PaperPart(
                place=place,
                item=item or part.kind.replace("-", " "),
                lot=part.lot or "",
                serial=part.serial or "",
                gap=GAPS.get(part.state, "lot not recorded"),
                expires=part.expires or "",
                known=HOW.get(part.known, part.known),
            )
        )
    return _together(found)


def _together(parts: list[PaperPart]) -> list[PaperPart]:
    """Return the lines with those that say the very same counted: "Cable ties × 6"."""
    counts: dict[PaperPart, int] = {}
    for part in parts:
        counts[part] = counts.get(part, 0) + 1
    return [
        replace(part, place=f"{part.place}{NO_BREAK}×{NO_BREAK}{count}") if count > 1 else part
        for part, count in counts.items()
    ]
