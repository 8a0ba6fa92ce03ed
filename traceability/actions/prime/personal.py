"""Texts that stand for a person, told by their standard's own mark: they are never written."""

import re
from typing import Final

WRISTBAND: Final = re.compile(
    r"^(?:\]\w\d)?(?:\(?8018|\+/)|\x1d8018|\(8018\)"
    r"|^(?i:https?)://\S*[/?&;](?:8018|725\d)[/=]"
)
"""What reads as a person: the GS1 service relation number of a recipient (AI 8018), in an address
also what stands beside it, whatever else is wrong with the address; and HIBC's provider form.
Such a text is never written. Sources: GS1 General Specifications (AI 8018), ANSI/HIBC 1.3 (both
at second hand)."""


def is_personal(text: str) -> bool:
    """Tell a text that stands for a person, by its standard's own mark."""
    return WRISTBAND.search(text) is not None
