"""What papers about a circuit say, ready to be drawn. Never a patient."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class PaperPart:
    """One line of the list of contents."""

    place: str
    item: str
    lot: str
    """Lot, or empty."""
    serial: str
    gap: str
    """Why there is no lot; empty where there is one."""
    expires: str
    known: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CircuitPaper:
    """A4 that goes with a circuit: to another hospital, or with the retrieval team."""

    title: str
    unit: str
    """Hospital and unit."""
    ring: str
    number: str
    symbol: str
    """Text of the circuit tag's symbol."""
    practice: bool
    head: str
    """The one sentence that matters most."""
    facts: tuple[tuple[str, str], ...]
    """Labels and values."""
    contents: str
    """Whether the list is whole."""
    parts: tuple[PaperPart, ...]
    blanks: tuple[str, ...]
    """What is written in by hand."""
    caution: str
    foot: str
    """Small print: as known when, digest."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DownTimePaper:
    """A sheet and a tag for one circuit that is primed without the service."""

    unit: str
    site: str
    ring: str
    number: str
    sheet_symbol: str
    """Text of the sheet's symbol: it opens the late entry."""
    tag_symbol: str
    """Text of the tag's symbol: it finds and takes the circuit."""
    circuit_type: str
    """Empty: written in by hand."""
    places: tuple[str, ...]
    """Names of the places to be filled, in the order of the sheet; empty: blanks only."""
    ticks: tuple[str, ...]
    practice: bool
