"""Parts in and out of circuits: placed, taken back, dropped, swapped, added."""

from collections.abc import Iterator
from dataclasses import replace

from traceability.domain.events import Kind, Recorded
from traceability.domain.parts import PartState
from traceability.domain.shelves import facts as told
from traceability.recall.told.registry import Place, Standing, Telling, stem, tells

NO_UNIT = {PartState.NOT_FITTED, PartState.INSIDE_PACK}
"""States of a place that stand for no unit of ours: nothing is in, or a pack brought it."""


def part_in(telling: Telling, row: Recorded, circuit: str) -> told.PartIn | None:
    """Return the unit that a part's row speaks of; None where it is none."""
    if row.text_or_none("state") in NO_UNIT:
        return None
    item, maker = telling.item(row.key_or_none("product"))
    return told.PartIn(
        p=_named(telling, row, circuit),
        item=item or row.text_or_none("kind") or "",
        maker=maker,
        lot=row.text_or_none("lot_text") or row.text_or_none("lot"),
        serial=row.text_or_none("serial"),
        box=row.text_or_none("box"),
    )


def part_primed(telling: Telling, row: Recorded, circuit: str) -> told.PartIn | None:
    """Return the unit that a row of a prime entered late speaks of."""
    place = _place(row, circuit)
    if place is not None and place in telling.primed:
        telling.names[row.text("part")] = telling.primed[place]
    part = part_in(telling, row, circuit)
    if part is not None and place is not None:
        telling.primed[place] = part.p
    return part


def _named(telling: Telling, row: Recorded, circuit: str) -> str:
    """Return the part's name: its id, unless a part went out of its place before it was entered."""
    part_id = row.text("part")
    awaited = telling.awaited.get(_place(row, circuit) or ("", "", 0))
    if awaited is not None:
        telling.names.setdefault(part_id, awaited)
    return telling.part_name(part_id)


def _place(row: Recorded, circuit: str) -> Place | None:
    slot = row.text_or_none("slot")
    return None if slot is None else (circuit, slot, row.number_of("ordinal", 1))


@tells(Kind.PART_PLACED)
def part_placed(telling: Telling, event: Recorded) -> Iterator[told.Fact]:
    """Scanned in, one or several; what stood in the place had been a slip."""
    circuit = event.text("circuit")
    ids = telling.several.setdefault(event.number, [])
    standing = telling.standing.setdefault(circuit, {})
    for line, body in enumerate(event.rows("parts")):
        row = event.inner(body)
        place = (row.text("slot"), row.number_of("ordinal"))
        before = standing.pop(place, None)
        if before is not None:
            slip = stem(event, f"slip-{line}")
            ids.append(slip["id"])
            yield told.Correction(**slip, of=before.fact, void=True)
        part = part_in(telling, row, circuit)
        if part is None:
            continue
        put = stem(event, str(line))
        ids.append(put["id"])
        telling.fact_of_part[row.text("part")] = put["id"]
        standing[place] = Standing(name=part.p, fact=put["id"], leaves=row.flag("leaves"))
        yield told.Swap(**put, circuit=circuit, part_in=part)


@tells(Kind.PART_TAKEN_BACK)
def part_taken_back(telling: Telling, event: Recorded) -> Iterator[told.Fact]:
    """Undo: what one act told was never so."""
    standing = telling.standing.get(event.text("circuit"), {})
    for line, fact in enumerate(telling.facts_of(event.number_of("undone_no"))):
        for place in [place for place, part in standing.items() if part.fact == fact]:
            del standing[place]
        yield told.Correction(**stem(event, str(line)), of=fact, void=True)


@tells(Kind.PART_DROPPED)
def part_dropped(telling: Telling, event: Recorded) -> Iterator[told.Fact]:
    """It fell: out again, and the unit is used."""
    circuit = event.text("circuit")
    standing = telling.standing.get(circuit, {})
    part = standing.pop((event.text("slot"), event.number_of("ordinal")), None)
    if part is not None:
        yield told.Swap(**stem(event), circuit=circuit, out=part.name)


@tells(Kind.PART_SWAPPED)
def part_swapped(telling: Telling, event: Recorded) -> Iterator[told.Fact]:
    """Old part out, new part in, or one of both."""
    circuit = event.text("circuit")
    out = _out(telling, event, circuit)
    joined = [part_in(telling, event.inner(row), circuit) for row in event.rows("part_in")]
    new = joined[0] if joined else None
    if new is not None and new.p == out:
        # Both stood in the place that a part was awaited for: it is the one that went out.
        part_id = event.inner(event.rows("part_in")[0]).text("part")
        telling.names[part_id] = part_id
        new = replace(new, p=part_id)
    yield told.Swap(**stem(event), circuit=circuit, out=out, part_in=new)


def _out(telling: Telling, event: Recorded, circuit: str) -> str | None:
    """Return the name of what went out, as the parts' own facts name it."""
    inside = event.text_or_none("out_inside")
    part_id = event.text_or_none("out")
    place = _place(event, circuit)
    if part_id is not None:
        name = telling.part_name(part_id)
    elif place is None or not event.flag("out_unknown"):
        return None
    else:
        name = telling.awaited.setdefault(place, "/".join(str(each) for each in place))
    return name if inside is None else f"{name}/{inside}"


@tells("part-added", "additive-given")
def part_added(telling: Telling, event: Recorded) -> Iterator[told.Fact]:
    """One more piece, or an additive."""
    circuit = event.text("circuit")
    part = part_in(telling, event, circuit)
    if part is not None:
        yield told.Swap(**stem(event), circuit=circuit, part_in=part)
