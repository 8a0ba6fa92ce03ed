"""The shelf as lines of words, for paper and for a page that stands still; no people in it."""

from dataclasses import dataclass

__all__ = ["ShelfLine", "ShelfSection", "ShelfSheet"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ShelfLine:
    """One circuit, or one place without one."""

    bead: str
    """Code of its mark: whole, wait, shut, open or known."""
    place: str
    number: str
    """Empty where nothing stands."""
    state: str
    """"Ready", "Missing", "Not counted: on hold" ..."""
    use_by: str
    details: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ShelfSection:
    """Lines of one kind."""

    name: str
    lines: tuple[ShelfLine, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ShelfSheet:
    """The whole shelf at one moment."""

    unit: str
    headline: str
    """"1 of 2 ready"."""
    as_known: str
    """The moment, in the unit's zone."""
    still: str
    """That it does not update itself."""
    ring: str
    practice: bool
    sections: tuple[ShelfSection, ...]
    caution: str
