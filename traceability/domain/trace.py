"""What touches what: a thing asked about, what it met, and how sure the record is of each link.

Plain records, made by `recall` and drawn by pages. A trace is a look around and no recall answer:
what the record does not hold is not in it, and it never says that something was not exposed.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum

__all__ = ["Link", "Listed", "Node", "Sideways", "Sort", "Stay", "StayKind", "Sure", "Trace"]


class Sort(StrEnum):
    """What a node is."""

    PRODUCT = "product"
    LOT = "lot"
    UNIT = "unit"
    """One piece, by its serial."""
    GAP = "gap"
    """Parts that are in, and of which no lot is recorded."""
    CIRCUIT = "circuit"
    RUN = "run"
    PATIENT = "patient"
    MACHINE = "machine"
    PLACE = "place"
    PERSON = "person"
    SPAN = "span"
    """A day or several."""
    SCOPE = "scope"
    """What a notice asks for."""


class Sure(StrEnum):
    """How far the record stands behind a link."""

    SURE = "sure"
    INFERRED = "inferred"
    """Not captured, and every arrangement that the record allows says so."""
    POSSIBLE = "possible"
    """Disputed, or its time is not recorded."""
    APART = "apart"
    """Both belong to one circuit, but at no common time."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Node:
    """One thing of a trace."""

    sort: Sort
    id: str
    """Unique among its sort: a key of the store, or a text that names it."""
    label: str
    """What people call it: "C-0419", a lot as read, a name."""
    detail: str = ""
    """Product, circuit type or the like; may be empty. Never a patient's text."""
    of: str = ""
    """Id of the product, for a lot or a piece; a patient's run by number, to ask for its text."""
    start: datetime | None = None
    end: datetime | None = None

    @property
    def key(self) -> str:
        """Return what names it among all nodes of a trace."""
        return f"{self.sort}:{self.id}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Link:
    """Two nodes met, from the part's side to the patient's."""

    source: str
    target: str
    sure: Sure = Sure.SURE
    start: datetime | None = None
    end: datetime | None = None
    """None with a start: it goes on."""


class StayKind(StrEnum):
    """What a stretch of a circuit's time was."""

    IN_CIRCUIT = "in"
    """The thing asked about was in the circuit; where nothing was, the circuit's own life."""
    TAKEN = "taken"
    ON_PATIENT = "on"


@dataclass(frozen=True, slots=True, kw_only=True)
class Stay:
    """A stretch of time on a lane."""

    lane: str
    """Key of the node whose lane it is: a circuit, or a patient where only that is known."""
    kind: StayKind
    start: datetime
    end: datetime | None
    sure: Sure = Sure.SURE
    label: str = ""
    """Number of the run."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Listed:
    """Some nodes of one sort, and how many there are in all."""

    nodes: tuple[Node, ...] = ()
    total: int = 0
    first: int = 0
    """How many come before those listed."""
    exact: bool = True
    """False: at least so many; nobody counted further."""

    @property
    def more(self) -> int:
        """Return how many are not listed here."""
        return max(self.total - len(self.nodes), 0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sideways:
    """What else shared something with what was asked about."""

    by: str
    """circuit, day, machine or place."""
    through: str
    """Label of what was shared: "C-0419", "2026-11-25", "console 3"."""
    listed: Listed


@dataclass(frozen=True, slots=True, kw_only=True)
class Trace:
    """All that one question found, cut at one entry."""

    subject: Node
    lists: Mapping[Sort, Listed]
    links: tuple[Link, ...] = ()
    stays: tuple[Stay, ...] = ()
    over_time: Mapping[str, tuple[int, int]] = field(default_factory=dict)
    """Circuits begun, and taken for a patient, by week (its Monday, "2026-11-23"), month
    ("2026-11") or year ("2026"), over all and not only those listed. Empty where all are listed."""
    sideways: tuple[Sideways, ...] = ()
    entries: Mapping[str, int] = field(default_factory=dict)
    """Of a person: how many entries of each kind, as of the cut."""
    cut_no: int = 0
    recorded_at: datetime | None = None
    """Of the last entry included."""

    def listed(self, sort: Sort) -> Listed:
        """Return the nodes of a sort; none is an empty list."""
        return self.lists.get(sort, Listed())

    @property
    def nodes(self) -> dict[str, Node]:
        """Return all nodes by key, the subject among them."""
        found = {self.subject.key: self.subject}
        return found | {node.key: node for each in self.lists.values() for node in each.nodes}
