"""Roles and rights. Names of roles are data for the screen; the rights are ours.

Source: common practice, no source; settled in review with people of the trade.
"""

from collections.abc import Iterable, Mapping
from enum import StrEnum
from typing import Final


class Right(StrEnum):
    """What a use case asks for; each act names exactly one, or none."""

    ACT = "act"
    """Scan, connect, disconnect, swap, discard, late entry, see circuits."""
    PRIME = "prime"
    """Begin a prime and sign it."""
    PAST_DATE = "past-date"
    """Go on past an expiry, a use-by or a missing signature."""
    PAST_STOP = "past-stop"
    """Go on past a hold, a wrong type, a wrong fluid, a port on the suction side."""
    SEE_PATIENTS = "see-patients"
    HOLD_CIRCUIT = "hold-circuit"
    HOLD_STOCK = "hold-stock"
    RULE = "rule"
    """Void, and rule on disputed claims."""
    RULE_LOTS = "rule-lots"
    """Rule on whether two lot texts that look alike name one lot or two."""
    LISTS = "lists"
    """Products, circuit types, places and policy."""
    ASK = "ask"
    """Ask which circuits contain a lot, and download the answer."""
    READ_ALL = "read-all"
    EQUIPMENT = "equipment"
    """Register machines, their software, service and disinfection."""
    ADMIN = "admin"
    """People, devices, settings, keys; no patients."""
    DRILL = "drill"
    """Let the service drill now, begin a drill for people, say who was told in it."""
    NOTICES = "notices"
    """Open notices, add letters and scopes, ask again, work tasks off; the days the site works."""
    NOTICE_REPLIES = "notice-replies"
    """Give answers, reply, close and reopen notices."""
    SEE_PICTURES = "see-pictures"
    """See the photos of a trolley that were kept as evidence."""


class Role(StrEnum):
    """What a person is in the unit; a person may hold several."""

    PRIMER = "primer"
    HELPER = "helper"
    BEDSIDE = "bedside and perfusion"
    RETRIEVAL = "retrieval"
    CONSULTANT = "charge consultant"
    STOCK = "stock"
    BIOMEDICAL = "biomedical engineer"
    PHARMACIST = "pharmacist"
    RECALL = "recall coordinator"
    AUDITOR = "auditor"
    ADMINISTRATOR = "administrator"


EVERYONE: Final = frozenset({Right.ACT, Right.ASK})

RIGHTS: Final[Mapping[Role, frozenset[Right]]] = {
    Role.PRIMER: frozenset({Right.PRIME, Right.PAST_DATE, Right.SEE_PICTURES}),
    Role.HELPER: frozenset({Right.PRIME, Right.PAST_DATE, Right.SEE_PICTURES}),
    Role.BEDSIDE: frozenset({Right.SEE_PATIENTS}),
    Role.RETRIEVAL: frozenset({Right.SEE_PATIENTS}),
    Role.CONSULTANT: frozenset(
        {
            Right.PAST_DATE,
            Right.PAST_STOP,
            Right.HOLD_CIRCUIT,
            Right.RULE,
            Right.SEE_PATIENTS,
            Right.SEE_PICTURES,
        }
    ),
    Role.STOCK: frozenset({Right.LISTS}),
    Role.BIOMEDICAL: frozenset({Right.HOLD_STOCK, Right.RULE_LOTS, Right.EQUIPMENT, Right.NOTICES}),
    Role.PHARMACIST: frozenset({Right.HOLD_STOCK, Right.RULE_LOTS, Right.NOTICES}),
    Role.RECALL: frozenset(
        {
            Right.HOLD_STOCK,
            Right.SEE_PATIENTS,
            Right.NOTICES,
            Right.NOTICE_REPLIES,
            Right.DRILL,
            Right.SEE_PICTURES,
        }
    ),
    Role.AUDITOR: frozenset({Right.READ_ALL, Right.SEE_PICTURES}),
    Role.ADMINISTRATOR: frozenset({Right.ADMIN, Right.LISTS, Right.DRILL}),
}


def rights_of(roles: Iterable[Role]) -> frozenset[Right]:
    """Return all rights of a person with these roles who is signed in."""
    return EVERYONE.union(*(RIGHTS[role] for role in roles))
