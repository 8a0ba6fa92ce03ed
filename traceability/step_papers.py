"""The procedure's steps on paper: an empty list to write on, and what was said of a prime's."""

from datetime import datetime
from typing import Final
from zoneinfo import ZoneInfo

from traceability.domain.steps import Step, StepList
from traceability.domain.table_sheets import SheetTable, TableSheet
from traceability.reads.circuits import CircuitFacts
from traceability.reads.lists import SiteFacts
from traceability.reads.steps import StepFacts, StepsFacts
from traceability.step_messages import CAUTION, NOT_DONE, STATES, WAYS

HEADS: Final = ("No.", "Step", "Said", "Read", "When", "Who")
WIDTHS: Final = (8, 44, 26, 34, 39, 19)
BLANK_HEADS: Final = ("No.", "Step", "Read, usual", "Done, or why not", "Time, initials")
BLANK_WIDTHS: Final = (9, 66, 38, 30, 27)


def prime_sheet(
    circuit: CircuitFacts, steps: StepsFacts, *, site: SiteFacts, as_known: str, zone: ZoneInfo
) -> TableSheet:
    """Return what was said of each step of a prime."""
    way = WAYS.get(steps.way, steps.way)
    ended = f"Prime ended {_moment(circuit.ended_at, zone)}." if circuit.ended_at else ""
    signed = "; ".join(
        f"{each.name}, {each.part}, {_moment(each.at, zone)}" for each in circuit.signatures
    )
    return TableSheet(
        unit=f"{site.name}, {site.unit}",
        subject=f"Steps of the prime of {circuit.number}",
        title=f"{circuit.number}: steps of the prime",
        as_known=as_known,
        lines=(
            f"{circuit.circuit_type}. List for {way}, version {steps.version}. "
            f"Begun {_moment(circuit.begun_at, zone)}. {ended}",
            steps_words(steps),
            f"Signed: {signed}." if signed else "Not signed yet.",
        ),
        tables=(
            SheetTable(
                name="",
                heads=HEADS,
                widths=WIDTHS,
                rows=[_row(each, zone) for each in steps.steps],
            ),
        ),
        caution=CAUTION,
        practice=site.practice,
    )


def _row(each: StepFacts, zone: ZoneInfo) -> tuple[str, ...]:
    said = each.said
    if said is None:
        return str(each.place), each.step.name, "NOT SAID", "", "", ""
    state = STATES[said.state]
    if said.reason:
        state = f"NOT DONE: {NOT_DONE.get(said.reason, said.reason).lower()}"
    read = "; ".join(
        f"{reading.words}{f' (usual: {reading.range_words})' if reading.outside else ''}"
        for reading in said.readings
    )
    begun = f"begun {_clock(said.begun_at, zone)}; " if said.begun_at else ""
    who = " and ".join(name for name in (each.who, each.other) if name)
    late = ", said after the prime had ended" if said.late else ""
    at = _moment(said.at, zone)
    return str(each.place), each.step.name, f"{state}{late}", read, f"{begun}{at}", who


def _moment(at: datetime, zone: ZoneInfo) -> str:
    return f"{at.astimezone(zone):%Y-%m-%d %H:%M %Z}"


def _clock(at: datetime, zone: ZoneInfo) -> str:
    return f"{at.astimezone(zone):%H:%M}"


def steps_words(steps: StepsFacts) -> str:
    """Return in one line how many steps were said, which were not, and what lay outside."""
    if not steps.steps:
        return ""
    count = len(steps.steps)
    said = [f"{count - len(steps.open)} of {count} said"]
    if steps.open:
        said.append(f"not said: {', '.join(each.step.name for each in steps.open)}")
    for each in steps.steps:
        if each.said is None:
            continue
        if each.said.reason:
            why = NOT_DONE.get(each.said.reason, each.said.reason).lower()
            said.append(f"not done: {each.step.name} ({why})")
        said += [
            f"outside its usual range: {reading.words} (usual: {reading.range_words})"
            for reading in each.said.readings
            if reading.outside
        ]
    return f"{'; '.join(said)}."


def blank_sheet(steps: StepList, *, site: SiteFacts, as_known: str) -> TableSheet:
    """Return the list to be written on: for training, and for a prime without the service."""
    way = WAYS.get(steps.way, steps.way)
    return TableSheet(
        unit=f"{site.name}, {site.unit}",
        subject=f"Steps of a prime, {way}",
        title=f"Steps of a prime, {way}",
        as_known=as_known,
        lines=(
            f"Version {steps.version}. In any order; nothing on it holds up an emergency.",
            "Number of the circuit: ____________________",
        ),
        tables=(
            SheetTable(
                name="",
                heads=BLANK_HEADS,
                widths=BLANK_WIDTHS,
                rows=[
                    (str(place), _named(step), _asked(step), "", "")
                    for place, step in enumerate(steps.steps, start=1)
                ],
            ),
        ),
        blanks=("Primer", "Helper", "Date"),
        caution=CAUTION,
        practice=site.practice,
    )


def _named(step: Step) -> str:
    only = f" Only {', '.join(step.circuit_types)}." if step.circuit_types else ""
    both = " Both say it." if step.both else ""
    minutes = f" {step.minutes} min." if step.minutes else ""
    return f"{step.name}. {step.note}{minutes}{both}{only}".strip()


def _asked(step: Step) -> str:
    return "; ".join(
        f"{each.name} ______ {each.unit}" + (f" ({each.range_words})" if each.range_words else "")
        for each in step.readings
    )
