"""The unit's lists of steps: seen, edited as rows, taken from a file, printed to be written on."""

from typing import Final

from flask import Blueprint, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from werkzeug.exceptions import NotFound

from traceability.actions.lists.steps import SetSteps, set_steps
from traceability.domain.people import Right
from traceability.domain.readings import Unit
from traceability.domain.step_lists import (
    LARGEST_FILE,
    MOST_READINGS,
    MOST_STEPS,
    limit_in,
    list_of_file,
    short_name,
)
from traceability.domain.steps import NO_SOURCE, Fills, Reading, Step
from traceability.domain.use_by import Way
from traceability.errors import BadValue, Refused
from traceability.messages import say_refusal
from traceability.printing.table_sheet import render_table_sheet
from traceability.reads.lists import sheets, site_facts
from traceability.reads.steps import ListFacts, step_lists
from traceability.step_messages import CAUTION, FILLS, WAYS
from traceability.step_papers import blank_sheet
from traceability.web import session
from traceability.web.errors import status_of
from traceability.web.filters import moment
from traceability.web.forms import checked, number_in, whole
from traceability.web.papers import pdf

pages = Blueprint("steps", __name__)

FARTHEST: Final = 10_000.0
"""Place of a row whose place cannot be read: it goes to the end."""


@pages.get("/steps")
def page() -> ResponseReturnValue:
    """Show the list in force for each way of priming, and its versions."""
    session.need(Right.ACT)
    return _page("")


def _page(flash: str) -> str:
    found = _lists()
    return render_template(
        "steps.html",
        lists=[(way, words, found.get(way, [])) for way, words in WAYS.items()],
        caution=CAUTION,
        flash=flash,
        nav="lists",
    )


def _lists() -> dict[str, list[ListFacts]]:
    ours = session.services()
    found: dict[str, list[ListFacts]] = {}
    with ours.reads() as reads:
        for each in step_lists(reads, ours.site.id):
            found.setdefault(each.steps.way, []).append(each)
    return found


@pages.get("/steps/version")
def version_page() -> ResponseReturnValue:
    """Show one version of a list, as it was set."""
    session.need(Right.ACT)
    found, stands = _version()
    return render_template(
        "steps_version.html",
        shown=found,
        way=found.steps.way,
        words=WAYS[found.steps.way],
        stands=stands,
        caution=CAUTION,
        nav="lists",
    )


def _version() -> tuple[ListFacts, int]:
    """Return the version that an address names, else the one in force, and which that is."""
    versions = _lists().get(request.args.get("way", ""), [])
    if not versions:
        raise NotFound
    stands = versions[0].steps.version
    wanted = number_in(request.args.get("version", str(stands)))
    found = [each for each in versions if each.steps.version == wanted]
    if not found:
        raise NotFound
    return found[0], stands


@pages.get("/steps/edit")
def edit_page() -> ResponseReturnValue:
    """Show a list as rows to be edited."""
    session.need(Right.LISTS)
    way = request.args.get("way", Way.WET_CLOSED)
    if way not in WAYS:
        raise NotFound
    versions = _lists().get(way, [])
    return _edit(way, list(versions[0].steps.steps) if versions else [])


def _edit(way: str, rows: list[Step], *, from_file: bool = False, flash: str = "") -> str:
    ours = session.services()
    with ours.reads() as reads:
        types = [each.circuit_type for each in sheets(reads, ours.site.id) if each.way == way]
    versions = _lists().get(way, [])
    named = {each for row in rows for each in row.circuit_types}
    return render_template(
        "steps_edit.html",
        way=way,
        words=WAYS[way],
        rows=rows,
        version=versions[0].steps.version if versions else 0,
        units=[unit.value for unit in Unit],
        fills=FILLS,
        types=sorted({*types, *named}),
        from_file=from_file,
        caution=CAUTION,
        flash=flash,
        nav="lists",
    )


@pages.post("/steps/file")
def from_file() -> ResponseReturnValue:
    """Show what a file says, as rows; nothing is kept before they are saved."""
    session.need(Right.LISTS)
    given = request.files.get("file")
    data = given.stream.read(LARGEST_FILE + 1) if given else b""
    try:
        steps = list_of_file(data)
    except ValueError as wrong:
        return _page(f"{wrong}. Nothing was taken in."), 422
    return _edit(steps.way, list(steps.steps), from_file=True)


