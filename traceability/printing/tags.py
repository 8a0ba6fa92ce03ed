"""The circuit tag: the record's only handle on the thing itself."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import datetime
from functools import partial
from typing import Final

from traceability.domain.tag_contents import ContentsItem, TagContents, contents_text
from traceability.domain.tags import TagFacts
from traceability.printing.field_text import DoesNotFit
from traceability.printing.label import Box, Label, SymbolField, WrongLabel
from traceability.printing.label_file import load_label
from traceability.printing.paper import Printed, print_sheets, raster_sheet
from traceability.printing.pdf import Sheet
from traceability.printing.plain_tag import draw_plain
from traceability.printing.proof import reads_back
from traceability.printing.words import LINE_END, NO_BREAK, Run, Said, lot, plain

CAUTION: Final = "Inspect before use. The record is not the inspection."
MOST_LINES: Final = 12
"""Items that get a line each; more are set as running text, so that they fit in a size to read."""
BARE: Final = Label(
    name="plain",
    of="circuit",
    width=100,
    height=62,
    fields=(),
    symbols=(
        SymbolField(
            name="circuit",
            kind="datamatrix",
            box=Box(x=66, y=3, width=31, height=31),
            module=0.9,
            quiet=2,
            frame=0.75,
        ),
    ),
    rules=(),
)
"""For the plain tag of a circuit whose label's file somebody broke: it still gets its tag."""
Signer = Callable[[str], bytes]
"""Returns the signature of a text."""


def print_tag(
    facts: TagFacts, *, dpi: int = 203, label: Label | None = None, sign: Signer | None = None
) -> Printed:
    """Return the tag as a PDF of one page in exact millimetres, and as dots.

    A fact that does not fit its field makes the whole tag a plain text one, which says so: a tag
    that left something out would be worse. So does a symbol that cannot be written, or a print that
    does not read back from its own dots. What phones read is signed by `sign`; the list in it
    grows until the label is full, and says how much it leaves out.

    The same facts give the same bytes.
    """
    wrong = ""
    try:
        label = label or load_label("circuit_tag")
    except WrongLabel:
        label, wrong = BARE, "the label's file cannot be used."
    symbols, listed = {"circuit": facts.symbol}, None
    field = next((each for each in label.symbols if each.name == "contents"), None)
    if field is not None and facts.contents is not None:
        text, listed = _as_much_as_fits(facts.contents, field, label, dpi, sign)
        symbols |= {"contents": text} if text else {}
    said = {**tag_facts_said(facts), "phone": plain(_phone(facts.contents, listed))}

    def usual(sheet: Sheet) -> None:
        sheet.draw(label, said, symbols)
        sheet.next_page()

    def plainly(sheet: Sheet, why: str) -> None:
        draw_plain(sheet, label, said, symbols, why=why)

    title = f"Circuit tag {facts.number}"
    on = partial(print_sheets, label.width, label.height, dpi, title=title)
    if not wrong:
        try:
            made = on(usual)
        except DoesNotFit as misfit:
            wrong = f"{misfit.name.replace('_', ' ')} did not fit."
        else:
            if reads_back(made):
                return made
            wrong = "the label did not read back. Type the number if it does not scan."
    return replace(on(partial(plainly, why=wrong)), plain=True)


def _as_much_as_fits(
    contents: TagContents, field: SymbolField, label: Label, dpi: int, sign: Signer | None
) -> tuple[str, int | None]:
    """Return the text with as many items as the symbol's box holds; "" where not even none do."""
    sheet = raster_sheet(label.width, label.height, dpi).sheet

    def fits(listed: int) -> str:
        text = contents_text(contents, listed=listed, sign=sign)
        try:
            sheet.sized(field, text)
        except DoesNotFit:
            return ""
        return text

    if whole := fits(len(contents.items)):
        return whole, len(contents.items)
    best, low, high = "", 0, len(contents.items) - 1
    while low <= high:
        middle = (low + high) // 2
        if text := fits(middle):
            best, low = text, middle + 1
        else:
            high = middle - 1
    return (best, low - 1) if best else ("", None)


def _phone(contents: TagContents | None, listed: int | None) -> str:
    """Return what stands beside the symbol for phones."""
    if contents is None:
        return ""
    if listed is None:
        return "What is in it does not fit this tag"
    if not contents.recorded:
        return "Any phone shows what is known"
    of = len(contents.items)
    lists = f"all {of} items" if listed == of else f"{listed} of {of} items, the rest not here"
    return f"Any phone shows {lists}"


