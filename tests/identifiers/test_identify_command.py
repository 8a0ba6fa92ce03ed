"""The `identify` command and the words it gives, run as others run them."""

import json
import re
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.identifiers.strategies import TODAY
from tests.identifiers.test_cases import CASES
from traceability.cli.identify import identify_lines
from traceability.identifiers.interpret import interpret
from traceability.identifiers.reading import Context
from traceability.reading_messages import sentence_for

TOP = Path(__file__).parents[2]


def _run(asked: bytes) -> subprocess.CompletedProcess[bytes]:
    command = [sys.executable, "-m", "traceability", "identify"]
    return subprocess.run(command, input=asked, capture_output=True, check=False, cwd=TOP)


def test_a_thousand_lines_take_well_under_ten_seconds_with_the_start() -> None:
    lines = [json.dumps({**CASES[i % len(CASES)], "id": i}) for i in range(1000)]
    began = time.perf_counter()
    done = _run("\n".join(lines).encode())
    took = time.perf_counter() - began
    answers = [json.loads(line) for line in done.stdout.splitlines()]
    print(f"1,000 lines in {took:.2f} s with the start")
    assert (done.returncode, [answer["id"] for answer in answers]) == (0, list(range(1000)))
    assert took < 5
    for answer, i in zip(answers, range(1000), strict=True):
        assert answer["status"] == CASES[i % len(CASES)]["expect"]["status"]


BAD = [
    "nonsense",
    "[1]",
    '{"id": 3}',
    '{"id": 3, "input": 7}',
    '{"id": NaN, "input": "x"}',
    "[" * 99999,
    '{"input": "x", "today": "2026-13-01"}',
    '{"input": "x", "today": "20261125"}',
    '{"input": "x", "today": 5}',
    '{"input": "x", "context": []}',
    '{"input": "x", "context": {"gs_capable": 1}}',
    '{"input": "x", "context": {"host_layout": 5}}',
    '{"input": "x", "symbology_identifier": 5}',
]


@pytest.mark.parametrize("line", BAD)
def test_a_bad_line_is_answered_and_the_next_one_too(line: str) -> None:
    first, second = identify_lines([line, "", '{"id": 2, "input": "\\ud800"}'], TODAY)
    assert json.loads(first)["reason_codes"] == ["bad-line"]
    assert json.loads(second)["status"] == "unstructured"


def test_unknown_keys_are_ignored_and_null_means_absent() -> None:
    context = {"channel": None, "other": 1}
    asked = {"id": {"a": 1}, "input": "x", "today": None, "context": context, "other": 0}
    (answer,) = identify_lines([json.dumps(asked)], TODAY)
    assert json.loads(answer)["id"] == {"a": 1}


def test_bytes_that_are_no_utf_8_spoil_only_their_line() -> None:
    done = _run(b'{"id": 1, "input": "\xff"}\n{"id": 2, "input": "x"}\r\n')
    assert (done.returncode, len(done.stdout.splitlines())) == (0, 2)


def test_input_of_another_encoding_ends_with_2() -> None:
    done = _run('{"id": 1, "input": "x"}\n'.encode("utf-16"))
    assert (done.returncode, done.stdout) == (2, b"")
    assert done.stderr


def test_every_answer_has_a_sentence_in_the_words_of_the_ward() -> None:
    banned = re.compile(r"error|invalid|success|please|oops|!|none\b|null|-check-|\d{3,}N", re.I)
    for case in CASES:
        reading = interpret(
            case["input"],
            symbology_identifier=case["symbology_identifier"],
            today=TODAY,
            context=Context(**case.get("context", {})),
        )
        said = sentence_for(reading)
        unquoted = said
        for _, value in (*reading.elements, *(reading.alternative or ())):
            unquoted = unquoted.replace(value, "")
        assert not banned.search(unquoted), said
        assert said.endswith((".", "?"))
        assert said[0].isupper() or said[0].isdigit(), said


def test_a_doubt_names_both_readings_so_that_the_eye_knows_where_to_look() -> None:
    reading = interpret("010952123454321310AB17271231", symbology_identifier="]C1", today=TODAY)
    said = sentence_for(reading)
    assert said == "Compare with the print: lot AB17271231? Or lot AB, expires 27-12-31?"


def test_a_typed_code_names_the_keyboard_to_set_right() -> None:
    context = Context(channel="keyboard")
    reading = interpret("`B777PACK120-¤L5X", today=TODAY, context=context)
    assert "Swedish keyboard" in sentence_for(reading)
