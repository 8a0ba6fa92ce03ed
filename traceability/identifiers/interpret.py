"""The one door of this room: what a scanner sent -> what it says, and how sure that is.

The rules R-1, R-2 ... that comments name are listed in `docs/identifiers.md`.
"""

from datetime import date
from typing import Final

from .reading import Context, Reading
from .sent import read_sent
from .typed import read_typed

__all__ = ["interpret"]

_NO_CONTEXT: Final = Context()


def interpret(
    text: str,
    *,
    symbology_identifier: str | None = None,
    today: date,
    context: Context = _NO_CONTEXT,
) -> Reading:
    """Return what `text` says. Never raises, whatever the text; time is linear in its length.

    Args:
        text: the characters exactly as they came, separator as U+001D.
        symbology_identifier: such as "]d2", when it was sent apart from the text.
        today: decides the century of two-digit years and which dates are believable.
        context: what is known of the station and of the symbol read just before.
    """
    if context.channel == "keyboard":
        return read_typed(text, symbology_identifier, today, context)
    return read_sent(text, symbology_identifier, today, context)
