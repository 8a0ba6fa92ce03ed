"""How many should stand ready: the unit's own log, then a model that says what it assumes."""

from dataclasses import dataclass
from datetime import timedelta
from typing import Final

from flask import Blueprint, render_template, request
from flask.typing import ResponseReturnValue
from markupsafe import Markup

from traceability.domain.people import Right
from traceability.domain.standby import Team, chance_none_ready, load
from traceability.errors import BadValue
from traceability.messages import DISCARDS
from traceability.reads.standby import StandbyLog, standby_log
from traceability.shelf_messages import MODELS, TEAMS, say_assumptions, say_chance
from traceability.web import session
from traceability.web.filters import span
from traceability.web.forms import number_in, thousandths_in
from traceability.web.pictures.chances import CIRCUITS, chances, ready_bars

pages = Blueprint("standby", __name__)

USUAL_MONTHS: Final = 12
MOST_MONTHS: Final = 60
DAYS_A_MONTH: Final = 365.25 / 12
MOST_A_WEEK: Final = 100.0
MOST_HOURS: Final = 1000.0
WEEKS_A_YEAR: Final = 365.25 / 7


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """What both models say of one number of circuits."""

    circuits: int
    chances: tuple[str, ...]
    none_a_year: tuple[str, ...]
    """Calls a year that find none ready, by each model."""


@pages.get("/standby")
def page() -> ResponseReturnValue:
    """Show the log of the last months, and what the models say of 1 to 4 circuits."""
    session.need(Right.ACT)
    ours = session.services()
    months = _months(request.args.get("months", ""))
    until = ours.now()
    since = until - timedelta(days=months * DAYS_A_MONTH)
    with ours.reads() as reads:
        log = standby_log(reads, ours.site.id, since, until)
    reprime = log.mean_reprime
    demand = _given("demand", MOST_A_WEEK, log.demand_per_week)
    hours = _given("hours", MOST_HOURS, reprime / timedelta(hours=1) if reprime else None)
    drawn = chances(demand, hours, log.target) if demand and hours else ""
    counts = {*range(log.target + 1), *log.at_count}
    words = {count: _time_words(log, count) for count in counts}
    return render_template(
        "standby.html",
        log=log,
        months=months,
        demand=demand,
        hours=hours,
        rows=_rows(demand, hours) if demand and hours else (),
        teams=[(TEAMS[team], MODELS[team]) for team in Team],
        assumptions=say_assumptions(),
        discards=[(DISCARDS.get(code, code), count) for code, count in log.unused.items()],
        chances_svg=Markup(drawn),  # noqa: S704 - our own drawing; its texts are escaped there
        bars_svg=Markup(ready_bars(log.at_count, log.target, words)),  # noqa: S704 - the same
        nav="shelf",
    )


def _months(text: str) -> int:
    months = number_in(text.strip()) if text.strip() else USUAL_MONTHS
    if months is None or not 1 <= months <= MOST_MONTHS:
        raise BadValue(field="months", value=text, why="out-of-range")
    return months


def _given(name: str, most: float, logged: float | None) -> float | None:
    """Return what was entered, else what the log says."""
    text = request.args.get(name, "").strip()
    if not text:
        return logged
    value = thousandths_in(text)
    if value is None or not 0 < value / 1000 <= most:
        raise BadValue(field=name, value=text, why="out-of-range")
    return value / 1000


def _time_words(log: StandbyLog, count: int) -> str:
    time, total = log.at_count.get(count, timedelta(0)), log.until - log.since
    share = time / total * 100 if total else 0.0
    return f"{span(time)}, {share:.1f} %"


def _rows(demand: float, hours: float) -> tuple[Row, ...]:
    busy = load(demand, hours)
    rows = []
    for n in CIRCUITS:
        found = [chance_none_ready(n, busy, team) for team in Team]
        rows.append(
            Row(
                circuits=n,
                chances=tuple(say_chance(each) for each in found),
                none_a_year=tuple(f"{each * demand * WEEKS_A_YEAR:.2g}" for each in found),
            )
        )
    return tuple(rows)
