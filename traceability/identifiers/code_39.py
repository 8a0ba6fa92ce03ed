"""Code 39 read in full-ASCII mode by mistake: pairs such as "+A" arrive as one character.

Source: ISO/IEC 16388, full ASCII feature (from memory; seen with a common decoder library).
"""

# ruff: noqa: PLR2004 - lengths and limits are the standard's own, named where they are used

from typing import Final

from .checks import HIBC_ALPHABET

__all__ = ["restored"]

_UPPER: Final = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
_OWN: Final = frozenset(HIBC_ALPHABET)


def _pairs() -> dict[str, str]:
    table = {chr(number): f"${letter}" for number, letter in enumerate(_UPPER, start=1)}
    table |= {
        chr(number): f"%{letter}" for number, letter in zip(range(27, 32), "ABCDE", strict=True)
    }
    table |= {chr(number): f"/{letter}" for number, letter in enumerate(_UPPER[:15], start=33)}
    table |= {":": "/Z"}
    table |= dict(zip(";<=>?[\\]^_{|}~\x7f\x00@`", "FGHIJKLMNOPQRSTUVW", strict=True))
    table = {seen: pair if len(pair) == 2 else f"%{pair}" for seen, pair in table.items()}
    table |= {letter.lower(): f"+{letter}" for letter in _UPPER}
    return {seen: pair for seen, pair in table.items() if seen not in _OWN}


_PAIRS: Final = _pairs()


def restored(text: str) -> str | None:
    """Return the 43-character text behind `text`; None if it needs no restoring or has none."""
    if _OWN.issuperset(text):
        return None
    parts = [character if character in _OWN else _PAIRS.get(character) for character in text]
    return "".join(part for part in parts if part is not None) if None not in parts else None
