"""A lot over time: a lane for each circuit it is or was in, thick while that was on a patient."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Final
from uuid import UUID
from zoneinfo import ZoneInfo

from traceability.reads.lots import LotFacts
from traceability.recall.answered import CircuitRow
from traceability.recall.circuits_seen import CircuitSeen
from traceability.web.pictures.timeline import Bar, Dot, Lane, draw

MOST_LANES: Final = 16
"""Circuits drawn, on a patient now first, then the newest; all of them stand in the list."""
GONE: Final = frozenset({"ended", "discarded", "transferred out"})


def lot_life(
    lot: LotFacts,
    rows: Sequence[CircuitRow],
    seen: Mapping[UUID, CircuitSeen],
    now: datetime,
    zone: ZoneInfo,
) -> str:
    """Return the lot's timeline as SVG."""
    lanes = [_lane(row, seen[row.circuit_id], lot.text) for row in rows[:MOST_LANES]]
    held = tuple(
        Bar(each.from_, each.until, "open", (f"on hold, {each.notice or each.reason}",))
        for each in lot.holds
    )
    came = [Dot(each.at, "received") for each in lot.told if each.kind == "stock-received"]
    first = () if came or not lot.told else (Dot(lot.told[-1].at, "first named here"),)
    lanes.append(Lane("On hold", held))
    lanes.append(Lane("Acts", dots=(*sorted(came, key=lambda dot: dot.at), *first)))
    hidden = len(rows) - MOST_LANES
    note = f"{hidden} more circuits are listed below and not drawn" if hidden > 0 else ""
    drawn = [lane for lane in lanes if lane.bars or lane.dots]
    return draw(f"Lot {lot.text} over time", drawn, now, zone, key="lot", note=note)


def _lane(row: CircuitRow, seen: CircuitSeen, text: str) -> Lane:
    over = seen.phase_since if seen.phase in GONE else None
    parts = [part for part in row.parts if part.lot == text] or list(row.parts)
    start = min(part.start for part in parts)
    ends = [part.end for part in parts if part.end is not None]
    end = max(ends) if len(ends) == len(parts) else over
    count = f"{len(parts)} pieces" if len(parts) > 1 else seen.circuit_type or ""
    bars = [Bar(start, end, "thin", (count,))]
    for met in row.met:
        bars += [Bar(span.start, span.end, "thick", (met.run,)) for span in met.sure]
        if not met.sure:
            bars += [
                Bar(span.start, span.end, "open", (f"{met.run}, possible",))
                for span in met.possible
            ]
    return Lane(row.number, (*bars[1:], bars[0]))
