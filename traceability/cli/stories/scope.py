"""A question's scope, read; and an answer, written in the form that its file expects."""

from collections.abc import Mapping
from datetime import UTC, date, datetime
from typing import Any

from traceability.cli.stories.form import BadStory, Given, moment
from traceability.domain.exposure import Shelf
from traceability.domain.shelves.answer import Answer, Row
from traceability.domain.shelves.scope import Asked, Clause, Test, any_of, within
from traceability.domain.spans import Span

__all__ = ["names_one_lot", "scope_of", "spans", "written"]


def scope_of(given: Given) -> tuple[Clause, ...]:
    """Return the clauses of a scope, each cut by the windows around it.

    Raises:
        BadStory: it is no scope that is known.
    """
    try:
        return _clauses(given)
    except (KeyError, TypeError, ValueError, AttributeError, OverflowError) as error:
        if isinstance(error, BadStory):
            raise
        raise BadStory(f"the scope cannot be read ({error!r})") from None


def names_one_lot(given: Given) -> bool:
    """Tell whether the stock that is left is asked for as well."""
    return given.get("kind") == "lots" and len(given["lots"]) == 1


def _clauses(given: Given) -> tuple[Clause, ...]:
    since, until = (
        None if given.get(key) is None else moment(given[key]) for key in ("used_from", "used_to")
    )
    if given["kind"] == "any_of":
        return within(any_of(*(_clauses(inner) for inner in given["scopes"])), since, until)
    kind = given["kind"]
    items = given["items"] if kind == "models" else [given["item"]]
    clause = Clause(
        maker=_named(given["maker"]),
        items=tuple(map(_named, items)),
        tests=() if kind == "models" else (_test(Asked(kind), given),),
    )
    return within((clause,), since, until)


def _test(asked: Asked, given: Given) -> Test:
    if asked is Asked.LOTS:
        return Test(asked=asked, texts=tuple(map(_named, given["lots"])))
    first, last = (None if given.get(key) is None else _named(given[key]) for key in ("from", "to"))
    if asked is Asked.SERIALS:
        return Test(asked=asked, first=first, last=last)
    return Test(
        asked=asked,
        first_day=date.fromisoformat(first) if first else None,
        last_day=date.fromisoformat(last) if last else None,
    )


def _named(value: object) -> str:
    if not isinstance(value, str):
        raise BadStory(f"the scope says {value!r} where a text is needed")
    return value


def written(found: Answer, circuits: Mapping[str, str], *, with_stock: bool) -> dict[str, Any]:
    """Return the answer in the form of `expect`; `circuits` are the file's names by ours."""
    answer: dict[str, Any] = {
        "circuits": {
            circuits.get(name, name): _row(row, patient=False)
            for name, row in found.circuits.items()
        },
        "patients": {name: _row(row, patient=True) for name, row in found.patients.items()},
        "coverage": {
            "circuits": found.coverage.circuits,
            "with_gap": found.coverage.with_gap,
            "foreign_unknown": found.coverage.unknown,
        },
    }
    if with_stock:
        answer["stock_left"] = None if found.stock_left is None else list(found.stock_left)
    return answer


def _row(row: Row, *, patient: bool) -> dict[str, Any]:
    said: dict[str, Any] = {"shelf": str(row.shelf)}
    if row.shelf is Shelf.CANNOT_BE_EXCLUDED:
        said["reasons"] = [str(reason) for reason in row.reasons]
    if patient and row.shelf is not Shelf.EXCLUDED:
        confirmed = row.shelf is Shelf.CONFIRMED
        said["intervals"] = spans(row.sure if confirmed else row.possible)
        if confirmed and row.possible != row.sure:
            said["possible_intervals"] = spans(row.possible)
    if row.continues_beyond_our_record:
        said["continues_beyond_our_record"] = True
    return said


def spans(given: tuple[Span, ...]) -> list[list[str | None]]:
    """Return intervals in the form of `expect`; null: still on."""
    return [[_time(one.start), None if one.end is None else _time(one.end)] for one in given]


def _time(at: datetime) -> str:
    return at.astimezone(UTC).strftime("%Y-%m-%dT%H:%MZ")
