"""What is said of a photo of a laid-out trolley: what each pack would do, what is missing."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from traceability.actions.prime.look_over import Fate, LookedOver, PackLine
from traceability.domain.sheets import Slot
from traceability.domain.symbols_seen import PackSeen, What
from traceability.domain.trolley import Finding
from traceability.messages import lot_line, say_verdict

NO_PATIENT: Final = "No patient, wristband or screen with a name may be in the picture."
NO_SYMBOL: Final = (
    "No code was read in this photo. Lay the packs flat, codes up, and fill the picture with them."
)
WHY_ERASED: Final[Mapping[str, str]] = {
    "person-in-it": "A person or a name is in it",
    "not-of-this-prime": "It is not of this prime",
    "no-longer-needed": "It is no longer needed",
}
"""Reasons to erase a photo that was kept."""
NAMED: Final = 4
"""So many missing places are named before the rest is counted."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SaidOfPack:
    """What stands beside a pack's boxes."""

    title: str
    """What it is."""
    says: str
    """What it would do, or why nothing."""
    lines: tuple[str, ...] = ()
    asks: str = ""
    """What a person says by the tick; empty where nothing is asked or can be done."""


def say_pack(line: PackLine) -> SaidOfPack:
    """Return what stands beside a pack's boxes."""
    name = str(line.facts.get("name") or "")
    title = ", ".join(part for part in (name, lot_line(line.facts)) if part)
    said = _SAYS[line.fate](line)
    joined = len(line.pack.symbols) > 1
    together = f"Boxes {numbers(line.pack)} stand on one pack." if joined else ""
    return SaidOfPack(
        title=title or said.title,
        says=said.says,
        lines=tuple(each for each in (*said.lines, together) if each),
        asks=_asks(line),
    )


def say_looked_over(found: LookedOver) -> tuple[str, str]:
    """Return what the photo comes to, and what the sheet still lacks after it."""
    fills = sum(line.fate is Fate.FILLS for line in found.lines)
    asks = sum(bool(_asks(line)) for line in found.lines)
    parts = [line for line in found.lines if line.fate is not Fate.NO_PART]
    if not found.lines:
        return NO_SYMBOL, say_missing(found.missing)
    first = f"{_packs(len(parts))} read. {fills} {'goes' if fills == 1 else 'go'} in"
    if asks:
        first += f"; {asks} {'waits' if asks == 1 else 'wait'} for your tick"
    left = len(parts) - fills - asks
    if left:
        first += f"; {left} {'does' if left == 1 else 'do'} not"
    return f"{first}. Nothing is recorded yet.", say_missing(found.missing)


def say_too_many(most: int) -> str:
    """Return what is said of a photo with more codes than are looked at."""
    return f"Only {most} codes of it were looked at. Photograph the rest by itself."


def say_missing(missing: Sequence[tuple[Slot, int]]) -> str:
    """Return what the sheet lacks, once what goes in without a question is in."""
    if not missing:
        return "With these, nothing on the sheet is missing."
    named = [f"{count} × {slot.name}" if count > 1 else slot.name for slot, count in missing]
    more = len(named) - NAMED
    rest = f" and {more} more" if more > 0 else ""
    return f"With these, still missing: {', '.join(named[:NAMED])}{rest}."


def numbers(pack: PackSeen) -> str:
    """Return the numbers of a pack's boxes: "3" or "3 and 7"."""
    named = [str(each.number) for each in pack.symbols]
    return named[0] if len(named) == 1 else f"{', '.join(named[:-1])} and {named[-1]}"


def _packs(count: int) -> str:
    return "1 pack" if count == 1 else f"{count} packs"


def _asks(line: PackLine) -> str:
    asked = {
        Fate.IN_ALREADY: "It is another piece: put it in too",
        Fate.COMPARE: "I compared it with the print: put it in",
        Fate.WHICH_PLACE: "Put it in there",
    }.get(line.fate, "")
    if line.compare and line.fate in {Fate.IN_ALREADY, Fate.WHICH_PLACE}:
        return f"I compared it with the print. {asked}"
    return asked


def _goes_in(line: PackLine) -> SaidOfPack:
    return SaidOfPack(title="", says=f"Goes in: {line.place}")


def _in_already(_: PackLine) -> SaidOfPack:
    return SaidOfPack(
        title="",
        says="Recorded already",
        lines=("As many of this lot are in as the picture shows up to this box.",),
    )


def _sent(_: PackLine) -> SaidOfPack:
    return SaidOfPack(title="", says="Filled in from this very photo before")


def _taken_back(_: PackLine) -> SaidOfPack:
    return SaidOfPack(
        title="", says="Filled in from this photo, and taken back since", lines=("Scan it.",)
    )


def _compare(line: PackLine) -> SaidOfPack:
    return SaidOfPack(
        title="", says=f"Not surely read. Compare with the print. Would go in: {line.place}"
    )


def _which_place(_: PackLine) -> SaidOfPack:
    return SaidOfPack(title="", says="A second lot. Say where it goes")


def _no_part(line: PackLine) -> SaidOfPack:
    if line.pack.what is What.PERSON:
        return SaidOfPack(
            title="A person's code",
            says="Not read, and kept nowhere",
            lines=("Take it out of the picture.",),
        )
    return SaidOfPack(title="A card, badge or tag of ours", says="Nothing to put in")


def _not_tied(line: PackLine) -> SaidOfPack:
    title, says, why = _OWN.get(line.code, ("", "", ""))
    if not says:
        said = say_verdict(line.verdict, line.code, line.facts)
        says = f"{said.word}: {said.sentence[:1].lower()}{said.sentence[1:]}"
        if line.code in _NAMES:
            says = f"{said.word}: {said.sentence}"
    scan = why or "Not tied to a place. Scan it: then the strip says what can be done."
    return SaidOfPack(title=title or "A code", says=says, lines=(scan,))


_NAMES: Final = frozenset({Finding.NOT_ON_SHEET})
"""Sentences that begin with a name."""

_OWN: Final[Mapping[str, tuple[str, str, str]]] = {
    "half-of-which": (
        "Half a label",
        "It lies as near to one pack as to another",
        "Scan both codes of that pack, one after the other.",
    ),
    "half-label": (
        "Half a label",
        "Look again: its other code was not read",
        "Scan both codes of that pack, one after the other.",
    ),
    "unknown-product": (
        "A code that is not known here",
        "Look again: nobody has said what it stands for",
        "Scan it, and say once what it is.",
    ),
    "in-already": ("", "Recorded already: this very piece is in", "Nothing to do."),
    "carton": ("", "A carton: how many of it go in?", "Scan it, and say how many."),
}

_SAYS: Final[Mapping[Fate, Callable[[PackLine], SaidOfPack]]] = {
    Fate.FILLS: _goes_in,
    Fate.IN_ALREADY: _in_already,
    Fate.SENT: _sent,
    Fate.TAKEN_BACK: _taken_back,
    Fate.COMPARE: _compare,
    Fate.WHICH_PLACE: _which_place,
    Fate.NO_PART: _no_part,
    Fate.NOT_TIED: _not_tied,
}
