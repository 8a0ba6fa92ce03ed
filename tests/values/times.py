"""Use-by, exposure times and due dates."""

from datetime import UTC, date, datetime, timedelta
from typing import Any, Final

from tests.values.forms import (
    MONTH_ONLY,
    BadValue,
    Form,
    Given,
    aware,
    day,
    hours,
    local,
    local_text,
    number,
    utc_text,
    wall,
    whole,
    zone,
)
from traceability.domain.days import end_of_day, hours_later, moment, start_of_day
from traceability.domain.deadlines import Rule, Start, Unit, WorkCalendar, due
from traceability.domain.exposure import exposed
from traceability.domain.spans import Span, elapsed, span
from traceability.domain.use_by import Limit, Limits, PartExpiry, UseBy, Way, decide, is_usable

_BINDS: Final = {
    Limit.POLICY_WET_CLOSED: "policy",
    Limit.POLICY_WET_OPEN: "policy",
    Limit.POLICY_DRY: "dry set-up",
    Limit.BLOOD_PRIME: "blood prime",
    Limit.OPENED_FLUID: "opened fluid",
}
_FLUID_HOURS: Final = ("opened_fluid_hours", "opened_hours", "fluid_hours")


def _first(given: Given, *keys: str) -> Any:
    return next((given[key] for key in keys if given.get(key) is not None), None)


def _way(given: Given) -> Way:
    kind = str(_first(given, "kind", "way", "prime_kind") or "")
    if "dry" in kind:
        return Way.DRY
    return Way.WET_OPEN if "open" in kind else Way.WET_CLOSED


def _limits(given: Given, way: Way) -> Limits:
    values: dict[str, Any] = {}
    for key in ("policy_days_at_prime", "policy_days"):
        if given.get(key) is not None:
            field = {Way.DRY: "dry_days", Way.WET_OPEN: "wet_open_days"}.get(way, "wet_closed_days")
            values[field] = whole(given, key, least=1)
            break
    if given.get("dry_days") is not None:
        values["dry_days"] = whole(given, "dry_days", least=1)
    if given.get("blood_hours") is not None:
        values["blood_hours"] = number(given, "blood_hours")
    for key in _FLUID_HOURS:
        if given.get(key) is not None:
            values["opened_fluid_hours"] = number(given, key)
    for key in ("parts_expiry_counts", "expiry_counts", "component_expiry_counts"):
        if given.get(key) is False:
            values["parts_expiry_counts"] = False
    return Limits(**values)


def _expiry(text: Any) -> PartExpiry:
    return PartExpiry(name="part", lot=None, expiry=day(text), day_given=len(text) != MONTH_ONLY)


def _decide(given: Given, end: str, way: Way) -> dict[str, str]:
    opened = [key for key in ("fluid_opened_local", "opened_local") if key in given]
    blood_at = local(given, "blood_local") if "blood_local" in given else None
    found = decide(
        local(given, end),
        zone(given),
        way,
        given.get("blood_hours") is not None or given.get("blood") is True,
        _limits(given, way),
        [_expiry(text) for text in given.get("expiries", ())],
        blood_at=blood_at,
        fluid_opened_at=local(given, opened[0]) if opened else None,
    )
    return _use_by(found, given)


def _use_by(found: UseBy, given: Given) -> dict[str, str]:
    return {
        "utc": utc_text(found.at),
        "local": local_text(found.at, zone(given)),
        "binds": _binds(found.deciding.code, found),
        **({"next": _binds(found.next.code, found, 1)} if found.next else {}),
    }


def _binds(code: Limit, found: UseBy, place: int = 0) -> str:
    if code is Limit.PART_EXPIRY:
        return f"component expiry {found.all[place].facts['expiry']}"
    return _BINDS[code]


def _elapsed_limit(given: Given) -> dict[str, str]:
    starts = [key for key in given if key.endswith("_local")]
    if len(starts) != 1:
        raise BadValue("hours count from one local time; the value gives none or several")
    at = hours_later(local(given, starts[0]), number(given, "hours", least=0))
    return {"utc": utc_text(at), "local": local_text(at, zone(given))}


