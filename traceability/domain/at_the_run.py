"""What belongs to a run and not to a circuit: mode, run parts, equipment; and a circuit kept.

The words are data for lists on the screen. Source: common practice, no source; settled in review
with people of the trade.
"""

from collections.abc import Iterable
from datetime import datetime
from typing import Final

from traceability.domain.spans import overlap, span

MODES: Final = ("VV", "VA", "other")
"""Veno-venous, veno-arterial, and whatever else is built at the bedside."""

RUN_PART_KINDS: Final = ("cannula", "guide-wire", "reperfusion-line")
"""Kinds of parts that lie in the patient: they survive a change of circuit."""

BODY_SITES: Final = (
    "right femoral vein",
    "left femoral vein",
    "right femoral artery",
    "left femoral artery",
    "right internal jugular vein",
    "left internal jugular vein",
    "right subclavian vein",
    "left subclavian vein",
    "right axillary artery",
    "left axillary artery",
    "right carotid artery",
    "left carotid artery",
    "right superficial femoral artery",
    "left superficial femoral artery",
    "ascending aorta",
    "right atrium",
    "left atrium",
    "pulmonary artery",
    "other",
    "not recorded",
)
"""Where a run part lies. "Not recorded" is a value: the record asks, and never insists."""

EQUIPMENT_KINDS: Final = ("console", "pump-drive", "heater-cooler", "blender")
"""Kinds of machines of the register."""

BEDSIDE_SLOT: Final = "bedside"
"""Place of a piece that was added to a running circuit where the sheet has no place for it."""

ADDITIVE_SLOT: Final = "additive"
"""Place of what was given into the prime: it stays in the circuit until its end."""

ADDITIVE_KIND: Final = "additive"

OFF_THE_SHEET: Final = {BEDSIDE_SLOT: "Added at the bedside", ADDITIVE_SLOT: "In the prime"}
"""Names of places that no sheet holds."""

OUT_OF_HOUSE: Final = ("to-maker", "to-authority", "to-laboratory")
"""Reasons for passing a kept circuit on, with which it leaves the unit's own places."""

CUSTODY_REASONS: Final = ("to-look-at", "to-store", *OUT_OF_HOUSE, "other")


def in_one_place(times: Iterable[tuple[datetime, datetime | None]]) -> bool:
    """Tell whether no two of these stays of one unit share time; touching ones do not.

    A stay that ended in the moment it began takes no time and meets nothing.
    """
    spans = [found for start, end in times if (found := span(start, end)) is not None]
    return not any(
        overlap(one, other) for index, one in enumerate(spans) for other in spans[index + 1 :]
    )
