"""Words of moments, spans and lots for templates, and what every page knows."""

import re
from datetime import date, datetime, timedelta
from uuid import UUID

from flask import Flask
from markupsafe import Markup, escape

from traceability.domain.readings import number_text
from traceability.messages import say_limit
from traceability.reads.circuits import CircuitFacts
from traceability.reads.lists import site_facts
from traceability.web import session


def register(app: Flask) -> None:
    """Add filters and the context of every page."""
    app.add_template_filter(moment)
    app.add_template_filter(clock)
    app.add_template_filter(day)
    app.add_template_filter(span)
    app.add_template_filter(lot)
    app.add_template_filter(lots_in)
    app.add_template_filter(number_text, "thousandths")
    app.add_template_global(limit_words)
    app.add_template_global(next_limit_words)

    @app.context_processor
    def _page() -> dict[str, object]:
        ours = session.services()
        with ours.reads() as reads:
            site = site_facts(reads)
        person = session.who()
        return {
            "site": site,
            "who": person,
            "rights": {str(right) for right in person.rights} if person else set(),
            "device": session.device(),
            "revoked": session.is_revoked(),
            "now": ours.now(),
            "zone_key": ours.settings.zone,
            "zone_name": f"{ours.now().astimezone(ours.settings.zone_info):%Z}",
            "request_id": new_request_id(),
            "flash": None,
        }


def new_request_id() -> UUID:
    """Return a fresh id for a form, so that sending it twice is one act."""
    ours = session.services()
    return ours.site.new_id(ours.now())


def moment(value: datetime | None) -> str:
    """Return `2026-11-25 03:40 CET`; a dash for nothing."""
    if value is None:
        return "–"
    return f"{local(value):%Y-%m-%d %H:%M %Z}"


def clock(value: datetime | None) -> str:
    """Return `03:40`."""
    return "–" if value is None else f"{local(value):%H:%M}"


def day(value: datetime | date | None) -> str:
    """Return `2026-11-25`."""
    if value is None:
        return "–"
    return f"{local(value):%Y-%m-%d}" if isinstance(value, datetime) else value.isoformat()


def local(value: datetime) -> datetime:
    """Return the moment in the unit's zone."""
    return value.astimezone(session.services().settings.zone_info)


def span(value: timedelta | tuple[datetime, datetime]) -> str:
    """Return `22 d 9 h`, `1 h 50 min` or `50 min`, rounded down."""
    length = value if isinstance(value, timedelta) else value[1] - value[0]
    minutes = int(abs(length).total_seconds()) // 60
    days, rest = divmod(minutes, 1440)
    hours, minutes = divmod(rest, 60)
    if days:
        return f"{days} d {hours} h"
    return f"{hours} h {minutes} min" if hours else f"{minutes} min"


def lot(text: str | None) -> Markup:
    """Return a lot, serial or tag text with a line under each run of letters, none under digits.

    O and 0, I and 1, S and 5, B and 8 then differ in every typeface; copied text is unchanged.
    """
    if not text:
        return Markup("")
    runs = re.split(r"([A-Za-z]+)", text)
    marked = (
        Markup("<b>{}</b>").format(run) if index % 2 else escape(run)
        for index, run in enumerate(runs)
        if run
    )
    return Markup('<span class="lot">{}</span>').format(Markup("").join(marked))


def limit_words(circuit: CircuitFacts) -> Markup:
    """Return which limit decides the circuit's use-by."""
    return lots_in(say_limit(circuit.decides))


def next_limit_words(circuit: CircuitFacts) -> Markup:
    """Return which limit would decide next."""
    return lots_in(say_limit(circuit.comes_next))


MARKED = re.compile(
    r"(?P<lot>(?<=\blot )\S+?(?=[,.;:]?(?:\s|$))|(?<=\bserial )\S+?(?=[,.;:]?(?:\s|$)))"
    r"|(?P<moment>\d{4}-\d\d-\d\d(?: \d\d:\d\d [A-Z]+)?)"
)


def lots_in(sentence: str) -> Markup:
    """Return a sentence with its lots and serials marked, and no date broken over two lines."""
    out, at = Markup(""), 0
    for found in MARKED.finditer(sentence):
        out += escape(sentence[at : found.start()])
        if found["lot"]:
            out += lot(found["lot"])
        else:
            out += Markup('<span class="nw">{}</span>').format(found["moment"])
        at = found.end()
    return out + escape(sentence[at:])
