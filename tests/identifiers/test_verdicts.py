"""Verdicts on GS1 texts beside those of an independent implementation of the same checks."""

import csv
from pathlib import Path

from tests.identifiers.strategies import TODAY
from traceability.identifiers.interpret import interpret
from traceability.identifiers.reading import Status

FILE = Path(__file__).parents[1] / "data/identifiers/gs1_verdicts.csv"
VERDICTS = [
    (row["text"], row["verdict"])
    for row in csv.DictReader(FILE.read_text(encoding="utf-8").splitlines())
]

ON_PURPOSE = {
    "GS1UnknownCurrency",  # codes 924 and 926 are allotted, its list is older than ours
    "GS1unknownPackageType",  # we test the form only, so that a new code is not refused
}


def _differs(text: str, verdict: str) -> bool:
    accepted = interpret(text, today=TODAY).status is Status.OK
    return accepted != (verdict == "ok") and verdict not in ON_PURPOSE


def test_verdicts_agree_but_for_what_is_meant_to_differ() -> None:
    # Year 0000 is no year: a date of birth in it is refused here.
    differing = [text for text, verdict in VERDICTS if _differs(text, verdict)]
    assert [
        text for text in differing if "(7250)0000" not in text and "(7251)0000" not in text
    ] == []


def test_both_kinds_of_verdict_are_there_in_number() -> None:
    good = sum(verdict == "ok" for _, verdict in VERDICTS)
    assert min(good, len(VERDICTS) - good) > 300
