"""An answer to "which circuits contain lot X" as words on paper, ready to be set."""

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class AnswerRow:
    """One circuit on a shelf of the answer."""

    circuit: str
    run: str
    """ "R-0231"; empty: no run."""
    why: str
    on_patient: str
    where_now: str
    patient: str = ""
    """Only for who may see patients; empty otherwise."""
    task: str = ""
    """What is to be done and how far it is, in words; empty where nothing is."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AnswerSection:
    """One of the four shelves."""

    name: str
    explain: str
    bead: str
    """whole (confirmed), half (inferred), open (cannot be excluded), none (excluded)."""
    count: int
    rows: Sequence[AnswerRow]


@dataclass(frozen=True, slots=True, kw_only=True)
class AnswerSheet:
    """The whole answer."""

    unit: str
    subject: str
    """Stands at the top of every page."""
    question: str
    head: str
    """The answer in one sentence."""
    as_known: str
    """Moment and ledger number the answer was cut at, in words."""
    last_entry: str
    coverage: Sequence[str]
    sections: Sequence[AnswerSection]
    """In the fixed order: confirmed, inferred, cannot be excluded, excluded."""
    caution: str
    digest: str
    lots: Sequence[str] = ()
    """Lot and serial texts; wherever they stand alone, their letters are underlined."""