def tag_facts_said(facts: TagFacts) -> Mapping[str, Said]:
    """Return what a tag says under each name that a label of a circuit may use."""
    primed = _signed(facts, "Primed", facts.primer, facts.primer_signed_at, facts.primed_at)
    checked = _signed(facts, "Assisted and checked", facts.helper, facts.helper_signed_at, None)
    return {
        "number": lot(facts.number),
        "kind": plain(_joined(facts.circuit_type, facts.place, facts.way)),
        "site": plain(facts.site_name),
        "use_by_reason": plain(
            f"Use by ({facts.use_by_reason})" if facts.use_by else "Use by: not known"
        ),
        "use_by": plain(_moment(facts, facts.use_by) if facts.use_by else "CONTENTS NOT RECORDED"),
        "prime_1": plain(facts.prime_lines[0] if facts.prime_lines else ""),
        "prime_2": plain(" ".join(facts.prime_lines[1:])),
        "primer": plain(primed),
        "helper": plain(checked),
        "parts": plain(facts.parts_line),
        "oxygenator": _oxygenator(facts),
        "practice": plain("PRACTICE" if facts.practice else ""),
        "warning": plain(facts.unsigned_words),
        "copy": plain(f"Copy {facts.copy + 1}" if facts.copy else ""),
        "ring": plain(_ring(facts)),
        "coating": plain(f"Coating: {_coating(facts)}"),
        "contents": _contents(facts.contents),
        "caution": plain(CAUTION),
    }


def _coating(facts: TagFacts) -> str:
    return (facts.contents and facts.contents.coating) or "not recorded"


def _contents(contents: TagContents | None) -> Said:
    """Return the list, a line an item, many items one after the other: count, item, lot, serial."""
    if contents is None or not contents.recorded:
        return plain("Contents not recorded.")
    between = (LINE_END,) if len(contents.items) <= MOST_LINES else plain("; ")
    said: list[Run] = []
    for item in contents.items:
        said += between if said else ()
        said += _item(item)
    return tuple(said)


def _item(item: ContentsItem) -> Said:
    # No line ends inside an item: a lot on the next line is soon another item's.
    said = [*plain(f"{item.count}{NO_BREAK}×{NO_BREAK}"), *lot(item.item)]
    for word, value in (("lot", item.lot), ("serial", item.serial)):
        if value:
            said += [Run(f"{NO_BREAK}{word}{NO_BREAK}"), *lot(value)]
    return (*said, *plain(f" {item.gap.lower()}".replace(" ", NO_BREAK) if item.gap else ""))


def _joined(*parts: str) -> str:
    return " · ".join(part for part in parts if part)


def _ring(facts: TagFacts) -> str:
    """Return whom to ring; with the hospital, for a circuit may lie in another one."""
    ring = f"ring {facts.ring}" if facts.ring else ""
    return ", ".join(word for word in (facts.site_name, facts.unit, ring) if word)


def _moment(facts: TagFacts, at: datetime) -> str:
    return f"{at.astimezone(facts.zone):%Y-%m-%d %H:%M %Z}"


def _signed(
    facts: TagFacts,
    meaning: str,
    name: str,
    signed_at: datetime | None,
    primed_at: datetime | None,
) -> str:
    if facts.primed_at is None:
        return ""
    when = f" {_moment(facts, primed_at)}" if primed_at else ""
    who = f"{meaning}{when}: {name or 'name not recorded'}"
    if signed_at is None:
        return f"{who}, not signed"
    # The hour alone would mislead on a tag that was signed on another day.
    local = signed_at.astimezone(facts.zone)
    same_day = local.date() == facts.primed_at.astimezone(facts.zone).date()
    when = f"{local:%H:%M}" if same_day else f"{local:%Y-%m-%d %H:%M}"
    return f"{who}, signed{NO_BREAK}{when}"


def _oxygenator(facts: TagFacts) -> Said:
    said: list[Run] = []
    for word, value in (("lot", facts.oxygenator_lot), ("serial", facts.oxygenator_serial)):
        if value:
            said += [Run(f"{', ' if said else 'Oxygenator '}{word} "), *lot(value)]
    return tuple(said)
