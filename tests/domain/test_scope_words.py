"""A scope as people read it, sentence by sentence.

Source of the kinds of scope: how published recall notices state theirs; common practice.
"""

from typing import Any
from zoneinfo import ZoneInfo

import pytest

from traceability.domain.notice_scope import read_scope
from traceability.scope_messages import scope_sentences, scope_texts

ZONE = ZoneInfo("Europe/Stockholm")
TAP = {"maker": "Oskerby Devices", "item_number": "TAP3", "name": "three-way tap"}


def lots(*texts: str) -> dict[str, Any]:
    return {"test": "lots", "texts": list(texts)}


@pytest.mark.parametrize(
    ("clause", "sentence"),
    [
        (
            {
                "products": [TAP],
                "tests": [
                    lots("TA-0701", "TA-0702"),
                    {"test": "made", "from": "2026-01-01", "to": "2026-02-28"},
                ],
                "except": [{"test": "serials", "texts": ["S9"]}],
            },
            "Lots TA-0701 and TA-0702 of three-way tap TAP3, Oskerby Devices, made 2026-01-01 to "
            "2026-02-28, except serial S9.",
        ),
        ({"products": [TAP]}, "Every unit of three-way tap TAP3, Oskerby Devices."),
        (
            {"products": [TAP], "containing": True, "tests": [lots("L1")]},
            "Packs that contain lot L1 of three-way tap TAP3, Oskerby Devices.",
        ),
        (
            {
                "products": [{"kind": "heater-cooler", "maker": "Mellowick Perfusion"}],
                "tests": [{"test": "serial-range", "to": "HC0450"}],
                "used_from": "2031-01-01T00:00+01:00",
            },
            "Serials up to HC0450 of heater-cooler, Mellowick Perfusion, in use from 2031-01-01 "
            "00:00 CET on.",
        ),
        (
            {
                "products": [{"standard": "gs1", "identifier": "09521234000013"}],
                "tests": [
                    {"test": "lot-range", "from": "A1", "to": "A9"},
                    {"test": "received", "from": "2031-01-02"},
                    {"test": "supplier", "texts": ["North Supplies", "South Supplies"]},
                ],
                "except": [{"test": "shipped", "to": "2031-02-01"}],
            },
            "Lots A1 to A9 of code 09521234000013, received here 2031-01-02 or later, supplied by "
            "North Supplies or South Supplies, except those sent out by the maker 2031-02-01 or "
            "earlier.",
        ),
    ],
)
def test_a_clause_is_a_sentence(clause: dict[str, Any], sentence: str) -> None:
    assert scope_sentences(read_scope({"any_of": [clause]}), ZONE) == [sentence]


def test_many_lots_are_counted_and_all_of_them_can_be_listed() -> None:
    many = [f"L{number:03}" for number in range(50)]
    scope = read_scope({"any_of": [{"products": [TAP], "tests": [lots(*many)]}]})
    (sentence,) = scope_sentences(scope, ZONE)
    assert "L011 and 38 more of three-way tap" in sentence
    assert scope_texts(scope) == many
