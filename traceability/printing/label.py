"""Labels as data: a folder a label, with one readable file, checked when it is loaded.

A hospital adds or changes a label without touching Python: sizes, places, fonts and fixed words
are in the file, and facts are named between braces. What is wrong is said with the file and the
line, before anything is printed (`label_file.py`).
"""

from collections.abc import Mapping
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import Final

HAIR: Final = 0.001
"""Millimetres that count as nothing."""


class WrongLabel(ValueError):
    """A label's file cannot be used; the message names file, line and what is allowed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Offer:
    """What a label can say of one kind of thing."""

    facts: frozenset[str]
    symbols: frozenset[str]
    needed: frozenset[str] = frozenset()
    """Facts that no label of this kind may leave out."""


OFFERS: Final[Mapping[str, Offer]] = {
    "circuit": Offer(
        facts=frozenset(
            {
                *("number", "kind", "site", "use_by", "use_by_reason", "prime_1", "prime_2"),
                *("primer", "helper", "parts", "oxygenator", "practice", "warning", "copy"),
                *("ring", "caution", "contents", "phone", "coating"),
            }
        ),
        symbols=frozenset({"circuit", "contents"}),
        needed=frozenset({"number", "use_by", "practice", "warning"}),
    ),
    "notice": Offer(
        facts=frozenset({"number", "kind", "reason", "at", "practice", "ring", "caution"}),
        symbols=frozenset({"circuit"}),
        needed=frozenset({"number", "practice"}),
    ),
    "part": Offer(
        facts=frozenset({"name", "lot", "expires", "maker", "code", "unit", "practice"}),
        symbols=frozenset({"part"}),
        needed=frozenset({"name", "lot", "practice"}),
    ),
    "trial": Offer(
        facts=frozenset({"name", "reads", "why"}),
        symbols=frozenset({"trial"}),
        needed=frozenset({"name"}),
    ),
    "ruler": Offer(
        facts=frozenset({"site", "words"}),
        symbols=frozenset({"ruler"}),
    ),
    "card": Offer(
        facts=frozenset({"number", "verb"}),
        symbols=frozenset({"card"}),
        needed=frozenset({"verb"}),
    ),
    "person": Offer(
        facts=frozenset({"name", "roles", "unit", "site"}),
        symbols=frozenset({"badge"}),
        needed=frozenset({"name"}),
    ),
    "place": Offer(
        facts=frozenset({"name", "duty", "unit"}),
        symbols=frozenset({"place"}),
        needed=frozenset({"name"}),
    ),
}
"""By the word that stands behind `of` in the file."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """A rectangle in millimetres from the label's upper left corner."""

    x: float
    y: float
    width: float
    height: float

    def overlaps(self, other: "Box") -> bool:
        """Tell whether two boxes share more than a hair."""
        return (
            self.x < other.x + other.width - HAIR
            and other.x < self.x + self.width - HAIR
            and self.y < other.y + other.height - HAIR
            and other.y < self.y + self.height - HAIR
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class TextField:
    """What is said, where it stands, how large, and how small it may become."""

    name: str
    text: str
    """Fixed words and facts: "Use by {use_by}"."""
    box: Box
    font: str
    size: float
    """Points."""
    least: float
    """Points; a text that does not fit at this size makes the whole tag a plain one."""
    lines: int
    """How many lines it may take; broken at blanks only."""
    align: str
    underline_letters: bool
    """A line under letters and none under digits, for what is read character by character."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SymbolField:
    """Where a symbol stands and how large its modules are at least."""

    name: str
    kind: str
    box: Box
    module: float
    """Millimetres at least (the X-dimension); drawn in whole printer dots, as large as fits."""
    quiet: int
    """Modules left free around it."""
    frame: float
    """Millimetres of the frame's line; 0: none."""
    correction: str = "M"
    """Error correction level of a QR Code: L, M, Q or H (ISO/IEC 18004)."""
    most: float = 0
    """Millimetres a module has at most; 0: as large as the box allows."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """A straight line, as a box filled with ink."""

    box: Box


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """One label: what it is of, its size and what stands where."""

    name: str
    of: str
    """A key of OFFERS."""
    width: float
    """Millimetres."""
    height: float
    fields: tuple[TextField, ...]
    symbols: tuple[SymbolField, ...]
    rules: tuple[Rule, ...]


def labels_folder() -> Path:
    """Return where labels are: at the top of the project, or inside the installed package."""
    top = Path(__file__).resolve().parents[2] / "labels"
    if top.is_dir():
        return top
    spec = find_spec("traceability")
    if spec is None or not spec.submodule_search_locations:
        raise LookupError("the package is not installed")
    return Path(spec.submodule_search_locations[0]) / "labels"