@pages.post("/steps")
def save() -> ResponseReturnValue:
    """Keep the next version of a list; what was filled in stays there if it cannot be kept."""
    way, rows = request.form.get("way", ""), []
    if way not in WAYS:
        raise NotFound
    try:
        rows = _rows()
        asked = SetSteps(
            sent=session.sent(request.form.get("request_id")),
            way=way,
            steps=tuple(rows),
            read_version=whole("read_version", default=0),
        )
        set_steps(asked, site=session.site())
    except BadValue as refused:
        return _again(way, rows, refused)
    return redirect(url_for("steps.page"))


def _again(way: str, rows: list[Step], refused: Refused) -> ResponseReturnValue:
    sentence = say_refusal(refused, session.services().settings.zone_info)
    return _edit(way, rows or _rows(strict=False), flash=sentence), status_of(refused)


def _rows(*, strict: bool = True) -> list[Step]:
    """Return the steps of the form in the order of their places.

    Raises:
        BadValue: a number that is none; not raised unless `strict`: it is left out then.
    """
    taken: set[str] = set()
    found: list[tuple[float, int, Step]] = []
    for number in range(MOST_STEPS + 1):
        name = request.form.get(f"step-{number}-name", "").strip()
        if not name:
            continue
        step = _row(f"step-{number}", name, taken, strict=strict)
        taken.add(step.id)
        found.append((_place(number), number, step))
    return [step for _, _, step in sorted(found, key=lambda each: each[:2])]


def _place(number: int) -> float:
    text = request.form.get(f"step-{number}-place", "").strip().replace(",", ".")
    before, _, after = text.partition(".")
    plain = number_in(before or "0") is not None and number_in(after or "0") is not None
    return float(text) if plain and text not in {"", "."} else FARTHEST


def _row(at: str, name: str, taken: set[str], *, strict: bool) -> Step:
    form = request.form
    minutes = form.get(f"{at}-minutes", "").strip()
    whole_minutes = number_in(minutes) if minutes else None
    if minutes and whole_minutes is None and strict:
        raise BadValue(field=f"{name}, minutes", value=minutes, why="no-number")
    readings: list[Reading] = []
    for each in range(MOST_READINGS):
        reading = _reading(f"{at}-reading-{each}", name, readings, strict=strict)
        if reading is not None:
            readings.append(reading)
    return Step(
        id=form.get(f"{at}-id", "") or short_name(name, taken),
        name=name,
        note=form.get(f"{at}-note", "").strip(),
        readings=tuple(readings),
        both=checked(f"{at}-both"),
        minutes=whole_minutes,
        circuit_types=tuple(form.getlist(f"{at}-types")),
        source=form.get(f"{at}-source", "").strip() or NO_SOURCE,
    )


def _reading(at: str, step: str, others: list[Reading], *, strict: bool) -> Reading | None:
    form = request.form
    name = form.get(f"{at}-name", "").strip()
    if not name:
        return None
    unit, fills = form.get(f"{at}-unit", ""), form.get(f"{at}-fills", "")
    units, fields = [each.value for each in Unit], [each.value for each in Fills]
    if unit not in units or fills not in fields:
        raise BadValue(field=f"{step}, {name}", value=unit, why="not-one-of", of=units)
    ends: dict[str, int | None] = {}
    for end in ("least", "most"):
        try:
            ends[end] = limit_in(form.get(f"{at}-{end}", ""), f"{step}, {name}")
        except ValueError as wrong:
            if strict:
                raise BadValue(field=name, value="", why="said", said=str(wrong)) from None
            ends[end] = None
    return Reading(
        id=form.get(f"{at}-id", "") or short_name(name, [each.id for each in others]),
        name=name,
        unit=Unit(unit),
        least=ends["least"],
        most=ends["most"],
        fills=Fills(fills),
        source=form.get(f"{at}-source", "") or NO_SOURCE,
    )


@pages.get("/steps.pdf")
def paper() -> ResponseReturnValue:
    """Give a list on paper, to be written on."""
    session.need(Right.ACT)
    found, _ = _version()
    ours = session.services()
    with ours.reads() as reads:
        site = site_facts(reads)
    sheet = blank_sheet(found.steps, site=site, as_known=moment(ours.now()))
    return pdf(render_table_sheet(sheet), f"steps-{found.steps.way}")
