"""Words of a trace: what was asked, what each list holds, and why a text means nothing here."""

from collections.abc import Mapping
from typing import Final

from traceability.domain.trace import Listed, Sideways, Sort, Sure, Trace

ONE: Final[Mapping[Sort, str]] = {
    Sort.PRODUCT: "product",
    Sort.LOT: "lot",
    Sort.UNIT: "piece with a serial",
    Sort.GAP: "part without a recorded lot",
    Sort.CIRCUIT: "circuit",
    Sort.RUN: "run",
    Sort.PATIENT: "patient",
    Sort.MACHINE: "machine",
    Sort.PLACE: "place",
    Sort.PERSON: "person",
    Sort.SPAN: "span of days",
    Sort.SCOPE: "question",
}
MANY: Final[Mapping[Sort, str]] = {
    Sort.PRODUCT: "products",
    Sort.LOT: "lots",
    Sort.UNIT: "pieces with a serial",
    Sort.GAP: "parts without a recorded lot",
    Sort.CIRCUIT: "circuits",
    Sort.RUN: "runs",
    Sort.PATIENT: "patients",
    Sort.MACHINE: "machines",
    Sort.PLACE: "places",
    Sort.PERSON: "people",
    Sort.SPAN: "spans of days",
    Sort.SCOPE: "what is asked",
}

GAPS: Final = {
    "inside-pack": "inside the pack, inner lot not known",
    "lot-not-readable": "lot not readable",
    "lot-not-recorded": "lot not recorded",
    "recorded": "no lot",
}
"""States of parts without a lot; see `domain.parts`."""

PROBLEMS: Final[Mapping[str, str]] = {
    "cut": "Only half of one of our symbols was read. Scan it again.",
    "check": "One character of this symbol is wrong. Scan it again, or type the number beside it.",
    "kind": "This symbol is of a kind not known here.",
    "card": "This is an act card: it does something at the trolley and names nothing.",
    "form": "This is a form for down time. Type the number of its circuit.",
    "other-site": "This symbol was made at another site. Ask there.",
    "too-long": "That is too long for a name or a code. Type less of it.",
    "patient-hidden": (
        "This reads as a patient's wristband. Patients are not shown to you. Nothing was kept."
    ),
    "circuit-unknown": "This tag's number is not on record here. Compare it with the print.",
    "place-unknown": "This place is not on the list of places.",
    "person-unknown": "This badge belongs to nobody who works here now.",
    "part-unknown": "This label's item is not on the list of products and machines.",
}

SURE: Final[Mapping[Sure, str]] = {
    Sure.SURE: "recorded",
    Sure.INFERRED: "inferred",
    Sure.POSSIBLE: "possible",
    Sure.APART: "at no common time",
}

SHARED: Final[Mapping[str, str]] = {
    "circuit": "In the same circuit",
    "day": "Begun on the same day",
    "time": "With a run at the same time",
    "machine": "Served by the same machine",
    "place": "In the same place at the same time",
}


def counted(sort: Sort, listed: Listed) -> str:
    """Return "1 circuit", "4,999 circuits" or "at least 5,000 circuits"."""
    word = ONE[sort] if listed.total == 1 else MANY[sort]
    return f"{'' if listed.exact else 'at least '}{listed.total:,} {word}"


def more_words(sort: Sort, rest: int, exact: bool) -> str:
    """Return "and 4,987 more circuits", for what a picture does not draw."""
    word = ONE[sort] if rest == 1 else MANY[sort]
    return f"and {'' if exact else 'at least '}{rest:,} more {word}"


def apart_words(runs: int) -> str:
    """Return what is said of runs that a picture leaves out."""
    word = "run" if runs == 1 else "runs"
    return f"{runs} {word} at no common time: listed below, not drawn"


def subject_words(trace: Trace) -> str:
    """Return what the trace begins with, as a heading says it."""
    return {
        Sort.PRODUCT: "Every lot of",
        Sort.LOT: "Lot",
        Sort.UNIT: "Serial",
        Sort.CIRCUIT: "Circuit",
        Sort.RUN: "Run",
        Sort.MACHINE: "Machine",
        Sort.PLACE: "Place",
        Sort.SPAN: "Days",
    }.get(trace.subject.sort, "")


def summary(trace: Trace, *, patients: bool) -> str:
    """Return in a sentence what was found; it never begins with a nought."""
    sorts = [Sort.CIRCUIT, Sort.RUN, *([Sort.PATIENT] if patients else [])]
    found = [counted(sort, trace.listed(sort)) for sort in sorts if trace.listed(sort).total]
    if not found:
        return "Nothing recorded touches it. That is no answer yet."
    joined = ", ".join(found)
    return f"Touches {joined}."


def list_head(trace: Trace, sort: Sort) -> str:
    """Return the heading of a list: which way it looks."""
    subject = trace.subject.sort
    parts = {Sort.LOT, Sort.UNIT, Sort.PRODUCT}
    heads = {
        Sort.CIRCUIT: "Circuits",
        Sort.RUN: "Runs of these circuits" if subject in parts else "Runs",
        Sort.PATIENT: "Patients",
        Sort.LOT: "Lots in these circuits and runs",
        Sort.UNIT: "Pieces with a serial",
        Sort.GAP: "Parts in, lot not recorded",
        Sort.MACHINE: "Machines",
        Sort.PLACE: "Places where these circuits stood",
        Sort.PERSON: "Who signed",
    }
    return heads.get(sort, MANY[sort].capitalize())


def shared_words(each: Sideways) -> str:
    """Return what was shared, and with what."""
    head = SHARED.get(each.by, each.by)
    return f"{head}: {each.through}" if each.through else f"{head}s"


def node_detail(sort: Sort, detail: str) -> str:
    """Return a node's second line in words."""
    return GAPS.get(detail, detail) if sort is Sort.GAP else detail


HEADS: Final[Mapping[Sort, str]] = {sort: word.capitalize() for sort, word in MANY.items()}
"""Headings of the nodes in a graph."""
