"""Scanners that type: undoing what a host's keyboard layout did to the characters.

A keyboard scanner sends keys, chosen for its own layout; the host turns keys into characters by
another. Where both layouts are known this can be undone, mostly in one way only. Which characters
each key gives: `keyboard_layouts.csv`, from xkb-data 2.35.1 (Debian), default variants, unshifted
and shifted level, compiled with xkbcli. A dead key waits for the next: composed characters are
taken apart (Unicode normal forms), and an accent alone is a dead key before a character that it
does not join (common practice, no source).
"""

import csv
import unicodedata
from collections.abc import Iterator
from functools import cache
from importlib.resources import files
from itertools import product
from typing import Final

__all__ = ["LAYOUTS", "is_strange", "likely_layouts", "typed_as", "what_was_sent"]

_ACCENTS: Final = {
    "grave": ("`", "\u0300"),
    "acute": ("\u00b4", "\u0301"),
    "circumflex": ("^", "\u0302"),
    "diaeresis": ("\u00a8", "\u0308"),
}
"""Each dead key's accent alone, and the mark it puts on a letter."""

_RAISED: Final = {raised: digit for digit, raised in zip("0123456789", "⁰¹²³⁴⁵⁶⁷⁸⁹", strict=True)}
"""A dead circumflex lifts a digit on hosts that compose so."""

_MOST_ORIGINALS: Final = 64
"""More possible originals than this are not told apart; the text is then called ambiguous."""

_MEANT: Final = frozenset(
    "\x1d\x1e\x04 \r\n\t!\"%&'()*+,-./0123456789:;<=>?ABCDEFGHIJKLMNOPQRSTUVWXYZ_"
    "abcdefghijklmnopqrstuvwxyz$#[]{}\\"
)
"""What a right symbol of a supported standard may carry."""
_ONLY_IN_FRONT: Final = frozenset("$#[]{}\\")


def _read_layouts() -> dict[str, dict[str, str]]:
    written = files(__package__).joinpath("keyboard_layouts.csv").read_text(encoding="utf-8")
    rows = list(csv.DictReader(written.splitlines()))
    return {name: {row["us"]: row[name] for row in rows} for name in rows[0]}


LAYOUTS: Final = _read_layouts()
"""For each layout what every key gives; keys are named by their character on the US layout."""


@cache
def _originals(scanner_layout: str, host_layout: str) -> dict[str, tuple[str, ...]]:
    """Return for each character, or pair, seen on the host what the scanner may have sent."""
    scanner, host = LAYOUTS[scanner_layout], LAYOUTS[host_layout]
    found: dict[str, list[str]] = {}
    dead: dict[str, list[str]] = {}
    for key, seen in host.items():
        sent = scanner[key]
        if sent.startswith("dead "):
            sent = _ACCENTS[sent.removeprefix("dead ")][0]
        if seen.startswith("dead "):
            dead.setdefault(seen.removeprefix("dead "), []).append(sent)
        else:
            found.setdefault(seen, []).append(sent)
    direct = {seen: tuple(sent) for seen, sent in found.items()}
    for name, senders in dead.items():
        accent, mark = _ACCENTS[name]
        for sent in senders:
            # An accent alone: the dead key, or the dead key pressed twice or before a blank.
            found.setdefault(accent, []).extend((sent, sent + " ", sent + sent))
            for seen, bases in direct.items():
                composed = unicodedata.normalize("NFC", seen + mark)
                if len(composed) == 1:
                    found.setdefault(composed, []).extend(sent + base for base in bases)
            if name == "circumflex":
                for raised, digit in _RAISED.items():
                    found.setdefault(raised, []).extend(
                        sent + base for base in direct.get(digit, ())
                    )
    return {seen: tuple(dict.fromkeys(sent)) for seen, sent in found.items()}


def what_was_sent(text: str, *, scanner_layout: str, host_layout: str) -> tuple[str, ...] | None:
    """Return every text that the scanner may have sent for `text`; () if there is none.

    Control characters pass unchanged. None when there are more than can be told apart.

    Raises:
        KeyError: a layout that is not in `LAYOUTS`.
    """
    table = _originals(scanner_layout, host_layout)
    choices: list[tuple[str, ...]] = []
    many = 1
    for character in text:
        choice = table.get(character) or ((character,) if character < " " else ())
        if not choice:
            return ()
        many *= len(choice)
        if many > _MOST_ORIGINALS:
            return None
        choices.append(choice)
    return tuple(dict.fromkeys(map("".join, product(*choices))))


def typed_as(text: str, *, scanner_layout: str, host_layout: str) -> str:
    """Return what a host shows when a scanner types `text`; the inverse, for tests and teaching.

    A dead key at the very end shows nothing. Characters that the scanner's layout cannot type
    pass unchanged.
    """
    scanner, host = LAYOUTS[scanner_layout], LAYOUTS[host_layout]
    key_of = {sent: key for key, sent in scanner.items()}
    shown, waiting = [], ""
    for character in text:
        seen = host[key_of[character]] if character in key_of else character
        if seen.startswith("dead "):
            shown.append(_ACCENTS[waiting][0] if waiting else "")
            waiting = seen.removeprefix("dead ")
        elif waiting:
            accent, mark = _ACCENTS[waiting]
            composed = unicodedata.normalize("NFC", seen + mark)
            shown.append(composed if len(composed) == 1 and seen != " " else accent)
            if len(composed) != 1:
                shown.append(seen)
            waiting = ""
        else:
            shown.append(seen)
    return "".join(shown)


def is_strange(text: str) -> bool:
    """Say whether `text` holds a character that no supported symbol would have sent."""
    if not _MEANT.issuperset(text):
        return True
    return text[:1] not in ("]", "[", "=", "&", "+", "(") and not _ONLY_IN_FRONT.isdisjoint(text)


def likely_layouts(text: str, scanner_layout: str) -> Iterator[tuple[str, tuple[str, ...]]]:
    """Yield each host layout that could show `text`, with what was sent then."""
    if scanner_layout not in LAYOUTS:
        return
    for host_layout in LAYOUTS:
        sent = what_was_sent(text, scanner_layout=scanner_layout, host_layout=host_layout)
        if sent and host_layout != scanner_layout:
            yield host_layout, sent
