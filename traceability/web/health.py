"""Signs of life for whoever watches the service: no names, no data."""

from flask import Blueprint, jsonify
from flask.typing import ResponseReturnValue

from traceability.heartbeat import heartbeat_file, read_heartbeat
from traceability.reads.health import store_health
from traceability.web.session import services

pages = Blueprint("health", __name__)


@pages.get("/healthz")
def alive() -> ResponseReturnValue:
    """Say that this process answers; nothing else is asked."""
    return jsonify({"alive": True})


@pages.get("/readyz")
def ready() -> ResponseReturnValue:
    """Say whether acts can be taken, and whether the worker gives signs of life."""
    ours = services()
    settings = ours.settings
    with ours.reads() as reads:
        store = store_health(reads, settings.var_dir)
    beat = read_heartbeat(heartbeat_file(settings.var_dir, practice=settings.practice))
    worker = "none" if beat is None else "late" if beat.is_late(ours.now()) else "alive"
    found = {
        "store": {
            "reachable": store.reachable,
            "right_version": store.right_version,
            "room": store.room,
            "events": store.events,
        },
        "worker": worker,
        "ready": store.good,
    }
    return jsonify(found), 200 if store.good else 503
