"""Whole symbols from outside, with their sources: the check data and the standards' examples."""

import csv
import json
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from traceability.identifiers.interpret import interpret
from traceability.identifiers.reading import Context, Reading, Status

TESTS = Path(__file__).parents[1]
CASES = json.loads((TESTS / "data/identifiers/identifiers_dev.json").read_text(encoding="utf-8"))
PUBLISHED = list(
    csv.DictReader((TESTS / "published/identifiers.csv").read_text(encoding="utf-8").splitlines())
)


def _read(case: dict[str, Any]) -> Reading:
    return interpret(
        case["input"],
        symbology_identifier=case["symbology_identifier"],
        today=date.fromisoformat(case["today"]),
        context=Context(**case.get("context", {})),
    )


def _seen(reading: Reading) -> dict[str, object]:
    return {
        "status": reading.status,
        "standard": reading.standard,
        "device_identifier": reading.device_identifier,
        "lot": reading.lot,
        "serial": reading.serial,
        "quantity": reading.quantity,
        "expiry": reading.expiry and reading.expiry.isoformat(),
        "made": reading.made and reading.made.isoformat(),
        "elements": [list(element) for element in reading.elements],
        "reason_code": reading.reason_codes[0] if reading.reason_codes else None,
        "recovered": reading.recovered,
        "alternative": reading.alternative and [list(pair) for pair in reading.alternative],
    }


@pytest.mark.parametrize("case", CASES, ids=[case["id"] for case in CASES])
def test_a_case_is_read_as_its_source_says(case: dict[str, Any]) -> None:
    seen = _seen(_read(case))
    assert {key: seen[key] for key in case["expect"]} == case["expect"]


@pytest.mark.parametrize("row", PUBLISHED, ids=[row["source"][:50] for row in PUBLISHED])
def test_a_published_example_is_read_as_printed(row: dict[str, str]) -> None:
    text = row["text"].replace("{GS}", "\x1d").replace("{RS}", "\x1e").replace("{EOT}", "\x04")
    reading = interpret(
        text,
        symbology_identifier=row["symbology_identifier"] or None,
        today=date.fromisoformat(row["today"]),
    )
    seen = _seen(reading)
    names = ("device_identifier", "lot", "serial", "expiry", "made", "quantity")
    assert reading.status is Status.OK
    assert {n: str(seen[n] or "") for n in names} == {n: row[n] for n in names}


def test_reason_codes_and_status_agree_in_every_case() -> None:
    for case in CASES:
        reading = _read(case)
        assert bool(reading.reason_codes) == (reading.status in (Status.SUSPECT, Status.REJECTED))
        assert {fault.code for fault in reading.faults} >= set(reading.reason_codes)
        assert reading.text == case["input"]
