"""Characters that a scanner typed and a host turned into text (rule R-W1).

With both layouts known the text is put back into what was sent, and read. Until a station is
proven every reading is suspect: German Y and Z, for one, change places and leave a lot that looks
right. Nothing is repaired silently: `recovered` carries the repair.
"""

from dataclasses import replace
from datetime import date

from . import wedge
from .reading import Context, Element, Fault, Reading, Standard, Status
from .sent import LINE_ENDS, MOST_IN_OWN_TAG, read_sent

__all__ = ["read_typed"]

_HOPELESS = (("empty",), ("too-long",))
"""Answers about the whole text, which no layout would change."""


def read_typed(
    text: str, symbology_identifier: str | None, today: date, context: Context
) -> Reading:
    """Return the reading of typed `text`; arguments as of `interpret`."""
    as_sent = replace(context, channel=None, previous=_previous(today, context))
    found = read_sent(text, symbology_identifier, today, as_sent)
    whole = found.standard is Standard.NONE and found.reason_codes in _HOPELESS
    if whole or len(text) > MOST_IN_OWN_TAG or context.host_layout == context.scanner_layout:
        return found
    if context.host_layout not in wedge.LAYOUTS or context.scanner_layout not in wedge.LAYOUTS:
        return _unproven(found, symbology_identifier, today, as_sent)
    originals = wedge.what_was_sent(
        text.rstrip(LINE_ENDS),
        scanner_layout=context.scanner_layout,
        host_layout=context.host_layout,
    )
    if not originals:  # None: too many to tell apart; (): this layout gives no such character
        return _marked(found, "layout-unproven" if originals is None else "bad-charset")
    readings = [
        replace(
            read_sent(original, symbology_identifier, today, as_sent),
            text=text,
            recovered=original,
        )
        for original in originals
    ]
    fine = [reading for reading in readings if reading.status is Status.OK]
    if len(readings) == 1 or len(fine) == 1:
        return (fine or readings)[0]
    first, second = (fine or readings)[:2]
    return replace(_marked(first, "layout-unproven"), alternative=second.elements)


def _previous(today: date, context: Context) -> str | None:
    """Return the symbol before as it was sent, for it came through the same keyboard."""
    if context.previous is None:
        return None
    found = read_typed(context.previous, None, today, replace(context, previous=None))
    return found.recovered or context.previous


def _unproven(
    found: Reading, symbology_identifier: str | None, today: date, context: Context
) -> Reading:
    """Return `found` as suspect, with what another layout would make of it."""
    typed = found.text.rstrip(LINE_ENDS)
    if not wedge.is_strange(typed) and "bad-charset" not in found.reason_codes:
        return _marked(found, "layout-unproven")
    layouts: list[str] = []
    explained: dict[tuple[Element, ...], None] = {}
    private = found.private
    for host_layout, originals in wedge.likely_layouts(typed, context.scanner_layout):
        for original in originals:
            reading = read_sent(original, symbology_identifier, today, context)
            private = private or reading.private
            if reading.status is Status.OK:
                layouts.append(host_layout)
                explained[reading.elements] = None
    found = _marked(found, "bad-charset")
    return replace(
        found,
        host_layouts=tuple(dict.fromkeys(layouts)),
        alternative=next(iter(explained)) if len(explained) == 1 else found.alternative,
        private=private,
    )


def _marked(found: Reading, code: str) -> Reading:
    """Return `found` as suspect for `code`, keeping what else made it suspect."""
    kept = found.reason_codes if found.status is Status.SUSPECT else ()
    return replace(
        found,
        status=Status.SUSPECT,
        reason_codes=tuple(dict.fromkeys((code, *kept))),
        faults=(Fault(code=code), *found.faults),
    )
