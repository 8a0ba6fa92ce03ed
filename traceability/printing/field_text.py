"""What a field of a label says, at a size at which it fits its box."""

from bisect import bisect_left
from collections.abc import Mapping
from typing import Final

from traceability.printing.barcodes import MM_PER_INCH, POINTS_PER_INCH
from traceability.printing.label import TextField
from traceability.printing.words import Face, Said, as_text, filled, fitted, plain

POINTS_PER_MM: Final = POINTS_PER_INCH / MM_PER_INCH


class DoesNotFit(Exception):
    """A text is too long for its box even at its least size, or a symbol cannot be written."""

    def __init__(self, name: str) -> None:
        """Keep which field or symbol it was."""
        super().__init__(name)
        self.name = name


def face_of(field: TextField) -> Face:
    """Return the fonts of a field."""
    return Face(field.font, lots_everywhere=field.underline_letters)


def placed(
    field: TextField, facts: Mapping[str, Said], *, shorten: bool = False
) -> tuple[float, list[Said]]:
    """Return size and lines of what a field says.

    Raises:
        DoesNotFit: not even at the field's least size.
    """

    def fit(said: Said) -> tuple[float, list[Said]] | None:
        return fitted(
            said,
            face_of(field),
            size=field.size,
            least=field.least,
            lines=field.lines,
            wide=field.box.width * POINTS_PER_MM,
            tall=field.box.height * POINTS_PER_MM,
        )

    said = filled(field.text, facts)
    found = fit(said)
    if found is None and shorten:
        whole = as_text(said)
        # The longest beginning that fits; a longer one never fits where a shorter one does not.
        ends = range(len(whole), 0, -1)
        at = bisect_left(ends, True, key=lambda end: fit(_cut(whole, end)) is not None)
        found = fit(_cut(whole, ends[at])) if at < len(ends) else None
    if found is None:
        raise DoesNotFit(field.name)
    return found


def _cut(text: str, end: int) -> Said:
    return plain(f"{text[:end].rstrip()}…")
