"""A sample of every label there is, shipped or added: to look at, to test, to prove a printer."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from traceability.domain.part_labels import PartLabel
from traceability.domain.tag_contents import ContentsItem, TagContents, alike
from traceability.domain.tags import TagFacts, circuit_symbol
from traceability.printing.label import labels_folder
from traceability.printing.label_file import load_label
from traceability.printing.notices import NoticeFacts, print_notice
from traceability.printing.paper import Printed
from traceability.printing.sheets import (
    print_act_cards,
    print_badges,
    print_parts,
    print_places,
    print_ruler,
    print_scanner_sheet,
)
from traceability.printing.tags import print_tag

NO_SITE: Final = "SAMP"
"""Site code on samples; it is no site's, so every service answers that it does not know the tag."""
ZONE: Final = ZoneInfo("Europe/Stockholm")
HOSPITAL: Final = "Norrvik Sound Hospital"
PRIMED: Final = datetime(2031, 5, 6, 9, 40, tzinfo=UTC)
LOTS: Final = (
    ("09521234543213", "PK26-104", "", 1),
    ("09521234000051", "OX-2207", "004417", 1),
    ("09521234000013", "T77-0B1", "", 3),
    ("09521234000020", "4K0O17I1", "", 2),
    ("09521234000044", "SY0B40", "", 1),
    ("09521234000105", "CN-88121", "", 2),
    ("09521234000112", "GF-0042", "", 1),
)
CONTENTS: Final = TagContents(
    site_code=NO_SITE,
    number="C-0000",
    circuit_type="Adult 3/8",
    way="wet, closed",
    prime="Sodium chloride 0.9 %, 1.5 L. No blood. No additives recorded.",
    coating="phosphorylcholine (by its sheet)",
    primed_at=PRIMED,
    use_by=PRIMED + timedelta(days=30),
    use_by_reason="storage policy, 30 days",
    unsigned="",
    site_name=HOSPITAL,
    unit="ICU",
    ring="4711",
    items=alike(
        [
            *(
                ContentsItem(count=count, item=item, lot=lot, serial=serial)
                for item, lot, serial, count in LOTS
            ),
            ContentsItem(count=1, item="Drainage line", gap="INSIDE THE PACK"),
            ContentsItem(count=6, item="Cable ties", gap="TICK ONLY"),
        ]
    ),
    recorded=True,
    practice=True,
    zone=ZONE,
)
TAG: Final = TagFacts(
    site_name=HOSPITAL,
    unit="ICU",
    ring="4711",
    number="C-0000",
    circuit_type="Adult 3/8",
    place="Console 1",
    way="wet, closed",
    use_by=PRIMED + timedelta(days=30),
    use_by_reason="storage policy, 30 days",
    prime_lines=("Prime: sodium chloride 0.9 %, 1.5 L", "No blood. No additives recorded."),
    primed_at=PRIMED,
    primer="Sample Primer",
    helper="Sample Helper",
    primer_signed_at=PRIMED,
    helper_signed_at=PRIMED,
    parts_line="14 parts with lots",
    oxygenator_lot="OX-2207",
    oxygenator_serial="004417",
    copy=0,
    zone=ZONE,
    practice=True,
    symbol=circuit_symbol(NO_SITE, "C-0000"),
    contents=CONTENTS,
)
PLACE: Final = {
    "code": "CONSOLE-1",
    "name": "Console 1",
    "duty": "ready, mounted",
    "unit": f"{HOSPITAL}, ICU",
}
PERSON: Final = {
    "code": "SAMPLE",
    "name": "Sample, not a badge",
    "roles": "primer",
    "unit": "ICU",
    "site": HOSPITAL,
}
PART: Final = PartLabel(
    standard="none",
    item="TIE-8",
    name="Cable tie 8 mm, sterile",
    maker="Oskerby Devices",
    lot="K26-0B8",
    expiry=date(2033, 3, 31),
)
NOTICE: Final = NoticeFacts(
    number="C-0000",
    kind="Adult 3/8 · Console 1",
    reason="Named by notice N-26-014",
    printed_at=PRIMED,
    zone=ZONE,
    site_name=HOSPITAL,
    unit="ICU",
    ring="4711",
    practice=True,
    symbol=circuit_symbol(NO_SITE, "C-0000"),
)


REASONS: Final = {
    "on_hold": "Named by notice N-26-014",
    "do_not_use": "Discarded: seal broken",
    "contents_not_recorded": "Came from elsewhere. No lot can be excluded.",
}


def label_names() -> list[str]:
    """Return the names of all labels, shipped and added."""
    return sorted(path.parent.name for path in labels_folder().glob("*/label.toml"))


def sample(name: str, *, dpi: int = 203) -> Printed:
    """Return a print of that label with invented facts.

    Raises:
        WrongLabel: no such label, or its file is not sound.
    """
    label = load_label(name)
    return OF[label.of](name, dpi)


def _place(name: str, dpi: int) -> Printed:
    kind = name.partition("_")[2]
    said = {"shelf": "Shelf 2", "bed": "Bed 4", "box": "Retrieval box"}.get(kind, PLACE["name"])
    duty = {"shelf": "", "bed": "", "box": "ready, boxed"}.get(kind, PLACE["duty"])
    text = {**PLACE, "name": said, "duty": duty, "code": said.upper().replace(" ", "-")}
    return print_places([text], site_code=NO_SITE, kind=kind, dpi=dpi)


OF: Final[Mapping[str, Callable[[str, int], Printed]]] = {
    "circuit": lambda name, dpi: print_tag(TAG, dpi=dpi, label=load_label(name)),
    "notice": lambda name, dpi: print_notice(
        name, replace(NOTICE, reason=REASONS.get(name, NOTICE.reason)), dpi=dpi
    ),
    "place": _place,
    "person": lambda _, dpi: print_badges([PERSON], dpi=dpi),
    "part": lambda _, dpi: print_parts(
        PART, site_code=NO_SITE, copies=1, unit="ICU", practice=True, dpi=dpi
    ),
    "card": lambda _, dpi: print_act_cards(dpi=dpi),
    "trial": lambda _, dpi: print_scanner_sheet(dpi=dpi),
    "ruler": lambda _, dpi: print_ruler(site=HOSPITAL, dpi=dpi),
}
"""By what a label is of."""
