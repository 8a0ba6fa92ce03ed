"""`identify`: one JSON object a line in, one out, for scripts and other systems.

A bad line gets an answer that says so and never ends the stream.
"""

import json
import re
import sys
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from itertools import chain
from typing import BinaryIO, Final, TextIO

import click

from traceability.clock import system_clock
from traceability.identifiers.interpret import interpret
from traceability.identifiers.reading import Context, Reading, Standard, Status
from traceability.reading_messages import sentence_for

__all__ = ["DONE", "NOT_READABLE", "answer_stream", "identify", "identify_lines"]

DONE: Final = 0
NOT_READABLE: Final = 2

_OTHER_ENCODINGS: Final = (b"\xff\xfe", b"\xfe\xff")
"""Marks at the start of UTF-16 text: no line of it would make sense."""

_DAY: Final = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)


class _BadLine(ValueError):
    """A line that asks nothing; the message is shown."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Asked:
    """One line understood."""

    text: str
    symbology_identifier: str | None
    today: date
    context: Context


@click.command()
def identify() -> None:
    r"""Say what scanned texts are: JSON objects in, one a line; JSON answers out, in order.

    \b
    echo '{"id": 1, "input": "0109521234543213", "symbology_identifier": "]d2"}' |
        python -m traceability identify

    Exit code 0 when every line was answered, 2 when the input as a whole cannot be read.
    """
    asked = sys.stdin.buffer if sys.stdin else None  # None: started with standard input closed
    status = answer_stream(asked, sys.stdout, system_clock().date()) if asked else NOT_READABLE
    if status == NOT_READABLE:
        click.echo("The input cannot be read. Send UTF-8 text, one JSON object a line.", err=True)
    sys.exit(status)


def answer_stream(asked: BinaryIO, answers: TextIO, today: date) -> int:
    """Answer every line of `asked` and return the exit status.

    0 when every line was answered, bad ones with what is wrong; 2 when the input as a whole
    cannot be read: another encoding, or a source that fails.
    """
    try:
        first = asked.readline()
    except OSError:
        return NOT_READABLE
    if first.startswith(_OTHER_ENCODINGS):
        return NOT_READABLE
    lines = (line.decode("utf-8", "replace") for line in chain((first,), asked))
    answering = identify_lines(lines, today)
    while True:
        try:
            answer = next(answering, None)
        except OSError:
            return NOT_READABLE
        if answer is None:
            return DONE
        answers.write(answer + "\n")  # what fails here is no matter of the input


def identify_lines(lines: Iterable[str], today: date) -> Iterator[str]:
    """Yield a JSON answer for each line that is not blank, in order.

    Args:
        lines: JSON objects with `input` and optionally `id`, `symbology_identifier`, `today`
            and `context`; unknown keys are ignored.
        today: used where a line names no day; one day more or less moves no century but on
            New Year.
    """
    for line in lines:
        if line.strip():
            yield _answer(line, today)


def _answer(line: str, today: date) -> str:
    given: object = None
    try:
        given = json.loads(line.lstrip("\ufeff"), parse_constant=_no_constant)
        asked = _understood(given, today)
    except (ValueError, RecursionError) as wrong:
        why = str(wrong) if isinstance(wrong, _BadLine) else "the line is not JSON"
        return _written(_id(given), _bad_line(why))
    reading = interpret(
        asked.text,
        symbology_identifier=asked.symbology_identifier,
        today=asked.today,
        context=asked.context,
    )
    return _written(_id(given), _facts(reading, sentence_for(reading)))


def _no_constant(name: str) -> object:
    raise ValueError(name)


def _id(given: object) -> object:
    return given.get("id") if isinstance(given, dict) else None


def _understood(given: object, today: date) -> _Asked:
    if not isinstance(given, dict):
        raise _BadLine("the line is not an object")
    text, symbology = given.get("input"), given.get("symbology_identifier")
    if not isinstance(text, str):
        raise _BadLine("input is not text")
    if not isinstance(symbology, str | None):
        raise _BadLine("symbology_identifier is not text")
    return _Asked(
        text=text,
        symbology_identifier=symbology,
        today=_day(given.get("today"), today),
        context=_context(given.get("context")),
    )


def _day(written: object, today: date) -> date:
    if written is None:
        return today
    if isinstance(written, str) and _DAY.fullmatch(written):
        try:
            return date.fromisoformat(written)
        except ValueError:
            pass
    raise _BadLine("today is not a day YYYY-MM-DD")


def _context(given: object) -> Context:
    if given is None:
        return Context()
    if not isinstance(given, dict):
        raise _BadLine("context is not an object")
    for name in ("previous", "channel", "scanner_layout", "host_layout"):
        if not isinstance(given.get(name), str | None):
            raise _BadLine(f"{name} is not text")
    if not isinstance(given.get("gs_capable"), bool | None):
        raise _BadLine("gs_capable is neither true nor false")
    return Context(
        previous=given.get("previous"),
        gs_capable=given.get("gs_capable") is not False,
        channel=given.get("channel"),
        scanner_layout=given.get("scanner_layout") or "us",
        host_layout=given.get("host_layout"),
    )


def _facts(reading: Reading, message: str) -> dict[str, object]:
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
        "reason_codes": list(reading.reason_codes),
        "recovered": reading.recovered,
        "alternative": reading.alternative and [list(pair) for pair in reading.alternative],
        "message": message,
        "cautions": list(reading.cautions),
        "expiry_day_given": reading.expiry_day_given,
        "expiry_time": reading.expiry_time,
        "faults": [
            {"code": fault.code, "position": fault.position, "identifier": fault.identifier}
            for fault in reading.faults
        ],
        "host_layouts": list(reading.host_layouts),
    }


def _bad_line(why: str) -> dict[str, object]:
    nothing = Reading(
        text="", status=Status.REJECTED, standard=Standard.NONE, reason_codes=("bad-line",)
    )
    return _facts(nothing, f"{sentence_for(nothing)} Put it right: {why}.")


def _written(line_id: object, facts: dict[str, object]) -> str:
    try:
        return json.dumps({"id": line_id, **facts}, allow_nan=False)
    except (RecursionError, ValueError):  # an id too deep, or a number too large, to write back
        return json.dumps({"id": None, **facts})