def _expires(given: Given) -> dict[str, str]:
    at = end_of_day(day(given["expiry"]), zone(given))
    return {"utc": utc_text(at), "local": local_text(at, zone(given))}


USE_BY: Final = (
    Form(("use_by", "take_at"), lambda g: is_usable(aware(g["use_by"]), aware(g["take_at"]))),
    Form(
        ("wet_prime_end_local", "zone"),
        lambda g: _decide(g, "wet_prime_end_local", _way(g)),
    ),
    Form(("prime_end_local", "zone"), lambda g: _decide(g, "prime_end_local", _way(g))),
    Form(("dry_local", "zone"), lambda g: _decide(g, "dry_local", Way.DRY)),
    Form(("hours", "zone"), _elapsed_limit),
    Form(
        ("expiry", "zone", "at_local"),
        lambda g: is_usable(end_of_day(day(g["expiry"]), zone(g)), local(g, "at_local")),
    ),
    Form(("expiry", "zone"), _expires),
)


def _spans(pairs: Any) -> list[Span]:
    read = [(aware(a), None if b is None else aware(b)) for a, b in pairs]
    for start, end in read:
        if end is not None and end < start:
            raise BadValue(f"a time ends before it starts: {utc_text(start)}, {utc_text(end)}")
    return [one for start, end in read if (one := span(start, end)) is not None]


def _exposed(given: Given) -> list[list[str | None]]:
    found = exposed(_spans(given["part_in_circuit"]), _spans(given["circuit_on_patient"]))
    return [[utc_text(one.start), None if one.end is None else utc_text(one.end)] for one in found]


def _hours_between(given: Given) -> float | int:
    start, end = local(given, "from_local"), local(given, "to_local")
    if end < start:
        raise BadValue("the time ends before it starts")
    one = span(start, end)
    return hours(timedelta(0) if one is None else elapsed([one], until=end))


EXPOSURE: Final = (
    Form(("part_in_circuit", "circuit_on_patient"), _exposed),
    Form(("zone", "from_local", "to_local"), _hours_between),
    Form(("zone", "end"), lambda g: f"up to {utc_text(end_of_day(day(g['end']), zone(g)))}"),
    Form(("zone", "start"), lambda g: f"from {utc_text(start_of_day(day(g['start']), zone(g)))}"),
)


def _aware_day(given: Given) -> date:
    """Return the local day of becoming aware, told as a day or as a moment."""
    if "aware_local" in given:
        return wall(given["aware_local"]).date()
    text = given["aware"]
    if isinstance(text, str) and "T" in text:
        at = datetime.fromisoformat(text)
        if at.tzinfo is None:
            at = moment(at, zone(given)) if "zone" in given else at.replace(tzinfo=UTC)
        return at.astimezone(zone(given) if "zone" in given else at.tzinfo).date()
    return day(text)


def _due(given: Given) -> str:
    keys = [key for key in ("work_days", "working_days") if key in given]
    unit = Unit.WORK_DAYS if keys else Unit.CALENDAR_DAYS
    days = whole(given, keys[0] if keys else "calendar_days", least=1)
    starts = str(given.get("count_starts", "day after"))
    if starts not in {"day after", "same day"}:
        raise BadValue(f"count_starts is {starts!r}, neither 'day after' nor 'same day'")
    start = Start.DAY_AFTER if starts == "day after" else Start.SAME_DAY
    closed = frozenset(day(text) for text in given.get("holidays", ()))
    rule = Rule(code="asked", days=days, unit=unit, start=start)
    return due(_aware_day(given), rule, WorkCalendar(holidays=closed)).isoformat()


DEADLINE: Final = tuple(
    Form((aware_key, days_key), _due)
    for aware_key in ("aware", "aware_local")
    for days_key in ("work_days", "working_days", "calendar_days")
)
