"""How hard each check at scan time is: look again or stop, as the unit's policy says.

A policy may be stricter or milder than the defaults, but never milder for fluid, circuit type and
suction side. Source: common practice, no source; settled in review with people of the trade.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from traceability.domain.people import Right
from traceability.domain.trolley import DEFAULT_CHECKS, WAY_ON, Finding, Verdict

__all__ = ["CHOICES", "Choice", "checks_of", "right_past"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """One check and what a policy may make of it."""

    finding: Finding
    usual: Verdict
    may_be: tuple[Verdict, ...]


_BOTH: Final = (Verdict.LOOK_AGAIN, Verdict.STOP)
_ALSO_SAID: Final = (Verdict.ACCEPTED, *_BOTH)
CHOICES: Final = tuple(
    Choice(finding=finding, usual=DEFAULT_CHECKS[finding], may_be=may_be)
    for finding, may_be in (
        (Finding.WRONG_FLUID, (Verdict.STOP,)),
        (Finding.WRONG_TYPE, (Verdict.STOP,)),
        (Finding.SUCTION_SIDE, (Verdict.STOP,)),
        (Finding.SAME_SERIAL_HERE, (Verdict.STOP,)),
        (Finding.ON_HOLD, _BOTH),
        (Finding.IN_NOTICE, _BOTH),
        (Finding.LIKE_NOTICE, _BOTH),
        (Finding.EXPIRED, _BOTH),
        (Finding.SAME_SERIAL_ELSEWHERE, _BOTH),
        (Finding.OPENED_EARLIER, _BOTH),
        (Finding.SHORT_DATED, _BOTH),
        (Finding.NEVER_RECEIVED, _ALSO_SAID),
        (Finding.ALL_RECORDED, _BOTH),
    )
)
"""Every check of a scan at the trolley, the most dangerous first. *Accepted* means: said on the
strip, and the part goes in."""


def checks_of(stored: Mapping[str, str]) -> Mapping[Finding, Verdict]:
    """Return the checks of a stored policy; what it does not say, or may not say, is the default.

    >>> checks_of({"wrong-fluid": "look-again"})[Finding.WRONG_FLUID]
    <Verdict.STOP: 'stop'>
    """
    made = dict(DEFAULT_CHECKS)
    for choice in CHOICES:
        if stored.get(choice.finding) in choice.may_be:
            made[choice.finding] = Verdict(stored[choice.finding])
    return MappingProxyType(made)


def right_past(finding: Finding, verdict: str) -> Right:
    """Return which right goes on past a finding, with a reason.

    A milder verdict takes no right away from whom it protects; a stop always asks for a signer at
    least, also where the usual answer is *look again*. A serial that two circuits claim is recorded
    by anybody: both claims stay.
    """
    usual = WAY_ON[finding]
    stricter = verdict == Verdict.STOP and DEFAULT_CHECKS[finding] is not Verdict.STOP
    return Right.PAST_DATE if stricter and usual is Right.ACT else usual
