"""What the people of the demo share: the stage, the stock, and what the plan says has happened."""

from collections import defaultdict
from dataclasses import dataclass, field
from datetime import datetime
from uuid import UUID

from .hospital import LIND, OKORO, RUIZ, SATO, WAHL, Colleague, Screen, Stand
from .stage import Stage
from .stock import Stock


@dataclass(slots=True, kw_only=True)
class Primed:
    """A circuit, as far as those who plan need it."""

    id: UUID
    number: str
    circuit_type: str
    use_by: datetime | None = None
    """None: its prime has not ended, or was stopped."""


@dataclass(slots=True, kw_only=True)
class Chronicle:
    """What the plan knows it did; tests compare it with what the record answers."""

    primes: list[str] = field(default_factory=list)
    """Numbers of all primes begun."""
    runs: list[str] = field(default_factory=list)
    acts: dict[str, int] = field(default_factory=lambda: defaultdict(int))
    """How often each special thing was done."""
    tap_lots: dict[str, set[str]] = field(default_factory=lambda: defaultdict(set))
    """Numbers of circuits by the lot of a tap that went in and was recorded."""


@dataclass(slots=True, kw_only=True)
class Ward:
    """Intensive care 2."""

    stage: Stage
    stock: Stock
    ends: datetime
    """The present moment: where the story stops."""
    chronicle: Chronicle = field(default_factory=Chronicle)
    at_post: dict[str, Primed | None] = field(default_factory=dict)
    """Which circuit stands at console and box, by the place's code."""
    free_beds: list[Stand] = field(default_factory=list)
    wahl_left: datetime | None = None
    steps_since: datetime | None = None
    """Since when there are lists of steps."""

    def count(self, what: str) -> None:
        """Note that something was done."""
        self.chronicle.acts[what] += 1

    def pair(self) -> tuple[Colleague, Colleague]:
        """Return who primes and who helps; two different people."""
        primers = [LIND, LIND, OKORO]
        if self.wahl_left is None or self.stage.now < self.wahl_left:
            primers.append(WAHL)
        primer = self.stage.rng.choice(primers)
        helper = self.stage.rng.choice([RUIZ, SATO, OKORO])
        return primer, RUIZ if helper is primer else helper


@dataclass(frozen=True, slots=True, kw_only=True)
class Crew:
    """Who primes together, at which trolley."""

    primer: Colleague
    helper: Colleague
    trolley: Screen
