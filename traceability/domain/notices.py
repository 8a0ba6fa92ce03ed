"""A notice as a thing with a life: who tells of it, when a reply is due, how it ends.

One event that maker, supplier and authority write about is one notice with several letters.
Source: trade practice settled in review; common practice, no source, unless said.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import Final

from traceability.domain.deadlines import PUBLISHED, Rule, Start, Unit, WorkCalendar, due
from traceability.domain.events import Plain

__all__ = [
    "LONGEST_RULE",
    "Due",
    "NoticeEnd",
    "Sender",
    "due_body",
    "due_by",
    "read_due",
    "rule_of",
]

LONGEST_RULE: Final = 365
"""Days of a rule of the site's own. Own choice, no source."""


class Sender(StrEnum):
    """Who writes about the event."""

    MAKER = "maker"
    SUPPLIER = "supplier"
    AUTHORITY = "authority"
    OTHER = "other"


class NoticeEnd(StrEnum):
    """How a notice is closed."""

    WORKED_OFF = "worked-off"
    NOTHING_OF_OURS = "nothing-of-ours"
    WITHDRAWN = "withdrawn"
    """By who sent it."""
    SAME_AS_ANOTHER = "same-as-another"


@dataclass(frozen=True, slots=True, kw_only=True)
class Due:
    """Until when a reply is asked for, and why that day."""

    on: date | None
    """Last day in time, in the unit's zone; None: no reply is asked for."""
    rule: Rule | None = None
    """The rule that gave the day; None where the letter states it, or asks for none."""
    stated: bool = False
    """The letter itself names the day."""


def rule_of(code: str, *, days: int = 0, unit: str = "") -> Rule:
    """Return the published rule of a code, or the site's own of so many days.

    Raises:
        ValueError: no such rule, or days or unit that cannot be.
    """
    for rule in PUBLISHED:
        if rule.code == code:
            return rule
    if code != "own" or not 1 <= days <= LONGEST_RULE:
        msg = f"{code}, {days} days, is no rule"
        raise ValueError(msg)
    return Rule(code="own", days=days, unit=Unit(unit))


def due_by(rule: Rule, aware: date, calendar: WorkCalendar) -> Due:
    """Return what is due by the rule for a site that became aware on `aware`."""
    return Due(on=due(aware, rule, calendar), rule=rule)


def due_body(what: Due) -> dict[str, Plain]:
    """Return the same as plain values for an event; `read_due` reads it back."""
    rule = what.rule
    return {
        "on": what.on.isoformat() if what.on else None,
        "stated": what.stated,
        "rule": {
            "code": rule.code,
            "days": rule.days,
            "unit": str(rule.unit),
            "start": str(rule.start),
            "source": rule.source,
        }
        if rule
        else None,
    }


def read_due(body: Mapping[str, Plain]) -> Due:
    """Return what `due_body` wrote."""
    rule, on = body.get("rule"), body.get("on")
    return Due(
        on=date.fromisoformat(on) if isinstance(on, str) else None,
        stated=body.get("stated") is True,
        rule=Rule(
            code=str(rule["code"]),
            days=int(str(rule["days"])),
            unit=Unit(str(rule["unit"])),
            start=Start(str(rule["start"])),
            source=str(rule["source"]),
        )
        if isinstance(rule, Mapping)
        else None,
    )
