"""What the trolley shows of the procedure's steps: the top line and the next-step button."""

from datetime import datetime

from flask import url_for

from traceability.domain.act_cards import CARDS, Act
from traceability.domain.steps import StepState
from traceability.reads.steps import StepFacts, StepsFacts
from traceability.reads.trolley import TrolleyFacts


def top_line(steps: StepsFacts) -> dict[str, object]:
    """Return what the top line says; the time since a step was begun is counted on the page."""
    count = len(steps.steps)
    if not count:
        return {"line": "", "said": "", "begun_at": None, "name": "", "minutes": None}
    asked = steps.next
    line = f"Step {asked.place} of {count}" if asked else f"All {count} steps said"
    begun = asked.said if asked is not None else None
    return {
        "line": line,
        "said": _last_reading(steps),
        "begun_at": _iso(begun.begun_at) if begun and begun.state is StepState.BEGUN else None,
        "name": asked.step.name if asked else "",
        "minutes": asked.step.minutes if asked else None,
    }


def _last_reading(steps: StepsFacts) -> str:
    said = [each.said for each in steps.steps if each.said and each.said.readings]
    if not said:
        return ""
    return ", ".join(each.words for each in max(said, key=lambda each: each.number).readings)


def _iso(at: datetime | None) -> str | None:
    return at.isoformat() if at else None


def next_step_button(found: TrolleyFacts, missing: str) -> dict[str, object]:
    """Return the button that goes on; solid only when no part is missing and all steps are said."""
    asked, number = found.steps.next, CARDS[Act.NEXT][0]
    if asked is None:
        return {
            "label": "Next step: end the prime",
            "missing": missing,
            "solid": not found.missing,
            "url": url_for("prime.end_page", number=found.number),
            "card": number,
            "act": str(Act.NEXT),
            "step": "",
        }
    count = len(found.steps.open)
    open_words = "1 step open" if count == 1 else f"{count} steps open"
    return {
        "label": f"{_verb(asked)}{asked.step.name}",
        "missing": f"{open_words}. {missing}",
        "solid": False,
        "url": url_for("prime_steps.page", number=found.number),
        "card": number,
        "act": str(Act.NEXT),
        "step": asked.step.id,
    }


def _verb(asked: StepFacts) -> str:
    if asked.said is not None and asked.said.state is StepState.BEGUN:
        return "Next step, over now: "
    return "Next step: begin: " if asked.step.minutes else "Next step: "
