"""The home page: the ready shelf."""

from flask import Blueprint, jsonify, render_template
from flask.typing import ResponseReturnValue
from markupsafe import Markup

from traceability.reads.can_prime import can_prime
from traceability.reads.circuits import CircuitFacts
from traceability.reads.shelf import Shelf, shelf
from traceability.web.pictures.days import shelf_days
from traceability.web.session import services
from traceability.web.stock import lines_for_shelf

pages = Blueprint("shelf", __name__)


@pages.get("/")
def page() -> ResponseReturnValue:
    """Show what stands ready."""
    ours, found = services(), _shelf()
    zone = ours.settings.zone_info
    with ours.reads() as reads:
        stock = lines_for_shelf(can_prime(reads, ours.site.id, ours.now(), zone))
    drawn = shelf_days(found, ours.now(), zone)
    return render_template(
        "shelf.html",
        shelf=found,
        days_svg=Markup(drawn),  # noqa: S704 - our own drawing; its texts are escaped there
        stock=stock,
        nav="shelf",
    )


@pages.get("/shelf.json")
def as_json() -> ResponseReturnValue:
    """Give the same for a wall screen or another system: numbers and states, no people."""
    found = _shelf()
    return jsonify(
        {
            "ready": found.ready,
            "target": found.target,
            "places": [
                {
                    "place": each.place.name,
                    "stands_for": each.place.stands_for,
                    "circuit": each.circuit and _circuit(each.circuit),
                    "not_counted": [_circuit(other) for other in each.not_counted],
                    "missing_since": each.missing_since and each.missing_since.isoformat(),
                }
                for each in found.required
            ],
        }
    )


def _shelf() -> Shelf:
    ours = services()
    with ours.reads() as reads:
        return shelf(reads, ours.site.id, ours.now())


def _circuit(circuit: CircuitFacts) -> dict[str, object]:
    return {
        "number": circuit.number,
        "state": circuit.state.value,
        "circuit_type": circuit.circuit_type,
        "use_by": circuit.use_by and circuit.use_by.isoformat(),
    }
