"""Answers trade values by the product's own rules: `python -m tests.check_values FILE.json`.

Prints one line a value: `{"id", "answer"}` with the answer in the form of what is expected. Other
areas, and values that only a sentence could answer, are skipped. A value that cannot be answered
gets `"answer": null` and an `error` that says what is wrong with it; it never ends the stream.
Exit status 2 where the file as a whole could not be read.
"""

import json
import sys
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, Final

from tests.values.forms import BadValue, Form
from tests.values.ready import READINESS, STANDBY, STOCK
from tests.values.scopes import GS1, SCOPE, longest, needs_product
from tests.values.times import DEADLINE, EXPOSURE, USE_BY

FORMS: Final[Mapping[str, tuple[Form, ...]]] = {
    "use_by": USE_BY,
    "readiness": READINESS,
    "stock": STOCK,
    "standby": STANDBY,
    "deadline": DEADLINE,
    "scope": SCOPE,
    "exposure": EXPOSURE,
    "gs1": GS1,
}


def answers(values: list[Any]) -> Iterator[dict[str, Any]]:
    """Return one line for each value of our areas, in order."""
    for place, value in enumerate(values, start=1):
        if not isinstance(value, dict):
            yield {"id": None, "answer": None, "error": f"value {place} is not an object"}
            continue
        if value.get("area") not in FORMS:
            continue
        try:
            found = _answer(value)
        except BadValue as wrong:
            found = {"answer": None, "error": str(wrong)}
        except (ValueError, TypeError, KeyError, AttributeError, OverflowError) as wrong:
            found = {"answer": None, "error": f"not readable: {type(wrong).__name__}: {wrong}"}
        if found is not None:
            yield {"id": value.get("id"), **found}


def _answer(value: Mapping[str, Any]) -> dict[str, Any] | None:
    """Return the answer's part of a line; None where only a sentence could answer."""
    given = value.get("given")
    if not isinstance(given, dict):
        raise BadValue("given is not an object")
    form = next((form for form in FORMS[value["area"]] if form.fits(given)), None)
    if form is not None:
        return {"answer": shaped(form.answer(given), value.get("expect"))}
    if value["area"] == "gs1":
        statement = str(value.get("statement", ""))
        for rule in (longest, needs_product):
            if (found := rule(statement)) is not None:
                return {"answer": found}
    if isinstance(value.get("expect"), str):
        return None
    raise BadValue(f"no rule of {value['area']} takes {', '.join(sorted(given)) or 'nothing'}")


def shaped(found: Any, expect: Any) -> Any:
    """Return an answer in the form of what is expected: never its values, only its keys.

    An answer of several facts is cut to those that are asked for; where one value is asked for,
    it is the answer's first. How exact the answer has to be is the asker's to say, and is repeated.
    """
    if not isinstance(found, dict):
        return found
    if isinstance(expect, dict):
        kept = {key: found[key] for key in expect if key in found}
        exact = {key: expect[key] for key in expect if key.startswith("tolerance")}
        return kept | exact
    return found if expect is None or isinstance(expect, list) else next(iter(found.values()))


def main(arguments: list[str]) -> int:
    """Answer one file; return the exit status."""
    if len(arguments) != 1:
        sys.stderr.write("usage: python -m tests.check_values FILE.json\n")
        return 2
    try:
        values = json.loads(Path(arguments[0]).read_text(encoding="utf-8"))
    except (OSError, ValueError) as wrong:
        sys.stderr.write(f"{arguments[0]} could not be read: {wrong}\n")
        return 2
    if not isinstance(values, list):
        sys.stderr.write(f"{arguments[0]} should hold a list of values\n")
        return 2
    for line in answers(values):
        sys.stdout.write(json.dumps(line, ensure_ascii=False) + "\n")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
