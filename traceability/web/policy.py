"""The unit's policy: limits, their published figures, and the versions."""

from dataclasses import asdict

from flask import Blueprint, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from traceability.actions.lists.site import (
    SetPolicy,
    set_policy,
)
from traceability.domain.figures import FIGURES
from traceability.domain.people import Right
from traceability.domain.scan_checks import CHOICES
from traceability.reads.lists import (
    policy,
    policy_history,
)
from traceability.shelf_messages import CHECK_NAMES, CHECK_WORDS, LIMIT_NAMES, NOT_ADVICE
from traceability.web import session
from traceability.web.forms import checked, minutes, whole

pages = Blueprint("policy", __name__)


@pages.get("/policy")
def policy_page() -> ResponseReturnValue:
    """Show the limits in force, with the published figures beside them."""
    session.need(Right.ACT)
    ours = session.services()
    with ours.reads() as reads:
        found = policy(reads, ours.site.id)
        versions = policy_history(reads, ours.site.id)
    limits = asdict(found.limits)
    shown = {
        name: value if isinstance(value, bool) or value is None else f"{value:g}"
        for name, value in limits.items()
    }
    return render_template(
        "policy.html",
        policy=found,
        figures=FIGURES,
        names=LIMIT_NAMES,
        checks=[
            {
                "code": each.finding,
                "name": CHECK_NAMES[each.finding],
                "may_be": each.may_be,
                "usual": each.usual,
                "now": found.checks[each.finding],
            }
            for each in CHOICES
        ],
        verdicts=CHECK_WORDS,
        not_advice=NOT_ADVICE,
        values={**shown, "opened_fluid_hours": shown["opened_fluid_hours"] or ""},
        history=[
            {
                "version": each.version,
                "set_at": each.set_at,
                "limits": asdict(each.limits),
                "checks": [
                    f"{CHECK_NAMES[choice.finding]}: {CHECK_WORDS[said].lower()}"
                    for choice in CHOICES
                    if (said := each.checks[choice.finding]) != choice.usual
                ],
            }
            for each in versions
        ],
        nav="lists",
    )


@pages.post("/policy")
def save_policy() -> ResponseReturnValue:
    """Set the limits from now on."""
    opened = minutes("opened_fluid_hours")
    asked = SetPolicy(
        sent=session.sent(request.form.get("request_id")),
        wet_closed_days=whole("wet_closed_days"),
        dry_days=whole("dry_days"),
        wet_open_days=whole("wet_open_days"),
        blood_minutes=minutes("blood_hours") or 0,
        opened_fluid_minutes=opened,
        parts_expiry_counts=checked("parts_expiry_counts"),
        plasticiser_days=whole("plasticiser_days"),
        check_hours=whole("check_hours"),
        keep_pictures=checked("keep_pictures"),
        checks={
            each.finding: request.form[f"check-{each.finding}"]
            for each in CHOICES
            if f"check-{each.finding}" in request.form
        },
        read_version=whole("read_version"),
    )
    set_policy(asked, site=session.site())
    return redirect(url_for("policy.policy_page"))
