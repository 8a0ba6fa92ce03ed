"""The past as it was known: `?as_of=` names an entry, or a date and time in the unit's zone."""

from dataclasses import dataclass
from datetime import UTC, datetime

from flask import request

from traceability.domain.days import moment
from traceability.errors import BadValue
from traceability.reads.entries import newest_number, number_then, recorded_at
from traceability.web import session
from traceability.web.forms import number_in

__all__ = ["AsOf", "as_of"]


@dataclass(frozen=True, slots=True, kw_only=True)
class AsOf:
    """The moment of which a page speaks."""

    number: int | None
    """The last entry that counts; None: all there are."""
    at: datetime

    @property
    def is_past(self) -> bool:
        """Whether the page shows what was known, and not what is."""
        return self.number is not None


def as_of() -> AsOf:
    """Return what the address asks for; now where it asks for nothing.

    Raises:
        BadValue: it is neither a number of an entry nor a date and time.
    """
    text, ours = request.args.get("as_of", "").strip(), session.services()
    if not text:
        return AsOf(number=None, at=ours.now())
    site_id, number = ours.site.id, number_in(text)
    with ours.reads() as reads:
        if number is not None:
            number = min(number, newest_number(reads, site_id))
            at = recorded_at(reads, site_id, number)
            if at is not None:
                return AsOf(number=number, at=at)
        else:
            then = _moment(text)
            if then is not None:
                return AsOf(number=number_then(reads, site_id, then), at=then)
    raise BadValue(field="as known on", value=text, why="no-moment")


def _moment(text: str) -> datetime | None:
    try:
        given = datetime.fromisoformat(text)
        if given.tzinfo:
            return given.astimezone(UTC)
        return moment(given, session.services().settings.zone_info)
    except (ValueError, OverflowError):
        return None
