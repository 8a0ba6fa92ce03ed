"""Acts on a run and a circuit at the bedside: mode, run parts, machines, pieces added, keeping."""

from uuid import UUID

from flask import Blueprint, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from traceability.actions.circuit.add_part import AddPart, add_part
from traceability.actions.circuit.additive import GiveAdditive, give_additive
from traceability.actions.circuit.inspect import (
    KeepForInspection,
    PassCustody,
    keep_for_inspection,
    pass_custody,
)
from traceability.actions.equipment.use import (
    EquipmentOff,
    EquipmentOn,
    equipment_off,
    equipment_on,
)
from traceability.actions.run.mode import SetMode, set_mode
from traceability.actions.run.parts import RunPartIn, RunPartOut, run_part_in, run_part_out
from traceability.domain.at_the_run import BEDSIDE_SLOT
from traceability.domain.people import Right
from traceability.web import session
from traceability.web.forms import checked, manner_of, moment_of, who_goes_on
from traceability.web.prime import the_circuit
from traceability.web.runs import the_run

pages = Blueprint("run_extras", __name__)


def _run_page(number: str, to: str) -> ResponseReturnValue:
    return redirect(url_for("runs.page", number=number, _anchor=to))


def _circuit_page(number: str) -> ResponseReturnValue:
    return redirect(url_for("circuits.page", number=number))


@pages.post("/runs/<number>/mode")
def mode(number: str) -> ResponseReturnValue:
    """From now on, or since then, in this mode."""
    run = the_run(number)
    asked = SetMode(
        sent=session.sent(request.form.get("request_id")),
        run_id=run.id,
        mode=request.form.get("mode", ""),
        at=moment_of("at"),
    )
    set_mode(asked, site=session.site())
    return _run_page(run.number, "beside")


@pages.post("/runs/<number>/part-in")
def part_in(number: str) -> ResponseReturnValue:
    """A cannula, guide wire or reperfusion line was put in."""
    run = the_run(number)
    asked = RunPartIn(
        sent=session.sent(request.form.get("request_id")),
        run_id=run.id,
        what=request.form.get("what", ""),
        body_site=request.form.get("site") or "not recorded",
        at=moment_of("at"),
        text=request.form.get("text", ""),
        lot_not_readable=checked("not_readable"),
        reading=request.form.get("reading", ""),
        manner=manner_of(),
        reason=request.form.get("reason", ""),
        by=who_goes_on(),
    )
    run_part_in(asked, site=session.site())
    return _run_page(run.number, "beside")


@pages.post("/runs/<number>/part-out")
def part_out(number: str) -> ResponseReturnValue:
    """It was taken out."""
    run = the_run(number)
    asked = RunPartOut(
        sent=session.sent(request.form.get("request_id")),
        run_id=run.id,
        part_id=session.key(request.form.get("part"), "part"),
        at=moment_of("at"),
    )
    run_part_out(asked, site=session.site())
    return _run_page(run.number, "beside")


@pages.post("/runs/<number>/equipment-on")
def on_run(number: str) -> ResponseReturnValue:
    """A machine serves the run, or none of its kind does."""
    run = the_run(number)
    equipment_on(_equipment(run_id=run.id), site=session.site())
    return _run_page(run.number, "beside")


@pages.post("/circuits/<number>/equipment-on")
def on_circuit(number: str) -> ResponseReturnValue:
    """A machine stands under the circuit."""
    circuit = the_circuit(number)
    equipment_on(_equipment(circuit_id=circuit.id), site=session.site())
    return _circuit_page(circuit.number)


def _equipment(*, run_id: UUID | None = None, circuit_id: UUID | None = None) -> EquipmentOn:
    return EquipmentOn(
        sent=session.sent(request.form.get("request_id")),
        run_id=run_id,
        circuit_id=circuit_id,
        at=moment_of("at"),
        equipment_id=session.key_or_none(request.form.get("equipment"), "equipment"),
        text=request.form.get("text", ""),
        what=request.form.get("what", ""),
        none_used=checked("none_used"),
        manner=manner_of(),
        reason=request.form.get("reason", ""),
        by=who_goes_on(),
    )


