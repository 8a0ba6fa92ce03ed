"""What a new scanner and a new printer have to do right before they are trusted."""

from enum import StrEnum
from typing import Final

from traceability.domain.tags import SymbolKind, without_aim, write_symbol
from traceability.identifiers.checks import hibc_check
from traceability.identifiers.gs1 import GS

READ_BACK: Final = "READBACK"
"""Body of the symbol on the label that proves a printer."""

_AS_GS1: Final = f"010952123400001310TR0O1I{GS}21S5B8"
_AS_HIBC: Final = "+A999T10/$$3331231L1"
LAYOUT_LINE: Final = "Trial Yy Zz Qq Aa Mm +-=/*:;_?!%&"
"""Characters that keyboard layouts put on other keys; a capital and a small letter of each."""
TRIALS: Final = (
    ("gs1-datamatrix", _AS_GS1, "As on packs"),
    ("gs1-128", _AS_GS1, "As on cartons"),
    ("qr", "CT2 Trial 0O1I a b/c %", "As on tags, for phones"),
    ("code128", "TRIAL-0O1I-lower", "Capitals and small letters stay what they are"),
    ("code39", _AS_HIBC + hibc_check(_AS_HIBC), "As on packs of another standard"),
    ("ean13", "9521234000013", "As on bags; it holds no lot"),
    ("datamatrix", write_symbol(SymbolKind.ACT, "TRIAL"), "As on our own cards"),
    ("datamatrix", LAYOUT_LINE, "The keyboard layout: every layout sends other characters for it"),
)
"""Kind, text and what it is like. GTINs stand under 952, GS1's prefix for demonstrations."""


class Trial(StrEnum):
    """How a scanner did."""

    WHOLE = "whole"
    SEPARATOR_LOST = "separator-lost"
    CASE_CHANGED = "case-changed"
    CHANGED = "changed"
    """It is one of the trials, and characters of it are others: the keyboard's layout."""


def judge_trial(text: str) -> Trial | None:
    """Return how a scanner sent one of the sheet's symbols; None: it is none of them."""
    given = without_aim(text)
    for _, wanted, _ in TRIALS:
        bare = wanted.replace(GS, "")
        if given == wanted:
            return Trial.WHOLE
        if given == bare:
            return Trial.SEPARATOR_LOST
        if given.casefold() in {wanted.casefold(), bare.casefold()}:
            return Trial.CASE_CHANGED
        if len(given) in {len(wanted), len(bare)} and _digits(given) == _digits(wanted):
            return Trial.CHANGED
    return None


def _digits(text: str) -> str:
    return "".join(char for char in text if char.isdigit())
