"""The register of machines, and a machine's page."""

from uuid import UUID

from flask import Blueprint, Response, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from werkzeug.exceptions import NotFound

from traceability.actions.equipment.register import (
    MoveEquipment,
    SetEquipment,
    move_equipment,
    set_equipment,
)
from traceability.domain.people import Right
from traceability.printing.sheets import render_machine_labels
from traceability.reads.equipment import MachineLife, machine_life
from traceability.reads.lists import places, products, site_facts
from traceability.reads.machines import machines
from traceability.reads.run_extras import kept_circuits
from traceability.run_messages import CUSTODY, EQUIPMENT
from traceability.web import session
from traceability.web.forms import checked, moment_of

pages = Blueprint("equipment", __name__)


@pages.get("/equipment")
def register() -> ResponseReturnValue:
    """Show all machines, and circuits kept for inspection."""
    session.need(Right.ACT)
    ours = session.services()
    with ours.reads() as reads:
        found = machines(reads, ours.site.id)
        kept = kept_circuits(reads, ours.site.id)
        known = [each for each in products(reads, ours.site.id) if each.kind in EQUIPMENT]
    return render_template(
        "equipment.html",
        machines=found,
        kept=kept,
        products=known,
        kinds=list(EQUIPMENT.items()),
        kind_words=EQUIPMENT,
        custody_words=CUSTODY,
        nav="lists",
    )


@pages.post("/equipment")
def save() -> ResponseReturnValue:
    """Add a machine, or say what is so of one now."""
    form = request.form
    asked = SetEquipment(
        sent=session.sent(form.get("request_id")),
        equipment_id=session.key_or_none(form.get("equipment"), "equipment"),
        what=form.get("kind", ""),
        product_id=session.key_or_none(form.get("product"), "product"),
        maker=form.get("maker", ""),
        model=form.get("model", ""),
        serial=form.get("serial", ""),
        asset_number=form.get("asset_number", ""),
        software=form.get("software", ""),
        made=form.get("made", ""),
        owner=form.get("owner", ""),
        serviced_on=form.get("serviced_on", ""),
        disinfected_on=form.get("disinfected_on", ""),
        active=not checked("gone"),
    )
    done = set_equipment(asked, site=session.site())
    return redirect(url_for("equipment.page", equipment_id=done.subject))


@pages.get("/equipment/<uuid:equipment_id>")
def page(equipment_id: UUID) -> ResponseReturnValue:
    """Show one machine: what it served, where it stood, and who was there meanwhile."""
    session.need(Right.ACT)
    ours = session.services()
    life = _life(equipment_id)
    with ours.reads() as reads:
        stands_in = places(reads, ours.site.id)
        known = [each for each in products(reads, ours.site.id) if each.kind in EQUIPMENT]
    return render_template(
        "machine.html",
        life=life,
        m=life.now,
        places=stands_in,
        products=known,
        kinds=list(EQUIPMENT.items()),
        kind_words=EQUIPMENT,
        nav="lists",
    )


@pages.post("/equipment/<uuid:equipment_id>/move")
def move(equipment_id: UUID) -> ResponseReturnValue:
    """It stands somewhere else."""
    asked = MoveEquipment(
        sent=session.sent(request.form.get("request_id")),
        equipment_id=equipment_id,
        place_id=session.key(request.form.get("place_id"), "place"),
        at=moment_of("at"),
    )
    move_equipment(asked, site=session.site())
    return redirect(url_for("equipment.page", equipment_id=equipment_id))


@pages.get("/equipment/<uuid:equipment_id>/label.pdf")
def label(equipment_id: UUID) -> ResponseReturnValue:
    """Give the machine's label, with its asset number to scan."""
    session.need(Right.ACT)
    machine, ours = _life(equipment_id).now, session.services()
    with ours.reads() as reads:
        site = site_facts(reads)
    facts = {
        "code": machine.asset_number,
        "name": f"{EQUIPMENT[machine.kind]} {machine.model}".strip(),
        "duty": f"Serial {machine.serial}" if machine.serial else "",
        "unit": site.unit,
    }
    try:
        paper = render_machine_labels([facts], site_code=site.code, keys=ours.own_keys)
    except ValueError:
        # No asset number, or one that a symbol of ours cannot hold: it has no label.
        raise NotFound from None
    return Response(paper, mimetype="application/pdf")


def _life(equipment_id: UUID) -> MachineLife:
    ours = session.services()
    with ours.reads() as reads:
        found = machine_life(reads, ours.site.id, equipment_id)
    if found is None:
        raise NotFound
    return found