@pages.post("/runs/<number>/equipment-off")
def off_run(number: str) -> ResponseReturnValue:
    """The machine serves the run no longer."""
    run = the_run(number)
    _off()
    return _run_page(run.number, "beside")


@pages.post("/circuits/<number>/equipment-off")
def off_circuit(number: str) -> ResponseReturnValue:
    """The machine is under the circuit no longer."""
    circuit = the_circuit(number)
    _off()
    return _circuit_page(circuit.number)


def _off() -> None:
    asked = EquipmentOff(
        sent=session.sent(request.form.get("request_id")),
        use_id=session.key(request.form.get("use"), "use"),
        at=moment_of("at"),
    )
    equipment_off(asked, site=session.site())


@pages.post("/circuits/<number>/add-part")
def added(number: str) -> ResponseReturnValue:
    """One more piece is in: connector, tap, filter, heat exchanger."""
    circuit = the_circuit(number)
    asked = AddPart(
        sent=session.sent(request.form.get("request_id")),
        circuit_id=circuit.id,
        slot=request.form.get("slot") or BEDSIDE_SLOT,
        at=moment_of("at"),
        text=request.form.get("text", ""),
        part_kind=request.form.get("kind", "").strip().lower().replace(" ", "-"),
        lot_not_readable=checked("not_readable"),
        reading=request.form.get("reading", ""),
        manner=manner_of(),
        reason=request.form.get("reason", ""),
        by=who_goes_on(),
    )
    add_part(asked, site=session.site())
    return _circuit_page(circuit.number)


@pages.get("/circuits/<number>/additive")
def additive_page(number: str) -> ResponseReturnValue:
    """Ask what was given into the prime."""
    session.need(Right.ACT)
    circuit = the_circuit(number)
    given = [part for part in circuit.now_in if part.slot == "additive"]
    return render_template("additive.html", c=circuit, given=given, nav="shelf")


@pages.post("/circuits/<number>/additive")
def additive(number: str) -> ResponseReturnValue:
    """It was given into the prime; with blood the use-by is decided anew."""
    circuit = the_circuit(number)
    asked = GiveAdditive(
        sent=session.sent(request.form.get("request_id")),
        circuit_id=circuit.id,
        at=moment_of("at"),
        name=request.form.get("name", ""),
        dose=request.form.get("dose", ""),
        unit=request.form.get("unit", ""),
        text=request.form.get("text", ""),
        blood=checked("blood"),
        reading=request.form.get("reading", ""),
        manner=manner_of(),
        reason=request.form.get("reason", ""),
        by=who_goes_on(),
    )
    give_additive(asked, site=session.site())
    return redirect(url_for("run_extras.additive_page", number=circuit.number))


@pages.post("/circuits/<number>/keep")
def keep(number: str) -> ResponseReturnValue:
    """Keep it for inspection."""
    circuit = the_circuit(number)
    asked = KeepForInspection(
        sent=session.sent(request.form.get("request_id")),
        circuit_id=circuit.id,
        place_id=session.key_or_none(request.form.get("place_id"), "place"),
        at=moment_of("at"),
    )
    keep_for_inspection(asked, site=session.site())
    return _circuit_page(circuit.number)


@pages.post("/circuits/<number>/custody")
def custody(number: str) -> ResponseReturnValue:
    """Somebody else keeps it now."""
    circuit = the_circuit(number)
    asked = PassCustody(
        sent=session.sent(request.form.get("request_id")),
        circuit_id=circuit.id,
        to=request.form.get("to", ""),
        reason=request.form.get("reason_code", ""),
        at=moment_of("at"),
    )
    pass_custody(asked, site=session.site())
    return _circuit_page(circuit.number)
